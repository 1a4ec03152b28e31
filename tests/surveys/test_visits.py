"""Recording a visit, reviewing it, and what the lists then show."""

import copy
import datetime

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.utils import timezone

from bridges.models import MapVersion
from surveys import record, services
from surveys.models import Component, Observation, Photo, SecondSubmission, Visit
from tests.makers import (
    make_bridge,
    make_id,
    make_person,
    make_visit,
    photo_document,
    visit_document,
)

pytestmark = pytest.mark.django_db

TIMBER = {"layers": [{"material": "timber", "thickness_in": 3.0}]}
GRID = {"layers": [{"material": "steel-grid", "psf": 18.0}]}
ROD = {"shape": "round-rod", "diameter_in": 1.125, "ends": "upset"}
COUNTER = "span-1/upstream/L2U3"


@pytest.fixture
def ada(db):
    return make_person("ada")


@pytest.fixture
def rex(db):
    return make_person("rex", "reviewer")


@pytest.fixture
def bridge(db):
    return make_bridge()


def submit(person, document):
    return services.record_visit(surveyor=person, payload=document)


def faults_of(person, document):
    with pytest.raises(services.Faulty) as caught:
        submit(person, document)
    assert not Visit.objects.exists(), "nothing may be half-stored"
    return {(field, code) for field, code, _ in caught.value.rows}


def test_a_visit_is_stored_whole_and_word_for_word(ada, bridge):
    document = visit_document(
        bridge,
        people="A. Weir and B. Stone",
        said={
            "span-1/deck": GRID,
            "limit": "same",
            COUNTER: {"components": [{**ROD, "as_entered": '1 1/8" rod'}]},
        },
    )
    sent = copy.deepcopy(document)
    visit, created = submit(ada, document)
    visit.refresh_from_db()
    assert created
    assert visit.submitted == sent
    assert (visit.status, visit.surveyor, visit.people) == (
        "submitted",
        ada,
        "A. Weir and B. Stone",
    )
    assert visit.when_latest == datetime.date(2019, 6, 2)
    deck, counter = (
        Observation.objects.get(visit=visit, element__path=path)
        for path in ("span-1/deck", COUNTER)
    )
    assert deck.whole_state() == {"layers": [{"material": "steel-grid", "psf": 18.0}]}
    assert counter.whole_state()["components"] == [
        {
            "shape": "round-rod",
            "count": 1,
            "diameter_in": 1.125,
            "ends": "upset",
            "origin": "original",
            "as_entered": '1 1/8" rod',
        }
    ]


def test_an_added_piece_remembers_that_the_dead_load_was_relieved(ada, bridge):
    piece = {**ROD, "origin": "addition", "dead_load_relieved": True}
    submit(ada, visit_document(bridge, said={COUNTER: {"components": [piece]}}))
    assert Component.objects.get().is_dead_load_relieved


def test_every_row_of_a_visit_has_its_history(ada, bridge):
    visit, _ = submit(ada, visit_document(bridge, said={"limit": "same"}))
    assert visit.history.count() == 1
    assert visit.observations.get().history.count() == 1


def test_the_same_visit_sent_twice_is_stored_once(ada, bridge):
    document = visit_document(bridge, said={"limit": "same"})
    first, created = submit(ada, document)
    # Key order and spacing are the sender's own affair.
    again, created_again = submit(ada, dict(reversed(list(document.items()))))
    assert (created, created_again) == (True, False)
    assert first == again
    assert Visit.objects.count() == Observation.objects.count() == 1


def test_other_content_under_the_same_id_keeps_both(ada, bridge):
    document = visit_document(bridge, said={"limit": "same"})
    first, _ = submit(ada, document)
    second = {**document, "notes": "The sign had gone when we came back."}
    for _ in range(2):
        with pytest.raises(services.OtherContent) as caught:
            submit(ada, second)
    assert caught.value.visit == first
    first.refresh_from_db()
    assert first.submitted == document
    assert SecondSubmission.objects.get().submitted == second


def test_another_surveyors_id_is_refused(ada, bridge):
    document = visit_document(bridge)
    submit(ada, document)
    with pytest.raises(PermissionDenied):
        submit(make_person("ben"), document)


