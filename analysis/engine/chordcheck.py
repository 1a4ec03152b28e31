"""The upper chord of a pony in a check file: its bars, springs, loads and buckling."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import cast

import numpy as np

from .chord import ChordBar, chord_bar, frame_stiffness, least_multiple
from .equilibrium import Float, Truss, analyse
from .forms import upper_chord
from .liveload import Loading
from .loads import Lane, Train, joint_loads, vehicle_places
from .materials import STEEL_E_KSI, strength
from .question import CheckInput, Chord, MemberInput
from .resistance import IN_PER_FT, LEVELS, METHODS, capacity
from .statics import Model, dead_forces

#: Places looked at between two of the vehicle's, where bars can go slack there.
BETWEEN = 3
#: What is left of a cross-frame's stiffness where its floor-beam connection is loose. A
#: choice to show how much hangs on it, not a published value.
LOOSENED = 0.5


@dataclass(frozen=True)
class ChordState:
    """What was found of a chord.

    Attributes
    ----------
    buckling_factor : least multiple of dead and live load together; infinite if never
    effective_length_in : {member number: KL out of plane, in}
    rating : per level, the multiple of the live load at which too little is left
    worst_member : the chord member with the greatest force there
    bare_joints : interior joints with no stiff post to hold them
    weakened : by interior joint, the factor with its frame's connection loosened to
        ``LOOSENED`` of its stiffness, and with it gone
    """

    buckling_factor: float
    effective_length_in: Mapping[int, float]
    rating: tuple[float, ...]
    worst_member: str
    bare_joints: tuple[str, ...]
    weakened: Mapping[str, tuple[float, float]]


def state(
    check: CheckInput, truss: Truss, ea_kip: Float, dead_kip: Float, loading: Loading
) -> ChordState:
    """Return the sideways buckling of the chord of a file that has one.

    Parameters
    ----------
    check : CheckInput, with ``chord``; it must stand under dead load
    truss : Truss
    ea_kip, dead_kip : (m,), (n,) float
    loading : Loading

    Source: ``chord``. Known answers: tests/published/test_chord_buckling.py.
    """
    if check.chord is None:
        raise ValueError("the check file has no chord")
    joints = upper_chord(check.geometry)
    numbers = _panel_members(check, joints)
    ei, lengths = [], []
    for m in numbers:
        each = capacity(check.members[m], check.method)
        inertia = each.section.i_out_of_plane_in4 or 0.0
        ei.append(each.ea_kip / each.section.area_in2 * inertia)
        lengths.append(check.members[m].length_ft * IN_PER_FT)
    springs, bare = _springs(check, check.chord, joints)
    bar = chord_bar(lengths, ei, springs)
    dead, total = _chord_forces(check, truss, ea_kip, dead_kip, loading, numbers)
    factors = bar.factor(total)
    worst = int(factors.argmin())
    factor = float(factors[worst])
    loosened, gone = (bar.factors_without(total, left) for left in (LOOSENED, 0.0))
    return ChordState(
        factor,
        _effective_lengths(numbers, ei, total[worst], factor),
        _ratings(check.method, bar, dead, total),
        check.members[numbers[int(total[worst].argmax())]].name,
        bare,
        {joints[at]: (loosened[at], gone[at]) for at in gone},
    )


def _panel_members(check: CheckInput, joints: tuple[str, ...]) -> list[int]:
    by_ends = {frozenset(ends): m for m, ends in enumerate(check.geometry.members)}
    return [by_ends[frozenset(pair)] for pair in pairwise(joints)]


def _springs(
    check: CheckInput, chord: Chord, joints: tuple[str, ...]
) -> tuple[list[float | None], tuple[str, ...]]:
    """Return the springs at the joints, and the joints that no stiff post holds."""
    end = chord.end_stiffness_kip_per_in
    bare: list[str] = []
    inner: list[float | None] = []
    given = dict(chord.joint_stiffness_kip_per_in)
    for joint in joints[1:-1]:
        if chord.frames is None:
            inner.append(given[joint])
            continue
        post = _post_under(check, joint)
        if post is None:
            bare.append(joint)
            inner.append(0.0)
            continue
        e = strength(post.material).e_ksi if post.material else STEEL_E_KSI
        inner.append(
            frame_stiffness(
                e,
                post.length_ft * IN_PER_FT,
                chord.frames.post_i_in4,
                chord.frames.floor_beam_i_in4,
                chord.frames.floor_beam_ft * IN_PER_FT,
            )
        )
    return [end, *inner, end], tuple(bare)


def _post_under(check: CheckInput, joint: str) -> MemberInput | None:
    """Return the stiff vertical below an upper joint, if there is one."""
    geometry = check.geometry
    x = geometry.joints[joint][0]
    for member, ends in zip(check.members, geometry.members, strict=True):
        if joint not in ends or member.is_absent or member.tension_only:
            continue
        other = ends[0] if ends[1] == joint else ends[1]
        if abs(geometry.joints[other][0] - x) < 1e-3 * member.length_ft:
            return member
    return None


def _chord_forces(
    check: CheckInput,
    truss: Truss,
    ea_kip: Float,
    dead_kip: Float,
    loading: Loading,
    numbers: list[int],
) -> tuple[Float, Float]:
    """Return (j,), (s, j): compression under dead load, and under each live load too.

    Positions that the truss cannot stand are left out.
    """
    factor = max(float(loading.factor_down[m]) for m in numbers)
    live = np.array(_live_rows(truss, loading)).reshape(-1, len(truss.loaded))
    rows = np.tile(dead_kip, (len(live) + 1, 1))
    rows[1:, truss.loaded] += factor * live
    found = dead_forces(
        truss,
        np.tile(ea_kip, (len(rows), 1)),
        rows,
        cast(Model, check.tension_only_model),
    )
    forces = -found.forces_kip[found.stands][:, numbers]
    return forces[0], forces


def _live_rows(truss: Truss, loading: Loading) -> list[Float]:
    """Return joint loads, (p,) each, of every live load in every place."""
    system = analyse(truss)
    places = vehicle_places(system, loading.loads)
    rows = list(places.joint_kip)
    if system.touched.size:
        for k in np.flatnonzero(places.linked):
            step = places.joint_kip[k + 1] - places.joint_kip[k]
            parts = np.arange(1, BETWEEN + 1) / (BETWEEN + 1)
            rows += list(places.joint_kip[k] + parts[:, None] * step)
    x = truss.xy_ft[truss.loaded, 0]
    for load in loading.loads:
        if isinstance(load, Train):
            continue
        tributary = np.zeros(len(x))
        tributary[:-1] += np.diff(x) / 2.0
        tributary[1:] += np.diff(x) / 2.0
        concentrated = load.concentrated_chord_kip if isinstance(load, Lane) else 0.0
        at = joint_loads(x[:, None], np.array([concentrated]), x)
        rows += list(load.klf * tributary + at)
    return rows


def _effective_lengths(
    numbers: list[int], ei: list[float], force_kip: Float, factor: float
) -> dict[int, float]:
    """Return KL of each compressed panel: pi sqrt(EI/(factor times force))."""
    if not math.isfinite(factor):
        return {}
    return {
        m: math.pi * math.sqrt(stiffness / max(factor * float(force), 1e-9))
        for m, stiffness, force in zip(numbers, ei, force_kip, strict=True)
        if force > 1e-6 * float(force_kip.max()) and factor > 0.0
    }


def _ratings(
    method_key: str, bar: ChordBar, dead: Float, total: Float
) -> tuple[float, ...]:
    """Return the multiple of the live load at which the column factor is all left."""
    method = METHODS[method_key]
    return tuple(
        least_multiple(
            bar,
            method.dead_factor * dead,
            method.live_factor[level] * (total - dead),
            method.column[level],
        )
        for level in LEVELS
    )
