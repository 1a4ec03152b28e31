"""Checks and effects kept in step with the record. Safe to repeat."""

from __future__ import annotations

from dataclasses import dataclass

from django.db import transaction

from bridges.models import Bridge
from shared import audit, jobs
from surveys import record as records
from surveys import services as survey_services

from . import effects
from .models import ConfigurationCheck, Effect
from .recheck import Counts, recheck_many, truss_lines_of


def truss_lines(bridge):
    """Return the truss lines of a bridge with their spans loaded."""
    return truss_lines_of([bridge])[bridge.pk]


def recheck(*, bridge: Bridge) -> Counts:
    """Bring the stored checks and effects of one bridge in line with its record."""
    return recheck_many([bridge])


def effects_between(record, from_visit, to_visit, lines=None):
    """Compute the effects between any two visits: ``[(line, changes, result)]``.

    Consecutive visits have theirs stored; any other pair is computed as asked.
    """
    lines = truss_lines(record.bridge) if lines is None else lines
    before = {} if from_visit is None else record.configuration(from_visit)
    after = record.configuration(to_visit)
    changes = record.changes(from_visit, to_visit)
    return [
        (line, changes, effects.effect_on(line, before, after, changes))
        for line in lines
        if effects.relevant(line, changes)
    ]


def preview(visit, observations=None):
    """Return what accepting a visit would change: ``(changes, [(line, result)])``."""
    record = records.load(visit.bridge)
    if observations is None:
        observations = list(
            records.standing_observations()
            .filter(visit=visit)
            .select_related("element__truss_line", "element__span")
        )
    would_be = record.with_visit(visit, observations)
    before_visit = would_be.previous(visit)
    changes = would_be.changes(before_visit, visit)
    told = effects_between(would_be, before_visit, visit)
    return changes, [(line, result) for line, _, result in told]


@jobs.job
def recheck_bridge(*, bridge):
    """What a step left to be done when the power went in the middle of it."""
    recheck(bridge=Bridge.objects.get(pk=bridge))


def _then_recheck(step, **arguments):
    """Take a step and recompute all that depends on it; returns the step's visit.

    With the step itself a job is stored that recomputes a minute later, and dropped
    again when all is done: what a power cut leaves undone is not left stale.
    """
    with transaction.atomic():
        visit = step(**arguments)
        owed = jobs.enqueue(recheck_bridge, after_s=60, bridge=visit.bridge_id)
    recheck(bridge=visit.bridge)
    jobs.drop(owed)
    return visit


def accept_visit(*, visit, reviewer, held_back=()):
    """Accept a visit and recompute all that depends on it. Returns the visit."""
    visit = _then_recheck(
        survey_services.accept_visit,
        visit=visit,
        reviewer=reviewer,
        held_back=held_back,
    )
    audit.note(audit.Action.ACCEPTED, person=reviewer, subject=str(visit))
    return visit


def return_visit(*, visit, reviewer, question="", questions=()):
    """Send a visit back with questions; the record does not change by it."""
    return survey_services.return_visit(
        visit=visit, reviewer=reviewer, question=question, questions=questions
    )


def take_out_visit(*, visit, reviewer, reason):
    """Take a visit out of the record and recompute what rested on it."""
    return _then_recheck(
        survey_services.take_out_visit, visit=visit, reviewer=reviewer, reason=reason
    )


def take_in(*, visit, reviewer, observations):
    """Take held-back answers into the record and recompute what follows."""
    return _then_recheck(
        survey_services.take_in,
        visit=visit,
        reviewer=reviewer,
        observations=observations,
    )


# The history as the pages and the dossier tell it.


@dataclass
class Step:
    """One accepted visit, what had changed by it, and what that did."""

    visit: object
    changes: list
    # One row a truss line: (line, ConfigurationCheck before or None, after, result).
    lines: list
    previous: object = None

    def shares_of(self, change):
        """Return ``[(line, share, result)]`` of one change, () where it had none."""
        return [
            (line, share, result)
            for line, _, _, result in self.lines
            for share in (result or {}).get("shares", [])
            if change.key in share["keys"]
        ]


def history(bridge, record=None) -> list[Step]:
    """Return every accepted visit in time order with changes and stored effects.

    A fixed number of queries whatever the length of the record.
    """
    record = record or records.load(bridge)
    lines = truss_lines(bridge)
    checks = {
        (one.truss_line_id, one.visit_id): one
        for one in ConfigurationCheck.objects.filter(
            truss_line__in=lines
        ).select_related("check_made")
    }
    stored = {
        (one.truss_line_id, one.to_visit_id): one.result
        for one in Effect.objects.filter(truss_line__in=lines)
    }
    steps, previous = [], None
    for visit, _, changes in record.steps():
        rows = [
            (
                line,
                checks.get((line.pk, previous.pk)) if previous else None,
                checks.get((line.pk, visit.pk)),
                stored.get((line.pk, visit.pk)),
            )
            for line in lines
        ]
        steps.append(Step(visit, changes, rows, previous))
        previous = visit
    return steps
