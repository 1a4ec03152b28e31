"""Phones that send the same thing at the same moment, over and over.

Small here; by hand, with the counts printed:

    SENDINGS=200 pytest -s tests/endurance/test_sending_at_once.py
"""

import collections
import json
import os
import threading

import pytest
from django.core.files.storage import default_storage
from django.db import connection
from django.test import Client

from surveys.models import Observation, Photo, SecondSubmission, Visit
from tests.images import with_place
from tests.makers import make_bridge, make_person, photo_document, visit_document

pytestmark = pytest.mark.django_db(transaction=True)

ROUNDS = int(os.environ.get("SENDINGS", "4"))
PHONES = 6
PIECE_BYTES = 700


@pytest.fixture
def ada(transactional_db):
    return make_person("ada")


def at_once(ada, act):
    """Run ``act(client)`` in several threads begun together; return the answers."""
    gate, answers = threading.Barrier(PHONES), []

    def run():
        client = Client()
        client.force_login(ada)
        gate.wait()
        try:
            answers.append(act(client))
        finally:
            connection.close()

    threads = [threading.Thread(target=run) for _ in range(PHONES)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return answers


def post(client, document):
    return client.post("/api/visits/", json.dumps(document), "application/json")


def test_the_same_visit_sent_by_all_at_once_is_stored_once(ada):
    bridge, seen = make_bridge(), collections.Counter()
    for n in range(ROUNDS):
        document = visit_document(bridge, name=n, said={"limit": "same"})
        answers = at_once(ada, lambda client, sent=document: post(client, sent))
        seen.update(answer.status_code for answer in answers)
    print(f"\n{dict(seen)}")
    assert seen == {201: ROUNDS, 200: ROUNDS * (PHONES - 1)}
    assert Visit.objects.count() == Observation.objects.count() == ROUNDS


def test_other_contents_sent_by_all_at_once_are_all_kept(ada):
    bridge = make_bridge()
    document, number = visit_document(bridge), iter(range(10_000))
    answers = at_once(
        ada, lambda client: post(client, {**document, "notes": f"{next(number)}"})
    )
    assert sorted(answer.status_code for answer in answers) == [201] + [422] * (
        PHONES - 1
    )
    kept = {Visit.objects.get().notes}
    kept |= {one.submitted["notes"] for one in SecondSubmission.objects.all()}
    assert kept == {str(n) for n in range(PHONES)}


def test_pieces_sent_by_all_at_once_make_the_photo_that_was_taken(ada):
    data, bridge, seen = with_place(), make_bridge(), collections.Counter()
    for n in range(ROUNDS):
        # The last bytes differ, so that nothing is known from the round before.
        content = data + f"{n}".encode()
        photo = photo_document(content, f"{n}.jpg")
        client = Client()
        client.force_login(ada)
        post(client, visit_document(bridge, name=n, photos=[photo]))
        at_once(ada, lambda client, p=photo, c=content: deliver(client, p, c, seen))
        stored = Photo.objects.get(client_id=photo["client_id"])
        with stored.original.open() as original:
            assert original.read() == content
        assert stored.arrived_at
    print(f"\n{dict(seen)}")
    assert set(seen) <= {200, 409}
    assert default_storage.listdir("incoming") == ([], [])


def deliver(client, photo, data, seen):
    """Send piece after piece from wherever the server says that it stands."""
    offset = 0
    for _ in range(200):
        answer = client.patch(
            f"/api/uploads/{photo['client_id']}/",
            data[offset : offset + PIECE_BYTES],
            "application/octet-stream",
            headers={"Upload-Offset": str(offset)},
        )
        seen[answer.status_code] += 1
        offset = int(answer.headers["Upload-Offset"])
        if answer.json()["is_complete"]:
            return
    pytest.fail("The photo never became complete.")
