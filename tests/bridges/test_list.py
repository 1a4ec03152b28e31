"""The page of map and list: one address for each view, counts, tags, pages."""

import datetime
import html
import re

import pytest

from bridges import facets, mapindex, views
from bridges.models import Bridge, MapVersion, Standing
from tests.bridges.inventory import built_by, list_bridge, list_builder, queries_of
from tests.makers import make_person

pytestmark = pytest.mark.django_db


def text_of(response):
    """Return what a person reads: no tags, single spaces."""
    plain = re.sub(r"<[^>]+>", " ", response.content.decode())
    return " ".join(html.unescape(plain).split())


def options(response, name):
    (group,) = [one for one in response.context["facets"] if one.name == name]
    return {option.value: option.count for option in group.options}


def test_an_empty_record_says_what_would_be_here(client):
    assert "The bridges of the record will be here" in text_of(client.get("/"))


def test_a_row_says_what_the_mark_shows(client):
    list_bridge(
        1,
        status="bypassed",
        built="1887~",
        last_visited=datetime.date(2024, 6, 2),
        last_changed=datetime.date.today(),
        changed_parts=",deck,counter,",
        longest_span_ft=84.5,
    )
    response = client.get("/")
    text = text_of(response)
    for said in (
        "Mill Road Bridge 1",
        "Pratt through",
        "Bypassed",
        "about 1887",
        "84′-6″",
        "2 Jun 2024",
        "deck, counter",
    ):
        assert said in text, said
    row = response.content.decode().split('<tr role="row">')[2]
    assert "glyph-out-of-use" in row
    assert "tag-out-of-use" in row
    assert "tag-changed" in row


def test_a_bridge_of_which_little_is_known_says_so(client):
    Bridge.objects.create(
        name="Bare", slug="bare", number="B", county="Alder", latitude=40, longitude=-40
    )
    text = text_of(client.get("/"))
    assert "date unknown" in text
    assert "no visit yet" in text
    assert "nothing seen" in text


def test_blank_fields_of_the_form_leave_the_address(client):
    response = client.get(
        "/?q=&form=pratt&form=warren&changed_within=&visited_since=+&order=name&page=1"
    )
    assert response.status_code == 302
    assert response.headers["Location"] == "/?form=pratt&form=warren"
    assert client.get("/?q=").headers["Location"] == "/"
    assert client.get("/?form=pratt&order=built&page=2").status_code == 200


def test_each_filter_in_force_can_be_taken_off_alone(client):
    builder = list_builder()
    built_by(list_bridge(1), builder)
    query = (
        "q=mill&form=pratt&form=warren&decade=1880&builder=corrick-and-vane"
        "&changed=deck&changed_within=5&visited_since=2020&order=built&deck=timber"
    )
    response = client.get(f"/?{query}")
    tags = {tag.label: tag.query_without for tag in response.context["tags"]}
    assert list(tags) == [
        "“mill”",
        "Form: Pratt",
        "Form: Warren",
        "Built in the 1880s",
        "Builder: Corrick & Vane",
        "Deck now: Timber",
        "Deck changed",
        "Changed within 5 years",
        "Visited since 2020",
    ]
    without = tags["Form: Warren"]
    assert "form=warren" not in without
    assert "form=pratt" in without
    assert "order=built" in without
    assert without.count("=") == query.count("=") - 1


def test_a_value_that_cannot_be_read_is_told_and_the_rest_holds(client):
    list_bridge(1)
    list_bridge(2, status="closed")
    response = client.get("/?form=nonsense&status=closed&decade=1885")
    assert response.status_code == 200
    assert [row.bridge.slug for row in response.context["rows"]] == ["mill-road-2"]
    text = text_of(response)
    assert "could not be read" in text
    assert "“1885” is not a decade" in text
    assert "nonsense is not one of the available choices" in text
    assert response.context["map"]["query"] == "status=closed"


