"""Trusses of the tests, and a plain solver to check the engine against.

The solver shares nothing with the engine: it assembles the stiffness of every set of
tension-only bars taken as taut, and keeps the answer of the set that is consistent.
"""

import contextlib
from itertools import product

import numpy as np
import pytest

from analysis.engine.batch import Peaks
from analysis.engine.cells import Shares
from analysis.engine.statics import Truss
from analysis.engine.tautcells import TautCells

E_KSI = 29_000.0


def make_truss(joints, bars, *, supports, loaded, slack=(), absent=()):
    """Return a truss from {name: (x, y)} and names of bars such as "L0U1"."""
    names = list(joints)
    number = {name: i for i, name in enumerate(names)}

    def ends(bar):
        cut = next(
            i for i in range(1, len(bar)) if bar[:i] in number and bar[i:] in number
        )
        return number[bar[:cut]], number[bar[cut:]]

    return Truss(
        joints=tuple(names),
        xy_ft=np.array([joints[name] for name in names], float),
        names=tuple(bars),
        ends=np.array([ends(bar) for bar in bars]),
        pinned=number[supports[0]],
        roller=number[supports[1]],
        loaded=np.array([number[name] for name in loaded]),
        tension_only=np.array([bar in set(slack) for bar in bars]),
        absent=np.array([bar in set(absent) for bar in bars]),
    )


def make_pratt(
    panels=6, panel_ft=15.0, depth_ft=20.0, counters=(), rods=True, absent=(), ties=()
):
    """Return a Pratt truss; ``counters`` are the 1-based panels with both diagonals.

    With ``rods`` all diagonals between the hips are tension-only; ``ties`` are others.
    """
    n = panels
    joints = {f"L{i}": (panel_ft * i, 0.0) for i in range(n + 1)}
    joints |= {f"U{i}": (panel_ft * i, depth_ft) for i in range(1, n)}
    bars = [f"L{i}L{i + 1}" for i in range(n)]
    bars += [f"U{i}U{i + 1}" for i in range(1, n - 1)]
    bars += ["L0U1", f"L{n}U{n - 1}"]
    bars += [f"L{i}U{i}" for i in range(1, n)]
    diagonals = []
    for i in range(2, n):
        falling, rising = f"L{i}U{i - 1}", f"L{i - 1}U{i}"
        if 2 * i == n + 1:
            diagonals += [falling, rising]
            continue
        main, counter = (falling, rising) if 2 * i <= n else (rising, falling)
        diagonals.append(main)
        if i in counters:
            diagonals.append(counter)
    return make_truss(
        joints,
        bars + diagonals,
        supports=("L0", f"L{n}"),
        loaded=[f"L{i}" for i in range(n + 1)],
        slack=[*(diagonals if rods else ()), *ties],
        absent=absent,
    )


def make_half_hip(
    panels=3, panel_ft=15.0, depth_ft=6.5, hip_ft=4.5, rods=True, crossed=(2,)
):
    """Return a half-hip Pratt pony; ``crossed`` are the panels with both diagonals."""
    n = panels
    joints = {f"L{i}": (panel_ft * i, 0.0) for i in range(n + 1)}
    joints |= {"U0": (hip_ft, depth_ft), f"U{n}": (panel_ft * n - hip_ft, depth_ft)}
    joints |= {f"U{i}": (panel_ft * i, depth_ft) for i in range(1, n)}
    bars = [f"L{i}L{i + 1}" for i in range(n)]
    bars += [f"U{i}U{i + 1}" for i in range(n)]
    bars += ["L0U0", f"L{n}U{n}", "L1U0", f"L{n - 1}U{n}"]
    bars += [f"L{i}U{i}" for i in range(1, n)]
    diagonals = []
    for i in range(2, n):
        falling, rising = f"L{i}U{i - 1}", f"L{i - 1}U{i}"
        both = i in crossed
        diagonals += [falling] if both or 2 * i <= n + 1 else []
        diagonals += [rising] if both or 2 * i > n + 1 else []
    return make_truss(
        joints,
        bars + diagonals,
        supports=("L0", f"L{n}"),
        loaded=[f"L{i}" for i in range(n + 1)],
        slack=diagonals if rods else (),
    )


def make_whipple(counters=(), rods=True):
    """Return an 8-panel double-intersection Pratt, panels 10 ft, depth 20 ft."""
    n = 8
    joints = {f"L{i}": (10.0 * i, 0.0) for i in range(n + 1)}
    joints |= {f"U{i}": (10.0 * i, 20.0) for i in range(1, n)}
    bars = [f"L{i}L{i + 1}" for i in range(n)]
    bars += [f"U{i}U{i + 1}" for i in range(1, n - 1)]
    bars += ["L0U1", "L8U7"] + [f"L{i}U{i}" for i in range(1, n)]
    chosen = ["L2U1", "L3U1", "L4U2", "L6U7", "L5U7", "L4U6", *counters]
    return make_truss(
        joints,
        bars + chosen,
        supports=("L0", "L8"),
        loaded=[f"L{i}" for i in range(n + 1)],
        slack=chosen if rods else (),
    )


