"""A bridge that is in step is told at a glance, and nothing is ever hidden by that."""

import datetime

import pytest
from django.db import transaction

from analysis import in_step, recheck
from analysis.models import Check, ConfigurationCheck, Effect, InStep, ToMeasure
from bridges.models import Bridge, Span, TrussLine
from surveys import record as records
from surveys import rows
from surveys.models import Component, Element, Observation, Visit
from tests.structures import (
    EYEBARS,
    GRID,
    PANS,
    make_described_bridge,
    make_visit_saying,
)

ADDED = {**EYEBARS, "origin": "addition"}
CHORD = "span-1/upstream/L2L3"


@pytest.fixture
def bridge(db):
    """A new deck and a heavier chord bar, and a visit that nobody has taken in yet."""
    bridge = make_described_bridge(built_earliest=datetime.date(1890, 1, 1))
    changed = {"span-1/deck": PANS, CHORD: {"components": [EYEBARS, ADDED]}}
    make_visit_saying(bridge, 2001, changed=changed)
    make_visit_saying(bridge, 2009, changed={"span-1/deck": GRID}, status="submitted")
    recheck.recheck_many([bridge])
    return bridge


def told():
    """All that is stored, word for word, by names that do not hang on row numbers."""
    configurations = ConfigurationCheck.objects.order_by("truss_line", "visit")
    checks = list(
        configurations.values_list(
            "truss_line",
            "visit",
            "gap",
            "assumptions",
            *(f"check_made__{name}" for name in TOLD),
        )
    )
    for row in checks:
        # Of whichever line was the first to ask.
        (row[4] or {}).pop("title", None)
    effects = Effect.objects.order_by("truss_line", "from_visit", "to_visit")
    fields = ("truss_line", "from_visit", "to_visit", "content_sha256", "result")
    return checks, list(effects.values_list("engine", *fields))


TOLD = (
    "document",
    "input_sha256",
    "engine",
    "answer",
    "stands",
    "limit_tons",
    "governing_member",
)


class Undone(Exception):
    """Takes back what was tried."""


def tried(bridge, change):
    """Return what is stored after a change and a recheck, and computed from nothing."""
    try:
        with transaction.atomic():
            change()
            recheck.recheck_many([bridge])
            found = told()
            for model in (ConfigurationCheck, Effect, Check, InStep):
                model.objects.all().delete()
            recheck.recheck_many([bridge])
            anew = told()
            raise Undone
    except Undone:
        return found, anew


def changes_of_the_record(bridge):
    """Every kind of row that a recheck reads, altered past all forms and histories."""
    at = Visit.objects.filter(bridge=bridge).order_by("when_latest")
    _, second, third = at
    deck = Observation.objects.filter(visit=second, element__path="span-1/deck")
    chord = Observation.objects.filter(visit=second, element__path=CHORD)
    pieces = Component.objects.filter(observation__in=chord)
    span, line = Span.objects.filter(bridge=bridge), TrussLine.objects
    upstream = line.filter(span__bridge=bridge, key="upstream")
    member = Element.objects.filter(bridge=bridge, path=CHORD)
    day = datetime.date(1980, 5, 1)
    skeleton = span.get().skeleton
    return {
        "a visit taken in": lambda: at.filter(pk=third.pk).update(status="accepted"),
        "a visit taken out": lambda: at.filter(pk=second.pk).update(status="taken-out"),
        "a visit's date": lambda: at.filter(pk=second.pk).update(when_latest=day),
        "an observation added": lambda: Observation.objects.create(
            visit=second,
            element=Element.objects.get(bridge=bridge, path="span-1/stringers"),
            answer="gone",
        ),
        "an observation corrected": lambda: deck.update(state=GRID),
        "an observation held back": lambda: deck.update(is_held_back=True),
        "an observation superseded": lambda: deck.update(superseded_by=chord.get()),
        "an observation's answer": lambda: chord.update(answer="gone", state=None),
        "an observation taken away": lambda: deck.delete(),
        "a piece's size": lambda: pieces.update(width_in=4.0),
        "a piece's count": lambda: pieces.update(count=4),
        "a piece's origin": lambda: pieces.update(is_dead_load_relieved=True),
        "a piece taken away": lambda: pieces.filter(origin="addition").delete(),
        "an element's name": lambda: Element.objects.filter(
            bridge=bridge, path="span-1/deck"
        ).update(name="floor"),
        "an element's role": lambda: member.update(role="counter"),
        "an element's member": lambda: member.update(member="L9L9"),
        "a span's depth": lambda: span.update(depth_ft=21.0),
        "a span's panels": lambda: span.update(panel_lengths_ft=[15.0] * 6, panels=6),
        "a span's metal": lambda: span.update(material="steel"),
        "a span's joints": lambda: span.update(roadway_ft=11.0, connection="riveted"),
        "a span's bars": lambda: span.update(
            skeleton=skeleton | {"members": skeleton["members"][:-1]}
        ),
        "a span's year": lambda: span.update(made_in_earliest=day),
        "a truss line's name": lambda: upstream.update(name="North"),
        "a truss line's key": lambda: upstream.update(key="north"),
        "a truss line added": lambda: line.create(
            span=span.get(), key="middle", name="Middle"
        ),
        "the bridge's year": lambda: Bridge.objects.update(built_earliest=day),
    }


