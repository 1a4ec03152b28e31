"""Bridges gathered by the cells of a grid, and such grids mended by what was written."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

# A grid of no more cells than these is counted whole, empty ones and all.
MOST_DENSE = 1 << 20


@dataclass(frozen=True)
class Cells:
    """One value for each cell that holds any bridge, by rows from north and west.

    ``sum_x`` and ``sum_y`` add up the places of its bridges, exactly (they stay below
    2**53). ``any_row`` is one of its bridges; where there is one alone, that one.
    """

    x: np.ndarray
    y: np.ndarray
    counts: np.ndarray
    sum_x: np.ndarray
    sum_y: np.ndarray
    any_row: np.ndarray

    def only(self, mask):
        return Cells(*(getattr(self, one.name)[mask] for one in fields(self)))

    def keys(self):
        return _key(self.x, self.y)


def _key(x, y):
    return (np.asarray(y, dtype=np.int64) << 32) | np.asarray(x, dtype=np.int64)


def gather(x, y, numbers, shift):
    """Gather rows into the cells of one zoom."""
    everything = len(numbers) == len(x)
    x, y = (x, y) if everything else (x[numbers], y[numbers])
    return _put_together(x >> shift, y >> shift, x, y, None, numbers)


def coarser(cells, steps):
    """Return the cells of a zoom ``steps`` farther away, put together of these."""
    return _put_together(
        cells.x >> steps,
        cells.y >> steps,
        cells.sum_x,
        cells.sum_y,
        cells.counts,
        cells.any_row,
    )


def _put_together(across, down, x, y, counts, rows):
    """Add up what lies in the same cell; ``counts`` None counts each as one."""
    left, top = (int(one.min()) if len(one) else 0 for one in (across, down))
    columns = int(across.max()) - left + 1 if len(across) else 1
    size = columns * (int(down.max()) - top + 1 if len(down) else 1)
    keys = None
    if size <= MOST_DENSE:
        cell = (down - top) * np.int32(columns) + (across - left)
    else:
        # So far apart that most cells hold none.
        keys, cell = np.unique(_key(across, down), return_inverse=True)
        cell, size = cell.reshape(-1), len(keys)
    total = np.bincount(cell, weights=counts, minlength=size).astype(np.int64)
    any_row = np.zeros(size, dtype=np.int32)
    any_row[cell] = rows
    held = np.flatnonzero(total)
    if keys is None:
        at_x, at_y = held % columns + left, held // columns + top
    else:
        at_x, at_y = keys & 0xFFFFFFFF, keys >> 32
    return Cells(
        x=at_x.astype(np.int32),
        y=at_y.astype(np.int32),
        counts=total[held],
        sum_x=np.bincount(cell, weights=x, minlength=size)[held],
        sum_y=np.bincount(cell, weights=y, minlength=size)[held],
        any_row=any_row[held],
    )


def mended(cells, x, y, shift, gone, come, seen):
    """Return cells without the places ``gone`` [(x, y)] and with the rows ``come``.

    ``seen`` gives which rows are shown at all, for the rare cell of which one bridge
    of two went: the other has to be found.
    """
    if not gone and not len(come):
        return cells
    steps = [(px >> shift, py >> shift, px, py, -1, -1) for px, py in gone]
    for row in np.asarray(come).tolist():
        px, py = int(x[row]), int(y[row])
        steps.append((px >> shift, py >> shift, px, py, 1, row))
    known = {
        (int(cells.x[at]), int(cells.y[at])): at
        for at in np.flatnonzero(
            np.isin(cells.keys(), [_key(one[0], one[1]) for one in steps])
        ).tolist()
    }
    changed: dict[tuple[int, int], list] = {}
    for cx, cy, px, py, by, row in steps:
        if (cx, cy) not in changed:
            at = known.get((cx, cy))
            changed[cx, cy] = (
                [0, 0.0, 0.0, -1]
                if at is None
                else [
                    int(cells.counts[at]),
                    float(cells.sum_x[at]),
                    float(cells.sum_y[at]),
                    -1 if by < 0 else int(cells.any_row[at]),
                ]
            )
        one = changed[cx, cy]
        one[0] += by
        one[1] += by * px
        one[2] += by * py
        one[3] = row if by > 0 else -1
    for (cx, cy), one in changed.items():
        if one[0] == 1:
            inside = ((x >> shift) == cx) & ((y >> shift) == cy) & seen()
            one[3] = int(np.flatnonzero(inside)[0])
        elif one[3] < 0:
            one[3] = 0
    places = sorted(
        (one for one in changed if changed[one][0] > 0), key=lambda one: one[::-1]
    )
    kept = np.ones(len(cells.x), dtype=bool)
    kept[list(known.values())] = False
    rest = cells.only(kept)
    fresh = Cells(
        np.array([cx for cx, _ in places], dtype=np.int32),
        np.array([cy for _, cy in places], dtype=np.int32),
        np.array([changed[one][0] for one in places], dtype=np.int64),
        np.array([changed[one][1] for one in places], dtype=np.float64),
        np.array([changed[one][2] for one in places], dtype=np.float64),
        np.array([changed[one][3] for one in places], dtype=np.int32),
    )
    at = np.searchsorted(rest.keys(), fresh.keys())
    return Cells(
        *(
            np.insert(getattr(rest, one.name), at, getattr(fresh, one.name))
            for one in fields(Cells)
        )
    )
