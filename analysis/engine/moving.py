"""The exact envelope of moving loads over many configurations of one truss.

Feet and kips; tension positive; loads positive downward.
Array axes: ``c`` configurations, ``n`` joints, ``m`` members.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from . import general
from .equilibrium import Equilibrium, Float, Index, Mask, Truss, analyse
from .influence import loads_where_it_adds
from .loads import Lane, Load, Places, Train, Uniform, vehicle_places
from .stability import least_multiple
from .statics import Model, dead_forces
from .tautsets import TautSets

__all__ = ["Envelope", "Governing", "Lane", "Load", "Train", "Uniform", "envelope"]

#: Front axle (ft), heading (+1 or -1) and the fraction of the load.
Unstable = tuple[float, int, float]


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
    max_at, min_at : Governing
    reaction_max_kip, reaction_min_kip : (c, 2) float, live, at pin and roller
    unstable_at : per configuration, None or (front axle ft, heading, fraction)
        The place with the least fraction of the load under which the truss falls.
    stands : (c,) bool, whether dead load alone is carried; if not, all is zero
    """

    live_max_kip: Float
    live_min_kip: Float
    max_at: Governing
    min_at: Governing
    reaction_max_kip: Float
    reaction_min_kip: Float
    unstable_at: list[Unstable | None]
    stands: Mask


def envelope(
    truss: Truss,
    ea_kip: Float,
    dead_kip: Float,
    loads: Sequence[Load],
    factor: Float,
    model: Model = "elastic",
    web: Mask | None = None,
    reaction_factor: float | None = None,
) -> Envelope:
    """Return the greatest and least live forces over all positions of all loads.

    Exact over every position, either heading, partly off the span: forces are linear
    in the position between axles on joints and changes of the taut set, and all of
    both are visited. A member's total is that of the whole structure under dead load
    and the live load times that member's own factor; the live force is that less the
    dead-load force. Positions that no taut set can carry are left out.

    A uniform load lies on the lengths of the deck where the member's influence line,
    with the bars that are then taut, adds.

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
    system = analyse(truss)
    ea, dead = np.atleast_2d(ea_kip), np.atleast_2d(dead_kip)
    share = np.broadcast_to(np.asarray(factor, float), (len(truss.names),))
    is_web = np.zeros(len(truss.names), bool) if web is None else np.asarray(web, bool)
    places = vehicle_places(system, loads)
    state = dead_forces(truss, ea, dead, model)

    high, low = state.forces_kip.copy(), state.forces_kip.copy()
    high_at, low_at = np.zeros((*ea.shape, 3)), np.zeros((*ea.shape, 3))
    for c in np.flatnonzero(state.stands):
        found = general.extremes(
            TautSets(system, ea[c]), dead[c], places, loads, share, is_web
        )
        high[c], low[c] = found.high, found.low
        high_at[c], low_at[c] = found.high_at, found.low_at

    greatest = float(share.max(initial=0.0))
    up, down = _reactions(
        system,
        places,
        loads,
        greatest if reaction_factor is None else reaction_factor,
    )
    standing = state.stands[:, None]
    return Envelope(
        np.maximum(high - state.forces_kip, 0.0),
        np.minimum(low - state.forces_kip, 0.0),
        _governing(high_at),
        _governing(low_at),
        np.where(standing, up, 0.0),
        np.where(standing, down, 0.0),
        unstable_places(system, dead, places, loads, greatest, state.stands)[1],
        state.stands,
    )


def unstable_places(
    system: Equilibrium,
    dead: Float,
    places: Places,
    loads: Sequence[Load],
    factor: float,
    stands: Mask,
) -> tuple[Float, list[Unstable | None]]:
    """Return the least fractions of the load that bring the truss down, and where.

    The (c,) fractions may exceed 1; the places are given only where they do not.
    """
    spread = general.spread_places(system, loads, system.particular[system.lone])
    live = np.vstack([general.on_all_joints(system, places.joint_kip), spread])
    fraction = np.full(len(dead), np.inf)
    where: list[Unstable | None] = [None] * len(dead)
    if not stands.any():
        return fraction, where
    multiple, place = least_multiple(system, dead[stands], factor * live)
    fraction[stands] = multiple
    for c, at in zip(np.flatnonzero(stands), place, strict=True):
        if at >= 0 and fraction[c] <= 1.0:
            vehicle = at < len(places.front_ft)
            where[c] = (
                float(places.front_ft[at]) if vehicle else 0.0,
                int(places.heading[at]) if vehicle else 0,
                float(fraction[c]),
            )
    return fraction, where


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


def _governing(at: Float) -> Governing:
    return Governing(at[..., 0], at[..., 1].astype(np.intp), at[..., 2].astype(np.intp))
