"""What the search of cells takes for granted of the inside of triangles, looked at there.

A wrong bound hardly ever spoils a rating: it must leave out the one triangle that has
the least of all. So the bounds themselves are held against forces between the corners.
"""

import random
from contextlib import contextmanager
from types import SimpleNamespace

import numpy as np
import pytest

from analysis.engine import cells
from analysis.engine.equilibrium import analyse
from analysis.engine.rating import ratings
from tests.analysis.engine.test_moving_loads import HS20, configurations
from tests.analysis.engine.trusses import make_pratt
from tests.endurance.random_trusses import grow

COUNT = 6


def unlike(seed, spread, crossed=False):
    """Return a truss and configurations of bars more or less unlike in area."""
    rng, more = random.Random(seed), np.random.default_rng(seed)
    if crossed:
        truss = make_pratt(7, 18.0, 22.0, counters=(3, 4, 5))
        ea, dead = configurations(truss, COUNT, seed=seed, dead=rng.choice([0.3, 3.0]))
    else:
        truss, ea, dead = grow(rng)
        ea, dead = np.tile(ea, (COUNT, 1)), np.tile(dead, (COUNT, 1))
        dead = dead * np.exp(0.5 * more.normal(size=dead.shape))
    return truss, ea * np.exp(spread * more.normal(size=ea.shape)), dead


@contextmanager
def overheard(monkeypatch):
    """Yield what is doubted of each block, nothing being too little to ask about."""
    heard, doubts = [], cells._BlockState.doubts

    def listen(self, asked, driven):
        found = doubts(self, asked, driven)
        heard.append((self, asked, driven))
        return found

    with monkeypatch.context() as patch:
        patch.setattr(cells, "_FEW", 0)
        patch.setattr(cells, "_FEW_STATES", 0)
        patch.setattr(cells._BlockState, "doubts", listen)
        yield heard


def asked_of(truss, ea, dead, seed):
    rng = np.random.default_rng(seed)
    shape = (COUNT, 1, len(truss.names))
    up, fall = (60.0 * np.exp(rng.normal(size=shape)) for _ in range(2))
    fall[..., truss.tension_only] = np.inf
    share = np.full(len(truss.names), 0.65)
    return ratings(truss, ea, dead, [HS20], share, up, fall)


def inside(state, driven, rng):
    """Yield (share of dead load, of live load, of the way to the next place) within
    triangles, and the redundants of each triangle there, (k, s - 1, c)."""
    crossed, block, (g, r) = state.crossed, state.block, driven
    for _ in range(12):
        dead, way = rng.uniform(0.02, 0.98), rng.uniform(0.0, 1.0)
        live = 1.0 - dead
        between = [(1.0 - way) * of[:, :-1] + way * of[:, 1:] for of in (g, r)]
        x = crossed.settle(
            dead * crossed.dead_g[:, None, block] + live * between[0],
            dead * crossed.dead_r[:, None, block] + live * between[1],
            np.full(len(block), state.live.scale),
            block,
        ).x
        yield dead, live, way, x


@pytest.mark.parametrize("crossed", [True, False])
def test_redundants_are_no_further_from_lines_than_is_said(monkeypatch, crossed):
    rng, seen = np.random.default_rng(5), 0
    for seed in range(60 if crossed else 250):
        truss, ea, dead_kip = unlike(seed, [0.3, 1.0, 2.0][seed % 3], crossed)
        if analyse(truss).movable:
            continue
        with overheard(monkeypatch) as heard:
            asked_of(truss, ea, dead_kip, seed)
        for state, _, driven in heard:
            excess = cells._excess(
                state.crossed,
                state.dead,
                (state.columns, driven[1]),
                state.block,
                state.linked,
            )
            known = excess.high.dead[:, :-1] < cells._UNKNOWN
            seen += int(known.any())
            joined = state.linked[:, None]
            at_dead = state.dead.x[:, None, state.block]
            at = state.columns.x
            small = 1e-9 * state.live.scale
            for dead, live, way, x in inside(state, driven, rng):
                line = dead * at_dead
                line = line + live * ((1.0 - way) * at[:, :-1] + way * at[:, 1:])
                high = dead * excess.high.dead + live * excess.high.live
                low = dead * excess.low.dead + live * excess.low.live
                within = (x <= line + high[:, :-1] + small) & (
                    x >= line - low[:, :-1] - small
                )
                assert (within | ~joined).all(), seed
    assert seen > 20


