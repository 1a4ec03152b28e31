"""The map: what it shows, how it gathers, what it keeps back, what it refuses."""

import datetime
import gzip
import json
import math
import random
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
from django.db import connection
from django.urls import reverse
from django.utils import timezone

from bridges import basemap, mapindex
from bridges.models import Bridge, MapVersion, generalised
from tests.bridges.inventory import list_bridge, queries_of
from tests.makers import make_person

pytestmark = pytest.mark.django_db
WORLD = "-180,-90,180,90"
REGION = "-41,39,-39,41"
ROOT = Path(__file__).resolve().parents[2]


def ask(client, bbox=REGION, zoom=8, query="", status=200, **headers):
    text = f"{reverse('api-bridges-map')}?bbox={bbox}&zoom={zoom}&{query}"
    response = client.get(text, headers=headers)
    assert response.status_code == status, response.content
    return response


def slugs(answer):
    return sorted(one["properties"]["slug"] for one in answer.json()["features"])


def crowd(count, seed=3):
    """Many bridges at once, some on the same spot, without standings."""
    chance = random.Random(seed)
    places = [(39.5 + chance.random(), -40.5 + chance.random()) for _ in range(count)]
    Bridge.objects.bulk_create(
        Bridge(
            name=f"Bridge {n}",
            slug=f"crowd-{n}",
            number=f"C-{n}",
            county="Alder",
            latitude=round(places[n // 3 * 3][0], 6),
            longitude=round(places[n - n % 2][1], 6),
        )
        for n in range(count)
    )
    MapVersion.bump()


def test_a_bridge_in_view_is_a_point_with_what_its_mark_needs(client):
    list_bridge(1, built="1887~", last_changed=None)
    (feature,) = ask(client).json()["features"]
    assert feature["geometry"] == {"type": "Point", "coordinates": [-40.496, 39.503]}
    assert feature["properties"] == {
        "kind": "bridge",
        "count": 1,
        "slug": "mill-road-1",
        "name": "Mill Road Bridge 1",
        "number": "A-001",
        "url": "/bridges/mill-road-1/",
        "family": "truss",
        "form": "Pratt",
        "status": "in-service",
        "shape": "standing",
        "status_words": "Open to traffic",
        "built": "about 1887",
        "place": "Kestle",
        "is_exact": True,
        "changed": None,
        "changed_lately": False,
    }


def test_the_answer_is_geojson_that_counts_what_it_shows(client):
    list_bridge(1)
    list_bridge(2, latitude=10, longitude=10)
    answer = ask(client)
    assert answer.headers["Content-Type"] == "application/geo+json"
    body = answer.json()
    assert body["type"] == "FeatureCollection"
    assert (body["total"], body["in_view"]) == (2, 1)


QUERIES = [
    "",
    "form=warren",
    "decade=1880&status=in-service",
    "decade=undated",
    "q=mill+road",
    "q=nothing",
    "changed=deck&changed_within=5",
    "visited_since=2020",
    "county=Alder&county=Sallow&deck=timber",
    "builder=nobody",
    "form=nonsense&status=closed",
]


@pytest.mark.parametrize("query", QUERIES)
@pytest.mark.parametrize("signed_in", [False, True])
def test_list_and_map_are_of_the_same_bridges(client, query, signed_in):
    facts = [
        {},
        {"form": "warren", "built": "188X"},
        {"status": "closed", "built": "", "is_position_sensitive": True},
        {"county": "Sallow", "is_public": False},
        {"built": "../1885", "last_visited": None, "changed_parts": ""},
        {"deck": "", "form": "warren", "status": "lost"},
    ]
    for number, fact in enumerate(facts, 1):
        list_bridge(number, **fact)
    # One that nobody has refreshed yet: no standing at all.
    Bridge.objects.create(
        name="Bare", slug="bare", number="B", county="Alder", latitude=40, longitude=-40
    )
    MapVersion.bump()
    if signed_in:
        client.force_login(make_person())
    page = client.get(f"/?{query}")
    listed = sorted(row.bridge.slug for row in page.context["rows"])
    applied = page.context["map"]["query"]
    answer = ask(client, WORLD, 2, applied)
    assert slugs(answer) == listed
    assert answer.json()["total"] == page.context["page"].paginator.count
    if not page.context["faults"]:
        rows = client.get(f"/api/bridges/?{query}").json()
        assert sorted(row["slug"] for row in rows["results"]) == listed
        assert rows["count"] == len(listed)


def test_a_thousand_bridges_are_gathered_and_none_is_dropped(client):
    crowd(1000)
    for zoom in range(0, 14):
        body = ask(client, zoom=zoom).json()
        counts = [one["properties"]["count"] for one in body["features"]]
        assert sum(counts) == body["in_view"] == body["total"] == 1000
        alone = [one for one in body["features"] if one["properties"]["count"] == 1]
        assert all("slug" in one["properties"] for one in alone) or len(alone) > 200


def oracle(box, zoom):
    """Gather by the database: Mercator by its textbook formula, GROUP BY on cells.

    x = (lon + 180) / 360, y = (1 - asinh(tan(lat)) / pi) / 2, in cells of 64 pixels.
    """
    across = 1 << (zoom + 2)

    def cell(latitude, longitude):
        x = (float(longitude) + 180) / 360 * across
        y = (1 - math.asinh(math.tan(math.radians(float(latitude)))) / math.pi) / 2
        return min(int(x), across - 1), min(int(y * across), across - 1)

    west, south, east, north = box
    x0, y0 = cell(north, west)
    x1, y1 = cell(south, east)
    with connection.cursor() as cursor:
        cursor.execute(
            "CREATE TEMPORARY TABLE cells (x INTEGER, y INTEGER, lon DOUBLE PRECISION)"
        )
        rows = Bridge.objects.values_list("latitude", "longitude")
        cursor.executemany(
            "INSERT INTO cells VALUES (%s, %s, %s)",
            [(*cell(*row), float(row[1])) for row in rows],
        )
        cursor.execute(
            "SELECT x, y, COUNT(*), AVG(lon) FROM cells WHERE x BETWEEN %s AND %s "
            "AND y BETWEEN %s AND %s GROUP BY x, y",
            [x0, x1, y0, y1],
        )
        found = cursor.fetchall()
        cursor.execute("DROP TABLE cells")
    return sorted((int(count), float(lon)) for _, _, count, lon in found)


@pytest.mark.parametrize("zoom", [0, 3, 6, 8, 9, 10, 11, 12, 13])
@pytest.mark.parametrize("box", [(-41, 39, -39, 41), (-40.1, 39.8, -39.9, 40.2)])
def test_clusters_are_those_that_the_database_groups(zoom, box):
    crowd(1200)
    places = mapindex.places_for(None)
    asked = mapindex.Box(*box, zoom)
    points, clusters, in_view = places.view(asked)
    ours = [(count, lon) for _, lon, count in clusters]
    _, longitude = mapindex.unproject(places.x[points], places.y[points])
    alone = [(1, float(lon)) for lon in longitude]
    expected = oracle(box, zoom)
    assert in_view == sum(count for count, _ in expected)
    if clusters:
        found = np.array(sorted(ours + alone))
        # The index holds places to one unit in 2**26 of the world's girth.
        assert np.allclose(found, np.array(expected), atol=360 / 2**26)
    else:
        assert len(points) == sum(count for count, _ in expected)
        assert len(points) <= mapindex.MOST_POINTS


def test_clusters_stay_where_they_are_while_the_map_moves():
    crowd(1200)
    places = mapindex.places_for(None)
    _, here, _ = places.view(mapindex.Box(-40.4, 39.6, -39.9, 40.1, 9))
    _, there, _ = places.view(mapindex.Box(-40.35, 39.62, -39.85, 40.12, 9))
    assert len(set(here) & set(there)) > len(here) / 2


def test_projection_comes_back_to_where_it_went_from():
    latitude = np.array([-85.0, -40.1, 0.0, 39.5, 85.0])
    longitude = np.array([-180.0, -40.5, 0.0, 77.3, 179.9])
    back = mapindex.unproject(*mapindex.project(latitude, longitude))
    assert np.allclose(back, (latitude, longitude), atol=1e-5)


@pytest.mark.parametrize("place", [(90, 180), (-90, -180), (89.9, 0), (0, 180)])
def test_the_ends_of_the_world_stay_on_the_map(client, place):
    list_bridge(1, latitude=place[0], longitude=place[1])
    assert ask(client, WORLD, 0).json()["in_view"] == 1


@pytest.mark.parametrize(
    "bbox, code",
    [
        ("", "required"),
        ("1,2,3", "invalid"),
        ("1,2,3,4,5", "invalid"),
        ("a,b,c,d", "invalid"),
        (",,,", "invalid"),
        ("nan,39,-39,41", "invalid"),
        ("-41,NaN,-39,41", "invalid"),
        ("-inf,39,-39,41", "invalid"),
        ("-41,39,-39,1e999", "invalid"),
        ("170,-10,-170,10", "antimeridian"),
        ("-41,41,-39,39", "invalid"),
        ("-181,39,-39,41", "invalid"),
        ("-41,39,-39,91", "invalid"),
        ("-1e300,-1e300,1e300,1e300", "invalid"),
        (f"{'9' * 5000},1,2,3", "invalid"),
    ],
)
def test_a_box_that_makes_no_sense_is_refused_by_name(client, bbox, code):
    body = ask(client, bbox, 8, status=400).json()
    (error,) = body["errors"]
    assert (error["field"], error["code"]) == ("bbox", code)
    assert error["message"]


@pytest.mark.parametrize(
    "zoom", ["", "-1", "21", "8.5", "x", "1e1", "٣", "999999999999"]
)
def test_a_zoom_that_makes_no_sense_is_refused_by_name(client, zoom):
    (error,) = ask(client, REGION, zoom, status=400).json()["errors"]
    assert error["field"] == "zoom"


@pytest.mark.parametrize("zoom", [8, 12, 20])
def test_the_whole_world_near_at_hand_is_refused_before_it_takes_memory(client, zoom):
    (error,) = ask(client, WORLD, zoom, status=400).json()["errors"]
    assert (error["field"], error["code"]) == ("bbox", "too_large")


def test_a_box_of_no_size_is_answered(client):
    list_bridge(1)
    body = ask(client, "-40.496,39.503,-40.496,39.503", 10).json()
    assert body["in_view"] == 1


def test_a_filter_that_cannot_be_read_is_refused_by_name(client):
    body = ask(client, query="form=nonsense&decade=1885", status=400).json()
    assert {error["field"] for error in body["errors"]} == {"form", "decade"}
    assert {error["code"] for error in body["errors"]} == {"invalid_choice", "decade"}


# --- what is kept back


def hidden_bridge(**facts):
    return list_bridge(
        1,
        latitude="39.512345",
        longitude="-40.454321",
        is_position_sensitive=True,
        **facts,
    )


def test_a_sensitive_place_is_the_middle_of_its_square_for_visitors(client):
    hidden_bridge()
    (feature,) = ask(client).json()["features"]
    place = generalised(39.512345, -40.454321)
    assert tuple(reversed(feature["geometry"]["coordinates"])) == place
    assert feature["properties"]["is_exact"] is False


def test_members_see_the_place_itself(client):
    hidden_bridge()
    client.force_login(make_person())
    (feature,) = ask(client).json()["features"]
    assert feature["geometry"]["coordinates"] == [-40.454321, 39.512345]
    assert feature["properties"]["is_exact"] is True


def test_somebody_signed_in_without_a_group_sees_what_a_visitor_sees(client):
    hidden_bridge()
    person = make_person("guest")
    person.groups.clear()
    client.force_login(person)
    (feature,) = ask(client).json()["features"]
    assert feature["properties"]["is_exact"] is False


def test_a_small_box_cannot_search_out_a_sensitive_place(client):
    """The box is held against the square's middle, never against the place."""
    hidden_bridge()
    tight = "-40.4544,39.5122,-40.4542,39.5124"
    assert ask(client, tight, 18).json()["in_view"] == 0
    latitude, longitude = generalised(39.512345, -40.454321)
    around = (
        f"{longitude - 1e-4},{latitude - 1e-4},{longitude + 1e-4},{latitude + 1e-4}"
    )
    assert ask(client, around, 18).json()["in_view"] == 1


def test_clusters_are_made_of_general_places_only():
    crowd(600)
    Bridge.objects.update(is_position_sensitive=True)
    MapVersion.bump()
    places = mapindex.places_for(None)
    for bridge in Bridge.objects.all():
        general = generalised(float(bridge.latitude), float(bridge.longitude))
        x, y = mapindex.project(*(np.array([degrees]) for degrees in general))
        row = places.rows.ids.tolist().index(bridge.pk)
        assert (places.x[row], places.y[row]) == (x[0], y[0])


def test_members_have_the_exact_place_and_visitors_the_general_one():
    hidden_bridge()
    list_bridge(2)
    members, visitors = mapindex.places_of(True), mapindex.places_of(False)
    assert members.x[0] != visitors.x[0]
    assert members.x[1] == visitors.x[1]


def test_a_bridge_that_is_not_public_is_in_no_answer_to_a_visitor(client):
    list_bridge(1, is_public=False)
    list_bridge(2)
    assert slugs(ask(client)) == ["mill-road-2"]
    assert ask(client).json()["total"] == 1
    client.force_login(make_person())
    assert slugs(ask(client)) == ["mill-road-1", "mill-road-2"]


def test_the_page_tells_no_edges_of_a_hidden_place(client):
    hidden_bridge()
    text = client.get("/").content.decode()
    assert "39.5123" not in text
    assert "40.4543" not in text


# --- versions


def test_a_write_is_on_the_map_at_once(client):
    bridge = list_bridge(1)
    assert slugs(ask(client)) == ["mill-road-1"]
    Bridge.objects.filter(pk=bridge.pk).update(is_public=False)
    MapVersion.bump()
    assert slugs(ask(client)) == []


def test_the_index_is_made_once_for_each_version(monkeypatch):
    list_bridge(1)
    made = []
    read = mapindex._read
    monkeypatch.setattr(
        mapindex, "_read", lambda since=None: made.append(1) or read(since)
    )
    for _ in range(3):
        mapindex.places_for(None)
    assert len(made) == 1
    MapVersion.bump()
    mapindex.places_for(None)
    assert len(made) == 2


def test_the_tag_of_an_answer_spares_asking_again(client):
    list_bridge(1)
    tag = ask(client).headers["ETag"]
    again = ask(client, status=304, **{"If-None-Match": f'W/{tag}, "other"'})
    assert again.content == b""
    assert again.headers["ETag"] == tag


def test_the_tag_changes_with_what_is_seen(client):
    list_bridge(1)
    tags = {ask(client).headers["ETag"]}
    tags.add(ask(client, zoom=9).headers["ETag"])
    tags.add(ask(client, "-41,39,-39,40.5").headers["ETag"])
    tags.add(ask(client, query="form=pratt").headers["ETag"])
    MapVersion.bump()
    tags.add(ask(client).headers["ETag"])
    client.force_login(make_person())
    tags.add(ask(client).headers["ETag"])
    assert len(tags) == 6


def test_the_tag_changes_with_the_day_since_lately_does(client, monkeypatch):
    list_bridge(1)
    tag = ask(client).headers["ETag"]
    tomorrow = timezone.localdate() + datetime.timedelta(days=1)
    monkeypatch.setattr("bridges.api.timezone.localdate", lambda: tomorrow)
    assert ask(client).headers["ETag"] != tag


def test_an_answer_is_not_for_a_cache_that_others_share(client):
    assert "private" in ask(client).headers["Cache-Control"]


def test_the_map_costs_the_same_for_one_bridge_and_for_thirty(client):
    list_bridge(31)
    ask(client)
    list_bridge(1)
    one = queries_of(lambda: ask(client, query="form=pratt"))
    for number in range(2, 31):
        list_bridge(number)
    thirty = queries_of(lambda: ask(client, query="form=pratt"))
    assert len(thirty) == len(one), "\n".join(thirty)


def test_masks_of_two_filters_and_of_two_days_are_kept_apart(monkeypatch):
    list_bridge(1)
    list_bridge(2, form="warren", last_changed=datetime.date(2020, 5, 1))
    places = mapindex.places_for(None)
    assert places.mask([("form", "pratt")]).tolist() == [True, False]
    assert places.mask([("form", "warren")]).tolist() == [False, True]
    for day, expected in ((1, [True, True]), (2, [True, False])):
        today = datetime.date(2025, 5, day)
        monkeypatch.setattr(timezone, "localdate", lambda today=today: today)
        assert places.mask([("changed_within", "5")]).tolist() == expected


def test_a_view_asked_for_again_asks_the_database_for_no_filter(client):
    list_bridge(1)
    ask(client, query="q=mill")
    again = queries_of(lambda: ask(client, zoom=9, query="q=mill"))
    assert not [sql for sql in again if "LIKE" in sql.upper()]


# --- the ground under it


def test_the_ground_is_a_collection_that_browsers_may_keep(client):
    response = client.get(reverse("bridges:base-map"))
    assert response.status_code == 200
    kinds = {one["properties"]["kind"] for one in response.json()["features"]}
    assert {"river", "road", "county", "town", "land"} <= kinds
    tag = response.headers["ETag"]
    again = client.get(reverse("bridges:base-map"), headers={"If-None-Match": tag})
    assert again.status_code == 304


def test_the_ground_is_packed_for_who_can_unpack_it(client):
    plain = client.get(reverse("bridges:base-map")).content
    packed = client.get(
        reverse("bridges:base-map"), headers={"Accept-Encoding": "gzip"}
    )
    assert packed.headers["Content-Encoding"] == "gzip"
    assert "Accept-Encoding" in packed.headers["Vary"]
    assert gzip.decompress(packed.content) == plain


def test_without_ground_or_with_broken_ground_the_map_has_none(
    client, tmp_path, caplog, settings
):
    nothing = {"type": "FeatureCollection", "features": []}
    plain, *_ = basemap.read(tmp_path / "absent")
    assert json.loads(plain) == nothing
    settings.BASE_MAP = ""
    assert client.get("/map/base.geojson").json() == nothing
    one = {"type": "Feature", "properties": {"kind": "road"}, "geometry": {}}
    (tmp_path / "one.geojson").write_text(json.dumps({"features": [one, {"kind": 1}]}))
    (tmp_path / "two.geojson").write_text('{"features": ')
    plain, *_ = basemap.read(tmp_path)
    assert json.loads(plain)["features"] == [one]
    assert "two.geojson" in caplog.text


# --- the scripts


def test_the_map_scripts_hold_in_node():
    node = shutil.which("node")
    if node is None:
        pytest.skip("node is not installed: apt install nodejs")
    tests = [str(path) for path in sorted(ROOT.glob("tests/js/map*.test.js"))]
    assert tests
    done = subprocess.run(
        [node, "--test", *tests], cwd=ROOT, capture_output=True, text=True, timeout=600
    )
    assert done.returncode == 0, done.stdout + done.stderr


def test_every_import_of_the_map_scripts_is_relative_and_ends_in_a_semicolon():
    """Else the file names of one release are not written into the other files."""
    scripts = sorted((ROOT / "bridges/static/bridges/js").glob("*.js"))
    assert scripts
    for script in scripts:
        for line in script.read_text().splitlines():
            if line.startswith("import ") or "} from " in line:
                assert line.endswith('.js";'), f"{script.name}: {line}"
                assert 'from "./' in line, f"{script.name}: {line}"
