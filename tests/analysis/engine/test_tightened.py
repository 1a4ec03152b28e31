"""Bars made shorter than fits: initial tension, by a statical derivation.

Six panels of 15 ft, 20 ft deep, the third crossed by rods: one redundant. Compatibility:
the sum over the bars of s (N L/(E A) - d) is 0, with s the forces of a unit tension in
the counter: 1 in both diagonals, -0.6 in the chords, -0.8 in the posts. Lengths 300, 180
and 240 in; areas 1 (counter), 1.5 (diagonal) and 4 sq in; d in inches.
"""

from dataclasses import replace

import numpy as np
import pytest

from analysis.engine import checkfile
from analysis.engine.answer import answer, truss_of
from analysis.engine.moving import envelope
from analysis.engine.rating import ratings
from analysis.engine.sampling import dead_joint_kip
from analysis.engine.statics import dead_forces
from tests.analysis.engine.test_moving_loads import FORMS, HS20, configurations

E_KSI = 29_000.0
#: Sum of s^2 L/A, 1/in: both diagonals, two chords, two posts.
SUM = 300 / 1 + 300 / 1.5 + 2 * 0.36 * 180 / 4 + 2 * 0.64 * 240 / 4


def document(tightened_in=0.0, crossed=(3,), tension_only=True, **rest):
    areas = {"U3L2": 1.0, "U2L3": 1.5, "U3L4": 1.0, "U4L3": 1.5}

    def group(name):
        found = {"names": [name], "section": {"area_in2": areas[name]}}
        return found | {"tension_only": tension_only}

    kinds = ["upper-chord", "end-post", "lower-chord", "hip-vertical", "vertical"]
    members = [
        {"kinds": [*kinds, "diagonal"], "section": {"area_in2": 4.0}},
        *[group(name) for name in areas if len(crossed) > 1 or "4" not in name],
    ]
    members[1]["tightened_in"] = tightened_in
    return {
        "geometry": {
            "form": "pratt",
            "panels": 6,
            "panel_length_ft": 15,
            "depth_ft": 20,
            "crossed_panels": list(crossed),
        },
        "material": {"fy_ksi": 36, "fu_ksi": 58, "e_ksi": E_KSI},
        "members": members,
    } | rest


def dead(tightened_in=0.0, **more):
    found = answer(document(tightened_in, **more))["members"]
    return {name: member["dead_kip"] for name, member in found.items()}


def test_a_tightened_counter_pulls_its_panel_together():
    force = dead(0.1)
    pull = 0.1 * E_KSI / SUM
    assert pull == pytest.approx(4.760, abs=5e-4)
    expected = {"L2U3": 1, "L3U2": 1, "L2L3": -0.6, "U2U3": -0.6, "L2U2": -0.8}
    for name, s in (expected | {"L3U3": -0.8, "L0U1": 0, "L3L4": 0}).items():
        assert force[name] == pytest.approx(s * pull, abs=1e-9), name


def test_a_panel_beside_it_that_is_crossed_by_rods_goes_slack_and_takes_no_part():
    force = dead(0.1, crossed=(3, 4))
    assert force["L2U3"] == pytest.approx(0.1 * E_KSI / SUM, abs=1e-9)
    assert force["L4U3"] == force["L3U4"] == 0.0


def test_a_panel_beside_it_crossed_by_stiff_bars_takes_part():
    """The published figures (4.779, 4.779, -2.868, -2.868, -3.823, -3.582) are these:
    two panels crossed, and their bars able to push. By hand: two redundants that share
    a post, 0.64 x 240/4 = 38.4 beside ``SUM`` for each."""
    force = dead(0.1, crossed=(3, 4), tension_only=False)
    two = 0.1 * E_KSI * np.linalg.inv([[SUM, 38.4], [38.4, SUM]])[0]
    assert force["L2U3"] == pytest.approx(two[0], abs=1e-9)
    assert force["L4U3"] == pytest.approx(two[1], abs=1e-9)
    printed = {"L2U3": 4.779, "L3U2": 4.779, "L2L3": -2.868, "U2U3": -2.868}
    for name, kip in (printed | {"L2U2": -3.823, "L3U3": -3.582}).items():
        assert force[name] == pytest.approx(kip, abs=6e-4), name


@pytest.mark.parametrize("tightened_in", [0.0, 0.03, 0.04, 0.1])
def test_how_far_it_is_tightened_decides_whether_a_counter_is_taut(tightened_in):
    """Dead load of 6 kip a joint: the remainder has 3.75 kip in the diagonal, 18 and
    -20.25 in the chords, -3 and 0 in the posts."""
    load = {"dead_load": {"uniform_plf": 400}}
    force = dead(tightened_in, **load)
    slack = 3.75 * 200 - 0.6 * 18 * 45 + 0.6 * 20.25 * 45 + 0.8 * 3 * 60
    taut = max((tightened_in * E_KSI - slack) / SUM, 0.0)
    assert (taut > 0.0) == (tightened_in > 0.0330)
    assert force["L2U3"] == pytest.approx(taut, abs=1e-9)
    assert force["L3U2"] == pytest.approx(3.75 + taut, abs=1e-9)
    assert force["L2L3"] == pytest.approx(18 - 0.6 * taut, abs=1e-9)


