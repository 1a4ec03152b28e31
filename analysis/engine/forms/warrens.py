"""Warren trusses, single and superposed, and the lattice."""

from __future__ import annotations

from .pieces import every_panel_point, hips, lower_chord, over_panel_points
from .registry import MOST_CROSSED_PANELS, MOST_PANELS, Draft, Plan, form


@form(
    "warren",
    "Warren",
    spans_ft=(50, 400),
    period="from 1848 into the 20th century",
    tell="No uprights: the web is one zigzag from end to end, and the joints of the "
    "upper chord stand over the middles of the panels.",
    example={"panels": 5, "panel_length_ft": 20, "depth_ft": 16},
)
def warren(plan: Plan) -> Draft:
    """Upper joints over the middle of each panel and two web members a panel, which
    alternate between tension and compression; no verticals."""
    n = plan.panels
    draft = lower_chord(plan)
    for i in range(1, n + 1):
        middle = 0.5 * (plan.x[i - 1] + plan.x[i])
        draft.joint(f"U{i}", middle, plan.depth_ft)
        draft.bar(f"L{i - 1}", f"U{i}", "end-post" if i == 1 else "diagonal")
        draft.bar(f"L{i}", f"U{i}", "end-post" if i == n else "diagonal")
    for i in range(1, n):
        draft.bar(f"U{i}", f"U{i + 1}", "upper-chord")
    return draft


@form(
    "warren-with-verticals",
    "Warren with verticals",
    takes=("crossed_panels",),
    multiple_of=2,
    spans_ft=(50, 400),
    period="from the middle of the 19th century into the 20th",
    is_seen=True,
    tell="A zigzag from end to end, with an upright at every panel point; on either "
    "side of an upright the slanting bars lean opposite ways.",
    example={"panels": 8, "panel_length_ft": 14, "depth_ft": 16},
)
def warren_with_verticals(plan: Plan) -> Draft:
    """Web members that alternate between the chords, one a panel, with a vertical at
    every panel point."""
    n = plan.panels
    draft = lower_chord(plan)
    over_panel_points(draft, plan, [plan.depth_ft] * (n - 1))
    for i in range(1, n, 2):
        draft.bar(f"L{i - 1}", f"U{i}", "end-post" if i == 1 else "diagonal")
        draft.bar(f"L{i + 1}", f"U{i}", "end-post" if i == n - 1 else "diagonal")
    return draft


@form(
    "double-intersection-warren",
    "Double-intersection Warren",
    panels=(4, MOST_PANELS),
    spans_ft=(75, 400),
    period="from the middle of the 19th century into the 20th",
    tell="Every panel between the hips is crossed by two stiff bars, and no uprights "
    "stand between them but the hangers under the hips.",
    also_called="double Warren",
    idealised="The two systems share the load by their stiffness, so the forces "
    "depend on the sizes of the bars; the crossing bars are taken as free of each "
    "other where they meet, though they are often riveted together there.",
    example={"panels": 7, "panel_length_ft": 15, "depth_ft": 18},
)
def double_intersection_warren(plan: Plan) -> Draft:
    """Two Warrens laid over each other: both slanting bars in every panel between the
    hips, and no verticals but the hangers under the hips."""
    n = plan.panels
    draft = lower_chord(plan)
    for i in range(1, n):
        draft.joint(f"U{i}", plan.x[i], plan.depth_ft)
    for i in range(1, n - 1):
        draft.bar(f"U{i}", f"U{i + 1}", "upper-chord")
        draft.bar(f"L{i}", f"U{i + 1}", "diagonal")
        draft.bar(f"L{i + 1}", f"U{i}", "diagonal")
    hips(draft, plan)
    return draft


@form(
    "lattice",
    "Lattice",
    panels=(4, MOST_PANELS),
    spans_ft=(50, 220),
    period="timber from 1820 to the late 19th century; riveted iron and steel later",
    tell="A close net of slanting bars, each crossing several others, between two "
    "straight chords and upright ends; no panel can be picked out.",
    also_called="multiple intersection; Town lattice where it is of planks",
    idealised="A lattice is fastened at every crossing and its thin bars bend. The "
    "model has four systems of bars, pinned at the chords and free where they cross: "
    "it gives what chords and web carry between them, not the bending of single bars "
    "nor what a net of more systems gives each. A bar buckles between its crossings, "
    "not over its whole length.",
    example={"panels": 10, "panel_length_ft": 7, "depth_ft": 9},
)
def lattice(plan: Plan) -> Draft:
    """Slanting bars both ways over two panels each, four systems laid over each other,
    between level chords and upright end posts; steeper ones cross the end panels."""
    n = plan.panels
    draft = lower_chord(plan)
    every_panel_point(draft, plan, "U", plan.depth_ft)
    for i in range(n):
        draft.bar(f"U{i}", f"U{i + 1}", "upper-chord")
    for end, neighbour in ((0, 1), (n, n - 1)):
        draft.bar(f"L{end}", f"U{end}", "end-post")
        draft.bar(f"L{end}", f"U{neighbour}", "diagonal")
        draft.bar(f"L{neighbour}", f"U{end}", "diagonal")
    for i in range(n - 1):
        draft.bar(f"L{i}", f"U{i + 2}", "diagonal")
        draft.bar(f"L{i + 2}", f"U{i}", "diagonal")
    return draft


@form(
    "post",
    "Post truss",
    panels=(6, MOST_CROSSED_PANELS),
    multiple_of=2,
    spans_ft=(100, 300),
    period="from 1865 to the late 19th century",
    tell="The posts lean, their heads toward the middle of the span, and long ties "
    "cross them the other way; the joints of the upper chord stand over the middles "
    "of the panels.",
    example={"panels": 10, "panel_length_ft": 14, "depth_ft": 22},
)
def post(plan: Plan) -> Draft:
    """Posts that lean half a panel toward midspan and ties that fall over a panel and
    a half, in two systems; counters cross the two middle panels."""
    n = plan.panels
    draft = lower_chord(plan)
    for i in range(1, n + 1):
        draft.joint(f"U{i}", 0.5 * (plan.x[i - 1] + plan.x[i]), plan.depth_ft)
    for i in range(1, n):
        draft.bar(f"U{i}", f"U{i + 1}", "upper-chord")
    for i in range(1, n // 2 + 1):
        kind = "end-post" if i == 1 else "vertical"
        draft.bar(f"L{i - 1}", f"U{i}", kind)
        draft.bar(f"L{n - i + 1}", f"U{n - i + 1}", kind)
        kind = "counter" if 2 * i == n else "diagonal"
        draft.bar(f"U{i}", f"L{i + 1}", kind)
        draft.bar(f"U{n - i + 1}", f"L{n - i - 1}", kind)
    draft.bar("L1", "U1", "diagonal")
    draft.bar(f"L{n - 1}", f"U{n}", "diagonal")
    return draft
