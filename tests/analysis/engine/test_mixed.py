"""Trusses of one make answered together, against each by itself."""

import numpy as np
import pytest

from analysis.engine import mixed
from analysis.engine.moving import envelope_steps, envelopes_of
from analysis.engine.rating import rating_steps, ratings_of
from analysis.engine.setting import setting
from tests.analysis.engine.test_moving_loads import H15, HS20, configurations
from tests.analysis.engine.trusses import make_half_hip, make_pratt

TIES = ("L1L2", "L2L3", "L3L4", "L1U1", "L4U4")
MAKES = {
    "one crossed panel": lambda panel, depth: make_half_hip(
        3, panel, depth / 3.0, 4.5, crossed=(2,)
    ),
    "five panels": lambda panel, depth: make_pratt(5, panel, depth, counters=(2, 4)),
    "eyebar chords": lambda panel, depth: make_pratt(
        5, panel, depth, counters=(2, 4), ties=TIES
    ),
    "five crossed panels": lambda panel, depth: make_pratt(
        9, panel, depth, counters=(3, 4, 5, 6, 7)
    ),
    "a pony": lambda panel, depth: make_half_hip(
        4, panel, depth / 2.5, 4.0, crossed=(2, 3)
    ),
}


def asked_of(make, weight, model, seed):
    """Return settings of unlike trusses of one make, with the limits asked for."""
    rng = np.random.default_rng(seed)
    found = []
    for number in range(6):
        truss = make(rng.uniform(11.0, 21.0), rng.uniform(14.0, 26.0))
        count = int(rng.integers(2, 9))
        ea, dead = configurations(truss, count, seed + number, dead=weight)
        shape = (count, 2, len(truss.names))
        up, fall = (40.0 * np.exp(rng.normal(size=shape)) for _ in range(2))
        fall[..., truss.tension_only] = np.inf
        up[rng.random(shape) < 0.1] = np.inf
        load = HS20 if rng.random() < 0.6 else H15
        found.append((setting(truss, ea, dead, [load], model), up, fall))
    return found


def rated(one, way):
    asked, up, fall = one
    return way(asked, np.full(len(asked.system.truss.names), 0.65), up, fall)


@pytest.mark.parametrize("weight", [0.2, 1.0, 12.0])
@pytest.mark.parametrize("make", MAKES)
def test_together_as_by_themselves(make, weight, monkeypatch):
    together = []
    put = mixed.mixed_shares
    monkeypatch.setattr(
        mixed, "mixed_shares", lambda *of: together.append(of[0].count) or put(*of)
    )
    for seed, model in ((3, "elastic"), (50, "classical"), (90, "elastic")):
        asked = asked_of(MAKES[make], weight, model, seed)
        many = mixed.answered_together([rated(one, rating_steps) for one in asked])
        assert together.pop() == sum(len(up) for _, up, _ in asked)
        for mine, one in zip(many, asked, strict=True):
            theirs = rated(one, ratings_of)
            for name in ("up", "down", "stability"):
                np.testing.assert_allclose(
                    getattr(mine, name), getattr(theirs, name), rtol=1e-9
                )
            # Of two places that load a member alike either may be told.
            differ = np.abs(mine.at.front_ft - theirs.at.front_ft) > 1e-6
            assert differ.mean() < 0.1


@pytest.mark.parametrize("weight", [0.2, 12.0])
@pytest.mark.parametrize("make", MAKES)
def test_envelopes_together_as_by_themselves(make, weight, monkeypatch):
    together = []
    put = mixed.mixed_peaks
    monkeypatch.setattr(
        mixed, "mixed_peaks", lambda *of: together.append(of[0].count) or put(*of)
    )
    for seed, model in ((4, "elastic"), (51, "classical")):
        rng = np.random.default_rng(seed)
        asked = [one[0] for one in asked_of(MAKES[make], weight, model, seed)]
        # Impact is that of the loaded length: members differ in it.
        factors = [
            [rng.choice([0.6, 0.65, 0.7], len(one.system.truss.names)) for _ in "ab"]
            for one in asked
        ]
        many = mixed.answered_together(
            [
                envelope_steps(one, factor, 0.7, False)
                for one, factor in zip(asked, factors, strict=True)
            ]
        )
        assert together.pop() == 3 * sum(len(one.state.stands) for one in asked)
        for mine, one, factor in zip(many, asked, factors, strict=True):
            theirs = envelopes_of(one, factor, 0.7, False)
            for a, b in zip(mine, theirs, strict=True):
                for name in ("live_max_kip", "live_min_kip"):
                    np.testing.assert_allclose(
                        getattr(a, name), getattr(b, name), rtol=1e-9, atol=1e-9
                    )


def test_makes_do_not_mix_and_many_configurations_go_alone(monkeypatch):
    """Each still comes to its own, in the order asked."""
    five, nine = (
        asked_of(MAKES[make], 3.0, "elastic", 5)[:2]
        for make in ("five panels", "five crossed panels")
    )
    monkeypatch.setattr(mixed.SharesQuestion, "few", len(five[0][1]))
    asked = [five[0], nine[0], five[1], nine[1]]
    many = mixed.answered_together([rated(one, rating_steps) for one in asked])
    for mine, one in zip(many, asked, strict=True):
        np.testing.assert_allclose(
            mine.rating, rated(one, ratings_of).rating, rtol=1e-9
        )


def test_what_is_not_answered_is_told_of_whose_it_is(monkeypatch):
    """Configurations given up and triangles left, by their own numbers again."""
    asked = asked_of(MAKES["five panels"], 3.0, "elastic", 5)[:3]
    counts = [len(up) for _, up, _ in asked]
    first = counts[0] + counts[1]
    put = mixed.mixed_shares

    def give_up_some(crossed, *rest):
        found, beyond, _ = put(crossed, *rest)
        beyond[counts[0]] = True
        return found, beyond, [(1, 3), (first + 1, 4)]

    monkeypatch.setattr(mixed, "mixed_shares", give_up_some)
    questions = [next(rated(one, rating_steps)) for one in asked]
    found = mixed._answers(questions)
    assert [np.flatnonzero(beyond).tolist() for _, beyond, _ in found] == [[], [0], []]
    assert [left for _, _, left in found] == [[(1, 3)], [], [(1, 4)]]
    many = mixed.answered_together([rated(one, rating_steps) for one in asked])
    for mine, one in zip(many, asked, strict=True):
        np.testing.assert_allclose(
            mine.rating, rated(one, ratings_of).rating, rtol=1e-8
        )
