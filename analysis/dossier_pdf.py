"""The dossier as an archival PDF: built to PDF/A-3a and PDF/UA-1.

Checked by the project's own list of structure tests, not by an outside validator.

``pdf`` is a function of the facts (and of the pictures they name): the same facts give
the same bytes on any machine, whatever its fonts and its clock. Nothing that anybody
wrote into the record can make it fetch anything: the fetcher knows the packaged fonts
and the pictures by name, and no address at all.
"""

from __future__ import annotations

import csv
import gc
import hashlib
import io
import json
import logging
import os
import tempfile
import threading
import unicodedata
import warnings
from collections.abc import Callable
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from importlib.metadata import version
from pathlib import Path

import fontpkg_source_sans_3
import fontpkg_source_serif_4
from django.core.files.base import File
from django.core.files.storage import default_storage
from django.template.loader import render_to_string
from PIL import Image, UnidentifiedImageError

from bridges.exports import guard

from . import dossier_pages, dossier_sheets
from .dossier_finish import FINISH, finish

PAPERS = {"letter": "Letter", "a4": "A4"}
FONTS = {
    "serif": (fontpkg_source_serif_4, "SourceSerif4[opsz,wght].ttf"),
    "serif-italic": (fontpkg_source_serif_4, "SourceSerif4-Italic[opsz,wght].ttf"),
    "sans": (fontpkg_source_sans_3, "SourceSans3[wght].ttf"),
    "sans-italic": (fontpkg_source_sans_3, "SourceSans3-Italic[wght].ttf"),
}
STYLE = Path(__file__).parent / "static" / "analysis" / "pdf.css"
NO_PANGO = (
    "The PDF cannot be made on this machine: the Pango text library is missing. On "
    "Debian and Ubuntu, install it with “apt-get install libpango-1.0-0 "
    "libpangoft2-1.0-0” and try again. The record itself is not affected."
)
OBJECTS_BETWEEN_LOOKS = 20_000
PDF_START, PDF_END = b"%PDF-", b"%%EOF"
# One at a time: the environment is changed meanwhile, and threads gain nothing.
_RENDERING = threading.Lock()


class NoRenderer(Exception):
    """The library that lays out the PDF is not on this machine."""


@dataclass(frozen=True)
class Attached:
    """A file that travels inside the PDF."""

    name: str
    content: bytes
    description: str
    relationship: str

    @property
    def sha256(self):
        return hashlib.sha256(self.content).hexdigest()


def read_stored(name):
    """Return the bytes of a stored picture. Raises ``OSError`` where it is gone."""
    with default_storage.open(name, "rb") as file:
        return file.read()


DOCUMENTS = {
    "dossier": "analysis/pdf/dossier.html",
    "sheet": "analysis/pdf/sheet.html",
    "relocation": "analysis/pdf/relocation.html",
    "alternatives": "analysis/pdf/alternatives.html",
    "changes": "analysis/pdf/changes.html",
}


def pdf(facts, paper="letter", pictures=read_stored, document="dossier"):
    """Return the dossier as PDF bytes: the same bytes for the same facts.

    ``pictures`` returns the bytes of a picture named in the facts. A picture that is
    missing or broken is said to be, in its place. Raises ``NoRenderer`` where the
    layout library cannot be loaded, ``KeyError`` for a paper not in ``PAPERS`` or a
    document not in ``DOCUMENTS``.
    """
    target = io.BytesIO()
    _draw(_made(facts, paper, pictures, document), target)
    return target.getvalue()


def kept(facts, paper="letter", pictures=read_stored, document="dossier"):
    """Return the name in the store of a PDF drawn already, None where it is not."""
    return _kept(_name(_made(facts, paper, pictures, document)))


