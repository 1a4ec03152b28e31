"""Loads and unit stresses of the specifications of the day, as printed."""

import math

import pytest

from analysis.engine import checkfile, period
from analysis.engine.period import Column

from .rows import approx

BY_KEY = {one.key: one for one in period.SPECIFICATIONS}


@pytest.mark.published("G. L. Vose, Bridge Disasters in America, 1887", "seen")
@pytest.mark.parametrize(
    ("span_ft", "psf"),
    [
        (60, (100, 100, 70)),
        (80, (90, 75, 60)),
        (150, (75, 60, 50)),
        (300, (60, 50, 40)),
    ],
)
def test_the_committees_table_of_1875(span_ft, psf):
    classes = BY_KEY["asce-1875"].classes
    assert [one.psf_at(span_ft) for one in classes] == approx(list(psf))


@pytest.mark.published("G. L. Vose, Bridge Disasters in America, 1887", "seen")
def test_the_committees_load_on_the_floor():
    """On four wheels: 24, 16 and 8 tons; iron often at 15,000 psi in tension."""
    committee = BY_KEY["asce-1875"]
    tons = [float(one.floor_words.split()[0]) for one in committee.classes]
    assert tons == approx([24, 16, 8])
    assert committee.metals["wrought-iron"].tension_ksi == approx(15.0)


@pytest.mark.published("G. B. N. Tower, 1874", "seen")
def test_towers_stresses_and_load():
    """Iron 15,000 in tension and 11,000 in short posts, wood 2,000 psi; 120 psf."""
    tower = BY_KEY["tower-1874"]
    iron, timber = tower.metals["wrought-iron"], tower.metals["timber"]
    ours = [iron.tension_ksi, iron.column.a_ksi, timber.tension_ksi]
    ours.append(tower.classes[0].psf_at(120.0))
    assert ours == approx([15.0, 11.0, 2.0, 120.0])


WEAK = pytest.mark.published("Period highway loads, weakly recalled", "memory")


@WEAK
@pytest.mark.parametrize(
    ("span_ft", "psf"),
    [
        (50, (100, 100, 80)),
        (150, (90, 90, 80)),
        (200, (80, 80, 70)),
        (300, (70, 70, 60)),
        (400, (60, 60, 50)),
    ],
)
def test_waddells_loads_of_1884(span_ft, psf):
    classes = BY_KEY["waddell-1884"].classes
    assert [one.psf_at(span_ft) for one in classes] == approx(list(psf))


@WEAK
@pytest.mark.parametrize(
    ("span_ft", "psf"),
    [(80, (100, 80, 80, 75)), (150, (90, 70, 67.5, 65)), (250, (80, 60, 55, 55))],
)
def test_coopers_loads(span_ft, psf):
    """To 100 ft, falling to 200 ft."""
    cooper = BY_KEY["cooper-1884"]
    assert cooper.load_certainty == cooper.stress_certainty == period.WEAK
    assert [one.psf_at(span_ft) for one in cooper.classes] == approx(list(psf))


@WEAK
@pytest.mark.parametrize(
    ("slenderness", "pinned", "riveted"), [(60, 13.8, 14.1), (120, 10.2, 11.4)]
)
def test_the_parabolas_of_1931(slenderness, pinned, riveted):
    """15,000 less a third, or with riveted ends a quarter, of the square of L/r."""
    column = BY_KEY["aasho-1931"].metals["steel"].column
    ours = [column.stress_ksi(slenderness, is_pinned) for is_pinned in (True, False)]
    assert ours == approx([pinned, riveted])


@WEAK
@pytest.mark.parametrize(
    ("slenderness", "hinged", "fixed"), [(50, 14.0, 14.5), (100, 10.0, 11.0)]
)
def test_waddells_straight_lines_of_1898(slenderness, hinged, fixed):
    """18,000 less 80 L/r hinged and 70 fixed."""
    column = BY_KEY["waddell-1898"].metals["steel"].column
    ours = [column.stress_ksi(slenderness, is_pinned) for is_pinned in (True, False)]
    assert ours == approx([hinged, fixed])


@pytest.mark.published("Gordon-Rankine, 8,000 lb", "reproduced")
@pytest.mark.parametrize(
    ("slenderness", "square", "one_pin", "two_pins"),
    [
        (40, 7.692, 7.595, 7.407),
        (80, 6.897, 6.593, 6.061),
        (120, 5.882, 5.405, 4.651),
    ],
)
def test_rankines_column(slenderness, square, one_pin, two_pins):
    column = Column("rankine", 8.0, 20_000.0, 40_000.0)
    found = [column.stress_ksi(slenderness, pinned) for pinned in (False, True)]
    assert found == approx([square, two_pins], abs=6e-4)
    half = Column("rankine", 8.0, 30_000.0, 40_000.0)
    assert half.stress_ksi(slenderness, True) == approx(one_pin, abs=6e-4)


@pytest.mark.published("AREA 1906-1910 and Ketchum 1908", "memory")
@pytest.mark.parametrize(
    ("slenderness", "ksi"), [(20, 14.0), (40, 13.2), (80, 10.4), (120, 7.6)]
)
def test_the_straight_line_of_1908(slenderness, ksi):
    column = BY_KEY["ketchum-1908"].metals["steel"].column
    assert column.stress_ksi(slenderness, True) == approx(ksi)


@pytest.mark.published("J. A. L. Waddell, De Pontibus, 1898, p. 8", "seen")
def test_waddells_steel_in_tension():
    steel = BY_KEY["waddell-1898"].metals["steel"]
    assert [steel.eyebar_ksi, steel.tension_ksi] == approx([18.0, 16.0])


@pytest.mark.published("M. S. Ketchum, 1908, in an engineering thesis", "seen")
def test_ketchums_100_ft_span():
    (highway,) = BY_KEY["ketchum-1908"].classes
    assert highway.psf_at(100.0) == approx(75.0)


@pytest.mark.published("six panels of 15 ft, 20 ft deep, influence by hand", "derived")
def test_what_a_lower_chord_works_out_to():
    """L2L3 of 3 sq in under 6 kip a joint: dead 18 kip, three joint loads; the roller
    worst with its rear axle at L2 and its front 10 ft on: 2/3 + (1/3)(5/6) = 17/18."""
    document = {
        "geometry": {
            "form": "pratt",
            "panels": 6,
            "panel_length_ft": 15,
            "depth_ft": 20,
        },
        "connection": "pin",
        "material": {"kind": "steel", "year": 1910},
        "members": [{"names": ["L2L3"], "section": {"area_in2": 3.0}}],
        "dead_load": {"uniform_plf": 400},
        "live_load": {"vehicle": "H15", "fraction": 0.6},
    }
    document["members"][0]["tension_only"] = True
    check = checkfile.read(document)
    worked = period.works_out([check], BY_KEY["ketchum-1908"], 16.0)
    room = 16.0 * 3.0 - 18.0
    assert worked.psf == approx(room / (3.0 * 15.0 * 16.0 / 2.0 / 1000.0))
    assert worked.roller_tons == approx(room / (2.0 * 0.6 * 17.0 / 18.0))
    assert worked.governs == worked.roller_governs == "L2L3"
    (met,) = worked.met
    assert met.times == approx(worked.psf / 75.0)
    assert met.short == ()
    assert met.of == 1
    assert math.isfinite(worked.psf)
