"""Checks and effects kept in step with the record. Safe to repeat."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise

from django.db import transaction
from django.db.models import Max

from analysis.engine import ENGINE_VERSION
from analysis.engine.answer import answer_checks
from bridges.models import Bridge, Span, TrussLine
from shared import audit, jobs
from surveys import record as records
from surveys import services as survey_services
from surveys.models import Observation, Visit

from . import effects, translate
from .models import Check, ConfigurationCheck, Effect, ToMeasure


@dataclass
class Counts:
    """What a recheck did."""

    checks_new: int = 0
    checks_kept: int = 0
    effects_new: int = 0
    effects_kept: int = 0
    bridges: int = 0
    gaps: list[str] = field(default_factory=list)

    def add(self, other):
        for name in ("checks_new", "checks_kept", "effects_new", "effects_kept"):
            setattr(self, name, getattr(self, name) + getattr(other, name))
        self.bridges += 1


def truss_lines(bridge):
    """Return the truss lines of a bridge with their spans loaded."""
    lines = TrussLine.objects.filter(span__bridge=bridge).select_related("span__bridge")
    return list(lines.order_by("span__number", "position", "id"))


def recheck(*, bridge: Bridge) -> Counts:
    """Bring the stored checks and effects of one bridge in line with its record.

    Computes only what is new: a check is keyed by its input and the engine, an effect
    by both its check files. What no longer follows from the record is dropped. The
    arithmetic is done outside the transaction that stores it.
    """
    while True:
        counts = _recheck_once(bridge)
        if counts is not None:
            return counts


def _recheck_once(bridge):
    """None where the record changed while it was computed: it is to be done again."""
    stamp = _stamp(bridge)
    record = records.load(bridge)
    lines = truss_lines(bridge)
    steps = record.steps()
    wanted = {
        (line.pk, visit.pk): (line, visit, translate.check_file(line, parts))
        for line in lines
        for visit, parts, _ in steps
    }
    counts = Counts()
    checks = _checks_for([one for _, _, one in wanted.values() if one.check], counts)
    told = _effects_for(lines, steps, checks, counts)
    with transaction.atomic():
        # One at a time: else what is stored last may have been read first.
        Bridge.objects.select_for_update().filter(pk=bridge.pk).first()
        if _stamp(bridge) != stamp:
            return None
        _store_configurations(bridge, wanted, checks)
        _store_effects(bridge, told)
        ToMeasure.objects.filter(bridge=bridge).update(is_stale=True)
    return counts


def _stamp(bridge):
    """What tells whether the record of a bridge is still the one that was read."""
    kept = [
        Visit.history.filter(bridge_id=bridge.pk),
        Observation.history.filter(visit__bridge_id=bridge.pk),
        Span.history.filter(bridge_id=bridge.pk),
    ]
    return [one.aggregate(last=Max("history_id"))["last"] for one in kept]


def _checks_for(made, counts):
    """Return ``{sha256: Check}`` of translations, computing the ones not stored."""
    by_hash = {one.sha256: one for one in made}
    stored = {
        check.input_sha256: check
        for check in Check.objects.filter(
            input_sha256__in=by_hash, engine=ENGINE_VERSION
        )
    }
    missing = [sha for sha in by_hash if sha not in stored]
    counts.checks_kept += len(by_hash) - len(missing)
    counts.checks_new += len(missing)
    if not missing:
        return stored
    answers = answer_checks([by_hash[sha].check for sha in missing])
    fresh = [
        _check(sha, by_hash[sha].document, answer)
        for sha, answer in zip(missing, answers, strict=True)
    ]
    # Another process may have stored the same answer meanwhile: it is the same.
    Check.objects.bulk_create(fresh, ignore_conflicts=True)
    found = Check.objects.filter(input_sha256__in=by_hash, engine=ENGINE_VERSION)
    return {check.input_sha256: check for check in found}


def _check(sha, document, answer):
    figures = effects.measures(answer)
    return Check(
        input_sha256=sha,
        engine=ENGINE_VERSION,
        document=document,
        answer=answer,
        stands=answer["stands"],
        limit_tons=figures["limit_tons"],
        governing_member=figures["member"] or "",
    )


def _store_configurations(bridge, wanted, checks):
    standing = {
        (one.truss_line_id, one.visit_id): one
        for one in ConfigurationCheck.objects.filter(truss_line__span__bridge=bridge)
    }
    for key in set(standing) - set(wanted):
        standing[key].delete()
    fresh = []
    for key, (line, visit, made) in wanted.items():
        check = checks[made.sha256] if made.check else None
        facts = {
            "check_made": check,
            "gap": " ".join(made.gaps),
            "assumptions": made.assumptions,
        }
        old = standing.get(key)
        if old is None:
            fresh.append(ConfigurationCheck(truss_line=line, visit=visit, **facts))
        elif (old.check_made_id, old.gap, old.assumptions) != (
            check.pk if check else None,
            facts["gap"],
            facts["assumptions"],
        ):
            for name, value in facts.items():
                setattr(old, name, value)
            old.save()
    ConfigurationCheck.objects.bulk_create(fresh)


def _effects_for(lines, steps, checks, counts):
    """Return ``{(line, from, to): (sha, result or the stored row)}``."""
    answers = {sha: check.answer for sha, check in checks.items()}
    stored = {
        (one.truss_line_id, one.from_visit_id, one.to_visit_id): one
        for one in Effect.objects.filter(truss_line__in=lines, engine=ENGINE_VERSION)
    }
    told = {}
    for (earlier, before, _), (later, after, changes) in pairwise(steps):
        if not changes:
            continue
        for line in lines:
            if not effects.relevant(line, changes):
                continue
            sha = effects.content_sha256(line, before, after, changes)
            old = stored.get((line.pk, earlier.pk, later.pk))
            if old is not None and old.content_sha256 == sha:
                counts.effects_kept += 1
                told[line.pk, earlier.pk, later.pk] = (sha, old)
                continue
            counts.effects_new += 1
            result = effects.effect_on(line, before, after, changes, answers)
            told[line.pk, earlier.pk, later.pk] = (sha, result)
    return told


def _store_effects(bridge, told):
    for one in Effect.objects.filter(truss_line__span__bridge=bridge):
        if (one.truss_line_id, one.from_visit_id, one.to_visit_id) not in told:
            one.delete()
    for (line, earlier, later), (sha, result) in told.items():
        if isinstance(result, Effect):
            continue
        Effect.objects.update_or_create(
            truss_line_id=line,
            from_visit_id=earlier,
            to_visit_id=later,
            defaults={
                "content_sha256": sha,
                "engine": ENGINE_VERSION,
                "result": result,
            },
        )


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
