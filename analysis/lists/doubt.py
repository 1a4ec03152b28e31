"""Lists of what the record is unsure of: sources that disagree, facts on weak ground."""

from __future__ import annotations

import datetime
import itertools

from django.core.exceptions import ValidationError
from django.db.models import Count, Exists, OuterRef, Q

from bridges.models import Attribution, Claim, Confidence, Span
from shared import dates

from .kinds import List, bridge_cell, source_words

WEAK = (Confidence.POSSIBLE, Confidence.UNKNOWN)
FACETS = ("form", "deck_position", "connection", "material")


def _disputed(question):
    """One claim for each thing of a bridge of which sources say different things."""
    others = Claim.objects.filter(
        bridge=OuterRef("bridge"), about=OuterRef("about")
    ).exclude(value=OuterRef("value"))
    earlier = Claim.objects.filter(
        bridge=OuterRef("bridge"), about=OuterRef("about"), pk__lt=OuterRef("pk")
    )
    rows = question.of(Claim).filter(Exists(others), ~Exists(earlier))
    return rows.order_by("bridge__name", "about")


def _disputed_rows(firsts, question):
    claims = Claim.objects.filter(
        bridge__in={one.bridge_id for one in firsts}
    ).select_related("source")
    held = {}
    for claim in claims.order_by("-is_chosen", "id"):
        held.setdefault((claim.bridge_id, claim.about), []).append(claim)
    rows = []
    for first in firsts:
        all_of = held[first.bridge_id, first.about]
        chosen = [one for one in all_of if one.is_chosen]
        rest = [one for one in all_of if not one.is_chosen]
        rows.append(
            (
                bridge_cell(first.bridge),
                first.about,
                "; ".join(map(_said, chosen)) or "none chosen",
                "; ".join(map(_said, rest)),
                apart([one.value for one in all_of]),
                " ".join(one.reason for one in chosen if one.reason),
            )
        )
    return rows


def _said(claim):
    return f"{_in_words(claim.value)} ({source_words(claim.source)})"


def _in_words(value):
    """Say a date as people do, and anything else as it stands."""
    try:
        return dates.display(value)
    except ValidationError:
        return value


def apart(values):
    """Return by how much dates disagree, in words; blank for what is no date.

    Counted from the end of the earlier to the beginning of the later: dates that may
    both be right are not apart.
    """
    try:
        bounds = [dates.parse(value) for value in values]
    except ValidationError:
        return ""
    spans = [
        (one.earliest or datetime.date.min, one.latest or datetime.date.max)
        for one in bounds
    ]
    most = max(
        max(b[0].year - a[1].year, a[0].year - b[1].year)
        for a, b in itertools.combinations(spans, 2)
    )
    if most <= 0:
        return "may agree"
    return f"{most} year{'s' if most > 1 else ''}"


DISPUTED = List(
    "disputed",
    "Where sources disagree",
    "Which dates and names differ from source to source, and by how much?",
    ("Bridge", "About", "Taken to be so", "Others say", "Apart", "Why"),
    _disputed,
    _disputed_rows,
)


def _weak(question):
    """(kind, row) of all that rests on one source at most, and that a weak one."""
    lone = question.of(Claim).filter(confidence__in=WEAK)
    others = Claim.objects.filter(
        bridge=OuterRef("bridge"), about=OuterRef("about")
    ).exclude(pk=OuterRef("pk"))
    found = [
        ("claim", one) for one in lone.filter(~Exists(others)).select_related("source")
    ]
    hands = question.of(Attribution).filter(confidence__in=WEAK)
    hands = hands.annotate(
        claims=Count("bridge__claims", filter=Q(bridge__claims__about="builder"))
    ).filter(claims__lte=1)
    found += [("hand", one) for one in hands.select_related("source", "builder")]
    weak = Q()
    for name in FACETS:
        weak |= Q(**{f"{name}_confidence__in": WEAK}) & ~Q(**{name: "unknown"})
    spans = question.of(Span).filter(weak)
    spans = spans.select_related(*(f"{name}_source" for name in FACETS))
    for span in spans:
        found += [
            (name, span)
            for name in FACETS
            if getattr(span, f"{name}_confidence") in WEAK
            and getattr(span, name) != "unknown"
        ]
    return sorted(found, key=lambda pair: (pair[1].bridge.name, pair[0], pair[1].pk))


def _weak_rows(found, question):
    rows = []
    for kind, one in found:
        if kind == "claim":
            what, value, source = one.about, _in_words(one.value), one.source
            confidence = one.get_confidence_display()
        elif kind == "hand":
            what, value, source = one.get_role_display(), str(one.builder), one.source
            confidence = one.get_confidence_display()
        else:
            what = f"{kind.replace('_', ' ')} of {one}"
            value = getattr(one, f"get_{kind}_display")()
            source = getattr(one, f"{kind}_source")
            confidence = getattr(one, f"get_{kind}_confidence_display")()
        rows.append(
            (bridge_cell(one.bridge), what, value, confidence, source_words(source))
        )
    return rows


WEAKLY_KNOWN = List(
    "weakly-known",
    "Facts that rest on one weak source",
    "Which facts rest on a single source that is not sure, or on none?",
    ("Bridge", "About", "Said to be", "How sure", "Source"),
    _weak,
    _weak_rows,
)
