"""Backups: the whole database and all files in one folder, with a manifest of hashes.

The database lies in a backup as one SQLite file, also when it came from PostgreSQL, so
a backup can be restored to either and read without this software. The database is
taken first and the files after it: a file is always written before the row that names
it, so every file the rows name is there.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import shutil
import sqlite3
from collections.abc import Iterator
from pathlib import Path

from django.apps import apps
from django.conf import settings
from django.core.files import File
from django.core.files.storage import FileSystemStorage, default_storage
from django.core.management import call_command
from django.db import connection, connections, models, transaction
from django.db.migrations.loader import MigrationLoader
from django.utils import timezone

from . import databases, tables

KIND = "second-crossing backup"
FORMAT = 1
DATABASE = "database.sqlite3"
MEDIA = "media"
MANIFEST = "manifest.json"
SEAL = "manifest.sha256"
# Half-written files; nothing names them.
PASSING = ("scratch",)
BLOCK = 1024 * 1024
SOURCE = "backup"


class Refused(Exception):
    """Nothing was touched, and the text says why, for people."""


# -- making one


def make(folder: Path, progress=None) -> dict:
    """Make a backup in ``folder``, which must not hold anything; returns the manifest.

    Safe while the site is written to. The folder gets its name when all is in it: what
    is cut short stays under another name and is refused by ``restore``.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise Refused(f"{folder} holds something already. Name an empty place.")
    partial = folder.with_name(f"{folder.name}.partial")
    shutil.rmtree(partial, ignore_errors=True)
    partial.mkdir(parents=True)
    _snapshot(partial / DATABASE)
    with _opened(partial / DATABASE):
        facts = {
            "kind": KIND,
            "format": FORMAT,
            "version": settings.VERSION,
            "made_at": timezone.now().isoformat(timespec="seconds"),
            "came_from": connection.vendor,
            "migrations": sorted(_applied(SOURCE)),
            "tables": tables.summary(SOURCE),
        }
        named = set(_named_files(SOURCE))
    _plain_journal(partial / DATABASE)
    facts["database"] = _measure(partial / DATABASE)
    facts["media"] = _copy_media(partial / MEDIA, progress)
    facts["missing"] = sorted(named - set(facts["media"]))
    text = json.dumps(facts, indent=1, sort_keys=True, ensure_ascii=False)
    _write(partial / MANIFEST, text)
    _write(partial / SEAL, hashlib.sha256(text.encode()).hexdigest() + "\n")
    if folder.exists():
        folder.rmdir()
    partial.rename(folder)
    _sync(folder.parent)
    return facts


def _snapshot(path):
    """Write the database as it stands at one moment; writers are not kept waiting."""
    if connection.vendor == "sqlite":
        with contextlib.closing(_raw(connection.settings_dict["NAME"])) as live:
            live.execute("VACUUM INTO ?", [str(path)])
        return
    databases.migrate(f"sqlite:///{path}")
    with _opened(path) as snapshot, transaction.atomic():
        with connection.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")
        with transaction.atomic(using=snapshot.alias):
            tables.copy("default", snapshot.alias)


def _raw(path):
    return sqlite3.connect(f"file:{path}?mode=rw", uri=True, timeout=60)


@contextlib.contextmanager
def _opened(path):
    with tables.opened(databases.from_url(f"sqlite:///{path}"), SOURCE) as source:
        yield source


def _plain_journal(path):
    """One file, without a log beside it, that a read-only place can hold."""
    with contextlib.closing(_raw(path)) as file:
        file.execute("PRAGMA journal_mode=DELETE")


def _applied(alias) -> set[str]:
    loader = MigrationLoader(connections[alias])
    return {f"{app}.{name}" for app, name in loader.applied_migrations}


def _named_files(alias) -> Iterator[str]:
    """Every file that a row names."""
    for model in apps.get_models():
        for field in model._meta.concrete_fields:
            if isinstance(field, models.FileField):
                rows = model._base_manager.using(alias).exclude(**{field.name: ""})
                yield from filter(None, rows.values_list(field.name, flat=True))


