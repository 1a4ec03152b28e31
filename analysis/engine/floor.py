"""The floor system: stringers and floor beams under dead load and the moving load.

Feet and kips; the whole floor, not one truss line's part of it. Stringers are simple
beams over one panel, floor beams simple beams between the trusses. Hip hangers are
members of the truss and are rated there.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np

from . import beams
from .beams import BeamSection
from .deadload import LB_PER_KIP, DeadLoad
from .equilibrium import Float
from .materials import Material, strength
from .question import Beam, FloorSystem, LiveLoad, Stringers
from .resistance import LEVELS, METHODS, Limits
from .vehicles import LANES, VEHICLES, impact

#: What beams of the floor are called where a member of the truss would stand.
NAMES = ("stringer", "floor beam")
#: Half of every axle is on each of two lines of wheels.
WHEEL_LINES = 2.0

#: Stringers' part of one wheel line for one traffic lane: spacing in ft over this, by
#: deck and, for concrete, the stringers' metal or timber; and the widest spacing for
#: which it holds. AASHTO Standard Specifications table 3.23.1, from memory.
SPREAD: Mapping[tuple[str, bool], tuple[float, float]] = {
    ("timber", False): (4.0, 4.0),
    ("timber", True): (4.0, 4.0),
    ("concrete", False): (7.0, 10.0),
    ("concrete", True): (6.0, 6.0),
    ("steel-grid", False): (6.0, 6.0),
    ("steel-grid", True): (6.0, 6.0),
}
#: A steel grid less deep than this, in, spreads as narrower decks do.
THIN_GRID_IN = 4.0
THIN_GRID = (4.5, 4.5)
#: Wheels and clearances where the file has no lever rule: AASHTO 3.6 and 3.7, memory.
GAUGE_FT, CURB_CLEAR_FT = 6.0, 2.0

SPREAD_SOURCE = (
    "Wheels spread among stringers by deck and spacing: AASHTO Standard "
    "Specifications, table 3.23.1, one traffic lane, from memory; farther apart, by "
    "the lever rule."
)
TIMBER_SHEAR_SOURCE = (
    "Timber stringers in shear: wheels at three depths or a quarter of the span from "
    "the support, half of 0.60 of the wheels not spread and of the wheels spread: "
    "AASHTO Standard Specifications 13.6.5, from memory."
)


@dataclass(frozen=True)
class Effect:
    """Dead and live effect of one kind on a beam, impact included, and its limits."""

    dead: float
    live: float
    limit: Limits | None
    rating: Limits | None


@dataclass(frozen=True)
class BeamCheck:
    """One kind of beam checked.

    Attributes
    ----------
    name : "stringer" or "floor beam"
    span_ft : float
    share : part of one wheel line on one stringer; of a lane at one end of a floor beam
    bending, shear : Effect, kip ft and kip
    """

    name: str
    span_ft: float
    share: float
    bending: Effect
    shear: Effect

    @property
    def modes(self) -> tuple[tuple[str, Effect], ...]:
        return ("bending", self.bending), ("shear", self.shear)


@dataclass(frozen=True)
class FloorCheck:
    """What was checked of the floor, and in words what could not be."""

    beams: tuple[BeamCheck, ...]
    gaps: tuple[str, ...]

    def least(self, level: str) -> tuple[float, str, str] | None:
        """Return the least rating with the beam's name and the mode; None if none."""
        found = [
            (effect.rating[level], beam.name, mode)
            for beam in self.beams
            for mode, effect in beam.modes
            if effect.rating is not None and math.isfinite(effect.rating[level])
        ]
        return min(found, default=None)


def stringer_spacing_ft(floor: FloorSystem) -> float | None:
    """Return the spacing, given, or of stringers from edge to edge of the roadway."""
    stringers = floor.stringers
    if stringers is None:
        return None
    if stringers.spacing_ft:
        return stringers.spacing_ft
    if stringers.count < 2:
        return None
    return floor.roadway_ft / (stringers.count - 1)


def wheel_share(
    spacing_ft: float, deck: str | None, deck_in: float, is_timber: bool
) -> float:
    """Return the part of one wheel line that one stringer takes.

    By table where the deck is known and the spacing within it; otherwise a wheel
    stands over the stringer and the deck spans simply to its neighbours.

    Source: ``SPREAD_SOURCE``. Known answers: tests/analysis/engine/test_floor.py.
    """
    divisor, widest = SPREAD.get((deck or "", is_timber), (0.0, 0.0))
    if deck == "steel-grid" and 0.0 < deck_in < THIN_GRID_IN:
        divisor, widest = THIN_GRID
    if divisor and spacing_ft <= widest:
        return spacing_ft / divisor
    return 1.0 + max(0.0, 1.0 - GAUGE_FT / spacing_ft)


