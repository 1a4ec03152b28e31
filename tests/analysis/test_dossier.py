"""The dossier's PDF: what it says, how it is built, what it keeps back."""

import csv
import hashlib
import io
import json
import logging
import os
import re
import shutil
import subprocess
import xml.etree.ElementTree as ET
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import pairwise

import pikepdf
import pypdf
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from analysis import dossier, dossier_fields, dossier_pages, dossier_pdf, services
from analysis.engine import checkfile
from analysis.engine.answer import answer
from shared.templatetags.figures import figure, signed
from surveys.models import Photo
from tests.analysis.dossier_record import (
    MOMENT,
    facts_of,
    make_recorded_bridge,
    write_narrative,
)
from tests.compare import assert_golden
from tests.structures import PANS, make_visit_saying

RDF = "{http://www.w3.org/1999/02/22-rdf-syntax-ns#}"
_KEPT = []


@dataclass
class Drawn:
    """One bridge's dossier: drawn once for all tests here, which takes a while."""

    facts: dict
    pictures: dict
    pdf: bytes
    text: str
    shown: set
    logged: list


@pytest.fixture
def drawn(db):
    if not _KEPT:
        bridge = make_recorded_bridge()
        write_narrative(bridge)
        facts = facts_of(bridge)
        names = [photo["file"] for photo in facts["photographs"]]
        pictures = {name: dossier_pdf.read_stored(name) for name in names}
        with _log_of("weasyprint") as logged:
            pdf = dossier.pdf(facts, pictures=_from(pictures))
        _KEPT.append(
            Drawn(facts, pictures, pdf, text_of(pdf), _shown_history(bridge), logged)
        )
    return _KEPT[0]


@contextmanager
def _log_of(name):
    logged = []
    handler = logging.Handler(logging.WARNING)
    handler.emit = lambda record: logged.append(record.getMessage())
    logging.getLogger(name).addHandler(handler)
    try:
        yield logged
    finally:
        logging.getLogger(name).removeHandler(handler)


@pytest.fixture
def facts(drawn):
    return json.loads(json.dumps(drawn.facts))


@pytest.fixture
def pdf(drawn):
    with pikepdf.open(io.BytesIO(drawn.pdf)) as opened:
        yield opened


def _from(pictures):
    def read(name):
        try:
            return pictures[name]
        except KeyError:
            raise FileNotFoundError(name) from None

    return read


@pytest.fixture
def thin(facts):
    """Return facts of few pages, for tests of one thing that is drawn again."""
    return facts | {"visits": [], "checks": [], "parts": [], "spans": [], "plates": []}


def draw(facts, drawn, **options):
    return dossier.pdf(facts, pictures=_from(drawn.pictures), **options)


def text_of(data):
    pages = pypdf.PdfReader(io.BytesIO(data)).pages
    return "\n".join(page.extract_text() for page in pages)


def squeezed(text):
    return re.sub(r"\s+", " ", text)


def _shown_history(bridge):
    """Return every figure that the history shows of effects, as it is printed."""
    shown = set()
    for step in services.history(bridge):
        for _, _, _, result in step.lines:
            if not result:
                continue
            shown |= {figure(result[end]["limit_tons"]) for end in ("before", "after")}
            for share in result["shares"]:
                shown |= {
                    signed(share[measure][kind])
                    for measure in ("limit_tons", "dead_tons")
                    for kind in ("share",)
                }
                shown.add(signed(share["limit_tons"]["alone"]))
    return shown


# How it is built: ISO 19005-3 (PDF/A-3) and ISO 14289-1 (PDF/UA-1), as far as a list of
# tests can tell; clause numbers from memory.


def elements(pdf, kind=None):
    """Yield the structure elements that hang on the tree."""
    waiting = [pdf.Root.StructTreeRoot.K]
    while waiting:
        one = waiting.pop(0)
        if isinstance(one, pikepdf.Array):
            waiting = [*one, *waiting]
        elif isinstance(one, pikepdf.Dictionary) and "/S" in one:
            if kind is None or kind == one.S:
                yield one
            if "/K" in one:
                waiting = [one.K, *waiting]