def test_every_fault_is_told_at_once_with_its_field(ada, bridge):
    document = visit_document(
        bridge,
        date="2019-13",
        basis="rumour",
        people="x" * 301,
        said={
            "span-1/deck": {"layers": [{"material": "cheese"}]},
            "span-1/upstream/L9U9": "same",
            COUNTER: {
                "components": [{"shape": "eyebar", "width_in": 4, "thickness_in": -1}]
            },
            "limit": "perhaps",
        },
        photos=[{"client_id": "no", "size_bytes": 0, "sha256": "AB", "latitude": 91}],
        colour="blue",
    )
    document["observations"].append({"element": "limit", "answer": "same", "size": 3})
    assert faults_of(ada, document) == {
        ("date", "date"),
        ("basis", "choice"),
        ("people", "too_long"),
        ("colour", "unknown"),
        ("observations.0.state.layers.0.material", "state"),
        ("observations.1.element", "unknown"),
        ("observations.2.state.components.0.thickness_in", "state"),
        ("observations.3.answer", "choice"),
        ("observations.4.element", "twice"),
        ("observations.4.size", "unknown"),
        ("photos.0.client_id", "uuid"),
        ("photos.0.size_bytes", "size"),
        ("photos.0.sha256", "sha256"),
        ("photos.0.latitude", "number"),
    }


@pytest.mark.parametrize(
    "document",
    [
        [],
        "visit",
        {"client_id": "no"},
        {"client_id": str(make_id("x")), "notes": "a\x00b"},
        {"client_id": str(make_id("x")), "notes": "half a pair \ud800"},
        {"client_id": str(make_id("x")), "notes": float("nan")},
        {"client_id": str(make_id("x")), "observations": [[]], "photos": [3]},
        {"client_id": str(make_id("x")), "observations": {"0": {}}, "photos": "none"},
        {
            "client_id": str(make_id("x")),
            "bridge": ["a"],
            "observations": [{"element": {"a": 1}, "answer": [], "compared_with": {}}],
            "photos": [
                {"repeats": [], "viewpoint": {}, "taken": 3, "latitude": 10**400}
            ],
        },
    ],
)
def test_a_senseless_document_is_a_fault_and_never_a_crash(ada, document):
    with pytest.raises(services.Faulty) as caught:
        submit(ada, document)
    assert caught.value.rows


@pytest.mark.parametrize(
    "state",
    [
        {"layers": [{"material": ["timber"]}]},
        {"layers": [{"material": {"a": 1}}]},
        {"layers": [{"material": "timber", "thickness_in": 10**400}]},
        {"description": ["a"]},
        [],
    ],
)
def test_a_senseless_state_is_a_fault_and_never_a_crash(ada, bridge, state):
    document = visit_document(bridge)
    document["observations"] = [
        {"element": "span-1/deck", "answer": "changed", "state": state}
    ]
    assert faults_of(ada, document)


def test_a_shape_that_is_no_text_is_a_fault_and_never_a_crash(ada, bridge):
    state = {"components": [{"shape": ["eyebar"]}]}
    assert faults_of(ada, visit_document(bridge, said={COUNTER: state}))


def test_a_visit_may_not_lie_wholly_in_the_future(ada, bridge):
    tomorrow = timezone.localdate() + datetime.timedelta(days=1)
    assert faults_of(ada, visit_document(bridge, date=tomorrow.isoformat())) == {
        ("date", "future")
    }


def test_an_uncertain_date_may_reach_past_today(ada, bridge):
    year = timezone.localdate().year
    assert submit(ada, visit_document(bridge, date=f"{year}~"))[1]


def test_a_date_without_an_end_is_refused(ada, bridge):
    assert faults_of(ada, visit_document(bridge, date="1908/..")) == {("date", "open")}


def test_a_state_belongs_to_what_has_changed(ada, bridge):
    document = visit_document(bridge, said={"limit": "same", "span-1/deck": "changed"})
    document["observations"][0]["state"] = {"tons": 5}
    assert faults_of(ada, document) == {
        ("observations.0.state", "unwanted"),
        ("observations.1.state", "state"),
    }


