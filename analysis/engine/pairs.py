"""Crossed rods in many configurations at once.

Feet and kips; tension positive; loads positive downward.
Array axes: ``k`` redundants, ``e`` members that redundants touch, ``s`` places of the
load, ``c`` configurations, last and contiguous; ``M`` rows, first, where single
stretches are followed.

In nearly every truss each redundant can be chosen so that no other one has a say in
the bars that bound it: it is one rod of a crossed panel, X >= 0, and the other rod's
force is P + share X >= 0. With R = -P / share the bounds are X >= max(0, R), and each
redundant is in one of three states:

    COUNTER   X = 0: the redundant is slack, its partner taut
    BOTH      both taut
    PARTNER   X = R: the partner is slack, the redundant taut

In each the redundant has two quantities that must not turn negative, and when one
does, its name is the next state: X - R (PARTNER), X (COUNTER) and the gap of the slack
rod (BOTH). Bounds in place of deleted bars mean that no matrix is ever singular.

Other tension-only bars that redundants touch (``Equilibrium.watched``: eyebar chords,
hangers) are taken to stay taut; a configuration in which one does not is handed back,
for ``general`` to work out.
"""

from __future__ import annotations

import copy
import math
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from .equilibrium import Equilibrium, Float, Index, Mask
from .gathered import Gathered

Small = NDArray[np.int8]
Bits = NDArray[np.uint8]
#: Entries of ``Crossed.matrix`` off its diagonal that are not zero.
_Couplings = dict[tuple[int, int], Float]

COUNTER, BOTH, PARTNER = 0, 1, 2
#: Forces, and gaps as the force that would close them, are zero within this part of
#: the greatest force of the determinate remainder.
TOLERANCE = 1e-9
#: Redundants are settled to this part of it.
SETTLED = 2e-13
_SWEEPS = 30
#: Redundants of stretches followed together: their arrays stay in the cache.
_WALKED_AT_ONCE = 2**17
#: Sweeps after which the states are mostly known.
_FEW_SWEEPS = 2
#: For so few columns the work of each load is summed for each of them anew.
_FEW_COLUMNS = 4
_FAR = 1e300


@dataclass(frozen=True, eq=False)
class Columns:
    """Redundants solved for, and what their states can be.

    Attributes
    ----------
    x : (k, ..., c) float, kip
    target : (k, ..., c) float, what each redundant would be without its bound, kip
    states : (k, ..., c) bits: 1 COUNTER, 2 BOTH, 4 PARTNER, all that hold
    unsettled : (c,) bool
    """

    x: Float
    target: Float
    states: Bits
    unsettled: Mask


@dataclass(frozen=True, eq=False)
class _Bounds:
    """What the redundants of a truss are bound by, whatever the areas; see ``Crossed``."""

    by_partner: Mask
    by_self: Mask
    crossed: Mask
    partner: Index
    to_r: Float
    touched_stress: Float
    work: Float
    coupled: Mask
    neighbours: list[list[int]]
    plan: list[tuple[int, list[int], list[int]]] | None


@lru_cache(maxsize=64)
def _bounds(system: Equilibrium) -> _Bounds:
    pairs, stress = system.pairs, system.selfstress
    by_partner = np.array([pair.partner >= 0 for pair in pairs], bool)
    share = np.array([pair.share for pair in pairs])
    touched = np.ascontiguousarray(stress[system.touched])
    k = stress.shape[1]
    coupled = (np.abs(stress).T @ np.abs(stress)) > 0.0
    coupled &= ~np.eye(k, dtype=bool)
    both = touched[:, :, None] * touched[:, None, :]
    return _Bounds(
        by_partner,
        np.array([pair.counter for pair in pairs], bool),
        np.array([pair.is_crossed for pair in pairs], bool),
        np.array([pair.partner for pair in pairs], np.intp),
        np.where(by_partner, -1.0 / share, 0.0),
        touched,
        both.reshape(len(touched), k * k).T,
        coupled,
        [np.flatnonzero(row).tolist() for row in coupled],
        _elimination(coupled),
    )


