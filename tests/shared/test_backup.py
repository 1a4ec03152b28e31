"""A backup gives every row and every byte back, or says why it cannot."""

import contextlib
import hashlib
import json
import os
import shutil
import sqlite3
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.core.management import CommandError, call_command
from django.db import connection
from django.db.backends.base.base import BaseDatabaseWrapper

from bridges.models import Bridge
from shared import backup, databases, tables
from shared.models import Person
from surveys import services
from surveys.models import Observation, Photo, Visit
from tests.images import with_place
from tests.makers import (
    make_bridge,
    make_id,
    make_person,
    make_visit,
    photo_document,
    visit_document,
)

ROOT = Path(__file__).resolve().parent.parent.parent
pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(autouse=True)
def _further_databases(transactional_db, monkeypatch):
    """Tests may touch the one test database only; here others are what is tested."""
    watched = BaseDatabaseWrapper.ensure_connection

    def free(self):
        if self.alias == "default":
            watched(self)
        elif self.connection is None:
            with self.wrap_database_errors:
                self.connect()

    monkeypatch.setattr(BaseDatabaseWrapper, "ensure_connection", free)


@pytest.fixture
def society(transactional_db, media):
    """A bridge with two visits, one accepted, and a photograph."""
    picture = with_place()
    bridge = make_bridge()
    reviewer = make_person("rae", "reviewer")
    visit = make_visit(
        bridge,
        reviewer=reviewer,
        said={"span-1/deck": {"layers": [{"material": "timber", "thickness_in": 3.0}]}},
        notes="Überall Rost — ½ in. 🌉",
        photos=[photo_document(picture)],
    )
    services.store_photo(photo=visit.photos.get(), bytes=picture)
    make_visit(bridge, date="2021-05", said={"limit": "not-seen"})
    return bridge


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    return tmp_path_factory.mktemp("kept") / "backup"


@pytest.fixture
def backed_up(society, tmp_path, kept):
    """A backup of the society, made once and copied for each test that spoils it."""
    if not kept.exists():
        backup.make(kept)
    return Path(shutil.copytree(kept, tmp_path / "backup"))


def facts_of(folder):
    return json.loads((folder / "manifest.json").read_text(encoding="utf-8"))


def call(name, *arguments, **options):
    call_command(name, *arguments, verbosity=0, **options)


# -- the drill


def test_the_restored_site_is_the_site_that_was_backed_up(society, tmp_path):
    call("backup", tmp_path / "first")
    before = facts_of(tmp_path / "first")
    assert before["media"]
    assert before["missing"] == []

    Photo.objects.all().delete()
    Observation.objects.all().delete()
    Visit.objects.all().delete()
    Bridge.objects.update(name="Another")
    make_person("stranger")
    for name in list(backup.stored_names()):
        default_storage.delete(name)
    default_storage.save("originals/zz/stranger.jpg", ContentFile(b"not of the backup"))

    backup.restore(tmp_path / "first", replace=True)
    backup.make(tmp_path / "second")
    after = facts_of(tmp_path / "second")
    assert (
        tables.differences(before["tables"], after["tables"])
        == [
            # The backup itself was noted after it was made; the note was not in it.
        ]
    )
    assert after["media"] == before["media"]
    # New rows do not run into old keys.
    make_visit(Bridge.objects.get(), date="2022-01-01")


def test_a_new_machine_is_restored_to_with_one_command(society, tmp_path):
    call("backup", tmp_path / "backup")
    env = {"PATH": os.environ["PATH"], "SECOND_CROSSING_DATA": str(tmp_path / "new")}

    def manage(*arguments):
        return subprocess.run(
            [sys.executable, "manage.py", *arguments],
            cwd=ROOT,
            env=env,
            capture_output=True,
            text=True,
            timeout=600,
            check=False,
        )

    done = manage("restore", str(tmp_path / "backup"))
    assert done.returncode == 0, done.stderr
    assert "Restored: " in done.stdout
    path = tmp_path / "new" / "second-crossing.sqlite3"
    with tables.opened(databases.from_url(f"sqlite:///{path}"), "restored"):
        restored = tables.summary("restored")
    differing = tables.differences(facts_of(tmp_path / "backup")["tables"], restored)
    assert [one.partition(":")[0] for one in differing] == ["shared.AuditEntry"]
    again = manage("restore", str(tmp_path / "backup"))
    assert again.returncode != 0
    assert "left as it is" in again.stderr


