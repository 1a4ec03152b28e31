"""Trusses whose panels are divided: Baltimore, Pennsylvania, Kellogg, K."""

from __future__ import annotations

from collections.abc import Sequence

from .pieces import heights_given, lower_chord
from .registry import MOST_PANELS, Draft, Plan, form


def _subdivided(plan: Plan, heights_ft: Sequence[float]) -> Draft:
    """Put down a Pratt of n/2 main panels with joints M halfway along its diagonals.

    Upper joints stand over the even panel points. Each M carries a hanger to the panel
    point below it and is steadied by a sub-strut down to the main panel point farther
    from midspan or a sub-tie up to the upper joint nearer midspan; over the end posts
    there is always a sub-strut. The middle main panel of an odd number is crossed.
    """
    n = plan.panels
    draft = lower_chord(plan)
    for i, height in zip(range(2, n, 2), heights_ft, strict=True):
        draft.joint(f"U{i}", plan.x[i], height)
        draft.bar(f"L{i}", f"U{i}", "vertical")
        if i + 2 < n:
            draft.bar(f"U{i}", f"U{i + 2}", "upper-chord")
    for i in range(1, n, 2):
        left, right = i - 1, i + 1
        if i in (1, n - 1):
            outer, inner = (left, right) if i == 1 else (right, left)
            _half_way(draft, plan, i, f"L{outer}", f"U{inner}", "end-post")
            draft.bar(f"M{i}", f"L{inner}", "sub-strut")
        elif 2 * i == n:
            _crossed_half_way(draft, i)
        else:
            outer, inner = (left, right) if 2 * i < n else (right, left)
            _half_way(draft, plan, i, f"U{outer}", f"L{inner}", "diagonal")
            if plan.sub_members == "ties":
                draft.bar(f"M{i}", f"U{inner}", "sub-tie")
            else:
                draft.bar(f"M{i}", f"L{outer}", "sub-strut")
        draft.bar(f"M{i}", f"L{i}", "sub-tie")
    return draft


def _half_way(draft: Draft, plan: Plan, i: int, a: str, b: str, kind: str) -> None:
    """Put M over panel point i on the straight line between two joints."""
    (ax, ay), (bx, by) = draft.joints[a], draft.joints[b]
    draft.joint(f"M{i}", plan.x[i], ay + (by - ay) * (plan.x[i] - ax) / (bx - ax))
    draft.bar(a, f"M{i}", kind)
    draft.bar(f"M{i}", b, kind)


def _crossed_half_way(draft: Draft, i: int) -> None:
    """Put M where the two diagonals of the middle main panel meet."""
    (lx, _), (rx, _) = draft.joints[f"L{i - 1}"], draft.joints[f"L{i + 1}"]
    left, right = draft.joints[f"U{i - 1}"][1], draft.joints[f"U{i + 1}"][1]
    part = left / (left + right)
    draft.joint(f"M{i}", lx + part * (rx - lx), part * right)
    for corner in (f"L{i - 1}", f"L{i + 1}", f"U{i - 1}", f"U{i + 1}"):
        draft.bar(f"M{i}", corner, "counter")
    draft.crossed |= {i, i + 1}


