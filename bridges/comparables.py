"""Bridges most like one: why each was chosen, what is left of it, how many survive.

Likeness is a count of points for what two bridges have in common, of facts that an
officer compares in a statement of significance: form, how it is connected, deck
position, material, panels, span, decade and builder. Weights are our choice, shown
beside each bridge so that nobody need take them on trust.
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass

import numpy as np
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from . import exports, mapindex
from .filters import query_text
from .models import Attribution, Bridge

MOST = 12
LEFT = tuple(value for value in Bridge.Status.values if value not in ("lost", "stored"))
FORM, BUILDER, CONNECTION, SPAN, DECADE, DECK, MATERIAL, PANELS = 4, 3, 2, 2, 2, 1, 1, 1
# Like in span: within this part of it; half the points within twice as much.
SPAN_PART = 0.15


@dataclass(frozen=True)
class Like:
    """One bridge like another, the points it has and what they are for."""

    bridge: Bridge
    points: int
    reasons: list[str]
    left: list[tuple[str, str]]


def points(places, row):
    """Return {what: points of every row} of likeness to one row of the index."""
    data = places.rows
    found = {}
    for name, weight, unknown in (
        ("form", FORM, ("unknown", "other")),
        ("connection", CONNECTION, ("unknown",)),
        ("deck_position", DECK, ("unknown",)),
        ("material", MATERIAL, ("unknown",)),
    ):
        code = data.of(name, row)
        known = code and data.words[name][code - 1] not in unknown
        same = data.of(name) == code
        found[name] = np.where(same & bool(known), weight, 0)
    panels = data.of("panels", row)
    found["panels"] = np.where((data.of("panels") == panels) & bool(panels), PANELS, 0)
    spans, span = data.of("span_dft"), float(data.of("span_dft", row))
    away = np.abs(spans.astype(np.float32) - span)
    known = (spans > 0) & (span > 0)
    near = away <= span * SPAN_PART
    nearly = away <= span * SPAN_PART * 2
    found["span"] = np.where(known & nearly, np.where(near, SPAN, SPAN // 2), 0)
    starts, ends = data.table("first_year"), data.table("last_year")
    own = data.codes["years"][row]
    first, last = int(starts[own]), int(ends[own])
    meets = (starts > 1) & (ends < 9999) & (first > 1 and last < 9999)
    meets &= (starts // 10 <= last // 10) & (ends // 10 >= first // 10)
    found["decade"] = np.where(meets[data.codes["years"]], DECADE, 0)
    mine = data.hand_builders[data.hand_rows == row]
    found["builder"] = np.zeros(len(data), dtype=np.int64)
    if len(mine):
        theirs = np.isin(data.hand_builders, mine)
        found["builder"][data.hand_rows[theirs]] = BUILDER
    return found


def like(bridge, person, most=MOST):
    """Return the bridges most like one, as ``Like``, most like first."""
    places = mapindex.places_for(person)
    row = int(np.searchsorted(places.rows.ids, bridge.pk))
    if row >= len(places.rows) or places.rows.ids[row] != bridge.pk:
        return []
    scored = points(places, row)
    total = sum(scored.values())
    total[~places.mask(())] = 0
    total[row] = 0
    # A likeness of material and decade alone is none.
    total[scored["form"] + scored["builder"] == 0] = 0
    rows = np.flatnonzero(total)
    rows = rows[np.lexsort((places.rows.ids[rows], -total[rows]))][:most]
    ids = places.rows.ids[rows].tolist()
    bridges = Bridge.objects.visible_to(person).for_list().in_bulk(ids)
    makers = _makers([bridge.pk, *ids])
    found = []
    for number, pk in zip(rows.tolist(), ids, strict=True):
        if pk not in bridges:
            continue
        other = bridges[pk]
        alike = {name: int(score[number]) for name, score in scored.items()}
        found.append(
            Like(
                other,
                int(total[number]),
                _reasons(alike, bridge, other, makers),
                sorted(_standing(other).features.items()),
            )
        )
    return found


def _standing(bridge):
    from .models import Standing

    return getattr(bridge, "standing", None) or Standing()


def _makers(ids):
    found = {}
    hands = Attribution.objects.filter(bridge__in=ids).select_related("builder")
    for hand in hands.order_by("id"):
        found.setdefault(hand.bridge_id, {})[hand.builder_id] = hand
    return found


def _reasons(alike, bridge, other, makers):
    mine, theirs = _standing(bridge), _standing(other)
    words = []
    if alike["form"]:
        words.append(f"{theirs.get_form_display()} too")
    if alike["builder"]:
        shared = makers.get(bridge.pk, {}).keys() & makers.get(other.pk, {}).keys()
        for pk in sorted(shared):
            hand = makers[other.pk][pk]
            sure = hand.get_confidence_display().lower()
            words.append(f"{hand.builder} had a hand in both ({sure} here)")
    for name in ("connection", "deck_position", "material"):
        if alike[name]:
            words.append(getattr(theirs, f"get_{name}_display")().lower())
    if alike["panels"]:
        words.append(f"{theirs.panels} panels")
    if alike["span"]:
        part = theirs.longest_span_ft / mine.longest_span_ft - 1
        how = "the same span" if abs(part) < 0.005 else f"span {part:+.0%}"
        words.append(how.replace("-", "−"))
    if alike["decade"]:
        words.append("a date in the same decade, or that may be")
    return words


def survival(bridge, person):
    """Return how many of its kind stand of how many are known to have been built.

    Its kind: form, deck position and connection alike, as far as each is known.
    """
    standing = _standing(bridge)
    kind = [
        (name, getattr(standing, name))
        for name in ("form", "deck_position", "connection")
        if getattr(standing, name) not in ("unknown", "")
    ]
    places = mapindex.places_for(person)
    known = places.mask(tuple(kind))
    left = places.mask((*kind, *(("status", one) for one in LEFT)))
    words = [
        getattr(standing, f"get_{name}_display")().lower()
        for name in ("connection", "form", "deck_position")
        if (name, getattr(standing, name)) in kind
    ]
    return {
        "known": int(known.sum()),
        "left": int(left.sum()),
        "kind": ", ".join(words),
        "query": query_text(kind),
        "query_left": query_text([*kind, *(("status", one) for one in LEFT)]),
    }


def _bridge(request, slug):
    bridges = Bridge.objects.visible_to(request.user).select_related("standing")
    return get_object_or_404(bridges, slug=slug)


@require_safe
def page(request, slug):
    """The bridges most like one, and why."""
    bridge = _bridge(request, slug)
    return render(
        request,
        "bridges/comparables.html",
        {
            "bridge": bridge,
            "found": like(bridge, request.user),
            "survival": survival(bridge, request.user),
        },
    )


@require_safe
def table(request, slug):
    """The same as CSV, for an appendix or a spreadsheet."""
    bridge = _bridge(request, slug)
    found = like(bridge, request.user, most=100)
    groups = sorted({group for one in found for group, _ in one.left})
    out = io.StringIO()
    out.write("\ufeff")
    rows = csv.writer(out)
    rows.writerow(
        [
            *("number", "name", "county", "status", "listing", "built", "form"),
            *("longest_span_ft", "builders", "points", "why"),
            *(f"left: {group}" for group in groups),
        ]
    )
    for one in found:
        standing, left = _standing(one.bridge), dict(one.left)
        cells = [
            one.bridge.number,
            one.bridge.name,
            one.bridge.county,
            one.bridge.get_status_display(),
            one.bridge.get_listing_display(),
            one.bridge.built,
            standing.get_form_display(),
            standing.longest_span_ft if standing.longest_span_ft is not None else "",
            standing.builder_names,
            one.points,
            "; ".join(one.reasons),
            *(left.get(group, "") for group in groups),
        ]
        rows.writerow([exports.guard(str(cell)) for cell in cells])
    return HttpResponse(
        out.getvalue(), headers=exports.headers("csv", f"like-{bridge.slug}")
    )
