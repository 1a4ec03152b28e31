"""Bringing stored checks and effects in step with the record, many bridges at a time.

Every question that some bridges' records ask, and every subset of changes that their
effects take, is written once and answered in one go; reading and storing cost the same
few queries for fifty bridges as for one.
"""

from __future__ import annotations

import gc
from collections.abc import Iterable
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import pairwise

from django.db import transaction
from django.db.models import Max
from django.db.models.fields.json import KeyTransform

from analysis.engine import ENGINE_VERSION, checkfile
from analysis.engine.alike import Reader
from analysis.engine.figures import answers_and_figures
from bridges.models import Bridge, Span, TrussLine
from surveys import rows
from surveys.models import Observation, Visit

from . import effects, in_step, translate
from .models import Check, ConfigurationCheck, Effect, ToMeasure

#: Bridges worked on together: one transaction, a few megabytes.
CHUNK = 40


@dataclass
class Counts:
    """What a recheck did."""

    checks_new: int = 0
    checks_kept: int = 0
    effects_new: int = 0
    effects_kept: int = 0
    bridges: int = 0

    def add(self, other):
        for name in ("checks_new", "checks_kept", "effects_new", "effects_kept"):
            setattr(self, name, getattr(self, name) + getattr(other, name))
        self.bridges += other.bridges


def recheck_many(bridges: Iterable[Bridge]) -> Counts:
    """Bring the stored checks and effects of bridges in line with their records.

    Bridges that are in step are told at a glance (``in_step``). For the rest it computes
    only what is new: a check is keyed by its input and the engine, an effect by both its
    check files; or everything, where what is stored is not what was stored. What no
    longer follows from a record is dropped. The arithmetic is done outside the
    transaction that stores it. Safe to repeat.
    """
    total = Counts()
    left = list(bridges)
    while left:
        some, left = left[:CHUNK], left[CHUNK:]
        with _no_search_for_cycles():
            counts, again = _once(some)
        total.add(counts)
        # Their records changed while they were computed: they are to be done again.
        left = [*again, *left]
    return total


@contextmanager
def _no_search_for_cycles():
    """What is read and computed of some bridges lives until it is stored.

    Looking through it again and again for cycles took over a third of the time.
    """
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def truss_lines_of(bridges: Iterable[Bridge]) -> dict[int, list[TrussLine]]:
    """Return the truss lines of bridges, with their spans loaded, by bridge id."""
    found: dict[int, list[TrussLine]] = {bridge.pk: [] for bridge in bridges}
    lines = TrussLine.objects.filter(span__bridge__in=found)
    lines = lines.select_related("span__bridge")
    for line in lines.order_by("span__bridge", "span__number", "position", "id"):
        found[line.span.bridge_id].append(line)
    return found


@dataclass
class Files:
    """Writes check files, each once: the same parts of a line give the same file.

    Two lines that are recorded alike ask the same question, which is read once.
    """

    # By identity of the parts, and of their states: kept with the answer, so that none
    # is made anew in the place of another.
    _written: dict = field(default_factory=dict)
    _of_states: dict = field(default_factory=dict)
    # Whether what lies at a path bears on a line, by line.
    _bearing: dict = field(default_factory=dict)
    _kept: translate.Kept = field(default_factory=translate.Kept)
    _reader: Reader = field(default_factory=Reader)

    def __call__(self, line, parts) -> translate.Translation:
        bears = self._bearing.get(line.pk)
        if bears is None:
            bears = self._bearing[line.pk] = _Bearing(line)
        about = [part for path, part in parts.items() if bears[path]]
        key = (line.pk, *map(id, about))
        known = self._written.get(key)
        if known is None:
            known = self._written[key] = (self._by_states(line, parts, about), about)
        return known[0]

    def _by_states(self, line, parts, about):
        key = (
            line.pk,
            *((part.element, part.is_gone, id(part.state)) for part in about),
        )
        known = self._of_states.get(key)
        if known is None:
            made = translate.check_file(
                line, parts, read=self._reader.read, kept=self._kept
            )
            known = self._of_states[key] = (made, [part.state for part in about])
        return known[0]


class _Bearing(dict):
    """Whether what lies at a path is of a truss line, or of its span as a whole."""

    def __init__(self, line):
        self._span = f"span-{line.span.number}/"
        self._own = f"{self._span}{line.key}/"

    def __missing__(self, path):
        bears = path.startswith(self._span) and (
            path.startswith(self._own) or path.count("/") == 1
        )
        self[path] = bears
        return bears


@dataclass
class _Wanted:
    """What the record of one bridge asks for, by truss line and visits (their ids)."""

    lines: list[TrussLine]
    files: dict[tuple[int, int], translate.Translation] = field(default_factory=dict)
    # (line, from, to): hash of the content, and its plan where it is not stored.
    effects: dict[tuple[int, int, int], tuple[str, effects.Plan | None]] = field(
        default_factory=dict
    )
    # What is stored is not what was stored: it is all computed and written anew.
    is_doubted: bool = False


