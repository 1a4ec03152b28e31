"""A Sunday evening: many read while many send, and nobody is turned away.

Small here; by hand at full size, with the demonstration's bridges and the figures
printed (2 web processes on SQLite, 4 on PostgreSQL):

    CROWD_S=60 pytest -s tests/endurance/test_crowd.py
    DATABASE_URL=postgres://… CROWD_S=60 pytest -s tests/endurance/test_crowd.py
"""

import collections
import hashlib
import os
import random
import threading
import time
import uuid

import pytest
import requests
from django.db import connection

from surveys.models import Visit
from tests.endurance.felled_site import Caller, running
from tests.images import jpeg
from tests.makers import make_bridge, make_person, visit_document

pytestmark = pytest.mark.django_db(transaction=True)

SECONDS = float(os.environ.get("CROWD_S", "3"))
IS_FULL = SECONDS >= 30
READERS, WRITERS = (100, 30) if IS_FULL else (8, 3)
PAGES = (
    "/",
    "/?q=ford",
    "/bridges/{slug}/",
    "/bridges/{slug}/history/",
    "/bridges/{slug}/trusses/upstream/",
    "/builders/",
    "/api/bridges/",
    "/api/bridges/{slug}/",
    "/api/bridges/map/?bbox=-78,40,-76,42&zoom=9",
)


class Crowd:
    def __init__(self, address, slugs, bridge):
        self.address, self.slugs, self.bridge = address, slugs, bridge
        self.is_over = threading.Event()
        self.took_s = collections.defaultdict(list)
        self.statuses = collections.Counter()
        self.visits, self.photos = [], []
        self.lock = threading.Lock()

    def ask(self, caller, kind, method, path, **more):
        began = time.perf_counter()
        try:
            answer = caller.ask(method, path, **more)
        except requests.RequestException as error:
            with self.lock:
                self.statuses[f"{kind} {type(error).__name__}"] += 1
            return None
        with self.lock:
            self.took_s[kind].append(time.perf_counter() - began)
            self.statuses[f"{kind} {answer.status_code}"] += 1
        return answer

    def read(self, seed):
        caller, chance = Caller(self.address, timeout=60), random.Random(seed)
        while not self.is_over.is_set():
            page = chance.choice(PAGES).format(slug=chance.choice(self.slugs))
            self.ask(caller, "page", "GET", page)
            # Somebody reads what they opened.
            self.is_over.wait(chance.uniform(0.5, 3.0) if IS_FULL else 0.05)

    def write(self, caller, seed):
        chance = random.Random(seed)
        while not self.is_over.is_set():
            picture = jpeg(320, 240, plain=True) + chance.randbytes(60_000)
            photo = {
                "client_id": str(uuid.UUID(int=chance.getrandbits(128), version=4)),
                "name": "deck.jpg",
                "size_bytes": len(picture),
                "sha256": hashlib.sha256(picture).hexdigest(),
            }
            document = visit_document(
                self.bridge, said={"limit": "same"}, photos=[photo]
            )
            document["client_id"] = str(
                uuid.UUID(int=chance.getrandbits(128), version=4)
            )
            answer = self.ask(caller, "visit", "POST", "/api/visits/", json=document)
            if answer is not None and answer.status_code == 201:
                with self.lock:
                    self.visits.append(document["client_id"])
                self.ask(
                    caller,
                    "photo",
                    "PATCH",
                    f"/api/uploads/{photo['client_id']}/",
                    data=picture,
                    headers={
                        "Upload-Offset": "0",
                        "Content-Type": "application/octet-stream",
                    },
                )
            self.is_over.wait(chance.uniform(1.0, 4.0) if IS_FULL else 0.05)


def slugs_and_bridge(request):
    if IS_FULL:
        request.getfixturevalue("demo_society")
        from bridges.models import Bridge

        named = ("tanners-ford", "hollin-ford", "mill-lane")
        return list(named), Bridge.objects.get(slug="hollin-ford")
    bridge = make_bridge()
    return [bridge.slug], bridge


def test_a_crowd_reads_and_writes_and_nobody_is_turned_away(request, tmp_path):
    slugs, bridge = slugs_and_bridge(request)
    writers = [make_person(f"phone{n}") for n in range(WRITERS)]
    processes = 2 if connection.vendor == "sqlite" else 4
    before = Visit.objects.count()
    with running(tmp_path, processes=processes, threads=8, workers=1) as site:
        crowd = Crowd(site.address, slugs, bridge)
        threads = [
            threading.Thread(target=crowd.read, args=(n,)) for n in range(READERS)
        ]
        threads += [
            threading.Thread(
                target=crowd.write, args=(Caller(site.address, one, 60), 1000 + n)
            )
            for n, one in enumerate(writers)
        ]
        for thread in threads:
            thread.start()
        time.sleep(SECONDS)
        crowd.is_over.set()
        for thread in threads:
            thread.join()
    print(
        f"\n{connection.vendor}, {processes} processes, {READERS} + {WRITERS}, {SECONDS} s"
    )
    for kind, took in sorted(crowd.took_s.items()):
        took.sort()
        p50, p95 = (1000 * took[int(share * (len(took) - 1))] for share in (0.5, 0.95))
        print(f"{kind:6} {len(took):6} answers, median {p50:.0f} ms, p95 {p95:.0f} ms")
    print(dict(crowd.statuses))
    refused = [one for one in crowd.statuses if one.split()[1] not in ("200", "201")]
    assert not refused, site.tail()
    assert Visit.objects.count() - before == len(crowd.visits)