def bound(matrix, g, low):
    """Return (k, ...) redundants of one configuration: each at its bound or at what the
    others leave of its drive; every choice of those at bounds is tried."""
    k, shape = len(matrix), g.shape[1:]
    g, low = g.reshape(k, -1), low.reshape(k, -1)
    found = np.full(g.shape, np.nan)
    for number in range(2**k):
        free = np.array([bool(number >> i & 1) for i in range(k)])
        x = low.copy()
        if free.any():
            held = -g[free] - matrix[np.ix_(free, ~free)] @ low[~free]
            x[free] = np.linalg.solve(matrix[np.ix_(free, free)], held)
        off = x + g + (matrix - np.eye(k)) @ x
        good = (x >= low - 1e-12).all(axis=0) & (off[~free] >= -1e-12).all(axis=0)
        found[:, good] = x[:, good]
    assert not np.isnan(found).any()
    return found.reshape(k, *shape)


@pytest.mark.parametrize("most", [0.2, 0.44])
def test_redundants_that_lift_each_other_are_no_further_from_lines_either(most):
    """Three of no truss in particular, of which each moves the others up to ``most``."""
    rng, known = np.random.default_rng(7), 0
    way = np.linspace(0.0, 1.0, 21)
    for _ in range(400):
        pushes = rng.uniform(-most, 0.2 * most, 3)
        matrix = np.eye(3)
        matrix[[0, 0, 1], [1, 2, 2]] = matrix[[1, 2, 2], [0, 0, 1]] = pushes
        # Of the dead load and of a place alone.
        g, r = rng.normal(size=(2, 3, 2))
        low = np.maximum(r, 0.0)
        x = bound(matrix, g, low)
        target = -g - (matrix - np.eye(3)) @ x
        every, none = np.ones(3, bool), np.zeros(3, bool)
        crossed = SimpleNamespace(
            matrix=matrix[:, :, None],
            dead_r=r[:, :1],
            bounded_by_self=every,
            bounded_by_partner=every,
            locked=none,
            neighbours=[[1, 2], [0, 2], [0, 1]],
        )
        dead = SimpleNamespace(x=x[:, :1], target=target[:, :1])
        live = SimpleNamespace(x=x[:, 1:, None], target=target[:, 1:, None])
        excess = cells._excess(
            crossed,
            dead,
            (live, r[:, 1:, None]),
            np.array([0]),
            np.zeros(0, bool),
        )
        high = excess.high.dead[:, 0] * (1.0 - way) + excess.high.live[:, 0] * way
        below = excess.low.dead[:, 0] * (1.0 - way) + excess.low.live[:, 0] * way
        known += int(excess.high.dead.max() < cells._UNKNOWN)
        line = x[:, :1] * (1.0 - way) + x[:, 1:] * way
        there_g = g[:, :1] * (1.0 - way) + g[:, 1:] * way
        there_r = r[:, :1] * (1.0 - way) + r[:, 1:] * way
        there = bound(matrix, there_g, np.maximum(there_r, 0.0))
        assert (there <= line + high + 1e-9).all()
        assert (there >= line - below - 1e-9).all()
    assert known > 100


def test_where_nothing_is_known_of_watched_bars_all_is_looked_at(monkeypatch):
    heard = []
    for seed in (23, 119, 170):
        truss, ea, dead_kip = unlike(seed, 1.0)
        with overheard(monkeypatch) as more:
            asked_of(truss, ea, dead_kip, seed)
        heard += more
    assert heard
    monkeypatch.setattr(cells, "above_lines", lambda *_: np.full((1, 1, 1), np.inf))
    for state, asked, driven in heard:
        watched = len(state.rows) - state.count
        could = np.repeat(asked[None], watched, axis=0)
        concern = np.full(asked.shape[1], 1e-3)
        rays, triangles = state._slacken(could, concern, driven)
        assert (rays | ~asked).all()
        assert (triangles | ~asked).all()
