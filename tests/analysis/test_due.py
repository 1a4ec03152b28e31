"""What is due and why, in which order, and how it is taken along."""

import datetime
import itertools
import random
import re

import gpxpy
import pytest
from django.contrib.auth.models import AnonymousUser
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from analysis import drive, errands, field_sheet
from analysis.due import due
from analysis.models import ToMeasure
from analysis.services import recheck
from bridges.models import Bridge, LifeEvent, generalised
from surveys import replies, seasons, services
from surveys.models import Photo, Repair, Viewpoint
from tests.images import jpeg
from tests.makers import make_bridge, make_person, make_visit, photo_document
from tests.structures import GRID, make_described_bridge

pytestmark = pytest.mark.django_db
TODAY = datetime.date(2026, 1, 15)


@pytest.fixture
def ada(db):
    return make_person("ada")


@pytest.fixture
def rex(db):
    return make_person("rex", "reviewer")


def member(person):
    client = Client()
    client.force_login(person)
    return client


def reasons(bridge, kind, today=TODAY):
    rows = due(Bridge.objects.filter(pk=bridge.pk), today)
    return [one.words for row in rows for one in row.reasons if one.kind == kind]


def text_of(response):
    text = re.sub(r"<[^>]+>", " ", response.content.decode())
    return re.sub(r"\s+", " ", text)


# -- reasons


def test_age_is_told_of_the_bridge_and_of_parts_passed_over(ada, rex):
    bridge = make_bridge()
    assert reasons(bridge, "age")[0] == "Nobody has stood there yet."
    make_visit(bridge, ada, rex, date="2010-05-01", said={"span-1/deck": GRID})
    make_visit(bridge, ada, rex, date="2022-01-15", said={"limit": {"tons": 5}})
    told = reasons(bridge, "age")
    assert "Last visited 4 years ago, in January 2022." in told
    assert "Passed over by later visits: deck (16 years ago)." in told
    assert any(one.startswith("Never recorded: ") for one in told)


def test_a_look_of_last_year_is_no_reason(ada, rex):
    bridge = make_bridge(lay_out=False)
    make_visit(bridge, ada, rex, date="2025-06-02")
    assert due(Bridge.objects.all(), TODAY) == []


def test_a_bridge_that_is_no_more_is_not_due(ada):
    make_bridge(status="lost")
    assert due(Bridge.objects.all(), TODAY) == []


def test_questions_wait_until_they_are_answered(ada, rex):
    bridge = make_bridge()
    visit = make_visit(bridge, ada, said={"limit": {"tons": 3}})
    limit = visit.observations.get()
    services.accept_visit(
        visit=visit, reviewer=rex, held_back={limit.pk: "Which sign?"}
    )
    assert [one for one in reasons(bridge, "question") if "Which sign?" in one]
    replies.answer(visit=visit, person=ada, answers={limit.pk: "The north one."})
    assert reasons(bridge, "question") == []
    other = make_visit(bridge, ada, name="2")
    services.return_visit(visit=other, reviewer=rex, question="Which end?")
    assert reasons(bridge, "question") == ["A reviewer asks: Which end?"]


def test_what_could_not_be_seen_names_its_season(ada, rex):
    bridge = make_bridge()
    said = {"span-1/deck": "not-seen"}
    visit = make_visit(bridge, ada, date="2025-07-01", said=said)
    visit.observations.update(reason="leaves in the way")
    services.accept_visit(visit=visit, reviewer=rex)
    (row,) = due(Bridge.objects.all(), TODAY)
    assert row.seasons == {"leaf-off"}
    told = next(one for one in row.reasons if one.kind == "unseen")
    assert "(leaves in the way). Best when leaves are down" in told.words
    summer = due(Bridge.objects.all(), datetime.date(2025, 8, 1))[0]
    assert told.points > next(o for o in summer.reasons if o.kind == "unseen").points
    make_visit(bridge, ada, rex, date="2025-12-01", said={"span-1/deck": GRID})
    assert reasons(bridge, "unseen") == []


