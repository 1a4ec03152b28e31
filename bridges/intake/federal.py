"""Records of the federal inventory, delimited and fixed width, as they really come.

What the guide says and what the files hold differ: leading zeros are dropped, text is
quoted by apostrophes, no sign stands before the longitude, decimals are implied in one
layout and written in the other, and a blank, a zero, a nine and an N each mean a thing
of their own. One reader for each layout makes 118 cells of a line, and the rest is the
same for both.
"""

from __future__ import annotations

import csv
import re

from .items import (
    BY_HEADER,
    BY_NUMBER,
    CODES,
    FAMILY_OF_DESIGN,
    ITEMS,
    NEEDED,
    STATES,
    TRAILING,
    WIDTH,
)
from .lines import Refused
from .record import Record

FOOT_M = 0.3048
DELIMITERS = ",\t|;"
PLACE_OF = {item.number: index for index, item in enumerate(ITEMS)}
MANGLED = re.compile(r"\d(\.\d+)?E\+?\d+", re.IGNORECASE)
CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f]")
# The first bridge that an inventory of roads could hold; from memory.
FIRST_YEAR = 1690
# More than any bridge has; a list in feet goes beyond some of them. From memory.
MOST = {"48": 1500, "49": 60_000, "51": 90, "52": 100}
# Whole degrees about a state, and how far beyond still counts.
MARGIN_DEGREES = 0.1
# Numbers that are no numbers, by item.
SENTINELS = {
    "10": {99.99: "no restriction"},
    "19": {999: "no way round", 199: "199 km or more"},
    "34": {99: "skews vary much"},
    "47": {99.9: "no restriction"},
    "48": {0: "not recorded"},
    "49": {0: "not recorded"},
    "51": {0: "not recorded or none"},
    "52": {0: "not recorded"},
    "53": {99.99: "no restriction"},
    "54B": {99.99: "no restriction", 0: "nothing passes under it"},
    "64": {99.9: "live load hardly matters"},
    "66": {99.9: "live load hardly matters"},
}
MONTHS = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
]


class Layout:
    """What both layouts share. ``cells`` of a line are those of ``ITEMS``, in order."""

    name = ""
    has_points = False
    delimiter = ""

    def __init__(self, vintage):
        self.year = _year_of(vintage)

    def record(self, line):
        """Return the ``Record`` of a ``Line``."""
        record = Record(line.number, line.text)
        if odd := CONTROL.search(line.text.replace("\t", " ")):
            code = "line-ending" if odd.group() == "\r" else "control-character"
            record.fault(code, "the row", f"U+{ord(odd.group()):04X}")
            return record
        cells = self.cells(line.text, record)
        if cells is not None:
            _Reading(self, cells, record).all()
        return record


class FixedWidth(Layout):
    """By position, never by the length of the whole: 389 characters or more."""

    name = "federal-fixed"

    def cells(self, text, record=None):
        if len(text) < WIDTH:
            if record is not None:
                record.fault("line-short", "the row", len(text))
            return None
        return [text[item.start : item.end] for item in ITEMS]


class Delimited(Layout):
    """By the header's names, whatever their order; unknown columns are told."""

    name = "federal-delimited"
    has_points = True

    def __init__(self, header, vintage):
        super().__init__(vintage)
        self.delimiter = max(DELIMITERS, key=header.count)
        if CONTROL.search(header.replace("\t", " ")):
            raise Refused("The header holds characters that no name of a column has.")
        names = [one.strip().strip("'\"").upper() for one in self._split(header)]
        missing = [name for name in NEEDED if name not in names]
        if missing:
            raise Refused(f"The header has no column {' and none '.join(missing)}.")
        twice = sorted(
            {one for one in names if one in BY_HEADER and names.count(one) > 1}
        )
        if twice:
            raise Refused(f"The header names {' and '.join(twice)} twice.")
        self.width = len(names)
        self.at = {name: index for index, name in enumerate(names)}
        self.places = [self.at.get(item.header, -1) for item in ITEMS]
        known = {name for group in TRAILING.values() for name in group}
        self.unknown = [
            one for one in names if one not in BY_HEADER and one not in known
        ]
        self.era = self._era(set(names))

    def _era(self, names):
        found = [era for era, group in TRAILING.items() if names >= set(group)]
        # A file of 2017 has what one of 2015 has, and more.
        return found[-1] if found else ""

    def _split(self, text):
        quote = '"' if f'{self.delimiter}"' in text or text[:1] == '"' else "'"
        return next(csv.reader([text], delimiter=self.delimiter, quotechar=quote), [])

    def _stands(self, row):
        """Whether the latitude is in its column: a comma too many comes at the end."""
        digits = row[self.at["LAT_016"]].strip().lstrip("+-").replace(".", "")
        return digits.isdigit() and len(digits) >= 5

    def cells(self, text, record=None):
        row = self._split(text)
        if len(row) == self.width + 1 and not row[-1].strip() and self._stands(row):
            row.pop()
        if len(row) != self.width:
            if record is not None:
                is_open = len(row) < self.width and text.count("'") % 2
                code = "cells-missing" if len(row) < self.width else "cells-extra"
                record.fault("quote-open" if is_open else code, "the row", len(row))
            return None
        row.append("")
        return [row[place] for place in self.places]


