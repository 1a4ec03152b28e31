"""Multiples of the live load that bring members to limits, on slack and taut trusses."""

import numpy as np
import pytest

from analysis.engine import general
from analysis.engine.moving import Lane, Train, Uniform, envelope
from analysis.engine.rating import ratings, ratings_of
from analysis.engine.setting import setting
from analysis.engine.statics import dead_forces
from tests.analysis.engine.test_moving_loads import H15, HS20, configurations
from tests.analysis.engine.trusses import (
    down,
    make_half_hip,
    make_pratt,
    make_queen_post,
    make_whipple,
    plain_forces,
    plain_steps,
    plain_train,
    steel,
)

#: Solvers agree to this part of the limit force.
AGREE = 1e-7

FORMS = {
    "half-hip pony": (lambda: make_half_hip(), 3.0),
    "half-hip pony of four panels": (
        lambda: make_half_hip(4, 15.0, 7.0, 4.0, crossed=(2, 3)),
        3.0,
    ),
    "seven-panel pratt": (
        lambda: make_pratt(7, 18.0, 22.0, counters=(3, 5), ties=("L3L4",)),
        6.0,
    ),
    "whipple with counters": (lambda: make_whipple(("L5U3", "L3U5")), 14.0),
}


def headroom(truss, count, seed, levels=1):
    rng = np.random.default_rng(seed)
    shape = (count, levels, len(truss.names))
    up, fall = rng.uniform(5.0, 60.0, shape), rng.uniform(5.0, 60.0, shape)
    fall[..., truss.tension_only] = np.inf
    return up, fall


@pytest.mark.parametrize("form", FORMS)
def test_ratings_are_reached_and_no_less_load_reaches_them(form):
    """0.5-ft steps by the plain solver at the rating, and just below it."""
    make, weight = FORMS[form]
    truss = make()
    ea, dead = configurations(truss, 2, seed=21, dead=weight)
    up, fall = headroom(truss, 2, seed=22)
    factor = np.full(len(truss.names), 0.65)
    found = ratings(truss, ea, dead, [HS20], factor, up, fall)
    _, steps = plain_steps(truss, HS20, 0.5)
    for c in range(2):
        start = plain_forces(truss, ea[c], dead[c : c + 1])[0][0]
        members = np.flatnonzero(np.isfinite(found.rating[c, 0]))
        for member in members[found.rating[c, 0, members] < found.stability[c]]:
            multiple = 0.65 * found.rating[c, 0, member]
            place = plain_train(
                truss,
                HS20.axle_kip,
                HS20.offset_ft,
                found.at.front_ft[c, 0, member],
                found.at.heading[c, 0, member],
            )
            there, solved = plain_forces(
                truss, ea[c], (dead[c] + multiple * place)[None]
            )
            assert solved.all()
            moved = there[0, member] - start[member]
            room = (moved - up[c, 0, member], -fall[c, 0, member] - moved)
            assert max(room) == pytest.approx(0.0, abs=AGREE * np.abs(there).max())
            below, solved = plain_forces(
                truss, ea[c], dead[c] + (1 - 1e-6) * multiple * steps
            )
            moved = below[solved, member] - start[member]
            assert moved.max() < up[c, 0, member]
            assert moved.min() > -fall[c, 0, member]


def test_governing_rating_agrees_with_bisection_on_the_plain_solver():
    truss = make_half_hip()
    ea, dead = configurations(truss, 4, seed=31)
    up, fall = headroom(truss, 4, seed=32)
    found = ratings(truss, ea, dead, [H15], np.ones(len(truss.names)), up, fall)
    _, steps = plain_steps(truss, H15, 0.02)
    for c in range(4):
        start = plain_forces(truss, ea[c], dead[c : c + 1])[0][0]
        low, high = 0.0, 50.0
        for _ in range(40):
            middle = 0.5 * (low + high)
            total, _ = plain_forces(truss, ea[c], dead[c] + middle * steps)
            live = total - start
            over = (live > up[c, 0]).any() or (live < -fall[c, 0]).any()
            low, high = (low, middle) if over else (middle, high)
        assert found.rating[c, 0].min() == pytest.approx(high, rel=2e-3)
        assert found.rating[c, 0].min() <= high * (1 + 1e-9)


def test_in_a_determinate_truss_rating_is_headroom_over_live_force():
    truss = make_pratt(rods=False)
    dead = down(truss, {f"L{i}": 6.0 for i in range(1, 6)})
    up, fall = headroom(truss, 1, seed=41, levels=2)
    factor = np.linspace(0.5, 0.9, len(truss.names))
    found = ratings(truss, steel(truss), dead, [HS20, H15], factor, up, fall)
    live = envelope(truss, steel(truss), dead, [HS20, H15], factor)
    with np.errstate(divide="ignore"):
        rises = np.where(live.live_max_kip > 0, up[0] / live.live_max_kip, np.inf)
        falls = np.where(live.live_min_kip < 0, fall[0] / -live.live_min_kip, np.inf)
    np.testing.assert_allclose(found.rating[0], np.minimum(rises, falls), rtol=1e-12)
    np.testing.assert_allclose(found.up[0], rises, rtol=1e-12)
    np.testing.assert_allclose(found.down[0], falls, rtol=1e-12)
    assert found.stability[0] == np.inf


