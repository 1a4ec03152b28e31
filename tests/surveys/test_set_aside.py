"""What is wrong with a phone's document costs only itself, and is named."""

import copy
import datetime
import io
import json
import struct

import pytest
from django.test import Client
from django.utils import timezone

from surveys.models import Photo, SecondSubmission, Visit
from tests.images import jpeg, png_claiming
from tests.makers import (
    make_bridge,
    make_id,
    make_person,
    make_visit,
    photo_document,
    visit_document,
)

pytestmark = pytest.mark.django_db
DECK = {"layers": [{"material": "steel-grid", "psf": 18.0}]}


@pytest.fixture
def ada(db):
    return make_person("ada")


@pytest.fixture
def bridge(db):
    return make_bridge()


@pytest.fixture
def phone(ada):
    client = Client()
    client.force_login(ada)
    return client


def post(client, document):
    return client.post("/api/visits/", json.dumps(document), "application/json")


def send(client, photo, data):
    return client.patch(
        f"/api/uploads/{photo['client_id']}/",
        data,
        "application/octet-stream",
        headers={"Upload-Offset": "0"},
    )


def aside(response):
    assert response.status_code == 201, response.content
    return {(row["field"], row["code"]) for row in response.json()["set_aside"]}


def good(bridge, **more):
    """A visit with one good answer, one good photo, and whatever else is given."""
    return visit_document(
        bridge,
        said={"span-1/deck": DECK, **more.pop("said", {})},
        photos=[photo_document(jpeg(64, 48)), *more.pop("photos", [])],
        **more,
    )


def assert_the_rest_is_stored(document):
    visit = Visit.objects.get()
    assert visit.submitted == document
    assert visit.notes == "Looked at from the road."
    assert visit.observations.get(element__path="span-1/deck").answer == "changed"
    assert visit.photos.filter(name="deck.jpg").exists()
    return visit


def test_an_unknown_member_costs_only_its_own_answer(phone, bridge):
    document = good(bridge, said={"span-1/upstream/L9U9": "gone", "limit": "same"})
    document["observations"][0]["colour"] = "blue"
    document["weather"] = "rain"
    assert aside(post(phone, document)) == {
        ("observations.1.element", "unknown"),
        ("observations.0.colour", "unknown"),
        ("weather", "unknown"),
    }
    visit = assert_the_rest_is_stored(document)
    assert visit.observations.count() == 2
    assert any("L9U9" in row["message"] for row in visit.set_aside)


def test_a_date_in_the_future_leaves_a_visit_made_by_today(phone, bridge):
    ahead = (timezone.localdate() + datetime.timedelta(days=400)).isoformat()
    document = good(bridge, date=ahead)
    document["photos"][0]["taken"] = ahead
    assert aside(post(phone, document)) == {
        ("date", "future"),
        ("photos.0.taken", "future"),
    }
    visit = assert_the_rest_is_stored(document)
    assert visit.when == f"../{timezone.localdate().isoformat()}"
    assert visit.photos.get().taken == ""


def test_another_surveyors_ids_are_exchanged_and_bytes_still_arrive(phone, bridge):
    data = jpeg(320, 240)
    photo = photo_document(data, "theirs.jpg")
    theirs = make_visit(bridge, make_person("ben"), photos=[photo])
    before = copy.deepcopy(theirs.submitted)
    document = good(bridge, photos=[photo])
    document["client_id"] = str(theirs.client_id)
    first = post(phone, document)
    assert aside(first) == {("client_id", "taken"), ("photos.1.client_id", "taken")}
    assert post(phone, document).status_code == 200
    theirs.refresh_from_db()
    assert theirs.submitted == before
    mine = Visit.objects.get(surveyor__username="ada")
    assert mine.client_id != theirs.client_id
    asked = phone.get(f"/api/visits/{document['client_id']}/").json()
    assert asked["client_id"] == str(mine.client_id)
    assert send(phone, photo, data).json()["is_complete"]
    assert mine.photos.get(name="theirs.jpg").arrived_at
    assert not theirs.photos.get().arrived_at
    assert not SecondSubmission.objects.exists()


