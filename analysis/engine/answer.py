"""A check file's answer: forces, resistances, ratings, and what stands behind them.

``answer_many`` is the same for many files at once. Files that share geometry,
tension-only bars, absent bars and live load go through the numerics in one batch; an
answer does not depend on what else is in its batch.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Any, cast

import numpy as np

from . import (
    ENGINE_VERSION,
    checkfile,
    chordcheck,
    deadload,
    floor,
    liveload,
    pins,
    sentences,
    singly,
)
from .chordcheck import ChordState
from .equilibrium import Float, Index, Mask, Truss
from .liveload import Loading
from .mixed import Steps, answered
from .moving import Envelope
from .question import CheckInput, MemberInput
from .rating import rating_steps
from .resistance import LEVELS, METHODS, Capacity, bare_section, capacity
from .setting import Setting, setting
from .statics import DeadState, Model, dead_forces

#: Forces are answered to this many decimals of a kip, so that rounding reads as 0.
DECIMALS = 9
#: Ratings that differ by less than this part are equal.
SAME_RATING = 1e-9
#: So few forces are looked at one by one.
_FEW_ALIKE = 4


def answer(document: Mapping[str, Any]) -> dict[str, Any]:
    """Return the answer to one check file, as JSON types.

    Raises ``CheckFileError`` for a document that is not one.
    """
    return answer_many([document])[0]


def answer_many(documents: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Return the answers to many check files, in their order.

    Raises ``CheckFileError`` for the first document that is not a check file.
    """
    return answer_checks([checkfile.read(document) for document in documents])


def answer_checks(checks: Sequence[CheckInput]) -> list[dict[str, Any]]:
    """Return the answers to many check files already read, in their order."""
    batches = in_batches(checks)
    answers: list[dict[str, Any]] = [{}] * len(checks)
    for numbers in batches.values():
        found = parts_of([checks[number] for number in numbers])
        for number, one in zip(numbers, found, strict=True):
            answers[number] = written(one)
    return answers


def in_batches(checks: Sequence[CheckInput]) -> dict[object, list[int]]:
    """Return the numbers of the checks that can be computed together, by what they share."""
    if len(checks) == 1:
        return {None: [0]}
    batches: dict[object, list[int]] = {}
    for number, check in enumerate(checks):
        batches.setdefault(_batch_key(check), []).append(number)
    return batches


def _batch_key(check: CheckInput) -> object:
    """Return what files must share to be computed together."""
    geometry = check.geometry
    return (
        tuple(geometry.joints.items()),
        geometry.members,
        tuple(geometry.kinds.items()),
        geometry.pinned,
        geometry.roller,
        geometry.loaded_joints,
        tuple(
            (member.tension_only, member.is_absent, member.tightened_in)
            for member in check.members
        ),
        check.live_load,
        check.method,
        check.tension_only_model,
    )


@dataclass(frozen=True, eq=False)
class _Batch:
    """Files computed together: ``c`` of them, of one truss of ``m`` members."""

    checks: Sequence[CheckInput]
    truss: Truss
    capacities: list[list[Capacity]]
    items: list[list[deadload.Item]]
    ea_kip: Float  # (c, m)
    dead_kip: Float  # (c, n)

    @property
    def first(self) -> CheckInput:
        return self.checks[0]

    @property
    def model(self) -> Model:
        return cast(Model, self.first.tension_only_model)


@dataclass(frozen=True, eq=False)
class _Rated:
    """Multiples of the live load: ``up`` and ``down`` (c, L, m), ``stability`` (c, L).

    ``spent`` (c, L, m): whether dead load alone is at the limit or beyond.
    """

    up: Float
    down: Float
    stability: Float
    spent: Mask

    @cached_property
    def least(self) -> Float:
        return np.minimum(self.up, self.down)


