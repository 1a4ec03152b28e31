"""The steps of review beyond the first decision, as reviewer and surveyor meet them."""

import json
import re

import pytest
from django.test import Client

from analysis.models import ConfigurationCheck, Effect
from surveys import record, services
from surveys.models import Visit
from tests.makers import make_bridge, make_person, make_visit, visit_document
from tests.pages import filled
from tests.structures import GRID, PLANK, make_described_bridge

pytestmark = pytest.mark.django_db


@pytest.fixture
def ada(db):
    return make_person("ada", credit_name="Ada Weir")


@pytest.fixture
def ben(db):
    return make_person("ben", credit_name="Ben Stone")


@pytest.fixture
def rex(db):
    return make_person("rex", "reviewer")


def client_of(person):
    client = Client()
    client.force_login(person)
    return client


@pytest.fixture
def desk(rex):
    return client_of(rex)


def text_of(response):
    text = re.sub(r"<[^>]+>", " ", response.content.decode())
    return re.sub(r"\s+", " ", text)


def decide(desk, visit, action, **typed):
    return desk.post(
        f"/review/{visit.client_id}/", {"action": action, **typed}, follow=True
    )


def test_a_visit_taken_out_leaves_the_record_as_it_was_before(desk, ada):
    bridge = make_described_bridge()
    visit = make_visit(bridge, ada, said={"span-1/deck": GRID})
    decide(desk, visit, "accept", looked="on")
    assert ConfigurationCheck.objects.filter(visit=visit).exists()
    assert Effect.objects.filter(to_visit=visit).exists()
    assert decide(desk, visit, "take-out").status_code == 422
    text = text_of(decide(desk, visit, "take-out", reason="It was the other bridge."))
    assert "out of the record" in text
    visit.refresh_from_db()
    assert visit.status == "taken-out"
    assert record.load(bridge).configuration()["span-1/deck"].state == PLANK
    assert not ConfigurationCheck.objects.filter(visit=visit).exists()
    assert not Effect.objects.filter(to_visit=visit).exists()
    # Nothing is lost: neither what was sent nor what was read of it.
    assert visit.observations.get().whole_state() == GRID
    assert Client().get(f"/visits/{visit.client_id}/").status_code == 404
    own = text_of(client_of(ada).get(f"/visits/{visit.client_id}/"))
    assert "It was the other bridge." in own
    decide(desk, visit, "put-back")
    decide(desk, visit, "accept", looked="on")
    assert record.load(bridge).configuration()["span-1/deck"].state == GRID
    steps = text_of(desk.get(f"/review/{visit.client_id}/")).split("Steps so far")[1]
    places = [
        steps.index(word)
        for word in ("Waiting", "Accepted", "Taken out", "back in the queue")
    ]
    assert places == sorted(places)


def test_only_reviewers_take_out_and_only_what_is_in(ada, desk):
    visit = make_visit(make_bridge(), ada)
    assert decide(desk, visit, "take-out", reason="Why not?").status_code == 422
    volunteer = client_of(ada)
    assert decide(volunteer, visit, "take-out", reason="Mine.").status_code == 403


def test_what_was_held_back_is_answered_and_taken_in_with_its_effect(desk, ada):
    bridge = make_described_bridge()
    visit = make_visit(bridge, ada, said={"span-1/deck": GRID})
    seen = visit.observations.get()
    question = {"hold": seen.pk, f"q-{seen.pk}": "Is it open grid?"}
    decide(desk, visit, "accept", looked="on", **question)
    assert record.load(bridge).configuration()["span-1/deck"].state == PLANK
    # Not shown to all while it is in question.
    assert "steel grid" not in text_of(Client().get(f"/visits/{visit.client_id}/"))
    phone = client_of(ada)
    page = phone.get(f"/visits/{visit.client_id}/")
    assert "Is it open grid?" in text_of(page)
    assert "1 part of it held back" in text_of(phone.get("/visits/"))
    answered = phone.post(
        f"/visits/{visit.client_id}/answer/",
        {f"a-{seen.pk}": "Open, I saw the river."},
        follow=True,
    )
    assert "Your answer is with the reviewer" in text_of(answered)
    assert "Answered" in text_of(desk.get("/review/"))
    assert "Open, I saw the river." in text_of(desk.get(f"/review/{visit.client_id}/"))
    decide(desk, visit, "take-in", hold=seen.pk)
    assert record.load(bridge).configuration()["span-1/deck"].state == GRID
    assert Effect.objects.filter(to_visit=visit).exists()
    steps = text_of(desk.get(f"/review/{visit.client_id}/")).split("Steps so far")[1]
    for word in ("Held back", "Is it open grid?", "Answered", "Taken in after all"):
        assert word in steps


def test_what_is_held_back_can_be_asked_about_again(desk, ada):
    visit = make_visit(make_bridge(), ada, said={"limit": {"tons": 3}})
    seen = visit.observations.get()
    held = {"hold": seen.pk}
    decide(desk, visit, "accept", looked="on", **held, **{f"q-{seen.pk}": "First?"})
    phone = client_of(ada)
    phone.post(f"/visits/{visit.client_id}/answer/", {f"a-{seen.pk}": "Yes."})
    assert "Answer in words" not in text_of(phone.get(f"/visits/{visit.client_id}/"))
    decide(desk, visit, "ask-again", **held, **{f"q-{seen.pk}": "Surely?"})
    page = text_of(phone.get(f"/visits/{visit.client_id}/"))
    assert "Surely?" in page
    assert "Answer in words" in page


