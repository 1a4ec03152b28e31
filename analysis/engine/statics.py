"""Dead-load forces of a truss in many configurations, and whether it stands.

Feet and kips; tension positive; joint loads positive downward.
Array axes: ``c`` configurations, ``n`` joints, ``m`` members.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
import scipy.optimize

from .alone import Alone, standing_alone
from .batch import dead_columns
from .equilibrium import (
    Equilibrium,
    Float,
    Mask,
    Mechanism,
    Truss,
    analyse,
)
from .pairs import COUNTER, LOWEST_STATE, PARTNER, Columns, Crossed
from .tautbatch import FEWEST, dead_many
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
    elastic : (c,) bool
        Whether slack bars are found by stiffness. With the classical model they are all
        the same where a rod crosses more than one other, as in a Whipple truss.
    """

    forces_kip: Float
    taut: Mask
    stands: Mask
    balanced: Mask
    unstable_joints: list[tuple[str, ...]]
    reactions: Float
    elastic: Mask


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
    return settle_dead(analyse(truss), ea_kip, dead_kip, model).state


@dataclass(frozen=True, eq=False)
class Settled:
    """Configurations under dead load, ready for moving loads.

    ``ea`` (c, m), ``dead`` (c, n). ``alone`` answers one configuration with few
    redundants; None of others. ``crossed`` and ``columns`` are None where no redundant
    is; they are of no use for the configurations in ``beyond``, (c,) bool.
    """

    system: Equilibrium
    ea: Float
    dead: Float
    state: DeadState
    model: Model
    alone: Alone | None
    together: tuple[Crossed, Columns] | None
    beyond: Mask

    @property
    def crossed(self) -> Crossed | None:
        return None if self._known is None else self._known[0]

    @property
    def columns(self) -> Columns | None:
        return None if self._known is None else self._known[1]

    @cached_property
    def _known(self) -> tuple[Crossed, Columns] | None:
        if self.together is not None or self.alone is None:
            return self.together
        # One that was answered alone so far is looked at as one of many after all.
        classical = self.model == "classical"
        crossed = Crossed(self.system, self.ea, self.dead, classical)
        return crossed, dead_columns(crossed)[0]


def settle_dead(
    system: Equilibrium, ea_kip: Float, dead_kip: Float, model: Model
) -> Settled:
    """Return the configurations under dead load; see ``dead_forces``."""
    ea = np.atleast_2d(np.asarray(ea_kip, float))
    dead = np.atleast_2d(np.asarray(dead_kip, float))
    count = len(ea)
    forces = dead @ system.particular.T
    scale = np.abs(forces).max(axis=1, initial=0.0)
    taut = np.tile(~np.asarray(system.truss.absent, bool), (count, 1))
    beyond = np.full(count, bool(system.movable))
    alone, together = None, None
    if len(system.touched) and not system.movable:
        if count == 1:
            alone = standing_alone(system, ea[0], dead[0], model == "classical")
        if alone is not None:
            forces[0, system.touched] = alone.dead_force[system.touched]
            bits = alone.dead.bits.T
        else:
            crossed = Crossed(system, ea, dead, model == "classical")
            columns, total, beyond = dead_columns(crossed)
            together = crossed, columns
            forces[:, system.touched] = total[system.touched].T
            bits = columns.states
        state = LOWEST_STATE[bits]
        partner = np.array([pair.partner for pair in system.pairs], np.intp)
        for k, redundant in enumerate(system.redundant):
            taut[state[k] == COUNTER, redundant] = False
            taut[state[k] == PARTNER, partner[k]] = False
    beyond |= (forces[:, system.lone] < -TOLERANCE * scale[:, None]).any(axis=1)
    forces[~taut] = 0.0

    balanced = np.ones(count, bool)
    joints: list[tuple[str, ...]] = [system.movable] * count
    done = np.zeros(count, bool)
    some = np.flatnonzero(beyond)
    if len(some) >= FEWEST and not system.movable:
        found, slack, known = dead_many(
            system, ea[some], dead[some], model == "classical"
        )
        done[some[known]] = True
        forces[some[known]] = found[known]
        taut[some[known]] = ~np.asarray(system.truss.absent, bool) & ~slack[known]
    for c in np.flatnonzero(beyond & ~done):
        taut[c] = ~np.asarray(system.truss.absent, bool)
        sets = TautSets(system, ea[c], model == "classical")
        piece = sets.solve(dead[c]) if _in_reach(system, dead[c]) else None
        if piece is not None:
            forces[c] = piece.force @ dead[c]
            taut[c, sets.bars[sorted(piece.slack)]] = False
            continue
        forces[c] = 0.0
        balanced[c] = False
        if not system.movable:
            joints[c] = unstable_joints(system, dead[c])
    state_of_dead = DeadState(
        forces,
        taut,
        balanced & (len(system.movable) == 0),
        balanced,
        joints,
        dead @ system.reaction.T,
        np.full(count, model == "elastic" or not system.is_classical),
    )
    if beyond.any():
        alone = None
    return Settled(system, ea, dead, state_of_dead, model, alone, together, beyond)


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
