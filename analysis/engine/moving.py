"""The exact envelope of moving loads over many configurations of one truss.

Feet and kips; tension positive; loads positive downward.
Array axes: ``c`` configurations, ``n`` joints, ``m`` members.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from . import general
from .batch import BLOCK, Peaks, fronts, linear_peaks, vehicle_peaks
from .chunks import joined, slices
from .equilibrium import Equilibrium, Float, Index, Mask, Truss
from .influence import loads_where_it_adds
from .loads import Lane, Load, Places, Train, Uniform
from .mixed import PeaksQuestion, Steps, answered
from .pairs import Crossed
from .setting import Setting, Unstable, setting
from .statics import DeadState, Model
from .tautbatch import FEWEST, vehicle_extremes

__all__ = [
    "Envelope",
    "Governing",
    "Lane",
    "Load",
    "Train",
    "Uniform",
    "envelope",
    "envelope_of",
    "envelope_steps",
    "envelopes_of",
]

#: Forces of which it costs more to work all out than to look for those asked for.
_MANY_FORCES = 2**17


@dataclass(frozen=True, eq=False)
class Governing:
    """Where a governing load stands.

    Attributes
    ----------
    front_ft : (c, m) float, x of the front axle; 0 for loads that are not vehicles
    heading : (c, m) int, +1 towards greater x, -1 towards smaller, 0 no vehicle
    load : (c, m) int, which of the loads; -1 where none adds anything
    """

    front_ft: Float
    heading: Index
    load: Index


@dataclass(frozen=True, eq=False)
class Envelope:
    """Greatest rise and fall of every member from its dead-load force.

    Attributes
    ----------
    live_max_kip, live_min_kip : (c, m) float, never of the wrong sign
    max_at, min_at : Governing, None where not asked for
    reaction_max_kip, reaction_min_kip : (c, 2) float, live, at pin and roller
    unstable_at : per configuration, None or (front axle ft, heading, fraction)
        The place with the least fraction of the load under which the truss falls.
    stands : (c,) bool, whether dead load alone is carried; if not, all is zero
    elastic : (c,) bool, whether crossed rods share by stiffness; see ``DeadState``
    """

    live_max_kip: Float
    live_min_kip: Float
    max_at: Governing | None
    min_at: Governing | None
    reaction_max_kip: Float
    reaction_min_kip: Float
    unstable_at: list[Unstable | None]
    stands: Mask
    elastic: Mask


def envelope(
    truss: Truss,
    ea_kip: Float,
    dead_kip: Float,
    loads: Sequence[Load],
    factor: Float,
    model: Model = "elastic",
    web: Mask | None = None,
    reaction_factor: float | None = None,
    with_places: bool = True,
) -> Envelope:
    """Return the greatest and least live forces over all positions of all loads.

    Exact over every position, either heading, partly off the span: forces are linear
    in the position between axles on joints and changes of the taut set, and all of
    both are visited. A member's total is that of the whole structure under dead load
    and the live load times that member's own factor; the live force is that less the
    dead-load force. Positions that no taut set can carry are left out.

    A uniform load lies on the lengths of the deck where the member's influence line,
    with the bars that are then taut, adds; or on any one length, where that is worse.
    Which lengths are worst where bars go slack is searched for, not proved.

    Parameters
    ----------
    truss : Truss
    ea_kip : (c, m) float
        E times A, kip; positive.
    dead_kip : (c, n) float
        Dead load on every joint, kip, downward positive.
    loads : sequence of Train, Uniform and Lane
        Several are the worse of each, member by member.
    factor : (m,) float
        Fraction of the load on this truss line times one plus impact, per member.
    model : {"elastic", "classical"}
    web : (m,) bool, optional
        Members that take a lane's concentrated load for webs; none by default.
    reaction_factor : float, optional
        The same as ``factor`` for reactions; by default the greatest of it.
    with_places : bool
        Whether to tell where each member's greatest and least forces occur.

    Returns
    -------
    Envelope

    Raises
    ------
    ValueError
        As ``dead_forces``.

    Source
    ------
    Derivation in ``general``. Known answers: tests/analysis/engine/test_moving_loads.py.
    """
    ea, dead = np.atleast_2d(ea_kip), np.atleast_2d(dead_kip)
    return joined(
        [
            envelope_of(
                setting(truss, ea[part], dead[part], loads, model, web),
                factor,
                reaction_factor,
                with_places,
            )
            for part in slices(len(ea))
        ]
    )


def envelope_of(
    asked: Setting,
    factor: Float,
    reaction_factor: float | None = None,
    with_places: bool = True,
) -> Envelope:
    """Return ``envelope`` of configurations already settled."""
    return envelopes_of(asked, [factor], reaction_factor, with_places)[0]


def envelopes_of(
    asked: Setting,
    factors: Sequence[Float],
    reaction_factor: float | None = None,
    with_places: bool = True,
) -> list[Envelope]:
    """Return an envelope for each of several factors, of configurations already settled."""
    return answered(envelope_steps(asked, factors, reaction_factor, with_places))


def envelope_steps(
    asked: Setting,
    factors: Sequence[Float],
    reaction_factor: float | None = None,
    with_places: bool = True,
) -> Steps[list[Envelope]]:
    """Come to ``envelopes_of``, and ask on the way what may be asked for many together."""
    count = len(asked.system.truss.names)
    shares = [np.broadcast_to(np.asarray(one, float), (count,)) for one in factors]
    force = asked.state.forces_kip
    ranges = [_Range.from_dead(force, with_places) for _ in shares]
    beyond = asked.settled.beyond.copy()
    if asked.state.stands.any():
        yield from _vehicles_on_redundant_members(asked, shares, ranges, beyond)
    cells = _Cells(asked, shares)
    return [
        _envelope(cells, number, range_, beyond.copy(), reaction_factor)
        for number, range_ in enumerate(ranges)
    ]


def _envelope(
    cells: _Cells,
    number: int,
    range_: _Range,
    beyond: Mask,
    reaction_factor: float | None,
) -> Envelope:
    """Return an envelope; ``range_`` has vehicles on members that redundants touch."""
    asked, share = cells.asked, cells.factors[number]
    system, state, settled = asked.system, asked.state, asked.settled
    loads, places = asked.loads, asked.places
    truss = system.truss
    greatest = float(share.max(initial=0.0))
    fall = asked.fall(greatest)
    _vehicles_on_linear_members(asked, share, range_)
    _spread_on_linear_members(asked, share, range_)
    falls = np.flatnonzero(state.stands & ~beyond & (fall.fraction < 1.0))
    anew = beyond.copy()
    if len(falls):
        # Where more than one bar's going slack brings it down, watched bars tell.
        beyond[falls] = _vehicles_where_it_stands(asked, share, range_, falls)
        anew[falls] = True
    done = _many_beyond(asked, share, range_, np.flatnonzero(state.stands & beyond))
    left = state.stands & ~done
    moved = np.flatnonzero(left & beyond)
    one_by_one = range_.high_at is not None or not asked.as_cells
    if len(moved) and not one_by_one:
        cells.put(number, range_, moved)
    if not asked.spreads:
        left &= beyond & one_by_one
    elif not len(system.touched):
        left &= anew
    spread = tuple(x if not isinstance(x, Train) else NOTHING for x in loads)
    for c in np.flatnonzero(left).tolist():
        # The vehicles first: what was there of other loads has given way to them.
        moves = bool(beyond[c]) and one_by_one
        if moves:
            found = general.extremes(
                asked.sets(c),
                settled.dead[c],
                places,
                (NOTHING,) * len(loads),
                np.where(truss.absent, 0.0, share),
                asked.web,
            )
            range_.replace(c, found, whole=True)
        if not asked.spreads:
            continue
        some = _spread_on_redundant_members(asked, c, share, range_)
        if anew[c]:
            some[asked.linear] = True
        if not some.any():
            continue
        found = general.extremes(
            asked.sets(c),
            settled.dead[c],
            asked.no_places,
            spread,
            np.where(some & ~np.asarray(truss.absent, bool), share, 0.0),
            asked.web,
        )
        range_.replace(c, found, whole=False)

    up, down = _reactions(
        system,
        places,
        loads,
        greatest if reaction_factor is None else reaction_factor,
    )
    standing = state.stands[:, None]
    return Envelope(
        _beyond_dead(range_.high, state, np.maximum),
        _beyond_dead(range_.low, state, np.minimum),
        None if range_.high_at is None else Governing(*range_.high_at),
        None if range_.low_at is None else Governing(*range_.low_at),
        np.where(standing, up, 0.0),
        np.where(standing, down, 0.0),
        fall.at,
        state.stands,
        state.elastic,
    )


def _beyond_dead(total: Float, state: DeadState, kept: np.ufunc) -> Float:
    """Return what total forces, (c, m), have beyond dead load, in their place."""
    np.subtract(total, state.forces_kip, out=total)
    kept(total, 0.0, out=total)
    total[~state.stands] = 0.0
    return total


#: Stands for a load that is dealt with elsewhere.
NOTHING = Train(np.zeros(0), np.zeros(0))


#: Front, heading and load number.
Where = tuple[Any, Any, Any]


@dataclass(frozen=True, eq=False)
class _Range:
    """Extreme total forces (c, m) and where, each (c, m), if that is asked for."""

    high: Float
    low: Float
    high_at: Where | None
    low_at: Where | None

    @classmethod
    def from_dead(cls, force: Float, with_places: bool) -> _Range:
        def nowhere() -> Where | None:
            if not with_places:
                return None
            # Small numbers, but many of them.
            return (
                np.zeros(force.shape),
                np.zeros(force.shape, np.int8),
                np.full(force.shape, -1, np.int8),
            )

        return cls(force.copy(), force.copy(), nowhere(), nowhere())

    def take(
        self,
        members: Index,
        high: Float,
        low: Float,
        high_at: Callable[[], Where],
        low_at: Callable[[], Where],
    ) -> None:
        """Fold in (c, t) or (t,) forces of ``members`` and where they occur."""
        for sign, mine, mine_at, new, new_at in (
            (1, self.high, self.high_at, high, high_at),
            (-1, self.low, self.low_at, low, low_at),
        ):
            old = mine[:, members]
            if mine_at is not None:
                better = new > old if sign == 1 else new < old
                for old_part, part in zip(mine_at, new_at(), strict=True):
                    old_part[:, members] = np.where(better, part, old_part[:, members])
            extreme = np.maximum if sign == 1 else np.minimum
            mine[:, members] = extreme(old, new, out=old)

    def take_peaks(self, members: Index, peaks: Peaks, places: Places) -> None:
        """Fold in ``peaks`` of ``members``, which are (t, c)."""
        self.take(
            members,
            peaks.high.T,
            peaks.low.T,
            _at(places, peaks.high_at, is_turned=True),
            _at(places, peaks.low_at, is_turned=True),
        )

    def take_one(
        self, c: int, members: Index, high: Float, low: Float, load: int
    ) -> None:
        """Fold in (t,) forces of one configuration under a load that is no vehicle."""
        for mine, mine_at, new, better in (
            (self.high, self.high_at, high, high > self.high[c, members]),
            (self.low, self.low_at, low, low < self.low[c, members]),
        ):
            mine[c, members] = np.where(better, new, mine[c, members])
            if mine_at is not None:
                for part, where in zip(mine_at, (0.0, 0, load), strict=True):
                    part[c, members[better]] = where

    def put(self, columns: Index, other: _Range) -> None:
        """Take another's configurations in place of these."""
        self.high[columns], self.low[columns] = other.high, other.low
        for mine, theirs in (
            (self.high_at, other.high_at),
            (self.low_at, other.low_at),
        ):
            if mine is None or theirs is None:
                continue
            for old_part, part in zip(mine, theirs, strict=True):
                old_part[columns] = part

    def replace(self, c: int, found: general.Extremes, whole: bool) -> None:
        """Take one configuration's extremes in place of these, or fold them in."""
        for mine, mine_at, new, new_at, better in (
            (
                self.high,
                self.high_at,
                found.high,
                found.high_at,
                found.high > self.high[c],
            ),
            (self.low, self.low_at, found.low, found.low_at, found.low < self.low[c]),
        ):
            better = better | whole
            mine[c] = np.where(better, new, mine[c])
            if mine_at is None:
                continue
            for old_part, part in zip(mine_at, new_at.T, strict=True):
                old_part[c] = np.where(better, part, old_part[c])


