"""From recorded visits to what each change did."""

import dataclasses

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from analysis import effects, services, translate
from analysis.engine import checkfile
from analysis.models import Check, ConfigurationCheck, Effect
from surveys import record as records
from surveys.changes import compare
from tests.structures import (
    EYEBARS,
    GRID,
    PANS,
    ROD,
    make_described_bridge,
    make_visit_saying,
)
from tests.surveys.test_changes import member, pieces

pytestmark = pytest.mark.django_db
FLATS = {"shape": "flat-bar", "count": 2, "width_in": 3.0, "thickness_in": 0.5}
FLATS["origin"] = "addition"
NEAR = 1e-9


def heavier_counters(lines=("upstream", "downstream")):
    rod = {**ROD, "diameter_in": 1.75, "origin": "replacement"}
    return {
        f"span-1/{line}/{name}": {"components": [rod]}
        for line in lines
        for name in ("L2U3", "L3U2")
    }


def reinforced(line="upstream", member="L2L3", **more):
    piece = {**FLATS, **more}
    return {f"span-1/{line}/{member}": {"components": [EYEBARS, piece]}}


@pytest.fixture
def bridge():
    return make_described_bridge()


def results(bridge):
    services.recheck(bridge=bridge)
    return {
        one.truss_line.key: one.result
        for one in Effect.objects.filter(truss_line__span__bridge=bridge)
    }


def test_shares_of_deck_chord_and_counters_sum_to_the_whole(bridge):
    changed = {"span-1/deck": GRID} | heavier_counters() | reinforced()
    make_visit_saying(bridge, 2019, changed=changed)
    told = results(bridge)
    assert set(told) == {"upstream", "downstream"}
    assert len(told["upstream"]["shares"]) == 3
    assert len(told["downstream"]["shares"]) == 2
    for result in told.values():
        for measure in effects.MEASURES:
            shares = sum(share[measure]["share"] for share in result["shares"])
            whole = result["after"][measure] - result["before"][measure]
            assert shares == pytest.approx(whole, abs=NEAR)


def test_a_lighter_deck_takes_its_weight_off_the_truss(bridge):
    """Plank 12.5 psf to grid 18 psf over 14 ft, half to each truss, 90 ft.

    By hand: (18 - 12.5) x 14 / 2 x 90 lb = 3,465 lb = 1.7325 tons more on each truss.
    """
    make_visit_saying(bridge, 2019, changed={"span-1/deck": GRID})
    for result in results(bridge).values():
        assert result["difference"]["dead_tons"] == pytest.approx(1.7325, abs=1e-6)
        assert result["difference"]["limit_tons"] < 0


def test_concrete_on_pans_makes_it_worse(bridge):
    make_visit_saying(bridge, 2019, changed={"span-1/deck": PANS})
    for result in results(bridge).values():
        assert result["after"]["limit_tons"] < result["before"]["limit_tons"]
        assert "lowered the limit" in " ".join(result["sentences"])


def test_counters_that_do_not_govern_change_nothing_but_their_weight(bridge):
    make_visit_saying(bridge, 2019, changed=heavier_counters())
    for result in results(bridge).values():
        (share,) = result["shares"]
        assert abs(share["limit_tons"]["share"]) < 0.1


def test_a_member_that_could_not_be_seen_has_no_change(bridge):
    make_visit_saying(bridge, 2019, not_seen=["span-1/upstream/L2L3"])
    services.recheck(bridge=bridge)
    assert not Effect.objects.exists()
    assert ConfigurationCheck.objects.count() == 4
    assert Check.objects.count() == 1


def test_added_metal_takes_live_load_only(bridge):
    parts = _parts_after(bridge, reinforced())
    assert _group_of(bridge, parts, "L2L3")["components"][1]["carries"] == "live"


def test_added_metal_takes_dead_load_too_where_it_was_relieved(bridge):
    parts = _parts_after(bridge, reinforced(dead_load_relieved=True))
    pieces = _group_of(bridge, parts, "L2L3")["components"]
    assert all("carries" not in piece for piece in pieces)


