"""Which doubts about multiples of moving loads are borne out, by ``pairs``.

Feet and kips; tension positive; array axes as in ``cells``.

Whether a limit is reached sooner than at the best multiple known, anywhere between two
neighbouring places, needs no look at the whole triangle between them and the dead load.
At that very multiple the forces along its far edge are found exactly, from one change
of state to the next. Nearer the dead load they can be above a straight line from there
to the far edge by a little only, which is bounded once for every limit; where even so
much stays within the limit, the far edge decides.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .equilibrium import Float, Index, Mask
from .pairs import Columns, Crossed, LiveBase, alone, at_places, times

#: Forces beyond a limit by less than this part of what acts are at it.
AT_LIMIT = 1e-11
#: Triangles looked at together: their arrays stay in the processor's cache.
_AT_ONCE = 2**13
#: Reciprocals of multiples beyond this are not followed.
MOST = 1e9


@dataclass(frozen=True, eq=False)
class Question:
    """What is doubtful, of one block of configurations.

    Attributes
    ----------
    crossed, live, linked, block : as in ``cells``
    driven : (k, s, c) drives and (k, s) or (k, s, c) bounds of the live load alone
    sign, value : (q,) and (q, t, c): limits as upward ones, kip
    base, dead_base : (t, s) and (t, c): live and dead forces of the remainder
    redundants, weights : (t, w): the redundants in each row and their stresses

    ``base`` and ``weights`` have an axis c more where configurations have their own.
    """

    crossed: Crossed
    live: LiveBase
    linked: Mask
    block: Index
    driven: tuple[Float, Float]
    sign: Float
    value: Float
    base: Float
    dead_base: Float
    redundants: Index
    weights: Float

    def borne_out(self, could: Mask, best: Float) -> tuple[Mask, Mask]:
        """Return where forces at the best known multiples are beyond limits.

        Parameters
        ----------
        could : (q, t, s, c) bool
            Triangles from places to the next, or alone where none is linked, in which
            ``above_lines`` leaves it to the far edge.
        best : (q, t, c) float, reciprocals of multiples

        Returns
        -------
        rays, triangles : (q, t, s, c) bool
            Beyond a limit at the places themselves, and only between them.
        """
        places, count = could.shape[2:]
        is_linked = ~alone(self.linked)
        rays, triangles = np.zeros(could.shape, bool), np.zeros(could.shape, bool)
        every_ray, every_triangle = rays.reshape(-1), triangles.reshape(-1)
        flat = np.flatnonzero(could)
        ends = np.zeros(could.size, bool)
        number = np.empty(could.size, np.int32)
        for first in range(0, len(flat), _AT_ONCE):
            near = flat[first : first + _AT_ONCE]
            place, column = np.divmod(near % (places * count), count)
            own = column if is_linked.shape[1] > 1 else 0
            pair = near[is_linked[place, own]]
            # Two triangles that share a place and a limit share a point.
            ends[near] = ends[pair + count] = True
            begin, end = near[0], near[-1] + count + 1
            points = begin + np.flatnonzero(ends[begin:end])
            ends[points] = False
            number[points] = np.arange(len(points), dtype=np.int32)
            at = _Points.of(self, points, best)
            base = self.base.reshape(-1)[at.row_place]
            every_ray[points] |= self._over(at, at.columns.x, base)
            there = self._between(at, number[pair], number[pair + count])
            every_triangle[pair[there]] = True
        return rays, triangles

    def _between(self, at: _Points, near: Index, far: Index) -> Index:
        """Return which of (w,) pairs of points forces go beyond limits between, or may."""
        states = at.columns.states
        differ = (states.take(near, axis=1) & states.take(far, axis=1)) == 0
        left = np.flatnonzero(differ.any(axis=0))
        if not len(left):
            return left
        near, far = near[left], far[left]
        walk = self.crossed.walk(
            self.crossed.stretches(
                self.block[at.column[near]],
                (at.columns, at.r, near),
                (at.columns, at.g, at.r, far),
                np.maximum(at.scale[near], at.scale[far]),
            )
        )
        mine = at.only(near[walk.row])
        base = self.base.reshape(-1)
        after = mine.row_place + (1 if self.base.ndim == 2 else self.base.shape[2])
        begin, end = base[mine.row_place], base[after]
        over = self._over(mine, walk.x, begin + walk.part * (end - begin))
        there: Index = np.concatenate([walk.row[over], np.flatnonzero(walk.lost)])
        return left.take(there)

    def _over(self, at: _Points, x: Float, base: Float) -> Mask:
        """Return (w,): where redundants x and forces ``base`` go beyond the limit."""
        force = self.dead_base.reshape(-1)[at.row_column] * at.best
        force += base
        every = np.arange(len(force))
        weights = np.moveaxis(self.weights, 1, 0)
        own = (at.row,) if weights.ndim == 2 else (at.row, at.column)
        for which, weight in zip(self.redundants.T, weights, strict=True):
            force += weight[own] * x[which[at.row], every]
        force *= at.sign
        bound = at.best * at.value
        over: Mask = force - bound > AT_LIMIT * (at.scale + np.abs(bound))
        return over


@dataclass(frozen=True, eq=False)
class _Points:
    """Loads, (w,): ``best`` times the dead load and one place of the live load.

    ``row`` members, ``row_place`` and ``row_column`` flat indices into forces.
    """

    row: Index
    column: Index
    row_place: Index
    row_column: Index
    best: Float
    sign: Float
    value: Float
    scale: Float
    g: Float
    r: Float
    columns: Columns

    @classmethod
    def of(cls, asked: Question, points: Index, best: Float) -> _Points:
        """Settle flat ``points`` of (q, t, s, c)."""
        crossed, (drive, bound) = asked.crossed, asked.driven
        rows, places, count = best.shape[1], drive.shape[1], best.shape[2]
        limit, there = np.divmod(points, places * count)
        place, column = np.divmod(there, count)
        row = limit % rows
        known = best.reshape(-1)[limit * count + column]
        block = asked.block[column]
        g = crossed.dead_g.take(block, axis=1) * known
        g += drive.reshape(len(drive), -1).take(there, axis=1)
        r = crossed.dead_r.take(block, axis=1) * known
        r += at_places(bound, place, column)
        scale = np.maximum(
            crossed.dead_scale[block] * known, asked.live.scale_of(block)
        )
        return cls(
            row,
            column,
            row * places + place
            if asked.base.ndim == 2
            else (row * places + place) * count + column,
            row * count + column,
            known,
            asked.sign[limit // rows],
            asked.value.reshape(-1)[limit * count + column],
            scale,
            g,
            r,
            crossed.settle(g, r, scale, block),
        )

    def only(self, some: Index) -> _Points:
        """Return some of them, without what they were settled to."""
        nothing = self.g[:, :0]
        return _Points(
            self.row[some],
            self.column[some],
            self.row_place[some],
            self.row_column[some],
            self.best[some],
            self.sign[some],
            self.value[some],
            self.scale[some],
            nothing,
            nothing,
            self.columns,
        )


def above_lines(
    crossed: Crossed, dead: Columns, block: Index, stress: Float, signs: Float
) -> Float:
    """Return how far forces can be above lines from the dead load, per share of it.

    Parameters
    ----------
    crossed : Crossed
    dead : Columns under dead load
    block : (c,) configurations
    stress : (t, k) or (t, k, c), of the members asked for
    signs : (q,) of the limits

    Returns
    -------
    (q, t, c) kip, infinite where nothing is known

    Notes
    -----
    Each redundant is the greatest of lines: 0, its partner's bound and its target, which
    the others shift. Along a line from the dead load to a load, one of them is the
    redundant at the load, so in between the redundant is below the straight line by no
    more than that one falls short at the dead load, and by the others' shift; and above
    it by no more than the others' shift. With A the matrix less its diagonal and g the
    most that any line falls short, shortfall and excess are so at most half of
    (1 - abs(A))^-1 g plus and minus (1 + A)^-1 g, if the series of abs(A) converges:
    if (1 - abs(A))^-1 of ones is positive.
    """
    a = np.moveaxis(crossed.matrix[:, :, block], 2, 0)
    x = dead.x[:, block]
    gap = np.zeros_like(x)
    for has, line in (
        (crossed.bounded_by_self, np.zeros_like(x)),
        (crossed.bounded_by_partner, crossed.dead_r[:, block]),
        (~crossed.locked, dead.target[:, block]),
    ):
        np.maximum(gap, np.where(has[:, None], x - line, 0.0), out=gap)
    one = np.eye(len(x))
    free = ~crossed.locked[:, None]
    apart = np.where(free, a - one, 0.0)
    right = np.stack([gap.T, np.ones_like(gap.T)], axis=2)
    try:
        both = np.linalg.solve(one - np.abs(apart), right)
    except np.linalg.LinAlgError:
        # Of some configuration the series only just does not converge.
        return np.full((len(signs), len(stress), len(block)), np.inf)
    known = (both[:, :, 1] > 0.0).all(axis=1)
    total = both[:, :, 0].T
    differ = np.linalg.solve(one + apart, right[:, :, :1])[:, :, 0].T
    short, above = (total + differ) / 2.0, (total - differ) / 2.0
    most = np.empty((len(signs), len(stress), len(block)))
    for q, sign in enumerate(signs.tolist()):
        own = sign * stress
        most[q] = times(np.maximum(own, 0.0), above)
        most[q] += times(np.maximum(-own, 0.0), short)
    most[:, :, ~known] = np.inf
    return most
