"""Where every bridge stands, held in memory so that a view of the map costs little.

The arrays are rebuilt when ``MapVersion`` says that something was written. What a
person may see is settled here: a sensitive position is replaced by the middle of its
square before anything can be asked of it, so no answer built on these can give it
away. Filters are the database's own (``bridges.filters``), kept as a mask for as long
as the version stands; map, list and counts therefore agree.

Positions are Web Mercator world coordinates in 26 bits (256 pixels at zoom 18); a
cell is 64 pixels at the zoom asked for.
"""

from __future__ import annotations

import hashlib
import math
import threading
import uuid
from collections import OrderedDict
from dataclasses import dataclass, field, fields, replace
from functools import lru_cache

import numpy as np
from django.core.cache import cache
from django.core.exceptions import ValidationError
from django.db import connection
from django.db.models import CharField, FloatField
from django.db.models.functions import Cast
from django.utils import timezone

from shared import policy

from .filters import PARTS, matching
from .models import Attribution, Bridge, MapVersion, generalised

BITS = 26
CELL_PX = 64
MOST_ZOOM = 20
MOST_CELLS = 65_536
MOST_POINTS = 200
MOST_MASKS = 32
CHUNK = 20_000
# Where Web Mercator's square ends: atan(sinh(pi)) in degrees.
MOST_LATITUDE = math.degrees(math.atan(math.sinh(math.pi)))
FIRST_DECADE, LAST_DECADE = 1000, 2990
CODED = {
    "form": "standing__form",
    "deck_position": "standing__deck_position",
    "connection": "standing__connection",
    "material": "standing__material",
    "deck": "standing__deck",
    "status": "status",
    "listing": "listing",
    "county": "county",
}
TOKEN_KEY = "bridges.mapindex.token"


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
        return cls(*_edges(bbox), _zoom(zoom))

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


def _edges(text):
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


def project(latitude, longitude):
    """Return world coordinates (x, y) of ``BITS`` bits; y grows to the south."""
    top = 1 << BITS
    sine = np.sin(np.radians(np.clip(latitude, -MOST_LATITUDE, MOST_LATITUDE)))
    x = (np.asarray(longitude) + 180) / 360
    y = 0.5 - np.log((1 + sine) / (1 - sine)) / (4 * math.pi)
    return tuple(
        np.clip(np.floor(part * top), 0, top - 1).astype(np.int32) for part in (x, y)
    )


def unproject(x, y):
    """Return (latitude, longitude) in degrees of the middle of a world unit."""
    top = 1 << BITS
    longitude = (np.asarray(x) + 0.5) / top * 360 - 180
    turned = math.pi * (1 - 2 * (np.asarray(y) + 0.5) / top)
    return np.degrees(np.arctan(np.sinh(turned))), longitude


@dataclass(frozen=True)
class Rows:
    """One value for each bridge in every array, ordered by id."""

    ids: np.ndarray
    latitude: np.ndarray
    longitude: np.ndarray
    is_public: np.ndarray
    is_sensitive: np.ndarray
    first_decade: np.ndarray
    last_decade: np.ndarray
    is_bounded: np.ndarray
    parts: np.ndarray  # one bit for each of ``filters.PARTS``
    codes: dict[str, np.ndarray]
    words: dict[str, list[str]]
    built_by: np.ndarray  # (bridge id, builder id), one row for each pair

    def keep(self, mask):
        """Return only the bridges of the mask."""
        kept = {
            one.name: getattr(self, one.name)[mask]
            for one in fields(self)
            if one.name not in ("codes", "words", "built_by")
        }
        codes = {name: values[mask] for name, values in self.codes.items()}
        return replace(self, **kept, codes=codes)