@lru_cache(maxsize=2048)
def check(
    floor: FloorSystem,
    panels_ft: tuple[float, ...],
    dead: DeadLoad,
    live: LiveLoad,
    method: str,
) -> FloorCheck:
    """Return the check of a floor.

    Parameters
    ----------
    floor : FloorSystem
    panels_ft : distances between the loaded joints, in order
    dead : DeadLoad, whose ``floor`` has the weights
    live : LiveLoad; ``fraction`` and ``lever`` share out a lane between trusses and
        say nothing here, where the whole vehicle stands
    method : a key of ``METHODS``

    Source: statics, and ``beams``. Known answers: tests/analysis/engine/test_floor.py.
    """
    found: list[BeamCheck] = []
    gaps: list[str] = []
    if floor.stringers is not None:
        spacing = stringer_spacing_ft(floor)
        if spacing is None:
            gaps.append("Stringers are not checked: their spacing is not recorded.")
        else:
            load = _Load(floor, dead, live, method)
            found.append(_stringer(load, floor.stringers, max(panels_ft), spacing))
    if floor.floor_beams is not None:
        apart = floor.trusses_apart_ft
        load = _Load(floor, dead, live, method)
        if not apart:
            gaps.append("Floor beams are not checked: the trusses' spacing is unknown.")
        elif floor.roadway_ft > apart + 1e-9:
            gaps.append(
                "Floor beams are not checked: the roadway overhangs the trusses."
            )
        elif len(panels_ft) < 2:
            gaps.append("No floor beam stands between the supports.")
        else:
            found.append(_floor_beam(load, floor.floor_beams, apart, panels_ft))
    return FloorCheck(tuple(found), tuple(gaps))


# --- stringers -------------------------------------------------------------------------


@dataclass(frozen=True)
class _Load:
    """What lies and moves on the floor, and how it is rated."""

    floor: FloorSystem
    dead: DeadLoad
    live: LiveLoad
    method: str


def _stringer(
    load: _Load, stringers: Stringers, span: float, spacing: float
) -> BeamCheck:
    dead, live = load.dead, load.live
    section, material = _section(stringers.beam), stringers.beam.material
    is_timber = material is not None and material.kind == "timber"
    deck, deck_in = _deck(dead)
    share = stringers.wheel_share or wheel_share(spacing, deck, deck_in, is_timber)
    own = _stringer_plf(dead, section)
    klf = (_deck_psf(dead) * spacing + own) / LB_PER_KIP
    factor = 1.0 + _impact(live, span)
    moment = shear = 0.0
    if live.vehicle or live.axle_kip:
        moment = share * _wheel_moment(span, live)
        shear = _stringer_shear(stringers, span, live, share)
    for lane_klf, chord_kip, web_kip in _lanes(live):
        moment = max(
            moment,
            share * (lane_klf * span**2 / 8 + chord_kip * span / 4) / WHEEL_LINES,
        )
        shear = max(shear, share * (lane_klf * span / 2 + web_kip) / WHEEL_LINES)
    crowd = _psf(live, load.floor) * spacing / LB_PER_KIP
    moment, shear = moment * factor, shear * factor
    moment = max(moment, crowd * span**2 / 8)
    shear = max(shear, crowd * span / 2)
    return _beam_check(
        "stringer",
        span,
        share,
        (klf * span**2 / 8, moment),
        (klf * span / 2, shear),
        (section, stringers.beam),
        load.method,
    )


def _stringer_shear(
    stringers: Stringers, span: float, live: LiveLoad, share: float
) -> float:
    """Return the live shear of a stringer without impact.

    A timber stringer is checked where its specification says, others at the support.
    """
    if stringers.beam.material is None or stringers.beam.material.kind != "timber":
        return share * _wheel_shear(span, live, 0.0)
    depth = max((p.depth_in for p in stringers.beam.components), default=0.0) / 12.0
    at = min(3.0 * depth, span / 4.0)
    whole = _wheel_shear(span, live, at)
    return 0.5 * (0.60 * whole + share * whole)


# --- floor beams -----------------------------------------------------------------------