def test_it_is_tagged_has_a_language_and_shows_its_title(pdf):
    assert bool(pdf.Root.MarkInfo.Marked)
    assert str(pdf.Root.Lang) == "en-US"
    assert bool(pdf.Root.ViewerPreferences.DisplayDocTitle)
    assert str(pdf.docinfo["/Title"]).startswith("Dossier of Tanner's Ford Bridge")
    assert all(page["/Tabs"] == "/S" for page in pdf.pages)


def test_it_says_that_it_is_archival_and_accessible(pdf):
    packet = ET.fromstring(pdf.Root.Metadata.read_bytes())
    assert len(list(packet.iter(f"{RDF}RDF"))) == 1
    text = pdf.Root.Metadata.read_bytes().decode()
    assert 'pdfaid:part="3"' in text
    assert 'pdfaid:conformance="A"' in text
    assert "<pdfuaid:part>1</pdfuaid:part>" in text
    assert "http://www.aiim.org/pdfa/ns/extension/" in text


def test_it_has_an_output_intent_an_identifier_and_nothing_that_acts(pdf):
    [intent] = pdf.Root.OutputIntents
    assert intent.S == "/GTS_PDFA1"
    assert "sRGB" in str(intent.OutputConditionIdentifier)
    assert pdf.trailer.ID
    assert not pdf.is_encrypted
    assert "/OpenAction" not in pdf.Root
    assert "/JavaScript" not in pdf.Root.Names
    assert "/AcroForm" not in pdf.Root


def test_every_figure_has_alternate_text_and_lies_on_its_page(pdf):
    figures = list(elements(pdf, "/Figure"))
    # The cover, both elevations, the plan, eight sections, time, two pictures, forces
    # of two trusses.
    assert len(figures) == 17
    for one in figures:
        assert str(one.Alt).strip()
        left, foot, right, top = (float(edge) for edge in one.A.BBox)
        _, _, wide, high = (float(edge) for edge in one.Pg.MediaBox)
        assert 0 <= left < right <= wide
        assert 0 <= foot < top <= high
    said = " ".join(str(one.Alt) for one in figures)
    assert "L2L3 added to" in said
    assert "Drawing: Picture 2 of the portal" in said
    assert "Photograph: Picture 1 of the portal" in said


def test_the_place_of_a_figure_is_where_its_picture_is_painted(pdf):
    """The cover's drawing stands in the upper half of its page, at its left margin."""
    first = next(elements(pdf, "/Figure"))
    left, foot, _, top = (float(edge) for edge in first.A.BBox)
    high = float(first.Pg.MediaBox[3])
    assert left == pytest.approx(0.9 * 72, abs=1)
    assert foot > high * 0.4
    assert top > high * 0.6


def test_every_cell_finds_its_headers_and_every_header_looks_one_way(pdf):
    leaf = pdf.Root.StructTreeRoot.IDTree.Kids[0]
    names = {
        bytes(name): header
        for name, header in zip(leaf.Names[::2], leaf.Names[1::2], strict=True)
    }
    assert list(names) == sorted(names)
    cells = list(elements(pdf, "/TD"))
    assert len(cells) > 100
    for cell in cells:
        for name in cell.A.Headers:
            assert names[bytes(name)].S == "/TH"
    assert all(len(cell.A.Headers) for cell in cells)
    assert {str(one.A.Scope) for one in elements(pdf, "/TH")} == {"/Column", "/Row"}


def test_every_table_but_that_of_facts_has_a_caption(pdf):
    with_heads = [
        table
        for table in elements(pdf, "/Table")
        if any(
            part.S == "/THead"
            for part in table.K
            if isinstance(part, pikepdf.Dictionary)
        )
    ]
    # A table that runs on repeats its head on the next page, but not its caption.
    captions = list(elements(pdf, "/Caption"))
    assert len(with_heads) >= 10
    assert len(captions) >= 10


def test_headings_do_not_skip_a_level_and_there_is_one_title(pdf):
    levels = [
        int(str(one.S)[2:])
        for one in elements(pdf)
        if re.fullmatch(r"/H\d", str(one.S))
    ]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(b - a <= 1 for a, b in pairwise(levels))