def test_an_empty_visit_is_asked_for_something(ada, bridge):
    assert faults_of(ada, visit_document(bridge, notes="")) == {
        ("observations", "empty")
    }


def test_what_was_compared_with_must_be_of_the_same_element(ada, rex, bridge):
    earlier = make_visit(bridge, ada, rex, date="2010", said={"limit": {"tons": 8}})
    seen = earlier.observations.get()
    document = visit_document(bridge, said={"span-1/deck": "same", "limit": "same"})
    for row in document["observations"]:
        row["compared_with"] = seen.pk
    with pytest.raises(services.Faulty) as caught:
        submit(ada, document)
    assert [row[0] for row in caught.value.rows] == ["observations.0.compared_with"]
    document["observations"][0]["compared_with"] = None
    visit, _ = submit(ada, document)
    assert visit.observations.get(element__path="limit").compared_with == seen


def test_a_bridge_that_is_not_shown_cannot_be_visited_by_a_stranger(ada, bridge):
    bridge.is_public = False
    bridge.save()
    stranger = make_person("sam")
    stranger.groups.clear()
    stranger = type(stranger).objects.get(pk=stranger.pk)
    assert ("bridge", "unknown") in faults_of(stranger, visit_document(bridge))


def test_a_photo_id_is_used_once_in_all(ada, bridge):
    photo = photo_document(b"some bytes")
    make_visit(bridge, ada, photos=[photo])
    document = visit_document(bridge, name="two", photos=[photo])
    with pytest.raises(services.Faulty) as caught:
        submit(ada, document)
    assert caught.value.rows[0][:2] == ("photos.0.client_id", "twice")


def test_a_photo_may_repeat_an_earlier_one_or_one_of_the_same_visit(ada, bridge):
    old = photo_document(b"then", "then.jpg")
    make_visit(bridge, ada, date="1999", photos=[old])
    new = photo_document(b"now", "now.jpg", repeats=old["client_id"])
    closer = photo_document(b"near", "near.jpg", repeats=new["client_id"])
    make_visit(bridge, ada, photos=[new, closer])
    by_name = {photo.name: photo for photo in Photo.objects.all()}
    assert by_name["now.jpg"].repeats == by_name["then.jpg"]
    assert by_name["near.jpg"].repeats == by_name["now.jpg"]


# -- review


def test_an_accepted_visit_enters_the_record(ada, rex, bridge):
    visit = make_visit(bridge, ada, rex, said={"span-1/deck": GRID})
    part = record.load(bridge).configuration()["span-1/deck"]
    assert part.state == GRID
    assert (visit.status, visit.reviewer) == ("accepted", rex)


def test_a_held_back_observation_stays_out_with_its_question(ada, rex, bridge):
    visit = make_visit(bridge, ada, said={"span-1/deck": GRID, "limit": {"tons": 3}})
    limit = visit.observations.get(element__path="limit")
    services.accept_visit(
        visit=visit, reviewer=rex, held_back={limit.pk: "Was that the sign for trucks?"}
    )
    assert set(record.load(bridge).configuration()) == {"span-1/deck"}
    limit.refresh_from_db()
    assert limit.question == "Was that the sign for trucks?"


def test_holding_back_needs_a_question_and_changes_nothing_without(ada, rex, bridge):
    visit = make_visit(bridge, ada, said={"limit": {"tons": 3}})
    with pytest.raises(ValidationError):
        services.accept_visit(
            visit=visit, reviewer=rex, held_back={visit.observations.get().pk: " "}
        )
    visit.refresh_from_db()
    assert visit.status == "submitted"


def test_only_a_reviewer_accepts_and_never_their_own(ada, rex, bridge):
    visit = make_visit(bridge, ada)
    with pytest.raises(PermissionDenied):
        services.accept_visit(visit=visit, reviewer=ada)
    own = make_visit(bridge, rex, name="own")
    with pytest.raises(PermissionDenied):
        services.accept_visit(visit=own, reviewer=rex)


def test_a_keeper_may_review_their_own_when_there_is_nobody_else(bridge):
    kay = make_person("kay", "keeper")
    assert make_visit(bridge, kay, kay).status == "accepted"


