"""The disk fills up: it is said plainly, nothing is spoilt, and room heals it.

On a small file system of its own in memory, which takes root to mount.
"""

import hashlib
import os
import random
import sqlite3
import subprocess
import uuid
from contextlib import closing

import pytest
from django.db import connection

from surveys.models import Photo, Visit
from tests.endurance.felled_site import Caller, Site
from tests.images import jpeg
from tests.makers import make_bridge, make_person, visit_document

pytestmark = pytest.mark.django_db(transaction=True)
SIZE_MB = 24


@pytest.fixture
def small_disk(tmp_path):
    folder = tmp_path / "small"
    folder.mkdir()
    options = ["-t", "tmpfs", "-o", f"size={SIZE_MB}m", "tmpfs", str(folder)]
    done = subprocess.run(["mount", *options], capture_output=True, text=True)
    if done.returncode:
        pytest.skip(f"no small disk can be mounted here: {done.stderr.strip()}")
    yield folder
    subprocess.run(["umount", "-l", str(folder)], check=True)


def fill(folder):
    """Leave no room at all."""
    with (folder / "filler").open("wb", buffering=0) as file:
        block = b"\0" * 65536
        while block:
            try:
                file.write(block)
            except OSError:
                block = block[: len(block) // 2]


class Disk:
    """What a site on the small disk is asked, and how it stands."""

    def __init__(self, caller, bridge):
        self.caller, self.bridge = caller, bridge
        self.answered = []

    def send_visit(self, photos=()):
        document = visit_document(
            self.bridge, said={"limit": "same"}, notes="x" * 20_000, photos=photos
        )
        document["client_id"] = str(uuid.uuid4())
        answer = self.caller.ask("POST", "/api/visits/", json=document)
        if answer.ok:
            self.answered.append(document)
        return answer

    def send_photo(self, announced, data):
        return self.caller.ask(
            "PATCH",
            f"/api/uploads/{announced['client_id']}/",
            data=data,
            headers={"Upload-Offset": "0", "Content-Type": "application/octet-stream"},
        )


def test_a_full_disk_is_said_spoils_nothing_and_heals(small_disk, tmp_path):
    if connection.vendor != "sqlite":
        pytest.skip("PostgreSQL keeps its own disk; photographs are tried on SQLite")
    ada, bridge = make_person("ada"), make_bridge()
    # The site's own database on the small disk, as it stands in the test's.
    path = small_disk / "site.sqlite3"
    caller = Caller("", ada)
    with connection.cursor() as cursor:
        cursor.execute("VACUUM INTO %s", [str(path)])
    picture = jpeg(160, 120, plain=True) + random.Random(1).randbytes(400_000)
    announced = {
        "client_id": str(uuid.uuid4()),
        "name": "deck.jpg",
        "size_bytes": len(picture),
        "sha256": hashlib.sha256(picture).hexdigest(),
    }
    site = Site(
        tmp_path,
        workers=0,
        DATABASE_URL=f"sqlite:///{path}",
        SECOND_CROSSING_DATA=str(small_disk),
        JOBS_INLINE="1",
    )
    caller.address = site.address
    disk = Disk(caller, bridge)
    try:
        site.start(farm=False)
        assert disk.send_visit([announced]).status_code == 201
        fill(small_disk)

        said = {disk.send_photo(announced, picture).status_code for _ in range(3)}
        assert said == {507}
        refusals = [answer for _ in range(12) if not (answer := disk.send_visit()).ok]
        assert refusals, "the log of the database had room for all of it"
        assert {one.status_code for one in refusals} == {507}
        assert refusals[0].json()["errors"][0]["code"] == "disk_full"
        assert caller.ask("GET", "/healthz").status_code == 200
        page = caller.ask("GET", f"/bridges/{bridge.slug}/")
        assert page.status_code in (200, 507)

        os.unlink(small_disk / "filler")
        assert disk.send_visit().status_code == 201
        finished = disk.send_photo(announced, picture)
        assert finished.status_code == 200, finished.text
        assert finished.json()["is_complete"]
    finally:
        site.stop()
    print(f"\n{len(refusals)} visits and 3 photographs refused; all is well after")
    look_at(path, small_disk, disk, announced)


def look_at(path, folder, disk, announced):
    with closing(sqlite3.connect(path)) as file:
        assert file.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert file.execute("PRAGMA foreign_key_check").fetchall() == []
        kept = {
            str(uuid.UUID(row[0]))
            for row in file.execute(f"SELECT client_id FROM {Visit._meta.db_table}")
        }
        (name,) = file.execute(
            f"SELECT original FROM {Photo._meta.db_table}"
        ).fetchone()
    assert kept == {one["client_id"] for one in disk.answered}
    data = (folder / "media" / name).read_bytes()
    assert hashlib.sha256(data).hexdigest() == announced["sha256"]
