"""What a phone takes along, and that it asks as the visit form does."""

import json

import pytest
from django.test import Client

from surveys import record, services, sheet, states, submissions
from surveys.models import Visit
from tests.images import jpeg
from tests.makers import make_bridge, make_person, make_visit, photo_document
from tests.structures import make_described_bridge

pytestmark = pytest.mark.django_db


@pytest.fixture
def ada(db):
    return make_person("ada")


def pack(person, *slugs, **headers):
    client = Client()
    client.force_login(person)
    return client.get(f"/api/field-pack/?bridges={','.join(slugs)}", headers=headers)


def test_a_pack_holds_each_element_with_what_may_be_answered(ada):
    bridge = make_described_bridge()
    answer = pack(ada, bridge.slug, "no-such-bridge")
    assert answer.status_code == 200
    assert answer.headers["Cache-Control"] == "private, no-store"
    body = answer.json()
    assert (body["missing"], body["user_id"]) == (["no-such-bridge"], ada.pk)
    taken = body["bridges"][0]
    elements = {one["path"]: one for one in taken["elements"]}
    form = sheet.Sheet(record.load(bridge))
    for row in form.rows:
        one = elements[row.element.path]
        assert one["answers"] == [[v, w] for v, w in row.answers if w]
        assert (one["last_words"], one["base"]) == (row.last_words, row.base)
        assert one["state"] == row.state
    walk = [path for group in taken["groups"] for path in group["rows"]]
    assert walk == [row.element.path for group in form.groups for row in group.rows]


def test_a_document_made_of_the_pack_is_taken_whole(ada):
    bridge = make_described_bridge()
    taken = pack(ada, bridge.slug).json()["bridges"][0]
    said = [
        {"element": one["path"], "answer": "same", "compared_with": one["base"]}
        for one in taken["elements"]
        if one["is_recorded"]
    ]
    payload = {
        "client_id": "5ec04d00-0000-4000-8000-000000000001",
        "bridge": taken["slug"],
        "date": "2024-05-04",
        "observations": said,
    }
    visit, _ = services.record_visit(surveyor=ada, payload=payload)
    assert visit.observations.count() == len(said) > 30


def test_the_rules_of_the_pack_are_those_a_state_is_read_by(ada):
    rules = pack(ada).json()["rules"]
    for kind, rows in rules["kinds"].items():
        asked = {row["name"] for row in rows}
        assert asked <= set(states.fields_of(kind))
        assert asked >= {
            name for name in states.fields_of(kind) if name in sheet.LABELS
        }
    assert rules["shapes"]["eyebar"]["sizes"] == ["width_in", "thickness_in"]
    assert rules["most_photos"] == submissions.MOST_PHOTOS


def test_each_bar_of_the_drawing_leads_to_its_element(ada):
    bridge = make_bridge()
    taken = pack(ada, bridge.slug).json()["bridges"][0]
    drawn = [group for group in taken["groups"] if group["drawing"]]
    assert len(drawn) == 2
    for group in drawn:
        for path in group["rows"]:
            assert f'href="#bar:{path}"' in group["drawing"]


def test_the_latest_picture_of_each_element_comes_along_and_no_unreviewed_one(ada):
    bridge, rex = make_bridge(), make_person("rex", "reviewer")
    for name, date, reviewer in [
        ("old.jpg", "2012-05-01", rex),
        ("new.jpg", "2018-05-01", rex),
        ("unreviewed.jpg", "2022-05-01", None),
    ]:
        data = jpeg(900, 700, (int(date[2:4]), 80, 30))
        photo = photo_document(data, name, element="span-1/deck", caption=name)
        visit = make_visit(bridge, ada, None, date=date, name=name, photos=[photo])
        services.store_photo(photo=visit.photos.get(), bytes=data)
        if reviewer:
            services.accept_visit(visit=visit, reviewer=reviewer)
    taken = pack(ada, bridge.slug).json()["bridges"][0]
    assert [one["caption"] for one in taken["pictures"]] == ["new.jpg"]
    deck = next(one for one in taken["elements"] if one["path"] == "span-1/deck")
    assert deck["picture"] == taken["pictures"][0]["id"]


def test_what_a_reviewer_asks_comes_along_with_what_was_sent(ada):
    bridge, rex = make_bridge(), make_person("rex", "reviewer")
    visit = make_visit(bridge, ada, said={"limit": "gone"})
    services.return_visit(visit=visit, reviewer=rex, question="Which post?")
    asked = pack(ada).json()["questions"]
    assert [(one["question"], one["bridge"]) for one in asked] == [
        ("Which post?", bridge.slug)
    ]
    assert asked[0]["submitted"]["observations"][0]["element"] == "limit"
    assert Visit.objects.get().status == "returned"
    assert pack(make_person("bea")).json()["questions"] == []


def test_a_pack_is_for_volunteers_and_for_who_asked(ada):
    bridge = make_bridge(is_public=False)
    assert Client().get("/api/field-pack/").status_code == 401
    assert pack(ada, bridge.slug, **{"X-Expected-User": "0"}).status_code == 409
    assert pack(ada, bridge.slug).json()["missing"] == []
    many = pack(ada, *(f"b-{n}" for n in range(26)))
    assert many.status_code == 400
    assert json.loads(many.content)["errors"][0]["field"] == "bridges"


def test_ten_bridges_cost_as_many_queries_as_their_drawings_need(
    ada, django_assert_max_num_queries
):
    slugs = [make_bridge(slug=f"bridge-{n}", name=f"Bridge {n}").slug for n in "abcd"]
    pack(ada, *slugs)
    with django_assert_max_num_queries(60):
        assert len(pack(ada, *slugs).json()["bridges"]) == 4
