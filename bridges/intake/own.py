"""Our own CSV: the columns that the export writes, read back, and what each means.

Required of every row is the society's ``number``. A row of a bridge that is on record
needs nothing else, and a blank cell says nothing. A new bridge also needs a name, a
county and a position. What the export writes and visits alone can say (the deck now,
dates of visits) is read, kept in the raw row, and never written.
"""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass

from django.core.exceptions import ValidationError

from bridges import exports
from bridges.models import (
    Bridge,
    Confidence,
    Connection,
    DeckPosition,
    Form,
    Material,
    family_of,
)
from shared import dates

from .lines import Line, Refused
from .record import Fault, Record

DELIMITERS = ",;\t"
MOST_LINES, MOST_CHARACTERS = 200, 100_000
# The square of a position told to about two miles only.
ABOUT_M = 3200
NEEDED = ("number",)


@dataclass(frozen=True)
class Column:
    name: str
    kind: str
    meaning: str
    # What a cell of it becomes: "bridge", "span", "builders", "place", "derived".
    goes: str = "bridge"
    choices: type | None = None
    # Would lead a stranger to a sensitive bridge, or is the society's own: no claim.
    is_telling: bool = False


def _c(name, kind, meaning, **more):
    return Column(name, kind, meaning, **more)


COLUMNS = (
    _c(
        "number",
        "text",
        "The society’s number. Every row needs it; by it a bridge is told again.",
    ),
    _c(
        "slug",
        "text",
        "The last part of the page’s address. Made of the name where blank.",
    ),
    _c("name", "text", "What the bridge is called. A new bridge needs one."),
    _c("also_known_as", "text", "Other names."),
    _c("county", "text", "County. A new bridge needs one."),
    _c("town", "text", "Town or township."),
    _c("road", "text", "The road it carries.", is_telling=True),
    _c("crossing", "text", "The water, road or railroad it crosses.", is_telling=True),
    _c(
        "status", "choice", "Whether it stands, and in what use.", choices=Bridge.Status
    ),
    _c("listing", "choice", "Standing with the Register.", choices=Bridge.Listing),
    _c(
        "built",
        "date",
        "When it was built: 1889, 1889~ (about), 188X, ../1890 (by 1890).",
    ),
    _c("built_earliest", "derived", "Follows from “built”.", goes="derived"),
    _c("built_latest", "derived", "Follows from “built”.", goes="derived"),
    _c(
        "built_confidence",
        "choice",
        "How surely that date is known.",
        choices=Confidence,
    ),
    _c("lost", "date", "When it was lost or moved away."),
    _c("form", "choice", "Form of the longest span.", goes="span", choices=Form),
    _c(
        "deck_position",
        "choice",
        "Where its deck lies.",
        goes="span",
        choices=DeckPosition,
    ),
    _c(
        "connection",
        "choice",
        "How its joints are made.",
        goes="span",
        choices=Connection,
    ),
    _c("material", "choice", "What it is made of.", goes="span", choices=Material),
    _c(
        "span_count",
        "whole",
        "How many spans; a new bridge is given so many.",
        goes="span",
    ),
    _c(
        "longest_span_ft", "number", "Length of the longest span, in feet.", goes="span"
    ),
    _c(
        "builder_names",
        "text",
        "Who built it; several are parted by semicolons.",
        goes="builders",
    ),
    _c(
        "deck",
        "derived",
        "Deck at the last visit; follows from visits.",
        goes="derived",
    ),
    _c("posted_tons", "derived", "Posted limit; follows from visits.", goes="derived"),
    _c("visit_count", "derived", "Follows from visits.", goes="derived"),
    _c("last_visited", "derived", "Follows from visits.", goes="derived"),
    _c("last_changed", "derived", "Follows from visits.", goes="derived"),
    _c("changed_parts", "derived", "Follows from visits.", goes="derived"),
    _c(
        "latitude",
        "degrees",
        "Decimal degrees, north positive. A new bridge needs one.",
        goes="place",
        is_telling=True,
    ),
    _c(
        "longitude",
        "degrees",
        "Decimal degrees, west negative. A new bridge needs one.",
        goes="place",
        is_telling=True,
    ),
    _c(
        "position",
        "words",
        "“exact”, or “about 2 miles” where the place is kept from visitors.",
        goes="place",
    ),
    _c("summary", "text", "A few sentences about it."),
    _c(
        "access_notes",
        "text",
        "How to reach it; for the society’s people.",
        is_telling=True,
    ),
    _c("owner", "text", "Who owns it.", is_telling=True),
    _c(
        "owner_contact",
        "text",
        "Whom to ask; for the society’s people.",
        is_telling=True,
    ),
    _c("is_public", "yes", "“no” keeps the bridge from visitors.", is_telling=True),
    _c(
        "is_position_sensitive",
        "yes",
        "“yes” shows visitors the area only.",
        is_telling=True,
    ),
    _c(
        "as_of",
        "derived",
        "The day the file tells of, where the export was asked for one.",
        goes="derived",
    ),
    _c(
        "page",
        "derived",
        "Address of the bridge’s page, where the export writes it.",
        goes="derived",
    ),
)
BY_NAME = {column.name: column for column in COLUMNS}
# What a claim about a column is called.
ABOUT = {
    "also_known_as": "other names",
    "built_confidence": "confidence of the date",
    "deck_position": "deck position",
    "span_count": "spans",
    "longest_span_ft": "span length",
    "builder_names": "builder",
}
YES_NO = {"yes": True, "true": True, "1": True, "no": False, "false": False, "0": False}
NUMBER = re.compile(r"\d{1,6}(\.\d+)?")