def _copy_media(folder, progress):
    copied = {}
    for name in stored_names():
        place = folder / name
        place.parent.mkdir(parents=True, exist_ok=True)
        try:
            with default_storage.open(name) as source, place.open("wb") as target:
                shutil.copyfileobj(source, target, BLOCK)
        except FileNotFoundError:
            # A piece of an upload that was finished meanwhile; its photo is next time's.
            place.unlink(missing_ok=True)
            continue
        copied[name] = _measure(place)
        if progress:
            progress(name)
    return copied


def stored_names() -> Iterator[str]:
    """Yield the name of every file kept, but for half-written ones."""
    held = getattr(default_storage, "bucket", None)
    if held is None:
        yield from _names_in("")
        return
    # A bucket has no folders: one question for each thousand names, and no guessing.
    for one in held.objects.all():
        if one.key.partition("/")[0] not in PASSING:
            yield one.key


def _names_in(folder):
    try:
        folders, names = default_storage.listdir(folder)
    except FileNotFoundError:
        return
    for name in sorted(names):
        yield f"{folder}/{name}" if folder else name
    for name in sorted(folders):
        inner = f"{folder}/{name}" if folder else name
        if inner not in PASSING:
            yield from _names_in(inner)


def _measure(path):
    digest, size = hashlib.sha256(), 0
    with path.open("rb") as file:
        while block := file.read(BLOCK):
            digest.update(block)
            size += len(block)
    return {"bytes": size, "sha256": digest.hexdigest()}


def _write(path, text):
    with path.open("w", encoding="utf-8") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())


def _sync(folder):
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


# -- looking at one


def read(folder: Path, *, older_too: bool = False) -> dict:
    """Return the manifest of a whole, undamaged backup that this release can restore.

    Looks at every byte. Raises ``Refused``.
    """
    facts = _manifest(folder)
    _require_release(facts, older_too)
    _require_files(folder, facts)
    _require_rows(folder, facts)
    return facts


def _manifest(folder):
    if not folder.is_dir():
        raise Refused(f"{folder} is not a folder.")
    try:
        text = (folder / MANIFEST).read_bytes()
        seal = (folder / SEAL).read_text(encoding="utf-8").strip()
    except (FileNotFoundError, UnicodeDecodeError):
        raise Refused(
            f"{folder} is not a whole backup: it has no manifest. A backup that was cut "
            "short looks like this."
        )
    if hashlib.sha256(text).hexdigest() != seal:
        raise Refused("The manifest is damaged: its hash is another than noted.")
    try:
        facts = json.loads(text)
        kind = facts["kind"]
    except (ValueError, KeyError, TypeError):
        raise Refused("The manifest is not that of a backup of this software.")
    if kind != KIND:
        raise Refused(f"This is a backup of other software ({kind}).")
    if facts["format"] != FORMAT:
        raise Refused(
            f"The backup is written in format {facts['format']}; this release reads "
            f"format {FORMAT}. Restore it with release {facts['version']}."
        )
    return facts


def _require_release(facts, older_too):
    here = {f"{app}.{name}" for app, name in MigrationLoader(None).disk_migrations}
    then = set(facts["migrations"])
    if then - here:
        raise Refused(
            f"The backup was made by release {facts['version']}, which knows more than "
            f"this one ({settings.VERSION}). Install that release or a later one first."
        )
    if here - then and not older_too:
        raise Refused(
            f"The backup was made by an older release ({facts['version']}; this is "
            f"{settings.VERSION}). Give --upgrade to restore it and bring it forward, "
            "or restore it with the release that made it."
        )


def _require_files(folder, facts):
    expected = {DATABASE: facts["database"]}
    expected |= {f"{MEDIA}/{name}": told for name, told in facts["media"].items()}
    for name, told in expected.items():
        place = folder / name
        if not place.resolve().is_relative_to(folder.resolve()):
            raise Refused(f"The manifest names a file outside the backup: {name}.")
        if not place.is_file():
            raise Refused(f"The backup is not whole: {name} is missing.")
        size = place.stat().st_size
        if size != told["bytes"]:
            raise Refused(
                f"The backup is damaged: {name} has {size} bytes instead of "
                f"{told['bytes']}."
            )
        if _measure(place) != told:
            raise Refused(f"The backup is damaged: {name} has another hash than noted.")


