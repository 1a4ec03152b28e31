"""What a reviewer asks reaches the surveyor, and the answer the reviewer."""

import json

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.test import Client

from surveys import record, replies, services
from surveys.models import Reply
from tests.makers import make_bridge, make_id, make_person, make_visit, visit_document

pytestmark = pytest.mark.django_db


@pytest.fixture
def ada(db):
    return make_person("ada")


@pytest.fixture
def rex(db):
    return make_person("rex", "reviewer")


@pytest.fixture
def visit(ada):
    return make_visit(
        make_bridge(), ada, said={"limit": {"tons": 3}, "span-1/deck": "same"}
    )


@pytest.fixture
def phone(ada):
    client = Client()
    client.force_login(ada)
    return client


def post(client, visit, document):
    return client.post(
        f"/api/visits/{visit.client_id}/answers/",
        json.dumps(document),
        "application/json",
    )


def limit_of(visit):
    return visit.observations.get(element__path="limit")


def test_a_returned_visit_is_answered_in_words_and_goes_back_into_the_queue(
    phone, visit, rex
):
    limit = limit_of(visit)
    services.return_visit(
        visit=visit, reviewer=rex, questions={limit.pk: "Was that for trucks?"}
    )
    (asked,) = phone.get("/api/questions/").json()
    assert asked["visit"] == str(visit.client_id)
    assert asked["observations"] == [
        {
            "id": limit.pk,
            "element": "limit",
            "name": limit.element.name,
            "answer": "changed",
            "question": "Was that for trucks?",
        }
    ]
    document = {
        "client_id": str(make_id("reply")),
        "answers": [{"observation": limit.pk, "text": "For all, it says."}],
    }
    first, again = post(phone, visit, document), post(phone, visit, document)
    assert (first.status_code, again.status_code) == (200, 200)
    assert first.json()["status"] == "submitted"
    reply = Reply.objects.get()
    assert (reply.text, reply.question, reply.observation) == (
        "For all, it says.",
        "Was that for trucks?",
        limit,
    )
    assert phone.get("/api/questions/").json() == []
    steps = visit.history.order_by("history_id").values_list("status", flat=True)
    assert list(steps) == ["submitted", "returned", "submitted"]


def test_a_held_back_answer_is_asked_about_after_the_rest_is_accepted(
    phone, visit, rex
):
    limit = limit_of(visit)
    services.accept_visit(
        visit=visit, reviewer=rex, held_back={limit.pk: "Which sign?"}
    )
    (asked,) = phone.get("/api/questions/").json()
    assert (asked["status"], asked["question"]) == ("accepted", "")
    assert [one["question"] for one in asked["observations"]] == ["Which sign?"]
    document = {
        "client_id": str(make_id("reply")),
        "answers": [{"observation": limit.pk, "text": "The north one."}],
    }
    assert post(phone, visit, document).json()["status"] == "accepted"
    assert phone.get("/api/questions/").json() == []
    # The record does not change by an answer.
    assert "limit" not in record.load(visit.bridge).configuration()


def test_a_held_back_answer_is_said_anew_by_another_visit(ada, visit, rex):
    limit = limit_of(visit)
    services.accept_visit(
        visit=visit, reviewer=rex, held_back={limit.pk: "Which sign?"}
    )
    document = visit_document(
        visit.bridge,
        name="again",
        said={"limit": {"tons": 5}},
        answers_to=str(visit.client_id),
    )
    answer, _ = services.record_visit(surveyor=ada, payload=document)
    visit.refresh_from_db()
    assert visit.status == "accepted"
    services.accept_visit(visit=answer, reviewer=rex)
    limit.refresh_from_db()
    assert limit.superseded_by == limit_of(answer)
    assert record.load(visit.bridge).configuration()["limit"].state == {"tons": 5.0}
    assert replies.open_questions(ada) == []
    services.take_out_visit(visit=answer, reviewer=rex, reason="The wrong bridge.")
    limit.refresh_from_db()
    assert limit.superseded_by is None


@pytest.mark.parametrize(
    ("document", "field", "code"),
    [
        ({}, "text", "required"),
        ({"text": "x" * 4_001}, "text", "max_length"),
        ({"answers": [{"observation": 999_999, "text": "a"}]}, "answers.999999", None),
    ],
)
def test_an_answer_that_cannot_be_kept_names_its_field(
    phone, visit, rex, document, field, code
):
    services.return_visit(visit=visit, reviewer=rex, question="Which?")
    answer = post(phone, visit, {"client_id": str(make_id("r")), **document})
    assert answer.status_code == 400
    assert [row["field"] for row in answer.json()["errors"]] == [field]
    assert code is None or answer.json()["errors"][0]["code"] == code
    visit.refresh_from_db()
    assert visit.status == "returned"


def test_an_observation_of_a_number_no_row_can_have_is_not_of_this_visit(
    phone, visit, rex
):
    services.return_visit(visit=visit, reviewer=rex, question="Which?")
    answers = [{"observation": 2**70, "text": "That one."}]
    document = {"client_id": str(make_id("r")), "answers": answers}
    answer = post(phone, visit, document)
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["code"] == "unknown"


def test_nobody_answers_for_another_or_where_nothing_is_asked(ada, visit, rex):
    with pytest.raises(ValidationError):
        replies.answer(visit=visit, person=ada, answers={}, text="I meant north.")
    with pytest.raises(PermissionDenied):
        replies.answer(visit=visit, person=rex, answers={}, text="They meant north.")
    client = Client()
    client.force_login(make_person("ben"))
    assert post(client, visit, {"client_id": str(make_id("r"))}).status_code == 404


def test_questions_cost_the_same_for_one_visit_and_for_ten(
    ada, rex, django_assert_max_num_queries
):
    bridge = make_bridge()
    for n in range(10):
        visit = make_visit(bridge, ada, name=n, said={"limit": {"tons": 3}})
        services.return_visit(
            visit=visit, reviewer=rex, questions={limit_of(visit).pk: "Sure?"}
        )
    with django_assert_max_num_queries(3):
        assert len(replies.open_questions(ada)) == 10
