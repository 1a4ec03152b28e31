"""Words, their spelling, and what may not be found by them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bridges import search
from bridges.models import Bridge, LifeEvent, MapVersion, Plate, SearchWord
from tests.bridges.inventory import built_by, list_bridge, list_builder
from tests.makers import make_bridge, make_person, make_visit

needs_database = pytest.mark.django_db


def found(text, is_members=False):
    bridges = search.narrow(Bridge.objects.all(), text, is_members=is_members)
    return sorted(bridges.values_list("slug", flat=True))


@needs_database
@pytest.mark.parametrize(
    "text",
    ["Kestlé", "KESTLE", "tanners", "tanner’s ford", "corrick", "anno 1889", "flood"],
)
def test_names_plates_builders_and_events_are_searched(text):
    bridge = list_bridge(1, name="Tanner's Ford", town="Kestle")
    list_bridge(2, name="Weir", town="Stonecut", road="Weir Lane", crossing="Wend")
    built_by(bridge, list_builder())
    Plate.objects.create(
        bridge=bridge, key="p", location="portal", transcription="ANNO 1889"
    )
    LifeEvent.objects.create(bridge=bridge, kind="altered", when="1936", text="Flood.")
    MapVersion.bump([bridge.pk])
    assert found(text) == ["mill-road-1"]


@needs_database
def test_what_a_visit_says_is_found():
    bridge = make_bridge(slug="noted")
    list_bridge(2)
    reviewer = make_person("rey", "reviewer")
    make_visit(bridge, reviewer=reviewer, notes="Swallows nest under the floor.")
    assert found("swallows nest") == ["noted"]


@needs_database
@pytest.mark.parametrize(
    "text, expected",
    [
        ("kestel", "kestle"),
        ("mlil", "mill"),
        ("stonecutt", "stonecut"),
        ("stnoecat", "stonecut"),
    ],
)
def test_a_misspelt_word_is_read_as_what_is_near_it(text, expected):
    list_bridge(1, name="Mill", town="Kestle", road="Mill Road")
    list_bridge(2, name="Weir", town="Stonecut", road="Weir Lane")
    assert expected in search.readings(text)[text]
    assert found(text) == found(expected) != []


@needs_database
def test_a_word_that_stands_somewhere_is_taken_as_written():
    list_bridge(1, name="Mile Post")
    list_bridge(2, name="Mill")
    assert search.readings("mile") == {}
    assert found("mile") == ["mill-road-1"]


@needs_database
def test_a_number_is_never_read_as_another():
    list_bridge(1)
    assert found("A-002") == []


@needs_database
def test_the_spelling_of_what_is_kept_is_not_told(client):
    bridge = list_bridge(1, crossing="Sunken Brook", is_position_sensitive=True)
    assert search.readings("sunkem") == {"sunkem": []}
    assert search.readings("sunkem", is_members=True) == {"sunkem": ["sunken"]}
    assert "sunken" not in client.get("/?q=sunkem").content.decode().lower()
    # Told once it is no secret any more, and never again a secret by itself.
    bridge.is_position_sensitive = False
    bridge.save()
    MapVersion.bump([bridge.pk])
    assert SearchWord.objects.get(word="sunken").is_told
    assert found("sunkem") == ["mill-road-1"]


@needs_database
def test_the_page_says_how_a_misspelt_word_was_read(client):
    list_bridge(1, town="Kestle")
    text = client.get("/?q=kestel").content.decode()
    assert "kestle" in text
    assert "Nothing is spelt" in text


@needs_database
@pytest.mark.parametrize(
    "text",
    ['"', "a\"b'c", "AND", "told:x", "NEAR(", "*", "--", "^x", "{told}", "\x00", "()"],
)
def test_no_mark_is_an_instruction_to_the_database(text):
    list_bridge(1)
    assert found(text) == []


@given(st.text(max_size=8), st.text(max_size=8))
def test_distance_is_a_distance(one, other):
    assert search.distance(one, one) == 0
    assert search.distance(one, other) == search.distance(other, one)
    assert search.distance(one, other) <= max(len(one), len(other))


@pytest.mark.parametrize(
    "one, other, away",
    # Pairs and distances by hand; "ca" to "abc" is the textbook case in which the
    # restricted distance (3) differs from the unrestricted (2).
    [("kitten", "sitting", 3), ("mlil", "mill", 1), ("ca", "abc", 3), ("", "abc", 3)],
)
def test_distances_are_those_counted_by_hand(one, other, away):
    assert search.distance(one, other) == away
