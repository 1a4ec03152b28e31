"""Rows of the record as JSON objects that name one another by what outlives a database.

A row is named by its key where it has one (a slug, a number within its bridge, an id
made on a phone), and by the number of its line where it has none. What a history speaks
of and is no more is ``{"gone": 1}``, numbered as it is met.
"""

from __future__ import annotations

import datetime
import decimal
import uuid
from collections.abc import Iterator

import numpy as np
from django.core.serializers.json import DjangoJSONEncoder
from django.db import models

from bridges.models import (
    Attribution,
    Bridge,
    BuilderName,
    ChangeSeen,
    Claim,
    LifeEvent,
    Link,
    Plate,
    Source,
    Span,
    TrussLine,
)
from shared import policy
from surveys import record
from surveys.models import Component, Element, Photo, Repair, Viewpoint, Visit

from . import archive_kinds
from .archive_kinds import BY_NAME, Kind

BATCH = 500
# From the middle of its square a place lies within so many metres.
GENERAL_M = 1600
# Beyond this, PostgreSQL's JSON gives a float back as a whole number.
WHOLE = 1e15


class Book:
    """Names rows for one archive: whole, or what anybody may see."""

    def __init__(self, *, public: bool):
        self.public = public
        self._numbers: dict[str, np.ndarray] = {}
        self._gone: dict[str, dict[int, int]] = {}

    def rows(self, kind: Kind) -> Iterator[dict]:
        """Yield the rows of a kind as they are written."""
        for batch in _batches(self._included(kind)):
            names = self._names_in(kind, batch)
            for row in batch:
                yield self._row(kind, row, names)

    # -- which

    def _included(self, kind):
        if not self.public:
            return kind.model._base_manager.all()
        return PUBLIC[kind.name]()

    # -- how they are named

    def _names_in(self, kind, batch):
        """Return ``{field: {id: name}}`` of all that a batch refers to."""
        names = {}
        for field, target in self._references(kind).items():
            column = kind.model._meta.get_field(field).attname
            # In the order of the rows, so that what is gone is numbered as it is met.
            ids = dict.fromkeys(getattr(row, column) for row in batch)
            ids.pop(None, None)
            # Rows of their own kind may come later, so a line says it alone.
            by_line = target == kind.name
            names[field] = self._named(target, ids, by_line, kind.of)
        if kind.of:
            ids = dict.fromkeys(row.id for row in batch)
            names["record"] = self._named(kind.of, ids, False, kind.of)
        for field in self._many(kind):
            names[field] = self._many_named(kind, field, batch)
        for field in kind.listed:
            ids = {one[0] for row in batch for one in getattr(row, field)}
            names[field] = self._named("bridges", ids, False, "")
        return names

    def _references(self, kind):
        return {
            field: target
            for field, target in kind.references.items()
            if not self.public or (field in kind.public and BY_NAME[target].public)
        }

    def _many(self, kind):
        return [one for one in kind.many if not self.public or one in kind.public]

    def _named(self, target, ids, by_line, of_history):
        kind = BY_NAME[target]
        if kind.key and not by_line:
            found = self._keys(kind, ids)
        else:
            found = self._lines(kind, ids)
        if of_history:
            for pk in ids:
                if pk not in found:
                    gone = self._gone.setdefault(target, {})
                    found[pk] = {"gone": gone.setdefault(pk, len(gone) + 1)}
        return found

    def _keys(self, kind, ids):
        rows = self._included(kind).filter(pk__in=ids).order_by()
        return {
            pk: _scalar(key[0]) if len(key) == 1 else [_scalar(one) for one in key]
            for pk, *key in rows.values_list("pk", *kind.key_paths)
        }

    def _lines(self, kind, ids):
        if kind.name not in self._numbers:
            pks = self._included(kind).order_by("pk").values_list("pk", flat=True)
            self._numbers[kind.name] = np.fromiter(
                pks.iterator(chunk_size=5000), dtype=np.int64
            )
        pks = self._numbers[kind.name]
        found = {}
        for pk in ids:
            place = int(np.searchsorted(pks, pk))
            if place < len(pks) and pks[place] == pk:
                found[pk] = place + 1
        return found

    def _many_named(self, kind, field, batch):
        """Return ``{id: sorted names}`` of what each row of a batch has many of."""
        column = kind.model._meta.get_field(field)
        through = column.remote_field.through._base_manager
        own, other = column.m2m_field_name(), column.m2m_reverse_field_name()
        if field == "groups":
            pairs = through.filter(
                person__in=[row.pk for row in batch], group__name__in=policy.GROUPS
            ).values_list("person_id", "group__name")
            return _gathered(pairs)
        target = archive_kinds.BY_LABEL[column.related_model._meta.label].name
        pairs = list(
            through.filter(**{f"{own}__in": [row.pk for row in batch]}).values_list(
                f"{own}_id", f"{other}_id"
            )
        )
        names = self._named(target, {pk for _, pk in pairs}, False, "")
        return _gathered((pk, names[other]) for pk, other in pairs if other in names)

    # -- one row

    def _row(self, kind, row, names):
        if self.public:
            _withhold(kind, row)
        told = {}
        for field in kind.fields:
            if self.public and field.name not in kind.public:
                continue
            value = getattr(row, field.attname)
            if field.name in kind.references:
                told[field.name] = names.get(field.name, {}).get(value)
            else:
                told[field.name] = plain(value)
        for field in kind.listed:
            known = names[field]
            told[field] = [
                [known[pk], *rest] for pk, *rest in told[field] if pk in known
            ]
        if kind.of:
            told["record"] = names["record"][row.id]
        for field in self._many(kind):
            told[field] = names[field].get(row.pk, [])
        if kind.name == "photos" and row.arrived_at is None:
            # The pieces of what has not all arrived stay behind.
            told["received_bytes"] = 0
        if kind.name == "visits" and self.public:
            told["_recorded_by"] = row.surveyor.credit if row.surveyor else ""
        return told


