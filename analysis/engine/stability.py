"""The least multiple of a moving load at which no set of taut bars carries it.

Which loads a truss can carry does not depend on the areas: they form the cone of
loads that some tensions in the tension-only bars, with any forces in the others,
balance. For dead load d and live load l the multiple at which d + (multiple) l leaves
the cone is the reciprocal of a convex function of l. So over a stretch where l is
linear in the position it is least at one of the two ends, and only places where an
axle stands on a joint need be tried.
"""

from __future__ import annotations

import numpy as np

from .cone import Cone
from .equilibrium import Equilibrium, Float, Index, Mask
from .tautsets import TOLERANCE

#: Multiples that differ by less than this part are one.
ALIKE = 1e-9


def least_multiple(
    system: Equilibrium, dead_kip: Float, live_kip: Float
) -> tuple[Float, Index]:
    """Return the least multiple of the live load that no taut set carries.

    Parameters
    ----------
    system : Equilibrium
    dead_kip : (c, n) float
        Dead load on every joint, kip; each must be carried.
    live_kip : (s, n) float
        Live load on every joint in every place, kip.

    Returns
    -------
    multiple : (c,) float, infinite where the truss stands under any multiple
    place : (c,) int, the place where it is least; -1 where there is none

    Source
    ------
    Farkas' lemma; derivation in the module docstring. Known answers:
    test_moving_loads.py.
    """
    count = len(dead_kip)
    multiple, place = np.full(count, np.inf), np.full(count, -1, np.intp)
    if not len(live_kip):
        return multiple, place
    base = live_kip @ system.particular.T  # (s, m)
    zero = TOLERANCE * np.abs(base).max(initial=0.0)
    lone = system.lone[base[:, system.lone].min(axis=0) < -zero]
    for row in system.particular[lone]:
        held = np.maximum(dead_kip @ row, 0.0)
        fall = -(live_kip @ row)
        at = int(np.argmax(fall))
        reached = held / fall[at]
        # Of places alike but for rounding, as in a mirror, the first, alone or among
        # many configurations.
        place = np.where(reached < multiple * (1.0 - ALIKE), at, place)
        multiple = np.minimum(multiple, reached)
    if not len(system.watched):
        return multiple, place
    doubtful = np.flatnonzero(~_carried_by_single_rods(system, base)).tolist()
    if not doubtful:
        return multiple, place
    cone = Cone(system)
    # Places whose load alone no taut set carries, lone bars set aside.
    beyond = [at for at in doubtful if cone.cut(live_kip[at]) is not None]
    for c in range(count if beyond else 0):
        for at in beyond:
            reached_here = cone.reach(dead_kip[c], live_kip[at], float(multiple[c]))
            if reached_here < multiple[c] * (1.0 - ALIKE):
                place[c] = at
            multiple[c] = min(multiple[c], reached_here)
    return multiple, place


def _carried_by_single_rods(system: Equilibrium, base: Float) -> Mask:
    """Return the places carried when each redundant is at its lower bound.

    ``base`` (s, m): forces in the determinate remainder.
    """
    x = np.zeros((len(base), len(system.pairs)))
    for k, pair in enumerate(system.pairs):
        if pair.partner >= 0:
            x[:, k] = np.maximum(-base[:, pair.partner] / pair.share, 0.0)
    total = base + x @ system.selfstress.T
    zero = TOLERANCE * np.abs(base).max(axis=1, initial=0.0)
    bars = np.zeros(base.shape[1], bool)
    bars[system.tension] = True
    bars[system.lone] = False
    carried: Mask = np.logical_and.reduce(total[:, bars] >= -zero[:, None], axis=1)
    return carried
