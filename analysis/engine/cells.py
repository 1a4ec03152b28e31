"""Multiples of moving loads on many configurations at once, by ``pairs``.

Feet and kips; tension positive; loads positive downward.
Array axes as in ``pairs``, and: ``L`` rating levels, ``t`` members asked for among those
touched, ``q`` edges of cells.

As in ``general``, all positions between two neighbouring places and all multiples make
up a triangle with corners dead load, one place, the next. A state of the redundants
holds over a convex cell of it, in which forces are linear; a limit is first reached on
the edge of a cell. Where one state holds at all three corners there is only one cell,
and its edges are the two rays from the dead load. Elsewhere the rays are followed from
state to state, and the cells visited from neighbour to neighbour: across an edge just
one redundant changes state. Most rays and triangles are not looked into at all: how far
forces there can be from straight lines between the corners is bounded beforehand, and
cannot better what is found on others.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

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
    alone,
    at_places,
    by_column,
    times,
    to_next,
)
from .proof import MOST, Question, above_lines

#: Configurations worked on together.
BLOCK = 128
#: Multiples of the live load beyond this are not told from infinity.
BEYOND = 1e9
#: Rings of cells round the one a visit starts from, at most.
_MOST_ROUNDS = 400
#: Entries of the table of cells visited, beyond which they are looked up by key.
_TABLE = 2**22
_ODD = np.uint64(0x9E3779B97F4A7C15)
#: Limits of members on rays or in triangles looked at together.
_TRIPLES_AT_ONCE = 2**15
#: Rays or triangles that are all looked into.
_FEW = 250
#: With more redundants than this there can be many cells.
_FEW_STATES = 3
#: Forces on edges worked out together.
_FORCES_AT_ONCE = 2**20
#: Lines tried on edges together, and redundants of which all lines are.
_PAIRS_AT_ONCE = 2**17
_FEW_LINES = 8
#: Entries for which one call costs more than the work.
_FEW_AT_ONCE = 2**12
#: Of forces, kip: nothing is known.
_UNKNOWN = 1e100
#: The least part of live load: its reciprocal times what is unknown is still a number.
_NEARLY = 1e-150
#: Of a triangle at least so much of the live load is looked into.
_FURTHEST = 1.0 - 1e-6
#: Redundants that lift each other by more than this part leave nothing known.
_MOST_LIFTED = 0.9
_LIFTS = 6


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


@dataclass(frozen=True, eq=False)
class Least:
    """The least rating of each configuration, where no other is wanted.

    ``factor`` (L, t, 1): a rating is a multiple over its factor. ``rating`` (c,) is the
    least known beforehand, which may be infinite.
    """

    factor: Float
    rating: Float

    def only(self, block: Index) -> Least:
        """Return some configurations."""
        return Least(self.factor, self.rating[block])


def vehicle_shares(
    crossed: Crossed,
    dead: Columns,
    live: LiveBase,
    places: Places,
    wanted: Index,
    limits: tuple[Float, Float],
    least: Least | None = None,
) -> tuple[Shares, Mask, list[tuple[int, int]]]:
    """Return where touched members first reach limits under multiples of vehicles.

    Parameters
    ----------
    crossed : Crossed
    dead : Columns under dead load
    live : LiveBase of ``places``
    places : Places
    wanted : (t,) int, members
    limits : upper and lower total forces, (L, t, c) kip, which may be infinite
    least : Least, optional
        What is known of the least rating, where no other is wanted: the shares of
        members that cannot better it may then be less than they should be.

    Returns
    -------
    Shares
    (c,) bool
        Configurations that ``pairs`` cannot answer.
    list of (configuration, place)
        Triangles from a place to the next still to be looked into.
    """
    shape = limits[0].shape
    found = Shares(np.zeros(shape), np.full(shape, -1.0))
    beyond = np.zeros(crossed.count, bool)
    left: list[tuple[int, int]] = []
    for begin in range(0, crossed.count, BLOCK):
        block = np.arange(begin, min(begin + BLOCK, crossed.count))
        beyond[block], more = _block_shares(
            crossed,
            dead,
            live,
            places.linked,
            wanted,
            limits,
            found,
            block,
            None if least is None else least.only(block),
        )
        left += more
    return found, beyond, left


def mixed_shares(
    crossed: Crossed,
    dead: Columns,
    live: LiveBase,
    linked: Mask,
    wanted: Index,
    limits: tuple[Float, Float],
) -> tuple[Shares, Mask, list[tuple[int, int]]]:
    """Return ``vehicle_shares`` of one block, of which each configuration has its own
    geometry: ``mixed`` puts it together."""
    shape = limits[0].shape
    found = Shares(np.zeros(shape), np.full(shape, -1.0))
    every = np.arange(crossed.count)
    beyond, left = _block_shares(
        crossed, dead, live, linked, wanted, limits, found, every, None
    )
    return found, beyond, left


def _block_shares(
    crossed: Crossed,
    dead: Columns,
    live: LiveBase,
    linked: Mask,
    wanted: Index,
    limits: tuple[Float, Float],
    found: Shares,
    block: Index,
    least: Least | None,
) -> tuple[Mask, list[tuple[int, int]]]:
    scale = np.full(len(block), live.scale)
    g = crossed.drive(live, block)
    r = np.ascontiguousarray(np.broadcast_to(by_column(live.r), g.shape))
    columns = crossed.settle(g, r, scale, block)
    beyond = columns.unsettled.copy()

    from_dead = dead.states[:, None, block] & columns.states
    straight = (from_dead != 0).all(axis=0)  # (s, c): one state along the whole ray
    joined = from_dead[:, :-1] & columns.states[:, 1:]
    # Between a place without any load and the next there are but parts of the load in
    # the next, which its ray has all multiples of.
    moves = np.abs(live.base).max(axis=0) > TOLERANCE * live.scale
    linked = linked & moves[:-1] & moves[1:]
    split = ~straight  # (s, c): from each place to the next, or a place alone
    if linked.ndim == 1:
        split[:-1][linked] = ~(joined[:, linked] != 0).all(axis=0)
    else:
        np.copyto(split[:-1], ~(joined != 0).all(axis=0), where=linked)
    state = _BlockState(
        crossed,
        live,
        linked,
        block,
        np.concatenate([wanted, crossed.system.watched]),
        len(wanted),
        dead,
        columns,
        *_best_of(limits, found, block),
        least,
    )
    beyond |= state.slack_at_places()
    if beyond.all():
        return beyond, []
    state.take_straight_rays(straight)
    ray_scale = np.maximum(crossed.dead_scale[block], live.scale)
    left: list[tuple[int, int]] = []
    met: list[tuple[_Items, _Edges, Mask]] = []

    def follow(rays: Mask, by_limit: Mask) -> None:
        column, place = np.nonzero((rays & ~straight).T)
        if len(place):
            items = _Items(column, place, place)
            edges, lost = _ray_edges(state, items, (g, r), ray_scale)
            beyond[column[lost]] = True
            met.append((items, edges, by_limit))

    def visit(triangles: Mask, by_limit: Mask, whole: Mask) -> None:
        column, place = np.nonzero(triangles.T)
        if len(place):
            items = _Items(column, place, place + 1)
            from_ = np.where(whole, 0.0, state.least_share(by_limit))[place, column]
            edges, lost, crowded = _visit(state, items, (g, r), from_)
            beyond[lost] = True
            left.extend(
                zip(
                    block[column[crowded]].tolist(),
                    place[crowded].tolist(),
                    strict=True,
                )
            )
            met.append((items, edges, by_limit))

    def take() -> None:
        state.take_together(met, beyond)
        met.clear()

    if not split.any():
        pass
    elif straight.size <= _FEW and len(r) <= _FEW_STATES:
        # Of a few it costs more to find out which could better than to look into them.
        every = state.every_limit()
        follow(~straight, every)
        triangles = split.copy()
        triangles &= ~alone(linked)
        visit(triangles, every, triangles)
        take()
    else:
        likely = state.likeliest(~straight)
        follow(np.logical_or.reduce(likely, axis=(0, 1)), likely)
        take()
        doubts = state.doubts(split, (g, r))
        follow(doubts.some_rays(), doubts.rays)
        if met:
            before = state.share.copy()
            take()
            state.doubt_again(doubts, state.share > before, (g, r))
        visit(doubts.some_triangles(), doubts.triangles, doubts.slack)
        take()
    found.share[:, :, block], found.at[:, :, block] = state.share, state.at
    return beyond, left


def _best_of(
    limits: tuple[Float, Float], found: Shares, block: Index
) -> tuple[tuple[tuple[int, float], ...], Float, Float, Float]:
    """Return which limits there are, (q,) level and sign, their values and the best.

    Values are (q, t, c), times the sign.
    """
    which, values = [], []
    for sign, limit in ((1.0, limits[0]), (-1.0, limits[1])):
        for level in range(len(limit)):
            value = limit[level][:, block]
            if np.isfinite(value).any():
                which.append((level, sign))
                values.append(sign * value)
    shape = limits[0][:1, :, block].shape
    return (
        tuple(which),
        np.stack(values) if values else np.zeros((0, *shape[1:])),
        found.share[:, :, block],
        found.at[:, :, block],
    )


@dataclass(frozen=True, eq=False)
class _Items:
    """Rays (``after`` is ``place``) or triangles, (w,), in order of ``column``."""

    column: Index
    place: Index
    after: Index


@dataclass(frozen=True, eq=False)
class _Excess:
    """How far redundants can be above and below lines between corners, per share of each.

    ``high`` and ``low`` are those, (k, p, c).
    """

    high: _Shortfall
    low: _Shortfall

    def of_rows(self, stress: Float) -> tuple[Float, Float, Float, Float]:
        """Return how far forces of (t, k) ``stress`` can be, (t, p, c).

        Above the lines at the dead load and at the live, below at the dead load and at
        the live.
        """
        high, low = self.high, self.low
        return (
            _moved(stress, high.dead, low.dead),
            _moved(stress, high.live, low.live),
            _moved(stress, low.dead, high.dead),
            _moved(stress, low.live, high.live),
        )

    def most(self, stress: Float) -> tuple[Float, Float, Float, Float]:
        """Return the most of ``of_rows`` over all places, or a little more: (t, c)."""
        high, low = self.high.most(), self.low.most()
        return (
            _moved(stress, high.dead, low.dead),
            _moved(stress, high.live, low.live),
            _moved(stress, low.dead, high.dead),
            _moved(stress, low.live, high.live),
        )


def _moved(stress: Float, plus: Float, minus: Float) -> Float:
    """Return (t, ...) from (t, k) and (k, ...): what pulls adds, what pushes takes."""
    both = np.hstack([np.maximum(stress, 0.0), np.maximum(-stress, 0.0)])
    return times(both, np.concatenate([plus, minus]))


@dataclass(eq=False)
class _Doubts:
    """Which limits of which members rays and triangles could better, (q, t, s, c).

    ``sure`` (q, t, c) are limits of which the forces at the best multiple decide.
    Whatever the limits, watched bars may turn slack on ``slack_rays`` and in the
    triangles ``slack``, (s, c).
    """

    could: Mask
    sure: Mask
    rays: Mask
    triangles: Mask
    slack_rays: Mask
    slack: Mask

    def some_rays(self) -> Mask:
        """Return, (s, c), where any limit's ray is to be followed, or watched."""
        rays: Mask = np.logical_or.reduce(self.rays, axis=(0, 1)) | self.slack_rays
        return rays

    def some_triangles(self) -> Mask:
        """Return, (s, c), which triangles are to be visited, or watched."""
        some = np.logical_or.reduce(self.triangles, axis=(0, 1))
        triangles: Mask = some | self.slack
        return triangles


