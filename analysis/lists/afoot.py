"""Lists of what is to be done: threats, offers, ways in, dossiers, edits."""

from __future__ import annotations

import heapq
from collections import defaultdict

from django.db.models import Q
from django.urls import reverse
from django.utils import timezone

from bridges import mapindex
from bridges.along import miles_between
from bridges.filters import NearField
from bridges.models import (
    Attribution,
    Bridge,
    Claim,
    Concern,
    Form,
    LifeEvent,
    Plate,
    Span,
    Standing,
)
from shared import policy
from shared.dates import display
from surveys import seasons
from surveys.models import Repair, Viewpoint, Visit

from .. import dossier
from ..dossier_completeness import completeness, gate
from ..models import Dossier
from .kinds import Cell, Choice, List, bridge_cell, source_words

SOCIETY = {"may_ask": policy.can_log_visits, "for_whom": "the society's people"}
KINDS = Concern.Kind
# Standing idle, so that nobody's road ends when one is taken away.
IDLE = (
    Bridge.Status.CLOSED,
    Bridge.Status.BYPASSED,
    Bridge.Status.FOOT_ONLY,
    Bridge.Status.STORED,
)


def _concerns(question):
    rows = question.of(Concern).select_related("source")
    if kind := question.get("kind"):
        rows = rows.filter(kind=kind)
    rows = rows if question.get("over") == "too" else rows.open()
    return rows.order_by("deadline", "bridge__name", "id")


def _concern_rows(concerns, question):
    today = timezone.localdate()
    rows = []
    for one in concerns:
        until = display(one.deadline.isoformat()) if one.deadline else "no day set"
        if one.closed_on:
            until = f"over since {display(one.closed_on.isoformat())}: {one.outcome}"
        elif one.deadline and one.deadline < today:
            until += " (past)"
        rows.append(
            (
                bridge_cell(one.bridge),
                one.get_kind_display(),
                one.text,
                until,
                one.acting or "nobody yet",
                source_words(one.source),
            )
        )
    return rows


CONCERNS = List(
    "afoot",
    "Threats, projects and offers",
    "Which bridges are threatened or have a project, until when, and who is acting?",
    ("Bridge", "Kind", "What it is", "Until", "Who is acting", "Source"),
    _concerns,
    _concern_rows,
    (
        Choice("kind", "Kind", tuple(KINDS.choices)),
        Choice("over", "Those that are over", (("too", "Show them too"),)),
    ),
    **SOCIETY,
)


def _movable(question):
    offered = Concern.objects.open().filter(kind=KINDS.OFFER).values("bridge")
    rows = question.bridges.select_related("standing")
    found = Q(pk__in=offered)
    if question.get("offered") != "only":
        found |= Q(status__in=IDLE)
    return rows.filter(found).order_by("name", "id")


def _movable_rows(bridges, question):
    held = defaultdict(list)
    rows = Concern.objects.open().filter(bridge__in=[one.pk for one in bridges])
    for concern in rows.filter(kind__in=(KINDS.OFFER, KINDS.INTEREST)).order_by("id"):
        held[concern.bridge_id, concern.kind].append(concern)
    spans = defaultdict(list)
    for span in Span.objects.filter(bridge__in=[one.pk for one in bridges]):
        size = f"{span.length_ft:g} ft" if span.length_ft else "length not known"
        wide = f", roadway {span.roadway_ft:g} ft" if span.roadway_ft else ""
        spans[span.bridge_id].append(f"{span.get_form_display()}, {size}{wide}")
    told = []
    for one in bridges:
        seen = one.standing.last_visited if hasattr(one, "standing") else None
        told.append(
            (
                bridge_cell(one),
                one.get_status_display(),
                "; ".join(spans[one.pk]),
                display(seen.isoformat()) if seen else "never",
                "; ".join(_offer(each) for each in held[one.pk, KINDS.OFFER]) or "no",
                "; ".join(
                    f"{each.acting}: {each.text}" if each.acting else each.text
                    for each in held[one.pk, KINDS.INTEREST]
                )
                or "nobody on record",
            )
        )
    return told


