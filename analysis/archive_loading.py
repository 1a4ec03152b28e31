"""Loading an archive into a site that holds nothing yet.

An archive may come from anybody. Every byte of it is measured first; then every value
is read by the field it goes into, and the rows, with all that follows from them, are
stored in one transaction. ``Refused`` says why, and what had been stored is undone.
"""

from __future__ import annotations

import itertools
import re
from typing import BinaryIO

from django.contrib.auth.hashers import make_password
from django.contrib.auth.models import Group
from django.core.exceptions import ValidationError
from django.core.files import File
from django.core.files.storage import default_storage
from django.core.management.color import no_style
from django.db import DatabaseError, connection, models, transaction

from bridges.models import Bridge
from shared import archive_file, audit, policy, tables
from shared.archive_file import RECORDS, Refused
from shared.dates import EdtfField
from shared.statistics import refresh_statistics
from surveys import services as survey_services

from . import archive, archive_kinds, services
from .archive_kinds import BY_NAME

BATCH = 500
# NUL, and halves of surrogate pairs, which PostgreSQL cannot keep.
UNSTORABLE = re.compile("[\0\ud800-\udfff]")
BOUNDS = ("earliest", "latest")


def look(source: BinaryIO, progress=None) -> dict:
    """Look at every byte of an archive; returns its manifest. Raises ``Refused``."""
    with archive_file.Reader(source) as reader:
        _require_known(reader)
        reader.verify(progress)
        return reader.manifest


def load(source: BinaryIO, progress=None) -> dict:
    """Load an archive; returns its manifest. Raises ``Refused``."""
    say = progress or (lambda words: None)
    _require_empty()
    with archive_file.Reader(source) as reader:
        _require_known(reader)
        say("looking at every byte")
        reader.verify()
        stored = []
        try:
            names = _store_media(reader, stored, say)
            _Loading(reader, names, say).run()
        except BaseException:
            for name in stored:
                default_storage.delete(name)
            raise
        manifest = reader.manifest
    say("checks")
    for bridge in Bridge.objects.order_by("pk").iterator(chunk_size=100):
        services.recheck(bridge=bridge)
    rows = sum(one.get("lines", 0) for one in manifest["members"].values())
    audit.note(
        audit.Action.RESTORED,
        subject=f"archive of {manifest.get('society', '?')}, {rows} rows",
    )
    return manifest


def _require_empty():
    try:
        held = tables.holds_anything("default")
    except DatabaseError:
        raise Refused("The tables of this release are not there: manage.py migrate.")
    if held:
        raise Refused(
            f"The site holds something already ({held}). An archive is loaded into an "
            "empty one: a new data folder or database, after “migrate”, before anybody "
            "has an account."
        )


def _require_known(reader):
    """Refuse kinds of records that this release knows nothing of."""
    if reader.manifest.get("of") not in archive.KINDS:
        raise Refused("Its manifest does not say what kind of archive it is.")
    known = {kind.name for kind in archive_kinds.kinds(public=False)}
    if unknown := sorted(set(reader.kinds) - known):
        raise archive_file.Newer(
            f"It holds {', '.join(unknown)[:200]}, of which this release knows nothing. "
            f"It was made by release {reader.manifest.get('version', '?')!s:.20}."
        )


def _store_media(reader, stored, say):
    """Put the files in place; returns the names that rows may give."""
    names = set(reader.manifest.get("missing", ()))
    for row in reader.media():
        name = row["name"]
        if default_storage.exists(name):
            raise Refused(f"The media folder holds {name} already.")
        say(name)
        with reader.open_media(name) as file:
            kept = default_storage.save(name, File(file))
        stored.append(kept)
        if kept != name:
            raise Refused(f"{name} could not be stored under its name.")
        names.add(name)
    return names