def wheel_places(
    apart_ft: float, roadway_ft: float, gauge_ft: float, clear_ft: float
) -> tuple[float, float]:
    """Return the greatest moment, and end shear, of a floor beam for unit wheel lines.

    Two wheel lines a gauge apart stand where they do most within the curbs; where the
    roadway is too narrow for the clearances they stand in its middle.

    Source: statics. Known answers: tests/analysis/engine/test_floor.py.
    """
    near = (apart_ft - roadway_ft) / 2.0 + clear_ft
    far = (apart_ft + roadway_ft) / 2.0 - clear_ft - gauge_ft
    if far < near:
        near = far = (apart_ft - gauge_ft) / 2.0
    near, far = max(near, 0.0), max(far, 0.0)
    x = min(max(apart_ft / 2.0 - gauge_ft / 4.0, near), far)
    reaction = (2.0 * apart_ft - 2.0 * x - gauge_ft) / apart_ft
    at_end = (2.0 * apart_ft - 2.0 * near - gauge_ft) / apart_ft
    return reaction * x, at_end


def _floor_beam(
    load: _Load, beam: Beam, apart: float, panels_ft: tuple[float, ...]
) -> BeamCheck:
    floor, dead, live = load.floor, load.dead, load.live
    pairs = list(pairwise(panels_ft))
    tributary = max((a + b) / 2.0 for a, b in pairs)
    section = _section(beam)
    gauge, clear = _wheels(live)
    moment_of_one, shear_of_one = wheel_places(apart, floor.roadway_ft, gauge, clear)

    bending = shearing = _wheel_reaction(panels_ft, live)
    for lane_klf, chord_kip, web_kip in _lanes(live):
        bending = max(bending, (lane_klf * tributary + chord_kip) / WHEEL_LINES)
        shearing = max(shearing, (lane_klf * tributary + web_kip) / WHEEL_LINES)
    factor = 1.0 + _impact(live, 2.0 * tributary)
    crowd = _psf(live, floor) * floor.roadway_ft * tributary / LB_PER_KIP
    live_moment = max(
        bending * factor * moment_of_one, crowd * (2 * apart - floor.roadway_ft) / 8
    )
    live_shear = max(shearing * factor * shear_of_one, crowd / 2)

    spread, edge, own = _floor_beam_dead(floor, dead, tributary, section)
    dead_moment = (
        spread * (2 * apart - floor.roadway_ft) / 8
        + edge / 2 * (apart - floor.roadway_ft) / 2
        + own * apart / 8
    )
    dead_shear = (spread + edge + own) / 2
    return _beam_check(
        "floor beam",
        apart,
        shear_of_one / WHEEL_LINES,
        (dead_moment, live_moment),
        (dead_shear, live_shear),
        (section, beam),
        load.method,
    )


def _floor_beam_dead(
    floor: FloorSystem, dead: DeadLoad, tributary: float, section: BeamSection
) -> tuple[float, float, float]:
    """Return kips on a floor beam: over the roadway, at its edges, of the beam itself."""
    given = dead.floor
    along = _deck_psf(dead) * floor.roadway_ft
    stringers = floor.stringers
    if given is not None and given.stringers is not None:
        along += given.stringers.count * given.stringers.plf_each
    elif stringers is not None:
        along += stringers.count * _section(stringers.beam).weight_plf
    railing = 0.0 if given is None else given.railing_plf
    own = 0.0 if given is None else given.floor_beams_lb_each
    own = own or section.weight_plf * (floor.trusses_apart_ft or 0.0)
    return (
        along * tributary / LB_PER_KIP,
        railing * tributary / LB_PER_KIP,
        own / LB_PER_KIP,
    )


# --- both ------------------------------------------------------------------------------


def _beam_check(
    name: str,
    span_ft: float,
    share: float,
    moment: tuple[float, float],
    shear: tuple[float, float],
    made: tuple[BeamSection, Beam],
    method: str,
) -> BeamCheck:
    section, beam = made
    can = beams.beam_capacity(section, beam.material, method, beam.loss_fraction)
    return BeamCheck(
        name,
        span_ft,
        share,
        _effect(moment, can.moment_kip_ft, method),
        _effect(shear, can.shear_kip, method),
    )


def _effect(
    dead_live: tuple[float, float], limit: Limits | None, method: str
) -> Effect:
    dead, live = dead_live
    if limit is None:
        return Effect(dead, live, None, None)
    how = METHODS[method]
    rating = {}
    for level in LEVELS:
        room = max(limit[level] - how.dead_factor * dead, 0.0)
        rating[level] = (
            room / (how.live_factor[level] * live) if live > 0.0 else math.inf
        )
    return Effect(dead, live, limit, rating)


@lru_cache(maxsize=1024)
def _section(beam: Beam) -> BeamSection:
    pcf = beams.weight_pcf(beam.material)
    if beam.girder is not None:
        return beams.girder_section(beam.girder, pcf)
    return beams.beam_section(beam.components, pcf)