def _year_of(vintage):
    found = re.search(r"(1[89]|20)\d\d", vintage)
    return int(found.group()) if found else 9999


class _Reading:
    """The 118 cells of one line on their way to a ``Record``."""

    def __init__(self, layout, cells, record):
        self.layout, self.cells, self.record = layout, cells, record

    def all(self):
        if not self._identity():
            return
        self._place()
        self._county()
        self._facts()

    def cell(self, number):
        return self.cells[PLACE_OF[number]].strip()

    def fault(self, code, number, said=""):
        self.record.fault(code, BY_NUMBER[number].words, said)

    def _identity(self):
        record = self.record
        state, number = self.cell("1"), self.cell("8")
        if not state:
            self.fault("state-blank", "1")
        self.state = state_of(state)
        if state and self.state not in STATES:
            self.fault("state-unknown", "1", state)
        squeezed = " ".join(number.upper().split())
        if not squeezed:
            self.fault("structure-blank", "8")
        elif MANGLED.fullmatch(squeezed):
            self.fault("structure-mangled", "8", number)
        elif len(squeezed) > BY_NUMBER["8"].width:
            self.fault("structure-long", "8", number)
        kind = self.cell("5A").upper()
        if "RECORD_TYPE_005A" in getattr(self.layout, "at", BY_HEADER) and kind != "1":
            if kind == "2" or (len(kind) == 1 and "A" <= kind <= "Z"):
                record.aside = "the road under a bridge that has a record of its own"
            else:
                self.fault("record-type", "5A", kind or "blank")
        if record.is_faulty or record.aside:
            return False
        record.key = f"{self.state}:{squeezed}"
        record.name = f"Structure {squeezed}"
        record.crossings = tuple(filter(None, [_text(self.cell("6A"))]))
        record.roads = tuple(filter(None, [_text(self.cell("7"))]))
        return True

    # -- where

    def _place(self):
        latitude, longitude = self.cell("16"), self.cell("17")
        if not latitude and not longitude and self._plain_degrees():
            return
        if not latitude or not longitude:
            self.fault("position-blank", "16" if not latitude else "17")
            return
        if _is_nothing(latitude) or _is_nothing(longitude):
            self.fault("position-zero", "16" if _is_nothing(latitude) else "17")
            return
        north = self._degrees("16", latitude, "latitude", 90)
        east = self._degrees("17", longitude, "longitude", 180)
        if north is None or east is None:
            return
        is_signed = longitude.startswith("-") or "." not in longitude
        self._settle(north, east, is_signed, f"{latitude}, {longitude}")

    def _plain_degrees(self):
        """The national atlas's edition gives decimal degrees beside the items."""
        at = getattr(self.layout, "at", {})
        if "LATDD" not in at:
            return False
        row = self.layout._split(self.record.raw)
        try:
            place = float(row[at["LATDD"]]), float(row[at["LONGDD"]])
        except (ValueError, IndexError):
            return False
        self._settle(*place, True, f"{place[0]}, {place[1]}")
        return True

    def _degrees(self, number, text, word, most):
        """Return degrees, or None with the fault told. DMS without a sign is west."""
        digits = text.lstrip("+-")
        if "." in digits:
            try:
                value = float(text)
            except ValueError:
                self.fault(f"{word}-digits", number, text)
                return None
            # Beyond 180 it can only be degrees, minutes and seconds with a point.
            if abs(value) <= 180:
                if abs(value) > most:
                    self.fault(f"{word}-range", number, text)
                    return None
                return value
            digits = digits.replace(".", "")
        width = BY_NUMBER[number].width
        # Delimited files drop the zeros before the first digit; none after the last.
        digits = digits.lstrip("0").zfill(width)
        if not digits.isascii() or not digits.isdigit() or len(digits) != width:
            self.fault(f"{word}-digits", number, text)
            return None
        degrees, minutes, seconds = split_dms(digits)
        if minutes >= 60:
            self.fault(f"{word}-minutes", number, text)
        elif seconds >= 60:
            self.fault(f"{word}-seconds", number, text)
        elif degrees > most:
            self.fault(f"{word}-range", number, text)
        else:
            value = degrees + minutes / 60 + seconds / 3600
            is_west = word == "longitude" and not _is_east(self.state)
            is_south = word == "latitude" and text.startswith("-")
            return -value if is_west or is_south else value
        return None

    def _settle(self, north, east, is_signed, said):
        if not is_signed and east > 0 and not _is_east(self.state):
            self.fault("longitude-east", "17", said)
        elif _lies_in(self.state, north, east):
            self.record.place = round(north, 6), round(east, 6)
        elif _lies_in(self.state, abs(east), -abs(north)):
            self.fault("position-swapped", "16", said)
        else:
            self.fault("position-outside", "16", said)

    def _county(self):
        text = self.cell("3")
        if text and not (text.isascii() and text.isdigit() and len(text) <= 3):
            self.fault("county-unknown", "3", text)
            text = ""
        self.county = text.zfill(3) if text else ""

    # -- what

    def _facts(self):
        record = self.record
        built, rebuilt = self._year("27"), self._year("106")
        if built and rebuilt and rebuilt < built:
            self.fault("rebuilt-before", "106", rebuilt)
            rebuilt = None
        seen = self._month("90")
        main = self._number("48")
        whole, road, deck = self._number("49"), self._number("51"), self._number("52")
        if main and whole and main > whole:
            self.fault("span-beyond-length", "48", f"{main:g}")
            main = None
        if road and deck and road > deck:
            self.fault("roadway-beyond-deck", "51", f"{road:g}")
            road = None
        spans = self._number("45")
        if spans is not None and spans < 1:
            self.fault("spans-none", "45", f"{spans:g}")
            spans = None
        self._number("34")
        self._number("29")
        codes = {number: self._code(number) for number in CODES}
        design = codes["43B"][0]
        record.year = built
        record.family = FAMILY_OF_DESIGN.get(design, "other" if design else "")
        told = {
            "built": built and str(built),
            "rebuilt": rebuilt and str(rebuilt),
            "owner": codes["22"][1],
            "status": codes["41"][1],
            "listing": codes["37"][1],
            "material": codes["43A"][1],
            "form": codes["43B"][1],
            "spans": spans and f"{spans:g} in the main unit",
            "span length": _length(main),
            "total length": _length(whole),
            "roadway width": _length(road),
            "deck width": _length(deck),
            "deck": codes["107"][1],
        }
        for number, word in (
            ("58", "deck"),
            ("59", "superstructure"),
            ("60", "substructure"),
        ):
            code, words = codes[number]
            if words:
                when = f", inspected {seen}" if seen else ""
                told[f"{word} condition"] = f"{code} of 9, {words}{when}"
        record.claims = {about: value for about, value in told.items() if value}
        state_number = record.key.partition(":")[2]
        record.facts = {
            "number": f"F{self.state}-{state_number}",
            "name": record.name,
            "county": f"County {self.state}-{self.county or '000'}",
            "crossing": " ".join(record.crossings),
            "road": " ".join(record.roads),
            "owner": codes["22"][1],
            "status": "closed" if codes["41"][0] in ("K", "E") else "in-service",
            "listing": {"1": "listed", "2": "eligible", "5": "not-eligible"}.get(
                codes["37"][0], "none"
            ),
            **_span_facts(codes["43A"][0], design),
            "span_count": int(spans or 1),
            "longest_span_ft": round(main / FOOT_M, 1) if main else None,
        }
        if record.place is None:
            record.if_new.append(_needs_place())

    def _year(self, number):
        text = self.cell(number)
        if not text or _is_nothing(text):
            return None
        if text == "*":
            self.fault("not-rated", number)
        elif not (text.isascii() and text.isdigit() and len(text) == 4):
            self.fault("year-digits", number, text)
        elif int(text) > self.layout.year:
            self.fault("year-future", number, text)
        elif int(text) < FIRST_YEAR:
            self.fault("year-early", number, text)
        else:
            return int(text)
        return None

    def _month(self, number):
        text = self.cell(number)
        if not text or _is_nothing(text):
            return ""
        words = month(text, self.layout.year)
        if not words:
            self.fault("month-unknown", number, text)
        return words

    def _number(self, number):
        """Return a number in the item's unit, None where it is blank or no number."""
        item, text = BY_NUMBER[number], self.cell(number)
        if not text:
            return None
        if text == "*":
            self.fault("not-rated", number)
            return None
        value = number_of(item, text, self.layout.has_points)
        if value is None:
            self.fault("number-digits", number, text)
        elif value < 0:
            self.fault("number-negative", number, text)
        elif (
            self.layout.has_points
            and item.decimals
            and len(text) == item.width
            and text.startswith("0")
            and text.isdigit()
        ):
            self.fault("decimals-implied", number, text)
        elif value > MOST.get(number, value):
            self.fault("number-implausible", number, text)
        elif value in SENTINELS.get(number, {}):
            return None
        else:
            return value
        return None

    def _code(self, number):
        item, text = BY_NUMBER[number], self.cell(number).upper()
        if text == "*":
            self.fault("not-rated", number)
            return "", ""
        if not text:
            return "", ""
        known = CODES[number]
        code = text.zfill(item.width)
        # Delimited files may write a rating with a point.
        code = code.removesuffix(".0")
        if code not in known:
            self.fault("code-unknown", number, text)
            return "", ""
        return code, known[code]


