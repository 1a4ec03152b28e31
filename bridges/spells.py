"""What status a bridge had when, as far as its dated events say.

A bridge stands from the first day that it may have been built. Events then turn it:
closed, reopened, bypassed, moved, lost. Between the last event that turns it and today
it has the status that the record gives it now. Where the record knows no event of it,
a bridge counts as in use until then: nobody has said otherwise.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass

IN_SERVICE, LOST = "in-service", "lost"
TURNS = {
    "closed": "closed",
    "reopened": IN_SERVICE,
    "bypassed": "bypassed",
    "lost": LOST,
}


@dataclass(frozen=True)
class Spell:
    status: str
    first: datetime.date | None
    last: datetime.date | None


def spells_of(bridge, events, today):
    """Return the ``Spell``s of a bridge in the order of time.

    ``events`` have ``kind``, ``when_earliest`` and ``when_latest``; an event counts
    from its latest day, so that nothing is said to have happened too soon.
    """
    begins = bridge.built_earliest
    turns = []
    for event in events:
        day = event.when_latest or event.when_earliest
        if event.kind in TURNS and day is not None and day <= today:
            turns.append((day, TURNS[event.kind]))
    lost = bridge.lost_latest or bridge.lost_earliest
    if bridge.status == LOST and lost and not any(s == LOST for _, s in turns):
        turns.append((lost, LOST))
    turns.sort()
    if begins is not None:
        turns = [turn for turn in turns if turn[0] >= begins]
    if bridge.status == LOST and not turns:
        # Gone at a time nobody knows: it cannot be said to have stood on any day.
        return [Spell(LOST, None, None)]
    turns = [(begins, IN_SERVICE), *turns]
    found = []
    for number, (day, status) in enumerate(turns):
        following = turns[number + 1][0] if number + 1 < len(turns) else None
        last = following - datetime.timedelta(days=1) if following else None
        if last is not None and day is not None and last < day:
            continue
        found.append(Spell(status, day, last))
    return _ending_in(found, bridge.status, today)


def _ending_in(found, status, today):
    """Let the last spell give way, today, to the status that the record gives."""
    ended = found[-1]
    if ended.status == status:
        return found
    start = max(ended.first or datetime.date.min, today)
    if ended.first is not None and ended.first >= today:
        return [*found[:-1], Spell(status, ended.first, None)]
    before = Spell(ended.status, ended.first, start - datetime.timedelta(days=1))
    return [*found[:-1], before, Spell(status, start, None)]
