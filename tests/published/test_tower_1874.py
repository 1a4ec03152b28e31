"""G. B. N. Tower, Instructions on Modern American Bridge Building, 1874.

Public-domain text, seen. Loads in pounds there, entered here as thousands. He rounds
lengths, and takes the whole half of the load on the end brace where statics takes the
reaction less the end panel point, so some of his figures are high; where that is so
the exact figure is asked for and his is named.
"""

import pytest

from analysis.engine.materials import WEIGHT_PCF
from analysis.engine.sections import Component, component_section

from .documents import dead_forces, uniform_forces
from .rows import approx

pytestmark = pytest.mark.published("G. B. N. Tower, 1874", "seen")

ROUNDED = 2e-3  # relative: his brace of 18.028 ft is taken as 18 long


def test_king_post_pp_17_18():
    """Span 30, rise 10, 8,000 lb on each brace: brace 14,400 (exact 14,422)."""
    geometry = {"form": "king-post", "panels": 2, "panel_length_ft": 15, "depth_ft": 10}
    forces = dead_forces(geometry, {"L1": 16.0})
    assert -forces["L0U1"] == approx(14.400, rel=ROUNDED)
    assert -forces["L0U1"] == approx(14.422, abs=5e-4)
    assert forces["L0L1"] == approx(12.0, abs=1e-8)
    assert forces["L1U1"] == approx(16.0, abs=1e-8)


def test_howe_pp_22_24():
    """Span 120, 12 panels, rise 15, 22,400 lb a panel: chord WL/8h = 268,800 lb.

    Printed end brace 161,280 and end rods 134,400 are of six panels where the reaction
    is of five and a half: 148,068 and 123,200.
    """
    geometry = {"form": "howe", "panels": 12, "panel_length_ft": 10, "depth_ft": 15}
    forces = uniform_forces(geometry, 22.4)
    assert forces["L5L6"] == approx(268.8, abs=1e-6)
    assert forces["L0U1"] == approx(-161.280 * 5.5 / 6, rel=2e-3)
    assert forces["L0U1"] == approx(-148.068, abs=5e-4)
    assert forces["L1U1"] == approx(134.4 * 5.5 / 6, abs=1e-6)
    assert forces["U5U6"] == approx(-261.333, abs=5e-4)


def test_pratt_p_31():
    """Span 100, 10 panels, rise 12, 1,500 lb/ft a truss: chord 156,250 lb.

    The printed "3,333,333" is a misprint; his own formula gives 312,500 for two.
    """
    geometry = {"form": "pratt", "panels": 10, "panel_length_ft": 10, "depth_ft": 12}
    forces = uniform_forces(geometry, 15.0)
    assert forces["U4U5"] == approx(-156.25, abs=1e-6)
    assert forces["L4L5"] == approx(150.0, abs=1e-6)


def test_pratts_end_tie_and_counter_p_31():
    """Net shear of 4.5 panels on the first diagonal of two rods: 43,933 lb each; with
    his gross five panels, 75,000 lb a set, 48,814 (printed 49,375, its length rounded
    to 15.8); a counter of 10,000 lb a set, two rods, 6,509 (printed 6,585)."""
    geometry = {"form": "pratt", "panels": 10, "panel_length_ft": 10, "depth_ft": 12}
    forces = uniform_forces(geometry, 15.0)
    length = (10**2 + 12**2) ** 0.5
    # The end post takes 4.5 panels, the first diagonal 3.5.
    assert -forces["L0U1"] / 2 == approx(43.933, abs=6e-4)
    assert -forces["L0U1"] / 2 * 5 / 4.5 == approx(48.814, abs=6e-4)
    assert approx(75 / 2 * 15.8 / 12, abs=6e-4) == 49.375
    one = dead_forces(geometry, {"L1": 1.0})
    per_shear = abs(one["L2U1"]) / 0.1
    assert per_shear == approx(length / 12)
    assert 10 / 2 * per_shear == approx(6.509, abs=6e-4)


@pytest.mark.parametrize(
    ("material", "pcf"), [("wrought-iron", 480.0), ("cast-iron", 450.0)]
)
def test_weights_of_iron(material, pcf):
    assert WEIGHT_PCF[material] == approx(pcf)


def test_howe_chord_net_of_its_cuts():
    """Three 8 x 12 less 72 of splice, 24 of blocks, 24 of bolts, 8 of washers: 160."""
    chord = Component("timber", count=3, width_in=8, depth_in=12)
    assert component_section(chord).area_in2 - 72 - 24 - 24 - 8 == approx(160)