def _once(bridges) -> tuple[Counts, list[Bridge]]:
    """Return what was done, and the bridges whose records changed meanwhile."""
    stamps = _stamps(bridges)
    ids = [bridge.pk for bridge in bridges]
    standing = in_step.standing(bridges)
    marks = {pk: one.sha256 for pk, one in standing.items()}
    kept, stored = in_step.kept(ids), in_step.stored(ids)
    done, doubted = [], set()
    for pk in ids:
        if pk in kept and kept[pk] == (marks[pk], stored[pk].sha256):
            done.append(pk)
        elif pk in kept and kept[pk][1] != stored[pk].sha256:
            doubted.add(pk)
    counts = Counts(
        checks_kept=len(set().union(*(stored[pk].checks for pk in done))),
        effects_kept=sum(stored[pk].effects for pk in done),
        bridges=len(done),
    )
    left = [bridge for bridge in bridges if bridge.pk not in set(done)]
    if not left:
        return counts, []
    known = _stored_effects(left)
    files, states = Files(), rows.States()
    wanted = {
        bridge.pk: _asked(
            standing[bridge.pk], files, states, known, bridge.pk in doubted
        )
        for bridge in left
    }
    made = compute(wanted.values(), counts)
    with transaction.atomic():
        # One at a time: else what is stored last may have been read first.
        locked = Bridge.objects.select_for_update().filter(pk__in=wanted)
        there = set(locked.order_by("pk").values_list("pk", flat=True))
        now = _stamps(left)
        still = {
            pk: one
            for pk, one in wanted.items()
            if pk in there and now[pk] == stamps[pk]
        }
        _store_configurations(still, made)
        _store_effects(still, made, known)
        ToMeasure.objects.filter(bridge__in=still).update(is_stale=True)
        in_step.keep({pk: marks[pk] for pk in still})
    counts.bridges += len(still)
    changed = [one for one in left if one.pk in there and one.pk not in still]
    return counts, changed


def _stamps(bridges) -> dict[int, list[int | None]]:
    """Return what tells whether records are still the ones that were read."""
    ids = [bridge.pk for bridge in bridges]
    found: dict[int, list[int | None]] = {pk: [] for pk in ids}
    for history, owner in (
        (Visit.history, "bridge_id"),
        (Observation.history, "visit__bridge_id"),
        (Span.history, "bridge_id"),
    ):
        stamped = history.filter(**{f"{owner}__in": ids}).values_list(owner)
        last = dict(stamped.annotate(last=Max("history_id")).order_by())
        for pk in ids:
            found[pk].append(last.get(pk))
    return found


def _asked(standing, files, states, stored, is_doubted) -> _Wanted:
    steps = rows.steps(standing.rows, states)
    wanted = _Wanted(standing.lines, is_doubted=is_doubted)
    for line in wanted.lines:
        for visit, parts, _ in steps:
            wanted.files[line.pk, visit] = files(line, parts)
    for (earlier, before, _), (later, after, changes) in pairwise(steps):
        for line in wanted.lines:
            if not effects.relevant(line, changes):
                continue
            sha = effects.content_sha256(line, before, after, changes, files)
            key = (line.pk, earlier, later)
            known = stored.get(key)
            is_known = known is not None and known[1:] == (sha, ENGINE_VERSION)
            plan = (
                None
                if is_known and not is_doubted
                else effects.plan(line, before, after, changes, files)
            )
            wanted.effects[key] = (sha, plan)
    return wanted


@dataclass
class _Made:
    """Stored checks' ids by hash, and results of effects by line and visits."""

    checks: dict[str, int]
    results: dict[tuple[int, int, int], dict]


def compute(wanted: Iterable[_Wanted], counts: Counts) -> _Made:
    """Answer all that is asked and not stored; store the checks, which are the same
    whoever asks."""
    wanted = list(wanted)
    by_hash = {
        made.sha256: made
        for one in wanted
        for made in one.files.values()
        if made.check is not None
    }
    plans = {
        key: plan
        for one in wanted
        for key, (_, plan) in one.effects.items()
        if plan is not None
    }
    ids = _ids_of(by_hash)
    doubted = {
        made.sha256 for one in wanted if one.is_doubted for made in one.files.values()
    }
    missing = [sha for sha in by_hash if sha not in ids or sha in doubted]
    counts.checks_kept += len(by_hash) - len(missing)
    counts.checks_new += len(missing)
    counts.effects_new += len(plans)
    counts.effects_kept += sum(len(one.effects) for one in wanted) - len(plans)
    live = [plan for plan in plans.values() if plan.nothing is None]
    warnings = _known_warnings(live, missing)
    inputs = {sha: by_hash[sha].check for sha in missing}
    for plan in live:
        if plan.end.sha256 not in warnings:
            inputs.setdefault(plan.end.sha256, plan.end.check)
    answered = list(inputs)
    figured = {one.sha256: one for plan in live for one in plan.checks}
    answers, figures = answers_and_figures(inputs, figured)
    warnings |= {sha: answers[sha]["warnings"] for sha in answered}
    fresh = [_check(sha, by_hash[sha].document, answers[sha]) for sha in missing]
    _mend([one for one in fresh if one.input_sha256 in ids])
    # Another process may have stored the same answer meanwhile: it is the same.
    Check.objects.bulk_create(
        [one for one in fresh if one.input_sha256 not in ids], ignore_conflicts=True
    )
    ids |= _ids_of(missing)
    results = {
        key: plan.nothing
        if plan.nothing is not None
        else effects.told(
            plan,
            [figures[one.sha256] for one in plan.checks],
            warnings[plan.end.sha256],
        )
        for key, plan in plans.items()
    }
    return _Made(ids, results)


