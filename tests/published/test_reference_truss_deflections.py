"""Reference truss R: deflections by virtual work out of the engine's forces, and rest.

Derived by direct stiffness; repeated with an independent open-source frame library.
E 29,000 ksi, A 4 sq in everywhere, W = 10 kip.
"""

import math

import pytest

from analysis.engine import forms
from analysis.engine.answer import answer

from .documents import REFERENCE, dead_forces, live_envelope, uniform_forces
from .rows import approx

pytestmark = pytest.mark.published("Reference truss R, by two solvers", "derived")
LOWER = {f"L{i}": 10.0 for i in range(1, 6)}
EA_KIP = 4.0 * 29_000.0


def lengths_in():
    made = forms.build(**REFERENCE)
    return {a + b: 12.0 * made.length_ft((a, b)) for a, b in made.members}


def deflection_in(joint, loads):
    forces, unit = dead_forces(REFERENCE, loads), dead_forces(REFERENCE, {joint: 1.0})
    return sum(
        forces[name] * unit[name] * inches / EA_KIP
        for name, inches in lengths_in().items()
    )


@pytest.mark.parametrize(("joint", "inches"), [("L3", 0.49332), ("L2", 0.42349)])
def test_deflections_under_uniform_load(joint, inches):
    assert deflection_in(joint, LOWER) == approx(inches, abs=6e-6)


def test_chords_alone_give_only_part_of_it():
    """The truss as a beam of its chords, 5wL^4/384EI: 0.2946 in at L3, 60 %."""
    beam = 5 * (10 / 180) * 1080**4 / (384 * 29_000 * 2 * 4 * 120**2)
    assert beam == pytest.approx(0.2946, abs=6e-5)
    forces, unit = dead_forces(REFERENCE, LOWER), dead_forces(REFERENCE, {"L3": 1.0})
    chords = sum(
        forces[name] * unit[name] * inches / EA_KIP
        for name, inches in lengths_in().items()
        if name[0] == name[2]
    )
    # Whole loads at joints for a spread one, and a post's length between chords.
    assert chords == approx(beam, rel=0.025)
    assert chords / deflection_in("L3", LOWER) == approx(0.60, abs=0.015)


def test_a_counter_tightened_by_a_tenth_of_an_inch():
    """No load; U2L3 1.5, U3L2 1, the others 4 sq in, both middle panels crossed by bars
    that may push: U3L2 +4.779, U2L3 +4.779, L2L3 and U2U3 -2.868, U2L2 -3.823, U3L3
    -3.582."""
    sizes = {"U2L3": 1.5, "U4L3": 1.5, "U3L4": 1.0, "U3L2": 1.0}
    kinds = ["upper-chord", "end-post", "lower-chord", "hip-vertical", "vertical"]
    members = [{"kinds": [*kinds, "diagonal"], "section": {"area_in2": 4.0}}]
    members += [
        {"names": [name], "section": {"area_in2": area}} for name, area in sizes.items()
    ]
    members[-1]["tightened_in"] = 0.1
    forces = dead_forces(
        REFERENCE | {"crossed_panels": [3, 4]},
        {},
        members=members,
        material={"fy_ksi": 36, "fu_ksi": 58, "e_ksi": 29_000},
    )
    wanted = {"L2U3": 4.779, "L3U2": 4.779, "L2L3": -2.868, "U2U3": -2.868}
    wanted |= {"L2U2": -3.823, "L3U3": -3.582}
    assert {k: forces[k] for k in wanted} == approx(wanted, abs=6e-4)


def test_work_of_the_loads_is_the_work_of_the_bars():
    forces = uniform_forces(REFERENCE, 10)
    inside = sum(
        forces[n] ** 2 * inches / (2 * EA_KIP) for n, inches in lengths_in().items()
    )
    outside = sum(10.0 * deflection_in(joint, LOWER) for joint in LOWER) / 2
    assert inside == approx(9.4461, abs=6e-5)
    assert outside == approx(9.4461, abs=6e-5)


def test_maxwell():
    assert deflection_in("L4", {"L2": 10}) == approx(0.078592, abs=6e-7)
    assert deflection_in("L2", {"L4": 10}) == approx(0.078592, abs=6e-7)


