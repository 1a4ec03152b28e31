"""Dead-load forces: worked trusses, slack rods, and trusses that cannot stand.

Truss R is six panels of 15 ft, 20 ft deep (diagonals 3-4-5, 25 ft); its numbers are by
joints and sections, and can be done with a pencil.
"""

import dataclasses

import numpy as np
import pytest

from analysis.engine.equilibrium import analyse
from analysis.engine.influence import influence, loads_where_it_adds
from analysis.engine.statics import Mechanism, Truss, dead_forces
from analysis.engine.tautsets import TautSets
from tests.analysis.engine.trusses import (
    down,
    forces,
    make_half_hip,
    make_pratt,
    make_queen_post,
    make_truss,
    make_whipple,
    plain_forces,
    steel,
)

EXACT = 1e-10
PRINTED = 5e-4


def solve(truss, loads, **options):
    state = dead_forces(truss, steel(truss), down(truss, loads), **options)
    return state, forces(truss, state.forces_kip[0])


def test_reference_truss_under_uniform_load():
    """Sections: mid chord M/h, end post reaction / sin, diagonal shear x 25/20."""
    truss = make_pratt(rods=False)
    state, force = solve(truss, {f"L{i}": 10 for i in range(1, 6)})
    expected = {
        "L0L1": 18.75, "L1L2": 18.75, "L2L3": 30.0, "U1U2": -30.0, "U2U3": -33.75,
        "L0U1": -31.25, "L1U1": 10.0, "L2U2": -5.0, "L3U3": 0.0, "L2U1": 18.75,
        "L3U2": 6.25,
    }  # fmt: skip
    for bar, kip in expected.items():
        assert force[bar] == pytest.approx(kip, abs=EXACT), bar
    assert state.stands.all()
    np.testing.assert_allclose(state.reactions, [[25.0, 25.0]], atol=EXACT)


def test_warren_of_equilateral_triangles():
    """E4: a university computing assignment, loads on the upper joints as well."""
    high = 5 * np.sqrt(3)
    truss = make_truss(
        {"A": (0, 0), "B": (5, high), "C": (10, 0), "D": (15, high), "E": (20, 0)},
        ["AB", "AC", "BC", "BD", "CD", "CE", "DE"],
        supports=("A", "E"),
        loaded=["A", "C", "E"],
    )
    state, force = solve(truss, {"B": 1000, "C": 4000, "D": 3000})
    published = {
        "AB": -4041.45, "AC": 2020.73, "BC": 2886.75, "BD": -3464.10, "CD": 1732.05,
        "CE": 2598.08, "DE": -5196.15,
    }  # fmt: skip
    for bar, pounds in published.items():
        assert force[bar] == pytest.approx(pounds, abs=0.006), bar
    np.testing.assert_allclose(state.reactions, [[3500, 4500]], atol=1e-9)


def test_polygonal_chord_truss_agrees_with_a_textbook():
    """E5: Hibbeler, Statics, 14th ed., problem 6-11 (input); answers to the print."""
    truss = make_truss(
        {
            "A": (0, 0), "B": (2, 0), "C": (4, 0), "D": (6, 0), "E": (8, 0),
            "F": (10, 0), "G": (12, 0), "L": (2, 2), "K": (4, 4), "J": (6, 6),
            "I": (8, 4), "H": (10, 2),
        },
        [
            "AB", "BC", "CD", "DE", "EF", "FG", "AL", "LK", "KJ", "JI", "IH", "HG",
            "LB", "KC", "JD", "IE", "HF", "LC", "KD", "ID", "HE",
        ],
        supports=("A", "G"),
        loaded=["A", "B", "C", "D", "E", "F", "G"],
    )  # fmt: skip
    _, force = solve(truss, {"C": 10, "D": 20, "E": 10})
    published = {"AL": -28.3, "KJ": -23.6, "KD": -7.45, "JD": 33.3, "KC": 10, "LC": 0}
    for bar, kn in published.items():
        assert force[bar] == pytest.approx(kn, abs=0.05), bar
    solved = {"AL": -28.284, "LK": -28.284, "KJ": -23.570, "AB": 20, "CD": 20}
    for bar, kn in solved.items():
        assert force[bar] == pytest.approx(kn, abs=PRINTED), bar


