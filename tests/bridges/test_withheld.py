"""What a visitor may not learn of a bridge whose place is kept from them."""

import subprocess
import sys

import pytest
from django.core.exceptions import ValidationError
from django.test import Client

from bridges.models import Bridge, MapVersion, generalised
from surveys.models import Visit
from tests.bridges.inventory import list_bridge
from tests.makers import make_bridge, make_person, make_visit

pytestmark = pytest.mark.django_db
ROAD, WATER, WAY = "Hidden Quarry Road", "Sunken Brook", "over the stile by the mill"


@pytest.fixture
def hidden():
    bridge = make_bridge(
        slug="hidden",
        number="H-001",
        road=ROAD,
        crossing=WATER,
        access_notes=WAY,
        latitude="39.512345",
        longitude="-40.454321",
        is_position_sensitive=True,
    )
    make_visit(
        bridge,
        reviewer=make_person("rey", "reviewer"),
        access=WAY,
        not_reached=f"the bank below {ROAD}",
    )
    MapVersion.bump()
    return bridge


def pages(bridge):
    visit = Visit.objects.get(bridge=bridge)
    return [
        "/",
        "/?county=" + bridge.county,
        bridge.get_absolute_url(),
        f"{bridge.get_absolute_url()}history/",
        visit.get_absolute_url(),
        "/api/bridges/",
        f"/api/bridges/{bridge.slug}/",
        "/api/bridges/map/?bbox=-180,-85,180,85&zoom=2",
        *(f"/export/bridges.{kind}" for kind in ("csv", "geojson", "gpx", "kml")),
    ]


def body(client, address):
    response = client.get(address)
    assert response.status_code == 200, address
    whole = getattr(response, "streaming_content", None) or [response.content]
    return b"".join(whole).decode()


def test_no_page_answer_or_file_tells_a_visitor_the_way(client, hidden):
    for address in pages(hidden):
        text = body(client, address)
        for kept in (ROAD, WATER, WAY, "39.512", "-40.454"):
            assert kept not in text, (address, kept)


def test_the_societys_people_read_all_of_it(hidden):
    client = Client()
    client.force_login(make_person("eve"))
    assert WATER in body(client, "/api/bridges/")
    assert WAY in body(client, hidden.get_absolute_url())
    assert WAY in body(client, f"{hidden.get_absolute_url()}history/")


@pytest.mark.parametrize("words", ["quarry", "sunken brook"])
def test_a_visitor_cannot_find_it_by_guessing_what_is_kept(client, hidden, words):
    query = words.replace(" ", "+")
    assert client.get(f"/api/bridges/?q={query}").json()["count"] == 0
    answer = client.get(f"/api/bridges/map/?bbox=-180,-85,180,85&zoom=2&q={query}")
    assert answer.json()["total"] == 0
    client.force_login(make_person("eve"))
    assert client.get(f"/api/bridges/?q={query}").json()["count"] == 1
    answer = client.get(f"/api/bridges/map/?bbox=-180,-85,180,85&zoom=2&q={query}")
    assert answer.json()["total"] == 1


def test_a_road_that_is_no_secret_is_told_but_not_how_to_get_in(client):
    bridge = list_bridge(1, road="Mill Road", access_notes="ask at the farm")
    seen = Bridge.objects.visible_to(None).get(pk=bridge.pk)
    assert (seen.road, seen.access_notes) == ("Mill Road", "")


def test_a_bridge_as_visitors_see_it_is_never_stored(hidden):
    seen = Bridge.objects.visible_to(None).get(pk=hidden.pk)
    assert (seen.latitude, seen.longitude) == generalised(39.512345, -40.454321)
    with pytest.raises(ValueError):
        seen.save()
    assert Bridge.objects.get(pk=hidden.pk).road == ROAD


def test_a_bridge_cannot_take_the_address_of_the_map():
    bridge = list_bridge(1)
    bridge.slug = "map"
    with pytest.raises(ValidationError):
        bridge.full_clean()


def test_a_reader_that_has_had_enough_is_no_fault(tmp_path, monkeypatch):
    """As with ``export_inventory | head -1``."""
    script = (
        "import sys; from bridges.management.commands.export_inventory import Command;"
        "from bridges import exports;"
        "exports.everything = lambda full: None;"
        "exports.write = lambda *facts: ('x' * 1000 for _ in range(10_000));"
        "Command().handle(format='csv', full=False, output=None, site=None)"
    )
    monkeypatch.setenv("SECOND_CROSSING_DATA", str(tmp_path))
    monkeypatch.setenv("DJANGO_SETTINGS_MODULE", "shared.settings")
    made = subprocess.Popen(
        [sys.executable, "-c", f"import django; django.setup(); {script}"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    made.stdout.read(10)
    made.stdout.close()
    complaint = made.stderr.read()
    made.stderr.close()
    assert (made.wait(), complaint) == (0, b"")
