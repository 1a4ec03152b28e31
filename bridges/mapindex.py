"""Where every bridge stands, held in memory so that a view of the map costs little.

The arrays are made of what each write packed of its own bridge (``bridges.packing``).
When ``MapVersion`` says that something was written, the rows stamped since are put in
place; only after a write that did not say of which bridges it was is all made anew.

What a person may see is settled here: visitors' arrays hold the middle of its square
for a sensitive bridge, so no answer built on these can give its place away. Filters
are answered here too, kept as masks for as long as the version stands; what needs the
database's own search is asked there. ``bridges.filters`` says the same in SQL for the
API and the files, and ``tests/bridges/test_agreement.py`` holds one against the other.

Positions are Web Mercator world coordinates in 26 bits (256 pixels at zoom 18); a
cell is 64 pixels at the zoom asked for.
"""

from __future__ import annotations

import gc
import hashlib
import math
import threading
import uuid
from collections import OrderedDict
from contextlib import contextmanager
from dataclasses import dataclass, field

import numpy as np
from django.core.cache import cache
from django.core.exceptions import EmptyResultSet, ValidationError
from django.db import connection, transaction
from django.utils import timezone

from shared import dates, policy

from . import columns, gathering, packing, search
from .columns import GROUP_OF, Rows
from .filters import PARTS, PLATES, UNDATED, DayField, NearField, matching, years_ago
from .models import Bridge, Builder, Confidence, MapRow, MapVersion
from .packing import (
    BITS,
    HAND,
    HAS_REPAIR,
    IS_PUBLIC,
    IS_SENSITIVE,
    OPEN_END,
    RECORD,
    TERMS,
    project,
)

CELL_PX = 64
MOST_ZOOM = 20
MOST_CELLS = 65_536
MOST_POINTS = 200
MOST_MASKS = 24
MOST_COUNTS = 512
# Cells of whole views are kept up to here; nearer, few bridges lie in any view.
MOST_KEPT_ZOOM = 11
CHUNK = 1_000
# Fewer where they come as one value: the driver keeps room for the longest it had.
PART = 20_000
# Up to so many bridges their number is asked at each write: a database put back or
# filled by hand is then noticed whatever else happened to it.
MOST_COUNTED = 50_000
# A write of more bridges than these leaves nothing that was gathered before.
MOST_CARRIED = 50
FIRST_DECADE, LAST_DECADE = 1000, 2990
DECADES = (LAST_DECADE - FIRST_DECADE) // 10 + 1
TOKEN_KEY = "bridges.mapindex.token"
EARTH_MILES = 3958.8


@dataclass(frozen=True)
class Box:
    """A view of the map in degrees, and the zoom it is drawn at."""

    west: float
    south: float
    east: float
    north: float
    zoom: int

    @classmethod
    def read(cls, bbox, zoom):
        """Read ``w,s,e,n`` and a zoom. Raises ``ValidationError`` naming the field."""
        return cls(*edges(bbox), _zoom(zoom))

    def cells(self):
        """Return (shift, first x, first y, columns, rows) of the grid that covers it.

        The grid lies on the world, not on the view, so that clusters stay where they
        are while the map is moved. Raises ``ValidationError`` where the view would
        need more than ``MOST_CELLS``.
        """
        shift = BITS - 2 - self.zoom
        x, y = project(
            np.array([self.north, self.south]), np.array([self.west, self.east])
        )
        x, y = x >> shift, y >> shift
        columns, rows = int(x[1] - x[0]) + 1, int(y[1] - y[0]) + 1
        if columns * rows > MOST_CELLS:
            raise ValidationError(
                {
                    "bbox": ValidationError(
                        "That is too much ground for this zoom. Ask for less of it, "
                        "or for a smaller zoom.",
                        code="too_large",
                    )
                }
            )
        return shift, int(x[0]), int(y[0]), columns, rows


def _refuse(name, message, code="invalid"):
    raise ValidationError({name: ValidationError(message, code=code)})


