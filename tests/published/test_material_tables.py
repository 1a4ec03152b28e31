"""Strengths by kind and year: AASHTO Manual for Bridge Evaluation, from memory.

Table 6A.6.2.1-1 (steel), 6A.6.2 and 6B.5.2.2 (wrought iron); unit weights article
3.3.6 of the Standard Specifications. In a boundary year the lower strength is used.
"""

import pytest

from analysis.engine.answer import answer
from analysis.engine.materials import Material, strength

from .rows import approx

pytestmark = pytest.mark.published(
    "AASHTO Manual for Bridge Evaluation, table 6A.6.2.1-1 and 6B.5.2", "memory"
)

BAR = {"form": "king-post", "panels": 2, "panel_length_ft": 15, "depth_ft": 10}


@pytest.mark.parametrize(
    ("year", "fy", "fu"),
    [
        (None, 26, 52),
        (1890, 26, 52),
        (1905, 26, 52),
        (1906, 30, 60),
        (1936, 30, 60),
        (1937, 33, 60),
        (1963, 33, 60),
        (1964, 36, 58),
    ],
)
def test_steel_by_year(year, fy, fu):
    known = strength(Material(kind="steel", year=year))
    assert (known.fy_ksi, known.fu_ksi, known.e_ksi) == (fy, fu, 29_000)


@pytest.mark.published("G. B. N. Tower, 1874", "seen")
def test_wrought_iron_weighs_and_stretches_as_iron():
    """Tower: 10 lb a yard for each square inch; E 27,500 within 26,200 to 27,900."""
    known = strength(Material(kind="wrought-iron", year=1885))
    assert (known.fy_ksi, known.fu_ksi) == (26, 48)
    assert 26_200 <= known.e_ksi <= 27_900
    assert known.weight_pcf / 144 * 3 == approx(10.0)


@pytest.mark.published("Shop rule of 3.4 lb, bridge load primer", "seen")
def test_steel_weighs_three_and_four_tenths_a_foot_for_each_square_inch():
    assert strength(Material(kind="steel")).weight_pcf / 144 == approx(3.4, abs=0.01)


@pytest.mark.parametrize(
    ("material", "inventory", "operating"),
    [
        ({"kind": "steel", "year": 1900}, 14.30, 19.50),
        ({"kind": "steel", "year": 1920}, 16.50, 22.50),
        ({"kind": "steel", "year": 1950}, 18.15, 24.75),
        ({"kind": "steel", "year": 1970}, 19.80, 27.00),
        ({"kind": "wrought-iron", "year": 1885}, 14.6, 20.0),
        ({"fy_ksi": 50, "fu_ksi": 52, "e_ksi": 29000}, 26.0, 34.84),
    ],
)
def test_allowable_tension_on_one_square_inch(material, inventory, operating):
    """0.55 and 0.75 Fy gross; 0.50 and 0.67 Fu net where that is less (last row)."""
    found = answer(
        {
            "geometry": BAR,
            "material": material,
            "members": [{"kinds": ["lower-chord"], "section": {"area_in2": 1}}],
        }
    )
    resistance = found["members"]["L0L1"]["resistance"]
    assert resistance["inventory"]["tension_kip"] == approx(inventory)
    assert resistance["operating"]["tension_kip"] == approx(operating)
