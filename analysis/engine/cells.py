"""Multiples of moving loads on many configurations at once, by ``pairs``.

Feet and kips; tension positive; loads positive downward.
Array axes as in ``pairs``, and: ``L`` rating levels, ``t`` members asked for among those
touched, ``q`` edges of cells.

As in ``general``, all positions between two neighbouring places and all multiples make
up a triangle with corners dead load, one place, the next. A state of the redundants
holds over a convex cell of it, in which forces are linear; a limit is first reached on
the edge of a cell. Where one state holds at all three corners there is only one cell,
and its edges are the two rays from the dead load. Elsewhere the cells are visited from
neighbour to neighbour: across an edge just one redundant changes state.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .equilibrium import Float, Index, Mask
from .loads import Places
from .pairs import (
    LOWEST_STATE,
    TOLERANCE,
    Columns,
    Corners,
    Crossed,
    LiveBase,
    Small,
)

#: Configurations worked on together.
BLOCK = 128
#: Multiples of the live load beyond this are not told from infinity.
BEYOND = 1e9
#: Rings of cells round the one a visit starts from, at most.
_MOST_ROUNDS = 400
#: Entries of the table of cells visited, beyond which they are looked up by key.
_TABLE = 2**22
_ODD = np.uint64(0x9E3779B97F4A7C15)
_EDGES_AT_ONCE = 4096
_FORCES_AT_ONCE = 2**14


@dataclass(frozen=True, eq=False)
class Shares:
    """The greatest share of dead load at which each limit is reached so far.

    ``share`` (L, t, c); a multiple of the live load is (1 - share) / share. ``at``
    (L, t, c) are places, with the fraction of the way to the next; -1 is nowhere.
    """

    share: Float
    at: Float

    def multiple(self) -> Float:
        """Return (L, t, c) multiples of the live load."""
        known = np.maximum(self.share, 1e-300)
        return np.where(self.share * BEYOND > 1.0, (1.0 - self.share) / known, np.inf)


def vehicle_shares(
    crossed: Crossed,
    dead: Columns,
    live: LiveBase,
    places: Places,
    wanted: Index,
    limits: tuple[Float, Float],
) -> tuple[Shares, Mask]:
    """Return where touched members first reach limits under multiples of vehicles.

    Parameters
    ----------
    crossed : Crossed
    dead : Columns under dead load
    live : LiveBase of ``places``
    places : Places
    wanted : (t,) int, members
    limits : upper and lower total forces, (L, t, c) kip, which may be infinite

    Returns
    -------
    Shares
    (c,) bool
        Configurations that ``pairs`` cannot answer.
    """
    shape = limits[0].shape
    found = Shares(np.zeros(shape), np.full(shape, -1.0))
    beyond = np.zeros(crossed.count, bool)
    for begin in range(0, crossed.count, BLOCK):
        block = np.arange(begin, min(begin + BLOCK, crossed.count))
        beyond[block] = _block_shares(
            crossed, dead, live, places, wanted, limits, found, block
        )
    return found, beyond


def _block_shares(
    crossed: Crossed,
    dead: Columns,
    live: LiveBase,
    places: Places,
    wanted: Index,
    limits: tuple[Float, Float],
    found: Shares,
    block: Index,
) -> Mask:
    scale = np.full(len(block), live.scale)
    g = crossed.drive(live, block)
    r = np.repeat(live.r[:, :, None], len(block), axis=2)
    columns = crossed.settle(g, r, scale, block)
    beyond = columns.unsettled.copy()

    from_dead = dead.states[:, None, block] & columns.states
    straight = (from_dead != 0).all(axis=0)  # (s, c): one state along the whole ray
    joined = from_dead[:, :-1] & columns.states[:, 1:]
    split = ~(joined != 0).all(axis=0) & places.linked[:, None]
    dead_force = crossed.dead_base[wanted][:, block]
    dead_force = dead_force + crossed.stress[wanted] @ dead.x[:, block]
    _straight_rays(
        crossed, live, columns, straight, wanted, limits, found, block, dead_force
    )
    if len(crossed.system.watched):
        for row in crossed.system.watched:
            force = live.base[row][:, None] + np.tensordot(
                crossed.stress[row], columns.x, axes=1
            )
            beyond |= (force < -TOLERANCE * live.scale).any(axis=0)

    linked = np.zeros(len(straight) + 1, bool)
    linked[1:-1] = places.linked
    alone = ~straight & ~(linked[1:] | linked[:-1])[:, None]
    place, column = np.nonzero(split)
    lone_place, lone_column = np.nonzero(alone)
    after = np.concatenate([place + 1, lone_place])
    place = np.concatenate([place, lone_place])
    column = np.concatenate([column, lone_column])
    if not len(place):
        return beyond
    triangles = _Triangles(
        column,
        place,
        after,
        crossed.corners(
            block[column],
            (
                crossed.dead_g[:, block[column]],
                g[:, place, column],
                g[:, after, column],
            ),
            (crossed.dead_r[:, block[column]], live.r[:, place], live.r[:, after]),
            np.maximum(crossed.dead_scale[block[column]], live.scale),
        ),
        ~straight[place, column] & ~linked[place],
        ~straight[after, column],
    )
    guess = (
        dead.x[:, block[column]]
        + columns.x[:, place, column]
        + columns.x[:, after, column]
    ) / 3.0
    edges, lost = _visit(crossed, triangles, guess)
    beyond[lost] = True
    beyond |= _take_edges(crossed, live, triangles, edges, wanted, limits, found, block)
    return beyond


def _straight_rays(
    crossed: Crossed,
    live: LiveBase,
    columns: Columns,
    straight: Mask,
    wanted: Index,
    limits: tuple[Float, Float],
    found: Shares,
    block: Index,
    dead_force: Float,
) -> None:
    """Fold in the rays along which one state holds: forces are linear in the multiple."""
    place = np.arange(len(straight), dtype=np.int32)[:, None]
    nowhere = np.iinfo(np.int32).max
    k, places, count = columns.x.shape
    several = max(1, _FORCES_AT_ONCE // max(places * count, 1))
    for first in range(0, len(wanted), several):
        t = slice(first, first + several)
        stress = crossed.stress[wanted[t]]
        force = (stress @ columns.x.reshape(k, -1)).reshape(-1, places, count)
        force += live.base[wanted[t]][:, :, None]
        for sign, limit in ((1.0, limits[0]), (-1.0, limits[1])):
            room = sign * (limit[:, t, block] - dead_force[t])  # (L, t, c)
            towards = np.where(straight, sign * force, -np.inf)
            top = towards.max(axis=1, initial=-np.inf)
            rises = (top > 0.0) & np.isfinite(room)
            if not rises.any():
                continue
            share = np.where(rises, top, 0.0) / (
                np.where(rises, np.maximum(room, 0.0), 1.0) + np.maximum(top, 1e-300)
            )
            better = share > found.share[:, t, block]
            at = np.where(towards == top[:, None], place, nowhere).min(axis=1)
            found.share[:, t, block] = np.where(better, share, found.share[:, t, block])
            found.at[:, t, block] = np.where(better, at, found.at[:, t, block])


@dataclass(frozen=True, eq=False)
class _Triangles:
    """Triangles (w) of dead load, place and next place, and which rays they own."""

    column: Index
    place: Index
    after: Index
    corners: Corners
    near_ray: Mask
    far_ray: Mask


@dataclass(frozen=True, eq=False)
class _Edges:
    """Edges of cells: ``triangle`` (q,); corner shares (3, q) and redundants (k, q).

    ``one`` has more dead load in it than ``two``. ``on_ray`` (q,): whether the live load
    is that of one place.
    """

    triangle: Index
    on_ray: Mask
    one: Float
    two: Float
    x_one: Float
    x_two: Float

    @classmethod
    def joined(cls, parts: list[_Edges]) -> _Edges:
        """Put the edges of several cells together."""
        return cls(
            np.concatenate([e.triangle for e in parts]),
            np.concatenate([e.on_ray for e in parts]),
            np.hstack([e.one for e in parts]),
            np.hstack([e.two for e in parts]),
            np.hstack([e.x_one for e in parts]),
            np.hstack([e.x_two for e in parts]),
        )


def _visit(
    crossed: Crossed, triangles: _Triangles, guess: Float
) -> tuple[_Edges, Index]:
    """Return the edges of every cell, and the columns of triangles given up."""
    corners = triangles.corners
    k = len(guess)
    weights = np.full(3, 1.0 / 3.0)
    g, r = (np.tensordot(weights, of, axes=(0, 1)) for of in (corners.g, corners.r))
    x, pull, ok = crossed.pivot(corners.a, g, r, guess)
    state = LOWEST_STATE[crossed.states(x, pull, r, corners.scale)]
    seen = _Seen(triangles.column.size, k)
    fresh = seen.first_time(np.flatnonzero(ok), state[:, ok])
    here, state = np.flatnonzero(ok)[fresh], state[:, ok][:, fresh]
    found: list[_Edges] = []
    while len(here) and len(found) < _MOST_ROUNDS:
        edges, across, state = _cell_edges(crossed, triangles, here, state)
        found.append(edges)
        fresh = seen.first_time(across, state)
        here, state = across[fresh], state[:, fresh]
    lost = np.concatenate([np.flatnonzero(~ok), here])
    nothing = _Edges(
        here[:0],
        np.zeros(0, bool),
        *([np.zeros((3, 0))] * 2),
        *([np.zeros((k, 0))] * 2),
    )
    return _Edges.joined([nothing, *found]), triangles.column[lost]


class _Seen:
    """Which states have been visited in which triangles."""

    def __init__(self, triangles: int, k: int) -> None:
        self._table = None
        if triangles * 3**k <= _TABLE:
            self._table = np.full(triangles * 3**k, -1, np.int32)
        self._keys = np.zeros(0, np.uint64)
        self._signature = np.random.default_rng(1890).integers(
            1, 2**63, (k, 3), np.uint64
        )

    def first_time(self, triangle: Index, state: Small) -> Index:
        """Return which of (w,) triangles with (k, w) states are new, each once."""
        if self._table is not None:
            number = triangle.copy()
            for row in state:
                number = number * 3 + row
            new = np.flatnonzero(self._table[number] < 0)
            mark = np.arange(len(new), dtype=np.int32)
            self._table[number[new]] = mark
            first_of: Index = new[self._table[number[new]] == mark]
            return first_of
        keys = (triangle.astype(np.uint64) + np.uint64(1)) * _ODD
        for i, row in enumerate(state):
            keys = keys + self._signature[i, row]
        keys, first = np.unique(keys, return_index=True)
        fresh = ~np.isin(keys, self._keys)
        self._keys = np.concatenate([self._keys, keys[fresh]])
        again: Index = first[fresh]
        return again


_OTHERS = np.array([[1, 2], [0, 2], [0, 1]], np.int8)


def _cell_edges(
    crossed: Crossed, triangles: _Triangles, here: Index, state: Small
) -> tuple[_Edges, Index, Small]:
    """Return the edges of cells, and the cells across them."""
    corners = triangles.corners.only(here)
    x, watch = crossed.hold(corners, state)
    k = len(x)
    others = _OTHERS[state]  # (k, w, 2)
    ks, ws = np.ogrid[:k, : len(here)]
    watch = np.stack([watch[ks, others[..., i], :, ws] for i in (0, 1)], axis=1)
    watch = np.ascontiguousarray(np.moveaxis(watch, 3, 2)).reshape(2 * k, 3, len(here))
    watch[np.abs(watch) <= TOLERANCE * corners.scale] = 0.0
    negative = watch < 0.0
    some = np.logical_or.reduce(negative, axis=1)
    outside = np.logical_and.reduce(negative, axis=1)
    alive = ~np.logical_or.reduce(outside, axis=0)
    line, cell = np.nonzero(some & ~outside & alive)

    values = watch[line, :, cell]  # (q, 3)
    below = values < 0.0
    odd = np.where(below.sum(axis=1) == 1, below.argmax(axis=1), below.argmin(axis=1))
    q = np.arange(len(line))
    ends = []
    for step in (1, 2):
        other = (odd + step) % 3
        at_odd, at_other = values[q, odd], values[q, other]
        part = at_odd / (at_odd - at_other)
        end = np.zeros((3, len(q)))
        end[odd, q] = 1.0 - part
        end[other, q] = part
        ends.append(end)

    near = np.flatnonzero(triangles.near_ray[here] & alive)
    far = np.flatnonzero(triangles.far_ray[here] & alive)
    dead_corner, near_corner, far_corner = np.eye(3)
    one = np.hstack(
        [ends[0], np.repeat(dead_corner[:, None], len(near) + len(far), axis=1)]
    )
    two = np.hstack(
        [
            ends[1],
            np.repeat(near_corner[:, None], len(near), axis=1),
            np.repeat(far_corner[:, None], len(far), axis=1),
        ]
    )
    cells = np.concatenate([cell, near, far])
    low, high = np.zeros(len(cells)), np.ones(len(cells))
    zero = TOLERANCE * corners.scale[cells]
    for i in np.flatnonzero(some.any(axis=1)):
        row = watch[i][:, cells]
        begin, end = (row * one).sum(axis=0), (row * two).sum(axis=0)
        out_begin, out_end = begin < -zero, end < -zero
        cut = np.divide(
            begin, begin - end, out=np.zeros_like(begin), where=out_begin != out_end
        )
        np.maximum(low, cut, out=low, where=out_begin & ~out_end)
        np.minimum(high, cut, out=high, where=out_end & ~out_begin)
        high[out_begin & out_end] = -1.0
    kept = np.flatnonzero(low <= high)
    crossing = kept[kept < len(line)]
    across = state[:, cell[crossing]]
    changed = line[crossing] // 2, np.arange(len(crossing))
    becomes = _OTHERS[across[changed], line[crossing] % 2]
    # An edge between two cells is met from both; one is enough.
    again = across[changed] > becomes
    across[changed] = becomes
    kept = np.concatenate([crossing[~again], kept[kept >= len(line)]])
    span = two[:, kept] - one[:, kept]
    start, stop = one[:, kept] + low[kept] * span, one[:, kept] + high[kept] * span
    turned = start[0] < stop[0]
    start, stop = np.where(turned, stop, start), np.where(turned, start, stop)
    whole = x[:, :, cells[kept]]
    edges = _Edges(
        here[cells[kept]],
        kept >= len(line),
        start,
        stop,
        (whole * start).sum(axis=1),
        (whole * stop).sum(axis=1),
    )
    return edges, here[cell[crossing]], across


def _take_edges(
    crossed: Crossed,
    live: LiveBase,
    triangles: _Triangles,
    edges: _Edges,
    wanted: Index,
    limits: tuple[Float, Float],
    found: Shares,
    block: Index,
) -> Mask:
    """Fold in the limits reached on edges, a few columns at a time."""
    beyond = np.zeros(len(block), bool)
    # Rays first: what they reach leaves little for the other edges to better.
    for chosen in (np.flatnonzero(edges.on_ray), np.flatnonzero(~edges.on_ray)):
        if len(chosen):
            _take_some_edges(
                crossed,
                live,
                triangles,
                edges,
                wanted,
                limits,
                found,
                block,
                chosen,
                beyond,
            )
    return beyond


def _take_some_edges(
    crossed: Crossed,
    live: LiveBase,
    triangles: _Triangles,
    edges: _Edges,
    wanted: Index,
    limits: tuple[Float, Float],
    found: Shares,
    block: Index,
    chosen: Index,
    beyond: Mask,
) -> None:
    column = triangles.column[edges.triangle[chosen]]
    order = chosen[np.argsort(column, kind="stable")]
    counts = np.bincount(column, minlength=len(block))
    stops = np.cumsum(counts)
    rows = np.concatenate([wanted, crossed.system.watched])
    several = max(1, int(_EDGES_AT_ONCE / max(counts.max(), 1)))
    for first in range(0, len(block), several):
        some = np.arange(first, min(first + several, len(block)))
        width = int(counts[some].max())
        if not width:
            continue
        slot = stops[some, None] - counts[some, None] + np.arange(width)
        filled = slot < stops[some, None]
        edge = order[np.where(filled, slot, 0)]
        part = _Forces.of(
            crossed, live, triangles, edges, edge, filled, rows, block[some]
        )
        if len(crossed.system.watched):
            zero = -TOLERANCE * np.maximum(crossed.dead_scale[block[some]], live.scale)
            least = np.minimum(part.begin[len(wanted) :], part.end[len(wanted) :])
            slack = least < zero[:, None]
            beyond[some[np.logical_or.reduce(slack, axis=(0, 2))]] = True
        for level in range(len(limits[0])):
            for sign, limit in ((1.0, limits[0]), (-1.0, limits[1])):
                _take_limit(
                    part, level, sign, limit[level][:, block[some]], found, block[some]
                )


@dataclass(frozen=True, eq=False)
class _Forces:
    """Edges of some columns, (c, q), from more dead load to less, and forces on them.

    ``place`` and ``step`` (c, q); corner shares ``one``, ``two`` (3, c, q); ``begin``,
    ``end`` (t, c, q) kip.
    """

    place: Index
    step: Index
    one: Float
    two: Float
    begin: Float
    end: Float

    @classmethod
    def of(
        cls,
        crossed: Crossed,
        live: LiveBase,
        triangles: _Triangles,
        edges: _Edges,
        edge: Index,
        filled: Mask,
        rows: Index,
        columns: Index,
    ) -> _Forces:
        """Take edges, (c, q), of ``columns`` and work out the forces in ``rows``."""
        triangle = edges.triangle[edge]
        place, after = triangles.place[triangle], triangles.after[triangle]
        base = live.base[rows]
        near, far = base[:, place], base[:, after]
        dead = crossed.dead_base[rows][:, columns, None]
        stress = crossed.stress[rows]
        corner, forces = [], []
        for share, x in ((edges.one, edges.x_one), (edges.two, edges.x_two)):
            weight = share[:, edge] * filled
            redundant = (x[:, edge] * filled).reshape(len(x), -1)
            force = (stress @ redundant).reshape(near.shape)
            force += dead * weight[0]
            force += near * weight[1]
            force += far * weight[2]
            corner.append(weight)
            forces.append(force)
        return cls(place, after - place, *corner, *forces)


def _take_limit(
    part: _Forces,
    level: int,
    sign: float,
    limit: Float,
    found: Shares,
    columns: Index,
) -> None:
    """Fold in where (t, c) forces are reached, upwards (+1) or downwards (-1)."""
    known = np.isfinite(limit)
    if not known.any():
        return
    count = len(limit)
    value = np.where(known, limit, sign * 1e300)[..., None]
    over_begin, over_end = value * part.one[0], value * part.two[0]
    if sign > 0.0:
        np.subtract(part.begin[:count], over_begin, out=over_begin)
        np.subtract(part.end[:count], over_end, out=over_end)
    else:
        np.subtract(over_begin, part.begin[:count], out=over_begin)
        np.subtract(over_end, part.end[:count], out=over_end)
    # An edge that has less dead load in it than the best so far cannot better it.
    reached = over_begin >= 0.0
    reached |= over_end >= 0.0
    reached &= part.one[0] > found.share[level][:, columns, None]
    member, column, edge = np.nonzero(reached)
    if not len(member):
        return
    at_begin, at_end = over_begin[reached], over_end[reached]
    most, least = part.one[0, column, edge], part.two[0, column, edge]
    crosses = at_begin < 0.0
    along = np.divide(
        at_begin, at_begin - at_end, out=np.zeros_like(at_begin), where=crosses
    ).clip(0.0, 1.0)
    share = most + along * (least - most)
    group = member * len(columns) + column
    starts = np.flatnonzero(np.r_[True, np.diff(group) > 0])
    top = np.maximum.reduceat(share, starts)
    of_group = np.repeat(top, np.diff(np.r_[starts, len(group)]))
    best = np.flatnonzero(share == of_group)
    better = best[share[best] > found.share[level, member[best], columns[column[best]]]]
    column, edge, member = column[better], edge[better], member[better]
    one, two = part.one[:, column, edge], part.two[:, column, edge]
    where = one + along[better] * (two - one)
    ahead = where[2] / np.maximum(where[1] + where[2], 1e-300)
    found.share[level, member, columns[column]] = share[better]
    found.at[level, member, columns[column]] = (
        part.place[column, edge] + ahead * part.step[column, edge]
    )
