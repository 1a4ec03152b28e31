"""What must hold for every truss, whatever its bars, loads and slack rods."""

import dataclasses

import numpy as np
from hypothesis import assume, given
from hypothesis import strategies as st

from analysis.engine.equilibrium import analyse
from analysis.engine.influence import influence
from analysis.engine.moving import Train, envelope
from analysis.engine.rating import ratings
from analysis.engine.statics import dead_forces
from analysis.engine.tautsets import TautSets
from tests.analysis.engine.trusses import (
    make_half_hip,
    make_pratt,
    plain_forces,
    plain_steps,
)
from tests.endurance.random_trusses import run as run_random

#: Of the greatest force.
AGREE = 1e-8


@st.composite
def ponies(draw, rods=True, spread=2.0, configurations=1):
    """A half-hip pony with crossed panels, areas and dead load of any sort."""
    panels = draw(st.integers(3, 5))
    panel_ft = draw(st.floats(8.0, 20.0))
    truss = make_half_hip(
        panels,
        panel_ft,
        draw(st.floats(5.0, 12.0)),
        panel_ft * draw(st.floats(0.2, 0.9)),
        rods=rods,
        crossed=tuple(range(2, panels)),
    )
    m = len(truss.names)
    exponent = st.floats(-np.log10(spread), np.log10(spread))
    ea = np.array(
        [
            [1e5 * 10.0 ** draw(exponent) for _ in range(m)]
            for _ in range(configurations)
        ]
    )
    dead = np.zeros((configurations, len(truss.joints)))
    weight = st.floats(0.0, 12.0)
    for row in dead:
        row[truss.loaded[1:-1]] = [draw(weight) for _ in range(panels - 1)]
    return truss, ea, dead


@st.composite
def trains(draw):
    """One to four axles; often of one weight, or one distance, apart or together."""
    axles = draw(st.integers(1, 4))
    weight, gap = st.floats(2.0, 40.0), st.floats(4.0, 30.0)
    kip = [draw(weight)] * axles if draw(st.booleans()) else []
    gaps = [draw(gap)] * (axles - 1) if draw(st.booleans()) else []
    kip = kip or [draw(weight) for _ in range(axles)]
    gaps = gaps or [draw(gap) for _ in range(axles - 1)]
    return Train(np.array(kip), np.concatenate([[0.0], np.cumsum(gaps)]))


def out_of_balance(truss, force, load):
    """Return the greatest force at a joint, supports apart, that nothing balances."""
    left = np.zeros((len(truss.joints), 2))
    left[:, 1] = -load
    for (a, b), kip in zip(truss.ends, force, strict=True):
        along = truss.xy_ft[b] - truss.xy_ft[a]
        along = along / np.hypot(*along)
        left[a] += kip * along
        left[b] -= kip * along
    left[truss.pinned] = 0.0
    left[truss.roller, 1] = 0.0
    return np.abs(left).max()


def size_of(force):
    return float(np.abs(force).max()) + 1e-9


@given(ponies(spread=1e3))
def test_every_joint_is_in_equilibrium_and_no_rod_is_pushed(case):
    truss, ea, dead = case
    state = dead_forces(truss, ea, dead)
    assert state.stands[0]
    force = state.forces_kip[0]
    assert out_of_balance(truss, force, dead[0]) <= AGREE * size_of(force)
    assert force[truss.tension_only].min() >= -AGREE * size_of(force)
    assert not force[~state.taut[0]].any()


@given(ponies(spread=1e3))
def test_no_slack_rod_would_lengthen(case):
    """The other half of a consistent set: slack rods' ends have come closer.

    Work: u moves the joints as the taut bars let them; by the unit-load method the
    lengthening of a slack rod is the sum of N n L / EA over the bars.
    """
    truss, ea, dead = case
    state = dead_forces(truss, ea, dead)
    span = truss.xy_ft[truss.ends[:, 1]] - truss.xy_ft[truss.ends[:, 0]]
    length = np.hypot(*span.T)
    force = state.forces_kip[0]
    for rod in np.flatnonzero(~state.taut[0]):
        held = dataclasses.replace(truss, tension_only=np.zeros(len(length), bool))
        pulled = np.zeros((1, len(truss.joints), 2))
        direction = span[rod] / length[rod]
        a, b = truss.ends[rod]
        pulled[0, a], pulled[0, b] = direction, -direction
        unit = _unit_pull(held, state.taut[0], ea[0], pulled[0])
        opening = -(force * unit * length / ea[0]).sum()
        size = (np.abs(force * unit) * length / ea[0]).sum() + 1e-12
        assert opening <= 1e-6 * size


