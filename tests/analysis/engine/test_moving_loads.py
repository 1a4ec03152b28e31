"""The exact envelope against worked figures and against a plain solver at every step."""

import contextlib
import dataclasses

import numpy as np
import pytest

from analysis.engine import general, moving
from analysis.engine.moving import Lane, Train, Uniform, envelope
from analysis.engine.rating import ratings
from analysis.engine.setting import setting
from analysis.engine.statics import dead_forces
from tests.analysis.engine.trusses import (
    down,
    general_only,
    make_half_hip,
    make_pratt,
    make_queen_post,
    make_truss,
    make_whipple,
    plain_forces,
    plain_steps,
    plain_train,
    steel,
)

H15 = Train(np.array([6.0, 24.0]), np.array([0.0, 14.0]))
HS20 = Train(np.array([8.0, 32.0, 32.0]), np.array([0.0, 14.0, 28.0]))
PRINTED = 5e-4
#: Of the greatest force: what the exact envelope may miss, and solvers differ by.
SHORT = 1e-9

FORMS = {
    "half-hip pony": lambda: make_half_hip(),
    "half-hip pony of four panels": lambda: make_half_hip(
        4, 15.0, 7.0, 4.0, crossed=(2, 3)
    ),
    "pratt with counters": lambda: make_pratt(5, 18.0, 20.0, counters=(2, 4)),
    "pratt with eyebar chords": lambda: make_pratt(
        5, 18.0, 20.0, counters=(2, 4), ties=("L1L2", "L2L3", "L3L4", "L1U1", "L4U4")
    ),
    "whipple with counters": lambda: make_whipple(("L5U3", "L3U5")),
    "crossed rigid diagonals": lambda: make_half_hip(rods=False),
}


#: Enough on the long diagonals of the Whipple to keep each system standing.
DEAD = {"whipple with counters": 14.0}


def configurations(truss, count, seed, dead=3.0):
    rng = np.random.default_rng(seed)
    m = len(truss.names)
    ea = steel(truss, count=count) * rng.uniform(0.6, 1.4, (count, m))
    for row in ea:
        row[rng.choice(m, 3, replace=False)] *= rng.uniform(0.3, 0.9, 3)
    load = np.zeros((count, len(truss.joints)))
    load[:, truss.loaded[1:-1]] = dead * rng.uniform(
        0.5, 1.5, (count, len(truss.loaded) - 2)
    )
    return ea, load


@pytest.mark.parametrize(
    ("train", "expected"),
    [
        (
            H15,
            {
                "L0U1": (0, -30.083), "L1U1": (24.400, 0), "L2U1": (23.833, -5.083),
                "L3U2": (17.583, -11.333), "L2L3": (28.600, 0), "U2U3": (0, -31.650),
            },
        ),
        (
            HS20,
            {
                "L0U1": (0, -65.667), "L1U1": (34.667, 0), "L2U1": (50.667, -7.111),
                "L3U2": (35.667, -20.667), "L2L3": (60.800, 0), "U2U3": (0, -67.000),
            },
        ),
    ],
)  # fmt: skip
def test_trucks_on_the_reference_truss(train, expected):
    """Influence lines of truss R, axles placed by hand on their peaks."""
    truss = make_pratt(rods=False)
    found = envelope(
        truss, steel(truss), down(truss, {}), [train], np.ones(len(truss.names))
    )
    for bar, (most, least) in expected.items():
        at = truss.names.index(bar)
        assert found.live_max_kip[0, at] == pytest.approx(most, abs=PRINTED), bar
        assert found.live_min_kip[0, at] == pytest.approx(least, abs=PRINTED), bar


def test_end_reactions_are_those_of_a_simple_span():
    """HS20 on 90 ft, heavy axle over the support: 32 + 32 x 76/90 + 8 x 62/90."""
    truss = make_pratt(rods=False)
    found = envelope(
        truss, steel(truss), down(truss, {}), [HS20], np.full(len(truss.names), 0.5)
    )
    expected = 0.5 * (32 + 32 * 76 / 90 + 8 * 62 / 90)
    np.testing.assert_allclose(found.reaction_max_kip, [[expected] * 2], rtol=1e-12)
    assert not found.reaction_min_kip.any()


