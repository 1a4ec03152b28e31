"""Forms under equal loads at the lower joints, W = 10 kip.

Source: derived by joint equilibrium and by direct stiffness, agreeing to 1e-9; the
bowstring was repeated with a second independent frame library. Printed to three
decimals.
"""

import pytest

from .documents import dead_forces, picked, uniform_forces
from .rows import approx

pytestmark = pytest.mark.published("Forms under equal loads, by two solvers", "derived")

PRINTED = 5.1e-4
CASES = {
    "A Howe": (
        {"form": "howe", "panels": 6, "panel_length_ft": 15, "depth_ft": 20},
        {
            "L0L1": 18.75,
            "L1L2": 30.0,
            "L2L3": 33.75,
            "U1U2": -18.75,
            "U2U3": -30.0,
            "L0U1": -31.25,
            "L1U1": 25,
            "L2U2": 15,
            "L3U3": 10,
            "L1U2": -18.75,
            "L2U3": -6.25,
        },
    ),
    "B plain Warren, upper joints named U1 to U4": (
        {"form": "warren", "panels": 4, "panel_length_ft": 20, "depth_ft": 15},
        {
            "L0L1": 10,
            "L1L2": 23.333,
            "U1U2": -20,
            "U2U3": -26.667,
            "L0U1": -18.028,
            "L1U1": 18.028,
            "L1U2": -6.009,
            "L2U2": 6.009,
        },
    ),
    "C Baltimore with sub-struts": (
        {"form": "baltimore", "panels": 8, "panel_length_ft": 10, "depth_ft": 20},
        {
            **{f"L{i}L{i + 1}": 35 for i in range(8)},
            "U2U4": -40,
            "L0M1": -49.497,
            "M1U2": -42.426,
            "M3U2": 14.142,
            "L4M3": 7.071,
            "L2U2": 20,
            "L4U4": 0,
            "L1M1": 10,
            "L2M1": -7.071,
            "L2M3": -7.071,
        },
    ),
    "C Baltimore with sub-ties": (
        {
            "form": "baltimore",
            "panels": 8,
            "panel_length_ft": 10,
            "depth_ft": 20,
            "sub_members": "ties",
        },
        {
            "U2U4": -45,
            "L2L3": 30,
            "M3U2": 21.213,
            "L4M3": 14.142,
            "L2U2": 15,
            "L4U4": -10,
            "M3U4": 7.071,
        },
    ),
    "D double-intersection Pratt": (
        {
            "form": "double-intersection-pratt",
            "panels": 8,
            "panel_length_ft": 10,
            "depth_ft": 20,
        },
        {
            "L0L1": 17.5,
            "L1L2": 17.5,
            "L2L3": 25,
            "L3L4": 35,
            "U1U2": -35,
            "U2U3": -40,
            "U3U4": -40,
            "L0U1": -39.131,
            "L1U1": 10,
            "L2U2": -5,
            "L3U3": 0,
            "L2U1": 16.771,
            "L3U1": 14.142,
            "L4U2": 7.071,
        },
    ),
    "G half-hip": (
        {
            "form": "half-hip-pratt",
            "panels": 4,
            "panel_length_ft": 16,
            "depth_ft": 8,
            "hip_offset_ft": 8,
        },
        {
            "L0U0": -21.213,
            "L1U0": 21.213,
            "U0U1": -30,
            "U1U2": -40,
            "L0L1": 15,
            "L1L2": 30,
            "L1U1": -5,
            "L2U1": 11.180,
            "L2U2": 0,
        },
    ),
    "G full slope, for contrast": (
        {"form": "pratt", "panels": 4, "panel_length_ft": 16, "depth_ft": 8},
        {"L1U1": 10},
    ),
}
BOWSTRING = {"form": "bowstring", "panels": 6, "panel_length_ft": 20, "depth_ft": 30}
# The printed case has one diagonal a panel.
SINGLE = [{"names": ["L1U2", "L2U3", "L4U3", "L5U4"], "absent": True}]


@pytest.mark.parametrize("case", CASES)
def test_printed_forces(case):
    geometry, wanted = CASES[case]
    forces = uniform_forces(geometry, 10)
    assert picked(forces, wanted) == approx(wanted, abs=PRINTED)


def test_e_bowstring_under_uniform_load():
    """H = wL^2/8h = 30 in every bar of the lower chord; diagonals 0."""
    forces = uniform_forces(BOWSTRING, 10, members=SINGLE)
    wanted = {f"L{i}L{i + 1}": 30 for i in range(6)}
    wanted |= {f"L{i}U{i}": 10 for i in range(1, 6)}
    wanted |= {"L0U1": -39.051, "U1U2": -33.541, "U2U3": -30.414}
    wanted |= {"L2U1": 0, "L3U2": 0, "L3U4": 0, "L4U5": 0}
    assert picked(forces, wanted) == approx(wanted, abs=PRINTED)