def _unit_pull(truss, taut, ea, pull):
    """Return (m,) forces when a pair of joints is pulled together, by least work."""
    acting = np.flatnonzero(taut)
    rows = []
    for j in range(len(truss.joints)):
        for axis in (0, 1):
            fixed = j == truss.pinned or (j == truss.roller and axis == 1)
            if not fixed:
                rows.append((j, axis))
    balance = np.zeros((len(rows), len(acting)))
    for column, bar in enumerate(acting):
        a, b = truss.ends[bar]
        along = truss.xy_ft[b] - truss.xy_ft[a]
        along = along / np.hypot(*along)
        for row, (j, axis) in enumerate(rows):
            balance[row, column] = along[axis] * (int(j == a) - int(j == b))
    right = -np.array([pull[j, axis] for j, axis in rows])
    span = truss.xy_ft[truss.ends[:, 1]] - truss.xy_ft[truss.ends[:, 0]]
    root = np.sqrt(np.hypot(*span.T)[acting] / ea[acting])
    answer = np.linalg.lstsq(balance / root, right, rcond=None)[0] / root
    force = np.zeros(len(taut))
    force[acting] = answer
    return force


@given(ponies(), st.floats(0.1, 5.0))
def test_forces_scale_with_the_load(case, scale):
    truss, ea, dead = case
    once = dead_forces(truss, ea, dead).forces_kip
    scaled = dead_forces(truss, ea, scale * dead).forces_kip
    np.testing.assert_allclose(scaled, scale * once, atol=AGREE * scale * size_of(once))


@given(ponies(rods=False))
def test_loads_superpose_where_nothing_goes_slack(case):
    truss, ea, dead = case
    more = np.roll(dead, 1, axis=1)
    one, two, both = (
        dead_forces(truss, ea, load).forces_kip for load in (dead, more, dead + more)
    )
    np.testing.assert_allclose(both, one + two, atol=AGREE * size_of(both))


@given(ponies(spread=10.0))
def test_leaving_out_a_slack_rod_changes_nothing(case):
    truss, ea, dead = case
    state = dead_forces(truss, ea, dead)
    slack = ~state.taut[0]
    assume(slack.any())
    without = dataclasses.replace(truss, absent=truss.absent | slack)
    alone = dead_forces(without, ea, dead)
    assert alone.stands[0]
    np.testing.assert_allclose(
        alone.forces_kip, state.forces_kip, atol=AGREE * size_of(state.forces_kip)
    )


@given(ponies(spread=10.0), st.floats(0.0, 3.0), st.floats(0.0, 3.0))
def test_the_taut_sets_between_two_loads_are_all_found(case, before, after):
    """Forces are those of the sets, and straight from one change to the next.

    From a load at one end of the span to one at the other every crossed panel turns.
    """
    truss, ea, _ = case
    sets = TautSets(analyse(truss), ea[0])
    start, end = np.zeros((2, len(truss.joints)))
    start[truss.loaded[1:-1]], end[truss.loaded[1:-1]] = before, after
    start[truss.loaded[1]] += 30.0
    end[truss.loaded[-2]] += 30.0
    changes = sets.line(start, end, sets.solve(start), sets.solve(end))
    parts = np.array([0.0, *[part for part, _ in changes], 1.0])
    assert (np.diff(parts) >= 0.0).all()
    middles = 0.5 * (parts[1:] + parts[:-1])
    known, between = (
        plain_forces(truss, ea[0], start + at[:, None] * (end - start))[0]
        for at in (parts, middles)
    )
    size = size_of(known)
    for (part, piece), force in zip(changes, known[1:-1], strict=True):
        told = piece.force @ (start + part * (end - start))
        np.testing.assert_allclose(told, force, atol=1e-7 * size)
    straight = 0.5 * (known[1:] + known[:-1])
    np.testing.assert_allclose(between, straight, atol=1e-7 * size)


@given(ponies(spread=10.0))
def test_influence_lines_of_the_taut_bars_give_the_dead_forces(case):
    truss, ea, dead = case
    state = dead_forces(truss, ea, dead)
    line = influence(truss, ea[0], state.taut[0])
    np.testing.assert_allclose(
        line @ dead[0, truss.loaded],
        state.forces_kip[0],
        atol=AGREE * size_of(state.forces_kip),
    )


@given(st.integers(4, 9), st.floats(0.5, 2.0), st.floats(1.0, 30.0))
def test_bars_of_a_determinate_truss_do_not_ask_for_their_areas(panels, area, kip):
    truss = make_pratt(panels - panels % 2, 15.0, 18.0, rods=False)
    rng = np.random.default_rng(int(1e6 * area))
    ea = 1e5 * rng.uniform(0.1, 10.0, (2, len(truss.names)))
    dead = np.zeros((2, len(truss.joints)))
    dead[:, truss.loaded[1:-1]] = kip
    force = dead_forces(truss, ea, dead).forces_kip
    np.testing.assert_allclose(force[0], force[1], atol=1e-11 * kip * panels)


