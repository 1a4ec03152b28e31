"""The taut sets of one truss in one configuration, for any arrangement of bars.

Feet and kips; tension positive; loads are (n,) downward joint loads.

The tensions X in the redundants least in strain energy, with no tension-only bar
in compression, are a piecewise linear function of the loads. Each piece belongs
to one set of slack bars, holds over a convex cone of loads, and ends where a taut
bar's force or a slack bar's gap reaches zero. ``solve`` finds the piece by the dual
method of Goldfarb and Idnani for strictly convex quadratic programmes, which also
tells when there is none. The other functions walk from piece to piece, so what
they return is exact between the loads they are given.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import scipy.linalg

from .cone import Cone, size_of
from .equilibrium import Equilibrium, Float, Index, Mask

#: Forces and gaps (as the force that would close them) are zero within this part
#: of the greatest force of the determinate remainder.
TOLERANCE = 1e-9
#: Steps of a load path shorter than this part of it are not looked into.
SHORTEST = 1e-10
#: How much looser a crossed pair is made for the classical model.
LOOSE = 1e12
_MOST_CUTS = 200
_solve_upper = scipy.linalg.lapack.dtrtrs
#: Pieces tried before a load is solved anew.
_LATELY = 16
#: Proofs that loads cannot be carried are kept so long.
_MOST_REFUSALS = 128
#: A proof's bars balance each other but for this part, and are not drawn on by more
#: than this; a load is refused if it is outside by this part of its forces, which is
#: far more than what any proof is off by, and than what is taken for carried.
_BALANCED = 1e-11
_MOST_DRAWN = 100.0
_REFUSED = 1e-6


@dataclass(frozen=True, eq=False)
class Piece:
    """Where one set of slack bars holds, and the forces there.

    ``force`` is (m, n) kip per kip of joint load; ``watch`` is (w, n): rows that stay
    positive where the piece holds, in kip per kip; ``bars`` are the bars it watches.
    """

    slack: frozenset[int]
    force: Float
    watch: Float
    bars: tuple[int, ...]


class _Normals:
    """Columns factored into orthogonal ones, one added after the other."""

    def __init__(self, size: int) -> None:
        self._q = np.zeros((size, size))
        self._r = np.zeros((size, size))
        self._count = 0
        self._inside = np.zeros(0)

    def start(self, columns: Float) -> None:
        """Take (r, a) columns in place of all there are."""
        self._count = columns.shape[1]
        q, r = np.linalg.qr(columns)
        self._q[:, : self._count] = q
        self._r[: self._count, : self._count] = r

    def pushed(self, short: Float, free: Float) -> tuple[Float, Float]:
        """Return (a,) pushes along the columns that take ``short`` to zero, and ``free`` after.

        ``short`` is (a,), ``free`` (r,).
        """
        q, r = self._q[:, : self._count], self._r[: self._count, : self._count]
        lift, fault = _solve_upper(r, short, trans=1)
        push, more = _solve_upper(r, lift)
        if fault or more:
            raise ArithmeticError("bars depend on each other")
        return -push, free - q @ lift

    def split(self, new: Float) -> tuple[Float, Float]:
        """Return ``new``'s coordinates along the columns, and what is left of it."""
        count = self._count
        if not count:
            self._inside = np.zeros(0)
            return self._inside, new
        q = self._q[:, :count]
        inside = q.T @ new
        rest = new - q @ inside
        # Once more: what is left of a dependent one is nothing but rounding.
        more = q.T @ rest
        rest = rest - q @ more
        self._inside = inside + more
        along, fault = _solve_upper(self._r[:count, :count], self._inside)
        if fault:
            raise ArithmeticError("bars depend on each other")
        return along, rest

    def add(self, rest: Float) -> None:
        """Add the column that was split last, of which ``rest`` is left."""
        size = float(np.sqrt(rest @ rest))
        self._q[:, self._count] = rest / size
        self._r[: self._count, self._count] = self._inside
        self._r[self._count, self._count] = size
        self._count += 1