class _Loading:
    """One archive going in."""

    def __init__(self, reader, files, say):
        self.reader, self.files, self.say = reader, files, say
        self.counts = {kind: reader.count(kind) for kind in reader.kinds}

    @transaction.atomic
    def run(self):
        loaded = []
        for kind in archive_kinds.kinds(public=False):
            if kind.name not in self.counts:
                continue
            self.say(kind.name)
            try:
                with transaction.atomic():
                    self._load(kind)
            except DatabaseError as error:
                raise Refused(
                    f"{RECORDS}{kind.name}.jsonl cannot be stored: "
                    f"{str(error).splitlines()[0]}"
                )
            loaded.append(kind.model)
        for line in connection.ops.sequence_reset_sql(no_style(), loaded):
            with connection.cursor() as cursor:
                cursor.execute(line)
        refresh_statistics()
        self.say("what lists and the map read")
        for bridge in Bridge.objects.order_by("pk").iterator(chunk_size=100):
            survey_services.refresh_standing(bridge=bridge)
        try:
            connection.check_constraints()
        except DatabaseError as error:
            raise Refused(f"Its rows do not hang together: {error}")

    def _load(self, kind):
        rows = self.reader.rows(kind.name)
        while batch := list(itertools.islice(rows, BATCH)):
            refers = self._resolved(kind, batch)
            made = [self._made(kind, number, row, refers) for number, row in batch]
            fields = list(kind.model._meta.concrete_fields)
            most = max(1, connection.ops.bulk_batch_size(fields, made))
            for start in range(0, len(made), most):
                kind.model._base_manager._insert(
                    made[start : start + most],
                    fields=fields,
                    using=connection.alias,
                    raw=True,
                )
            for name in kind.many:
                self._load_many(kind, name, batch)

    # -- which row is meant

    def _resolved(self, kind, batch):
        """Return ``{field: {name as written: id}}`` for a batch."""
        found = {}
        for field, target in kind.references.items():
            by_line = target == kind.name
            names = [row.get(field) for _, row in batch]
            found[field] = self._ids(target, names, by_line)
        for field in kind.listed:
            names = [one[0] for _, row in batch for one in _lists(row.get(field))]
            found[field] = self._ids("bridges", names, False)
        if kind.of:
            names = [row.get("record") for _, row in batch]
            found["record"] = self._ids(kind.of, names, False)
        return found

    def _ids(self, target, names, by_line):
        kind = BY_NAME[target]
        names = [one for one in names if one is not None]
        if not kind.key or by_line:
            most = self.counts.get(target, 0)
            return {one: one for one in names if type(one) is int and 1 <= one <= most}
        keys = {_hashable(one) for one in names if not isinstance(one, dict)}
        width = len(kind.key_paths)
        keys = {one for one in keys if one is not None and len(one) == width}
        if not keys:
            return {}
        wanted = {
            f"{path}__in": sorted({key[place] for key in keys}, key=str)
            for place, path in enumerate(kind.key_paths)
        }
        try:
            rows = list(
                kind.model._base_manager.filter(**wanted).values_list(
                    "pk", *kind.key_paths
                )
            )
        except (ValueError, TypeError, ValidationError):
            return {}
        ids = {tuple(str(part) for part in key): pk for pk, *key in rows}
        return {
            key: ids[tuple(str(part) for part in key)]
            for key in keys
            if tuple(str(part) for part in key) in ids
        }

    def _id(self, kind, number, field, name, found, is_history):
        if name is None:
            return None
        if isinstance(name, dict):
            gone = name.get("gone")
            if is_history and type(gone) is int and 1 <= gone < 2**31:
                # Below nought, where no row of the site's own will ever be.
                return -gone
        key = name if type(name) is int else _hashable(name)
        if key is None or key not in found:
            _refuse(kind, number, field, f"names {name!r:.80}, which is not there")
        return found[key]

    def _load_many(self, kind, field, batch):
        if field == "groups":
            self._load_groups(batch)
            return
        column = kind.model._meta.get_field(field)
        target = archive_kinds.BY_LABEL[column.related_model._meta.label].name
        through = column.remote_field.through
        own, other = column.m2m_field_name(), column.m2m_reverse_field_name()
        for number, row in batch:
            if not isinstance(row.get(field, []), list):
                _refuse(kind, number, field, "is no list")
        every = [name for _, row in batch for name in row.get(field, [])]
        found = self._ids(target, every, False)
        through._base_manager.bulk_create(
            through(
                **{
                    f"{own}_id": number,
                    f"{other}_id": self._id(kind, number, field, name, found, False),
                }
            )
            for number, row in batch
            for name in row.get(field, [])
        )

    def _load_groups(self, batch):
        groups = {
            name: Group.objects.get_or_create(name=name)[0] for name in policy.GROUPS
        }
        through = BY_NAME["people"].model.groups.through
        rows = []
        for number, row in batch:
            for name in row.get("groups", []):
                if name not in groups:
                    _refuse(BY_NAME["people"], number, "groups", f"has no {name!r:.40}")
                rows.append(through(person_id=number, group=groups[name]))
        through.objects.bulk_create(rows)

    # -- one row

    def _made(self, kind, number, row, refers):
        made = kind.model()
        made.pk = number
        known = {one.name: one for one in kind.fields}
        for name in row:
            is_known = name in known or name in kind.many or name.startswith("_")
            if not is_known and not (kind.of and name == "record"):
                _refuse(kind, number, name, "is no field that this release knows")
        for name, field in known.items():
            if name not in row:
                continue
            if name in kind.listed:
                found = refers[name]
                value = [
                    [self._id(kind, number, name, pk, found, False), *rest]
                    for pk, *rest in _lists(row[name])
                ]
                setattr(made, name, value)
            elif name in refers:
                found = refers[name]
                value = self._id(kind, number, name, row[name], found, bool(kind.of))
                if value is None and not field.null:
                    _refuse(kind, number, name, "is not said")
                setattr(made, field.attname, value)
            else:
                self._set(kind, number, made, field, row[name])
        if kind.of:
            pk = self._id(
                kind, number, "record", row.get("record"), refers["record"], True
            )
            if pk is None:
                _refuse(kind, number, "record", "is not said")
            made.id = made.history_relation_id = pk
        if kind.name == "people":
            made.password = make_password(None)
        if kind.name == "photos":
            self._require_files(kind, number, made)
        return made

    def _set(self, kind, number, made, field, value):
        try:
            value = _read(field, value)
            if value not in field.empty_values and not kind.of:
                value = field.clean(value, made)
        except ValidationError as error:
            _refuse(kind, number, field.name, "; ".join(error.messages))
        except (TypeError, ValueError, OverflowError):
            _refuse(kind, number, field.name, f"cannot be {value!r:.60}")
        if isinstance(field, EdtfField) and kind.of:
            _fill_bounds(field, made, value)
        setattr(made, field.attname, value)

    def _require_files(self, kind, number, photo):
        copies = (
            photo.derivatives if isinstance(photo.derivatives, dict) else {"": None}
        )
        names = [*copies.values(), *filter(None, [photo.original.name])]
        for name in names:
            if name not in self.files:
                _refuse(kind, number, "original", f"names no file of its: {name!r:.80}")


