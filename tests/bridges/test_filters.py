"""What a list can be narrowed by, and what is said of values that cannot be read."""

import datetime

import pytest
from django.http import QueryDict

from bridges import filters
from bridges.filters import BridgeFilter, applied, matching, query_text, years_ago
from bridges.models import Bridge
from surveys import changes, states
from tests.bridges.inventory import built_by, list_bridge, list_builder

pytestmark = pytest.mark.django_db
TODAY = datetime.date(2026, 11, 25)


@pytest.fixture(autouse=True)
def today(monkeypatch):
    monkeypatch.setattr(filters.timezone, "localdate", lambda: TODAY)


def found(query):
    filterset = BridgeFilter(QueryDict(query), queryset=Bridge.objects.for_list())
    assert filterset.is_valid(), filterset.errors
    return [bridge.slug.removeprefix("mill-road-") for bridge in filterset.qs]


def codes(query, name):
    filterset = BridgeFilter(QueryDict(query), queryset=Bridge.objects.all())
    return [error.code for error in filterset.errors.as_data().get(name, [])]


@pytest.mark.parametrize(
    "query, facts",
    [
        ("form=warren", {"form": "warren"}),
        ("deck_position=pony", {"deck_position": "pony"}),
        ("connection=riveted", {"connection": "riveted"}),
        ("material=steel", {"material": "steel"}),
        ("status=closed", {"status": "closed"}),
        ("listing=listed", {"listing": "listed"}),
        ("county=Sallow", {"county": "Sallow"}),
        ("deck=steel-grid", {"deck": "steel-grid"}),
        ("decade=1900", {"built": "1905"}),
        ("decade=undated", {"built": ""}),
        ("changed=counter", {"changed_parts": ",chord,counter,"}),
        ("changed_within=2", {"last_changed": datetime.date(2025, 1, 1)}),
        ("visited_since=2025-03", {"last_visited": datetime.date(2025, 3, 1)}),
    ],
)
def test_each_filter_keeps_what_has_it_and_drops_what_has_not(query, facts):
    list_bridge(1)
    list_bridge(2, **facts)
    assert found("") == ["1", "2"]
    assert found(query) == ["2"]


def test_several_values_of_one_filter_mean_any_and_several_filters_mean_all():
    list_bridge(1, form="warren")
    list_bridge(2, form="howe", status="closed")
    list_bridge(3, form="parker")
    assert found("form=warren&form=howe") == ["1", "2"]
    assert found("form=warren&form=howe&status=closed") == ["2"]


def test_a_builder_is_found_once_however_many_hands_they_had_in_a_bridge():
    bridge, builder = list_bridge(1), list_builder()
    list_bridge(2)
    built_by(bridge, builder)
    built_by(bridge, builder, role="designer")
    assert found("builder=corrick-and-vane") == ["1"]


@pytest.mark.parametrize(
    "built, decades",
    [
        ("1889", {1880}),
        ("1887~", {1880}),
        ("1889~", {1880, 1890}),
        ("188X", {1880}),
        ("1888/1902", {1880, 1890, 1900}),
        ("../1881", {1870, 1880}),
        ("1895/..", {1890, 1900, 1910}),
        ("[1879,1901]", {1870, 1880, 1890, 1900}),
        ("", set()),
    ],
)
def test_an_uncertain_date_matches_each_decade_that_its_bounds_reach(built, decades):
    list_bridge(1, built=built)
    asked = (1870, 1880, 1890, 1900, 1910)
    assert {decade for decade in asked if found(f"decade={decade}")} == decades


@pytest.mark.parametrize(
    "q",
    ["tanners", "ALDER riv", "mill road", "A-002", "old red", "kestle", "river old"],
)
def test_every_word_is_looked_for_in_all_that_names_a_bridge(q):
    list_bridge(1, name="Weir", road="Weir Lane", crossing="Wend", town="Stonecut")
    list_bridge(2, name="Tanners Ford", also_known_as="Old Red")
    assert found(f"q={q}") == ["2"]


def test_the_apostrophe_of_a_phone_finds_that_of_a_typewriter_and_back():
    list_bridge(1, name="Tanner's Ford")
    list_bridge(2, name="Pinder’s Landing")
    assert found("q=tanner’s") == ["1"]
    assert found("q=pinder's") == ["2"]


