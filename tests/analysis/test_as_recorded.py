"""A citation's address says for good what the record said at that moment."""

import datetime
import hashlib
import json

import pytest
from django.utils import timezone

from analysis import as_recorded
from analysis.archive_kinds import BY_NAME
from bridges.models import Bridge, Claim, LifeEvent, Plate, Source
from surveys import services
from surveys.models import Observation, Visit
from tests.bridges.inventory import queries_of
from tests.makers import make_bridge, make_person, make_visit

pytestmark = pytest.mark.django_db
DAY = datetime.timedelta(days=1)


def deck(material):
    return {"span-1/deck": {"layers": [{"material": material, "thickness_in": 3.0}]}}


def put_back(days):
    """Make all that was saved until now older by some days."""
    from analysis.models import Dossier
    from bridges import models as bridges
    from surveys import models as surveys

    for model in (
        *(bridges.Bridge, bridges.Span, bridges.LifeEvent, bridges.Plate),
        *(bridges.Claim, bridges.Source, bridges.Builder, bridges.Attribution),
        *(surveys.Visit, surveys.Observation, surveys.Repair, surveys.Photo, Dossier),
    ):
        for row in model.history.all():
            row.history_date -= DAY * days
            row.save()


@pytest.fixture
def bridge():
    """Recorded ten days ago, and seen for the first time then."""
    bridge = make_bridge()
    make_person("rae", "reviewer")
    Plate.objects.create(
        bridge=bridge, key="portal", location="portal", whereabouts="X"
    )
    source = Source.objects.create(title="Minutes")
    Claim.objects.create(bridge=bridge, about="built", value="1889", source=source)
    make_visit(bridge, reviewer=rae(), said=deck("timber"), date="2019")
    put_back(10)
    return bridge


def rae():
    from shared.models import Person

    return Person.objects.get(username="rae")


def on(bridge, days_ago):
    return as_recorded.on(bridge, timezone.now() - DAY * days_ago)


def words_of(held, path):
    name = held.record.by_path[path].name
    return next(one["words"] for one in held.shown["parts"] if one["name"] == name)


def test_what_was_saved_since_is_not_in_it_and_what_was_said_then_is(bridge):
    before = on(bridge, 5)
    bridge.name, bridge.status = "Ford Bridge", "closed"
    bridge.save()
    Claim.objects.update_or_create(
        about="built", defaults={"value": "1890"}, bridge=bridge
    )
    LifeEvent.objects.create(bridge=bridge, kind="closed", when="2020")
    Plate.objects.get().delete()
    make_visit(bridge, reviewer=rae(), said=deck("asphalt"), date="2021")
    after, again = on(bridge, 0), on(bridge, 5)
    assert again.facts == before.facts
    assert again.sha256 == before.sha256 != after.sha256
    told = again.facts
    assert (told["bridge"]["name"], told["bridge"]["status"]) == (
        "Tanner's Ford Bridge",
        "in-service",
    )
    assert [one["value"] for one in told["claims"]] == ["1889"]
    assert [one["value"] for one in after.facts["claims"]] == ["1890"]
    assert len(told["plates"]) == 1
    assert after.facts["plates"] == []
    assert "whereabouts" not in told["plates"][0]
    assert (told["events"], len(after.facts["events"])) == ([], 1)
    assert "timber" in words_of(again, "span-1/deck").lower()
    assert "asphalt" in words_of(after, "span-1/deck").lower()
    assert len(after.shown["changes"]) == len(again.shown["changes"]) + 1
    said = told["visits"][0]["said"]["span-1/deck"]
    assert said["state"]["layers"][0]["material"] == "timber"
    # Wording is the release's own and no part of what is hashed.
    assert not any(name.endswith("_words") for name in told["bridge"])


def test_a_visit_counts_from_when_it_was_accepted_however_old_its_date(bridge):
    make_visit(
        bridge, reviewer=rae(), said=deck("gravel"), date="1912", basis="photograph"
    )
    assert [one["when"] for one in on(bridge, 5).facts["visits"]] == ["2019"]
    assert [one["when"] for one in on(bridge, 0).facts["visits"]] == ["1912", "2019"]


def test_what_waits_and_what_was_taken_out_is_told_as_it_was(bridge):
    make_visit(bridge, said=deck("gravel"), date="2022", notes="waits")
    assert "waits" not in json.dumps(on(bridge, 0).facts)
    services.take_out_visit(
        visit=Visit.objects.get(when="2019"), reviewer=rae(), reason="another bridge"
    )
    assert on(bridge, 0).facts["visits"] == []
    assert on(bridge, 0).shown["parts"] == []
    assert len(on(bridge, 5).facts["visits"]) == 1
    # What is left out by a reviewer is left out from then on.
    assert Observation.history.count()


