"""Envelopes and ratings of one configuration, whatever its arrangement of bars.

Feet and kips; tension positive. Slower than ``pairs`` but without its assumptions:
both give the same numbers where both apply.

Positions. Over a stretch where the joint loads are linear in the position, forces are
linear between the changes of the taut set that ``TautSets.line`` finds, so the
extremes are at the ends of the stretch or at such changes.

Multiples. Forces are homogeneous in the loads: N(d + k l) = (1 + k) N(p), where
p = (d + k l) / (1 + k) lies on the straight line from the dead load d to the live
load l. Over a stretch from l0 to l1 all positions and all multiples make up the
triangle d, l0, l1; each taut set holds over a convex polygon of it, in which forces
are linear. A member reaches a given force first on the edge of some polygon, so it is
enough to look along the edges.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from .equilibrium import Equilibrium, Float, Index, Mask
from .influence import loads_where_it_adds, one_length
from .loads import Lane, Load, Places, Train, Uniform
from .tautsets import TOLERANCE, Piece, TautSets, standing_part

#: Multiples of the live load beyond this are not told from infinity.
BEYOND = 1e9
_ROUNDS = 12
#: Single lengths loaded at most.
MOST_LENGTHS = 60
#: A cell is left by so many times what is taken for zero, if that is not too far.
_CLEARLY = 4.0
_FURTHEST = 0.05
_ALL = slice(None)


@dataclass
class Extremes:
    """The least and greatest of each member so far, and where: (front, heading, load).

    ``high`` and ``low`` are (m,), ``high_at`` and ``low_at`` (m, 3).
    """

    high: Float
    low: Float
    high_at: Float = field(init=False)
    low_at: Float = field(init=False)

    def __post_init__(self) -> None:
        self.high_at = np.zeros((len(self.high), 3))
        self.high_at[:, 2] = -1.0
        self.low_at = self.high_at.copy()

    def take(self, value: Float, members: Index, at: tuple[float, int, int]) -> None:
        """Fold in (e,) values of ``members``."""
        more = members[value > self.high[members]]
        self.high[more] = value[value > self.high[members]]
        self.high_at[more] = at
        less = members[value < self.low[members]]
        self.low[less] = value[value < self.low[members]]
        self.low_at[less] = at

    def take_best(self, force: Float, members: Index, at: Float) -> None:
        """Fold in (v, e) forces of ``members`` at (v, 3) places."""
        every = np.arange(len(members))
        top, bottom = force.argmax(axis=0), force.argmin(axis=0)
        high, low = force[top, every], force[bottom, every]
        more = high > self.high[members]
        self.high[members[more]] = high[more]
        self.high_at[members[more]] = at[top[more]]
        less = low < self.low[members]
        self.low[members[less]] = low[less]
        self.low_at[members[less]] = at[bottom[less]]


def extremes(
    sets: TautSets,
    dead_kip: Float,
    places: Places,
    loads: Sequence[Load],
    factor: Float,
    web: Mask,
) -> Extremes:
    """Return the extreme total forces of each member, its live load times ``factor``.

    Parameters
    ----------
    sets : TautSets of the configuration
    dead_kip : (n,) float, which a taut set must carry
    places : Places of the vehicles among ``loads``
    loads : sequence of Train, Uniform or Lane
    factor : (m,) float
    web : (m,) bool, members that take the lane's concentrated load for webs

    Returns
    -------
    Extremes
        Places that no taut set can carry are left out.
    """
    first = sets.solve(dead_kip)
    if first is None:
        raise ArithmeticError("no taut set carries the dead load")
    start = first.force @ dead_kip
    found = Extremes(start.copy(), start.copy())
    present = ~np.asarray(sets.system.truss.absent, bool)
    live = on_all_joints(sets.system, places.joint_kip)
    for value in np.unique(factor[present & (factor != 0.0)]):
        members = np.flatnonzero(present & (factor == value))
        if len(live):
            _vehicle_extremes(sets, dead_kip + value * live, places, members, found)
        for number, load in enumerate(loads):
            if not isinstance(load, Train):
                begin = _beginnings(sets, first)
                for member in members.tolist():
                    _spread_extremes(
                        sets, dead_kip, begin, (number, load), value, member, web, found
                    )
                if len(sets.bars):
                    _extremes_of_lengths(
                        sets, dead_kip, (number, load), value, members, web, found
                    )
    return found


def _vehicle_extremes(
    sets: TautSets, totals: Float, places: Places, members: Index, found: Extremes
) -> None:
    """Fold in the forces of ``members`` in and between places, (s, n) loads."""
    pieces = sets.solve_many(totals)
    numbers: dict[int, int] = {}
    which = np.array(
        [
            -1 if piece is None else numbers.setdefault(id(piece), len(numbers))
            for piece in pieces
        ]
    )
    known = np.flatnonzero(which >= 0)
    if len(known):
        force = np.empty((len(known), len(members)))
        for number in range(len(numbers)):
            here = np.flatnonzero(which[known] == number)
            piece = pieces[known[here[0]]]
            if piece is not None:
                force[here] = totals[known[here]] @ piece.force[members].T
        at = np.stack(
            [places.front_ft[known], places.heading[known], places.load[known]], axis=1
        )
        found.take_best(force, members, at)
    apart = places.linked & ((which[:-1] != which[1:]) | (which[:-1] < 0))
    falls = np.flatnonzero(apart & ((which[:-1] < 0) | (which[1:] < 0)))
    if len(falls):
        apart &= ~sets.refused_between(totals)
    for k in np.flatnonzero(apart).tolist():
        for part, forces in _changes(
            sets, totals[k], totals[k + 1], pieces[k], pieces[k + 1]
        ):
            found.take(forces[members], members, _at(places, k, part))


def extremes_at_place(
    sets: TautSets,
    dead_kip: Float,
    live_kip: Float,
    places: Places,
    k: int,
    factor: Float,
    found: Extremes,
) -> None:
    """Fold in a place, the next if it is linked, and all between; as ``extremes`` does."""
    linked = k < len(places.linked) and bool(places.linked[k])
    some = slice(k, k + 2) if linked else slice(k, k + 1)
    own = Places(
        places.joint_kip[some],
        places.front_ft[some],
        places.heading[some],
        places.load[some],
        places.linked[k : k + 1] if linked else places.linked[:0],
    )
    for value in np.unique(factor[factor != 0.0]):
        members = np.flatnonzero(factor == value)
        totals = dead_kip + value * live_kip[some]
        _vehicle_extremes(sets, totals, own, members, found)


def _changes(
    sets: TautSets, start: Float, end: Float, first: Piece | None, last: Piece | None
) -> Iterator[tuple[float, Float]]:
    """Yield (fraction, forces) wherever the taut set changes or gives out."""
    for part, piece in _knots(sets, start, end, first, last):
        yield part, piece.force @ ((1.0 - part) * start + part * end)


def _knots(
    sets: TautSets, start: Float, end: Float, first: Piece | None, last: Piece | None
) -> list[tuple[float, Piece]]:
    """Return (fraction, piece holding there) wherever the taut set changes or gives out."""
    if first is not None and last is not None:
        return sets.line(start, end, first, last)
    standing = standing_part(sets, start, end)
    if standing is None:
        return []
    low, high = standing
    one, two = (1.0 - low) * start + low * end, (1.0 - high) * start + high * end
    left, right = sets.solve(one), sets.solve(two)
    if left is None or right is None:
        return []
    between = [
        (low + part * (high - low), piece)
        for part, piece in sets.line(one, two, left, right)
    ]
    return [(low, left), *between, (high, right)]


def _spread_extremes(
    sets: TautSets,
    dead: Float,
    beginnings: list[Piece],
    load: tuple[int, Load],
    factor: float,
    member: int,
    web: Mask,
    found: Extremes,
) -> None:
    """Load the lengths that add to ``member``, until its influence line stays."""
    number, spread = load
    only = np.array([member])
    for sign in (1.0, -1.0):
        for beginning in beginnings:
            before: tuple[Float, Piece] | None = None
            piece: Piece | None = beginning
            seen: list[Piece] = []
            for _ in range(_ROUNDS):
                if piece is None or piece in seen:
                    break
                seen.append(piece)
                total = dead + factor * spread_load(
                    sets.system, sign * piece.force[member], spread, bool(web[member])
                )
                piece = sets.solve(total)
                if piece is None:
                    break
                found.take(piece.force[only] @ total, only, (0.0, 0, number))
                if before is not None:
                    for part, at in sets.line(before[0], total, before[1], piece):
                        there = (1.0 - part) * before[0] + part * total
                        found.take(at.force[only] @ there, only, (0.0, 0, number))
                before = (total, piece)


def _extremes_of_lengths(
    sets: TautSets,
    dead: Float,
    load: tuple[int, Load],
    factor: float,
    members: Index,
    web: Mask,
    found: Extremes,
) -> None:
    """Fold in what any one length loaded does to ``members``.

    Where a bar's going slack keeps a force from growing, the worst load is none that
    stays where the influence line adds.
    """
    number, spread = load
    lengths = _lengths(sets.system, spread)
    total = dead + factor * lengths
    pieces = sets.solve_many(total)
    known = [k for k, piece in enumerate(pieces) if piece is not None]
    force = np.array(
        [p.force[members] @ total[k] for k, p in enumerate(pieces) if p is not None]
    ).reshape(-1, len(members))
    at = (0.0, 0, number)
    if not isinstance(spread, Lane):
        for row in force:
            found.take(row, members, at)
        return
    for sign in (1.0, -1.0) if known else ():
        for column, best in enumerate((sign * force).argmax(axis=0).tolist()):
            member = members[column]
            piece = pieces[known[best]]
            if piece is None:
                continue
            more = lengths[known[best]] + _concentrated(
                sets.system, sign * piece.force[member], spread, bool(web[member])
            )
            last = sets.solve(dead + factor * more)
            if last is not None:
                only = slice(column, column + 1)
                here = last.force[members[only]] @ (dead + factor * more)
                found.take(here, members[only], at)


def _lengths(system: Equilibrium, load: Load) -> Float:
    """Return (i, n): the uniform part of a load on one length after the other."""
    if isinstance(load, Train):
        raise TypeError("a train is placed, not spread")
    x = np.asarray(system.truss.xy_ft, float)[system.truss.loaded, 0]
    return on_all_joints(system, load.klf * one_length(x, MOST_LENGTHS))


def _concentrated(system: Equilibrium, ordinate: Float, load: Lane, web: bool) -> Float:
    """Return (n,): the lane's own load where (n,) ordinates are greatest, if they add."""
    joints = np.zeros(len(ordinate))
    loaded = system.truss.loaded
    at = loaded[int(np.argmax(ordinate[loaded]))]
    if ordinate[at] > 0.0:
        joints[at] = load.concentrated_web_kip if web else load.concentrated_chord_kip
    return joints


