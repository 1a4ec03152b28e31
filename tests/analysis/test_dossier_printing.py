"""Documents drawn by jobs: the dossier, the shorter ones, the package."""

import csv
import datetime
import hashlib
import io
import json
import re
import zipfile

import pypdf
import pytest
from django.urls import reverse

from analysis import dossier, dossier_jobs, dossier_package, dossier_pdf, dossier_sheets
from analysis.dossier_pdf import DOCUMENTS
from shared import jobs
from shared.models import Job
from surveys.models import Photo
from tests.analysis.dossier_record import (
    facts_of,
    make_complete_case,
    make_recorded_bridge,
    write_narrative,
)
from tests.compare import assert_golden
from tests.makers import make_bridge, make_person

pytestmark = pytest.mark.django_db
DRAWN = b"%PDF-1.7 x %%EOF"


@pytest.fixture
def officer(client):
    person = make_person("odile", "officer", credit_name="Odile Farrow")
    client.force_login(person)
    return person


@pytest.fixture
def quick(monkeypatch):
    """Draw nothing: keep a mark in place of each PDF; returns what was asked for."""
    asked = []

    def draw(made, target, say=None):
        asked.append(made)
        target.write(DRAWN)

    monkeypatch.setattr(dossier_pdf, "_draw", draw)
    return asked


def address(bridge, name="dossier-pdf", *more):
    return reverse(name, args=[bridge.slug, *more])


def test_the_pdf_is_sent_with_its_name_and_drawn_once(client, officer, quick):
    bridge = make_bridge(is_position_sensitive=True, lay_out=False)
    response = client.get(address(bridge))
    assert response["Content-Type"] == "application/pdf"
    assert f'filename="dossier-{bridge.slug}.pdf"' in response["Content-Disposition"]
    assert "no-store" in response["Cache-Control"]
    assert response.getvalue() == DRAWN
    client.get(address(bridge)).getvalue()
    client.get(address(bridge), {"paper": "a4", "include": "position"}).getvalue()
    assert len(quick) == 2
    assert "41.200000" not in quick[0].html
    assert "41.200000" in quick[1].html


@pytest.mark.parametrize(
    ("query", "status"),
    [
        ({"paper": "a0"}, 400),
        ({"include": "owner"}, 400),
        ({"case": "7"}, 404),
    ],
)
def test_what_is_not_known_is_refused(client, officer, quick, query, status):
    bridge = make_bridge(lay_out=False)
    assert client.get(address(bridge), query).status_code == status
    days = {"from": "2020-01-01", "to": "2019-01-01"}
    changes = address(bridge, "dossier-document", "changes")
    assert client.get(changes, days).status_code == 400
    assert client.get(changes, {"from": "soon"}).status_code == 400
    other = address(bridge, "dossier-document", "secrets")
    assert client.get(other).status_code == 404


def test_without_the_renderer_the_page_says_what_to_install(
    client, officer, monkeypatch
):
    def draw(made, target, say=None):
        raise dossier.NoRenderer("Install libpango-1.0-0.")

    monkeypatch.setattr(dossier_pdf, "_draw", draw)
    response = client.get(address(make_bridge(lay_out=False)))
    assert response.status_code == 503
    assert "Install libpango-1.0-0." in response.content.decode()


def test_with_a_worker_the_page_waits_and_goes_on_by_itself(
    client, officer, quick, settings
):
    settings.JOBS_INLINE = False
    bridge = make_bridge(lay_out=False)
    first = client.get(address(bridge))
    assert first.status_code == 302
    assert client.get(address(bridge)).url == first.url
    page = client.get(first.url)
    assert 'http-equiv="refresh"' in page.content.decode()
    assert "Waiting for its turn" in page.content.decode()
    assert quick == []
    jobs.run_next("worker")
    assert client.get(first.url).url == f"{address(bridge)}?paper=letter"
    assert client.get(first.url, follow=True).getvalue() == DRAWN
    elsewhere = make_bridge(name="Mill Lane Bridge", lay_out=False)
    token = Job.objects.get().token
    assert client.get(address(elsewhere, "dossier-waiting", token)).status_code == 404


def test_a_job_whose_worker_was_killed_is_done_once_by_the_next(
    client, officer, quick, settings
):
    settings.JOBS_INLINE = False
    bridge = make_bridge(lay_out=False)
    waiting = client.get(address(bridge)).url
    past = datetime.datetime(2020, 1, 1, tzinfo=datetime.UTC)
    Job.objects.update(state="running", owner="killed", tries=1, lease_until=past)
    jobs.run_next("next")
    assert client.get(waiting, follow=True).getvalue() == DRAWN
    assert jobs.run_next("next") is None
    assert len(quick) == 1


def test_only_officers_come_to_what_is_printed(client):
    bridge = make_bridge(lay_out=False)
    client.force_login(make_person("vera", "volunteer"))
    for name, *more in (
        ("dossier-document", "sheet"),
        ("dossier-photographs",),
        ("dossier-pdf",),
    ):
        assert client.get(address(bridge, name, *more)).status_code in (302, 403)
    for name in ("dossier-package", "dossier-sign", "dossier-case"):
        assert client.post(address(bridge, name)).status_code in (302, 403)


# The package.


@pytest.fixture
def package(quick):
    bridge = make_complete_case()
    photo = Photo.objects.filter(viewpoint__name="Portal", width_px=1600).get()
    photo.original = photo.derivatives["1600"]
    photo.save()
    target = io.BytesIO()
    dossier_package.write(facts_of(bridge), target)
    return zipfile.ZipFile(target)


