"""The list and one bridge over the API."""

import pytest

from bridges.models import Bridge, generalised
from shared import limits
from tests.bridges.inventory import furnish, list_bridge, list_builder, queries_of
from tests.makers import make_person

pytestmark = pytest.mark.django_db


def test_the_list_tells_what_the_page_lists(client):
    list_bridge(1, built="1887~")
    body = client.get("/api/bridges/").json()
    (row,) = body["results"]
    assert body["count"] == 1
    assert row["url"] == "/bridges/mill-road-1/"
    assert row["built"] == {
        "edtf": "1887~",
        "words": "about 1887",
        "earliest": "1886-01-01",
        "latest": "1888-12-31",
    }
    assert row["position"] == {
        "latitude": 39.503,
        "longitude": -40.496,
        "is_exact": True,
    }
    assert row["standing"]["changed_parts"] == ["deck"]
    assert row["standing"]["form"] == "pratt"


def test_a_bridge_without_standing_is_told_with_what_is_not_known(client):
    Bridge.objects.create(
        name="Bare", slug="bare", number="B", county="Alder", latitude=40, longitude=-40
    )
    (row,) = client.get("/api/bridges/").json()["results"]
    assert row["standing"]["form"] == "unknown"
    assert row["standing"]["changed_parts"] == []
    assert client.get("/api/bridges/bare/").json()["standing"] == row["standing"]


def test_pages_are_of_at_most_a_hundred(client):
    for number in range(1, 131):
        list_bridge(number)
    body = client.get("/api/bridges/?page_size=1000").json()
    assert len(body["results"]) == 100
    assert body["next"].endswith("page=2&page_size=1000")
    assert len(client.get("/api/bridges/?page=3").json()["results"]) == 30


def test_the_list_is_put_in_the_order_asked_for(client):
    list_bridge(1, longest_span_ft=50.0)
    list_bridge(2, longest_span_ft=150.0)
    rows = client.get("/api/bridges/?order=-span").json()["results"]
    assert [row["slug"] for row in rows] == ["mill-road-2", "mill-road-1"]


@pytest.mark.parametrize(
    "query, field",
    [
        ("form=nonsense", "form"),
        ("order=price", "order"),
        ("decade=1885", "decade"),
        ("changed_within=-2", "changed_within"),
        ("visited_since=soon", "visited_since"),
    ],
)
def test_a_filter_that_cannot_be_read_is_one_error_of_its_field(client, query, field):
    response = client.get(f"/api/bridges/?{query}")
    assert response.status_code == 400
    (error,) = response.json()["errors"]
    assert error["field"] == field
    assert error["code"]
    assert error["message"]


@pytest.mark.parametrize("asked", ["99", "0", "-1", "x", "9" * 40])
def test_a_page_that_is_not_there_is_a_fault_of_its_field(client, asked):
    response = client.get(f"/api/bridges/?page={asked}")
    assert response.status_code == 400
    (error,) = response.json()["errors"]
    assert error["field"] == "page"


@pytest.mark.parametrize("address", ["/api/bridges/", "/api/bridges/mill-road-1/"])
def test_the_tag_of_an_answer_spares_it_until_it_changes(client, address):
    bridge = list_bridge(1)
    first = client.get(address)
    kept = first.headers["Cache-Control"].split(", ")
    assert sorted(kept) == ["no-cache", "private"]
    held = {"If-None-Match": first.headers["ETag"]}
    again = client.get(address, headers=held)
    assert (again.status_code, again.content) == (304, b"")
    Bridge.objects.filter(pk=bridge.pk).update(name="Another name")
    assert client.get(address, headers=held).status_code == 200
    client.force_login(make_person())
    assert client.get(address).headers["ETag"] != first.headers["ETag"]


def test_who_reads_without_end_is_told_to_wait(client, settings):
    list_bridge(1)
    settings.LIMITS = settings.LIMITS | {"read": 3}
    limits.Reading._calls = {}
    answers = [client.get("/api/bridges/") for _ in range(4)]
    assert [one.status_code for one in answers] == [200, 200, 200, 429]
    assert answers[-1].headers["Retry-After"] == "60"
    assert answers[-1].json()["errors"][0]["code"] == "throttled"
    limits.Reading._calls = {}


