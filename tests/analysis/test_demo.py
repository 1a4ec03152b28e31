"""The demonstration society: its four stories hold, and it loads once and whole."""

import pytest

from analysis import demo
from analysis.models import Check, ConfigurationCheck, Effect
from bridges.models import Bridge, Form, Plate
from surveys import record as records
from surveys.models import Observation, Visit

# Figures are told to a tenth of a ton.
TENTH = 0.05


@pytest.fixture
def society(demo_society):
    return demo_society


def estimates(slug, line="upstream"):
    """Return [(year, limit in tons, governing member)] of one truss, in order."""
    rows = ConfigurationCheck.objects.filter(
        truss_line__span__bridge__slug=slug, truss_line__key=line
    ).select_related("check_made", "visit")
    return [
        (one.visit.year, one.check_made.limit_tons, one.check_made.governing_member)
        for one in rows.order_by("visit__when_latest")
        if one.check_made
    ]


def effect(slug, year, line="upstream"):
    return Effect.objects.get(
        truss_line__span__bridge__slug=slug,
        truss_line__key=line,
        to_visit__when_latest__year=year,
    ).result


def test_the_stories_of_the_society_are_true(society):
    """One load of the society answers for all: it takes a minute."""
    _deck_chord_and_counters_move_the_governing_member()
    _a_repair_that_did_nothing()
    _a_change_that_made_it_worse()
    _a_posting_above_the_estimate()
    _breadth()
    _a_second_load_changes_nothing()


def _deck_chord_and_counters_move_the_governing_member():
    result = effect("tanners-ford", 1996)
    assert {"deck", "chord", "counter"} <= {one["part"] for one in result["shares"]}
    assert result["before"]["member"] != result["after"]["member"]
    for measure in ("limit_tons", "dead_tons", "rating"):
        shares = sum(one[measure]["share"] for one in result["shares"])
        assert shares == pytest.approx(result["difference"][measure], abs=1e-9)


def _a_repair_that_did_nothing():
    """Heavier counters cost the limit no more than their own weight does."""
    result = effect("stonecut", 2008)
    assert [one["part"] for one in result["shares"]] == ["counter"]
    assert -0.15 < result["difference"]["limit_tons"] <= 0.0
    assert result["before"]["member"] == result["after"]["member"] == "U2U3"


def _a_change_that_made_it_worse():
    result = effect("kestle-mill", 2010)
    assert result["difference"]["limit_tons"] < -1.0
    deck = next(one for one in result["shares"] if one["part"] == "deck")
    assert deck["limit_tons"]["share"] < -1.0


def _a_posting_above_the_estimate():
    bridge = Bridge.objects.select_related("standing").get(slug="low-maunder")
    assert bridge.standing.posted_tons > estimates("low-maunder")[-1][1] + TENTH


def _breadth():
    assert Bridge.objects.count() >= 24
    forms = set(Bridge.objects.values_list("standing__form", flat=True))
    assert {Form.STONE_ARCH, Form.SUSPENSION, Form.PLATE_GIRDER} <= forms
    assert {"pratt", "half-hip-pratt", "warren", "warren-with-verticals"} <= forms
    assert {"parker", "camelback"} & forms
    statuses = set(Bridge.objects.values_list("status", flat=True))
    assert {"in-service", "lost", "moved", "stored", "foot-only"} <= statuses
    assert Plate.objects.count() >= 5
    assert Bridge.objects.filter(is_position_sensitive=True).exists()
    waiting = Visit.objects.exclude(status=Visit.Status.ACCEPTED)
    assert set(waiting.values_list("status", flat=True)) == {"submitted", "returned"}
    assert not waiting.filter(bridge__slug="hollin-ford").exists()
    answers = set(Observation.objects.values_list("answer", flat=True))
    assert {"same", "changed", "gone", "not-seen"} <= answers
    assert not Check.objects.filter(stands=False).exclude(
        pk__in=ConfigurationCheck.objects.filter(
            truss_line__span__bridge__slug="netherfold"
        ).values("check_made")
    ), "only the queen post that lost a brace is recorded as unable to stand"
    kinds = set()
    for bridge in Bridge.objects.all():
        for _, _, changes in records.load(bridge).steps():
            kinds |= {kind for change in changes for kind in change.kinds}
    assert {
        *("reinforced", "replaced", "removed", "lost-section", "loosened", "bent"),
        *("deck-replaced", "limit-lowered", "limit-raised", "gone"),
    } <= kinds


def _a_second_load_changes_nothing():
    before = (Bridge.objects.count(), Visit.objects.count(), Check.objects.count())
    assert not demo.load().is_new
    after = (Bridge.objects.count(), Visit.objects.count(), Check.objects.count())
    assert after == before
