"""What a bridge was designed for: its first known state under its day's rules."""

import pytest

from analysis import designed
from surveys import record as records
from surveys.models import Element
from tests.makers import make_bridge
from tests.structures import EYEBARS, PANS, make_described_bridge, make_visit_saying

pytestmark = pytest.mark.django_db
PLACED = {"roadway_ft": 14.0, "trusses_apart_ft": 16.0, "material": "steel"}


def told(bridge):
    return designed.designed_for(bridge)[0]


def chord_paths(bridge):
    return [
        one.path
        for one in Element.objects.filter(bridge=bridge, role="lower-chord")
        if "/upstream/" in one.path
    ]


def test_rules_of_its_time_come_first():
    found = told(make_described_bridge(built="1908", span=dict(PLACED)))
    rows = found["specifications"]
    flags = [row["is_of_its_time"] for row in rows]
    assert flags == sorted(flags, reverse=True)
    assert flags[0]
    assert {row["key"] for row in rows if row["is_of_its_time"]} >= {"ketchum-1908"}
    for row in rows:
        assert row["psf_low"] <= row["psf"] <= row["psf_high"]
        assert row["roller_low"] <= row["roller_tons"] <= row["roller_high"]
    assert found["caveat"].startswith("One line of evidence")
    assert any("road roller" in said for said in found["sentences"])


def test_a_later_deck_does_not_count():
    bridge = make_described_bridge(built="1908", span=dict(PLACED))
    before = told(bridge)["specifications"][0]["psf"]
    make_visit_saying(bridge, 2019, changed={"span-1/deck": PANS})
    assert told(bridge)["specifications"][0]["psf"] == before


def test_pieces_added_do_not_count_and_replacements_are_left_out():
    bridge = make_described_bridge(built="1908", span=dict(PLACED))
    record = records.load(bridge)
    before = told(bridge)["specifications"][0]
    paths = chord_paths(bridge)
    added = {"components": [EYEBARS, {**EYEBARS, "count": 1, "origin": "addition"}]}
    newer = {"components": [{**EYEBARS, "origin": "replacement"}]}
    other = make_bridge(
        slug="reinforced",
        built="1908",
        span=PLACED | {"crossed_panels": [2, 3, 4]},
    )
    states = {
        path: part.state for path, part in record.configuration().items() if part.state
    }
    make_visit_saying(other, 1990, changed=states | {paths[0]: added, paths[1]: newer})
    found = told(other)
    assert found["specifications"][0]["psf"] == pytest.approx(before["psf"], rel=0.02)
    said = " ".join(found["rests_on"])
    assert "L0L1: taken without the pieces recorded as added" in said
    assert "L1L2: a replacement when first described, so left out" in said
    assert found["specifications"][0]["unrated"] == ["L1L2"]


def test_the_years_before_anybody_looked_are_said():
    found = told(make_described_bridge(built="1890", span=dict(PLACED)))
    assert any("100 years after it was built" in said for said in found["rests_on"])


def test_a_bridge_without_sizes_says_why():
    found = told(make_bridge())
    assert found["gaps"]
    assert not found["specifications"]
