"""What the map's index holds of a million bridges, in some thirty bytes of each.

Most of what a bridge is known by takes few values, and those together few
combinations: columns that belong together are kept as one small number into a table of
the combinations that occur. A filter is asked of the table, and a count is made once
for all columns of a group.
"""

from __future__ import annotations

import ctypes
from dataclasses import dataclass, replace

import numpy as np

from .derived import MapTerm
from .packing import CHOICES, IS_SENSITIVE, TERMS

GROUPS = {
    "years": ("first_year", "last_year"),
    "days": ("visited", "changed_on"),
    "changes": ("parts", "ever_parts"),
    "kinds": ("form", "deck_position", "connection", "material"),
    "states": ("status", "listing", "certainty", "plate", "flags"),
    "sizes": ("span_dft", "span", "panels"),
}
GROUP_OF = {name: group for group, names in GROUPS.items() for name in names}
# Keys up to here are told apart by a table of all of them, beyond by sorting.
MOST_TABLED = 1 << 22
# A name of the C library's, and from how many bytes on an array is large.
MMAP_THRESHOLD, LARGE_BYTES = -3, 1 << 21
# More at once than these are not put in place one by one.
MOST_MENDED = 5_000
MOST_COMPARED = 50


def small(numbers):
    """Return whole numbers in as few bytes each as hold them."""
    most = int(numbers.max()) if len(numbers) else 0
    kind = np.uint8 if most < 256 else np.uint16 if most < 65_536 else np.uint32
    return numbers.astype(kind)


@dataclass(frozen=True)
class Rows:
    """One value for each bridge in every array, ordered by id.

    ``x`` and ``y`` are of the general place; ``exact`` holds (row, x, y) of the few
    that have another. ``codes`` has a number for each of ``GROUPS`` into ``tables``
    (group to column to value: years, 0 for no date; days as ``packing.days`` counts
    them, 0 for never; bits for ``filters.PARTS`` and ``filters.PLATES``; numbers that
    count from 1 into ``words``, 0 for none), and one for each of ``TERMS`` that counts
    from 1 into ``words``.
    """

    ids: np.ndarray
    x: np.ndarray
    y: np.ndarray
    exact: tuple[np.ndarray, np.ndarray, np.ndarray]
    codes: dict[str, np.ndarray]
    tables: dict[str, dict[str, np.ndarray]]
    words: dict[str, list[str]]
    # Builders: how many each bridge has, and of each in turn its id and a bit for each
    # confidence.
    hand_counts: np.ndarray
    hand_builders: np.ndarray
    hand_sure: np.ndarray

    def __len__(self):
        return len(self.ids)

    @property
    def hand_rows(self):
        """The row of each builder's hand."""
        return np.repeat(np.arange(len(self), dtype=np.int32), self.hand_counts)

    def table(self, name):
        """Return the column's value in each combination of its group."""
        return self.tables[GROUP_OF[name]][name]

    def of(self, name, rows=slice(None)):
        """Return the column's value of each row, or of some rows."""
        if name in GROUP_OF:
            return self.table(name)[self.codes[GROUP_OF[name]][rows]]
        return self.codes[name][rows]

    def nbytes(self):
        tables = (column for table in self.tables.values() for column in table.values())
        single = (self.ids, self.x, self.y, *self.exact)
        hands = (self.hand_counts, self.hand_builders, self.hand_sure)
        return sum(
            one.nbytes for one in (*single, *hands, *self.codes.values(), *tables)
        )


def rows_of(records, hands):
    """Return ``Rows`` of packed records in the order of their ids."""
    terms = dict(MapTerm.objects.values_list("pk", "word"))
    codes, tables = {}, {}
    words = {name: list(values) for name, values in CHOICES.items()}
    for group, names in GROUPS.items():
        codes[group], tables[group] = _combined(
            {name: np.ascontiguousarray(records[name]) for name in names}
        )
    for name in TERMS:
        column, occurs = _renumbered(np.ascontiguousarray(records[name]), from_one=True)
        codes[name] = small(column)
        words[name] = [terms.get(pk, "") for pk in occurs.tolist()]
    hidden = (records["flags"] & IS_SENSITIVE) > 0
    x, y = (np.ascontiguousarray(records[name]) for name in ("x", "y"))
    general = (records["general_x"][hidden], records["general_y"][hidden])
    numbers = np.flatnonzero(hidden)
    other = (x[numbers] != general[0]) | (y[numbers] != general[1])
    moved = numbers[other]
    exact = (moved.astype(np.int32), x[moved], y[moved])
    x[numbers], y[numbers] = general
    return Rows(
        ids=np.ascontiguousarray(records["id"]),
        x=x,
        y=y,
        exact=exact,
        codes=codes,
        tables=tables,
        words=words,
        hand_counts=np.ascontiguousarray(records["hands"]),
        hand_builders=small(hands["builder"]),
        hand_sure=np.ascontiguousarray(hands["confidence"]),
    )


def _renumbered(column, *, from_one=False):
    """Return (numbers, values): each value that occurs becomes the next number.

    ``from_one`` leaves 0 as it is and the values without it.
    """
    occurs = np.zeros(int(column.max()) + 1 if len(column) else 1, dtype=bool)
    occurs[column] = True
    if from_one:
        occurs[0] = False
    place = np.cumsum(occurs, dtype=np.int32)
    return (place * occurs if from_one else place - 1)[column], np.flatnonzero(occurs)