def _always(here: Where) -> Callable[[], Where]:
    return lambda: here


def _at(
    places: Places,
    at: Float | Index | None,
    cut: Any = ...,
    *,
    is_turned: bool = False,
) -> Callable[[], Where]:
    """Return what tells where (front, heading, load) places are, if it is asked."""

    def told() -> Where:
        some = np.asarray(at, float)[cut]
        return fronts(places, some.T if is_turned else some)

    return told


def _vehicles_on_linear_members(asked: Setting, factor: Float, range_: _Range) -> None:
    """Fold in members that no redundant touches: the same for every configuration."""
    places, members = asked.places, asked.linear
    high, low, top, bottom = linear_peaks(asked.system, asked.live_kip, members, factor)
    dead = asked.state.forces_kip[:, members]
    range_.take(
        members,
        dead + high,
        dead + low,
        _at(places, top),
        _at(places, bottom),
    )


def _spread_on_linear_members(asked: Setting, factor: Float, range_: _Range) -> None:
    if not asked.spreads:
        return
    system, members = asked.system, asked.linear
    line = system.particular[members]
    dead = asked.state.forces_kip[:, members]
    for number, load in enumerate(asked.loads):
        if isinstance(load, Train):
            continue
        here = (
            np.zeros(len(members)),
            np.zeros(len(members), np.intp),
            np.full(len(members), number, np.intp),
        )
        up, down = (
            np.array(
                [
                    factor[member]
                    * row
                    @ general.spread_load(
                        system, sign * row, load, bool(asked.web[member])
                    )
                    for member, row in zip(members, line, strict=True)
                ]
            ).reshape(-1)
            for sign in (1.0, -1.0)
        )
        range_.take(members, dead + up, dead + down, _always(here), _always(here))


