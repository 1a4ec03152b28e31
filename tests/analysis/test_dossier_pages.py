"""Officers writing, at the same time too; the pages they do it on."""

import datetime

import pytest
from django.urls import reverse

from analysis import dossier
from analysis.dossier_completeness import (
    MISSING,
    PARTLY,
    THERE,
    completeness,
)
from analysis.dossier_fields import BY_NAME
from analysis.models import Dossier
from bridges.models import Claim
from tests.analysis.dossier_record import (
    WRITTEN,
    facts_of,
    make_recorded_bridge,
)
from tests.makers import make_bridge, make_person

pytestmark = pytest.mark.django_db
TODAY = datetime.date(2024, 6, 1)


@pytest.fixture
def bridge():
    return make_bridge(lay_out=False)


@pytest.fixture
def officer(client):
    person = make_person("odile", "officer", credit_name="Odile Farrow")
    client.force_login(person)
    return person


def texts(**changed):
    return {**WRITTEN, **changed}


def save(bridge, person, revision, **changed):
    return dossier.save_narrative(
        bridge=bridge, person=person, revision=revision, written=texts(**changed)
    )


def kept(bridge):
    return Dossier.objects.get(bridge=bridge)


def written_in(case, name):
    return case.answers[name] if name in BY_NAME else getattr(case, name)


# Two people at once.


def test_what_is_written_is_kept_with_its_revision(bridge, officer):
    saved = save(bridge, officer, 0)
    assert (saved.conflicts, saved.merged) == ({}, [])
    assert kept(bridge).revision == 1
    assert {name: written_in(kept(bridge), name) for name in WRITTEN} == WRITTEN
    assert kept(bridge).updated_by == officer


def test_saving_the_same_again_changes_nothing(bridge, officer):
    save(bridge, officer, 0)
    save(bridge, officer, 1)
    save(bridge, officer, 0)
    assert kept(bridge).revision == 1
    assert Dossier.history.count() == 1


def test_changes_to_different_texts_are_both_kept(bridge, officer):
    ben = make_person("ben", "officer")
    save(bridge, officer, 0)
    save(bridge, ben, 1, boundary="Sixty feet either way.")
    saved = save(bridge, officer, 1, period="1889–1931")
    assert saved.merged == ["boundary"]
    assert saved.changed_by == "ben"
    assert kept(bridge).boundary == "Sixty feet either way."
    assert kept(bridge).period == "1889–1931"
    assert kept(bridge).revision == 3


def test_changes_to_the_same_text_are_shown_and_neither_is_lost(bridge, officer):
    ben = make_person("ben", "officer")
    save(bridge, officer, 0)
    save(bridge, ben, 1, integrity="Ben's words.", boundary="Ben's boundary.")
    saved = save(bridge, officer, 1, integrity="Odile's words.")
    assert saved.conflicts == {"integrity": "Ben's words."}
    assert saved.merged == ["boundary"]
    assert kept(bridge).integrity == "Ben's words."
    assert kept(bridge).revision == 2


def test_two_people_who_begin_from_nothing_do_not_overwrite_each_other(bridge, officer):
    ben = make_person("ben", "officer")
    save(bridge, ben, 0, integrity="Ben's words.")
    saved = save(bridge, officer, 0, integrity="Odile's words.")
    assert saved.conflicts == {"integrity": "Ben's words."}
    assert kept(bridge).integrity == "Ben's words."


def test_every_revision_stays_in_the_history(bridge, officer):
    save(bridge, officer, 0)
    save(bridge, officer, 1, integrity="Second.")
    save(bridge, officer, 2, integrity="")
    found = Dossier.history.filter(bridge_id=bridge.pk).order_by("history_id")
    assert [one.integrity for one in found] == [WRITTEN["integrity"], "Second.", ""]
    assert [one.revision for one in found] == [1, 2, 3]


# The page.


def address(bridge, name="dossier"):
    return reverse(name, args=[bridge.slug])


def post(client, bridge, revision, **changed):
    return client.post(address(bridge), {**texts(**changed), "revision": revision})


@pytest.mark.parametrize("name", ["dossier", "dossier-pdf"])
@pytest.mark.parametrize("group", ["volunteer", "reviewer"])
def test_only_officers_and_keepers_come_in(client, bridge, name, group):
    assert client.get(address(bridge, name)).status_code == 302
    client.force_login(make_person("vera", group))
    assert client.get(address(bridge, name)).status_code == 403
    assert client.get(reverse("dossiers")).status_code == 403


def test_the_list_finds_a_bridge_and_says_who_wrote_last(client, bridge, officer):
    make_bridge(lay_out=False, name="Low Maunder Bridge", town="Low Maunder")
    save(bridge, officer, 0)
    page = client.get(reverse("dossiers")).content.decode()
    assert "Low Maunder Bridge" in page
    assert "by Odile Farrow" in page
    page = client.get(reverse("dossiers"), {"q": "maunder\0"}).content.decode()
    assert "Low Maunder Bridge" in page
    assert address(bridge) not in page


