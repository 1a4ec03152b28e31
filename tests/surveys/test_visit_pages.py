"""A visit as it was submitted, and one's own visits."""

import re

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from surveys import services
from surveys.models import Visit
from tests.images import with_place
from tests.makers import make_bridge, make_person, make_visit, photo_document

pytestmark = pytest.mark.django_db

ROD = {"components": [{"shape": "round-rod", "diameter_in": 1.125}]}
COUNTERS = [
    f"span-1/{line}/{member}"
    for line in ("upstream", "downstream")
    for member in ("L2U3", "L3U2")
]


@pytest.fixture
def ada(db):
    return make_person("ada", credit_name="Ada Weir")


@pytest.fixture
def rex(db):
    return make_person("rex", "reviewer")


@pytest.fixture
def bridge(db):
    return make_bridge()


def signed_in(person):
    client = Client()
    client.force_login(person)
    return client


def text_of(response):
    assert response.status_code == 200
    text = re.sub(r"<[^>]+>", " ", response.content.decode())
    return re.sub(r"\s+", " ", text)


def test_alike_answers_are_told_in_one_row(ada, rex, bridge):
    said = dict.fromkeys(COUNTERS, ROD) | {"limit": "same", "setting": "not-seen"}
    visit = make_visit(bridge, ada, rex, people="A. Weir", said=said)
    text = text_of(Client().get(visit.get_absolute_url()))
    assert (
        "L2U3 and L3U2, upstream and downstream trusses Changed round rod 1 1/8 in"
    ) in text
    assert "Setting Couldn" in text
    assert "Same as last time: Posted limit." in text
    assert "Ada Weir" in text


def test_photos_are_shown_with_and_without_a_part(ada, rex, bridge):
    data, other = with_place(), with_place(taken="2018:01:01 10:00:00")
    photos = [
        photo_document(data, "a.jpg", element="limit"),
        photo_document(other, "b.jpg"),
        photo_document(b"never arrives", "c.jpg"),
    ]
    visit = make_visit(bridge, ada, rex, photos=photos)
    for photo, content in zip(
        visit.photos.order_by("name"), (data, other), strict=False
    ):
        services.store_photo(photo=photo, bytes=content)
    page = Client().get(visit.get_absolute_url())
    assert page.content.count(b"/800.jpg") == 2
    assert "c.jpg" not in text_of(page)
    assert "c.jpg is still to come" in text_of(
        signed_in(ada).get(visit.get_absolute_url())
    )


def test_a_visit_not_yet_accepted_is_its_surveyors_and_reviewers(ada, rex, bridge):
    visit = make_visit(bridge, ada)
    address = visit.get_absolute_url()
    people = (ada, rex, make_person("ben"))
    seen = [signed_in(person).get(address).status_code for person in people]
    assert [*seen, Client().get(address).status_code] == [200, 200, 404, 404]


def test_a_danger_note_of_an_unreviewed_visit_stays_within(ada, rex, bridge):
    visit = make_visit(
        bridge, ada, rex, is_danger=True, danger_note="A rod hangs loose."
    )
    address = visit.get_absolute_url()
    assert "A rod hangs loose" in text_of(signed_in(ada).get(address))


def test_a_returned_visit_leads_to_its_answer(ada, rex, bridge):
    visit = make_visit(bridge, ada)
    services.return_visit(visit=visit, reviewer=rex, question="Which counter?")
    page = signed_in(ada).get(visit.get_absolute_url())
    assert "Which counter?" in text_of(page)
    assert f"?answers={visit.client_id}" in page.content.decode()
    assert "Which counter?" in text_of(signed_in(ada).get("/visits/"))


def test_a_surveyor_withdraws_from_the_page(ada, rex, bridge):
    visit = make_visit(bridge, ada)
    address = f"{visit.get_absolute_url()}withdraw/"
    assert signed_in(rex).post(address).status_code == 404
    assert signed_in(ada).get(address).status_code == 405
    text = text_of(signed_in(ada).post(address, follow=True))
    assert "The visit is withdrawn" in text
    visit.refresh_from_db()
    assert visit.status == "withdrawn"


def test_somebody_without_visits_is_told_how_to_begin(ada):
    assert "You have sent no visit yet" in text_of(signed_in(ada).get("/visits/"))


def test_ones_visits_cost_the_same_for_one_and_for_twenty(ada, bridge):
    client = signed_in(ada)

    def queries():
        with CaptureQueriesContext(connection) as seen:
            text_of(client.get("/visits/"))
        return len(seen.captured_queries)

    make_visit(bridge, ada)
    one = queries()
    for n in range(19):
        make_visit(bridge, ada, name=n, photos=[photo_document(b"x", f"{n}.jpg")])
    assert queries() == one
    assert Visit.objects.count() == 20


def test_a_visit_costs_the_same_for_one_answer_and_for_many(ada, rex, bridge):
    def queries(visit):
        with CaptureQueriesContext(connection) as seen:
            text_of(Client().get(visit.get_absolute_url()))
        return len(seen.captured_queries)

    small = make_visit(bridge, ada, rex, said={COUNTERS[0]: ROD})
    large = make_visit(bridge, ada, rex, name="2", said=dict.fromkeys(COUNTERS, ROD))
    queries(small)
    assert queries(small) == queries(large)