@pytest.mark.published("Index method of Ketchum and of Merriman", "reproduced")
def test_panel_shears_of_a_live_panel_load_on_seven_panels():
    """Panels 1 to 7, positive 3, 15/7, 10/7, 6/7, 3/7, 1/7, 0: the greatest, over the
    sets of whole panel loads, of the end post and the diagonals over their secant."""
    geometry = {"form": "pratt", "panels": 7, "panel_length_ft": 20, "depth_ft": 24}
    absent = [{"names": ["L3U4"], "absent": True}]
    secant = math.hypot(20, 24) / 24
    bars = ["L0U1", "L2U1", "L3U2", "L4U3", "L4U5", "L5U6", "L7U6"]
    signs = [-1, 1, 1, 1, -1, -1, 1]
    ones = [dead_forces(geometry, {f"L{i}": 1.0}, members=absent) for i in range(1, 7)]
    rows = [
        [sign * one[bar] / secant for one in ones]
        for bar, sign in zip(bars, signs, strict=True)
    ]
    most = [sum(max(value, 0.0) for value in row) for row in rows]
    least = [sum(min(value, 0.0) for value in row) for row in rows]
    sevenths = [21, 15, 10, 6, 3, 1, 0]
    assert most == approx([n / 7 for n in sevenths], abs=1e-9)
    assert least == approx([-n / 7 for n in reversed(sevenths)], abs=1e-9)


@pytest.mark.published("J. A. L. Waddell, De Pontibus, 1898, p. 221", "seen")
def test_whole_panel_loads_are_never_less_than_the_exact_load():
    """Conventional 2.5, 1.667, 1.0, 0.5 a wp; exact 2.5, 1.6, 0.9, 0.4."""
    per_wp = 25.0 / 20.0
    ones = [dead_forces(REFERENCE, {f"L{i}": 1.0}) for i in range(1, 6)]
    bars = {"L0U1": -1, "L2U1": 1, "L3U2": 1, "L3U4": -1}
    whole = [
        sum(max(sign * one[bar], 0.0) for one in ones) / per_wp
        for bar, sign in bars.items()
    ]
    assert whole == approx([2.5, 1.667, 1.0, 0.5], abs=6e-4)
    exact = live_envelope(REFERENCE, {"uniform_plf": 1000})
    for (bar, sign), most in zip(bars.items(), whole, strict=True):
        found = exact[bar][0 if sign > 0 else 1]
        assert sign * found / (per_wp * 15) <= most + 1e-9


@pytest.mark.published("Forms under equal loads, by two solvers", "derived")
def test_whipple_with_counters_of_equal_size_and_without():
    """D: two redundants, equal EA: L3L4 35.518 and U3L5 -0.732, which slackens."""
    whipple = {
        "form": "double-intersection-pratt",
        "panels": 8,
        "panel_length_ft": 10,
        "depth_ft": 20,
    }
    made = forms.build(**whipple)
    explicit = {
        "joints": {name: list(xy) for name, xy in made.joints.items()},
        "members": [*map(list, made.members), ["L5", "U3"], ["L3", "U5"]],
        "pinned": made.pinned,
        "roller": made.roller,
        "loaded_joints": list(made.loaded_joints),
    }
    loads = {f"L{i}": 10 for i in range(1, 8)}
    stiff = dead_forces(explicit, loads)
    assert [stiff["L3L4"], stiff["L5U3"]] == approx([35.518, -0.732], abs=6e-4)
    rods = [
        {
            "names": ["L5U3", "L3U5"],
            "section": {"area_in2": 1.0},
            "tension_only": True,
        }
    ]
    slack = dead_forces(explicit, loads, members=rods)
    assert [slack["L3L4"], slack["L5U3"]] == approx([35.0, 0.0], abs=1e-8)


def test_the_count_of_bars_is_not_enough():
    """Moving L3U2 to L1U2 keeps 24 unknowns for 24 equations and cannot stand."""
    made = forms.build(**REFERENCE)
    moved = [
        ["L1", "U2"] if pair == ("L3", "U2") else list(pair) for pair in made.members
    ]
    found = answer(
        {
            "geometry": {
                "joints": {name: list(xy) for name, xy in made.joints.items()},
                "members": moved,
                "pinned": "L0",
                "roller": "L6",
                "loaded_joints": [f"L{i}" for i in range(7)],
            },
            "dead_load": {"joints_kip": {"L3": 10}},
        }
    )
    assert len(moved) == len(made.members)
    assert found["stands"] is False