def edges(text):
    if not text:
        _refuse("bbox", "Give bbox=west,south,east,north in degrees.", "required")
    try:
        west, south, east, north = (float(part) for part in text.split(","))
    except ValueError:
        _refuse("bbox", "bbox is four numbers: west,south,east,north in degrees.")
    if not all(math.isfinite(edge) for edge in (west, south, east, north)):
        _refuse("bbox", "Every edge of bbox is a finite number of degrees.")
    if west > east:
        _refuse(
            "bbox",
            "West lies east of east. A view across the 180th meridian is asked for in "
            "two halves.",
            "antimeridian",
        )
    if south > north:
        _refuse("bbox", "South lies north of north.")
    if west < -180 or east > 180 or south < -90 or north > 90:
        _refuse("bbox", "Longitude runs from −180 to 180, latitude from −90 to 90.")
    return west, south, east, north


def _zoom(text):
    if text in (None, ""):
        _refuse("zoom", f"Give zoom, a whole number from 0 to {MOST_ZOOM}.", "required")
    plain = str(text).isascii() and str(text).isdigit() and len(str(text)) <= 2
    if not plain or int(text) > MOST_ZOOM:
        _refuse("zoom", f"zoom is a whole number from 0 to {MOST_ZOOM}.")
    return int(text)


def unproject(x, y):
    """Return (latitude, longitude) in degrees of the middle of a world unit."""
    top = 1 << BITS
    longitude = (np.asarray(x) + 0.5) / top * 360 - 180
    turned = math.pi * (1 - 2 * (np.asarray(y) + 0.5) / top)
    return np.degrees(np.arctan(np.sinh(turned))), longitude


