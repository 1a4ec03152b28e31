"""Who reviews, what they are shown before they decide, and what follows."""

import re

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from analysis.models import ConfigurationCheck
from analysis.review import differences
from surveys import record, services
from surveys.models import Visit
from tests.images import with_place
from tests.makers import (
    make_bridge,
    make_person,
    make_visit,
    photo_document,
    visit_document,
)
from tests.structures import GRID, PLANK, make_described_bridge

pytestmark = pytest.mark.django_db


@pytest.fixture
def ada(db):
    return make_person("ada")


@pytest.fixture
def rex(db):
    return make_person("rex", "reviewer")


@pytest.fixture
def desk(rex):
    client = Client()
    client.force_login(rex)
    return client


def address(visit):
    return f"/review/{visit.client_id}/"


def text_of(response):
    text = re.sub(r"<[^>]+>", " ", response.content.decode())
    return re.sub(r"\s+", " ", text)


def decide(desk, visit, action, **typed):
    return desk.post(address(visit), {"action": action, **typed}, follow=True)


@pytest.mark.parametrize(
    ("groups", "status"),
    [(["volunteer"], 403), (["officer"], 403), (["reviewer"], 200), (["keeper"], 200)],
)
def test_reviewing_is_for_reviewers_and_keepers(ada, groups, status):
    visit = make_visit(make_bridge(), ada)
    client = Client()
    client.force_login(make_person("x", *groups))
    assert client.get("/review/").status_code == status
    assert client.get(address(visit)).status_code == status
    posted = client.post(address(visit), {"action": "preview"})
    assert posted.status_code == status


def test_somebody_signed_out_is_sent_to_sign_in(ada):
    visit = make_visit(make_bridge(), ada)
    assert Client().get("/review/").status_code == 302
    assert Client().post(address(visit), {"action": "accept"}).status_code == 302
    visit.refresh_from_db()
    assert visit.status == "submitted"


def test_danger_comes_first_and_then_the_longest_waiting(desk, ada):
    for name, danger in (("Ash", False), ("Birch", False), ("Cedar", True)):
        make_visit(make_bridge(name=f"{name} Bridge"), ada, is_danger=danger)
    text = text_of(desk.get("/review/"))
    places = [text.index(name) for name in ("Cedar", "Ash", "Birch")]
    assert places == sorted(places)
    assert "Reported as dangerous" in text


def test_the_queue_costs_the_same_for_one_visit_and_for_twenty(desk, ada):
    def queries():
        with CaptureQueriesContext(connection) as seen:
            assert desk.get("/review/").status_code == 200
        return [query["sql"] for query in seen.captured_queries]

    bridge = make_bridge()
    make_visit(bridge, ada, said={"limit": "same"}, photos=[photo_document(b"a")])
    one = queries()
    for n in range(19):
        photos = [photo_document(b"b", f"{n}.jpg")]
        make_visit(bridge, ada, name=n, said={"limit": "same"}, photos=photos)
    twenty = queries()
    assert len(twenty) == len(one), "\n".join(twenty)


def test_a_visit_stands_beside_the_record_as_it_was_by_its_date(desk, ada, rex):
    """A visit of 1995 is held against 1990, not against what came in 2004."""
    bridge = make_bridge()
    for year, tons in ((1990, 8), (2004, 3)):
        make_visit(bridge, ada, rex, date=str(year), said={"limit": {"tons": tons}})
    visit = make_visit(bridge, ada, date="1995", said={"limit": {"tons": 6}})
    text = text_of(desk.get(address(visit)))
    assert "In the record, 1990 8 tons On this visit 6 tons" in text
    assert "Earlier than 1 visit already in the record" in text


def test_effects_are_shown_before_anything_is_accepted(desk, ada):
    bridge = make_described_bridge()
    visit = make_visit(bridge, ada, said={"span-1/deck": GRID})
    text = text_of(desk.get(address(visit)))
    assert "What accepting it would change" in text
    assert "tons of dead load" in text
    assert "Screening estimate, not a load rating" in text
    visit.refresh_from_db()
    assert visit.status == "submitted"
    assert record.load(bridge).configuration()["span-1/deck"].state == PLANK


def test_what_is_held_back_leaves_the_preview(desk, ada, rex):
    bridge = make_bridge()
    make_visit(bridge, ada, rex, date="1990", said={"limit": {"tons": 8}})
    visit = make_visit(bridge, ada, said={"limit": {"tons": 3}})
    seen = visit.observations.get()
    assert "Posted limit lowered" in text_of(desk.get(address(visit)))
    held = decide(desk, visit, "preview", hold=seen.pk, **{f"q-{seen.pk}": "Sure?"})
    assert "Posted limit lowered" not in text_of(held)
    assert f'value="{seen.pk}" checked' in held.content.decode()
    assert 'value="Sure?"' in held.content.decode()


