"""What is typed into any field comes out as text: page, PDF, feed, CSV, KML, mail."""

import io
import re
import xml.etree.ElementTree as xml

import pytest
from django.core.cache import cache
from django.db import models

from analysis import dossier_facts, dossier_pdf
from bridges.models import Attribution, Bridge, Builder, Claim, LifeEvent, Plate, Source
from surveys import services
from surveys.models import Repair, Visit
from tests.access import world as worlds
from tests.access.test_access import ask, callers
from tests.access.world import PARAMETERS
from tests.makers import make_bridge, make_person, make_visit

# Marked, so that each can be told from what belongs to the page.
HOSTILE = (
    "\"'><script>evil()</script><img src=x onerror=evil()>{{ 7|add:7 }}{% now 'Y' %}"
)
MARKS = re.compile(rb"<script>evil|<img src=x|onerror=evil\(\)>(?!\S*&)")
FORMULA = "=cmd|' /C calc'!A0"


def spoil(row):
    """Put it into every field of a row that takes free text."""
    for field in row._meta.concrete_fields:
        is_text = isinstance(field, models.CharField | models.TextField)
        if not is_text or field.choices or field.unique or field.primary_key:
            continue
        if isinstance(field, models.SlugField | models.URLField | models.UUIDField):
            continue
        if type(field) not in (models.CharField, models.TextField):
            continue
        if field.name in (
            "slug",
            "sha256",
            "format",
            "path",
            "member",
            "role",
            "when",
            "looks",
        ):
            continue
        if getattr(row, field.name) and field.name.endswith(("sha256", "_kind")):
            continue
        room = field.max_length or 1000
        setattr(row, field.name, HOSTILE[:room])
    row.save()


@pytest.fixture
def hostile(db, settings):
    settings.LIMITS = dict.fromkeys(settings.LIMITS, 10_000)
    world = worlds.make()
    bridge = world.bridges["open"]
    source = Source.objects.get()
    more = [
        LifeEvent.objects.create(bridge=bridge, kind="built", when="1889"),
        Claim.objects.create(bridge=bridge, about="x", value="y", source=source),
        Repair.objects.create(bridge=bridge, title="x", when="1990"),
    ]
    rows = [
        bridge,
        source,
        world.builder,
        *more,
        *bridge.spans.all(),
        *Plate.objects.filter(bridge=bridge),
        *Attribution.objects.filter(bridge=bridge),
        *Visit.objects.filter(bridge=bridge),
        *(photo for one in world.visits.values() for photo in one.photos.all()),
    ]
    for row in rows:
        spoil(row)
    for person in world.people.values():
        person.credit_name = HOSTILE[:120]
        person.save()
    assert Builder.objects.get().notes == HOSTILE
    return world


def test_hostile_text_is_text_on_every_page_and_in_every_file(hostile):
    cache.clear()
    everybody, seen, wrong = callers(hostile), 0, []
    for role in ("nobody", "keeper"):
        for name in sorted(PARAMETERS):
            path = hostile.path(name, "")
            if name == "accounts:sign-out":
                continue
            answer = ask(everybody[role], "GET", path)
            kind = answer.headers.get("Content-Type", "")
            if answer.status_code != 200 or "pdf" in kind or "image" in kind:
                continue
            seen += b"evil" in answer.body
            if "html" in kind or "xml" in kind:
                if MARKS.search(answer.body):
                    wrong.append(f"{role} {path}: markup comes through")
                if b"14" + b"{%" in answer.body:
                    wrong.append(f"{role} {path}: a template ran")
            if "xml" in kind and b"<!doctype" not in answer.body[:20]:
                xml.fromstring(answer.body)
    assert seen > 10, "else nothing was tried"
    assert not wrong, "\n".join(wrong)


def test_hostile_text_is_text_in_the_pdf(hostile):
    pypdf = pytest.importorskip("pypdf")
    made = dossier_pdf.pdf(dossier_facts.facts(hostile.bridges["open"]))
    pages = pypdf.PdfReader(io.BytesIO(made)).pages
    text = re.sub(r"\s", "", "".join(page.extract_text() for page in pages))
    assert "<script>evil()</script>" in text
    assert b"/JavaScript" not in made


@pytest.mark.parametrize("kind", ["csv", "geojson", "kml", "gpx"])
def test_exports_hold_it_as_text_and_no_formula(client, db, kind):
    make_bridge(name=HOSTILE[:160], slug="hostile")
    make_bridge(name=FORMULA, slug="formula", number="F-1")
    body = b"".join(client.get(f"/export/bridges.{kind}").streaming_content).decode()
    if kind in ("kml", "gpx"):
        texts = [one.text or "" for one in xml.fromstring(body).iter()]
        assert any("<script>evil()</script>" in text for text in texts)
        assert "<script" not in body
    if kind == "csv":
        assert "'=cmd" in body
        assert "\n=cmd" not in body
        assert ",=cmd" not in body


def test_a_question_to_a_surveyor_is_text(client, db):
    ada, rae = make_person("ada"), make_person("rae", "reviewer")
    visit = make_visit(make_bridge(), ada, said={"limit": "same"})
    services.return_visit(visit=visit, reviewer=rae, question=HOSTILE)
    client.force_login(ada)
    for path in (visit.get_absolute_url(), "/visits/"):
        body = client.get(path).content
        assert b"evil" in body
        assert not MARKS.search(body)
    assert Bridge.objects.exists()