@pytest.mark.parametrize("form", FORMS)
def test_envelope_is_reached_and_never_passed_at_any_step(form):
    """0.05-ft steps by the plain solver; each extreme again at the place it is said to be.

    A step short of the exact extreme by more than rounding would fail the first
    comparison; an extreme that no position gives would fail the second.
    """
    truss = FORMS[form]()
    ea, dead = configurations(truss, 3, seed=11, dead=DEAD.get(form, 3.0))
    found = envelope(truss, ea, dead, [HS20], np.full(len(truss.names), 0.8))
    _, steps = plain_steps(truss, HS20, 0.05)
    for c in range(len(ea)):
        start, _ = plain_forces(truss, ea[c], dead[c : c + 1])
        total, solved = plain_forces(truss, ea[c], dead[c] + 0.8 * steps)
        assert solved.all()
        size = np.abs(total).max()
        high, low = (total - start).max(axis=0), (total - start).min(axis=0)
        assert (found.live_max_kip[c] >= high - SHORT * size).all()
        assert (found.live_min_kip[c] <= low + SHORT * size).all()
        for value, at in (
            (found.live_max_kip[c], found.max_at),
            (found.live_min_kip[c], found.min_at),
        ):
            places = [
                plain_train(truss, HS20.axle_kip, HS20.offset_ft, front, heading)
                if heading
                else np.zeros(len(truss.joints))
                for front, heading in zip(at.front_ft[c], at.heading[c], strict=True)
            ]
            there, solved = plain_forces(truss, ea[c], dead[c] + 0.8 * np.array(places))
            assert solved.all()
            reached = np.diag(there) - start[0]
            np.testing.assert_allclose(reached, value, rtol=0, atol=SHORT * size)


def test_steps_of_two_thousandths_of_a_foot_never_pass_the_envelope():
    """A few inches either way of where each member peaks.

    All positions: ``python tests/benchmarks/bench_engine.py fine_steps``.
    """
    truss = make_half_hip()
    ea, dead = configurations(truss, 1, seed=4)
    found = envelope(truss, ea, dead, [HS20], np.ones(len(truss.names)))
    plain = envelope(
        truss, ea, dead, [HS20], np.ones(len(truss.names)), with_places=False
    )
    assert plain.max_at is None
    for name in ("live_max_kip", "live_min_kip"):
        np.testing.assert_allclose(
            getattr(plain, name), getattr(found, name), rtol=0, atol=1e-12
        )
    start, _ = plain_forces(truss, ea[0], dead)
    stations = {
        (float(front), int(heading))
        for at in (found.max_at, found.min_at)
        for front, heading in zip(at.front_ft[0], at.heading[0], strict=True)
        if heading
    }
    steps = np.array(
        [
            plain_train(truss, HS20.axle_kip, HS20.offset_ft, front + step, heading)
            for front, heading in stations
            for step in np.arange(-0.3, 0.3, 0.002)
        ]
    )
    total, solved = plain_forces(truss, ea[0], dead[0] + steps)
    live = (total - start)[solved]
    size = np.abs(total).max()
    assert (live.max(axis=0) <= found.live_max_kip[0] + SHORT * size).all()
    assert (live.min(axis=0) >= found.live_min_kip[0] - SHORT * size).all()


def test_axles_on_joints_alone_miss_the_peak():
    """The reason for the exact envelope: on the pony the peak lies between."""
    truss = make_half_hip()
    ea, dead = configurations(truss, 20, seed=3)
    found = envelope(truss, ea, dead, [HS20], np.ones(len(truss.names)))
    x = truss.xy_ft[truss.loaded, 0]
    on_joints = {(h, j + h * o) for j in x for o in (0.0, 14.0, 28.0) for h in (1, -1)}
    missed = 0.0
    for c in range(len(ea)):
        loads = np.array(
            [
                plain_train(truss, HS20.axle_kip, HS20.offset_ft, front, heading)
                for heading, front in on_joints
            ]
        )
        start, _ = plain_forces(truss, ea[c], dead[c : c + 1])
        total, _ = plain_forces(truss, ea[c], dead[c] + loads)
        short = found.live_max_kip[c] - np.maximum((total - start).max(axis=0), 0)
        assert short.min() > -1e-9
        missed = max(missed, short.max() / np.abs(total).max())
    assert missed > 1e-3