def test_garbage_in_every_field_leaves_what_can_be_read(phone, bridge):
    document = good(
        bridge,
        basis="rumour",
        people=["x"],
        access="x" * 301,
        is_danger="yes",
        said={"limit": "perhaps", "span-1/stringers": {"count": -3}},
        photos=[
            {"client_id": "no", "size_bytes": 0, "sha256": "AB"},
            photo_document(jpeg(80, 60), "b.jpg", latitude=91, longitude=10),
            photo_document(jpeg(81, 60), "c.jpg", element="span-9", repeats="no"),
            3,
        ],
        answers_to=str(make_id("nothing")),
    )
    found = aside(post(phone, document))
    visit = assert_the_rest_is_stored(document)
    assert {name for name, _ in found} >= {
        "basis",
        "people",
        "access",
        "is_danger",
        "observations.1.answer",
        "photos.1.client_id",
        "photos.2.latitude",
        "photos.3.element",
        "photos.3.repeats",
        "photos.4",
        "answers_to",
    }
    # A flag that cannot be read is taken for raised.
    assert visit.is_danger
    assert sorted(visit.photos.values_list("name", flat=True)) == [
        "b.jpg",
        "c.jpg",
        "deck.jpg",
    ]
    assert visit.photos.get(name="b.jpg").longitude is None


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"bridge": "no-such-bridge"}, "bridge"),
        ({"client_id": "no"}, "client_id"),
        ({"observations": [], "photos": [], "notes": ""}, "observations"),
    ],
)
def test_what_makes_no_visit_at_all_is_refused_by_name(phone, bridge, change, field):
    response = post(phone, {**good(bridge), **change})
    assert response.status_code == 400
    assert response.json()["errors"][0]["field"] == field
    assert not Visit.objects.exists()


def garbage_rationals():
    """A JPEG whose position is written in rationals of nonsense."""
    data = jpeg(64, 48)
    entries = b"".join(
        struct.pack(">HHII", tag, 5, 3, 0x7FFFFFF0) for tag in (2, 4, 17)
    )
    block = b"MM\x00*" + struct.pack(">I", 8)
    block += struct.pack(">H", 1) + struct.pack(">HHII", 0x8825, 4, 1, 26) + bytes(4)
    block += struct.pack(">H", 3) + entries + bytes(4)
    body = b"Exif\x00\x00" + block
    return data[:2] + b"\xff\xe1" + struct.pack(">H", len(body) + 2) + body + data[2:]


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (png_claiming(40_000, 25_000), "million pixels"),
        (jpeg(1200, 900)[:9_000], "breaks off"),
        (b"MZ\x90\x00 this is a program" * 20, "not a picture"),
    ],
    ids=["bomb", "truncated", "no picture"],
)
def test_a_bad_picture_is_told_and_kept_and_costs_nothing_else(
    phone, bridge, data, said
):
    photo = photo_document(data, "bad.jpg")
    document = good(bridge, photos=[photo])
    assert aside(post(phone, document)) == set()
    answer = send(phone, photo, data)
    assert answer.status_code == 422
    assert [row["field"] for row in answer.json()["errors"]] == ["file"]
    assert said in answer.json()["errors"][0]["message"]
    assert answer.json()["is_complete"]
    good_one = document["photos"][0]
    assert send(phone, good_one, jpeg(64, 48)).status_code == 200
    assert_the_rest_is_stored(document)
    kept = Photo.objects.get(name="bad.jpg")
    with kept.original.open() as original:
        assert original.read() == data
    assert kept.derivatives == {}


def test_senseless_rationals_cost_only_the_place(phone, bridge):
    data = garbage_rationals()
    photo = photo_document(data, "odd.jpg")
    post(phone, good(bridge, photos=[photo]))
    assert send(phone, photo, data).status_code == 200
    kept = Photo.objects.get(name="odd.jpg")
    assert kept.arrived_at
    assert kept.latitude is None
    assert kept.derivatives


def test_sixty_megabytes_are_refused_by_size_before_a_byte_travels(phone, bridge):
    large = photo_document(b"x", "large.jpg", size_bytes=60_000_000)
    document = good(bridge, photos=[large])
    response = post(phone, document)
    assert aside(response) == {("photos.1.size_bytes", "size")}
    assert "smaller copy" in response.json()["set_aside"][0]["message"]
    visit = assert_the_rest_is_stored(document)
    assert visit.photos.count() == 1
    assert send(phone, large, b"x").status_code == 404


def test_sixty_megabytes_on_the_form_cost_only_themselves(phone, bridge, settings):
    settings.PHOTO_MAX_BYTES = 100_000
    large = io.BytesIO(bytes(200_000))
    large.name = "large.jpg"
    page = phone.post(
        f"/bridges/{bridge.slug}/visit/",
        {
            "client_id": str(make_id("form")),
            "date": "2019-06-02",
            "notes": "Kept.",
            "ph0-file": large,
        },
    )
    assert page.status_code == 422
    text = page.content.decode()
    assert "large.jpg" in text
    assert "Kept." in text
