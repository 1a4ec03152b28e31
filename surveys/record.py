"""One bridge's record read whole: elements, accepted visits, and what follows of them.

Four queries whatever the size of the record; everything else is derived in memory.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from functools import cached_property

from django.db.models import Prefetch

from . import changes as derive
from . import fold
from .models import Element, Observation, Visit


@dataclass
class Record:
    """What the accepted visits of one bridge say, ready to be folded."""

    bridge: object
    elements: list[Element]
    visits: list[Visit]
    looks: list[fold.Look]

    @cached_property
    def by_path(self):
        return {element.path: element for element in self.elements}

    @cached_property
    def abouts(self):
        return [about(element) for element in self.elements]

    @cached_property
    def visit_by_key(self):
        return {str(visit.client_id): visit for visit in self.visits}

    @cached_property
    def _look_by_key(self):
        return {look.visit: look for look in self.looks}

    def configuration(self, as_of=None) -> dict[str, fold.Part]:
        """Return ``{path: Part}`` as of a day, at a visit (its own answers included),
        or, with nothing, now."""
        if as_of is None:
            return fold.configuration(self.looks)
        if isinstance(as_of, datetime.date):
            return fold.configuration(fold.up_to(self.looks, as_of))
        order = self._order_of(as_of)
        return fold.configuration(look for look in self.looks if look.order <= order)

    def until(self, day: datetime.date) -> Record:
        """Return the record as it would be if nobody had looked after a day."""
        looks = fold.up_to(self.looks, day)
        visits = [self.visit_by_key[look.visit] for look in looks]
        return Record(self.bridge, self.elements, visits, looks)

    def with_visit(self, visit, observations) -> Record:
        """Return the record as it would be if a visit not yet accepted were."""
        looks = [one for one in self.looks if one.visit != str(visit.client_id)]
        look = look_at(visit, observations)
        visits = [one for one in self.visits if one.client_id != visit.client_id]
        return Record(
            self.bridge,
            self.elements,
            sorted([*visits, visit], key=_visit_order),
            fold.in_time_order([*looks, look]),
        )

    def previous(self, visit):
        """Return the accepted visit just before this one in time, or None."""
        order = self._order_of(visit)
        earlier = [look for look in self.looks if look.order < order]
        return self.visit_by_key[earlier[-1].visit] if earlier else None

    def changes(self, from_visit, to_visit) -> list[derive.Change]:
        """Return what changed from one visit's configuration to another's."""
        before = {} if from_visit is None else self.configuration(from_visit)
        return derive.compare(before, self.configuration(to_visit), self.abouts)

    def steps(self):
        """Return (visit, its configuration, changes since the one before) in order.

        One pass: each visit is folded onto the ones before it, once for all who ask.
        """
        return list(self._steps)

    @cached_property
    def _steps(self):
        found, before = [], {}
        for look, after in fold.steps(self.looks):
            changed = derive.compare(before, after, self.abouts)
            found.append((self.visit_by_key[look.visit], after, changed))
            before = after
        return found

    def answers_of(self, visit):
        """Return ``{path: Seen}`` of what one visit itself said."""
        look = self._look_by_key[str(visit.client_id)]
        return {seen.element: seen for seen in look.seen}

    def _order_of(self, visit):
        look = self._look_by_key.get(str(visit.client_id))
        return look.order if look else look_at(visit, ()).order


def about(element: Element) -> derive.About:
    return derive.About(
        path=element.path,
        kind=element.kind,
        name=element.name,
        role=element.role,
        member=element.member,
        line=element.truss_line.name if element.truss_line_id else "",
        span=element.span_id,
    )


def look_at(visit, observations) -> fold.Look:
    """Turn one visit's rows into what the fold takes."""
    return fold.Look(
        visit=str(visit.client_id),
        latest=visit.when_latest,
        earliest=visit.when_earliest,
        seen=tuple(
            fold.Seen(
                element=one.element.path,
                answer=one.answer,
                state=one.whole_state(),
                certainty=one.certainty,
                observation=one.pk,
                compared_with=one.compared_with_id,
            )
            for one in observations
        ),
    )


def standing_observations():
    """Observations that count: not superseded and not held back by a reviewer."""
    return Observation.objects.filter(
        superseded_by__isnull=True, is_held_back=False
    ).prefetch_related(Prefetch("components", to_attr="pieces"))


def load(bridge) -> Record:
    """Read one bridge's record."""
    return load_many([bridge])[bridge.pk]


def load_many(bridges) -> dict[int, Record]:
    """Read several bridges' records in the same four queries, keyed by bridge id."""
    ids = [bridge.pk for bridge in bridges]
    elements: dict[int, list[Element]] = {pk: [] for pk in ids}
    by_id = {}
    rows = Element.objects.filter(bridge__in=ids).select_related("truss_line", "span")
    for element in rows.order_by("bridge", "position", "path"):
        elements[element.bridge_id].append(element)
        by_id[element.pk] = element
    visits: dict[int, list[Visit]] = {pk: [] for pk in ids}
    accepted = Visit.objects.filter(bridge__in=ids).accepted().in_time_order()
    known = {bridge.pk: bridge for bridge in bridges}
    for visit in accepted.select_related("surveyor"):
        visit.bridge = known[visit.bridge_id]
        visit.withhold()
        visits[visit.bridge_id].append(visit)
    said: dict[int, list[Observation]] = {}
    for one in standing_observations().filter(
        visit__bridge__in=ids, visit__status=Visit.Status.ACCEPTED
    ):
        one.element = by_id[one.element_id]
        said.setdefault(one.visit_id, []).append(one)
    return {
        bridge.pk: Record(
            bridge,
            elements[bridge.pk],
            visits[bridge.pk],
            fold.in_time_order(
                look_at(visit, said.get(visit.pk, ())) for visit in visits[bridge.pk]
            ),
        )
        for bridge in bridges
    }


def _visit_order(visit):
    return look_at(visit, ()).order
