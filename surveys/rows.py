"""The record of many bridges as bare rows: for work that goes through all of them.

``record.load_many`` makes an instance of every row, for pages that show them. Here the
same facts come as plain tuples, in as many queries for fifty bridges as for one; they
fold to the same configurations, and their text tells whether anything has changed.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from django.db.models import TextField
from django.db.models.functions import Cast

from . import changes as derive
from . import fold
from .models import Component, Element, Observation, Visit


class ElementRow(NamedTuple):
    """An element, with the name of its truss line."""

    pk: int
    path: str
    kind: str
    name: str
    role: str
    member: str
    line: str | None
    span: int | None
    position: int


class VisitRow(NamedTuple):
    """An accepted visit."""

    pk: int
    client_id: Any
    earliest: Any
    latest: Any
    basis: str


class ObservationRow(NamedTuple):
    """What a visit says of an element; ``state`` as JSON text, without its pieces."""

    pk: int
    visit: int
    element: int
    answer: str
    state: str | None
    certainty: str
    compared_with: int | None


#: A piece: its observation, what of it makes the state, in the order of its columns.
PIECE = (
    "observation",
    "shape",
    "count",
    *Component.SIZES,
    "ends",
    "origin",
    "is_dead_load_relieved",
    "as_entered",
)
PieceRow = tuple[Any, ...]


@dataclass
class Rows:
    """What stands in the database of one bridge's record, in a fixed order.

    Elements as one walks up to the bridge, visits in time order, observations by
    element within a visit, pieces in their order by observation.
    """

    elements: list[ElementRow] = field(default_factory=list)
    visits: list[VisitRow] = field(default_factory=list)
    said: dict[int, list[ObservationRow]] = field(default_factory=dict)
    pieces: dict[int, list[PieceRow]] = field(default_factory=dict)

    @property
    def text(self) -> str:
        """All of it as text: equal where, and only where, the rows are equal."""
        said = [(visit, self.said.get(visit.pk)) for visit in self.visits]
        return repr((self.elements, said, sorted(self.pieces.items())))


def read(bridges: Iterable[int]) -> dict[int, Rows]:
    """Return the rows of bridges by the bridges' ids."""
    ids = list(bridges)
    found = {pk: Rows() for pk in ids}
    place = {}
    elements = Element.objects.filter(bridge__in=ids)
    for owner, *row in elements.order_by("bridge", "position", "path").values_list(
        "bridge",
        "pk",
        "path",
        "kind",
        "name",
        "role",
        "member",
        "truss_line__name",
        "span",
        "position",
    ):
        one = ElementRow(*row)
        found[owner].elements.append(one)
        place[one.pk] = one.position
    visits = Visit.objects.filter(bridge__in=ids).accepted().in_time_order()
    of_visit = {}
    for owner, *row in visits.values_list(
        "bridge", "pk", "client_id", "when_earliest", "when_latest", "basis"
    ):
        one = VisitRow(*row)
        found[owner].visits.append(one)
        of_visit[one.pk] = found[owner]
    of_observation = {}
    for later, *row in _accepted(ids).values_list(
        "superseded_by",
        "pk",
        "visit",
        "element",
        "answer",
        Cast("state", TextField()),
        "certainty",
        "compared_with",
    ):
        one = ObservationRow(*row)
        if later is not None:
            continue
        # A visit accepted since the visits were read is told by the next reading.
        if one.visit in of_visit and one.element in place:
            of_visit[one.visit].said.setdefault(one.visit, []).append(one)
            of_observation[one.pk] = of_visit[one.visit].pieces
    for said in (rows.said for rows in found.values()):
        for some in said.values():
            some.sort(key=lambda one: (place[one.element], one.pk))
    pieces = Component.objects.filter(
        observation__visit__bridge__in=ids,
        observation__visit__status=Visit.Status.ACCEPTED,
    )
    for row in pieces.order_by("observation", "position", "id").values_list(*PIECE):
        if row[0] in of_observation:
            of_observation[row[0]].setdefault(row[0], []).append(row)
    return found


def _accepted(ids):
    """Observations of these bridges' accepted visits that are not held back.

    Those superseded are among them, to be left out when read: asked for standing ones,
    SQLite goes through all that stand of every bridge there is.
    """
    return Observation.objects.filter(
        visit__bridge__in=ids,
        visit__status=Visit.Status.ACCEPTED,
        is_held_back=False,
    ).order_by()


@dataclass
class States:
    """Makes states of rows, each once: equal ones are the same object, only read."""

    _states: dict = field(default_factory=dict)
    _pieces: dict = field(default_factory=dict)

    def of(self, text: str | None, pieces: list[PieceRow]) -> Mapping[str, Any] | None:
        """Return the state of an observation with its pieces, as ``whole_state``."""
        if text is None:
            return None
        key = (text, *(row[1:] for row in pieces))
        state = self._states.get(key)
        if state is None:
            state = json.loads(text)
            if pieces:
                state["components"] = [self._piece(row[1:]) for row in pieces]
            self._states[key] = state
        return state

    def _piece(self, row):
        known = self._pieces.get(row)
        if known is None:
            facts = dict(zip(PIECE[1:], row, strict=True))
            known = self._pieces[row] = Component(**facts).as_dict()
        return known


def steps(rows: Rows, states: States):
    """Return (id of the visit, configuration, changes since the one before) in order.

    What ``Record.steps`` returns of the same record.
    """
    path = {one.pk: one.path for one in rows.elements}
    abouts = [
        derive.About(
            one.path, one.kind, one.name, one.role, one.member, one.line or "", one.span
        )
        for one in rows.elements
    ]
    pk = {str(visit.client_id): visit.pk for visit in rows.visits}
    looks = [
        fold.Look(
            str(visit.client_id),
            visit.latest,
            visit.earliest,
            tuple(
                fold.Seen(
                    path[one.element],
                    one.answer,
                    states.of(one.state, rows.pieces.get(one.pk, [])),
                    one.certainty,
                    one.pk,
                    one.compared_with,
                )
                for one in rows.said.get(visit.pk, ())
            ),
        )
        for visit in rows.visits
    ]
    found, before = [], {}
    for look, after in fold.steps(looks):
        found.append((pk[look.visit], after, derive.compare(before, after, abouts)))
        before = after
    return found