@given(ponies(spread=10.0), st.floats(-1e-3, 1e-3))
def test_bars_that_all_shorten_alike_pull_on_nothing(case, part):
    """As in the cold: the truss is then a smaller one of the same shape."""
    truss, ea, dead = case
    alone = dead_forces(truss, ea, dead).forces_kip
    span = truss.xy_ft[truss.ends[:, 1]] - truss.xy_ft[truss.ends[:, 0]]
    cold = dataclasses.replace(
        truss,
        joints=(*truss.joints, "tightening"),
        xy_ft=np.vstack([truss.xy_ft, [0.0, -1.0]]),
        shortened_ft=part * np.hypot(*span.T),
        tightening=len(truss.joints),
    )
    force = dead_forces(cold, ea, np.column_stack([dead, [[1.0]]])).forces_kip
    # What is rounding of the pull that bars held at their ends would give.
    size = size_of(alone) + abs(part) * ea.max()
    np.testing.assert_allclose(force, alone, atol=AGREE * size)


@given(ponies(rods=False, spread=10.0))
def test_a_bar_more_never_makes_a_truss_give_more(case):
    """Loads do less work on the way down with the second diagonals than without."""
    truss, ea, dead = case
    span = truss.xy_ft[truss.ends[:, 1]] - truss.xy_ft[truss.ends[:, 0]]
    flex = np.hypot(*span.T) / ea
    more, fewer = (
        (dead_forces(one, ea, dead).forces_kip ** 2 * flex).sum()
        for one in (truss, make_determinate(truss))
    )
    assert more <= fewer * (1 + 1e-12)


@given(ponies(spread=10.0), st.floats(0.2, 5.0))
def test_bars_all_stiffer_alike_carry_what_they_did(case, more):
    truss, ea, dead = case
    one, two = (dead_forces(truss, k * ea, dead).forces_kip for k in (1.0, more))
    np.testing.assert_allclose(two, one, atol=AGREE * size_of(one))


def mirror(truss):
    """Return the truss seen from the other side, bars in the same order."""
    span = truss.xy_ft[:, 0].max()
    return dataclasses.replace(
        truss,
        xy_ft=np.column_stack([span - truss.xy_ft[:, 0], truss.xy_ft[:, 1]]),
        pinned=truss.roller,
        roller=truss.pinned,
        loaded=truss.loaded[::-1].copy(),
    )


@given(ponies(), trains())
def test_a_truss_and_its_mirror_image_have_the_same_envelope(case, train):
    """Vehicles head both ways, and supports push only upwards."""
    truss, ea, dead = case
    ones = np.ones(len(truss.names))
    one = envelope(truss, ea, dead, [train], ones)
    two = envelope(mirror(truss), ea, dead, [train], ones)
    size = size_of(one.live_max_kip - one.live_min_kip)
    np.testing.assert_allclose(one.live_max_kip, two.live_max_kip, atol=AGREE * size)
    np.testing.assert_allclose(one.live_min_kip, two.live_min_kip, atol=AGREE * size)
    np.testing.assert_allclose(
        one.reaction_max_kip, two.reaction_max_kip[:, ::-1], atol=AGREE * size
    )


@given(ponies(rods=False, spread=10.0), st.data())
def test_two_joints_move_each_other_alike(case, data):
    """Maxwell: a load at one moves the other as far as the same load there moves it."""
    truss, ea, _ = case
    taut = np.ones(len(truss.names), bool)
    line = influence(truss, ea[0], taut)
    i, j = (data.draw(st.integers(1, len(truss.loaded) - 2)) for _ in range(2))
    span = truss.xy_ft[truss.ends[:, 1]] - truss.xy_ft[truss.ends[:, 0]]
    flex = np.hypot(*span.T) / ea[0]
    particular = influence(make_determinate(truss), ea[0], taut & ~redundant(truss))
    # By virtual work any forces in balance with the unit load will do, so the forces of
    # a determinate part of the truss give the deflection as well as the true ones.
    here = (particular[:, i] * flex * line[:, j]).sum()
    there = (particular[:, j] * flex * line[:, i]).sum()
    assert abs(here - there) <= 1e-9 * (np.abs(line[:, i] * line[:, j]) * flex).sum()


def redundant(truss):
    """Return the second diagonal of each crossed panel."""
    crossed = np.zeros(len(truss.names), bool)
    for k, name in enumerate(truss.names):
        other = f"L{int(name[1]) + 1}U{int(name[1])}" if "U" in name else ""
        rising = name[0] == "L" and "U" in name and int(name[3]) == int(name[1]) + 1
        crossed[k] = rising and other in truss.names
    return crossed


