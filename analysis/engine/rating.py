"""The multiple of the live load at which each member reaches its limit.

Feet and kips; tension positive; loads positive downward.
Array axes: ``c`` configurations, ``L`` rating levels, ``n`` joints, ``m`` members.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from . import general
from .equilibrium import Float, Mask, Truss, analyse
from .loads import Load, vehicle_places
from .moving import Governing, _governing, unstable_places
from .statics import Model, dead_forces
from .tautsets import TautSets

__all__ = ["Ratings", "ratings"]


@dataclass(frozen=True, eq=False)
class Ratings:
    """Multiples of the live load, dead load held.

    Attributes
    ----------
    rating : (c, L, m) float
        Infinite where no multiple brings the member to a limit; 0 where dead load does.
    at : Governing, of shape (c, L, m)
    stability : (c,) float
        The least multiple under which the truss falls; infinite if it never does.
    stands : (c,) bool, whether dead load alone is carried; if not, all ratings are 0
    """

    rating: Float
    at: Governing
    stability: Float
    stands: Mask


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
    system = analyse(truss)
    ea, dead = np.atleast_2d(ea_kip), np.atleast_2d(dead_kip)
    share = np.broadcast_to(np.asarray(factor, float), (len(truss.names),))
    is_web = np.zeros(len(truss.names), bool) if web is None else np.asarray(web, bool)
    places = vehicle_places(system, loads)
    state = dead_forces(truss, ea, dead, model)
    upper = state.forces_kip[:, None] + headroom_up_kip
    lower = state.forces_kip[:, None] - headroom_down_kip

    multiple = np.zeros(upper.shape)
    at = np.zeros((*upper.shape, 3))
    at[..., 2] = -1.0
    for c in np.flatnonzero(state.stands):
        reached = general.multiples(
            TautSets(system, ea[c]),
            dead[c],
            places,
            loads,
            upper[c],
            lower[c],
            is_web,
        )
        multiple[c], at[c] = reached.multiple, reached.at
    fraction, _ = unstable_places(
        system, dead, places, loads, float(share.max(initial=0.0)), state.stands
    )
    with_factor = np.where(share > 0.0, share, 1.0)
    return Ratings(
        np.where(share > 0.0, multiple / with_factor, np.inf),
        _governing(at),
        np.where(state.stands, fraction, 0.0),
        state.stands,
    )
