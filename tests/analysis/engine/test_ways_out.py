"""Where a quick way finds no answer a sure one is gone, to the same numbers.

Random trusses hardly ever come there: here the quick ways are made to fail.
"""

import dataclasses
import random
import sys

import numpy as np
import pytest

from analysis.engine import general, pairs, tautbatch
from analysis.engine.equilibrium import analyse
from analysis.engine.moving import envelope, envelope_of
from analysis.engine.rating import ratings_of
from analysis.engine.setting import setting
from analysis.engine.statics import dead_forces
from analysis.engine.tautsets import TautSets
from tests.analysis.engine.test_moving_loads import HS20, configurations
from tests.analysis.engine.trusses import make_pratt, make_whipple
from tests.endurance.random_trusses import grow

COUNT = 6


def extremes(truss, ea, dead):
    factor = np.full(len(truss.names), 0.8)
    found = envelope(truss, ea, dead, [HS20], factor, with_places=False)
    assert found.stands.all()
    return np.stack([found.live_max_kip, found.live_min_kip])


def test_redundants_that_do_not_settle_are_left_to_the_general_way(monkeypatch):
    """Bars of very unlike areas, so that neighbouring panels move each other much: they
    are not solved for at once, three sweeps are not enough, and pivoting fails too."""
    truss = make_pratt(7, 18.0, 22.0, counters=(3, 4, 5))
    ea, dead = configurations(truss, COUNT, seed=3, dead=3.0)
    rng = np.random.default_rng(3)
    ea *= np.exp(2.5 * rng.normal(size=ea.shape))
    room = 60.0 * np.exp(rng.normal(size=(COUNT, 2, len(truss.names))))
    fall = np.where(truss.tension_only, np.inf, room)
    share = np.full(len(truss.names), 0.8)

    def found(asked):
        moved = envelope_of(asked, share)
        rated = ratings_of(asked, share, room, fall)
        return moved.live_max_kip, moved.live_min_kip, rated.rating

    def asked():
        return setting(truss, ea, dead, [HS20])

    dead_kip = dead_forces(truss, ea, dead).forces_kip
    sure, settled, tried = found(asked()), asked(), []

    def pivot(self, a, g, r, guess):
        tried.append(g.shape[1])
        return np.full_like(guess, 1e3), np.zeros_like(guess), np.zeros(len(g[0]), bool)

    at_once = pairs.Crossed._at_once

    def none_at_once(self, *asked):
        x, target, left = at_once(self, *asked)
        return x, target, left | True

    monkeypatch.setattr(pairs, "_SWEEPS", 3)
    monkeypatch.setattr(pairs.Crossed, "_at_once", none_at_once)
    monkeypatch.setattr(pairs.Crossed, "pivot", pivot)
    again = dead_forces(truss, ea, dead).forces_kip
    np.testing.assert_allclose(again, dead_kip, rtol=0, atol=1e-9)
    # Settled under dead load before, and not even that.
    for now in (found(settled), found(asked())):
        for mine, theirs in zip(now, sure, strict=True):
            np.testing.assert_allclose(mine, theirs, rtol=1e-7, atol=1e-7)
    assert tried


DOUBLE = make_whipple(("L5U3", "L3U5"))


def nothing_followed(monkeypatch):
    refused = []

    def follow(self, column, place, slack, high, low):
        refused.append(len(column))
        return np.ones(len(column), bool)

    monkeypatch.setattr(tautbatch._Block, "_follow", follow)
    return refused


def no_set_can_be(monkeypatch):
    """As where bars chosen to be slack cannot all be: what follows them has no answer."""
    solve, refused = np.linalg.solve, []

    def refuse(a, b):
        # The one question with two right sides: at both ends of a stretch.
        by = sys._getframe(1).f_globals["__name__"]
        if by == tautbatch.__name__ and b.ndim == 3 and b.shape[2] == 2:
            refused.append(len(b))
            raise np.linalg.LinAlgError("singular")
        return solve(a, b)

    monkeypatch.setattr(np.linalg, "solve", refuse)
    return refused


@pytest.mark.parametrize("way", [nothing_followed, no_set_can_be])
def test_stretches_that_cannot_be_followed_are_walked_one_by_one(monkeypatch, way):
    ea, dead = configurations(DOUBLE, COUNT, seed=11, dead=6.0)
    rng = np.random.default_rng(4)
    ea *= np.exp(rng.normal(size=ea.shape))
    sure = extremes(DOUBLE, ea, dead)
    refused = way(monkeypatch)
    np.testing.assert_allclose(extremes(DOUBLE, ea, dead), sure, rtol=0, atol=1e-7)
    assert refused


@pytest.mark.parametrize("seed", [1844, 1869, 1996])
def test_what_several_bars_bring_down_is_left_to_the_general_way(seed):
    """Bars that are watched tell: where no one bar alone can bring a truss down, one of
    them would be pushed at each place that does. Members that no redundant touches take
    more of the load here than the others, which all places leave standing."""
    rng, more = random.Random(seed), np.random.default_rng(seed)
    truss, ea, dead = grow(rng)
    ea = ea * np.exp(more.normal(size=(2, len(ea))))
    share = 0.2 + 0.8 * more.random(len(truss.names))
    share[analyse(truss).touched] *= 0.1
    asked = setting(truss, ea, np.stack([dead, 3.0 * dead]), [HS20])
    beyond = np.ones(2, bool)
    general = dataclasses.replace(
        asked, settled=dataclasses.replace(asked.settled, beyond=beyond)
    )
    assert (asked.fall(float(share.max())).fraction < 1.0).all()
    one, two = envelope_of(asked, share), envelope_of(general, share)
    for side in ("live_max_kip", "live_min_kip"):
        mine, theirs = getattr(one, side), getattr(two, side)
        np.testing.assert_allclose(mine, theirs, rtol=0, atol=1e-7)


@pytest.mark.parametrize("seed", [2, 5, 8])
def test_a_double_system_in_the_classical_model_loses_no_figures(seed):
    """Crossed bars, by far the looser, share rods with redundants that are not."""
    ea, dead = configurations(DOUBLE, COUNT, seed=seed, dead=4.0)
    rng = np.random.default_rng(seed)
    ea *= np.exp(1.5 * rng.normal(size=ea.shape))
    asked = setting(DOUBLE, ea, dead, [HS20], "classical")
    room = 30.0 * np.exp(0.5 * rng.normal(size=(COUNT, 1, len(DOUBLE.names))))
    fall = np.where(DOUBLE.tension_only, np.inf, room)
    share = np.full(len(DOUBLE.names), 0.8)
    found = ratings_of(asked, share, room, fall)
    many = envelope_of(asked, share, with_places=False)
    for c in np.flatnonzero(asked.state.stands).tolist():
        sets = TautSets(asked.system, ea[c], True)
        force = asked.state.forces_kip[c]
        limits = force + room[c], force - fall[c]
        web = np.zeros(len(share), bool)
        given = sets, dead[c], asked.places, [HS20]
        reached = general.multiples(*given, *limits, web).multiple
        falls = found.stability[c]
        np.testing.assert_allclose(
            np.minimum(found.rating[c], falls),
            np.minimum(reached / share, falls),
            rtol=1e-8,
        )
        forces = general.extremes(*given, share, web)
        for mine, theirs in (
            (many.live_max_kip[c], np.maximum(forces.high - force, 0.0)),
            (many.live_min_kip[c], np.minimum(forces.low - force, 0.0)),
        ):
            np.testing.assert_allclose(mine, theirs, rtol=0, atol=1e-6)