def _parts_after(bridge, changed):
    make_visit_saying(bridge, 2019, changed=changed)
    return records.load(bridge).configuration()


def _group_of(bridge, parts, member):
    line = services.truss_lines(bridge)[0]
    document = translate.check_file(line, parts).document
    return next(one for one in document["members"] if member in one["names"])


def test_a_change_on_one_truss_has_no_effect_on_the_other(bridge):
    make_visit_saying(bridge, 2019, changed=reinforced())
    assert set(results(bridge)) == {"upstream"}


def test_a_backdated_visit_recomputes_what_follows_it_and_nothing_else(bridge):
    make_visit_saying(bridge, 2010, changed={"span-1/deck": GRID})
    later = make_visit_saying(bridge, 2019, changed=heavier_counters())
    services.recheck(bridge=bridge)
    before = set(Effect.objects.values_list("truss_line", "from_visit", "to_visit"))
    assert len(before) == 4

    late = make_visit_saying(bridge, 2015, changed=reinforced())
    services.recheck(bridge=bridge)
    now = set(Effect.objects.values_list("from_visit__when", "to_visit__when"))
    assert now == {
        ("1990-06-02", "2010-06-02"),
        ("2010-06-02", "2015-06-02"),
        ("2015-06-02", "2019-06-02"),
    }
    check = ConfigurationCheck.objects.get(visit=later, truss_line__key="upstream")
    group = next(
        one for one in check.check_made.document["members"] if "L2L3" in one["names"]
    )
    assert len(group["components"]) == 2
    assert services.recheck(bridge=bridge).checks_new == 0
    late.delete()