def _beginnings(sets: TautSets, dead: Piece) -> list[Piece]:
    """Return pieces whose influence lines are tried first: as under dead load, all taut.

    A bar that is slack under dead load has no influence line of its own there.
    """
    return [dead, sets.piece(frozenset())] if len(sets.bars) else [dead]


def spread_load(system: Equilibrium, ordinate: Float, load: Load, web: bool) -> Float:
    """Return (n,): a uniform or lane load where (n,) ordinates are positive."""
    loaded = system.truss.loaded
    x = np.asarray(system.truss.xy_ft, float)[loaded, 0]
    joints = np.zeros(len(ordinate))
    if isinstance(load, Train):
        raise TypeError("a train is placed, not spread")
    line = ordinate[loaded]
    joints[loaded] = loads_where_it_adds(line, x, load.klf)
    if isinstance(load, Lane):
        joints += _concentrated(system, ordinate, load, web)
    return joints


def on_all_joints(system: Equilibrium, joint_kip: Float) -> Float:
    """Return (s, n) from (s, p): loads on loaded joints among all joints."""
    everywhere = np.zeros((len(joint_kip), len(system.truss.joints)))
    everywhere[:, system.truss.loaded] = joint_kip
    return everywhere


def _at(places: Places, k: int, part: float) -> tuple[float, int, int]:
    front = float(places.front_ft[k])
    if part:
        front = (1.0 - part) * front + part * float(places.front_ft[k + 1])
    return front, int(places.heading[k]), int(places.load[k])