#: Arrays of ``Crossed`` of which configurations are the last axis.
BY_CONFIGURATION = (
    "_flex",
    "_own",
    "_per_own",
    "matrix",
    "dead_base",
    "dead_g",
    "dead_r",
    "dead_scale",
)


class Crossed:
    """The redundants of many configurations of one truss.

    Parameters
    ----------
    system : Equilibrium
    ea_kip : (c, m) float
    dead_kip : (c, n) float
    classical : bool
        Whether one rod of a pair acts, whatever the stiffness.
    """

    def __init__(
        self, system: Equilibrium, ea_kip: Float, dead_kip: Float, classical: bool
    ) -> None:
        self.system = system
        touched = system.touched
        self.stress = system.selfstress  # (m, k)
        known = _bounds(system)
        self.bounded_by_partner = known.by_partner
        self.bounded_by_self = known.by_self
        self.loose = ~(self.bounded_by_partner | self.bounded_by_self)
        self.locked = known.crossed & classical
        #: (k, 3): which states redundants can turn into.
        self._turns = np.stack(
            [known.by_self, ~(self.loose | self.locked), known.by_partner], axis=1
        )
        self._partner = known.partner
        self._to_r = known.to_r
        self._touched_stress = known.touched_stress
        self.coupled = known.coupled
        self.neighbours = known.neighbours
        self._plan = known.plan
        k = self.stress.shape[1]

        flex = (system.length_ft[touched] / ea_kip[:, touched]).T  # (e, c)
        self._flex = np.ascontiguousarray(flex)
        stress = self._touched_stress
        raw = known.work @ self._flex
        raw = raw.reshape(k, k, len(ea_kip))
        self._own = np.ascontiguousarray(raw[np.arange(k), np.arange(k)])  # (k, c)
        self._per_own = 1.0 / self._own
        self.matrix = raw / self._own[:, None]  # rows scaled: its diagonal is 1

        self.dead_base = system.particular @ dead_kip.T  # (m, c)
        pull_ft = system.truss.pull_ft[touched] @ dead_kip.T  # (e, c)
        lengthened = self._flex * self.dead_base[touched] - pull_ft
        self.dead_g = stress.T @ lengthened / self._own
        self.dead_r = self._to_r[:, None] * self.dead_base[self._partner]
        self.dead_scale = np.abs(self.dead_base).max(axis=0, initial=0.0)
        held_kip = np.abs(pull_ft / self._flex).max(axis=0, initial=0.0)
        self.dead_scale = np.maximum(self.dead_scale, held_kip)

    @property
    def count(self) -> int:
        return int(self.matrix.shape[2])

    def of(self, columns: Index) -> Crossed:
        """Return some of the configurations, or some more than once."""
        some = copy.copy(self)
        for name in BY_CONFIGURATION:
            setattr(some, name, getattr(self, name).take(columns, axis=-1))
        return some

    def live(self, load_kip: Float) -> LiveBase:
        """Return what (s, n) loads do to the determinate remainder of every column."""
        base = self.system.particular @ load_kip.T  # (m, s)
        spread = None
        if self.count > _FEW_COLUMNS:
            touched = base[self.system.touched]
            spread = self._touched_stress.T[:, None, :] * touched.T[None]
            spread = spread.reshape(self.stress.shape[1] * base.shape[1], len(touched))
        return LiveBase(
            base,
            spread,
            self._to_r[:, None] * base[self._partner],
            float(np.abs(base).max(initial=0.0)),
        )

    def drive(self, live: LiveBase, columns: slice | Index) -> Float:
        """Return (k, s, c): ``g`` of live loads, as ``settle`` takes it."""
        flex = self._flex[:, columns]
        if live.spread is None:
            g = np.empty((len(live.r), live.base.shape[1], flex.shape[1]))
            base = live.base[self.system.touched]
            for c, own in enumerate(flex.T):
                g[..., c] = (self._touched_stress.T * own) @ base
        else:
            g = live.spread @ flex
            g = g.reshape(len(live.r), live.base.shape[1], flex.shape[1])
        g *= self._per_own[:, None, columns]
        return g

    def settle(
        self, g: Float, r: Float, scale: Float, columns: Index | slice = slice(None)
    ) -> Columns:
        """Return the redundants under given drives and bounds.

        Parameters
        ----------
        g : (k, ..., c) float
            Minus the tension each redundant would take with the others zero.
        r : (k, ..., c) float, the partner's bound
        scale : (c,) float, kip, what is small beside it is zero
        columns : which configurations the last axis is
        """
        k = len(g)
        if not k:
            nothing = np.zeros_like(g)
            none = np.zeros(g.shape[-1], bool)
            return Columns(nothing, nothing, nothing.astype(np.uint8), none)
        low = self._lower_bound(r)
        unsettled = np.zeros(g.shape[-1], bool)
        drive = np.negative(g)
        if not self.coupled.any():
            x = np.empty_like(g)
            for i in range(k):
                self._bound(i, drive[i], low[i], x[i])
            return Columns(x, drive, self.states(x, drive, r, scale), unsettled)
        enough = SETTLED * float(scale.min(initial=_FAR))
        a: _Couplings = {
            (i, j): self.matrix[i, j, columns]
            for i, others in enumerate(self.neighbours)
            for j in others
        }
        if self._plan is None:
            x, target, moved = self._sweep(a, drive, low, _SWEEPS, enough)
            left = np.full(g.shape[1:], moved > enough)
        else:
            x, _, _ = self._sweep(a, drive, low, _FEW_SWEEPS, 0.0)
            x, target, left = self._at_once(a, drive, low, x, enough)
        if left.any():
            self._settle_left(columns, drive, r, (x, target), left, enough, unsettled)
        return Columns(x, target, self.states(x, target, r, scale), unsettled)

    def _bound(self, i: int, target: Float, low: Float | None, out: Float) -> None:
        """Put into ``out`` redundant i, where ``target`` is what it would be unbounded."""
        if low is None:
            np.copyto(out, target)
        elif self.locked[i]:
            np.copyto(out, low)
        else:
            np.maximum(target, low, out=out)

    def _towards(
        self, i: int, a: _Couplings, drive: Float, x: Float, out: Float
    ) -> None:
        """Put into ``out`` what redundant i would be unbounded, the others as they are."""
        others = self.neighbours[i]
        if not others:
            np.copyto(out, drive[i])
            return
        np.multiply(a[i, others[0]], x[others[0]], out=out)
        for j in others[1:]:
            out += a[i, j] * x[j]
        np.subtract(drive[i], out, out=out)

    def _sweep(
        self,
        a: _Couplings,
        drive: Float,
        low: list[Float | None],
        sweeps: int,
        enough: float,
    ) -> tuple[Float, Float, float]:
        """Settle one redundant after the other, over and over.

        Returns redundants, what they would be unbounded, and how far the last sweep
        moved any. ``drive`` (k, ..., w), ``a`` (w,) each. With ``enough`` zero the
        movement is not looked at.
        """
        x = np.zeros_like(drive)
        target = np.empty_like(drive)
        before = np.empty_like(drive[0])
        moved = np.inf
        for sweep in range(sweeps):
            test = sweep >= _FEW_SWEEPS and enough > 0.0
            moved = 0.0 if test else np.inf
            for i in range(len(x)):
                if sweep == 0 and i == 0:
                    np.copyto(target[0], drive[0])
                else:
                    self._towards(i, a, drive, x, target[i])
                if test:
                    np.copyto(before, x[i])
                self._bound(i, target[i], low[i], x[i])
                if test:
                    np.subtract(x[i], before, out=before)
                    most = float(np.abs(before).max(initial=0.0))
                    moved = max(moved, most)
            if moved <= enough:
                break
        return x, target, moved

    def _at_once(
        self,
        a: _Couplings,
        drive: Float,
        low: list[Float | None],
        guess: Float,
        enough: float,
    ) -> tuple[Float, Float, Mask]:
        """Solve for the redundants that ``guess`` leaves off their bounds, all together.

        Returns redundants, what they would be unbounded, and (..., w) where that is not
        yet the answer.
        """
        k = len(guess)
        free: list[Mask | None] = []
        x = drive.copy()
        for i, bound in enumerate(low):
            if bound is None:
                free.append(None)
                continue
            mine = guess[i] > bound
            if self.locked[i]:
                mine[...] = False
            free.append(mine)
            np.copyto(x[i], bound, where=~mine)
        b: dict[tuple[int, int], Float] = {}
        for i in range(k):
            mine_or_none = free[i]
            for j in self.neighbours[i]:
                b[i, j] = a[i, j] if mine_or_none is None else a[i, j] * mine_or_none
        plan = self._plan or []
        for p, below, beside in plan:
            for i in below:
                lead = b[i, p] / b[p, p] if (p, p) in b else b[i, p]
                for j in beside:
                    fill = lead * b[p, j]
                    if i == j and (i, i) not in b:
                        b[i, i] = 1.0 - fill
                    else:
                        b[i, j] = b[i, j] - fill if (i, j) in b else -fill
                x[i] -= lead * x[p]
        for p, _, beside in reversed(plan):
            for j in beside:
                x[p] -= b[p, j] * x[j]
            if (p, p) in b:
                x[p] /= b[p, p]
        target = np.empty_like(x)
        off = np.zeros(x.shape[1:])
        new = np.empty_like(x[0])
        settled = np.empty_like(x)
        for i in range(k):
            self._towards(i, a, drive, x, target[i])
            self._bound(i, target[i], low[i], settled[i])
            np.subtract(settled[i], x[i], out=new)
            np.abs(new, out=new)
            np.maximum(off, new, out=off)
        return settled, target, off > enough

    def _settle_left(
        self,
        columns: Index | slice,
        drive: Float,
        r: Float,
        found: tuple[Float, Float],
        left: Mask,
        enough: float,
        unsettled: Mask,
    ) -> None:
        """Settle what is ``left``, (..., w), into ``found`` and ``unsettled``."""
        x, target = found
        k = len(x)
        here = np.flatnonzero(left)
        column = here % left.shape[-1]
        which = np.arange(self.count)[columns][column]
        some = self.matrix.take(which, axis=2)
        own_drive = drive.reshape(k, -1).take(here, axis=1)
        own_r = r.reshape(k, -1).take(here, axis=1)
        low = self._lower_bound(own_r)
        a = {(i, j): some[i, j] for i, js in enumerate(self.neighbours) for j in js}
        answer, pull, moved = self._sweep(a, own_drive, low, _SWEEPS, enough)
        if moved > enough:
            every = Gathered(some, np.arange(len(column)))
            answer, pull, ok = self.pivot(every, -own_drive, own_r, answer)
            unsettled[column[~ok]] = True
        x.reshape(k, -1)[:, here] = answer
        target.reshape(k, -1)[:, here] = pull

    def _lower_bound(self, r: Float) -> list[Float | None]:
        bounds: list[Float | None] = []
        for i in range(len(r)):
            if self.bounded_by_partner[i]:
                bounds.append(
                    np.maximum(r[i], 0.0) if self.bounded_by_self[i] else r[i]
                )
            else:
                bounds.append(np.zeros_like(r[i]) if self.bounded_by_self[i] else None)
        return bounds

    def states(self, x: Float, target: Float, r: Float, scale: Float) -> Bits:
        """Return bits of the states that settled redundants, (k, ..., c), are in."""
        zero = TOLERANCE * scale
        bits = np.zeros(x.shape, np.uint8)
        work = np.empty(x.shape[1:])
        for i in range(len(x)):
            if self.locked[i]:
                bits[i] |= (x[i] <= zero).view(np.uint8)
            else:
                np.subtract(x[i], target[i], out=work)
                bits[i] |= (work <= zero).view(np.uint8) << 1
                if self.bounded_by_self[i]:
                    bits[i] |= (x[i] <= zero).view(np.uint8)
            if self.bounded_by_partner[i]:
                np.subtract(x[i], r[i], out=work)
                bits[i] |= (work <= zero).view(np.uint8) << 2
        return bits

    def pivot(
        self, a: Gathered, g: Float, r: Float, guess: Float
    ) -> tuple[Float, Float, Mask]:
        """Return (k, w) redundants, what each would be unbounded, and (w,) whether found.

        Parameters
        ----------
        a : Gathered, ``matrix`` of each one's configuration
        g, r : (k, w) float, drives and bounds as ``settle`` takes them
        guess : (k, w) float, redundants to start from

        Source
        ------
        Block principal pivoting with Murty's rule of the last index as the way out of
        loops; the matrix is that of a strictly convex energy.
        """
        low = np.full(r.shape, -_FAR)
        low[self.bounded_by_self] = 0.0
        partner = self.bounded_by_partner
        low[partner] = np.maximum(low[partner], r[partner])
        loose = low <= -_FAR
        locked = self.locked[:, None]
        free = loose | ((guess > low) & ~locked)
        x, pull = np.zeros_like(g), np.zeros_like(g)
        todo = np.arange(g.shape[1])
        size = np.maximum(np.abs(g), np.abs(np.where(loose, 0.0, low)))
        zero = 1e-12 * size.max(axis=0)
        fewest = np.full(len(todo), len(g) + 1)
        tries = np.full(len(todo), 8)
        for _ in range(60 + 40 * len(g)):
            if not len(todo):
                break
            f = free[:, todo]
            part = a.only(todo)
            right = np.where(f, -g[:, todo], low[:, todo])
            solved = self._solve(part, f, right[:, None])[:, 0]
            gap = solved + g[:, todo]
            for i, neighbours in enumerate(self.neighbours):
                for j in neighbours:
                    gap[i] += part[i, j] * solved[j]
            x[:, todo], pull[:, todo] = solved, solved - gap
            small = zero[todo]
            wrong = np.where(
                f, ~loose[:, todo] & (solved < low[:, todo] - small), gap < -small
            )
            wrong &= ~locked
            count = wrong.sum(axis=0)
            better = count < fewest[todo]
            fewest[todo] = np.where(better, count, fewest[todo])
            tries[todo] = np.where(better, 8, tries[todo] - 1)
            last = len(g) - 1 - np.argmax(wrong[::-1], axis=0)
            only = np.zeros_like(wrong)
            only[last, np.arange(len(last))] = True
            free[:, todo] ^= np.where(tries[todo] > 0, wrong, wrong & only)
            todo = todo[count > 0]
        ok = np.ones(g.shape[1], bool)
        ok[todo] = False
        return x, pull, ok

    def corners(
        self,
        columns: Index,
        g: tuple[Float, ...],
        r: tuple[Float, ...],
        scale: Float,
    ) -> Corners:
        """Return stretches or triangles of loads; g and r are (k, w) at each corner."""
        return Corners(
            Gathered(self.matrix, columns),
            np.stack(g, axis=1),
            np.stack(r, axis=1),
            scale,
        )

    def hold(self, at: Corners, state: Small) -> tuple[Float, Float]:
        """Return redundants if (k, w) states held, and what tells whether they do.

        Returns
        -------
        x : (k, E, w) float, at each of the E corners
        watch : (k, 3, E, w) float
            kip; where entry j of a redundant turns negative its state becomes j. Entries
            that cannot are 1.
        """
        both = state == BOTH
        right = np.where(both[:, None], -at.g, 0.0)
        np.copyto(right, at.r, where=(state == PARTNER)[:, None])
        x = self._solve(at.a, both, right)
        watch = np.ones((len(x), 3, *x.shape[1:]))
        for i in range(len(x)):
            own = state[i]
            if self.bounded_by_self[i]:
                np.copyto(watch[i, COUNTER], x[i], where=own != COUNTER)
            if self.bounded_by_partner[i]:
                np.subtract(x[i], at.r[i], out=watch[i, PARTNER], where=own != PARTNER)
            bound = self.bounded_by_self[i] or self.bounded_by_partner[i]
            if bound and not self.locked[i]:
                gap = x[i] + at.g[i]
                for j in self.neighbours[i]:
                    gap += at.a[i, j] * x[j]
                np.copyto(watch[i, BOTH], gap, where=own != BOTH)
        return x, watch

    def _solve(self, a: Gathered, free: Mask, right: Float) -> Float:
        """Return (k, E, w): rows of ``a`` that are not free become unit rows.

        Elimination without exchange of rows: the matrix is that of a strictly convex
        energy with its rows scaled.
        """
        k = len(a)
        if not self.coupled.any():
            return right
        if self._plan is None:
            unit = np.where(free[:, None], a.whole(), np.eye(k)[:, :, None])
            answer = np.linalg.solve(np.moveaxis(unit, 2, 0), np.moveaxis(right, 2, 0))
            return np.ascontiguousarray(np.moveaxis(answer, 0, 2))
        x = right.copy()
        b: dict[tuple[int, int], Float] = {
            (i, j): a[i, j] * free[i] for i in range(k) for j in self.neighbours[i]
        }
        one = np.ones(1)
        b |= {(i, i): one for i in range(k)}
        for p, below, beside in self._plan:
            for i in below:
                lead = b[i, p] / b[p, p]
                for j in beside:
                    fill = lead * b[p, j]
                    b[i, j] = b[i, j] - fill if (i, j) in b else -fill
                x[i] -= lead * x[p]
        for p, _, beside in reversed(self._plan):
            for j in beside:
                x[p] -= b[p, j] * x[j]
            x[p] /= b[p, p]
        return x

    def walk(self, walks: Stretches) -> Walk:
        """Follow every stretch of loads from its start to its end.

        Returns
        -------
        Walk
            Every change of state, in order along each stretch.
        """
        k, count = walks.x.shape
        several = max(1, _WALKED_AT_ONCE // max(1, k))
        if count > several:
            parts = [
                self.walk(walks.of(np.arange(first, min(first + several, count))))
                for first in range(0, count, several)
            ]
            rows = [w.row + several * number for number, w in enumerate(parts)]
            return Walk(
                np.concatenate(rows),
                np.concatenate([w.part for w in parts]),
                np.concatenate([w.x for w in parts], axis=1),
                np.concatenate([w.lost for w in parts]),
            )
        state = first_state(walks.begin, walks.end)
        here = np.arange(count)
        now = walks
        done = np.zeros(count)
        found = [Walk(here[:0], done[:0], np.zeros((k, 0)), np.zeros(0, bool))]
        zero = -TOLERANCE * walks.scale
        for _ in range(8 * k + 40):
            if not len(here):
                break
            x, gap = self._at_end(now, state)
            reach = _reach(
                _watched(now.x, now.gap, now.r), _watched(x, gap, now.r_end), zero
            )
            reach[~self._turns] = 2.0
            flat = reach.reshape(3 * k, -1)
            first = flat.argmin(axis=0)
            step = flat[first, np.arange(len(here))]
            going = step <= 1.0
            if not going.all():
                here, first, step = here[going], first[going], step[going]
                now, state = now.only(going), state[:, going]
                x, gap, zero, done = (
                    x[:, going],
                    gap[:, going],
                    zero[going],
                    done[going],
                )
            now = now.moved(step, x, gap)
            done = done + step * (1.0 - done)
            found.append(Walk(here, done, now.x, np.zeros(0, bool)))
            state[first // 3, np.arange(len(here))] = first % 3
            left = ~((_BIT[state] & now.end) != 0).all(axis=0)
            here, done, zero = here[left], done[left], zero[left]
            now, state = now.only(left), state[:, left]
        lost = np.zeros(count, bool)
        lost[here] = True
        return Walk(
            np.concatenate([w.row for w in found]),
            np.concatenate([w.part for w in found]),
            np.concatenate([w.x for w in found], axis=1),
            lost,
        )

    def _at_end(self, now: Stretches, state: Small) -> tuple[Float, Float]:
        """Return redundants and gaps, (k, w), at the ends if ``state`` held there."""
        both = state == BOTH
        right = np.where(both, -now.g_end, np.where(state == PARTNER, now.r_end, 0.0))
        x = self._solve(now.a, both, right[:, None])[:, 0]
        gap = x + now.g_end
        for i, neighbours in enumerate(self.neighbours):
            for j in neighbours:
                gap[i] += now.a[i, j] * x[j]
        return x, gap

    def stretches(
        self,
        columns: Index,
        start: tuple[Columns, Float, Index],
        stop: tuple[Columns, Float, Float, Index],
        scale: Float,
    ) -> Stretches:
        """Return stretches between settled loads.

        Parameters
        ----------
        columns : (w,) configuration of each
        start : settled columns, their bounds r, and (w,) flat places among them
        stop : the same with the drives g before the places
        scale : (w,) kip
        """
        first, first_r, here = start
        last, last_g, last_r, there = stop
        x = first.x.take(here, axis=1)
        return Stretches(
            a=Gathered(self.matrix, columns),
            x=x,
            gap=x - first.target.take(here, axis=1),
            r=first_r.take(here, axis=1),
            g_end=last_g.take(there, axis=1),
            r_end=last_r.take(there, axis=1),
            begin=first.states.take(here, axis=1),
            end=last.states.take(there, axis=1),
            scale=scale,
        )


def _watched(x: Float, gap: Float, r: Float) -> Float:
    """Return what tells whether the states hold, (k, 3, w), by what they turn into."""
    all_three = np.empty((len(x), 3, *x.shape[1:]))
    all_three[:, COUNTER], all_three[:, BOTH] = x, gap
    np.subtract(x, r, out=all_three[:, PARTNER])
    return all_three


def _reach(now: Float, end: Float, zero: Float) -> Float:
    """Return how far along lines from ``now`` to ``end`` turn negative; 2 is nowhere."""
    reach = np.full(now.shape, 2.0)
    falls = end < np.minimum(zero, now)
    np.divide(now, now - end, out=reach, where=falls)
    np.maximum(reach, 0.0, out=reach)
    return reach


@dataclass(frozen=True, eq=False)
class LiveBase:
    """A live load on every column's determinate remainder, per unit of the load.

    ``base`` (m, s) kip; ``r`` (k, s) as ``Crossed.settle`` takes it; ``spread``
    (k s, e): the work of ``base`` on each self-stress, member by member; None where few
    columns share it.
    """

    base: Float
    spread: Float | None
    r: Float
    scale: float | Float

    def scale_of(self, columns: Index) -> float | Float:
        """Return the scale, (w,) where configurations have their own."""
        return self.scale if isinstance(self.scale, float) else self.scale[columns]


def alone(linked: Mask) -> Mask:
    """Return which places are not linked to the next, (s, 1) or (s, c), of (s - 1,) or
    (s - 1, c) that tell which are."""
    rows = to_next(linked)
    return np.concatenate([~rows, np.ones((1, rows.shape[1]), bool)])


def to_next(linked: Mask) -> Mask:
    """Return which places are linked to the next, (s - 1, 1) or (s - 1, c)."""
    return linked if linked.ndim == 2 else linked[:, None]


def by_column(of: Float) -> Float:
    """Return (x, s) of all configurations as (x, s, 1); (x, s, c) as it is."""
    return of if of.ndim == 3 else of[:, :, None]


def at_places(of: Float, place: Index, column: Index) -> Float:
    """Return (x, w) of (x, s), or of (x, s, c) where configurations have their own."""
    if of.ndim == 2:
        taken: Float = of.take(place, axis=1)
        return taken
    flat = of.reshape(len(of), of.shape[1] * of.shape[2])
    taken = flat.take(place * of.shape[2] + column, axis=1)
    return taken


def times(stress: Float, x: Float, column: Index | None = None) -> Float:
    """Return (t, ..., c) forces of self-stresses.

    ``stress`` (t, k), or (t, k, c) where configurations have their own; ``x``
    (k, ..., c), or (k, w) with (w,) columns.
    """
    if stress.ndim == 2:
        force: Float = stress @ x.reshape(len(x), math.prod(x.shape[1:]))
        return force.reshape(len(stress), *x.shape[1:])
    if column is not None:
        stress = stress.take(column, axis=2)
    force = np.einsum("tkc,k...c->t...c", stress, x)
    return force


@dataclass(frozen=True, eq=False)
class Corners:
    """Loads between which the redundants are piecewise linear.

    ``a`` the matrices; ``g``, ``r`` (k, E, w); ``scale`` (w,) kip.
    """

    a: Gathered
    g: Float
    r: Float
    scale: Float

    def only(self, walks: Index) -> Corners:
        """Return some of them."""
        return Corners(
            self.a.only(walks),
            self.g.take(walks, axis=2),
            self.r.take(walks, axis=2),
            self.scale[walks],
        )


@dataclass(frozen=True, eq=False)
class Stretches:
    """Lines of loads to follow, each in one configuration.

    ``a`` the matrices; where they start: redundants ``x``, gaps of slack rods ``gap`` and
    bounds ``r``, (k, w); where they end: ``g_end`` and ``r_end``; bits of the states
    that hold at either end, ``begin`` and ``end``; ``scale`` (w,) kip.
    """

    a: Gathered
    x: Float
    gap: Float
    r: Float
    g_end: Float
    r_end: Float
    begin: Bits
    end: Bits
    scale: Float

    def only(self, walks: Mask) -> Stretches:
        """Return some of the stretches."""
        if walks.all():
            return self
        return self.of(np.flatnonzero(walks))

    def of(self, some: Index) -> Stretches:
        """Return some of the stretches, by number."""
        return Stretches(
            self.a.only(some),
            self.x.take(some, axis=1),
            self.gap.take(some, axis=1),
            self.r.take(some, axis=1),
            self.g_end.take(some, axis=1),
            self.r_end.take(some, axis=1),
            self.begin.take(some, axis=1),
            self.end.take(some, axis=1),
            self.scale[some],
        )

    def moved(self, step: Float, x: Float, gap: Float) -> Stretches:
        """Return what is left of them from (w,) fractions on, towards x and gap."""
        return replace(
            self,
            x=self.x + step * (x - self.x),
            gap=self.gap + step * (gap - self.gap),
            r=self.r + step * (self.r_end - self.r),
        )


@dataclass(frozen=True, eq=False)
class Walk:
    """Changes of state along stretches.

    ``row``, ``part`` (v,) and ``x`` (k, v): which stretch, how far along it, and the
    redundants there. ``lost`` (w,): stretches given up.
    """

    row: Index
    part: Float
    x: Float
    lost: Mask


LOWEST_STATE = np.array([BOTH, 0, 1, 0, 2, 0, 1, 0], np.int8)
_BIT = np.array([1, 2, 4], np.uint8)
#: More steps of elimination than this are left to the library.
_MOST_STEPS = 300


def first_state(bits: Bits, towards: Bits) -> Small:
    """Return states that hold at one place, and at another too where one does."""
    common = bits & towards
    state: Small = LOWEST_STATE[np.where(common != 0, common, bits)]
    return state


def _elimination(coupled: Mask) -> list[tuple[int, list[int], list[int]]] | None:
    """Return (pivot, rows below it, columns beside it), fill-in included.

    None if the steps are so many that the library is faster.
    """
    filled = coupled | np.eye(len(coupled), dtype=bool)
    plan = []
    steps = 0
    for p in range(len(filled)):
        below = [i for i in range(p + 1, len(filled)) if filled[i, p]]
        beside = [j for j in range(p + 1, len(filled)) if filled[p, j]]
        filled[np.ix_(below, beside)] = True
        steps += 1 + len(below) * (2 + len(beside))
        plan.append((p, below, beside))
    return plan if steps <= _MOST_STEPS else None
