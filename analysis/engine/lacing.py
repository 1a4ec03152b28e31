"""What the lacing of a compression member must carry, and what its bars can.

Kips, inches and ksi; angles in degrees to the axis of the member.
"""

from __future__ import annotations

import math

from .resistance import column_strength_ksi
from .sections import BuiltUp

#: Of columns, at the inventory level; see ``resistance``.
SAFETY = 2.12
#: Greatest slenderness of lacing bars, single and double: AASHTO, from memory.
MOST_SLENDER = {1: 140.0, 2: 200.0}


def shear_part(slenderness: float, fy_ksi: float) -> float:
    """Return the shear that ties must carry, as a part of the compression.

    [100/(L/r + 10) + (L/r) Fy/3,300,000]/100, Fy in psi. Source: AASHTO Standard
    Specifications, from memory; reproduced. Known answers:
    tests/published/test_built_up.py.
    """
    ultimate = slenderness * fy_ksi * 1000.0 / 3_300_000.0
    return (100.0 / (slenderness + 10.0) + ultimate) / 100.0


def bar_force_kip(how: BuiltUp, shear_kip: float) -> float:
    """Return the force in one lacing bar under a shear across the member.

    The bars cut by a section share the shear; each takes V/sin of its slope to the axis.
    Source: statics.
    """
    bars = max(how.lacing_planes * how.lacing_systems, 1)
    return shear_kip / bars / math.sin(math.radians(how.lacing_deg))


def bar_strength_kip(how: BuiltUp, fy_ksi: float, e_ksi: float) -> float:
    """Return what one bar can take in compression, at the inventory level.

    A column from rivet line to rivet line, taken as the clear width between the pieces;
    bars of double lacing are held where they cross. Beyond the slenderness that
    specifications allow, nothing. Source: the column formula of ``resistance``.
    """
    apart = how.webs_apart_in / math.sin(math.radians(how.lacing_deg))
    held = apart / how.lacing_systems
    slender = held / (how.lacing_thickness_in / math.sqrt(12.0))
    if slender > MOST_SLENDER[how.lacing_systems]:
        return 0.0
    area = how.lacing_in2 / (how.lacing_planes * how.lacing_systems)
    return column_strength_ksi(fy_ksi, e_ksi, slender) / SAFETY * area