def make_determinate(truss):
    return dataclasses.replace(truss, absent=truss.absent | redundant(truss))


@given(ponies(configurations=2), trains(), st.floats(0.1, 2.0))
def test_envelope_bounds_the_plain_solver_at_every_step(case, train, factor):
    truss, ea, dead = case
    found = envelope(truss, ea, dead, [train], np.full(len(truss.names), factor))
    _, steps = plain_steps(truss, train, 0.5)
    for c in range(2):
        start, _ = plain_forces(truss, ea[c], dead[c : c + 1])
        total, solved = plain_forces(truss, ea[c], dead[c] + factor * steps)
        assert solved.all()
        size = size_of(total)
        live = total - start
        assert (found.live_max_kip[c] >= live.max(axis=0) - AGREE * size).all()
        assert (found.live_min_kip[c] <= live.min(axis=0) + AGREE * size).all()


@given(ponies(spread=5.0), trains(), st.floats(2.0, 60.0))
def test_at_its_rating_the_envelope_of_a_member_is_at_the_limit(case, train, room):
    """Two ways to the same number: multiples on the rays, positions at a multiple."""
    truss, ea, dead = case
    m = len(truss.names)
    up = np.full((1, 1, m), room)
    fall = np.where(truss.tension_only, np.inf, up)
    found = ratings(truss, ea, dead, [train], np.ones(m), up, fall).rating[0, 0]
    for member in np.flatnonzero(found < 1e4):
        live = envelope(truss, ea, dead, [train], np.full(m, found[member]))
        reached = max(
            live.live_max_kip[0, member],
            0.0 if truss.tension_only[member] else -live.live_min_kip[0, member],
        )
        size = size_of(live.live_max_kip - live.live_min_kip)
        assert abs(reached - room) <= 1e-7 * size
    never = np.flatnonzero(np.isinf(found))
    live = envelope(truss, ea, dead, [train], np.full(m, 1e3))
    assert (live.live_max_kip[0, never] <= room * (1 + 1e-6)).all()


def room_of(truss, ea, dead, capacity):
    """Return (1, 1, m) headrooms up and down of bars of one capacity each."""
    force = dead_forces(truss, ea, dead).forces_kip
    up = np.maximum(capacity - force, 0.0)[:, None]
    down = np.where(truss.tension_only, np.inf, np.maximum(capacity + force, 0.0))
    return up, down[:, None]


@given(ponies(), trains(), st.floats(20.0, 200.0), st.floats(1.0, 3.0), st.data())
def test_metal_added_to_a_bar_never_lowers_its_rating_its_force_held(
    case, train, kip, more, data
):
    """Force held: all stiffnesses grow alike, so only what the bar can carry does."""
    truss, ea, dead = case
    ones = np.ones(len(truss.names))
    member = data.draw(st.integers(0, len(truss.names) - 1))
    capacity = np.full(len(truss.names), kip)
    before = ratings(
        truss, ea, dead, [train], ones, *room_of(truss, ea, dead, capacity)
    )
    capacity[member] *= more
    after = ratings(
        truss, more * ea, dead, [train], ones, *room_of(truss, ea, dead, capacity)
    )
    one, two = before.rating[0, 0], after.rating[0, 0]
    assert two[member] >= one[member] * (1 - AGREE) or np.isinf(two[member])
    others = np.arange(len(one)) != member
    np.testing.assert_allclose(two[others], one[others], rtol=1e-7)


@given(ponies(rods=False), trains(), st.floats(30.0, 200.0), st.floats(1.0, 2.0))
def test_more_dead_load_never_raises_the_rating_of_a_bar_it_works_against(
    case, train, kip, heavier
):
    """Determinate bars: where dead load pulls, rises have less room, and so for falls."""
    truss, ea, dead = case
    truss = make_determinate(truss)
    ones = np.ones(len(truss.names))
    capacity = np.full(len(truss.names), kip)
    force = dead_forces(truss, ea, dead).forces_kip[0]
    one, two = (
        ratings(truss, ea, load, [train], ones, *room_of(truss, ea, load, capacity))
        for load in (dead, heavier * dead)
    )
    slack = 1 + AGREE
    pulled, pushed = force > 1e-6, force < -1e-6
    assert (two.up[0, 0, pulled] <= one.up[0, 0, pulled] * slack).all()
    assert (two.down[0, 0, pushed] <= one.down[0, 0, pushed] * slack).all()


def test_random_sound_trusses_agree_with_two_other_solvers():
    """A small run of the long one in tests/endurance."""
    counted, worst = run_random(120)
    assert worst <= 1e-5
    assert counted["carries all loads"] > 20
    assert counted["cannot stand"] > 20
