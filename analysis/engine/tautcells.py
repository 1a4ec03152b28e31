"""Multiples of moving loads on configurations that ``pairs`` cannot answer.

What ``general`` finds triangle by triangle and cell by cell, for many of both together.
Feet and kips; tension positive; loads positive downward.
Array axes: ``c`` configurations, ``m`` members, ``r`` redundants, ``t`` tension-only bars
that redundants touch, ``z`` those that none touches, ``w`` triangles or cells, ``e``
corners, ``q`` edges, ``L`` rating levels.

The bars' forces are those of ``gaps``, a linear complementarity problem. A
set of slack bars gives its gaps; its cell, in the triangle of the dead load, a place and
the next, is where no gap and no force is negative. Beyond an edge one bar has gone slack
or come taut, or another lets go for it. The first cell is found by following the bars
from the dead load on. A triangle in which a cell is not where it ought to be is left to
``general``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np

from .batch import Peaks
from .cells import Shares, ends_on_sides, inside_own, odd_corner
from .equilibrium import Equilibrium, Float, Index, Mask
from .gaps import Gaps
from .loads import Places
from .tautsets import TOLERANCE

#: Entries of matrices solved together.
_ENTRIES_AT_ONCE = 2**20
#: Forces on edges worked out together.
_FORCES_AT_ONCE = 2**19
_MOST_CHANGES = 400
_MOST_ROUNDS = 400
#: Of the greatest force: a set that is off by more where it begins is not the next one.
_OFF = 1e-7
#: Bars whose forces depend on each other are told by this part of their flexibility.
_DEPENDENT = 1e-9
#: Where in a triangle the first cell is looked for: most of it is dead load.
_FIRST = np.array([0.9, 0.06, 0.04])
_DEAD = np.array([1.0, 0.0, 0.0])
#: Of the way to there: cells narrower than this are not begun with.
_APART = 1e-6
_ODD = np.uint64(0x9E3779B97F4A7C15)


class TautCells:
    """Some configurations of a truss, each standing under its dead load.

    Parameters
    ----------
    system : Equilibrium
    ea_kip : (c, m) float
    dead_kip : (c, n) float
    slack : (c, m) bool, bars that are slack under dead load
    classical : bool
    """

    def __init__(
        self,
        system: Equilibrium,
        ea_kip: Float,
        dead_kip: Float,
        slack: Mask,
        classical: bool,
    ) -> None:
        self.system = system
        gaps = Gaps.of(system, ea_kip, classical)
        self.bars, self._free, self._lift = gaps.bars, gaps.free, gaps.lift
        self._matrix, self._size, self._held = gaps.matrix, gaps.size, gaps.held
        rows = system.selfstress[self.bars]
        self._bars_load = system.particular[self.bars] + rows @ self._free  # (c, t, n)
        self.dead_kip = dead_kip
        self._dead_slack = slack[:, self.bars]
        self._begun: tuple[Float, dict[int, tuple[_Cells, Mask]]] | None = None

    def shares(
        self, places: Places, live_kip: Float, limits: tuple[Float, Float]
    ) -> tuple[Shares, list[tuple[int, int]]]:
        """Return where members first reach limits under multiples of vehicles.

        Parameters
        ----------
        places : Places
        live_kip : (s, n) float
        limits : upper and lower total forces, (L, m, c) kip, which may be infinite

        Returns
        -------
        Shares, of all members
        list of (configuration, place)
            Triangles from a place to the next, or the ray of a place, that are left.
        """
        shape = limits[0].shape
        found = Shares(np.zeros(shape), np.full(shape, -1.0))
        return found, self._visit(places, live_kip, _Limits(limits, found))

    def extremes(
        self,
        places: Places,
        live_kip: Float,
        factors: Sequence[Float],
        force_kip: Float,
    ) -> tuple[list[Peaks], list[tuple[int, int]]]:
        """Return extreme total forces, each member's live load times its own factor.

        Parameters
        ----------
        places, live_kip : as ``shares`` takes them
        factors : sequence of (m,) float
        force_kip : (m, c) float, under dead load

        Returns
        -------
        list of Peaks, one for each of ``factors``: of all members, without places
        list of (configuration, place), as of ``shares``
        """
        peaks = [Peaks.from_dead(force_kip, with_places=False) for _ in factors]
        collect = _Extremes(tuple(zip(factors, peaks, strict=True)))
        return peaks, self._visit(places, live_kip, collect)

    def _visit(
        self, places: Places, live_kip: Float, collect: _Collect
    ) -> list[tuple[int, int]]:
        """Go through all triangles; return those given up, by configuration and place."""
        loaded: Mask = np.logical_or.reduce(live_kip != 0.0, axis=1)
        near = np.flatnonzero(
            np.append(places.linked & (loaded[:-1] | loaded[1:]), False)
        )
        on_none = loaded.copy()
        on_none[near] = on_none[near + 1] = False
        single = np.flatnonzero(on_none)
        place = np.concatenate([near, single])
        after = np.concatenate([near + 1, single])
        left: list[tuple[int, int]] = []
        many = max(1, 2**21 // max(1, len(self.bars) * 3))
        column, which = np.divmod(
            np.arange(len(self.dead_kip) * len(place)), max(1, len(place))
        )
        if self._begun is None or self._begun[0] is not live_kip:
            self._begun = live_kip, {}
        begun = self._begun[1]
        for first in range(0, len(column), many):
            part = slice(first, first + many)
            some = which[part]
            work = _Triangles(self, column[part], place[some], after[some], live_kip)
            if first not in begun:
                begun[first] = work.begin()
            lost = work.visit(begun[first], collect)
            left += zip(
                column[part][lost].tolist(), place[some][lost].tolist(), strict=True
            )
        return left


@dataclass(frozen=True, eq=False)
class _Cells:
    """Sets of slack bars, (w, t) bool, in triangles ``of``; ``begun`` (w, 3) is in each."""

    of: Index
    slack: Mask
    begun: Float

    def only(self, some: Index | Mask) -> _Cells:
        return _Cells(self.of[some], self.slack[some], self.begun[some])


class _Triangles:
    """Triangles of the dead load, a place and the next, in one configuration each."""

    def __init__(
        self, taut: TautCells, column: Index, place: Index, after: Index, live: Float
    ) -> None:
        self.taut, self.column = taut, column
        self.place, self.after, self.live = place, after, live
        self._one = len(taut.dead_kip) == 1
        dead, system = taut.dead_kip, taut.system
        live_bars = taut._bars_load @ live.T  # (c, t, s)
        dead_bars = np.einsum("ctn,cn->ct", taut._bars_load, dead)
        self.q = np.stack(
            [
                dead_bars[column],
                live_bars[column, :, place],
                live_bars[column, :, after],
            ],
            axis=2,
        )  # (w, t, 3)
        live_size = np.abs(live @ system.particular.T).max(axis=1)
        dead_size = np.abs(dead @ system.particular.T).max(axis=1)
        dead_size = np.maximum(dead_size, (taut._held * np.abs(dead)).sum(axis=1))
        self.zero = TOLERANCE * np.maximum(
            dead_size[column], np.maximum(live_size[place], live_size[after])
        )
        lone = system.particular[system.lone]
        self._lone = np.stack(
            [
                (dead @ lone.T)[column],
                (live @ lone.T)[place],
                (live @ lone.T)[after],
            ],
            axis=2,
        )  # (w, z, 3)
        self.lost = np.zeros(len(column), bool)

    def visit(self, begun: tuple[_Cells, Mask], collect: _Collect) -> Mask:
        """Have the edges of all cells collected from; return triangles given up.

        ``begun`` is what ``begin`` returned, now or before.
        """
        cells, lost = begun
        self.lost |= lost
        seen = np.zeros(0, np.uint64)
        signature = np.random.default_rng(1890).integers(
            1, 2**63, len(self.taut.bars), np.uint64
        )
        for _ in range(_MOST_ROUNDS):
            key = (cells.of.astype(np.uint64) + np.uint64(1)) * _ODD
            key = key + cells.slack.astype(np.uint64) @ signature
            key, first = np.unique(key, return_index=True)
            fresh = ~np.isin(key, seen)
            seen = np.concatenate([seen, key[fresh]])
            cells = cells.only(first[fresh])
            if not len(cells.of):
                return self.lost
            width = len(self.taut.bars) ** 2 if not self._one else 0
            most = int(cells.slack.sum(axis=1).max(initial=1))
            several = max(1, _ENTRIES_AT_ONCE // max(width, most * most, 1))
            width = len(self.taut.system.truss.names)
            several = min(several, max(1, _FORCES_AT_ONCE // width // 12))
            parts = [
                self._go_round(
                    cells.only(np.arange(at, min(at + several, len(cells.of)))), collect
                )
                for at in range(0, len(cells.of), several)
            ]
            cells = _Cells(
                np.concatenate([one.of for one in parts]),
                np.concatenate([one.slack for one in parts]),
                np.concatenate([one.begun for one in parts]),
            )
            cells = cells.only(~self.lost[cells.of])
        self.lost[cells.of] = True
        return self.lost

    def begin(self) -> tuple[_Cells, Mask]:
        """Follow the bars from the dead load to where each triangle is begun.

        Returns the cells there, and (w,) the triangles in which none was found.
        """
        count = len(self.column)
        slack = self.taut._dead_slack[self.column]
        row = np.arange(count)
        at = np.zeros(count)
        begun = _DEAD + self._until_lone()[:, None] * (_FIRST - _DEAD)  # (w, 3)
        target = np.einsum("wte,we->wt", self.q, begun)
        done = np.zeros(slack.shape, bool)
        ok = np.zeros(count, bool)
        for _ in range(_MOST_CHANGES):
            if not len(row):
                break
            ends = np.stack([self.q[row, :, 0], target[row]], axis=2)
            gap, watch, _ = self._hold(row, slack, ends)
            here = watch[..., 0] + at[:, None] * (watch[..., 1] - watch[..., 0])
            zero = self.zero[row]
            wrong = (here < -(_OFF / TOLERANCE) * zero[:, None]).any(axis=1)
            ending = watch[..., 1] < -zero[:, None]
            over = ~ending.any(axis=1) & ~wrong
            done[row[over]], ok[row[over]] = slack[over], True
            going = ~over & ~wrong
            if not going.any():
                break
            row, at, slack, gap = row[going], at[going], slack[going], gap[going]
            here, watch, ending = here[going], watch[going], ending[going]
            start = np.maximum(here, 0.0)
            span = np.where(ending, start - watch[..., 1], 1.0)
            reach = np.where(ending, start / span, 2.0)
            first = reach.argmin(axis=1)
            each = np.arange(len(row))
            was, at = at, at + reach[each, first] * (1.0 - at)
            gaps = gap[..., 0] + at[:, None] * (gap[..., 1] - gap[..., 0])
            before = slack
            slack, falls = self._turned(row, slack, gaps, first)
            # Where it falls on the way, the cell it falls from is begun with.
            brink = falls & (at - was > _APART)
            mine = row[brink]
            done[mine], ok[mine] = before[brink], True
            part = (was + 0.5 * (at - was))[brink, None]
            begun[mine] = _DEAD + part * (begun[mine] - _DEAD)
            row, at, slack = row[~falls], at[~falls], slack[~falls]
        some = np.flatnonzero(ok)
        return _Cells(some, done[some], begun[some]), ~ok | self.lost

    def _until_lone(self) -> Float:
        """Return (w,): how far on the way half of it is left before a lone bar slackens."""
        start = np.maximum(self._lone[:, :, 0], 0.0)
        end = self._lone @ _FIRST
        falls = end < -self.zero[:, None]
        part = np.divide(start, start - end, out=np.ones(end.shape), where=falls)
        least: Float = part.min(axis=1, initial=1.0)
        return np.where(falls.any(axis=1), 0.5 * least, 1.0)

    def _table(self, of: Index, slack: Mask) -> tuple[Index, Mask, Float]:
        """Return the slack bars of each, (w, a), which of them are, and M among them."""
        most = max(1, int(slack.sum(axis=1).max(initial=0)))
        order = np.argsort(~slack, axis=1, kind="stable")[:, :most]
        is_slack = np.take_along_axis(slack, order, axis=1)
        matrix, column = self.taut._matrix, self.column[of]
        if self._one:
            inner = matrix[0][order[:, :, None], order[:, None, :]]
        else:
            inner = matrix[column[:, None, None], order[:, :, None], order[:, None, :]]
        both = is_slack[:, :, None] & is_slack[:, None, :]
        table = np.where(both, inner, np.eye(most))
        # Sets that cannot be are told by what comes of them.
        own = np.arange(most)
        table[:, own, own] *= np.where(is_slack, 1.0 + 1e-14, 1.0)
        return order, is_slack, table

    def _times(self, of: Index, gap: Float) -> Float:
        """Return M gap, (w, t, e)."""
        matrix = self.taut._matrix
        if self._one:
            count, bars, ends = gap.shape
            flat = matrix[0] @ gap.transpose(1, 0, 2).reshape(bars, count * ends)
            answer: Float = flat.reshape(bars, count, ends).transpose(1, 0, 2)
            return answer
        answer = matrix[self.column[of]] @ gap
        return answer

    def _hold(self, of: Index, slack: Mask, q: Float) -> tuple[Float, Float, Mask]:
        """Return gaps, what tells whether sets hold, (w, t, e), and (w,) if solved."""
        gap = np.zeros(q.shape)
        if slack.any():
            order, is_slack, table = self._table(of, slack)
            right = np.take_along_axis(q, order[..., None], axis=1)
            right = np.where(is_slack[..., None], -right, 0.0)
            try:
                solved = np.linalg.solve(table, right)
            except np.linalg.LinAlgError:
                solved = np.full(right.shape, np.nan)
            np.put_along_axis(gap, order[..., None], solved, axis=1)
        known: Mask = np.logical_and.reduce(np.isfinite(gap), axis=(1, 2))
        gap[~known] = 0.0
        watch = q + self._times(of, gap)
        size = self.taut._size[self.column[of]][..., None]
        watch = np.where(slack[..., None], gap * size, watch)
        watch[~known] = -np.inf
        return gap, watch, known

    def _turned(
        self, of: Index, slack: Mask, gap: Float, bar: Index
    ) -> tuple[Mask, Mask]:
        """Return the sets beyond where ``bar`` (w,) turns, and where the truss falls.

        Where it could not stand with the bar slack too, a gap is given over to it, until
        that of another has closed.
        """
        each = np.arange(len(of))
        after = slack.copy()
        after[each, bar] ^= True
        falls = np.zeros(len(of), bool)
        some = np.flatnonzero(~slack[each, bar])
        if not len(some) or not slack[some].any():
            return after, falls
        of, mine, which = of[some], slack[some], bar[some]
        order, is_slack, table = self._table(of, mine)
        column = self.column[of]
        line = self.taut._matrix[column[:, None], order, which[:, None]]
        line = np.where(is_slack, line, 0.0)
        try:
            part = np.linalg.solve(table, line[..., None])[..., 0]
        except np.linalg.LinAlgError:
            falls[some] = True
            self.lost[of] = True
            return after, falls
        own = self.taut._size[column, which]
        bound = own - (line * part).sum(axis=1) < _DEPENDENT * own
        gaps = np.take_along_axis(gap[some], order, axis=1)
        ratio = np.divide(
            np.maximum(gaps, 0.0),
            part,
            out=np.full(part.shape, np.inf),
            where=is_slack & (part > _DEPENDENT),
        )
        chosen = ratio.argmin(axis=1)
        k = np.arange(len(some))
        known = bound & np.isfinite(ratio[k, chosen])
        after[some[known], order[known, chosen[known]]] = False
        falls[some[bound & ~known]] = True
        return after, falls

    def _go_round(self, cells: _Cells, collect: _Collect) -> _Cells:
        """Look along the edges of cells; return the cells across them."""
        of, count, bars = cells.of, len(cells.of), len(self.taut.bars)
        q = self.q[of]
        gap, watch, known = self._hold(of, cells.slack, q)
        here = np.einsum(
            "wte,we->wt", np.where(known[:, None, None], watch, 0.0), cells.begun
        )
        off = (_OFF / TOLERANCE) * self.zero[of]
        self.lost[of[~known | (here < -off[:, None]).any(axis=1)]] = True
        sides = np.broadcast_to(np.eye(3), (count, 3, 3))
        lines = np.concatenate([watch, self._lone[of]], axis=1)
        lines[np.abs(lines) <= self.zero[of][:, None, None]] = 0.0
        lines = np.concatenate([lines, sides], axis=1)
        negative = lines < 0.0
        outside: Mask = np.logical_and.reduce(negative, axis=2)
        alive = ~np.logical_or.reduce(outside, axis=1) & ~self.lost[of]
        asked = (negative.any(axis=2) & ~outside) & alive[:, None]
        asked[:, -3:] = alive[:, None]
        cell, line = np.nonzero(asked)
        values = lines[cell, line]  # (q, 3)
        # Sides of the triangle are met from the corner across.
        side = line - (lines.shape[1] - 3)
        corner = np.where(side >= 0, side, odd_corner(values))
        one, two = ends_on_sides(values, corner)
        low, high = inside_own(
            values, cell, (one, two), cells.begun.T, self.zero[of] / TOLERANCE
        )
        kept = np.flatnonzero(low <= high)
        cell, line = cell[kept], line[kept]
        one, two, low, high = one[:, kept], two[:, kept], low[kept], high[kept]
        start, stop = one + low * (two - one), one + high * (two - one)
        self._forces(of, gap, cell, (start, stop), collect)

        inner = np.flatnonzero((line < bars) & (high - low > 0.0))
        cell, line = cell[inner], line[inner]
        middle = 0.5 * (start + stop)[:, inner].T  # (q, 3)
        gaps = np.einsum("qte,qe->qt", gap[cell], middle)
        slack, falls = self._turned(of[cell], cells.slack[cell], gaps, line)
        return _Cells(of[cell], slack, middle).only(~falls)

    def _forces(
        self,
        of: Index,
        gap: Float,
        cell: Index,
        ends: tuple[Float, Float],
        collect: _Collect,
    ) -> None:
        """Have forces on edges, ``ends`` (3, q) each, of cells collected."""
        if not len(cell):
            return
        taut, system = self.taut, self.taut.system
        column = self.column[of]
        load = np.stack(
            [
                taut.dead_kip[column],
                self.live[self.place[of]],
                self.live[self.after[of]],
            ],
            axis=1,
        )  # (w, 3, n)
        force = np.empty((len(of), 3, len(system.truss.names)))
        for corner in range(3):
            if self._one:
                x = (
                    load[:, corner] @ taut._free[0].T
                    + gap[..., corner] @ taut._lift[0].T
                )
            else:
                x = np.einsum("wrn,wn->wr", taut._free[column], load[:, corner])
                x += np.einsum("wrt,wt->wr", taut._lift[column], gap[..., corner])
            force[:, corner] = load[:, corner] @ system.particular.T
            force[:, corner] += x @ system.selfstress.T
        turned = ends[0][0] < ends[1][0]
        start = np.where(turned, ends[1], ends[0])
        stop = np.where(turned, ends[0], ends[1])
        order = np.argsort(column[cell], kind="stable")
        cell, start, stop = cell[order], start[:, order], stop[:, order]
        begin, end = (
            np.einsum("qem,eq->qm", force[cell], weights) for weights in (start, stop)
        )
        triangle = of[cell]
        collect.take(
            _Edges(
                column[cell],
                begin,
                end,
                start,
                stop,
                self.place[triangle],
                self.after[triangle],
            )
        )


@dataclass(frozen=True, eq=False)
class _Edges:
    """Edges in order of their configurations ``column`` (q,), forces (q, m) at their ends.

    ``start`` and ``stop`` (3, q) are shares of dead load, of a place and of the one
    after; the first has more of the dead load.
    """

    column: Index
    begin: Float
    end: Float
    start: Float
    stop: Float
    place: Index
    after: Index

    @cached_property
    def first(self) -> Index:
        """Return where the edges of each configuration begin."""
        return np.flatnonzero(np.r_[True, np.diff(self.column) != 0])

    def at(self, edge: Index, along: Float) -> Float:
        """Return the places, with the fraction of the way, at parts of some edges."""
        start, stop = self.start[1:, edge], self.stop[1:, edge]
        shares = start + along * (stop - start)
        ahead = shares[1] / np.maximum(shares[0] + shares[1], 1e-300)
        place: Float = self.place[edge] + ahead * (self.after[edge] - self.place[edge])
        return place

    def best(self, value: Float, known: Float) -> tuple[Index, Index]:
        """Return edges and columns of (q, k) values that are greatest of a configuration.

        And greater than ``known``, (k, c).
        """
        where = self.column[self.first]
        top = np.maximum.reduceat(value, self.first, axis=0)
        better = top > known[:, where].T
        if not better.any():
            nothing = np.zeros(0, np.intp)
            return nothing, nothing
        group = np.cumsum(np.r_[True, np.diff(self.column) != 0]) - 1
        edge, k = np.nonzero((value == top[group]) & better[group])
        _, chosen = np.unique(group[edge] * value.shape[1] + k, return_index=True)
        return edge[chosen], k[chosen]


class _Collect(Protocol):
    """What is done with the forces on edges."""

    def take(self, edges: _Edges) -> None:
        """Fold in edges of cells."""


@dataclass(frozen=True, eq=False)
class _Limits:
    """Limits, (L, m, c) upper and lower, and where they are first reached."""

    limits: tuple[Float, Float]
    found: Shares

    def take(self, edges: _Edges) -> None:
        own, start, stop = edges.column, edges.start[0], edges.stop[0]
        for sign, limit in ((1.0, self.limits[0]), (-1.0, self.limits[1])):
            for level in range(len(limit)):
                value = limit[level].T  # (c, m)
                members = np.flatnonzero(np.isfinite(value).any(axis=0))
                if not len(members):
                    continue
                bound = value[own][:, members]
                some = np.isfinite(bound)
                bound = np.where(some, bound, 0.0)
                over_a = sign * (edges.begin[:, members] - bound * start[:, None])
                over_b = sign * (edges.end[:, members] - bound * stop[:, None])
                at_a = (over_a >= 0.0) & some
                crosses = (over_b >= 0.0) & ~at_a & some
                along = np.divide(
                    over_a, over_a - over_b, out=np.zeros_like(over_a), where=crosses
                )
                share = start[:, None] + along * (stop - start)[:, None]
                share = np.where(at_a | crosses, share, 0.0)
                edge, k = edges.best(share, self.found.share[level][members])
                cut = level, members[k], own[edge]
                self.found.share[cut] = share[edge, k]
                self.found.at[cut] = edges.at(edge, along[edge, k])


@dataclass(frozen=True, eq=False)
class _Extremes:
    """Factors of members, (m,), and the extreme forces under each."""

    each: tuple[tuple[Float, Peaks], ...]

    def take(self, edges: _Edges) -> None:
        for factor, peaks in self.each:
            self._take(edges, factor, peaks)

    @staticmethod
    def _take(edges: _Edges, factor: Float, peaks: Peaks) -> None:
        start, stop = edges.start[0], edges.stop[0]
        members = np.flatnonzero(factor > 0.0)
        share = 1.0 / (1.0 + factor[members])
        crosses = (start[:, None] >= share) & (stop[:, None] <= share)
        span = (start - stop)[:, None]
        along = np.divide(
            start[:, None] - share,
            span,
            out=np.zeros(crosses.shape),
            where=crosses & (span > 0.0),
        )
        begin, end = edges.begin[:, members], edges.end[:, members]
        force = (begin + along * (end - begin)) / share
        for sign, most in ((1.0, peaks.high), (-1.0, peaks.low)):
            value = np.where(crosses, sign * force, -np.inf)
            edge, k = edges.best(value, sign * most[members])
            most[members[k], edges.column[edge]] = sign * value[edge, k]