def _read(field, value):
    """Return a value as a field keeps it. Raises as the field does."""
    if value is None:
        if not field.null:
            raise ValidationError("is not said")
        return None
    if isinstance(field, models.CharField | models.TextField | models.FileField):
        if not isinstance(value, str):
            raise ValidationError("is no text")
        most = field.max_length
        if most is not None and len(value) > most:
            raise ValidationError(f"is longer than {most} letters")
    if isinstance(field, models.BooleanField) and not isinstance(value, bool):
        raise ValidationError("is neither true nor false")
    if _is_unstorable(value):
        raise ValidationError("holds characters that cannot be kept")
    return field.to_python(value)


def _lists(value):
    """Return the lists of a list that begin with something; nothing of other shapes."""
    rows = value if isinstance(value, list) else []
    return [one for one in rows if isinstance(one, list) and one]


def _is_unstorable(value):
    if isinstance(value, str):
        return bool(UNSTORABLE.search(value))
    if isinstance(value, dict):
        return any(_is_unstorable(part) for pair in value.items() for part in pair)
    return isinstance(value, list) and any(map(_is_unstorable, value))


def _fill_bounds(field, made, value):
    """A date as it once stood may be one that is not taken any more: then no bounds."""
    try:
        field.clean(value, made)
    except ValidationError:
        for end in BOUNDS:
            setattr(made, f"{field.name}_{end}", None)


def _hashable(name):
    """Return a key as a tuple of texts and numbers, None for anything else."""
    parts = name if isinstance(name, list) else [name]
    is_sound = all(isinstance(part, str) or type(part) is int for part in parts)
    if not is_sound or any(_is_unstorable(part) for part in parts):
        return None
    return tuple(parts)


def _refuse(kind, number, field, words):
    raise Refused(f"{RECORDS}{kind.name}.jsonl, line {number}, {field}: {words}.")