def _offer(concern):
    if not concern.deadline:
        return concern.text
    return f"{concern.text} Until {display(concern.deadline.isoformat())}."


MOVABLE = List(
    "for-another-place",
    "Bridges that may suit another place",
    "Which bridges stand idle or are offered, of what span, and who would take them?",
    ("Bridge", "Status", "Spans", "Last visited", "Offered", "Who would take it"),
    _movable,
    _movable_rows,
    (Choice("offered", "Offered", (("only", "Only those that are offered"),)),),
    note=(
        "What a span can carry elsewhere is for a licensed engineer to say; the "
        "bridge's history tells what it was seen to be made of."
    ),
    **SOCIETY,
)


def _ways(question):
    gone = (Bridge.Status.LOST, Bridge.Status.STORED)
    rows = list(question.bridges.exclude(status__in=gone).order_by("name", "id"))
    told = [
        (one, seasons.access_of(one.status, one.access_notes), None) for one in rows
    ]
    if kind := question.get("access"):
        told = [one for one in told if one[1] == kind]
    near = dict(question.view.pairs).get("near")
    if near:
        latitude, longitude, _ = NearField(required=False).clean(near)
        here = (longitude, latitude)
        told = [(one, kind, _miles(here, one)) for one, kind, _ in told]
        told.sort(key=lambda row: row[2])
    return told


def _miles(here, bridge):
    return miles_between(here, (float(bridge.longitude), float(bridge.latitude)))


def _way_rows(ways, question):
    words = dict(seasons.ACCESS)
    dangers = defaultdict(list)
    open_ones = Visit.objects.in_danger().filter(
        bridge__in=[one.pk for one, *_ in ways]
    )
    for visit in open_ones.order_by("when_latest"):
        dangers[visit.bridge_id].append(display(visit.when))
    return [
        (
            bridge_cell(one),
            f"{miles:.1f}" if miles is not None else "",
            one.get_status_display(),
            words[kind].capitalize(),
            one.access_notes or "nothing noted",
            f"Reported as dangerous on {', '.join(dangers[one.pk])}"
            if dangers[one.pk]
            else "",
        )
        for one, kind, miles in ways
    ]


WAYS = List(
    "ways-in",
    "Ways in: what may be visited, and how",
    "Which bridges near here may be visited, and what must be asked first?",
    ("Bridge", "Miles", "Status", "Access", "What was noted", "Danger told"),
    _ways,
    _way_rows,
    (Choice("access", "Access", seasons.ACCESS),),
    note=(
        "Look from the road and the bank. That a bridge is on this list says nothing of "
        "its strength or of today's state; signs on the spot come first."
    ),
    **SOCIETY,
)


def _dossiers(question):
    return (
        question.of(Dossier)
        .filter(closed_at__isnull=True)
        .order_by("bridge__name", "number")
    )


def _dossier_rows(cases, question):
    rows = []
    for case in cases:
        made = completeness(dossier.facts(case.bridge), timezone.localdate())
        said = gate(made)
        lacking = [row.title for row in made if not row.is_there]
        rows.append(
            (
                Cell(case.bridge.name, reverse("dossier", args=[case.bridge.slug])),
                case.title or f"case {case.number}",
                said.words,
                str(len(lacking)),
                "; ".join(lacking) or "nothing",
            )
        )
    return rows


DOSSIERS = List(
    "dossiers",
    "Dossiers, and what is missing from each",
    "Which dossiers are complete, and exactly what is missing from the rest?",
    ("Bridge", "Case", "Stands", "Missing", "What is missing"),
    _dossiers,
    _dossier_rows,
    may_ask=policy.can_write_dossiers,
    for_whom="preservation officers",
)
# In what record of edits is looked, and the way from there to a bridge.
EDITED = (
    (Bridge, "id"),
    (Span, "bridge_id"),
    (LifeEvent, "bridge_id"),
    (Attribution, "bridge_id"),
    (Plate, "bridge_id"),
    (Claim, "bridge_id"),
    (Concern, "bridge_id"),
    (Repair, "bridge_id"),
    (Viewpoint, "bridge_id"),
    (Visit, "bridge_id"),
)
MOST_EDITS = 1000


