"""Extremes under vehicles of many configurations that ``pairs`` cannot answer.

What ``general`` finds one configuration at a time, for trusses in which a redundant has
a say in the bounds of another (double systems): the same taut sets, each tried on all
configurations and places together. Feet and kips; tension positive.
Array axes: ``c`` configurations, ``m`` members, ``r`` redundants, ``t`` tension-only bars
that redundants touch, ``s`` places, ``w`` stretches between places.

The bars' forces are those of ``gaps``, a linear complementarity problem. A set of slack
bars gives its gaps; it is the answer wherever no gap and no force is negative. Between two places with no set in common the sets are
followed one bar at a time, and by ``TautSets`` where that does not come out.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .equilibrium import Equilibrium, Float, Index, Mask
from .gaps import Gaps
from .tautsets import TOLERANCE, TautSets, forces_along

#: Configurations worked on together.
BLOCK = 64
#: Fewer than this are left to ``general``.
FEWEST = 4
_MOST_SETS = 63
_MOST_CHANGES = 60
#: Of the greatest force: a set that is off by more where it begins is not the next one.
_OFF = 1e-7
#: Bars whose forces depend on each other are told by this part of their flexibility.
_DEPENDENT = 1e-9
Bits = NDArray[np.uint64]


def vehicle_extremes(
    system: Equilibrium,
    ea_kip: Float,
    dead_kip: Float,
    live_kip: Float,
    linked: Mask,
    classical: bool,
    sets: Callable[[int], TautSets],
) -> tuple[Float, Float, Mask]:
    """Return the greatest and least total forces over all places, and what is answered.

    Parameters
    ----------
    system : Equilibrium
    ea_kip : (c, m) float
    dead_kip : (c, n) float, which a taut set must carry
    live_kip : (s, n) float, times its factor
    linked : (s - 1,) bool, whether loads are linear between places
    classical : bool
    sets : returns the ``TautSets`` of one configuration

    Returns
    -------
    (c, m), (c, m) float, kip, and (c,) bool

    Source
    ------
    Derivation above. Known answers: ``general`` in test_moving_loads.py.
    """
    shape = ea_kip.shape
    high, low, answered = np.zeros(shape), np.zeros(shape), np.zeros(len(ea_kip), bool)
    for first in range(0, len(ea_kip), BLOCK):
        part = slice(first, min(first + BLOCK, len(ea_kip)))
        block = _Block.of(system, ea_kip[part], dead_kip[part], live_kip, classical)
        high[part], low[part], answered[part] = block.extremes(
            dead_kip[part], live_kip, linked, _from(sets, first)
        )
    return high, low, answered


def dead_many(
    system: Equilibrium, ea_kip: Float, dead_kip: Float, classical: bool
) -> tuple[Float, Mask, Mask]:
    """Return forces under dead load, which bars are slack, both (c, m), and what is answered.

    As ``vehicle_extremes``, without vehicles; (c,) bool is False where no taut set
    carries the load, or none was found.
    """
    shape = ea_kip.shape
    forces, slack = np.zeros(shape), np.zeros(shape, bool)
    answered = np.zeros(len(ea_kip), bool)
    nothing = np.zeros((1, dead_kip.shape[1]))

    def sets(c: int) -> TautSets:
        return TautSets(system, ea_kip[c], classical)

    for first in range(0, len(ea_kip), BLOCK):
        part = slice(first, min(first + BLOCK, len(ea_kip)))
        block = _Block.of(system, ea_kip[part], dead_kip[part], nothing, classical)
        out, total, answered[part] = block.dead(dead_kip[part], _from(sets, first))
        forces[part] = np.where(out, 0.0, total)
        slack[part] = out
    return forces, slack, answered


def _from(sets: Callable[[int], TautSets], first: int) -> Callable[[int], TautSets]:
    """Return ``sets`` of configurations counted from ``first``."""
    return lambda c: sets(first + c)


@dataclass(frozen=True, eq=False)
class _Block:
    """Configurations under vehicles.

    ``base`` (c, m, s) forces of the determinate remainder; ``free`` (c, r, s) redundants
    without bounds; ``lift`` (c, r, t) what a gap does to them; ``matrix`` (c, t, t);
    ``force`` (c, t, s) of the bars without bounds; ``size`` (c, t); ``scale`` (c, s) kip.
    """

    system: Equilibrium
    bars: Index
    base: Float
    free: Float
    lift: Float
    matrix: Float
    force: Float
    size: Float
    scale: Float

    @classmethod
    def of(
        cls,
        system: Equilibrium,
        ea: Float,
        dead: Float,
        live: Float,
        classical: bool,
    ) -> _Block:
        gaps = Gaps.of(system, ea, classical)
        base = (system.particular @ live.T) + (dead @ system.particular.T)[:, :, None]
        free = gaps.free @ live.T + (gaps.free @ dead[:, :, None])
        # No load moves on the joint that stands for the tightening.
        held = (gaps.held * np.abs(dead)).sum(axis=1)
        return cls(
            system,
            gaps.bars,
            base,
            free,
            gaps.lift,
            gaps.matrix,
            base[:, gaps.bars] + system.selfstress[gaps.bars] @ free,
            gaps.size,
            np.maximum(np.abs(base).max(axis=1), held[:, None]),
        )

    def dead(
        self, dead: Float, sets: Callable[[int], TautSets]
    ) -> tuple[Mask, Float, Mask]:
        """Return which members are slack in the only place, (c, m), forces and (c,)."""
        live = np.zeros((1, dead.shape[1]))
        slack, gap, _, answered = self._settle(dead, live, self._stands(), sets)
        total = self.base + self.system.selfstress @ (self.free + self.lift @ gap)
        out = np.zeros(total.shape[:2], bool)
        out[:, self.bars] = slack[:, 0]
        return out, total[..., 0], answered

    def _stands(self) -> Mask:
        """Return (c,): whether no bar that the truss needs would be slack anywhere."""
        lone = self.base[:, self.system.lone]
        falls = lone < -TOLERANCE * self.scale[:, None]
        stands: Mask = ~np.logical_or.reduce(falls, axis=(1, 2))
        return stands

    def extremes(
        self,
        dead: Float,
        live: Float,
        linked: Mask,
        sets: Callable[[int], TautSets],
    ) -> tuple[Float, Float, Mask]:
        slack, gap, holding, answered = self._settle(dead, live, self._stands(), sets)
        total = self.base + self.system.selfstress @ (self.free + self.lift @ gap)
        high, low = total.max(axis=2), total.min(axis=2)
        differ = linked & ((holding[:, :-1] & holding[:, 1:]) == 0)
        differ &= answered[:, None]
        column, place = np.nonzero(differ)
        if len(column):
            lost = self._follow(column, place, slack[column, place], high, low)
            for at in np.flatnonzero(lost).tolist():
                c, s = int(column[at]), int(place[at])
                start, end = dead[c] + live[s], dead[c] + live[s + 1]
                mine = sets(c)
                first, last = mine.solve(start), mine.solve(end)
                if first is None or last is None:
                    answered[c] = False
                    continue
                for _, force in forces_along(mine, start, end, first, last):
                    high[c] = np.maximum(high[c], force)
                    low[c] = np.minimum(low[c], force)
        return high, low, answered

    def _settle(
        self,
        dead: Float,
        live: Float,
        stands: Mask,
        sets: Callable[[int], TautSets],
    ) -> tuple[Mask, Float, Bits, Mask]:
        """Find the slack bars, (c, s, t), and gaps, (c, t, s), in every place.

        Then the bits of the sets that hold there, and (c,) what is answered.
        """
        count, bars, places = self.force.shape
        slack = np.zeros((count, places, bars), bool)
        gap = np.zeros_like(self.force)
        holding = np.zeros((count, places), np.uint64)
        answered = stands.copy()
        tried: set[frozenset[int]] = set()
        wanted: list[frozenset[int]] = [frozenset()]
        while True:
            for one in wanted:
                if one in tried or len(tried) >= _MOST_SETS:
                    continue
                out = sorted(one)
                found, ok = self._try(out)
                fresh = ok & (holding == 0)
                holding |= ok.astype(np.uint64) << np.uint64(len(tried))
                tried.add(one)
                if out and fresh.any():
                    at, where = np.nonzero(fresh)
                    slack[at[:, None], where[:, None], out] = True
                    gap[at[:, None], out, where[:, None]] = found[at, :, where]
            left = (holding == 0) & answered[:, None]
            if not left.any():
                return slack, gap, holding, answered
            c = int(left.any(axis=1).argmax())
            mine = sets(c)
            pieces = mine.solve_many(dead[c] + live[left[c]])
            known = {piece.slack for piece in pieces if piece is not None}
            wanted = [one for one in known if one not in tried]
            if None in pieces or not wanted or len(tried) >= _MOST_SETS:
                answered[c] = False

    def _try(self, out: list[int]) -> tuple[Float, Mask]:
        """Return gaps, (c, z, s), with those bars slack, and (c, s) whether that holds."""
        watch = self.force
        gap: Float = self.force[:, out]
        if out:
            inner = self.matrix[:, out][:, :, out]
            gap = np.negative(np.linalg.solve(inner, gap), dtype=float)
            watch = self.force + self.matrix[:, :, out] @ gap
            watch[:, out] = gap * self.size[:, out, None]
        holds = watch >= -TOLERANCE * self.scale[:, None]
        ok: Mask = np.logical_and.reduce(holds, axis=1)
        return gap, ok

    def _follow(
        self, column: Index, place: Index, slack: Mask, high: Float, low: Float
    ) -> Mask:
        """Fold in the places where bars go slack or taut; return the stretches lost."""
        lost = np.zeros(len(column), bool)
        row = np.arange(len(column))
        at = np.zeros(len(column))
        zero = TOLERANCE * np.maximum(
            self.scale[column, place], self.scale[column, place + 1]
        )
        for _ in range(_MOST_CHANGES):
            if not len(row):
                return lost
            c, s = column[row], place[row]
            ends = np.stack([self.force[c, :, s], self.force[c, :, s + 1]], axis=2)
            inner = self.matrix[c]
            both = slack[:, :, None] & slack[:, None, :]
            table = np.where(both, inner, np.eye(inner.shape[1]))
            # Sets that cannot be are told by what comes of them.
            table = table + 1e-14 * np.where(both, 1.0, 0.0) * np.eye(inner.shape[1])
            try:
                gap = np.linalg.solve(table, np.where(slack[:, :, None], -ends, 0.0))
            except np.linalg.LinAlgError:
                lost[row] = True
                return lost
            watch = ends + inner @ gap
            pressed = np.where(slack[:, :, None], np.abs(watch), 0.0).max(axis=(1, 2))
            watch = np.where(slack[:, :, None], gap * self.size[c][:, :, None], watch)
            here = watch[..., 0] + at[:, None] * (watch[..., 1] - watch[..., 0])
            tolerated = zero[row]
            off = _OFF / TOLERANCE * tolerated
            wrong = (here < -off[:, None]).any(axis=1) | (pressed > off)
            lost[row[wrong]] = True
            ending = (watch[..., 1] < -tolerated[:, None]) & ~wrong[:, None]
            going = ending.any(axis=1)
            row, at, slack = row[going], at[going], slack[going]
            gap, here, watch = gap[going], here[going], watch[going]
            ending, c, s = ending[going], c[going], s[going]
            if not len(row):
                return lost
            start = np.maximum(here, 0.0)
            span = np.where(ending, start - watch[..., 1], 1.0)
            reach = np.where(ending, start / span, 2.0)
            first = reach.argmin(axis=1)
            each = np.arange(len(row))
            at = at + reach[each, first] * (1.0 - at)
            base = self.base[c, :, s]
            base = base + at[:, None] * (self.base[c, :, s + 1] - base)
            free = self.free[c, :, s]
            free = free + at[:, None] * (self.free[c, :, s + 1] - free)
            gaps = gap[..., 0] + at[:, None] * (gap[..., 1] - gap[..., 0])
            x = free + (self.lift[c] @ gaps[:, :, None])[..., 0]
            total = base + x @ self.system.selfstress.T
            begun = np.flatnonzero(np.r_[True, np.diff(c) > 0])
            mine = c[begun]
            high[mine] = np.maximum(high[mine], np.maximum.reduceat(total, begun))
            low[mine] = np.minimum(low[mine], np.minimum.reduceat(total, begun))
            lets_go = self._exchanged(inner[going], table[going], slack, gaps, first)
            slack[each, first] ^= True
            other = np.flatnonzero(lets_go >= 0)
            slack[other, lets_go[other]] = False
        lost[row] = True
        return lost

    @staticmethod
    def _exchanged(
        inner: Float, table: Float, slack: Mask, gap: Float, first: Index
    ) -> Index:
        """Return (w,) the bar that must come taut when bar ``first`` goes slack; or -1.

        Where the truss could not move with it too, a gap is given over to it, until
        that of another has closed.
        """
        each = np.arange(len(first))
        column = inner[each, :, first]
        part = np.linalg.solve(table, np.where(slack, column, 0.0)[:, :, None])[..., 0]
        own = column[each, first]
        left = own - np.where(slack, column * part, 0.0).sum(axis=1)
        bound = ~slack[each, first] & (left < _DEPENDENT * own)
        ratio = np.divide(
            gap, part, out=np.full(gap.shape, np.inf), where=slack & (part > _DEPENDENT)
        )
        chosen = ratio.argmin(axis=1)
        known = bound & np.isfinite(ratio[each, chosen])
        found: Index = np.where(known, chosen, -1)
        return found
