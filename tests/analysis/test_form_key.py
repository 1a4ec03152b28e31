"""The key to the forms, its pages, and the trade's words."""

import json
import re

import pytest
from django.urls import reverse

from analysis import form_facts, form_key
from analysis.engine import forms
from analysis.engine.forms import registry
from bridges import words
from bridges.models import Form
from tests.makers import make_bridge, make_person

LEVEL = {question.key: question for question in form_key.QUESTIONS}


def seen(form):
    """Return what the key's questions see of a form's example."""
    geometry = forms.FORMS[form].typical()
    return {name: question.see(geometry) for name, question in LEVEL.items()}


@pytest.mark.parametrize("form", forms.FORMS)
def test_answers_that_are_true_of_a_form_lead_to_it(form):
    """Walk the key as somebody before each variety of the form would."""
    steps = {step.slug: step for step in form_key.key()}
    for geometry in forms.FORMS[form].varieties():
        step = steps["start"]
        while step:
            value = step.question.see(geometry)
            choice = next(c for c in step.choices if c.answer.value == value)
            if choice.forms:
                assert choice.forms == (form,)
            step = choice.step


def test_what_can_be_seen_is_told_from_the_bars():
    """By eye, from drawings in any book of the trade."""
    assert seen("pratt")["hip"] == "over"
    assert seen("half-hip-pratt")["hip"] == "short"
    assert seen("bedstead")["hip"] == "bearing"
    assert seen("pratt")["slant"] == "fall"
    assert seen("howe")["slant"] == "rise"
    assert seen("warren")["slant"] == "zigzag"
    assert seen("lattice")["slant"] == "cross"
    assert seen("k-truss")["slant"] == "meet"
    assert seen("double-intersection-pratt")["reach"] == "two"
    assert seen("post")["uprights"] == "leaning"
    assert seen("kellogg")["uprights"] == "second"
    assert seen("baltimore")["divided"] == "halved"
    assert seen("camelback")["slopes"] == "five"
    assert [seen(form)["outline"] for form in ("bowstring", "lenticular", "fink")] == [
        "bow",
        "lens",
        "hung",
    ]


def test_a_new_form_finds_its_place_in_the_key(monkeypatch):
    monkeypatch.setattr(registry, "FORMS", dict(forms.FORMS))
    monkeypatch.setattr(forms, "FORMS", registry.FORMS)

    @forms.form("propped", "Propped", panels=(4, 4))
    def propped(plan):
        """A Pratt with upright ends and rising diagonals."""
        draft = forms.FORMS["bedstead"].function(plan)
        for fell, rises in ((("U0", "L1"), ("L0", "U1")), (("U4", "L3"), ("L4", "U3"))):
            del draft.kinds[forms.named(*fell)]
            draft.bar(*rises, "diagonal")
        for fell, rises in ((("U1", "L2"), ("L1", "U2")), (("U3", "L2"), ("L3", "U2"))):
            del draft.kinds[forms.named(*fell)]
            draft.bar(*rises, "diagonal")
        return draft

    leaves = [
        name
        for step in form_key.key.__wrapped__()
        for choice in step.choices
        for name in choice.forms
    ]
    assert "propped" in leaves
    assert set(leaves) == set(forms.FORMS)


@pytest.mark.parametrize("form", forms.FORMS)
def test_each_form_has_neighbours_and_they_differ(form):
    near = form_key.neighbours(form)
    assert near
    for one in near:
        assert one.form.key != form
        assert one.theirs
        assert not set(one.theirs) & set(one.ours)


def test_a_half_hip_is_told_from_a_pratt_by_its_hip():
    near = {one.form.key: one for one in form_key.neighbours("half-hip-pratt")}
    assert near["pratt"].ours == ("the hip stands before the first panel point",)


def test_action_is_computed_and_no_name_decides_it():
    """The upright at L1: a hanger under a full slope, a post in a half-hip."""
    assert form_facts.action("pratt").forces["L1U1"] == pytest.approx(1.0)
    assert form_facts.action("half-hip-pratt").forces["L1U1"] < -0.5
    howe = {row.words: row.action for row in form_facts.action("howe").rows}
    assert howe["diagonals"] == "pressed"
    assert howe["verticals"] == "pulled"
    # Under an even load a parabola needs no diagonals.
    bow = form_facts.action("bowstring")
    assert [r.action for r in bow.rows if r.words == "counters"] == ["idle"]
    assert "L3U2" in form_facts.action("pratt").turning
    assert "L2U3" in form_facts.action("half-hip-pratt").woken


def test_every_form_of_the_engine_can_be_recorded():
    assert set(forms.FORMS) <= set(Form.values)


# --- the pages -------------------------------------------------------------------------


@pytest.mark.django_db
def test_the_key_leads_by_plain_links_to_every_form(client):
    html = client.get(reverse("forms")).content.decode()
    anchors = set(re.findall(r'id="(at-[^"]+)"', html))
    wanted = set(re.findall(r'href="#(at-[^"]+)"', html))
    assert wanted
    assert wanted <= anchors
    key = html[: html.index('id="all"')]
    for form in forms.FORMS:
        assert f'href="{reverse("form", args=[form])}"' in key