def test_a_visit_is_reviewed_once(ada, rex, bridge):
    visit = make_visit(bridge, ada)
    stale = Visit.objects.get(pk=visit.pk)
    services.return_visit(visit=visit, reviewer=rex, question="Which counter?")
    with pytest.raises(services.WrongStatus):
        services.accept_visit(visit=stale, reviewer=rex)


def test_returning_needs_a_question(ada, rex, bridge):
    visit = make_visit(bridge, ada)
    with pytest.raises(ValidationError):
        services.return_visit(visit=visit, reviewer=rex, question="  ")
    services.return_visit(visit=visit, reviewer=rex, question="Which counter?")
    visit.refresh_from_db()
    assert (visit.status, visit.question) == ("returned", "Which counter?")


def test_a_returned_visit_is_answered_by_a_new_one_and_neither_is_lost(
    ada, rex, bridge
):
    first = make_visit(bridge, ada, said={"limit": {"tons": 3}})
    services.return_visit(visit=first, reviewer=rex, question="Three, or eight?")
    answer = visit_document(
        bridge, name="2", said={"limit": {"tons": 8}}, answers_to=str(first.client_id)
    )
    second, _ = submit(ada, answer)
    first.refresh_from_db()
    assert (first.status, second.status) == ("withdrawn", "submitted")
    assert (
        first.history.first().history_change_reason == f"answered by {second.client_id}"
    )
    assert first.observations.get().whole_state() == {"tons": 3.0}


def test_only_a_returned_visit_of_ones_own_can_be_answered(ada, rex, bridge):
    first = make_visit(bridge, ada)
    document = visit_document(bridge, name="2", answers_to=str(first.client_id))
    with pytest.raises(services.Faulty) as caught:
        submit(ada, document)
    assert caught.value.rows[0][:2] == ("answers_to", "status")
    services.return_visit(visit=first, reviewer=rex, question="Which?")
    with pytest.raises(services.Faulty) as caught:
        submit(make_person("ben"), document)
    assert caught.value.rows[0][:2] == ("answers_to", "unknown")


def test_a_surveyor_may_withdraw_until_it_is_accepted(ada, rex, bridge):
    visit = make_visit(bridge, ada)
    with pytest.raises(PermissionDenied):
        services.withdraw_visit(visit=visit, person=rex)
    services.withdraw_visit(visit=visit, person=ada)
    accepted = make_visit(bridge, ada, rex, name="2")
    with pytest.raises(services.WrongStatus):
        services.withdraw_visit(visit=accepted, person=ada)
    assert Visit.objects.count() == 2


# -- what the lists show


def test_the_standing_follows_the_record(ada, rex, bridge):
    make_visit(
        bridge,
        ada,
        rex,
        date="1990-05",
        said={"span-1/deck": TIMBER, "limit": {"tons": 8}},
    )
    make_visit(
        bridge, ada, rex, date="2004", said={"span-1/deck": GRID, "limit": {"tons": 5}}
    )
    make_visit(bridge, ada, rex, date="2019-06-02", said={"span-1/deck": "same"})
    bridge.standing.refresh_from_db()
    standing = bridge.standing
    assert (standing.family, standing.form, standing.span_count) == (
        "truss",
        "pratt",
        1,
    )
    assert (standing.deck, standing.posted_tons) == ("steel-grid", 5)
    assert standing.visit_count == 3
    assert standing.last_visited == datetime.date(2019, 6, 2)
    assert standing.last_changed == datetime.date(2004, 12, 31)
    assert set(standing.changed_parts.strip(",").split(",")) == {"deck", "limit"}


def test_a_photograph_of_long_ago_is_no_visit_in_person(ada, rex, bridge):
    make_visit(bridge, ada, rex, date="1912", basis="photograph")
    bridge.standing.refresh_from_db()
    assert (bridge.standing.visit_count, bridge.standing.last_visited) == (1, None)


def test_acceptance_and_the_map_version_come_together(ada, rex, bridge):
    visit = make_visit(bridge, ada)
    before = MapVersion.current()
    services.accept_visit(visit=visit, reviewer=rex)
    assert MapVersion.current() > before
