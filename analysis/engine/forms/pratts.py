"""Pratt trusses and those that differ from them by their ends, chord or web."""

from __future__ import annotations

from ..errors import FormError
from .geometry import SAME_POINT_FT
from .pieces import (
    heights_given,
    hips,
    lower_chord,
    over_panel_points,
    pratt_web,
    slopes,
)
from .registry import MOST_PANELS, Draft, Plan, form


@form(
    "pratt",
    "Pratt",
    takes=("crossed_panels",),
    spans_ft=(25, 250),
    period="from 1844 into the 20th century",
    tell="Between the hips every panel has an upright and one slanting bar, and the "
    "slanting bars point down toward the middle of the span. They are light: eyebars "
    "or rods. The uprights are stiff, except the first, which hangs from the hip.",
    also_called="full-slope Pratt, where half-hips are about",
    example={"panels": 6, "panel_length_ft": 16, "depth_ft": 18},
    also=({"panels": 5, "panel_length_ft": 16, "depth_ft": 18},),
)
def pratt(plan: Plan) -> Draft:
    """Parallel chords, inclined end posts, verticals, and diagonals falling toward
    midspan; the middle panel of an odd number is crossed."""
    draft = lower_chord(plan)
    over_panel_points(draft, plan, [plan.depth_ft] * (plan.panels - 1))
    hips(draft, plan)
    pratt_web(draft, plan, first=2)
    return draft


@form(
    "half-hip-pratt",
    "Half-hip Pratt",
    needs=("depth_ft", "hip_offset_ft"),
    takes=("crossed_panels",),
    spans_ft=(30, 150),
    period="late 19th and early 20th centuries",
    is_seen=True,
    tell="The end post is steep: it reaches the upper chord before the first panel "
    "point. So a slanting bar comes down from the hip to the first panel point, and "
    "the first upright is a post and not a hanger.",
    example={"panels": 5, "panel_length_ft": 15, "depth_ft": 8, "hip_offset_ft": 6},
    also=({"panels": 4, "panel_length_ft": 16, "depth_ft": 8, "hip_offset_ft": 8},),
)
def half_hip_pratt(plan: Plan) -> Draft:
    """As a Pratt, but the end posts rise in less than a panel to hip joints U0 and Un,
    so that the first verticals are posts and the first diagonals reach L1 and Ln-1."""
    n = plan.panels
    room = min(plan.x[1], plan.span_ft - plan.x[n - 1])
    if plan.hip_offset_ft > room - SAME_POINT_FT:
        message = f"expected less than the end panel's {room:g} ft"
        raise FormError("hip_offset_ft", message)
    draft = lower_chord(plan)
    over_panel_points(draft, plan, [plan.depth_ft] * (n - 1))
    draft.joint("U0", plan.hip_offset_ft, plan.depth_ft)
    draft.joint(f"U{n}", plan.span_ft - plan.hip_offset_ft, plan.depth_ft)
    for i in (0, n - 1):
        draft.bar(f"U{i}", f"U{i + 1}", "upper-chord")
    for end, neighbour in ((0, 1), (n, n - 1)):
        draft.bar(f"L{end}", f"U{end}", "end-post")
        draft.bar(f"L{neighbour}", f"U{end}", "diagonal")
    pratt_web(draft, plan, first=2)
    return draft


@form(
    "parker",
    "Parker",
    needs=("upper_heights_ft",),
    takes=("depth_ft", "crossed_panels"),
    spans_ft=(40, 250),
    period="from the middle of the 19th century into the 20th",
    tell="The web of a Pratt, but the upper chord is a broken line that rises toward "
    "the middle. Count the slopes of the top, end posts included: five make a "
    "camelback, any other number a Parker.",
    example={
        "panels": 8,
        "panel_length_ft": 20,
        "upper_heights_ft": [20, 25, 28, 29, 28, 25, 20],
    },
)
def parker(plan: Plan) -> Draft:
    """A Pratt web under a polygonal upper chord of any outline; a camelback is one
    with five slopes."""
    draft = lower_chord(plan)
    over_panel_points(draft, plan, heights_given(plan, plan.panels - 1))
    hips(draft, plan)
    pratt_web(draft, plan, first=2)
    return draft


