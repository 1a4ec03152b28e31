"""What a phone may rely on when it delivers visits and photographs."""

import io
import json

import pytest
from django.core.files.storage import default_storage
from django.test import Client
from PIL import Image

from surveys.models import Photo, SecondSubmission, Visit
from tests.images import jpeg, png_claiming, with_place
from tests.makers import (
    make_bridge,
    make_id,
    make_person,
    make_visit,
    photo_document,
    visit_document,
)

pytestmark = pytest.mark.django_db


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


def post(client, document, **headers):
    body = document if isinstance(document, (str, bytes)) else json.dumps(document)
    return client.post("/api/visits/", body, "application/json", headers=headers)


def patch(client, photo, data, offset, **headers):
    return client.patch(
        f"/api/uploads/{photo['client_id']}/",
        data,
        "application/octet-stream",
        headers={"Upload-Offset": str(offset), **headers},
    )


def codes(response):
    return [(row["field"], row["code"]) for row in response.json()["errors"]]


# -- visits


def test_a_visit_is_created_once_and_answered_alike_ever_after(phone, bridge):
    document = visit_document(bridge, said={"limit": "same"})
    first, again = post(phone, document), post(phone, document)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    assert first.json()["client_id"] == document["client_id"]
    assert Visit.objects.count() == 1


def test_other_content_under_one_id_is_told_and_both_are_kept(phone, bridge):
    document = visit_document(bridge)
    post(phone, document)
    response = post(phone, {**document, "notes": "Something else."})
    assert response.status_code == 422
    assert codes(response) == [("client_id", "other_content")]
    assert SecondSubmission.objects.get().submitted["notes"] == "Something else."


@pytest.mark.parametrize("body", ["{", "[]", '"x"', "[" * 5000, '{"client_id": 3}', ""])
def test_a_body_that_is_no_visit_is_refused_in_the_one_shape(phone, body):
    response = post(phone, body)
    assert response.status_code == 400
    assert response.json()["errors"][0]["message"]


@pytest.mark.parametrize("megabytes", [4.1, 12])
def test_a_body_of_any_size_is_refused_before_it_is_read(phone, megabytes):
    response = post(phone, b" " * int(megabytes * 1024 * 1024))
    assert response.status_code == 413
    assert codes(response) == [("", "too_large")]


def test_somebody_signed_out_is_asked_to_sign_in(bridge):
    response = post(Client(), visit_document(bridge))
    assert response.status_code == 401
    assert codes(response) == [("", "not_authenticated")]


def test_somebody_without_a_part_in_the_society_is_refused(bridge):
    stranger = make_person("sam")
    stranger.groups.clear()
    client = Client()
    client.force_login(stranger)
    assert post(client, visit_document(bridge)).status_code == 403


def test_a_stale_token_is_refused_and_a_fresh_one_accepted(ada, bridge):
    client = Client(enforce_csrf_checks=True)
    client.force_login(ada)
    assert post(client, visit_document(bridge)).status_code == 403
    client.get("/accounts/sign-in/")
    token = "a" * 32
    client.cookies["second_crossing_csrf"] = token
    sent = post(client, visit_document(bridge), **{"X-CSRFToken": token})
    assert sent.status_code == 201


def test_another_persons_phone_does_not_send_in_my_name(phone, ada, bridge):
    document = visit_document(bridge)
    other = post(phone, document, **{"X-Expected-User": str(ada.pk + 1)})
    assert (other.status_code, codes(other)) == (409, [("", "other_person")])
    assert not Visit.objects.exists()
    mine = post(phone, document, **{"X-Expected-User": str(ada.pk)})
    assert mine.status_code == 201


def test_another_surveyors_visit_is_neither_shown_nor_replaced(phone, ada, bridge):
    theirs = make_visit(bridge, make_person("ben"))
    address = f"/api/visits/{theirs.client_id}/"
    assert phone.get(address).status_code == 404
    assert post(phone, theirs.submitted).status_code == 201
    assert phone.get(address).json()["client_id"] != str(theirs.client_id)
    theirs.refresh_from_db()
    assert theirs.surveyor.username == "ben"


def test_ones_own_visit_tells_how_it_fares(phone, ada, bridge):
    photo = photo_document(b"abc")
    visit = make_visit(bridge, ada, photos=[photo])
    body = phone.get(f"/api/visits/{visit.client_id}/").json()
    assert (body["status"], body["is_complete"]) == ("submitted", False)
    assert body["photos"] == [
        {
            "client_id": photo["client_id"],
            "offset": 0,
            "size_bytes": 3,
            "is_complete": False,
            "fault": "",
        }
    ]


# -- photographs


@pytest.fixture
def picture():
    return with_place()


@pytest.fixture
def announced(phone, bridge, picture):
    photo = photo_document(picture)
    assert post(phone, visit_document(bridge, photos=[photo])).status_code == 201
    return photo