class TautSets:
    """The pieces of one configuration, found as they are needed.

    Parameters
    ----------
    system : Equilibrium
    ea_kip : (m,) float
        E times A of every member, kip.
    classical : bool
        Whether one rod of a pair acts, whatever the stiffness.
    """

    def __init__(
        self, system: Equilibrium, ea_kip: Float, classical: bool = False
    ) -> None:
        self.system = system
        s = system.selfstress
        flex = system.length_ft / ea_kip
        self._flexibility = s.T @ (flex[:, None] * s)
        if classical:
            # Against a pair as loose as this, no other strain can put both rods to work.
            own = np.arange(s.shape[1])[[pair.is_crossed for pair in system.pairs]]
            self._flexibility[own, own] *= LOOSE
        pull_ft = system.truss.pull_ft
        # Compatibility: every self-stress does no work on what the bars lengthen by, nor
        # on what they were made shorter by.
        self._given = s.T @ (flex[:, None] * system.particular - pull_ft)
        # What tightening would put into a bar whose ends are held; sets what is small.
        self._held_kip = np.abs(pull_ft / flex[:, None]).max(axis=0)
        self.bars: Index = np.flatnonzero(
            (s != 0.0).any(axis=1) & system.truss.tension_only & ~system.truss.absent
        )
        self._rows = s[self.bars]
        self._row_load = system.particular[self.bars]
        redundants = s.shape[1]
        self._lower = (
            np.linalg.cholesky(self._flexibility) if redundants else np.zeros((0, 0))
        )
        self._slopes = self._forward(self._rows.T)  # (r, t)
        self._size = np.sqrt((self._slopes**2).sum(axis=0))
        self._centre = self._forward(self._given)  # (r, n)
        self.cone = Cone(system)
        self.pieces: dict[frozenset[int], Piece] = {}
        self._latest: Piece | None = None
        self._refusals = np.zeros((0, len(system.truss.joints)))

    def solve(self, load: Float) -> Piece | None:
        """Return the piece that holds at ``load``; None if no taut set can carry it."""
        scale = self.scale(load)
        if self.lone_slack(load, scale) or self.refused(load[None], scale)[0]:
            return None
        if self._latest is not None and self.holds(self._latest, load, scale):
            return self._latest
        for late in itertools.islice(reversed(self.pieces), _LATELY):
            if self.holds(self.pieces[late], load, scale):
                # The last is what is looked at first.
                self._latest = self.pieces[late] = self.pieces.pop(late)
                return self._latest
        slack = self._dual_method(load, TOLERANCE * scale, self._latest)
        if slack is None:
            return None
        self._latest = self.piece(slack)
        return self._latest

    def scale(self, load: Float) -> float:
        """Return the greatest force of the determinate remainder, kip."""
        by_load = float(np.abs(self.system.particular @ load).max(initial=0.0))
        return max(by_load, float(self._held_kip @ np.abs(load)))

    def lone_slack(self, load: Float, scale: float) -> bool:
        """Return whether a bar the truss cannot do without would go slack."""
        lone = self.system.particular[self.system.lone] @ load
        return bool((lone < -TOLERANCE * scale).any())

    def refused(self, loads: Float, scale: float | Float) -> Mask:
        """Return (p,): whether one of the proofs kept tells that (p, n) loads are not carried.

        Most loads that are not carried are not even near to it, and like others before.
        """
        refused: Mask = np.logical_or.reduce(self._outside(loads, scale), axis=1)
        return refused

    def proof_against(self, load: Float) -> Float | None:
        """Return (n,), the proof kept by which (n,) ``load`` is furthest from carried.

        Its product with the load is negative. None if no proof tells.
        """
        if not len(self._refusals):
            return None
        product = self._refusals @ load
        size = size_of(self._refusals, load)
        outside = product < -TOLERANCE * size
        if not outside.any():
            return None
        part = np.divide(product, size, out=np.zeros_like(size), where=outside)
        proof: Float = self._refusals[int(part.argmin())]
        return proof

    def refused_between(self, loads: Float) -> Mask:
        """Return (p - 1,): whether loads between neighbours among (p, n) are not carried."""
        system = self.system
        force = np.abs(loads @ system.particular.T).max(axis=1, initial=0.0)
        scale = np.maximum(force, np.abs(loads) @ self._held_kip)
        lone = loads @ system.particular[system.lone].T
        out = np.hstack(
            [self._outside(loads, scale), lone < -TOLERANCE * scale[:, None]]
        )
        refused: Mask = (out[:-1] & out[1:]).any(axis=1)
        return refused

    def _outside(self, loads: Float, scale: float | Float) -> Mask:
        rows = self._refusals
        size = np.maximum(
            (np.abs(loads) @ np.abs(rows).T).T, np.asarray(scale, float)
        ).T
        outside: Mask = loads @ rows.T < -_REFUSED * size
        return outside

    def holds(self, piece: Piece, load: Float, scale: float) -> bool:
        """Return whether ``piece`` is the answer at ``load``."""
        return bool((piece.watch @ load >= -TOLERANCE * scale).all())

    def piece(self, slack: frozenset[int]) -> Piece:
        """Return the piece of one set of slack bars (numbers into ``bars``)."""
        found = self.pieces.get(slack)
        if found is None:
            found = self._make_piece(slack)
            self.pieces[slack] = found
        return found

    def across(self, piece: Piece, row: int) -> Piece | None:
        """Return the piece known beyond where one row of ``watch`` turns negative.

        There one bar goes slack or taut, but for loads at which several do.
        """
        return self.pieces.get(piece.slack ^ {piece.bars[row]})

    def _make_piece(self, slack: frozenset[int]) -> Piece:
        system = self.system
        out = sorted(slack)
        free = -self._centre  # (r, n): X in the coordinates where flexibility is 1
        normal = self._slopes[:, out]
        gaps = np.zeros((0, free.shape[1]))
        if out:
            short = self._row_load[out] + normal.T @ free
            q, r = np.linalg.qr(normal)
            lift = scipy.linalg.solve_triangular(r, short, trans="T")
            free = free - q @ lift
            gaps = -scipy.linalg.solve_triangular(r, lift)
        x = self._backward(free)
        force = system.particular + system.selfstress @ x
        force[self.bars[out]] = 0.0
        taut = np.setdiff1d(np.arange(len(self.bars)), out)
        watch = np.vstack(
            [force[self.bars[taut]], gaps * self._size[out][:, None] ** 2]
        )
        return Piece(slack, force, watch, (*taut.tolist(), *out))

    def _forward(self, right: Float) -> Float:
        if not len(self._lower):
            return np.zeros_like(right)
        answer: Float = scipy.linalg.solve_triangular(self._lower, right, lower=True)
        return answer

    def _backward(self, right: Float) -> Float:
        if not len(self._lower):
            return np.zeros_like(right)
        answer: Float = scipy.linalg.solve_triangular(
            self._lower, right, lower=True, trans="T"
        )
        return answer

    def _dual_method(
        self, load: Float, tolerance: float, likely: Piece | None
    ) -> frozenset[int] | None:
        """Add violated bounds one by one; drop those whose gap would turn negative.

        It sets out from the slack bars of a ``likely`` piece, as far as they would be
        slack: any set will do that holds no other bar down than those it pushes on.
        """
        x = -self._centre @ load
        level = self._row_load @ load
        normals = _Normals(len(x))
        active, gap, x = self._set_out(likely, x, level, normals)
        for _ in range(50 * (len(self.bars) + 2)):
            short = level + self._slopes.T @ x
            short[active] = 0.0
            worst = int(short.argmin()) if len(short) else -1
            if worst < 0 or short[worst] >= -tolerance:
                return frozenset(active)
            rise = 0.0
            slope = self._slopes[:, worst]
            while True:
                along, step = normals.split(slope)
                power = float(step @ slope)
                room = -(level[worst] + float(slope @ x))
                ahead = np.divide(
                    gap, along, out=np.full(len(gap), np.inf), where=along > 1e-12
                )
                blocked = int(ahead.argmin()) if len(ahead) else -1
                most = float(ahead[blocked]) if blocked >= 0 else np.inf
                full = (
                    room / power if power > 1e-13 * self._size[worst] ** 2 else np.inf
                )
                if most == full == np.inf:
                    self._keep_proof(active, along, worst)
                    return None
                length = min(most, full)
                if full < np.inf:
                    x = x + length * step
                gap = gap - length * along
                rise += length
                if full <= most:
                    active.append(worst)
                    gap = np.append(gap, rise)
                    normals.add(step)
                    break
                del active[blocked]
                gap = np.delete(gap, blocked)
                normals.start(self._slopes[:, active])
        raise ArithmeticError("no taut set settles")

    def _set_out(
        self, likely: Piece | None, free: Float, level: Float, normals: _Normals
    ) -> tuple[list[int], Float, Float]:
        """Return slack bars, their gaps and X, with no gap negative.

        ``free`` is X with no bar slack, ``level`` what the load gives the bars.
        """
        active = sorted(likely.slack) if likely is not None else []
        while active:
            normals.start(self._slopes[:, active])
            short = level[active] + self._slopes[:, active].T @ free
            gap, x = normals.pushed(short, free)
            open_ = gap >= 0.0
            if open_.all():
                return active, gap, x
            active = [bar for bar, keeps in zip(active, open_, strict=True) if keeps]
        normals.start(self._slopes[:, active])
        return active, np.zeros(0), free

    def _keep_proof(self, active: list[int], along: Float, worst: int) -> None:
        """Keep what tells that no tensions in the active bars make ``worst`` taut.

        With a_j not positive, force_worst = sum a_j force_j + (what the load gives): if
        the latter is negative, one of the bars must be pressed, whatever the areas.
        """
        drawn = np.minimum(along, 0.0)
        off = self._slopes[:, worst] - self._slopes[:, active] @ drawn
        if (
            np.linalg.norm(off) > _BALANCED * self._size[worst]
            or -drawn.sum() > _MOST_DRAWN
        ):
            return
        proof = self._row_load[worst] - drawn @ self._row_load[active]
        kept = self._refusals[-_MOST_REFUSALS + 1 :]
        self._refusals = np.vstack([kept, proof])
        self.cone.keep(proof)

    def solve_many(self, loads: Float) -> list[Piece | None]:
        """Return the piece at each of (p, n) loads."""
        found: list[Piece | None] = [None] * len(loads)
        scale = np.abs(loads @ self.system.particular.T).max(axis=1, initial=0.0)
        scale = np.maximum(scale, np.abs(loads) @ self._held_kip)
        lone = loads @ self.system.particular[self.system.lone].T
        open_ = ~(lone < -TOLERANCE * scale[:, None]).any(axis=1)
        open_ &= ~self.refused(loads, scale)
        tried: set[frozenset[int]] = set()
        while open_.any():
            fresh = [p for s, p in self.pieces.items() if s not in tried]
            for piece in fresh:
                tried.add(piece.slack)
                here = np.flatnonzero(open_)
                if not len(here):
                    break
                good = (
                    loads[here] @ piece.watch.T >= -TOLERANCE * scale[here][:, None]
                ).all(axis=1)
                for at in here[good]:
                    found[at] = piece
                open_[here[good]] = False
            if open_.any():
                at = int(np.flatnonzero(open_)[0])
                found[at] = self.solve(loads[at])
                open_[at] = False
                if found[at] is None:
                    here = np.flatnonzero(open_)
                    open_[here] = ~self.refused(loads[here], scale[here])
        return found

    def line(
        self, start: Float, end: Float, first: Piece, last: Piece
    ) -> list[tuple[float, Piece]]:
        """Return (fraction, piece holding there) of every change on the way.

        ``first`` and ``last`` hold at ``start`` and ``end``. Fractions are in order and
        strictly between 0 and 1; pieces next to a change both hold at it.
        """
        changes: list[tuple[float, Piece]] = []
        if first is last:
            return changes
        scale = max(self.scale(start), self.scale(end))
        self._between(start, end, (0.0, first), (1.0, last), scale, changes)
        return changes

    def _as_known(
        self,
        start: Float,
        end: Float,
        one: tuple[float, Piece],
        two: tuple[float, Piece],
        scale: float,
        changes: list[tuple[float, Piece]],
    ) -> tuple[float, Piece, float]:
        """Go on from piece to neighbour while it is known and holds for some way.

        Returns from where on the way is not known, the piece there and its end.
        """
        (low, piece), (high, last) = one, two
        zero = TOLERANCE * scale
        leave, row = _reach(piece, start, end, low, high, zero)
        while piece is not last and row >= 0 and high - leave > SHORTEST:
            beyond = self.across(piece, row)
            if beyond is None or not self.holds(
                beyond, (1.0 - leave) * start + leave * end, scale
            ):
                break
            reached, row = _reach(beyond, start, end, leave, high, zero)
            if reached < leave + SHORTEST:
                break
            changes.append((leave, piece))
            low, piece, leave = leave, beyond, reached
        return low, piece, leave

    def _between(
        self,
        start: Float,
        end: Float,
        one: tuple[float, Piece],
        two: tuple[float, Piece],
        scale: float,
        changes: list[tuple[float, Piece]],
    ) -> None:
        low, first, leave = self._as_known(start, end, one, two, scale, changes)
        high, last = two
        if first is last or high - low < SHORTEST:
            return
        enter = _reach(last, start, end, high, low, TOLERANCE * scale)[0]
        if leave >= high and high < 1.0:
            changes.append((high, first))
        if leave >= high or enter <= low:
            return
        if leave >= enter - SHORTEST:
            changes.append((leave, first))
            return
        middle = 0.5 * (leave + enter)
        piece = self.solve((1.0 - middle) * start + middle * end)
        if piece is None or piece is first or piece is last:
            changes.append((leave, first))
            changes.append((enter, last))
            return
        at = _reach(piece, start, end, middle, leave, TOLERANCE * scale)[0]
        if at <= leave + SHORTEST:
            changes.append((leave, first))
        else:
            self._between(start, end, (leave, first), (at, piece), scale, changes)
            changes.append((at, piece))
        at = _reach(piece, start, end, middle, enter, TOLERANCE * scale)[0]
        if at >= enter - SHORTEST:
            changes.append((enter, last))
        else:
            changes.append((at, piece))
            self._between(start, end, (at, piece), (enter, last), scale, changes)


