"""Trusses of many panels, and loads that none carries, against plainer ways.

What is long or many is worked out by other steps than what is short, to the same
numbers: here the limits between the two are moved.
"""

import dataclasses
import itertools
from copy import deepcopy

import numpy as np
import pytest
import scipy.optimize

from analysis.engine import batch, cells, gathered, moving, pairs
from analysis.engine.answer import answer
from analysis.engine.equilibrium import analyse
from analysis.engine.moving import envelopes_of
from analysis.engine.rating import ratings_of
from analysis.engine.setting import setting
from analysis.engine.tautsets import TautSets, standing_part
from tests.analysis.engine.checkfiles import THROUGH
from tests.analysis.engine.test_moving_loads import HS20, configurations
from tests.analysis.engine.trusses import (
    general_only,
    make_pratt,
    make_whipple,
    plain_forces,
    plain_steps,
    steel,
)

LONG = make_pratt(11, 16.0, 20.0, counters=tuple(range(2, 11)))
#: Chords of rods too, and counters: much may be slack, and many loads bring it down.
DOUBLE = make_whipple(("L5U3", "L3U5"))


def asked(dead_kip, count=2, beyond=False):
    ea, dead = configurations(LONG, count, seed=5, dead=dead_kip)
    found = setting(LONG, ea, dead, [HS20])
    if not beyond:
        return found
    every = np.ones(count, bool)
    return dataclasses.replace(
        found, settled=dataclasses.replace(found.settled, beyond=every)
    )


def limits(count=2):
    """Return headroom from hardly any to more than the truss ever needs."""
    rng = np.random.default_rng(9)
    shape = (count, 2, len(LONG.names))
    up, fall = (10.0 * np.exp(2.0 * rng.normal(size=shape)) for _ in range(2))
    up[:, :, ::7] = 0.0
    up[:, :, 3::7] = 1e-18  # lost beside the dead-load force
    fall[..., LONG.tension_only] = np.inf
    return up, fall


def factors():
    rising = 0.5 + 0.02 * np.arange(len(LONG.names))
    return rising, rising[::-1].copy()


@pytest.fixture
def as_long(monkeypatch):
    """Treat every truss as a very long one."""
    monkeypatch.setattr(cells, "_FEW_LINES", 0)
    monkeypatch.setattr(cells, "_PAIRS_AT_ONCE", 200)
    monkeypatch.setattr(gathered, "_FEW", 0)
    monkeypatch.setattr(pairs, "_WALKED_AT_ONCE", 100)
    monkeypatch.setattr(moving, "_MANY_FORCES", 0)
    monkeypatch.setattr(batch, "_MOST_REDUNDANTS", 1)
    monkeypatch.setattr(batch, "_FORCES_AT_ONCE", 5_000)


@pytest.fixture
def as_short(monkeypatch):
    """Treat the long truss as a short one."""
    monkeypatch.setattr(cells, "_FEW_LINES", 99)
    monkeypatch.setattr(gathered, "_FEW", 99)


@pytest.fixture(scope="module")
def general_way():
    up, fall = limits(1)
    factor, other = factors()
    alone = asked(2.0, 1, beyond=True)
    with general_only():
        rated = ratings_of(alone, factor, up, fall, other)
    return rated, envelopes_of(alone, [factor, other])


def differences(way, general_way):
    """Return the greatest differences of ratings and of forces, in parts."""
    up, fall = limits(1)
    factor, other = factors()
    mine = asked(2.0, 1)
    rated = ratings_of(mine, factor, up, fall, other).rating
    envelopes = envelopes_of(mine, [factor, other])
    np.testing.assert_allclose(rated, general_way[0].rating, rtol=1e-8, err_msg=way)
    for ours, theirs in zip(envelopes, general_way[1], strict=True):
        for side in ("live_max_kip", "live_min_kip"):
            np.testing.assert_allclose(
                getattr(ours, side), getattr(theirs, side), atol=1e-8, err_msg=way
            )
        # Others are at their most, that is slack or unmoved, in many places.
        chords = slice(0, 11)
        np.testing.assert_allclose(
            ours.max_at.front_ft[:, chords],
            theirs.max_at.front_ft[:, chords],
            atol=1e-6,
        )


def test_a_long_truss_is_answered_as_in_the_general_way(general_way):
    differences("as it is", general_way)


def test_nor_does_it_matter_where_long_begins(general_way, as_short):
    differences("as a short one", general_way)


def test_nor_how_much_is_worked_out_at_once(general_way, as_long):
    differences("as a very long one", general_way)