@pytest.mark.django_db
def test_every_form_has_its_page(client):
    for form, entry in forms.FORMS.items():
        html = client.get(reverse("form", args=[form])).content.decode()
        assert f"<h1>{form_facts.full_title(entry)}</h1>" in html
        assert 'class="elevation' in html
        assert "pulled (tension)" in html
        assert "pressed (compression)" in html
        acts = html[html.index('id="acts"') : html.index('id="unlike"')]
        assert all(name in acts for name in entry.typical().names)
        if entry.idealised:
            assert "What a model on pins leaves out" in html
    assert client.get("/forms/no-such-form/").status_code == 404


@pytest.mark.django_db
def test_a_form_names_the_bridges_on_record_that_one_may_see(client):
    make_bridge(name="Seen Bridge", span={"form": "pratt"})
    make_bridge(name="Hidden Bridge", span={"form": "pratt"}, is_public=False)
    make_bridge(name="Other Bridge", span={"form": "warren"}, lay_out=False)
    page = client.get(reverse("form", args=["pratt"])).content.decode()
    assert "Seen Bridge" in page
    assert "Hidden Bridge" not in page
    assert "Other Bridge" not in page
    client.force_login(make_person())
    assert (
        "Hidden Bridge" in client.get(reverse("form", args=["pratt"])).content.decode()
    )


@pytest.mark.django_db
@pytest.mark.parametrize("address", ["/forms/", "/forms/pratt/", "/forms/words/"])
def test_what_a_phone_keeps_holds_nothing_of_anybody(client, address):
    """Fetched without a session the page carries no name, token or cookie."""
    answer = client.get(address)
    assert answer.status_code == 200
    assert "csrfmiddlewaretoken" not in answer.content.decode()
    assert not answer.cookies


# --- the words -------------------------------------------------------------------------


def test_words_are_found_in_labels_by_any_spelling():
    assert [one.word for one in words.find("Crossed panels")] == ["crossed panel"]
    assert [one.word for one in words.find("Hip offset ft")] == ["hip offset"]
    assert [one.word for one in words.find("top chord, COUNTERS")] == [
        "upper chord",
        "counter",
    ]
    # A word inside another is no word.
    assert words.find("hipster underpinning") == []


def test_every_word_has_an_address_of_its_own():
    slugs = [term.slug for group in words.GROUPS for term in group.terms]
    slugs += [group.slug for group in words.GROUPS]
    assert len(slugs) == len(set(slugs))
    for group in words.GROUPS:
        for term in group.terms:
            assert words.term(term.word) is term
            assert term.meaning.endswith(".")


@pytest.mark.django_db
def test_words_are_reached_from_the_fields_of_forms_without_leaving_them(client):
    bridge = make_bridge()
    span = bridge.spans.get()
    client.force_login(make_person("olive", "officer", "volunteer"))
    edit = client.get(reverse("record-edit", args=[bridge.slug, "span", span.pk]))
    for slug in ("hip-offset", "crossed-panel", "depth", "connection"):
        assert f'href="/forms/words/#{slug}" target="_blank"' in edit.content.decode()
    assert 'href="/forms/" target="_blank"' in edit.content.decode()
    visit = client.get(reverse("surveys:log", args=[bridge.slug])).content.decode()
    for slug in ("counter", "eyebar", "stringer", "bearing", "lacing"):
        assert f'href="/forms/words/#{slug}" target="_blank"' in visit
    page = client.get("/forms/words/").content.decode()
    linked = set(re.findall(r"/forms/words/#([a-z-]+)", edit.content.decode() + visit))
    assert linked
    assert all(f'id="{slug}"' in page for slug in linked)


# --- with no signal --------------------------------------------------------------------


def test_one_page_for_a_phone_holds_key_forms_and_words(client):
    """Nothing on it leads anywhere that the phone has not."""
    html = client.get("/field/forms/").content.decode()
    anchors = re.findall(r'\bid="([^"]+)"', html)
    assert len(anchors) == len(set(anchors))
    links = set(re.findall(r'<a [^>]*href="([^"]+)"', html)) - {"/field/"}
    assert all(link[0] == "#" and link[1:] in anchors for link in links)
    for form in forms.FORMS:
        assert f"#form-{form}" in links
    assert 'id="word-counter"' in html
    assert "<script" not in html


def test_the_worker_keeps_that_page_and_what_it_is_drawn_with(client):
    worker = client.get("/sw.js").content.decode()
    shell = json.loads(re.match(r"const FIELD = (.*);", worker)[1])["shell"]
    assert "/field/forms/" in shell
    page = client.get("/field/forms/").content.decode()
    for style in re.findall(r'<link rel="stylesheet" href="([^"]+)"', page):
        assert style in shell
