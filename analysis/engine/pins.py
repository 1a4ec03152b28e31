"""Pins: bending, shear and bearing from the order in which bars are packed on them.

Inches, kips and ksi. Each bar pulls at the middle of its thickness; moments and shears
in the plane of the truss are built from bar to bar along the pin, both components, and
combined. Every place of the vehicle with an axle on a panel point is tried, with the
forces that all bars at the joint have at that place.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from .equilibrium import Float, Truss, analyse
from .loads import Lane, Load, Train, vehicle_places
from .materials import strength
from .question import Pin
from .resistance import LEVELS, Limits
from .statics import Model, dead_forces

MODES = ("bending", "shear", "bearing")
#: Inventory parts of Fy, and operating over inventory: Manual for Bridge Evaluation
#: 6B.5.2, from memory; bearing of a pin that turns.
PART_OF_FY = {"bending": 0.80, "shear": 0.40, "bearing": 0.40}
BEARING_OF_FIXED_PIN = 0.80
OPERATING_OVER_INVENTORY = 0.75 / 0.55
#: Between neighbouring bars where no gap is given, in; common practice.
GAP_IN = 1.0 / 16.0

PIN_SOURCE = (
    "Pins: bending 0.80, shear 0.40 (average) and bearing 0.40 Fy where the pin may "
    "turn, 0.80 where not, at inventory, 1.36 times that at operating: AASHTO Manual "
    "for Bridge Evaluation 6B.5.2, from memory."
)


@dataclass(frozen=True)
class Stresses:
    """Greatest stresses of one pin under one set of bar forces, ksi."""

    bending: float
    shear: float
    bearing: float


@dataclass(frozen=True)
class PinCheck:
    """One pin checked: stresses by mode under dead load and at most, and ratings."""

    joint: str
    dead_ksi: Mapping[str, float]
    most_ksi: Mapping[str, float]
    limit_ksi: Mapping[str, Limits] | None
    rating: Mapping[str, Limits] | None

    def least(self, level: str) -> tuple[float, str, str] | None:
        """Return the least rating with the pin's name and the mode; None if none."""
        if self.rating is None:
            return None
        found = [
            (self.rating[mode][level], f"pin {self.joint}", f"pin {mode}")
            for mode in MODES
            if math.isfinite(self.rating[mode][level])
        ]
        return min(found, default=None)


def pin_stresses(
    diameter_in: float, middles_in: Float, plates_in: Float, pull: Float
) -> Stresses:
    """Return the stresses of a pin under the pulls of the bars on it.

    Parameters
    ----------
    diameter_in : float
    middles_in, plates_in : (b,) float, where each bar bears, and how thick it is
    pull : (b, 2) float, kip, in equilibrium

    Source: statics; round section 32 M/(pi d^3), shear V/A on average, bearing P/(d t).
    Known answers: tests/published/test_pins.py.
    """
    modulus = math.pi * diameter_in**3 / 32.0
    area = math.pi * diameter_in**2 / 4.0
    moment, shear = _along(middles_in, pull)
    length = np.linalg.norm
    return Stresses(
        float(length(moment, axis=1).max()) / modulus,
        float(length(shear, axis=1).max(initial=0.0)) / area,
        float((length(pull, axis=1) / (diameter_in * plates_in)).max()),
    )


def _along(middles_in: Float, pull: Float) -> tuple[Float, Float]:
    """Return (b, 2) moments at the bars and (b - 1, 2) shears between them."""
    shear = np.cumsum(pull, axis=0)[:-1]
    steps = np.diff(middles_in)[:, None] * shear
    moment = np.concatenate([np.zeros((1, 2)), np.cumsum(steps, axis=0)])
    return moment, shear


def middles(pin: Pin) -> Float:
    """Return (b,): where each bar bears along the pin, from the face of the first."""
    place, found = 0.0, []
    for number, bar in enumerate(pin.packing):
        if number:
            place += bar.gap_in
        found.append(place + bar.thickness_in / 2.0)
        place += bar.thickness_in
    return np.array(found)


def check(
    pins: Sequence[Pin],
    truss: Truss,
    ea_kip: Float,
    dead_kip: Float,
    loads: Sequence[Load],
    factor: float,
    model: Model,
) -> list[PinCheck]:
    """Return the checks of pins, by allowable stress.

    Parameters
    ----------
    ea_kip, dead_kip : (m,), (n,) float
    factor : of a lane, with impact, on this truss line

    The stress of the live load is taken to grow in proportion, with the bars that are
    taut under the whole of it. Source: statics. Known answers: test_pins.py.
    """
    live = factor * _places(truss, loads)
    whole = np.concatenate([np.zeros((1, len(dead_kip))), live]) + dead_kip
    rows = np.broadcast_to(ea_kip, (len(whole), len(ea_kip)))
    state = dead_forces(truss, np.ascontiguousarray(rows), whole, model)
    stands = np.flatnonzero(state.stands)
    return [_one(pin, truss, state.forces_kip[stands], whole[stands]) for pin in pins]