def truss_of(check: CheckInput) -> Truss:
    """Return the arrays that statics works on."""
    geometry = check.geometry
    joints = tuple(geometry.joints)
    number = {name: i for i, name in enumerate(joints)}
    ends: Index = np.array([[number[a], number[b]] for a, b in geometry.members])
    places = [geometry.joints[name] for name in joints]
    shortened = np.array([member.tightened_in for member in check.members]) / 12.0
    tightening = -1
    if shortened.any():
        # A joint that no bar meets, whose load stands for the tightening.
        tightening = len(joints)
        joints, places = (*joints, ""), [*places, geometry.joints[geometry.pinned]]
    return Truss(
        joints,
        np.array(places, float),
        geometry.names,
        ends,
        number[geometry.pinned],
        number[geometry.roller],
        np.array([number[name] for name in geometry.loaded_joints]),
        np.array([member.tension_only for member in check.members]),
        np.array([member.is_absent for member in check.members]),
        shortened if tightening >= 0 else None,
        tightening,
    )


def parts_of(
    checks: Sequence[CheckInput],
    *,
    with_forces: bool = True,
    levels: Sequence[str] = LEVELS,
) -> list[Part]:
    """Return what is found for each of the checks of one batch.

    Live forces are left out, if they are not asked for and no rating hangs on them.
    Nothing is limited at levels other than those asked for.
    """
    return answered(part_steps(checks, with_forces, levels))


def part_steps(
    checks: Sequence[CheckInput], with_forces: bool, levels: Sequence[str]
) -> Steps[list[Part]]:
    """Come to ``parts_of``, and ask on the way what may be asked for many together."""
    batch = _assemble(checks)
    live = checks[0].live_load
    if live is None:
        state = dead_forces(batch.truss, batch.ea_kip, batch.dead_kip, batch.model)
        return [
            Part(batch, c, state, None, None, None, None) for c in range(len(checks))
        ]
    loading = liveload.loading(checks[0], batch.truss)
    asked = setting(
        batch.truss,
        batch.ea_kip,
        batch.dead_kip,
        loading.loads,
        batch.model,
        loading.web,
    )
    state = asked.state
    moved = None
    if with_forces or _may_be_pushed_unrated(batch):
        moved = yield from singly.envelope_steps(
            asked, loading.factor_up, loading.factor_down, loading.reaction_factor
        )
    chords = [
        chordcheck.state(
            check, batch.truss, batch.ea_kip[c], batch.dead_kip[c], loading
        )
        if check.chord is not None and state.stands[c]
        else None
        for c, check in enumerate(checks)
    ]
    for c, chord in enumerate(chords):
        if chord is not None:
            _shorten(batch, c, chord)
    rated = yield from _rate(batch, asked, loading, levels)
    return [
        Part(
            batch,
            c,
            state,
            loading,
            moved,
            rated,
            chords[c],
            _pins(batch, c, loading) if state.stands[c] else (),
        )
        for c in range(len(checks))
    ]


def _pins(batch: _Batch, c: int, loading: Loading) -> Sequence[pins.PinCheck]:
    """Return the checks of the pins whose packing is given, by allowable stress."""
    check = batch.checks[c]
    if not check.pins or check.method != "allowable-stress":
        return ()
    return pins.check(
        check.pins,
        batch.truss,
        batch.ea_kip[c],
        batch.dead_kip[c],
        loading.loads,
        float(np.maximum(loading.factor_up, loading.factor_down).max()),
        batch.model,
    )


def _may_be_pushed_unrated(batch: _Batch) -> bool:
    """Return whether compression, if there were any, would leave a member unrated."""
    return any(
        each.compression_kip is None and not member.tension_only
        for check, row in zip(batch.checks, batch.capacities, strict=True)
        for member, each in zip(check.members, row, strict=True)
        if not member.is_absent and each.tension_kip is not None
    )