def test_bookmarks_lead_to_every_chapter(drawn):
    reader = pypdf.PdfReader(io.BytesIO(drawn.pdf))

    def titles(items):
        for one in items:
            if isinstance(one, list):
                yield from titles(one)
            else:
                yield one.title

    found = list(titles(reader.outline))
    assert found[0] == "Tanner's Ford Bridge"
    for chapter in (
        "Summary",
        "Description",
        "History of change",
        "Significance",
        "Photographs",
        "Structural appendix",
        "Sources and open questions",
        "About this dossier",
    ):
        assert chapter in found


def test_all_fonts_are_ours_embedded_and_can_be_read_back(pdf):
    fonts = {
        str(font.BaseFont): font
        for page in pdf.pages
        for font in page.Resources.Font.values()
    }
    assert len(fonts) > 3
    for name, font in fonts.items():
        assert re.search(r"Source-?(Serif|Sans)", name), name
        assert "/ToUnicode" in font
        descriptor = font.DescendantFonts[0].FontDescriptor
        assert any(key in descriptor for key in ("/FontFile2", "/FontFile3"))


def test_running_heads_are_artifacts_and_every_other_mark_has_its_element(pdf):
    numbers = pdf.Root.StructTreeRoot.ParentTree.Nums
    owners = {int(k): v for k, v in zip(numbers[::2], numbers[1::2], strict=True)}
    hanging = {one.objgen for one in elements(pdf)}
    for page in pdf.pages:
        here = owners[int(page.StructParents)]
        depth, apart = [], 0
        for instruction in pikepdf.parse_content_stream(page):
            operator, operands = str(instruction.operator), instruction.operands
            if operator in ("BDC", "BMC"):
                depth.append(str(operands[0]))
                if operator == "BDC" and "/MCID" in operands[1]:
                    owner = here[int(operands[1].MCID)]
                    assert owner.objgen in hanging
                elif operator == "BDC":
                    assert str(operands[0]) == "/Artifact"
                    assert operands[1].Type == "/Pagination"
                    apart += 1
            elif operator == "EMC":
                depth.pop()
            elif operator in ("Tj", "TJ"):
                assert depth, "text that is neither content nor artifact"
        assert apart >= 2
    assert not any("not for posting." in str(one) for one in hanging)


def test_links_say_where_they_lead(pdf):
    links = [one for page in pdf.pages for one in page.get("/Annots", [])]
    assert links
    for one in links:
        assert str(one.Contents)
        assert int(one.F) == 4


def test_pictures_are_not_smoothed(pdf):
    """PDF/A forbids interpolation of images (ISO 19005-3 6.2.8)."""
    images = {
        one.objgen: one
        for page in pdf.pages
        for one in page.Resources.XObject.values()
        if one.Subtype == "/Image"
    }
    assert len(images) == 2
    assert not any(bool(one.get("/Interpolate", False)) for one in images.values())


def attached(pdf):
    return {
        name: spec.get_file().read_bytes() for name, spec in pdf.attachments.items()
    }


def test_attachments_come_out_whole_and_say_how_they_belong(pdf, facts):
    files = attached(pdf)
    assert json.loads(files["record.json"]) == facts
    listed = dict(
        reversed(line.split("  ", 1))
        for line in files["manifest-sha256.txt"].decode().splitlines()
    )
    assert set(listed) == set(files) - {"manifest-sha256.txt"}
    for name, sha256 in listed.items():
        assert hashlib.sha256(files[name]).hexdigest() == sha256
    kinds = {
        str(spec.obj.UF): str(spec.obj.AFRelationship)
        for spec in pdf.attachments.values()
    }
    assert kinds["record.json"] == "/Source"
    assert kinds["record.csv"] == kinds["photographs.csv"] == "/Data"
    assert len(pdf.Root.AF) >= len(files)


def test_the_attached_csv_holds_every_answer(pdf, facts):
    text = attached(pdf)["record.csv"].decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text)))
    assert len(rows) == sum(len(visit["answers"]) for visit in facts["visits"])
    [plated] = [
        row
        for row in rows
        if row["element"] == "span-1/upstream/L2L3"
        and row["visit_date"] == "2019-06-02"
    ]
    assert "two flat bars 3 × 1/2 in" in plated["in_words"]