def test_of_two_opposed_ties_one_acts():
    """E7, from a structural library's test suite: strut 100 C, upper tie 100.499 T.

    There the ties' far ends are fixed; here stiff bars hold them.
    """
    truss = make_truss(
        {"A": (0, 0), "B": (0, 10), "C": (0, -10), "D": (100, 0), "E": (-100, 0)},
        ["AD", "BD", "CD", "AB", "AC", "AE", "BE", "CE"],
        supports=("A", "B"),
        loaded=["D"],
        slack=["BD", "CD"],
    )
    with pytest.raises(ValueError, match="one vertical line"):
        solve(truss, {"D": 10})
    moved = make_truss(
        {"A": (0, 0), "B": (0, 10), "C": (0, -10), "D": (100, 0), "E": (-100, 0)},
        ["AD", "BD", "CD", "AB", "AC", "AE", "BE", "CE"],
        supports=("A", "E"),
        loaded=["D"],
        slack=["BD", "CD"],
    )
    _, force = solve(moved, {"D": 10})
    assert force["BD"] == pytest.approx(100.499, abs=PRINTED)
    assert force["AD"] == pytest.approx(-100.0, abs=1e-9)
    assert force["CD"] == 0.0


@pytest.mark.parametrize(
    ("loaded", "row"),
    [
        ((3, 4, 5), (23.750, 0, 3.750, 0, 0, -19.0, 42.0, -56.25)),
        ((1, 2), (0, 6.250, 13.750, 0, -5.0, 0, 38.25, -42.0)),
        ((1, 2, 3, 4, 5), (13.750, 0, 13.750, 0, 0, -11.0, 66.0, -74.25)),
        ((4, 5), (13.750, 0, 0, 6.250, -5.0, -11.0, 30.0, -38.25)),
    ],
)
@pytest.mark.parametrize("model", ["elastic", "classical"])
def test_counters_take_over_where_the_shear_turns(loaded, row, model):
    """Second row by hand: panel-3 shear 3 - 8 = -5 kip, and 5 x 25/20 = 6.25."""
    truss = make_pratt(counters=(3, 4))
    loads = {f"L{i}": 6 + 16 * (i in loaded) for i in range(1, 6)}
    _, force = solve(truss, loads, model=model)
    bars = ("L3U2", "L2U3", "L3U4", "L4U3", "L3U3", "L2U2", "L2L3", "U2U3")
    for bar, kip in zip(bars, row, strict=True):
        assert force[bar] == pytest.approx(kip, abs=EXACT), bar


def test_slack_counters_are_named_and_can_be_left_out():
    truss = make_pratt(counters=(3, 4))
    loads = {f"L{i}": 6 for i in range(1, 6)}
    state, force = solve(truss, loads)
    assert [truss.names[i] for i in np.flatnonzero(~state.taut[0])] == ["L2U3", "L4U3"]
    without = make_pratt(counters=(3, 4), absent=("L2U3", "L4U3"))
    _, alone = solve(without, loads)
    assert force == pytest.approx(alone, abs=EXACT)


def test_without_its_counter_a_panel_that_turns_is_a_mechanism():
    truss = make_pratt(counters=(3, 4), absent=("L2U3",))
    loads = {f"L{i}": 6 + 16 * (i in (1, 2)) for i in range(1, 6)}
    state, force = solve(truss, loads)
    assert not state.stands[0]
    assert not state.balanced[0]
    assert set(state.unstable_joints[0]) == set(truss.joints) - {"L0", "L6"}
    assert set(force.values()) == {0.0}


def test_a_missing_diagonal_is_a_mechanism_and_the_moving_joints_are_named():
    """7.4 item 11: without L3U2 there are 23 unknowns for 24 equations."""
    truss = make_pratt(rods=False, absent=("L3U2",))
    state, _ = solve(truss, {f"L{i}": 10 for i in range(1, 6)})
    assert not state.stands[0]
    assert "L0" not in state.unstable_joints[0]
    assert {"L2", "U2", "L3", "U3"} <= set(state.unstable_joints[0])