@pytest.mark.parametrize(
    "query",
    [
        "form=%00",
        "form=%FF%FE",
        "page=-1",
        "page=999999999999999999999",
        "page=x",
        "order=%27%3B",
        "decade=9999999999",
        "decade=9990&decade=1880",
        "changed_within=99999999999999999999",
        "visited_since=0001-01-01",
        "q=%25%25%25",
        "q=" + "a+" * 60,
        "county=%F0%9F%8C%89",
        "deck='%20OR%201=1",
        "&".join(["form=pratt"] * 500),
        "builder=../../x",
    ],
)
def test_no_query_is_an_error_of_the_site(client, query):
    list_bridge(1)
    assert client.get(f"/?{query}").status_code == 200


def test_markup_in_a_query_is_text(client):
    response = client.get("/?q=%3Cscript%3Ealert(1)%3C/script%3E&form=%3Cb%3E")
    assert b"<script>alert" not in response.content
    assert b"<b>" not in response.content


# --- uncertain dates


def test_an_uncertain_date_that_matches_says_that_it_may_be(client):
    list_bridge(1, built="1885")
    list_bridge(2, built="1888/1893")
    list_bridge(3, built="../1895")
    response = client.get("/?decade=1880")
    maybe = {row.bridge.slug: row.is_maybe for row in response.context["rows"]}
    assert maybe == {"mill-road-1": False, "mill-road-2": True, "mill-road-3": True}
    assert response.context["maybe"] == 2
    assert "2 of these have an uncertain date" in text_of(response)


def test_a_date_within_all_the_decades_asked_for_is_no_maybe(client):
    list_bridge(1, built="1888/1893")
    response = client.get("/?decade=1880&decade=1890")
    assert response.context["maybe"] == 0
    assert not response.context["rows"][0].is_maybe


def test_the_count_of_maybes_is_that_of_the_rows():
    """Counted in the index for all pages, told of each row by its own dates."""
    dates = [
        "1885",
        "188X",
        "1879/1881",
        "../1890",
        "1890/..",
        "",
        "18XX",
        "[1880,1899]",
    ]
    bridges = [list_bridge(n, built=date) for n, date in enumerate(dates, 1)]
    places = mapindex.places_for(None)
    for decades in (
        ["1880"],
        ["1880", "1890"],
        ["undated"],
        ["1870", "1890", "undated"],
    ):
        mask = places.mask([("decade", decade) for decade in decades])
        kept = set(places.rows.ids[mask].tolist())
        rows = [views._may_be_outside(b, decades) for b in bridges if b.pk in kept]
        assert places.only_maybe(decades, mask) == sum(rows)


# --- counts beside the choices


def test_a_count_is_what_the_choice_would_show(client):
    builder = list_builder()
    built_by(list_bridge(1), builder)
    list_bridge(2, form="warren", status="closed", built="1895")
    list_bridge(3, form="warren", built="1888/1893", changed_parts=",chord,deck,")
    list_bridge(4, form="howe", county="Sallow", built="", changed_parts="")
    query = "status=in-service"
    response = client.get(f"/?{query}")
    for group in response.context["facets"]:
        for option in group.options:
            if group.name == "status":
                asked = f"status={option.value}"
            else:
                asked = f"{query}&{group.name}={option.value}"
            shown = client.get(f"/?{asked}").context["page"].paginator.count
            assert shown == option.count, (group.name, option)


def test_counts_leave_out_their_own_filter_and_keep_the_others(client):
    list_bridge(1)
    list_bridge(2, form="warren")
    list_bridge(3, form="warren", status="closed")
    response = client.get("/?form=pratt&status=in-service")
    assert options(response, "form") == {"pratt": 1, "warren": 1}
    assert options(response, "status") == {"in-service": 1}