def _batches(rows):
    """Yield lists of rows in the order of their keys; no cursor is left open."""
    last = None
    rows = rows.order_by("pk")
    while True:
        batch = list((rows if last is None else rows.filter(pk__gt=last))[:BATCH])
        if batch:
            yield batch
        if len(batch) < BATCH:
            return
        last = batch[-1].pk


def _gathered(pairs):
    found = {}
    for pk, name in pairs:
        found.setdefault(pk, []).append(name)
    for names in found.values():
        names.sort(key=lambda one: one if isinstance(one, list) else [one])
    return found


def _scalar(value):
    return str(value) if isinstance(value, uuid.UUID) else value


def plain(value):
    """Write a value the one way, whichever database it came from."""
    if isinstance(value, models.fields.files.FieldFile):
        return value.name or ""
    if isinstance(value, datetime.datetime):
        value = value.astimezone(datetime.UTC).replace(tzinfo=None)
        return f"{value.isoformat(timespec='microseconds')}Z"
    if isinstance(value, datetime.date | uuid.UUID):
        return str(value)
    if isinstance(value, decimal.Decimal):
        return format(value, "f")
    if isinstance(value, float) and value == 0:
        return 0.0
    if isinstance(value, float) and value.is_integer() and abs(value) >= WHOLE:
        return int(value)
    if isinstance(value, dict):
        return {str(name): plain(inner) for name, inner in value.items()}
    if isinstance(value, list | tuple):
        return [plain(inner) for inner in value]
    if value is None or isinstance(value, str | int | float):
        return value
    return DjangoJSONEncoder().default(value)


# -- what anybody may see


def _of_public_bridges(model, path="bridge"):
    return model.objects.filter(**{f"{path}__is_public": True})


def _observations():
    return (
        record.standing_observations()
        .prefetch_related(None)
        .filter(visit__status=Visit.Status.ACCEPTED, visit__bridge__is_public=True)
    )


def _repairs():
    return _of_public_bridges(Repair)


def _used_sources():
    """Sources that something public names: others may tell of what is not."""
    used = set()
    for rows, columns in (
        (
            _of_public_bridges(Span),
            [f"{name}_source" for name in archive_kinds.SPAN_FACETS],
        ),
        (_of_public_bridges(LifeEvent), ["source"]),
        (_of_public_bridges(Attribution), ["source"]),
        (_of_public_bridges(Claim), ["source"]),
        (BuilderName.objects.all(), ["source"]),
        (Visit.objects.visible_to(None), ["source"]),
        (_repairs(), ["sources"]),
    ):
        for column in columns:
            used |= set(rows.order_by().values_list(column, flat=True))
    return Source.objects.filter(pk__in=used - {None})


PUBLIC = {
    "sources": _used_sources,
    "builders": lambda: BY_NAME["builders"].model.objects.all(),
    "builder-names": lambda: BuilderName.objects.all(),
    "bridges": lambda: Bridge.objects.visible_to(None),
    "spans": lambda: _of_public_bridges(Span),
    "truss-lines": lambda: _of_public_bridges(TrussLine, "span__bridge"),
    "events": lambda: _of_public_bridges(LifeEvent),
    "attributions": lambda: _of_public_bridges(Attribution),
    "plates": lambda: _of_public_bridges(Plate),
    "claims": lambda: _of_public_bridges(Claim),
    "links": lambda: _of_public_bridges(Link),
    "elements": lambda: _of_public_bridges(Element),
    "visits": lambda: Visit.objects.visible_to(None).select_related("surveyor"),
    "observations": _observations,
    "components": lambda: Component.objects.filter(
        observation__superseded_by__isnull=True,
        observation__is_held_back=False,
        observation__visit__status=Visit.Status.ACCEPTED,
        observation__visit__bridge__is_public=True,
    ),
    "viewpoints": lambda: _of_public_bridges(Viewpoint).select_related("bridge"),
    "repairs": _repairs,
    "photos": lambda: (
        Photo.objects.public()
        .filter(visit__bridge__is_public=True)
        .select_related("visit__bridge")
    ),
    "changes-seen": lambda: _of_public_bridges(ChangeSeen),
}


def _withhold(kind, row):
    """Leave out of a row what would lead a stranger to a sensitive bridge."""
    if kind.name == "bridges" and row.is_position_sensitive:
        row.position_accuracy_m = GENERAL_M
    if kind.name == "visits" and row.bridge.is_position_sensitive:
        row.notes = ""
    if kind.name == "photos" and row.visit.bridge.is_position_sensitive:
        row.latitude = row.longitude = None
    if kind.name == "viewpoints" and row.bridge.is_position_sensitive:
        row.latitude = row.longitude = None
        row.description = ""