def test_the_envelope_and_the_rating_are_those_of_the_tightened_truss():
    """Against the truss solved afresh under a vehicle at 4,000 places, and under the
    multiple of it at which the counter is said to come to its limit."""
    rest = {
        "dead_load": {"uniform_plf": 400},
        "live_load": {
            "axles": [
                {"kip": 8.0, "behind_front_ft": 0.0},
                {"kip": 24.0, "behind_front_ft": 14.0},
            ]
        },
    }
    given = document(0.1, crossed=(3, 4), **rest)
    found = answer(given)
    check = checkfile.read(given)
    truss = truss_of(check)
    x = truss.xy_ft[truss.loaded, 0]
    live = np.zeros((8_000, len(truss.joints)))
    for row, front in enumerate(np.linspace(0.0, 104.0, 4_000)):
        for sign in (0, 1):
            for kip, behind in ((8.0, 0.0), (24.0, 14.0)):
                at = front - behind if not sign else 90.0 - front + behind
                if 0.0 <= at <= 90.0:
                    shares = np.maximum(1 - np.abs(x - at) / 15.0, 0.0)
                    live[2 * row + sign, truss.loaded] += kip * shares
    base = dead_joint_kip(check, truss, check.dead_load)
    ea = np.array([[m.section.area_in2 * E_KSI for m in check.members]])

    def forces(times):
        loads = base + times * live
        return dead_forces(truss, np.repeat(ea, len(loads), 0), loads).forces_kip

    rows = forces(1.0)
    for m, (name, member) in enumerate(found["members"].items()):
        most = rows[:, m].max() - member["dead_kip"]
        least = rows[:, m].min() - member["dead_kip"]
        assert member["live_max_kip"] == pytest.approx(max(most, 0), abs=0.05), name
        assert member["live_min_kip"] == pytest.approx(min(least, 0), abs=0.05), name
        assert member["live_max_kip"] >= most - 1e-9
    rods = ("L2U3", "L3U2")
    for name in rods:
        member = found["members"][name]
        m = list(found["members"]).index(name)
        reached = forces(member["rating"]["operating"])[:, m].max()
        limit = member["resistance"]["operating"]["tension_kip"]
        assert reached == pytest.approx(limit, rel=2e-3), name
    # At the limit of either rod the other is slack, and nothing is left of the tension.
    loose = answer(document(0.0, crossed=(3, 4), **rest))["members"]
    for name in rods:
        rating = loose[name]["rating"]["operating"]
        assert found["members"][name]["rating"]["operating"] == pytest.approx(rating)


def test_it_is_said_in_words_and_asked_for_by_its_path():
    said = answer(document(0.125))["assumptions"]
    assert any("L2U3 by 0.125 in" in one for one in said)
    assert not any("made shorter" in one for one in answer(document())["assumptions"])
    with pytest.raises(checkfile.CheckFileError) as caught:
        checkfile.read(document(-0.1))
    (fault,) = caught.value.faults
    assert fault.path == "members[1].tightened_in"
    assert checkfile.input_sha256(document(0.1)) != checkfile.input_sha256(document())


@pytest.mark.parametrize("bar", ["L2U1", "L6U7", "L5U3"])
@pytest.mark.parametrize("weight", [2.0, 9.0])
def test_many_tightened_trusses_are_answered_as_one_by_one(bar, weight):
    """A double system with counters: several together go other ways than each alone."""
    truss = FORMS["whipple with counters"]()
    ea, load = configurations(truss, 6, seed=3, dead=weight)
    shorter = np.zeros(len(truss.names))
    shorter[truss.names.index(bar)] = 0.2 / 12.0
    aside = np.vstack([truss.xy_ft, [[-1e3, -1e3]]])
    tight = replace(
        truss,
        joints=(*truss.joints, "tightening"),
        xy_ft=aside,
        shortened_ft=shorter,
        tightening=len(truss.joints),
    )
    load = np.hstack([load, np.ones((6, 1))])
    half, room = np.full(len(shorter), 0.5), np.full((6, 1, len(shorter)), 30.0)
    together = (
        dead_forces(tight, ea, load).forces_kip,
        envelope(tight, ea, load, [HS20], half, with_places=False).live_max_kip,
        ratings(tight, ea, load, [HS20], half, room, room).rating,
    )
    loose = dead_forces(truss, ea, load[:, :-1]).forces_kip
    assert np.abs(together[0] - loose).max() > 1.0
    for c in range(6):
        one = tight, ea[c : c + 1], load[c : c + 1]
        alone = (
            dead_forces(*one).forces_kip,
            envelope(*one, [HS20], half, with_places=False).live_max_kip,
            ratings(*one, [HS20], half, room[:1], room[:1]).rating,
        )
        for mine, theirs in zip(together, alone, strict=True):
            np.testing.assert_allclose(mine[c], theirs[0], rtol=1e-8, atol=1e-8)