def _deck(dead: DeadLoad) -> tuple[str | None, float]:
    """Return the deck's own material and thickness: the lowest layer that spans."""
    layers = dead.floor.layers if dead.floor is not None else ()
    for layer in layers:
        if layer.material in ("timber", "concrete", "steel-grid"):
            return layer.material, layer.thickness_in or 0.0
    return None, 0.0


def _deck_psf(dead: DeadLoad) -> float:
    return sum(layer.weight_psf for layer in dead.floor.layers) if dead.floor else 0.0


def _stringer_plf(dead: DeadLoad, section: BeamSection) -> float:
    if dead.floor is not None and dead.floor.stringers is not None:
        return dead.floor.stringers.plf_each
    return section.weight_plf


# What the vehicle does is the same whatever lies on the floor: found once.


@lru_cache(maxsize=512)
def _wheel_moment(span: float, live: LiveLoad) -> float:
    return max(
        beams.greatest_moment(span, kip / WHEEL_LINES, at) for kip, at in _trains(live)
    )


@lru_cache(maxsize=512)
def _wheel_shear(span: float, live: LiveLoad, from_end: float) -> float:
    return max(
        beams.greatest_shear(span, kip / WHEEL_LINES, at, from_end)
        for kip, at in _trains(live)
    )


@lru_cache(maxsize=512)
def _wheel_reaction(panels_ft: tuple[float, ...], live: LiveLoad) -> float:
    return max(
        (
            beams.greatest_reaction(left, right, kip / WHEEL_LINES, at)
            for kip, at in _trains(live)
            for left, right in pairwise(panels_ft)
        ),
        default=0.0,
    )


def _trains(live: LiveLoad) -> list[tuple[Float, Float]]:
    found = []
    if live.vehicle:
        vehicle = VEHICLES[live.vehicle]
        found.append((vehicle.axle_kip, vehicle.behind_front_ft))
    if live.axle_kip:
        found.append((live.axle_kip, live.behind_front_ft))
    return [(np.array(kip, float), np.array(at, float)) for kip, at in found]


def _lanes(live: LiveLoad) -> Sequence[tuple[float, float, float]]:
    if not live.lane:
        return ()
    lane = LANES[live.lane]
    return ((lane.klf, lane.concentrated_chord_kip, lane.concentrated_web_kip),)


def _psf(live: LiveLoad, floor: FloorSystem) -> float:
    """Return the crowd, or the uniform load of half the roadway, in psf."""
    if live.crowd is not None:
        return live.crowd.psf
    return 2.0 * live.uniform_plf / floor.roadway_ft


def _wheels(live: LiveLoad) -> tuple[float, float]:
    if live.lever is None:
        return GAUGE_FT, CURB_CLEAR_FT
    return live.lever.gauge_ft, live.lever.curb_clear_ft


def _impact(live: LiveLoad, loaded_ft: float) -> float:
    return impact(loaded_ft) if live.impact is None else live.impact


def materials_of(floor: FloorSystem) -> list[Material]:
    """Return the materials of the beams that are given."""
    given = [floor.floor_beams]
    if floor.stringers is not None:
        given.append(floor.stringers.beam)
    return [b.material for b in given if b is not None and b.material is not None]


# --- in words --------------------------------------------------------------------------


def assumptions(found: FloorCheck | None) -> list[str]:
    """Return how the floor is seen, in sentences."""
    if found is None:
        return [
            "The beams under the deck are not checked: no sizes of them are given. The "
            "estimate is of the truss alone."
        ]
    said = []
    for beam in found.beams:
        if beam.name == "stringer":
            said.append(
                f"Stringers are simple beams of {beam.span_ft:g} ft; one takes "
                f"{beam.share:.3g} of a line of wheels."
            )
        else:
            said.append(
                f"Floor beams are simple beams of {beam.span_ft:g} ft between the "
                "trusses; wheels stand where they do most within the curbs."
            )
    if found.beams:
        said.append(
            "One vehicle is on the floor. The deck holds the beams' top edges "
            "sideways; the deck itself, hangers' loops, seats and rivets are not "
            "checked."
        )
    return said


def sources(floor: FloorSystem) -> list[str]:
    """Return where the floor's rules are from."""
    kinds = {strength(one).kind for one in materials_of(floor)}
    said = []
    if kinds - {"timber"}:
        said.append(beams.BEAM_SOURCE)
    if "timber" in kinds:
        said.append(beams.TIMBER_BEAM_SOURCE)
    stringers = floor.stringers
    if stringers is not None:
        material = stringers.beam.material
        if not stringers.wheel_share:
            said.append(SPREAD_SOURCE)
        if material is not None and material.kind == "timber":
            said.append(TIMBER_SHEAR_SOURCE)
    return said
