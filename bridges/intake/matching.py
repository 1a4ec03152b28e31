"""Which bridge of ours a row speaks of: by what it is numbered, then by where it is.

Certain is only what a person said, a record that was this bridge before and has not
moved, and one lone bridge near by whose crossing or name is the same and of which
nothing in the row says otherwise. All else waits for a person; a wrong match would put
another bridge's facts beside ours.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from scipy.spatial import cKDTree

from bridges.models import Bridge, Correspondence, Form, Import, ImportRow

from .likeness import best
from .record import Record

Outcome = ImportRow.Outcome

EARTH_M = 6_371_009
# Closer than this two positions may be one bridge's (and a record may not have moved).
NEAR_M = 200
# As far as somebody may have been out in reading a map.
FAR_M = 1000
ALIKE = 85
HALF_ALIKE = 50
# A bridge of another time on the same site is another bridge.
YEARS_APART = 25
MOST_CANDIDATES = 6

WHYS = {
    "said so": "A person said so.",
    "number": "By its number, and at the same place.",
    "number only": "By its number; the row gives no place.",
    "place and name": "One bridge stands there, of the same crossing or name.",
    "made": "A bridge was made of it.",
    "moved": "The number is this bridge’s, the place is another.",
    "other number": "A bridge of ours stands there under another number.",
    "several": "Several bridges of ours stand there.",
    "renumbered": "The bridge that stands there has another record of this list.",
    "unlike names": "A bridge stands there; crossing and name are not alike.",
    "further off": "A bridge of the same crossing or name stands further off.",
    "another time": "The bridge that stands there is of another time.",
    "another kind": "The bridge that stands there is of another kind.",
    "nothing near": "No bridge of ours is near.",
    "nowhere": "The row gives no place.",
    "asked again": "It was asked about again.",
}


@dataclass
class Match:
    outcome: str
    why: str
    bridge: int | None = None
    candidates: list = field(default_factory=list)


class Matcher:
    """Holds every bridge's position (24 bytes each) while a list is read."""

    def __init__(self, of: Import):
        self.of = of
        rows = Bridge.objects.order_by("pk").values_list("pk", "latitude", "longitude")
        found = np.fromiter(
            (
                (pk, float(north), float(east))
                for pk, north, east in rows.iterator(5000)
            ),
            dtype=[("id", "i8"), ("north", "f8"), ("east", "f8")],
        )
        self.ids = found["id"]
        places = _on_sphere(found["north"], found["east"])
        self.tree = cKDTree(places) if len(found) else None
        # Which bridge has which record of this list already.
        known = Correspondence.objects.filter(
            list_name=of.list_name, bridge__isnull=False
        )
        self.holders = dict(known.values_list("bridge_id", "key"))

    def match(self, records: list[Record]) -> list[Match]:
        """Return a ``Match`` for each; none of them may be faulty or aside."""
        known = {
            one.key: one
            for one in Correspondence.objects.filter(
                list_name=self.of.list_name, key__in=[r.key for r in records]
            )
        }
        numbered = self._by_number(records)
        near = self._near(records)
        wanted = {pk for found in near for pk, _ in found}
        wanted |= {one.bridge_id for one in known.values() if one.bridge_id}
        wanted |= set(numbered.values())
        bridges = Bridge.objects.select_related("standing").in_bulk(wanted)
        return [
            self._one(record, known.get(record.key), numbered, around, bridges)
            for record, around in zip(records, near, strict=True)
        ]

    def _by_number(self, records):
        if self.of.layout != Import.Layout.OWN:
            return {}
        numbers = [record.facts["number"] for record in records]
        rows = Bridge.objects.filter(number__in=numbers).values_list("number", "pk")
        return dict(rows)

    def _near(self, records):
        """Return [[(bridge, metres), …], …], the nearest first."""
        found = [[] for _ in records]
        placed = [n for n, record in enumerate(records) if record.place]
        if self.tree is None or not placed:
            return found
        places = np.array([records[n].place for n in placed])
        points = _on_sphere(places[:, 0], places[:, 1])
        reach = [max(FAR_M, records[n].accuracy_m) / EARTH_M for n in placed]
        for n, point, around in zip(
            placed, points, self.tree.query_ball_point(points, reach), strict=True
        ):
            away = np.linalg.norm(self.tree.data[around] - point, axis=1) * EARTH_M
            pairs = zip(self.ids[around].tolist(), away.tolist(), strict=True)
            found[n] = sorted(pairs, key=lambda pair: pair[1])
        return found

    def _one(self, record, said, numbered, around, bridges):
        if said is not None and said.person_id:
            if said.bridge_id is None:
                return Match(Outcome.NOT_OURS, "said so")
            return Match(Outcome.MATCHED, "said so", said.bridge_id)
        held = said.bridge_id if said is not None else None
        held = held or numbered.get(record.facts.get("number", ""))
        if held in bridges:
            return self._known(record, bridges[held], around, bridges)
        if said is not None and said.bridge_id is None:
            return Match(Outcome.NOT_OURS, said.why)
        return self._by_place(record, around, bridges)

    def _known(self, record, bridge, around, bridges):
        if record.place is None:
            return Match(Outcome.MATCHED, "number only", bridge.pk)
        metres = _apart(record.place, (bridge.latitude, bridge.longitude))
        if metres <= max(NEAR_M, record.accuracy_m):
            self.holders[bridge.pk] = record.key
            return Match(Outcome.MATCHED, "number", bridge.pk)
        pairs = [(bridge.pk, metres), *(p for p in around if p[0] != bridge.pk)]
        return Match(Outcome.QUEUED, "moved", None, self._rated(record, pairs, bridges))

    def _by_place(self, record, around, bridges):
        if record.place is None:
            return Match(Outcome.KEPT, "nowhere")
        rated = self._rated(record, around, bridges)
        reach = max(NEAR_M, record.accuracy_m)
        near = [one for one in rated if one[1] <= reach]
        strong = [one for one in near if one[2] >= ALIKE]
        further = [one for one in rated if one[2] >= ALIKE and one not in near]
        if not near:
            if further:
                return Match(Outcome.QUEUED, "further off", None, further)
            return Match(Outcome.KEPT, "nothing near")
        why = self._doubt(record, near, strong, bridges)
        if why:
            return Match(Outcome.QUEUED, why, None, near + further)
        pk = strong[0][0]
        self.holders[pk] = record.key
        return Match(Outcome.MATCHED, "place and name", pk)

    def _doubt(self, record, near, strong, bridges):
        """Return why a row is not surely the one bridge near by, blank if it is."""
        if self.of.layout == Import.Layout.OWN:
            return "other number"
        if not strong:
            return "unlike names"
        if len([one for one in near if one[2] >= HALF_ALIKE]) > 1:
            return "several"
        bridge = bridges[strong[0][0]]
        if self.holders.get(bridge.pk, record.key) != record.key:
            return "renumbered"
        if record.year:
            first, last = bridge.built_earliest, bridge.built_latest
            is_later = last and record.year > last.year + YEARS_APART
            if is_later or (first and record.year < first.year - YEARS_APART):
                return "another time"
        standing = getattr(bridge, "standing", None)
        is_told = standing and standing.form not in (Form.UNKNOWN, Form.OTHER)
        if record.family and is_told and record.family != standing.family:
            return "another kind"
        return ""

    def _rated(self, record, pairs, bridges):
        rated = []
        for pk, metres in pairs:
            bridge = bridges[pk]
            names = [bridge.name, *bridge.also_known_as.split(";")]
            score = max(
                best(record.names, names),
                best(record.crossings, [bridge.crossing]),
                best(record.names, [bridge.crossing])
                if not record.facts.get("road")
                else 0,
            )
            rated.append([pk, round(metres), score])
        rated.sort(key=lambda one: (-(one[1] <= NEAR_M), -one[2], one[1]))
        return rated[:MOST_CANDIDATES]


def _on_sphere(north, east):
    north, east = np.radians(north), np.radians(east)
    flat = np.cos(north)
    return np.column_stack([flat * np.cos(east), flat * np.sin(east), np.sin(north)])


def _apart(one, other):
    """Return metres between two (latitude, longitude), by the haversine formula."""
    a, b = (
        [math.radians(float(degrees)) for degrees in place] for place in (one, other)
    )
    half = (
        math.sin((b[0] - a[0]) / 2) ** 2
        + math.cos(a[0]) * math.cos(b[0]) * math.sin((b[1] - a[1]) / 2) ** 2
    )
    return 2 * EARTH_M * math.asin(min(1, math.sqrt(half)))