@form(
    "camelback",
    "Camelback",
    needs=("upper_heights_ft",),
    takes=("depth_ft", "crossed_panels"),
    panels=(5, MOST_PANELS),
    spans_ft=(100, 300),
    period="late 19th century into the 20th",
    tell="A Parker with exactly five slopes along the top: two end posts, two slanted "
    "lengths and one level length in the middle.",
    example={
        "panels": 8,
        "panel_length_ft": 20,
        "upper_heights_ft": [22, 28, 28, 28, 28, 28, 22],
    },
)
def camelback(plan: Plan) -> Draft:
    """A Parker whose end posts and upper chord make exactly five slopes."""
    draft = parker(plan)
    n = plan.panels
    outline = ["L0", *(f"U{i}" for i in range(1, n)), f"L{n}"]
    count = slopes([draft.joints[name] for name in outline])
    if count != 5:
        message = f"expected heights that make five slopes, end posts included; {count}"
        raise FormError("upper_heights_ft", message)
    return draft


@form(
    "bedstead",
    "Bedstead",
    takes=("crossed_panels",),
    spans_ft=(30, 100),
    period="late 19th and early 20th centuries",
    tell="The end posts stand upright and go on down past the deck, as legs, to a "
    "footing of their own.",
    also_called="truss-leg bedstead",
    idealised="The legs of a bedstead are held in the ground and bent by the earth "
    "behind them. The model stands on pins at deck level: it gives what the legs "
    "carry from above and nothing of that bending.",
    example={"panels": 4, "panel_length_ft": 14, "depth_ft": 8},
)
def bedstead(plan: Plan) -> Draft:
    """A Pratt with vertical end posts, the legs of the bed, and diagonals from their
    heads; the end panels of the lower chord carry nothing."""
    n = plan.panels
    draft = lower_chord(plan)
    over_panel_points(draft, plan, [plan.depth_ft] * (n - 1))
    for end, neighbour in ((0, 1), (n, n - 1)):
        draft.joint(f"U{end}", plan.x[end], plan.depth_ft)
        draft.bar(f"U{end}", f"U{neighbour}", "upper-chord")
        draft.bar(f"L{end}", f"U{end}", "end-post")
    pratt_web(draft, plan, first=1)
    return draft


@form(
    "howe",
    "Howe",
    takes=("crossed_panels",),
    spans_ft=(30, 150),
    period="from 1840 into the 20th century",
    tell="The slanting bars point up toward the middle of the span, and it is they "
    "that are stiff, timber as a rule; the uprights are rods with nuts on their ends.",
    example={"panels": 6, "panel_length_ft": 15, "depth_ft": 16},
)
def howe(plan: Plan) -> Draft:
    """As a Pratt with the diagonals rising toward midspan, in compression, and the
    verticals in tension."""
    draft = lower_chord(plan)
    over_panel_points(draft, plan, [plan.depth_ft] * (plan.panels - 1))
    hips(draft, plan)
    pratt_web(draft, plan, first=2, rising=True)
    return draft


@form(
    "double-intersection-pratt",
    "Double-intersection Pratt",
    panels=(6, MOST_PANELS),
    spans_ft=(70, 300),
    period="from 1847 into the 20th century",
    tell="Each long slanting bar passes one upright on its way down and meets the "
    "lower chord two panels on, so that two of them cross any upright near midspan.",
    also_called="Whipple; Murphy-Whipple where it is pin-connected",
    example={"panels": 10, "panel_length_ft": 15, "depth_ft": 26},
)
def double_intersection_pratt(plan: Plan) -> Draft:
    """A Pratt whose diagonals cross two panels, in two overlapping systems, with short
    diagonals next to the hips; in an odd number of panels the last two pass midspan."""
    n = plan.panels
    draft = lower_chord(plan)
    over_panel_points(draft, plan, [plan.depth_ft] * (n - 1))
    hips(draft, plan)
    draft.bar("L2", "U1", "diagonal")
    draft.bar(f"L{n - 2}", f"U{n - 1}", "diagonal")
    for i in range(1, (n + 1) // 2 - 1):
        kind = "counter" if 2 * (i + 2) > n else "diagonal"
        draft.bar(f"U{i}", f"L{i + 2}", kind)
        draft.bar(f"U{n - i}", f"L{n - i - 2}", kind)
    return draft