@dataclass(frozen=True, eq=False)
class _Cells:
    """Vehicles on configurations that ``pairs`` does not answer, under several factors.

    Where the factors, (m,), ask for the same configurations these are gone over once.
    """

    asked: Setting
    factors: Sequence[Float]
    _known: dict[bytes, tuple[list[Peaks], list[tuple[int, int]]]] = field(
        default_factory=dict
    )

    def put(self, number: int, range_: _Range, columns: Index) -> None:
        """Put configurations under one of the factors in place."""
        asked, settled, places = self.asked, self.asked.settled, self.asked.places
        force = settled.state.forces_kip[columns]
        found = _Range.from_dead(force, with_places=False)
        if len(places.joint_kip):
            absent = np.asarray(asked.system.truss.absent, bool)
            factors = [np.where(absent, 0.0, factor) for factor in self.factors]
            which = columns.tobytes()
            if which not in self._known:
                self._known[which] = asked.cells(columns).extremes(
                    places, asked.live_kip, factors, force.T
                )
            peaks, left = self._known[which]
            found.take_peaks(np.arange(force.shape[1]), peaks[number], places)
            for one, place in left:
                c = int(columns[one])
                more = general.Extremes(force[one].copy(), force[one].copy())
                general.extremes_at_place(
                    asked.sets(c),
                    settled.dead[c],
                    asked.live_kip,
                    places,
                    place,
                    factors[number],
                    more,
                )
                found.replace(one, more, whole=False)
        range_.put(columns, found)


