"""Ratings of trusses that are not just crossed panels, against the general way.

Double systems, posts that go slack, and trusses that the vehicle brings down.
"""

import dataclasses

import numpy as np
import pytest

from analysis.engine import tautcells
from analysis.engine.moving import envelope_of
from analysis.engine.rating import ratings_of
from analysis.engine.setting import setting
from tests.analysis.engine.test_moving_loads import HS20, configurations
from tests.analysis.engine.test_spread_loads import asked_of as asked_of_file
from tests.analysis.engine.test_spread_loads import document
from tests.analysis.engine.trusses import (
    general_only,
    make_half_hip,
    make_whipple,
)


def hung(form, kip):
    """Return a truss whose posts are rods too, and what it carries."""
    kinds = ("diagonal", "counter", "vertical")
    return asked_of_file(document(form, kinds=kinds)).system.truss, kip


TRUSSES = {
    "double system": (make_whipple(), 4.0),
    "double system, counters": (make_whipple(("L5U3", "L3U5")), 4.0),
    "posts may go slack": hung("bowstring", 12.0),
    "held by little": hung("lenticular", 0.6),
    "a pony": (make_half_hip(4, 15.0, 7.0, 4.0, crossed=(2, 3)), 1.0),
}


def asked_of(name, count, model="elastic"):
    truss, weight = TRUSSES[name]
    ea, dead = configurations(truss, count, seed=3, dead=weight)
    asked = setting(truss, ea, dead, [HS20], model)
    every = np.ones(count, bool)
    settled = dataclasses.replace(asked.settled, beyond=every)
    rng = np.random.default_rng(4)
    shape = (count, 2, len(truss.names))
    up, fall = (30.0 * np.exp(rng.normal(size=shape)) for _ in range(2))
    fall[..., truss.tension_only] = np.inf
    return dataclasses.replace(asked, settled=settled), up, fall


@pytest.mark.parametrize(
    ("name", "count", "model"),
    [
        ("double system", 1, "elastic"),
        ("double system", 5, "elastic"),
        ("double system, counters", 3, "elastic"),
        ("posts may go slack", 2, "elastic"),
        ("posts may go slack", 1, "classical"),
        ("held by little", 2, "elastic"),
        ("a pony", 4, "elastic"),
    ],
)
def test_cells_rate_as_triangles_do_one_by_one(name, count, model):
    asked, up, fall = asked_of(name, count, model)
    mine = ratings_of(asked, 0.65, up, fall)
    with general_only():
        theirs = ratings_of(asked, 0.65, up, fall)
    assert mine.stands.any()
    np.testing.assert_allclose(mine.rating, theirs.rating, rtol=1e-8)
    assert np.isfinite(mine.rating[mine.stands]).mean() > 0.1


@pytest.mark.parametrize(
    "name", ["double system, counters", "posts may go slack", "held by little"]
)
def test_forces_are_those_of_the_general_way_whatever_the_impact(name):
    asked, _, _ = asked_of(name, 2)
    factor = np.linspace(0.4, 0.9, len(asked.web)).round(1)
    mine = envelope_of(asked, factor, with_places=False)
    with general_only():
        apart = envelope_of(asked, factor, with_places=False)
    theirs = envelope_of(asked, factor)
    for side in ("live_max_kip", "live_min_kip"):
        one = getattr(mine, side)
        np.testing.assert_allclose(one, getattr(theirs, side), atol=1e-8)
        np.testing.assert_allclose(one, getattr(apart, side), atol=1e-8)
    assert np.abs(mine.live_max_kip).max() > 1.0


def test_what_comes_out_odd_is_left_to_the_general_way(monkeypatch):
    asked, up, fall = asked_of("double system, counters", 2)
    mine = ratings_of(asked, 0.65, up, fall)
    forces = envelope_of(asked, 0.65, with_places=False)
    monkeypatch.setattr(tautcells, "_MOST_ROUNDS", 1)
    again = envelope_of(asked, 0.65, with_places=False)
    np.testing.assert_allclose(forces.live_max_kip, again.live_max_kip, atol=1e-8)
    cut_short = ratings_of(asked, 0.65, up, fall)
    np.testing.assert_allclose(mine.rating, cut_short.rating, rtol=1e-8)


def test_where_it_falls_on_the_way_the_cell_before_is_begun_with():
    asked, up, _ = asked_of("held by little", 2)
    stands = np.flatnonzero(asked.state.stands)
    none = np.full((2, up.shape[2], len(stands)), 1e6)
    _, left = asked.cells(stands).shares(asked.places, asked.live_kip, (none, -none))
    assert len(left) <= 2


def test_it_does_not_matter_how_many_are_looked_at_together(monkeypatch):
    asked, up, fall = asked_of("double system", 3)
    mine = ratings_of(asked, 0.65, up, fall)
    monkeypatch.setattr(tautcells, "_ENTRIES_AT_ONCE", 1)
    one_by_one = ratings_of(asked, 0.65, up, fall)
    np.testing.assert_allclose(mine.rating, one_by_one.rating, rtol=1e-12)
    where = mine.at.front_ft, one_by_one.at.front_ft
    assert np.isclose(*where, atol=1e-6).mean() > 0.9