def test_the_list_takes_the_same_queries_for_one_bridge_and_for_many(
    client, bridge, officer, django_assert_num_queries
):
    save(bridge, officer, 0)
    client.get(reverse("dossiers"))
    for number in range(5):
        other = make_bridge(lay_out=False, name=f"Bridge {number}")
        save(other, officer, 0)
    with django_assert_num_queries(6):
        client.get(reverse("dossiers"))


def test_the_page_saves_and_comes_back(client, bridge, officer):
    response = post(client, bridge, 0, description="One.\r\n\r\nTwo.")
    assert response.status_code == 302
    assert kept(bridge).description == "One.\n\nTwo."
    page = client.get(address(bridge)).content.decode()
    assert 'name="revision" value="1"' in page
    assert "Revision 1," in page


def test_a_conflict_shows_both_and_the_next_save_keeps_the_merged_text(
    client, bridge, officer
):
    ben = make_person("ben", "officer", credit_name="Ben Stell")
    post(client, bridge, 0)
    save(bridge, ben, 1, integrity="Ben's words.", boundary="Ben's 60 ft.")
    response = post(client, bridge, 1, integrity="Odile's words.")
    page = response.content.decode()
    assert response.status_code == 409
    assert "Ben Stell" in page
    assert "Ben&#x27;s words." in page
    assert "Odile&#x27;s words." in page
    assert 'name="revision" value="2"' in page
    form = response.context["form"]
    again = {name: form[name].value() for name in [*WRITTEN, "revision"]}
    again["integrity"] = "Both of our words."
    assert client.post(address(bridge), again).status_code == 302
    assert kept(bridge).integrity == "Both of our words."
    assert kept(bridge).boundary == "Ben's 60 ft."


def test_a_text_too_long_keeps_every_other_field(client, bridge, officer):
    response = post(
        client, bridge, 0, preparer="x" * 161, integrity="Kept on the page."
    )
    assert response.status_code == 400
    page = response.content.decode()
    assert "Not saved yet" in page
    assert "Kept on the page." in page
    assert "x" * 161 in page
    assert not Dossier.objects.exists()


@pytest.mark.parametrize("revision", ["", "x", "-1", "7", "9" * 30])
def test_a_revision_that_never_was_is_said_and_nothing_lost(
    client, bridge, officer, revision
):
    save(bridge, officer, 0)
    response = post(client, bridge, revision, integrity="Kept on the page.")
    assert response.status_code in (400, 409)
    assert "Kept on the page." in response.content.decode()
    assert kept(bridge).integrity == WRITTEN["integrity"]


def test_what_is_left_out_is_named_and_may_be_asked_for(client, officer):
    bridge = make_recorded_bridge(is_position_sensitive=True)
    page = client.get(address(bridge)).content.decode()
    assert "The exact position: the coordinates given are of its area." in page
    assert 'name="include" value="position"' in page
    assert 'name="include" value="plates"' in page
    assert "41.200000" not in page


def test_every_row_that_is_not_there_leads_to_where_it_is_mended(client, officer):
    bridge = make_recorded_bridge()
    response = client.get(address(bridge))
    missing = [row for row in response.context["rows"] if not row[0].is_there]
    assert missing
    page = response.content.decode()
    for row, where in missing:
        assert f'href="{where}"' in page
        if where.startswith("#"):
            # Boxes that are chosen from a list are numbered.
            ids = (f'id="{where[1:]}"', f'id="{where[1:]}_0"')
            assert any(one in page for one in ids), row
        else:
            assert client.get(where.partition("#")[0]).status_code == 200
            if "#" in where:
                there = client.get(where.partition("#")[0]).content.decode()
                assert f'id="{where.partition("#")[2]}"' in there, row


# What is missing.


def rows_of(bridge):
    return {row.key: row for row in completeness(facts_of(bridge), TODAY)}


def test_everything_of_a_bare_bridge_is_said_to_be_missing(bridge):
    states = {key: row.state for key, row in rows_of(bridge).items()}
    for key in ("summary", "significance", "integrity", "boundary", "builder"):
        assert states[key] == MISSING
    assert states["visited"] == states["photographs"] == states["plates"] == MISSING


def test_claims_that_compete_are_open_until_one_is_chosen():
    bridge = make_recorded_bridge()
    assert rows_of(bridge)["disputed"].state == THERE
    Claim.objects.update(is_chosen=False)
    assert rows_of(bridge)["disputed"].says == "Open: built."


def test_a_closed_bridge_wants_the_day_it_was_closed(bridge):
    bridge.status = "closed"
    bridge.save()
    assert "closed" in rows_of(bridge)["status"].says
    bridge.events.create(kind="closed", when="2001")
    assert rows_of(bridge)["status"].state == THERE


def test_a_visit_long_ago_is_not_a_current_one():
    bridge = make_recorded_bridge()
    late = TODAY.replace(year=2025, month=7)
    rows = {row.key: row for row in completeness(facts_of(bridge), late)}
    assert rows["visited"].state == PARTLY
    assert rows_of(bridge)["visited"].state == THERE
