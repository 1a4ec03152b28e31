"""Which loads some set of taut bars carries: cuts that are remembered, and along lines.

Against the plain solver, which tries every set of taut bars at every place.
"""

import random

import numpy as np
import pytest

from analysis.engine.cone import Cone
from analysis.engine.equilibrium import analyse
from analysis.engine.tautsets import TautSets, standing_part
from tests.analysis.engine.trusses import make_whipple, plain_forces
from tests.endurance.random_trusses import grow, try_one

PLACES = np.linspace(0.0, 1.0, 33)
NEAR = 1e-6


def loads_of(truss, rng):
    """Return two loads, one of them often on a few joints alone."""
    found = np.zeros((2, len(truss.joints)))
    for row in found:
        for joint in range(len(truss.joints)):
            row[joint] = rng.choice([0.0, rng.uniform(0.0, 10.0)])
    return found


def trusses():
    """Yield trusses with rods that not every load leaves standing."""
    for seed in range(150):
        rng = random.Random(seed)
        truss, ea, _ = grow(rng)
        if not analyse(truss).movable and len(analyse(truss).tension):
            yield truss, ea, rng
    rng = random.Random(1890)
    for _ in range(10):
        truss = make_whipple()
        yield truss, np.full(len(truss.names), 1e5), rng


def test_the_part_of_a_line_that_stands_is_the_part_the_plain_solver_carries():
    """Cuts found on one line are remembered on the next, and bar nothing they may not."""
    none = part = 0
    for truss, ea, rng in trusses():
        sets = TautSets(analyse(truss), ea)
        for _ in range(6):
            start, end = loads_of(truss, rng)
            lines = start + PLACES[:, None] * (end - start)
            _, carried = plain_forces(truss, ea, lines)
            if carried[0] and carried[-1]:
                continue
            found = standing_part(sets, start, end)
            if found is None:
                none += 1
                assert not carried[1:-1].any(), truss.names
                continue
            low, high = found
            part += 1
            inside = (low + NEAR < PLACES) & (high - NEAR > PLACES)
            outside = (low - NEAR > PLACES) | (high + NEAR < PLACES)
            assert carried[inside].all(), (truss.names, low, high)
            assert not carried[outside].any(), (truss.names, low, high)
    assert none > 40
    assert part > 40


def test_a_cut_is_of_a_load_that_is_not_carried_and_bars_none_that_is():
    cut = 0
    for truss, ea, rng in trusses():
        system = analyse(truss)
        if len(system.lone):
            continue
        cone = Cone(system)
        loads = np.concatenate([loads_of(truss, rng) for _ in range(6)])
        _, carried = plain_forces(truss, ea, loads)
        for load, is_carried in zip(loads, carried, strict=True):
            found = cone.cut(load)
            assert (found is None) == is_carried
            cut += found is not None
        size = np.abs(cone.cuts) @ np.abs(loads[carried]).T
        assert (cone.cuts @ loads[carried].T >= -1e-9 * size).all()
    assert cut > 20


@pytest.mark.parametrize("seed", [6883, 8167])
def test_a_cut_does_not_bar_loads_that_leave_its_joints_out(seed):
    """All of its product with them is rounding. What a vehicle brings down at one joint
    was taken to bring it down where no axle is near that; both solvers must agree."""
    assert try_one(seed, library=False)[0] == "falls under some load"


@pytest.mark.parametrize("most", [np.inf, 3.0])
def test_how_often_a_load_can_be_added_is_the_same_whatever_is_remembered(most):
    for truss, _, rng in trusses():
        system = analyse(truss)
        if len(system.lone):
            continue
        used = Cone(system)
        for _ in range(6):
            start, step = loads_of(truss, rng)
            if used.cut(start) is not None:
                continue
            fresh = Cone(system).reach(start, step, most)
            assert used.reach(start, step, most) == pytest.approx(fresh, rel=1e-6)


def test_between_two_loads_that_different_cuts_bar_the_truss_may_stand():
    """A Whipple with one counter of its four: more at one joint than elsewhere brings it
    down, and on the way to more at another it stands. Both ends' cuts are remembered
    when the line is asked for."""
    truss = make_whipple(("L5U3",))
    ea = np.full(len(truss.names), 1e5)
    rng = random.Random(1847)
    sets = TautSets(analyse(truss), ea)
    inner = truss.loaded[1:-1].tolist()
    between = 0
    for _ in range(40):
        start, end = np.zeros((2, len(truss.joints)))
        start[inner] = end[inner] = rng.uniform(0.0, 5.0)
        for load, joint in zip((start, end), rng.sample(inner, 2), strict=True):
            load[joint] += rng.uniform(1.0, 40.0)
        if any(sets.cone.cut(load) is None for load in (start, end)):
            continue
        _, carried = plain_forces(truss, ea, start + PLACES[:, None] * (end - start))
        found = standing_part(sets, start, end)
        if found is None:
            assert not carried.any()
            continue
        low, high = found
        assert carried[(low + NEAR < PLACES) & (high - NEAR > PLACES)].all()
        assert not carried[(low - NEAR > PLACES) | (high + NEAR < PLACES)].any()
        between += 1
    assert between > 3


def test_a_load_on_the_edge_is_barred_by_no_cut_and_one_hardly_beyond_leaves_none():
    """What a load on the edge tells of its cut is mostly rounding."""
    truss = make_whipple(("L5U3",))
    cone = Cone(analyse(truss))
    inner = truss.loaded[1:-1]
    even = np.zeros(len(truss.joints))
    even[inner] = 5.0
    assert cone.cut(even) is None
    for joint in inner:
        load = even.copy()
        load[joint] += 200.0
        if cone.cut(load) is None:
            continue
        edge = even + cone.reach(even, load - even, 1.0) * (load - even)
        assert not cone.bars(edge, edge, 0.0, 1.0)
        assert cone.bars(load, load, 0.0, 1.0)
        kept = len(cone.cuts)
        cone.cut(edge + 1e-7 * (load - edge))
        assert len(cone.cuts) == kept
    assert len(cone.cuts) > 2
