"""Copies are made by a worker where there is one; the bytes are safe before that."""

import pytest
from django.test import Client

from shared import jobs
from surveys import services
from surveys.models import Photo
from surveys.photos import make_copies
from tests.images import HEIC, jpeg, png_claiming
from tests.makers import make_bridge, make_person, make_visit, photo_document

pytestmark = pytest.mark.django_db


@pytest.fixture
def ada(db):
    return make_person("ada")


@pytest.fixture
def phone(ada):
    client = Client()
    client.force_login(ada)
    return client


@pytest.fixture
def _a_worker(settings):
    settings.JOBS_INLINE = False


def send(client, photo, data):
    return client.patch(
        f"/api/uploads/{photo['client_id']}/",
        data,
        "application/octet-stream",
        headers={"Upload-Offset": "0"},
    )


def announced(ada, data, **facts):
    photo = photo_document(data, **facts)
    return photo, make_visit(make_bridge(), ada, photos=[photo])


def work():
    count = 0
    while jobs.run_next("a worker"):
        count += 1
    return count


@pytest.mark.usefixtures("_a_worker")
@pytest.mark.parametrize("data", [jpeg(900, 600), HEIC], ids=["jpeg", "heic"])
def test_bytes_are_safe_at_once_and_copies_follow(phone, ada, data):
    photo, visit = announced(ada, data)
    answer = send(phone, photo, data)
    assert (answer.status_code, answer.json()["is_complete"]) == (200, True)
    held = visit.photos.get()
    with held.original.open() as original:
        assert original.read() == data
    assert held.derivatives == {}
    page = phone.get(f"/visits/{visit.client_id}/").content.decode()
    assert "copies for show are being made" in page
    assert work() == 1
    held.refresh_from_db()
    assert set(held.derivatives) == {"320", "800", "1600"}
    assert held.looks
    # A worker that was taken for gone may come back: nothing changes by it.
    before = Photo.objects.filter(pk=held.pk).values().get()
    make_copies(photo=held.pk)
    assert Photo.objects.filter(pk=held.pk).values().get() == before


@pytest.mark.usefixtures("_a_worker")
def test_what_its_head_betrays_is_told_at_once(phone, ada):
    for name, data in (
        ("a", b"no picture at all"),
        ("b", png_claiming(40_000, 25_000)),
    ):
        photo = photo_document(data, name)
        make_visit(make_bridge(name=name), ada, photos=[photo])
        assert send(phone, photo, data).status_code == 422
    assert work() == 0


@pytest.mark.usefixtures("_a_worker")
def test_what_breaks_off_is_told_once_the_worker_has_seen_it(phone, ada):
    data = jpeg(1200, 900)[:9_000]
    photo, visit = announced(ada, data)
    assert send(phone, photo, data).status_code == 200
    assert work() == 1
    (told,) = phone.get(f"/api/visits/{visit.client_id}/").json()["photos"]
    assert "breaks off" in told["fault"]
    assert told["is_complete"]
    assert not visit.photos.get().arrived_at


def test_the_same_file_announced_twice_travels_once(phone, ada):
    data = jpeg(300, 200)
    first, visit = announced(ada, data, name="a.jpg")
    second = photo_document(data, "b.jpg")
    other = make_visit(visit.bridge, ada, name="2", photos=[second])
    half = len(data) // 2
    services.receive_chunk(photo=other.photos.get(), offset=0, data=data[:half])
    assert send(phone, first, data).status_code == 200
    held = other.photos.get()
    assert held.arrived_at
    assert held.derivatives
    assert held.original.name == visit.photos.get().original.name
