"""Uniform and lane loads on one configuration, all members together, by ``pairs``.

Feet and kips; tension positive; loads positive downward.
Array axes as in ``pairs``, and: ``i`` searches, each for one member and one sense, last;
``n`` joints; ``L`` rating levels; ``m`` members.

What ``general`` does member by member: the load is laid where the member's influence line
adds, with the bars that are taut; where other bars are taut under that load, it is laid
anew. From one such load to the next, or from the dead load on, the redundants are
followed by ``Crossed.walk``, of all searches at once. Then every single length of the
deck is loaded, for all members together. Members that ``pairs`` cannot answer are named,
for ``general`` to do.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from . import general
from .cells import BEYOND
from .equilibrium import Equilibrium, Float, Index, Mask
from .influence import loads_where_it_adds, one_length
from .loads import Lane, Uniform
from .pairs import BOTH, COUNTER, PARTNER, TOLERANCE, Columns, Crossed, Small, Walk
from .tautsets import LOOSE, SHORTEST

#: As often a load is laid anew at most.
ROUNDS = 12
#: Taut sets that a search begins from.
BEGINNINGS = 6
#: Of them, from which searches go on whatever the others find.
FIRST_BEGINNINGS = 2
#: Single lengths loaded at most, and with all that a member's own factor makes of them.
MOST_LENGTHS = 400
LENGTHS_AT_ONCE = 6000
#: Ordinates below this part of the greatest are rounding.
_NOISE = 1e-15
_ODD = np.uint64(0x9E3779B97F4A7C15)
_APART = np.uint64(0xD6E8FEB86659FD93)
#: Entries of matrices solved together.
_ENTRIES_AT_ONCE = 2**20
#: Of each number of bits the state to go by: both taut, where that holds.
_STATE = np.array([BOTH, 0, 1, 1, 2, 0, 1, 1], np.int8)


@dataclass(frozen=True, eq=False)
class _Loaded:
    """Searches' loads, (i, n), settled."""

    load: Float
    g: Float
    r: Float
    scale: Float
    columns: Columns
    states: Small


@dataclass(frozen=True, eq=False)
class _Met:
    """Where ways to live loads first meet bounds.

    ``which`` of the ways were gone, the ``multiple`` and ``loaded`` of each of those, and
    (i,) ``lost``, whether a way is given up.
    """

    which: Index
    multiple: Float
    loaded: _Loaded
    lost: Mask