def test_a_photo_arrives_in_pieces_each_once(phone, announced, picture):
    half = len(picture) // 2
    first = patch(phone, announced, picture[:half], 0)
    assert (first.status_code, first.headers["Upload-Offset"]) == (200, str(half))
    assert not first.json()["is_complete"]
    second = patch(phone, announced, picture[half:], half)
    assert (second.status_code, second.json()["is_complete"]) == (200, True)
    photo = Photo.objects.get()
    with photo.original.open() as original:
        assert original.read() == picture
    assert (photo.format, photo.width_px, photo.height_px) == ("JPEG", 320, 240)
    assert sorted(photo.derivatives) == ["1600", "320", "800"]
    assert default_storage.listdir("incoming") == ([], [])


def test_what_the_file_tells_fills_what_nobody_said(phone, announced, picture):
    patch(phone, announced, picture, 0)
    photo = Photo.objects.get()
    assert (float(photo.latitude), float(photo.longitude)) == (41.203611, -77.405)
    assert photo.position_source == "exif"
    assert (photo.taken, photo.bearing_deg) == ("2019-06-02", 271.5)


def test_what_the_phone_said_of_place_and_time_stands(phone, bridge, picture):
    photo = photo_document(
        picture,
        latitude=41.5,
        longitude=-77.5,
        position_source="device",
        taken="2019-06-01",
        bearing_deg=0,
    )
    post(phone, visit_document(bridge, photos=[photo]))
    patch(phone, photo, picture, 0)
    stored = Photo.objects.get()
    assert (float(stored.latitude), stored.position_source) == (41.5, "device")
    assert (stored.taken, stored.bearing_deg) == ("2019-06-01", 0)


def test_a_piece_sent_twice_is_told_where_to_go_on(phone, announced, picture):
    half = len(picture) // 2
    patch(phone, announced, picture[:half], 0)
    again = patch(phone, announced, picture[:half], 0)
    assert (again.status_code, codes(again)) == (409, [("Upload-Offset", "offset")])
    assert (again.headers["Upload-Offset"], again.json()["offset"]) == (str(half), half)
    assert patch(phone, announced, picture[half:], half).status_code == 200


def test_after_a_lost_last_answer_the_photo_is_complete(phone, announced, picture):
    patch(phone, announced, picture, 0)
    again = patch(phone, announced, picture, 0)
    assert (again.status_code, again.json()["is_complete"]) == (409, True)
    stand = phone.get(f"/api/uploads/{announced['client_id']}/").json()
    assert (stand["is_complete"], stand["offset"]) == (True, len(picture))


def test_other_bytes_than_announced_begin_again(phone, announced, picture):
    wrong = patch(phone, announced, bytes(len(picture)), 0)
    assert (wrong.status_code, codes(wrong)) == (422, [("file", "sha256")])
    assert wrong.headers["Upload-Offset"] == "0"
    assert patch(phone, announced, picture, 0).json()["is_complete"]


def test_more_bytes_than_announced_are_refused(phone, announced, picture):
    response = patch(phone, announced, picture + b"x", 0)
    assert (response.status_code, codes(response)) == (422, [("file", "size")])
    assert Photo.objects.get().received_bytes == 0


@pytest.mark.parametrize("offset", ["", "-1", "two", "1.5", "9" * 30, "²"])
def test_an_offset_that_is_no_number_is_named(phone, announced, offset):
    if not offset.isascii():
        offset = offset.encode().decode("latin-1")
    response = patch(phone, announced, b"x", offset)
    assert response.status_code == 400
    assert response.json()["errors"][0]["field"] == "Upload-Offset"


def test_bytes_sent_as_something_else_are_refused(phone, announced):
    response = phone.patch(
        f"/api/uploads/{announced['client_id']}/",
        "{}",
        "application/json",
        headers={"Upload-Offset": "0"},
    )
    assert response.status_code == 415


def test_another_surveyors_photo_takes_no_bytes(phone, bridge, picture):
    photo = photo_document(picture)
    make_visit(bridge, make_person("ben"), photos=[photo])
    assert patch(phone, photo, picture, 0).status_code == 403
    assert patch(phone, {"client_id": make_id("none")}, b"x", 0).status_code == 404


UNSOUND = {
    "a bomb": png_claiming(40_000, 25_000),
    "a truncated picture": jpeg()[:9_000],
    "text named as a picture": b"<script>alert('hello')</script>" * 40,
    "garbage": bytes(range(256)) * 40,
}


@pytest.mark.parametrize("data", UNSOUND.values(), ids=UNSOUND.keys())
def test_what_cannot_be_read_is_told_kept_and_costs_nothing_else(phone, bridge, data):
    bad = photo_document(data, "portal.jpg")
    good_bytes = jpeg(400, 300)
    good = photo_document(good_bytes, "deck.jpg")
    document = visit_document(bridge, said={"limit": "same"}, photos=[bad, good])
    assert post(phone, document).status_code == 201
    response = patch(phone, bad, data, 0)
    assert (response.status_code, codes(response)) == (422, [("file", "unreadable")])
    assert response.json()["is_complete"]
    assert patch(phone, good, good_bytes, 0).status_code == 200
    stored = Photo.objects.get(name="portal.jpg")
    assert stored.fault
    assert stored.arrived_at is None
    with stored.original.open() as original:
        assert original.read() == data
    body = phone.get(f"/api/visits/{document['client_id']}/").json()
    assert body["is_complete"]