@pytest.mark.parametrize("address", ["/api/nothing/", "/api/bridges/no%20slug/"])
def test_what_is_nowhere_is_told_in_the_one_shape(client, address):
    response = client.get(address)
    assert response.status_code == 404
    assert set(response.json()["errors"][0]) == {"field", "code", "message"}


def test_one_bridge_is_told_whole(client):
    furnish(list_bridge(1, summary="Two spans."), list_builder())
    body = client.get("/api/bridges/mill-road-1/").json()
    (source,) = body["sources"]
    (span,) = body["spans"]
    assert span["form"] == {
        "value": "pratt",
        "confidence": "probable",
        "source": source["id"],
    }
    assert [line["address"] for line in span["truss_lines"]] == [
        "upstream",
        "downstream",
    ]
    assert body["attributions"][0]["builder"]["slug"] == "corrick-and-vane"
    assert body["plates"][0]["transcription"] == "CORRICK & VANE"
    assert body["claims"][0]["source"] == source["id"]
    assert body["events"][0]["when"]["edtf"] == "1889"
    assert body["links"][0]["url"] == "https://pages.example/mill-road"
    assert body["summary"] == "Two spans."


def test_what_is_the_societys_own_is_told_to_its_people_only(client):
    bridge = list_bridge(1, access_notes="By the farm", owner_contact="555-0100")
    furnish(bridge, list_builder())
    body = client.get("/api/bridges/mill-road-1/").json()
    assert body["access_notes"] is None
    assert body["owner_contact"] is None
    assert body["plates"][0]["whereabouts"] is None
    client.force_login(make_person())
    body = client.get("/api/bridges/mill-road-1/").json()
    assert body["access_notes"] == "By the farm"
    assert body["owner_contact"] == "555-0100"
    assert body["plates"][0]["whereabouts"] == "in the society's store"


@pytest.mark.parametrize("address", ["/api/bridges/", "/api/bridges/mill-road-1/"])
def test_a_sensitive_place_is_general_in_every_answer_to_a_visitor(client, address):
    list_bridge(
        1, latitude="39.512345", longitude="-40.454321", is_position_sensitive=True
    )
    response = client.get(address)
    assert b"39.5123" not in response.content
    assert b"40.4543" not in response.content
    body = response.json()
    place = body.get("results", [body])[0]["position"]
    assert (place["latitude"], place["longitude"]) == generalised(39.512345, -40.454321)
    assert place["is_exact"] is False
    client.force_login(make_person())
    body = client.get(address).json()
    assert body.get("results", [body])[0]["position"] == {
        "latitude": 39.512345,
        "longitude": -40.454321,
        "is_exact": True,
    }


def test_a_bridge_that_is_not_public_is_not_there_for_a_visitor(client):
    list_bridge(1, is_public=False)
    assert client.get("/api/bridges/").json()["count"] == 0
    assert client.get("/api/bridges/mill-road-1/").status_code == 404
    client.force_login(make_person())
    assert client.get("/api/bridges/").json()["count"] == 1
    assert client.get("/api/bridges/mill-road-1/").status_code == 200


def test_nothing_can_be_written_here(client):
    list_bridge(1)
    client.force_login(make_person())
    for address in ("/api/bridges/", "/api/bridges/mill-road-1/", "/api/bridges/map/"):
        for method in (client.post, client.put, client.delete):
            assert method(address).status_code == 405
    assert Bridge.objects.count() == 1


def test_the_list_costs_the_same_for_one_bridge_and_for_thirty(client):
    list_bridge(1)
    one = queries_of(lambda: client.get("/api/bridges/"))
    for number in range(2, 31):
        list_bridge(number)
    thirty = queries_of(lambda: client.get("/api/bridges/"))
    assert len(thirty) == len(one), "\n".join(thirty)


def test_one_bridge_costs_the_same_with_one_span_and_with_many(client):
    bridge, builder = list_bridge(1), list_builder()
    furnish(bridge, builder)
    one = queries_of(lambda: client.get("/api/bridges/mill-road-1/"))
    for number in range(2, 8):
        span = bridge.spans.create(number=number, form="warren")
        span.truss_lines.create(key="upstream", name="Upstream")
        bridge.claims.create(
            about=f"fact {number}", value="x", source=bridge.claims.first().source
        )
    many = queries_of(lambda: client.get("/api/bridges/mill-road-1/"))
    assert len(many) == len(one), "\n".join(many)