def test_a_backup_made_while_the_site_is_written_to_is_of_one_moment(society, tmp_path):
    ada, is_over, sent = Person.objects.get(username="ada"), threading.Event(), []

    def write():
        try:
            while not is_over.is_set():
                document = visit_document(
                    society,
                    name=len(sent),
                    said={"limit": "same", "span-1/deck": "same"},
                )
                services.record_visit(surveyor=ada, payload=document)
                sent.append(document["client_id"])
        finally:
            connection.close()

    writer = threading.Thread(target=write)
    writer.start()
    made, until, overlapped = 0, time.monotonic() + 120, 0
    try:
        # Until two were made while visits came in, which takes chance out of it.
        while overlapped < 2:
            assert time.monotonic() < until, (made, len(sent))
            before = len(sent)
            backup.make(tmp_path / f"{made}")
            made += 1
            overlapped += len(sent) > before + 1
    finally:
        is_over.set()
        writer.join()
    for n in range(made):
        backup.read(tmp_path / f"{n}")
        with contextlib.closing(
            sqlite3.connect(tmp_path / f"{n}" / "database.sqlite3")
        ) as file:
            visits, whole = file.execute(
                "SELECT count(*), sum(said = 2) FROM (SELECT count(o.id) AS said FROM"
                " surveys_visit v LEFT JOIN surveys_observation o ON o.visit_id = v.id"
                " WHERE v.notes = 'Looked at from the road.' AND v.when_latest ="
                " '2019-06-02' GROUP BY v.id)"
            ).fetchone()
        assert visits == (whole or 0), "no half of a visit"


def test_every_file_that_a_row_names_is_in_the_backup_or_named_as_missing(
    society, tmp_path
):
    photo = Photo.objects.get()
    default_storage.delete(photo.original.name)
    facts = backup.make(tmp_path / "backup")
    assert facts["missing"] == [photo.original.name]


def test_a_backup_never_writes_over_anything(society, tmp_path):
    (tmp_path / "held").mkdir()
    (tmp_path / "held" / "letter.txt").write_text("mine")
    with pytest.raises(CommandError, match="holds something"):
        call("backup", tmp_path / "held")
    assert os.listdir(tmp_path / "held") == ["letter.txt"]


# -- what is refused


def reseal(folder, **changes):
    """Change the manifest as somebody who knows how it is sealed would."""
    facts = facts_of(folder) | changes
    text = json.dumps(facts)
    (folder / "manifest.json").write_text(text)
    (folder / "manifest.sha256").write_text(hashlib.sha256(text.encode()).hexdigest())


def flip(path):
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(data)


def a_file(folder):
    return folder / "media" / min(facts_of(folder)["media"])


def cut(path):
    path.write_bytes(path.read_bytes()[:-1])


def without_last_migration(folder):
    names = facts_of(folder)["migrations"]
    reseal(folder, migrations=[one for one in names if one != "shared.0003_job"])


def from_the_future(folder):
    names = [*facts_of(folder)["migrations"], "bridges.9999_later"]
    reseal(folder, migrations=names, version="9.0")


def other_rows(folder):
    with contextlib.closing(sqlite3.connect(folder / "database.sqlite3")) as file:
        file.execute("UPDATE bridges_bridge SET name = 'Forged'")
        file.commit()
    reseal(folder, database=backup._measure(folder / "database.sqlite3"))


def rotten_database(folder):
    path = folder / "database.sqlite3"
    data = bytearray(path.read_bytes())
    data[5000:9000] = os.urandom(4000)
    path.write_bytes(data)
    reseal(folder, database=backup._measure(path))


DAMAGE = {
    "one bit of the database": (
        lambda folder: flip(folder / "database.sqlite3"),
        "database.sqlite3 has another hash",
    ),
    "one bit of a photograph": (lambda folder: flip(a_file(folder)), "another hash"),
    "one bit of the manifest": (
        lambda folder: flip(folder / "manifest.json"),
        "The manifest is damaged",
    ),
    "a photograph cut short": (lambda folder: cut(a_file(folder)), "bytes instead of"),
    "a photograph gone": (lambda folder: a_file(folder).unlink(), "is missing"),
    "the manifest gone": (
        lambda folder: (folder / "manifest.json").unlink(),
        "not a whole backup",
    ),
    "other software": (
        lambda folder: reseal(folder, kind="diary"),
        "other software \\(diary\\)",
    ),
    "another format": (lambda folder: reseal(folder, format=0), "format 0"),
    "an older release": (without_last_migration, "older release"),
    "a later release": (from_the_future, "knows more than"),
    "a file outside it": (
        lambda folder: reseal(folder, media={"../../elsewhere": {}}),
        "outside the backup",
    ),
    "other rows than noted": (other_rows, "rows are others than noted"),
    "a database that is none": (rotten_database, "database in the backup is damaged"),
}


