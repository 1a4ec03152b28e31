"""Phones send and a reviewer accepts while two processes recheck everything.

Small here; by hand, with the counts printed:

    RECHECKS=20 pytest -s tests/endurance/test_recheck_meanwhile.py
"""

import collections
import json
import os
import threading
import time

import pytest
from django.db import connection
from django.test import Client

from analysis import services
from analysis.engine import ENGINE_VERSION
from analysis.models import Check, ConfigurationCheck, Effect
from analysis.processes import recheck_in_processes
from bridges.models import Bridge
from shared import policy
from surveys.models import Visit
from tests.makers import make_person, visit_document
from tests.structures import GRID, make_described_bridge, make_visit_saying

ROUNDS = int(os.environ.get("RECHECKS", "1"))
PHONES = 2
PATIENCE_S = 120


def stored():
    checks = ConfigurationCheck.objects.order_by("truss_line", "visit")
    effects = Effect.objects.order_by("truss_line", "from_visit", "to_visit")
    return (
        list(checks.values_list("truss_line", "visit", "check_made__answer")),
        list(effects.values_list("truss_line", "from_visit", "to_visit", "result")),
    )


@pytest.mark.django_db(transaction=True)
def test_nobody_is_refused_and_nothing_left_behind_while_all_is_rechecked(settings):
    settings.LIMITS = {**settings.LIMITS, "visit": 1_000_000}
    ada, rex = make_person("ada"), make_person("rex", policy.REVIEWER)
    for n in range(12):
        bridge = make_described_bridge(
            name=f"Bridge {n}", slug=f"b-{n}", span={"depth_ft": 18.0 + n}
        )
        make_visit_saying(bridge, 2001, changed={"span-1/deck": GRID})
    bridges = list(Bridge.objects.order_by("pk"))
    ids = [bridge.pk for bridge in bridges]
    over, seen, slowest = threading.Event(), collections.Counter(), [0.0]

    def waiting(act):
        start = time.perf_counter()
        try:
            return act()
        finally:
            slowest[0] = max(slowest[0], time.perf_counter() - start)

    def send(phone):
        client, n = Client(), 0
        client.force_login(ada)
        while not over.is_set():
            bridge = bridges[n % len(bridges)]
            said = {"span-1/deck": "same", "span-1/stringers": "not-seen"}
            document = visit_document(bridge, name=f"{phone}-{n}", said=said)
            answer = waiting(
                lambda sent=document: client.post(
                    "/api/visits/", json.dumps(sent), "application/json"
                )
            )
            seen[answer.status_code] += 1
            n += 1
            time.sleep(0.02)
        connection.close()

    def accept():
        while not over.is_set():
            visit = Visit.objects.filter(status="submitted").first()
            if visit is not None:
                waiting(
                    lambda one=visit: services.accept_visit(visit=one, reviewer=rex)
                )
                seen["accepted"] += 1
            time.sleep(0.05)
        connection.close()

    threads = [threading.Thread(target=send, args=[n]) for n in range(PHONES)]
    threads.append(threading.Thread(target=accept))
    for thread in threads:
        thread.start()
    rounds, until = 0, time.monotonic() + PATIENCE_S
    try:
        # A fast machine may be through before anybody has sent or accepted much.
        while rounds < ROUNDS or not (seen[201] > PHONES and seen["accepted"]):
            assert time.monotonic() < until or rounds < ROUNDS, dict(seen)
            for model in (Check, Effect):
                old = model.objects.filter(engine=ENGINE_VERSION)
                old.update(engine=f"old {rounds}")
            for counts in recheck_in_processes(ids, processes=2, handed=3):
                seen["rechecked"] += counts.bridges
            rounds += 1
    finally:
        over.set()
        for thread in threads:
            thread.join()
    print(
        f"\n{rounds} rounds, {dict(seen)}; the slowest answer took {slowest[0]:.2f} s"
    )
    assert seen["rechecked"] == rounds * len(ids)
    assert set(seen) == {201, "accepted", "rechecked"}

    (counts,) = recheck_in_processes(ids, processes=1)
    assert (counts.checks_new, counts.effects_new) == (0, 0)
    found = stored()
    for model in (ConfigurationCheck, Effect, Check):
        model.objects.all().delete()
    list(recheck_in_processes(ids, processes=1))
    assert stored() == found