def _combined(columns):
    """Return (codes, table) of a group's columns: see ``Rows``."""
    key, values, radices = np.zeros(1, dtype=np.int64), {}, {}
    for name, column in columns.items():
        numbers, found = _renumbered(column)
        values[name], radices[name] = found.astype(column.dtype), max(len(found), 1)
        key = key * radices[name] + numbers
    size = int(np.prod([float(radix) for radix in radices.values()]))
    if size <= MOST_TABLED:
        codes, keys = _renumbered(key)
    else:
        keys = np.unique(key)
        codes = np.searchsorted(keys, key)
    table, rest = {}, keys
    for name in reversed(columns):
        rest, digit = np.divmod(rest, radices[name])
        table[name] = values[name][digit] if len(values[name]) else values[name]
    return small(codes), table


def mended(rows, records, hands):
    """Return (``Rows`` with some records put in place, their rows), or None to make
    all anew.

    Arrays that come out as they were are not copied. New bridges come last, having the
    highest ids; where they do not, all is made anew.
    """
    if len(records) > MOST_MENDED:
        return None
    fresh = rows_of(records, hands)
    old = len(rows)
    at = np.searchsorted(rows.ids, fresh.ids)
    is_known = at < old
    is_known[is_known] = rows.ids[at[is_known]] == fresh.ids[is_known]
    if old and not (at[~is_known] == old).all():
        return None
    added = int((~is_known).sum())
    at[~is_known] = old + np.arange(added)

    def placed(before, after):
        if not added and np.array_equal(before[at], after):
            return before
        kind = np.promote_types(before.dtype, after.dtype)
        made = np.zeros(old + added, dtype=kind)
        made[:old] = before
        made[at] = after
        return made

    codes, tables, words = {}, {}, dict(rows.words)
    for group in GROUPS:
        numbers, tables[group] = _joined(rows.tables[group], fresh.tables[group])
        codes[group] = placed(rows.codes[group], numbers[fresh.codes[group]])
    for name in TERMS:
        known = {word: number for number, word in enumerate(rows.words[name], 1)}
        numbers = [0] + [
            known.setdefault(word, len(known) + 1) for word in fresh.words[name]
        ]
        after = small(np.array(numbers, dtype=np.int64))[fresh.codes[name]]
        codes[name], words[name] = placed(rows.codes[name], after), list(known)
    untouched = ~np.isin(rows.exact[0], at)
    exact = tuple(
        np.concatenate([before[untouched], after])
        for before, after in zip(
            rows.exact,
            (at[fresh.exact[0]].astype(np.int32), *fresh.exact[1:]),
            strict=True,
        )
    )
    order = np.argsort(exact[0], kind="stable")
    made = replace(
        rows,
        ids=placed(rows.ids, fresh.ids),
        x=placed(rows.x, fresh.x),
        y=placed(rows.y, fresh.y),
        exact=tuple(one[order] for one in exact),
        codes=codes,
        tables=tables,
        words=words,
    )
    return _with_hands(made, rows, fresh, at), at


def _joined(table, fresh):
    """Return (number of each fresh combination, the table with those it had not)."""
    names = list(table)
    size = len(table[names[0]])
    numbers, new = [], []
    for place in range(len(fresh[names[0]])):
        same = np.ones(size, dtype=bool)
        for name in names:
            same &= table[name] == fresh[name][place]
        found = np.flatnonzero(same)
        numbers.append(int(found[0]) if len(found) else size + len(new))
        if not len(found):
            new.append(place)
    if new:
        table = {
            name: np.concatenate([table[name], fresh[name][new]]) for name in names
        }
    return small(np.array(numbers, dtype=np.int64)), table


def _with_hands(made, rows, fresh, at):
    """Put the builders of the fresh rows in place; ``made`` is ``rows`` but for them."""
    few = len(at) <= MOST_COMPARED and len(made) == len(rows)
    if few and _same_hands(rows, fresh, at):
        return made
    touched = np.zeros(len(made), dtype=bool)
    touched[at] = True
    before = rows.hand_rows
    kept = ~touched[before]
    hand_rows = np.concatenate([before[kept], at[fresh.hand_rows]])
    order = np.argsort(hand_rows, kind="stable")
    builders = np.concatenate([rows.hand_builders[kept], fresh.hand_builders])
    sure = np.concatenate([rows.hand_sure[kept], fresh.hand_sure])
    return replace(
        made,
        hand_counts=np.bincount(hand_rows, minlength=len(made)).astype(np.uint8),
        hand_builders=builders[order],
        hand_sure=sure[order],
    )


def _same_hands(rows, fresh, at):
    if not np.array_equal(rows.hand_counts[at], fresh.hand_counts):
        return False
    # Summed up to each of a few rows, which is quicker than up to every row.
    starts = np.array(
        [np.sum(rows.hand_counts[:row], dtype=np.int64) for row in at.tolist()],
        dtype=np.int64,
    )
    counts = fresh.hand_counts.astype(np.int64)
    # The place of each fresh hand among the old ones.
    within = np.arange(len(fresh.hand_builders)) - np.repeat(
        np.cumsum(counts) - counts, counts
    )
    places = np.repeat(starts, counts) + within
    return np.array_equal(
        rows.hand_builders[places], fresh.hand_builders
    ) and np.array_equal(rows.hand_sure[places], fresh.hand_sure)


def return_freed():
    """Have large arrays go back to the system as soon as they are let go.

    Else the C library, where it is the GNU one, learns from the first of them to keep
    what it took to work something out, for good: twice what the index itself needs.
    """
    try:
        ctypes.CDLL(None).mallopt(MMAP_THRESHOLD, LARGE_BYTES)
    except (AttributeError, OSError, TypeError):
        return