class Spreads:
    """One configuration that ``pairs`` answers.

    Parameters
    ----------
    crossed : Crossed
    dead : Columns under dead load
    c : its number among theirs
    dead_kip : (n,) float
    web : (m,) bool, members that take a lane's concentrated load for webs
    """

    def __init__(
        self, crossed: Crossed, dead: Columns, c: int, dead_kip: Float, web: Mask
    ) -> None:
        self.crossed, self.dead, self.c = crossed, dead, c
        self.dead_kip, self.web = dead_kip, web
        self.system: Equilibrium = crossed.system
        self.places_ft = np.asarray(self.system.truss.xy_ft, float)[
            self.system.truss.loaded, 0
        ]
        unit = np.zeros((len(self.system.truss.loaded), len(dead_kip)))
        unit[np.arange(len(unit)), self.system.truss.loaded] = 1.0
        live = crossed.live(unit)
        self._unit = live.base  # (m, p)
        self._unit_g = crossed.drive(live, np.array([c]))[..., 0]  # (k, p)
        self._unit_r = live.r
        #: What one redundant has to do with others; no strain works a loose pair.
        table = crossed.matrix[:, :, c].copy()
        own = np.arange(len(table))
        table[own, own] *= np.where(crossed.locked, LOOSE, 1.0)
        self._coupled = table - np.eye(len(table))
        self._partner = np.array([pair.partner for pair in self.system.pairs])
        self._aside = np.concatenate([self.system.watched, self.system.lone])

    def extremes(
        self, load: Uniform | Lane, members: Index, factor: Float
    ) -> tuple[Float, Float, Index]:
        """Return the greatest and least total forces, (t,), and members not answered.

        ``factor`` (m,) is on the load of each.
        """
        of = np.tile(members, 2 * BEGINNINGS)
        sign = np.repeat([1.0, -1.0] * BEGINNINGS, len(members))
        state = np.repeat(self._beginnings(), 2 * len(members), axis=1)
        high = np.full(len(of), -np.inf)
        low = np.full(len(of), np.inf)
        lost = np.zeros(len(of), bool)
        before: _Loaded | None = None
        seen = _Seen(len(state), 2 * len(members))
        here = np.arange(len(of))
        for _ in range(ROUNDS):
            fresh = seen.going_on(here, state)
            here, state = here[fresh], state[:, fresh]
            if not len(here):
                break
            before = None if before is None else _only(before, fresh)
            row = self._influence(of[here], state)
            total = self.dead_kip + factor[of[here], None] * self._laid(
                sign[here, None] * row, load, of[here]
            )
            loaded, slack = self._settle(total, np.ones(len(total)))
            lost[here] |= slack | loaded.columns.unsettled
            going = ~(self._falls(loaded) | lost[here])
            force = self._forces(of[here], total, loaded.columns.x)
            some = here[going]
            high[some] = np.maximum(high[some], force[going])
            low[some] = np.minimum(low[some], force[going])
            here, loaded = some, _only(loaded, going)
            if before is not None:
                before = _only(before, going)
                walk = self._walk(before, loaded)
                force, pressed = self._along(walk, of[here], before, loaded)
                at = here[walk.row]
                np.maximum.at(high, at, force)
                np.minimum.at(low, at, force)
                lost[at[pressed]] = True
                lost[here[walk.lost]] = True
            before, state = loaded, loaded.states
        shape = (2 * BEGINNINGS, len(members))
        more, less = self._extremes_of_lengths(load, members, factor)
        return (
            np.maximum(high.reshape(shape).max(axis=0), more),
            np.minimum(low.reshape(shape).min(axis=0), less),
            members[lost.reshape(shape).any(axis=0)],
        )

    def _extremes_of_lengths(
        self, load: Uniform | Lane, members: Index, factor: Float
    ) -> tuple[Float, Float]:
        """Return the greatest and least forces, (t,), with any one length loaded.

        Where a bar's going slack keeps a force from growing, the worst load is none that
        stays where the influence line adds.
        """
        value, own = np.unique(factor[members], return_inverse=True)
        lengths = one_length(self.places_ft, LENGTHS_AT_ONCE // max(1, len(value)))
        live = general.on_all_joints(self.system, load.klf * lengths)
        each = np.tile(np.arange(len(live)), len(value))
        of = np.repeat(value, len(live))
        total = self.dead_kip + of[:, None] * live[each]
        loaded, slack = self._settle(total, np.ones(len(total)))
        gone = slack | self._falls(loaded) | loaded.columns.unsettled
        every = np.arange(len(members))
        force = self._forces(members[:, None], total, loaded.columns.x)
        force = force.reshape(len(members), len(value), len(live))[every, own]
        out = gone.reshape(len(value), len(live))[own]
        found = []
        for sign in (1.0, -1.0):
            most = np.where(out, -np.inf, sign * force)
            if isinstance(load, Lane):
                best = own * len(live) + most.argmax(axis=1)
                more = self._with_concentrated(
                    load, members, sign, live[each[best]], loaded.states[:, best]
                )
                total = self.dead_kip + value[own, None] * more
                there, slack = self._settle(total, np.ones(len(total)))
                bad = slack | self._falls(there) | there.columns.unsettled
                least = sign * self._forces(members, total, there.columns.x)
                found.append(sign * np.where(bad, -np.inf, least))
            else:
                found.append(sign * most.max(axis=1, initial=-np.inf))
        return found[0], found[1]

    def _with_concentrated(
        self, load: Lane, of: Index, sign: float | Float, live: Float, state: Small
    ) -> Float:
        """Return (i, n) loads with the lane's own on the joint where it adds most."""
        row = np.reshape(sign, (-1, 1)) * self._influence(of, state)
        every, most = np.arange(len(of)), row.argmax(axis=1)
        kip = np.where(
            self.web[of], load.concentrated_web_kip, load.concentrated_chord_kip
        )
        more = live.copy()
        at = self.system.truss.loaded[most]
        more[every, at] += np.where(row[every, most] > 0.0, kip, 0.0)
        return more

    def multiples(
        self, load: Uniform | Lane, members: Index, limits: tuple[Float, Float]
    ) -> tuple[Float, Index]:
        """Return the least multiples at which limits are reached, (L, t), and members left.

        ``limits`` are upper and lower total forces, (L, m), which may be infinite.
        """
        wanted, value = [], []
        for sign, limit in ((1.0, limits[0]), (-1.0, limits[1])):
            for level, row in enumerate(limit[:, members]):
                at = np.flatnonzero(np.isfinite(row))
                wanted.append(
                    np.stack([np.full_like(at, level), at, np.full_like(at, sign)])
                )
                value.append(row[at])
        found = np.full((len(limits[0]), len(members)), np.inf)
        level, at, sense = np.tile(np.concatenate(wanted, axis=1), (1, BEGINNINGS))
        bound = np.tile(np.concatenate(value), BEGINNINGS)
        count = len(at) // BEGINNINGS
        of, sign = members[at], sense.astype(float)
        state = np.repeat(self._beginnings(), count, axis=1)
        lost = np.zeros(len(of), bool)
        seen = _Seen(len(state), count)
        here = np.arange(len(of))
        for _ in range(ROUNDS):
            fresh = seen.going_on(here, state)
            here, state = here[fresh], state[:, fresh]
            if not len(here):
                break
            row = self._influence(of[here], state)
            live = self._laid(sign[here, None] * row, load, of[here])
            met = self._met(of[here], sign[here], bound[here], live)
            lost[here[met.lost]] = True
            here, live, loaded = here[met.which], live[met.which], met.loaded
            multiple = met.multiple
            np.minimum.at(found, (level[here], at[here]), multiple)
            known = np.flatnonzero(np.isfinite(multiple))
            total = self.dead_kip + multiple[known, None] * live[known]
            again, slack = self._settle(total, np.ones(len(total)))
            lost[here[known[slack | again.columns.unsettled]]] = True
            state = loaded.states.copy()
            state[:, known] = again.states
            going = ~lost[here]
            going[known] &= ~self._falls(again)
            here, state = here[going], state[:, going]
        np.minimum(found, self._multiples_of_lengths(load, members, limits), out=found)
        left = members[np.unique(at[lost])]
        return found, left

    def _met(self, of: Index, sign: Float, bound: Float, live: Float) -> _Met:
        """Go from the dead load to (i, n) live loads, until a member is at its bound."""
        stop = self._standing(live)
        which = np.flatnonzero(live.any(axis=1) & (stop > SHORTEST))
        lost = np.zeros(len(of), bool)
        last = (1.0 - stop)[:, None] * self.dead_kip + stop[:, None] * live
        loaded, slack = self._settle(last[which], 1.0 - stop[which])
        gone = slack | loaded.columns.unsettled
        lost[which[gone]] = True
        which, loaded = which[~gone], _only(loaded, ~gone)
        of, stop = of[which], stop[which]
        start = self._dead_load(len(which))
        walk = self._walk(start, loaded)
        force, pressed = self._along(walk, of, start, loaded)
        lost[which[walk.row[pressed]]] = lost[which[walk.lost]] = True
        multiple = _first_reached(
            (walk.row, walk.part * stop[walk.row], force),
            self._forces(of, start.load, start.columns.x),
            (stop, self._forces(of, loaded.load, loaded.columns.x)),
            sign[which],
            bound[which],
        )
        return _Met(which, multiple, loaded, lost)

    def _multiples_of_lengths(
        self, load: Uniform | Lane, members: Index, limits: tuple[Float, Float]
    ) -> Float:
        """Return the least multiples, (L, t), with any one length loaded."""
        own = general.Limits(limits[0][:, members], limits[1][:, members])
        if not (np.isfinite(own.upper) | np.isfinite(own.lower)).any():
            return np.full(own.upper.shape, np.inf)
        lengths = one_length(self.places_ft, MOST_LENGTHS)
        live = general.on_all_joints(self.system, load.klf * lengths)
        stop = self._standing(live)
        live, stop = live[stop > SHORTEST], stop[stop > SHORTEST]
        last = (1.0 - stop)[:, None] * self.dead_kip + stop[:, None] * live
        loaded, slack = self._settle(last, 1.0 - stop)
        fine = ~(slack | loaded.columns.unsettled)
        live, stop, loaded = live[fine], stop[fine], _only(loaded, fine)
        start = self._dead_load(len(stop))
        walk = self._walk(start, loaded)
        bad = walk.lost.copy()
        _, pressed = self._along(walk, members[:1].repeat(len(stop)), start, loaded)
        bad[walk.row[pressed]] = True
        every = np.arange(len(stop))
        row = np.concatenate([every, walk.row, every])
        along = np.concatenate([np.zeros(len(stop)), walk.part, np.ones(len(stop))])
        x = np.concatenate([start.columns.x, walk.x, loaded.columns.x], axis=1)
        order = np.lexsort((along, row))
        row, along, x = row[order], along[order], x[:, order]
        particular = self.system.particular[members]
        begin, end = particular @ self.dead_kip, particular @ loaded.load.T
        force = begin[:, None] + along * (end - begin[:, None])[:, row]
        force += self.crossed.stress[members] @ x
        share = 1.0 - along * stop[row]
        edge = np.flatnonzero((row[1:] == row[:-1]) & ~bad[row[1:]])
        most = np.zeros(own.upper.shape)
        best = np.zeros(own.upper.shape, np.intp)
        several = max(1, _ENTRIES_AT_ONCE // max(1, own.upper.size))
        for first in range(0, len(edge), several):
            at = edge[first : first + several]
            shares = own.crossing(
                force[:, at].T, force[:, at + 1].T, share[at], share[at + 1]
            )
            top = shares.argmax(axis=0)
            more = np.take_along_axis(shares, top[None], axis=0)[0]
            best = np.where(more > most, row[at][top], best)
            most = np.maximum(more, most)
        if not isinstance(load, Lane):
            return general.as_multiple(most)
        found = np.full(most.shape, np.inf)
        for sign, limit in ((1.0, own.upper), (-1.0, own.lower)):
            level, which = np.nonzero(np.isfinite(limit) & (len(stop) > 0))
            of, at = members[which], best[level, which]
            loads = self._with_concentrated(
                load, of, sign, live[at], loaded.states[:, at]
            )
            met = self._met(of, np.full(len(of), sign), limit[level, which], loads)
            reached = met.multiple[~met.lost[met.which]]
            some = met.which[~met.lost[met.which]]
            np.minimum.at(found, (level[some], which[some]), reached)
        return found

    def _beginnings(self) -> Small:
        """Return (k, b): the states under dead load, all taut, and one rod or the other.

        Of the two panels at a joint either rod may act in each, so rods alternate too.
        """
        bounded = self.crossed.bounded_by_self & self.crossed.bounded_by_partner
        every = np.where(self.crossed.locked, COUNTER, BOTH)
        odd = np.cumsum(bounded) % 2 == 1
        begin = [_STATE[self.dead.states[:, self.c]], every]
        for counters in (odd, ~odd, odd | True, odd & False):
            begin.append(np.where(bounded, np.where(counters, COUNTER, PARTNER), BOTH))
        return np.stack(begin, axis=1).astype(np.int8)

    def _influence(self, of: Index, state: Small) -> Float:
        """Return (i, p): influence lines of members ``of`` in (k, i) states."""
        # In the classical model a rod is no more than slack where its partner acts.
        loose = self.crossed.locked[:, None] & (state == COUNTER)
        free = ((state == BOTH) | loose).T  # (i, k)
        stress = self.crossed.stress[of]
        k = stress.shape[1]
        weight = np.empty_like(stress)
        several = max(1, _ENTRIES_AT_ONCE // max(1, k * k))
        for first in range(0, len(of), several):
            part = slice(first, first + several)
            # What is bound to its partner, or slack, has no say in the others.
            table = np.eye(k) + self._coupled.T * free[part][:, None, :]
            weight[part] = np.linalg.solve(table, stress[part][..., None])[..., 0]
        row = self._unit[of] - np.where(free, weight, 0.0) @ self._unit_g
        row += np.where((state == PARTNER).T, weight, 0.0) @ self._unit_r
        slack = self._partner[:, None] == of
        row[((state == PARTNER) & slack).any(axis=0)] = 0.0
        row[np.abs(row) <= _NOISE * np.abs(row).max(axis=1, keepdims=True)] = 0.0
        return row

    def _laid(self, ordinate: Float, load: Uniform | Lane, of: Index) -> Float:
        """Return (i, n): the load where (i, p) ordinates are positive."""
        on = loads_where_it_adds(ordinate, self.places_ft, load.klf)
        if isinstance(load, Lane):
            every = np.arange(len(of))
            most = np.argmax(ordinate, axis=1)
            kip = np.where(
                self.web[of], load.concentrated_web_kip, load.concentrated_chord_kip
            )
            on[every, most] += np.where(ordinate[every, most] > 0.0, kip, 0.0)
        joints = np.zeros((len(of), len(self.dead_kip)))
        joints[:, self.system.truss.loaded] = on
        return joints

    def _settle(self, load: Float, dead: Float) -> tuple[_Loaded, Mask]:
        """Settle (i, n) loads, of which (i,) ``dead`` times the dead load is a part.

        Returns them and (i,) whether a bar that should stay taut would be pressed.
        """
        crossed, c = self.crossed, self.c
        live = (load - dead[:, None] * self.dead_kip)[:, self.system.truss.loaded].T
        g = self._unit_g @ live + dead * crossed.dead_g[:, [c]]
        r = self._unit_r @ live + dead * crossed.dead_r[:, [c]]
        base = self._unit @ live + dead * crossed.dead_base[:, [c]]
        scale = np.maximum(np.abs(base).max(axis=0, initial=0.0), 1e-300)
        scale = np.where(dead > 0.0, np.maximum(scale, crossed.dead_scale[c]), scale)
        columns = crossed.settle(g, r, scale, np.full(len(load), c))
        found = _Loaded(load, g, r, scale, columns, _STATE[columns.states])
        force = self._forces(self.system.watched[:, None], load, columns.x)
        slack: Mask = (force < -TOLERANCE * scale).any(axis=0)
        return found, slack

    def _of_dead(self) -> Columns:
        dead, c = self.dead, slice(self.c, self.c + 1)
        return Columns(
            dead.x[:, c], dead.target[:, c], dead.states[:, c], np.zeros(1, bool)
        )

    def _dead_load(self, count: int) -> _Loaded:
        """Return the dead load as often."""
        crossed, c = self.crossed, np.full(count, self.c)
        dead = self.dead
        return _Loaded(
            np.tile(self.dead_kip, (count, 1)),
            crossed.dead_g[:, c],
            crossed.dead_r[:, c],
            crossed.dead_scale[c],
            Columns(
                dead.x[:, c],
                dead.target[:, c],
                dead.states[:, c],
                np.zeros(count, bool),
            ),
            _STATE[dead.states[:, c]],
        )

    def _standing(self, live: Float) -> Float:
        """Return (i,): how far from the dead load to (i, n) live loads the truss stands.

        As far as every bar that it cannot do without is pulled.
        """
        lone = self.system.particular[self.system.lone]
        begin = np.maximum(lone @ self.dead_kip, 0.0)[:, None]
        end = lone @ live.T
        scale = np.abs(self._unit @ live[:, self.system.truss.loaded].T).max(axis=0)
        falls = end < -TOLERANCE * scale
        part = np.divide(begin, begin - end, out=np.ones_like(end), where=falls)
        stop: Float = part.min(axis=0, initial=1.0)
        return stop

    def _falls(self, loaded: _Loaded) -> Mask:
        """Return (i,): whether a bar the truss cannot do without would go slack."""
        lone = self.system.particular[self.system.lone] @ loaded.load.T
        slack = lone < -TOLERANCE * loaded.scale
        falls: Mask = np.logical_or.reduce(slack, axis=0)
        return falls

    def _forces(self, of: Index, load: Float, x: Float) -> Float:
        """Return (i,) forces of members (i,), or (w, i) of (w, 1), under (i, n) loads."""
        if of.ndim == 2:
            rows = of[:, 0]
            every: Float = self.system.particular[rows] @ load.T
            return every + self.crossed.stress[rows] @ x
        force: Float = np.einsum("ij,ij->i", self.system.particular[of], load)
        force += np.einsum("ik,ki->i", self.crossed.stress[of], x)
        return force

    def _walk(self, start: _Loaded, stop: _Loaded) -> Walk:
        every = np.arange(len(start.load))
        return self.crossed.walk(
            self.crossed.stretches(
                np.full(len(every), self.c),
                (start.columns, start.r, every),
                (stop.columns, stop.g, stop.r, every),
                np.maximum(start.scale, stop.scale),
            )
        )

    def _along(
        self, walk: Walk, of: Index, start: _Loaded, stop: _Loaded
    ) -> tuple[Float, Mask]:
        """Return (v,) forces at changes, and whether a bar is pressed that may not be."""
        particular, row, part = self.system.particular, walk.row, walk.part
        begin = np.einsum("ij,ij->i", particular[of], start.load)
        step = np.einsum("ij,ij->i", particular[of], stop.load) - begin
        force = begin[row] + part * step[row]
        force += np.einsum("vk,kv->v", self.crossed.stress[of][row], walk.x)
        pressed = np.zeros(len(row), bool)
        scale = np.maximum(start.scale, stop.scale)[row]
        for bar in self._aside.tolist():
            begin = start.load @ particular[bar]
            step = stop.load @ particular[bar] - begin
            own = begin[row] + part * step[row] + self.crossed.stress[bar] @ walk.x
            pressed |= own < -TOLERANCE * scale
        return force, pressed


class _Seen:
    """Which states searches were in, of which ``each`` set out from every beginning.

    A search goes on until it is where it was before; one from the further beginnings,
    only until it is where another for the same member was.
    """

    def __init__(self, k: int, each: int) -> None:
        self._each = each
        self._keys = np.zeros(0, np.uint64)
        self._signature = np.random.default_rng(1890).integers(
            1, 2**63, (k, 3), np.uint64
        )

    def going_on(self, search: Index, state: Small) -> Index:
        """Return which of (i,) searches in (k, i) states go on."""
        own = (search.astype(np.uint64) + np.uint64(1)) * _ODD
        others = (search % self._each).astype(np.uint64) * _ODD + _APART
        for signature, row in zip(self._signature, state, strict=True):
            own = own + signature[row]
            others = others + signature[row]
        further = search >= FIRST_BEGINNINGS * self._each
        new = ~np.isin(own, self._keys)
        _, first = np.unique(others, return_index=True)
        alone = np.zeros(len(search), bool)
        alone[first] = True
        new &= ~further | (alone & ~np.isin(others, self._keys))
        self._keys = np.concatenate([self._keys, own[new], others[new]])
        found: Index = np.flatnonzero(new)
        return found


def _only(of: _Loaded, some: Mask | Index) -> _Loaded:
    """Return some of the searches."""
    c = of.columns
    return _Loaded(
        of.load[some],
        of.g[:, some],
        of.r[:, some],
        of.scale[some],
        Columns(c.x[:, some], c.target[:, some], c.states[:, some], c.unsettled[some]),
        of.states[:, some],
    )


def _first_reached(
    changes: tuple[Index, Float, Float],
    begin: Float,
    end: tuple[Float, Float],
    sign: Float,
    bound: Float,
) -> Float:
    """Return (i,) multiples at which bounds are reached on the way from dead to live load.

    ``changes``: which way, how far along it, and the force there, (v,). ``end``: how far
    each way is gone, and the force there, (i,).
    """
    row, part, force = changes
    every = np.arange(len(begin))
    row = np.concatenate([every, row, every])
    part = np.concatenate([np.zeros(len(every)), part, end[0]])
    force = np.concatenate([begin, force, end[1]])
    order = np.lexsort((part, row))
    row, part, force = row[order], part[order], force[order]
    over = sign[row] * (force - bound[row] * (1.0 - part))
    share = np.where(over >= 0.0, 1.0 - part, 0.0)
    same = row[1:] == row[:-1]
    crosses = same & ((over[1:] < 0.0) != (over[:-1] < 0.0))
    along = np.divide(
        over[:-1], over[:-1] - over[1:], out=np.zeros(len(same)), where=crosses
    )
    met = 1.0 - (part[:-1] + along * (part[1:] - part[:-1]))
    share[:-1] = np.maximum(share[:-1], np.where(crosses, met, 0.0))
    most = np.zeros(len(every))
    np.maximum.at(most, row, share)
    known = np.maximum(most, 1e-300)
    return np.where(most * BEYOND > 1.0, (1.0 - most) / known, np.inf)