def can_see_edits(person):
    return policy.can_review(person) or policy.can_write_dossiers(person)


def _edits(question):
    """The latest edits of all kinds together, newest first; at most a thousand."""
    streams = []
    for model, path in EDITED:
        rows = model.history.select_related("history_user")
        if question.view.pairs:
            rows = rows.filter(**{f"{path}__in": question.bridges.values("pk")})
        latest = rows.order_by("-history_date", "-history_id")[:MOST_EDITS]
        streams.append([(model, path, one) for one in latest])
    merged = heapq.merge(*streams, key=lambda each: each[2].history_date, reverse=True)
    return [one for one, _ in zip(merged, range(MOST_EDITS), strict=False)]


def _edit_rows(edits, question):
    bridges = Bridge.objects.in_bulk({getattr(one, path) for _, path, one in edits})
    before = _before(edits)
    rows = []
    for model, path, one in edits:
        bridge = bridges.get(getattr(one, path))
        rows.append(
            (
                timezone.localtime(one.history_date).strftime("%Y-%m-%d %H:%M"),
                one.history_user.credit if one.history_user else "the site itself",
                bridge_cell(bridge) if bridge else "a bridge that is gone",
                f"{model._meta.verbose_name}: {one.get_history_type_display().lower()}",
                _what(model, one, before.get((model, one.history_id))),
                one.history_change_reason or "",
            )
        )
    return rows


def _before(edits):
    """Return {(model, history id): the row of history before}, one query a model."""
    found = {}
    by_model = defaultdict(list)
    for model, _, one in edits:
        by_model[model].append(one)
    for model, ones in by_model.items():
        earlier = defaultdict(list)
        rows = model.history.filter(id__in={one.id for one in ones})
        for row in rows.order_by("history_date", "history_id"):
            earlier[row.id].append(row)
        for one in ones:
            line = earlier[one.id]
            at = next(n for n, row in enumerate(line) if row.pk == one.pk)
            found[model, one.history_id] = line[at - 1] if at else None
    return found


def _what(model, newer, older):
    if older is None:
        return ""
    # What a visit says is for its reviewers until it is in the record.
    only = {"included_fields": ["status"]} if model is Visit else {}
    delta = newer.diff_against(older, foreign_keys_are_objs=False, **only)
    told = "; ".join(
        f"{change.field.replace('_', ' ')}: {_short(change.old)} → {_short(change.new)}"
        for change in delta.changes
        if not change.field.endswith(("_earliest", "_latest"))
    )
    return told or "nothing that a person writes: brought in step by the site"


def _short(value):
    text = "blank" if value in (None, "") else str(value)
    return text if len(text) <= 80 else f"{text[:79]}…"


EDITS = List(
    "edits",
    "Who edited what",
    "Who edited what, when and why?",
    ("When", "Who", "Bridge", "What", "Change", "Why"),
    _edits,
    _edit_rows,
    may_ask=can_see_edits,
    for_whom="reviewers and preservation officers",
)


def _only(question):
    """Forms of which the record knows one bridge, standing or lost."""
    places = mapindex.places_for(question.person)
    counts = places.counts("form", ())
    alone = [form for form, count in counts.items() if count == 1]
    alone = [form for form in alone if form not in (Form.UNKNOWN, Form.OTHER)]
    rows = Standing.objects.filter(
        form__in=alone, bridge__in=question.bridges.values("pk")
    )
    return rows.select_related("bridge").order_by("form")


def _only_rows(standings, question):
    return [
        (
            one.get_form_display(),
            bridge_cell(one.bridge),
            one.bridge.county,
            display(one.bridge.built) if one.bridge.built else "no date",
            one.bridge.get_status_display(),
        )
        for one in standings
    ]


ONLY = List(
    "only-ones",
    "The only one known of its form",
    "Of which forms does this record know one bridge alone?",
    ("Form", "Bridge", "County", "Built", "Status"),
    _only,
    _only_rows,
    note="Known to this record; there may be others that nobody has brought in.",
)
