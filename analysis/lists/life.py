"""Lists of what befell bridges: events, moves, findings and what changed since."""

from __future__ import annotations

from collections import defaultdict

from django.db.models import OuterRef, Q, Subquery

from bridges.changes import parts_in_words
from bridges.filters import DayField, LastDayField
from bridges.models import Bridge, ChangeSeen, LifeEvent, Span
from shared.dates import display

from .kinds import Choice, List, bridge_cell, source_words

# What counts against integrity is metal, wood, stone and plates; a limit does not.
NOT_INTEGRITY = {"limit", "setting", "other"}


def day_of(question, name, field=DayField):
    text = question.get(name)
    return field(required=False).clean(text) if text else None


def _events(question):
    rows = question.of(LifeEvent).select_related("source")
    if kind := question.get("kind"):
        rows = rows.filter(kind=kind)
    if first := day_of(question, "since"):
        rows = rows.filter(Q(when_latest__gte=first) | Q(when_latest__isnull=True))
    if last := day_of(question, "until", LastDayField):
        rows = rows.filter(Q(when_earliest__lte=last) | Q(when_earliest__isnull=True))
    return rows.order_by("when_earliest", "bridge__name", "id")


def _event_rows(events, question):
    return [
        (
            bridge_cell(one.bridge),
            one.bridge.county,
            one.get_kind_display(),
            display(one.when) if one.when else "no date",
            one.text,
            one.get_confidence_display(),
            source_words(one.source),
        )
        for one in events
    ]


EVENTS = List(
    "events",
    "What happened, and who says so",
    "When was it closed, moved, listed or lost, and what source says so?",
    ("Bridge", "County", "What", "When", "Told", "How sure", "Source"),
    _events,
    _event_rows,
    (
        Choice("kind", "What happened", tuple(LifeEvent.Kind.choices)),
        Choice("since", "From"),
        Choice("until", "Until"),
    ),
)


def _elsewhere(question):
    """Spans of bridges that were moved, and spans older than the bridge they are in."""
    moved = LifeEvent.objects.filter(kind=LifeEvent.Kind.MOVED).values("bridge")
    return (
        question.of(Span)
        .filter(Q(bridge__in=moved) | ~Q(made_in=""))
        .order_by("bridge__name", "number")
    )


def _elsewhere_rows(spans, question):
    moves = defaultdict(list)
    events = LifeEvent.objects.filter(
        kind=LifeEvent.Kind.MOVED, bridge__in={one.bridge_id for one in spans}
    )
    for event in events.order_by("when_earliest", "id"):
        moves[event.bridge_id].append(event)
    rows = []
    for span in spans:
        told = moves[span.bridge_id]
        rows.append(
            (
                bridge_cell(span.bridge),
                str(span),
                _place(span.bridge),
                display(span.made_in or span.bridge.built) or "not known",
                "; ".join(display(one.when) for one in told) or "not told",
                " ".join(one.text for one in told if one.text),
                span.bridge.owner or "not recorded",
            )
        )
    return rows


def _place(bridge):
    return ", ".join(part for part in (bridge.town, f"{bridge.county} County") if part)


ELSEWHERE = List(
    "elsewhere",
    "Spans that stand elsewhere than at first",
    "Which spans were moved, from where to where and when, and who owns them now?",
    ("Bridge", "Span", "Where it is now", "Metal of", "Moved", "From where", "Owner"),
    _elsewhere,
    _elsewhere_rows,
    note="Also spans whose metal is older than the bridge they are part of.",
)


def _listing(question):
    rows = question.bridges
    if value := question.get("standing"):
        rows = rows.filter(listing=value)
    return rows.order_by("listing", "name", "id")


def _found(bridges):
    """Return {bridge: its latest event of listing}."""
    events = LifeEvent.objects.filter(
        kind=LifeEvent.Kind.LISTED, bridge__in=[one.pk for one in bridges]
    )
    events = events.select_related("source").order_by("when_latest", "id")
    return {one.bridge_id: one for one in events}


def _listing_rows(bridges, question):
    found = _found(bridges)
    rows = []
    for bridge in bridges:
        event = found.get(bridge.pk)
        rows.append(
            (
                bridge_cell(bridge),
                bridge.county,
                bridge.get_listing_display(),
                display(event.when) if event else "no date on record",
                event.text if event else "",
                source_words(event.source) if event else "no source",
            )
        )
    return rows


LISTING = List(
    "listing",
    "Listed, eligible or not evaluated",
    "Which are listed, eligible or not, and who decided when?",
    ("Bridge", "County", "Standing", "Decided", "Told", "Source"),
    _listing,
    _listing_rows,
    (Choice("standing", "Standing", tuple(Bridge.Listing.choices)),),
)


def _since_finding(question):
    event = LifeEvent.objects.filter(
        kind=LifeEvent.Kind.LISTED, bridge=OuterRef("bridge")
    ).order_by("-when_latest", "-id")
    rows = question.of(ChangeSeen).filter(
        bridge__listing__in=(Bridge.Listing.LISTED, Bridge.Listing.ELIGIBLE)
    )
    rows = rows.annotate(found=Subquery(event.values("when_latest")[:1]))
    rows = rows.filter(Q(day__gt=Subquery(event.values("when_latest")[:1])))
    for part in NOT_INTEGRITY:
        # Rows of nothing else are left out; the others tell all that changed.
        rows = rows.exclude(parts=f",{part},")
    return rows.order_by("bridge__name", "day", "id")


def _since_rows(changes, question):
    found = _found([one.bridge for one in changes])
    return [
        (
            bridge_cell(one.bridge),
            one.bridge.get_listing_display(),
            display(found[one.bridge_id].when),
            display(one.day.isoformat()),
            parts_in_words(one),
            one.text,
        )
        for one in changes
    ]


SINCE_FINDING = List(
    "since-finding",
    "Changed since they were listed or found eligible",
    "Which listed or eligible bridges may have lost integrity since their finding?",
    ("Bridge", "Standing", "Found", "Change seen", "What changed", "Told"),
    _since_finding,
    _since_rows,
    note=(
        "Changes of a posted limit alone are left out. A finding that has no date on "
        "record can have nothing after it: see the list of findings."
    ),
)