def test_a_visit_goes_back_with_questions_of_single_parts(desk, ada):
    visit = make_visit(make_bridge(), ada, said={"limit": {"tons": 3}})
    seen = visit.observations.get()
    decide(desk, visit, "return", hold=seen.pk, **{f"q-{seen.pk}": "North sign?"})
    visit.refresh_from_db()
    assert visit.status == "returned"
    phone = client_of(ada)
    page = phone.get(f"/visits/{visit.client_id}/")
    assert "North sign?" in text_of(page)
    empty = phone.post(f"/visits/{visit.client_id}/answer/", {})
    assert empty.status_code == 422
    assert "Write an answer" in text_of(empty)
    again = phone.get(f"/bridges/{visit.bridge.slug}/visit/?answers={visit.client_id}")
    fields = filled(again)
    assert fields[f"e{seen.element_id}"] == ["changed"]
    assert fields["answers_to"] == [str(visit.client_id)]


def test_what_was_set_aside_is_shown_and_can_still_be_answered(desk, ada):
    bridge = make_bridge()
    document = visit_document(bridge, said={"limit": {"tons": 3}})
    document["observations"] += [3, {"element": "span-1/deck", "answer": ["same"]}]
    phone = client_of(ada)
    sent = phone.post("/api/visits/", json.dumps(document), "application/json")
    assert len(sent.json()["set_aside"]) == 2
    visit = Visit.objects.get()
    text = text_of(desk.get(f"/review/{visit.client_id}/"))
    assert "2 things in it could not be read" in text
    assert "observations.2.answer" in text
    decide(desk, visit, "return", question="What of the deck?")
    page = phone.get(f"/bridges/{bridge.slug}/visit/?answers={visit.client_id}")
    assert page.status_code == 200
    assert "could not be read" in text_of(phone.get(f"/visits/{visit.client_id}/"))


def test_two_people_on_one_day_are_both_kept_and_their_differences_shown(
    desk, ada, ben, django_assert_max_num_queries
):
    bridge = make_bridge()
    said = {"limit": {"tons": 5}, "span-1/deck": "not-seen", "setting": "same"}
    mine = make_visit(bridge, ada, said=said)
    make_visit(bridge, ada, name="own", said={"limit": {"tons": 9}})
    said = {"limit": {"tons": 3}, "span-1/deck": GRID, "setting": "same"}
    theirs = make_visit(bridge, ben, name="ben", said=said)
    text = text_of(desk.get(f"/review/{mine.client_id}/"))
    assert "Ben Stone was here the same day" in text
    assert "the same of 1 part and differ on 1" in text
    assert "Posted limit 5 tons 3 tons" in text
    for visit in (mine, theirs):
        decide(desk, visit, "accept", looked="on")
    assert Visit.objects.accepted().count() == 2
    part = record.load(bridge).configuration()["limit"]
    assert "say different things" in part.doubt
    assert "accepted" in text_of(desk.get(f"/review/{mine.client_id}/"))


def test_a_danger_stands_on_top_until_it_is_passed_on(desk, ada):
    visit = make_visit(make_bridge(), ada, is_danger=True, danger_note="Pin out.")
    assert "not yet passed on" in text_of(desk.get("/review/"))
    assert decide(desk, visit, "close-danger").status_code == 422
    page = decide(desk, visit, "close-danger", outcome="County told at 3 pm.")
    assert "County told at 3 pm." in text_of(page)
    assert "not yet passed on" not in text_of(desk.get("/review/"))
    assert "Danger passed on" in text_of(page).split("Steps so far")[1]


def test_the_way_to_a_sensitive_bridge_is_not_shown_to_visitors(ada, rex):
    bridge = make_bridge(is_position_sensitive=True)
    visit = make_visit(
        bridge, ada, rex, access="By the mill lane.", not_reached="The far bank."
    )
    address = f"/visits/{visit.client_id}/"
    for words in ("By the mill lane.", "The far bank."):
        assert words not in text_of(Client().get(address))
        assert words in text_of(client_of(ada).get(address))


def test_a_button_that_is_none_does_nothing(desk, ada):
    visit = make_visit(make_bridge(), ada)
    assert decide(desk, visit, "bless", looked="on").status_code == 422
    visit.refresh_from_db()
    assert visit.status == "submitted"


def test_a_withdrawn_visit_is_asked_nothing(ada, rex):
    visit = make_visit(make_bridge(), ada)
    services.return_visit(visit=visit, reviewer=rex, question="Which?")
    services.withdraw_visit(visit=visit, person=ada)
    assert "Answer in words" not in text_of(
        client_of(ada).get(f"/visits/{visit.client_id}/")
    )


def test_a_new_find_is_told_of_until_it_is_shown_to_visitors(desk, ada):
    document = {
        "client_id": "0d3b6f0e-5f0c-4c0e-9a53-6f5b6f0f5a11",
        "date": "2026-05-02",
        "notes": "Behind the mill.",
        "find": {"name": "Mill Race Bridge", "latitude": 41.3, "longitude": -77.2},
    }
    client_of(ada).post("/api/visits/", json.dumps(document), "application/json")
    visit = Visit.objects.get()
    page = desk.get(f"/review/{visit.client_id}/")
    assert "A new find, not on the record before" in text_of(page)
    link = re.search(r'href="([^"]+)">give it its name', page.content.decode())[1]
    assert desk.get(link).status_code == 200
    visit.bridge.is_public = True
    visit.bridge.save()
    page = desk.get(f"/review/{visit.client_id}/")
    assert "A new find" not in text_of(page)
