"""Every table of the site as rows of models: counted, hashed, copied to another database.

The hash of a table is of the hashes of its rows, sorted, each value written one way:
so the same rows have the same hash on SQLite and on PostgreSQL, which neither order
text nor write JSON alike.
"""

from __future__ import annotations

import contextlib
import datetime
import decimal
import hashlib
import itertools
import json
import uuid

from django.apps import apps
from django.core.management.color import no_style
from django.db import connections

BATCH = 500
# Made by migrating an empty database, and so no sign that it holds anything.
MADE_BY_MIGRATING = {
    "contenttypes.ContentType",
    "auth.Permission",
    "auth.Group",
    "bridges.MapVersion",
}


def models():
    """Every model that has a table of its own, those between two models too."""
    return [
        model
        for model in apps.get_models(include_auto_created=True)
        if model._meta.managed and not model._meta.proxy and not model._meta.swapped
    ]


def rows(model, using):
    """Yield the rows in the order of their keys, a batch at a time.

    By key and not by a cursor left open: a cursor would need a transaction for as long
    as the whole table takes.
    """
    everything = model._base_manager.using(using).order_by("pk")
    last = None
    while True:
        part = everything if last is None else everything.filter(pk__gt=last)
        batch = list(part[:BATCH])
        yield from batch
        if len(batch) < BATCH:
            return
        last = batch[-1].pk


def summary(using: str) -> dict[str, dict]:
    """Return ``{table: {"rows": count, "sha256": hash}}`` of a whole database."""
    return {model._meta.label: _told(model, using) for model in models()}


def _told(model, using):
    fields = model._meta.concrete_fields
    hashes = []
    for row in rows(model, using):
        values = [_plain(getattr(row, field.attname)) for field in fields]
        text = json.dumps(values, sort_keys=True)
        hashes.append(hashlib.sha256(text.encode()).digest())
    hashes.sort()
    whole = hashlib.sha256(b"".join(hashes))
    return {"rows": len(hashes), "sha256": whole.hexdigest()}


def _plain(value):
    """Write a value the one way; PostgreSQL's JSON forgets how a number was written."""
    if isinstance(value, dict):
        return {str(name): _plain(inner) for name, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(inner) for inner in value]
    if isinstance(value, float) and value.is_integer():
        return int(value)
    if isinstance(value, datetime.datetime):
        return value.astimezone(datetime.UTC).isoformat()
    if isinstance(value, datetime.date | datetime.time | uuid.UUID):
        return str(value)
    if isinstance(value, decimal.Decimal):
        return format(value.normalize(), "f")
    if isinstance(value, datetime.timedelta):
        return value.total_seconds()
    if isinstance(value, bytes | memoryview):
        return bytes(value).hex()
    if value is None or isinstance(value, str | int | float):
        return value
    return str(value)


def holds_anything(using: str) -> str | None:
    """Return the name of a table that holds what somebody entered, else None."""
    for model in models():
        label = model._meta.label
        if label not in MADE_BY_MIGRATING and model._base_manager.using(using).exists():
            return label
    return None


def copy(source: str, target: str, progress=None) -> None:
    """Replace all rows of ``target`` by those of ``source``, keys and all.

    To be called inside a transaction of the target: foreign keys are looked at when it
    commits, so the order of the tables does not matter.
    """
    everything = models()
    for model in reversed(everything):
        # Not through the manager: nothing may follow from it, and no order is needed.
        model._base_manager.using(target)._raw_delete(target)
    for model in everything:
        fields = [one for one in model._meta.concrete_fields if not one.generated]
        most = connections[target].ops.bulk_batch_size(fields, range(BATCH))
        for batch in _batched(rows(model, source), max(1, most)):
            # Raw: no field may put today's date or a value of its own in place.
            model._base_manager.using(target)._insert(
                batch, fields=fields, using=target, raw=True
            )
        if progress:
            progress(model._meta.label)
    with connections[target].cursor() as cursor:
        for line in connections[target].ops.sequence_reset_sql(no_style(), everything):
            cursor.execute(line)


def _batched(items, size):
    items = iter(items)
    while batch := list(itertools.islice(items, size)):
        yield batch


def differences(one: dict, other: dict) -> list[str]:
    """Say in words in which tables two summaries differ."""
    found = []
    for label in sorted({*one, *other}):
        here, there = one.get(label), other.get(label)
        if here == there:
            continue
        if not here or not there:
            found.append(f"{label} is in one only")
        elif here["rows"] != there["rows"]:
            found.append(f"{label}: {here['rows']} rows and {there['rows']}")
        else:
            found.append(f"{label}: the rows differ")
    return found


@contextlib.contextmanager
def opened(facts: dict, alias: str):
    """Have a further database under ``alias`` while the block runs.

    ``facts`` as ``shared.databases.from_url`` returns them.
    """
    whole = {"default": {"ENGINE": "django.db.backends.dummy"}, alias: dict(facts)}
    connections.databases[alias] = connections.configure_settings(whole)[alias]
    try:
        yield connections[alias]
    finally:
        connections[alias].close()
        del connections[alias]
        del connections.databases[alias]
