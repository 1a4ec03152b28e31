"""How far an estimate may be off: unknown sizes, strengths and loads, sampled together.

Each unknown is a range. Some thousands of configurations are drawn from all ranges at
once and rated in one batch; the spread of their limits is the band, and the part of
its variance that each unknown alone explains says which measurement narrows it most.

What is exact and what is not. Forces, slack rods and ratings of each configuration are
the engine's own (``statics``, ``rating``). Resistance and stiffness of a member follow
its own unknowns one by one, each along a curve through what ``capacity`` answers, the
curves multiplied; dead load likewise, added. That leaves out only how two unknowns of
one member act on each other beyond multiplying, under 1 % of a limit for ranges of a
tenth (tests/analysis/engine/test_sampling.py compares with whole check files). Panel
length and depth change the geometry, which configurations of one batch share: they are
drawn on ``GEOMETRIES`` levels, a batch for each. A chord's sideways buckling, the beams
under the deck and the pins are held at what the file says.

Feet, inches, kips and ksi as the names say. Array axes: ``c`` configurations, ``v``
unknowns, ``m`` members, ``n`` joints.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace
from itertools import pairwise
from typing import Any

import numpy as np

from . import chordcheck, deadload, floor, liveload, pins
from .answer import truss_of
from .chunks import slices
from .deadload import DeadLoad
from .equilibrium import Float, Index, Truss
from .materials import Material, strength
from .moving import envelope
from .question import CheckInput, LiveLoad, MemberInput
from .rating import ratings_of
from .resistance import METHODS, Capacity, Limits, Piece, bare_section, capacity
from .setting import setting
from .statics import Model, dead_forces

LEVEL = "operating"
SAMPLES = 2048
#: Levels of panel length and of depth; each costs a batch of its own.
GEOMETRIES = 16
#: Points of the curve along which a quantity follows one unknown.
NODES = 5
#: Degree of the polynomials by which first-order shares are found.
DEGREE = 8
DEGREE_OF_LEVELS = 2
SEED = 20_260


@dataclass(frozen=True)
class Size:
    """One size of one piece of members that are alike, in.

    ``piece`` numbers the component; ``field`` is one of its sizes, a size of its
    ``built_up`` (``webs_apart_in``, ``cover_width_in``, ``cover_thickness_in``), or
    ``loss_fraction`` of the whole member.
    """

    key: str
    members: tuple[str, ...]
    piece: int
    field: str
    low: float
    high: float


@dataclass(frozen=True)
class Choice:
    """What nobody knows of a piece and can be only one thing or another, evenly.

    Whether rods have upset ends, say, or which weight of channel it is.
    """

    key: str
    members: tuple[str, ...]
    piece: int
    field: str
    choices: tuple[str | float, ...]

    def number(self, place: Float) -> Index:
        """Return which of the choices places of 0 to 1 are."""
        count = len(self.choices)
        answer: Index = np.minimum(
            (np.asarray(place) * count).astype(np.intp), count - 1
        )
        return answer


@dataclass(frozen=True)
class Strength:
    """The strength of one material, as a multiple of what it is taken at."""

    key: str
    material: Material
    low: float
    high: float


@dataclass(frozen=True)
class Stretch:
    """Panel length (``axis`` "x") or depth ("y"), as a multiple of what is recorded."""

    key: str
    axis: str
    low: float
    high: float


@dataclass(frozen=True)
class Dead:
    """A part of the dead load: ``at`` puts a value into it."""

    key: str
    at: Callable[[DeadLoad, float], DeadLoad]
    low: float
    high: float


@dataclass(frozen=True)
class Live:
    """What decides the part of the vehicle on this truss: ``at`` puts a value in."""

    key: str
    at: Callable[[LiveLoad, float], LiveLoad]
    low: float
    high: float


Unknown = Size | Choice | Strength | Stretch | Dead | Live


@dataclass(frozen=True, eq=False)
class Sampled:
    """What the samples come to.

    Attributes
    ----------
    limit_tons : (c,) float
        Operating; 0 where a configuration cannot stand, infinite where nothing limits.
    governing : (c,) int, member number
        -1 where stability, the chord, the floor or a pin governs.
    place : (c, v) float, where in its range each unknown was drawn, 0 to 1
    share : (v,) float
        The part of the variance of the limit that each unknown alone explains.
    """

    limit_tons: Float
    governing: Index
    place: Float
    share: Float

    def percentiles(self, *percent: float) -> list[float]:
        """Return percentiles of the limit, tons."""
        return [float(value) for value in np.percentile(self.limit_tons, percent)]


def sample(
    check: CheckInput, unknowns: Sequence[Unknown], samples: int | None = None
) -> Sampled:
    """Draw configurations from the ranges of all unknowns and rate them.

    Parameters
    ----------
    check : CheckInput, with a live load that has a weight
    unknowns : what is uncertain; every other value is held
    samples : how many, rounded up to whole batches; default ``SAMPLES``

    Returns
    -------
    Sampled
        The same for the same input, always.

    Raises
    ------
    ValueError
        If the check has no vehicle to be a limit of, or does not stand as recorded.

    Source
    ------
    Latin hypercube sampling: McKay, Beckman and Conover, Technometrics 21 (1979).
    """
    if check.live_load is None:
        raise ValueError("the check has no live load")
    stretches = [u for u in unknowns if isinstance(u, Stretch)]
    groups = GEOMETRIES if stretches else 1
    each = math.ceil((samples or SAMPLES) / groups)
    place = _places(unknowns, groups, each)
    prepared = _Prepared(check, unknowns)
    tons = np.empty(groups * each)
    governing = np.empty(groups * each, np.intp)
    for group in range(groups):
        for part in slices(each):
            rows = slice(group * each + part.start, group * each + part.stop)
            tons[rows], governing[rows] = prepared.rate(place[rows])
    shares = np.zeros(len(unknowns))
    if np.isfinite(tons).all():
        shares = _shares(unknowns, place, tons, groups)
    return Sampled(tons, governing, place, shares)


def _shares(
    unknowns: Sequence[Unknown], place: Float, value: Float, groups: int
) -> Float:
    shares = np.empty(len(unknowns))
    stretched = [v for v, u in enumerate(unknowns) if isinstance(u, Stretch)]
    for v, unknown in enumerate(unknowns):
        if isinstance(unknown, Choice):
            shares[v] = share_of_groups(unknown.number(place[:, v]), value)
        elif v not in stretched:
            shares[v] = first_order_share(place[:, v], value)
    if stretched:
        shares[stretched] = _shares_of_levels(place[:, stretched], value, groups)
    return shares


def _shares_of_levels(place: Float, value: Float, groups: int) -> Float:
    """Return the shares of unknowns drawn on a few levels: (c, w) places.

    All fitted together to the means of the groups, because with so few levels they
    are not quite independent of each other.
    """
    spread = float(value.var())
    if spread <= 0.0:
        return np.zeros(place.shape[1])
    level = place.reshape(groups, -1, place.shape[1])[:, 0]
    mean = value.reshape(groups, -1).mean(axis=1)
    tables = [
        np.polynomial.legendre.legvander(2.0 * level[:, w] - 1.0, DEGREE_OF_LEVELS)[
            :, 1:
        ]
        * np.sqrt(2.0 * np.arange(1, DEGREE_OF_LEVELS + 1) + 1.0)
        for w in range(place.shape[1])
    ]
    table = np.hstack([np.ones((groups, 1)), *tables])
    fitted = np.linalg.lstsq(table, mean, rcond=None)[0]
    left = mean - table @ fitted
    noise = float((left**2).sum()) / max(groups - table.shape[1], 1)
    chance = DEGREE_OF_LEVELS * noise / groups
    found = (fitted[1:].reshape(place.shape[1], -1) ** 2).sum(axis=1)
    answer: Float = np.clip((found - chance) / spread, 0.0, 1.0)
    return answer


def _places(unknowns: Sequence[Unknown], groups: int, each: int) -> Float:
    """Return (c, v): where in its range each unknown is drawn, 0 to 1.

    Every unknown fills its range evenly, in an order of its own.
    """
    rng = np.random.default_rng(SEED)
    count = groups * each
    place = np.empty((count, len(unknowns)))
    for v, unknown in enumerate(unknowns):
        if isinstance(unknown, Stretch):
            levels = (rng.permutation(groups) + 0.5) / groups
            place[:, v] = np.repeat(levels, each)
        else:
            place[:, v] = (rng.permutation(count) + 0.5) / count
    return place


def first_order_share(place: Float, value: Float, degree: int = DEGREE) -> float:
    """Return the part of the variance of ``value`` explained by ``place`` alone.

    Parameters
    ----------
    place : (c,) float, evenly spread over 0 to 1
    value : (c,) float
    degree : of the polynomials fitted

    Returns
    -------
    float, 0 to 1

    Source
    ------
    Var(E[Y|x])/Var(Y), with E[Y|x] expanded in Legendre polynomials (I. M. Sobol',
    Mathematical Modelling and Computational Experiment 1, 1993; the expansion is
    B. Sudret's, Reliability Engineering and System Safety 93, 2008). What chance adds
    to each coefficient, Var(Y)/c, is taken off. Known answers:
    tests/published/test_variance_shares.py.
    """
    spread = float(value.var())
    if spread <= 0.0:
        return 0.0
    table = np.polynomial.legendre.legvander(2.0 * place - 1.0, degree)[:, 1:]
    table *= np.sqrt(2.0 * np.arange(1, degree + 1) + 1.0)
    coefficients = table.T @ (value - value.mean()) / len(value)
    found = float((coefficients**2).sum()) / spread
    chance = degree / len(value)
    return min(max((found - chance) / (1.0 - chance), 0.0), 1.0)


def share_of_groups(group: Index, value: Float) -> float:
    """Return the part of the variance of ``value`` that lies between groups, (c,) int.

    What chance adds is taken off, as in ``first_order_share``.
    """
    spread, count = float(value.var()), np.bincount(group)
    if spread <= 0.0 or (count > 0).sum() < 2:
        return 0.0
    total = np.bincount(group, value - value.mean())[count > 0]
    count = count[count > 0]
    found = float((total**2 / count).sum()) / len(value) / spread
    chance = (len(count) - 1) / len(value)
    return min(max((found - chance) / (1.0 - chance), 0.0), 1.0)


# --- one batch -------------------------------------------------------------------------


class _Prepared:
    """A check and its unknowns, ready to be rated at any places in their ranges."""

    def __init__(self, check: CheckInput, unknowns: Sequence[Unknown]) -> None:
        self.check = check
        self.unknowns = unknowns
        truss = truss_of(check)
        loading = liveload.loading(check, truss)
        if loading.weight_kip is None:
            raise ValueError("the check has no vehicle to be a limit of")
        self.weight_kip = loading.weight_kip
        self.method = METHODS[check.method]
        self.model: Model = (
            "classical" if check.tension_only_model == "classical" else "elastic"
        )
        self.own = _own_unknowns(check, unknowns)
        self.curves: dict[object, _Curve] = {}
        capacities = [capacity(member, check.method) for member in check.members]
        ea = np.array([each.ea_kip for each in capacities])
        dead = dead_joint_kip(check, truss, check.dead_load)
        self.chord_rating, self.chord_kl_in = math.inf, dict[int, float]()
        if check.chord is not None:
            chord = chordcheck.state(check, truss, ea, dead, loading)
            self.chord_rating = float(chord.rating[0])
            self.chord_kl_in = dict(chord.effective_length_in)
        # By the beams under the deck and by pins, as the file gives them.
        self.held_rating = min(
            _floor_rating(check),
            _pin_rating(check, truss, (ea, dead), loading, self.model),
        )
        # As in a whole check: no rating where no size is, or where a push has none.
        self.unrated = np.array(
            [
                member.is_absent or each.tension_kip is None
                for member, each in zip(check.members, capacities, strict=True)
            ]
        )
        stiff = np.array(
            [
                not member.tension_only and each.compression_kip is None
                for member, each in zip(check.members, capacities, strict=True)
            ]
        )
        if (stiff & ~self.unrated).any():
            state = dead_forces(truss, ea[None], dead[None], self.model)
            moved = envelope(
                truss,
                ea[None],
                dead[None],
                loading.loads,
                loading.factor_down,
                self.model,
                loading.web,
            )
            self.unrated |= stiff & ((state.forces_kip + moved.live_min_kip)[0] < -1e-9)

    def rate(self, place: Float) -> tuple[Float, Index]:
        """Return limits in tons and governing members of (c, v) places.

        Panel length and depth must be drawn alike in every row.
        """
        check = self._stretched(place[0])
        truss = truss_of(check)
        bars = self._bars(check, place)
        ea = np.stack([bar.ea_kip for bar in bars], axis=1)
        dead = self._dead_kip(check, truss, bars, place)
        loading = liveload.loading(check, truss)
        asked = setting(truss, ea, dead, loading.loads, self.model, loading.web)
        state = asked.state
        up, down = self._headroom(truss, bars, state.forces_kip)
        factor = self.method.dead_factor
        if factor != 1.0:
            asked = setting(
                truss, ea, factor * dead, loading.loads, self.model, loading.web
            )
        rated = ratings_of(
            asked,
            loading.factor_up,
            np.maximum(up, 0.0),
            np.maximum(down, 0.0),
            loading.factor_down,
            least_only=True,
        )
        # Dead load alone at the limit or beyond: no vehicle is left for it.
        beyond = (up <= 0.0) | (down <= 0.0)
        multiple = np.where(beyond, 0.0, np.minimum(rated.up, rated.down))[:, 0]
        governing = multiple.argmin(axis=1)
        least = multiple[np.arange(len(place)), governing]
        fall = np.minimum(
            rated.stability, self.chord_rating * self.method.live_factor[LEVEL]
        )
        governing = np.where(fall < least, -1, governing)
        least = np.minimum(least, fall) / self.method.live_factor[LEVEL]
        least = np.where(state.stands, least, 0.0) * self._lane_ratio(place)
        governing = np.where(self.held_rating < least, -1, governing)
        least = np.minimum(least, self.held_rating)
        return least * self.weight_kip / 2.0, governing

    def _stretched(self, place: Float) -> CheckInput:
        """Return the check with panel length and depth as drawn."""
        scale = {"x": 1.0, "y": 1.0}
        for v, unknown in enumerate(self.unknowns):
            if isinstance(unknown, Stretch):
                scale[unknown.axis] = _between(unknown, float(place[v]))
        return scaled(self.check, scale["x"], scale["y"])

    def _bars(self, check: CheckInput, place: Float) -> list[_Bar]:
        """Return what every member comes to; members that are alike share one."""
        made: dict[object, _Bar] = {}
        bars = []
        for m, member in enumerate(check.members):
            kl_in = self.chord_kl_in.get(m)
            own = self.own[member.name]
            key = (_bare(member), own, kl_in)
            if key not in made:
                curves = [
                    (self.unknowns[v], place[:, v], self._curve(m, v)) for v in own
                ]
                made[key] = _bar(member, curves, check.method, kl_in, len(place))
            bars.append(made[key])
        return bars

    def _curve(self, m: int, v: int) -> _Curve:
        """Return how member ``m``, at its recorded length, follows unknown ``v``.

        A little more or less length changes how strong the member is, hardly how it
        follows its own sizes, so that one curve does for every geometry.
        """
        member, kl_in = _bare(self.check.members[m]), self.chord_kl_in.get(m)
        key = (member, v, kl_in)
        if key not in self.curves:
            unknown = self.unknowns[v]
            self.curves[key] = _along(member, unknown, self.check.method, kl_in)
        return self.curves[key]

    def _headroom(
        self, truss: Truss, bars: Sequence[_Bar], dead_force: Float
    ) -> tuple[Float, Float]:
        """Return (c, 1, m): how far forces may rise and fall from the dead force."""
        shape = (len(dead_force), 1, len(bars))
        up, down = np.full(shape, np.inf), np.full(shape, np.inf)
        for m, bar in enumerate(bars):
            if self.unrated[m] or truss.absent[m]:
                continue
            force = self.method.dead_factor * dead_force[:, m]
            up[:, 0, m] = bar.headroom_kip(force, upward=True)
            down[:, 0, m] = bar.headroom_kip(force, upward=False)
        return up, down

    def _dead_kip(
        self, check: CheckInput, truss: Truss, bars: Sequence[_Bar], place: Float
    ) -> Float:
        """Return (c, n) joint loads."""
        base = dead_joint_kip(check, truss, check.dead_load)
        dead = np.tile(base, (len(place), 1))
        for v, unknown in enumerate(self.unknowns):
            if isinstance(unknown, Dead):
                nodes = np.linspace(0.0, 1.0, 3)
                loads = [
                    dead_joint_kip(
                        check, truss, unknown.at(check.dead_load, _between(unknown, u))
                    )
                    for u in nodes
                ]
                more = np.array(loads) - base
                for n in np.flatnonzero(np.abs(more).max(axis=0)):
                    dead[:, n] += np.interp(place[:, v], nodes, more[:, n])
        factor = check.dead_load.details_factor
        if factor:
            extra = np.stack([bar.extra_plf for bar in bars], axis=1)
            extra *= np.array([member.length_ft for member in check.members])
            half = factor * extra / (2.0 * deadload.LB_PER_KIP)
            for end in (0, 1):
                np.add.at(dead.T, truss.ends[:, end], half.T)
        return dead

    def _lane_ratio(self, place: Float) -> Float:
        """Return (c,): by how much a rating grows as this truss takes less of a lane."""
        ratio = np.ones(len(place))
        live = self.check.live_load
        if live is None:
            return ratio
        for v, unknown in enumerate(self.unknowns):
            if isinstance(unknown, Live):
                nodes = np.linspace(0.0, 1.0, NODES)
                curve = [
                    liveload.fraction(live)
                    / liveload.fraction(unknown.at(live, _between(unknown, u)))
                    for u in nodes
                ]
                ratio *= np.interp(place[:, v], nodes, curve)
        return ratio


def _floor_rating(check: CheckInput) -> float:
    """Return the rating of the beams under the deck, infinite where none are given."""
    if check.floor_system is None or check.live_load is None:
        return math.inf
    geometry = check.geometry
    xs = [geometry.joints[name][0] for name in geometry.loaded_joints]
    panels = tuple(round(b - a, 9) for a, b in pairwise(xs))
    found = floor.check(
        check.floor_system, panels, check.dead_load, check.live_load, check.method
    )
    least = found.least(LEVEL)
    return math.inf if least is None else float(least[0])


def _pin_rating(
    check: CheckInput,
    truss: Truss,
    held: tuple[Float, Float],
    loading: liveload.Loading,
    model: Model,
) -> float:
    """Return the rating of the pins whose packing is given, infinite where none is."""
    if not check.pins or check.method != "allowable-stress":
        return math.inf
    factor = float(np.maximum(loading.factor_up, loading.factor_down).max())
    found = pins.check(check.pins, truss, *held, loading.loads, factor, model)
    least = [pin.least(LEVEL) for pin in found]
    return min((float(one[0]) for one in least if one is not None), default=math.inf)


def _own_unknowns(
    check: CheckInput, unknowns: Sequence[Unknown]
) -> dict[str, tuple[int, ...]]:
    """Return the numbers of the unknowns that each member's own strength follows."""
    own: dict[str, tuple[int, ...]] = {}
    for member in check.members:
        materials = {piece.material or member.material for piece in member.components}
        materials |= {member.material} if member.section is not None else set()
        own[member.name] = tuple(
            v
            for v, unknown in enumerate(unknowns)
            if (isinstance(unknown, Size | Choice) and member.name in unknown.members)
            or (isinstance(unknown, Strength) and unknown.material in materials)
        )
    return own


def _between(unknown: Size | Strength | Stretch | Dead | Live, place: float) -> float:
    return unknown.low + (unknown.high - unknown.low) * float(place)


def scaled(check: CheckInput, along: float, up: float) -> CheckInput:
    """Return a check with its geometry stretched along the span and in depth."""
    if along == 1.0 and up == 1.0:
        return check
    old = check.geometry
    geometry = replace(
        old, joints={k: (x * along, y * up) for k, (x, y) in old.joints.items()}
    )
    members = []
    for member, ends in zip(check.members, old.members, strict=True):
        length = geometry.length_ft(ends)
        ratio = length / member.length_ft
        members.append(
            replace(
                member,
                length_ft=length,
                unbraced_in_plane_ft=member.unbraced_in_plane_ft * ratio,
                unbraced_out_of_plane_ft=member.unbraced_out_of_plane_ft * ratio,
            )
        )
    return replace(check, geometry=geometry, members=tuple(members))


def dead_joint_kip(check: CheckInput, truss: Truss, load: DeadLoad) -> Float:
    """Return (n,) kip of a dead load, members at their recorded sizes."""
    items = deadload.joint_loads(
        load,
        truss.joints,
        [int(joint) for joint in truss.loaded],
        truss.xy_ft[:, 0],
        truss.ends,
        np.array([_plf(member) * member.length_ft for member in check.members]),
    )
    dead = sum((item.joint_kip for item in items), np.zeros(len(truss.joints)))
    if truss.tightening >= 0:
        dead[truss.tightening] = 1.0
    return dead


def _plf(member: MemberInput) -> float:
    bare = None if member.is_absent else bare_section(member)
    return 0.0 if bare is None else bare.weight_plf


# --- one member ------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Piece:
    """One component in every configuration: (c,) stiffness and limits, None unrated."""

    ea_kip: Float
    carries_dead: bool
    tension_kip: Float | None
    compression_kip: Float | None


@dataclass(frozen=True, eq=False)
class _Bar:
    """One member in every configuration; ``extra_plf`` above its recorded weight.

    ``fewer`` are some of the pieces by themselves, which may carry more.
    """

    pieces: tuple[_Piece, ...]
    ea_kip: Float
    extra_plf: Float
    fewer: tuple[_Bar, ...] = ()

    def headroom_kip(self, dead_kip: Float, upward: bool) -> Float:
        """Return (c,) as ``resistance.Capacity.headroom_kip`` does for one."""
        dead_ea = sum(
            (piece.ea_kip for piece in self.pieces if piece.carries_dead),
            np.zeros(len(dead_kip)),
        )
        room = np.full(len(dead_kip), np.inf)
        for piece in self.pieces:
            limit = piece.tension_kip if upward else piece.compression_kip
            if limit is None:
                continue
            own = dead_kip * piece.ea_kip / dead_ea if piece.carries_dead else 0.0
            left = limit - own if upward else limit + own
            room = np.minimum(room, left * self.ea_kip / piece.ea_kip)
        for some in self.fewer:
            room = np.maximum(room, some.headroom_kip(dead_kip, upward))
        return room


#: Figures of one piece that follow unknowns: EA, tension, compression, each kip.
_Figures = tuple[float, float | None, float | None]


def _bar(
    member: MemberInput,
    own: Sequence[tuple[Unknown, Float, _Curve]],
    method: str,
    kl_in: float | None,
    count: int,
) -> _Bar:
    """Return a member in every configuration from its unknowns and their places."""
    base, plf = _figures(member, method, kl_in), _plf(member)
    if not base:
        ea = capacity(member, method, kl_in).ea_kip
        return _Bar((), np.full(count, ea), np.zeros(count))
    factors = np.ones((len(base), 3, count))
    weight = np.ones(count)
    for unknown, place, curve in own:
        for p, q in zip(*np.nonzero(np.abs(curve.log).max(axis=0)), strict=True):
            factors[p, q] *= np.exp(_read(unknown, place, curve.log[:, p, q]))
        if plf and np.ptp(curve.plf):
            weight *= _read(unknown, place, curve.plf / plf)
    whole = capacity(member, method, kl_in)
    pieces = tuple(
        _Piece(
            ea * factors[p, 0],
            whole.pieces[p].carries_dead,
            None if pull is None else pull * factors[p, 1],
            None if push is None else push * factors[p, 2],
        )
        for p, (ea, pull, push) in enumerate(base)
    )
    ea_all = np.sum([piece.ea_kip for piece in pieces], axis=0)
    fewer = tuple(_some(pieces, whole.pieces, one) for one in whole.fewer)
    return _Bar(pieces, ea_all, plf * (weight - 1.0), fewer)


def _some(pieces: Sequence[_Piece], together: Sequence[Piece], some: Capacity) -> _Bar:
    """Return some of the pieces, as strong as they are without the others."""

    def alone(
        of: Float | None, now: Limits | None, then: Limits | None
    ) -> Float | None:
        if of is None or now is None or then is None:
            return of
        return of * (then[LEVEL] / now[LEVEL])

    found = tuple(
        replace(
            pieces[p],
            tension_kip=alone(
                pieces[p].tension_kip, together[p].tension_kip, then.tension_kip
            ),
            compression_kip=alone(
                pieces[p].compression_kip,
                together[p].compression_kip,
                then.compression_kip,
            ),
        )
        for p, then in zip(some.kept, some.pieces, strict=True)
    )
    ea = np.sum([piece.ea_kip for piece in found], axis=0)
    return _Bar(found, ea, np.zeros(len(ea)))


def _figures(member: MemberInput, method: str, kl_in: float | None) -> list[_Figures]:
    if member.is_absent:
        return []
    return [
        (
            piece.ea_kip,
            None if piece.tension_kip is None else piece.tension_kip[LEVEL],
            None if piece.compression_kip is None else piece.compression_kip[LEVEL],
        )
        for piece in capacity(member, method, kl_in).pieces
    ]


def _nodes(unknown: Unknown) -> Float:
    if isinstance(unknown, Choice):
        return (np.arange(len(unknown.choices)) + 0.5) / len(unknown.choices)
    return np.linspace(0.0, 1.0, NODES)


def _read(unknown: Unknown, place: Float, curve: Float) -> Float:
    if isinstance(unknown, Choice):
        chosen: Float = curve[unknown.number(place)]
        return chosen
    answer: Float = np.interp(place, _nodes(unknown), curve)
    return answer


@dataclass(frozen=True, eq=False)
class _Curve:
    """How one member follows one unknown alone, at ``_nodes`` of its range.

    ``log`` (k, pieces, 3) are logarithms of its figures over those as recorded, ``plf``
    (k,) bare weights, lb per foot.
    """

    log: Float
    plf: Float


def _bare(member: MemberInput) -> MemberInput:
    """Return a member as far as its strength goes: a rod's does not know its length."""
    if member.tension_only:
        return replace(
            member,
            name="",
            kind=None,
            length_ft=1.0,
            unbraced_in_plane_ft=1.0,
            unbraced_out_of_plane_ft=1.0,
        )
    return replace(member, name="", kind=None)


def _along(
    member: MemberInput, unknown: Unknown, method: str, kl_in: float | None
) -> _Curve:
    nodes = [float(u) for u in _nodes(unknown)]
    if isinstance(unknown, Strength):
        rows = [_stronger(member, unknown, u, method, kl_in) for u in nodes]
        weights = [_plf(member)] * len(nodes)
    else:
        changed = [_resized(member, unknown, u) for u in nodes]
        base = _figures(member, method, kl_in)
        rows = [_over(_figures(one, method, kl_in), base) for one in changed]
        weights = [_plf(one) for one in changed]
    return _Curve(np.log(np.maximum(rows, 1e-12)), np.array(weights))


def _over(found: Sequence[_Figures], base: Sequence[_Figures]) -> list[list[float]]:
    return [
        [
            one / other if one is not None and other else 1.0
            for one, other in zip(now, was, strict=True)
        ]
        for now, was in zip(found, base, strict=True)
    ]


def _resized(member: MemberInput, unknown: Unknown, place: float) -> MemberInput:
    """Return a member with one of its sizes, or its rods' ends, as drawn."""
    if isinstance(unknown, Choice):
        chosen = unknown.choices[int(unknown.number(np.array(place)))]
        values: dict[str, Any] = {unknown.field: chosen}
    elif isinstance(unknown, Size):
        values = {unknown.field: _between(unknown, place)}
    else:
        raise TypeError(f"{unknown.key} is no size of a member")
    if "loss_fraction" in values:
        return replace(member, **values)
    pieces = list(member.components)
    piece = pieces[unknown.piece]
    tied = piece.built_up
    if tied is not None and set(values) <= {one.name for one in fields(tied)}:
        pieces[unknown.piece] = replace(piece, built_up=replace(tied, **values))
    else:
        pieces[unknown.piece] = replace(piece, **values)
    return replace(member, components=tuple(pieces))


def _stronger(
    member: MemberInput,
    unknown: Strength,
    place: float,
    method: str,
    kl_in: float | None,
) -> list[list[float]]:
    """Return (pieces, 3) ratios of a member whose material is so many times as strong.

    Through strengths given outright, so that the column formula follows; timber's
    stresses are multiplied.
    """
    times = _between(unknown, place)
    known = strength(unknown.material)
    if not known.fy_ksi:
        row = [1.0, times, times]
        mine = [
            (one.material or member.material) == unknown.material
            for one in member.components
        ]
        return [row if is_of_it else [1.0, 1.0, 1.0] for is_of_it in mine or [True]]
    plain, strong = (
        _in_material(
            member,
            unknown.material,
            Material(
                fy_ksi=known.fy_ksi * factor,
                fu_ksi=known.fu_ksi * factor,
                e_ksi=known.e_ksi,
            ),
        )
        for factor in (1.0, times)
    )
    return _over(_figures(strong, method, kl_in), _figures(plain, method, kl_in))


def _in_material(member: MemberInput, old: Material, new: Material) -> MemberInput:
    return replace(
        member,
        material=new if member.material == old else member.material,
        components=tuple(
            replace(one, material=new) if one.material == old else one
            for one in member.components
        ),
    )


def at_end(check: CheckInput, unknowns: Sequence[Unknown], place: float) -> CheckInput:
    """Return a check with every size among the unknowns at one place in its range."""
    members = []
    for member in check.members:
        for unknown in unknowns:
            if isinstance(unknown, Size) and member.name in unknown.members:
                member = _resized(member, unknown, place)
        members.append(member)
    return replace(check, members=tuple(members))