def _reach(
    piece: Piece, start: Float, end: Float, inside: float, towards: float, zero: float
) -> tuple[float, int]:
    """Return how far from ``inside`` towards ``towards`` the piece holds, and the row of
    ``watch`` that ends it; -1 for none.
    """
    at_start, at_end = piece.watch @ start, piece.watch @ end
    here = (1.0 - inside) * at_start + inside * at_end
    there = (1.0 - towards) * at_start + towards * at_end
    ending = np.flatnonzero(there < -zero)
    if not len(ending):
        return towards, -1
    here, there = np.maximum(here[ending], 0.0), there[ending]
    part = here / (here - there)
    least = int(part.argmin())
    return inside + float(part[least]) * (towards - inside), int(ending[least])


def forces_along(
    sets: TautSets, start: Float, end: Float, first: Piece, last: Piece
) -> Iterator[tuple[float, Float]]:
    """Yield (fraction, (m,) forces) at every change between two loads."""
    for part, piece in sets.line(start, end, first, last):
        yield part, piece.force @ ((1.0 - part) * start + part * end)


def standing_part(
    sets: TautSets, start: Float, end: Float
) -> tuple[float, float] | None:
    """Return between which fractions of a line of loads some taut set carries them.

    Bars that the truss cannot do without give their part at once; for the others the
    ends are drawn in, to where each proof that they are not carried ends.
    """
    system = sets.system
    lone = system.particular[system.lone]
    at_start, at_end = lone @ start, lone @ end
    zero = TOLERANCE * max(sets.scale(start), sets.scale(end))
    low, high = 0.0, 1.0
    for one, two in zip(at_start.tolist(), at_end.tolist(), strict=True):
        if one < -zero and two < -zero:
            return None
        if one < -zero:
            low = max(low, one / (one - two))
        elif two < -zero:
            high = min(high, max(one, 0.0) / (max(one, 0.0) - two))
    if low > high or sets.cone.bars(start, end, low, high):
        return None
    first = _drawn_in(sets, (start, end), low, high)
    if first is None:
        return None
    last = _drawn_in(sets, (start, end), high, first)
    return None if last is None else (first, last)


def _drawn_in(
    sets: TautSets, ends: tuple[Float, Float], part: float, towards: float
) -> float | None:
    """Return the fraction of a line nearest to ``part`` at which it is carried.

    None if there is none between it and ``towards``.
    """
    start, end = ends
    way = 1.0 if towards >= part else -1.0
    for _ in range(_MOST_CUTS):
        load = (1.0 - part) * start + part * end
        if sets.solve(load) is not None:
            return part
        cut = sets.proof_against(load)
        if cut is None:
            cut = sets.cone.cut(load)
        if cut is None:
            return part
        rise = way * float(cut @ end - cut @ start)
        if rise <= 0.0:
            return None
        part -= way * float(cut @ load) / rise
        if way * (towards - part) < 0.0:
            return None
    return part