# -- reading single cells, also for comparing vintages


def state_of(text):
    """Return two digits of state: three hold the region as well, one lost its zero."""
    if not (text.isascii() and text.isdigit()):
        return text
    return text[:2] if len(text) == 3 else text.zfill(2)


def split_dms(digits):
    """Return (degrees, minutes, seconds) of DDMMSSss or DDDMMSSss."""
    return int(digits[:-6]), int(digits[-6:-4]), int(digits[-4:]) / 100


def number_of(item, text, has_points):
    """Return the number of a cell in its unit, None for none."""
    try:
        if has_points:
            return (
                float(text) if re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)", text) else None
            )
        if not re.fullmatch(r"-?\d+", text):
            return None
        return int(text) / 10**item.decimals
    except ValueError:
        return None


def month(text, until):
    """Return “June 2023” of MMYY, also of 623; blank for what is no month."""
    digits = text.zfill(4)
    if not (digits.isascii() and digits.isdigit() and len(digits) == 4):
        return ""
    number, year = int(digits[:2]), int(digits[2:])
    if not 1 <= number <= 12:
        return ""
    century = 1900 if until < 9999 and year > until % 100 else 2000
    return f"{MONTHS[number - 1]} {century + year}"


def plain(item, text, has_points):
    """Return a cell so that the same fact is the same text in every layout."""
    text = " ".join(text.split())
    if not text:
        return ""
    if item.number == "1":
        return state_of(text)
    if item.kind == "number":
        value = number_of(item, text, has_points)
        return text if value is None else f"{value:g}"
    if item.kind in ("dms", "year", "month", "code") and text.isdigit():
        return text.zfill(item.width)
    return text


