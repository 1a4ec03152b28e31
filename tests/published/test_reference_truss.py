"""Reference truss R: six panels of 15 ft, 20 ft deep, diagonals 25 ft (3-4-5).

Source: derived by joint equilibrium and, apart from it, by direct stiffness; the
uniform-load forces and the counter case were repeated with an independent open-source
frame library. Printed to three or four decimals.
"""

import pytest

from analysis.engine.answer import answer

from .documents import REFERENCE, dead_forces, live_envelope, picked, uniform_forces
from .rows import approx

pytestmark = pytest.mark.published("Reference truss R, by two solvers", "derived")

PRINTED = 5.1e-4  # kip, half of the last digit
PRINTED_ORDINATE = 5.1e-5

UNIFORM = {
    "L0L1": 18.75,
    "L1L2": 18.75,
    "L2L3": 30.0,
    "U1U2": -30.0,
    "U2U3": -33.75,
    "L0U1": -31.25,
    "L1U1": 10.0,
    "L2U2": -5.0,
    "L3U3": 0.0,
    "L2U1": 18.75,
    "L3U2": 6.25,
}
ORDINATES = {
    "L0U1": [-1.0417, -0.8333, -0.6250, -0.4167, -0.2083],
    "L1U1": [1, 0, 0, 0, 0],
    "L2U1": [-0.2083, 0.8333, 0.6250, 0.4167, 0.2083],
    "L3U2": [-0.2083, -0.4167, 0.6250, 0.4167, 0.2083],
    "L2U2": [0.1667, 0.3333, -0.5000, -0.3333, -0.1667],
    "L2L3": [0.5, 1.0, 0.75, 0.5, 0.25],
    "U2U3": [-0.375, -0.75, -1.125, -0.75, -0.375],
}
TRUCKS = {
    "H15": {
        "L0U1": (0, -30.083),
        "L1U1": (24.400, 0),
        "L2U1": (23.833, -5.083),
        "L3U2": (17.583, -11.333),
        "L2L3": (28.600, 0),
        "U2U3": (0, -31.650),
    },
    "HS20": {
        "L0U1": (0, -65.667),
        "L1U1": (34.667, 0),
        "L2U1": (50.667, -7.111),
        "L3U2": (35.667, -20.667),
        "L2L3": (60.800, 0),
        "U2U3": (0, -67.000),
    },
}
COUNTERED = {
    "geometry": REFERENCE | {"crossed_panels": [3, 4]},
    "members": [
        {
            "names": ["U2-L3", "U3-L2", "U4-L3", "U3-L4"],
            "section": {"area_in2": 1.0},
            "tension_only": True,
        }
    ],
}
COUNTERS = [
    (
        {"L3": 22, "L4": 22, "L5": 22, "L1": 6, "L2": 6},
        {
            "L3U2": 23.750,
            "L2U3": 0,
            "L3U4": 3.750,
            "L4U3": 0,
            "L3U3": 0,
            "L2U2": -19.0,
            "L2L3": 42.0,
            "U2U3": -56.25,
        },
    ),
    (
        {"L1": 22, "L2": 22, "L3": 6, "L4": 6, "L5": 6},
        {
            "L3U2": 0,
            "L2U3": 6.250,
            "L3U4": 13.750,
            "L4U3": 0,
            "L3U3": -5.0,
            "L2U2": 0,
            "L2L3": 38.25,
            "U2U3": -42.0,
        },
    ),
    (
        dict.fromkeys(["L1", "L2", "L3", "L4", "L5"], 22),
        {
            "L3U2": 13.750,
            "L2U3": 0,
            "L3U4": 13.750,
            "L4U3": 0,
            "L3U3": 0,
            "L2U2": -11.0,
            "L2L3": 66.0,
            "U2U3": -74.25,
        },
    ),
    (
        {"L4": 22, "L5": 22, "L1": 6, "L2": 6, "L3": 6},
        {
            "L3U2": 13.750,
            "L2U3": 0,
            "L3U4": 0,
            "L4U3": 6.250,
            "L3U3": -5.0,
            "L2U2": -11.0,
            "L2L3": 30.0,
            "U2U3": -38.25,
        },
    ),
]


def test_uniform_load():
    forces = uniform_forces(REFERENCE, 10)
    assert picked(forces, UNIFORM) == approx(UNIFORM, abs=1e-8)


def test_reactions_of_the_uniform_load():
    found = answer(
        {
            "geometry": REFERENCE,
            "dead_load": {"joints_kip": {f"L{i}": 10 for i in range(1, 6)}},
        }
    )
    reactions = {name: each["dead_kip"] for name, each in found["reactions"].items()}
    assert reactions == approx({"L0": 25.0, "L6": 25.0}, abs=1e-8)


@pytest.mark.parametrize("place", range(5))
def test_influence_ordinates(place):
    forces = dead_forces(REFERENCE, {f"L{place + 1}": 1.0})
    wanted = {name: row[place] for name, row in ORDINATES.items()}
    assert picked(forces, wanted) == approx(wanted, abs=PRINTED_ORDINATE)


@pytest.mark.parametrize("truck", TRUCKS)
def test_a_truck_crossing_on_simply_supported_stringers(truck):
    found = live_envelope(REFERENCE, {"vehicle": truck, "fraction": 1, "impact": 0})
    for name, (greatest, least) in TRUCKS[truck].items():
        assert found[name] == approx((greatest, least), abs=PRINTED), name


@pytest.mark.parametrize("model", ["elastic", "classical"])
@pytest.mark.parametrize(("loads", "wanted"), COUNTERS)
def test_counters(loads, wanted, model):
    """Dead 6, live 16 per joint; second row by hand: shear 3 - 8 = -5; 5 x 25/20."""
    forces = dead_forces(
        COUNTERED["geometry"],
        loads,
        members=COUNTERED["members"],
        tension_only_model=model,
    )
    assert picked(forces, wanted) == approx(wanted, abs=PRINTED)


def test_without_its_counter_the_same_load_cannot_stand():
    """A counter that is gone makes panel 3 a mechanism under the load at L1 and L2."""
    found = answer(
        {
            "geometry": COUNTERED["geometry"],
            "members": [*COUNTERED["members"], {"names": ["L2U3"], "absent": True}],
            "dead_load": {"joints_kip": COUNTERS[1][0]},
        }
    )
    assert found["stands"] is False
    assert found["unstable_joints"]
    assert found["governing"] == {"operating": None, "inventory": None}


def test_exact_panel_shear_of_a_uniform_live_load():
    """Per wp: 2.5, 1.6, 0.9, 0.4, 0.1, 0, from wp(n - m)^2/(2(n - 1)), n = 6."""
    live = {"uniform_plf": 1000}
    found = live_envelope(REFERENCE, live)
    per_wp = 25.0 / 20.0 * 15.0  # web force of unit shear times w p
    bars = ["L2U1", "L3U2", "L3U4", "L4U5"]
    greatest = [found[name][0] / per_wp for name in bars]
    assert greatest == approx([1.6, 0.9, 0.9, 1.6], abs=1e-9)
    least = [-found[name][1] / per_wp for name in bars]
    assert least == approx([0.1, 0.4, 0.4, 0.1], abs=1e-9)
    assert -found["L0U1"][1] / per_wp == approx(2.5, abs=1e-9)
