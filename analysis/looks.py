"""When each part of each bridge was last seen, and what was hidden the last time.

Read for the whole record at once and kept until the record changes: for five thousand
bridges that is a few seconds' reading, which no list should do again for each reader.
"""

from __future__ import annotations

import datetime
import uuid
from collections import defaultdict
from dataclasses import dataclass, field

from django.core.cache import cache
from django.db.models import Max

from bridges.models import MapVersion
from surveys.models import Answer, Element, Observation, Visit

KEPT_S = 60 * 60
TELLING = (Answer.SAME, Answer.CHANGED, Answer.GONE)
# What a person calls a group of elements that are looked at together.
PARTS = {
    Element.Kind.MEMBER: "truss members",
    Element.Kind.JOINT: "joints",
    Element.Kind.DECK: "deck",
    Element.Kind.FLOOR_BEAMS: "floor",
    Element.Kind.STRINGERS: "floor",
    Element.Kind.RAILING: "railings",
    Element.Kind.BRACING: "bracing",
    Element.Kind.BEARING: "bearings",
    Element.Kind.PLATE: "plates",
    Element.Kind.LIMIT: "posted limit",
    Element.Kind.ABUTMENT: "abutments and piers",
    Element.Kind.PIER: "abutments and piers",
    Element.Kind.APPROACH: "approaches",
    Element.Kind.ARCH: "arch ring",
    Element.Kind.GIRDER: "girders",
    Element.Kind.CABLE: "cables",
    Element.Kind.SETTING: "setting",
    Element.Kind.OTHER: "other parts",
}


@dataclass
class Looks:
    """Of one bridge: when each group of parts was last seen, and what was hidden."""

    # The day of the part longest unseen; None where nobody ever spoke of any.
    parts: dict[str, datetime.date | None] = field(default_factory=dict)
    # (name, reason) of what the last to try could not see.
    hidden: list[tuple[str, str]] = field(default_factory=list)


# The reading that this process unpacked last: its name and its looks.
_unpacked = [("", {})]


def of_all() -> dict[int, Looks]:
    """Return ``{bridge id: Looks}``; three queries, or two where nothing has changed.

    Whatever enters or leaves the record raises the map's version; elements that are
    laid out by hand change their number.
    """
    key = f"looks-{MapVersion.current()}-{Element.objects.count()}"
    # The cache says which reading holds and has it for other processes; unpacking it
    # for each reader would take longer than the whole list.
    name = cache.get(key)
    unpacked, looks = _unpacked[0]
    if name is not None and name == unpacked:
        return looks
    looks = cache.get(name) if name else None
    if looks is None:
        looks, name = _read(), f"looks-{uuid.uuid4()}"
        cache.set_many({key: name, name: looks}, KEPT_S)
    _unpacked[0] = name, looks
    return looks


def _read():
    last = _last_seen()
    found = defaultdict(Looks)
    rows = Element.objects.order_by("bridge_id", "position", "pk")
    for pk, bridge, kind in rows.values_list("pk", "bridge_id", "kind").iterator():
        parts, name, day = found[bridge].parts, PARTS[kind], last.get(pk)
        known = parts.setdefault(name, day)
        if day is not None and (known is None or day < known):
            parts[name] = day
    for (bridge, _), said in _hidden(last).items():
        found[bridge].hidden.append(said)
    return dict(found)


def _in_the_record():
    return Observation.objects.filter(
        visit__status=Visit.Status.ACCEPTED,
        superseded_by__isnull=True,
        is_held_back=False,
    )


def _last_seen():
    """``{element id: the last day on which somebody saw it}``."""
    seen = _in_the_record().filter(answer__in=TELLING).order_by()
    last = seen.values("element_id").annotate(last=Max("visit__when_latest"))
    return dict(last.values_list("element_id", "last"))


def _hidden(last):
    """``{(bridge, element): (name, reason)}`` of what was hidden after it was seen."""
    hidden = _in_the_record().filter(answer=Answer.NOT_SEEN)
    latest = {}
    for bridge, element, name, reason, day in (
        hidden.order_by("visit__when_latest", "pk")
        .values_list(
            "element__bridge_id",
            "element_id",
            "element__name",
            "reason",
            "visit__when_latest",
        )
        .iterator()
    ):
        if element not in last or last[element] < day:
            latest[bridge, element] = name, reason
    return latest