class Own:
    """The layout of one file: which cell of a row is which column."""

    name = "own"

    def __init__(self, header, vintage=""):
        self.delimiter = max(DELIMITERS, key=header.count)
        try:
            names = next(csv.reader([header], delimiter=self.delimiter), [])
        except csv.Error as error:
            raise Refused("The header is not one line of names.") from error
        self.names = [re.sub(r"[\s-]+", "_", one.strip().lower()) for one in names]
        missing = [name for name in NEEDED if name not in self.names]
        if missing:
            raise Refused(
                "The header names no column “number”. The first line must name the "
                "columns; the page about columns says which there are."
            )
        twice = sorted({n for n in self.names if n and self.names.count(n) > 1})
        if twice:
            raise Refused(f"The header names “{'” and “'.join(twice)}” twice.")
        self.unknown = [one for one in self.names if one not in BY_NAME]
        self.era = ""

    def records(self, lines):
        """Yield a ``Record`` for each row; a cell may hold line ends in quotes."""
        for rows in rows_of(lines):
            if all(line.is_blank for line in rows):
                continue
            text = "\n".join(line.text for line in rows)
            yield self.record(Line(rows[0].number, text, rows[-1].end)), rows[-1].end

    def cells(self, text, record=None):
        try:
            table = list(csv.reader(io.StringIO(text), delimiter=self.delimiter))
        except csv.Error:
            if record is not None:
                record.fault("line-ending", "the row")
            return None
        row = table[0] if table else []
        width = len(self.names)
        if len(row) != width or len(table) > 1:
            if record is not None:
                is_open = text.count('"') % 2
                code = "cells-missing" if len(row) < width else "cells-extra"
                record.fault("quote-open" if is_open else code, "the row", len(row))
            return None
        return [exports.unguard(cell).strip() for cell in row]

    def record(self, line):
        record = Record(line.number, line.text)
        cells = self.cells(line.text, record)
        if cells is None:
            return record
        said = {
            name: cell
            for name, cell in zip(self.names, cells, strict=True)
            if cell and name in BY_NAME
        }
        if not said.get("number"):
            record.fault("number-blank", "number")
            return record
        facts = {}
        for name, text in said.items():
            column = BY_NAME[name]
            if column.goes != "derived" and name not in ("latitude", "longitude"):
                value = _read(column, text, record)
                if value is not None:
                    facts[name] = value
        _places(said, facts, record)
        _tell(said, facts, record)
        return record


def rows_of(lines):
    """Yield lists of ``Line``: one row each, which is more where quotes span lines.

    A quotation mark that is never closed costs its own line and no other.
    """
    held = []
    waiting = []
    lines = iter(lines)
    while True:
        line = waiting.pop(0) if waiting else next(lines, None)
        if line is None:
            if not held:
                return
        else:
            held.append(line)
            if sum(one.text.count('"') for one in held) % 2 == 0:
                yield held
                held = []
                continue
            size = sum(len(one.text) for one in held)
            if len(held) < MOST_LINES and size < MOST_CHARACTERS:
                continue
        yield held[:1]
        waiting = held[1:] + waiting
        held = []