def _spread_on_redundant_members(
    asked: Setting, c: int, factor: Float, range_: _Range
) -> Mask:
    """Fold in the spread loads of one configuration; return the members not answered."""
    left = np.zeros(len(factor), bool)
    touched = asked.system.touched
    members = touched[factor[touched] != 0.0]
    over = asked.spread_over(c)
    if over is None:
        left[members] = True
        return left
    for number, load in enumerate(asked.loads):
        if not isinstance(load, Train):
            high, low, more = over.extremes(load, members, factor)
            range_.take_one(c, members, high, low, number)
            left[more] = True
    return left


def _vehicles_on_redundant_members(
    asked: Setting, factors: Sequence[Float], ranges: Sequence[_Range], beyond: Mask
) -> Steps[None]:
    """Fold in members that redundants touch; mark configurations not answered.

    Each of the (m,) factors has its range.
    """
    system, crossed = asked.system, asked.settled.crossed
    places = asked.places
    if crossed is None or not len(places.joint_kip) or beyond.all():
        return
    live = crossed.live(asked.live_kip)
    force = asked.state.forces_kip.T
    touched = system.touched
    with_places = ranges[0].high_at is not None
    mine = np.stack([factor[touched] for factor in factors])
    values, which = np.unique(mine, return_inverse=True)
    which = which.reshape(mine.shape)
    count = crossed.count
    if len(values) > 1 and count * len(values) <= BLOCK:
        # Few configurations: one column for each of them under each factor.
        each = np.repeat(np.arange(count), len(values))
        every = crossed.of(each)
        start = np.repeat(force[touched], len(values), axis=1)
        peaks = Peaks.from_dead(start, with_places)
        scale = np.tile(values, count)
        asked_for = None
        if len(touched) * len(each) * len(places.front_ft) > _MANY_FORCES:
            asked_for = (which[..., None] == np.arange(len(values))).any(axis=0)
            asked_for = np.tile(asked_for, count)
        lost = yield PeaksQuestion(
            every, live, places, touched, scale, peaks, asked_for
        )
        beyond |= lost.reshape(count, -1).any(axis=1)
        rows, columns = np.arange(len(touched)), np.arange(count)[:, None]
        for own, range_ in zip(which, ranges, strict=True):
            cut = rows, columns * len(values) + own
            range_.take(
                touched,
                peaks.high[cut],
                peaks.low[cut],
                _at(places, peaks.high_at, cut),
                _at(places, peaks.low_at, cut),
            )
        return
    for factor, range_ in zip(factors, ranges, strict=True):
        for value in np.unique(factor[touched]):
            members = touched[factor[touched] == value]
            peaks = Peaks.from_dead(force[members], with_places)
            beyond |= vehicle_peaks(crossed, live, places, value, members, peaks)
            range_.take_peaks(members, peaks, places)