def _assemble(checks: Sequence[CheckInput]) -> _Batch:
    truss = truss_of(checks[0])
    method = checks[0].method
    # Subsets of changes share their members, and members of one truss their make: each
    # is looked up once, by identity.
    known: dict[int, Capacity] = {}
    weights: dict[int, float] = {}
    alike: dict[object, tuple[Capacity, float]] = {}
    capacities = []
    for check in checks:
        row = []
        for member in check.members:
            each = known.get(id(member))
            if each is None:
                make = _make(member)
                if make not in alike:
                    bare = None if member.is_absent else bare_section(member)
                    plf = 0.0 if bare is None else bare.weight_plf
                    alike[make] = capacity(member, method), plf
                each, plf = alike[make]
                known[id(member)] = each
                weights[id(member)] = plf * member.length_ft
            row.append(each)
        capacities.append(row)
    items = [
        deadload.joint_loads(
            check.dead_load,
            truss.joints,
            truss.loaded.tolist(),
            truss.xy_ft[:, 0],
            truss.ends,
            np.array([weights[id(member)] for member in check.members]),
        )
        for check in checks
    ]
    dead = np.array(
        [
            sum((i.joint_kip for i in found), np.zeros(len(truss.joints)))
            for found in items
        ]
    )
    if truss.tightening >= 0:
        dead[:, truss.tightening] = 1.0
    ea = np.array([[each.ea_kip for each in row] for row in capacities])
    return _Batch(checks, truss, capacities, items, ea, dead)


def _make(member: MemberInput) -> object:
    """Return what members must share to have one capacity and one weight per foot."""
    parts = id(member.components), id(member.section), id(member.material)
    own = member.is_absent, member.loss_fraction
    if member.tension_only and not any(bar.longer_in for bar in member.components):
        return *parts, *own
    return (
        *parts,
        *own,
        member.tension_only,
        member.length_ft,
        member.unbraced_in_plane_ft,
        member.unbraced_out_of_plane_ft,
        member.k,
    )


def _shorten(batch: _Batch, c: int, chord: ChordState) -> None:
    """Give the chord's members the effective length its buckling settles."""
    check = batch.checks[c]
    for m, kl_in in chord.effective_length_in.items():
        batch.capacities[c][m] = capacity(check.members[m], check.method, kl_in)


def _rate(
    batch: _Batch, asked: Setting, loading: Loading, levels: Sequence[str]
) -> Steps[_Rated]:
    """Come to the multiples at which members, and the whole, come to their limits."""
    method = METHODS[batch.first.method]
    dead_force = method.dead_factor * asked.state.forces_kip
    if method.dead_factor != 1.0:
        factored = method.dead_factor * batch.dead_kip
        asked = setting(
            batch.truss,
            batch.ea_kip,
            factored,
            loading.loads,
            batch.model,
            loading.web,
        )
    per_level = np.array([method.live_factor[level] for level in LEVELS])
    up, down = (
        _headroom(batch, dead_force, upward, levels) for upward in (True, False)
    )
    found = yield from rating_steps(
        asked,
        loading.factor_up,
        np.maximum(up, 0.0),
        np.maximum(down, 0.0),
        loading.factor_down,
        with_places=False,
    )
    # Dead load alone at the limit or beyond: no vehicle is left for it.
    return _Rated(
        np.where(up <= 0.0, 0.0, found.up / per_level[:, None]),
        np.where(down <= 0.0, 0.0, found.down / per_level[:, None]),
        found.stability[:, None] / per_level,
        (up <= 0.0) | (down <= 0.0),
    )