def _read(column, text, record):
    """Return the value of a cell, or None with the fault told."""
    if column.kind == "choice":
        wanted = text.casefold()
        for value, label in column.choices.choices:
            if wanted in (value, label.casefold()):
                return value
        record.fault("choice-unknown", column.name, text)
    elif column.kind == "date":
        try:
            dates.parse(text)
        except ValidationError:
            record.fault("date-unread", column.name, text)
        else:
            return _fitting(column, text, record)
    elif column.kind == "yes":
        if text.casefold() in YES_NO:
            return YES_NO[text.casefold()]
        record.fault("yes-or-no-grave", column.name, text)
    elif column.kind == "whole":
        if re.fullmatch(r"\d{1,3}", text):
            return int(text)
        record.fault("number-digits", column.name, text)
    elif column.kind == "number":
        if NUMBER.fullmatch(text):
            return float(text) or None
        negative = text.startswith("-") and NUMBER.fullmatch(text[1:])
        record.fault(
            "number-negative" if negative else "number-digits", column.name, text
        )
    elif column.kind == "words":
        if text in (exports.EXACT, exports.ABOUT):
            return text
        record.fault("choice-unknown-grave", column.name, text)
    else:
        return _fitting(column, text, record)
    return None


def _fitting(column, text, record):
    if column.goes == "bridge":
        most = Bridge._meta.get_field(column.name).max_length
        if most and len(text) > most:
            record.fault("too-long", column.name, most)
            return None
    return text


def _places(said, facts, record):
    texts = said.get("latitude", ""), said.get("longitude", "")
    if not any(texts):
        return
    if not all(texts):
        record.fault("position-blank", "latitude" if not texts[0] else "longitude")
        return
    place = []
    for name, text, most in (("latitude", texts[0], 90), ("longitude", texts[1], 180)):
        if not re.fullmatch(r"[+-]?\d{1,9}(\.\d+)?", text):
            record.fault("degrees-digits", name, text)
            return
        if abs(float(text)) > most:
            other = "position-swapped" if name == "latitude" else "longitude-range"
            if name == "latitude" and abs(float(text)) > 180:
                other = "latitude-range"
            record.fault(other, name, f"{texts[0]}, {texts[1]}")
            return
        place.append(round(float(text), 6))
    if place == [0, 0]:
        record.fault("position-zero", "latitude", "0, 0")
        return
    record.place = tuple(place)
    if facts.get("position") == exports.ABOUT:
        record.accuracy_m = ABOUT_M
        # What was kept from visitors is not shown to them on the way back.
        facts["is_position_sensitive"] = True


def _tell(said, facts, record):
    record.key = " ".join(facts.get("number", "").upper().split())
    if not record.key:
        record.faults.append(Fault.of("number-blank", "number"))
        return
    record.name = facts.get("name", facts["number"])
    names = (facts.get("name", ""), facts.get("also_known_as", ""))
    record.names = tuple(filter(None, names))
    record.crossings = tuple(filter(None, [facts.get("crossing", "")]))
    record.roads = tuple(filter(None, [facts.get("road", "")]))
    built, lost = (
        dates.parse(facts[n]) if n in facts else None for n in ("built", "lost")
    )
    if (
        built
        and lost
        and built.earliest
        and lost.latest
        and lost.latest < built.earliest
    ):
        record.fault("lost-before-built", "lost", facts.pop("lost"))
    if built and built.earliest and built.latest:
        record.year = built.earliest.year
    if "form" in facts and facts["form"] not in (Form.UNKNOWN, Form.OTHER):
        record.family = family_of(facts["form"])
    if said.get("as_of"):
        # What was so on another day is no claim about today.
        record.then = ("status", "listing", "lost")
    record.facts = facts
    if "longest_span_ft" in facts and facts["longest_span_ft"] is None:
        del facts["longest_span_ft"]
    for name in ("name", "county"):
        if name not in facts:
            record.if_new.append(Fault.of(f"{name}-blank", name))
    if record.place is None:
        record.if_new.append(Fault.of("position-needed", "latitude"))


def claims_against(record, bridge, standing):
    """Return {about: value} of what a row says otherwise than the record does."""
    found = {}
    for name, value in record.facts.items():
        column = BY_NAME[name]
        if (
            column.is_telling
            or column.goes in ("place", "derived")
            or name in ("number", "slug")
        ):
            continue
        if name in record.then:
            continue
        held = getattr(bridge if column.goes == "bridge" else standing, name, "")
        if held in ("", None) and value in ("", "unknown", "none", 0):
            continue
        if _same(held, value):
            continue
        words = column.choices(value).label if column.choices else f"{value}"
        if name == "longest_span_ft":
            words = f"{value:g} ft"
        if len(words) <= 240:
            found[ABOUT.get(name, name)] = words
    return found


def _same(held, value):
    if isinstance(value, float) and isinstance(held, int | float):
        return abs(held - value) < 1e-6
    return str(held).split() == str(value).split()
