"""Files of the inventory, read back by readers that are not ours."""

import csv
import io
import json
from xml.etree import ElementTree

import gpxpy
import jsonschema
import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree

from bridges import exports
from bridges.models import Bridge, LifeEvent, generalised
from bridges.services import refresh_spells
from tests.bridges import schemas
from tests.bridges.inventory import list_bridge, queries_of
from tests.makers import make_person

GPX = "{http://www.topografix.com/GPX/1/1}"
KML = "{http://www.opengis.net/kml/2.2}"
needs_database = pytest.mark.django_db


def fetch(client, kind, query=""):
    response = client.get(f"/export/bridges.{kind}?{query}")
    assert response.status_code == 200
    return b"".join(response.streaming_content).decode("utf-8")


def rows_of(text):
    return list(csv.DictReader(io.StringIO(text.removeprefix("\ufeff"))))


def command(*arguments):
    out = io.StringIO()
    call_command("export_inventory", *arguments, stdout=out)
    return out.getvalue()


def hidden_bridge(number=1, **facts):
    return list_bridge(
        number,
        latitude="39.512345",
        longitude="-40.454321",
        is_position_sensitive=True,
        **facts,
    )


@needs_database
def test_a_csv_row_holds_what_the_record_says(client):
    list_bridge(1, name="Weir, “Lane”\nBridge", built="1887~", changed_parts=",deck,")
    text = fetch(client, "csv")
    assert text.startswith("\ufeff")
    (row,) = rows_of(text)
    assert row["name"] == "Weir, “Lane”\nBridge"
    assert row["built"] == "1887~"
    assert row["built_earliest"] == "1886-01-01"
    assert row["changed_parts"] == "deck"
    assert row["longest_span_ft"] == "90"
    assert (row["latitude"], row["longitude"]) == ("39.503", "-40.496")
    assert row["page"] == "http://testserver/bridges/mill-road-1/"


@needs_database
def test_a_formula_in_a_name_is_text_in_the_file_and_comes_back(client):
    list_bridge(1, name="=HYPERLINK(1)", road="@home", town="-Kestle", crossing="+1")
    (row,) = rows_of(fetch(client, "csv"))
    assert row["name"] == "'=HYPERLINK(1)"
    assert row["road"] == "'@home"
    assert row["town"] == "'-Kestle"
    assert row["crossing"] == "+1"
    assert exports.unguard(row["name"]) == "=HYPERLINK(1)"


@given(st.text())
def test_the_guard_comes_off_as_it_went_on(text):
    guarded = exports.guard(text)
    assert exports.unguard(guarded) == text
    assert not guarded.startswith(("=", "@", "\t", "\r", "\n"))


@needs_database
@pytest.mark.parametrize("kind", ["csv", "geojson", "gpx", "kml"])
def test_a_file_holds_the_bridges_of_the_view_and_no_more(client, kind):
    list_bridge(1)
    list_bridge(2, form="warren", name="Kept Bridge")
    list_bridge(3, form="warren", name="Unseen Bridge", is_public=False)
    text = fetch(client, kind, "form=warren")
    assert "Kept Bridge" in text
    assert "Mill Road Bridge 1" not in text
    assert "Unseen Bridge" not in text
    assert "Unseen Bridge" not in command("--format", kind)
    assert "Unseen Bridge" in command("--format", kind, "--full")


@needs_database
@pytest.mark.parametrize("kind", ["csv", "geojson", "gpx", "kml"])
def test_a_sensitive_place_is_general_in_every_file_for_a_visitor(client, kind):
    hidden_bridge(owner_contact="555-0100", access_notes="By the farm")
    latitude, longitude = generalised(39.512345, -40.454321)
    for text in (fetch(client, kind), command("--format", kind)):
        assert "39.5123" not in text
        assert "40.4543" not in text
        assert "555-0100" not in text
        assert "By the farm" not in text
        assert str(latitude) in text
        assert str(longitude) in text
        assert exports.ABOUT in text


@needs_database
@pytest.mark.parametrize("kind", ["csv", "geojson", "gpx", "kml"])
def test_members_and_the_keepers_whole_file_hold_the_place_itself(client, kind):
    hidden_bridge(owner_contact="555-0100", is_public=False)
    client.force_login(make_person())
    member, keeper = fetch(client, kind), command("--format", kind, "--full")
    for text in (member, keeper):
        assert "39.512345" in text
        assert "-40.454321" in text
    assert "555-0100" not in member
    assert ("555-0100" in keeper) == (kind != "gpx")


