"""Influence ordinates: what a unit load on each floor beam does to each member.

Feet and kips; tension positive; unit loads act downward.
"""

from __future__ import annotations

import dataclasses

import numpy as np

from .equilibrium import Float, Mask, Mechanism, Truss, analyse

__all__ = ["influence", "loads_where_it_adds"]


def influence(truss: Truss, ea_kip: Float, taut: Mask) -> Float:
    """Return the influence ordinates of every member at each loaded joint.

    The ordinates are those of the linear truss in which the bars not taut are left
    out and every other bar carries either sign.

    Parameters
    ----------
    truss : Truss
    ea_kip : (m,) float
        E times A, kip; positive.
    taut : (m,) bool
        The bars that act, as ``dead_forces`` gives them.

    Returns
    -------
    (m, p) float
        kip per kip on each loaded joint; zero for bars left out.

    Raises
    ------
    Mechanism
        If the truss cannot stand on the bars that act, naming the joints that move.

    Source
    ------
    Least strain energy of the determinate remainder and its self-stresses; derivation
    in ``equilibrium``. Known answers: reference truss, test_statics_worked.py.
    """
    acting = dataclasses.replace(
        truss,
        tension_only=np.zeros(len(truss.names), bool),
        absent=np.asarray(truss.absent, bool) | ~np.asarray(taut, bool),
    )
    system = analyse(acting)
    if system.movable:
        raise Mechanism(system.movable)
    unit = system.particular[:, truss.loaded]
    s = system.selfstress
    if not s.shape[1]:
        return unit
    flex = (system.length_ft / ea_kip)[:, None]
    x = np.linalg.solve(s.T @ (flex * s), s.T @ (flex * unit))
    answer: Float = unit - s @ x
    return answer


def loads_where_it_adds(ordinate: Float, x_ft: Float, klf: float) -> Float:
    """Return the joint loads of a uniform load on the lengths where it adds.

    Parameters
    ----------
    ordinate : (..., p) float
        Influence ordinates at the loaded joints, linear between them.
    x_ft : (p,) float
        Where the joints are, ft, increasing.
    klf : float
        kip per foot.

    Returns
    -------
    (..., p) float
        kip on each joint. The load stops exactly where the influence line crosses zero.

    Source
    ------
    Lever rule on each loaded length: a length from a to b of a panel, as fractions
    of the panel, puts (b - a)(2 - a - b)/2 of the panel's load on the left joint.
    """
    left, right = ordinate[..., :-1], ordinate[..., 1:]
    drop = left - right
    crossing = np.where(drop != 0.0, left / np.where(drop != 0.0, drop, 1.0), 0.0)
    crossing = np.clip(crossing, 0.0, 1.0)
    a = np.where(left > 0.0, 0.0, np.where(right > 0.0, crossing, 0.0))
    b = np.where(right > 0.0, 1.0, np.where(left > 0.0, crossing, 0.0))
    panel_kip = klf * np.diff(x_ft)
    to_right = panel_kip * 0.5 * (b**2 - a**2)
    to_left = panel_kip * (b - a) - to_right
    answer = np.zeros_like(ordinate, dtype=float)
    answer[..., :-1] += to_left
    answer[..., 1:] += to_right
    return answer