@pytest.mark.parametrize(
    ("reason", "key"),
    [
        ("vines over the end post", "leaf-off"),
        ("river too high", "low-water"),
        ("under snow", "no-snow"),
        ("a fence", None),
    ],
)
def test_reasons_in_words_find_their_season(reason, key):
    season = seasons.of_reason(reason)
    assert (season.key if season else None) == key


@pytest.mark.parametrize(
    ("status", "notes", "access"),
    [
        ("closed", "", "closed"),
        ("in-service", "Private lane; ask at the first house.", "ask"),
        ("in-service", "Gravel lot at the ball field.", "open"),
    ],
)
def test_access_is_read_from_status_and_notes(status, notes, access):
    assert seasons.access_of(status, notes) == access


def test_viewpoints_lack_a_photo_or_have_an_old_one(ada, rex):
    bridge = make_bridge(lay_out=False)
    for name in ("Portal", "Upstream", "Barrel"):
        Viewpoint.objects.create(
            bridge=bridge, name=name, is_mandatory=name != "Barrel"
        )
    data = jpeg(40, 30)
    photos = [photo_document(data, viewpoint="Upstream")]
    visit = make_visit(bridge, ada, date="2015", photos=photos)
    services.store_photo(photo=Photo.objects.get(), bytes=data)
    services.accept_visit(visit=visit, reviewer=rex)
    assert reasons(bridge, "viewpoint") == [
        "No photo from Portal.",
        "Photo older than five years from Upstream.",
    ]


def test_work_heard_of_since_the_last_visit_is_to_be_looked_at(ada, rex):
    bridge = make_bridge(lay_out=False)
    make_visit(bridge, ada, rex, date="2025-03-01")
    Repair.objects.create(bridge=bridge, title="New planks", when="2025-09")
    Repair.objects.create(bridge=bridge, title="Old paint", when="1990")
    LifeEvent.objects.create(bridge=bridge, kind="closed", when="2025-11/..")
    told = reasons(bridge, "expected")
    assert len(told) == 2
    assert "September 2025: New planks." in told[0]
    assert "Closed" in told[1]


def test_a_danger_stands_first_until_it_is_passed_on(ada, rex):
    for name in ("Ash", "Birch"):
        make_bridge(name=f"{name} Bridge")
    birch = Bridge.objects.get(slug="birch-bridge")
    visit = make_visit(
        birch, ada, date="2026-01-10", is_danger=True, danger_note="Rod!"
    )
    first = due(Bridge.objects.all(), TODAY)[0]
    assert (first.bridge, first.is_danger) == (birch, True)
    services.close_danger(visit=visit, reviewer=rex, outcome="County told.")
    assert reasons(birch, "danger") == []


def test_sizes_that_would_narrow_an_estimate_are_reckoned_beforehand(ada):
    bridge = make_described_bridge()
    assert errands.reckon_all() == 1
    told = reasons(bridge, "measure")
    assert "Would narrow the estimate by about" in told[0]
    assert errands.reckon_all() == 0
    recheck(bridge=bridge)
    assert ToMeasure.objects.get().is_stale
    assert errands.behind([bridge]) == [bridge]


def test_the_list_costs_the_same_for_one_bridge_and_for_fifty(ada, rex):
    def queries():
        client = member(ada)
        with CaptureQueriesContext(connection) as seen:
            assert client.get("/due/").status_code == 200
        return [query["sql"] for query in seen.captured_queries]

    def fill(n):
        bridge = make_bridge(name=f"Bridge {n}", latitude=41 + n / 100)
        Viewpoint.objects.create(bridge=bridge, name="Portal", is_mandatory=True)
        Repair.objects.create(bridge=bridge, title="Planks", when="2025")
        visit = make_visit(bridge, ada, date="2015", said={"limit": {"tons": n + 1}})
        services.accept_visit(visit=visit, reviewer=rex)
        services.return_visit(
            visit=make_visit(bridge, ada, name="q"), reviewer=rex, question="Which?"
        )
        ToMeasure.objects.update_or_create(bridge=bridge, defaults={"is_stale": False})

    fill(0)
    one = queries()
    for n in range(1, 50):
        fill(n)
    fifty = queries()
    assert len(fifty) == len(one), "\n".join(fifty)


