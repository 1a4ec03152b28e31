"""Equilibrium of a plane truss, factored once for all its configurations.

Feet and kips; tension positive; joint loads positive downward.
Array axes: ``n`` joints, ``m`` members, ``p`` loaded joints, ``r`` redundants.

Derivation. Column k of B holds the joint forces that balance a unit tension in
member k, rows being the free directions. Equilibrium is B N = P. Take columns
of B that form a basis (the determinate remainder) and call the other members
redundant: then N = N0 P + S X, where column j of N0 is the forces a unit load on
joint j causes in the determinate remainder, X the tensions in the redundants and
column k of S the self-stress of a unit tension in redundant k. Only the choice
of X depends on the areas: of all forces in equilibrium that leave no
tension-only bar in compression, nature takes those of least strain energy.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy.linalg
from numpy.typing import NDArray

Float = NDArray[np.float64]
Index = NDArray[np.intp]
Mask = NDArray[np.bool_]

#: Pivots of the equilibrium matrix below this are zero. Its columns are made of
#: direction cosines, so the number has no unit. A slender truss of 200 panels has
#: pivots of about 1e-5; a joint drawn 1/1000 in out of line, of about 1e-5 too.
RANK_TOLERANCE = 1e-9
#: Self-stress entries below this are rounding.
NOISE = 1e-11
#: Relative motion of a joint below this is rounding.
MOTION_TOLERANCE = 1e-7


class Mechanism(ValueError):
    """A truss that can move without any member changing length.

    ``joints`` names the joints that can move.
    """

    def __init__(self, joints: tuple[str, ...]) -> None:
        super().__init__(f"the truss can move at {', '.join(joints)}")
        self.joints = joints


@dataclass(frozen=True, eq=False)
class Truss:
    """One truss line: its joints, its bars, its two supports and its floor beams.

    Attributes
    ----------
    joints : n names
    xy_ft : (n, 2) float, ft
    names : m member names
    ends : (m, 2) int, joint numbers
    pinned, roller : int
        The joint held both ways and the one held vertically only.
    loaded : (p,) int
        Joints where floor beams bear, in strictly increasing x.
    tension_only : (m,) bool, bars that can carry no compression
    absent : (m,) bool, bars that are not there
    shortened_ft : (m,) float, optional
        How much shorter bars were made than fits the truss with nothing on it.
    tightening : int
        Number of the joint whose load stands for the tightening: no bar meets there, and
        a dead load of 1 on it puts the whole of it on. -1 where nothing is tightened.
    """

    joints: tuple[str, ...]
    xy_ft: Float
    names: tuple[str, ...]
    ends: Index
    pinned: int
    roller: int
    loaded: Index
    tension_only: Mask
    absent: Mask
    shortened_ft: Float | None = None
    tightening: int = -1

    @property
    def pull_ft(self) -> Float:
        """Return (m, n): shortening of each bar by a unit load on each joint."""
        pull = np.zeros((len(self.names), len(self.joints)))
        if self.shortened_ft is not None and self.tightening >= 0:
            pull[:, self.tightening] = np.where(self.absent, 0.0, self.shortened_ft)
        return pull

    @cached_property
    def key(self) -> bytes:
        """What ``analyse`` knows it by."""
        names = self.joints, self.names, self.pinned, self.roller
        return b"|".join(
            (
                repr(names).encode(),
                np.asarray(self.xy_ft, float).tobytes(),
                np.asarray(self.ends, np.int64).tobytes(),
                np.asarray(self.loaded, np.int64).tobytes(),
                np.asarray(self.tension_only, bool).tobytes(),
                np.asarray(self.absent, bool).tobytes(),
                b"" if self.shortened_ft is None else self.shortened_ft.tobytes(),
            )
        )


@dataclass(frozen=True, eq=False)
class Pair:
    """The bounds on one redundant: it, and its partner, must not be compressed.

    The partner's force is P + ``share`` X, with ``share`` positive. ``counter`` is
    False where the redundant itself can take compression; ``partner`` is -1 where
    no other bar is bound to it alone.
    """

    counter: bool
    partner: int
    share: float

    @property
    def is_crossed(self) -> bool:
        """Whether both bars are tension-only."""
        return self.counter and self.partner >= 0


@dataclass(frozen=True, eq=False)
class Equilibrium:
    """All that the joints' coordinates settle, whatever the areas and the loads.

    Attributes
    ----------
    truss : Truss
    length_ft : (m,) float, 1 for bars that are absent
    particular : (m, n) float
        Forces of the determinate remainder under a unit downward load per joint.
    selfstress : (m, r) float
        Forces per unit tension in each redundant.
    redundant : (r,) int, member numbers
    pairs : r bounds, one per redundant
    touched : (e,) int, present members whose force depends on a redundant
    lone : (z,) int
        Tension-only bars that no redundant touches: the truss falls without them.
    watched : (w,) int
        Tension-only bars that redundants touch and ``pairs`` leave out.
    residual : (f, n) float
        What of each joint's unit load the bars cannot balance; zero unless a
        mechanism.
    movable : joints that can move with every bar taut; empty unless a mechanism
    motions : (f, q) float
        Motions of the joints that leave every bar but the tension-only ones as long
        as it was.
    cone : (q, t) float
        Shortening of each present tension-only bar in each motion.
    tension : (t,) int, present tension-only bars, the columns of ``cone``
    drive : (q, n) float, work of each joint's unit downward load in each motion
    """

    truss: Truss
    length_ft: Float
    balance: Float
    particular: Float
    selfstress: Float
    redundant: Index
    pairs: tuple[Pair, ...]
    touched: Index
    lone: Index
    watched: Index
    residual: Float
    movable: tuple[str, ...]
    motions: Float
    cone: Float
    tension: Index
    drive: Float
    reaction: Float

    @property
    def is_classical(self) -> bool:
        """Whether every tension-only redundant has a partner to share with or yield to."""
        return all(pair.is_crossed or not pair.counter for pair in self.pairs)

    def moving_joints(self, free_motion: Float) -> tuple[str, ...]:
        """Name the joints that ``free_motion``, (f, any), displaces."""
        return _moving_joints(self.truss, free_motion)


_analysed: OrderedDict[bytes, Equilibrium] = OrderedDict()
_analysed_lock = threading.Lock()
_KEPT = 64


def analyse(truss: Truss) -> Equilibrium:
    """Return the equilibrium of a truss, from memory if its geometry was met lately.

    Parameters
    ----------
    truss : Truss

    Returns
    -------
    Equilibrium

    Source
    ------
    Derivation in the module docstring. Known answers: test_statics.py.
    """
    key = truss.key
    with _analysed_lock:
        found = _analysed.get(key)
        if found is not None:
            _analysed.move_to_end(key)
            return found
    made = _analyse(truss)
    with _analysed_lock:
        _analysed[key] = made
        while len(_analysed) > _KEPT:
            _analysed.popitem(last=False)
    return made


def _analyse(truss: Truss) -> Equilibrium:
    n, m = len(truss.joints), len(truss.names)
    xy = np.asarray(truss.xy_ft, float)
    present = ~np.asarray(truss.absent, bool)
    slackable = np.asarray(truss.tension_only, bool) & present
    length, balance_all = _balance(truss)
    free = _free_directions(truss)
    balance = balance_all[free] * present
    down = np.zeros((2 * n, n))
    down[2 * np.arange(n) + 1, np.arange(n)] = 1.0
    load = down[free]

    crossing = _crossing(xy, truss.ends, slackable)
    stages = (
        np.flatnonzero(present & ~slackable),
        np.flatnonzero(slackable & ~crossing),
        np.flatnonzero(slackable & crossing),
    )
    basis, motions, left_over = _choose_basis(balance, stages)
    redundant = np.setdiff1d(np.flatnonzero(present), basis)

    particular = np.zeros((m, n))
    selfstress = np.zeros((m, len(redundant)))
    both = np.hstack([load, balance[:, redundant]])
    if left_over.shape[1]:
        forces = np.linalg.lstsq(balance[:, basis], both, rcond=None)[0]
    else:
        forces = np.linalg.solve(balance[:, basis], both)
    forces[np.abs(forces) < NOISE] = 0.0
    particular[basis] = forces[:, :n]
    selfstress[basis] = -forces[:, n:]
    selfstress[redundant, np.arange(len(redundant))] = 1.0

    pairs = _pairs(selfstress, redundant, slackable)
    depends = (selfstress != 0.0).any(axis=1)
    in_pairs = {pair.partner for pair in pairs}
    in_pairs |= {int(redundant[k]) for k, pair in enumerate(pairs) if pair.counter}
    tension = np.flatnonzero(slackable)
    cone = motions.T @ balance[:, tension]
    # A bar that no motion shortens but by rounding would seem to hold by a huge force.
    cone[np.abs(cone) < NOISE] = 0.0
    return Equilibrium(
        truss=truss,
        length_ft=length,
        balance=balance,
        particular=particular,
        selfstress=selfstress,
        redundant=redundant,
        pairs=pairs,
        touched=np.flatnonzero(depends),
        lone=np.flatnonzero(slackable & ~depends),
        watched=np.array(
            [i for i in np.flatnonzero(slackable & depends) if i not in in_pairs],
            dtype=np.intp,
        ),
        residual=load - balance @ particular,
        movable=_moving_joints(truss, left_over),
        motions=motions,
        cone=cone,
        tension=tension,
        drive=motions.T @ load,
        reaction=_reactions(truss),
    )


def _balance(truss: Truss) -> tuple[Float, Float]:
    """Return lengths, (m,), and B, (2n, m), with every direction of every joint."""
    xy = np.asarray(truss.xy_ft, float)
    ends = np.asarray(truss.ends, np.intp).reshape(-1, 2)
    span = xy[ends[:, 1]] - xy[ends[:, 0]]
    length = np.hypot(span[:, 0], span[:, 1])
    absent = np.asarray(truss.absent, bool)
    if not (length[~absent] > 0.0).all():
        at = int(np.flatnonzero(~absent & ~(length > 0.0))[0])
        raise ValueError(f"member {truss.names[at]} has no length")
    length = np.where(length > 0.0, length, 1.0)
    balance = np.zeros((len(xy), 2, len(ends)))
    which = np.arange(len(ends))
    balance[ends[:, 0], :, which] = span / length[:, None]
    balance[ends[:, 1], :, which] = -span / length[:, None]
    return length, balance.reshape(2 * len(xy), -1)


def _free_directions(truss: Truss) -> Mask:
    """Return which of the 2n directions no support holds."""
    free = np.ones(2 * len(truss.joints), bool)
    free[[2 * truss.pinned, 2 * truss.pinned + 1, 2 * truss.roller + 1]] = False
    if truss.tightening >= 0:
        free[[2 * truss.tightening, 2 * truss.tightening + 1]] = False
    return free


def _reactions(truss: Truss) -> Float:
    """Return (2, n): upward reactions at pin and roller per unit downward load."""
    x = np.asarray(truss.xy_ft, float)[:, 0]
    reach = x[truss.roller] - x[truss.pinned]
    if reach == 0.0:
        raise ValueError("the two supports stand on one vertical line")
    at_roller = (x - x[truss.pinned]) / reach
    found = np.vstack([1.0 - at_roller, at_roller])
    if truss.tightening >= 0:
        found[:, truss.tightening] = 0.0
    return found


def _choose_basis(
    balance: Float, stages: tuple[Index, ...]
) -> tuple[Index, Float, Float]:
    """Pick basis columns stage by stage; earlier stages go first.

    Returns the basis, the motions left by the first stage, (f, q), and those left
    by all, (f, d). Bars that can go slack and cross another come last, so that a
    redundant is a bar of a crossed panel wherever there is one.
    """
    left = np.eye(balance.shape[0])
    chosen: list[Index] = []
    after_first = left
    for number, stage in enumerate(stages):
        if left.shape[1] and len(stage):
            q, r, order = scipy.linalg.qr(left.T @ balance[:, stage], pivoting=True)
            rank = int((np.abs(np.diag(r)) > RANK_TOLERANCE).sum())
            chosen.append(stage[order[:rank]])
            left = left @ q[:, rank:]
        if number == 0:
            after_first = left
    if not chosen:
        return np.zeros(0, np.intp), after_first, left
    return np.sort(np.concatenate(chosen)), after_first, left


def _crossing(xy: Float, ends: Index, slackable: Mask) -> Mask:
    """Return which tension-only bars cross another such bar between its ends."""
    which = np.flatnonzero(slackable)
    a, b = xy[ends[which, 0]], xy[ends[which, 1]]

    def side(p: Float, q: Float, r: Float) -> Float:
        u, v = q - p, r - p
        turn: Float = u[..., 0] * v[..., 1] - u[..., 1] * v[..., 0]
        return turn

    one, two = (a[:, None], b[:, None]), (a[None], b[None])
    size = 1e-9 * np.hypot(*(b - a).T)[:, None] * np.hypot(*(b - a).T)[None]
    cross = (side(*one, two[0]) * side(*one, two[1]) < -(size**2)) & (
        side(*two, one[0]) * side(*two, one[1]) < -(size**2)
    )
    found = np.zeros(len(slackable), bool)
    found[which] = cross.any(axis=1)
    return found


def _pairs(selfstress: Float, redundant: Index, slackable: Mask) -> tuple[Pair, ...]:
    """Return the bounds on each redundant that involve no other redundant."""
    single = slackable & ((selfstress != 0.0).sum(axis=1) == 1)
    pairs = []
    for k, member in enumerate(redundant):
        candidates = np.flatnonzero(single & (selfstress[:, k] > 0.0))
        candidates = candidates[candidates != member]
        partner = int(candidates[0]) if len(candidates) else -1
        share = float(selfstress[partner, k]) if len(candidates) else 1.0
        pairs.append(Pair(bool(slackable[member]), partner, share))
    return tuple(pairs)


def _moving_joints(truss: Truss, free_motion: Float) -> tuple[str, ...]:
    n = len(truss.joints)
    if free_motion.size == 0:
        return ()
    motion = np.zeros((2 * n, free_motion.shape[1]))
    motion[_free_directions(truss)] = free_motion
    reach = np.abs(motion.reshape(n, -1)).max(axis=1)
    moves = reach > MOTION_TOLERANCE * max(float(reach.max()), 1e-300)
    return tuple(name for name, moved in zip(truss.joints, moves, strict=True) if moved)
