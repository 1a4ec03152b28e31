"""Moving loads as joint loads: every position where a force can turn.

Feet and kips; loads positive downward.
Array axes: ``p`` loaded joints, ``s`` places of a load.

Floor beams bear at the loaded joints and stringers are simple beams between them,
so joint loads are linear in the vehicle's position while no axle passes a joint.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from .equilibrium import Equilibrium, Float, Index, Mask

#: Positions closer than this, ft, are one position.
SAME_PLACE_FT = 1e-9


@dataclass(frozen=True, eq=False)
class Train:
    """Axles that keep their distances; both headings are always tried.

    Attributes
    ----------
    axle_kip : (a,) float, kip
    offset_ft : (a,) float, ft behind the front axle; the first is 0
    """

    axle_kip: Float
    offset_ft: Float


@dataclass(frozen=True)
class Uniform:
    """A uniform load, kip per foot, on whatever lengths of the deck it adds."""

    klf: float


@dataclass(frozen=True)
class Lane:
    """A uniform load as above with one concentrated load where it adds most.

    The concentrated load is one figure for chord members and another for web members.
    """

    klf: float
    concentrated_chord_kip: float
    concentrated_web_kip: float


Load = Train | Uniform | Lane


@dataclass(frozen=True, eq=False)
class Places:
    """Places of vehicles, in order along each passage.

    Attributes
    ----------
    joint_kip : (s, p) float, load on each loaded joint
    front_ft : (s,) float, x of the front axle
    heading : (s,) int, +1 towards greater x, -1 towards smaller
    load : (s,) int, which of the loads
    linked : (s - 1,) bool
        Whether the joint loads are linear between this place and the next.
    """

    joint_kip: Float
    front_ft: Float
    heading: Index
    load: Index
    linked: Mask


def vehicle_places(system: Equilibrium, loads: Sequence[Load]) -> Places:
    """Return every place of every vehicle where an axle stands on a loaded joint.

    Parameters
    ----------
    system : Equilibrium
    loads : sequence of Train, Uniform or Lane; only the trains are placed

    Returns
    -------
    Places
        Empty if no load is a train.
    """
    trains = tuple(
        (number, tuple(load.axle_kip.tolist()), tuple(load.offset_ft.tolist()))
        for number, load in enumerate(loads)
        if isinstance(load, Train)
    )
    return _vehicle_places(system, trains)


@lru_cache(maxsize=64)
def _vehicle_places(
    system: Equilibrium,
    trains: tuple[tuple[int, tuple[float, ...], tuple[float, ...]], ...],
) -> Places:
    x = np.asarray(system.truss.xy_ft, float)[system.truss.loaded, 0]
    bears = np.abs(system.particular[:, system.truss.loaded]).max(axis=0) > 0.0
    passages: list[Places] = []
    for number, axle_kip, offset_ft in trains:
        if not axle_kip:
            continue
        train = Train(np.array(axle_kip), np.array(offset_ft))
        headings = (1,) if _reads_the_same(train) else (1, -1)
        passages += _passages(train, headings, number, x, bears)
    nothing = Places(
        np.zeros((0, len(x))),
        np.zeros(0),
        np.zeros(0, np.intp),
        np.zeros(0, np.intp),
        np.zeros(0, bool),
    )
    linked = [np.append(p.linked, False) for p in passages] or [nothing.linked]
    every = passages or [nothing]
    return Places(
        np.concatenate([p.joint_kip for p in every]),
        np.concatenate([p.front_ft for p in every]),
        np.concatenate([p.heading for p in every]),
        np.concatenate([p.load for p in every]),
        np.concatenate(linked)[:-1],
    )


def _reads_the_same(train: Train) -> bool:
    """Return whether the train is the same seen from either end."""
    back = train.offset_ft[-1] - train.offset_ft[::-1]
    return bool(
        np.allclose(back, train.offset_ft, rtol=0.0, atol=SAME_PLACE_FT)
        and np.array_equal(train.axle_kip[::-1], train.axle_kip)
    )


def _passages(
    train: Train, headings: Sequence[int], number: int, x: Float, bears: Mask
) -> list[Places]:
    """Return the places of a passage each way, in order of x.

    Where joint loads jump, as when an axle comes onto a first floor beam that no
    support carries, there are two places at one position.
    """
    kip = np.asarray(train.axle_kip, float)
    found = []
    for sign in headings:
        behind = -sign * np.asarray(train.offset_ft, float)
        front = _fronts(x, behind)
        axles = front[:, None] + behind
        on = joint_loads(axles, kip, x)
        if bears[0] or bears[-1]:
            which, linked, on = _with_jumps(axles, on, kip, x, bears)
            front = front[which]
        else:
            # An axle jumps onto an end of the deck, and a support carries that.
            linked = np.ones(len(front) - 1, bool)
        count = len(front)
        found.append(
            Places(
                on,
                front,
                np.full(count, sign, np.intp),
                np.full(count, number, np.intp),
                linked,
            )
        )
    return found


def _fronts(x: Float, behind: Float) -> Float:
    """Return where the front axle is when any axle stands on a joint, in order."""
    front = np.sort((x[:, None] - behind).ravel())
    new = np.ones(len(front), bool)
    np.greater(front[1:] - front[:-1], SAME_PLACE_FT, out=new[1:])
    return front[new]


def _with_jumps(
    axles: Float, on: Float, kip: Float, x: Float, bears: Mask
) -> tuple[Index, Mask, Float]:
    """Return at which positions there are places, which are linked, and their loads."""
    middles = 0.5 * (axles[:-1] + axles[1:])
    carried = np.where((middles > x[0]) & (middles < x[-1]), kip, 0.0)
    begin, end = joint_loads(axles[:-1], carried, x), joint_loads(axles[1:], carried, x)
    jumps = np.abs(begin - on[:-1])[:, bears].max(axis=1, initial=0.0) > 0.0
    drops = np.abs(end - on[1:])[:, bears].max(axis=1, initial=0.0) > 0.0
    which: list[int] = []
    rows: list[Float] = []
    linked: list[bool] = []
    for k in range(len(on)):
        rows.append(on[k])
        which.append(k)
        if k + 1 == len(on):
            break
        if jumps[k]:
            linked.append(False)
            rows.append(begin[k])
            which.append(k)
        linked.append(True)
        if drops[k]:
            rows.append(end[k])
            which.append(k + 1)
            linked.append(False)
    return np.array(which, np.intp), np.array(linked, bool), np.array(rows)


def joint_loads(axles_ft: Float, axle_kip: Float, x: Float) -> Float:
    """Return (s, p): joint loads of axles at (s, a) by the lever rule.

    Axles beyond the first or the last loaded joint load nothing.
    """
    places, joints = len(axles_ft), len(x)
    last = max(joints - 2, 0)
    panel = _panel(axles_ft, x, last)
    left, right = x[panel], x[np.minimum(panel + 1, joints - 1)]
    nearest = np.where(axles_ft - left <= right - axles_ft, left, right)
    axles = np.where(np.abs(nearest - axles_ft) <= SAME_PLACE_FT, nearest, axles_ft)
    on = (axles >= x[0]) & (axles <= x[-1])
    weight = np.where(on, axle_kip, 0.0)
    row = joints * np.arange(places)[:, None]
    if joints == 1:
        alone: Float = weight.sum(axis=1)[:, None]
        return alone
    panel = _panel(axles, x, last)
    left = x[panel]
    part = np.where(on, (axles - left) / (x[panel + 1] - left), 0.0)
    at = row + panel
    answer = np.bincount(
        np.concatenate([at.ravel(), at.ravel() + 1]),
        np.concatenate([(weight * (1.0 - part)).ravel(), (weight * part).ravel()]),
        places * joints,
    )
    return answer.reshape(places, joints).astype(float, copy=False)


def _panel(axles_ft: Float, x: Float, last: int) -> Index:
    """Return the panel that each axle is on, or the nearest, from 0 to ``last``."""
    beyond = np.searchsorted(x, axles_ft, side="right") - 1
    panel: Index = np.minimum(np.maximum(beyond, 0), last)
    return panel