@dataclass(eq=False)
class _BlockState:
    """A block of configurations and the greatest shares found so far, (L, t, c).

    ``rows`` are the ``count`` members asked for and then the watched ones.
    """

    crossed: Crossed
    live: LiveBase
    linked: Mask
    block: Index
    rows: Index
    count: int
    dead: Columns
    columns: Columns
    which: tuple[tuple[int, float], ...]
    value: Float
    share: Float
    at: Float
    least: Least | None

    def __post_init__(self) -> None:
        crossed, rows = self.crossed, self.rows
        self.stress = crossed.stress[rows]
        self.base = self.live.base[rows]
        self.dead_base = crossed.dead_base[rows][:, self.block]
        self.dead_force = self.dead_base + times(
            self.stress, self.dead.x[:, self.block]
        )
        self.force = times(self.stress, self.columns.x)
        self.force += by_column(self.base)
        sign = np.array([one for _, one in self.which]).reshape(-1, 1, 1)
        #: (q, t, c): how far forces may go from the dead-load force.
        self.room = self.value - sign * self.dead_force[: self.count]
        # What dead load alone reaches is found, and nothing can better it.
        reached = self.room <= 0.0
        self.value[reached] = self.room[reached] = np.inf
        for q, (level, _) in enumerate(self.which):
            self.share[level][reached[q]] = 1.0

    @cached_property
    def _redundants_of(self) -> tuple[Index, Float]:
        """Return the redundants in each row, (t, w), and their stresses, 0 beyond them."""
        moves = self.stress != 0.0
        if moves.ndim == 3:
            moves = moves.any(axis=2)
        width = int(moves.sum(axis=1).max(initial=0))
        first = np.argsort(~moves, axis=1, kind="stable")[:, :width]
        return first, self.stress[np.arange(len(first))[:, None], first]

    def slack_at_places(self) -> Mask:
        """Return (c,): whether a watched bar would be pushed by some live load alone."""
        watched = self.force[self.count :]
        slack: Mask = np.logical_or.reduce(
            watched < -TOLERANCE * self.live.scale, axis=(0, 1)
        )
        return slack

    def take_straight_rays(self, straight: Mask) -> None:
        """Fold in the rays along which one state holds: forces are linear there."""
        if not straight.any():
            return
        force = self.force[: self.count]
        for sign in (1.0, -1.0):
            towards = np.where(straight, sign * force, -np.inf)
            place = towards.argmax(axis=1)
            top = np.take_along_axis(towards, place[:, None], axis=1)[:, 0]
            for q, (level, own) in enumerate(self.which):
                if own != sign:
                    continue
                room = self.room[q]
                rises = (top > 0.0) & np.isfinite(room)
                if not rises.any():
                    continue
                share = np.where(rises, top, 0.0) / (
                    np.where(rises, np.maximum(room, 0.0), 1.0)
                    + np.maximum(top, 1e-300)
                )
                better = share > self.share[level]
                np.copyto(self.share[level], share, where=better)
                np.copyto(self.at[level], place, where=better)

    def every_limit(self) -> Mask:
        """Return all limits of all members at all places, (q, t, s, c)."""
        limits = np.isfinite(self.value)[:, :, None]
        return np.repeat(limits, self.columns.x.shape[1], axis=2)

    def likeliest(self, asked: Mask) -> Mask:
        """Return the ray, of those (s, c) ``asked`` for, likely to reach each limit first.

        It is that to the place where the live load moves the member most. If only the
        least rating is wanted, it is one limit's of each configuration. (q, t, s, c)
        """
        likely = np.zeros((*self.value.shape[:2], *asked.shape), bool)
        near = np.zeros(self.value.shape)
        at = np.zeros(self.value.shape, np.intp)
        force = self.force[: self.count]
        for sign in (1.0, -1.0):
            mine = [q for q, (_, own) in enumerate(self.which) if own == sign]
            if not mine:
                continue
            towards = np.where(asked, sign * force, 0.0)
            place = towards.argmax(axis=1)
            top = np.take_along_axis(towards, place[:, None], axis=1)[:, 0]
            for q in mine:
                rises = (top > 0.0) & np.isfinite(self.room[q])
                room = np.where(rises, np.maximum(self.room[q], 1e-300), 1.0)
                near[q] = np.where(rises, top / room, 0.0)
                at[q] = place
        which = near > 0.0
        if self.least is not None:
            near *= self.least.factor[[level for level, _ in self.which]]
            flat = near.reshape(-1, len(self.block))
            only = np.zeros(flat.shape, bool)
            only[flat.argmax(axis=0), np.arange(len(self.block))] = True
            which &= only.reshape(which.shape)
        limit, member, column = np.nonzero(which)
        likely[limit, member, at[limit, member, column], column] = True
        return likely

    def take_together(
        self, met: list[tuple[_Items, _Edges, Mask]], beyond: Mask
    ) -> None:
        """Fold in the edges of rays, triangles or both; of both, what is met of all."""
        if not met:
            return
        items, edges, by_limit = met[0]
        if len(met) == 2:
            more, others, _ = met[1]
            begun = len(items.column)
            column = np.concatenate([items.column, more.column])
            # Members of one column stand together.
            order = np.argsort(column, kind="stable")
            number = np.empty_like(order)
            number[order] = np.arange(len(order))
            items = _Items(
                column[order],
                np.concatenate([items.place, more.place])[order],
                np.concatenate([items.after, more.after])[order],
            )
            edges = _Edges.joined([edges, replace(others, item=others.item + begun)])
            edges = replace(edges, item=number[edges.item])
        self.take(items, edges, by_limit, beyond)

    def doubts(self, asked: Mask, driven: tuple[Float, Float]) -> _Doubts:
        """Return what could better, of triangles (s, c) ``asked`` for and their rays.

        A force is never further from a line between the corners than the excess, so
        the multiple at which a limit is reached has a least value. Places that are not
        linked to the next stand alone.
        """
        excess = _excess(
            self.crossed, self.dead, (self.columns, driven[1]), self.block, self.linked
        )
        count = self.count
        best = self._best()
        room = np.where(np.isfinite(self.room), np.maximum(self.room, 0.0), _UNKNOWN)
        kept = np.arange(count)
        if self.least is not None:
            kept = self._could_be_least(excess, best, room)
        watched = np.arange(count, len(self.rows))
        rows = np.concatenate([kept, watched])
        up_dead, up_live, down_dead, down_live = excess.of_rows(self.stress[rows])
        some = len(kept)
        could = np.zeros((len(self.which), count, *asked.shape), bool)
        for sign, over, over_dead in (
            (1.0, up_live[:some], up_dead[:some]),
            (-1.0, down_live[:some], down_dead[:some]),
        ):
            mine = [q for q, (_, own) in enumerate(self.which) if own == sign]
            if not mine:
                continue
            known, left = best[mine][:, kept], room[mine][:, kept]
            # One look for all levels: forces at the best multiples tell them apart.
            top = _most_of_ends(sign * self.force[kept], self.linked)
            top += over
            top += over_dead * known.max(axis=0)[:, None]
            doubt = top > (known * left).min(axis=0)[:, None]
            doubt |= (over_dead.max(axis=1) > left.min(axis=0))[:, None]
            doubt &= asked
            for q in mine:
                could[q, kept] = doubt & (room[q, kept] < _UNKNOWN)[:, None]
        slack_rays = slack = np.zeros(asked.shape, bool)
        if len(watched):
            zero = TOLERANCE * np.maximum(
                self.crossed.dead_scale[self.block], self.live.scale
            )
            least = -_most_of_ends(-self.force[count:], self.linked)
            # Multiples beyond all that are asked for are of no concern.
            concern = np.where(room < _UNKNOWN, best, np.inf).min(
                axis=(0, 1), initial=np.inf
            )
            concern = np.where(np.isfinite(concern), concern, 0.0)
            least_dead = self.dead_force[count:, None] - down_dead[some:]
            slacken = least_dead < -zero
            slacken |= least - down_live[some:] + concern * least_dead < -zero
            slacken &= asked
            slack_rays, slack = self._slacken(slacken, concern, driven)
        sure = (self._above_lines <= self.room) & (best <= MOST)
        ends = alone(self.linked)
        rays, triangles = self._borne_out(could & sure[:, :, None], best, driven)
        apart = could & ~sure[:, :, None]
        rays |= _with_ends(apart, self.linked)
        triangles |= apart
        triangles &= ~ends
        return _Doubts(could, sure, rays, triangles, slack_rays, slack & ~ends)

    def _slacken(
        self, could: Mask, concern: Float, driven: tuple[Float, Float]
    ) -> tuple[Mask, Mask]:
        """Return on which rays and in which triangles, (s, c), watched bars may slacken.

        ``could`` (w, s, c) are the triangles to ask of, up to multiples of which
        ``concern`` (c,) are the reciprocals. Slackening is a limit of no force at all.
        """
        count, push = self.count, np.array([-1.0])
        stress = self.stress[count:]
        above = above_lines(self.crossed, self.dead, self.block, stress, push)[0]
        sure = (above <= self.dead_force[count:]) & (concern <= MOST)
        watched = np.arange(count, len(self.rows))
        none = np.zeros((1, len(watched), len(self.block)))
        question = self._question(watched, push, none, driven)
        asked = (could & sure[:, None])[None]
        rays, triangles = question.borne_out(asked, none + concern)
        apart = could & ~sure[:, None]
        some_rays = (rays[0] | _with_ends(apart, self.linked)).any(axis=0)
        return some_rays, (triangles[0] | apart).any(axis=0)

    def doubt_again(
        self, doubts: _Doubts, bettered: Mask, driven: tuple[Float, Float]
    ) -> None:
        """Ask anew, of limits (L, t, c) ``bettered`` on rays, which triangles could."""
        again = bettered[[level for level, _ in self.which]] & doubts.sure
        could = doubts.could & again[:, :, None]
        _, triangles = self._borne_out(could, self._best(), driven)
        doubts.triangles &= ~again[:, :, None]
        doubts.triangles |= triangles

    def least_share(self, doubtful: Mask) -> Float:
        """Return (s, c): the least share of dead load at which doubts matter, or less.

        ``doubtful`` (q, t, s, c). Nearer the live load limits are reached at multiples
        greater than known ones.
        """
        best = self._best()
        share = best / (1.0 + best) * (1.0 - 1e-9)
        least: Float = np.where(doubtful, share[:, :, None], 1.0).min(
            axis=(0, 1), initial=_FURTHEST
        )
        return least

    def _best(self) -> Float:
        """Return the reciprocals of the best multiples known, (q, t, c)."""
        best = np.zeros(self.value.shape)
        for q, (level, _) in enumerate(self.which):
            share = self.share[level]
            best[q] = share / np.maximum(1.0 - share, _NEARLY)
        self._only_the_least(best)
        return best

    def _borne_out(
        self, could: Mask, best: Float, driven: tuple[Float, Float]
    ) -> tuple[Mask, Mask]:
        """Return the rays and triangles that forces at the best known multiples bear out."""
        sign = np.array([one for _, one in self.which])
        question = self._question(np.arange(self.count), sign, self.value, driven)
        return question.borne_out(could, best)

    def _question(
        self, rows: Index, sign: Float, value: Float, driven: tuple[Float, Float]
    ) -> Question:
        """Return what is to be asked of some ``rows`` and their limits."""
        redundants, weights = self._redundants_of
        return Question(
            self.crossed,
            self.live,
            self.linked,
            self.block,
            (driven[0], driven[1] if self.live.r.ndim == 3 else self.live.r),
            sign,
            value,
            self.base[rows],
            self.dead_base[rows],
            redundants[rows],
            weights[rows],
        )

    @cached_property
    def _above_lines(self) -> Float:
        """Return (q, t, c): how far forces can be above lines from the dead load."""
        sign = np.array([one for _, one in self.which])
        stress = self.stress[: self.count]
        return above_lines(self.crossed, self.dead, self.block, stress, sign)

    def _could_be_least(self, excess: _Excess, best: Float, room: Float) -> Index:
        """Return the members that could have the least rating, wherever it is met."""
        up_dead, up_live, down_dead, down_live = excess.most(self.stress[: self.count])
        could = np.zeros(best.shape[1:], bool)
        force = self.force[: self.count]
        for q, (_, sign) in enumerate(self.which):
            if sign > 0.0:
                most, over_dead = force.max(axis=1) + up_live, up_dead
            else:
                most, over_dead = down_live - force.min(axis=1), down_dead
            near = most + over_dead * best[q] > best[q] * room[q]
            could |= (near | (over_dead > room[q])) & (room[q] < _UNKNOWN)
        return np.flatnonzero(could.any(axis=1))

    def _only_the_least(self, best: Float) -> None:
        """Raise known reciprocals of multiples, (q, t, c), to those of the least rating.

        A trifle less, so that ratings that differ by rounding are all found.
        """
        if self.least is None:
            return
        factor = self.least.factor[[level for level, _ in self.which]]
        most = np.where(np.isfinite(self.value), best * factor, 0.0).max(axis=(0, 1))
        most = np.maximum(most, 1.0 / np.maximum(self.least.rating, 1e-300))
        per_factor = 1.0 / np.where(factor > 0.0, factor, 1.0)
        found = most * (1.0 - 1e-9) * per_factor
        np.maximum(best, np.where(factor > 0.0, found, 1e300), out=best)

    def take(self, items: _Items, edges: _Edges, by_limit: Mask, beyond: Mask) -> None:
        """Fold in the limits that doubtful members reach on edges."""
        order = np.argsort(edges.item, kind="stable")
        several = max(1, _FORCES_AT_ONCE // len(self.rows))
        if len(order) < several:
            every = slice(0, len(items.column))
            self._take_part(items, edges.only(order), by_limit, beyond, every)
            return
        counts = np.bincount(edges.item, minlength=len(items.column))
        part = np.concatenate([[0], np.cumsum(counts)]) // several
        for number in np.unique(part[:-1]).tolist():
            some = np.flatnonzero(part[:-1] == number)
            first, last = int(some[0]), int(some[-1]) + 1
            stop = int(counts[:last].sum())
            mine = edges.only(order[stop - int(counts[first:last].sum()) : stop])
            self._take_part(items, mine, by_limit, beyond, slice(first, last))

    def _take_part(
        self,
        every: _Items,
        edges: _Edges,
        by_limit: Mask,
        beyond: Mask,
        which: slice,
    ) -> None:
        items = _Items(every.column[which], every.place[which], every.after[which])
        edges = replace(edges, item=edges.item - which.start)
        counts = np.bincount(edges.item, minlength=len(items.column))
        starts = np.cumsum(counts) - counts
        asked = by_limit[:, :, items.place, items.column] & (counts > 0)
        limit, member, item = np.nonzero(asked)
        # Only some members may be in doubt; the watched ones always are.
        rows = np.ones(len(self.rows), bool)
        rows[: self.count] = False
        rows[member] = True
        begin, end = self._forces(items, edges, np.flatnonzero(rows))
        watched = int(rows[: self.count].sum())
        row_of = np.cumsum(rows) - 1
        if len(self.rows) > self.count:
            column = items.column[edges.item]
            zero = -TOLERANCE * np.maximum(
                self.crossed.dead_scale[self.block[column]],
                self.live.scale_of(column),
            )
            least = np.minimum(begin[watched:], end[watched:])
            beyond[column[(least < zero).any(axis=0)]] = True
        for first in range(0, len(item), _TRIPLES_AT_ONCE):
            part = slice(first, first + _TRIPLES_AT_ONCE)
            self._take_some(
                items,
                edges,
                (begin, end),
                (counts, starts),
                (limit[part], member[part], item[part]),
                row_of[member[part]],
            )

    def _forces(self, items: _Items, edges: _Edges, rows: Index) -> tuple[Float, Float]:
        """Return forces of some rows at either end of edges."""
        column = items.column[edges.item]
        base, stress = self.base[rows], self.stress[rows]
        near = at_places(base, items.place[edges.item], column)
        far = at_places(base, items.after[edges.item], column)
        dead = self.dead_base[rows].take(column, axis=1)
        ends = []
        for share, x in ((edges.one, edges.x_one), (edges.two, edges.x_two)):
            force = times(stress, x, column)
            force += dead * share[0]
            force += near * share[1]
            force += far * share[2]
            ends.append(force)
        return ends[0], ends[1]

    def _take_some(
        self,
        items: _Items,
        edges: _Edges,
        force: tuple[Float, Float],
        where: tuple[Index, Index],
        asked: tuple[Index, Index, Index],
        rows: Index,
    ) -> None:
        counts, starts = where
        limit, member, item = asked
        each = counts[item]
        ends = np.cumsum(each)
        of = np.repeat(np.arange(len(item)), each)
        edge = np.arange(int(ends[-1])) + (starts[item] - (ends - each))[of]
        column = items.column[item]
        value = self.value[limit, member, column][of]
        sign = np.array([one for _, one in self.which])[limit][of]
        row = rows[of]
        most, least = edges.one[0, edge], edges.two[0, edge]
        at_begin = sign * force[0][row, edge] - value * most
        at_end = sign * force[1][row, edge] - value * least
        over = at_begin >= 0.0
        crosses = ~over & (at_end >= 0.0)
        along = np.divide(
            at_begin, at_begin - at_end, out=np.zeros_like(at_begin), where=crosses
        ).clip(0.0, 1.0)
        share = np.where(over | crosses, most + along * (least - most), 0.0)
        level = np.array([one for one, _ in self.which])[limit]
        group = (level * len(self.share[0]) + member) * len(self.block) + column
        first = np.flatnonzero(np.r_[True, np.diff(group) != 0])
        begin_of = (ends - each)[first]
        top = np.maximum.reduceat(share, begin_of)
        level, member, column = level[first], member[first], column[first]
        better = np.flatnonzero(top > self.share[level, member, column])
        if not len(better):
            return
        width = np.diff(np.r_[begin_of, len(share)])
        reached = np.flatnonzero(share == np.repeat(top, width))
        chosen = reached[np.searchsorted(reached, begin_of[better])]
        level, member, column = level[better], member[better], column[better]
        at = edge[chosen]
        one, two = edges.one[:, at], edges.two[:, at]
        shares = one + along[chosen] * (two - one)
        ahead = shares[2] / np.maximum(shares[1] + shares[2], 1e-300)
        it = edges.item[at]
        self.share[level, member, column] = top[better]
        self.at[level, member, column] = items.place[it] + ahead * (
            items.after[it] - items.place[it]
        )


def _excess(
    crossed: Crossed,
    dead: Columns,
    settled: tuple[Columns, Float],
    block: Index,
    linked: Mask,
) -> _Excess:
    """Return how far forces can be from a line between corners: dead load and places.

    Each redundant is the greatest of lines: 0, its partner's bound R and its target T,
    which the others shift. So it is above none of the lines between its values at the
    corners by more than the others' shortfalls shift T, and below by no more than the
    least, over the lines, of what they fall short of it at the corners.
    """
    columns, r = settled
    k = len(r)
    shape = columns.x.shape
    a = crossed.matrix[:, :, block]
    pulls, pushes = np.maximum(a, 0.0), np.maximum(-a, 0.0)
    lifted = float(pushes.sum(axis=1).max(initial=0.0))
    if lifted > _MOST_LIFTED:
        unknown = np.full(shape, _UNKNOWN)
        return _Excess(_Shortfall(unknown, unknown), _Shortfall(unknown, unknown))
    x, bound, target = dead.x[:, block], crossed.dead_r[:, block], dead.target[:, block]
    at_dead = [np.maximum(gap, 0.0) for gap in (x, x - bound, x - target)]
    gaps = (columns.x, columns.x - r, columns.x - columns.target)
    at_live = [_most_of_ends(np.maximum(gap, 0.0), linked) for gap in gaps]
    low = _Shortfall(np.full(shape, _UNKNOWN), np.full(shape, _UNKNOWN))
    for line, has in enumerate((crossed.bounded_by_self, crossed.bounded_by_partner)):
        for i in np.flatnonzero(has).tolist():
            low.lessen(i, at_dead[line][i], at_live[line][i])
    high = _Shortfall(np.zeros(shape), np.zeros(shape))
    shift = _Shortfall(np.zeros(shape), np.zeros(shape))
    free = np.flatnonzero(~crossed.locked).tolist()

    def summed(i: int, by: Float, of: Float) -> Float:
        total = np.zeros(shape[1:])
        for j in crossed.neighbours[i]:
            total += by[i, j] * of[j]
        return total

    for _ in range(2):
        for mine, others in ((high.dead, low.dead), (high.live, low.live)):
            for i in free:
                mine[i] = summed(i, pulls, others)
            if lifted > 0.0:
                # What redundants lift each other by, summed as a geometric series.
                term = mine.copy()
                for _ in range(_LIFTS):
                    term = np.stack([summed(i, pushes, term) for i in range(k)])
                    mine[free] += term[free]
                mine[free] += term.max(axis=0) * lifted / (1.0 - lifted)
        for i in free:
            shift.dead[i] = summed(i, pulls, high.dead) + summed(i, pushes, low.dead)
            shift.live[i] = summed(i, pulls, high.live) + summed(i, pushes, low.live)
            low.lessen(i, at_dead[2][i] + shift.dead[i], at_live[2][i] + shift.live[i])
    return _Excess(high, low)


def _most_of_ends(of: Float, linked: Mask) -> Float:
    """Return the greater of (x, s, c) at each place and at the next it is linked to."""
    most = np.empty_like(of)
    np.maximum(of[:, :-1], of[:, 1:], out=most[:, :-1])
    ends = alone(linked)
    if ends.shape[1] == 1:
        most[:, ends[:, 0]] = of[:, ends[:, 0]]
    else:
        np.copyto(most, of, where=ends)
    return most


def _with_ends(triangles: Mask, linked: Mask) -> Mask:
    """Return the rays, (..., s, c), on either side of triangles."""
    rays = triangles.copy()
    rays[..., 1:, :] |= triangles[..., :-1, :] & to_next(linked)
    return rays


@dataclass(frozen=True, eq=False)
class _Shortfall:
    """(k, p, c) kip per share of dead load and per share of live load."""

    dead: Float
    live: Float

    def most(self) -> _Shortfall:
        """Return the most over all places, (k, c)."""
        return _Shortfall(self.dead.max(axis=1), self.live.max(axis=1))

    def lessen(self, i: int, dead: Float, live: Float) -> None:
        """Take the lesser, at equal shares, of what is known of redundant i."""
        less = dead + live < self.dead[i] + self.live[i]
        np.copyto(self.dead[i], dead, where=less)
        np.copyto(self.live[i], live, where=less)


@dataclass(frozen=True, eq=False)
class _Edges:
    """Edges of cells: ``item`` (q,); corner shares (3, q) and redundants (k, q).

    ``one`` has more dead load in it than ``two``.
    """

    item: Index
    one: Float
    two: Float
    x_one: Float
    x_two: Float

    def only(self, some: Index) -> _Edges:
        """Return some of them, in that order."""
        return _Edges(
            self.item[some],
            self.one.take(some, axis=1),
            self.two.take(some, axis=1),
            self.x_one.take(some, axis=1),
            self.x_two.take(some, axis=1),
        )

    @classmethod
    def joined(cls, parts: list[_Edges]) -> _Edges:
        """Put the edges of several cells together."""
        return cls(
            np.concatenate([e.item for e in parts]),
            np.hstack([e.one for e in parts]),
            np.hstack([e.two for e in parts]),
            np.hstack([e.x_one for e in parts]),
            np.hstack([e.x_two for e in parts]),
        )


def _ray_edges(
    state: _BlockState, items: _Items, driven: tuple[Float, Float], scale: Float
) -> tuple[_Edges, Index]:
    """Return the stretches of rays between changes of state, and the rays given up."""
    crossed, columns, dead = state.crossed, state.columns, state.dead
    g, r = driven
    k, _, count = g.shape
    whole = state.block[items.column]
    flat = Columns(
        columns.x.reshape(k, -1),
        columns.target.reshape(k, -1),
        columns.states.reshape(k, -1),
        columns.unsettled,
    )
    there = items.place * count + items.column
    walk = crossed.walk(
        crossed.stretches(
            whole,
            (dead, crossed.dead_r, whole),
            (flat, g.reshape(k, -1), r.reshape(k, -1), there),
            scale[items.column],
        )
    )
    every = np.arange(len(there))
    row = np.concatenate([every, walk.row, every])
    part = np.concatenate([np.zeros(len(every)), walk.part, np.ones(len(every))])
    x = np.hstack([dead.x[:, whole], walk.x, flat.x[:, there]])
    order = np.lexsort((part, row))
    row, part, x = row[order], part[order], x[:, order]
    corner = np.stack([1.0 - part, part, np.zeros_like(part)])
    same = np.flatnonzero(row[1:] == row[:-1])
    edges = _Edges(
        row[same],
        corner[:, same],
        corner[:, same + 1],
        x[:, same],
        x[:, same + 1],
    )
    return edges, np.flatnonzero(walk.lost)


def _visit(
    state: _BlockState, items: _Items, driven: tuple[Float, Float], from_: Float
) -> tuple[_Edges, Index, Index]:
    """Return the edges of every cell of triangles, with shares of dead load ``from_`` (w,).

    Then the columns given up, and the triangles that some cells of were left out of.
    """
    crossed, columns, dead = state.crossed, state.columns, state.dead
    column = items.column
    whole = state.block[column]
    g, r = driven
    corners = crossed.corners(
        whole,
        _cut_off(crossed.dead_g[:, whole], g, items, from_),
        _cut_off(crossed.dead_r[:, whole], r, items, from_),
        np.maximum(crossed.dead_scale[whole], state.live.scale_of(whole)),
    )
    x_dead, x_near, x_far = _cut_off(dead.x[:, whole], columns.x, items, from_)
    guess = (x_dead + x_near + x_far) / 3.0
    k = len(guess)
    weights = np.full(3, 1.0 / 3.0)
    middle = [np.tensordot(weights, of, axes=(0, 1)) for of in (corners.g, corners.r)]
    x, pull, ok = crossed.pivot(corners.a, middle[0], middle[1], guess)
    cell = LOWEST_STATE[crossed.states(x, pull, middle[1], corners.scale)]
    seen = _Seen(len(column), k)
    fresh = seen.first_time(np.flatnonzero(ok), cell[:, ok])
    here, cell = np.flatnonzero(ok)[fresh], cell[:, ok][:, fresh]
    nothing = np.zeros((3, 0)), np.zeros((k, 0))
    found = [_Edges(here[:0], nothing[0], nothing[0], nothing[1], nothing[1])]
    visits = np.bincount(here, minlength=len(column))
    begun = np.full((3, len(here)), 1.0 / 3.0)
    # 2 k lines cut a triangle into no more cells than that. Where more are met, lines
    # lie on each other but for rounding, and any state seems to hold on them.
    most = 1 + k * (2 * k + 1)
    crowded = np.zeros(len(column), bool)
    while len(here) and len(found) < _MOST_ROUNDS:
        edges, across, cell, begun = _cell_edges(crossed, corners, here, cell, begun)
        found.append(edges)
        fresh = seen.first_time(across, cell)
        here, cell, begun = across[fresh], cell[:, fresh], begun[:, fresh]
        visits += np.bincount(here, minlength=len(column))
        crowded |= visits > 2 * most
        if crowded.any():
            left = ~crowded[here]
            here, cell, begun = here[left], cell[:, left], begun[:, left]
    lost = np.concatenate([np.flatnonzero(~ok), here])
    edges = _Edges.joined(found)
    cut = from_[edges.item]
    for end in (edges.one, edges.two):
        end *= 1.0 - cut
        end[0] += cut
    return edges, column[lost], np.flatnonzero(crowded)


def _cut_off(
    dead: Float, live: Float, items: _Items, from_: Float
) -> tuple[Float, Float, Float]:
    """Return (k, w) at the corners of triangles cut off at a share of dead load."""
    near = (live[:, place, items.column] for place in (items.place, items.after))
    one, two = (end + from_ * (dead - end) for end in near)
    return dead, one, two


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
    crossed: Crossed, every: Corners, here: Index, state: Small, begun: Float
) -> tuple[_Edges, Index, Small, Float]:
    """Return the edges between cells inside triangles, and the cells across them.

    Of cells and of those across, ``begun`` (3, w) is some place in or by each.
    """
    corners = every.only(here)
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
    one, two = ends = ends_on_sides(values, odd_corner(values))
    if k <= _FEW_LINES:
        low, high = _inside(
            watch, np.flatnonzero(some.any(axis=1)), cell, ends, corners.scale
        )
    else:
        low, high = inside_own(values, cell, ends, begun, corners.scale)
    crossing = np.flatnonzero(low <= high)
    across = state[:, cell[crossing]]
    changed = line[crossing] // 2, np.arange(len(crossing))
    becomes = _OTHERS[across[changed], line[crossing] % 2]
    # An edge between two cells is met from both; one is enough.
    again = across[changed] > becomes
    across[changed] = becomes
    kept = crossing[~again]
    span = two[:, kept] - one[:, kept]
    start, stop = one[:, kept] + low[kept] * span, one[:, kept] + high[kept] * span
    turned = start[0] < stop[0]
    start, stop = np.where(turned, stop, start), np.where(turned, start, stop)
    whole = x[:, :, cell[kept]]
    edges = _Edges(
        here[cell[kept]],
        start,
        stop,
        (whole * start).sum(axis=1),
        (whole * stop).sum(axis=1),
    )
    middle = 0.5 * (low[crossing] + high[crossing])
    middle = one[:, crossing] + middle * (two[:, crossing] - one[:, crossing])
    return edges, here[cell[crossing]], across, middle