def test_a_bar_in_the_wrong_place_passes_the_count_but_not_the_rank():
    """7.4 item 11: the bar moved to panel 2 makes 24 unknowns, rank 23."""
    good = make_pratt(rods=False)
    bars = [bar for bar in good.names if bar != "L3U2"] + ["L1U2"]
    truss = make_truss(
        dict(zip(good.joints, good.xy_ft, strict=True)),
        bars,
        supports=("L0", "L6"),
        loaded=[f"L{i}" for i in range(7)],
    )
    assert len(truss.names) + 3 == 2 * len(truss.joints)
    state, _ = solve(truss, {f"L{i}": 10 for i in range(1, 6)})
    assert not state.stands[0]
    assert state.unstable_joints[0]
    with pytest.raises(Mechanism, match="can move at") as caught:
        influence(truss, steel(truss)[0], np.ones(len(bars), bool))
    assert caught.value.joints == state.unstable_joints[0]


@pytest.mark.parametrize("field", [one.name for one in dataclasses.fields(Truss)])
def test_no_two_trusses_are_taken_for_each_other(field):
    """What ``analyse`` remembers is of one truss in all that it is made of."""
    truss = make_pratt(counters=(3, 4))
    other = {
        "joints": (*truss.joints[:-1], "X"),
        "xy_ft": truss.xy_ft + np.eye(len(truss.joints), 2) * 1e-9,
        "names": (*truss.names[:-1], "X"),
        "ends": truss.ends[::-1],
        "pinned": 1,
        "roller": 1,
        "loaded": truss.loaded[:-1],
        "tension_only": ~truss.tension_only,
        "absent": ~truss.absent,
        "shortened_ft": np.full(len(truss.names), 0.1),
        "tightening": 3,
    }
    assert dataclasses.replace(truss, **{field: other[field]}).key != truss.key


def test_an_open_queen_post_answers_only_a_symmetric_load():
    """E9, Greene 1890; 15-ft panels, 10 ft deep, 8 kip."""
    truss = make_queen_post()
    state, force = solve(truss, {"L1": 8, "L2": 8})
    expected = {"L0L1": 12, "L1L2": 12, "L0U1": -14.422, "U1U2": -12, "L1U1": 8}
    for bar, kip in expected.items():
        assert force[bar] == pytest.approx(kip, abs=PRINTED), bar
    assert state.balanced[0]
    assert not state.stands[0]
    assert set(state.unstable_joints[0]) == {"L1", "L2", "U1", "U2"}
    state, force = solve(truss, {"L1": 8})
    assert not state.balanced[0]
    assert set(force.values()) == {0.0}


def test_a_braced_queen_post_answers_any_load():
    truss = make_queen_post(crossed=("L2U1",))
    _, force = solve(truss, {"L1": 8, "L2": 8})
    assert force["L2U1"] == pytest.approx(0.0, abs=EXACT)
    truss = make_queen_post(crossed=("L2U1",))
    _, force = solve(truss, {"L1": 8})
    expected = {"L2U1": -4.807, "L2U2": 2.667, "U1U2": -4.0}
    for bar, kip in expected.items():
        assert force[bar] == pytest.approx(kip, abs=PRINTED), bar


def test_half_hip_makes_the_first_vertical_a_post():
    """Case G: 4 panels of 16, depth 8, hips 8 ft in; the full-slope pony has +10."""
    truss = make_half_hip(4, 16.0, 8.0, 8.0, rods=False, crossed=())
    _, force = solve(truss, {"L1": 10, "L2": 10, "L3": 10})
    expected = {
        "L0U0": -21.213, "L1U0": 21.213, "U0U1": -30, "U1U2": -40, "L0L1": 15,
        "L1L2": 30, "L1U1": -5, "L2U1": 11.180, "L2U2": 0,
    }  # fmt: skip
    for bar, kip in expected.items():
        assert force[bar] == pytest.approx(kip, abs=PRINTED), bar
    _, full = solve(
        make_pratt(4, 16.0, 8.0, rods=False), {"L1": 10, "L2": 10, "L3": 10}
    )
    assert full["L1U1"] == pytest.approx(10.0, abs=EXACT)


WHIPPLE = {
    "L0L1": 17.5, "L1L2": 17.5, "L2L3": 25, "L3L4": 35, "U1U2": -35, "U2U3": -40,
    "U3U4": -40, "L0U1": -39.131, "L1U1": 10, "L2U2": -5, "L3U3": 0, "L2U1": 16.771,
    "L3U1": 14.142, "L4U2": 7.071,
}  # fmt: skip