@pytest.mark.parametrize("form", FORMS)
def test_answers_do_not_depend_on_what_else_is_in_the_batch(form):
    truss = FORMS[form]()
    ea, dead = configurations(truss, 7, seed=5)
    factor = np.linspace(0.5, 0.7, 3)[np.arange(len(truss.names)) % 3]
    together = envelope(truss, ea, dead, [HS20, H15], factor)
    for c in range(len(ea)):
        alone = envelope(truss, ea[c], dead[c], [HS20, H15], factor)
        np.testing.assert_allclose(
            together.live_max_kip[c], alone.live_max_kip[0], atol=1e-10
        )
        np.testing.assert_allclose(
            together.live_min_kip[c], alone.live_min_kip[0], atol=1e-10
        )


@pytest.mark.parametrize("form", [form for form in FORMS if "whipple" not in form])
@pytest.mark.parametrize("weight", [0.5, 12.0])
def test_crossed_panels_are_answered_all_together(form, weight, monkeypatch):
    """Not one by one by the general way, which would give the same numbers slowly.

    Under the lighter dead load some positions bring the single rods down.
    """

    def refuse(*_args):
        raise AssertionError("the general way was taken")

    truss = FORMS[form]()
    ea, dead = configurations(truss, 30, seed=15, dead=weight)
    m = len(truss.names)
    room = np.full((30, 1, m), 40.0)
    fall = np.where(truss.tension_only, np.inf, room)
    monkeypatch.setattr(general, "extremes", refuse)
    monkeypatch.setattr(general, "multiples", refuse)
    found = envelope(truss, ea, dead, [HS20], np.ones(m))
    assert found.stands.all()
    rated = ratings(truss, ea, dead, [HS20], np.ones(m), room, fall)
    assert (rated.rating > 0.0).all()


def test_double_systems_under_a_uniform_load_too_are_answered_as_one_by_one():
    truss = FORMS["whipple with counters"]()
    ea, dead = configurations(truss, 5, seed=23, dead=9.0)
    ones, loads = np.ones(len(truss.names)), [HS20, Uniform(1.5)]
    every = envelope(truss, ea, dead, loads, ones, with_places=False)
    for c in range(5):
        one = envelope(truss, ea[c : c + 1], dead[c : c + 1], loads, ones)
        for name in ("live_max_kip", "live_min_kip"):
            np.testing.assert_allclose(
                getattr(every, name)[c], getattr(one, name)[0], rtol=0, atol=1e-7
            )


@pytest.mark.parametrize("one_by_one", [False, True])
def test_two_factors_and_some_trusses_are_gone_over_as_each_by_itself(one_by_one):
    """Whichever trusses a factor asks for, and whether their places are left over."""
    truss = FORMS["whipple with counters"]()
    ea, dead = configurations(truss, 3, seed=29, dead=9.0)
    asked = setting(truss, ea, dead, [HS20])
    rng = np.random.default_rng(30)
    factors = [rng.choice([0.3, 0.9], len(truss.names)) for _ in range(2)]

    def gone_over(cells, number, *columns):
        force = asked.state.forces_kip
        found = moving._Range.from_dead(force, with_places=False)
        cells.put(number, found, np.array(columns))
        return found

    with general_only() if one_by_one else contextlib.nullcontext():
        both = moving._Cells(asked, factors)
        found = [
            gone_over(both, number, *columns)
            for number, columns in ((0, (0, 2)), (1, (0, 2)), (1, (1,)), (0, (1,)))
        ]
        for mine, number, columns in (
            (found[0], 0, (0, 2)),
            (found[1], 1, (0, 2)),
            (found[2], 1, (1,)),
            (found[3], 0, (1,)),
        ):
            for c in columns:
                alone = moving._Cells(asked, factors[number : number + 1])
                theirs = gone_over(alone, 0, c)
                np.testing.assert_allclose(mine.high[c], theirs.high[c], atol=1e-9)
                np.testing.assert_allclose(mine.low[c], theirs.low[c], atol=1e-9)
    assert np.abs(found[0].high[0] - found[1].high[0]).max() > 1.0