def _headroom(
    batch: _Batch, dead_force: Float, upward: bool, levels: Sequence[str]
) -> Float:
    """Return (c, L, m): how far forces may move from the factored dead force."""
    room = np.full((len(batch.checks), len(LEVELS), dead_force.shape[1]), np.inf)
    asked = [(k, level) for k, level in enumerate(LEVELS) if level in levels]
    absent = batch.truss.absent.tolist()
    if len(batch.checks) <= _FEW_ALIKE:
        for c, row in enumerate(batch.capacities):
            for m, (each, force) in enumerate(
                zip(row, dead_force[c].tolist(), strict=True)
            ):
                if each.pieces and not absent[m]:
                    for k, level in asked:
                        room[c, k, m] = each.headroom_kip(force, level, upward)
        return room
    for m in np.flatnonzero(~batch.truss.absent).tolist():
        alike: dict[int, list[int]] = {}
        for c, row in enumerate(batch.capacities):
            if row[m].pieces:
                alike.setdefault(id(row[m]), []).append(c)
        for cases in alike.values():
            each = batch.capacities[cases[0]][m]
            for k, level in asked:
                if len(cases) <= _FEW_ALIKE:
                    for c in cases:
                        room[c, k, m] = each.headroom_kip(
                            float(dead_force[c, m]), level, upward
                        )
                    continue
                some = np.array(cases)
                room[some, k, m] = _headrooms(each, dead_force[some, m], level, upward)
    return room


def _headrooms(each: Capacity, dead: Float, level: str, upward: bool) -> Float:
    """Return ``Capacity.headroom_kip`` of many dead-load forces of one member.

    It is the lesser of two straight lines; where some pieces may be better without the
    others, the most of several such.
    """
    room = np.full(len(dead), -np.inf)
    for some in (each, *each.fewer):
        first, slope, most = some.line(level, upward)
        np.maximum(
            room,
            np.minimum(first - (slope if upward else -slope) * dead, most),
            out=room,
        )
    return room


# --- writing ---------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Part:
    """One file of a batch with all that was found for it."""

    batch: _Batch
    c: int
    state: DeadState
    loading: Loading | None
    moved: tuple[Envelope, Envelope] | None
    rated: _Rated | None
    chord: ChordState | None
    pins: Sequence[pins.PinCheck] = ()

    @cached_property
    def floor(self) -> floor.FloorCheck | None:
        """The check of the beams under the deck; None where none are given."""
        check = self.check
        if check.floor_system is None or check.live_load is None:
            return None
        xs = [check.geometry.joints[name][0] for name in check.geometry.loaded_joints]
        panels = tuple(round(b - a, 9) for a, b in pairwise(xs))
        return floor.check(
            check.floor_system, panels, check.dead_load, check.live_load, check.method
        )

    @cached_property
    def check(self) -> CheckInput:
        return self.batch.checks[self.c]

    @cached_property
    def stands(self) -> bool:
        return bool(self.state.stands[self.c])

    def capacity(self, m: int) -> Capacity:
        return self.batch.capacities[self.c][m]

    @cached_property
    def dead(self) -> list[float]:
        """Forces under dead load, kip, member by member."""
        found: list[float] = self.state.forces_kip[self.c].tolist()
        return found

    @cached_property
    def live(self) -> list[tuple[float, float]]:
        """The greatest rise and fall of each, kip."""
        if self.moved is None:
            return [(0.0, 0.0)] * len(self.dead)
        up, down = self.moved
        return list(
            zip(
                up.live_max_kip[self.c].tolist(),
                down.live_min_kip[self.c].tolist(),
                strict=True,
            )
        )

    @cached_property
    def ratings(self) -> list[list[float | None]]:
        """Return, per level and member, the multiple or None."""
        if self.rated is None or not self.stands:
            return [[None] * len(self.dead)] * len(LEVELS)
        known = [self.is_rated(m) for m in range(len(self.dead))]
        return [
            [
                value if is_rated and math.isfinite(value) else None
                for value, is_rated in zip(row, known, strict=True)
            ]
            for row in self.rated.least[self.c].tolist()
        ]

    @cached_property
    def _pushed(self) -> list[bool]:
        return [
            not member.tension_only
            and not member.is_absent
            and self.capacity(m).compression_kip is None
            and self.dead[m] + self.live[m][1] < -1e-9
            for m, member in enumerate(self.check.members)
        ]

    def rating(self, m: int, k: int) -> float | None:
        """Return the multiple, None where there is none to give."""
        return self.ratings[k][m]

    def is_rated(self, m: int) -> bool:
        """Return whether every force the member meets has a resistance."""
        return (
            not self.check.members[m].is_absent
            and self.capacity(m).tension_kip is not None
            and not self._pushed[m]
        )

    def is_pushed_unrated(self, m: int) -> bool:
        """Return whether the member meets compression that nothing rates."""
        return self._pushed[m]


