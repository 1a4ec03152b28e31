"""Dead-load forces of a truss in many configurations, and whether it stands.

Feet and kips; tension positive; joint loads positive downward.
Array axes: ``c`` configurations, ``n`` joints, ``m`` members.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import scipy.optimize

from .equilibrium import (
    Equilibrium,
    Float,
    Mask,
    Mechanism,
    Truss,
    analyse,
)
from .tautsets import TOLERANCE, TautSets

Model = Literal["elastic", "classical"]

__all__ = ["DeadState", "Mechanism", "Model", "Truss", "dead_forces"]


@dataclass(frozen=True, eq=False)
class DeadState:
    """What dead load alone does to each configuration.

    Attributes
    ----------
    forces_kip : (c, m) float, zero where nothing balances the load
    taut : (c, m) bool
        True for every bar that carries force or would; False for slack bars and
        for bars that are not there. Without the others the truss still stands.
    stands : (c,) bool
        Whether a stable set of taut bars carries the dead load.
    balanced : (c,) bool
        Whether the bars balance the dead load at all. A mechanism can balance a load
        that does not move it: it does not stand, but its forces are given.
    unstable_joints : per configuration, the joints that can move
    reactions : (c, 2) float, kip upward at the pin and at the roller
    """

    forces_kip: Float
    taut: Mask
    stands: Mask
    balanced: Mask
    unstable_joints: list[tuple[str, ...]]
    reactions: Float


def dead_forces(
    truss: Truss, ea_kip: Float, dead_kip: Float, model: Model = "elastic"
) -> DeadState:
    """Return the forces under dead load, slack bars left out.

    Parameters
    ----------
    truss : Truss
    ea_kip : (c, m) float
        E times A of every member, kip; positive.
    dead_kip : (c, n) float
        Dead load on every joint, kip, downward positive.
    model : {"elastic", "classical"}
        How two crossed rods share: by their stiffness, or one at a time.

    Returns
    -------
    DeadState

    Raises
    ------
    ValueError
        If a member has no length, or the supports stand on one vertical line.

    Source
    ------
    Least strain energy without compression in a tension-only bar; derivation in
    ``equilibrium``. Known answers: tests/analysis/engine/test_statics.py.
    """
    system = analyse(truss)
    ea, dead = np.atleast_2d(ea_kip), np.atleast_2d(dead_kip)
    count = len(ea)
    forces = np.zeros(ea.shape)
    taut = np.tile(~np.asarray(truss.absent, bool), (count, 1))
    balanced = np.zeros(count, bool)
    joints: list[tuple[str, ...]] = [system.movable] * count
    for c in range(count):
        if not _in_reach(system, dead[c]):
            continue
        sets = TautSets(system, ea[c])
        piece = sets.solve(dead[c])
        if piece is None:
            joints[c] = unstable_joints(system, dead[c])
            continue
        balanced[c] = True
        forces[c] = piece.force @ dead[c]
        taut[c, sets.bars[sorted(piece.slack)]] = False
    stands = balanced & (len(system.movable) == 0)
    return DeadState(forces, taut, stands, balanced, joints, dead @ system.reaction.T)


def _in_reach(system: Equilibrium, load: Float) -> bool:
    """Return whether the bars can balance the load, tension-only or not."""
    left = np.abs(system.residual @ load).max(initial=0.0)
    return bool(left <= TOLERANCE * np.abs(load).max(initial=0.0))


def unstable_joints(system: Equilibrium, load: Float) -> tuple[str, ...]:
    """Return the joints that move when no taut set can carry ``load``, (n,).

    By Farkas' lemma the part of the load that no taut set balances is a motion in
    which the load does work, no stiff bar changes length and no tension-only bar
    lengthens. The bars it shortens are slack; the joints are those that move in any
    motion then left.
    """
    work = system.drive @ load
    tensions, _ = scipy.optimize.nnls(system.cone, work)
    left = work - system.cone @ tensions
    closing = system.cone.T @ left
    slack = system.tension[closing < -TOLERANCE * max(np.abs(closing).max(), 1e-300)]
    kept = ~np.asarray(system.truss.absent, bool)
    kept[slack] = False
    directions, pivots, _ = np.linalg.svd(system.balance[:, kept])
    rank = int((pivots > TOLERANCE).sum())
    return system.moving_joints(directions[:, rank:])
