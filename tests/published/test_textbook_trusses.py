"""Small trusses from textbooks and teaching, given outright or by form."""

from itertools import pairwise

import pytest

from analysis.engine.answer import answer

from .documents import dead_forces, picked
from .rows import approx

pytestmark = pytest.mark.published(
    "University computing assignment on a Warren truss", "seen"
)

PER_MILLE = 1e-3


def test_warren_of_a_university_computing_assignment():
    """A 60-degree Warren truss: inputs seen; forces derived; AB and DE recalled as
    published, 4041 and 5196 in compression."""
    geometry = {
        "joints": {
            "A": [0, 0],
            "B": [5, 8.660254],
            "C": [10, 0],
            "D": [15, 8.660254],
            "E": [20, 0],
        },
        "members": [
            ["A", "B"],
            ["A", "C"],
            ["B", "C"],
            ["B", "D"],
            ["C", "D"],
            ["C", "E"],
            ["D", "E"],
        ],
        "pinned": "A",
        "roller": "E",
        "loaded_joints": ["A", "C", "E"],
    }
    forces = dead_forces(geometry, {"B": 1, "C": 4, "D": 3})
    found = answer(
        {"geometry": geometry, "dead_load": {"joints_kip": {"B": 1, "C": 4, "D": 3}}}
    )
    reactions = {name: each["dead_kip"] for name, each in found["reactions"].items()}
    assert reactions == approx({"A": 3.5, "E": 4.5}, abs=1e-9)
    wanted = {
        "AB": -4.04145,
        "AC": 2.02073,
        "BC": 2.88675,
        "BD": -3.46410,
        "CD": 1.73205,
        "CE": 2.59808,
        "DE": -5.19615,
    }
    assert forces == approx(wanted, abs=1e-5)


@pytest.mark.published("R. C. Hibbeler, Statics, 14th ed., problem 6-11", "reproduced")
def test_polygonal_chord_of_hibbeler_6_11():
    """R. C. Hibbeler, Statics, 14th ed., problem 6-11: input seen, answers recalled
    (AL 28.3 C, KJ 23.6 C, KD 7.45 C, JD 33.3 T, CK 10 T, LC 0). Metres and kN stand
    as ft and kips. The web runs toward midspan at the bottom, as in a Pratt."""
    bottom = "ABCDEFG"
    joints = {name: [2.0 * i, 0.0] for i, name in enumerate(bottom)}
    joints |= {"L": [2, 2], "K": [4, 4], "J": [6, 6], "I": [8, 4], "H": [10, 2]}
    members = [list(pair) for pair in pairwise(bottom)]
    members += [["A", "L"], ["L", "K"], ["K", "J"], ["J", "I"], ["I", "H"], ["H", "G"]]
    members += [["L", "B"], ["K", "C"], ["J", "D"], ["I", "E"], ["H", "F"]]
    members += [["L", "C"], ["K", "D"], ["I", "D"], ["H", "E"]]
    geometry = {
        "joints": joints,
        "members": members,
        "pinned": "A",
        "roller": "G",
        "loaded_joints": list(bottom),
    }
    forces = dead_forces(geometry, {"C": 10, "D": 20, "E": 10})
    wanted = {
        "AL": -28.284,
        "LK": -28.284,
        "KJ": -23.570,
        "AB": 20,
        "BC": 20,
        "CD": 20,
        "LB": 0,
        "LC": 0,
        "KC": 10,
        "KD": -7.454,
        "JD": 33.333,
    }
    assert picked(forces, wanted) == approx(wanted, abs=5.1e-4)


QUEEN = {"form": "queen-post", "panels": 3, "panel_length_ft": 15, "depth_ft": 10}


@pytest.mark.published("C. E. Greene, 1890, queen post", "seen")
def test_queen_post_under_equal_loads_has_no_force_in_its_middle_diagonal():
    """Greene 1890 (seen): under equal loads the centre diagonal carries nothing."""
    forces = dead_forces(
        QUEEN | {"crossed_panels": [2]},
        {"L1": 8, "L2": 8},
        members=[{"names": ["L1U2"], "absent": True}],
    )
    wanted = {
        "L0L1": 12,
        "L1L2": 12,
        "L0U1": -14.422,
        "U1U2": -12,
        "L1U1": 8,
        "L2U2": 8,
        "L2U1": 0,
    }
    assert picked(forces, wanted) == approx(wanted, abs=5.1e-4)


@pytest.mark.published("Queen post by joints", "derived")
def test_queen_post_loaded_on_one_side():
    """Derived: 8 kip at L1 with the diagonal U1L2."""
    forces = dead_forces(
        QUEEN | {"crossed_panels": [2]},
        {"L1": 8},
        members=[{"names": ["L1U2"], "absent": True}],
    )
    wanted = {"L2U1": -4.807, "L2U2": 2.667, "U1U2": -4.0}
    assert picked(forces, wanted) == approx(wanted, abs=5.1e-4)