@form(
    "baltimore",
    "Baltimore",
    takes=("sub_members",),
    panels=(6, MOST_PANELS),
    multiple_of=2,
    spans_ft=(250, 600),
    period="from 1871 into the early 20th century; roads from the 1880s, often shorter",
    tell="A Pratt with a level top whose panels are each halved: a hanger drops from "
    "the middle of every slanting bar, and a short bar steadies that middle.",
    also_called="Petit, loosely",
    example={"panels": 12, "panel_length_ft": 13, "depth_ft": 30},
    also=(
        {"panels": 12, "panel_length_ft": 13, "depth_ft": 30, "sub_members": "ties"},
    ),
)
def baltimore(plan: Plan) -> Draft:
    """A Pratt whose main panels, two panels each, are subdivided: joints M halfway
    along the diagonals carry the floor beams between main panel points."""
    return _subdivided(plan, [plan.depth_ft] * (plan.panels // 2 - 1))


@form(
    "pennsylvania",
    "Pennsylvania",
    needs=("upper_heights_ft",),
    takes=("depth_ft", "sub_members"),
    panels=(6, MOST_PANELS),
    multiple_of=2,
    spans_ft=(250, 600),
    period="from 1875 into the early 20th century",
    tell="A Parker, its top a broken line, whose panels are each halved by a hanger "
    "from the middle of the slanting bar and a short bar to steady it.",
    also_called="Petit",
    example={
        "panels": 12,
        "panel_length_ft": 18,
        "upper_heights_ft": [30, 38, 41, 38, 30],
    },
)
def pennsylvania(plan: Plan) -> Draft:
    """As a Baltimore, under a polygonal upper chord; one height for each upper joint,
    which stand over every second panel point."""
    return _subdivided(plan, heights_given(plan, plan.panels // 2 - 1))


@form(
    "kellogg",
    "Kellogg",
    panels=(8, MOST_PANELS),
    multiple_of=4,
    spans_ft=(75, 100),
    period="late 19th century",
    tell="A Pratt with one tie more to a panel: it leaves the upper joint beside the "
    "main tie and comes down to a floor beam at the middle of the panel.",
    example={"panels": 8, "panel_length_ft": 11, "depth_ft": 16},
)
def kellogg(plan: Plan) -> Draft:
    """A Pratt of n/2 main panels, each with a floor beam at its middle that hangs by a
    tie from the upper joint nearer the end; in the end panels, from the hip."""
    n = plan.panels
    draft = lower_chord(plan)
    for i in range(2, n, 2):
        draft.joint(f"U{i}", plan.x[i], plan.depth_ft)
        kind = "hip-vertical" if i in (2, n - 2) else "vertical"
        draft.bar(f"L{i}", f"U{i}", kind)
        if i + 2 < n:
            draft.bar(f"U{i}", f"U{i + 2}", "upper-chord")
    for end, hip in ((0, 2), (n, n - 2)):
        draft.bar(f"L{end}", f"U{hip}", "end-post")
    for i in range(1, n, 2):
        # The tie hangs from the joint away from midspan; by the bearings, the hip.
        left = i == n - 1 or (i > 1 and 2 * i < n)
        draft.bar(f"L{i}", f"U{i - 1 if left else i + 1}", "sub-tie")
    for i in range(2, n // 2, 2):
        draft.bar(f"U{i}", f"L{i + 2}", "diagonal")
        draft.bar(f"U{n - i}", f"L{n - i - 2}", "diagonal")
    return draft


@form(
    "k-truss",
    "K truss",
    takes=("upper_heights_ft",),
    panels=(6, MOST_PANELS),
    multiple_of=2,
    spans_ft=(200, 800),
    period="early 20th century",
    tell="Two slanting bars leave the middle of each upright, one up and one down, so "
    "that upright and bars make a K.",
    example={
        "panels": 10,
        "panel_length_ft": 22,
        "depth_ft": 46,
        "upper_heights_ft": [32, 39, 43, 45.5, 46, 45.5, 43, 39, 32],
    },
    also=({"panels": 8, "panel_length_ft": 22, "depth_ft": 36},),
)
def k_truss(plan: Plan) -> Draft:
    """Uprights halved at joints M, from which two slanting bars run to the upper and
    the lower joint of the next panel point toward midspan; the middle upright is
    whole."""
    n = plan.panels
    heights = [plan.depth_ft] * (n - 1)
    if plan.upper_heights_ft:
        heights = list(heights_given(plan, n - 1))
    draft = lower_chord(plan)
    for i in range(1, n):
        draft.joint(f"U{i}", plan.x[i], heights[i - 1])
        if i < n - 1:
            draft.bar(f"U{i}", f"U{i + 1}", "upper-chord")
        if 2 * i == n:
            draft.bar(f"L{i}", f"U{i}", "vertical")
            continue
        toward = i + 1 if 2 * i < n else i - 1
        kind = "hip-vertical" if i in (1, n - 1) else "vertical"
        draft.joint(f"M{i}", plan.x[i], 0.5 * heights[i - 1])
        draft.bar(f"L{i}", f"M{i}", kind)
        draft.bar(f"M{i}", f"U{i}", kind)
        draft.bar(f"M{i}", f"U{toward}", "diagonal")
        draft.bar(f"M{i}", f"L{toward}", "diagonal")
    draft.bar("L0", "U1", "end-post")
    draft.bar(f"L{n}", f"U{n - 1}", "end-post")
    return draft