# -- the page


@pytest.fixture
def three(ada):
    for name, north, county in (
        ("Ash", 0, "Alder"),
        ("Birch", 1, "Alder"),
        ("Cedar", 0.1, "Wend"),
    ):
        make_bridge(
            name=f"{name} Bridge",
            number=f"X-{name[0]}",
            latitude=41 + north,
            county=county,
            access_notes="Ask at the mill." if name == "Cedar" else "",
        )


@pytest.mark.parametrize(
    ("query", "names"),
    [
        ("", ["Ash", "Birch", "Cedar"]),
        ("near=X-A&order=distance", ["Ash", "Cedar", "Birch"]),
        ("near=41.99,-77.4&order=distance", ["Birch", "Cedar", "Ash"]),
        ("near=Ash&within=10", ["Ash", "Cedar"]),
        ("access=ask", ["Cedar"]),
        ("county=Wend", ["Cedar"]),
        ("season=leaf-off", []),
    ],
)
def test_the_list_is_narrowed_and_ordered(ada, three, query, names):
    text = text_of(member(ada).get(f"/due/?{query}"))
    text = text[text.index("with a reason to go") :]
    found = re.findall(r"Take (\w+) Bridge along", text)
    assert found == names


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("near=nowhere", "There is no bridge “nowhere”"),
        ("within=10", "From where should the distance"),
        ("near=95,0", "Latitude runs to 90"),
        ("within=much&near=Ash", "Enter a number"),
    ],
)
def test_what_cannot_be_read_is_said_beside_its_field(ada, three, query, said):
    response = member(ada).get(f"/due/?{query}")
    assert response.status_code == 422
    assert said in text_of(response)


@pytest.mark.parametrize(
    "address", ["/due/", "/due/drive.gpx", "/due/sheets/", "/due/take/"]
)
def test_the_list_is_for_the_societys_people(three, address):
    assert Client().get(f"{address}?b=ash-bridge").status_code == 302
    stranger = make_person("sam")
    stranger.groups.clear()
    assert member(stranger).get(f"{address}?b=ash-bridge").status_code == 403


@pytest.mark.parametrize("address", ["/due/drive.gpx", "/due/sheets/", "/due/take/"])
def test_nothing_ticked_leads_back_with_a_word(ada, three, address):
    response = member(ada).get(f"{address}?near=Ash&b=no-such", follow=True)
    assert "Tick the bridges first" in text_of(response)
    assert response.redirect_chain[0][0] == "/due/?near=Ash"


def test_the_ticked_go_along_into_the_field(ada, three):
    response = member(ada).get("/due/take/?b=cedar-bridge&b=ash-bridge&b=no-such")
    assert response.headers["Location"] == "/field/#/take/cedar-bridge,ash-bridge"


# -- the drive


def test_miles_agree_with_a_degree_of_the_meridian():
    """One degree of a great circle of a 6371.0088 km sphere is 111.195 km, 69.094 mi
    (IUGG mean radius); on the WGS 84 ellipsoid at 41° it is 111.05 km: 0.13 % off."""
    assert drive.miles_between((41, -77), (42, -77)) == pytest.approx(69.094, abs=0.001)
    assert drive.miles_between((0, 179.5), (0, -179.5)) == pytest.approx(
        69.094, abs=0.001
    )


