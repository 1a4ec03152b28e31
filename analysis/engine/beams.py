"""Simple beams of a floor: what a moving vehicle does to them, what they can carry.

Feet and kips for loads and moments; inches, in2, in3 and lb per foot for sections.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from . import sections
from .equilibrium import Float
from .materials import WEIGHT_PCF, Material, strength
from .resistance import LEVELS, METHODS, TIMBER_LEVEL, WROUGHT_IRON_TENSION, Limits
from .sections import Component, Girder

IN_PER_FT = 12.0
#: Allowable shear on the web, parts of Fy: Manual for Bridge Evaluation 6B.5.2, memory.
WEB_SHEAR = {"operating": 0.45, "inventory": 0.33}
#: Plastic shear of a web, part of Fy: the same, load factor, from memory.
WEB_YIELD = 0.58
#: Timber in bending, ksi: Douglas fir-larch No. 1 posts and timbers, National Design
#: Specification supplement, from memory.
TIMBER_BENDING_KSI = 1.2
#: Timber in shear along the grain, ksi: Tower 1874 (100 to 150 psi).
TIMBER_SHEAR_KSI = 0.150

BEAM_SOURCE = (
    "Floor beams and stringers: simple beams; bending 0.55 and 0.75 Fy (wrought iron "
    "14.6 and 20.0 ksi), shear on the web 0.33 and 0.45 Fy, inventory and operating: "
    "AASHTO Manual for Bridge Evaluation, 6B.5.2, from memory."
)
TIMBER_BEAM_SOURCE = (
    "Timber beams: bending 1.2 ksi, Douglas fir-larch No. 1 posts and timbers, "
    "National Design Specification supplement, from memory; shear along the grain "
    "0.150 ksi, G. B. N. Tower, 1874; operating 1.33 times inventory, from memory."
)


@dataclass(frozen=True)
class BeamSection:
    """What a beam's section comes to, bending in a vertical plane.

    Attributes
    ----------
    area_in2, i_in4, modulus_in3 : of the whole section, the lesser modulus
    shear_in2 : the web of a metal beam, two thirds of a timber
    weight_plf : lb per foot
    """

    area_in2: float
    i_in4: float
    modulus_in3: float
    shear_in2: float
    weight_plf: float


def girder_section(girder: Girder, weight_pcf: float = 490.0) -> BeamSection:
    """Return the section of a built-up I, rivet holes not deducted.

    Source: parallel-axis theorem. Known answers:
    tests/analysis/engine/test_floor.py, against a section library.
    """
    d, tw = girder.depth_in, girder.web_thickness_in
    a, b, t = girder.leg_in, girder.other_leg_in, girder.angle_thickness_in
    area, i = d * tw, tw * d**3 / 12.0
    # Each angle as a leg on the web and what is left of the leg that stands out.
    for width, height, arm in ((t, a, d / 2.0 - a / 2.0), (b - t, t, d / 2.0 - t / 2)):
        area += 4.0 * width * height
        i += 4.0 * (width * height**3 / 12.0 + width * height * arm**2)
    w, tc = girder.cover_width_in, girder.cover_thickness_in
    area += 2.0 * w * tc
    i += 2.0 * (w * tc**3 / 12.0 + w * tc * ((d + tc) / 2.0) ** 2)
    return BeamSection(
        area,
        i,
        i / (d / 2.0 + tc),
        d * tw,
        area * weight_pcf / sections.IN2_PER_FT2,
    )


def beam_section(
    components: Sequence[Component], weight_pcf: float = 490.0
) -> BeamSection:
    """Return the section of pieces side by side that bend together as one beam.

    Channels and I-beams stand upright; timbers, plates and bars stand on edge as their
    sizes say (a timber by its depth, a plate by its width). Worn pieces weigh what they
    did.

    Raises ``UnknownShape`` for a rolled shape that is not listed. Source: geometry.
    """
    area = i = shear = weight = 0.0
    reach = 0.0
    for piece in components:
        n = piece.count
        bare_area, _, _, _, plf = _upright(piece)
        one_area, one_i, one_shear, depth, _ = _upright(sections.worn(piece))
        area += n * one_area
        i += n * one_i
        shear += n * one_shear
        weight += n * (plf or bare_area * weight_pcf / sections.IN2_PER_FT2)
        reach = max(reach, depth / 2.0)
    return BeamSection(area, i, i / reach, shear, weight)


def _upright(piece: Component) -> tuple[float, float, float, float, float]:
    """Return area, I, shear area, depth and rolled weight of one piece."""
    if piece.shape in ("channel", "i-beam"):
        rolled = sections.rolled(piece)
        web = rolled.depth_in * rolled.web_thickness_in
        i = rolled.i_strong_in4
        return rolled.area_in2, i, web, rolled.depth_in, rolled.weight_plf
    if piece.shape == "timber":
        width, depth = piece.width_in, piece.depth_in
    elif piece.shape in ("plate", "flat-bar", "eyebar"):
        width, depth = piece.thickness_in, piece.width_in
    elif piece.shape == "angle":
        section = sections.angle_about_leg(piece)
        web = piece.leg_in * piece.thickness_in
        # The far edge of the upright leg governs: its distance counts as half a depth.
        return section[0], section[1], web, 2.0 * section[2], 0.0
    else:
        depth = width = piece.diameter_in or piece.side_in
    area = width * depth
    shear = 2.0 / 3.0 * area
    return area, area * depth**2 / 12.0, shear, depth, 0.0


@dataclass(frozen=True)
class BeamCapacity:
    """Moments, kip ft, and shears, kip, by level; None where no material is said."""

    moment_kip_ft: Limits | None
    shear_kip: Limits | None


def beam_capacity(
    section: BeamSection,
    material: Material | None,
    method_key: str,
    loss_fraction: float = 0.0,
) -> BeamCapacity:
    """Return what a beam can carry under a method, its top flange held by the deck.

    Source: named in ``BEAM_SOURCE`` and ``TIMBER_BEAM_SOURCE``. Known answers:
    tests/analysis/engine/test_floor.py.
    """
    if material is None or not strength(material).is_rated:
        return BeamCapacity(None, None)
    known = strength(material)
    left = 1.0 - loss_fraction
    method = METHODS[method_key]
    bending, shear = {}, {}
    for level in LEVELS:
        if known.kind == "timber":
            bending[level] = TIMBER_BENDING_KSI * TIMBER_LEVEL[level]
            shear[level] = TIMBER_SHEAR_KSI * TIMBER_LEVEL[level]
        elif method.key == "load-factor":
            bending[level], shear[level] = known.fy_ksi, WEB_YIELD * known.fy_ksi
        else:
            bending[level] = method.gross[level] * known.fy_ksi
            if known.kind == "wrought-iron":
                bending[level] = WROUGHT_IRON_TENSION[level]
            shear[level] = WEB_SHEAR[level] * known.fy_ksi
    return BeamCapacity(
        {k: v * left * section.modulus_in3 / IN_PER_FT for k, v in bending.items()},
        {k: v * left * section.shear_in2 for k, v in shear.items()},
    )


def weight_pcf(material: Material | None) -> float:
    """Return lb per cubic foot of a material, steel where none is said."""
    return strength(material).weight_pcf if material else WEIGHT_PCF["steel"]


# --- what a vehicle does ---------------------------------------------------------------


def greatest_moment(span_ft: float, axle_kip: Float, behind_ft: Float) -> float:
    """Return the greatest moment of a simple beam under a vehicle passing, kip ft.

    Exact: it stands under an axle, with midspan halfway between that axle and the
    resultant of some neighbouring axles; every such place is tried.

    Parameters
    ----------
    span_ft : float
    axle_kip, behind_ft : (a,) float, front to rear

    Source: statics. Known answers: tests/published/test_simple_beams.py.
    """
    p, at = np.asarray(axle_kip, float), -np.asarray(behind_ft, float)
    best = 0.0
    count = len(p)
    for first in range(count):
        for last in range(first, count):
            group = slice(first, last + 1)
            resultant = float(p[group] @ at[group] / p[group].sum())
            for axle in range(first, last + 1):
                # The axle stands as far from midspan as the resultant, across it.
                place = span_ft / 2.0 + (at[axle] - resultant) / 2.0
                if 0.0 <= place <= span_ft:
                    x = at - at[axle] + place
                    best = max(best, _moment_at(span_ft, place, p, x))
    return best


def _moment_at(span_ft: float, place: float, p: Float, x: Float) -> float:
    on = (x >= 0.0) & (x <= span_ft)
    ordinate = np.where(x <= place, x * (span_ft - place), place * (span_ft - x))
    return float((p * on) @ ordinate) / span_ft


def greatest_shear(
    span_ft: float, axle_kip: Float, behind_ft: Float, from_end_ft: float = 0.0
) -> float:
    """Return the greatest shear at a distance from a support, kip.

    Both ways of travel are tried, an axle at the section. Source: statics. Known
    answers: tests/published/test_simple_beams.py.
    """
    p, behind = np.asarray(axle_kip, float), np.asarray(behind_ft, float)
    best = 0.0
    for offsets in (behind, -behind):
        for anchor in offsets:
            x = from_end_ft + offsets - anchor
            on = (x >= from_end_ft - 1e-9) & (x <= span_ft)
            best = max(best, float((p * on) @ (1.0 - x / span_ft)))
    return best


def greatest_reaction(
    left_ft: float, right_ft: float, axle_kip: Float, behind_ft: Float
) -> float:
    """Return the greatest load of a vehicle on a floor beam between two panels, kip.

    Stringers are simple beams; an axle stands over the floor beam, either heading.
    Source: statics. Known answers: tests/published/test_simple_beams.py.
    """
    p, behind = np.asarray(axle_kip, float), np.asarray(behind_ft, float)
    best = 0.0
    for offsets in (behind, -behind):
        for anchor in offsets:
            x = offsets - anchor
            reach = np.where(x < 0.0, left_ft, right_ft)
            best = max(best, float(p @ np.maximum(1.0 - np.abs(x) / reach, 0.0)))
    return best
