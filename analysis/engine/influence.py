"""Influence ordinates: what a unit load on each floor beam does to each member.

Feet and kips; tension positive; unit loads act downward.
"""

from __future__ import annotations

import dataclasses
import math

import numpy as np

from .equilibrium import (
    NOISE,
    RANK_TOLERANCE,
    Equilibrium,
    Float,
    Index,
    Mask,
    Mechanism,
    Truss,
    analyse,
)

__all__ = ["influence", "influence_within", "loads_where_it_adds", "one_length"]


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
    in ``equilibrium``. Known answers: reference truss, test_statics.py.
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


def influence_within(system: Equilibrium, ea_kip: Float, slack: Index) -> Float | None:
    """Return ``influence`` with ``slack`` members left out, by the whole truss's statics.

    The rows of the slack members are those of each of them let in alone, the others
    still out. (m, p) kip per kip; None where the truss cannot stand without them.

    Source: Lagrange's multipliers. The redundants keep the forces of the slack bars at
    zero; a bar let in stretches until nothing holds its force there, and by linearity
    that force is its multiplier over what one of it moves the multiplier by.
    """
    unit = system.particular[:, system.truss.loaded]
    s = system.selfstress
    count, out = s.shape[1], len(slack)
    if out > count or system.movable:
        return None
    if not count:
        return unit
    held = s[slack]
    if out and np.linalg.matrix_rank(held, RANK_TOLERANCE) < out:
        return None
    flex = (system.length_ft / ea_kip)[:, None]
    table = np.zeros((count + out, count + out))
    table[:count, :count] = s.T @ (flex * s)
    table[:count, count:] = held.T
    table[count:, :count] = held
    loads = unit.shape[1]
    right = np.zeros((count + out, loads + out))
    right[:count, :loads] = s.T @ (flex * unit)
    right[count:, :loads] = unit[slack]
    right[count:, loads:] = np.eye(out)
    solved = np.linalg.solve(table, right)
    answer: Float = unit - s @ solved[:count, :loads]
    moved = np.diagonal(solved[count:, loads:])[:, None]
    answer[slack] = solved[count:, :loads] / moved
    answer[np.abs(answer) < NOISE] = 0.0
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


def one_length(x_ft: Float, most: int) -> Float:
    """Return the joint loads of 1 kip per foot on every length between two joints.

    Parameters
    ----------
    x_ft : (p,) float
        Where the joints are, ft, increasing.
    most : int
        Of so many lengths at most; of more, those between fewer joints, evenly chosen.

    Returns
    -------
    (i, p) float
        kip on each joint.
    """
    half = 0.5 * np.diff(x_ft)
    before = np.zeros((len(x_ft), len(x_ft)))
    for k, kip in enumerate(half.tolist()):
        before[k + 1 :, k : k + 2] += kip
    last = len(half)
    fits = (math.isqrt(1 + 8 * max(most, 1)) - 1) // 2  # n ends make n (n + 1) / 2
    ends = np.unique(np.linspace(0.0, last, min(last, fits) + 1).round().astype(int))
    one, two = np.triu_indices(len(ends), 1)
    lengths: Float = before[ends[two]] - before[ends[one]]
    return lengths