def test_before_the_record_began_there_is_nothing_and_the_page_says_since_when(
    bridge, client
):
    with pytest.raises(as_recorded.NotRecorded):
        on(bridge, 11)
    answer = client.get("/c/A-001/1999-01-01")
    assert answer.status_code == 404
    assert "The record holds this bridge since" in answer.content.decode()
    for wrong in ("1999-13-01", "yesterday", "2020-01-01T2561Z", "1999"):
        assert client.get(f"/c/A-001/{wrong}").status_code == 404
    assert client.get("/c/A-999/2020-01-01").status_code == 404


def test_the_citation_leads_to_a_page_whose_data_has_the_hash_it_names(bridge, client):
    page = client.get("/bridges/tanners-ford-bridge/cite/")
    text, address = page.context["text"], page.context["address"]
    assert "“Tanner's Ford Bridge” (A-001)" in text
    assert "accessed" in text
    then = client.get(address)
    assert "The record says the same today." in then.content.decode()
    data = client.get(f"{address}.json")
    assert hashlib.sha256(data.content).hexdigest() == page.context["sha256"]
    assert data.headers["ETag"] == f'"{page.context["sha256"]}"'
    again = client.get(
        f"{address}.json", headers={"if-none-match": data.headers["ETag"]}
    )
    assert again.status_code == 304
    Bridge.objects.get().save()
    bridge.name = "Another Name"
    bridge.save()
    after = client.get(address).content.decode()
    assert "The record has changed since." in after
    assert "Another Name" not in after.split("</nav>")[-1]
    assert client.get(f"{address}.json").content == data.content


def test_a_truss_is_cited_with_what_the_engine_makes_of_it_and_that_is_said(
    bridge, client
):
    page = client.get("/bridges/tanners-ford-bridge/cite/?truss=upstream")
    assert "upstream truss" in page.context["text"]
    assert page.context["address"].endswith("#truss-upstream")
    then = client.get(page.context["address"].partition("#")[0]).content.decode()
    assert 'id="truss-upstream"' in then
    assert "no estimate" in then
    assert "worked out again from what was recorded then" in then


def test_a_day_that_is_not_over_is_not_cited(bridge, client):
    today = timezone.now().date()
    page = client.get(f"/bridges/tanners-ford-bridge/cite/?on={today}")
    assert "That day is not over" in page.content.decode()
    five = today - DAY * 5
    page = client.get(f"/bridges/tanners-ford-bridge/cite/?on={five}")
    assert page.context["address"].endswith(f"/c/A-001/{five}")
    assert "not over" in client.get(f"/c/A-001/{today}").content.decode()


def test_a_citation_tells_no_visitor_and_no_member_what_is_kept_back(client):
    shy = make_bridge(
        latitude="41.234567",
        longitude="-77.456789",
        road="Hidden Lane",
        owner_contact="555-0100",
        access_notes="By the farm",
    )
    put_back(3)
    shy.is_position_sensitive = True
    shy.save()
    for person in (None, make_person("ada")):
        if person:
            client.force_login(person)
        for tail in ("", ".json"):
            day = timezone.now().date() - DAY * 2
            text = client.get(f"/c/A-001/{day}{tail}").content.decode()
            for secret in ("41.2345", "77.4567", "Hidden Lane", "555-0100", "the farm"):
                assert secret not in text.partition("</nav>")[2], secret
    shy.is_public = False
    shy.save()
    client.logout()
    assert client.get(f"/c/A-001/{day}").status_code == 404
    assert client.get("/bridges/tanners-ford-bridge/cite/").status_code == 404


def test_it_costs_the_same_for_one_visit_and_for_twelve(bridge):
    one = queries_of(lambda: on(bridge, 0))
    for year in range(2005, 2017):
        make_visit(bridge, reviewer=rae(), said=deck("timber"), date=str(year))
    twelve = queries_of(lambda: on(bridge, 0))
    assert len(twelve) == len(one), "\n".join(twelve)


def test_other_fields_mean_another_edition():
    """A field more or less would change the hash of everything ever cited."""
    told = ("bridges", "spans", "events", "attributions", "plates", "claims", "repairs")
    fields = [BY_NAME[name].public for name in (*told, "visits", "sources")]
    digest = hashlib.sha256(json.dumps(fields).encode()).hexdigest()[:12]
    assert (as_recorded.EDITION, digest) == (1, "c013e333469f")