@dataclass
class Reached:
    """The least multiple at which each member reaches each limit so far, and where.

    ``multiple`` is (L, m), ``at`` (L, m, 3).
    """

    multiple: Float
    at: Float = field(init=False)

    def __post_init__(self) -> None:
        self.at = np.zeros((*self.multiple.shape, 3))
        self.at[..., 2] = -1.0

    def take(self, multiple: Float, at: tuple[float, int, int] | Float) -> None:
        """Fold in (L, m) multiples, at one place or at (L, m, 3) places."""
        less = multiple < self.multiple
        if less.any():
            self.multiple = np.where(less, multiple, self.multiple)
            self.at = np.where(less[..., None], np.asarray(at, float), self.at)


def multiples(
    sets: TautSets,
    dead_kip: Float,
    places: Places,
    loads: Sequence[Load],
    upper_kip: Float,
    lower_kip: Float,
    web: Mask,
) -> Reached:
    """Return the least multiple of the live load at which each member is at a limit.

    Parameters
    ----------
    sets, dead_kip, places, loads, web
        As ``extremes`` takes them.
    upper_kip, lower_kip : (L, m) float
        Total forces that are the limits, one row for each rating level; may be infinite.

    Returns
    -------
    Reached
        Infinite where no multiple reaches a limit.
    """
    first = sets.solve(dead_kip)
    if first is None:
        raise ArithmeticError("no taut set carries the dead load")
    limits = Limits(upper_kip, lower_kip)
    found = Reached(np.full(upper_kip.shape, np.inf))
    found.take(
        np.where(limits.outside(first.force @ dead_kip), 0.0, np.inf), (0.0, 0, -1)
    )
    live = on_all_joints(sets.system, places.joint_kip)
    pieces = sets.solve_many(live)
    for k, piece in enumerate(pieces):
        reached = _along_ray(sets, dead_kip, live[k], first, piece, limits)
        found.take(reached, _at(places, k, 0))
    for k in np.flatnonzero(places.linked).tolist():
        if not places.joint_kip[k : k + 2].any():
            continue
        same = pieces[k] is not None and pieces[k] is first is pieces[k + 1]
        if not same:
            over_triangle(sets, dead_kip, live, places, k, limits, found)
    for number, load in enumerate(loads):
        if not isinstance(load, Train):
            _spread_multiples(
                sets, (dead_kip, first), (number, load), limits, web, found
            )
    return found