def test_marks_of_like_patterns_are_letters_to_the_search():
    list_bridge(1, name="100% Bridge")
    list_bridge(2)
    assert found("q=100%25") == ["1"]
    assert found("q=_") == []


@pytest.mark.parametrize(
    "order, expected",
    [
        ("name", ["1", "2", "3"]),
        ("built", ["2", "1", "3"]),
        ("-built", ["1", "2", "3"]),
        ("span", ["2", "1", "3"]),
        ("-span", ["1", "2", "3"]),
        ("visited", ["3", "2", "1"]),
        ("-changed", ["1", "2", "3"]),
    ],
)
def test_orders_put_blanks_last_but_the_never_visited_first(order, expected):
    day = datetime.date
    list_bridge(1, built="1901", longest_span_ft=90.0)
    list_bridge(2, built="1880", longest_span_ft=40.0, last_visited=day(1999, 1, 1))
    list_bridge(3, built="", longest_span_ft=None, last_visited=None, last_changed=None)
    Bridge.objects.get(slug="mill-road-2").standing.__class__.objects.filter(
        bridge__slug="mill-road-2"
    ).update(last_changed=day(1999, 1, 1))
    assert found(f"order={order}") == expected


def test_equals_in_an_order_stand_by_name():
    for number in (3, 1, 2):
        list_bridge(number)
    assert found("order=built") == ["1", "2", "3"]


@pytest.mark.parametrize(
    "query, name",
    [
        ("form=nonsense", "form"),
        ("form=pratt&form=nonsense", "form"),
        ("status=%00", "status"),
        ("decade=1885", "decade"),
        ("decade=18800", "decade"),
        ("decade=%D9%A1%D9%A8%D9%A8%D9%A0", "decade"),
        ("decade=0000", "decade"),
        ("changed=roof", "changed"),
        ("changed_within=0", "changed_within"),
        ("changed_within=-1", "changed_within"),
        ("changed_within=1.5", "changed_within"),
        ("changed_within=NaN", "changed_within"),
        ("changed_within=1e400", "changed_within"),
        ("visited_since=last week", "visited_since"),
        ("visited_since=../1990", "visited_since"),
        ("visited_since=9999-99-99", "visited_since"),
        ("order=price", "order"),
        ("q=%00", "q"),
        (f"q={'a' * 121}", "q"),
        ("county=%00", "county"),
        (f"county={'a' * 121}", "county"),
        ("&".join(f"county={n}" for n in range(61)), "county"),
    ],
)
def test_a_value_that_cannot_be_read_is_a_fault_of_its_field(query, name):
    assert codes(query, name)
    filterset = BridgeFilter(QueryDict(query), queryset=Bridge.objects.all())
    assert filterset.errors.keys() == {name}
    assert list(filterset.qs) == []


def test_what_was_applied_makes_the_same_query_however_it_was_written():
    one = QueryDict("decade=1880s&form=warren&form=howe&q=+mill++road&order=built")
    two = QueryDict("q=mill+road&form=howe&form=warren&form=howe&decade=1880&x=1")
    texts = {query_text(applied(BridgeFilter(query))) for query in (one, two)}
    assert texts == {"q=mill+road&form=howe&form=warren&decade=1880"}


def test_what_was_applied_leaves_out_what_could_not_be_read():
    list_bridge(1)
    filterset = BridgeFilter(QueryDict("form=nonsense&status=in-service"))
    assert applied(filterset) == [("status", "in-service")]
    assert matching(applied(filterset)).count() == 1


def test_a_year_back_from_a_leap_day_is_the_day_before_march():
    leap = datetime.date(2024, 2, 29)
    assert years_ago(1, leap) == datetime.date(2023, 2, 28)
    assert years_ago(4, leap) == datetime.date(2020, 2, 29)
    assert years_ago(300, datetime.date(200, 5, 5)) == datetime.date(1, 5, 5)


def test_the_parts_that_can_be_asked_for_are_those_that_surveys_write():
    assert {part for part, _ in filters.PARTS} == set(changes.PARTS)
    part = next(iter(states.DECK_MATERIALS))
    list_bridge(1, deck=part)
    assert found(f"deck={part}") == ["1"]
