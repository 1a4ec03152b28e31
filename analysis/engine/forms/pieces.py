"""Pieces that several forms share."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from ..errors import FormError
from .registry import Draft, Plan

#: Slopes that differ by less are one straight line.
SAME_SLOPE = 1e-6


def lower_chord(plan: Plan) -> Draft:
    """Put down L0 to Ln and the lower chord."""
    draft = Draft()
    for i, x in enumerate(plan.x):
        draft.joint(f"L{i}", x, 0.0)
    for i in range(plan.panels):
        draft.bar(f"L{i}", f"L{i + 1}", "lower-chord")
    return draft


def over_panel_points(draft: Draft, plan: Plan, heights_ft: Sequence[float]) -> None:
    """Put down U1 to Un-1, the upper chord between them and the verticals."""
    n = plan.panels
    for i, height in zip(range(1, n), heights_ft, strict=True):
        draft.joint(f"U{i}", plan.x[i], height)
    for i in range(1, n - 1):
        draft.bar(f"U{i}", f"U{i + 1}", "upper-chord")
    for i in range(1, n):
        draft.bar(f"L{i}", f"U{i}", "vertical")


def hips(draft: Draft, plan: Plan) -> None:
    """Put down the end posts to U1 and Un-1 and call their verticals hip verticals."""
    n = plan.panels
    draft.bar("L0", "U1", "end-post")
    draft.bar(f"L{n}", f"U{n - 1}", "end-post")
    draft.bar("L1", "U1", "hip-vertical")
    draft.bar(f"L{n - 1}", f"U{n - 1}", "hip-vertical")


def pratt_web(draft: Draft, plan: Plan, first: int, rising: bool = False) -> None:
    """Put down one diagonal a panel from panel ``first`` to its mirror image.

    They fall toward midspan (rise, where asked); the middle panel of odd n is crossed.
    """
    n = plan.panels
    for panel in range(first, n - first + 2):
        left, right = panel - 1, panel
        falls = (f"U{left}", f"L{right}")
        rises = (f"L{left}", f"U{right}")
        if 2 * panel == n + 1:
            draft.bar(*falls, "counter")
            draft.bar(*rises, "counter")
            draft.crossed.add(panel)
        elif (2 * panel < n + 1) != rising:
            draft.bar(*falls, "diagonal")
        else:
            draft.bar(*rises, "diagonal")


def heights_given(plan: Plan, wanted: int) -> tuple[float, ...]:
    heights = plan.upper_heights_ft
    if len(heights) != wanted:
        message = f"expected {wanted} heights, one per upper joint"
        raise FormError("upper_heights_ft", f"{message}, found {len(heights)}")
    if abs(plan.depth_ft - max(heights)) > 1e-9:
        message = "expected the greatest of upper_heights_ft, or nothing"
        raise FormError("depth_ft", message)
    return heights


def slopes(outline_ft: Sequence[tuple[float, float]]) -> int:
    """Return how many straight lengths a line through joints has."""
    rises = [(by - ay) / (bx - ax) for (ax, ay), (bx, by) in pairwise(outline_ft)]
    return 1 + sum(abs(b - a) > SAME_SLOPE for a, b in pairwise(rises))


def every_panel_point(draft: Draft, plan: Plan, level: str, y: float) -> None:
    """Put down joints of one level over every panel point, bearings included."""
    for i, x in enumerate(plan.x):
        draft.joint(f"{level}{i}", x, y)