def test_a_picture_with_garbage_in_its_exif_is_shown(phone, bridge):
    data = jpeg(exif=b"Exif\x00\x00" + bytes(range(256)) * 8)
    photo = photo_document(data)
    post(phone, visit_document(bridge, photos=[photo]))
    assert patch(phone, photo, data, 0).status_code == 200


def test_bytes_a_person_has_sent_before_need_not_travel_again(phone, ada, bridge):
    data = with_place()
    first = photo_document(data, "one.jpg")
    post(phone, visit_document(bridge, photos=[first]))
    patch(phone, first, data, 0)
    second = photo_document(data, "two.jpg")
    answer = post(phone, visit_document(bridge, name="2", photos=[second]))
    assert answer.json()["is_complete"]
    twin = Photo.objects.get(name="two.jpg")
    assert twin.original.name == Photo.objects.get(name="one.jpg").original.name
    assert twin.taken == "2019-06-02"


def test_another_persons_bytes_are_not_had_for_knowing_their_hash(phone, bridge):
    data = with_place()
    ben = make_person("ben")
    theirs = Client()
    theirs.force_login(ben)
    photo = photo_document(data, "one.jpg")
    post(theirs, visit_document(bridge, photos=[photo]))
    patch(theirs, photo, data, 0)
    mine = photo_document(data, "two.jpg")
    answer = post(phone, visit_document(bridge, name="2", photos=[mine]))
    assert answer.json()["photos"][0]["offset"] == 0


# -- who sees a photo


def get(client, address, **headers):
    """Fetch and close: a photo is an open file until somebody has read it."""
    response = client.get(address, headers=headers)
    response.body = b"".join(response) if response.streaming else response.content
    return response


def arrived(client, bridge, **more):
    data = with_place(comment=b"made by somebody")
    photo = photo_document(data)
    post(client, visit_document(bridge, photos=[photo], **more))
    patch(client, photo, data, 0)
    return Photo.objects.get(client_id=photo["client_id"]), data


def test_a_submitted_photo_is_seen_by_its_surveyor_and_reviewers_only(phone, bridge):
    photo, _ = arrived(phone, bridge)
    address = f"/photos/{photo.client_id}/800.jpg"
    rex, ben = Client(), Client()
    rex.force_login(make_person("rex", "reviewer"))
    ben.force_login(make_person("ben"))
    seen = [get(client, address).status_code for client in (phone, rex, ben, Client())]
    assert seen == [200, 200, 404, 404]
    assert "private" in get(phone, address).headers["Cache-Control"]


def test_an_accepted_photo_is_everybodys_and_tells_nothing_of_place(phone, bridge):
    photo, _ = arrived(phone, bridge)
    Visit.objects.update(status="accepted")
    response = get(Client(), f"/photos/{photo.client_id}/320.jpg")
    body = response.body
    assert response.headers["Content-Type"] == "image/jpeg"
    assert "public" in response.headers["Cache-Control"]
    assert Image.open(io.BytesIO(body)).getexif() == {}
    assert b"somebody" not in body


def test_a_photo_is_not_sent_again_to_who_has_it(phone, bridge):
    photo, _ = arrived(phone, bridge)
    address = f"/photos/{photo.client_id}/320.jpg"
    tag = get(phone, address).headers["ETag"]
    again = get(phone, address, **{"If-None-Match": tag})
    assert again.status_code == 304


def test_photos_of_a_bridge_that_is_not_shown_are_not_shown(phone, bridge):
    photo, _ = arrived(phone, bridge)
    Visit.objects.update(status="accepted")
    bridge.is_public = False
    bridge.save()
    address = f"/photos/{photo.client_id}/320.jpg"
    assert get(Client(), address).status_code == 404
    assert get(phone, address).status_code == 200


def test_only_the_three_sizes_exist(phone, bridge):
    photo, _ = arrived(phone, bridge)
    assert get(phone, f"/photos/{photo.client_id}/640.jpg").status_code == 404


def test_an_original_is_for_those_who_may_see_where_it_was_taken(phone, bridge):
    photo, data = arrived(phone, bridge)
    Visit.objects.update(status="accepted")
    address = f"/photos/{photo.client_id}/original"
    assert get(phone, address).status_code == 403
    assert get(Client(), address).status_code == 302
    officer = Client()
    officer.force_login(make_person("olga", "officer"))
    response = get(officer, address)
    assert response.body == data
    assert response.headers["Content-Type"] == "application/octet-stream"
    assert response.headers["Content-Disposition"].startswith("attachment")