@dataclass(frozen=True, eq=False)
class Limits:
    """(L, m) greatest and least total forces, infinite where there is none."""

    upper: Float
    lower: Float

    def outside(self, force: Float) -> Mask:
        """Return (L, m): whether (m,) forces are at or beyond a limit."""
        beyond: Mask = (force >= self.upper) | (force <= self.lower)
        return beyond

    def crossing(
        self, begin: Float, end: Float, dead_begin: Float, dead_end: Float
    ) -> Float:
        """Return the greatest dead-load share on edges at which a limit is reached.

        ``begin`` and ``end`` are (q, m) forces at the edges' ends, the others (q,) the
        share of dead load there. Returns (q, L, m), zero where it is not reached.
        """
        share = np.zeros((len(begin), *self.upper.shape))
        one, two = dead_begin[:, None, None], dead_end[:, None, None]
        for limit, sign in ((self.upper, 1.0), (self.lower, -1.0)):
            level, member = np.nonzero(np.isfinite(limit))
            if not len(level):
                continue
            value = limit[level, member]
            over_a = sign * (begin[:, member] - value * dead_begin[:, None])
            over_b = sign * (end[:, member] - value * dead_end[:, None])
            reached = (over_a >= 0.0) | (over_b >= 0.0)
            if not reached.any():
                continue
            turns = (over_a < 0.0) != (over_b < 0.0)
            part = np.divide(
                over_a, over_a - over_b, out=np.zeros_like(over_a), where=turns
            )
            at = np.where(turns, one[:, 0] + part * (two - one)[:, 0], 0.0)
            np.maximum(at, np.where(over_a >= 0.0, one[:, 0], 0.0), out=at)
            np.maximum(at, np.where(over_b >= 0.0, two[:, 0], 0.0), out=at)
            share[:, level, member] = np.maximum(share[:, level, member], at)
        return share


