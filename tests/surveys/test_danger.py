"""A danger reaches reviewers at once, and stays before them until it is passed on."""

import datetime
import re

import pytest
from django.core import mail
from django.core.exceptions import PermissionDenied, ValidationError
from django.test import Client
from django.utils import timezone

from surveys import alarms, services
from surveys.models import Visit
from tests.makers import make_bridge, make_person, make_visit, visit_document

pytestmark = pytest.mark.django_db
ROD = "span-1/upstream/L2U3"
CHORD = "span-1/upstream/U1U2"


@pytest.fixture
def ada(db):
    return make_person("ada")


@pytest.fixture
def rex(db):
    return make_person("rex", "reviewer", email="rex@example.org")


def client_of(person):
    client = Client()
    client.force_login(person)
    return client


def today():
    return timezone.localdate().isoformat()


def test_reviewers_are_written_to_and_told_on_every_page(
    ada, rex, settings, django_capture_on_commit_callbacks
):
    settings.DANGER_CONTACT = "Bridge desk, 555 0142"
    settings.SITE_ADDRESS = "http://bridges.example.org"
    make_person("ben", email="ben@example.org")
    bridge = make_bridge(owner="Alder County", owner_contact="555 0100")
    with django_capture_on_commit_callbacks(execute=True):
        visit = make_visit(
            bridge, ada, date=today(), is_danger=True, danger_note="Rod parted at L2."
        )
    (sent,) = mail.outbox
    assert sent.bcc == ["rex@example.org"]
    for words in ("Rod parted at L2.", "Alder County, 555 0100", "555 0142"):
        assert words in sent.body
    desk = client_of(rex)
    (link,) = re.findall(r"http://bridges\.example\.org(/\S+)", sent.body)
    assert "Rod parted at L2." in desk.get(link).content.decode()
    assert "Reported as dangerous" in desk.get("/builders/").content.decode()
    assert "Reported as dangerous" not in (
        client_of(ada).get("/builders/").content.decode()
    )
    services.close_danger(
        visit=visit, reviewer=rex, outcome="County closed it at noon."
    )
    assert "Reported as dangerous" not in desk.get("/builders/").content.decode()
    visit.refresh_from_db()
    assert visit.is_danger
    assert visit.danger_outcome == "County closed it at noon."


def test_mail_that_cannot_be_sent_costs_nothing_of_the_visit(
    ada, rex, monkeypatch, django_capture_on_commit_callbacks
):
    def refuse(message):
        raise ConnectionRefusedError

    monkeypatch.setattr(alarms.EmailMessage, "send", refuse)
    with django_capture_on_commit_callbacks(execute=True):
        make_visit(make_bridge(), ada, date=today(), is_danger=True)
    assert Visit.objects.in_danger().count() == 1


def test_nobody_is_written_to_where_no_mail_is_set(
    ada, rex, settings, django_capture_on_commit_callbacks
):
    settings.EMAIL_BACKEND = "django.core.mail.backends.console.EmailBackend"
    with django_capture_on_commit_callbacks(execute=True):
        make_visit(make_bridge(), ada, date=today(), is_danger=True)
    assert mail.outbox == []


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({ROD: "gone"}, "L2U3 upstream: said to be gone"),
        ({CHORD: {"flags": ["bent"]}}, "bar in compression said to be bent"),
        ({ROD: {"flags": ["cracked"]}}, "said to be cracked"),
        ({ROD: {"description": "Severed by the turnbuckle."}}, "“severed”"),
        ({"span-1/deck": {"description": "A plank has snapped."}}, "“snapped”"),
        ({CHORD: {"description": "Not buckled, only out of paint."}}, ""),
        ({ROD: {"flags": ["bent"]}}, ""),
        ({ROD: "same"}, ""),
    ],
)
def test_what_answers_say_may_be_dangerous_is_noticed(ada, said, words):
    visit = make_visit(make_bridge(), ada, date=today(), said=said)
    assert words in "; ".join(visit.danger_signs)
    assert bool(visit.danger_signs) == bool(words)
    assert not visit.is_danger


def test_an_old_photograph_alarms_nobody(ada):
    long_ago = (timezone.localdate() - datetime.timedelta(days=200)).isoformat()
    for date, basis in ((long_ago, "in-person"), (today(), "photograph")):
        visit = make_visit(
            make_bridge(name=basis), ada, date=date, basis=basis, said={ROD: "gone"}
        )
        assert visit.danger_signs == []


def test_the_phone_is_told_to_leave_first_and_whom_to_call(ada, settings):
    settings.DANGER_CONTACT = "Bridge desk, 555 0142"
    document = visit_document(make_bridge(), date=today(), said={ROD: "gone"})
    answer = client_of(ada).post("/api/visits/", document, "application/json")
    danger = answer.json()["danger"]
    assert danger["message"].startswith("Leave the deck first")
    assert danger["call"] == "Bridge desk, 555 0142"
    assert danger["signs"] == ["L2U3 upstream: said to be gone"]
    assert not danger["is_reported"]


def test_a_danger_is_closed_by_reviewers_in_words(ada, rex):
    visit = make_visit(make_bridge(), ada, date=today(), is_danger=True)
    with pytest.raises(ValidationError):
        services.close_danger(visit=visit, reviewer=rex, outcome=" ")
    with pytest.raises(PermissionDenied):
        services.close_danger(visit=visit, reviewer=ada, outcome="Done.")


def test_the_surveyor_reads_whom_to_call_and_what_became_of_it(ada, rex, settings):
    settings.DANGER_CONTACT = "Bridge desk, 555 0142"
    visit = make_visit(make_bridge(), ada, date=today(), is_danger=True)
    phone, address = client_of(ada), f"/visits/{visit.client_id}/"
    page = phone.get(address).content.decode()
    assert "Leave the deck first" in page
    assert "Bridge desk, 555 0142" in page
    services.close_danger(visit=visit, reviewer=rex, outcome="County closed it.")
    assert "County closed it." in phone.get(address).content.decode()