@pytest.mark.parametrize("counters", [(), ("L5U3", "L3U5")])
def test_whipple_truss_with_and_without_slack_counters(counters):
    """Case D: counters of equal EA would be compressed, drop out as slack."""
    truss = make_whipple(counters)
    state, force = solve(truss, {f"L{i}": 10 for i in range(1, 8)})
    for bar, kip in WHIPPLE.items():
        assert force[bar] == pytest.approx(kip, abs=PRINTED), bar
    assert all(force[bar] == 0.0 for bar in counters)
    assert (~state.taut[0]).sum() == len(counters)


def test_whipple_truss_with_stiff_counters_is_indeterminate():
    """Case D with counters that take compression: U3L5 -0.732, L3L4 35.518."""
    truss = make_whipple(("L5U3", "L3U5"), rods=False)
    _, force = solve(truss, {f"L{i}": 10 for i in range(1, 8)})
    assert force["L5U3"] == pytest.approx(-0.732, abs=PRINTED)
    assert force["L3L4"] == pytest.approx(35.518, abs=PRINTED)


def test_two_crossed_rods_with_no_shear_and_slack_chords_carry_nothing():
    """No panel shear and no chord strain to speak of: neither rod is stretched."""
    truss = make_pratt(5, 18.0, 20.0)
    ea = steel(truss)
    state = dead_forces(truss, ea, down(truss, {f"L{i}": 0.0 for i in range(6)}))
    assert np.abs(state.forces_kip).max() == 0.0
    classical = dead_forces(
        truss, ea, down(truss, {f"L{i}": 5.0 for i in range(1, 5)}), "classical"
    )
    middle = [truss.names.index(bar) for bar in ("L3U2", "L2U3")]
    assert np.abs(classical.forces_kip[0, middle]).max() < 1e-12


def test_rods_of_a_pair_share_when_the_chords_strain():
    """At no shear both rods can be taut: the plain solver says the same."""
    truss = make_pratt(5, 18.0, 20.0)
    ea = steel(truss)
    ea[0, [truss.names.index("U2U3")]] *= 1e3
    load = down(truss, {f"L{i}": 5.0 for i in range(1, 5)})
    state = dead_forces(truss, ea, load)
    plain, solved = plain_forces(truss, ea[0], load)
    assert solved.all()
    np.testing.assert_allclose(state.forces_kip, plain, atol=1e-9)
    assert forces(truss, state.forces_kip[0])["L3U2"] > 0.1


def test_an_eyebar_chord_that_would_be_compressed_is_no_bar():
    """Uplift at midspan compresses the lower chord; eyebars cannot take it."""
    truss = make_pratt(4, 16.0, 8.0, rods=False, ties=("L1L2", "L2L3"))
    state, _ = solve(truss, {"L2": 10})
    assert state.stands[0]
    state, _ = solve(truss, {"L2": -10})
    assert not state.stands[0]


def test_bars_of_any_size_beside_each_other_settle_as_one_by_one():
    """Sixteen crossed panels, sizes apart by up to ten thousand times: one case in a
    hundred wants a second look. Against the dual method, one at a time."""
    truss = make_pratt(20, counters=range(3, 19))
    rng = np.random.default_rng(1)
    count, bays = 400, 19
    spread = 10.0 ** rng.uniform(-2, 2, (count, len(truss.names)))
    ea = steel(truss, count=count) * spread
    load = np.zeros((count, len(truss.joints)))
    weight = rng.uniform(0.0, 10.0, (count, bays))
    load[:, truss.loaded[1:-1]] = weight * (rng.random((count, bays)) < 0.6)
    found = dead_forces(truss, ea, load).forces_kip
    for c in range(count):
        one = TautSets(analyse(truss), ea[c]).solve(load[c]).force @ load[c]
        np.testing.assert_allclose(found[c], one, rtol=0, atol=1e-9 * abs(one).max())


