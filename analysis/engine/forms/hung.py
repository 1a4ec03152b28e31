"""Trusses without a lower chord: Fink and Bollman.

One chord, in compression, runs at the level of the bearings U0 and Un. Posts stand
under its joints, and ties run from the feet of the posts, L1 to Ln-1, up to the chord.
"""

from __future__ import annotations

from ..errors import FormError
from .pieces import every_panel_point
from .registry import Draft, Plan, form


def _posts(plan: Plan) -> Draft:
    """Put down the chord, U0 to Un, and a post under each inner joint of it."""
    n = plan.panels
    draft = Draft(bearings=("U0", f"U{n}"))
    every_panel_point(draft, plan, "U", plan.depth_ft)
    for i in range(n):
        draft.bar(f"U{i}", f"U{i + 1}", "upper-chord")
    for i in range(1, n):
        draft.joint(f"L{i}", plan.x[i], 0.0)
        draft.bar(f"L{i}", f"U{i}", "vertical")
    return draft


@form(
    "fink",
    "Fink",
    panels=(2, 32),
    multiple_of=2,
    spans_ft=(75, 150),
    period="from 1851 to the late 19th century",
    carries="deck",
    tell="No lower chord. The middle post is slung from both ends of the span, the "
    "posts at the quarters from the ends and the middle, and so on by halves.",
    example={"panels": 8, "panel_length_ft": 12, "depth_ft": 16},
)
def fink(plan: Plan) -> Draft:
    """A chord on posts, each post slung by two ties: the middle one from both ends,
    those at the quarters from the end and the middle, and so on by halves; no lower
    chord. The number of panels is 2, 4, 8, 16 or 32."""
    n = plan.panels
    if n & (n - 1):
        raise FormError("panels", "expected 2, 4, 8, 16 or 32 panels for fink")
    draft = _posts(plan)
    reach = n // 2
    while reach:
        for i in range(reach, n, 2 * reach):
            draft.bar(f"L{i}", f"U{i - reach}", "diagonal")
            draft.bar(f"L{i}", f"U{i + reach}", "diagonal")
        reach //= 2
    return draft


@form(
    "bollman",
    "Bollman",
    spans_ft=(75, 100),
    period="from 1852 to the late 19th century; few are left",
    carries="deck",
    tell="No lower chord at work. Two ties leave the foot of every post and run all "
    "the way to the two ends of the span, a fan of long bars from each end.",
    idealised="The light panel rods that steadied the posts of a Bollman truss are "
    "left out; every post is slung by its own two ties alone.",
    example={"panels": 8, "panel_length_ft": 11, "depth_ft": 16},
)
def bollman(plan: Plan) -> Draft:
    """A chord on posts, each post slung from both ends of the span by two ties of its
    own; no lower chord."""
    draft = _posts(plan)
    for i in range(1, plan.panels):
        draft.bar(f"L{i}", "U0", "diagonal")
        draft.bar(f"L{i}", f"U{plan.panels}", "diagonal")
    return draft