def test_the_order_is_near_the_shortest_there_is():
    """Against every order there is, for six places at random, with and without a start."""
    chance = random.Random(7)
    for start in (None, (41.0, -77.0)):
        for _ in range(15):
            places = [(41 + chance.random(), -77 + chance.random()) for _ in range(6)]
            away = [[drive.miles_between(a, b) for b in places] for a in places]
            first = [drive.miles_between(start, p) if start else 0.0 for p in places]
            best = min(
                drive.length(order, away, first)
                for order in itertools.permutations(range(6))
            )
            order = drive.ordered(places, start)
            assert sorted(order) == list(range(6))
            assert drive.length(order, away, first) <= best * 1.1


def test_the_drive_is_a_route_that_another_reader_reads(ada, three):
    response = member(ada).get(
        "/due/drive.gpx?near=X-A&b=birch-bridge&b=ash-bridge&b=cedar-bridge"
    )
    assert response.headers["Content-Type"] == "application/gpx+xml"
    assert "no-store" in response.headers["Cache-Control"]
    read = gpxpy.parse(response.content.decode())
    (route,) = read.routes
    names = ["1. Ash Bridge", "2. Cedar Bridge", "3. Birch Bridge"]
    assert [point.name for point in route.points] == names
    assert [point.name for point in read.waypoints] == names
    assert (route.points[1].latitude, route.points[1].longitude) == (41.1, -77.4)
    assert "Ask at the mill." in route.points[1].description
    assert route.points[0].link.endswith("/bridges/ash-bridge/")
    assert "not by road" in read.description
    assert response.content.count(b"<gpx ") == 1


def test_a_place_that_is_kept_back_is_only_about(ada):
    bridge = make_bridge(
        is_position_sensitive=True, latitude=41.2345, longitude=-77.3456
    )
    exact = gpxpy.parse(drive.gpx([(bridge, ["Why."])], ada)).routes[0].points[0]
    about = gpxpy.parse(drive.gpx([(bridge, ["Why."])], AnonymousUser()))
    point = about.routes[0].points[0]
    assert (exact.latitude, exact.longitude) == (41.2345, -77.3456)
    assert (point.latitude, point.longitude) == generalised(41.2345, -77.3456)
    assert "about 2 miles only" in point.description
    assert "41.2345" not in about.to_xml()


# -- on paper


def test_a_sheet_asks_what_the_form_asks_in_the_same_order(ada, rex):
    bridge = make_bridge(owner="Alder County", access_notes="Park at the mill.")
    make_visit(bridge, ada, rex, date="2019-06-02", said={"limit": {"tons": 5}})
    client = member(ada)
    paper = text_of(client.get(f"/due/sheets/?b={bridge.slug}"))
    form = client.get(f"/bridges/{bridge.slug}/visit/").content.decode()
    titles = re.findall(r'<span class="log-name">([^<]+)', form)
    rows = [one for one in titles if not re.fullmatch(r"[LU]\d[LU]\d", one)]
    at = paper.index("Signs and approaches")
    for title in rows:
        at = paper.index(title, at)
    for words in (
        "5 tons, 2 June 2019",
        "Park at the mill.",
        "tell Alder County",
        "leave the deck first",
    ):
        assert words in paper
    assert "Upstream truss" in paper
    assert "Downstream truss" in paper


def test_sheets_cost_the_same_for_one_bridge_and_for_ten(ada, rex):
    def cost(bridges):
        with CaptureQueriesContext(connection) as seen:
            assert len(field_sheet.sheets(bridges, TODAY)) == len(bridges)
        return len(seen.captured_queries)

    bridges = [make_bridge(name=f"Bridge {n}") for n in range(10)]
    for bridge in bridges:
        make_visit(bridge, ada, rex, date="2019", said={"limit": {"tons": 5}})
    # A spare first time: what is looked up once a process is looked up now.
    cost(bridges[:1])
    assert cost(bridges) == cost(bridges[:1])