def _vehicles_where_it_stands(
    asked: Setting, factor: Float, range_: _Range, columns: Index
) -> Mask:
    """Put in the extremes of configurations that some positions bring down.

    Returns which of ``columns`` are not answered.
    """
    settled, places = asked.settled, asked.places
    system = settled.system
    crossed = Crossed(
        system, settled.ea[columns], settled.dead[columns], asked.model == "classical"
    )
    live = crossed.live(asked.live_kip)
    present = ~np.asarray(system.truss.absent, bool)
    beyond = np.zeros(len(columns), bool)
    some = _Range.from_dead(
        settled.state.forces_kip[columns], range_.high_at is not None
    )
    for value in np.unique(factor[present]) if len(places.joint_kip) else ():
        members = np.flatnonzero(present & (factor == value))
        peaks = Peaks.from_dead(
            settled.state.forces_kip[columns][:, members].T, range_.high_at is not None
        )
        beyond |= vehicle_peaks(crossed, live, places, value, members, peaks, True)
        some.take_peaks(members, peaks, places)
    range_.put(columns, some)
    return beyond


def _many_beyond(asked: Setting, factor: Float, range_: _Range, columns: Index) -> Mask:
    """Put in the extremes of many configurations that ``pairs`` cannot answer.

    Returns (c,) which are answered so.
    """
    settled, state = asked.settled, asked.state
    done = np.zeros(len(state.stands), bool)
    if len(columns) < FEWEST or asked.spreads or range_.high_at is not None:
        return done
    present = ~np.asarray(asked.system.truss.absent, bool)
    start = state.forces_kip[columns]
    high, low = start.copy(), start.copy()
    answered = np.ones(len(columns), bool)
    for value in np.unique(factor[present & (factor != 0.0)]):
        members = np.flatnonzero(present & (factor == value))
        most, least, known = vehicle_extremes(
            asked.system,
            settled.ea[columns],
            settled.dead[columns],
            value * asked.live_kip,
            asked.places.linked,
            asked.model == "classical",
            lambda c: asked.sets(int(columns[c])),
        )
        answered &= known
        high[:, members] = np.maximum(start[:, members], most[:, members])
        low[:, members] = np.minimum(start[:, members], least[:, members])
    done[columns[answered]] = True
    range_.high[columns[answered]] = high[answered]
    range_.low[columns[answered]] = low[answered]
    return done


def _reactions(
    system: Equilibrium, places: Places, loads: Sequence[Load], factor: float
) -> tuple[Float, Float]:
    """Return (2,), (2,): greatest and least live reactions at pin and roller."""
    loaded = system.truss.loaded
    x = np.asarray(system.truss.xy_ft, float)[loaded, 0]
    line = system.reaction[:, loaded]
    rows = [np.zeros(2), *(places.joint_kip @ line.T)]
    for load in loads:
        if isinstance(load, Train):
            continue
        for sign in (1.0, -1.0):
            total = (line * loads_where_it_adds(sign * line, x, load.klf)).sum(axis=1)
            if isinstance(load, Lane):
                most = max(load.concentrated_chord_kip, load.concentrated_web_kip)
                total = total + sign * most * np.maximum(sign * line, 0).max(axis=1)
            rows.append(total)
    every = factor * np.array(rows)
    return every.max(axis=0), every.min(axis=0)
