"""Kill the site at random moments under mixed load; whatever it answered is there.

Small here; by hand at full size, with the counts printed:

    CUTS=200 pytest -s tests/endurance/test_power_cut.py
    DATABASE_URL=postgres://… CUTS=200 pytest -s tests/endurance/test_power_cut.py
"""

import collections
import hashlib
import io
import os
import random
import shutil
import subprocess
import threading
import time
import uuid
from pathlib import Path

import pytest
import requests
from django.core.files.storage import default_storage
from django.db import connection
from django.utils import timezone
from PIL import Image

from analysis.models import ConfigurationCheck
from shared import backup, jobs
from shared.models import Job
from surveys.models import Photo, Visit
from tests.endurance.felled_site import Caller, Site
from tests.images import jpeg
from tests.makers import make_bridge, make_person, visit_document

pytestmark = pytest.mark.django_db(transaction=True)

CUTS = int(os.environ.get("CUTS", "4"))
SEED = int(os.environ.get("SEED", "1889"))
SURVEYORS = 4
PIECE_BYTES = 4096
# Longer than a site takes to come up on a busy machine.
PATIENCE_S = 300
ELEMENTS = ("limit", "span-1/deck", "span-1/upstream/U1U2", "span-1/downstream/L2U3")


class Load:
    """Everybody who works with the site, and what it answered them."""

    def __init__(self, site, bridges):
        self.site, self.bridges = site, bridges
        self.is_over = threading.Event()
        self.visits, self.photos, self.accepted = {}, {}, set()
        self.counts = collections.Counter()
        self.lock = threading.Lock()
        self.faults = []
        self.threads = []

    def begin(self, target, *arguments):
        def run():
            try:
                target(*arguments)
            except Exception as error:
                self.faults.append(repr(error))
                raise

        thread = threading.Thread(target=run)
        thread.start()
        self.threads.append(thread)

    def until_answered(self, caller, method, path, **more):
        """Ask again and again, as a phone does, until an answer comes."""
        # After the last cut everything must come to an end.
        until = time.monotonic() + PATIENCE_S
        while time.monotonic() < until:
            try:
                answer = caller.ask(method, path, **more)
            except requests.RequestException:
                self.counts["no answer"] += 1
                time.sleep(0.05)
                continue
            self.counts[answer.status_code] += 1
            if answer.status_code in (429, 503, 507):
                time.sleep(0.1)
                continue
            return answer
        raise AssertionError(f"{method} {path} was never answered")

    def survey(self, caller, seed):
        chance = random.Random(seed)
        while not self.is_over.is_set():
            picture = jpeg(160, 120, plain=True) + chance.randbytes(9000)
            photo = {
                "client_id": str(uuid.UUID(int=chance.getrandbits(128), version=4)),
                "name": "deck.jpg",
                "size_bytes": len(picture),
                "sha256": hashlib.sha256(picture).hexdigest(),
            }
            said = dict.fromkeys(chance.sample(ELEMENTS, 3), "same")
            said["span-1/deck"] = {
                "layers": [
                    {"material": "timber", "thickness_in": chance.randint(4, 12) / 2}
                ]
            }
            document = visit_document(
                chance.choice(self.bridges),
                date=f"{chance.randint(1990, 2020)}-0{chance.randint(1, 9)}-11",
                said=said,
                photos=[photo] if chance.random() < 0.6 else [],
                notes=f"Cut {chance.random()}",
            )
            document["client_id"] = str(
                uuid.UUID(int=chance.getrandbits(128), version=4)
            )
            answer = self.until_answered(caller, "POST", "/api/visits/", json=document)
            assert answer.status_code in (200, 201), answer.text[:300]
            with self.lock:
                self.visits[document["client_id"]] = document
            for announced in document["photos"]:
                self.deliver(caller, announced, picture)
            time.sleep(chance.uniform(0, 0.2))

    def deliver(self, caller, announced, picture):
        path, offset = f"/api/uploads/{announced['client_id']}/", 0
        while True:
            answer = self.until_answered(
                caller,
                "PATCH",
                path,
                data=picture[offset : offset + PIECE_BYTES],
                headers={
                    "Upload-Offset": str(offset),
                    "Content-Type": "application/octet-stream",
                },
            )
            assert answer.status_code in (200, 409), answer.text[:300]
            if answer.json()["is_complete"]:
                break
            offset = int(answer.headers["Upload-Offset"])
        with self.lock:
            self.photos[announced["client_id"]] = announced["sha256"]

    def review(self, caller, seed):
        chance = random.Random(seed)
        tried = set()
        while not self.is_over.is_set():
            with self.lock:
                waiting = [one for one in self.visits if one not in tried]
            if not waiting:
                time.sleep(0.1)
                continue
            client_id = chance.choice(waiting)
            tried.add(client_id)
            answer = self.until_answered(
                caller,
                "POST",
                f"/review/{client_id}/",
                data={"action": "accept", "looked": "on"},
            )
            # 422: accepted already, by the answer that did not arrive.
            assert answer.status_code in (302, 422), answer.status_code
            with self.lock:
                self.accepted.add(client_id)
            time.sleep(chance.uniform(0.2, 0.6))

    def print_dossiers(self, caller, seed):
        chance = random.Random(seed)
        while not self.is_over.wait(chance.uniform(2, 5)):
            slug = chance.choice(self.bridges).slug
            answer = self.until_answered(caller, "GET", f"/dossiers/{slug}/dossier.pdf")
            # Printed by a worker: the answer leads to where one waits for it.
            assert answer.status_code in (200, 302, 429), answer.status_code

    def end(self):
        self.is_over.set()
        for thread in self.threads:
            thread.join()


