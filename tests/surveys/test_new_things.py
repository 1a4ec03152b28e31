"""What a visit may bring that the record does not hold yet."""

import datetime
import json

import pytest
from django.test import Client

from bridges.models import Bridge, Span
from surveys import record, services
from surveys.models import Element, Viewpoint, Visit
from tests.images import jpeg
from tests.makers import make_bridge, make_id, make_person, photo_document
from tests.makers import visit_document as document

pytestmark = pytest.mark.django_db


@pytest.fixture
def ada(db):
    return make_person("ada")


@pytest.fixture
def rex(db):
    return make_person("rex", "reviewer")


def post(person, payload):
    client = Client()
    client.force_login(person)
    return client.post("/api/visits/", json.dumps(payload), "application/json")


def find_document(**facts):
    return {
        "client_id": str(make_id("find")),
        "date": "2024-05-04",
        "find": {"latitude": 41.2, "longitude": -77.4, **facts},
    }


# -- a bridge that is not on the record


def test_a_new_find_becomes_a_bridge_that_only_the_society_sees(ada):
    photo = photo_document(jpeg(), "portal.jpg")
    payload = find_document(
        name="Bridge by the old kiln", form="pratt", material="wrought-iron"
    )
    answer = post(ada, {**payload, "photos": [photo]})
    assert answer.status_code == 201, answer.json()
    bridge = Bridge.objects.get()
    assert (bridge.name, bridge.is_public) == ("Bridge by the old kiln", False)
    assert bridge.slug == answer.json()["bridge"]
    assert (Span.objects.get().form, bridge.standing.form) == ("pratt", "pratt")
    assert Visit.objects.get().photos.count() == 1
    assert Client().get(f"/api/bridges/{bridge.slug}/").status_code == 404


def test_a_find_sent_twice_is_one_bridge(ada):
    first, again = post(ada, find_document()), post(ada, find_document())
    assert (first.status_code, again.status_code) == (201, 200)
    assert Bridge.objects.count() == Visit.objects.count() == 1
    assert Bridge.objects.get().name == "Unnamed bridge"


@pytest.mark.parametrize(
    "facts, field",
    [
        ({"latitude": None}, "find.latitude"),
        ({"longitude": 400}, "find.longitude"),
        ({"latitude": "north"}, "find.latitude"),
    ],
)
def test_a_find_without_a_place_is_refused_by_name_and_leaves_nothing(
    ada, facts, field
):
    answer = post(ada, find_document(**facts))
    assert answer.status_code == 400
    assert field in [row["field"] for row in answer.json()["errors"]]
    assert not Bridge.objects.exists()


def test_what_cannot_be_read_of_a_find_costs_only_itself(ada):
    answer = post(ada, find_document(form="zigzag", colour="red"))
    assert answer.status_code == 201
    fields = {row["field"] for row in answer.json()["set_aside"]}
    assert fields == {"find.form", "find.colour"}


def test_a_find_is_reviewed_and_read_like_any_visit(ada, rex):
    post(ada, find_document(name="Kiln Bridge", form="pratt"))
    visit, client = Visit.objects.get(), Client()
    client.force_login(rex)
    assert client.get(f"/review/{visit.client_id}/").status_code == 200
    services.accept_visit(visit=visit, reviewer=rex)
    for page in ("", "history/", "visit/"):
        address = f"/bridges/{visit.bridge.slug}/{page}"
        assert client.get(address).status_code == 200, address


# -- joints


