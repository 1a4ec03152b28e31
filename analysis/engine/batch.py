"""Envelopes of many configurations at once, by ``pairs``.

Feet and kips; tension positive; loads positive downward.
Array axes as in ``pairs``; ``t`` are the members asked for among those touched.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .equilibrium import Equilibrium, Float, Index, Mask
from .loads import Places
from .pairs import TOLERANCE, Columns, Crossed, LiveBase

#: Configurations worked on together: their arrays stay in the processor's cache.
BLOCK = 128
_NO_PLACE = np.iinfo(np.int32).max


@dataclass(frozen=True, eq=False)
class Peaks:
    """Extreme total forces so far and where: ``high``, ``low`` (m, c) kip.

    ``high_at``, ``low_at`` (m, c) are places, with the fraction of the way to the next.
    -1 is the dead load alone.
    """

    high: Float
    low: Float
    high_at: Float
    low_at: Float

    @classmethod
    def from_dead(cls, force: Float) -> Peaks:
        """Start from (m, c) dead-load forces."""
        return cls(
            force.copy(),
            force.copy(),
            np.full(force.shape, -1.0),
            np.full(force.shape, -1.0),
        )


def dead_columns(crossed: Crossed) -> tuple[Columns, Float, Mask]:
    """Return redundants, (e, c) forces under dead load and which columns are beyond."""
    columns = crossed.settle(crossed.dead_g, crossed.dead_r, crossed.dead_scale)
    force = crossed.dead_base + crossed.stress @ columns.x
    beyond = columns.unsettled.copy()
    zero = TOLERANCE * crossed.dead_scale
    beyond |= (force[crossed.watched] < -zero).any(axis=0)
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
    factor: float,
    wanted: Index,
    peaks: Peaks,
) -> Mask:
    """Fold into ``peaks`` the extremes of touched members under vehicles.

    Parameters
    ----------
    crossed : Crossed
    live : LiveBase of ``places``
    places : Places
    factor : float, on the live load
    wanted : (t,) int, rows of ``crossed.members``; those of ``peaks``
    peaks : Peaks, changed in place

    Returns
    -------
    (c,) bool
        Configurations that ``pairs`` cannot answer.
    """
    beyond = np.zeros(crossed.count, bool)
    for begin in range(0, crossed.count, BLOCK):
        block = slice(begin, min(begin + BLOCK, crossed.count))
        beyond[block] = _block_peaks(
            crossed, live, places, factor, wanted, peaks, block
        )
    return beyond


def _block_peaks(
    crossed: Crossed,
    live: LiveBase,
    places: Places,
    factor: float,
    wanted: Index,
    peaks: Peaks,
    block: slice,
) -> Mask:
    scale = crossed.dead_scale[block] + factor * live.scale
    g = crossed.drive(live, block)
    g *= factor
    g += crossed.dead_g[:, None, block]
    r = (factor * live.r)[:, :, None] + crossed.dead_r[:, None, block]
    columns = crossed.settle(g, r, scale, np.arange(block.start, block.stop))
    beyond = columns.unsettled.copy()

    zero = -TOLERANCE * scale
    force, work = np.empty_like(g[0]), np.empty_like(g[0])
    row_of = {int(row): t for t, row in enumerate(wanted)}
    for row in sorted(set(row_of) | set(crossed.watched.tolist())):
        _force(crossed, live, factor, columns.x, row, block, force, work)
        if row in row_of:
            _take(force, row_of[row], peaks, block)
        if row in crossed.watched:
            beyond |= (force < zero).any(axis=0)
    beyond |= _changes(
        crossed, live, places, factor, wanted, peaks, block, (columns, g, r)
    )
    return beyond


def _force(
    crossed: Crossed,
    live: LiveBase,
    factor: float,
    x: Float,
    row: int,
    block: slice,
    out: Float,
    work: Float,
) -> None:
    """Put (s, c) total forces of one touched member into ``out``."""
    np.add(
        (factor * live.base[row])[:, None],
        crossed.dead_base[row, block][None],
        out=out,
    )
    for i in np.flatnonzero(crossed.stress[row]):
        np.multiply(x[i], crossed.stress[row, i], out=work)
        np.add(out, work, out=out)


def _take(force: Float, t: int, peaks: Peaks, block: slice) -> None:
    """Fold (s, c) forces of member ``t`` into the peaks, with their places."""
    place = np.arange(len(force), dtype=np.int32)[:, None]
    top = force.max(axis=0)
    at = np.where(force == top, place, _NO_PLACE).min(axis=0)
    more = top > peaks.high[t, block]
    np.copyto(peaks.high[t, block], top, where=more)
    np.copyto(peaks.high_at[t, block], at, where=more)
    bottom = force.min(axis=0)
    at = np.where(force == bottom, place, _NO_PLACE).min(axis=0)
    less = bottom < peaks.low[t, block]
    np.copyto(peaks.low[t, block], bottom, where=less)
    np.copyto(peaks.low_at[t, block], at, where=less)


def _changes(
    crossed: Crossed,
    live: LiveBase,
    places: Places,
    factor: float,
    wanted: Index,
    peaks: Peaks,
    block: slice,
    settled: tuple[Columns, Float, Float],
) -> Mask:
    """Fold in the places between axles on joints where a rod goes slack or taut."""
    columns, g, r = settled
    states = columns.states
    beyond = np.zeros(states.shape[-1], bool)
    differ = ((states[:, :-1] & states[:, 1:]) == 0).any(axis=0)
    differ &= places.linked[:, None]
    at = np.flatnonzero(differ)
    if not len(at):
        return beyond
    place, column = np.divmod(at, len(beyond))
    scale = crossed.dead_scale[block][column] + factor * live.scale
    walk = crossed.walk(
        crossed.stretches(
            column + block.start,
            (columns, r, at),
            (columns, g, r, at + len(beyond)),
            scale,
        )
    )
    np.logical_or.at(beyond, column[walk.lost], True)
    if not len(walk.row):
        return beyond

    order = np.argsort(column[walk.row], kind="stable")
    row, part, x = walk.row[order], walk.part[order], walk.x[:, order]
    column, place = column[row], place[row]
    rows = np.concatenate([wanted, crossed.watched])
    base = live.base[rows] * factor
    force = base.take(place, axis=1)
    force += part * (base.take(place + 1, axis=1) - force)
    force += crossed.dead_base[rows].take(column + block.start, axis=1)
    force += crossed.stress[rows] @ x
    slack = (force[len(wanted) :] < -TOLERANCE * scale[row]).any(axis=0)
    np.logical_or.at(beyond, column[slack], True)
    _take_changes(force[: len(wanted)], column, place + part, peaks, block)
    return beyond


def _take_changes(
    force: Float, column: Index, place: Float, peaks: Peaks, block: slice
) -> None:
    """Fold in (t, v) forces at places of columns, which are in order."""
    starts = np.flatnonzero(np.r_[True, np.diff(column) > 0])
    stops = np.r_[starts[1:], len(column)]
    width = np.arange(int((stops - starts).max()))
    where = column[starts]
    for sign, best, best_at in (
        (1, peaks.high[:, block], peaks.high_at[:, block]),
        (-1, peaks.low[:, block], peaks.low_at[:, block]),
    ):
        extreme = np.maximum if sign == 1 else np.minimum
        top = extreme.reduceat(force, starts, axis=1)
        member, group = np.nonzero(sign * top > sign * best[:, where])
        if not len(member):
            continue
        events = np.minimum(starts[group][:, None] + width, stops[group][:, None] - 1)
        among = sign * force[member[:, None], events]
        chosen = events[np.arange(len(member)), among.argmax(axis=1)]
        best[member, where[group]] = force[member, chosen]
        best_at[member, where[group]] = place[chosen]


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
