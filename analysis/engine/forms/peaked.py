"""King post, queen post and A-truss."""

from __future__ import annotations

from .pieces import lower_chord, over_panel_points
from .registry import Draft, Plan, form


@form(
    "king-post",
    "King post",
    panels=(2, 2),
    spans_ft=(20, 60),
    period="medieval and ever since",
    is_seen=True,
    tell="Two slanting braces that meet at a peak over the middle of the span, and "
    "one hanger down from the peak.",
    example={"panels": 2, "panel_length_ft": 15, "depth_ft": 10},
)
def king_post(plan: Plan) -> Draft:
    """Two braces meeting over one hanger, and a tie."""
    draft = lower_chord(plan)
    draft.joint("U1", plan.x[1], plan.depth_ft)
    draft.bar("L0", "U1", "end-post")
    draft.bar("L2", "U1", "end-post")
    draft.bar("L1", "U1", "vertical")
    return draft


@form(
    "queen-post",
    "Queen post",
    takes=("crossed_panels",),
    panels=(3, 3),
    spans_ft=(20, 80),
    period="medieval and ever since",
    is_seen=True,
    tell="Two slanting braces, a level beam between their heads, and a hanger from "
    "each; the middle panel is open. With the middle panel crossed it is the same "
    "drawing as a Pratt of three panels.",
    idealised="The open middle panel is kept square by the stiffness of its timbers "
    "and joints, which a model on pins has not: it can balance only a load that is "
    "the same on both sides.",
    example={"panels": 3, "panel_length_ft": 14, "depth_ft": 10},
    also=(
        {
            "panels": 3,
            "panel_length_ft": 14,
            "depth_ft": 10,
            "crossed_panels": [2],
        },
    ),
)
def queen_post(plan: Plan) -> Draft:
    """Two braces, two hangers and a straining beam over a tie. The middle panel is open
    unless it is given as crossed; open, it can balance only a symmetric load."""
    draft = lower_chord(plan)
    over_panel_points(draft, plan, [plan.depth_ft] * 2)
    draft.bar("L0", "U1", "end-post")
    draft.bar("L3", "U2", "end-post")
    return draft


@form(
    "a-truss",
    "A-truss",
    panels=(4, 4),
    spans_ft=(25, 75),
    period="late 19th and early 20th centuries",
    tell="A tall king post with its halves divided: each long brace is propped at its "
    "middle, where a hanger drops to the floor.",
    also_called="Waddell A-truss",
    example={"panels": 4, "panel_length_ft": 16, "depth_ft": 24},
)
def a_truss(plan: Plan) -> Draft:
    """A king post of four panels: joints M halve the two braces, carry a hanger each
    and are propped from the foot of the middle hanger."""
    draft = lower_chord(plan)
    draft.joint("U2", plan.x[2], plan.depth_ft)
    for i, end in ((1, 0), (3, 4)):
        reach = abs(plan.x[2] - plan.x[end])
        rise = plan.depth_ft * abs(plan.x[i] - plan.x[end]) / reach
        draft.joint(f"M{i}", plan.x[i], rise)
        draft.bar(f"L{end}", f"M{i}", "end-post")
        draft.bar(f"M{i}", "U2", "end-post")
        draft.bar(f"L{i}", f"M{i}", "sub-tie")
        draft.bar("L2", f"M{i}", "sub-strut")
    draft.bar("L2", "U2", "vertical")
    return draft