@pytest.mark.parametrize("weight", [2.0, 9.0, 14.0])
@pytest.mark.parametrize("model", ["elastic", "classical"])
def test_double_systems_are_answered_all_together_as_one_by_one(weight, model):
    """Places are told of single configurations only, so asking for them takes each alone.

    With little dead load some positions bring the truss down: those are left out by both.
    """
    truss = FORMS["whipple with counters"]()
    ea, dead = configurations(truss, 6, seed=19, dead=weight)
    factor = np.random.default_rng(20).choice([0.6, 0.9], len(truss.names))
    together, alone = (
        envelope(truss, ea, dead, [HS20], factor, model, with_places=told)
        for told in (False, True)
    )
    size = alone.live_max_kip.max()
    for name in ("live_max_kip", "live_min_kip"):
        np.testing.assert_allclose(
            getattr(together, name), getattr(alone, name), rtol=0, atol=1e-9 * size
        )
    for c in (0, 4):
        one = envelope(truss, ea[c : c + 1], dead[c : c + 1], [HS20], factor, model)
        assert np.array_equal(alone.max_at.front_ft[c], one.max_at.front_ft[0])
        assert (one.max_at.load[0] == 0).any()
        assert np.array_equal(alone.max_at.load[c], one.max_at.load[0])
    for c in range(6):
        one = dead_forces(truss, ea[c : c + 1], dead[c : c + 1], model)
        every = dead_forces(truss, ea, dead, model)
        np.testing.assert_allclose(
            every.forces_kip[c], one.forces_kip[0], rtol=0, atol=1e-9 * size
        )
        np.testing.assert_array_equal(every.stands[c], one.stands[0])


def test_each_member_has_the_structure_solved_with_its_own_factor():
    truss = make_half_hip()
    ea, dead = configurations(truss, 4, seed=8)
    factor = np.where(np.arange(len(truss.names)) % 2, 1.3, 0.7)
    mixed = envelope(truss, ea, dead, [HS20], factor)
    for value in (1.3, 0.7):
        whole = envelope(truss, ea, dead, [HS20], np.full(len(factor), value))
        here = factor == value
        np.testing.assert_allclose(
            mixed.live_max_kip[:, here], whole.live_max_kip[:, here], atol=1e-10
        )


def test_classical_model_needs_no_areas_and_acts_one_rod_at_a_time():
    truss = make_pratt(7, 18.0, 22.0, counters=(3, 5))
    ea, dead = configurations(truss, 6, seed=2, dead=10.0)
    dead[:] = dead[0]
    ones = np.ones(len(truss.names))
    found = envelope(truss, ea, dead, [HS20], ones, "classical")
    assert not found.elastic.any()
    np.testing.assert_allclose(
        found.live_max_kip, np.tile(found.live_max_kip[0], (6, 1)), atol=1e-10
    )
    pairs = [("L3U2", "L2U3"), ("L4U3", "L3U4")]
    state = dead_forces(truss, ea, dead, "classical")
    for one, two in pairs:
        both = state.forces_kip[:, [truss.names.index(one), truss.names.index(two)]]
        assert both.min(axis=1).max() == pytest.approx(0.0, abs=1e-12)
    elastic = envelope(truss, ea, dead, [HS20], ones)
    assert elastic.elastic.all()
    assert np.abs(elastic.live_max_kip - found.live_max_kip).max() > 1e-3