def in_words(item, text, has_points, until=9999):
    """Return a plain cell as a person reads it, with what its codes mean."""
    if not text:
        return "blank"
    if item.kind == "number":
        value = number_of(item, text, True)
        if value is None:
            return text
        if value in SENTINELS.get(item.number, {}):
            return f"{text}: {SENTINELS[item.number][value]}"
        if item.unit == "m":
            return _length(value) or "0 m"
        return f"{text} {_unit(item.unit)}".strip()
    if item.kind == "month":
        return month(text, until) or text
    if item.kind == "dms" and text.isdigit():
        degrees, minutes, seconds = split_dms(text)
        return f"{degrees}° {minutes}′ {seconds:.2f}″"
    if item.kind == "year" and _is_nothing(text):
        return f"{text}: none, or not known"
    words = CODES.get(item.number, {}).get(text)
    return f"{text}: {words}" if words else text


def _unit(unit):
    return {"t": "metric tons", "deg": "degrees", "$1000": "thousand dollars"}.get(
        unit, unit
    )


def _length(metres):
    return f"{metres / FOOT_M:.1f} ft ({metres:g} m)" if metres else ""


def _text(cell):
    return " ".join(cell.strip("* ").split())


def _is_nothing(text):
    return not text.strip("0.+-")


def _is_east(state):
    return STATES[state][0] > 0


def _lies_in(state, north, east):
    west_side, south_side, east_side, north_side = STATES[state]
    return (
        south_side - MARGIN_DEGREES <= north <= north_side + MARGIN_DEGREES
        and west_side - MARGIN_DEGREES <= east <= east_side + MARGIN_DEGREES
    )


def _needs_place():
    from .record import Fault

    return Fault.of("position-needed", "Latitude (item 16)")


MATERIALS = {
    **dict.fromkeys("34", "steel"),
    **dict.fromkeys("1256", "concrete"),
    "7": "timber",
    "8": "stone",
}


def _span_facts(kind, design):
    """Return the facets that the codes surely say; ponies count as through there."""
    material = MATERIALS.get(kind, "unknown")
    form = "unknown"
    if design in ("11", "12") and material in ("stone", "concrete"):
        form = f"{material}-arch"
    elif design == "13":
        form = "suspension"
    return {
        "form": form,
        "material": material,
        "deck_position": "deck" if design == "09" else "unknown",
        "connection": "unknown",
    }