def _ids_of(hashes):
    rows = Check.objects.filter(input_sha256__in=list(hashes), engine=ENGINE_VERSION)
    return dict(rows.values_list("input_sha256", "pk"))


def _known_warnings(plans, missing):
    wanted = {plan.end.sha256 for plan in plans} - set(missing)
    if not wanted:
        return {}
    rows = Check.objects.filter(input_sha256__in=wanted, engine=ENGINE_VERSION)
    # Written ``answer__warnings`` it would leave an exception that holds on to this
    # frame and all that was computed, until a search for cycles finds them.
    said = KeyTransform("warnings", "answer")
    return {sha: one or [] for sha, one in rows.values_list("input_sha256", said)}


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


def _mend(fresh):
    """Put right what stands under the same hashes and says otherwise."""
    hashes = [one.input_sha256 for one in fresh]
    standing = {
        one.input_sha256: one
        for one in Check.objects.filter(input_sha256__in=hashes, engine=ENGINE_VERSION)
    }
    for one in fresh:
        old = standing[one.input_sha256]
        # Files that ask the same may be worded otherwise; the first one is kept.
        if _asks(old.document, one.input_sha256):
            one.document = old.document
        if any(getattr(one, name) != getattr(old, name) for name in TOLD):
            Check.objects.filter(pk=old.pk).update(
                **{name: getattr(one, name) for name in TOLD}
            )


TOLD = ("document", "answer", "stands", "limit_tons", "governing_member")


def _asks(document, sha):
    try:
        return checkfile.input_sha256(document) == sha
    except checkfile.CheckFileError:
        return False


def _store_configurations(wanted, made):
    standing = {
        (one.truss_line_id, one.visit_id): one
        for one in ConfigurationCheck.objects.filter(
            truss_line__span__bridge__in=wanted
        )
    }
    files = {key: one for asked in wanted.values() for key, one in asked.files.items()}
    gone = [standing[key].pk for key in set(standing) - set(files)]
    if gone:
        ConfigurationCheck.objects.filter(pk__in=gone).delete()
    differing = []
    for key, file in files.items():
        facts = {
            "check_made_id": made.checks[file.sha256] if file.check else None,
            "gap": " ".join(file.gaps),
            "assumptions": file.assumptions,
        }
        old = standing.get(key)
        if old is None or any(getattr(old, name) != facts[name] for name in facts):
            line, visit = key
            differing.append(
                ConfigurationCheck(truss_line_id=line, visit_id=visit, **facts)
            )
    ConfigurationCheck.objects.bulk_create(
        differing,
        update_conflicts=True,
        unique_fields=["truss_line", "visit"],
        update_fields=["check_made", "gap", "assumptions"],
    )


def _stored_effects(bridges):
    """Return ``{(line, from, to): (id, hash, engine)}`` of the effects stored."""
    rows = Effect.objects.filter(truss_line__span__bridge__in=bridges).values_list(
        "truss_line_id",
        "from_visit_id",
        "to_visit_id",
        "pk",
        "content_sha256",
        "engine",
    )
    return {row[:3]: row[3:] for row in rows}


def _store_effects(wanted, made, stored):
    asked = {key: one for each in wanted.values() for key, one in each.effects.items()}
    lines = {line.pk for one in wanted.values() for line in one.lines}
    gone = [
        row[0] for key, row in stored.items() if key not in asked and key[0] in lines
    ]
    if gone:
        Effect.objects.filter(pk__in=gone).delete()
    Effect.objects.bulk_create(
        [
            Effect(
                truss_line_id=line,
                from_visit_id=earlier,
                to_visit_id=later,
                content_sha256=sha,
                engine=ENGINE_VERSION,
                result=made.results[line, earlier, later],
            )
            for (line, earlier, later), (sha, plan) in asked.items()
            if plan is not None
        ],
        update_conflicts=True,
        unique_fields=["truss_line", "from_visit", "to_visit"],
        update_fields=["content_sha256", "engine", "result"],
    )
