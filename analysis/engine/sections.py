"""Cross-sections of the period: rods, bars, rolled shapes and what is built of them.

Inches, in2, in4 and lb per foot. "In plane" bends the member within the plane of the
truss, "out of plane" sideways.

Pieces in parallel bend together but are given no credit for standing apart: I is the
sum of each piece's own. Only ``built_up`` makes one section of two channels.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

from .canonical import kept_hash, without_kept
from .errors import UnknownShape
from .materials import Material, strength

RODS = ("round-rod", "square-rod")
#: A member all of these can be taken to carry tension only.
TENSION_SHAPES = (*RODS, "flat-bar", "eyebar")
ENDS = ("upset", "plain-thread", "loop", "none")
#: Battens are taken no farther apart than this many least radii of one channel, the
#: greatest that specifications allowed for lacing.
BATTEN_REACH = 40.0
IN2_PER_FT2 = 144.0
#: A punched hole is counted this much wider than the rivet, in.
HOLE_OVER_RIVET_IN = 0.125

#: Threads to the inch by bar diameter, in: the American (Sellers) standard. Those from
#: 3/4 to 2 7/8 reproduce the published root areas; the others are from memory.
THREADS: tuple[tuple[float, float], ...] = (
    (0.25, 20),
    (0.3125, 18),
    (0.375, 16),
    (0.4375, 14),
    (0.5, 13),
    (0.5625, 12),
    (0.625, 11),
    (0.75, 10),
    (0.875, 9),
    (1.0, 8),
    (1.125, 7),
    (1.25, 7),
    (1.375, 6),
    (1.5, 6),
    (1.625, 5.5),
    (1.75, 5),
    (1.875, 5),
    (2.0, 4.5),
    (2.125, 4.5),
    (2.25, 4.5),
    (2.375, 4),
    (2.5, 4),
    (2.75, 4),
    (2.875, 3.5),
    (3.25, 3.5),
    (3.5, 3.25),
    (4.0, 3),
    (12.0, 3),
)


@dataclass(frozen=True)
class Rolled:
    """A rolled shape. ``x_bar_in`` is from the back of a channel, 0 for a beam."""

    depth_in: float
    weight_plf: float
    area_in2: float
    flange_width_in: float
    web_thickness_in: float
    flange_thickness_in: float
    i_strong_in4: float
    i_weak_in4: float
    x_bar_in: float = 0.0


def _channel(*row: float) -> Rolled:
    depth, weight, area, width, web, flange, strong, weak, x_bar = row
    return Rolled(depth, weight, area, width, web, flange, strong, weak, x_bar)


#: American Standard channels, present-day figures; the profiles are those of 1896.
CHANNELS: tuple[Rolled, ...] = (
    _channel(15, 33.9, 10.0, 3.40, 0.400, 0.650, 315, 8.07, 0.788),
    _channel(15, 40, 11.8, 3.52, 0.520, 0.650, 348, 9.17, 0.778),
    _channel(15, 50, 14.7, 3.72, 0.716, 0.650, 404, 11.0, 0.799),
    _channel(12, 20.7, 6.08, 2.94, 0.282, 0.501, 129, 3.86, 0.698),
    _channel(12, 25, 7.34, 3.05, 0.387, 0.501, 144, 4.45, 0.674),
    _channel(12, 30, 8.81, 3.17, 0.510, 0.501, 162, 5.12, 0.674),
    _channel(10, 15.3, 4.48, 2.60, 0.240, 0.436, 67.3, 2.27, 0.634),
    _channel(10, 20, 5.87, 2.74, 0.379, 0.436, 78.9, 2.80, 0.606),
    _channel(10, 25, 7.35, 2.89, 0.526, 0.436, 91.1, 3.34, 0.617),
    _channel(10, 30, 8.81, 3.03, 0.673, 0.436, 103, 3.93, 0.649),
    _channel(9, 13.4, 3.94, 2.43, 0.233, 0.413, 47.8, 1.75, 0.601),
    _channel(9, 15, 4.40, 2.49, 0.285, 0.413, 51.0, 1.91, 0.586),
    _channel(9, 20, 5.87, 2.65, 0.448, 0.413, 60.9, 2.41, 0.583),
    _channel(8, 11.5, 3.37, 2.26, 0.220, 0.390, 32.5, 1.31, 0.572),
    _channel(8, 13.75, 4.03, 2.34, 0.303, 0.390, 36.1, 1.52, 0.554),
    _channel(8, 18.75, 5.51, 2.53, 0.487, 0.390, 43.9, 1.97, 0.565),
    _channel(7, 9.8, 2.87, 2.09, 0.210, 0.366, 21.2, 0.957, 0.541),
    _channel(7, 12.25, 3.59, 2.19, 0.314, 0.366, 24.2, 1.16, 0.525),
    _channel(7, 14.75, 4.33, 2.30, 0.419, 0.366, 27.2, 1.37, 0.532),
    _channel(6, 8.2, 2.39, 1.92, 0.200, 0.343, 13.1, 0.687, 0.512),
    _channel(6, 10.5, 3.07, 2.03, 0.314, 0.343, 15.1, 0.860, 0.500),
    _channel(6, 13, 3.82, 2.16, 0.437, 0.343, 17.3, 1.05, 0.514),
    _channel(5, 6.7, 1.97, 1.75, 0.190, 0.320, 7.48, 0.470, 0.484),
    _channel(5, 9, 2.64, 1.89, 0.325, 0.320, 8.89, 0.624, 0.478),
    _channel(4, 5.4, 1.58, 1.58, 0.184, 0.296, 3.85, 0.312, 0.457),
    _channel(4, 7.25, 2.13, 1.72, 0.321, 0.296, 4.58, 0.425, 0.459),
    _channel(3, 4.1, 1.20, 1.41, 0.170, 0.273, 1.65, 0.191, 0.437),
    _channel(3, 5, 1.47, 1.50, 0.258, 0.273, 1.85, 0.241, 0.439),
    _channel(3, 6, 1.76, 1.60, 0.356, 0.273, 2.07, 0.300, 0.455),
)
#: Weights the lightest channels were catalogued at before 1930, to the same profile's.
OLD_CHANNEL_WEIGHTS: dict[tuple[float, float], float] = {
    (15, 33.0): 33.9,
    (12, 20.5): 20.7,
    (10, 15.0): 15.3,
    (9, 13.25): 13.4,
    (8, 11.25): 11.5,
    (7, 9.75): 9.8,
    (6, 8.0): 8.2,
    (5, 6.5): 6.7,
    (4, 5.25): 5.4,
    (3, 4.0): 4.1,
}
#: American Standard beams, present-day figures, from memory.
BEAMS: tuple[Rolled, ...] = (
    Rolled(24, 80, 23.5, 7.00, 0.500, 0.870, 2100, 42.0),
    Rolled(24, 90, 26.5, 7.13, 0.625, 0.870, 2250, 44.7),
    Rolled(24, 100, 29.3, 7.25, 0.745, 0.870, 2380, 47.4),
    Rolled(20, 66, 19.4, 6.26, 0.505, 0.795, 1190, 27.5),
    Rolled(20, 75, 22.0, 6.39, 0.635, 0.795, 1280, 29.5),
    Rolled(18, 54.7, 16.0, 6.00, 0.461, 0.691, 801, 20.7),
    Rolled(18, 70, 20.5, 6.25, 0.711, 0.691, 923, 24.0),
    Rolled(15, 42.9, 12.6, 5.50, 0.411, 0.622, 446, 14.3),
    Rolled(15, 50, 14.7, 5.64, 0.550, 0.622, 485, 15.6),
    Rolled(12, 31.8, 9.31, 5.00, 0.350, 0.544, 217, 9.33),
    Rolled(12, 35, 10.2, 5.08, 0.428, 0.544, 228, 9.84),
    Rolled(12, 40.8, 11.9, 5.25, 0.462, 0.659, 270, 13.5),
    Rolled(12, 50, 14.6, 5.48, 0.687, 0.659, 303, 15.6),
    Rolled(10, 25.4, 7.45, 4.66, 0.311, 0.491, 123, 6.73),
    Rolled(10, 35, 10.3, 4.94, 0.594, 0.491, 147, 8.30),
    Rolled(9, 21.8, 6.32, 4.33, 0.290, 0.458, 84.9, 5.16),
    Rolled(9, 35, 10.3, 4.77, 0.732, 0.458, 111.8, 7.31),
    Rolled(8, 18.4, 5.40, 4.00, 0.271, 0.425, 57.5, 3.69),
    Rolled(8, 23, 6.76, 4.17, 0.441, 0.425, 64.7, 4.27),
    Rolled(7, 15.3, 4.50, 3.66, 0.252, 0.392, 36.7, 2.64),
    Rolled(7, 20, 5.88, 3.86, 0.450, 0.392, 42.4, 3.17),
    Rolled(6, 12.5, 3.66, 3.33, 0.232, 0.359, 22.0, 1.80),
    Rolled(6, 17.25, 5.05, 3.57, 0.465, 0.359, 26.2, 2.29),
    Rolled(5, 10, 2.93, 3.00, 0.214, 0.326, 12.3, 1.19),
    Rolled(5, 14.75, 4.34, 3.28, 0.494, 0.326, 15.2, 1.67),
    Rolled(4, 7.7, 2.26, 2.66, 0.193, 0.293, 6.05, 0.748),
    Rolled(4, 9.5, 2.79, 2.80, 0.326, 0.293, 6.76, 0.887),
    Rolled(3, 5.7, 1.66, 2.33, 0.170, 0.260, 2.50, 0.447),
    Rolled(3, 7.5, 2.20, 2.51, 0.349, 0.260, 2.91, 0.578),
)
#: The same for the lightest beams.
OLD_BEAM_WEIGHTS: dict[tuple[float, float], float] = {
    (20, 65.0): 66.0,
    (18, 55.0): 54.7,
    (15, 42.0): 42.9,
    (12, 31.5): 31.8,
    (12, 40.0): 40.8,
    (10, 25.0): 25.4,
    (9, 21.0): 21.8,
    (8, 18.0): 18.4,
    (7, 15.0): 15.3,
    (6, 12.25): 12.5,
    (5, 9.75): 10.0,
    (4, 7.5): 7.7,
    (3, 5.5): 5.7,
}
#: Heaviest weight that a profile was rolled to, over the heaviest listed.
HEAVIEST = 1.35
CHANNEL_SOURCE = (
    "Channels by depth and weight: American Standard channels, AISC Manual, present "
    "figures; catalogues before 1930 differ by up to 1%. Weights between those listed "
    "are the same profile with a thicker web, as mills rolled them."
)
BEAM_SOURCE = (
    "I-beams by depth and weight: American Standard beams, AISC Manual, from memory."
)
THREAD_SOURCE = (
    "Plain threads are cut to the American (Sellers) standard, root diameter "
    "D − 1.299/n; older threads may be deeper."
)
BATTEN_SOURCE = (
    "Battened pieces: Engesser's shear correction with stiff battens, 40 least radii "
    "apart where not measured, derived."
)
LACING_SOURCE = (
    "Lacing of known size: Engesser, Pcr = Pe/(1 + Pe/Pd), Pd = Ad E cos(theta) "
    "sin^2(theta), Timoshenko and Gere, Theory of Elastic Stability, from memory; "
    "where ties are missing each piece stands alone over that length."
)
NET_SOURCE = (
    "Net sections: holes 1/8 in wider than the rivet; of an angle held by one leg half "
    "of the outstanding leg: AASHTO Standard Specifications, division I, section 10, "
    "from memory."
)


@dataclass(frozen=True)
class BuiltUp:
    """How pieces make one section.

    Attributes
    ----------
    webs_apart_in : between the backs of two channels, I-beams (middles of the webs) or
        angles back to back; out to out of four angles, sideways
    box_depth_in : out to out of four angles, in the plane of the truss
    cover_width_in, cover_thickness_in : a plate on top; bottom_... : one below
    lacing_in2 : area of one lacing bar times the planes and bars that cross a section
        of the member (two planes of single lacing: twice one bar); 0 for sound and
        stiff lacing of no known size
    lacing_deg : of the bars to the axis
    lacing_thickness_in, lacing_planes, lacing_systems : of one bar; in how many planes;
        1 single, 2 double
    battens_apart_in : clear between battens; 0 where not measured
    untied_ft : greatest length over which ties are missing
    pin_height_in : of the pins above the lower edge of the channels; 0 where unknown
    """

    webs_apart_in: float
    flanges: str = "out"
    tied_by: str = "lacing"
    cover_width_in: float = 0.0
    cover_thickness_in: float = 0.0
    bottom_width_in: float = 0.0
    bottom_thickness_in: float = 0.0
    box_depth_in: float = 0.0
    lacing_in2: float = 0.0
    lacing_deg: float = 60.0
    battens_apart_in: float = 0.0
    untied_ft: float = 0.0
    pin_height_in: float = 0.0
    lacing_thickness_in: float = 0.0
    lacing_planes: int = 2
    lacing_systems: int = 1


@dataclass(frozen=True)
class Component:
    """One piece of a member, ``count`` of them, as a check file describes it."""

    shape: str
    count: int = 1
    diameter_in: float = 0.0
    side_in: float = 0.0
    width_in: float = 0.0
    thickness_in: float = 0.0
    leg_in: float = 0.0
    other_leg_in: float = 0.0
    depth_in: float = 0.0
    weight_plf: float = 0.0
    flange_width_in: float = 0.0
    flange_thickness_in: float = 0.0
    web_thickness_in: float = 0.0
    ends: str = ""
    built_up: BuiltUp | None = None
    carries: str = "all"
    material: Material | None = None
    remaining_in: float = 0.0
    holes: int = 0
    rivet_in: float = 0.0
    by_one_leg: bool = False
    longer_in: float = 0.0

    __hash__ = kept_hash
    __getstate__ = without_kept


@dataclass(frozen=True)
class Girder:
    """An I of plates and angles: a web, two angles above and below, cover plates.

    ``leg_in`` lies along the web; the depth is back to back of the angles.
    """

    depth_in: float
    web_thickness_in: float
    leg_in: float
    other_leg_in: float
    angle_thickness_in: float
    cover_width_in: float = 0.0
    cover_thickness_in: float = 0.0


@dataclass(frozen=True)
class Section:
    """What a section comes to.

    Attributes
    ----------
    area_in2, net_area_in2 : gross and net
    i_in_plane_in4, i_out_of_plane_in4 : second moments; None where not known
    weight_plf : of the bare section, without details
    shear_square : added to the square of KL/r sideways, for ties that give way in shear
    alone : L/r of one piece alone over the length where ties are missing
    pin_below_in : of the section's centre, of the pins where their height is known
    """

    area_in2: float
    net_area_in2: float
    i_in_plane_in4: float | None
    i_out_of_plane_in4: float | None
    weight_plf: float
    shear_square: float = 0.0
    alone: float = 0.0
    pin_below_in: float = 0.0

    @property
    def r_in_plane_in(self) -> float | None:
        return _radius(self.i_in_plane_in4, self.area_in2)

    @property
    def r_out_of_plane_in(self) -> float | None:
        return _radius(self.i_out_of_plane_in4, self.area_in2)


def _radius(i_in4: float | None, area_in2: float) -> float | None:
    return None if i_in4 is None else math.sqrt(i_in4 / area_in2)


def is_tension_shape(components: tuple[Component, ...]) -> bool:
    """Return whether every component is a rod or a flat bar."""
    return all(component.shape in TENSION_SHAPES for component in components)


def rolled_shape(shape: str, depth_in: float, weight_plf: float) -> Rolled:
    """Return the rolled channel or beam of a depth and weight.

    Raises ``UnknownShape`` naming the weights that are listed.
    """
    is_channel = shape == "channel"
    table = CHANNELS if is_channel else BEAMS
    old = OLD_CHANNEL_WEIGHTS if is_channel else OLD_BEAM_WEIGHTS
    weight = old.get((depth_in, weight_plf), weight_plf)
    listed = [row for row in table if abs(row.depth_in - depth_in) < 0.01]
    for row in listed:
        if abs(row.weight_plf - weight) <= 0.06:
            return row
    if listed:
        nearest = min(listed, key=lambda row: abs(row.weight_plf - weight))
        lightest, heaviest = listed[0].weight_plf, listed[-1].weight_plf
        if lightest < weight <= HEAVIEST * heaviest:
            return spread(nearest, weight)
    noun = "channel" if shape == "channel" else "I-beam"
    if not listed:
        depths = ", ".join(f"{d:g}" for d in sorted({row.depth_in for row in table}))
        found = f"no {noun} {depth_in:g} in deep is listed; depths are {depths}"
    else:
        weights = ", ".join(f"{row.weight_plf:g}" for row in listed)
        found = f"no {depth_in:g} in {noun} of {weight_plf:g} lb/ft is listed"
        found += f"; weights are {weights}, those between and somewhat heavier"
    raise UnknownShape(
        f"{found}; or give flange_width_in, flange_thickness_in, web_thickness_in"
    )


def spread(row: Rolled, weight_plf: float) -> Rolled:
    """Return a shape rolled in the grooves of another with the rolls farther apart.

    The web and the flanges' width grow by as much; depth and flange stay. So mills made
    every weight between those listed. Source: derivation, at 3.4 lb/ft for each in2.
    Known answers: tests/published/test_rods_and_shapes.py.
    """
    more = (weight_plf - row.weight_plf) / 3.4
    thicker = more / row.depth_in
    width = row.flange_width_in + thicker
    return Rolled(
        row.depth_in,
        weight_plf,
        row.area_in2 + more,
        width,
        row.web_thickness_in + thicker,
        row.flange_thickness_in,
        row.i_strong_in4 + thicker * row.depth_in**3 / 12.0,
        row.i_weak_in4 * (width / row.flange_width_in) ** 3,
        row.x_bar_in,
    )


def root_area_in2(diameter_in: float) -> float:
    """Return the area at the root of a plain thread on a bar, in2.

    A diameter between two standard ones is cut with the coarser of their threads.
    Source: American (Sellers, Franklin Institute) standard, root D - 1.299/n. Known
    answers: tests/published/test_rods_and_shapes.py.
    """
    threads = next(n for size, n in THREADS if diameter_in <= size + 1e-9)
    root = max(diameter_in - 1.299 / threads, 0.0)
    return math.pi / 4.0 * root**2


@lru_cache(maxsize=4096)
def component_section(component: Component, weight_pcf: float = 490.0) -> Section:
    """Return the section of all ``count`` of a component.

    Parameters
    ----------
    component : Component
    weight_pcf : unit weight of the metal or timber, lb per cubic foot

    Raises
    ------
    UnknownShape
        For a channel or beam of a depth and weight not listed.

    Source
    ------
    Geometry, fillets and root radii ignored; tables of this module. Known answers:
    tests/published/test_rods_and_shapes.py.
    """
    if component.built_up is not None:
        return _built_up(component, component.built_up, weight_pcf)
    bare, per_in2 = _one(component), weight_pcf / IN2_PER_FT2
    weight = bare[4] or bare[0] * per_in2
    thin = worn(component)
    area, _, i_in, i_out, _ = _one(thin)
    # Threads are cut in the end, holes and wear are of the body.
    net = min(bare[1], _net_of_holes(thin, area))
    n = component.count
    return Section(n * area, n * net, n * i_in, n * i_out, n * weight)


#: Of each shape, the size that a remaining thickness is measured of.
WORN_SIZE = {
    "round-rod": "diameter_in",
    "square-rod": "side_in",
    "eyebar": "thickness_in",
    "flat-bar": "thickness_in",
    "plate": "thickness_in",
    "angle": "thickness_in",
    "timber": "width_in",
}


def worn(component: Component) -> Component:
    """Return a component as thin as it was measured; it still weighs what it did."""
    if not component.remaining_in:
        return component
    left: dict[str, Any] = {WORN_SIZE[component.shape]: component.remaining_in}
    return replace(component, **left)


def _net_of_holes(component: Component, area_in2: float) -> float:
    """Return the net area of one piece: holes taken out, a leg that stands out halved.

    A hole is an eighth of an inch wider than its rivet; of an angle held by one leg
    half of the outstanding leg counts. Source: AASHTO Standard Specifications 10.16,
    from memory. Known answers: tests/published/test_built_up.py.
    """
    if component.shape in ("channel", "i-beam"):
        thickness = rolled(component).web_thickness_in if component.holes else 0.0
    else:
        thickness = component.thickness_in
    net = area_in2 - component.holes * (component.rivet_in + HOLE_OVER_RIVET_IN) * (
        thickness
    )
    if component.shape == "angle" and component.by_one_leg:
        net -= (
            0.5
            * (component.other_leg_in - component.thickness_in)
            * (component.thickness_in)
        )
    return max(net, 0.0)


def _one(component: Component) -> tuple[float, float, float, float, float]:
    """Return area, net area, I in plane, I out of plane, rolled weight of one piece."""
    shape = component.shape
    if shape in RODS:
        return _rod(component)
    if shape in ("eyebar", "flat-bar", "plate"):
        area = component.width_in * component.thickness_in
        least = min(component.width_in, component.thickness_in)
        return area, area, area * least**2 / 12.0, area * least**2 / 12.0, 0.0
    if shape == "timber":
        area = component.width_in * component.depth_in
        i_in = area * component.depth_in**2 / 12.0
        return area, area, i_in, area * component.width_in**2 / 12.0, 0.0
    if shape == "angle":
        area, least_i = _angle(component)
        return area, area, least_i, least_i, 0.0
    shape_found = rolled(component)
    weak, area = shape_found.i_weak_in4, shape_found.area_in2
    return area, area, weak, weak, shape_found.weight_plf


def _rod(component: Component) -> tuple[float, float, float, float, float]:
    if component.shape == "round-rod":
        size = component.diameter_in
        area, i = math.pi / 4.0 * size**2, math.pi / 64.0 * size**4
    else:
        size = component.side_in
        area, i = size**2, size**4 / 12.0
    net = root_area_in2(size) if component.ends == "plain-thread" else area
    return area, min(net, area), i, i, 0.0


def _angle(component: Component) -> tuple[float, float]:
    """Return the area and the least second moment of an angle, as two rectangles."""
    a, b, t = component.leg_in, component.other_leg_in, component.thickness_in
    pieces = ((t, a, t / 2.0, a / 2.0), (b - t, t, (t + b) / 2.0, t / 2.0))
    area = sum(w * h for w, h, _, _ in pieces)
    x = sum(w * h * px for w, h, px, _ in pieces) / area
    y = sum(w * h * py for w, h, _, py in pieces) / area
    i_x = sum(w * h**3 / 12.0 + w * h * (py - y) ** 2 for w, h, _, py in pieces)
    i_y = sum(h * w**3 / 12.0 + w * h * (px - x) ** 2 for w, h, px, _ in pieces)
    product = sum(w * h * (px - x) * (py - y) for w, h, px, py in pieces)
    least = (i_x + i_y) / 2.0 - math.hypot((i_x - i_y) / 2.0, product)
    return area, least


def angle_about_leg(component: Component) -> tuple[float, float, float]:
    """Return area, I and the far edge's distance of an angle, ``leg_in`` upright.

    Of one angle held against twisting, bending in the plane of its upright leg; in2,
    in4 and in. Source: parallel-axis theorem, fillets ignored.
    """
    a, b, t = component.leg_in, component.other_leg_in, component.thickness_in
    area = t * (a + b - t)
    low = (a * t * a / 2.0 + (b - t) * t * t / 2.0) / area
    i = t * a**3 / 12.0 + a * t * (a / 2.0 - low) ** 2
    i += (b - t) * t**3 / 12.0 + (b - t) * t * (low - t / 2.0) ** 2
    return area, i, max(low, a - low)


def rolled(component: Component) -> Rolled:
    """Return the rolled shape looked up, or worked out from its measurements."""
    if component.weight_plf:
        return rolled_shape(component.shape, component.depth_in, component.weight_plf)
    d, w = component.depth_in, component.flange_width_in
    tf, tw = component.flange_thickness_in, component.web_thickness_in
    clear = d - 2.0 * tf
    area = 2.0 * w * tf + clear * tw
    strong = (w * d**3 - (w - tw) * clear**3) / 12.0
    if component.shape == "i-beam":
        weak = (2.0 * tf * w**3 + clear * tw**3) / 12.0
        return Rolled(d, 0.0, area, w, tw, tf, strong, weak)
    x_bar = (2.0 * w * tf * w / 2.0 + clear * tw * tw / 2.0) / area
    about_back = (2.0 * tf * w**3 + clear * tw**3) / 3.0
    return Rolled(d, 0.0, area, w, tw, tf, strong, about_back - area * x_bar**2, x_bar)


def _built_up(component: Component, how: BuiltUp, weight_pcf: float) -> Section:
    """Return the section of pieces tied together, with or without plates.

    Source: parallel-axis theorem. In plane, two channels or I-beams bend about their
    strong axis and plates riveted along both act with them. Out of plane they act as
    one when tied; where nothing ties them each bends alone. Four angles stand at the
    corners of a box; two stand back to back, their ``leg_in`` in the plane.
    """
    one = _tied_piece(component, how)
    n, arm = component.count, one.arm_in if how.tied_by != "none" else 0.0
    top, bottom = how.cover_thickness_in, how.bottom_thickness_in
    plates = (
        (how.cover_width_in, top, one.depth_in + top / 2.0),
        (how.bottom_width_in, bottom, -bottom / 2.0),
    )
    metal = sum(w * t for w, t, _ in plates)
    area = n * one.area_in2 + metal
    y = n * one.area_in2 * one.middle_in + sum(w * t * up for w, t, up in plates)
    y /= area
    i_in = n * (one.i_in_in4 + one.area_in2 * (one.middle_in - y) ** 2)
    i_in += n * one.area_in2 * one.lift_in**2
    i_out = n * (one.i_out_in4 + one.area_in2 * arm**2)
    for w, t, up in plates:
        i_in += w * t**3 / 12.0 + w * t * (up - y) ** 2
        i_out += t * w**3 / 12.0
    per_in2 = weight_pcf / IN2_PER_FT2
    pieces_plf = n * (one.weight_plf or one.area_in2 * per_in2)
    # A web plate of angles with holes is seldom recorded: plates are taken whole.
    net = area - n * (one.area_in2 - _net_of_holes(component, one.area_in2))
    return Section(
        area,
        net,
        i_in,
        i_out,
        pieces_plf + metal * per_in2,
        _shear_square(how, one, n * one.area_in2),
        12.0 * how.untied_ft / one.least_r_in,
        y - how.pin_height_in if how.pin_height_in else 0.0,
    )


@dataclass(frozen=True)
class _TiedPiece:
    """One of the pieces that ties hold together.

    ``middle_in`` is its centre above the lower edge, ``lift_in`` how far the centres
    stand above and below the middle (four angles), ``arm_in`` sideways.
    """

    area_in2: float
    i_in_in4: float
    i_out_in4: float
    depth_in: float
    middle_in: float
    arm_in: float
    least_r_in: float
    weight_plf: float
    lift_in: float = 0.0


def _tied_piece(component: Component, how: BuiltUp) -> _TiedPiece:
    apart = how.webs_apart_in
    if component.shape != "angle":
        shape = rolled(component)
        outward = shape.x_bar_in if how.flanges == "out" else -shape.x_bar_in
        least = math.sqrt(shape.i_weak_in4 / shape.area_in2)
        return _TiedPiece(
            shape.area_in2,
            shape.i_strong_in4,
            shape.i_weak_in4,
            shape.depth_in,
            shape.depth_in / 2.0,
            apart / 2.0 + outward,
            least,
            shape.weight_plf,
        )
    upright = angle_about_leg(component)
    across = angle_about_leg(
        replace(component, leg_in=component.other_leg_in, other_leg_in=component.leg_in)
    )
    area, least_i = _angle(component)
    least = math.sqrt(least_i / area)
    # Each leg's back is the outer face: the centre lies inward of it by what is left.
    high = component.leg_in - upright[2]
    wide = component.other_leg_in - across[2]
    if component.count == 4:
        return _TiedPiece(
            area,
            upright[1],
            across[1],
            how.box_depth_in,
            how.box_depth_in / 2.0,
            apart / 2.0 - wide,
            least,
            0.0,
            how.box_depth_in / 2.0 - high,
        )
    leg = component.leg_in
    arm = apart / 2.0 + wide
    return _TiedPiece(area, upright[1], across[1], leg, high, arm, least, 0.0)


def _shear_square(how: BuiltUp, one: _TiedPiece, area_in2: float) -> float:
    """Return what soft ties add to the square of the slenderness sideways.

    Engesser: Pcr = Pe/(1 + Pe/Pd) is Euler with pi^2 A E/Pd added to (KL/r)^2. Pd of
    lacing at theta to the axis is Ad E cos(theta) sin^2(theta); of stiff battens a
    apart, the pieces bending between them, (pi^2/12)(a/r1)^2 is added. Known answers:
    tests/published/test_built_up.py.
    """
    if how.tied_by == "lacing" and how.lacing_in2:
        theta = math.radians(how.lacing_deg)
        slope = math.cos(theta) * math.sin(theta) ** 2
        return math.pi**2 * area_in2 / (how.lacing_in2 * slope)
    if how.tied_by == "battens":
        reach = BATTEN_REACH
        if how.battens_apart_in:
            # The piece that bends sideways between them.
            reach = how.battens_apart_in / math.sqrt(one.i_out_in4 / one.area_in2)
        return math.pi**2 / 12.0 * reach**2
    return 0.0


def combined(parts: Sequence[tuple[Section, float]]) -> Section:
    """Return the section of components side by side.

    Areas and weights add; second moments add by stiffness.

    Parameters
    ----------
    parts : (section, E in ksi) of each component

    Source: derivation, pieces that bend together without shear between them: the
    member's EI over its EA is the square of its radius.
    """
    if len(parts) == 1:
        return parts[0][0]
    area = sum(section.area_in2 for section, _ in parts)
    mean_e = sum(section.area_in2 * e for section, e in parts) / area

    def total(values: Sequence[float | None]) -> float | None:
        stiff = 0.0
        for i_in4, (_, e) in zip(values, parts, strict=True):
            if i_in4 is None:
                return None
            stiff += i_in4 * e
        return stiff / mean_e

    return Section(
        area,
        sum(section.net_area_in2 for section, _ in parts),
        total([section.i_in_plane_in4 for section, _ in parts]),
        total([section.i_out_of_plane_in4 for section, _ in parts]),
        sum(section.weight_plf for section, _ in parts),
        max(section.shear_square for section, _ in parts),
        max(section.alone for section, _ in parts),
        max((section.pin_below_in for section, _ in parts), key=abs),
    )


def member_section(
    components: Sequence[Component], material: Material | None = None
) -> Section:
    """Return the section of a member of one or several components.

    ``material`` is the member's, for components without their own. Raises
    ``UnknownShape`` for a rolled shape that is not listed. Source: ``combined``.
    """
    parts = []
    for component in components:
        known = strength(component.material or material or Material(kind="steel"))
        section = component_section(component, known.weight_pcf)
        parts.append((section, known.e_ksi))
    return combined(parts)
