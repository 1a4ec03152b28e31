"""The few figures of a check that effects are shared out of, without the whole answer.

What ``answer`` writes of the same files, but for rounding; hundreds of configurations of one
truss cost what their forces and ratings cost.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from .answer import DECIMALS, Part, governing_at, in_batches, part_steps, written
from .mixed import answered_together
from .question import CheckInput
from .resistance import LEVELS

OPERATING = LEVELS.index("operating")
#: Checks without an answer go along with those that have one up to so many for each.
_FEW_BESIDE = 4


@dataclass(frozen=True)
class Figures:
    """What one check comes to, at the operating level.

    ``member`` None and ``mode`` say what else governs; all is None where nothing does.
    ``ratings`` are multiples of the vehicle by member, None where there is no limit.
    ``weight_tons`` is the vehicle's, None without one.
    """

    stands: bool
    dead_kip: float
    rating: float | None
    limit_tons: float | None
    member: str | None
    mode: str | None
    ratings: Mapping[str, float | None]
    weight_tons: float | None


def figures_many(checks: Sequence[CheckInput]) -> list[Figures]:
    """Return the figures of many checks, in their order.

    Source: ``answer``. Known answers: tests/analysis/engine/test_figures.py.
    """
    found: list[Figures | None] = [None] * len(checks)
    batches = list(in_batches(checks).values())
    steps = [
        part_steps([checks[n] for n in numbers], False, ["operating"])
        for numbers in batches
    ]
    for numbers, parts in zip(batches, answered_together(steps), strict=True):
        for number, part in zip(numbers, parts, strict=True):
            found[number] = _figures(part)
    return [one for one in found if one is not None]


def answers_and_figures(
    answered: Mapping[str, CheckInput], figured: Mapping[str, CheckInput]
) -> tuple[dict[str, dict[str, Any]], dict[str, Figures]]:
    """Return whole answers of some checks and figures of some, by the keys given.

    A check under the same key in both is the same and computed once.
    """
    checks = {**figured, **answered}
    keys, inputs = list(checks), list(checks.values())
    answers: dict[str, dict[str, Any]] = {}
    figures: dict[str, Figures] = {}
    groups, steps = [], []
    for numbers in in_batches(inputs).values():
        some = [keys[n] for n in numbers]
        # Forces are found for a whole batch: those without an answer stand apart
        # where they are many.
        with_forces = [key for key in some if key in answered]
        rest = [key for key in some if key not in answered]
        if len(rest) <= _FEW_BESIDE * len(with_forces):
            with_forces, rest = [*with_forces, *rest], []
        for group, forces in ((with_forces, True), (rest, False)):
            if not group:
                continue
            some_checks = [checks[key] for key in group]
            levels = LEVELS if forces else ["operating"]
            groups.append(group)
            steps.append(part_steps(some_checks, forces, levels))
    for group, parts in zip(groups, answered_together(steps), strict=True):
        for key, part in zip(group, parts, strict=True):
            if key in answered:
                answers[key] = written(part)
            if key in figured:
                figures[key] = _figures(part)
    return answers, figures


def _figures(part: Part) -> Figures:
    governing = governing_at(part, OPERATING) or {}
    return Figures(
        part.stands,
        round(sum(item.kip for item in part.batch.items[part.c]), DECIMALS),
        governing.get("rating"),
        governing.get("limit_tons"),
        governing.get("member"),
        governing.get("mode"),
        _ratings(part),
        None
        if part.loading is None or part.loading.weight_kip is None
        else part.loading.weight_kip / 2.0,
    )


def _ratings(part: Part) -> dict[str, float | None]:
    found: dict[str, float | None] = {}
    for m, name in enumerate(part.batch.truss.names):
        rating = part.rating(m, OPERATING)
        found[name] = None if rating is None else round(rating, DECIMALS)
    return found
