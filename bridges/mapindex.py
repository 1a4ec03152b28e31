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

import hashlib
import math
import threading
import uuid
from collections import OrderedDict
from dataclasses import dataclass, field, fields

import numpy as np
from django.core.cache import cache
from django.core.exceptions import EmptyResultSet, ValidationError
from django.db import connection, transaction
from django.utils import timezone

from shared import dates, policy

from . import packing
from .filters import PARTS, PLATES, UNDATED, DayField, NearField, matching, years_ago
from .models import Bridge, Builder, Confidence, MapRow, MapTerm, MapVersion
from .packing import (
    BITS,
    CHOICES,
    HAND,
    HAS_REPAIR,
    IS_DATED,
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
MOST_MASKS = 48
MOST_COUNTS = 64
# Cells of whole views are kept up to here; nearer, few bridges lie in any view.
MOST_KEPT_ZOOM = 11
# A grid of no more cells than these is counted whole, empty ones and all.
MOST_DENSE = 1 << 20
CHUNK = 50_000
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


def small(numbers):
    """Return whole numbers in as few bytes each as hold them."""
    most = int(numbers.max()) if len(numbers) else 0
    kind = np.uint8 if most < 256 else np.uint16 if most < 65_536 else np.uint32
    return numbers.astype(kind)


@dataclass(frozen=True)
class Rows:
    """One value for each bridge in every array, ordered by id.

    ``x`` and ``y`` are of the general place; ``exact`` holds (row, x, y) of the few
    that have another. ``codes`` count from 1 into ``words``; 0 is none.
    """

    ids: np.ndarray
    x: np.ndarray
    y: np.ndarray
    exact: tuple[np.ndarray, np.ndarray, np.ndarray]
    first_year: np.ndarray  # 0: no date
    last_year: np.ndarray
    visited: np.ndarray  # days as ``packing.days`` counts them, 0: never
    changed_on: np.ndarray
    span_dft: np.ndarray
    parts: np.ndarray  # one bit for each of ``filters.PARTS``
    ever_parts: np.ndarray
    panels: np.ndarray
    plate: np.ndarray  # one bit for each of ``filters.PLATES``
    flags: np.ndarray
    codes: dict[str, np.ndarray]
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

    def nbytes(self):
        arrays = [*self.__dict__.values(), *self.exact, *self.codes.values()]
        return sum(one.nbytes for one in arrays if isinstance(one, np.ndarray))


PLAIN = (
    "first_year",
    "last_year",
    "visited",
    "changed_on",
    "span_dft",
    "parts",
    "ever_parts",
    "panels",
    "plate",
    "flags",
)


def _rows_of(records, hands):
    """Return ``Rows`` of packed records in the order of their ids."""
    terms = dict(MapTerm.objects.values_list("pk", "word"))
    codes = {name: np.ascontiguousarray(records[name]) for name in CHOICES}
    words = {name: list(values) for name, values in CHOICES.items()}
    for name in TERMS:
        column = np.ascontiguousarray(records[name])
        # Each number that occurs becomes the next of a short row; 0 is no word.
        occurs = np.bincount(column, minlength=1) > 0
        occurs[0] = False
        codes[name] = small(np.cumsum(occurs) * occurs)[column]
        words[name] = [terms.get(pk, "") for pk in np.flatnonzero(occurs).tolist()]
    moved = np.flatnonzero(
        (records["x"] != records["general_x"]) | (records["y"] != records["general_y"])
    )
    moved = moved[(records["flags"][moved] & IS_SENSITIVE) > 0]
    hidden = (records["flags"] & IS_SENSITIVE) > 0
    x = np.where(hidden, records["general_x"], records["x"])
    y = np.where(hidden, records["general_y"], records["y"])
    return Rows(
        ids=np.ascontiguousarray(records["id"]),
        x=x,
        y=y,
        exact=(
            moved.astype(np.int32),
            records["x"][moved],
            records["y"][moved],
        ),
        **{name: np.ascontiguousarray(records[name]) for name in PLAIN},
        codes=codes,
        words=words,
        hand_counts=np.ascontiguousarray(records["hands"]),
        hand_builders=small(hands["builder"]),
        hand_sure=np.ascontiguousarray(hands["confidence"]),
    )


@dataclass(frozen=True)
class Cells:
    """Bridges gathered by the cells of one zoom; one value for each cell that has any."""

    x: np.ndarray
    y: np.ndarray
    counts: np.ndarray
    mean_x: np.ndarray
    mean_y: np.ndarray
    any_row: np.ndarray

    def only(self, mask):
        return Cells(*(getattr(self, one.name)[mask] for one in fields(self)))


@dataclass
class Places:
    """What one kind of person may see of the index, and the views asked of it.

    Masks are booleans over all rows, and false for what the person may not see.
    """

    rows: Rows
    token: str
    version: int
    is_members: bool
    x: np.ndarray = field(init=False)
    y: np.ndarray = field(init=False)
    _masks: OrderedDict = field(default_factory=OrderedDict)
    _counts: OrderedDict = field(default_factory=OrderedDict)
    _cells: OrderedDict = field(default_factory=OrderedDict)
    _orders: dict = field(default_factory=dict)
    _by_x: np.ndarray | None = None
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def __post_init__(self):
        self.x, self.y = self.rows.x, self.rows.y
        number, x, y = self.rows.exact
        if self.is_members and len(number):
            self.x, self.y = self.x.copy(), self.y.copy()
            self.x[number], self.y[number] = x, y
        self._count = int(self._seen().sum())

    def __len__(self):
        return self._count

    def _seen(self):
        if self.is_members:
            return np.ones(len(self.rows), dtype=bool)
        return (self.rows.flags & IS_PUBLIC) > 0

    def ids(self, mask):
        return self.rows.ids[mask]

    # -- filters

    def mask(self, pairs):
        """Return which bridges the filter pairs leave, a boolean for each."""
        packed = self._kept(self._masks, tuple(pairs), MOST_MASKS, self._packed)
        return np.unpackbits(packed, count=len(self.rows)).view(bool)

    def count(self, pairs):
        """Return how many bridges the filter pairs leave."""
        return self._kept(
            self._counts,
            ("of all", tuple(pairs)),
            MOST_COUNTS * 8,
            lambda key: int(self.mask(key[1]).sum()),
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
        return chosen[self.rows.codes[name]]

    def _by_crossing(self, values, asked):
        mask = self._is_any("crossing", values)
        if not self.is_members:
            mask &= (self.rows.flags & IS_SENSITIVE) == 0
        return mask

    def _by_decade(self, values, asked):
        first, last = self.rows.first_year, self.rows.last_year
        mask = np.zeros(len(self.rows), dtype=bool)
        for value in values:
            if value == UNDATED:
                mask |= first == 0
            else:
                decade = int(value)
                mask |= (first > 0) & (first <= decade + 9) & (last >= decade)
        return mask

    def _by_panels(self, values, asked):
        wanted = [int(value) for value in values]
        return np.isin(self.rows.panels, [one for one in wanted if 0 < one < 256])

    def _by_span_min(self, values, asked):
        return self.rows.span_dft >= max(round(float(values[0]) * 10), 1)

    def _by_span_max(self, values, asked):
        span = self.rows.span_dft
        return (span > 0) & (span <= round(float(values[0]) * 10))

    def _by_changed(self, values, asked):
        return (self.rows.parts & _bit(values, PARTS)) > 0

    def _by_ever_changed(self, values, asked):
        return (self.rows.ever_parts & _bit(values, PARTS)) > 0

    def _by_plate(self, values, asked):
        return (self.rows.plate & _bit(values, PLATES)) > 0

    def _by_repairs(self, values, asked):
        has = (self.rows.flags & HAS_REPAIR) > 0
        return has if values[0] == "some" else ~has

    def _by_changed_within(self, values, asked):
        return self.rows.changed_on >= packing.days(years_ago(int(values[0])))

    def _by_changed_since(self, values, asked):
        return self.rows.changed_on >= max(packing.days(_day(values[0])), 1)

    def _by_visited_since(self, values, asked):
        return self.rows.visited >= max(packing.days(_day(values[0])), 1)

    def _by_unvisited_since(self, values, asked):
        return self.rows.visited < max(packing.days(_day(values[0])), 1)

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
            numbers = self._in_columns(first_x << shift, (first_x + columns) << shift)
            y = self.y[numbers]
            numbers = numbers[(y >= first_y << shift) & (y < (first_y + rows) << shift)]
            numbers = numbers[self.mask(pairs)[numbers]] if len(numbers) else numbers
            cells = self._gathered(numbers, shift)
        total = int(cells.counts.sum())
        if total <= MOST_POINTS:
            return self._rows_in(cells, shift, pairs), [], total
        alone = cells.counts == 1
        if alone.sum() > MOST_POINTS:
            alone[:] = False
        together = cells.only(~alone)
        latitude, longitude = unproject(together.mean_x, together.mean_y)
        clusters = zip(
            latitude.tolist(),
            longitude.tolist(),
            together.counts.tolist(),
            strict=True,
        )
        return np.sort(cells.any_row[alone]), list(clusters), total

    def _all_cells(self, key):
        zoom, *pairs = key
        rows = np.flatnonzero(self.mask(tuple(pairs)))
        return self._gathered(rows, BITS - 2 - zoom)

    def _gathered(self, numbers, shift):
        """Gather rows into the cells of one zoom."""
        x, y = self.x[numbers], self.y[numbers]
        across, down = x >> shift, y >> shift
        left, top = (int(one.min()) if len(one) else 0 for one in (across, down))
        columns = int(across.max()) - left + 1 if len(across) else 1
        rows = int(down.max()) - top + 1 if len(down) else 1
        if columns * rows > MOST_DENSE:
            return self._gathered_thinly(numbers, shift)
        cell = (down - top) * np.int32(columns) + (across - left)
        size = columns * rows
        counts = np.bincount(cell, minlength=size)
        any_row = np.zeros(size, dtype=numbers.dtype)
        any_row[cell] = numbers
        held = np.flatnonzero(counts)
        counts = counts[held]
        return Cells(
            x=(held % columns + left).astype(np.int32),
            y=(held // columns + top).astype(np.int32),
            counts=counts,
            mean_x=np.bincount(cell, weights=x, minlength=size)[held] / counts,
            mean_y=np.bincount(cell, weights=y, minlength=size)[held] / counts,
            any_row=any_row[held],
        )

    def _gathered_thinly(self, numbers, shift):
        """The same where bridges lie so far apart that most cells hold none."""
        x, y = self.x[numbers], self.y[numbers]
        key = ((y >> shift).astype(np.int64) << 32) | (x >> shift)
        keys, first, cell, counts = np.unique(
            key, return_index=True, return_inverse=True, return_counts=True
        )
        cell = cell.reshape(-1)
        size = len(keys)
        return Cells(
            x=(keys & 0xFFFFFFFF).astype(np.int32),
            y=(keys >> 32).astype(np.int32),
            counts=counts,
            mean_x=np.bincount(cell, weights=x, minlength=size) / np.maximum(counts, 1),
            mean_y=np.bincount(cell, weights=y, minlength=size) / np.maximum(counts, 1),
            any_row=numbers[first],
        )

    def _in_columns(self, left, right):
        """Return the rows whose x lies from ``left`` up to ``right``."""
        if self._by_x is None:
            self._by_x = np.argsort(self.x, kind="stable").astype(np.int32)
        a, b = np.searchsorted(self.x, (left, right), sorter=self._by_x)
        return self._by_x[a:b]

    def _rows_in(self, cells, shift, pairs):
        """Return the rows that lie in a few cells, in the order of ids."""
        if not len(cells.x):
            return np.zeros(0, dtype=np.int64)
        left, right = int(cells.x.min()) << shift, (int(cells.x.max()) + 1) << shift
        numbers = self._in_columns(left, right)
        x, y = self.x[numbers] >> shift, self.y[numbers] >> shift
        key = (y.astype(np.int64) << 32) | x
        wanted = (cells.y.astype(np.int64) << 32) | cells.x
        numbers = np.sort(numbers[np.isin(key, wanted)])
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
            year = data.first_year[rows].astype(np.int32)
            # An open beginning and no date at all both come last.
            year[year <= 1] = OPEN_END + 1
            return [year, name]
        if order == "-built":
            year = data.last_year[rows].astype(np.int32)
            year[(year == OPEN_END) | (data.first_year[rows] == 0)] = 0
            return [-year, name]
        if order in ("span", "-span"):
            span = data.span_dft[rows].astype(np.int32)
            if order == "span":
                span[span == 0] = 1 << 20
                return [span, name]
            return [-span, name]
        if order == "visited":
            return [data.visited[rows], name]
        if order == "-visited":
            return [-data.visited[rows].astype(np.int32), name]
        if order == "-changed":
            return [-data.changed_on[rows].astype(np.int32), name]
        return [name]

    def _rank(self, column):
        """Return the place of each row in the database's own order of a column."""
        if column not in self._orders:
            query = Bridge.objects.order_by(column, "pk").values_list("pk", flat=True)
            with connection.cursor() as cursor:
                cursor.execute(*query.query.sql_with_params())
                ids = np.fromiter((row[0] for row in cursor), dtype=np.int64)
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
            self._counts, (name, tuple(pairs)), MOST_COUNTS * 8, self._count_of
        )

    def _count_of(self, key):
        name, pairs = key
        mask = self.mask(pairs)
        if name == "decade":
            return self._decades(mask)
        if name == "builder":
            return self._builders(mask, pairs)
        if name == "builder_certainty":
            return self._sureness(mask, pairs)
        if name in ("changed", "ever_changed", "plate"):
            column = {"changed": "parts", "ever_changed": "ever_parts"}.get(name, name)
            return _count_bits(
                getattr(self.rows, column)[mask], PLATES if name == "plate" else PARTS
            )
        if name == "repairs":
            some = int(((self.rows.flags[mask] & HAS_REPAIR) > 0).sum())
            none = int(mask.sum()) - some
            return {k: n for k, n in (("some", some), ("none", none)) if n}
        if name == "panels":
            found = np.bincount(self.rows.panels[mask], minlength=1)
            return {str(n): int(found[n]) for n in np.flatnonzero(found) if n}
        if name == "crossing" and not self.is_members:
            mask = mask & ((self.rows.flags & IS_SENSITIVE) == 0)
        words = self.rows.words[name]
        found = np.bincount(self.rows.codes[name][mask], minlength=len(words) + 1)
        return {
            word: int(n) for word, n in zip(words, found[1:].tolist(), strict=True) if n
        }

    def _decades(self, mask):
        """Count a bridge in each decade that its date may fall in."""
        first, last = _decade_numbers(
            self.rows.first_year[mask], self.rows.last_year[mask]
        )
        dated = self.rows.first_year[mask] > 0
        reached = _reached(first[dated], last[dated])
        bounded = (self.rows.flags[mask] & IS_DATED) > 0
        shown = _reached(first[bounded & dated], last[bounded & dated])
        counts = {
            str(FIRST_DECADE + 10 * int(n)): int(reached[n])
            for n in np.flatnonzero(shown)
        }
        undated = int((~dated).sum())
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
            if decade.isdigit():
                asked[(int(decade) - FIRST_DECADE) // 10 + 1] = 1
        before = np.cumsum(asked)
        dated = mask & (self.rows.first_year > 0)
        first, last = _decade_numbers(
            self.rows.first_year[dated], self.rows.last_year[dated]
        )
        return int((before[last + 1] - before[first] < last - first + 1).sum())


CODED = tuple(name for name in (*CHOICES, *TERMS) if name != "crossing")


def _decade_numbers(first_year, last_year):
    """Return years as decades counted from ``FIRST_DECADE``, within those we hold."""
    return tuple(
        np.clip((year.astype(np.int32) - FIRST_DECADE) // 10, 0, DECADES - 1)
        for year in (first_year, last_year)
    )


def _reached(first, last):
    steps = np.bincount(first, minlength=DECADES + 1)[: DECADES + 1]
    steps = steps - np.bincount(last + 1, minlength=DECADES + 1)[: DECADES + 1]
    return np.cumsum(steps)[:DECADES]


def _count_bits(values, parts):
    counts = {
        part: int(np.count_nonzero(values & (1 << bit)))
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

    def places(self, is_members):
        with self._lock:
            if is_members not in self._places:
                self._places[is_members] = Places(
                    self.rows, self.token, self.version, is_members=is_members
                )
            return self._places[is_members]


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
    token, version = _token(), MapVersion.current()
    held = _held
    if held is None or (held.token, held.version) != (token, version):
        with _lock:
            held = _held
            if held is None or (held.token, held.version) != (token, version):
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
    held = _held
    if held is not None and held.token == token:
        whole = MapVersion.objects.filter(pk=1).values_list("whole", flat=True).first()
        if held.version < version and (whole or 0) <= held.version:
            records, hands = _read(since=held.version)
            rows = _mended(held.rows, records, hands)
            if rows is not None and len(rows) == MapRow.objects.count():
                return Held(token, version, rows)
    return Held(token, version, _rows_of(*_read()))


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
    for firsts, seconds in _chunks(since):
        packed += firsts
        hands += seconds
    return np.frombuffer(packed, dtype=RECORD), np.frombuffer(hands, dtype=HAND)


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
        last, most = -1, 2 * CHUNK
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


def _mended(rows, records, hands):
    """Return ``Rows`` with some records put in place, or None to make all anew.

    New bridges come last, having the highest ids; where they do not, all is made anew.
    """
    fresh = _rows_of(records, hands)
    old = len(rows)
    at = np.searchsorted(rows.ids, fresh.ids)
    is_known = at < old
    is_known[is_known] = rows.ids[at[is_known]] == fresh.ids[is_known]
    if old and not (at[~is_known] == old).all():
        return None
    added = int((~is_known).sum())
    at[~is_known] = old + np.arange(added)

    def placed(before, after):
        kind = np.promote_types(before.dtype, after.dtype)
        made = np.zeros(old + added, dtype=kind)
        made[:old] = before
        made[at] = after
        return made

    codes, words = {}, {}
    for name, before in rows.codes.items():
        known = {word: number for number, word in enumerate(rows.words[name], 1)}
        numbers = [0] + [
            known.setdefault(word, len(known) + 1) for word in fresh.words[name]
        ]
        after = small(np.array(numbers, dtype=np.int64))[fresh.codes[name]]
        codes[name], words[name] = placed(before, after), list(known)
    touched = np.zeros(old + added, dtype=bool)
    touched[at] = True
    exact = tuple(
        np.concatenate([before[~touched[rows.exact[0]]], after])
        for before, after in zip(
            rows.exact,
            (at[fresh.exact[0]].astype(np.int32), *fresh.exact[1:]),
            strict=True,
        )
    )
    before = rows.hand_rows
    kept = ~touched[before]
    hand_rows = np.concatenate([before[kept], at[fresh.hand_rows]])
    order = np.argsort(hand_rows, kind="stable")
    builders = np.concatenate([rows.hand_builders[kept], fresh.hand_builders])
    sure = np.concatenate([rows.hand_sure[kept], fresh.hand_sure])
    return Rows(
        ids=placed(rows.ids, fresh.ids),
        x=placed(rows.x, fresh.x),
        y=placed(rows.y, fresh.y),
        exact=exact,
        **{name: placed(getattr(rows, name), getattr(fresh, name)) for name in PLAIN},
        codes=codes,
        words=words,
        hand_counts=np.bincount(hand_rows, minlength=old + added).astype(np.uint8),
        hand_builders=builders[order],
        hand_sure=sure[order],
    )
