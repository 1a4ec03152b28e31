"""The configuration of a bridge as of a date, folded from what its visits say.

Pure: no database, no clock. A visit says of an element that it is the same, changed,
gone or could not be seen, or says nothing. Its configuration as of a day is, for each
element, the latest answer up to that day that says something:

- ``changed`` gives the state, ``gone`` says that it is not there;
- ``same`` keeps what was in force and renews its age;
- ``not-seen``, ``not-looked`` and silence change nothing.

Visits are ordered by the day by which they had surely been made (the latest day their
uncertain date allows), never by when they were entered; visits of one day by their
earliest day, then by their id, so that the order of entry cannot matter.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

SAME, CHANGED, GONE = "same", "changed", "gone"
TELLING = {SAME, CHANGED, GONE}


@dataclass(frozen=True, slots=True)
class Seen:
    """What one visit says of one element."""

    element: str
    answer: str
    state: Mapping[str, Any] | None = None
    certainty: str = "sure"
    observation: int | None = None
    # The observation whose state the surveyor was shown as last seen.
    compared_with: int | None = None


@dataclass(frozen=True, slots=True)
class Look:
    """One visit, as the fold needs it."""

    visit: str
    latest: datetime.date
    earliest: datetime.date | None
    seen: tuple[Seen, ...]

    @property
    def order(self):
        return (self.latest, self.earliest or self.latest, self.visit)


@dataclass(frozen=True, slots=True)
class Part:
    """What the record holds of one element as of a day, and where it has it from."""

    element: str
    state: Mapping[str, Any] | None
    is_gone: bool
    certainty: str
    # The visit that gave this state (None: seen, but never described).
    said_by: str | None
    said_on: datetime.date | None
    said_observation: int | None
    # The latest visit that confirmed it.
    seen_by: str
    seen_on: datetime.date
    doubt: str = ""

    @property
    def is_described(self):
        return self.state is not None or self.is_gone

    def age_days(self, as_of: datetime.date) -> int:
        """Days since anybody last confirmed this, on ``as_of``."""
        return (as_of - self.seen_on).days

    @property
    def fact(self):
        """State and presence alone: two parts with equal facts do not differ."""
        return None if self.is_gone else self.state


def in_time_order(looks: Iterable[Look]) -> list[Look]:
    return sorted(looks, key=lambda look: look.order)


def up_to(looks: Iterable[Look], as_of: datetime.date) -> list[Look]:
    """Return the visits surely made by ``as_of``, in time order."""
    return in_time_order(look for look in looks if look.latest <= as_of)


class Folding:
    """Takes visits one after another, in time order, and answers for any element."""

    def __init__(self):
        self._said: dict[str, tuple[Look, Seen]] = {}
        self._confirmed: dict[str, Look] = {}
        self._doubts: dict[str, str] = {}

    def take(self, look: Look) -> list[str]:
        """Fold one more visit in; return the elements it says something of."""
        said, confirmed, doubts = self._said, self._confirmed, self._doubts
        told = []
        for seen in look.seen:
            if seen.answer not in TELLING:
                continue
            element = seen.element
            before = said.get(element)
            if seen.answer != SAME:
                doubt = _disagreement(before, look, seen)
                said[element] = (look, seen)
            elif seen.compared_with is not None and before is not None:
                doubt = _mismatch(before, seen)
            else:
                doubt = doubts.get(element, "")
            if doubt or element in doubts:
                doubts[element] = doubt
            confirmed[element] = look
            told.append(element)
        return told

    @property
    def elements(self):
        return self._confirmed.keys()

    def part(self, element: str) -> Part:
        confirming = self._confirmed[element]
        look, seen = self._said.get(element, (None, None))
        known = seen is not None
        return Part(
            element=element,
            state=seen.state if known else None,
            is_gone=known and seen.answer == GONE,
            certainty=seen.certainty if known else "sure",
            said_by=look.visit if known else None,
            said_on=look.latest if known else None,
            said_observation=seen.observation if known else None,
            seen_by=confirming.visit,
            seen_on=confirming.latest,
            doubt=self._doubts.get(element, ""),
        )


def configuration(looks: Iterable[Look]) -> dict[str, Part]:
    """Fold visits, given in any order, into one ``Part`` for each element told of."""
    folding = Folding()
    for look in in_time_order(looks):
        folding.take(look)
    return {element: folding.part(element) for element in folding.elements}


def steps(looks: Iterable[Look]):
    """Yield ``(look, configuration at it)`` in time order, folding each visit once."""
    folding, parts = Folding(), {}
    for look in in_time_order(looks):
        told = folding.take(look)
        parts = parts | {element: folding.part(element) for element in told}
        yield look, parts


def _disagreement(before, look, seen):
    """Two visits of one day that say different things of one element."""
    if before is None or before[0].latest != look.latest:
        return ""
    if before[0].earliest != look.earliest:
        return ""
    if (before[1].answer, before[1].state) == (seen.answer, seen.state):
        return ""
    return "Two visits of the same date say different things of this."


def _mismatch(before, seen):
    """“Same” was said of something that is not what the record now puts before it."""
    if before[1].observation == seen.compared_with:
        return ""
    return (
        "The surveyor who said “same” was looking at an earlier entry than the one "
        "the record now puts before that visit."
    )