def test_many_configurations_are_answered_each_as_if_alone():
    rng = np.random.default_rng(1908)
    truss = make_pratt(7, 18.0, 22.0, counters=(3, 5))
    ea = steel(truss, count=40) * rng.uniform(0.3, 2.0, (40, len(truss.names)))
    load = down(truss, {f"L{i}": 6.0 for i in range(1, 7)}, 40)
    load[:, 1:7] *= rng.uniform(0.0, 2.0, (40, 6))
    together = dead_forces(truss, ea, load)
    for c in range(40):
        alone = dead_forces(truss, ea[c], load[c])
        np.testing.assert_allclose(
            together.forces_kip[c], alone.forces_kip[0], rtol=0, atol=1e-11
        )
        plain, solved = plain_forces(truss, ea[c], load[c : c + 1])
        assert solved.all()
        np.testing.assert_allclose(together.forces_kip[c], plain[0], rtol=0, atol=1e-8)


INFLUENCE = {
    "L0U1": (-1.0417, -0.8333, -0.6250, -0.4167, -0.2083),
    "L1U1": (1, 0, 0, 0, 0),
    "L2U1": (-0.2083, 0.8333, 0.6250, 0.4167, 0.2083),
    "L3U2": (-0.2083, -0.4167, 0.6250, 0.4167, 0.2083),
    "L2U2": (0.1667, 0.3333, -0.5, -0.3333, -0.1667),
    "L2L3": (0.5, 1.0, 0.75, 0.5, 0.25),
    "U2U3": (-0.375, -0.75, -1.125, -0.75, -0.375),
}


def test_influence_ordinates_of_the_reference_truss():
    truss = make_pratt(rods=False)
    line = influence(truss, steel(truss)[0], np.ones(len(truss.names), bool))
    for bar, row in INFLUENCE.items():
        np.testing.assert_allclose(
            line[truss.names.index(bar)], (0, *row, 0), atol=6e-5, err_msg=bar
        )


def test_influence_lines_of_rods_left_out_are_empty_and_the_rest_carries():
    truss = make_pratt(counters=(3, 4))
    taut = np.ones(len(truss.names), bool)
    taut[[truss.names.index(bar) for bar in ("L2U3", "L4U3")]] = False
    line = influence(truss, steel(truss)[0], taut)
    assert not line[~taut].any()
    np.testing.assert_allclose(
        line[truss.names.index("L3U2")][1:6], INFLUENCE["L3U2"], atol=6e-5
    )


def test_uniform_load_stops_where_the_influence_line_crosses_zero():
    """Six panels of p, shear in panel i: exact area w p (n - m)^2 / (2 (n - 1))."""
    truss = make_pratt(rods=False)
    line = influence(truss, steel(truss)[0], np.ones(len(truss.names), bool))
    x = truss.xy_ft[truss.loaded, 0]
    per_shear = 20.0 / 25.0
    for bar, panel in (("L2U1", 2), ("L3U2", 3)):
        row = line[truss.names.index(bar)]
        total = (row * loads_where_it_adds(row, x, 1.0)).sum() * per_shear
        assert total / 15.0 == pytest.approx((6 - panel) ** 2 / 10.0, abs=1e-12)


@pytest.mark.parametrize("spread", [1.0, 1e3, 1e6])
def test_very_unequal_areas_do_not_upset_the_answer(spread):
    rng = np.random.default_rng(7)
    truss = make_pratt(9, 18.0, 22.0, counters=(3, 4, 6, 7))
    m = len(truss.names)
    ea = steel(truss, count=30) * spread ** rng.uniform(-0.5, 0.5, (30, m))
    load = down(truss, {f"L{i}": 6.0 for i in range(1, 9)}, 30)
    load[:, 1:9] *= rng.uniform(0.0, 3.0, (30, 8))
    state = dead_forces(truss, ea, load)
    assert np.isfinite(state.forces_kip).all()
    assert state.stands.all()
    rods = state.forces_kip[:, truss.tension_only]
    assert rods.min() >= -1e-8 * np.abs(state.forces_kip).max()


def test_two_hundred_panels_are_answered():
    truss = make_pratt(200, 18.0, 22.0, counters=tuple(range(90, 112)))
    state, force = solve(truss, {f"L{i}": 1.0 for i in range(1, 200)})
    assert state.stands[0]
    assert force["U99U100"] == pytest.approx(
        -(199.5 - 99.5) * 100 * 18 / 2 / 22, rel=0.01
    )
