"""One configuration with few redundants: its extremes and multiples under vehicles.

Feet and kips; tension positive; loads positive downward.
Array axes: ``w`` loads, stretches or triangles, first; ``k`` redundants, last; ``s``
places of the load; ``t`` members asked for; ``q`` edges of cells.

The law is that of ``pairs``, the ways are those of ``batch`` and ``cells``, which work
on many configurations together and for one spend most of their time on calls. With one
configuration the redundants' matrix is one: every way of some being free and the others
bound has its inverse, all of which are made at once, so that the redundants of any
loads in any states are a single product. Whatever is out of the ordinary is handed back
for those modules to answer.

A redundant has three lines, what must not turn negative while it is in another state:
its force (COUNTER), its gap (BOTH) and its partner's force (PARTNER), in that order.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from .cells import Shares
from .equilibrium import Equilibrium, Float, Index, Mask
from .loads import Places
from .pairs import BOTH, LOWEST_STATE, PARTNER, TOLERANCE

#: With more redundants than this the inverses, and the cells, are too many.
MOST_REDUNDANTS = 3
#: Rays and triangles that are all looked into.
MOST_PLACES = 250
_ROUNDS = 12
#: With greater inverses, or none, products lose too many digits.
_MOST_INVERSE = 1e5
_FAR = 1e300
#: Of each number of bits: 1 COUNTER, 2 BOTH, 4 PARTNER.
_BIT = np.array([1, 2, 4], np.uint8)

Bits = NDArray[np.uint8]
State = NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class Settled:
    """Redundants under loads: ``x`` (w, k), ``lines`` (w, k, 3) and bits of the states
    that hold, (w, k), as ``pairs.Columns`` has them."""

    x: Float
    lines: Float
    bits: Bits

    def only(self, some: Index) -> Settled:
        """Return some of them."""
        return Settled(self.x[some], self.lines[some], self.bits[some])

    def repeated(self, count: int) -> Settled:
        """Return one of them as many times."""
        return self.only(np.zeros(count, np.intp))


@dataclass(frozen=True, eq=False)
class Live:
    """Vehicles on the determinate remainder: ``base`` (m, s); drives and bounds (s, k)."""

    base: Float
    g: Float
    r: Float
    scale: float


class NotAlone(Exception):
    """A configuration that the modules of many are to answer."""


def standing_alone(
    system: Equilibrium, ea_kip: Float, dead_kip: Float, classical: bool
) -> Alone | None:
    """Return a configuration, (m,) and (n,), to be answered alone; None if it is not."""
    if not 0 < len(system.pairs) <= MOST_REDUNDANTS:
        return None
    try:
        return Alone(system, ea_kip, dead_kip, classical)
    except NotAlone:
        return None


class Alone:
    """One configuration of a truss that stands, with one to three redundants.

    Parameters
    ----------
    system : Equilibrium
    ea_kip : (m,) float
    dead_kip : (n,) float
    classical : bool
        Whether one rod of a pair acts, whatever the stiffness.

    Attributes
    ----------
    dead : Settled, of shape (1, k)
    dead_base : (m,) float, kip, in the determinate remainder
    dead_scale : float, kip, what is small beside it is zero

    Raises
    ------
    NotAlone
        Where the dead load, or the bars' areas, are not of the ordinary.
    """

    def __init__(
        self, system: Equilibrium, ea_kip: Float, dead_kip: Float, classical: bool
    ) -> None:
        self.system = system
        pairs, touched = system.pairs, system.touched
        k = len(pairs)
        self._partner = [pair.partner for pair in pairs]
        self._to_r = np.array(
            [-1.0 / pair.share if pair.partner >= 0 else 0.0 for pair in pairs]
        )
        is_self = np.array([pair.counter for pair in pairs])
        is_partner = np.array([pair.partner >= 0 for pair in pairs])
        locked = np.array([pair.is_crossed and classical for pair in pairs])
        self._locked = locked
        self._is_partner = is_partner
        self._floor = np.where(is_self, 0.0, -_FAR)
        #: Which lines say what state holds, and which of them can be crossed.
        self._has = np.stack([is_self, ~locked, is_partner], axis=1)
        self._watch = self._has.copy()
        self._watch[:, BOTH] &= is_self | is_partner

        self.stress = system.selfstress
        mine = self.stress[touched]
        flex = system.length_ft[touched] / ea_kip[touched]
        work = mine.T * flex  # (k, e)
        raw = work @ mine
        own = raw.diagonal()
        self._a = raw / own[:, None]  # rows scaled: its diagonal is 1
        self._work = work / own[:, None]
        ways = np.arange(2**k)[:, None] >> np.arange(k) & 1
        whole = np.where(ways[:, :, None] == 1, self._a, np.eye(k))
        #: For every way of being free, what gives redundants from drives and bounds.
        try:
            self._inverse = np.linalg.inv(whole).transpose(0, 2, 1)
        except np.linalg.LinAlgError:
            raise NotAlone from None
        if not np.abs(self._inverse).max() < _MOST_INVERSE:
            raise NotAlone
        self._way = 2 ** np.arange(k)

        self.dead_base = system.particular @ dead_kip
        lengthened = self.dead_base[touched]
        self.dead_scale = float(np.abs(self.dead_base).max(initial=0.0))
        if system.truss.tightening >= 0:
            held = system.truss.pull_ft[touched] @ dead_kip / flex
            lengthened = lengthened - held
            self.dead_scale = max(self.dead_scale, float(np.abs(held).max()))
        self._dead_g = (self._work @ lengthened)[None]
        self._dead_r = (self._to_r * self.dead_base[self._partner])[None]
        dead = self.settle(self._dead_g, self._dead_r, self.dead_scale)
        if dead is None:
            raise NotAlone
        self.dead = dead
        self.dead_force: Float = self.dead_base + self.stress @ dead.x[0]
        if (self.dead_force[system.watched] < -TOLERANCE * self.dead_scale).any():
            raise NotAlone

    def live(self, load_kip: Float) -> Live:
        """Return what (s, n) loads do to the determinate remainder."""
        base = self.system.particular @ load_kip.T
        return Live(
            base,
            (self._work @ base[self.system.touched]).T,
            self._to_r * base[self._partner].T,
            float(np.abs(base).max(initial=0.0)),
        )

    def settle(self, g: Float, r: Float, scale: float | Float) -> Settled | None:
        """Return redundants under drives and bounds, (w, k); None if not all are found.

        ``scale`` is of all, or (w, 1, 1). Source: block principal pivoting, as
        ``pairs.Crossed.pivot``.
        """
        low = np.maximum(np.where(self._is_partner, r, -_FAR), self._floor)
        drive = -g
        free = (drive > low) & ~self._locked
        zero = 1e-12 * (scale if isinstance(scale, float) else scale[:, 0])
        for _ in range(_ROUNDS):
            x = self._solved(free, np.where(free, drive, low))
            gap = x @ self._a.T + g
            wrong = np.where(free, x < low - zero, gap < -zero) & ~self._locked
            if not wrong.any():
                lines = self._lines(x, gap, r)
                return Settled(x, lines, self._bits(lines, scale))
            free ^= wrong
        return None

    def _solved(self, free: Mask, right: Float) -> Float:
        """Return (w, ..., k): ``right`` are drives where (w, k) free, bounds elsewhere."""
        inverse = self._inverse[free @ self._way]
        if right.ndim == 2:
            x: Float = (right[:, None] @ inverse)[:, 0]
            return x
        at_corners: Float = right @ inverse
        return at_corners

    @staticmethod
    def _lines(x: Float, gap: Float, r: Float) -> Float:
        lines = np.empty((*x.shape, 3))
        lines[..., 0], lines[..., 1] = x, gap
        np.subtract(x, r, out=lines[..., 2])
        return lines

    def _bits(self, lines: Float, scale: float | Float) -> Bits:
        holds = (lines <= TOLERANCE * scale) & self._has
        bits: Bits = holds.view(np.uint8) @ _BIT
        return bits

    def _held(self, state: State, g: Float, r: Float) -> tuple[Float, Float]:
        """Return redundants, (w, E, k), and lines, were (w, k) states to hold.

        ``g`` and ``r`` (w, E, k) are of loads at the corners of what is looked at.
        """
        both = state == BOTH
        right = np.where(
            both[:, None], -g, np.where((state == PARTNER)[:, None], r, 0.0)
        )
        x = self._solved(both, right)
        return x, self._lines(x, x @ self._a.T + g, r)

    def walk(
        self, begin: Settled, end: tuple[Float, Float], bits: Bits, scale: float | Float
    ) -> tuple[Index, Float, Float] | None:
        """Follow stretches of loads from where they begin to where they end.

        Parameters
        ----------
        begin : Settled, (w, k)
        end : drives and bounds, (w, k), at their ends
        bits : (w, k), of the states that hold there
        scale : kip, of all, or (w, 1, 1)

        Returns
        -------
        Which stretch, (v,), how far along it and the redundants there, (v, k): every
        change of state, in order along each. None if a stretch does not come to its end.
        """
        g, r = end
        common = begin.bits & bits
        state = LOWEST_STATE[np.where(common != 0, common, begin.bits)].astype(np.intp)
        here, done = np.arange(len(g)), np.zeros(len(g))
        now, x_now = begin.lines, begin.x
        zero = np.full((len(g), 1, 1), -TOLERANCE) * scale
        found = [(here[:0], done[:0], x_now[:0])]
        k = g.shape[1]
        for _ in range(8 * k + 40):
            if not len(here):
                return (
                    np.concatenate([one[0] for one in found]),
                    np.concatenate([one[1] for one in found]),
                    np.concatenate([one[2] for one in found]),
                )
            x, lines = self._held(state, g[here][:, None], r[here][:, None])
            x, lines = x[:, 0], lines[:, 0]
            falls = (lines < np.minimum(zero, now)) & self._watch
            reach = np.full(lines.shape, 2.0)
            np.divide(now, now - lines, out=reach, where=falls)
            flat = np.maximum(reach, 0.0).reshape(len(here), 3 * k)
            first = flat.argmin(axis=1)
            step = flat[np.arange(len(here)), first]
            going = step <= 1.0
            if not going.all():
                here, done, state, zero = (
                    here[going],
                    done[going],
                    state[going],
                    zero[going],
                )
                now, x_now = now[going], x_now[going]
                x, lines, first, step = (
                    x[going],
                    lines[going],
                    first[going],
                    step[going],
                )
            now = now + step[:, None, None] * (lines - now)
            x_now = x_now + step[:, None] * (x - x_now)
            done = done + step * (1.0 - done)
            found.append((here, done, x_now))
            state[np.arange(len(here)), first // 3] = first % 3
            left = ((_BIT[state] & bits[here]) == 0).any(axis=1)
            if not left.all():
                here, done, state, zero = (
                    here[left],
                    done[left],
                    state[left],
                    zero[left],
                )
                now, x_now = now[left], x_now[left]
        return None

    # --- extremes -------------------------------------------------------------------

    def extremes(
        self, live: Live, places: Places, factors: Float
    ) -> tuple[Float, Float] | None:
        """Return the greatest and least total forces of the members touched.

        Parameters
        ----------
        live : Live, of ``places``
        factors : (f,) float, of the live load

        Returns
        -------
        (t, f), (t, f) kip, ``system.touched`` being the members; the dead-load force is
        one of those looked at. None where ``batch`` is to answer.
        """
        system = self.system
        count, k = len(factors), len(self._way)
        by = factors[:, None, None]
        g = (by * live.g + self._dead_g).reshape(-1, k)
        r = (by * live.r + self._dead_r).reshape(-1, k)
        scale = self.dead_scale + factors * live.scale
        each = np.repeat(scale, len(live.g))
        found = self.settle(g, r, each[:, None, None])
        if found is None:
            return None
        rows = np.concatenate([system.touched, system.watched])
        stress, base = self.stress[rows], live.base[rows]
        start = self.dead_base[rows]
        force = (stress @ found.x.T).reshape(len(rows), count, -1)
        force += factors[:, None] * base[:, None]
        force += start[:, None, None]
        if self._is_slack(force, scale[:, None]):
            return None
        wanted = slice(0, len(system.touched))
        high = np.maximum.reduce(force[wanted], axis=2)
        low = np.minimum.reduce(force[wanted], axis=2)

        bits = found.bits.reshape(count, -1, k)
        differ = ((bits[:, :-1] & bits[:, 1:]) == 0).any(axis=2) & places.linked
        factor, place = np.nonzero(differ)
        if len(factor):
            at = factor * len(live.g) + place
            begin = found.only(at)
            wide = scale[factor][:, None, None]
            walk = self.walk(begin, (g[at + 1], r[at + 1]), found.bits[at + 1], wide)
            if walk is None:
                return None
            row, part, x = walk
            one, of = place[row], factor[row]
            force = base[:, one]
            force += part * (base[:, one + 1] - force)
            force *= factors[of]
            force += start[:, None]
            force += stress @ x.T
            if self._is_slack(force, scale[of]):
                return None
            # In order of the factors, so that each has its own stretch of points.
            order = np.argsort(of, kind="stable")
            some, first = np.unique(of[order], return_index=True)
            force = force[wanted][:, order]
            for kept, extreme in ((high, np.maximum), (low, np.minimum)):
                kept[:, some] = extreme(
                    kept[:, some], extreme.reduceat(force, first, axis=1)
                )
        dead_force = self.dead_force[system.touched][:, None]
        return np.maximum(high, dead_force), np.minimum(low, dead_force)

    def _is_slack(self, force: Float, scale: float | Float) -> bool:
        """Return whether a watched bar, the last rows, would be pushed."""
        watched = force[len(self.system.touched) :]
        return bool(len(watched) and (watched < -TOLERANCE * scale).any())

    # --- multiples ------------------------------------------------------------------

    def shares(
        self, live: Live, places: Places, limits: tuple[Float, Float]
    ) -> Shares | None:
        """Return where touched members first reach limits under multiples of vehicles.

        Parameters
        ----------
        live : Live, of ``places``
        limits : upper and lower total forces, (L, t) kip, which may be infinite

        Returns
        -------
        Shares of shape (L, t). None where ``cells`` is to answer.
        """
        dead, system = self.dead, self.system
        if len(live.g) > MOST_PLACES:
            return None
        there = self.settle(live.g, live.r, live.scale)
        if there is None:
            return None
        rows = np.concatenate([system.touched, system.watched])
        stress, base = self.stress[rows], live.base[rows]
        force = base + stress @ there.x.T
        if self._is_slack(force, live.scale):
            return None
        found = Shares(np.zeros(limits[0].shape), np.full(limits[0].shape, -1.0))
        dead_force = self.dead_force[system.touched]
        wanted = slice(0, len(dead_force))
        rooms = [
            room
            for sign, limit in ((1.0, limits[0]), (-1.0, limits[1]))
            if (room := _Room.of(sign, limit, dead_force, found)) is not None
        ]
        straight = ((dead.bits & there.bits) != 0).all(axis=1)
        _take_straight(force[wanted], straight, rooms, found)
        joined = ((dead.bits & there.bits[:-1] & there.bits[1:]) != 0).all(axis=1)
        # From a place without any load the ray to the next has all there is between.
        moves = np.abs(live.base).max(axis=0, initial=0.0) > TOLERANCE * live.scale
        split = ~joined & places.linked & moves[:-1] & moves[1:]
        rays = self._ray_edges(live, there, np.flatnonzero(~straight))
        inner = self._cell_edges(live, np.flatnonzero(split))
        if rays is None or inner is None:
            return None
        edges = _Edges.joined([rays, *inner])
        if not len(edges.place):
            return found
        near, far = base.take(edges.place, axis=1), base.take(edges.after, axis=1)
        start = self.dead_base[rows, None]
        ends = [
            start * corner[:, 0]
            + near * corner[:, 1]
            + far * corner[:, 2]
            + stress @ x.T
            for corner, x in ((edges.one, edges.x_one), (edges.two, edges.x_two))
        ]
        scale = max(self.dead_scale, live.scale)
        if any(self._is_slack(force, scale) for force in ends):
            return None
        _take_edges(edges, (ends[0][wanted], ends[1][wanted]), rooms, found)
        return found

    def _ray_edges(self, live: Live, there: Settled, place: Index) -> _Edges | None:
        """Return the stretches between changes of state, from dead load to places."""
        count = len(place)
        start = self.dead.repeated(count)
        ends = live.g[place], live.r[place]
        scale = max(self.dead_scale, live.scale)
        walk = self.walk(start, ends, there.bits[place], scale)
        if walk is None:
            return None
        every = np.arange(count)
        row = np.concatenate([every, walk[0], every])
        part = np.concatenate([np.zeros(count), walk[1], np.ones(count)])
        x = np.concatenate([start.x, walk[2], there.x[place]])
        order = np.lexsort((part, row))
        row, part, x = row[order], part[order], x[order]
        corner = np.zeros((len(row), 3))
        corner[:, 0], corner[:, 1] = 1.0 - part, part
        same = np.flatnonzero(row[1:] == row[:-1])
        at = place[row[same]]
        return _Edges(at, at, corner[same], corner[same + 1], x[same], x[same + 1])

    def _cell_edges(self, live: Live, place: Index) -> list[_Edges] | None:
        """Return the edges between cells inside triangles, from places to the next."""
        if not len(place):
            return []
        g, r = np.empty((2, len(place), 3, len(self._way)))
        g[:, 0], g[:, 1], g[:, 2] = self._dead_g, live.g[place], live.g[place + 1]
        r[:, 0], r[:, 1], r[:, 2] = self._dead_r, live.r[place], live.r[place + 1]
        scale = max(self.dead_scale, live.scale)
        middle = self.settle(g.mean(axis=1), r.mean(axis=1), scale)
        if middle is None:
            return None
        states = _states(len(self._way))
        number = 3 ** np.arange(len(self._way))
        seen = np.zeros(len(place) * len(states), bool)
        here = np.arange(len(place))
        state: State = LOWEST_STATE[middle.bits].astype(np.intp)
        found: list[_Edges] = []
        while True:
            # The cells of a triangle by their states: each is visited once.
            fresh = np.zeros(len(seen), bool)
            fresh[here * len(states) + state @ number] = True
            fresh &= ~seen
            seen |= fresh
            here, code = np.divmod(np.flatnonzero(fresh), len(states))
            if not len(here):
                return found
            state = states[code]
            edges, across, state = self._edges_of((g[here], r[here]), state, scale)
            found.append(edges.at(place[here]))
            here = here[across]

    def _edges_of(
        self, corners: tuple[Float, Float], state: State, scale: float
    ) -> tuple[_Edges, Index, State]:
        """Return edges of cells with what lies across, each edge of two cells once.

        ``corners``: drives and bounds, (w, 3, k), ``state`` (w, k) of the cells.
        Returns edges by the number of their cell, of which cells there are neighbours,
        and the states of those.
        """
        x, lines = self._held(state, *corners)
        lines *= self._watch
        lines[np.abs(lines) <= TOLERANCE * scale] = 0.0
        w, k = state.shape
        lines = lines.reshape(w, 3, 3 * k)
        below = (lines < 0.0).view(np.uint8).transpose(0, 2, 1) @ _BIT
        # Where a line is negative at all corners the cell lies outside of the triangle.
        outside = np.logical_or.reduce(below == 7, axis=1, keepdims=True)
        cell, line = np.nonzero((below > 0) & ~outside)
        # A line leaves the triangle on both sides of the corner that it cuts off.
        odd = _ODD[below[cell, line]]
        others = _OTHERS[odd]
        q = np.arange(len(cell))
        values = lines[cell, :, line]
        at_odd, (one, two) = values[q, odd], others.T
        to_one = at_odd / (at_odd - values[q, one])
        to_two = at_odd / (at_odd - values[q, two])
        ends = np.zeros((len(cell), 2, 3))
        ends[q, 0, odd], ends[q, 0, one] = 1.0 - to_one, to_one
        ends[q, 1, odd], ends[q, 1, two] = 1.0 - to_two, to_two
        # All lines of the cell at either end of the edge.
        corner = lines[cell, odd]
        low, high = _inside(
            corner + to_one[:, None] * (lines[cell, one] - corner),
            corner + to_two[:, None] * (lines[cell, two] - corner),
            TOLERANCE * scale,
        )
        crossing = np.flatnonzero(low <= high)
        across = state[cell[crossing]]
        redundant, becomes = np.divmod(line[crossing], 3)
        changed = np.arange(len(crossing)), redundant
        # An edge between two cells is met from both; one is enough.
        kept = crossing[across[changed] < becomes]
        across[changed] = becomes
        begin, mine = ends[kept, 0], cell[kept]
        span = ends[kept, 1] - begin
        start, stop = begin + low[kept, None] * span, begin + high[kept, None] * span
        turned = (start[:, 0] < stop[:, 0])[:, None]
        start, stop = np.where(turned, stop, start), np.where(turned, start, stop)
        ways = np.stack([start, stop], axis=1) @ x[mine]
        edges = _Edges(mine, mine, start, stop, ways[:, 0], ways[:, 1])
        return edges, cell[crossing], across


#: Which corner a line cuts off, by the bits of the corners where it is negative.
_ODD = np.array([0, 0, 1, 2, 2, 1, 0, 0])
_OTHERS = np.array([[1, 2], [2, 0], [0, 1]])


@cache
def _states(k: int) -> State:
    """Return (3^k, k): all the states, by number in threes, the first lowest."""
    return np.arange(3**k)[:, None] // 3 ** np.arange(k) % 3


def _inside(begin: Float, end: Float, zero: float) -> tuple[Float, Float]:
    """Return between which parts of edges no line, (q, l) at either end, is negative.

    Beyond 1 and below 0 is nowhere.
    """
    out_begin, out_end = begin < -zero, end < -zero
    cut = np.zeros_like(begin)
    np.divide(begin, begin - end, out=cut, where=out_begin != out_end)
    low = np.where(out_begin & ~out_end, cut, 0.0).max(axis=1)
    high = np.where(out_end, np.where(out_begin, -1.0, cut), 1.0).min(axis=1)
    return low, high


@dataclass(frozen=True, eq=False)
class _Edges:
    """Edges of cells: ``place`` and ``after`` (q,), the corners beside dead load.

    Corner shares (q, 3) and redundants (q, k); ``one`` has more dead load in it.
    """

    place: Index
    after: Index
    one: Float
    two: Float
    x_one: Float
    x_two: Float

    def at(self, place: Index) -> _Edges:
        """Return them in triangles from ``place`` to the next, by number of cell."""
        here = place[self.place]
        return replace(self, place=here, after=here + 1)

    @classmethod
    def joined(cls, parts: list[_Edges]) -> _Edges:
        """Put edges together."""
        return cls(
            np.concatenate([e.place for e in parts]),
            np.concatenate([e.after for e in parts]),
            np.concatenate([e.one for e in parts]),
            np.concatenate([e.two for e in parts]),
            np.concatenate([e.x_one for e in parts]),
            np.concatenate([e.x_two for e in parts]),
        )


@dataclass(frozen=True, eq=False)
class _Room:
    """Limits of rises (``sign`` 1) or falls (-1) at some levels, (l,), of (t,) members.

    ``limit`` (l, t) are total forces times the sign and ``room`` how far they are from
    the dead-load force, both beyond everything where there is no limit, or dead load
    alone is at it.
    """

    sign: float
    levels: Index
    limit: Float
    room: Float

    @classmethod
    def of(
        cls, sign: float, limit: Float, dead_force: Float, found: Shares
    ) -> _Room | None:
        """Return the room, and put what dead load alone reaches into ``found``."""
        finite = np.isfinite(limit)
        levels = np.flatnonzero(finite.any(axis=1))
        if not len(levels):
            return None
        total = sign * limit[levels]
        room = total - sign * dead_force
        none = ~finite[levels]
        reached = (room <= 0.0) & ~none
        level, member = np.nonzero(reached)
        found.share[levels[level], member] = 1.0
        none |= reached
        total[none] = room[none] = _FAR
        return cls(sign, levels, total, room)


def _take_straight(
    force: Float, straight: Mask, rooms: list[_Room], found: Shares
) -> None:
    """Fold in the rays along which one state holds, (t, s) forces at their ends."""
    places = np.flatnonzero(straight)
    if not len(places):
        return
    force = force[:, places]
    every = np.arange(len(force))
    for room in rooms:
        chosen = force.argmax(axis=1) if room.sign > 0.0 else force.argmin(axis=1)
        top = np.maximum(room.sign * force[every, chosen], 0.0)
        share = top / (room.room + np.maximum(top, 1e-300))
        for level, mine in zip(room.levels, share, strict=True):
            better = mine > found.share[level]
            np.copyto(found.share[level], mine, where=better)
            np.copyto(found.at[level], places[chosen], where=better)


def _take_edges(
    edges: _Edges, force: tuple[Float, Float], rooms: list[_Room], found: Shares
) -> None:
    """Fold in the limits reached along edges, forces (t, q) at either end of them."""
    most, least = edges.one[:, 0], edges.two[:, 0]
    for room in rooms:
        limit = room.limit[:, :, None]
        begin = room.sign * force[0] - limit * most  # (l, t, q)
        end = room.sign * force[1] - limit * least
        level, member, q = np.nonzero((begin >= 0.0) | (end >= 0.0))
        if not len(q):
            continue
        near, far = begin[level, member, q], end[level, member, q]
        # A limit reached from the beginning on is reached at the greater share.
        along = np.divide(near, near - far, out=np.zeros_like(near), where=near < 0.0)
        share = most[q] + along * (least[q] - most[q])
        group = level * begin.shape[1] + member  # in order
        starts = np.ones(len(q), bool)
        np.not_equal(group[1:], group[:-1], out=starts[1:])
        first = np.flatnonzero(starts)
        top = np.maximum.reduceat(share, first)
        level, member = room.levels[level[first]], member[first]
        better = np.flatnonzero(top > found.share[level, member])
        if not len(better):
            continue
        reached = np.flatnonzero(share == top[np.cumsum(starts) - 1])
        chosen = reached[np.searchsorted(reached, first[better])]
        level, member, edge = level[better], member[better], q[chosen]
        way = along[chosen, None]
        corner = edges.one[edge] + way * (edges.two[edge] - edges.one[edge])
        ahead = corner[:, 2] / np.maximum(corner[:, 1] + corner[:, 2], 1e-300)
        at = edges.place[edge] + ahead * (edges.after[edge] - edges.place[edge])
        found.share[level, member], found.at[level, member] = top[better], at