def odd_corner(values: Float) -> Index:
    """Return (q,): the corner that lines with (q, 3) values there part from the others."""
    below = values < 0.0
    alone = below.sum(axis=1) == 1
    corner: Index = np.where(alone, below.argmax(axis=1), below.argmin(axis=1))
    return corner


def ends_on_sides(values: Float, corner: Index) -> tuple[Float, Float]:
    """Return where lines meet the two sides at a corner, (3, q) twice.

    ``values`` (q, 3) at the corners, zero along the lines; ``corner`` (q,).
    """
    q = np.arange(len(values))
    ends = []
    for step in (1, 2):
        other = (corner + step) % 3
        at_corner, at_other = values[q, corner], values[q, other]
        part = at_corner / (at_corner - at_other)
        end = np.zeros((3, len(q)))
        end[corner, q] = 1.0 - part
        end[other, q] = part
        ends.append(end)
    return ends[0], ends[1]


def _inside(
    watch: Float, lines: Index, cell: Index, ends: tuple[Float, Float], scale: Float
) -> tuple[Float, Float]:
    """Return between which fractions of edges, (q,), no line of their cell is negative.

    ``watch`` (2 k, 3, w) at the corners; ``ends`` twice (3, q). Beyond 1 and below 0 is
    nowhere.
    """
    one, two = ends
    low, high = np.zeros(len(cell)), np.ones(len(cell))
    zero = TOLERANCE * scale[cell]
    several = max(1, _FEW_AT_ONCE // max(1, len(cell)))
    for first in range(0, len(lines), several):
        rows = watch[lines[first : first + several]].take(cell, axis=2)
        begin, end = (rows * one).sum(axis=1), (rows * two).sum(axis=1)
        _cut(begin, end, zero, low, high)
    return low, high


def inside_own(
    values: Float, cell: Index, ends: tuple[Float, Float], begun: Float, scale: Float
) -> tuple[Float, Float]:
    """Return what ``_inside`` does, where cells have many lines and few edges.

    ``values`` (q, 3) are each edge's own line at the corners; no other line is negative
    in its cell. Edges are tried against the lines nearest to ``begun``, (3, w), first,
    which leaves few to try against the others.
    """
    spread = values.max(axis=1) - values.min(axis=1)
    near = (values * begun.T[cell]).sum(axis=1) / spread
    order = np.lexsort((near, cell))
    counts = np.bincount(cell, minlength=len(scale))
    starts = (np.cumsum(counts) - counts)[cell]
    last = starts + counts[cell] - 1
    low, high = np.zeros(len(cell)), np.ones(len(cell))
    left = np.arange(len(cell))
    first, most = 0, int(counts.max(initial=0))
    while first < most and len(left):
        several = max(1, min(max(4, first), _PAIRS_AT_ONCE // len(left)))
        nearest = starts[left] + np.arange(first, first + several)[:, None]
        other = order[np.minimum(nearest, last[left])]  # (j, e)
        line = [values[:, corner][other] for corner in range(3)]
        begin, end = (
            line[0] * of[0] + line[1] * of[1] + line[2] * of[2]
            for of in (end[:, left] for end in ends)
        )
        bottom, top = low[left], high[left]
        _cut(begin, end, TOLERANCE * scale[cell[left]], bottom, top)
        low[left], high[left] = bottom, top
        left = left[bottom <= top]
        first += several
    return low, high


def _cut(begin: Float, end: Float, zero: Float, low: Float, high: Float) -> None:
    """Draw in ``low`` and ``high``, (q,), to where (j, q) lines are not negative."""
    out_begin, out_end = begin < -zero, end < -zero
    cut = np.divide(
        begin, begin - end, out=np.zeros_like(begin), where=out_begin != out_end
    )
    cut_low = np.where(out_begin & ~out_end, cut, 0.0)
    cut_high = np.where(out_end, np.where(out_begin, -1.0, cut), 1.0)
    np.maximum(low, cut_low.max(axis=0), out=low)
    np.minimum(high, cut_high.min(axis=0), out=high)