@needs_database
def test_geojson_is_longitude_first_to_six_decimals(client):
    list_bridge(1, latitude="39.123456", longitude="-40.654321", built="")
    body = json.loads(fetch(client, "geojson"))
    (feature,) = body["features"]
    assert body["type"] == "FeatureCollection"
    assert feature["geometry"]["coordinates"] == [-40.654321, 39.123456]
    assert feature["properties"]["built_earliest"] is None
    assert feature["properties"]["longest_span_ft"] == 90.0
    list_bridge(2)
    assert len(json.loads(fetch(client, "geojson"))["features"]) == 2


@needs_database
def test_an_empty_file_is_still_a_file_of_its_kind(client):
    assert rows_of(fetch(client, "csv")) == []
    assert json.loads(fetch(client, "geojson"))["features"] == []
    assert ElementTree.fromstring(fetch(client, "gpx")).tag == f"{GPX}gpx"
    assert ElementTree.fromstring(fetch(client, "kml")).tag == f"{KML}kml"


@needs_database
def test_gpx_has_waypoints_with_their_parts_in_the_order_of_its_schema(client):
    list_bridge(1, name="A & <B> \x0b\ud7ff\ufffe", built="1887~")
    root = ElementTree.fromstring(fetch(client, "gpx"))
    assert (root.get("version"), root.get("creator")) == ("1.1", "Second Crossing")
    (point,) = root.findall(f"{GPX}wpt")
    assert (point.get("lat"), point.get("lon")) == ("39.503000", "-40.496000")
    # GPX 1.1 schema, wptType: name, cmt, desc, src, link, sym, type, in a sequence.
    parts = [one.tag.removeprefix(GPX) for one in point]
    assert parts == ["name", "cmt", "desc", "link", "type"]
    assert point.find(f"{GPX}name").text == "A & <B> \ud7ff"
    assert "built about 1887" in point.find(f"{GPX}desc").text
    link = point.find(f"{GPX}link").get("href")
    assert link == "http://testserver/bridges/mill-road-1/"


@needs_database
def test_kml_has_placemarks_longitude_first():
    list_bridge(1, summary="Two\x0c spans & a pier.")
    text = command("--format", "kml", "--site", "https://bridges.example/")
    root = ElementTree.fromstring(text)
    (mark,) = root.iter(f"{KML}Placemark")
    place = mark.find(f"{KML}Point/{KML}coordinates").text
    assert place == "-40.496000,39.503000"
    said = {
        one.get("name"): one.find(f"{KML}value").text for one in mark.iter(f"{KML}Data")
    }
    assert said["form"] == "pratt"
    assert said["summary"] == "Two spans & a pier."
    assert "https://bridges.example/bridges/mill-road-1/" in (
        mark.find(f"{KML}description").text
    )


@needs_database
def test_a_file_of_a_view_that_cannot_be_read_is_not_made(client):
    list_bridge(1)
    response = client.get("/export/bridges.csv?form=nonsense")
    assert response.status_code == 400
    assert "No file was made." in response.content.decode()
    assert client.get("/export/bridges.xlsx").status_code == 404


@needs_database
def test_a_file_is_named_and_kept_by_no_cache(client):
    response = client.get("/export/bridges.gpx")
    assert response.headers["Content-Disposition"] == (
        'attachment; filename="bridges.gpx"'
    )
    assert "no-store" in response.headers["Cache-Control"]
    assert response.headers["Content-Type"] == "application/gpx+xml"


@needs_database
def test_the_command_writes_a_file_and_says_when_it_cannot(tmp_path):
    list_bridge(1)
    file = tmp_path / "out.csv"
    command("--output", str(file))
    (row,) = rows_of(file.read_text("utf-8"))
    assert row["number"] == "A-001"
    with pytest.raises(CommandError, match="could not be written"):
        command("--output", str(tmp_path / "absent" / "out.csv"))
    with pytest.raises(CommandError, match="https://"):
        command("--site", "bridges.example")


@needs_database
def test_files_are_made_without_a_query_for_each_bridge(client):
    list_bridge(1)
    one = queries_of(lambda: fetch(client, "csv"))
    for number in range(2, 31):
        list_bridge(number)
    thirty = queries_of(lambda: fetch(client, "csv"))
    assert len(thirty) == len(one)


@needs_database
def test_a_bridge_without_standing_is_in_the_file_all_the_same(client):
    Bridge.objects.create(
        name="Bare", slug="bare", number="B", county="Alder", latitude=40, longitude=-40
    )
    (row,) = rows_of(fetch(client, "csv"))
    assert (row["form"], row["span_count"]) == ("unknown", "0")
    assert "Bare" in fetch(client, "gpx")
    assert "Bare" in fetch(client, "kml")


# -- by readers that are not ours


def awkward_bridges():
    """Bridges at the edges of the world, and with what an XML file cannot hold."""
    list_bridge(1, name="A & <B> \x0b\ufffe", summary="=SUM(A1)\r\n]]>", built="1887~")
    list_bridge(2, latitude="90", longitude="180", is_position_sensitive=True)
    list_bridge(3, latitude="-90", longitude="-180", name="“Östra” 橋", town="'quoted")
    list_bridge(4, latitude="0", longitude="180", status="lost", lost="1936")


