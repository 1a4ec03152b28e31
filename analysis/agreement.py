"""Visits made on the same day by different people: what they say alike, and what not.

Both are kept. Where they differ the record holds the later by the fold's fixed order
and says that two visits disagree; a reviewer sees both sides before deciding.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from surveys import states
from surveys.models import Answer, Certainty, Visit

LOOKED = {Answer.SAME, Answer.CHANGED, Answer.GONE}


@dataclass
class Difference:
    """One element of which two visits of one day say different things."""

    element: object
    here: str
    there: str


@dataclass
class Other:
    """Another visit of the same day, held against the one under review."""

    visit: Visit
    alike: int = 0
    differences: list[Difference] = field(default_factory=list)


def others(shown, observations) -> list[Other]:
    """Return the other visits of the day, in two queries, the accepted ones first."""
    visits = list(
        Visit.objects.filter(
            bridge=shown.bridge_id,
            when_latest=shown.when_latest,
            when_earliest=shown.when_earliest,
            status__in=[Visit.Status.SUBMITTED, Visit.Status.ACCEPTED],
        )
        .exclude(pk=shown.pk)
        .exclude(surveyor=shown.surveyor_id)
        .select_related("surveyor")
        .prefetch_related("observations__components", "observations__element")
        .order_by("status", "submitted_at")
    )
    here = {one.element_id: one for one in observations}
    return [_compared(visit, here) for visit in visits]


def _compared(visit, here):
    found = Other(visit)
    for one in visit.observations.all():
        mine = here.get(one.element_id)
        if mine is None or one.superseded_by_id:
            continue
        if mine.answer not in LOOKED or one.answer not in LOOKED:
            # Who could not see a thing does not contradict who did.
            continue
        if _fact(mine) == _fact(one):
            found.alike += 1
        else:
            found.differences.append(Difference(one.element, _words(mine), _words(one)))
    found.differences.sort(key=lambda row: (row.element.position, row.element.path))
    return found


def _fact(one):
    return one.answer, one.whole_state()


def _words(one):
    state = one.whole_state()
    said = (
        states.describe(one.element.kind, state) if state else one.get_answer_display()
    )
    doubts = [] if one.certainty == Certainty.SURE else [one.get_certainty_display()]
    doubts += ["held back"] if one.is_held_back else []
    return f"{said} ({', '.join(doubts).lower()})" if doubts else said