def test_e_bowstring_loaded_on_one_side():
    forces = dead_forces(BOWSTRING, {"L1": 10, "L2": 10}, members=SINGLE)
    wanted = {
        "L2U1": -3.905,
        "L3U2": -8.333,
        "L3U4": 4.167,
        "L4U5": 1.953,
        "L0L1": 18,
        "L2L3": 15,
        "L3L4": 7.5,
        "L2U2": 12.5,
    }
    # The printed case names the diagonals U1L2, U2L3, L3U4, L4U5.
    assert picked(forces, wanted) == approx(wanted, abs=PRINTED)


def test_f_fink_given_outright():
    """Deck, 8 panels of 10, all posts 20 deep: 1, 3, 5, 7 hang in 2 and 6, those in 4.

    Upper chord -52.5 throughout, more than M/h = 40; posts -10, -20, -40; ties 5.590,
    14.142, 44.721.
    """
    joints = {f"U{i}": [10.0 * i, 0.0] for i in range(9)}
    joints |= {f"P{i}": [10.0 * i, -20.0] for i in range(1, 8)}
    members = [[f"U{i}", f"U{i + 1}"] for i in range(8)]
    members += [[f"U{i}", f"P{i}"] for i in range(1, 8)]
    reach = {1: 1, 3: 1, 5: 1, 7: 1, 2: 2, 6: 2, 4: 4}
    for post, half in reach.items():
        members += [[f"U{post - half}", f"P{post}"], [f"U{post + half}", f"P{post}"]]
    forces = dead_forces(
        {
            "joints": joints,
            "members": members,
            "pinned": "U0",
            "roller": "U8",
            "loaded_joints": [f"U{i}" for i in range(9)],
        },
        {f"U{i}": 10 for i in range(1, 8)},
    )
    wanted = {f"U{i}U{i + 1}": -52.5 for i in range(8)}
    wanted |= {"U1P1": -10, "U3P3": -10, "U2P2": -20, "U6P6": -20, "U4P4": -40}
    wanted |= {"U0P1": 5.590, "U4P3": 5.590, "U0P2": 14.142, "U8P4": 44.721}
    assert picked(forces, wanted) == approx(wanted, abs=PRINTED)


@pytest.mark.published("Forms by the method of sections", "derived")
def test_bedstead_by_sections():
    """By hand: 4 panels of 15, 10 deep, W = 10 at L1 to L3. Reaction 15, all of it in
    the leg; L1U0 15 x 18.028/10; U0U1 -15 x 1.5; U1U2 = -M/h = -(15 x 30 - 150)/10;
    the end panel of the lower chord idle; L1U1 -(15 - 10); L2U1 5 x 1.8028."""
    forces = uniform_forces(
        {"form": "bedstead", "panels": 4, "panel_length_ft": 15, "depth_ft": 10}, 10
    )
    wanted = {
        "L0U0": -15,
        "L1U0": 27.042,
        "U0U1": -22.5,
        "U1U2": -30,
        "L0L1": 0,
        "L1L2": 22.5,
        "L1U1": -5,
        "L2U1": 9.014,
        "L2U2": 0,
    }
    assert picked(forces, wanted) == approx(wanted, abs=PRINTED)


@pytest.mark.published("Forms by the method of sections", "derived")
def test_lenticular_chords_pull_alike():
    """By statics: parabolic chords of 6 panels of 20, 30 deep, W = 10: the horizontal
    of each is M/h = wL^2/8h = 30 throughout, equal and opposite, so the supports feel
    none; diagonals idle; the verticals pass half of each load up, W/2."""
    forces = uniform_forces(
        {"form": "lenticular", "panels": 6, "panel_length_ft": 20, "depth_ft": 30},
        10,
        members=SINGLE,
    )
    slopes = [8.333333 / 20, 5 / 20, 1.666667 / 20]
    wanted = {}
    for i, slope in enumerate(slopes):
        along = 30 * (1 + slope**2) ** 0.5
        wanted[f"L{i}L{i + 1}"] = along
        wanted[f"U{i}U{i + 1}" if i else "L0U1"] = -along
    wanted |= {f"L{i}U{i}": 5 for i in range(1, 6)}
    wanted |= {"L2U1": 0, "L3U2": 0, "L3U4": 0, "L4U5": 0}
    assert picked(forces, wanted) == approx(wanted, abs=1e-5)