def _places(truss: Truss, loads: Sequence[Load]) -> Float:
    """Return (s, n): loads on the joints, axles on panel points or the deck loaded.

    A uniform load lies from either end to each panel point, its concentrated load at
    the head.
    """
    joints = np.asarray(truss.loaded)
    rows = []
    system = analyse(truss)
    trains = [load for load in loads if isinstance(load, Train)]
    for row in vehicle_places(system, trains).joint_kip:
        rows.append(row)
    x = truss.xy_ft[joints, 0]
    tributary = np.zeros(len(joints))
    tributary[:-1] += np.diff(x) / 2.0
    tributary[1:] += np.diff(x) / 2.0
    for load in loads:
        if isinstance(load, Train):
            continue
        heavy = load.concentrated_web_kip if isinstance(load, Lane) else 0.0
        for head in range(len(joints)):
            for part in (slice(0, head + 1), slice(head, None)):
                row = np.zeros(len(joints))
                row[part] = load.klf * tributary[part]
                row[head] += heavy
                rows.append(row)
    found = np.zeros((len(rows), len(truss.joints)))
    if rows:
        found[:, joints] = np.array(rows)
    return found


def _one(pin: Pin, truss: Truss, forces: Float, loads: Float) -> PinCheck:
    at, plates = middles(pin), np.array([bar.thickness_in for bar in pin.packing])
    pulls = _pulls(pin, truss, forces, loads)
    every = [pin_stresses(pin.diameter_in, at, plates, pull) for pull in pulls]
    dead = {mode: float(getattr(every[0], mode)) for mode in MODES}
    most = {mode: max(float(getattr(one, mode)) for one in every) for mode in MODES}
    limits = _limits(pin)
    if limits is None:
        return PinCheck(pin.joint, dead, most, None, None)
    rating: dict[str, Limits] = {}
    for mode in MODES:
        first, rest = _vectors(pin, at, plates, pulls, mode)
        rating[mode] = {
            level: _least_multiple(first, rest, limits[mode][level]) for level in LEVELS
        }
    return PinCheck(pin.joint, dead, most, limits, rating)


def _pulls(pin: Pin, truss: Truss, forces: Float, loads: Float) -> Float:
    """Return (s, b, 2): what each bar on the pin pulls, in equilibrium.

    Whatever the bars leave over (the floor beam's load, bars that are not packed) acts
    at the bars that carry the load, or at the middle two.
    """
    joint = truss.joints.index(pin.joint)
    names = list(truss.names)
    pulls = np.zeros((len(forces), len(pin.packing), 2))
    for place, bar in enumerate(pin.packing):
        if bar.member is None:
            continue
        m = names.index(bar.member)
        a, b = truss.ends[m]
        other = b if a == joint else a
        reach = truss.xy_ft[other] - truss.xy_ft[joint]
        direction = reach / np.linalg.norm(reach)
        pulls[:, place] = bar.part * forces[:, m, None] * direction
    hung = [k for k, bar in enumerate(pin.packing) if bar.member is None]
    if not hung:
        middle = (len(pin.packing) - 1) / 2.0
        hung = sorted({math.floor(middle), math.ceil(middle)})
    left = -pulls.sum(axis=1) / len(hung)
    for place in hung:
        pulls[:, place] += left
    return pulls


def _vectors(
    pin: Pin, at: Float, plates: Float, pulls: Float, mode: str
) -> tuple[Float, Float]:
    """Return stress vectors: (k, 2) of dead load and (s, k, 2) that live load adds."""
    d = pin.diameter_in
    rows = []
    for pull in pulls:
        moment, shear = _along(at, pull)
        if mode == "bending":
            rows.append(moment * 32.0 / (math.pi * d**3))
        elif mode == "shear":
            rows.append(shear * 4.0 / (math.pi * d**2))
        else:
            rows.append(pull / (d * plates)[:, None])
    found = np.array(rows)
    return found[0], found[1:] - found[0]


def _least_multiple(dead: Float, live: Float, limit: float) -> float:
    """Return the least t >= 0 at which some |D + t L| reaches a limit."""
    if np.linalg.norm(dead, axis=1).max(initial=0.0) >= limit:
        return 0.0
    a = (live**2).sum(axis=2)
    b = (live * dead).sum(axis=2)
    c = (dead**2).sum(axis=1) - limit**2
    moves = a > 1e-18
    root = (-b + np.sqrt(b**2 - a * c)) / np.where(moves, a, 1.0)
    return float(np.where(moves, root, math.inf).min(initial=math.inf))


def _limits(pin: Pin) -> Mapping[str, Limits] | None:
    known = None if pin.material is None else strength(pin.material)
    if known is None or not known.is_rated or not known.fy_ksi:
        return None
    parts = dict(PART_OF_FY)
    if not pin.turns:
        parts["bearing"] = BEARING_OF_FIXED_PIN
    return {
        mode: {
            "inventory": part * known.fy_ksi,
            "operating": part * known.fy_ksi * OPERATING_OVER_INVENTORY,
        }
        for mode, part in parts.items()
    }


__all__ = ["PIN_SOURCE", "PinCheck", "Stresses", "check", "pin_stresses"]