def make_queen_post(crossed=()):
    """Return a queen post of three 15-ft panels, 10 ft deep."""
    joints = {"L0": (0, 0), "L1": (15, 0), "L2": (30, 0), "L3": (45, 0)}
    joints |= {"U1": (15, 10), "U2": (30, 10)}
    bars = ["L0L1", "L1L2", "L2L3", "L0U1", "U1U2", "L3U2", "L1U1", "L2U2", *crossed]
    return make_truss(
        joints, bars, supports=("L0", "L3"), loaded=["L0", "L1", "L2", "L3"]
    )


def steel(truss, area_in2=4.0, count=1):
    """Return (count, m) E A of equal bars, kip."""
    return np.full((count, len(truss.names)), E_KSI * area_in2)


def down(truss, loads, count=1):
    """Return (count, n) joint loads from {joint: kip}."""
    load = np.zeros((count, len(truss.joints)))
    for joint, kip in loads.items():
        load[:, truss.joints.index(joint)] = kip
    return load


def forces(truss, row):
    """Return {bar: force}."""
    return dict(zip(truss.names, row, strict=True))


def plain_forces(truss, ea_kip, load_kip, zero=1e-9):
    """Return (p, m) forces under (p, n) loads, and which of the p have a taut set.

    One stiffness solve per set of tension-only bars, all sets enumerated.
    """
    n, m = len(truss.joints), len(truss.names)
    span = truss.xy_ft[truss.ends[:, 1]] - truss.xy_ft[truss.ends[:, 0]]
    length = np.sqrt((span**2).sum(axis=1))
    stretch = np.zeros((m, 2 * n))
    for bar in range(m):
        a, b = truss.ends[bar]
        stretch[bar, 2 * b : 2 * b + 2] = span[bar] / length[bar]
        stretch[bar, 2 * a : 2 * a + 2] = -span[bar] / length[bar]
    held = {2 * truss.pinned, 2 * truss.pinned + 1, 2 * truss.roller + 1}
    free = [i for i in range(2 * n) if i not in held]
    stretch = stretch[:, free]
    push = np.zeros((len(load_kip), 2 * n))
    push[:, 1::2] = -load_kip
    push = push[:, free]

    answer = np.zeros((len(load_kip), m))
    solved = np.zeros(len(load_kip), bool)
    loose = [i for i in range(m) if truss.tension_only[i] and not truss.absent[i]]
    for choice in product((True, False), repeat=len(loose)):
        if solved.all():
            break
        acts = ~np.asarray(truss.absent)
        acts[loose] = choice
        rate = np.where(acts, ea_kip / length, 0.0)
        stiffness = (stretch.T * rate) @ stretch
        if np.linalg.matrix_rank(stretch[acts], tol=1e-9) < len(free):
            continue
        todo = np.flatnonzero(~solved)
        moved = np.linalg.solve(stiffness, push[todo].T).T
        elongation = moved @ stretch.T
        force = elongation * rate
        size = np.abs(force).max(axis=1, keepdims=True) + 1e-300
        taut = [bar for bar, is_taut in zip(loose, choice, strict=True) if is_taut]
        slack = [bar for bar in loose if bar not in taut]
        good = (force[:, taut] >= -zero * size).all(axis=1)
        closing = elongation[:, slack] * (ea_kip / length)[slack]
        good &= (closing <= zero * size).all(axis=1)
        answer[todo[good]] = force[good]
        solved[todo[good]] = True
    return answer, solved


def plain_train(truss, axle_kip, offset_ft, front_ft, heading):
    """Return (n,) joint loads of one vehicle, axle by axle."""
    load = np.zeros(len(truss.joints))
    x = truss.xy_ft[truss.loaded, 0]
    for kip, behind in zip(axle_kip, offset_ft, strict=True):
        at = front_ft - heading * behind
        for left in range(len(x) - 1):
            a, b = x[left], x[left + 1]
            if a <= at < b or (at == b and left == len(x) - 2):
                load[truss.loaded[left]] += kip * (b - at) / (b - a)
                load[truss.loaded[left + 1]] += kip * (at - a) / (b - a)
    return load


def plain_steps(truss, train, step_ft):
    """Return [(front, heading)] and (p, n) joint loads of a train stepped along."""
    x = truss.xy_ft[truss.loaded, 0]
    reach = float(train.offset_ft[-1])
    where, loads = [], []
    for heading in (1, -1):
        low = x[0] if heading == 1 else x[0] - reach
        for front in np.arange(
            low, low + x[-1] - x[0] + reach + step_ft, step_ft
        ).round(9):
            where.append((front, heading))
            loads.append(
                plain_train(truss, train.axle_kip, train.offset_ft, front, heading)
            )
    return where, np.array(loads)


@contextlib.contextmanager
def general_only():
    """Have every triangle of loads looked into by ``general``, one after the other."""

    def all_left(self, places, live_kip, limits):
        nothing = Shares(np.zeros(limits[0].shape), np.full(limits[0].shape, -1.0))
        every = [
            (c, k)
            for c in range(limits[0].shape[2])
            for k in range(len(places.front_ft))
        ]
        return nothing, every

    def no_peaks(self, places, live_kip, factors, force_kip):
        nothing = [Peaks.from_dead(force_kip, with_places=False) for _ in factors]
        front = range(len(places.front_ft))
        return nothing, [(c, k) for c in range(force_kip.shape[1]) for k in front]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(TautCells, "shares", all_left)
        patch.setattr(TautCells, "extremes", no_peaks)
        yield