def test_attached_check_files_give_the_printed_limits_when_run_again(pdf, facts):
    files = attached(pdf)
    checked = [one for one in facts["checks"] if one["document"]]
    assert len(checked) == 4
    for check in checked:
        data = files[f"check-{check['address']}-{check['latest']}.json"]
        again = answer(checkfile.parse(data))
        limit = again["governing"]["operating"]["limit_tons"]
        assert limit == pytest.approx(check["limit_tons"], rel=1e-9)


@pytest.mark.skipif(shutil.which("qpdf") is None, reason="qpdf is not installed")
def test_an_independent_reader_finds_no_fault(drawn, tmp_path):
    path = tmp_path / "dossier.pdf"
    path.write_bytes(drawn.pdf)
    done = subprocess.run(
        ["qpdf", "--check", str(path)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.skipif(
    shutil.which("pdffonts") is None, reason="pdffonts is not installed"
)
def test_an_independent_reader_finds_only_our_fonts_embedded(drawn, tmp_path):
    path = tmp_path / "dossier.pdf"
    path.write_bytes(drawn.pdf)
    listing = subprocess.run(
        ["pdffonts", str(path)], capture_output=True, text=True, check=True
    ).stdout.splitlines()[2:]
    assert listing
    for line in listing:
        name, *_, embedded, _, unicode_map, _, _ = line.split()
        assert "Source" in name
        assert (embedded, unicode_map) == ("yes", "yes")


# What it says.


def test_the_text_holds_every_figure_of_the_history(drawn):
    words = set(squeezed(drawn.text).split(" "))
    assert len(drawn.shown) > 6
    assert drawn.shown <= words


def test_the_history_page_shows_the_same_shares(client, db):
    bridge = make_recorded_bridge()
    page = client.get(reverse("history", args=[bridge.slug])).content.decode()
    told = dossier.facts(bridge)
    shares = [
        effect["limit_tons"]["share"]
        for visit in told["visits"]
        for change in visit["changes"]
        for effect in change["effects"]
    ]
    assert shares
    for share in shares:
        assert signed(share) in page


def test_every_page_carries_the_caution(drawn):
    for page in pypdf.PdfReader(io.BytesIO(drawn.pdf)).pages:
        assert "Load figures are screening estimates, not a load rating" in squeezed(
            page.extract_text()
        )


def test_what_people_wrote_is_printed(drawn):
    text = squeezed(drawn.text)
    for words in (
        "Odile Farrow, Alder Valley Bridge Society",
        "One of three of its kind left on the Alder.",
        "A strip 40 ft wide",
        "HARROW & LINTON BRACKWATER 1889",
        "Grid deck laid",
        "After the visit of 2 June 1990, before that of 2 June 2019",
        "Written from memory.",
        "Drawing, not a photograph",
        "northeast, 44°",
        "41.200000°, −77.400000°",
        "WGS 84",
    ):
        assert words in text, words


def test_a_sum_of_shares_agrees_with_the_whole_as_stored(facts):
    """What the table adds up: shares of one truss, and the row of all together."""
    for visit in facts["visits"]:
        for line in visit["lines"]:
            if not line["difference"]:
                continue
            shares = [
                effect["limit_tons"]["share"]
                for change in visit["changes"]
                for effect in change["effects"]
                if effect["address"] == line["address"]
            ]
            assert sum(shares) == pytest.approx(line["difference"]["limit_tons"])


def test_the_same_facts_give_the_same_bytes(drawn, facts, monkeypatch):
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "99")
    assert draw(facts, drawn) == drawn.pdf


def test_the_environment_is_as_it_was_after_drawing(drawn, thin, monkeypatch):
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "99")
    first = draw(thin, drawn)
    assert os.environ["SOURCE_DATE_EPOCH"] == "99"
    monkeypatch.delenv("SOURCE_DATE_EPOCH")
    assert draw(thin, drawn) == first
    assert "SOURCE_DATE_EPOCH" not in os.environ


def test_other_facts_give_another_file_and_another_identifier(drawn, thin):
    thin["bridge"]["owner"] = "Nobody"
    other = draw(thin, drawn)
    with (
        pikepdf.open(io.BytesIO(other)) as opened,
        pikepdf.open(io.BytesIO(drawn.pdf)) as first,
    ):
        assert bytes(opened.trailer.ID[0]) != bytes(first.trailer.ID[0])