@dataclass
class Places:
    """What one kind of person may see of the index, and the views asked of it."""

    rows: Rows
    token: str
    version: int
    is_members: bool
    x: np.ndarray = field(init=False)
    y: np.ndarray = field(init=False)
    _masks: OrderedDict = field(default_factory=OrderedDict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def __post_init__(self):
        self.x, self.y = project(self.rows.latitude, self.rows.longitude)

    def __len__(self):
        return len(self.rows.ids)

    def mask(self, pairs):
        """Return which bridges the filter pairs leave, a boolean for each."""
        # "Within so many years" moves with the day.
        key = (tuple(pairs), timezone.localdate())
        with self._lock:
            if key in self._masks:
                self._masks.move_to_end(key)
                return self._masks[key]
        mask = self._ask(pairs)
        with self._lock:
            self._masks[key] = mask
            while len(self._masks) > MOST_MASKS:
                self._masks.popitem(last=False)
        return mask

    def _ask(self, pairs):
        if not pairs:
            return np.ones(len(self), dtype=bool)
        found = (
            matching(pairs, is_members=self.is_members)
            .order_by()
            .values_list("pk", flat=True)
        )
        ids = np.fromiter(found.iterator(chunk_size=10_000), dtype=np.int64)
        return np.isin(self.rows.ids, ids)

    def bounds(self, mask):
        """Return (west, south, east, north) of the bridges, or None for none."""
        if not mask.any():
            return None
        latitude, longitude = self.rows.latitude[mask], self.rows.longitude[mask]
        edges = longitude.min(), latitude.min(), longitude.max(), latitude.max()
        return tuple(round(float(edge), 5) for edge in edges)

    def view(self, box, mask):
        """Return what the box shows: (points, clusters).

        ``points`` are rows' numbers and ``clusters`` (latitude, longitude, count). Up
        to ``MOST_POINTS`` bridges in the grid are points; above that a cell with more
        than one bridge is a cluster at their mean place.
        """
        shift, first_x, first_y, columns, rows = box.cells()
        column, row = (self.x >> shift) - first_x, (self.y >> shift) - first_y
        inside = mask & (column >= 0) & (column < columns) & (row >= 0) & (row < rows)
        numbers = np.flatnonzero(inside)
        if len(numbers) <= MOST_POINTS:
            return numbers, []
        cell = row[numbers].astype(np.int64) * columns + column[numbers]
        size = columns * rows
        counts = np.bincount(cell, minlength=size)
        sums = [
            np.bincount(cell, weights=part, minlength=size)
            for part in (self.x[numbers], self.y[numbers], numbers)
        ]
        alone = counts == 1
        if alone.sum() > MOST_POINTS:
            alone[:] = False
        together = np.flatnonzero((counts > 0) & ~alone)
        mean_x, mean_y = (part[together] / counts[together] for part in sums[:2])
        latitude, longitude = unproject(mean_x, mean_y)
        clusters = zip(
            latitude.tolist(),
            longitude.tolist(),
            counts[together].tolist(),
            strict=True,
        )
        return np.sort(sums[2][alone].astype(np.int64)), list(clusters)

    def counts(self, name, mask):
        """Return {value: how many bridges} of one facet, for the bridges of a mask."""
        if name == "decade":
            return self._decades(mask)
        if name == "builder":
            return self._builders(mask)
        if name == "changed":
            parts = self.rows.parts[mask]
            return {
                part: int(np.count_nonzero(parts & (1 << bit)))
                for bit, (part, _) in enumerate(PARTS)
                if (parts & (1 << bit)).any()
            }
        codes = self.rows.codes[name][mask]
        found = np.bincount(codes[codes >= 0], minlength=len(self.rows.words[name]))
        words = self.rows.words[name]
        return {word: int(n) for word, n in zip(words, found, strict=True) if n}

    def _decades(self, mask):
        """Count a bridge in each decade that its date may fall in."""
        first, last = self.rows.first_decade[mask], self.rows.last_decade[mask]
        dated = first >= 0
        steps = np.zeros((LAST_DECADE - FIRST_DECADE) // 10 + 2, dtype=np.int64)
        np.add.at(steps, first[dated], 1)
        np.add.at(steps, last[dated] + 1, -1)
        reached = np.cumsum(steps)
        bounded = self.rows.is_bounded & mask
        shown = np.zeros(len(steps), dtype=np.int64)
        np.add.at(shown, self.rows.first_decade[bounded], 1)
        np.add.at(shown, self.rows.last_decade[bounded] + 1, -1)
        numbers = np.flatnonzero(np.cumsum(shown))
        return {str(FIRST_DECADE + 10 * int(n)): int(reached[n]) for n in numbers} | (
            {"undated": int((~dated).sum())} if (~dated).any() else {}
        )

    def _builders(self, mask):
        pairs = self.rows.built_by
        kept = np.isin(pairs[:, 0], self.rows.ids[mask])
        ids, found = np.unique(pairs[kept, 1], return_counts=True)
        return dict(zip(ids.tolist(), found.tolist(), strict=True))

    def only_maybe(self, decades, mask):
        """Count the bridges of a mask that a decade was not surely asked of.

        These have a date whose bounds also reach a decade that was not asked for.
        """
        asked = np.zeros((LAST_DECADE - FIRST_DECADE) // 10 + 2, dtype=np.int64)
        for decade in decades:
            if decade.isdigit():
                asked[(int(decade) - FIRST_DECADE) // 10 + 1] = 1
        before = np.cumsum(asked)
        first, last = self.rows.first_decade[mask], self.rows.last_decade[mask]
        dated = first >= 0
        first, last = first[dated], last[dated]
        return int((before[last + 1] - before[first] < last - first + 1).sum())


def digest(parts):
    """Return a short name for anything whose ``repr`` tells it from all else."""
    return hashlib.sha256(repr(parts).encode()).hexdigest()[:24]


@dataclass(frozen=True)
class Held:
    token: str
    version: int
    members: Places
    public: Places


_lock = threading.Lock()
_held: Held | None = None


def places_for(person):
    """Return the ``Places`` that a person may see, at the version that stands now."""
    held = _current()
    sees_all = policy.can_log_visits(person) and policy.can_see_exact_positions(person)
    return held.members if sees_all else held.public


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
    rows = _read()
    public = rows.keep(rows.is_public)
    latitude, longitude = public.latitude.copy(), public.longitude.copy()
    for number in np.flatnonzero(public.is_sensitive).tolist():
        latitude[number], longitude[number] = generalised(
            float(latitude[number]), float(longitude[number])
        )
    public = replace(public, latitude=latitude, longitude=longitude)
    return Held(
        token,
        version,
        members=Places(rows, token, version, is_members=True),
        public=Places(public, token, version, is_members=False),
    )


class _Codes(dict):
    """Numbers words as they come; a blank is −1."""

    def __init__(self):
        super().__init__({None: -1, "": -1})

    def __missing__(self, word):
        self[word] = number = len(self) - 2
        return number

    def words(self):
        return list(self)[2:]


def _read():
    """Read every bridge, a chunk of rows at a time turned into arrays.

    Places and dates come as numbers and text, straight from the cursor: making a
    ``Decimal``, a ``date`` or a ``bool`` of each takes longer than all the rest.
    """
    query = (
        Bridge.objects.order_by("pk")
        .annotate(
            y=Cast("latitude", FloatField()),
            x=Cast("longitude", FloatField()),
            first=Cast("built_earliest", CharField()),
            last=Cast("built_latest", CharField()),
        )
        .values_list(
            *("pk", "y", "x", "is_public", "is_position_sensitive"),
            *("built", "first", "last", "standing__changed_parts"),
            *CODED.values(),
        )
        .query
    )
    codes = {name: _Codes() for name in CODED}
    chunks = [_arrays([], codes)]
    with connection.cursor() as cursor:
        cursor.execute(*query.sql_with_params())
        while rows := cursor.fetchmany(CHUNK):
            chunks.append(_arrays(rows, codes))
    plain, coded = zip(*chunks, strict=True)
    pairs = Attribution.objects.values_list("bridge_id", "builder_id").distinct()
    return Rows(
        **{name: np.concatenate([one[name] for one in plain]) for name in plain[0]},
        codes={name: np.concatenate([one[name] for one in coded]) for name in CODED},
        words={name: known.words() for name, known in codes.items()},
        built_by=np.array(list(pairs), dtype=np.int64).reshape(-1, 2),
    )


def _arrays(rows, codes):
    """Return ({field of ``Rows``: array}, {coded field: array}) of some rows."""
    columns = list(zip(*rows, strict=True)) or [()] * (9 + len(CODED))
    ids, latitude, longitude, is_public, is_sensitive = columns[:5]
    decades = [_decades_of(*dates) for dates in zip(*columns[5:8], strict=True)]
    first, last, bounded = zip(*decades, strict=True) if decades else ((), (), ())
    plain = {
        "ids": np.array(ids, dtype=np.int64),
        "latitude": np.array(latitude, dtype=np.float64),
        "longitude": np.array(longitude, dtype=np.float64),
        "is_public": np.array(is_public, dtype=bool),
        "is_sensitive": np.array(is_sensitive, dtype=bool),
        "first_decade": np.array(first, dtype=np.int16),
        "last_decade": np.array(last, dtype=np.int16),
        "is_bounded": np.array(bounded, dtype=bool),
        "parts": np.array([_bits(text) for text in columns[8]], dtype=np.int32),
    }
    coded = {
        name: np.array([codes[name][value] for value in column], dtype=np.int32)
        for name, column in zip(CODED, columns[9:], strict=True)
    }
    return plain, coded


@lru_cache(10_000)
def _decades_of(built, earliest, latest):
    """Return (first, last) decade as counted from ``FIRST_DECADE``, −1 for none.

    ``earliest`` and ``latest`` are ISO dates as text, None where open.
    """
    if not built:
        return -1, -1, False
    first = int(earliest[:4]) // 10 * 10 if earliest else FIRST_DECADE
    last = int(latest[:4]) // 10 * 10 if latest else LAST_DECADE
    first, last = (
        (min(max(decade, FIRST_DECADE), LAST_DECADE) - FIRST_DECADE) // 10
        for decade in (first, last)
    )
    return first, last, earliest is not None and latest is not None


@lru_cache(10_000)
def _bits(changed_parts):
    words = (changed_parts or "").split(",")
    return sum(1 << bit for bit, (part, _) in enumerate(PARTS) if part in words)
