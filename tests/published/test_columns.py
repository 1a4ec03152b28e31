"""Columns: AASHTO Manual for Bridge Evaluation 6B.5.2, and Tower's timber struts.

The manual's formula is from memory; its recalled printed constants (12,260; 0.28;
14,150; 0.37; 15,570; 0.45; 16,980; 0.53; 168,363,840) and the values below, derived
from it, agree. Tower 1874 was seen.
"""

import math

import pytest

from analysis.engine.resistance import (
    METHODS,
    column_strength_ksi,
    timber_column_ksi,
)

from .rows import approx

pytestmark = pytest.mark.published(
    "AASHTO Manual for Bridge Evaluation, 6B.5.2", "reproduced"
)

E = 29_000.0
FACTOR = METHODS["allowable-stress"].column
HALF_PSI = 0.51e-3


@pytest.mark.parametrize(
    ("fy", "slenderness", "inventory_psi", "operating_psi"),
    [
        (26, 60, 11_261, 14_044),
        (26, 100, 9_479, 11_821),
        (30, 80, 11_778, 14_688),
        (33, 60, 13_951, 17_397),
        (36, 120, 9_292, 11_588),
    ],
)
def test_allowable_stress(fy, slenderness, inventory_psi, operating_psi):
    strength = column_strength_ksi(fy, E, slenderness)
    # Printed to a psi, some of them cut off rather than rounded.
    assert strength / FACTOR["inventory"] == approx(
        inventory_psi / 1000, abs=2 * HALF_PSI
    )
    assert strength / FACTOR["operating"] == approx(
        operating_psi / 1000, abs=2 * HALF_PSI
    )


@pytest.mark.parametrize(
    ("fy", "cc", "constant", "square"),
    [
        (26, 148.4, 12_264, 0.2785),
        (30, 138.1, 14_151, 0.3708),
        (33, 131.7, 15_566, 0.4487),
        (36, 126.1, 16_981, 0.5340),
    ],
)
def test_printed_constants_of_the_inventory_parabola(fy, cc, constant, square):
    at_zero = column_strength_ksi(fy, E, 0.0) / FACTOR["inventory"] * 1000
    at_hundred = column_strength_ksi(fy, E, 100.0) / FACTOR["inventory"] * 1000
    assert at_zero == approx(constant, abs=0.51)
    assert (at_zero - at_hundred) / 1e4 == approx(square, abs=5.1e-5)
    below = column_strength_ksi(fy, E, cc - 0.1)
    above = column_strength_ksi(fy, E, cc + 0.1)
    assert below == approx(fy / 2, rel=2e-3)
    assert above == approx(math.pi**2 * E / (cc + 0.1) ** 2, rel=2e-3)


def test_euler_branch():
    """135,008,740/s^2 inventory and 168,363,840/s^2 operating, psi."""
    strength = column_strength_ksi(30, E, 160.0)
    assert strength / FACTOR["inventory"] == approx(135_008.740 / 160**2, rel=1e-6)
    assert strength / FACTOR["operating"] == approx(168_363.840 / 160**2, rel=1e-6)


@pytest.mark.parametrize(
    ("fy", "cc", "constant", "square"),
    [
        (26, 148.4, 15_294, 0.3473),
        (30, 138.1, 17_647, 0.4624),
        (33, 131.7, 19_412, 0.5595),
        (36, 126.1, 21_176, 0.6659),
    ],
)
def test_constants_of_the_operating_parabola_and_where_it_ends(
    fy, cc, constant, square
):
    at_zero = column_strength_ksi(fy, E, 0.0) / FACTOR["operating"] * 1000
    at_hundred = column_strength_ksi(fy, E, 100.0) / FACTOR["operating"] * 1000
    assert at_zero == approx(constant, abs=0.51)
    assert (at_zero - at_hundred) / 1e4 == approx(square, abs=5.1e-5)
    ends = (2.0 * math.pi**2 * E / fy) ** 0.5
    assert ends == approx(cc, abs=0.06)
    assert column_strength_ksi(fy, E, ends) == approx(fy / 2)


@pytest.mark.published("T. H. Johnson's straight lines", "reproduced")
@pytest.mark.parametrize(
    ("strength", "ends", "slope", "limit"),
    [
        (42.0, 2.5, 128, 218),
        (42.0, 5 / 3, 157, 178),
        (42.0, 1.0, 203, 138),
        (52.5, 2.5, 179, 195),
        (52.5, 5 / 3, 220, 159),
        (52.5, 1.0, 284, 123),
    ],
)
def test_johnsons_lines_touch_the_engines_euler(strength, ends, slope, limit):
    """Tangent to n pi^2 E/s^2, E 27,000: limit where a third of the strength is left;
    flat, hinged and round ends. Euler is the engine's column, far beyond yield."""

    def euler(s):
        return ends * column_strength_ksi(1e9, 27_000.0, s)

    touches = math.sqrt(3.0 * euler(1.0) / strength)
    assert touches == approx(limit, abs=0.6)
    assert 1000 * 2.0 * euler(touches) / touches == approx(slope, abs=0.6)
    assert euler(touches) == approx(strength / 3)


@pytest.mark.published("T. H. Johnson's straight lines", "reproduced")
def test_johnsons_hinged_wrought_iron_to_a_tenth():
    """Slope 157.2, limit 178.1."""
    euler = 5 / 3 * column_strength_ksi(1e9, 27_000.0, 1.0)
    limit = math.sqrt(3.0 * euler / 42.0)
    assert [2.0 * 42_000 / (3.0 * limit), limit] == approx([157.2, 178.1], abs=0.06)


@pytest.mark.published("G. B. N. Tower, 1874", "seen")
@pytest.mark.parametrize(
    ("widths", "psi"),
    [(6, 1000), (12, 860), (20, 660), (30, 328), (40, 224), (60, 99), (3, 1000)],
)
def test_towers_timber_struts(widths, psi):
    assert timber_column_ksi(widths) == approx(psi / 1000)


@pytest.mark.published("Euler", "derived")
def test_beyond_towers_table_timber_falls_as_euler():
    assert timber_column_ksi(120) == approx(0.099 / 4)