@pytest.mark.parametrize("damage", DAMAGE)
def test_a_backup_that_cannot_be_trusted_is_refused_and_nothing_is_touched(
    backed_up, damage
):
    spoil, reason = DAMAGE[damage]
    spoil(backed_up)
    before, files = tables.summary("default"), sorted(backup.stored_names())
    with pytest.raises(CommandError, match=reason) as refused:
        call("restore", backed_up, replace=True)
    assert "Nothing was restored." in str(refused.value)
    assert tables.summary("default") == before
    assert sorted(backup.stored_names()) == files


def test_a_backup_that_was_cut_short_is_refused(society, tmp_path, monkeypatch):
    def full(*arguments):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(backup, "_copy_media", full)
    with pytest.raises(CommandError, match="No space left"):
        call("backup", tmp_path / "backup")
    assert not (tmp_path / "backup").exists()
    with pytest.raises(CommandError, match="not a whole backup"):
        call("restore", tmp_path / "backup.partial", replace=True)


def test_a_site_that_holds_something_is_left_as_it_is(backed_up):
    before = tables.summary("default")
    with pytest.raises(CommandError, match="left as it is"):
        call("restore", backed_up)
    assert tables.summary("default") == before


# -- from one database to another


def test_the_database_moves_to_another_kind_and_back_with_every_row(society, tmp_path):
    here = tables.summary("default")
    path = tmp_path / "moved.sqlite3"
    call("move_database", f"sqlite:///{path}")
    with tables.opened(databases.from_url(f"sqlite:///{path}"), "moved"):
        assert tables.summary("moved") == here
    if connection.vendor != "postgresql":
        return
    facts = connection.settings_dict
    name = f"{facts['NAME']}_moved"
    url = f"postgres://{facts['USER']}@{facts['HOST']}:{facts['PORT']}/{name}"
    with connection.cursor() as cursor:
        cursor.execute(f'DROP DATABASE IF EXISTS "{name}"')
        cursor.execute(f'CREATE DATABASE "{name}"')
    try:
        done = subprocess.run(
            [sys.executable, "manage.py", "move_database", url],
            cwd=ROOT,
            env={**os.environ, "DATABASE_URL": f"sqlite:///{path}"},
            capture_output=True,
            text=True,
            timeout=600,
            check=False,
        )
        assert done.returncode == 0, done.stderr
        with tables.opened(databases.from_url(url), "back"):
            assert tables.summary("back") == here
    finally:
        with connection.cursor() as cursor:
            cursor.execute(f'DROP DATABASE "{name}"')


def test_nothing_moves_into_a_database_that_holds_something(society, tmp_path):
    path = tmp_path / "other.sqlite3"
    call("move_database", f"sqlite:///{path}")
    before = path.read_bytes()
    with pytest.raises(CommandError, match="not empty"):
        call("move_database", f"sqlite:///{path}")
    assert path.read_bytes() == before
    stranger = tmp_path / "stranger.sqlite3"
    with contextlib.closing(sqlite3.connect(stranger)) as file:
        file.execute("CREATE TABLE recipes (name text)")
    with pytest.raises(CommandError, match="other software"):
        call("move_database", f"sqlite:///{stranger}")


def test_nothing_moves_while_the_site_is_written_to(society, tmp_path, monkeypatch):
    copied = tables.copy

    def busy(*arguments):
        copied(*arguments)
        Bridge.objects.update(town=str(make_id("another")))

    with monkeypatch.context() as writing:
        writing.setattr(tables, "copy", busy)
        with pytest.raises(CommandError, match="written to meanwhile"):
            call("move_database", f"sqlite:///{tmp_path / 'moved.sqlite3'}")
    call("move_database", f"sqlite:///{tmp_path / 'moved.sqlite3'}")


@pytest.mark.parametrize("url", ["nonsense", "mysql2://x/y", ""])
def test_an_address_that_is_none_is_refused_in_words(society, url):
    with pytest.raises(CommandError):
        call("move_database", url)


def test_moving_onto_itself_is_refused(society):
    facts = connection.settings_dict
    if connection.vendor == "sqlite":
        url = f"sqlite:///{facts['NAME']}"
    else:
        url = f"postgres://{facts['USER']}@{facts['HOST']}:{facts['PORT']}/{facts['NAME']}"
    with pytest.raises(CommandError, match="uses already"):
        call("move_database", url)