def written(part: Part) -> dict[str, Any]:
    """Return the answer in the words of the contract."""
    check = part.check
    governing = _governing(part)
    members = _members(part)
    unstable = _unstable(part)
    return {
        "engine": ENGINE_VERSION,
        "input_sha256": checkfile.sha256_of(check),
        "stands": part.stands,
        "unstable_joints": list(part.state.unstable_joints[part.c])
        if not part.stands
        else [],
        "members": members,
        "reactions": _reactions(part),
        "dead_load": _dead_load(part),
        "governing": governing,
        "unstable_at": unstable,
        "chord": _chord(part),
        "floor": _floor(part),
        "pins": {pin.joint: _pin(pin) for pin in part.pins},
        "assumptions": sentences.assumptions(
            check, part.loading, part.chord, part.floor, _uncounted(part)
        ),
        "warnings": sentences.warnings(
            check,
            sentences.Findings(
                stands=part.stands,
                balanced=bool(part.state.balanced[part.c]),
                unstable_joints=part.state.unstable_joints[part.c],
                unstable_at=unstable,
                members=members,
                governing=governing,
                pushed_unrated=tuple(
                    name
                    for m, name in enumerate(part.batch.truss.names)
                    if part.is_pushed_unrated(m)
                ),
                dead_beyond=_dead_beyond(part),
                lifted=_lifted(part),
            ),
            part.chord,
            part.floor,
        ),
        "sources": sentences.sources(check),
    }


def _members(part: Part) -> dict[str, Any]:
    stands, gives_forces = part.stands, bool(part.state.balanced[part.c])
    # Of members made alike the size is written once.
    made: dict[int, tuple[dict[str, Any], dict[str, Any]]] = {}
    answered = {}
    for name, member, each, dead, live, *ratings in zip(
        part.batch.truss.names,
        part.check.members,
        part.batch.capacities[part.c],
        part.dead,
        part.live,
        *part.ratings,
        strict=True,
    ):
        if id(each) not in made:
            made[id(each)] = _size(each), _resistance(each)
        size, resistance = made[id(each)]
        if member.is_absent:
            size, resistance = _size(None), _resistance(None)
        one: dict[str, Any] = {
            "kind": member.kind,
            "length_ft": _number(member.length_ft),
            "dead_kip": _number(dead) if gives_forces else None,
            "live_max_kip": _number(live[0]) if stands else None,
            "live_min_kip": _number(live[1]) if stands else None,
            "tension_only": member.tension_only,
            **size,
            "resistance": {level: {**resistance[level]} for level in LEVELS},
            "rating": dict(zip(LEVELS, map(_number, ratings), strict=True)),
        }
        if member.is_absent:
            one["absent"] = True
        answered[name] = one
    return answered


def _size(each: Capacity | None) -> dict[str, float | None]:
    """Return what is told of a member's size; nothing without one."""
    if each is None or not each.pieces:
        return {"area_in2": None, "net_area_in2": None, "slenderness": None}
    return {
        "area_in2": _number(each.section.area_in2),
        "net_area_in2": _number(each.section.net_area_in2),
        "slenderness": _number(each.slenderness),
    }


