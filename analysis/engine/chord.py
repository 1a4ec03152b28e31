"""Sideways buckling of a pony truss's upper chord.

The chord from its first to its last upper joint is one continuous bar, pinned at its
ends about a vertical axis, on lateral springs at its joints; each panel has its own EI
and its own force. Kips and inches; compression positive here.
Array axes: ``j`` chord panels, ``s`` load cases, looked at together.

Derivation. A beam-column of length a under P, with u = a sqrt(P/EI), has the end
stiffness EI/a^3 of [[t, q a], [q a, s a^2]] and so on, where for u^2 > 0
    s = u (sin u - u cos u)/d,  c = u (u - sin u)/d,  d = 2 - 2 cos u - u sin u,
    q = s + c,  t = 2 q - u^2,
and hyperbolic functions take their place in tension. Assembled joint by joint this is
a chain of 2 x 2 blocks (sway, turn). While no panel reaches u = 2 pi, its buckling
with both ends clamped, the chord is stable exactly if every pivot block of the chain
is positive definite (Wittrick and Williams' count, derived). The functions are exact, so
no division of panels into elements is needed. Instability is reached once and for all
as forces grow in proportion, or from a stable state along a straight line, so narrowing
an interval finds where, with the determinant to say how near the end of it that is.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from .equilibrium import Float, Mask

#: The factor is narrowed to this part of the interval where it is sought.
NARROW = 2.0**-32
#: About the root of a joint's determinant in measures of EI/a^2.
OF_A_JOINT = 8.0
#: The least determinant that still says which side of 0 it is on.
LEAST = 1e-300
#: More steps than halving alone would take from the whole of a float's range.
MOST_STEPS = 100
#: A factor below this part of the clamped panel's is none at all.
NOTHING = 1e-9
#: Multiples of the live load beyond this are not told from infinity.
BEYOND = 1e6
#: u^2 nearer to 0 than this is taken from the series: the formulas lose digits there.
SMALL = 1e-3


@dataclass(frozen=True, eq=False)
class ChordBar:
    """A chord's panels and springs.

    Attributes
    ----------
    length_in : (j,) float
    ei_kip_in2 : (j,) float, or (s, j) where each case has its own
    spring_kip_per_in : j + 1 springs at the joints; None is rigid, (s,) floats are one
        for each case
    """

    length_in: Float
    ei_kip_in2: Float
    spring_kip_per_in: tuple[float | Float | None, ...]

    def is_stable(self, force_kip: Float) -> Mask:
        """Return (s,): whether the chord stands under (s, j) panel forces."""
        return self._margin(force_kip) > 0.0

    def _margin(self, force_kip: Float) -> Float:
        """Return (s,): the determinant where the chord stands, below 0 elsewhere.

        It falls to 0 where the chord gives way. In measures of the panels' own
        stiffness, lest many joints' product leave the range of floats.
        """
        argument = force_kip * self.length_in**2 / self.ei_kip_in2
        stable: Mask = np.all(argument < 4.0 * np.pi**2, axis=1)
        panels = _panels(np.where(stable[:, None], argument, 0.0))
        last = len(self.length_in)
        own = self.ei_kip_in2 / self.length_in**2 * OF_A_JOINT
        product = np.ones(len(argument))
        before: _Block | None = None
        for joint in range(last + 1):
            block = self._block(panels, joint)
            if before is not None:
                block = block.less(before, self._link(panels, joint - 1))
            determinant = block.determinant
            stable &= (block.sway > 0.0) & (determinant > 0.0)
            product *= determinant / own[..., min(joint, last - 1)] ** 2
            before = block
        size = np.clip(np.abs(product), LEAST, None)
        return np.where(stable, size, -size)

    def _block(self, panels: _Stiffness, joint: int) -> _Block:
        """Return the stiffness of a joint against sway and turn, panels about it."""
        spring = self.spring_kip_per_in[joint]
        zero = np.zeros(len(panels.t))
        sway, mixed, turn = zero.copy(), zero.copy(), zero.copy()
        for j, sign in ((joint - 1, -1.0), (joint, 1.0)):
            if 0 <= j < len(self.length_in):
                a, ei = self.length_in[j], self.ei_kip_in2[..., j]
                sway += panels.t[:, j] * ei / a**3
                mixed += sign * panels.q[:, j] * ei / a**2
                turn += panels.s[:, j] * ei / a
        if spring is None:
            return _Block(zero + 1.0, zero, turn)
        return _Block(sway + spring, mixed, turn)

    def _link(self, panels: _Stiffness, j: int) -> tuple[Float, Float, Float, Float]:
        """Return how panel j ties (sway, turn) of its first joint to its second."""
        a, ei = self.length_in[j], self.ei_kip_in2[..., j]
        here = float(self.spring_kip_per_in[j] is not None)
        there = float(self.spring_kip_per_in[j + 1] is not None)
        return (
            -here * there * panels.t[:, j] * ei / a**3,
            here * panels.q[:, j] * ei / a**2,
            -there * panels.q[:, j] * ei / a**2,
            panels.c[:, j] * ei / a,
        )

    def factor(self, force_kip: Float) -> Float:
        """Return (s,): the least multiple of (s, j) panel forces that buckles it.

        Infinite where no panel is compressed, 0 where nothing holds the chord.
        """
        with np.errstate(divide="ignore"):
            clamped = 4.0 * np.pi**2 * self.ei_kip_in2 / self.length_in**2 / force_kip
        most = np.where(force_kip > 0.0, clamped, np.inf).min(axis=1)
        pushed = np.isfinite(most)
        answer = np.full(len(force_kip), np.inf)
        if pushed.any():
            force, top = force_kip[pushed], most[pushed]
            bar = self._of_cases(pushed)
            found = _last_stable(
                lambda multiple: bar._margin(multiple[:, None] * force), top
            )
            answer[pushed] = np.where(found < NOTHING * top, 0.0, found)
        return answer

    def _of_cases(self, cases: Mask) -> ChordBar:
        """Return the chord of some of the cases, where they differ in more than force."""
        ei, springs = self.ei_kip_in2, self.spring_kip_per_in
        return ChordBar(
            self.length_in,
            ei[cases] if ei.ndim > 1 else ei,
            tuple(s[cases] if isinstance(s, np.ndarray) else s for s in springs),
        )

    def factors_without(self, force_kip: Float, left: float) -> dict[int, float]:
        """Return, by interior joint, the least factor with its spring weakened.

        Parameters
        ----------
        force_kip : (s, j) panel forces; the least over all cases is returned
        left : part of the spring that is left; 0 where the connection is gone
        """
        joints = [
            joint
            for joint, spring in enumerate(self.spring_kip_per_in)
            if 0 < joint < len(self.length_in) and spring is not None
        ]
        cases = len(force_kip)
        if not joints or not cases:
            return {}
        springs: list[float | Float | None] = []
        for joint, spring in enumerate(self.spring_kip_per_in):
            if spring is None:
                springs.append(None)
                continue
            each = np.full(cases * len(joints), spring, float)
            if joint in joints:
                at = joints.index(joint) * cases
                each[at : at + cases] *= left
            springs.append(each)
        weakened = ChordBar(self.length_in, self.ei_kip_in2, tuple(springs))
        found = weakened.factor(np.tile(force_kip, (len(joints), 1)))
        least = found.reshape(len(joints), cases).min(axis=1)
        return dict(zip(joints, least.tolist(), strict=True))


def chord_bar(
    length_in: Sequence[float],
    ei_kip_in2: Sequence[float] | Float,
    spring_kip_per_in: Sequence[float | None],
) -> ChordBar:
    """Return a chord of j panels on j + 1 springs, rigid where None.

    Source: module docstring. Known answers: tests/published/test_chord_buckling.py.
    """
    return ChordBar(
        np.array(length_in, float),
        np.array(ei_kip_in2, float),
        tuple(spring_kip_per_in),
    )


def least_multiple(
    bar: ChordBar, dead_kip: Float, live_kip: Float, wanted: float
) -> float:
    """Return the least multiple of the live load at which the factor falls to a value.

    Parameters
    ----------
    bar : ChordBar
    dead_kip : (j,) panel forces under dead load
    live_kip : (s, j) panel forces under each live load
    wanted : the factor on dead and live load together that must be left

    Returns
    -------
    float
        0 where dead load alone leaves less; infinite where it is never reached.

    Source: module docstring; the reciprocal of the factor is convex in the multiple.
    """

    def margin(multiple: Float) -> Float:
        return bar._margin(wanted * (dead_kip + multiple[:, None] * live_kip))

    if not bar.is_stable(wanted * dead_kip[None])[0]:
        return 0.0
    top = np.ones(len(live_kip))
    while top.size and (growing := (margin(top) > 0.0) & (top < BEYOND)).any():
        top = np.where(growing, 4.0 * top, top)
    reached = top < BEYOND
    if not reached.any():
        return float("inf")
    found = _last_stable(margin, top)
    return float(found[reached].min())


def _last_stable(margin_at: Callable[[Float], Float], top: Float) -> Float:
    """Return (s,): the greatest multiple below ``top`` that is stable, 0 where none is.

    Narrows each interval between a stable and an unstable end: by the curve through
    the last three margins where that is safe, by halving where it is not.
    Source: T. R. Chandrupatla, Advances in Engineering Software 28 (1997), 145-149,
    from memory.
    """
    with np.errstate(all="ignore"):
        return _narrowed(margin_at, top)


def _narrowed(margin_at: Callable[[Float], Float], top: Float) -> Float:
    here, there = np.zeros(len(top)), top.copy()
    f_here, f_there = margin_at(here), margin_at(there)
    standing = f_here > 0.0
    f_here = np.where(standing, f_here, 1.0)
    # A panel clamped at both ends gives way there: what is found lies below.
    f_there = -np.abs(f_there)
    width = NARROW * top
    share = np.full(len(top), 0.5)
    for _ in range(MOST_STEPS):
        tried = here + share * (there - here)
        f_tried = margin_at(tried)
        same = (f_tried > 0.0) == (f_here > 0.0)
        third = np.where(same, here, there)
        f_third = np.where(same, f_here, f_there)
        there = np.where(same, there, here)
        f_there = np.where(same, f_there, f_here)
        here, f_here = tried, f_tried
        least = width / np.abs(there - here)
        if (least >= 1.0).all():
            break
        span = (here - there) / (third - there)
        rise = (f_here - f_there) / (f_third - f_there)
        is_safe = (rise**2 < span) & ((1.0 - rise) ** 2 < 1.0 - span)
        curve = f_here / (f_there - f_here) * f_third / (f_there - f_third) + (
            third - here
        ) / (there - here) * f_here / (f_third - f_here) * f_there / (f_third - f_there)
        share = np.where(is_safe & np.isfinite(curve), curve, 0.5)
        # A step of half the width at least, so that both ends come in.
        least = np.minimum(0.5 * least, 0.5)
        share = np.clip(share, least, 1.0 - least)
    low = np.where(f_here > 0.0, here, there)
    return np.where(standing, low, 0.0)


@dataclass(frozen=True, eq=False)
class _Stiffness:
    """The functions s, c, q, t of every panel, (s, j) each."""

    s: Float
    c: Float
    q: Float
    t: Float


def _panels(argument: Float) -> _Stiffness:
    """Return the stiffness functions of (s, j) u^2, negative in tension."""
    x = np.where(np.abs(argument) < SMALL, 1.0, argument)
    u = np.sqrt(np.abs(x))
    sine, cosine = np.sin(u), np.cos(u)
    d = 2.0 - 2.0 * cosine - u * sine
    pushed_s = u * (sine - u * cosine)
    pushed_c = u * (u - sine)
    if (x < 0.0).any():
        with np.errstate(over="ignore", invalid="ignore"):
            # e^-u keeps the hyperbolic branch finite however strong the tension.
            e = np.exp(-u)
            pulled_d = 2.0 * e - 1.0 - e**2 + u * (1.0 - e**2) / 2.0
            pulled_s = u * (u * (1.0 + e**2) - 1.0 + e**2) / 2.0
            pulled_c = u * ((1.0 - e**2) / 2.0 - u * e)
        d = np.where(x > 0.0, d, pulled_d)
        pushed_s = np.where(x > 0.0, pushed_s, pulled_s)
        pushed_c = np.where(x > 0.0, pushed_c, pulled_c)
    series_s = 4.0 - 2.0 * argument / 15.0 - 11.0 * argument**2 / 6300.0
    series_c = 2.0 + argument / 30.0 + 13.0 * argument**2 / 12600.0
    small = np.abs(argument) < SMALL
    s = np.where(small, series_s, pushed_s / d)
    c = np.where(small, series_c, pushed_c / d)
    q = s + c
    return _Stiffness(s, c, q, 2.0 * q - argument)


@dataclass(frozen=True, eq=False)
class _Block:
    """A symmetric 2 x 2 block of every case: (s,) each."""

    sway: Float
    mixed: Float
    turn: Float

    @property
    def determinant(self) -> Float:
        return self.sway * self.turn - self.mixed**2

    def less(self, before: _Block, link: tuple[Float, Float, Float, Float]) -> _Block:
        """Return this block less link' before^-1 link, the next pivot of the chain."""
        vv, vt, tv, tt = link  # first joint's sway or turn, second's sway or turn
        determinant = before.determinant
        safe = np.where(determinant == 0.0, 1.0, determinant)
        a, b, c = before.turn / safe, -before.mixed / safe, before.sway / safe
        return _Block(
            self.sway - (a * vv * vv + 2.0 * b * vv * tv + c * tv * tv),
            self.mixed - (a * vv * vt + b * (vv * tt + tv * vt) + c * tv * tt),
            self.turn - (a * vt * vt + 2.0 * b * vt * tt + c * tt * tt),
        )


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