def carried(system, load):
    """Return whether tensions in the rods, and any forces else, carry a load (plain LP)."""
    truss = system.truss
    rods = np.zeros(len(truss.names), bool)
    rods[TautSets(system, steel(truss)[0]).bars] = True
    found = scipy.optimize.linprog(
        np.zeros(system.selfstress.shape[1]),
        A_ub=-system.selfstress[rods],
        b_ub=(system.particular @ load)[rods],
        bounds=(None, None),
    )
    return found.status == 0


def some_loads(count, seed):
    rng = np.random.default_rng(seed)
    loads = np.zeros((count, len(DOUBLE.joints)))
    loads[:, DOUBLE.loaded[1:-1]] = rng.exponential(1.0, (count, 7)) ** 2
    return loads


def test_what_is_refused_at_sight_no_tensions_carry():
    system = analyse(DOUBLE)
    sets = TautSets(system, steel(DOUBLE)[0])
    loads = some_loads(300, 1)
    answered = np.array([sets.solve(load) is not None for load in loads[:100]])
    assert 10 < answered.sum() < 90
    refused = sets.refused(loads, np.array([sets.scale(load) for load in loads]))
    assert refused[100:].sum() > 50
    for load in loads[refused]:
        assert not carried(system, load)
    many = sets.solve_many(loads)
    for load, piece in zip(loads[::4], many[::4], strict=True):
        assert (piece is not None) == carried(system, load)


def test_a_line_of_loads_is_carried_between_the_ends_that_are_found():
    system = analyse(DOUBLE)
    sets = TautSets(system, steel(DOUBLE)[0])
    loads = some_loads(60, 2)
    falling = [load for load in loads if sets.solve(load) is None]
    met = [0, 0, 0]
    for start, end in itertools.pairwise([*loads[:9], *falling]):
        part = standing_part(sets, start, end)
        tried = [0.05 * k for k in range(21)]
        stands = [carried(system, (1 - p) * start + p * end) for p in tried]
        if part is None:
            assert not any(stands)
            met[0] += 1
            continue
        for p, stood in zip(tried, stands, strict=True):
            if min(abs(p - end) for end in part) > 1e-9:
                assert stood == (part[0] <= p <= part[1])
        met[1 if part == (0.0, 1.0) else 2] += 1
    assert min(met) >= 2, met


def test_forces_are_followed_up_to_where_the_truss_falls():
    """By the plain solver, no step of 0.1 ft goes further, before the fall or after."""
    ea, dead = configurations(DOUBLE, 1, seed=3, dead=4.0)
    found = envelopes_of(setting(DOUBLE, ea, dead, [HS20]), [np.ones(len(ea[0]))])[0]
    assert found.unstable_at[0] is not None
    start = plain_forces(DOUBLE, ea[0], dead)[0]
    _, steps = plain_steps(DOUBLE, HS20, 0.1)
    sets = TautSets(analyse(DOUBLE), ea[0])
    stands = np.array([sets.solve(dead[0] + step) is not None for step in steps])
    brinks = np.flatnonzero(stands[1:] != stands[:-1])
    assert 4 <= len(brinks) <= 30
    some = np.unique([*range(0, len(steps), 60), *brinks, *(brinks + 1)])
    total, solved = plain_forces(DOUBLE, ea[0], dead + steps[some])
    np.testing.assert_array_equal(solved, stands[some])
    live = (total - start)[solved]
    assert (live <= found.live_max_kip[0] + 1e-7).all()
    assert (live >= found.live_min_kip[0] - 1e-7).all()


def test_no_cell_is_missed_that_is_hardly_left():
    """Thin counters of a long Post truss: forces change by little from cell to cell.

    With the front axle at 104.135 ft and 0.59090 of the load, a fresh solution has the
    chord at its limit, 240.466 kip; between axles on joints alone it is 0.8719.
    """
    document = deepcopy(THROUGH)
    document["geometry"] = {
        "form": "post",
        "panel_length_ft": 15,
        "panels": 16,
        "depth_ft": 24,
    }
    document["members"][0]["section"]["area_in2"] = 14.55
    counter = {"shape": "round-rod", "diameter_in": 0.225, "ends": "upset"}
    document["members"][2] = {"kinds": ["counter"], "components": [counter]}
    document["live_load"] = {"vehicle": "HS20", "fraction": 0.6, "impact": "aashto"}
    rated = answer(document)["members"]["U5U6"]
    assert rated["rating"]["operating"] == pytest.approx(0.86617665, rel=1e-8)