def cut(site, chance):
    """One SIGKILL, or one to each of a whole group, as when the power goes."""
    kind = chance.choices(
        ["web child", "job worker", "all web", "all workers", "everything"],
        [46, 36, 6, 6, 6],
    )[0]
    if kind == "web child":
        return kind if site.fell_child("web", chance) else None
    if kind == "job worker":
        return kind if site.fell_child("farm", chance) else None
    for which in {"all web": ["web"], "all workers": ["farm"]}.get(
        kind, ["web", "farm"]
    ):
        site.fell(which)
    site.start()
    return kind


def test_what_was_answered_is_there_after_every_cut(tmp_path):
    bridges = [make_bridge(name=f"Bridge {n}") for n in range(3)]
    surveyors = [make_person(f"ada{n}") for n in range(SURVEYORS)]
    rae, olive = make_person("rae", "reviewer"), make_person("olive", "officer")
    chance, cuts = random.Random(SEED), collections.Counter()
    site = Site(tmp_path)
    load = Load(site, bridges)
    try:
        site.start()
        for n, person in enumerate(surveyors):
            load.begin(load.survey, Caller(site.address, person), SEED + n)
        load.begin(load.review, Caller(site.address, rae), SEED + 90)
        load.begin(load.print_dossiers, Caller(site.address, olive), SEED + 91)
        while sum(cuts.values()) < CUTS and not load.faults:
            time.sleep(chance.uniform(0.1, 0.8))
            if kind := cut(site, chance):
                cuts[kind] += 1
        load.end()
        assert load.faults == []
        wait_for_jobs()
    finally:
        load.is_over.set()
        site.stop()
    print(f"\n{connection.vendor}: {sum(cuts.values())} cuts {dict(cuts)}")
    print(f"answers {dict(load.counts)}")
    look_at_everything(load)


def settle():
    """Try again what was felled as often as it was begun.

    Cuts this close together fell a long job each time; the keeper's button is for that.
    """
    felled = Job.objects.filter(state="dead", error__startswith="Its worker stopped")
    count = sum(jobs.retry(one).state == "done" for one in felled)
    if count:
        print(f"{count} jobs felled every time, done when tried again")


