"""Forms with a curved chord, and the arch that stands beside a truss."""

from __future__ import annotations

from .pieces import lower_chord, over_panel_points
from .registry import MOST_CROSSED_PANELS, Draft, Plan, form


@form(
    "bowstring",
    "Bowstring",
    panels=(3, MOST_CROSSED_PANELS),
    spans_ft=(70, 175),
    period="from 1840 to the late 19th century",
    tell="The upper chord is a curve that springs from the bearings themselves: there "
    "is no hip and no end post. A straight tie joins its ends.",
    also_called="tied arch truss; bowstring arch-truss",
    idealised="The curve is taken as straight between panel points; a curved bar in "
    "compression bends as well.",
    example={"panels": 8, "panel_length_ft": 11, "depth_ft": 13},
)
def bowstring(plan: Plan) -> Draft:
    """A parabolic upper chord from L0 to Ln tied by the lower chord, with verticals and
    crossed diagonals; the depth is that of the parabola at midspan."""
    n, span = plan.panels, plan.span_ft
    heights = [4.0 * plan.depth_ft * x * (span - x) / span**2 for x in plan.x[1:n]]
    draft = lower_chord(plan)
    over_panel_points(draft, plan, heights)
    draft.bar("L0", "U1", "upper-chord")
    draft.bar(f"U{n - 1}", f"L{n}", "upper-chord")
    for panel in range(2, n):
        draft.bar(f"U{panel - 1}", f"L{panel}", "counter")
        draft.bar(f"L{panel - 1}", f"U{panel}", "counter")
        draft.crossed.add(panel)
    return draft


@form(
    "lenticular",
    "Lenticular",
    panels=(3, MOST_CROSSED_PANELS),
    spans_ft=(150, 400),
    period="from 1878 into the early 20th century",
    tell="Both chords are curved, one up and one down, and meet at the ends: the "
    "outline of a lens.",
    also_called="parabolic truss; Pauli truss",
    example={"panels": 8, "panel_length_ft": 18, "depth_ft": 24},
)
def lenticular(plan: Plan) -> Draft:
    """Two parabolic chords that meet over the bearings, with verticals and crossed
    diagonals; half of the depth at midspan lies below the bearings."""
    n, span = plan.panels, plan.span_ft
    draft = Draft()
    for i, x in enumerate(plan.x):
        half = 2.0 * plan.depth_ft * x * (span - x) / span**2
        draft.joint(f"L{i}", x, -half if 0 < i < n else 0.0)
        if 0 < i < n:
            draft.joint(f"U{i}", x, half)
            draft.bar(f"L{i}", f"U{i}", "vertical")
    for i in range(n):
        draft.bar(f"L{i}", f"L{i + 1}", "lower-chord")
    for i in range(1, n - 1):
        draft.bar(f"U{i}", f"U{i + 1}", "upper-chord")
        draft.bar(f"U{i}", f"L{i + 1}", "counter")
        draft.bar(f"L{i}", f"U{i + 1}", "counter")
        draft.crossed.add(i + 1)
    draft.bar("L0", "U1", "upper-chord")
    draft.bar(f"L{n}", f"U{n - 1}", "upper-chord")
    return draft


@form(
    "burr-arch",
    "Burr arch truss",
    panels=(4, MOST_CROSSED_PANELS),
    multiple_of=2,
    spans_ft=(50, 175),
    period="from 1804 to the late 19th century",
    is_seen=True,
    tell="Inside a covered bridge as a rule: a timber truss of posts and braces with a "
    "great timber arch bolted to every post on one side or both.",
    also_called="arch with multiple king post",
    idealised="A Burr truss is an arch and a truss of posts and braces at once, and "
    "how they share depends on timber, bolts and the fit of the joints. The model "
    "pins the arch to every post, ties its feet to the ends of the lower chord "
    "(many stand on the abutment lower down, which then takes their thrust), and "
    "lets braces pull, which timber joints cannot. Read it for how the load divides, "
    "not for the force in a bar.",
    example={"panels": 8, "panel_length_ft": 12, "depth_ft": 15},
)
def burr_arch(plan: Plan) -> Draft:
    """A multiple king post, its braces rising toward midspan, with a parabolic arch
    from bearing to bearing that meets every post at a joint M; the crown is at seven
    eighths of the depth."""
    n, span, depth = plan.panels, plan.span_ft, plan.depth_ft
    draft = lower_chord(plan)
    for i in range(1, n):
        x = plan.x[i]
        draft.joint(f"U{i}", x, depth)
        draft.joint(f"M{i}", x, 0.875 * depth * 4.0 * x * (span - x) / span**2)
        draft.bar(f"L{i}", f"M{i}", "vertical")
        draft.bar(f"M{i}", f"U{i}", "vertical")
        if i < n - 1:
            draft.bar(f"U{i}", f"U{i + 1}", "upper-chord")
            draft.bar(f"M{i}", f"M{i + 1}", "arch")
    for end, next_to in ((0, 1), (n, n - 1)):
        draft.bar(f"L{end}", f"M{next_to}", "arch")
        draft.bar(f"L{end}", f"U{next_to}", "end-post")
    for i in range(1, n // 2):
        draft.bar(f"L{i}", f"U{i + 1}", "diagonal")
        draft.bar(f"L{n - i}", f"U{n - i - 1}", "diagonal")
    return draft
