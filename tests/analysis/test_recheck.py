"""Bringing many bridges' checks in step at once."""

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError

from analysis import processes, recheck
from analysis.models import Check, ConfigurationCheck, Effect
from analysis.processes import recheck_in_processes
from bridges.models import Bridge
from tests.structures import EYEBARS, GRID, make_described_bridge, make_visit_saying


def make_bridges():
    """Three bridges, two of them alike, with a new deck and a heavier chord bar."""
    added = {**EYEBARS, "origin": "addition"}
    for number in range(3):
        bridge = make_described_bridge(
            name=f"Bridge {number}",
            slug=f"bridge-{number}",
            span={"depth_ft": 20.0 if number < 2 else 21.0},
        )
        chord = {"span-1/upstream/L2L3": {"components": [EYEBARS, added]}}
        make_visit_saying(bridge, 2001, changed={"span-1/deck": GRID} | chord)


def told():
    """What is stored, by names that do not hang on row numbers."""
    checks = {
        (one.truss_line.span.bridge.slug, one.truss_line.key, one.visit.when): (
            one.check_made.input_sha256,
            one.check_made.answer,
            one.assumptions,
        )
        for one in ConfigurationCheck.objects.select_related(
            "check_made", "visit", "truss_line__span__bridge"
        )
    }
    effects = {
        (one.truss_line.span.bridge.slug, one.truss_line.key): one.result
        for one in Effect.objects.select_related("truss_line__span__bridge")
    }
    return checks, effects


def test_many_bridges_at_once_come_to_what_each_alone_comes_to(db, monkeypatch):
    make_bridges()
    for bridge in Bridge.objects.all():
        recheck.recheck_many([bridge])
    alone = told()
    for model in (ConfigurationCheck, Effect, Check):
        model.objects.all().delete()
    monkeypatch.setattr(recheck, "CHUNK", 2)
    counts = recheck.recheck_many(Bridge.objects.order_by("pk"))
    assert told() == alone
    assert counts.bridges == 3
    # Two bridges and, at the first visit, two lines of each are alike.
    assert (counts.checks_new, counts.effects_new) == (6, 6)


def test_one_bridge_of_many_that_changed_meanwhile_is_done_again(db, monkeypatch):
    make_bridges()
    bridge, compute = Bridge.objects.get(slug="bridge-1"), recheck.compute

    def meanwhile(*arguments):
        monkeypatch.setattr(recheck, "compute", compute)
        make_visit_saying(bridge, 2010, changed={"span-1/deck": GRID})
        return compute(*arguments)

    monkeypatch.setattr(recheck, "compute", meanwhile)
    recheck.recheck_many(Bridge.objects.order_by("pk"))
    checked = ConfigurationCheck.objects.filter(visit__bridge=bridge)
    assert set(checked.values_list("visit__when", flat=True)) >= {"2010-06-02"}
    assert ConfigurationCheck.objects.count() == 2 * (3 * 2 + 1)


@pytest.mark.django_db(transaction=True)
def test_two_processes_store_what_one_would():
    make_bridges()
    ids = list(Bridge.objects.order_by("pk").values_list("pk", flat=True))
    done = list(recheck_in_processes(ids, processes=2, handed=2))
    assert sorted(one.bridges for one in done) == [1, 2]
    stored = told()
    (again,) = recheck_in_processes(ids, processes=1)
    assert (again.checks_new, again.effects_new) == (0, 0)
    assert told() == stored


def test_shares_hold_every_bridge_once_and_end_small(settings):
    ids = list(range(500))
    for many in (1, 2, 3):
        shares = processes.shares_of(ids, many, 40)
        assert [pk for share in shares for pk in share] == ids
        assert {len(share) for share in shares[:-1]} <= set(range(8, 41))
    assert len(shares[-1]) <= 8
    settings.RECHECK_PROCESSES = 3
    worth = [processes.worth_starting(count) for count in (0, 30, 150, 5000)]
    assert worth == [1, 1, 2, 3]


def test_less_than_one_process_is_refused(db):
    with pytest.raises(CommandError, match="--processes"):
        call_command("recheck", "--all", "--processes", "0")