@dataclass
class Places:
    """What one kind of person may see of the index, and the views asked of it.

    Masks are booleans over all rows, and false for what the person may not see.
    """

    rows: Rows
    token: str
    version: int
    is_members: bool
    # The same of an older index, whose arrays can be shared where they still hold.
    before: Places | None = None
    x: np.ndarray = field(init=False)
    y: np.ndarray = field(init=False)
    _masks: OrderedDict = field(default_factory=OrderedDict)
    _counts: OrderedDict = field(default_factory=OrderedDict)
    _tallies: OrderedDict = field(default_factory=OrderedDict)
    _cells: OrderedDict = field(default_factory=OrderedDict)
    _orders: dict = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def __post_init__(self):
        self.x, self.y = self.rows.x, self.rows.y
        number, x, y = self.rows.exact
        if self.is_members and len(number):
            if self.before is not None and _stand_alike(self.rows, self.before.rows):
                self.x, self.y = self.before.x, self.before.y
            else:
                self.x, self.y = self.x.copy(), self.y.copy()
                self.x[number], self.y[number] = x, y
        self.before = None
        self._count = (
            len(self.rows) if self.is_members else np.count_nonzero(self._seen())
        )

    def __len__(self):
        return self._count

    def _seen(self):
        if self.is_members:
            return np.ones(len(self.rows), dtype=bool)
        return self._where("flags", lambda flags: (flags & IS_PUBLIC) > 0)

    def _where(self, name, holds):
        """Return of which rows something holds, asked of each value that occurs."""
        return holds(self.rows.table(name))[self.rows.codes[GROUP_OF[name]]]

    def ids(self, mask):
        return self.rows.ids[mask]

    def carry(self, before, touched):
        """Take over what the same places held before some rows were written.

        Views without filters are mended by the rows that moved, came or went; where a
        name stands in order is taken over if the written ones still stand there.
        """
        if len(touched) > MOST_CARRIED:
            return
        was = len(before.rows)
        old = touched[touched < was]
        was_seen, is_seen = before._sees(old), self._sees(touched)
        moved = np.ones(len(touched), dtype=bool)
        moved[touched < was] = (
            (before.x[old] != self.x[old])
            | (before.y[old] != self.y[old])
            | (was_seen != is_seen[touched < was])
        )
        gone = [
            (int(before.x[row]), int(before.y[row]))
            for row, seen, away in zip(old, was_seen, moved[touched < was], strict=True)
            if seen and away
        ]
        come = touched[moved & is_seen]
        today = timezone.localdate()
        with before._lock:
            cells = [(key, held) for key, held in before._cells.items()]
        for (key, day), held in cells:
            if len(key) == 1 and day == today:
                self._cells[key, day] = gathering.mended(
                    held, self.x, self.y, BITS - 2 - key[0], gone, come, self._seen
                )
        for column, rank in before._orders.items():
            if was == len(self.rows) and self._stands_in_order(column, rank, touched):
                self._orders[column] = rank

    def _sees(self, rows):
        if self.is_members:
            return np.ones(len(rows), dtype=bool)
        return (self.rows.of("flags", rows) & IS_PUBLIC) > 0

    def _stands_in_order(self, column, rank, touched):
        """Ask whether written rows and their neighbours still stand as they did."""
        near = np.unique(rank[touched][:, None] + np.array([-1, 0, 1]))
        rows = np.flatnonzero(np.isin(rank, near))
        rows = rows[np.argsort(rank[rows], kind="stable")]
        ids = self.rows.ids[rows].tolist()
        found = Bridge.objects.filter(pk__in=ids).order_by(column, "pk")
        return list(found.values_list("pk", flat=True)) == ids

    # -- filters

    def mask(self, pairs):
        """Return which bridges the filter pairs leave, a boolean for each."""
        packed = self._kept(self._masks, tuple(pairs), MOST_MASKS, self._packed)
        return np.unpackbits(packed, count=len(self.rows)).view(bool)

    def count(self, pairs):
        """Return how many bridges the filter pairs leave."""
        if not pairs:
            return self._count
        return self._kept(
            self._counts,
            ("of all", tuple(pairs)),
            MOST_COUNTS,
            lambda key: int(np.count_nonzero(self.mask(key[1]))),
        )

    def _packed(self, pairs):
        return np.packbits(self._ask(pairs))

    def _kept(self, store, key, most, make):
        # "Within so many years" moves with the day.
        whole = (key, timezone.localdate())
        with self._lock:
            if whole in store:
                store.move_to_end(whole)
                return store[whole]
        made = make(key)
        with self._lock:
            store[whole] = made
            while len(store) > most:
                store.popitem(last=False)
        return made

    def _ask(self, pairs):
        asked: dict[str, list[str]] = {}
        for name, value in pairs:
            asked.setdefault(name, []).append(value)
        mask = self._seen()
        elsewhere = []
        if "as_of" in asked:
            # Beside a day a status is that day's, which the database knows.
            elsewhere += ["as_of", "status"]
        for name, values in asked.items():
            answer = None if name in elsewhere else getattr(self, f"_by_{name}", None)
            if answer is not None:
                mask &= answer(values, asked)
            elif name in CODED and name not in elsewhere:
                mask &= self._is_any(name, values)
            elif name not in elsewhere:
                elsewhere.append(name)
        rest = [pair for pair in pairs if pair[0] in elsewhere]
        if rest:
            # Kept apart: every facet's count asks for the same words again.
            packed = self._kept(
                self._masks, ("database", *rest), MOST_MASKS, self._packed_answer
            )
            mask &= np.unpackbits(packed, count=len(mask)).view(bool)
        return mask

    def _packed_answer(self, key):
        return np.packbits(self._in_database(key[1:]))

    def _in_database(self, pairs):
        found = matching(pairs, is_members=self.is_members).order_by()
        try:
            sql, params = found.values_list("pk", flat=True).query.sql_with_params()
        except EmptyResultSet:
            return np.zeros(len(self.rows), dtype=bool)
        with connection.cursor() as cursor:
            cursor.execute(sql, params)
            ids = np.fromiter((row[0] for row in cursor.fetchall()), dtype=np.int64)
        return self._with_ids(ids)

    def _with_ids(self, ids):
        known = self.rows.ids
        mask = np.zeros(len(known), dtype=bool)
        if len(known) and len(ids):
            at = np.searchsorted(known, ids)
            at = at[at < len(known)]
            # An id between two that are known is of no row here.
            mask[at[np.isin(known[at], ids)]] = True
        return mask

    def _is_any(self, name, values):
        words = self.rows.words[name]
        known = {word: number for number, word in enumerate(words, 1)}
        chosen = np.zeros(len(words) + 1, dtype=bool)
        chosen[[known[value] for value in values if value in known]] = True
        if name in GROUP_OF:
            return self._where(name, lambda codes: chosen[codes])
        return chosen[self.rows.codes[name]]

    def _by_q(self, values, asked):
        # Kept apart: every facet's count asks for the same words again.
        packed = self._kept(
            self._masks, ("words", values[0]), MOST_MASKS, self._packed_words
        )
        return np.unpackbits(packed, count=len(self.rows)).view(bool)

    def _packed_words(self, key):
        found = search.ids(key[1], is_members=self.is_members)
        if found is None:
            return np.packbits(np.ones(len(self.rows), dtype=bool))
        return np.packbits(self._with_ids(np.array(found, dtype=np.int64)))

    def _by_crossing(self, values, asked):
        mask = self._is_any("crossing", values)
        if not self.is_members:
            mask &= self._where("flags", _is_open)
        return mask

    def _by_decade(self, values, asked):
        first, last = self.rows.table("first_year"), self.rows.table("last_year")
        chosen = np.zeros(len(first), dtype=bool)
        for value in values:
            if value == UNDATED:
                chosen |= first == 0
            else:
                decade = int(value)
                chosen |= (first > 0) & (first <= decade + 9) & (last >= decade)
        return chosen[self.rows.codes["years"]]

    def _by_panels(self, values, asked):
        wanted = [int(value) for value in values]
        wanted = [one for one in wanted if 0 < one < 256]
        return self._where("panels", lambda panels: np.isin(panels, wanted))

    def _by_span_min(self, values, asked):
        least = max(round(float(values[0]) * 10), 1)
        return self._where("span_dft", lambda span: span >= least)

    def _by_span_max(self, values, asked):
        most = round(float(values[0]) * 10)
        return self._where("span_dft", lambda span: (span > 0) & (span <= most))

    def _by_changed(self, values, asked):
        bits = _bit(values, PARTS)
        return self._where("parts", lambda parts: (parts & bits) > 0)

    def _by_ever_changed(self, values, asked):
        bits = _bit(values, PARTS)
        return self._where("ever_parts", lambda parts: (parts & bits) > 0)

    def _by_plate(self, values, asked):
        bits = _bit(values, PLATES)
        return self._where("plate", lambda plate: (plate & bits) > 0)

    def _by_repairs(self, values, asked):
        some = values[0] == "some"
        return self._where("flags", lambda flags: ((flags & HAS_REPAIR) > 0) == some)

    def _by_changed_within(self, values, asked):
        since = packing.days(years_ago(int(values[0])))
        return self._where("changed_on", lambda day: day >= since)

    def _by_changed_since(self, values, asked):
        since = max(packing.days(_day(values[0])), 1)
        return self._where("changed_on", lambda day: day >= since)

    def _by_visited_since(self, values, asked):
        since = max(packing.days(_day(values[0])), 1)
        return self._where("visited", lambda day: day >= since)

    def _by_unvisited_since(self, values, asked):
        since = max(packing.days(_day(values[0])), 1)
        return self._where("visited", lambda day: day < since)

    def _by_near(self, values, asked):
        return self.near(*NearField(required=False).clean(values[0]))

    def near(self, latitude, longitude, miles):
        """Return which bridges stand within so many miles, along the ground."""
        reach = math.degrees(miles / EARTH_MILES)
        wide = min(reach / max(math.cos(math.radians(latitude)), 0.01), 180)
        x, y = project(
            np.clip([latitude + reach, latitude - reach], -90, 90),
            np.clip([longitude - wide, longitude + wide], -180, 180),
        )
        mask = self._seen()
        mask &= (
            (self.x >= x[0]) & (self.x <= x[1]) & (self.y >= y[0]) & (self.y <= y[1])
        )
        rows = np.flatnonzero(mask)
        mask[rows] = self.miles_from(latitude, longitude, rows) <= miles
        return mask

    def miles_from(self, latitude, longitude, rows):
        """Return how many miles each of these rows is from a place (haversine)."""
        other_latitude, other_longitude = unproject(self.x[rows], self.y[rows])
        a, b = np.radians(latitude), np.radians(other_latitude)
        half = np.radians(other_longitude - longitude) / 2
        h = np.sin((b - a) / 2) ** 2 + np.cos(a) * np.cos(b) * np.sin(half) ** 2
        return 2 * EARTH_MILES * np.arcsin(np.sqrt(np.clip(h, 0, 1)))

    def _by_builder(self, values, asked):
        sure = asked.get("builder_certainty")
        ids = Builder.objects.filter(slug__in=values).values_list("pk", flat=True)
        hands = np.isin(self.rows.hand_builders, list(ids))
        if sure:
            hands &= (self.rows.hand_sure & _sure(sure)) > 0
        return self._of_hands(hands)

    def _by_builder_certainty(self, values, asked):
        if "builder" in asked:
            return np.ones(len(self.rows), dtype=bool)
        return self._of_hands((self.rows.hand_sure & _sure(values)) > 0)

    def _of_hands(self, hands):
        mask = np.zeros(len(self.rows), dtype=bool)
        mask[self.rows.hand_rows[hands]] = True
        return mask

    # -- views

    def bounds(self, mask):
        """Return (west, south, east, north) of the bridges, or None for none."""
        rows = np.flatnonzero(mask)
        if not len(rows):
            return None
        x, y = self.x[rows], self.y[rows]
        north, west = unproject(x.min(), y.min())
        south, east = unproject(x.max(), y.max())
        return tuple(round(float(edge), 5) for edge in (west, south, east, north))

    def view(self, box, pairs=()):
        """Return what the box shows: (points, clusters, how many in view).

        ``points`` are rows' numbers and ``clusters`` (latitude, longitude, count). Up
        to ``MOST_POINTS`` bridges in the grid are points; above that a cell with more
        than one bridge is a cluster at their mean place.
        """
        shift, first_x, first_y, columns, rows = box.cells()
        if box.zoom <= MOST_KEPT_ZOOM:
            found = self._kept(
                self._cells, (box.zoom, *pairs), MOST_MASKS, self._all_cells
            )
            across, down = found.x - first_x, found.y - first_y
            inside = (across >= 0) & (across < columns) & (down >= 0) & (down < rows)
            cells = found.only(inside)
        else:
            numbers = self._inside(
                first_x << shift,
                (first_x + columns) << shift,
                first_y << shift,
                (first_y + rows) << shift,
            )
            numbers = numbers[self.mask(pairs)[numbers]] if len(numbers) else numbers
            cells = gathering.gather(self.x, self.y, numbers, shift)
        total = int(cells.counts.sum())
        if total <= MOST_POINTS:
            return self._rows_in(cells, shift, pairs), [], total
        alone = cells.counts == 1
        if alone.sum() > MOST_POINTS:
            alone[:] = False
        together = cells.only(~alone)
        latitude, longitude = unproject(
            together.sum_x / together.counts, together.sum_y / together.counts
        )
        clusters = zip(
            latitude.tolist(),
            longitude.tolist(),
            together.counts.tolist(),
            strict=True,
        )
        return np.sort(cells.any_row[alone]), list(clusters), total

    def _all_cells(self, key):
        zoom, *pairs = key
        if not pairs and zoom < MOST_KEPT_ZOOM:
            # Whoever looks from afar comes nearer: counted once, near, and put together.
            finer = self._kept(
                self._cells, (MOST_KEPT_ZOOM,), MOST_MASKS, self._all_cells
            )
            return gathering.coarser(finer, MOST_KEPT_ZOOM - zoom)
        rows = np.flatnonzero(self.mask(tuple(pairs)))
        return gathering.gather(self.x, self.y, rows, BITS - 2 - zoom)

    def _inside(self, left, right, top, bottom):
        """Return the rows whose place lies from left and top up to right and bottom.

        Looking at every place takes about a millisecond a million; an order of them
        kept for it would take four bytes of each bridge.
        """
        mask = self.x >= left
        mask &= self.x < right
        numbers = np.flatnonzero(mask)
        y = self.y[numbers]
        return numbers[(y >= top) & (y < bottom)]

    def _rows_in(self, cells, shift, pairs):
        """Return the rows that lie in a few cells, in the order of ids."""
        if not len(cells.x):
            return np.zeros(0, dtype=np.int64)
        numbers = self._inside(
            int(cells.x.min()) << shift,
            (int(cells.x.max()) + 1) << shift,
            int(cells.y.min()) << shift,
            (int(cells.y.max()) + 1) << shift,
        )
        x, y = self.x[numbers] >> shift, self.y[numbers] >> shift
        key = (y.astype(np.int64) << 32) | x
        wanted = (cells.y.astype(np.int64) << 32) | cells.x
        numbers = numbers[np.isin(key, wanted)]
        return numbers[self.mask(pairs)[numbers]]

    # -- the list

    def page(self, mask, order, start, size):
        """Return the ids of one page of the bridges of a mask, in an order.

        The order is that of ``filters.ORDERS``; names settle ties.
        """
        rows = np.flatnonzero(mask)
        end = min(start + size, len(rows))
        if start >= end:
            return []
        keys = self._keys(order, rows)
        if len(keys) == 1:
            # Only the page itself is put in order, not all that lies behind it.
            chosen = np.argpartition(keys[0], end - 1)[:end]
            chosen = chosen[np.argsort(keys[0][chosen], kind="stable")]
        else:
            chosen = np.lexsort(tuple(reversed(keys)))[:end]
        return self.rows.ids[rows[chosen[start:end]]].tolist()

    def _keys(self, order, rows):
        name = self._rank("name")[rows]
        if order == "number":
            return [self._rank("number")[rows]]
        data = self.rows
        if order == "built":
            year = data.of("first_year", rows).astype(np.int32)
            # An open beginning and no date at all both come last.
            year[year <= 1] = OPEN_END + 1
            return [year, name]
        if order == "-built":
            year = data.of("last_year", rows).astype(np.int32)
            year[(year == OPEN_END) | (data.of("first_year", rows) == 0)] = 0
            return [-year, name]
        if order in ("span", "-span"):
            span = data.of("span_dft", rows).astype(np.int32)
            if order == "span":
                span[span == 0] = 1 << 20
                return [span, name]
            return [-span, name]
        if order == "visited":
            return [data.of("visited", rows), name]
        if order == "-visited":
            return [-data.of("visited", rows).astype(np.int32), name]
        if order == "-changed":
            return [-data.of("changed_on", rows).astype(np.int32), name]
        return [name]

    def _rank(self, column):
        """Return the place of each row in the database's own order of a column."""
        if column not in self._orders:
            query = Bridge.objects.order_by(column, "pk").values_list("pk", flat=True)
            ids = np.fromiter(query.iterator(chunk_size=PART), dtype=np.int64)
            rank = np.zeros(len(self.rows), dtype=np.int32)
            at = np.searchsorted(self.rows.ids, ids)
            known = at < len(self.rows)
            known[known] = self.rows.ids[at[known]] == ids[known]
            rank[at[known]] = np.flatnonzero(known)
            self._orders[column] = rank
        return self._orders[column]

    # -- counts

    def counts(self, name, pairs):
        """Return {value: how many bridges} of one facet, under filter pairs."""
        return self._kept(
            self._counts, (name, tuple(pairs)), MOST_COUNTS, self._count_of
        )

    def _count_of(self, key):
        name, pairs = key
        if name == "builder":
            return self._builders(self.mask(pairs), pairs)
        if name == "builder_certainty":
            return self._sureness(self.mask(pairs), pairs)
        if name in TERMS:
            mask = self.mask(pairs)
            if name == "crossing" and not self.is_members:
                mask = mask & self._where("flags", _is_open)
            found = _count_codes(
                self.rows.codes[name], mask, len(self.rows.words[name]) + 1
            )
            return self._worded(name, found)
        column = {"decade": "first_year", "repairs": "flags", "changed": "parts"}
        column = column | {"ever_changed": "ever_parts"}
        column = column.get(name, name)
        # One count for all columns of a group.
        tally = self._kept(
            self._tallies, (GROUP_OF[column], pairs), MOST_COUNTS, self._tally
        )
        if name == "decade":
            return self._decades(tally)
        values = self.rows.table(column)
        if name in ("changed", "ever_changed", "plate"):
            return _count_bits(values, tally, PLATES if name == "plate" else PARTS)
        if name == "repairs":
            some = int(tally[(values & HAS_REPAIR) > 0].sum())
            none = int(tally.sum()) - some
            return {k: n for k, n in (("some", some), ("none", none)) if n}
        found = np.bincount(values, weights=tally, minlength=1)
        if name == "panels":
            return {str(n): int(found[n]) for n in np.flatnonzero(found) if n}
        return self._worded(name, found)

    def _tally(self, key):
        """Return how many rows have each combination of a group."""
        group, pairs = key
        size = len(next(iter(self.rows.tables[group].values())))
        return _count_codes(self.rows.codes[group], self.mask(pairs), size)

    def _worded(self, name, found):
        words = enumerate(self.rows.words[name], 1)
        counts = {word: int(found[n]) for n, word in words if n < len(found)}
        return {word: count for word, count in counts.items() if count}

    def _decades(self, tally):
        """Count a bridge in each decade that its date may fall in."""
        first, last = self.rows.table("first_year"), self.rows.table("last_year")
        dated = first > 0
        # The decades that are offered are those of dates with both ends.
        bounded = dated & (first > 1) & (last < OPEN_END)
        first, last = _decade_numbers(first, last)
        reached = _reached(first[dated], last[dated], tally[dated])
        shown = _reached(first[bounded], last[bounded], tally[bounded])
        counts = {
            str(FIRST_DECADE + 10 * int(n)): int(reached[n])
            for n in np.flatnonzero(shown)
        }
        undated = int(tally[~dated].sum())
        return counts | ({UNDATED: undated} if undated else {})

    def _builders(self, mask, pairs):
        kept = mask[self.rows.hand_rows]
        if sure := [value for name, value in pairs if name == "builder_certainty"]:
            kept &= (self.rows.hand_sure & _sure(sure)) > 0
        found = np.bincount(self.rows.hand_builders[kept], minlength=1)
        return {int(pk): int(found[pk]) for pk in np.flatnonzero(found)}

    def _sureness(self, mask, pairs):
        kept = mask[self.rows.hand_rows]
        if slugs := [value for name, value in pairs if name == "builder"]:
            ids = Builder.objects.filter(slug__in=slugs).values_list("pk", flat=True)
            kept &= np.isin(self.rows.hand_builders, list(ids))
        counts = {}
        for bit, value in enumerate(Confidence.values):
            hands = kept & ((self.rows.hand_sure & (1 << bit)) > 0)
            if count := len(np.unique(self.rows.hand_rows[hands])):
                counts[value] = count
        return counts

    def only_maybe(self, decades, mask):
        """Count the bridges of a mask that a decade was not surely asked of.

        These have a date whose bounds also reach a decade that was not asked for.
        """
        asked = np.zeros(DECADES + 1, dtype=np.int64)
        for decade in decades:
            if decade.isdigit() and int(decade) <= LAST_DECADE:
                asked[(int(decade) - FIRST_DECADE) // 10 + 1] = 1
        before = np.cumsum(asked)
        years, dated = self.rows.table("first_year"), self.rows.table("first_year") > 0
        tally = _count_codes(self.rows.codes["years"], mask, len(years))
        first, last = _decade_numbers(years, self.rows.table("last_year"))
        maybe = before[last + 1] - before[first] < last - first + 1
        return int(tally[dated & maybe].sum())


CODED = tuple(name for name in (*packing.CHOICES, *TERMS) if name != "crossing")


def _is_open(flags):
    return (flags & IS_SENSITIVE) == 0


def _stand_alike(rows, others):
    """Say whether two ``Rows`` share the arrays of where their bridges stand."""
    same = zip(rows.exact, others.exact, strict=True)
    return (
        rows.x is others.x
        and rows.y is others.y
        and all(np.array_equal(one, other) for one, other in same)
    )


def _count_codes(codes, mask, size):
    return np.bincount(codes[mask], minlength=size)


def _decade_numbers(first_year, last_year):
    """Return years as decades counted from ``FIRST_DECADE``, within those we hold."""
    return tuple(
        np.clip((year.astype(np.int32) - FIRST_DECADE) // 10, 0, DECADES - 1)
        for year in (first_year, last_year)
    )


def _reached(first, last, tally):
    steps = np.bincount(first, weights=tally, minlength=DECADES + 1)
    ends = np.bincount(last + 1, weights=tally, minlength=DECADES + 1)
    return np.cumsum(steps[: DECADES + 1] - ends[: DECADES + 1])[:DECADES]


def _count_bits(values, tally, parts):
    counts = {
        part: int(tally[(values & (1 << bit)) > 0].sum())
        for bit, (part, _) in enumerate(parts)
    }
    return {part: count for part, count in counts.items() if count}


def _bit(values, parts):
    return sum(1 << bit for bit, (part, _) in enumerate(parts) if part in set(values))


def _sure(values):
    return sum(1 << Confidence.values.index(value) for value in set(values))


def _day(text):
    return DayField(required=False).clean(text) or dates.parse(text).latest


def digest(parts):
    """Return a short name for anything whose ``repr`` tells it from all else."""
    return hashlib.sha256(repr(parts).encode()).hexdigest()[:24]


class Held:
    """The index of one version, and what each kind of person may see of it."""

    def __init__(self, token, version, rows):
        self.token, self.version, self.rows = token, version, rows
        self._places = {}
        self._lock = threading.Lock()

    def is_of(self, token, version):
        return (self.token, self.version) == (token, version)

    def places(self, is_members):
        with self._lock:
            if is_members not in self._places:
                self._places[is_members] = Places(
                    self.rows, self.token, self.version, is_members=is_members
                )
            return self._places[is_members]

    def carry(self, before, touched):
        """Take over from an older index what a write of a few rows left as it was."""
        with before._lock:
            kinds = dict(before._places)
        for is_members, places in kinds.items():
            made = Places(
                self.rows,
                self.token,
                self.version,
                is_members=is_members,
                before=places,
            )
            made.carry(places, touched)
            self._places[is_members] = made


_lock = threading.Lock()
_held: Held | None = None


def places_for(person):
    """Return the ``Places`` that a person may see, at the version that stands now."""
    sees_all = policy.can_log_visits(person) and policy.can_see_exact_positions(person)
    return places_of(sees_all)


def places_of(is_members):
    return _current().places(is_members)


def _current():
    global _held
    token = _token()
    held = _held
    if held is not None and held.is_of(token, MapVersion.glanced(token)):
        return held
    version = MapVersion.current()
    if held is None or not held.is_of(token, version):
        with _lock:
            held = _held
            if held is None or not held.is_of(token, version):
                held = _held = _build(token, version)
    return held


def _token():
    """Name this cache's life, so that emptying the cache drops the arrays too.

    A database put back from a backup may bring an old version number with other rows.
    """
    token = cache.get(TOKEN_KEY)
    if token is None:
        token = cache.get_or_set(TOKEN_KEY, uuid.uuid4().hex, timeout=None)
    return token


def _build(token, version):
    """Mend the index that is held by what was stamped since, or make it anew."""
    global _held
    held = _held
    if held is not None and held.token == token:
        whole = MapVersion.objects.filter(pk=1).values_list("whole", flat=True).first()
        if held.version < version and (whole or 0) <= held.version:
            made = columns.mended(held.rows, *_read(since=held.version))
            if made is not None and _is_all(made[0]):
                rows, touched = made
                fresh = Held(token, version, rows)
                fresh.carry(held, touched)
                return fresh
    columns.return_freed()
    # Two of them need not be held at once.
    _held = held = None
    return Held(token, version, columns.rows_of(*_read()))


def _is_all(rows):
    return len(rows) > MOST_COUNTED or len(rows) == MapRow.objects.count()


def _is_packed():
    layout = MapVersion.objects.filter(pk=1).values_list("layout", flat=True).first()
    if layout != packing.LAYOUT and Bridge.objects.exists():
        return False
    return MapRow.objects.count() == Bridge.objects.count()


def _read(since=None):
    """Return (records, hands) of the packed rows in the order of ids.

    Packs first what nobody has: a database that was filled by hand or moved here.
    """
    if since is None and not _is_packed():
        with transaction.atomic():
            MapVersion.bump()
    packed, hands = bytearray(), bytearray()
    with _uncollected():
        for firsts, seconds in _chunks(since):
            packed += firsts
            hands += seconds
    return np.frombuffer(packed, dtype=RECORD), np.frombuffer(hands, dtype=HAND)


@contextmanager
def _uncollected():
    """Rows that are let go at once need no search for cycles among them.

    It took three quarters of the time of reading them.
    """
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def _chunks(since):
    """Yield (records, hands) of the packed rows, joined, a good many at a time."""
    table = MapRow._meta.db_table
    where, params = ("", []) if since is None else ("AND stamp > %s", [since])
    with connection.cursor() as cursor:
        if connection.vendor != "postgresql":
            cursor.execute(
                f"SELECT packed, hands FROM {table} WHERE TRUE {where} "
                "ORDER BY bridge_id",
                params,
            )
            while chunk := cursor.fetchmany(CHUNK):
                firsts, seconds = zip(*chunk, strict=True)
                yield b"".join(firsts), b"".join(seconds)
            return
        # Joined where the rows are, one value in place of many; not all in one go, or
        # the driver would hold the whole index once more.
        last, most = -1, PART
        while last is not None:
            cursor.execute(
                "SELECT string_agg(packed, ''::bytea ORDER BY bridge_id), "
                "string_agg(hands, ''::bytea ORDER BY bridge_id), max(bridge_id) FROM ("
                f"SELECT bridge_id, packed, hands FROM {table} WHERE bridge_id > %s "
                f"{where} ORDER BY bridge_id LIMIT {most}) AS part",
                [last, *params],
            )
            firsts, seconds, last = cursor.fetchone()
            if last is not None:
                yield firsts, seconds