def as_multiple(share: Float) -> Float:
    """Return the multiple of the live load beside a share of dead load."""
    known = np.maximum(share, 1e-300)
    return np.where(share * BEYOND > 1.0, (1.0 - share) / known, np.inf)


def _along_ray(
    sets: TautSets,
    dead: Float,
    live: Float,
    first: Piece,
    last: Piece | None,
    limits: Limits,
) -> Float:
    """Return (L, m): the least multiple of one live load at which a limit is reached."""
    return _reached(_ray(sets, dead, live, first, last), dead, live, limits, _ALL)


def _ray(
    sets: TautSets, dead: Float, live: Float, first: Piece, last: Piece | None
) -> list[tuple[float, Piece]]:
    """Return (fraction, piece holding there) from the dead load on, with the ends."""
    end = [] if last is None else [(1.0, last)]
    return [(0.0, first), *_knots(sets, dead, live, first, last), *end]


def _reached(
    knots: list[tuple[float, Piece]],
    dead: Float,
    live: Float,
    limits: Limits,
    members: slice,
) -> Float:
    """Return (L, m): the least multiple at which ``members`` reach their limits."""
    if len(knots) < 2:
        return np.full(limits.upper.shape, np.inf)
    share = np.array([1.0 - part for part, _ in knots])
    force = np.array(
        [
            piece.force[members] @ ((1.0 - part) * dead + part * live)
            for part, piece in knots
        ]
    )
    at = limits.crossing(force[:-1], force[1:], share[:-1], share[1:])
    return as_multiple(at.max(axis=0))


def over_triangle(
    sets: TautSets,
    dead: Float,
    live: Float,
    places: Places,
    k: int,
    limits: Limits,
    found: Reached,
) -> None:
    """Fold in all positions between place k and the next, at all multiples."""
    corners = np.stack([dead, live[k], live[k + 1]])
    for piece, polygon in tile(sets, corners):
        force = polygon @ (piece.force @ corners.T).T  # (v, m)
        after = np.roll(polygon, -1, axis=0)
        shares = limits.crossing(
            force, np.roll(force, -1, axis=0), polygon[:, 0], after[:, 0]
        )
        edge = shares.argmax(axis=0)  # (L, m)
        share = np.take_along_axis(shares, edge[None], axis=0)[0]
        multiple = as_multiple(share)
        if not (multiple < found.multiple).any():
            continue
        one, two = polygon[edge], after[edge]  # (L, m, 3)
        span = two[..., 0] - one[..., 0]
        part = np.divide(
            share - one[..., 0], span, out=np.zeros_like(share), where=span != 0.0
        ).clip(0.0, 1.0)
        where = one + part[..., None] * (two - one)
        ahead = where[..., 2] / np.maximum(where[..., 1] + where[..., 2], 1e-300)
        front, heading, load = _at(places, k, 0)
        step = float(places.front_ft[k + 1]) - front
        at = np.stack(
            [
                front + ahead * step,
                np.full(share.shape, heading),
                np.full(share.shape, load),
            ],
            axis=-1,
        )
        found.take(multiple, at)


def over_place(
    sets: TautSets,
    dead: Float,
    live: Float,
    places: Places,
    k: int,
    limits: Limits,
    found: Reached,
) -> None:
    """Fold in a place, the next if it is linked, and all between, at all multiples."""
    first = sets.solve(dead)
    if first is None:
        return
    linked = k < len(places.linked) and bool(places.linked[k])
    for at in (k, k + 1) if linked else (k,):
        piece = sets.solve(live[at])
        reached = _along_ray(sets, dead, live[at], first, piece, limits)
        found.take(reached, _at(places, at, 0))
    if linked:
        over_triangle(sets, dead, live, places, k, limits, found)


