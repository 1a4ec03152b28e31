"""One configuration answered alone, against the same configuration among others."""

import dataclasses

import numpy as np
import pytest

from analysis.engine import mixed
from analysis.engine.alone import Alone
from analysis.engine.answer import answer, answer_many
from analysis.engine.moving import envelope_of
from analysis.engine.rating import ratings_of
from analysis.engine.setting import setting
from analysis.engine.singly import envelopes
from tests.analysis.engine.test_moving_loads import FORMS, H15, HS20, configurations
from tests.analysis.engine.trusses import make_half_hip, make_pratt
from tests.endurance.fuzz_check_files import of_form

#: kip, and of multiples: what different ways of summing leave.
SAME = 1e-10
ALONE = {
    "pratt of seven panels": lambda: make_pratt(7, 18.0, 22.0, counters=(3, 5)),
    **{name: FORMS[name] for name in FORMS if "whipple" not in name},
    "a single crossed panel": lambda: make_half_hip(3, 15.0, 6.5, 4.5),
}


def refuse(*_args):
    raise AssertionError("it was not answered alone")


def asked_of(truss, seed, count, model):
    """Return one configuration, settled, as many times as asked."""
    ea, load = configurations(truss, 1, seed, dead=9.0)
    return setting(
        truss, ea.repeat(count, 0), load.repeat(count, 0), [HS20, H15], model
    )


@pytest.mark.parametrize("model", ["elastic", "classical"])
@pytest.mark.parametrize("form", ALONE)
def test_extremes_of_one_are_those_of_the_same_among_others(form, model):
    truss = ALONE[form]()
    factors = np.linspace(0.5, 0.7, 3)
    which = np.arange(len(truss.names)) % 3
    for seed in range(4):
        one = asked_of(truss, seed, 1, model)
        two = asked_of(truss, seed, 2, model)
        found = one.alone.extremes(one.live_alone, one.places, factors)
        assert found is not None
        up, down = envelopes(one, factors[which], factors[which[::-1]], 0.6)
        rises = envelope_of(two, factors[which], 0.6)
        falls = envelope_of(two, factors[which[::-1]], 0.6)
        for mine, theirs in (
            (up.live_max_kip, rises.live_max_kip),
            (down.live_min_kip, falls.live_min_kip),
            (up.reaction_max_kip, rises.reaction_max_kip),
            (up.reaction_min_kip, rises.reaction_min_kip),
        ):
            np.testing.assert_allclose(mine[0], theirs[0], rtol=0, atol=SAME)


@pytest.mark.parametrize("model", ["elastic", "classical"])
@pytest.mark.parametrize("form", ALONE)
def test_multiples_of_one_are_those_of_the_same_among_others(form, model, monkeypatch):
    truss = ALONE[form]()
    m = len(truss.names)
    rng = np.random.default_rng(4)
    for seed in range(4):
        one = asked_of(truss, seed, 1, model)
        two = asked_of(truss, seed, 2, model)
        # Some rooms are gone before the vehicle comes, some without an end.
        up, down = rng.uniform(-5.0, 60.0, (2, 1, 2, m))
        down[0, :, truss.tension_only] = np.inf
        up[rng.random(up.shape) < 0.1] = np.inf
        ones = np.ones(m)
        theirs = ratings_of(two, ones, up.repeat(2, 0), down.repeat(2, 0))
        with monkeypatch.context() as only:
            only.setattr(mixed, "vehicle_shares", refuse)
            mine = ratings_of(one, ones, up, down)
        np.testing.assert_allclose(mine.up[0], theirs.up[0], rtol=SAME, atol=SAME)
        np.testing.assert_allclose(mine.down[0], theirs.down[0], rtol=SAME, atol=SAME)


def test_bars_that_vehicles_slacken_are_left_to_others(monkeypatch):
    # The eyebars at the ends of a Post's lower chord are not all pulled.
    document = of_form("post")
    handed_back = []
    shares = Alone.shares

    def spied(*args):
        found = shares(*args)
        handed_back.append(found is None)
        return found

    monkeypatch.setattr(Alone, "shares", spied)
    alone, among = answer(document), answer_many([document] * 2)[0]
    assert handed_back == [True]
    assert alone["governing"] == among["governing"]
    for name, member in alone["members"].items():
        for key in ("live_max_kip", "live_min_kip", "rating"):
            assert member[key] == pytest.approx(among["members"][name][key], abs=1e-8)


def test_bars_of_very_unlike_areas_are_left_to_others():
    truss = make_pratt(7, 18.0, 22.0, counters=(3, 5))
    ea, load = configurations(truss, 1, 1, dead=9.0)
    assert setting(truss, ea, load, [HS20]).alone is not None
    ea[0, truss.names.index("L3U3")] *= 1e-9
    found = setting(truss, ea, load, [HS20])
    assert found.alone is None
    assert np.isfinite(found.state.forces_kip).all()


def test_many_and_those_without_redundants_are_not_alone():
    truss = make_pratt(7, 18.0, 22.0, counters=(3, 5))
    without = dataclasses.replace(truss, tension_only=np.zeros_like(truss.tension_only))
    assert asked_of(truss, 1, 2, "elastic").alone is None
    assert asked_of(make_pratt(6, 18.0, 22.0), 1, 1, "elastic").alone is None
    assert asked_of(without, 1, 1, "elastic").alone is not None