def _resistance(each: Capacity | None) -> dict[str, dict[str, float | None]]:
    if each is None or not each.pieces:
        return {
            level: {"tension_kip": None, "compression_kip": None} for level in LEVELS
        }
    return {
        level: {
            "tension_kip": _at(each.tension_kip, level),
            "compression_kip": _at(each.compression_kip, level),
        }
        for level in LEVELS
    }


def _reactions(part: Part) -> dict[str, Any]:
    geometry = part.check.geometry
    answered: dict[str, Any] = {}
    for side, joint in enumerate((geometry.pinned, geometry.roller)):
        dead = float(part.state.reactions[part.c, side])
        most, least = 0.0, 0.0
        if part.moved is not None:
            most = float(part.moved[0].reaction_max_kip[part.c, side])
            least = float(part.moved[0].reaction_min_kip[part.c, side])
        answered[joint] = {
            "dead_kip": _number(dead),
            "live_max_kip": _number(most) if part.stands else None,
            "live_min_kip": _number(least) if part.stands else None,
        }
    return answered


def _dead_load(part: Part) -> dict[str, Any]:
    items = part.batch.items[part.c]
    return {
        "total_kip": _number(sum(item.kip for item in items)),
        "items": [{"what": item.what, "kip": _number(item.kip)} for item in items],
    }


def _governing(part: Part) -> dict[str, Any]:
    return {level: governing_at(part, k) for k, level in enumerate(LEVELS)}


def governing_at(part: Part, k: int) -> dict[str, Any] | None:
    """Return the least multiple of all, and what it is the limit of."""
    if part.rated is None or part.loading is None or not part.stands:
        return None
    found: list[tuple[float, str | int | None, str]] = [
        (rating, m, "")
        for m, rating in enumerate(part.ratings[k])
        if rating is not None
    ]
    stability = float(part.rated.stability[part.c, k])
    if math.isfinite(stability):
        found.append((stability, None, "stability"))
    if part.chord is not None and math.isfinite(part.chord.rating[k]):
        found.append((part.chord.rating[k], part.chord.worst_member, "chord-buckling"))
    below = part.floor
    least = None if below is None else below.least(LEVELS[k])
    if least is not None:
        found.append(least)
    for pin in part.pins:
        held = pin.least(LEVELS[k])
        if held is not None:
            found.append(held)
    if not found:
        return None
    # Equal but for rounding: the first in order of the bars, whatever else is asked.
    bound = min(one[0] for one in found) * (1.0 + SAME_RATING)
    rating, member, mode = next(one for one in found if one[0] <= bound)
    if isinstance(member, int):
        pulled = part.rated.up[part.c, k, member] <= part.rated.down[part.c, k, member]
        mode = "tension" if pulled else "compression"
        member = part.batch.truss.names[member]
    weight = part.loading.weight_kip
    return {
        "member": member,
        "mode": mode,
        "rating": _number(rating),
        "limit_tons": None if weight is None else _number(rating * weight / 2.0),
    }


def _floor(part: Part) -> dict[str, Any] | None:
    found = part.floor
    if found is None:
        return None
    return {beam.name.replace(" ", "_"): _beam(beam) for beam in found.beams} | {
        "not_checked": list(found.gaps)
    }


def _pin(pin: pins.PinCheck) -> dict[str, Any]:
    return {
        mode: {
            "dead_ksi": _number(pin.dead_ksi[mode]),
            "most_ksi": _number(pin.most_ksi[mode]),
            "limit_ksi": {
                k: _at(None if pin.limit_ksi is None else pin.limit_ksi[mode], k)
                for k in LEVELS
            },
            "rating": {
                k: _at(None if pin.rating is None else pin.rating[mode], k)
                for k in LEVELS
            },
        }
        for mode in pins.MODES
    }


