"""The cone of loads that some set of taut bars carries, whatever the areas.

Feet and kips. Array axes: ``q`` motions of the joints that leave every stiff bar as long
as it was, ``t`` tension-only bars, ``n`` joints.

A load is carried if tensions in the tension-only bars do the work that the load does in
every motion. By Farkas' lemma, a load that is not carried does work in some motion that
lengthens no tension-only bar; that motion tells of every load in which it does work that
it is not carried either, and is kept as a cut.
"""

from __future__ import annotations

import numpy as np
import scipy.optimize

from .equilibrium import Equilibrium, Float

#: A load is carried if all but this part of its work is.
CARRIED = 1e-10
#: Work that is this part of its terms is none.
ROUNDING = 1e-13
#: Cuts are kept of loads that are outside by this part of their work.
CLEAR = 1e-5
#: A cut bars a load if its product is below minus this part of its size.
BARRED = 1e-7
_MOST_CUTS = 200


class Cone:
    """The loads that a truss carries, bars that act alone (``lone``) set aside.

    Parameters
    ----------
    system : Equilibrium
    """

    def __init__(self, system: Equilibrium) -> None:
        lone = np.isin(system.tension, system.lone)
        self._columns = np.hstack([system.cone, -system.cone[:, lone]])
        self._drive = system.drive
        self._cuts = np.zeros((16, self._drive.shape[1]))
        self._count = 0

    @property
    def cuts(self) -> Float:
        """Return the cuts found so far, (q, n)."""
        return self._cuts[: self._count]

    def keep(self, cut: Float) -> None:
        """Keep (n,), on which no carried load has a negative product."""
        if self._count == len(self._cuts):
            # Twice as many rows each time: thousands of cuts are kept one by one.
            self._cuts = np.vstack([self._cuts, np.zeros_like(self._cuts)])
        self._cuts[self._count] = cut
        self._count += 1

    def bars(self, start: Float, end: Float, low: float, high: float) -> bool:
        """Return whether one cut bars all loads between two fractions of a line.

        ``start`` and ``end`` are (n,).
        """
        at_start, at_end = self.cuts @ start, self.cuts @ end
        one = (1.0 - low) * at_start + low * at_end
        two = (1.0 - high) * at_start + high * at_end
        clear = -BARRED * size_of(self.cuts, np.abs(start) + np.abs(end))
        return bool(((one < clear) & (two < clear)).any())

    def cut(self, load: Float) -> Float | None:
        """Return (n,), on which carried loads have no negative product but ``load`` has.

        None if (n,) ``load`` is carried.
        """
        work = self._drive @ load
        # What stiff bars carry alone does no work; what is left of it is rounding.
        work[np.abs(work) <= ROUNDING * (np.abs(self._drive) @ np.abs(load))] = 0.0
        size = float(np.abs(work).max(initial=0.0))
        if size == 0.0 or not self._columns.shape[1]:
            return None
        work = work / size
        tensions, left = scipy.optimize.nnls(self._columns, work)
        if left <= CARRIED * np.sqrt(len(work)):
            return None
        motion = work - self._columns @ tensions
        found: Float = -(motion / np.abs(motion).max()) @ self._drive
        # A load that is hardly outside gives a cut that is mostly rounding.
        if left > CLEAR * np.sqrt(len(work)):
            self.keep(found)
        return found

    def reach(self, start: Float, step: Float, most: float) -> float:
        """Return how often ``step`` can be added to a carried load ``start``, up to most.

        Both loads are (n,).
        """
        fall = -(self.cuts @ step)
        falls = fall > CARRIED * size_of(self.cuts, step)
        if falls.any():
            held = np.maximum(self.cuts[falls] @ start, 0.0) / fall[falls]
            most = min(most, float(held.min()))
        for _ in range(_MOST_CUTS):
            load = step if most == np.inf else start + most * step
            found = self.cut(load)
            if found is None:
                return most
            shorter = _until(found, start, step)
            if not shorter < most:
                return most
            most = shorter
        return most


def size_of(cuts: Float, load: Float) -> Float:
    """Return what products of (q, n) cuts, or one, with (n,) a load are measured by.

    Where a load leaves out the joints of a cut, all that is multiplied is rounding: not
    the terms tell then whether the product is none, but the greatest that there can be.
    """
    size, most = np.abs(cuts), float(np.abs(load).max(initial=0.0))
    answer: Float = np.maximum(size @ np.abs(load), most * size.max(axis=-1))
    return answer


def _until(cut: Float, start: Float, step: Float) -> float:
    """Return how often ``step`` can be added to ``start`` before the cut bars it."""
    fall = -float(cut @ step)
    if fall <= CARRIED * float(size_of(cut, step)):
        return np.inf
    return max(float(cut @ start), 0.0) / fall