def test_classical_peak_at_no_shear_between_joints_is_found():
    """Steps of 0.01 ft with the rod chosen by the sign of the panel's shear."""
    truss = make_pratt(5, 18.0, 20.0)
    ones = np.ones(len(truss.names))
    dead = down(truss, {f"L{i}": 2.0 + 0.5 * i for i in range(1, 5)})
    found = envelope(truss, steel(truss), dead, [HS20], ones, "classical")
    _, steps = plain_steps(truss, HS20, 0.01)
    total = np.zeros((len(steps), len(truss.names)))
    chosen = np.zeros(len(steps), bool)
    for left_out in ("L2U3", "L3U2"):
        single = make_pratt(5, 18.0, 20.0, absent=(left_out,))
        force, solved = plain_forces(single, steel(single)[0], dead + steps)
        total[solved & ~chosen] = force[solved & ~chosen]
        chosen |= solved
    assert chosen.sum() > len(steps) // 2
    state = dead_forces(truss, steel(truss), dead, "classical")
    live = total[chosen] - state.forces_kip[0]
    size = np.abs(total).max()
    assert (found.live_max_kip[0] >= live.max(axis=0) - 1e-9 * size).all()
    assert (
        found.live_max_kip[0] <= np.maximum(live.max(axis=0), 0) + 2e-3 * size
    ).all()


def test_a_panel_without_its_counter_falls_at_a_fraction_of_the_truck():
    """Truss R, one rod in panel 3, 6 kip dead at each joint: its shear is +3.

    H15 with its 24-kip axle on L2 (influence -0.3333) and 6 kip at 16 ft (L1 side,
    -0.1667 x 16/15 of a panel): the fraction is 3 over the greatest opposite shear.
    """
    truss = make_pratt(counters=(3, 4), absent=("L2U3",))
    dead = down(truss, {f"L{i}": 6.0 for i in range(1, 6)})
    found = envelope(truss, steel(truss), dead, [H15], np.ones(len(truss.names)))
    front, heading, fraction = found.unstable_at[0]
    shear = 0.0
    _, steps = plain_steps(truss, H15, 0.05)
    rod = truss.names.index("L3U2")
    intact = make_pratt(counters=(), rods=False)
    unit, _ = plain_forces(intact, steel(intact)[0], steps)
    shear = -unit[:, intact.names.index("L3U2")].min()
    start, _ = plain_forces(intact, steel(intact)[0], dead)
    held = start[0, intact.names.index("L3U2")]
    assert fraction == pytest.approx(held / shear, rel=1e-9)
    at = plain_train(truss, H15.axle_kip, H15.offset_ft, front, heading)
    _, stands = plain_forces(truss, steel(truss)[0], dead + 0.999 * fraction * at)
    _, falls = plain_forces(truss, steel(truss)[0], dead + 1.001 * fraction * at)
    assert stands[0]
    assert not falls[0]
    assert np.isfinite(found.live_max_kip).all()
    assert found.live_min_kip[0, rod] == pytest.approx(-held, abs=1e-9)


def test_envelope_of_an_unstable_truss_keeps_to_the_positions_it_can_carry():
    truss = make_pratt(counters=(3, 4), absent=("L2U3",))
    dead = down(truss, {f"L{i}": 6.0 for i in range(1, 6)})
    found = envelope(truss, steel(truss), dead, [HS20], np.ones(len(truss.names)))
    _, steps = plain_steps(truss, HS20, 0.05)
    total, solved = plain_forces(truss, steel(truss)[0], dead + steps)
    start, _ = plain_forces(truss, steel(truss)[0], dead)
    assert 0 < solved.sum() < len(solved)
    live = (total - start)[solved]
    size = np.abs(total).max()
    assert (found.live_max_kip[0] >= live.max(axis=0) - SHORT * size).all()
    assert (found.live_min_kip[0] <= live.min(axis=0) + SHORT * size).all()
    assert (
        found.live_max_kip[0] <= np.maximum(live.max(axis=0), 0) + 0.02 * size
    ).all()


