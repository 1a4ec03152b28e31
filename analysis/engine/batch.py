"""Envelopes of many configurations at once, by ``pairs``.

Feet and kips; tension positive; loads positive downward.
Array axes as in ``pairs``; ``t`` are the members asked for among those touched.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .equilibrium import Equilibrium, Float, Index, Mask
from .loads import Places
from .pairs import (
    TOLERANCE,
    Columns,
    Crossed,
    LiveBase,
    at_places,
    by_column,
    times,
    to_next,
)

#: Configurations worked on together: what a core keeps near it.
BLOCK = 256
#: Forces worked out together: two megabytes of them.
_FORCES_AT_ONCE = 2**18
#: Redundants worked out together at most, of all places and configurations.
_MOST_REDUNDANTS = 2**20
_NO_PLACE = np.iinfo(np.int32).max


@dataclass(frozen=True, eq=False)
class Peaks:
    """Extreme total forces so far and where: ``high``, ``low`` (m, c) kip.

    ``high_at``, ``low_at`` (m, c) are places, with the fraction of the way to the next.
    -1 is the dead load alone. None where places are not asked for.
    """

    high: Float
    low: Float
    high_at: Float | None
    low_at: Float | None

    @classmethod
    def from_dead(cls, force: Float, with_places: bool) -> Peaks:
        """Start from (m, c) dead-load forces."""
        high_at = low_at = None
        if with_places:
            high_at, low_at = np.full(force.shape, -1.0), np.full(force.shape, -1.0)
        return cls(force.copy(), force.copy(), high_at, low_at)

    def of(self, members: Index, columns: slice) -> Peaks:
        """Return a copy of some."""
        return Peaks(
            self.high[members, columns],
            self.low[members, columns],
            None if self.high_at is None else self.high_at[members, columns],
            None if self.low_at is None else self.low_at[members, columns],
        )

    def put(self, members: Index, columns: slice, new: Peaks) -> None:
        """Take new ones in place of some."""
        self.high[members, columns], self.low[members, columns] = new.high, new.low
        for mine, theirs in ((self.high_at, new.high_at), (self.low_at, new.low_at)):
            if mine is not None and theirs is not None:
                mine[members, columns] = theirs


def dead_columns(crossed: Crossed) -> tuple[Columns, Float, Mask]:
    """Return redundants, (m, c) forces under dead load and which columns are beyond."""
    columns = crossed.settle(crossed.dead_g, crossed.dead_r, crossed.dead_scale)
    force = crossed.dead_base + crossed.stress @ columns.x
    beyond = columns.unsettled.copy()
    zero = TOLERANCE * crossed.dead_scale
    beyond |= (force[crossed.system.watched] < -zero).any(axis=0)
    return columns, force, beyond


def linear_peaks(
    system: Equilibrium, joint_load: Float, members: Index, factor: Float
) -> tuple[Float, Float, Index, Index]:
    """Return live extremes of members that no redundant touches, and their places.

    ``joint_load`` is (s, n); all answers are (t,). An extreme of the wrong sign is 0 at
    place -1.
    """
    force = system.particular[members] @ joint_load.T * factor[members][:, None]
    if not force.shape[1]:
        none = np.full(len(members), -1, np.intp)
        zero = np.zeros(len(members))
        return zero, zero, none, none
    top, bottom = force.argmax(axis=1), force.argmin(axis=1)
    every = np.arange(len(members))
    high, low = force[every, top], force[every, bottom]
    return (
        np.maximum(high, 0.0),
        np.minimum(low, 0.0),
        np.where(high > 0.0, top, -1),
        np.where(low < 0.0, bottom, -1),
    )


def vehicle_peaks(
    crossed: Crossed,
    live: LiveBase,
    places: Places,
    factor: float | Float,
    wanted: Index,
    peaks: Peaks,
    standing_only: bool = False,
    own: Mask | None = None,
) -> Mask:
    """Fold into ``peaks`` the extremes of members under vehicles.

    Parameters
    ----------
    crossed : Crossed
    live : LiveBase of ``places``
    places : Places
    factor : float or (c,) float, on the live load of each configuration
    wanted : (t,) int, members; those of ``peaks``
    peaks : Peaks, changed in place
    standing_only : bool
        Whether to leave out positions in which a lone tension-only bar, without which
        the truss falls, would go slack. If not, there must be none.
    own : (t, c) bool, optional
        Which members are asked for of each configuration; all by default.

    Returns
    -------
    (c,) bool
        Configurations that ``pairs`` cannot answer.
    """
    beyond = np.zeros(crossed.count, bool)
    factors = np.atleast_1d(np.asarray(factor, float))
    # Of small trusses more go together: a call costs as much as its work. Of very long
    # ones fewer do, so that memory stays small.
    each = max(1, live.r.size)
    several = max(min(BLOCK, _MOST_REDUNDANTS // each), _FORCES_AT_ONCE // 2 // each, 1)
    for begin in range(0, crossed.count, several):
        block = slice(begin, min(begin + several, crossed.count))
        mine = factors if len(factors) == 1 else factors[block]
        asked = None if own is None else own[:, block]
        work = _Block(crossed, live, places.linked, mine, wanted, peaks, block, asked)
        beyond[block] = work.run(standing_only)
    return beyond


def mixed_peaks(
    crossed: Crossed,
    live: LiveBase,
    linked: Mask,
    factor: Float,
    wanted: Index,
    peaks: Peaks,
) -> Mask:
    """Do what ``vehicle_peaks`` does for one block, of which each configuration has its
    own geometry: ``mixed`` puts it together."""
    every = slice(0, crossed.count)
    work = _Block(crossed, live, linked, factor, wanted, peaks, every, None)
    return work.run(False)


@dataclass(frozen=True, eq=False)
class _Block:
    """One block of configurations under vehicles, each with its (c,) or (1,) factor."""

    crossed: Crossed
    live: LiveBase
    linked: Mask
    factor: Float
    wanted: Index
    peaks: Peaks
    block: slice
    own: Mask | None

    def run(self, standing_only: bool) -> Mask:
        """Fold in the extremes; return the configurations not answered."""
        crossed, block = self.crossed, self.block
        scale = crossed.dead_scale[block] + self.factor * self.live.scale
        g = crossed.drive(self.live, block)
        g *= self.factor
        g += crossed.dead_g[:, None, block]
        r = self.factor * by_column(self.live.r) + crossed.dead_r[:, None, block]
        columns = crossed.settle(g, r, scale, np.arange(block.start, block.stop))
        beyond = columns.unsettled.copy()
        falls = self._falls(scale) if standing_only else None

        wanted = self.wanted if self.own is None else self.wanted[:0]
        rows = np.concatenate([wanted, crossed.system.watched])
        each = max(1, _FORCES_AT_ONCE // max(1, int(np.prod(g.shape[1:]))))
        for first in range(0, len(rows), each):
            members = rows[first : first + each]
            force = self._forces(columns.x, members)
            dead = crossed.dead_base[members, block]
            asked = max(0, len(wanted) - first)
            if asked < len(members):
                slack = force[asked:] < (-TOLERANCE * scale - dead[asked:])[:, None]
                if falls is not None:
                    slack &= ~falls
                beyond |= slack.any(axis=(0, 1))
            some = slice(first, min(first + each, len(wanted)))
            if asked:
                asked = some.stop - first
                _take(force[:asked], dead[:asked], falls, some, self.peaks, block)
        if beyond.all():
            return beyond
        if self.own is not None:
            self._take_own(self.own, columns.x, falls)
        beyond |= self._changes((columns, g, r), scale, falls)
        return beyond

    def _take_own(self, own: Mask, x: Float, falls: Mask | None) -> None:
        """Fold in, of each column, the members asked for of it alone."""
        for c, members in _columns_of(own):
            mine = slice(self.block.start + c, self.block.start + c + 1)
            column = slice(c, c + 1)
            work = replace(
                self,
                factor=self.factor if len(self.factor) == 1 else self.factor[column],
                wanted=self.wanted[members],
                peaks=self.peaks.of(members, mine),
                block=mine,
                own=None,
            )
            force = work._forces(x[..., column], work.wanted)
            fallen = None if falls is None else falls[:, column]
            dead = self.crossed.dead_base[work.wanted, mine]
            _take(force, dead, fallen, slice(0, len(members)), work.peaks, slice(0, 1))
            self.peaks.put(members, mine, work.peaks)

    def _factor_of(self, column: Index) -> Float:
        """Return (w,) or (1,) factors of columns of the block."""
        return self.factor if len(self.factor) == 1 else self.factor[column]

    def _falls(self, scale: Float) -> Mask:
        """Return (s, c): whether a lone bar would be slack."""
        lone = self.crossed.system.lone
        force = self.factor * self.live.base[lone][:, :, None]
        force = force + self.crossed.dead_base[lone][:, None, self.block]
        slack: Mask = np.logical_or.reduce(force < -TOLERANCE * scale, axis=0)
        return slack

    def _forces(self, x: Float, members: Index) -> Float:
        """Return (t, s, c) forces of some members, less those of the dead load alone
        on the determinate remainder, which are the same at every place.
        """
        force = times(self.crossed.stress[members], x)
        force += self.factor * by_column(self.live.base[members])
        return force

    def _changes(
        self,
        settled: tuple[Columns, Float, Float],
        scale: Float,
        falls: Mask | None,
    ) -> Mask:
        """Fold in the places between axles on joints where a rod goes slack or taut."""
        columns, g, r = settled
        states = columns.states
        beyond = np.zeros(len(scale), bool)
        differ = ((states[:, :-1] & states[:, 1:]) == 0).any(axis=0)
        differ &= to_next(self.linked)
        if falls is not None:
            differ &= ~(falls[:-1] | falls[1:])
        start = np.flatnonzero(differ)
        if not len(start) and falls is None:
            return beyond
        pool = _Pool.of(columns, g, r)
        begun = len(pool.place)
        stop = start + len(scale)
        if falls is not None:
            pool, more_start, more_stop = self._brinks(pool, falls, scale)
            start = np.concatenate([start, more_start])
            stop = np.concatenate([stop, more_stop])
        column = pool.column[start]
        walk = self.crossed.walk(
            self.crossed.stretches(
                column + self.block.start,
                (pool.columns, pool.r, start),
                (pool.columns, pool.g, pool.r, stop),
                scale[column],
            )
        )
        beyond[column[walk.lost]] = True
        beyond[pool.column[begun:][pool.columns.unsettled[begun:]]] = True
        first, last = pool.place[start][walk.row], pool.place[stop][walk.row]
        self._take_points(
            np.concatenate([first + walk.part * (last - first), pool.place[begun:]]),
            np.concatenate([column[walk.row], pool.column[begun:]]),
            np.hstack([walk.x, pool.columns.x[:, begun:]]),
            scale,
            beyond,
        )
        return beyond

    def _brinks(
        self, pool: _Pool, falls: Mask, scale: Float
    ) -> tuple[_Pool, Index, Index]:
        """Add the places where the truss is about to fall, between two places.

        Returns the pool with them, and where in it the stretches that stand start and
        stop, if rods go slack or taut along them.
        """
        linked = to_next(self.linked)
        start = np.flatnonzero(linked & (falls[:-1] | falls[1:]))
        place, column = np.divmod(start, len(scale))
        lone = self.crossed.system.lone
        dead = self.crossed.dead_base[lone][:, column + self.block.start]
        base, factor = self.live.base[lone], self._factor_of(column)
        begin = factor * base[:, place] + dead
        end = factor * base[:, place + 1] + dead
        zero = -TOLERANCE * scale[column]
        out_begin, out_end = begin < zero, end < zero
        span = np.where(out_begin != out_end, begin - end, 1.0)
        low = np.where(out_begin, begin / span, 0.0).max(axis=0, initial=0.0)
        high = np.where(out_end, np.maximum(begin, 0.0) / span, 1.0)
        high = high.min(axis=0, initial=1.0)
        stands = (low <= high) & ~(out_begin & out_end).any(axis=0)
        start, low, high = start[stands], low[stands], high[stands]
        later, sooner = np.flatnonzero(low > 0.0), np.flatnonzero(high < 1.0)
        seam = np.concatenate([start[later], start[sooner]])
        part = np.concatenate([low[later], high[sooner]])
        begun = len(pool.place)
        pool = pool.with_points(self.crossed, seam, part, len(scale), scale, self.block)
        stop = start + len(scale)
        start[later] = begun + np.arange(len(later))
        stop[sooner] = begun + len(later) + np.arange(len(sooner))
        states = pool.columns.states
        differ = ((states[:, start] & states[:, stop]) == 0).any(axis=0)
        return pool, start[differ], stop[differ]

    def _take_points(
        self, place: Float, column: Index, x: Float, scale: Float, beyond: Mask
    ) -> None:
        """Fold in (w,) places with (k, w) redundants."""
        if not len(place):
            return
        order = np.argsort(column, kind="stable")
        place, column, x = place[order], column[order], x[:, order]
        watched = self.crossed.system.watched
        if self.own is not None:
            # Watched bars everywhere, the members asked for only where they are.
            each = max(1, _FORCES_AT_ONCE // max(1, len(watched)))
            for first in range(0, len(place) if len(watched) else 0, each):
                part = slice(first, first + each)
                force = self._forces_at(watched, place[part], column[part], x[:, part])
                _mark_slack(force, column[part], scale, beyond)
            bounds = np.searchsorted(column, np.arange(len(scale) + 1))
            for c, members in _columns_of(self.own):
                part = slice(int(bounds[c]), int(bounds[c + 1]))
                if part.start == part.stop:
                    continue
                mine = slice(self.block.start + c, self.block.start + c + 1)
                wanted = self.wanted[members]
                force = self._forces_at(wanted, place[part], column[part], x[:, part])
                peaks = self.peaks.of(members, mine)
                nothing = np.zeros(part.stop - part.start, np.intp)
                _take_changes(force, nothing, place[part], peaks, slice(0, 1))
                self.peaks.put(members, mine, peaks)
            return
        count = len(self.wanted)
        force = self._forces_at(
            np.concatenate([self.wanted, watched]), place, column, x
        )
        if len(watched):
            _mark_slack(force[count:], column, scale, beyond)
            force = force[:count]
        _take_changes(force, column, place, self.peaks, self.block)

    def _forces_at(self, rows: Index, place: Float, column: Index, x: Float) -> Float:
        """Return (t, w) total forces at places of columns with (k, w) redundants."""
        before = np.minimum(place.astype(np.intp), self.live.base.shape[1] - 2)
        part = place - before
        base = self.live.base[rows]
        force = at_places(base, before, column)
        force += part * (at_places(base, before + 1, column) - force)
        force *= self._factor_of(column)
        force += self.crossed.dead_base[rows].take(column + self.block.start, axis=1)
        force += times(self.crossed.stress[rows], x, column)
        return force


def _mark_slack(force: Float, column: Index, scale: Float, beyond: Mask) -> None:
    """Mark the columns of (t, w) forces in which any is pressed."""
    slack = (force < -TOLERANCE * scale[column]).any(axis=0)
    np.logical_or.at(beyond, column[slack], True)


def _columns_of(own: Mask) -> Iterator[tuple[int, Index]]:
    """Yield every column of (t, c) that has members, and which."""
    for c in np.flatnonzero(own.any(axis=0)).tolist():
        yield c, np.flatnonzero(own[:, c])


@dataclass(frozen=True, eq=False)
class _Pool:
    """Settled points, (N,): place, column, and (k, N) redundants, drives and bounds."""

    place: Float
    column: Index
    columns: Columns
    g: Float
    r: Float

    @classmethod
    def of(cls, columns: Columns, g: Float, r: Float) -> _Pool:
        """Take settled places, (k, s, c), one after the other."""
        k, places, count = g.shape

        def flat(of: NDArray[Any]) -> NDArray[Any]:
            return of.reshape(k, places * count)

        return cls(
            np.repeat(np.arange(float(places)), count),
            np.tile(np.arange(count), places),
            Columns(
                flat(columns.x),
                flat(columns.target),
                flat(columns.states),
                np.zeros(places * count, bool),
            ),
            flat(g),
            flat(r),
        )

    def with_points(
        self,
        crossed: Crossed,
        seam: Index,
        part: Float,
        count: int,
        scale: Float,
        block: slice,
    ) -> _Pool:
        """Add points a part of the way from points ``seam`` to the next places."""
        column = self.column[seam]

        def between(of: Float) -> Float:
            begin = of[:, seam]
            return begin + part * (of[:, seam + count] - begin)

        g, r = between(self.g), between(self.r)
        new = crossed.settle(g, r, scale[column], column + block.start)
        old = self.columns
        return _Pool(
            np.concatenate([self.place, self.place[seam] + part]),
            np.concatenate([self.column, column]),
            Columns(
                np.hstack([old.x, new.x]),
                np.hstack([old.target, new.target]),
                np.hstack([old.states, new.states]),
                np.concatenate([old.unsettled, new.unsettled]),
            ),
            np.hstack([self.g, g]),
            np.hstack([self.r, r]),
        )


def _take(
    force: Float,
    dead: Float,
    falls: Mask | None,
    members: slice,
    peaks: Peaks,
    block: slice,
) -> None:
    """Fold (t, s, c) forces and (t, c) of some members into the peaks, with places."""
    for sign, best, best_at in (
        (1, peaks.high, peaks.high_at),
        (-1, peaks.low, peaks.low_at),
    ):
        extreme = np.maximum if sign == 1 else np.minimum
        kept = force if falls is None else np.where(falls, -sign * np.inf, force)
        highest = extreme.reduce(kept, axis=1)
        top = highest + dead
        mine = best[members, block]
        if best_at is not None:
            better = top > mine if sign == 1 else top < mine
            place = np.arange(force.shape[1], dtype=np.int32)[:, None]
            at = np.where(force == highest[:, None], place, _NO_PLACE).min(axis=1)
            np.copyto(best_at[members, block], at, where=better)
        extreme(mine, top, out=mine)


def _take_changes(
    force: Float, column: Index, place: Float, peaks: Peaks, block: slice
) -> None:
    """Fold in (t, v) forces at places of columns, which are in order."""
    starts = np.flatnonzero(np.r_[True, np.diff(column) > 0])
    stops = np.r_[starts[1:], len(column)]
    width = np.arange(int((stops - starts).max()))
    where = column[starts]
    for sign, best, best_at in (
        (1, peaks.high[:, block], peaks.high_at),
        (-1, peaks.low[:, block], peaks.low_at),
    ):
        extreme = np.maximum if sign == 1 else np.minimum
        top = extreme.reduceat(force, starts, axis=1)
        if best_at is None:
            best[:, where] = extreme(best[:, where], top)
            continue
        member, group = np.nonzero(sign * top > sign * best[:, where])
        if not len(member):
            continue
        events = np.minimum(starts[group][:, None] + width, stops[group][:, None] - 1)
        among = sign * force[member[:, None], events]
        chosen = events[np.arange(len(member)), among.argmax(axis=1)]
        best[member, where[group]] = force[member, chosen]
        best_at[:, block][member, where[group]] = place[chosen]


def fronts(places: Places, at: Float) -> tuple[Float, Index, Index]:
    """Return front axle (ft), heading and load number of places, -1 being nowhere."""
    some = at >= 0.0
    if not len(places.front_ft):
        zero = np.zeros(at.shape)
        return zero, zero.astype(np.intp), np.full(at.shape, -1, np.intp)
    place = np.where(some, at, 0.0).astype(np.intp)
    part = np.where(some, at, 0.0) - place
    after = np.minimum(place + 1, len(places.front_ft) - 1)
    front = (1.0 - part) * places.front_ft[place] + part * places.front_ft[after]
    return (
        np.where(some, front, 0.0),
        np.where(some, places.heading[place], 0),
        np.where(some, places.load[place], -1),
    )