def test_the_package_holds_what_its_manifest_says(package):
    names = set(package.namelist())
    assert {
        "dossier.pdf",
        "README.txt",
        "record.json",
        "record.csv",
        "sources.csv",
        "map.geojson",
        "photographs/log.csv",
        "photographs/PA_Alder County_Tanners Ford Bridge_0001.jpg",
        "photographs/PA_Alder County_Tanners Ford Bridge_0003.jpg",
    } <= names
    listed = package.read("manifest-sha256.txt").decode().splitlines()
    assert len(listed) == len(names) - 1
    for line in listed:
        digest, _, name = line.partition("  ")
        assert hashlib.sha256(package.read(name)).hexdigest() == digest


def test_the_log_of_the_package_names_each_file_and_which_are_originals(package):
    text = package.read("photographs/log.csv").decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text)))
    assert [row["number"] for row in rows] == ["1", "2", "3"]
    assert [row["is_original"] for row in rows] == ["True", "False", "False"]
    for row in rows:
        assert f"photographs/{row['file']}" in package.namelist()
    assert "2 of them are copies" in package.read("README.txt").decode()


def test_the_package_of_the_same_facts_is_the_same_to_the_byte(quick):
    facts = facts_of(make_complete_case())
    first, second = io.BytesIO(), io.BytesIO()
    dossier_package.write(facts, first)
    dossier_package.write(facts, second)
    assert first.getvalue() == second.getvalue()


def test_the_package_of_a_sensitive_bridge_gives_no_place_away(quick):
    bridge = make_complete_case(is_position_sensitive=True)
    Photo.objects.update(original="photos/11-1600.jpg")
    target = io.BytesIO()
    dossier_package.write(facts_of(bridge), target)
    package = zipfile.ZipFile(target)
    assert "False" in package.read("photographs/log.csv").decode()
    assert "True" not in package.read("photographs/log.csv").decode()
    (feature,) = json.loads(package.read("map.geojson"))["features"]
    assert feature["geometry"]["coordinates"] != [-39.8458, 39.6742]
    assert b"39.674" not in package.read("record.json")


def test_the_package_is_asked_for_and_fetched(client, officer, quick):
    bridge = make_recorded_bridge()
    waiting = client.post(address(bridge, "dossier-package"))
    response = client.get(waiting.url, follow=True)
    assert response["Content-Type"] == "application/zip"
    content = response.getvalue()
    assert "dossier.pdf" in zipfile.ZipFile(io.BytesIO(content)).namelist()
    assert Job.objects.get().progress_note == "Done"


# The shorter documents.


@pytest.mark.parametrize("document", sorted(set(DOCUMENTS) - {"dossier"}))
def test_each_shorter_document_is_drawn_with_its_caution(document):
    bridge = make_recorded_bridge(
        latitude="39.674200", longitude="-39.845800", county="Alder County"
    )
    write_narrative(
        bridge,
        recipients="Trail society, asked 2024: would take it.",
        alt_bypass="unknown",
        alt_bypass_who="Study of 2021",
    )
    told = dossier_jobs.facts_for(
        bridge, document=document, between=["1995-01-01", "2024-01-01"]
    )
    data = dossier.pdf(told, document=document)
    reader = pypdf.PdfReader(io.BytesIO(data))
    text = " ".join(page.extract_text() for page in reader.pages)
    text = " ".join(text.split())
    assert "Tanner's Ford Bridge" in text
    assert "screening estimates" in text
    wanted = {
        "sheet": "Deck",
        "relocation": "pins, which come apart more readily than rivets",
        "alternatives": "Study of 2021",
        "changes": "From 1 January 1995 to 1 January 2024",
    }
    assert wanted[document] in text
    if document == "sheet":
        assert len(reader.pages) == 2
    if document == "relocation":
        assert "Trail society, asked 2024" in text
        assert "presumed to hold lead" in text


def test_the_weight_of_the_trusses_is_that_of_their_bars():
    # Two eyebars 3 by 3/4 over an 18 ft panel at 490 lb a cubic foot:
    # 2 · 2.25 in² / 144 · 490 · 18 ft = 275.6 lb.
    piece = {
        "shape": "eyebar",
        "count": 2,
        "width_in": 3.0,
        "thickness_in": 0.75,
        "origin": "original",
    }
    span = {
        "skeleton": {
            "joints": {"L0": [0, 0], "L1": [18, 0]},
            "members": [["L0L1", "L0", "L1", "lower-chord"]],
        },
        "lines": [
            {
                "members": [
                    {
                        "member": "L0L1",
                        "is_gone": False,
                        "state": {"components": [piece]},
                    }
                ]
            }
        ],
    }
    assert dossier_sheets.trusses_tons(span) * 2000 == pytest.approx(275.6, abs=0.1)


def test_words_of_a_complete_dossier():
    reader = pypdf.PdfReader(io.BytesIO(dossier.pdf(facts_of(make_complete_case()))))
    pages = [page.extract_text() for page in reader.pages]
    # The engine's own words have their own tests.
    pages = [page for page in pages if "Bridge Structural appendix" not in page]
    text = re.sub(r"\b[0-9a-f]{12,64}\b", "(hash)", "\n\f\n".join(pages))
    assert "Complete." in text
    assert_golden("dossier-complete.txt", text + "\n")
