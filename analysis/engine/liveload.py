"""The live load of a check file as the numerics take it, with fraction and impact."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .equilibrium import Float, Mask, Truss, analyse
from .forms import CHORDS
from .influence import influence_within
from .loads import Lane, Load, Train, Uniform
from .question import CheckInput, LiveLoad
from .statics import dead_forces
from .vehicles import LANES, VEHICLES, impact, lever_fraction

LB_PER_KIP = 1000.0


@dataclass(frozen=True, eq=False)
class Loading:
    """Loads and how much of them each member meets.

    Attributes
    ----------
    loads : the worse of each counts, member by member
    factor_up, factor_down : (m,) float
        Fraction times one plus impact, for the greatest and for the least force.
    web : (m,) bool, members that take a lane's concentrated load for webs
    reaction_factor : the same for reactions
    weight_kip : the vehicle's weight, the lightest of several; None without one
    fraction : of a lane to this truss line
    """

    loads: tuple[Load, ...]
    factor_up: Float
    factor_down: Float
    web: Mask
    reaction_factor: float
    weight_kip: float | None
    fraction: float


def loading(check: CheckInput, truss: Truss) -> Loading:
    """Return the live load of a check file that has one.

    Source: article 3.8.2 of the AASHTO Standard Specifications for impact "aashto".
    Known answers: tests/published/test_worked_rating.py.
    """
    live = check.live_load
    if live is None:
        raise ValueError("the check file has no live load")
    share = fraction(live)
    web = np.array([member.kind not in CHORDS for member in check.members])
    if live.impact is not None:
        up = down = np.full(len(truss.names), share * (1.0 + live.impact))
        at_support = share * (1.0 + live.impact)
    else:
        lengths = loaded_lengths(truss)
        up, down = (
            share * (1.0 + np.array([impact(length) for length in row]))
            for row in lengths
        )
        x = truss.xy_ft[truss.loaded, 0]
        at_support = share * (1.0 + impact(float(x[-1] - x[0])))
    return Loading(
        _loads(live, share), up, down, web, at_support, _weight_kip(live), share
    )


def fraction(live: LiveLoad) -> float:
    """Return the part of a lane on this truss line, given or by the lever rule."""
    lever = live.lever
    if lever is None:
        return live.fraction
    return lever_fraction(
        lever.roadway_ft,
        lever.trusses_apart_ft,
        lever.gauge_ft,
        lever.curb_clear_ft,
        lever.vehicles,
        lever.placing,
    )


def _loads(live: LiveLoad, share: float) -> tuple[Load, ...]:
    loads: list[Load] = []
    if live.vehicle:
        vehicle = VEHICLES[live.vehicle]
        loads.append(_train(vehicle.axle_kip, vehicle.behind_front_ft))
    if live.axle_kip:
        loads.append(_train(live.axle_kip, live.behind_front_ft))
    if live.lane:
        lane = LANES[live.lane]
        loads.append(
            Lane(lane.klf, lane.concentrated_chord_kip, lane.concentrated_web_kip)
        )
    if live.uniform_plf:
        # Given on this truss line: the share that multiplies everything is undone.
        loads.append(Uniform(live.uniform_plf / LB_PER_KIP / share))
    if live.crowd is not None:
        crowd = live.crowd
        loads.append(Uniform(crowd.psf * crowd.width_ft * crowd.share / LB_PER_KIP))
    return tuple(loads)


def _train(axle_kip: Sequence[float], behind_ft: Sequence[float]) -> Train:
    return Train(np.array(axle_kip, float), np.array(behind_ft, float))


def _weight_kip(live: LiveLoad) -> float | None:
    weights = []
    if live.vehicle:
        weights.append(VEHICLES[live.vehicle].weight_kip)
    if live.axle_kip:
        weights.append(sum(live.axle_kip))
    if live.lane:
        weights.append(VEHICLES[live.lane].weight_kip)
    return min(weights, default=None)


def loaded_lengths(truss: Truss) -> tuple[Float, Float]:
    """Return the lengths whose loading pulls, and pushes, each member, ft.

    Lengths of the influence line where it is positive and where it is negative, bars
    of equal EA, with the bars acting that a load over the whole deck makes taut. A bar
    that is then slack is let in alone for its own lengths. Where even that load is not
    carried the lengths are 0, and impact the greatest.

    Parameters
    ----------
    truss : Truss

    Returns
    -------
    pulling, pushing : (m,) float, ft

    Source: AASHTO Standard Specifications 3.8.2, loaded length giving the maximum.
    """
    count = len(truss.names)
    nothing = np.zeros(count), np.zeros(count)
    ea = np.ones(count)
    whole = np.zeros(len(truss.joints))
    whole[truss.loaded] = 1.0
    state = dead_forces(truss, ea[None], whole[None])
    if not state.stands[0]:
        return nothing
    system = analyse(truss)
    slack = np.flatnonzero(~state.taut[0] & ~truss.absent)
    ordinates = influence_within(system, ea, slack)
    if ordinates is None:
        return nothing
    x = truss.xy_ft[truss.loaded, 0]
    return _positive_length(ordinates, x), _positive_length(-ordinates, x)


def _positive_length(ordinate: Float, x: Float) -> Float:
    """Return (m,): the length of (m, p) influence lines above zero."""
    scale = np.abs(ordinate).max(axis=1, keepdims=True, initial=0.0)
    clean = np.where(np.abs(ordinate) > 1e-9 * scale, ordinate, 0.0)
    left, right = clean[:, :-1], clean[:, 1:]
    over = np.maximum(left, 0.0) + np.maximum(right, 0.0)
    whole = np.abs(left) + np.abs(right)
    part = np.divide(over, whole, out=np.zeros_like(over), where=whole > 0.0)
    answer: Float = part @ np.diff(x)
    return answer
