"""Sharing a difference out: the axioms, and games with known answers."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.effects import interactions_of, shapley

NEAR = 1e-9


@st.composite
def games(draw):
    players = draw(st.integers(1, 6))
    worth = st.floats(-100, 100, allow_nan=False)
    return players, {mask: draw(worth) for mask in range(1 << players)}


@given(games())
def test_shares_sum_to_the_whole_difference(game):
    players, value = game
    whole = value[(1 << players) - 1] - value[0]
    assert sum(shapley(value, players)) == pytest.approx(whole, abs=1e-9)


@given(games())
def test_a_change_that_changes_nothing_has_no_share(game):
    players, value = game
    idle = {mask | bit: v for mask, v in value.items() for bit in (0, 1 << players)}
    shares = shapley(idle, players + 1)
    assert shares[-1] == pytest.approx(0.0, abs=NEAR)
    assert shares[:-1] == pytest.approx(shapley(value, players), abs=1e-9)


@given(games(), st.randoms(use_true_random=False))
def test_shares_follow_the_changes_not_their_order(game, random):
    players, value = game
    order = list(range(players))
    random.shuffle(order)
    moved = {
        sum(1 << order[p] for p in range(players) if mask >> p & 1): v
        for mask, v in value.items()
    }
    shares, again = shapley(value, players), shapley(moved, players)
    for player in range(players):
        assert again[order[player]] == pytest.approx(shares[player], abs=1e-9)


def test_the_glove_game():
    """Two left gloves, one right; a pair is worth 1: shares 1/6, 1/6, 4/6.

    A textbook example of the value (from memory; by hand: the right glove earns 1 in
    the four of six orders in which a left glove came first).
    """
    value = {mask: float(mask & 4 > 0 and mask & 3 > 0) for mask in range(8)}
    assert shapley(value, 3) == pytest.approx([1 / 6, 1 / 6, 4 / 6], abs=NEAR)


def test_the_airport_game():
    """Costs 1, 2, 3 of one runway: 1/3, 1/3 + 1/2, 1/3 + 1/2 + 1.

    Littlechild and Owen 1973 (from memory): each part of the runway is shared equally
    by those who need it.
    """
    costs = [1.0, 2.0, 3.0]
    value = {
        mask: max([costs[p] for p in range(3) if mask >> p & 1], default=0.0)
        for mask in range(8)
    }
    wanted = [1 / 3, 1 / 3 + 1 / 2, 1 / 3 + 1 / 2 + 1]
    assert shapley(value, 3) == pytest.approx(wanted, abs=NEAR)


def test_the_weights_of_eight_changes_sum_to_one():
    value = {mask: float(mask.bit_count()) for mask in range(256)}
    assert math.fsum(shapley(value, 8)) == pytest.approx(8.0, abs=NEAR)


def test_two_of_a_party_that_only_wins_whole():
    """Unanimity game of three: each two interact by 1/2, an idle fourth with none.

    Grabisch and Roubens 1999 (from memory): 1/(t - s + 1) for a party of t and s in it.
    """
    value = np.array([float(mask & 7 == 7) for mask in range(16)])
    found = interactions_of(value)
    assert found[0, 1] == found[0, 2] == found[1, 2] == pytest.approx(0.5)
    assert found[0, 3] == found[1, 3] == found[2, 3] == pytest.approx(0.0)


def test_changes_that_add_up_do_not_interact():
    value = np.array([3.0 * (mask & 1) - 2.0 * (mask >> 1 & 1) for mask in range(8)])
    assert max(map(abs, interactions_of(value).values())) == pytest.approx(0.0)