def test_a_counter_rates_by_more_than_its_share_at_one_truck():
    """Truss R, classical shear: counter U3L2 takes (live - dead) shear x 25/20.

    At twice the truck the dead shear is deducted once, not twice, so the rating is less
    than headroom over the live force at one truck.
    """
    truss = make_pratt(counters=(3, 4))
    dead = down(truss, {f"L{i}": 6.0 for i in range(1, 6)})
    m = len(truss.names)
    counter = truss.names.index("L2U3")
    up = np.full((1, 1, m), np.inf)
    up[0, 0, counter] = 20.0
    found = ratings(
        truss, steel(truss), dead, [HS20], np.ones(m), up, np.full((1, 1, m), np.inf),
        model="classical",
    )  # fmt: skip
    shear = 20.667  # greatest opposite force in the panel's rod, truss R under HS20
    expected = (20.0 + 3.75) / shear
    assert found.rating[0, 0, counter] == pytest.approx(expected, rel=1e-4)
    assert np.isinf(np.delete(found.rating[0, 0], counter)).all()


def test_a_member_that_dead_load_alone_brings_to_its_limit_rates_zero():
    truss = make_half_hip()
    ea, dead = configurations(truss, 2, seed=51)
    up, fall = headroom(truss, 2, seed=52)
    up[0, 0, 1] = 0.0
    fall[1, 0, 0] = -2.0
    found = ratings(truss, ea, dead, [H15], np.ones(len(truss.names)), up, fall)
    assert found.rating[0, 0, 1] == 0.0
    assert found.rating[1, 0, 0] == 0.0
    assert (np.delete(found.rating[0, 0], 1) > 0.0).all()


def test_loss_of_stability_is_the_least_multiple_over_all_positions():
    truss = make_pratt(counters=(3, 4), absent=("L2U3",))
    dead = down(truss, {f"L{i}": 12.0 for i in range(1, 6)})
    m = len(truss.names)
    none = np.full((1, 1, m), np.inf)
    found = ratings(truss, steel(truss), dead, [HS20], np.full(m, 0.5), none, none)
    held, shear = 7.5, 20.667
    assert found.stability[0] == pytest.approx(held / shear / 0.5, rel=1e-4)
    at = envelope(truss, steel(truss), dead, [HS20], np.full(m, 0.5)).unstable_at[0]
    assert at is not None
    assert at[2] == pytest.approx(found.stability[0], rel=1e-12)


@pytest.mark.parametrize("form", FORMS)
def test_ratings_do_not_depend_on_what_else_is_in_the_batch(form):
    make, weight = FORMS[form]
    truss = make()
    ea, dead = configurations(truss, 3, seed=61, dead=weight)
    up, fall = headroom(truss, 3, seed=62, levels=2)
    ones = np.ones(len(truss.names))
    together = ratings(truss, ea, dead, [H15], ones, up, fall)
    for c in range(3):
        alone = ratings(
            truss, ea[c], dead[c], [H15], ones, up[c : c + 1], fall[c : c + 1]
        )
        np.testing.assert_allclose(together.rating[c], alone.rating[0], rtol=1e-9)


@pytest.mark.parametrize("form", FORMS)
def test_asking_for_the_least_rating_alone_finds_the_same(form):
    make, weight = FORMS[form]
    truss = make()
    m = len(truss.names)
    count = 8 if len(truss.names) > 30 else 40
    ea, dead = configurations(truss, count, seed=41, dead=weight)
    up, fall = headroom(truss, count, seed=42)
    factor = np.random.default_rng(43).uniform(0.5, 0.9, (2, m))
    every, least = (
        ratings(
            truss, ea, dead, [HS20], factor[0], up, fall,
            factor_down=factor[1], least_only=only,
        )
        for only in (False, True)
    )  # fmt: skip
    np.testing.assert_array_equal(
        least.rating.min(axis=(1, 2)), every.rating.min(axis=(1, 2))
    )
    np.testing.assert_array_equal(
        least.rating.argmin(axis=2), every.rating.argmin(axis=2)
    )
    assert (least.rating >= every.rating).all()


def test_a_factor_for_falls_only_changes_falls():
    truss = make_half_hip()
    ea, dead = configurations(truss, 2, seed=71)
    up, fall = headroom(truss, 2, seed=72)
    m = len(truss.names)
    once = ratings(truss, ea, dead, [H15], np.ones(m), up, fall)
    split = ratings(
        truss, ea, dead, [H15], np.ones(m), up, fall, factor_down=np.full(m, 2.0)
    )
    np.testing.assert_allclose(split.up, once.up)
    np.testing.assert_allclose(split.down, once.down / 2.0)


