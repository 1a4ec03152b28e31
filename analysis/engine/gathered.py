"""One matrix for each configuration, in the configurations of many stretches of loads.

Array axes: ``k`` redundants, ``c`` configurations, ``w`` stretches, last.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float64]
Index = NDArray[np.intp]

#: Of so few redundants all entries are gathered at once.
_FEW = 8


class Gathered:
    """Entries of (k, k, c) ``matrix`` in (w,) ``columns``, gathered when asked for.

    Only neighbours have a say in each other, and of a long truss hardly any redundants
    are neighbours: all k x k entries of every stretch would be mostly zero, and a great
    many. Of one configuration nothing is gathered: entries are (1,), which numpy spreads.
    """

    def __init__(self, matrix: Float, columns: Index) -> None:
        self._columns: Index | None = columns
        if matrix.shape[2] == 1:
            self._columns = None
        elif len(matrix) <= _FEW:
            matrix, self._columns = matrix.take(columns, axis=2), None
        self._matrix = matrix

    def __len__(self) -> int:
        return len(self._matrix)

    def __getitem__(self, at: tuple[int, int]) -> Float:
        """Return (w,), or (1,), of one entry."""
        entry: Float = self._matrix[at]
        return entry if self._columns is None else entry.take(self._columns)

    def only(self, some: Index) -> Gathered:
        """Return some of the stretches, by number."""
        if self._matrix.shape[2] == 1:
            return self
        return Gathered(
            self._matrix, some if self._columns is None else self._columns[some]
        )

    def whole(self) -> Float:
        """Return (k, k, w), or (k, k, 1)."""
        if self._columns is None:
            return self._matrix
        return self._matrix.take(self._columns, axis=2)
