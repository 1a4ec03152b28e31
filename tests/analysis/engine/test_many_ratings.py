"""Ratings of many configurations at once, against the general way one at a time.

Enough of them, and of crossed panels, that most rays and triangles of loads are not
looked into but bounded.
"""

import dataclasses
from types import SimpleNamespace

import numpy as np
import pytest

from analysis.engine.cells import _BlockState
from analysis.engine.proof import above_lines
from analysis.engine.rating import ratings_of
from analysis.engine.setting import setting
from tests.analysis.engine.test_moving_loads import HS20, configurations
from tests.analysis.engine.trusses import general_only, make_half_hip, make_pratt

TRUSSES = {
    "three crossed panels": make_pratt(7, 18.0, 22.0, counters=(3, 4, 5)),
    "five crossed panels": make_pratt(9, 16.0, 20.0, counters=(3, 4, 5, 6, 7)),
    "a pony": make_half_hip(4, 15.0, 7.0, 4.0, crossed=(2, 3)),
}
COUNT = 16


def both_ways(truss, weight, seed, model="elastic", least=False):
    """Return ratings together, and by the general way."""
    ea, dead = configurations(truss, COUNT, seed=seed, dead=weight)
    rng = np.random.default_rng(seed)
    # From limits near the dead load's forces to ones far beyond them.
    shape = (COUNT, 2, len(truss.names))
    up, fall = (40.0 * np.exp(rng.normal(size=shape)) for _ in range(2))
    fall[..., truss.tension_only] = np.inf
    factor = np.full(len(truss.names), 0.65)
    together = setting(truss, ea, dead, [HS20], model)
    beyond = np.ones(COUNT, bool)
    alone = dataclasses.replace(
        together, settled=dataclasses.replace(together.settled, beyond=beyond)
    )
    with general_only():
        each = ratings_of(alone, factor, up, fall)
    return ratings_of(together, factor, up, fall, None, least), each


@pytest.mark.parametrize(
    ("name", "weight", "model", "seed"),
    [
        ("three crossed panels", 0.3, "elastic", 7),
        ("three crossed panels", 12.0, "classical", 7),
        ("five crossed panels", 3.0, "elastic", 7),
        ("five crossed panels", 12.0, "elastic", 3),
        ("a pony", 0.3, "elastic", 7),
        ("a pony", 12.0, "elastic", 30),
    ],
)
def test_many_configurations_rate_as_each_does_in_the_general_way(
    name, weight, model, seed
):
    many, each = both_ways(TRUSSES[name], weight, seed, model)
    np.testing.assert_allclose(many.rating, each.rating, rtol=1e-8)


def test_the_least_of_many_is_that_of_the_general_way():
    for name, weight in (("three crossed panels", 12.0), ("five crossed panels", 0.3)):
        many, each = both_ways(TRUSSES[name], weight, 8, least=True)
        np.testing.assert_allclose(
            many.rating.min(axis=(1, 2)), each.rating.min(axis=(1, 2)), rtol=1e-8
        )


def test_which_rays_are_followed_first_does_not_matter(monkeypatch):
    """Without them far more rays are found beyond a limit, and better it."""
    monkeypatch.setattr(
        _BlockState, "likeliest", lambda self, asked: self.every_limit() & False
    )
    many, each = both_ways(TRUSSES["a pony"], 12.0, 20)
    np.testing.assert_allclose(many.rating, each.rating, rtol=1e-8)


@pytest.mark.parametrize("coupling", [0.5, -0.5, 0.7])
def test_redundants_that_move_each_other_too_much_leave_nothing_known(coupling):
    """Three, each half of the others: the series of the halves does not converge."""
    matrix = np.full((3, 3, 1), coupling) + (1.0 - coupling) * np.eye(3)[:, :, None]
    every, none = np.ones(3, bool), np.zeros(3, bool)
    crossed = SimpleNamespace(
        matrix=matrix,
        bounded_by_self=every,
        bounded_by_partner=every,
        locked=none,
        dead_r=np.zeros((3, 1)),
    )
    dead = SimpleNamespace(x=np.ones((3, 1)), target=np.ones((3, 1)))
    far = above_lines(crossed, dead, np.array([0]), np.eye(3), np.array([1.0, -1.0]))
    assert np.isinf(far).all()
