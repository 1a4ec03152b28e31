"""Editing the record by hand."""

import pytest
from django.urls import reverse

from bridges.models import Bridge, Claim, Span
from surveys.models import Element, Repair
from tests.makers import make_bridge, make_person

pytestmark = pytest.mark.django_db


@pytest.fixture
def bridge():
    return make_bridge()


@pytest.fixture
def officer(client):
    client.force_login(make_person("olive", "officer"))
    return client


def address(bridge, *rest):
    name = {0: "record", 1: "record-add", 2: "record-edit"}[len(rest)]
    return reverse(name, args=[bridge.slug, *rest])


def facts_of(response):
    """Return what a browser would send back from a form unchanged."""
    form = response.context["form"]
    return {
        name: "" if (value := form[name].value()) is None else value
        for name in form.fields
        if form[name].value() is not False
    }


@pytest.mark.parametrize("group", ["volunteer", None])
def test_volunteers_and_visitors_cannot_edit(client, bridge, group):
    if group:
        client.force_login(make_person("vic", group))
    assert client.get(address(bridge)).status_code == (403 if group else 302)


def test_an_edit_is_kept_with_who_and_what(officer, bridge):
    page = officer.get(address(bridge, "bridge", bridge.pk))
    facts = facts_of(page) | {"town": "Lower Ford"}
    assert officer.post(address(bridge, "bridge", bridge.pk), facts).status_code == 302
    page = officer.get(address(bridge, "bridge", bridge.pk)).content.decode()
    assert "was “Tanner&#x27;s Ford”, now “Lower Ford”" in page
    assert "by olive" in page


def test_a_bad_date_names_its_field_and_keeps_the_rest(officer, bridge):
    facts = {"title": "New pins", "when": "last spring", "reversible": "no"}
    facts["confidence"] = "probable"
    page = officer.post(address(bridge, "repair"), facts)
    assert page.status_code == 200
    assert page.context["form"].errors.as_data()["when"][0].code == "date"
    assert "New pins" in page.content.decode()
    assert not Repair.objects.exists()


def test_a_repair_is_recorded_long_after(officer, bridge):
    facts = {"title": "New pins", "when": "1951/1957", "reversible": "no"}
    facts["confidence"] = "probable"
    assert officer.post(address(bridge, "repair"), facts).status_code == 302
    repair = Repair.objects.get()
    assert (repair.bridge, repair.when_earliest.year) == (bridge, 1951)
    assert repair.recorded_by.username == "olive"


def test_only_one_claim_of_each_kind_is_chosen(officer, bridge):
    from bridges.models import Source

    source = Source.objects.create(title="County minutes")
    for value in ("1889", "1891"):
        facts = {
            "about": "built",
            "value": value,
            "source": source.pk,
            "confidence": "probable",
            "is_chosen": "on",
        }
        page = officer.post(address(bridge, "claim"), facts)
    assert page.status_code == 200
    assert "chosen already" in page.content.decode()
    assert Claim.objects.count() == 1


def test_more_panels_lay_out_more_members(officer, bridge):
    span = bridge.spans.get()
    page = officer.get(address(bridge, "span", span.pk))
    facts = facts_of(page) | {
        "panels": 7,
        "crossed_panels": "[]",
        "upper_heights_ft": "",
    }
    before = Element.objects.filter(kind="member").count()
    answer = officer.post(address(bridge, "span", span.pk), facts)
    assert answer.status_code == 302, answer.context["form"].errors
    assert Element.objects.filter(kind="member").count() > before
    assert Span.objects.get().skeleton["panels"] == 7


def test_a_thing_of_another_bridge_is_not_found(officer, bridge):
    other = make_bridge(name="Other")
    span = other.spans.get()
    assert officer.get(address(bridge, "span", span.pk)).status_code == 404
    assert officer.get(address(bridge, "bridge", other.pk)).status_code == 404
    assert Bridge.objects.count() == 2
