"""The society's whole record as one file that another site can load.

Two kinds: ``full`` for the keeper, with people, what waits for review, every earlier
edit, exact places and original photographs; ``public`` for the world, with what a
signed-out visitor may see and no more. Neither holds a password. What follows from the
record (checks, effects, what lists and the map read) is made anew when loaded.

A backup keeps one site exactly, of one release. An archive is for another site, for a
library, and for whoever reads it without this software.
"""

from __future__ import annotations

import contextlib
from pathlib import Path
from typing import BinaryIO

from django.conf import settings
from django.core.files.storage import default_storage
from django.db import connection, models, transaction
from django.utils import timezone

from shared import archive_file
from surveys.models import Photo

from . import archive_kinds
from .archive_rows import PUBLIC, Book

FULL, PUBLIC_KIND = "full", "public"
KINDS = (FULL, PUBLIC_KIND)


def make(target: BinaryIO, *, public: bool = False, progress=None) -> dict:
    """Write an archive into an open binary file; returns its manifest.

    All rows are of one moment, and whoever writes to the site meanwhile is not kept
    waiting. ``progress`` is called with a line for people.
    """
    say = progress or (lambda words: None)
    writer = archive_file.Writer(target)
    kinds = archive_kinds.kinds(public=public)
    with _one_moment():
        made_at = timezone.now()
        book = Book(public=public)
        for kind in kinds:
            say(kind.name)
            writer.lines(f"{archive_file.RECORDS}{kind.name}.jsonl", book.rows(kind))
        missing = []
        writer.media(_files(public, missing, say))
    writer.text(archive_file.README, describe(public))
    return writer.close(
        {
            "of": PUBLIC_KIND if public else FULL,
            "society": settings.SOCIETY_NAME,
            "version": settings.VERSION,
            "made_at": made_at.isoformat(timespec="seconds"),
            "missing": missing,
        }
    )


@contextlib.contextmanager
def _one_moment():
    """See the database as it stands now until the end, and keep no writer waiting."""
    if connection.in_atomic_block:
        yield
    elif connection.vendor == "sqlite":
        # Not ``atomic``: its transactions begin by taking the lock that writers need.
        with connection.cursor() as cursor:
            cursor.execute("BEGIN DEFERRED")
            try:
                yield
            finally:
                cursor.execute("ROLLBACK")
    else:
        with transaction.atomic():
            with connection.cursor() as cursor:
                cursor.execute(
                    "SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY"
                )
            yield


def _files(public, missing, say):
    """Yield each file that photographs name, once; of missing ones only the name."""
    photos = PUBLIC["photos"]() if public else Photo.objects.all()
    # The same picture is kept once, so photographs that share it stand together.
    rows = photos.order_by("sha256", "pk").values_list("original", "derivatives")
    before = ()
    for original, copies in rows.iterator(chunk_size=500):
        names = sorted({*copies.values(), *([] if public else [original])} - {""})
        for name in names:
            if name in before:
                continue
            try:
                file = default_storage.open(name)
            except FileNotFoundError:
                missing.append(name)
                continue
            say(name)
            yield name, file
        before = names


# -- what is in it, in words, for who has only the file


def describe(public: bool) -> str:
    """Return the archive's own description."""
    whole = "what anybody may see" if public else "everything, for the keeper's hands"
    parts = [HEAD.format(society=settings.SOCIETY_NAME, whole=whole)]
    for kind in archive_kinds.kinds(public=public):
        parts.append(_described(kind, public))
    return "\n".join(parts)


HEAD = """\
The record of {society}
{whole}

Each file below records/ has one JSON object a line (UTF-8), described below. Files of
photographs lie below media/ under the names that the rows of "photos" give; media.jsonl
has the size and SHA-256 of each, manifest.json those of everything else.

A row that names another gives its key: a text, or a list of the parts of the key; where
a kind has no key, or a row names one of its own kind, the number of its line, from 1.
{{"gone": 1}} is a row that was deleted before. Dates are EDTF (Library of Congress, 2019),
days ISO 8601, moments in UTC. Numbers carry their unit in the field's name: ft, in, m,
deg, plf (pounds per foot), tons. A blank text or null says that nothing is recorded.
"""


def _described(kind, public):
    lines = [f"\nrecords/{kind.name}.jsonl", f"  {kind.about}"]
    if kind.key:
        lines.append(f"  Key: {', '.join(kind.key)}")
    for name, why in kind.without.items():
        if not kind.of and not public:
            lines.append(f"  Without {name}: {why}.")
    if kind.of:
        lines.append(f"  record: which row of “{kind.of}”")
    for field in kind.fields:
        if not public or field.name in kind.public:
            lines.append(f"  {field.name}: {_meaning(kind, field)}")
    for name in kind.many:
        lines.append(f"  {name}: list of keys")
    return "\n".join(lines)


def _meaning(kind, field):
    words = str(field.verbose_name)
    if field.name in kind.references:
        return f"{words} (one of “{kind.references[field.name]}”)"
    if field.choices:
        return f"{words}: {', '.join(value for value, _ in field.flatchoices)}"
    if isinstance(field, models.BooleanField):
        return f"{words} (true or false)"
    return words


def file_name(public: bool, day) -> str:
    return f"archive-{PUBLIC_KIND if public else FULL}-{day:%Y-%m-%d}.zip"


def write(path: Path, *, public: bool, progress=None) -> dict:
    """Write an archive to a path; it bears its name when all is in it."""
    partial = path.with_name(f"{path.name}.partial")
    try:
        with partial.open("wb") as file:
            facts = make(file, public=public, progress=progress)
        partial.replace(path)
    finally:
        partial.unlink(missing_ok=True)
    return facts