def test_a_joint_is_an_element_from_the_first_visit_that_speaks_of_it(ada, rex):
    bridge = make_bridge()
    before = Element.objects.count()
    said = {"span-1/upstream/L2": {"description": "Nut backed off two threads."}}
    for name in "ab":
        assert post(ada, document(bridge, name=name, said=said)).status_code == 201
    joint = Element.objects.get(kind="joint")
    assert (joint.name, joint.truss_line.key) == (
        "joint L2, upstream truss",
        "upstream",
    )
    assert Element.objects.count() == before + 1
    for visit in Visit.objects.all():
        services.accept_visit(visit=visit, reviewer=rex)
    part = record.load(bridge).configuration()["span-1/upstream/L2"]
    assert part.state["description"] == "Nut backed off two threads."
    client = Client()
    client.force_login(ada)
    page = client.get(f"/bridges/{bridge.slug}/visit/").content.decode()
    assert "Joint L2" in page
    assert client.get(f"/bridges/{bridge.slug}/").status_code == 200
    assert client.get(f"/bridges/{bridge.slug}/history/").status_code == 200


def test_a_joint_that_is_not_on_the_truss_is_told(ada):
    answer = post(ada, document(make_bridge(), said={"span-1/upstream/L9": "gone"}))
    assert answer.json()["set_aside"][0]["field"] == "observations.0.element"
    assert not Element.objects.filter(kind="joint").exists()


# -- marks and viewpoints


def test_marks_found_on_a_member_are_kept_and_shown(ada):
    bridge = make_bridge()
    payload = document(bridge)
    row = {"element": "span-1/upstream/U1U2", "answer": "same", "marks": "UNION IRON"}
    answer = post(ada, {**payload, "observations": [row]})
    assert answer.status_code == 201
    visit = Visit.objects.get()
    assert visit.observations.get().marks == "UNION IRON"
    client = Client()
    client.force_login(ada)
    assert b"UNION IRON" in client.get(visit.get_absolute_url()).content


def test_a_new_viewpoint_stands_in_the_record_once_its_visit_does(ada, rex):
    bridge = make_bridge()
    photo = photo_document(jpeg(), "bank.jpg", viewpoint="East bank")
    described = {"name": "East bank", "bearing_deg": 85, "description": "By the alder."}
    payload = document(bridge, photos=[photo], viewpoints=[described])
    answer = post(ada, payload)
    assert (answer.status_code, answer.json()["set_aside"]) == (201, [])
    assert not Viewpoint.objects.exists()
    visit = services.accept_visit(visit=Visit.objects.get(), reviewer=rex)
    viewpoint = Viewpoint.objects.get()
    assert (viewpoint.bearing_deg, viewpoint.description) == (85, "By the alder.")
    assert visit.photos.get().viewpoint == viewpoint


# -- days and moments


def test_a_phone_ahead_of_the_societys_clock_may_be_a_day_on(ada, monkeypatch):
    """Ten in the evening of the 4th in New York is the 5th in London."""
    moment = datetime.datetime(2024, 5, 5, 2, tzinfo=datetime.UTC)
    monkeypatch.setattr("django.utils.timezone.now", lambda: moment)
    bridge = make_bridge()
    for day, aside in [("2024-05-05", []), ("2024-05-06", ["future"])]:
        answer = post(ada, document(bridge, date=day))
        assert [row["code"] for row in answer.json()["set_aside"]] == aside


@pytest.mark.parametrize(
    "given, code",
    [
        ("2024-05-04T14:03:00", "moment"),
        (7, "moment"),
        ("2999-01-01T00:00:00Z", "future"),
    ],
)
def test_a_moment_that_cannot_be_costs_only_itself(ada, given, code):
    photo = photo_document(jpeg(), "deck.jpg", taken_at=given)
    answer = post(ada, document(make_bridge(), photos=[photo]))
    assert [(row["field"], row["code"]) for row in answer.json()["set_aside"]] == [
        ("photos.0.taken_at", code)
    ]
    assert Visit.objects.get().photos.get().taken_at is None


def test_the_moment_a_phone_took_a_photo_is_kept(ada):
    photo = photo_document(jpeg(), "deck.jpg", taken_at="2024-05-04T14:03:00Z")
    post(ada, document(make_bridge(), photos=[photo]))
    moment = Visit.objects.get().photos.get().taken_at
    assert moment.isoformat() == "2024-05-04T14:03:00+00:00"