@pytest.mark.published("Queen post by joints", "derived")
def test_open_queen_post_balances_a_symmetric_load_and_says_that_is_all():
    found = answer({"geometry": QUEEN, "dead_load": {"joints_kip": {"L1": 8, "L2": 8}}})
    assert found["stands"] is False
    assert found["members"]["U1U2"]["dead_kip"] == approx(-12.0)
    assert any("only a symmetric load" in text for text in found["warnings"])


@pytest.mark.published("Queen post by joints", "derived")
def test_open_queen_post_has_no_answer_to_one_load():
    found = answer({"geometry": QUEEN, "dead_load": {"joints_kip": {"L1": 8}}})
    assert found["stands"] is False
    assert found["members"]["U1U2"]["dead_kip"] is None


@pytest.mark.published("Index method of Ketchum and of Merriman", "reproduced")
def test_index_method_on_seven_panels():
    """Coefficients of the kind printed by Ketchum and by Merriman (method recalled,
    values derived): 7 panels of 20, 24 deep, W = 1, sec 1.3017, tan 0.8333. The middle
    panel is crossed; without shear both rods of it are left out here."""
    sec, tan = 1.3017083, 20.0 / 24.0
    forces = dead_forces(
        {"form": "pratt", "panels": 7, "panel_length_ft": 20, "depth_ft": 24},
        {f"L{i}": 1 for i in range(1, 7)},
        members=[{"names": ["L3U4"], "absent": True}],
    )
    wanted = {
        "L0U1": -3 * sec,
        "L0L1": 3 * tan,
        "L1L2": 3 * tan,
        "L2L3": 5 * tan,
        "L3L4": 6 * tan,
        "U1U2": -5 * tan,
        "U2U3": -6 * tan,
        "U3U4": -6 * tan,
        "L1U1": 1,
        "L2U2": -1,
        "L2U1": 2 * sec,
        "L3U2": sec,
        "L4U3": 0,
    }
    assert picked(forces, wanted) == approx(wanted, abs=1e-6)


def framed(joints, members, pinned, roller, loaded, loads, groups=()):
    return dead_forces(
        {
            "joints": joints,
            "members": members,
            "pinned": pinned,
            "roller": roller,
            "loaded_joints": loaded,
        },
        loads,
        members=list(groups),
    )


@pytest.mark.published("CALFEM manual, example exs_bar2", "seen")
def test_three_bars_that_statics_cannot_settle():
    """Areas 6, 3 and 10; 80 kN down; forces -29,845, +57,617 and +37,306 N. Fixed ends
    stand as a frame of bars a million times stiffer; metres and kN as ft and kips.
    E 200 GPa: joint 3 moves -0.39793 mm across and -1.1523 up, by what two bars
    lengthen."""
    joints = {"A": [0, 0], "B": [0, 1.2], "C": [1.6, 0], "D": [1.6, 1.2]}
    stiff = [["A", "B"], ["B", "D"], ["A", "D"]]
    bars = [["A", "C"], ["C", "D"], ["B", "C"]]
    groups = [
        {"names": ["AB", "BD", "AD"], "section": {"area_in2": 10_000}},
        {"names": ["AC"], "section": {"area_in2": 0.06}},
        {"names": ["CD"], "section": {"area_in2": 0.03}},
        {"names": ["BC"], "section": {"area_in2": 0.10}},
    ]
    forces = framed(joints, stiff + bars, "A", "D", ["B", "C"], {"C": 80}, groups)
    wanted = {"AC": -29.8446, "CD": 57.6166, "BC": 37.3057}
    assert picked(forces, wanted) == approx(wanted, abs=2e-3)
    # mm: kN over GPa times mm2, times mm of length.
    across = forces["AC"] / (200e-3 * 600) * 1.6
    up = -forces["CD"] / (200e-3 * 300) * 1.2
    assert [across, up] == approx([-0.39793, -1.1523], abs=6e-5)
    # The third bar, 2 m aslant, lengthens by what these two take it.
    aslant = forces["BC"] / (200e-3 * 1000) * 2.0
    assert aslant == approx(0.8 * across - 0.6 * up, abs=1e-4)


@pytest.mark.published("A frame library's own test of tension-only ties", "seen")
def test_of_two_ties_the_one_that_would_be_pushed_drops_out():
    """Strut (0,0)-(100,0), ties to (0,10) and (0,-10), 10 kip down at the end: strut
    100, upper tie 100.499, lower tie 0."""
    joints = {
        "O": [0, 0],
        "P": [0, 10],
        "Q": [0, -10],
        "R": [-10, 0],
        "E": [100, 0],
    }
    frame = [["R", "O"], ["R", "P"], ["R", "Q"], ["O", "P"], ["O", "Q"]]
    bars = [["O", "E"], ["P", "E"], ["Q", "E"]]
    groups = [{"names": ["PE", "QE"], "section": {"area_in2": 1}, "tension_only": True}]
    forces = framed(joints, frame + bars, "R", "O", ["R", "E"], {"E": 10}, groups)
    wanted = {"OE": -100.0, "PE": 100.499, "QE": 0.0}
    assert picked(forces, wanted) == approx(wanted, abs=6e-4)