def test_a_single_rod_at_no_shear_falls_under_any_vehicle():
    truss = make_pratt(5, 18.0, 20.0, absent=("L2U3",))
    dead = down(truss, {f"L{i}": 5.0 for i in range(1, 5)})
    found = envelope(truss, steel(truss), dead, [H15], np.ones(len(truss.names)))
    assert found.stands[0]
    assert found.unstable_at[0][2] == pytest.approx(0.0, abs=1e-12)


def test_a_truss_that_cannot_stand_has_an_empty_envelope():
    for truss in (make_queen_post(), make_pratt(rods=False, absent=("L3U2",))):
        dead = down(truss, {"L1": 5.0, "L2": 5.0})
        found = envelope(truss, steel(truss), dead, [H15], np.ones(len(truss.names)))
        assert not found.stands[0]
        assert not found.live_max_kip.any()
        assert not found.reaction_max_kip.any()


def test_a_whipple_that_needs_its_counters_falls_without_them():
    """All of its rods act together: stability is a programme, not one bar's sign."""
    dead = {f"L{i}": 0.5 for i in range(1, 8)}
    for counters in ((), ("L5U3", "L3U5")):
        truss = make_whipple(counters)
        load = down(truss, dead)
        found = envelope(truss, steel(truss), load, [HS20], np.ones(len(truss.names)))
        at = found.unstable_at[0]
        assert at is not None
        front, heading, fraction = at
        place = plain_train(truss, HS20.axle_kip, HS20.offset_ft, front, heading)
        _, stands = plain_forces(
            truss, steel(truss)[0], load + 0.999 * fraction * place
        )
        _, falls = plain_forces(truss, steel(truss)[0], load + 1.001 * fraction * place)
        assert stands[0]
        assert not falls[0]
        _, steps = plain_steps(truss, HS20, 0.5)
        _, carried = plain_forces(
            truss, steel(truss)[0], load + 0.999 * fraction * steps
        )
        assert carried.all()


def test_uniform_load_lies_where_it_adds():
    """Truss R, 1 klf: panel-2 diagonal, w p (n - m)^2 / (2 (n - 1)) x 25/20."""
    truss = make_pratt(rods=False)
    found = envelope(
        truss, steel(truss), down(truss, {}), [Uniform(1.0)], np.ones(len(truss.names))
    )
    at = truss.names.index("L2U1")
    assert found.live_max_kip[0, at] == pytest.approx(15 * 16 / 10 * 25 / 20, abs=1e-9)
    assert found.live_min_kip[0, at] == pytest.approx(-15 * 1 / 10 * 25 / 20, abs=1e-9)
    chord = truss.names.index("U2U3")
    assert found.live_min_kip[0, chord] == pytest.approx(-(90**2) / 8 / 20, abs=1e-9)
    assert found.max_at.heading[0, at] == 0
    assert found.max_at.load[0, at] == 0


def test_lane_load_has_one_weight_for_chords_and_another_for_webs():
    """H15 lane on truss R: 0.48 klf with 13.5 kip for chords and 19.5 for webs."""
    truss = make_pratt(rods=False)
    web = np.array([bar[0] != bar[2] for bar in truss.names])
    lane = Lane(0.48, 13.5, 19.5)
    found = envelope(
        truss, steel(truss), down(truss, {}), [lane], np.ones(len(truss.names)), web=web
    )
    chord, diagonal = truss.names.index("U2U3"), truss.names.index("L2U1")
    expected = -(0.48 * 90**2 / 8 / 20 + 13.5 * 1.125)
    assert found.live_min_kip[0, chord] == pytest.approx(expected, abs=1e-9)
    expected = 0.48 * 15 * 16 / 10 * 25 / 20 + 19.5 * 0.8333333333
    assert found.live_max_kip[0, diagonal] == pytest.approx(expected, abs=1e-6)


