"""Sideways buckling of a pony truss's upper chord.

The chord from its first to its last upper joint is one continuous bar, pinned at its
ends about a vertical axis, on lateral springs at its joints; each panel has its own EI
and its own force. Kips and inches; compression positive here.
Array axes: ``s`` load positions, ``j`` chord panels, ``d`` degrees of freedom.

Derivation. Cubic beam elements give K v = f G v, with K of bending and springs, G of
the panel forces for f = 1. With K = L L', 1/f is the greatest eigenvalue of
L^-1 G L^-T: a convex function of the forces, so that over a stretch where forces are
linear in the position of the vehicle f is least at one of its ends.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.linalg
import scipy.optimize

from .equilibrium import Float

#: Elements a panel; the error of the factor is then about 8e-5, on the unsafe side.
ELEMENTS = 4
#: Stiffness of a spring that holds rigidly, as a multiple of the chord's own.
RIGID = 1e9


@dataclass(frozen=True, eq=False)
class ChordBar:
    """A chord ready to be loaded; ``panel`` are the (j, d, d) reduced G of unit forces.

    ``is_free`` where springs and bar together cannot hold it sideways at all.
    """

    panel: Float
    is_free: bool

    def reciprocal(self, force_kip: Float) -> Float:
        """Return (s,) 1/f for (s, j) panel forces; 0 where nothing is compressed."""
        if self.is_free:
            pushed = (force_kip > 0.0).any(axis=1)
            return np.where(pushed, np.inf, 0.0)
        matrix = np.tensordot(force_kip, self.panel, axes=1)
        answer: Float = np.maximum(np.linalg.eigvalsh(matrix)[:, -1], 0.0)
        return answer


def chord_bar(
    length_in: Sequence[float],
    ei_kip_in2: Sequence[float],
    spring_kip_per_in: Sequence[float | None],
) -> ChordBar:
    """Return a chord of panels on springs.

    Parameters
    ----------
    length_in, ei_kip_in2 : j panel lengths and stiffnesses
    spring_kip_per_in : j + 1 springs at the joints; None is rigid

    Source: module docstring. Known answers: tests/published/test_chord_buckling.py.
    """
    panels = len(length_in)
    nodes = panels * ELEMENTS + 1
    stiff = np.zeros((2 * nodes, 2 * nodes))
    geometric = np.zeros((panels, 2 * nodes, 2 * nodes))
    for j, (length, ei) in enumerate(zip(length_in, ei_kip_in2, strict=True)):
        bending, pushing = _element(length / ELEMENTS, ei)
        for e in range(ELEMENTS):
            first = 2 * (j * ELEMENTS + e)
            at = slice(first, first + 4)
            stiff[at, at] += bending
            geometric[j, at, at] += pushing
    held = []
    for place, spring in enumerate(spring_kip_per_in):
        at_joint = 2 * place * ELEMENTS
        if spring is None:
            held.append(at_joint)
        else:
            stiff[at_joint, at_joint] += spring
    free = np.setdiff1d(np.arange(2 * nodes), held)
    stiff = stiff[np.ix_(free, free)]
    scale = np.sqrt(np.diag(stiff))
    least = float(np.linalg.eigvalsh(stiff / np.outer(scale, scale))[0])
    if least < 1e-11:
        return ChordBar(np.zeros((panels, 1, 1)), True)
    lower = np.linalg.cholesky(stiff)
    reduced = np.empty((panels, len(free), len(free)))
    for j in range(panels):
        half = scipy.linalg.solve_triangular(
            lower, geometric[j][np.ix_(free, free)], lower=True
        )
        reduced[j] = scipy.linalg.solve_triangular(lower, half.T, lower=True)
    return ChordBar(reduced, False)


def _element(length: float, ei: float) -> tuple[Float, Float]:
    """Return (4, 4), (4, 4): bending stiffness, and geometric of unit compression."""
    a = length
    bending = (ei / a**3) * np.array(
        [
            [12.0, 6 * a, -12.0, 6 * a],
            [6 * a, 4 * a * a, -6 * a, 2 * a * a],
            [-12.0, -6 * a, 12.0, -6 * a],
            [6 * a, 2 * a * a, -6 * a, 4 * a * a],
        ]
    )
    pushing = (1.0 / (30.0 * a)) * np.array(
        [
            [36.0, 3 * a, -36.0, 3 * a],
            [3 * a, 4 * a * a, -3 * a, -a * a],
            [-36.0, -3 * a, 36.0, -3 * a],
            [3 * a, -a * a, -3 * a, 4 * a * a],
        ]
    )
    return bending, pushing


def least_multiple(
    bar: ChordBar, dead_kip: Float, live_kip: Float, wanted: float
) -> tuple[float, int]:
    """Return the least multiple of the live load at which the factor falls to a value.

    Parameters
    ----------
    bar : ChordBar
    dead_kip : (j,) panel forces under dead load
    live_kip : (s, j) panel forces under each live load
    wanted : the factor on dead and live load together that must be left

    Returns
    -------
    (multiple, position)
        0 where dead load alone leaves less; infinite, -1 where it is never reached.

    Source: 1/f is convex in the multiple, so the root is found position by position,
    each time at the position that is worst at the multiple so far.
    """
    most = 1.0 / wanted
    if bar.reciprocal(dead_kip[None])[0] >= most:
        return 0.0, -1
    multiple, place = np.inf, -1
    trial = 1.0
    for _ in range(len(live_kip) + 1):
        over = bar.reciprocal(dead_kip + trial * live_kip)
        worst = int(over.argmax())
        if place >= 0 and (over[worst] <= most * (1.0 + 1e-9) or worst == place):
            break
        reach = trial
        while bar.reciprocal((dead_kip + reach * live_kip[worst])[None])[0] < most:
            reach *= 4.0
            if reach > 1e6:
                return multiple, place
        multiple = scipy.optimize.brentq(
            lambda x: (
                bar.reciprocal((dead_kip + x * live_kip[worst])[None])[0] - most  # noqa: B023
            ),
            0.0,
            reach,
            rtol=1e-10,
        )
        place, trial = worst, multiple
    return float(multiple), place


def frame_stiffness(
    e_ksi: float,
    height_in: float,
    post_i_in4: float,
    floor_beam_i_in4: float,
    floor_beam_in: float,
) -> float:
    """Return the lateral stiffness of a cross-frame at the upper chord, kip per in.

    Two posts rigidly joined to a floor beam, pushed apart or together at their tops:
    C = E/(h^2 (h/(3 Ic) + b/(2 Ib))). Derivation: cantilever of the post and rotation
    of its foot. Known answers: tests/published/test_chord_buckling.py.
    """
    post = height_in / (3.0 * post_i_in4)
    beam = floor_beam_in / (2.0 * floor_beam_i_in4)
    return e_ksi / (height_in**2 * (post + beam))