def keep(facts, paper="letter", pictures=read_stored, document="dossier", say=None):
    """Return the name in the store of the PDF, drawn once for each content.

    ``say`` is called with a few words each time there is something new to tell.
    """
    made = _made(facts, paper, pictures, document)
    name = _name(made)
    if _kept(name) is None:
        with tempfile.TemporaryFile() as drawn:
            _draw(made, drawn, say)
            drawn.seek(0)
            stored = default_storage.save(name, File(drawn))
        if stored != name:
            # Another request was quicker; its file is the same.
            default_storage.delete(stored)
    return name


def _name(made):
    return f"dossiers/{made.sha256}.pdf"


def _kept(name):
    """Return the name of a kept file, None where there is none or it was cut short."""
    if not default_storage.exists(name):
        return None
    with default_storage.open(name, "rb") as file:
        start = file.read(len(PDF_START))
        file.seek(max(0, file.size - 16))
        end = file.read().rstrip()
    if start == PDF_START and end.endswith(PDF_END):
        return name
    default_storage.delete(name)
    return None


@dataclass(frozen=True)
class _Made:
    """All that goes into one PDF, and the hash that stands for it."""

    html: str
    css: str
    attached: list[Attached]
    # Address in the document → name in the store. Read when they are drawn: sixty
    # photographs would fill the memory twice over.
    pictures: dict[str, str]
    read: Callable[[str], bytes]
    moment: str
    sha256: str


def _made(facts, paper, pictures, document="dossier"):
    template = DOCUMENTS[document]
    attached = attachments(facts) if document == "dossier" else []
    printable = _printable(facts)
    found, hashes = {}, []
    for photo, given in zip(
        printable["photographs"], facts["photographs"], strict=True
    ):
        content = _picture(pictures, given["file"])
        photo["is_missing"] = content is None
        if content is not None:
            address = photo["address"] = f"asset:picture/{photo['number']}"
            found[address] = given["file"]
            hashes.append(f"{address} {hashlib.sha256(content).hexdigest()}")
    facts_sha256 = hashlib.sha256(_canonical(facts)).hexdigest()
    view = dossier_pages.laid_out(printable)
    context = {
        "facts": printable,
        "view": view,
        "more": _more(document, printable, view),
        "attached": attached,
        "facts_sha256": facts_sha256,
        "paper": PAPERS[paper],
    }
    html = render_to_string(template, context)
    css = f"{STYLE.read_text(encoding='utf-8')}\n@page {{ size: {PAPERS[paper]} }}\n"
    parts = [html, css, str(FINISH), *(one.sha256 for one in attached)]
    parts += [*hashes, version("weasyprint")]
    sha256 = hashlib.sha256("\0".join(parts).encode()).hexdigest()
    return _Made(html, css, attached, found, pictures, facts["recorded_at"], sha256)


def _more(document, facts, view):
    """Return what a shorter document prints beside the facts and the dossier's view."""
    if document == "sheet":
        return dossier_sheets.sheet(facts, view)
    if document == "relocation":
        return dossier_sheets.relocation(facts)
    if document == "alternatives":
        return dossier_sheets.alternatives(facts)
    if document == "changes":
        return dossier_sheets.between(facts, view, *facts["between"])
    return None


def _canonical(facts):
    return json.dumps(facts, sort_keys=True, separators=(",", ":")).encode()


def _picture(pictures, name):
    try:
        content = pictures(name)
        with Image.open(io.BytesIO(content)) as image:
            image.verify()
    except (OSError, UnidentifiedImageError, SyntaxError):
        return None
    return content


# Text that our fonts can set.


@cache
def _settable():
    """Return the code points that every one of our fonts has."""
    from fontTools.ttLib import TTFont

    shared = None
    for name in FONTS:
        with TTFont(_font_path(name), lazy=True) as font:
            here = set(font.getBestCmap())
        shared = here if shared is None else shared & here
    return frozenset(shared)


def _font_path(name):
    package, file = FONTS[name]
    return Path(package.ROOT) / "files" / file


