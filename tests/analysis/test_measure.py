"""The band of an estimate, and what a volunteer is asked to measure next."""

import sqlite3
from contextlib import closing

import pytest
from django.db import connection

from analysis import measure, services
from analysis.models import Finding
from bridges.models import Span
from surveys import record as records
from surveys.models import Element, Observation
from tests.makers import make_bridge
from tests.structures import BY_ROLE, make_described_bridge, make_visit_saying

pytestmark = pytest.mark.django_db


def tasks(bridge, **asked):
    return measure.measure_next(bridge, **{"limit": None} | asked)


def test_the_band_surrounds_the_estimate():
    bridge = make_described_bridge()
    Span.objects.update(measured_how="taped")
    services.recheck(bridge=bridge)
    for one in measure.bands(bridge):
        assert one["gaps"] == []
        assert 0 < one["low"] < one["mid"] < one["high"]
        estimate = services.history(bridge)[-1].lines[0][2].check_made.limit_tons
        assert one["low"] < estimate < one["high"]
        assert sum(each["share"] for each in one["measures"]) < 1.1


@pytest.mark.parametrize("deck", [None, {"layers": [{"material": "timber"}]}])
def test_a_floor_that_nobody_recorded_weighs_in_the_estimate_as_in_its_band(deck):
    bridge = make_bridge()
    states = {
        one.path: BY_ROLE[one.role] for one in Element.objects.filter(kind="member")
    }
    make_visit_saying(
        bridge, 1990, changed=states | ({"span-1/deck": deck} if deck else {})
    )
    Span.objects.update(measured_how="taped", roadway_ft=None)
    services.recheck(bridge=bridge)
    (found, _) = measure.bands(bridge)
    row = services.history(bridge)[-1].lines[0][2]
    assert found["low"] < row.check_made.limit_tons < found["high"]
    weighed = [one["what"] for one in row.check_made.answer["dead_load"]["items"]]
    made = "timber, 3.25 in" if deck else "deck of unrecorded make, 37 psf"
    assert weighed[1:] == [f"floor: {made}", "floor: stringers", "floor: floor beams"]
    said = " ".join(row.assumptions)
    for what in (
        "deck is taken as",
        "Stringers are taken",
        "beams are taken",
        "of 14 ft",
    ):
        assert what in said


def test_a_guess_is_what_to_measure_first():
    bridge = make_described_bridge()
    Observation.objects.filter(element__role="lower-chord").update(certainty="guess")
    Observation.objects.filter(element__role="hip-vertical").update(certainty="guess")
    Span.objects.update(measured_how="taped")
    first = tasks(bridge)[0]
    assert "hip verticals" in first["words"] or "lower chord" in first["words"]
    assert first["narrows_percent"] >= 1
    assert "upstream and downstream trusses" in first["words"]
    assert set(first["lines"]) == {"upstream", "downstream"}
    assert Element.objects.filter(path__in=first["paths"]).count() == len(
        first["paths"]
    )


def test_the_words_are_a_task():
    bridge = make_described_bridge()
    words = {one["act"] for one in measure.bands(bridge)[1]["measures"]}
    assert "tape the thickness of the end-post cover plate" in words
    assert "caliper the diameter of the round rods of the hip verticals" in words
    assert "tape the thickness of the timber plank deck, at an edge" in words


def test_what_no_tape_settles_is_no_task():
    bridge = make_described_bridge()
    assert not any("strength" in one["words"] for one in tasks(bridge))


def test_a_paced_span_asks_for_a_tape(monkeypatch):
    monkeypatch.setattr(measure, "LEAST_SHARE", 0.0)
    bridge = make_described_bridge()
    found = {}
    for how in ("paced", "taped"):
        Span.objects.update(measured_how=how)
        told = {one["quantity"]: one for one in tasks(bridge)}
        found[how] = told["panel-length"]["words"], told["panel-length"]["share"]
    assert found["paced"][0] == (
        "Tape a panel, joint to joint along the lower chord (it was paced)."
    )
    assert found["taped"][0] == "Tape a panel, joint to joint along the lower chord."
    assert found["taped"][1] <= found["paced"][1]


def test_members_without_sizes_come_before_all():
    bridge = make_bridge()
    states = {
        one.path: BY_ROLE[one.role]
        for one in Element.objects.filter(bridge=bridge, kind="member")
        if one.role != "lower-chord"
    }
    make_visit_saying(bridge, 1990, changed=states)
    first = tasks(bridge, limit=1)[0]
    assert first["is_missing"]
    assert first["words"] == (
        "Tape every piece of the lower chord, upstream and downstream trusses."
    )
    assert first["narrows_percent"] is None


def test_a_deck_nobody_described_is_a_range():
    bridge = make_bridge()
    states = {
        one.path: BY_ROLE[one.role]
        for one in Element.objects.filter(bridge=bridge, kind="member")
    }
    make_visit_saying(bridge, 1990, changed=states)
    deck = next(one for one in tasks(bridge) if one["quantity"] == "deck")
    assert deck["words"].startswith("Say what the deck is made of")
    assert deck["paths"] == ["span-1/deck"]


def test_a_bridge_nobody_visited_is_answered():
    assert [one["is_missing"] for one in tasks(make_bridge())] == [True] * len(
        tasks(make_bridge(slug="another"))
    )


def test_a_band_is_made_once():
    bridge = make_described_bridge()
    record = records.load(bridge)
    once = measure.bands(bridge, record)
    made = Finding.objects.count()
    assert measure.bands(bridge, record) == once
    assert Finding.objects.count() == made


@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(connection.vendor != "sqlite", reason="only there do writers wait")
def test_a_reader_of_a_page_is_answered_while_a_long_write_holds_the_database(client):
    bridge = make_described_bridge()
    services.recheck(bridge=bridge)
    with closing(sqlite3.connect(connection.settings_dict["NAME"])) as elsewhere:
        elsewhere.execute("BEGIN IMMEDIATE")
        response = client.get(bridge.get_absolute_url())
        elsewhere.rollback()
    assert response.status_code == 200
    assert Finding.objects.count() == 0
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA busy_timeout")
        assert cursor.fetchone()[0] == 20_000
    assert client.get(bridge.get_absolute_url()).status_code == 200
    assert Finding.objects.count() > 0