def test_accepting_takes_it_into_the_record_and_checks_it(desk, ada, rex):
    bridge = make_described_bridge()
    visit = make_visit(bridge, ada, said={"span-1/deck": GRID, "limit": {"tons": 3}})
    limit = visit.observations.get(element__path="limit")
    question = {f"q-{limit.pk}": "Was that the sign for trucks?"}
    decide(desk, visit, "accept", looked="on", hold=limit.pk, **question)
    visit.refresh_from_db()
    assert (visit.status, visit.reviewer) == ("accepted", rex)
    parts = record.load(bridge).configuration()
    assert parts["span-1/deck"].state == GRID
    assert "limit" not in parts
    limit.refresh_from_db()
    assert limit.question == "Was that the sign for trucks?"
    assert ConfigurationCheck.objects.filter(visit=visit).count() == 2


def test_alike_answers_are_held_back_together(desk, ada):
    bridge = make_bridge()
    rod = {"components": [{"shape": "round-rod", "diameter_in": 1}]}
    lines = ("upstream", "downstream")
    paths = [f"span-1/{line}/{m}" for line in lines for m in ("L2U3", "L3U2")]
    visit = make_visit(bridge, ada, said=dict.fromkeys(paths, rod))
    page = desk.get(address(visit)).content.decode()
    assert "L2U3 and L3U2, upstream and downstream trusses" in page
    value = re.search(r'name="hold" value="([\d,]+)"', page)[1]
    first = value.split(",")[0]
    typed = {"hold": value, f"q-{first}": "All four?"}
    decide(desk, visit, "accept", looked="on", **typed)
    assert (
        visit.observations.filter(is_held_back=True, question="All four?").count() == 4
    )


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({}, "Tick that you have looked"),
        ({"looked": "on", "is_held": True}, "Say what is in question"),
    ],
)
def test_an_incomplete_decision_changes_nothing(desk, ada, typed, said):
    visit = make_visit(make_bridge(), ada, said={"limit": {"tons": 3}})
    if typed.pop("is_held", False):
        typed["hold"] = visit.observations.get().pk
    response = decide(desk, visit, "accept", **typed)
    assert response.status_code == 422
    assert said in text_of(response)
    visit.refresh_from_db()
    assert visit.status == "submitted"


def test_returning_asks_and_keeps_the_question_typed(desk, ada):
    visit = make_visit(make_bridge(), ada)
    assert decide(desk, visit, "return", question="").status_code == 422
    text = text_of(decide(desk, visit, "return", question="Which of the two?"))
    assert "Asked: Which of the two?" in text
    visit.refresh_from_db()
    assert visit.status == "returned"


def test_a_reviewers_own_visit_waits_for_somebody_else(desk, rex):
    visit = make_visit(make_bridge(), rex)
    page = text_of(desk.get(address(visit)))
    assert "This visit is yours" in page
    assert "Accept into the record" not in page
    assert decide(desk, visit, "accept", looked="on").status_code == 403


def test_two_reviewers_at_once_are_told(desk, ada):
    visit = make_visit(make_bridge(), ada)
    other = make_person("ria", "reviewer")
    services.return_visit(visit=visit, reviewer=other, question="Which?")
    response = decide(desk, visit, "accept", looked="on")
    assert response.status_code == 422
    assert "cannot be taken any more" in text_of(response)


def test_a_photo_from_elsewhere_or_another_day_is_asked_about(desk, ada):
    """41°12′13″ N 77°24′18″ W and 41.2 N 77.4 W: 0.0036° × 111.2 km and
    0.005° × 83.7 km, so about 580 m apart."""
    data = with_place()
    visit = make_visit(make_bridge(), ada, date="2018", photos=[photo_document(data)])
    services.store_photo(photo=visit.photos.get(), bytes=data)
    text = text_of(desk.get(address(visit)))
    metres = int(re.search(r"about (\d+) m from where the bridge stands", text)[1])
    assert metres == pytest.approx(580, abs=5)
    assert "Taken after the date of the visit" in text


def test_what_else_was_sent_is_told_field_by_field(desk, ada):
    bridge = make_bridge()
    document = visit_document(bridge, said={"limit": "same", "span-1/deck": "same"})
    visit, _ = services.record_visit(surveyor=ada, payload=document)
    second = {
        **document,
        "notes": "Later.",
        "observations": document["observations"][1:],
    }
    with pytest.raises(services.OtherContent):
        services.record_visit(surveyor=ada, payload=second)
    assert [path for path, _, _ in differences(document, second)] == [
        "notes",
        "observations.limit.element",
        "observations.limit.answer",
    ]
    assert "with other content" in text_of(desk.get(address(visit)))
    assert "sent again with other content" in text_of(desk.get("/review/"))


def test_every_step_of_a_visit_is_shown(desk, ada, rex):
    visit = make_visit(make_bridge(), ada)
    decide(desk, visit, "return", question="Which?")
    answer = visit_document(
        visit.bridge, name="2", answers_to=str(visit.client_id), said={"limit": "same"}
    )
    services.record_visit(surveyor=ada, payload=answer)
    text = text_of(desk.get(address(visit)))
    places = [
        text.index(word, text.index("Steps so far"))
        for word in ("Waiting for review", "Returned with a question", "Withdrawn")
    ]
    assert places == sorted(places)
    assert Visit.objects.filter(status="submitted").count() == 1