def _beam(beam: floor.BeamCheck) -> dict[str, Any]:
    answered: dict[str, Any] = {
        "span_ft": _number(beam.span_ft),
        "wheel_share" if beam.name == "stringer" else "end_share": _number(beam.share),
    }
    for (mode, effect), unit in zip(beam.modes, ("kip_ft", "kip"), strict=True):
        answered[mode] = {
            f"dead_{unit}": _number(effect.dead),
            f"live_{unit}": _number(effect.live),
            f"resistance_{unit}": {k: _at(effect.limit, k) for k in LEVELS},
            "rating": {k: _at(effect.rating, k) for k in LEVELS},
        }
    return answered


def _unstable(part: Part) -> dict[str, Any] | None:
    if part.moved is None or not part.stands:
        return None
    # The greater factor loses stability under the lesser part of the vehicle.
    places = [moved.unstable_at[part.c] for moved in part.moved]
    known = [place for place in places if place is not None]
    if not known:
        return None
    front, heading, factor = min(known, key=lambda place: place[2])
    is_vehicle = heading != 0
    return {
        "front_axle_ft": _number(front) if is_vehicle else None,
        "heading": int(heading) if is_vehicle else None,
        "load_factor": _number(factor),
    }


def _chord(part: Part) -> dict[str, Any] | None:
    if part.chord is None:
        return None
    return {
        "buckling_factor": _number(part.chord.buckling_factor),
        "effective_length_ft": {
            part.batch.truss.names[m]: _number(kl_in / 12.0)
            for m, kl_in in part.chord.effective_length_in.items()
        },
        "weakened": {
            joint: {"loosened": _number(loosened), "gone": _number(gone)}
            for joint, (loosened, gone) in part.chord.weakened.items()
        },
    }


def _dead_beyond(part: Part) -> tuple[str, ...]:
    """Return the members that dead load alone takes to their operating limit."""
    if not part.stands:
        return ()
    if part.rated is None:
        return _dead_beyond_unmoved(part)
    spent = part.rated.spent[part.c, LEVELS.index("operating")]
    return tuple(
        part.batch.truss.names[m]
        for m in np.flatnonzero(spent)
        if part.is_rated(int(m))
    )


def _dead_beyond_unmoved(part: Part) -> tuple[str, ...]:
    """Return the same where no live load is given."""
    factored = METHODS[part.check.method].dead_factor
    beyond = []
    for m, name in enumerate(part.batch.truss.names):
        each = part.capacity(m)
        if not each.pieces or not part.is_rated(m):
            continue
        force = factored * part.dead[m]
        room = min(each.headroom_kip(force, "operating", up) for up in (True, False))
        if room <= 0.0:
            beyond.append(name)
    return tuple(beyond)


def _lifted(part: Part) -> tuple[str, ...]:
    """Return the supports that the live load can lift off."""
    if part.moved is None or not part.stands:
        return ()
    geometry = part.check.geometry
    total = part.state.reactions[part.c] + part.moved[0].reaction_min_kip[part.c]
    joints = (geometry.pinned, geometry.roller)
    return tuple(joint for joint, kip in zip(joints, total, strict=True) if kip < -1e-9)


def _uncounted(part: Part) -> list[str]:
    """Return the members that not all pieces are counted in, as forces move them."""
    factored = METHODS[part.check.method].dead_factor
    found = []
    for m, name in enumerate(part.batch.truss.names):
        each, (rise, fall) = part.capacity(m), part.live[m]
        if not each.fewer or not part.stands or not part.is_rated(m):
            continue
        dead = part.dead[m]
        ways = [dead + rise > 0.0 and rise >= 0.0, dead + fall < 0.0]
        if not all(
            each.counts_all(factored * dead, upward)
            for upward, goes in zip((True, False), ways, strict=True)
            if goes
        ):
            found.append(name)
    return found


def _at(limits: Mapping[str, float] | None, level: str) -> float | None:
    return None if limits is None else _number(limits[level])


def _number(value: float | None) -> float | None:
    """Return a number as it is answered; None for none and for no limit."""
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), DECIMALS) + 0.0
