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
from numpy.typing import NDArray
from scipy.linalg.lapack import dgeqp3, dorgqr

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
        names = self.joints, self.names, self.pinned, self.roller, self.tightening
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
    free = np.flatnonzero(_free_directions(truss))
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
    extra = present.copy()
    extra[basis] = False
    redundant = _along(xy, truss.ends, np.flatnonzero(extra))

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

    moved_by = np.count_nonzero(selfstress, axis=1)
    pairs = _pairs(selfstress, redundant, slackable, moved_by)
    depends = moved_by > 0
    watched = slackable & depends
    for member, pair in zip(redundant.tolist(), pairs, strict=True):
        if pair.counter:
            watched[member] = False
        if pair.partner >= 0:
            watched[pair.partner] = False
    tension = np.flatnonzero(slackable)
    cone = motions.T @ balance[:, tension]
    # A bar that no motion shortens but by rounding would seem to hold by a huge force.
    cone[np.abs(cone) < NOISE] = 0.0
    # Nor would a joint that stiff bars alone hold be held by them at all.
    drive = motions.T @ load
    drive[np.abs(drive) < NOISE] = 0.0
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
        watched=np.flatnonzero(watched),
        residual=load - balance @ particular,
        movable=_moving_joints(truss, left_over),
        motions=motions,
        cone=cone,
        tension=tension,
        drive=drive,
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
    left: Float | None = None  # the first stage finds every motion left
    count = balance.shape[0]
    chosen: list[Index] = []
    after_first = None
    for number, stage in enumerate(stages):
        if count and len(stage):
            some = balance[:, stage]
            order, rank, rest = _by_pivots(some if left is None else left.T @ some)
            chosen.append(stage[order[:rank]])
            left = rest if left is None else left @ rest
            count = left.shape[1]
        if number == 0:
            after_first = left
    every = np.eye(balance.shape[0])
    after_first = every if after_first is None else after_first
    left = every if left is None else left
    if not chosen:
        return np.zeros(0, np.intp), after_first, left
    return np.sort(np.concatenate(chosen)), after_first, left


#: LAPACK's blocks; its wrappers ask for the best size of the work array every time.
_BLOCK = 32


def _by_pivots(columns: Float) -> tuple[Index, int, Float]:
    """Return columns, (f, w), in the order of their pivots, and how many those are.

    And the directions, (f, f - rank), that none of the columns reaches.
    """
    f, w = columns.shape
    qr, order, tau, _, _ = dgeqp3(columns, lwork=2 * w + (w + 1) * _BLOCK)
    rank = int(np.count_nonzero(np.abs(qr.diagonal()) > RANK_TOLERANCE))
    if rank == f:
        return order - 1, rank, np.zeros((f, 0))
    whole = np.zeros((f, f), order="F")
    whole[:, : min(f, w)] = qr[:, :f]
    q, _, _ = dorgqr(whole, tau, lwork=f * _BLOCK, overwrite_a=1)
    return order - 1, rank, q[:, rank:]


def _crossing(xy: Float, ends: Index, slackable: Mask) -> Mask:
    """Return which tension-only bars cross another such bar between its ends."""
    which = np.flatnonzero(slackable)
    found = np.zeros(len(slackable), bool)
    if len(which) < 2:
        return found
    a, b = xy[ends[which, 0]], xy[ends[which, 1]]

    # On which side of each bar the ends of the others lie.
    bar, to_a, to_b = (b - a)[:, None], a[None] - a[:, None], b[None] - a[:, None]
    sides = (bar[..., 0] * to_a[..., 1] - bar[..., 1] * to_a[..., 0]) * (
        bar[..., 0] * to_b[..., 1] - bar[..., 1] * to_b[..., 0]
    )
    length = np.hypot(*(b - a).T)
    parted = sides < -((1e-9 * length[:, None] * length[None]) ** 2)
    cross = parted & parted.T
    found[which] = cross.any(axis=1)
    return found


def _along(xy: Float, ends: Index, members: Index) -> Index:
    """Return members in order along the truss.

    Bars far from each other have no say in each other, so that solving for redundants
    in this order leaves most of a matrix empty. And which rod of a crossed panel is the
    redundant one, which lengths decide, does not change their order.
    """
    middle = xy[ends[members], 0].sum(axis=1)
    # Rods that cross have one middle, but for rounding.
    order: Index = np.argsort(np.round(middle, 6), kind="stable")
    return members[order]


def _pairs(
    selfstress: Float, redundant: Index, slackable: Mask, moved_by: Index
) -> tuple[Pair, ...]:
    """Return the bounds on each redundant that involve no other redundant.

    ``moved_by`` (m,): how many redundants each member's force depends on.
    """
    single = slackable & (moved_by == 1)
    pairs = []
    for k, member in enumerate(redundant.tolist()):
        candidates = np.flatnonzero(single & (selfstress[:, k] > 0.0)).tolist()
        partner = next((one for one in candidates if one != member), -1)
        share = float(selfstress[partner, k]) if partner >= 0 else 1.0
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