def test_several_loads_are_the_worse_of_each():
    truss = make_half_hip()
    ea, dead = configurations(truss, 2, seed=4)
    ones = np.ones(len(truss.names))
    both = envelope(truss, ea, dead, [H15, Uniform(1.0)], ones)
    truck = envelope(truss, ea, dead, [H15], ones)
    spread = envelope(truss, ea, dead, [Uniform(1.0)], ones)
    np.testing.assert_allclose(
        both.live_max_kip,
        np.maximum(truck.live_max_kip, spread.live_max_kip),
        atol=1e-10,
    )
    assert set(np.unique(both.max_at.load)) == {-1, 0, 1}


def test_no_pattern_of_uniform_load_beats_the_one_chosen():
    """Every set of loaded lengths that ends at thirds of a panel, rods and all."""
    truss = make_half_hip()
    ea, dead = configurations(truss, 3, seed=6, dead=1.0)
    found = envelope(truss, ea, dead, [Uniform(1.5)], np.ones(len(truss.names)))
    x = truss.xy_ft[truss.loaded, 0]
    cells = np.linspace(0, x[-1], 10)
    middles = 0.5 * (cells[:-1] + cells[1:])
    each = np.zeros((9, len(truss.joints)))
    for i, middle in enumerate(middles):
        left = int(np.searchsorted(x, middle)) - 1
        part = (middle - x[left]) / (x[left + 1] - x[left])
        each[i, truss.loaded[left]] = 1.5 * 5.0 * (1 - part)
        each[i, truss.loaded[left + 1]] = 1.5 * 5.0 * part
    patterns = np.array([[(k >> i) & 1 for i in range(9)] for k in range(512)]) @ each
    for c in range(len(ea)):
        total, solved = plain_forces(truss, ea[c], dead[c] + patterns)
        start, _ = plain_forces(truss, ea[c], dead[c : c + 1])
        assert solved.all()
        live = total - start
        size = np.abs(live).max()
        assert (found.live_max_kip[c] >= live.max(axis=0) - 1e-9 * size).all()
        assert (found.live_min_kip[c] <= live.min(axis=0) + 1e-9 * size).all()


def test_an_axle_comes_onto_a_deck_that_no_support_carries_all_at_once():
    # The deck starts and ends at floor beams that hang: loads jump as axles come on.
    whole = make_pratt(5, 18.0, 20.0, rods=False)
    truss = dataclasses.replace(whole, loaded=whole.loaded[2:5])
    train = Train(np.array([20.0, 40.0, 20.0]), np.array([0.0, 17.0, 34.0]))
    found = envelope(
        truss, steel(truss), down(truss, {}), [train], np.ones(len(truss.names))
    )
    # Feet and, as all is in whole feet, just before and just after.
    steps = [
        plain_train(truss, train.axle_kip, train.offset_ft, front + off, heading)
        for heading in (1, -1)
        for front in np.arange(0.0, 108.0)
        for off in (-1e-7, 0.0, 1e-7)
    ]
    live = plain_forces(truss, steel(truss)[0], np.array(steps))[0]
    assert found.live_max_kip[0] == pytest.approx(live.max(axis=0).clip(0.0), abs=1e-5)
    assert found.live_min_kip[0] == pytest.approx(
        live.min(axis=0).clip(None, 0.0), abs=1e-5
    )


def test_loads_beyond_the_loaded_joints_load_nothing():
    """Floor beams at L1 to L5 only: an axle short of L1 is on the abutment's span."""
    whole = make_pratt(rods=False)
    truss = make_truss(
        dict(zip(whole.joints, whole.xy_ft, strict=True)),
        whole.names,
        supports=("L0", "L6"),
        loaded=["L1", "L2", "L3", "L4", "L5"],
    )
    found = envelope(
        truss, steel(truss), down(truss, {}), [HS20], np.ones(len(truss.names))
    )
    hanger = truss.names.index("L1U1")
    assert found.live_max_kip[0, hanger] == pytest.approx(32 + 32 / 15, abs=1e-9)
    _, steps = plain_steps(truss, HS20, 0.05)
    total, _ = plain_forces(truss, steel(truss)[0], steps)
    np.testing.assert_allclose(
        found.live_max_kip[0], np.maximum(total.max(axis=0), 0), atol=1e-9
    )