def test_a_sheet_of_a4_is_a4(drawn, thin):
    with pikepdf.open(io.BytesIO(draw(thin, drawn, paper="a4"))) as opened:
        _, _, wide, high = (float(edge) for edge in opened.pages[0].MediaBox)
    # ISO 216: 210 by 297 mm.
    assert wide == pytest.approx(210 / 25.4 * 72, abs=0.1)
    assert high == pytest.approx(297 / 25.4 * 72, abs=0.1)


def test_nothing_is_logged_while_drawing(drawn):
    """A letter without a shape, a drawing without a name would be, and only there."""
    assert "≤ ½ ″ ′ → ☐ é ł" in drawn.text
    assert drawn.logged == []


def test_a_letter_that_the_typefaces_lack_is_named_by_its_number(drawn, thin):
    thin["bridge"]["summary"] = "Snow ☃, a bridge 橋, a zero\u200bwidth, tab\there."
    data = draw(thin, drawn)
    text = squeezed(text_of(data))
    assert "Snow [U+2603], a bridge [U+6A4B], a zerowidth, tab here." in text
    with pikepdf.open(io.BytesIO(data)) as opened:
        kept = json.loads(attached(opened)["record.json"])
    assert kept["bridge"]["summary"] == thin["bridge"]["summary"]


def test_a_missing_or_broken_picture_is_said_to_be(drawn, thin):
    thin["photographs"][0]["file"] = "photos/gone.jpg"
    pictures = {
        **drawn.pictures,
        thin["photographs"][1]["file"]: b"\xff\xd8 not a picture",
    }
    text = squeezed(text_of(dossier.pdf(thin, pictures=_from(pictures))))
    for number in (1, 2):
        assert f"Picture {number} is in the record, but its file was not found" in text


def test_a_record_with_nothing_in_it_still_makes_a_dossier(db):
    from tests.makers import make_bridge

    bare = make_bridge(lay_out=False, name="Bare", built="", span={"form": "unknown"})
    bare.spans.all().delete()
    text = squeezed(text_of(dossier.pdf(dossier.facts(bare))))
    assert "No visit has been accepted into the record." in text
    assert "This bridge has no truss to check." in text


def test_an_estimate_below_the_posted_limit_says_tell_the_owner(facts):
    [posted] = [one for one in facts["parts"] if one["kind"] == "limit"]
    assert dossier_pages.laid_out(facts)["below_posting"] == []
    limit = min(one["limit_tons"] for one in facts["checks"])
    posted |= {"is_known": True, "state": {"tons": limit + 1}}
    told = dossier_pages.laid_out(facts)["below_posting"]
    assert told
    assert all(text.endswith("tell the owner.") for text in told)
    posted["state"] = {"tons": 0.5}
    assert dossier_pages.laid_out(facts)["below_posting"] == []


# What it keeps back.


def whole_text(bridge, include=()):
    """Return all that goes into the file: the page as it is laid out, and the files."""
    made = dossier_pdf._made(
        facts_of(bridge, include), "letter", dossier_pdf.read_stored
    )
    return made.html + " ".join(one.content.decode() for one in made.attached)


def test_private_facts_stay_out_of_pages_and_attachments(db):
    bridge = make_recorded_bridge(is_position_sensitive=True)
    text = whole_text(bridge)
    for secret in (
        "555 0100",
        "white house",
        "Locked press",
        "41.200000",
        "41.2,",
        "77.400000",
        "41.111111",
        "77.222222",
    ):
        assert secret not in text, secret
    assert "The exact position: the coordinates given are of its area." in text
    assert "Where plates that were taken off are kept." in text
    assert "How to reach the owner." in text


def test_an_officer_may_decide_to_show_position_and_plates(db):
    bridge = make_recorded_bridge(is_position_sensitive=True)
    text = whole_text(bridge, dossier.INCLUDABLE)
    assert "41.200000°" in text
    assert "Locked press" in text
    assert "555 0100" not in text