def tile(sets: TautSets, corners: Float) -> Iterator[tuple[Piece, Float]]:
    """Yield every piece in a triangle of loads, with its polygon.

    Parameters
    ----------
    sets : TautSets
    corners : (3, n) float, loads

    Yields
    ------
    piece : Piece
    polygon : (v, 3) float, shares of the three corners, in order round it
    """
    scale = max(sets.scale(corner) for corner in corners)
    zero = TOLERANCE * scale
    lone = sets.system.particular[sets.system.lone] @ corners.T
    todo: list[tuple[Float, Piece | None]] = [
        (np.array(at), None)
        for at in (
            (1 / 3, 1 / 3, 1 / 3),
            (0.96, 0.02, 0.02),
            (0.5, 0.26, 0.24),
            (0.02, 0.96, 0.02),
            (0.02, 0.02, 0.96),
        )
    ]
    done: set[frozenset[int]] = set()
    while todo:
        at, likely = todo.pop()
        load = at @ corners
        if likely is not None and sets.holds(likely, load, sets.scale(load)):
            piece: Piece | None = likely
        else:
            piece = sets.solve(load)
        if piece is None or piece.slack in done:
            continue
        done.add(piece.slack)
        polygon, sides = np.eye(3), [-1, -1, -1]
        rows = np.vstack([piece.watch @ corners.T, lone])
        for number in np.flatnonzero((rows < -zero).any(axis=1)).tolist():
            polygon, sides = _clip(polygon, rows[number], sides, number)
        if len(polygon) < 3:
            continue
        yield piece, polygon
        middle = polygon.mean(axis=0)
        for k, one in enumerate(polygon):
            if not 0 <= sides[k] < len(piece.watch):
                continue
            two = polygon[k - len(polygon) + 1]
            edge = 0.5 * (one + two)
            step = two - one
            out = np.array([step[1] - step[2], step[2] - step[0], step[0] - step[1]])
            out = out * np.sign(out @ (edge - middle))
            size = float(np.linalg.norm(out))
            if size < 1e-12:
                continue
            out /= size
            # So far that this piece no longer holds there, not even nearly.
            falls = -float(rows[sides[k]] @ out)
            far = 1e-7
            if falls * _FURTHEST > _CLEARLY * zero:
                far = max(far, _CLEARLY * zero / falls)
            for step_out in (far, 1e-7):
                beyond = edge + step_out * out
                if (beyond >= 0.0).all():
                    todo.append((beyond, sets.across(piece, sides[k])))
                    break


def _clip(
    polygon: Float, row: Float, sides: list[int], number: int
) -> tuple[Float, list[int]]:
    """Return the part of a polygon where ``row`` is not negative, and its sides.

    ``sides`` are which row each side lies on, from each corner on; the new one is
    ``number``.
    """
    values = polygon @ row
    if values.min(initial=0.0) >= 0.0:
        return polygon, sides
    value = values.tolist()
    kept: list[Float] = []
    lie: list[int] = []
    for k, here in enumerate(value):
        j = (k + 1) % len(value)
        there = value[j]
        if here >= 0.0:
            kept.append(polygon[k])
            lie.append(sides[k])
        if (here < 0.0) != (there < 0.0):
            part = here / (here - there)
            kept.append(polygon[k] + part * (polygon[j] - polygon[k]))
            lie.append(number if here >= 0.0 else sides[k])
    return np.array(kept).reshape(-1, 3), lie


