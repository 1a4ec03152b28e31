"""The multiple of the live load at which each member reaches its limit.

Feet and kips; tension positive; loads positive downward.
Array axes: ``c`` configurations, ``L`` rating levels, ``n`` joints, ``m`` members.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np

from . import general
from .batch import fronts, linear_peaks
from .cells import BEYOND, Least
from .chunks import joined, slices
from .equilibrium import Float, Index, Mask, Truss
from .loads import Load, Places, Train
from .mixed import SharesFound, SharesQuestion, Steps, answered
from .moving import NOTHING, Governing, Where
from .setting import Setting, setting
from .statics import Model

__all__ = ["Ratings", "rating_steps", "ratings", "ratings_of"]


@dataclass(frozen=True, eq=False)
class Ratings:
    """Multiples of the live load, dead load held.

    Attributes
    ----------
    rating : (c, L, m) float
        Infinite where no multiple brings the member to a limit; 0 where dead load does.
    up, down : (c, L, m) float, the same for rises and for falls alone
    at : Governing, of shape (c, L, m); None where not asked for
    stability : (c,) float
        The least multiple under which the truss falls; infinite if it never does.
    stands : (c,) bool, whether dead load alone is carried; if not, all ratings are 0
    elastic : (c,) bool, whether crossed rods share by stiffness; see ``DeadState``
    """

    rating: Float
    up: Float
    down: Float
    at: Governing | None
    stability: Float
    stands: Mask
    elastic: Mask


def ratings(
    truss: Truss,
    ea_kip: Float,
    dead_kip: Float,
    loads: Sequence[Load],
    factor: Float,
    headroom_up_kip: Float,
    headroom_down_kip: Float,
    model: Model = "elastic",
    web: Mask | None = None,
    factor_down: Float | None = None,
    least_only: bool = False,
) -> Ratings:
    """Return the least multiple at which each member is at a limit, over all positions.

    Found on the structure itself, slack bars left out, and exact in the sense that
    ``envelope`` is. In a truss without slack bars it is headroom over live force.

    Parameters
    ----------
    truss, ea_kip, dead_kip, loads, factor, model, web
        As ``envelope`` takes them.
    headroom_up_kip : (c, L, m) float
        How far the force may rise from its dead-load value; infinite for no limit.
    headroom_down_kip : (c, L, m) float
        How far it may fall, as a positive number; infinite for no limit.
    factor_down : (m,) float, optional
        ``factor`` for falls, where impact differs from that for rises.
    least_only : bool
        Whether only the least rating of each configuration is wanted, and which member
        has it. Others may then be given greater than they are.

    Returns
    -------
    Ratings

    Raises
    ------
    ValueError
        As ``dead_forces``.

    Source
    ------
    Derivation in ``general``. Known answers: tests/analysis/engine/test_rating_loads.py.
    """
    ea, dead = np.atleast_2d(ea_kip), np.atleast_2d(dead_kip)
    return joined(
        [
            ratings_of(
                setting(truss, ea[part], dead[part], loads, model, web),
                factor,
                headroom_up_kip[part],
                headroom_down_kip[part],
                factor_down,
                least_only,
            )
            for part in slices(len(ea))
        ]
    )


def ratings_of(
    asked: Setting,
    factor: Float,
    headroom_up_kip: Float,
    headroom_down_kip: Float,
    factor_down: Float | None = None,
    least_only: bool = False,
    with_places: bool = True,
) -> Ratings:
    """Return ``ratings`` of configurations already settled.

    ``with_places``: whether to tell where loads stand.
    """
    return answered(
        rating_steps(
            asked,
            factor,
            headroom_up_kip,
            headroom_down_kip,
            factor_down,
            least_only,
            with_places,
        )
    )


def rating_steps(
    asked: Setting,
    factor: Float,
    headroom_up_kip: Float,
    headroom_down_kip: Float,
    factor_down: Float | None = None,
    least_only: bool = False,
    with_places: bool = True,
) -> Steps[Ratings]:
    """Come to ``ratings_of``, and ask on the way what may be asked for many together."""
    system, state, settled = asked.system, asked.state, asked.settled
    truss = system.truss
    share = np.broadcast_to(np.asarray(factor, float), (len(truss.names),))
    # Rises fill the first levels and falls the others, each with the other unlimited.
    none = np.full_like(headroom_up_kip, np.inf)
    force = state.forces_kip[:, None]
    upper = force + np.concatenate([headroom_up_kip, none], axis=1)
    lower = force - np.concatenate([none, headroom_down_kip], axis=1)
    levels = int(none.shape[1])

    found = _Multiples.where_dead_does(
        np.concatenate([headroom_up_kip <= 0.0, headroom_down_kip <= 0.0], axis=1),
        with_places,
    )
    beyond = settled.beyond.copy()
    falls = share if factor_down is None else np.broadcast_to(factor_down, share.shape)
    present = ~np.asarray(truss.absent, bool)
    by_level = np.repeat(np.stack([share, falls]) * present, levels, axis=0)
    if state.stands.any():
        _linear_members(asked, (upper, lower), found)
        beyond |= yield from _redundant_members(
            asked, (upper, lower), found, by_level if least_only else None
        )
    moved = np.flatnonzero(beyond & state.stands)
    if len(moved) and asked.as_cells:
        _vehicles_beyond(asked, (upper, lower), found, moved)
    left = state.stands.copy() if asked.spreads else np.zeros(len(beyond), bool)
    if not len(system.touched):
        left &= beyond
    if not asked.as_cells:
        left |= beyond & state.stands
    spread = tuple(x if not isinstance(x, Train) else NOTHING for x in asked.loads)
    for c in np.flatnonzero(left).tolist():
        own = upper[c], lower[c]
        todo: list[tuple[Places, Sequence[Load], Mask]] = []
        if beyond[c] and not asked.as_cells:
            every = np.ones(len(share), bool)
            todo.append((asked.places, (NOTHING,) * len(asked.loads), every))
        if asked.spreads:
            some = _spread_on_redundant_members(asked, c, own, found)
            todo.append((asked.no_places, spread, some))
        for where, what, some in todo:
            if some.any():
                limits = np.where(some, own[0], np.inf), np.where(some, own[1], -np.inf)
                reached = general.multiples(
                    asked.sets(c), settled.dead[c], where, what, *limits, asked.web
                )
                found.take_reached(c, reached)
    fall = asked.fall(float(max(share.max(initial=0.0), falls.max(initial=0.0))))
    up = _over_factor(found.multiple[:, :levels], share * present, state.stands)
    down = _over_factor(found.multiple[:, levels:], falls * present, state.stands)
    at = None
    if found.at is not None:
        rises = up <= down
        at = Governing(
            *(np.where(rises, of[:, :levels], of[:, levels:]) for of in found.at)
        )
    return Ratings(
        np.minimum(up, down),
        up,
        down,
        at,
        np.where(state.stands, fall.fraction, 0.0),
        state.stands,
        state.elastic,
    )


def _over_factor(multiple: Float, factor: Float, stands: Mask) -> Float:
    """Return ratings, (c, L, m), from multiples of the live load and (m,) factors."""
    moves = factor > 0.0
    rating = multiple / np.where(moves, factor, 1.0)
    rating = np.where(moves | (multiple == 0.0), rating, np.inf)
    return np.where(stands[:, None, None], rating, 0.0)


@dataclass(frozen=True, eq=False)
class _Multiples:
    """Least multiples (c, L, m) and where: front, heading and load, each (c, L, m).

    ``at`` is None where places are not asked for.
    """

    multiple: Float
    at: Where | None

    @classmethod
    def where_dead_does(cls, reached: Mask, with_places: bool) -> _Multiples:
        """Start from what dead load alone reaches."""
        nowhere = (
            np.zeros(reached.shape),
            # Small numbers, but many of them.
            np.zeros(reached.shape, np.int8),
            np.full(reached.shape, -1, np.int8),
        )
        return cls(np.where(reached, 0.0, np.inf), nowhere if with_places else None)

    def take(
        self, columns: Index, members: Index, multiple: Float, at: Callable[[], Where]
    ) -> None:
        """Fold in (c, L, t) multiples and where they are reached."""
        cut: tuple[Any, ...] = (slice(None), slice(None), members)
        if len(columns) < len(self.multiple):
            cut = np.ix_(columns, np.arange(self.multiple.shape[1]), members)
        old = self.multiple[cut]
        self.multiple[cut] = np.minimum(multiple, old)
        if self.at is not None:
            for mine, part in zip(self.at, at(), strict=True):
                mine[cut] = np.where(multiple < old, part, mine[cut])

    def take_reached(self, c: int, reached: general.Reached) -> None:
        """Fold in what is reached of one configuration."""
        at = reached.at
        where = (at[..., 0], at[..., 1].astype(np.intp), at[..., 2].astype(np.intp))
        every = np.arange(self.multiple.shape[2])
        self.take(np.array([c]), every, reached.multiple, lambda: where)


def _linear_members(
    asked: Setting, limits: tuple[Float, Float], found: _Multiples
) -> None:
    """Fold in members that no redundant touches: headroom over live force."""
    system, members, places = asked.system, asked.linear, asked.places
    web = asked.web
    every = np.arange(len(asked.settled.ea))
    high, low, top, bottom = linear_peaks(
        system, asked.live_kip, members, np.ones(len(web))
    )
    dead = asked.state.forces_kip[:, None, members]
    up, down = limits[0][..., members] - dead, dead - limits[1][..., members]
    for room, live, at in ((up, high, top), (down, -low, bottom)):
        where = partial(fronts, places, at.astype(float))
        found.take(every, members, _headroom_over(room, live), where)
    for number, load in enumerate(asked.loads):
        if isinstance(load, Train):
            continue
        here = (
            np.zeros(len(members)),
            np.zeros(len(members), np.intp),
            np.full(len(members), number, np.intp),
        )
        for room, sign in ((up, 1.0), (down, -1.0)):
            live = np.array(
                [
                    sign
                    * row
                    @ general.spread_load(system, sign * row, load, bool(web[member]))
                    for member, row in zip(
                        members, system.particular[members], strict=True
                    )
                ]
            ).reshape(-1)
            found.take(every, members, _headroom_over(room, live), _always(here))


def _always(here: Where) -> Callable[[], Where]:
    return lambda: here


def _headroom_over(room: Float, live: Float) -> Float:
    """Return multiples: (c, L, t) headroom over (t,) live forces."""
    some = live > 0.0
    answer = np.maximum(room, 0.0) / np.where(some, live, 1.0)
    return np.where(some & (answer < BEYOND), answer, np.inf)


def _vehicles_beyond(
    asked: Setting,
    limits: tuple[Float, Float],
    found: _Multiples,
    columns: Index,
) -> None:
    """Fold in vehicles on configurations that ``pairs`` does not answer."""
    settled, places = asked.settled, asked.places
    if not len(places.joint_kip):
        return
    upper, lower = (
        np.ascontiguousarray(np.moveaxis(limit[columns], 0, 2)) for limit in limits
    )
    shares, left = asked.cells(columns).shares(places, asked.live_kip, (upper, lower))
    every = np.arange(limits[0].shape[2])
    found.take(
        columns,
        every,
        np.moveaxis(shares.multiple(), 2, 0),
        partial(fronts, places, np.moveaxis(shares.at, 2, 0)),
    )
    for number, place in left:
        c = int(columns[number])
        reached = general.Reached(np.full(limits[0][c].shape, np.inf))
        own = general.Limits(limits[0][c], limits[1][c])
        general.over_place(
            asked.sets(c), settled.dead[c], asked.live_kip, places, place, own, reached
        )
        found.take_reached(c, reached)


def _spread_on_redundant_members(
    asked: Setting, c: int, limits: tuple[Float, Float], found: _Multiples
) -> Mask:
    """Fold in the spread loads of one configuration; return the members not answered."""
    left = np.zeros(limits[0].shape[1], bool)
    members = asked.system.touched
    over = asked.spread_over(c)
    if over is None:
        left[members] = True
        return left
    for number, load in enumerate(asked.loads):
        if not isinstance(load, Train):
            multiple, more = over.multiples(load, members, limits)
            where: Where = (np.zeros(1), np.zeros(1, np.intp), np.full(1, number))
            found.take(np.array([c]), members, multiple[None], _always(where))
            left[more] = True
    return left


def _least_so_far(found: _Multiples, factor: Float, members: Index) -> Least:
    """Return the least rating that ``found`` comes to, (L, m) factors given."""
    moves = factor > 0.0
    rating = np.where(moves, found.multiple / np.where(moves, factor, 1.0), np.inf)
    return Least(factor[:, members, None], rating.min(axis=(1, 2)))


def _redundant_members(
    asked: Setting,
    limits: tuple[Float, Float],
    found: _Multiples,
    factor: Float | None,
) -> Steps[Mask]:
    """Fold in members that redundants touch; come to the configurations not answered.

    With an (L, m) ``factor`` only the least rating of each configuration is wanted.
    """
    settled, places = asked.settled, asked.places
    members = settled.system.touched
    if not len(members) or not len(places.joint_kip):
        return np.zeros(len(settled.ea), bool)
    alone = asked.alone
    if alone is not None and (
        reached_alone := alone.shares(
            asked.live_alone,
            places,
            (limits[0][0][:, members], limits[1][0][:, members]),
        )
    ):
        found.take(
            np.zeros(1, np.intp),
            members,
            reached_alone.multiple()[None],
            partial(fronts, places, reached_alone.at[None]),
        )
        return np.zeros(1, bool)
    if settled.beyond.all():
        return settled.beyond
    crossed, dead = settled.crossed, settled.columns
    if crossed is None or dead is None:
        return np.zeros(len(settled.ea), bool)
    upper, lower = (
        np.ascontiguousarray(np.moveaxis(limit[..., members], 0, 2)) for limit in limits
    )
    reached: SharesFound = yield SharesQuestion(
        crossed,
        crossed.live(asked.live_kip),
        places,
        members,
        dead,
        (upper, lower),
        None if factor is None else _least_so_far(found, factor, members),
    )
    shares, beyond, left = reached
    answered = np.flatnonzero(~(beyond | settled.beyond))
    found.take(
        answered,
        members,
        np.moveaxis(shares.multiple(), 2, 0)[answered],
        partial(fronts, places, np.moveaxis(shares.at, 2, 0)[answered]),
    )
    for c, place in left:
        if beyond[c] or settled.beyond[c]:
            continue
        more = general.Reached(np.full(limits[0][c].shape, np.inf))
        general.over_triangle(
            asked.sets(c),
            settled.dead[c],
            asked.live_kip,
            places,
            place,
            general.Limits(limits[0][c], limits[1][c]),
            more,
        )
        found.take_reached(c, more)
    return beyond