def test_only_accepted_visits_and_their_pictures_are_in_it(db):
    bridge = make_recorded_bridge()
    waiting = make_visit_saying(
        bridge, 2021, changed={"span-1/deck": PANS}, status="submitted"
    )
    Photo.objects.filter(caption__contains="Picture 2").update(visit=waiting)
    told = dossier.facts(bridge)
    assert [visit["when"] for visit in told["visits"]] == ["1990-06-02", "2019-06-02"]
    assert [photo["caption"] for photo in told["photographs"]] == [
        "Picture 1 of the portal"
    ]
    assert told["left_out"][-1] == "1 visit that has not been accepted into the record."


def test_a_picture_that_has_not_arrived_is_not_in_it(db):
    bridge = make_recorded_bridge()
    Photo.objects.update(arrived_at=None)
    assert dossier.facts(bridge)["photographs"] == []


def test_the_number_of_queries_does_not_grow_with_the_record(db):
    bridge = make_recorded_bridge()
    few = _queries_of(bridge)
    for year in range(2000, 2012):
        make_visit_saying(bridge, year, same=["span-1/deck", "limit"])
    services.recheck(bridge=bridge)
    assert _queries_of(bridge) <= few <= 45


def _queries_of(bridge):
    # What the rules of its day and the samples come to is kept once it is worked out.
    dossier.facts(bridge)
    with CaptureQueriesContext(connection) as queries:
        dossier.facts(bridge)
    return len(queries)


HOSTILE = (
    '"><img src="http://127.0.0.1:9/a.png"><style>@import url(file:///etc/passwd);'
    "p{background:url(http://127.0.0.1:9/b)}</style>"
    '<link rel="attachment" href="file:///etc/passwd">'
    '<link rel="stylesheet" href="file:///etc/hostname">'
    '<svg><image href="file:///etc/hostname"/><use href="http://127.0.0.1:9/c#d"/></svg>'
    '<object data="file:///etc/passwd"></object><a href="javascript:alert(1)">x</a>'
    "<script>alert(1)</script>]]>--> {{ facts }} {% debug %}"
)
FREE_TEXT = {
    "name",
    "title",
    "text",
    "summary",
    "owner",
    "town",
    "road",
    "crossing",
    "heading",
    "caption",
    "credit",
    "rights",
    "transcription",
    "location",
    "notes",
    "note",
    "reason",
    "people",
    "not_reached",
    "danger_note",
    "description",
    "significance",
    "integrity",
    "boundary",
    "preparer",
    "criteria",
    "about",
    "value",
    "held_by",
    "locator",
    "url",
    "author",
    "builder",
    "origin_end",
    "line",
    "words",
    "sentence",
    "as_entered",
    "gap",
    "society",
    "site",
    "context",
    *(
        one.name
        for one in dossier_fields.FIELDS
        if one.kind in (dossier_fields.LINE, dossier_fields.TEXT)
    ),
}


def poisoned(value, key=""):
    """Return facts with hostile text in every field that a person may write."""
    if isinstance(value, dict):
        return {name: poisoned(inner, name) for name, inner in value.items()}
    if isinstance(value, list):
        return [poisoned(inner, key) for inner in value]
    return HOSTILE if isinstance(value, str) and key in FREE_TEXT else value


def test_a_hostile_record_fetches_nothing_and_is_printed_as_text(
    drawn, facts, monkeypatch
):
    kept = []

    def watched(*given):
        kept.append(made(*given))
        return kept[0]

    made = dossier_pdf.fetcher_of
    monkeypatch.setattr(dossier_pdf, "fetcher_of", watched)
    facts["visits"], facts["checks"] = facts["visits"][1:], facts["checks"][1:2]
    for line in facts["spans"][0]["lines"]:
        line["members"] = line["members"][:4]
    facts["parts"] = facts["parts"][:4]
    facts["visits"][0]["answers"] = facts["visits"][0]["answers"][:2]
    facts = poisoned(facts)
    data = draw(facts, drawn)
    [fetcher] = kept
    assert fetcher.refused == []
    assert fetcher.asked
    assert all(
        url.startswith(("asset:font/", "asset:picture/")) for url in fetcher.asked
    )
    with pikepdf.open(io.BytesIO(data)) as opened:
        inside = attached(opened)
        assert not any("passwd" in name for name in inside)
        assert b"root:" not in b"".join(inside.values())
        assert not [
            link
            for page in opened.pages
            for link in page.get("/Annots", [])
            if "/A" in link
        ]
    assert "http://127.0.0.1:9/a.png" in text_of(data).replace("\n", "")