def test_uniform_and_lane_loads_rate_by_the_lengths_that_add():
    """Truss R, 1 klf: U2U3 -w L^2 / 8h; the lane adds 18 kip x 1.125."""
    truss = make_pratt(rods=False)
    m = len(truss.names)
    none, fall = np.full((1, 1, m), np.inf), np.full((1, 1, m), 80.0)
    dead = down(truss, {})
    chord = truss.names.index("U2U3")
    alone = ratings(truss, steel(truss), dead, [Uniform(1.0)], np.ones(m), none, fall)
    assert alone.rating[0, 0, chord] == pytest.approx(80 / 50.625, rel=1e-12)
    lane = Lane(0.64, 18.0, 26.0)
    both = ratings(
        truss, steel(truss), dead, [Uniform(1.0), lane], np.ones(m), none, fall
    )
    expected = 80 / (0.64 * 50.625 + 18 * 1.125)
    assert both.rating[0, 0, chord] == pytest.approx(expected, rel=1e-12)


def test_uniform_load_on_rods_rates_where_its_envelope_meets_the_limit():
    truss = make_half_hip()
    ea, dead = configurations(truss, 2, seed=81)
    m = len(truss.names)
    up, fall = headroom(truss, 2, seed=82)
    found = ratings(truss, ea, dead, [Uniform(1.0)], np.ones(m), up, fall)
    for c in range(2):
        for member in np.flatnonzero(np.isfinite(found.rating[c, 0])):
            multiple = np.full(m, found.rating[c, 0, member])
            live = envelope(truss, ea[c], dead[c], [Uniform(1.0)], multiple)
            room = max(
                live.live_max_kip[0, member] - up[c, 0, member],
                -live.live_min_kip[0, member] - fall[c, 0, member],
            )
            assert room == pytest.approx(0.0, abs=1e-6)


def test_a_truss_that_cannot_stand_rates_zero():
    truss = make_queen_post()
    m = len(truss.names)
    room = np.full((1, 1, m), 10.0)
    dead = down(truss, {"L1": 5.0, "L2": 5.0})
    found = ratings(truss, steel(truss), dead, [H15], np.ones(m), room, room)
    assert not found.rating.any()
    assert not found.stability.any()


def test_without_dead_load_every_rating_is_that_of_the_live_load_alone():
    truss = make_half_hip()
    m = len(truss.names)
    room = np.full((1, 1, m), 10.0)
    fall = np.where(truss.tension_only, np.inf, room)
    found = ratings(truss, steel(truss), down(truss, {}), [H15], np.ones(m), room, fall)
    live = envelope(truss, steel(truss), down(truss, {}), [H15], np.ones(m))
    most = np.maximum(
        live.live_max_kip, np.where(truss.tension_only, 0, -live.live_min_kip)
    )
    with np.errstate(divide="ignore"):
        np.testing.assert_allclose(
            found.rating[0], np.where(most > 1e-9, 10.0 / most, np.inf), rtol=1e-9
        )


def test_members_no_load_moves_have_no_rating():
    truss = make_pratt(rods=False)
    m = len(truss.names)
    room = np.full((1, 1, m), 10.0)
    nothing = Train(np.array([0.0]), np.array([0.0]))
    state = dead_forces(truss, steel(truss), down(truss, {}))
    assert state.stands[0]
    found = ratings(
        truss, steel(truss), down(truss, {}), [nothing], np.ones(m), room, room
    )
    assert np.isinf(found.rating).all()


@pytest.mark.parametrize(
    ("panels", "spread", "seed", "count", "least"),
    [(8, 1.5, 12, 4, 0.5), (10, 1.0, 12, 4, 0.5), (8, 2.5, 18, 3, 0.2)],
)
def test_what_is_left_out_of_the_search_could_not_have_rated_lower(
    panels, spread, seed, count, least
):
    """Crossed panels of very unlike rods: most rays and triangles are not looked into.

    Against every position and every multiple, one configuration at a time.
    """
    truss = make_pratt(panels, counters=range(3, panels - 1))
    rng = np.random.default_rng(seed)
    m = len(truss.names)
    ea = steel(truss, count=count) * 10.0 ** rng.uniform(-spread, spread, (count, m))
    dead = np.zeros((count, len(truss.joints)))
    dead[:, truss.loaded[1:-1]] = rng.uniform(least, 3.0, (count, panels - 1))
    asked = setting(truss, ea, dead, [HS20])
    force = asked.state.forces_kip
    up = rng.uniform(10.0, 60.0, (count, 1, m))
    down = np.where(truss.tension_only, np.inf, rng.uniform(10.0, 60.0, (count, 1, m)))
    found = ratings_of(asked, np.ones(m), up, down).rating
    for c in range(count):
        reached = general.multiples(
            asked.sets(c),
            dead[c],
            asked.places,
            [HS20],
            (force[c] + up[c]),
            (force[c] - down[c]),
            np.zeros(m, bool),
        ).multiple
        np.testing.assert_allclose(found[c], reached, rtol=1e-7)