def _spread_multiples(
    sets: TautSets,
    dead: tuple[Float, Piece],
    load: tuple[int, Load],
    limits: Limits,
    web: Mask,
    found: Reached,
) -> None:
    """Load the lengths that add to a member at the multiple that brings it to a limit."""
    levels, members = limits.upper.shape
    rays = _Rays(sets, *dead)
    for level in range(levels):
        for member in range(members):
            for sign, limit in ((1.0, limits.upper), (-1.0, limits.lower)):
                if np.isfinite(limit[level, member]):
                    which = (level, member, sign)
                    _spread_multiple(rays, load, which, limits, web, found)
    if len(sets.bars):
        _multiples_of_lengths(rays, load, limits, web, found)


def _multiples_of_lengths(
    rays: _Rays, load: tuple[int, Load], limits: Limits, web: Mask, found: Reached
) -> None:
    """Fold in the multiples of any one length loaded."""
    number, spread = load
    lengths = _lengths(rays.sets.system, spread)
    knots = [rays.to(live)[1] for live in lengths]
    reached = np.array(
        [
            _reached(knot, rays.dead_kip, live, limits, _ALL)
            for knot, live in zip(knots, lengths, strict=True)
        ]
    )
    if not isinstance(spread, Lane):
        found.take(reached.min(axis=0), (0.0, 0, number))
        return
    for level, member in np.argwhere(np.isfinite(reached).any(axis=0)).tolist():
        only = slice(member, member + 1)
        own = Limits(
            limits.upper[level : level + 1, only], limits.lower[level : level + 1, only]
        )
        best = int(reached[:, level, member].argmin())
        piece = knots[best][-1][1]
        for sign in (1.0, -1.0):
            line = sign * piece.force[member]
            live = lengths[best] + _concentrated(
                rays.sets.system, line, spread, bool(web[member])
            )
            here = np.full(found.multiple.shape, np.inf)
            here[level, member] = _reached(
                rays.to(live)[1], rays.dead_kip, live, own, only
            )[0, 0]
            found.take(here, (0.0, 0, number))


class _Rays:
    """The ways from the dead load to live loads, of which many members ask for the same."""

    def __init__(self, sets: TautSets, dead_kip: Float, first: Piece) -> None:
        self.sets, self.dead_kip, self.first = sets, dead_kip, first
        self.beginnings = _beginnings(sets, first)
        self._known: dict[bytes, tuple[Piece | None, list[tuple[float, Piece]]]] = {}

    def to(self, live: Float) -> tuple[Piece | None, list[tuple[float, Piece]]]:
        """Return the piece at a live load, if any, and the knots on the way to it."""
        which = live.tobytes()
        if which not in self._known:
            last = self.sets.solve(live)
            ray = _ray(self.sets, self.dead_kip, live, self.first, last)
            self._known[which] = last, ray
        return self._known[which]


def _spread_multiple(
    rays: _Rays,
    load: tuple[int, Load],
    which: tuple[int, int, float],
    limits: Limits,
    web: Mask,
    found: Reached,
) -> None:
    sets, dead = rays.sets, rays.dead_kip
    number, spread = load
    level, member, sign = which
    only = slice(member, member + 1)
    own = Limits(
        limits.upper[level : level + 1, only], limits.lower[level : level + 1, only]
    )
    for beginning in rays.beginnings:
        piece: Piece | None = beginning
        seen: list[Piece] = []
        for _ in range(_ROUNDS):
            if piece is None or piece in seen:
                break
            seen.append(piece)
            line = sign * piece.force[member]
            live = spread_load(sets.system, line, spread, bool(web[member]))
            if not live.any():
                break
            last, knots = rays.to(live)
            multiple = _reached(knots, dead, live, own, only)[0, 0]
            here = np.full(found.multiple.shape, np.inf)
            here[level, member] = multiple
            found.take(here, (0.0, 0, number))
            if np.isfinite(multiple):
                piece = sets.solve(dead + multiple * live)
            else:
                piece = last


def spread_places(
    system: Equilibrium, loads: Sequence[Load], influence_rows: Float
) -> Float:
    """Return (s, n): spread loads where rows of ordinates are negative."""
    rows = []
    for load in loads:
        if isinstance(load, Uniform | Lane):
            for row in influence_rows:
                rows.append(spread_load(system, -row, load, web=True))
    return np.array(rows).reshape(-1, system.particular.shape[1])