@pytest.mark.parametrize(
    "url",
    [
        "file:///etc/passwd",
        "http://127.0.0.1:9/x",
        "data:text/plain,x",
        "asset:font/../serif",
        "asset:font/other",
        "asset:picture/99",
        "ftp://127.0.0.1/x",
    ],
)
def test_the_fetcher_knows_nothing_but_what_it_was_given(url):
    fetcher = dossier_pdf.fetcher_of({"asset:picture/1": b"x"})
    with pytest.raises(ValueError, match="fetches nothing"):
        fetcher.fetch(url)
    assert fetcher.refused == [url]


# Kept, and not drawn twice.


def test_a_drawn_dossier_is_kept_and_a_damaged_one_drawn_again(
    drawn, facts, media, monkeypatch
):
    calls = []

    def counted(made, target, say=None):
        calls.append(made.sha256)
        target.write(drawn.pdf)

    def stored_pdf(facts):
        return (
            media / dossier.keep(facts, pictures=_from(drawn.pictures))
        ).read_bytes()

    monkeypatch.setattr(dossier_pdf, "_draw", counted)
    assert dossier.kept(facts, pictures=_from(drawn.pictures)) is None
    assert stored_pdf(facts) == drawn.pdf
    assert stored_pdf(facts) == drawn.pdf
    assert dossier.kept(facts, pictures=_from(drawn.pictures)) is not None
    assert len(calls) == 1
    [kept] = (media / "dossiers").glob("*.pdf")
    kept.write_bytes(drawn.pdf[:1000])
    assert stored_pdf(facts) == drawn.pdf
    assert len(calls) == 2
    assert [one.read_bytes() for one in (media / "dossiers").iterdir()] == [drawn.pdf]
    facts["bridge"]["owner"] = "Nobody"
    stored_pdf(facts)
    assert len(set(calls)) == 2


def test_whoever_waits_hears_of_every_page(drawn, thin, media):
    told = []
    name = dossier.keep(thin, pictures=_from(drawn.pictures), say=told.append)
    pages = len(pypdf.PdfReader(media / name).pages)
    assert [f"Laying out page {one}" for one in range(1, pages + 1)] == list(
        dict.fromkeys(words for words in told if "page " in words)
    )
    assert told[-1] == "Writing the pages"
    library = logging.getLogger("weasyprint.progress")
    assert not library.isEnabledFor(logging.INFO)
    assert library.propagate


def test_without_pango_a_clear_reason_is_given(drawn, thin, monkeypatch):
    import builtins

    real = builtins.__import__

    def without(name, *args, **kwargs):
        if name.startswith("weasyprint"):
            raise OSError("cannot load library 'libpango-1.0-0'")
        return real(name, *args, **kwargs)

    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(dossier.NoRenderer, match=r"libpango-1\.0-0"):
        draw(thin, drawn)


def test_the_moment_is_that_of_the_last_change_to_the_record(db):
    bridge = make_recorded_bridge()
    write_narrative(bridge)
    first = dossier.facts(bridge)["recorded_at"]
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", first)
    assert dossier.facts(bridge)["recorded_at"] == first
    assert first != MOMENT


# Words of one demonstration bridge, page by page, read and accepted.


def test_words_of_the_dossier_of_a_demonstration_bridge(demo_society):
    from bridges.models import Bridge

    bridge = Bridge.objects.get(slug="mill-lane")
    reader = pypdf.PdfReader(io.BytesIO(dossier.pdf(facts_of(bridge))))
    pages = [page.extract_text() for page in reader.pages]
    # The engine's own words have their own tests.
    pages = [page for page in pages if "Lane Bridge Structural appendix" not in page]
    text = re.sub(r"\b[0-9a-f]{12,64}\b", "(hash)", "\n\f\n".join(pages))
    text = re.sub(r"posting\. (\d+) of \d+", r"posting. \1 of all", text)
    assert_golden("dossier-mill-lane.txt", text + "\n")