def _printable(value):
    """Return a copy whose every text our fonts can set, the rest named by number.

    A font taken from the machine instead would change the bytes from one machine to
    the next; the attached record keeps the text as it was written.
    """
    if isinstance(value, dict):
        return {key: _printable(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [_printable(inner) for inner in value]
    if not isinstance(value, str) or (value.isascii() and value.isprintable()):
        return value
    return "".join(_set_in_type(one) for one in unicodedata.normalize("NFC", value))


def _set_in_type(character):
    if character == "\n" or ord(character) in _settable():
        return character
    if character == "\t":
        return " "
    if unicodedata.category(character) in ("Cc", "Cf", "Cs"):
        return ""
    return f"[U+{ord(character):04X}]"


# What travels inside.


def attachments(facts):
    """Return the files inside the PDF: the record, its answers, the check files, hashes."""
    files = [
        Attached(
            "record.json",
            json.dumps(facts, indent=1, sort_keys=True, ensure_ascii=False).encode(),
            "Everything this dossier says, as data",
            "Source",
        ),
        Attached(
            "record.csv",
            _answers_csv(facts).encode("utf-8-sig"),
            "What every accepted visit said of every element",
            "Data",
        ),
        Attached(
            "photographs.csv",
            _photographs_csv(facts).encode("utf-8-sig"),
            "The log of the pictures, with the SHA-256 of each original",
            "Data",
        ),
        *_check_files(facts),
    ]
    lines = "".join(f"{one.sha256}  {one.name}\n" for one in files)
    manifest = Attached(
        "manifest-sha256.txt",
        lines.encode(),
        "SHA-256 of each attached file",
        "Supplement",
    )
    return [*files, manifest]


def _check_files(facts):
    taken = set()
    for check in facts["checks"]:
        if check["document"] is None:
            continue
        stem = name = f"check-{check['address']}-{check['latest']}"
        while name in taken:
            name = f"{stem}-{len(taken)}"
        taken.add(name)
        yield Attached(
            f"{name}.json",
            json.dumps(check["document"], indent=1, ensure_ascii=False).encode(),
            f"Input of the check, {check['line'].lower()}, {check['when']}",
            "Data",
        )


COLUMNS = (
    "visit_date",
    "basis",
    "visit_id",
    "element",
    "element_name",
    "answer",
    "in_words",
    "certainty",
    "reason",
    "note",
)


PHOTOGRAPH_COLUMNS = (
    "number",
    "caption",
    "of",
    "viewpoint",
    "is_drawing",
    "taken",
    "facing",
    "bearing_deg",
    "credit",
    "rights",
    "width_px",
    "height_px",
    "sha256",
)


def _answers_csv(facts):
    rows = (
        (
            visit["when"],
            visit["basis"],
            visit["key"],
            one["element"],
            one["name"],
            one["answer"],
            one["words"],
            one["certainty"],
            one["reason"],
            one["note"],
        )
        for visit in facts["visits"]
        for one in visit["answers"]
    )
    return _csv(COLUMNS, rows)


def _photographs_csv(facts):
    rows = (
        [photo[name] for name in PHOTOGRAPH_COLUMNS] for photo in facts["photographs"]
    )
    return _csv(PHOTOGRAPH_COLUMNS, rows)


def _csv(columns, rows):
    out = io.StringIO()
    write = csv.writer(out, lineterminator="\r\n").writerow
    write(columns)
    for row in rows:
        write([guard(cell) if isinstance(cell, str) else cell for cell in row])
    return out.getvalue()


# Drawing it.


def _load():
    """Import the layout library: it takes seconds, and needs Pango on the machine."""
    try:
        import weasyprint
    except OSError as error:
        raise NoRenderer(NO_PANGO) from error
    return weasyprint


def _draw(made, target, say=None):
    """Draw a document into ``target``, a binary file."""
    weasyprint = _load()
    from weasyprint.text.fonts import FontConfiguration

    fetcher = fetcher_of(made.pictures, made.read)
    fonts = FontConfiguration()
    style = weasyprint.CSS(string=made.css, font_config=fonts, url_fetcher=fetcher)
    moment = datetime.fromisoformat(made.moment.replace("Z", "+00:00"))
    with (
        _RENDERING,
        _clock_stopped(moment),
        _rarely_collected(),
        _pages_told(say),
        tempfile.TemporaryDirectory() as scratch,
        warnings.catch_warnings(),
    ):
        # The library leaves its colour profile open for the collector to close.
        warnings.simplefilter("ignore", ResourceWarning)
        weasyprint.HTML(
            string=made.html, base_url="asset:", url_fetcher=fetcher
        ).write_pdf(
            target,
            stylesheets=[style],
            font_config=fonts,
            # Pictures wait in files until they are written.
            cache=f"{scratch}/pictures",
            pdf_variant="pdf/a-3a",
            pdf_identifier=bytes.fromhex(made.sha256[:32]),
            attachments=[
                weasyprint.Attachment(
                    string=one.content,
                    name=one.name,
                    description=one.description,
                    created=moment,
                    modified=moment,
                    relationship=one.relationship,
                    url_fetcher=fetcher,
                )
                for one in made.attached
            ],
            finisher=finish,
        )


@contextmanager
def _rarely_collected():
    """Let the collector of garbage look less often: layout makes small things by the
    million and drops few, and looking took a quarter of the time."""
    before = gc.get_threshold()
    gc.set_threshold(OBJECTS_BETWEEN_LOOKS, *before[1:])
    try:
        yield
    finally:
        gc.set_threshold(*before)


@contextmanager
def _pages_told(say):
    """Pass on what the layout library tells of its progress, in our words."""
    if say is None:
        yield
        return
    told = logging.getLogger("weasyprint.progress")
    before = told.level, told.propagate
    handler = logging.Handler()
    handler.emit = lambda record: _pass_on(record, say)
    told.addHandler(handler)
    told.setLevel(logging.INFO)
    told.propagate = False
    try:
        yield
    finally:
        told.removeHandler(handler)
        told.setLevel(before[0])
        told.propagate = before[1]


def _pass_on(record, say):
    if record.msg.startswith("Step 5") and record.args:
        say(f"Laying out page {record.args[0]}")
    elif record.msg.startswith("Step 6"):
        say("Writing the pages")


def fetcher_of(pictures, read=read_stored):
    """Return a fetcher that knows our fonts and these pictures, and nothing else.

    ``pictures`` are names in the store by address, and ``read`` returns the bytes of one.

    ``asked`` lists every address that was asked for and ``refused`` what was not given.
    """
    _load()
    from weasyprint.urls import URLFetcher, URLFetcherResponse

    class OurFetcher(URLFetcher):
        def __init__(self):
            super().__init__(allowed_protocols=[], allow_redirects=False)
            self.asked, self.refused = [], []

        def fetch(self, url, headers=None):
            self.asked.append(url)
            if url.startswith("asset:font/") and url[11:] in FONTS:
                body = _font_path(url[11:]).read_bytes()
                return URLFetcherResponse(url, body, {"Content-Type": "font/ttf"})
            if url in pictures:
                kind = {"Content-Type": "image/jpeg"}
                return URLFetcherResponse(url, read(pictures[url]), kind)
            self.refused.append(url)
            raise ValueError("The dossier fetches nothing.")

    return OurFetcher()


@contextmanager
def _clock_stopped(moment):
    """Make the font files' time stamps those of the record, then undo it."""
    before = os.environ.get("SOURCE_DATE_EPOCH")
    os.environ["SOURCE_DATE_EPOCH"] = str(int(moment.timestamp()))
    try:
        yield
    finally:
        if before is None:
            del os.environ["SOURCE_DATE_EPOCH"]
        else:
            os.environ["SOURCE_DATE_EPOCH"] = before