@needs_database
def test_geojson_is_what_its_standard_says(client):
    awkward_bridges()
    for text in (fetch(client, "geojson"), command("--format", "geojson", "--full")):
        jsonschema.Draft202012Validator(schemas.GEOJSON).validate(json.loads(text))
    assert len(json.loads(text)["features"]) == 4


@needs_database
def test_gpx_keeps_to_its_schema_and_another_reader_reads_it(client):
    awkward_bridges()
    schema = etree.XMLSchema(etree.fromstring(schemas.GPX.encode()))
    for text in (fetch(client, "gpx"), command("--format", "gpx", "--full")):
        schema.assertValid(etree.fromstring(text.encode()))
        read = {one.comment: one for one in gpxpy.parse(text).waypoints}
        assert read["A-001"].name == "A & <B> "
        assert read["A-003"].name == "“Östra” 橋"
        assert (read["A-003"].latitude, read["A-003"].longitude) == (-90, -180)
        # The same meridian; the schema has no 180.
        assert read["A-004"].longitude == -180
        assert "Lost" in read["A-004"].description


@needs_database
def test_kml_keeps_to_its_schema(client):
    awkward_bridges()
    schema = etree.XMLSchema(etree.fromstring(schemas.KML.encode()))
    for text in (fetch(client, "kml"), command("--format", "kml", "--full")):
        root = etree.fromstring(text.encode())
        schema.assertValid(root)
        names = root.xpath("//k:Placemark/k:name", namespaces={"k": KML.strip("{}")})
        assert {one.text for one in names} > {"“Östra” 橋"}


@needs_database
def test_every_cell_of_a_csv_file_reads_back_as_what_the_record_holds(client):
    awkward_bridges()
    read = {row["number"]: row for row in rows_of(command("--full"))}
    for bridge in Bridge.objects.all():
        row = {
            name: exports.unguard(text) for name, text in read[bridge.number].items()
        }
        for name in ("name", "town", "summary", "status", "built", "lost", "road"):
            assert row[name] == getattr(bridge, name), name
        assert float(row["latitude"]) == float(bridge.latitude)
        assert float(row["longitude"]) == float(bridge.longitude)


# -- as of a day


def lived_bridge():
    bridge = list_bridge(
        1, built="1889", status="lost", lost="1990-05-01", listing="listed"
    )
    for kind, when in (
        ("closed", "1975-03"),
        ("listed", "1980"),
        ("lost", "1990-05-01"),
    ):
        LifeEvent.objects.create(bridge=bridge, kind=kind, when=when)
    refresh_spells(bridge)
    return bridge


@needs_database
@pytest.mark.parametrize(
    "day, status, listing",
    [
        ("1925", "in-service", ""),
        ("1975-03", "closed", ""),
        ("1985-06-30", "closed", "listed"),
    ],
)
def test_a_file_as_of_a_day_tells_what_was_dated_by_then(client, day, status, listing):
    lived_bridge()
    list_bridge(2, built="1995")
    (row,) = rows_of(fetch(client, "csv", f"as_of={day}"))
    assert (row["number"], row["status"], row["listing"]) == ("A-001", status, listing)
    assert (row["lost"], row["deck"], row["visit_count"]) == ("", "", "0")
    assert row["as_of"].startswith(day[:4])
    assert rows_of(command("--as-of", day))[0]["status"] == status
    (feature,) = json.loads(fetch(client, "geojson", f"as_of={day}"))["features"]
    assert feature["properties"]["as_of"] == row["as_of"]
    words = dict(Bridge.Status.choices)[status]
    assert f"{words} on " in fetch(client, "gpx", f"as_of={day}")


@needs_database
def test_a_file_as_of_a_day_is_named_for_it_and_holds_nothing_lost_by_then(client):
    lived_bridge()
    response = client.get("/export/bridges.csv?as_of=1991")
    assert response.headers["Content-Disposition"].endswith('bridges-1991-12-31.csv"')
    assert rows_of(b"".join(response.streaming_content).decode()) == []
    assert len(rows_of(fetch(client, "csv"))) == 1
    with pytest.raises(CommandError, match="--as-of: “last week” is not"):
        command("--as-of", "last week")


@needs_database
def test_a_file_as_of_a_day_costs_the_same_for_one_bridge_and_for_thirty(client):
    list_bridge(1)
    one = queries_of(lambda: fetch(client, "csv", "as_of=1950"))
    for number in range(2, 31):
        list_bridge(number)
    thirty = queries_of(lambda: fetch(client, "csv", "as_of=1950"))
    assert len(thirty) == len(one), "\n".join(thirty)