def wait_for_jobs():
    until = time.monotonic() + PATIENCE_S
    wait_for_none_waiting(until)
    settle()
    wait_for_none_waiting(until)


def wait_for_none_waiting(until):
    while Job.objects.filter(state__in=["waiting", "running"]).exists():
        stuck = list(Job.objects.exclude(state="done").values("call", "state", "error"))
        assert time.monotonic() < until, stuck
        # What is to be tried again, or what a cut left to be recomputed, need not wait
        # its minutes here.
        Job.objects.filter(state="waiting").update(run_after=timezone.now())
        time.sleep(0.2)


def look_at_everything(load):
    visits = {
        str(one.client_id): one
        for one in Visit.objects.prefetch_related("observations")
    }
    for client_id, document in load.visits.items():
        assert visits[client_id].submitted == document
    for visit in visits.values():
        assert visit.observations.count() == len(visit.submitted["observations"])
        assert visit.photos.count() == len(visit.submitted["photos"])
    for client_id in load.accepted:
        assert visits[client_id].status == Visit.Status.ACCEPTED
    stale = look_at_checks()
    for client_id, sha256 in load.photos.items():
        photo = Photo.objects.get(client_id=client_id)
        assert photo.sha256 == sha256
        assert photo.arrived_at, photo.fault
        with photo.original.open() as original:
            assert hashlib.sha256(original.read()).hexdigest() == sha256
        assert set(photo.derivatives) == {"320", "800", "1600"}
    files = look_at_files()
    states = collections.Counter(Job.objects.values_list("state", flat=True))
    assert set(states) <= {"done"}, list(Job.objects.exclude(state="done").values())
    print(
        f"{len(load.visits)} visits answered of {len(visits)} stored, "
        f"{len(load.photos)} photographs, {len(load.accepted)} acceptances, "
        f"jobs {dict(states)} of which {Job.objects.filter(tries__gt=1).count()} more "
        f"than once, {files}, {stale} accepted visits without their checks"
    )
    assert stale == 0
    look_at_database()


def look_at_checks():
    """Accepted visits whose configuration was never checked."""
    checked = set(ConfigurationCheck.objects.values_list("visit_id", flat=True))
    accepted = Visit.objects.filter(status=Visit.Status.ACCEPTED)
    return sum(one not in checked for one in accepted.values_list("pk", flat=True))


def look_at_files():
    whole = 0
    for name in backup.stored_names():
        with default_storage.open(name) as file:
            data = file.read()
        if name.startswith("originals/"):
            assert hashlib.sha256(data).hexdigest() == Path(name).stem, name
            whole += 1
        elif name.startswith("photos/"):
            Image.open(io.BytesIO(data)).load()
            whole += 1
        elif name.startswith("dossiers/") and name.endswith(".pdf"):
            # One that a cut left short is seen as such and drawn again when asked for.
            whole += data.rstrip().endswith(b"%%EOF")
        else:
            assert name.startswith("incoming/"), f"{name} is nobody's"
    scratch = default_storage.path("scratch")
    left = len(os.listdir(scratch)) if os.path.isdir(scratch) else 0
    return f"{whole} files whole, {left} half-written set aside"


def look_at_database():
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA integrity_check")
            assert cursor.fetchall() == [("ok",)]
            cursor.execute("PRAGMA foreign_key_check")
            assert cursor.fetchall() == []
        print("integrity_check ok")
        return
    program = shutil.which("pg_amcheck") or next(
        iter(sorted(Path("/usr/lib/postgresql").glob("*/bin/pg_amcheck"))), None
    )
    if program is None:
        pytest.skip("pg_amcheck is not on this machine")
    facts = connection.settings_dict
    done = subprocess.run(
        [
            str(program),
            "--install-missing",
            f"--host={facts['HOST']}",
            f"--port={facts['PORT']}",
            f"--username={facts['USER']}",
            facts["NAME"],
        ],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    print("pg_amcheck clean")