def test_a_change_of_any_row_that_is_read_is_noticed(bridge):
    before, unseen = told(), []
    for name, change in changes_of_the_record(bridge).items():
        found, anew = tried(bridge, change)
        if found != anew or found == before:
            unseen.append(name)
    assert unseen == []


def changes_of_what_is_stored():
    one = Effect.objects.order_by("pk")[:1].get()
    effect = Effect.objects.filter(pk=one.pk)
    held = ConfigurationCheck.objects.order_by("pk")[:1].get()
    configuration = ConfigurationCheck.objects.filter(pk=held.pk)
    check = Check.objects.filter(pk=held.check_made_id)
    answer, document = held.check_made.answer, held.check_made.document

    def taken_away():
        ConfigurationCheck.objects.filter(check_made__in=check).update(check_made=None)
        check.delete()

    return {
        "an effect's result": lambda: effect.update(result=one.result | {"shares": []}),
        "an effect's hash": lambda: effect.update(content_sha256="0" * 64),
        "an effect's engine": lambda: effect.update(engine="0"),
        "an effect taken away": lambda: effect.delete(),
        "a check's answer": lambda: check.update(answer=answer | {"warnings": ["-"]}),
        "a check's figure": lambda: check.update(limit_tons=99.0),
        "a check's member": lambda: check.update(governing_member="L0L1"),
        "a check's document": lambda: check.update(document=document | {"members": []}),
        "a check's words": lambda: check.update(document={"title": "Something else"}),
        "a check's hash": lambda: check.update(input_sha256="0" * 64),
        "a check's engine": lambda: check.update(engine="0"),
        "a check taken away": taken_away,
        "a configuration's gap": lambda: configuration.update(gap="None."),
        "what was assumed": lambda: configuration.update(assumptions=["Nothing."]),
        "which check it is": lambda: configuration.update(
            check_made=Check.objects.exclude(pk=held.check_made_id)[:1].get()
        ),
        "a configuration taken away": lambda: configuration.delete(),
        "all of it": lambda: (
            ConfigurationCheck.objects.all().delete(),
            Effect.objects.all().delete(),
            Check.objects.all().delete(),
        ),
    }


def test_what_is_stored_is_put_right_whatever_became_of_it(bridge):
    before, unseen = told(), []
    for name, change in changes_of_what_is_stored().items():
        found, anew = tried(bridge, change)
        if not found == anew == before:
            unseen.append(name)
    assert unseen == []


def test_another_engine_or_other_code_is_noticed(bridge, monkeypatch):
    (one,) = in_step.standing([bridge]).values()
    assert one.sha256 == InStep.objects.get().record_sha256
    monkeypatch.setattr(in_step, "CODE_SHA256", "another release")
    assert one.sha256 != InStep.objects.get().record_sha256
    monkeypatch.undo()
    monkeypatch.setattr(in_step, "ENGINE_VERSION", "0")
    assert one.sha256 != InStep.objects.get().record_sha256
    monkeypatch.undo()
    # What is worth measuring hangs on it, though no check does.
    Visit.objects.update(basis="drawing")
    (one,) = in_step.standing([bridge]).values()
    assert one.sha256 != InStep.objects.get().record_sha256


def test_a_bridge_in_step_is_neither_folded_nor_computed(bridge, monkeypatch):
    ToMeasure.objects.create(bridge=bridge)
    monkeypatch.setattr(rows, "steps", None)
    monkeypatch.setattr(recheck, "compute", None)
    counts = recheck.recheck_many([bridge])
    assert (counts.bridges, counts.checks_new, counts.effects_new) == (1, 0, 0)
    assert (counts.checks_kept, counts.effects_kept) == (3, 2)
    assert not ToMeasure.objects.get().is_stale


def test_what_is_altered_while_it_is_computed_is_noticed_next_time(bridge, monkeypatch):
    compute = recheck.compute

    def meanwhile(*arguments):
        monkeypatch.setattr(recheck, "compute", compute)
        Component.objects.update(count=4)
        return compute(*arguments)

    monkeypatch.setattr(recheck, "compute", meanwhile)
    Span.objects.update(depth_ft=21.0)
    recheck.recheck_many([bridge])
    found, anew = tried(bridge, lambda: None)
    assert found == anew


def test_bare_rows_fold_to_what_records_fold_to(bridge):
    other = make_described_bridge(name="Other", slug="other")
    first = Observation.objects.filter(visit__bridge=bridge, element__path=CHORD)[0]
    late = make_visit_saying(
        bridge,
        2019,
        same=[CHORD, "span-1/deck"],
        gone=["span-1/stringers"],
        not_seen=["span-1/floor-beams"],
        changed={"limit": {"tons": 4.0}},
    )
    late.observations.filter(element__path=CHORD).update(compared_with=first)
    late.observations.filter(answer="gone").update(certainty="guess")
    late.observations.filter(element__path="limit").update(is_held_back=True)
    Visit.objects.filter(status="submitted").update(
        status="accepted", when_latest=late.when_latest
    )
    loaded = records.load_many([other, bridge])
    read = rows.read([other.pk, bridge.pk])
    states = rows.States()
    for one in (bridge, other):
        whole = [
            (visit.pk, list(parts.items()), changes)
            for visit, parts, changes in loaded[one.pk].steps()
        ]
        bare = [
            (visit, list(parts.items()), changes)
            for visit, parts, changes in rows.steps(read[one.pk], states)
        ]
        assert bare == whole