def test_rechecking_twice_computes_nothing_the_second_time(bridge):
    make_visit_saying(bridge, 2019, changed={"span-1/deck": GRID})
    first = services.recheck(bridge=bridge)
    again = services.recheck(bridge=bridge)
    assert (first.checks_new, first.effects_new) == (4 // 2 + 0, 2)
    assert (again.checks_new, again.effects_new) == (0, 0)


def test_a_size_first_measured_later_is_knowledge_and_no_effect(bridge):
    parts = records.load(bridge).configuration()
    bare = {k: v for k, v in parts.items() if k != "span-1/upstream/L1L2"}
    line = services.truss_lines(bridge)[0]
    result = effects.effect_on(line, bare, parts, [])
    assert result["difference"]["limit_tons"] == pytest.approx(0.0, abs=NEAR)


def test_more_than_ten_changes_are_joined_by_part():
    changes = []
    for index in range(12):
        one = member(f"L{index}L{index + 1}")
        wider = {**EYEBARS, "width_in": 3.25 + index / 8}
        before = {one.path: pieces(EYEBARS)}
        changes += compare(before, {one.path: pieces(wider)}, [one])
    (group,) = effects.grouped(changes)
    assert len(group.keys) == 12
    assert group.title == "12 changes to the chord together"


# Each of its own size, or they would be told as one change to several members.
TEN = {
    "span-1/deck": GRID,
    "span-1/stringers": {"count": 9, "plf_each": 40.0, "material": "timber"},
    "span-1/floor-beams": {"each_lb": 1400.0, "material": "steel"},
    **{
        f"span-1/upstream/{name}": {
            "components": [EYEBARS, {**FLATS, "width_in": 2.5 + at / 4}]
        }
        for at, name in enumerate(("L0L1", "L1L2", "L2L3", "L3L4", "L4L5"))
    },
    **{
        f"span-1/upstream/{name}": {
            "components": [{**ROD, "diameter_in": size, "origin": "replacement"}]
        }
        for name, size in (("L2U3", 1.75), ("L3U2", 1.625))
    },
}


def ten_changes(bridge):
    before = records.load(bridge).configuration()
    make_visit_saying(bridge, 2019, changed=TEN)
    record = records.load(bridge)
    line = services.truss_lines(bridge)[0]
    changes = record.changes(*[step[0] for step in record.steps()])
    return line, before, record.configuration(), effects.relevant(line, changes)


def test_ten_changes_are_told_apart_and_their_shares_sum(bridge):
    line, before, after, changes = ten_changes(bridge)
    assert len(changes) == 10
    result = effects.effect_on(line, before, after, changes)
    assert result["subsets"] == 1024
    assert len(result["shares"]) == 10
    for measure in effects.MEASURES:
        shares = sum(share[measure]["share"] for share in result["shares"])
        assert shares == pytest.approx(result["difference"][measure], abs=NEAR)
    for one in result["members"]:
        whole = one["after"] - one["before"]
        assert sum(one["shares"]) == pytest.approx(whole, abs=NEAR)
    # Metal on one panel of the chord leaves the rating of the others to the floor.
    named = {one["member"] for one in result["members"]}
    assert {"L2L3", "U2U3"} <= named


def test_subsets_put_together_are_those_that_would_be_read(bridge):
    """The floor's three changes alter one part of the check file in common."""
    line, before, after, changes = ten_changes(bridge)
    some = changes[:6]
    groups = effects.grouped(some)
    found = effects._checks(line, before, after, some, groups)
    for mask, one in enumerate(found):
        made = [change for at, change in enumerate(some) if mask >> at & 1]
        document = translate.check_file(line, effects._with(before, after, made))
        whole = checkfile.read(document.document)
        assert checkfile.sha256_of(one) == checkfile.sha256_of(whole)


def test_changes_that_only_help_together_are_named():
    """Two members of a chain, each as weak as the other: only both make it stronger."""
    shares = [{"title": "L0L1 reinforced"}, {"title": "L1L2 reinforced"}]
    figures = [{"limit_tons": tons} for tons in (10.0, 10.0, 10.0, 16.0)]
    (pair,) = effects._together(shares, figures)
    assert pair == {"changes": [0, 1], "limit_tons": 6.0}
    assert effects._together_sentence(pair, {"shares": shares}) == (
        "L0L1 reinforced, and L1L2 reinforced: together they add 6.0 tons beyond what "
        "each does apart."
    )


def test_the_history_costs_the_same_for_two_visits_and_for_six(bridge):
    def queries():
        with CaptureQueriesContext(connection) as seen:
            services.history(bridge)
        return len(seen)

    make_visit_saying(bridge, 2000, changed={"span-1/deck": GRID})
    services.recheck(bridge=bridge)
    two = queries()
    for year in (2004, 2008, 2012, 2016):
        make_visit_saying(bridge, year, same=["span-1/deck"])
    services.recheck(bridge=bridge)
    assert queries() == two


def test_sizes_of_beams_measured_later_are_no_change_of_the_bridge():
    """The same stringers, measured; and others, whose like before nobody measured."""
    bridge = make_described_bridge(
        span={"roadway_ft": 14.0, "trusses_apart_ft": 16.0, "panel_length_ft": 15.0}
    )
    old = {"count": 7, "plf_each": 40.0, "material": "timber"}
    joist = {"shape": "timber", "count": 1, "width_in": 4.0, "depth_in": 12.0}
    make_visit_saying(
        bridge, 2000, changed={"span-1/stringers": old | {"components": [joist]}}
    )
    other = {
        "count": 9,
        "plf_each": 12.0,
        "material": "timber",
        "components": [joist | {"width_in": 3.0}],
    }
    record = records.load(bridge)
    line = services.truss_lines(bridge)[0]
    (_, before, _), (_, after, changed) = record.steps()
    assert changed == []
    measured = effects.effect_on(line, before, after, changed)
    assert measured["before"] == measured["after"]
    assert measured["after"]["member"] == "stringer"
    new = dict(before)
    path = "span-1/stringers"
    new[path] = dataclasses.replace(after[path], state=other)
    _, compared = effects.comparable(before, new)
    assert "components" not in compared[path].state
