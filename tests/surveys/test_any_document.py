"""Whatever a phone sends becomes a visit or a refusal by name, and never a crash."""

import copy
import json
import uuid

import pytest
from django.test import Client
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from surveys.models import Photo, Visit
from tests.makers import make_bridge, make_person, photo_document, visit_document

pytestmark = pytest.mark.django_db

# What storage takes: no halves of surrogate pairs, no NUL (refused at the door).
TEXT = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"))
VALUES = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(10**20), 10**20)
    # Beyond, a database that keeps decimals and one that keeps text differ in the
    # last digit of what no phone sends.
    | st.floats(-1e15, 1e15)
    | TEXT
    | st.sampled_from(["", "same", "changed", "2019-06-02", "9999-12-31", "../1890"]),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.sampled_from(["element", "state", "tons", "x"]), inner)
    ),
    max_leaves=6,
)
PLACES = [
    (name,)
    for name in (
        "date",
        "basis",
        "people",
        "not_reached",
        "notes",
        "is_danger",
        "danger_note",
        "observations",
        "photos",
        "answers_to",
        "weather",
        "find",
        "viewpoints",
    )
]
PLACES += [
    ("observations", at, name)
    for at in (0, 1)
    for name in ("element", "answer", "state", "certainty", "reason", "note")
]
PLACES += [
    ("photos", 0, name)
    for name in (
        "client_id",
        "size_bytes",
        "sha256",
        "element",
        "viewpoint",
        "repeats",
        "taken",
        "latitude",
        "longitude",
        "bearing_deg",
        "position_source",
    )
]
PLACES += [("observations", 0), ("observations", 1), ("photos", 0)]


@settings(
    # Each example is four requests.
    max_examples=25 if settings().max_examples <= 50 else 2_000,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(changes=st.lists(st.tuples(st.sampled_from(PLACES), VALUES), max_size=4))
def test_any_document_is_stored_word_for_word_or_refused_by_name(society, changes):
    client, bridge = society
    document = copy.deepcopy(
        visit_document(
            bridge,
            said={
                "span-1/deck": {"layers": [{"material": "timber"}]},
                "limit": "same",
            },
            photos=[photo_document(b"a picture", latitude=41.2, longitude=-77.4)],
        )
    )
    document["client_id"] = str(uuid.uuid4())
    document["photos"][0]["client_id"] = str(uuid.uuid4())
    for path, value in changes:
        _put(document, path, value)
    answer = client.post("/api/visits/", json.dumps(document), "application/json")
    assert answer.status_code in (201, 400), answer.content
    body = answer.json()
    named = body["set_aside"] if answer.status_code == 201 else body["errors"]
    assert all(row["code"] and row["message"] for row in named)
    if answer.status_code == 400:
        assert named
        return
    visit = Visit.objects.get(client_id=document["client_id"])
    assert visit.submitted == document
    assert visit.observations.count() <= 2
    assert Photo.objects.filter(visit=visit).count() <= 1
    again = client.post("/api/visits/", json.dumps(document), "application/json")
    assert (again.status_code, again.json()) == (200, body)
    # And every page that shows it can be opened.
    assert client.get(body["url"]).status_code == 200
    assert client.get(f"/review/{visit.client_id}/").status_code == 200


@pytest.fixture
def society(db, settings):
    # Many more in a minute than a person sends.
    settings.LIMITS = settings.LIMITS | {"visit": 10**6, "upload": 10**6}
    client = Client()
    client.force_login(make_person("ada", "volunteer", "reviewer"))
    return client, make_bridge()


def _put(document, path, value):
    held = document
    for step in path[:-1]:
        try:
            held = held[step]
        except (KeyError, IndexError, TypeError):
            return
    last = path[-1]
    is_there = isinstance(held, list) and isinstance(last, int) and last < len(held)
    if isinstance(held, dict) or is_there:
        held[last] = value