def _require_rows(folder, facts):
    path = folder / DATABASE
    with contextlib.closing(
        sqlite3.connect(f"file:{path}?mode=ro&immutable=1", uri=True)
    ) as file:
        try:
            answer = file.execute("PRAGMA integrity_check").fetchone()[0]
        except sqlite3.DatabaseError as error:
            answer = str(error)
    if answer != "ok":
        raise Refused(f"The database in the backup is damaged: {answer}")


# -- restoring one


def restore(
    folder: Path, *, replace: bool = False, older_too: bool = False, progress=None
) -> dict:
    """Put a backup in place of what the site holds; returns the manifest.

    Every byte is looked at first, and a site that holds something is left as it is
    unless ``replace``. The rows change in one transaction. Raises ``Refused``.
    """
    facts = read(folder, older_too=older_too)
    _require_room(replace)
    _restore_media(folder, facts, progress)
    with _opened_copy(folder, bring_forward=older_too) as source:
        expected = tables.summary(source)
        if not older_too and (found := tables.differences(facts["tables"], expected)):
            raise Refused(f"The rows are others than noted: {'; '.join(found)}.")
        call_command("migrate", verbosity=0, interactive=False)
        with transaction.atomic():
            tables.copy(source, "default")
            if found := tables.differences(expected, tables.summary("default")):
                raise Refused(
                    f"The rows did not arrive as they were: {'; '.join(found)}."
                )
    for name in set(stored_names()) - set(facts["media"]):
        default_storage.delete(name)
    return facts


def _require_room(replace):
    if replace:
        return
    if connection.introspection.table_names():
        loader = MigrationLoader(connection)
        if not loader.applied_migrations:
            raise Refused("The database holds tables of other software.")
        try:
            held = tables.holds_anything("default")
        except connection.Database.DatabaseError:
            held = "something that cannot be read"
        if held:
            raise Refused(
                f"The site holds something already ({held}) and is left as it is. Give "
                "--replace to put the backup in its place."
            )
    if next(stored_names(), None):
        raise Refused(
            "The media folder holds files already and is left as it is. Give --replace "
            "to put the backup in its place."
        )


@contextlib.contextmanager
def _opened_copy(folder, *, bring_forward):
    """Open a copy of the backup's database: the backup itself is never written to."""
    scratch = Path(settings.DATA_DIR) / f"restoring-{os.getpid()}.sqlite3"
    shutil.copyfile(folder / DATABASE, scratch)
    try:
        if bring_forward:
            databases.migrate(f"sqlite:///{scratch}")
        with tables.opened(databases.from_url(f"sqlite:///{scratch}"), SOURCE):
            yield SOURCE
    except databases.NotMigrated as error:
        raise Refused(f"The backup could not be brought forward: {error}")
    finally:
        for suffix in ("", "-wal", "-shm"):
            scratch.with_name(scratch.name + suffix).unlink(missing_ok=True)


def _restore_media(folder, facts, progress):
    for name, told in facts["media"].items():
        source = folder / MEDIA / name
        if not _is_there(name, told):
            _put(name, source)
        if progress:
            progress(name)


def _is_there(name, told):
    if not default_storage.exists(name) or default_storage.size(name) != told["bytes"]:
        return False
    digest = hashlib.sha256()
    with default_storage.open(name) as file:
        while block := file.read(BLOCK):
            digest.update(block)
    return digest.hexdigest() == told["sha256"]


def _put(name, source):
    if isinstance(default_storage, FileSystemStorage):
        place = Path(default_storage.path(name))
        place.parent.mkdir(parents=True, exist_ok=True)
        beside = place.with_name(f"{place.name}.restoring")
        shutil.copyfile(source, beside)
        os.replace(beside, place)
        return
    if default_storage.exists(name):
        default_storage.delete(name)
    with source.open("rb") as file:
        default_storage.save(name, File(file))