def test_a_choice_in_force_that_matches_nothing_can_still_be_taken_off(client):
    list_bridge(1)
    response = client.get("/?form=howe&county=Nowhere")
    assert options(response, "form")["howe"] == 0
    assert options(response, "county")["Nowhere"] == 0
    assert "No bridge is all of this at once" in text_of(response)


def test_counts_are_of_what_the_person_may_see(client):
    list_bridge(1)
    list_bridge(2, is_public=False, county="Hidden County")
    assert options(client.get("/"), "county") == {"Alder": 1}
    assert "Hidden" not in text_of(client.get("/"))
    client.force_login(make_person())
    assert options(client.get("/"), "county") == {"Alder": 1, "Hidden County": 1}


def test_builders_are_chosen_by_name_and_counted(client):
    builder = list_builder()
    list_builder("Alder Iron", "alder-iron")
    built_by(list_bridge(1), builder)
    (group,) = [
        one for one in client.get("/").context["facets"] if one.name == "builder"
    ]
    assert [(one.value, one.label, one.count) for one in group.options] == [
        ("corrick-and-vane", "Corrick & Vane", 1)
    ]


# --- pages, order, costs


def test_pages_hold_every_bridge_once_and_keep_the_filters(client):
    for number in range(1, 121):
        list_bridge(number, built="1889")
    seen = []
    for page in ("", "&page=2", "&page=3"):
        response = client.get(f"/?order=built&form=pratt{page}")
        seen += [row.bridge.slug for row in response.context["rows"]]
    assert len(seen) == len(set(seen)) == 120
    text = client.get("/?order=built&form=pratt&page=2").content.decode()
    assert 'href="?order=built&amp;form=pratt&amp;page=3"' in text


@pytest.mark.parametrize("query", ["", "form=pratt&q=mill&decade=1880&changed=deck"])
def test_the_page_costs_the_same_for_one_bridge_and_for_thirty(client, query):
    builder = list_builder()
    built_by(list_bridge(1), builder)
    client.get(f"/?{query}")
    built_by(list_bridge(31), builder)
    one = queries_of(lambda: client.get(f"/?{query}"))
    for number in range(2, 31):
        built_by(list_bridge(number), builder)
    thirty = queries_of(lambda: client.get(f"/?{query}"))
    assert len(thirty) == len(one), "\n".join(thirty)


def test_the_files_of_a_view_are_linked_with_its_filters(client):
    list_bridge(1)
    text = client.get("/?form=pratt&order=built").content.decode()
    for kind in ("csv", "geojson", "gpx"):
        assert f'href="/export/bridges.{kind}?form=pratt"' in text


def test_the_page_holds_no_script_or_style_of_its_own(client):
    list_bridge(1)
    text = client.get("/?form=pratt").content.decode()
    assert " style=" not in text
    assert "<style" not in text
    scripts = re.findall(r"<script\b([^>]*)>", text)
    assert scripts
    for script in scripts:
        assert "src=" in script or 'type="application/json"' in script


def test_the_settings_of_the_map_cannot_break_out_of_their_script(client):
    list_bridge(1)
    text = client.get("/?q=%3C/script%3E%3Cimg%3E").content.decode()
    assert "</script><img" not in text.lower()


def test_tiles_are_used_where_the_society_names_some(client, settings):
    list_bridge(1)
    assert client.get("/").context["map"]["tiles"] is None
    settings.TILE_URL = "https://tiles.example/{z}/{x}/{y}.png"
    settings.TILE_ATTRIBUTION = "Somebody's map"
    assert client.get("/").context["map"]["tiles"] == {
        "url": "https://tiles.example/{z}/{x}/{y}.png",
        "attribution": "Somebody's map",
        "max_zoom": settings.TILE_MAX_ZOOM,
    }


def test_every_choice_of_the_models_has_a_title():
    assert set(facets.CHOICES) <= set(facets.TITLES)
    assert Standing._meta.get_field("form").choices == facets.CHOICES["form"]
    assert MapVersion.current() == 0
