"""What a file is, told by its content; and a row's cells again out of what was kept."""

from __future__ import annotations

import itertools
from functools import cached_property

from bridges.models import Import

from . import federal, lines, own, waypoints
from .items import ITEMS, WIDTH
from .lines import Refused

Layout = Import.Layout


def tell(file):
    """Return the ``Import.Layout`` of a binary file. Raises ``Refused``."""
    lines.look(file)
    first = [
        line for line in itertools.islice(lines.read(file), 20) if not line.is_blank
    ]
    if not first:
        raise Refused("The file is empty.")
    text = first[0].text.lstrip()
    if text.startswith("<"):
        return Layout.WAYPOINTS
    upper = text.upper()
    if "STRUCTURE_NUMBER_008" in upper or "STATE_CODE_001" in upper:
        return Layout.DELIMITED
    if len(first[0].text) >= WIDTH and text[:3].strip().isdigit():
        return Layout.FIXED
    if any(mark in upper for mark in own.DELIMITERS) or upper.strip() == "NUMBER":
        return Layout.OWN
    raise Refused(
        "The first line is neither a header that names “number”, nor one of the federal "
        "inventory, nor a record of its fixed-width form, nor GPX."
    )


def of_header(layout, header, vintage):
    """Return the reader of one kind of file. Raises ``Refused`` for its header."""
    if layout == Layout.DELIMITED:
        return federal.Delimited(header, vintage)
    if layout == Layout.FIXED:
        return federal.FixedWidth(vintage)
    if layout == Layout.OWN:
        return own.Own(header, vintage)
    return waypoints.Waypoints()


class Opened:
    """A file being read: its reader, and its records one by one."""

    def __init__(self, file, layout, vintage):
        self.file, self.layout, self.notes = file, layout, lines.Notes()
        lines.look(file)
        self.header = ""
        if layout == Layout.WAYPOINTS:
            self.reader = waypoints.Waypoints()
            return
        self.lines = lines.read(file, self.notes)
        if layout != Layout.FIXED:
            first = next((one for one in self.lines if not one.is_blank), None)
            if first is None:
                raise Refused("The file is empty.")
            self.header = first.text
        self.reader = of_header(layout, self.header, vintage)

    def records(self):
        """Yield (``Record``, bytes read so far)."""
        if self.layout == Layout.WAYPOINTS:
            yield from self.reader.records(self.file)
        elif self.layout == Layout.OWN:
            yield from self.reader.records(self.lines)
        else:
            for line in self.lines:
                if not line.is_blank:
                    yield self.reader.record(line), line.end


class Kept:
    """The rows of one ``Import``, read again out of what was kept of them."""

    def __init__(self, of):
        self.of = of
        self.reader = of_header(of.layout, of.header, of.vintage)

    def record(self, row):
        if self.of.layout == Layout.WAYPOINTS:
            return self.reader.record(waypoints.point_of(row.raw, row.line))
        return self.reader.record(lines.Line(row.line, row.raw, 0))

    def fields(self, raw):
        """Return {field in words: plain value} of a raw row, blank ones left out."""
        if not self.of.is_federal:
            return {name: plain for name, plain, _ in self.told(raw) if plain}
        cells = self.reader.cells(raw)
        if cells is None:
            return {}
        points = self.reader.has_points
        pairs = zip(ITEMS, cells, strict=True)
        plain = (
            (item.words, federal.plain(item, cell, points)) for item, cell in pairs
        )
        return {name: value for name, value in plain if value}

    @cached_property
    def names(self):
        """Names of the fields that this layout holds at all; empty where any may be."""
        if self.of.layout == Layout.DELIMITED:
            pairs = zip(ITEMS, self.reader.places, strict=True)
            return {item.words for item, place in pairs if place >= 0}
        if self.of.layout == Layout.FIXED:
            return {item.words for item in ITEMS}
        return set(getattr(self.reader, "names", ()))

    def told(self, raw):
        """Return [(field, plain value, value in words), …] of a raw row."""
        if self.of.layout == Layout.WAYPOINTS:
            point = waypoints.point_of(raw, 0)
            if point is None:
                return []
            said = {**point["at"], **point["said"]}
            return [(name, value, value) for name, value in said.items()]
        cells = self.reader.cells(raw)
        if cells is None:
            return []
        if self.of.layout == Layout.OWN:
            pairs = zip(self.reader.names, cells, strict=True)
            return [(name, cell, cell) for name, cell in pairs]
        points, year = self.reader.has_points, self.reader.year
        found = []
        for item, cell in zip(ITEMS, cells, strict=True):
            plain = federal.plain(item, cell, points)
            words = federal.in_words(item, plain, points, year)
            found.append((item.words, plain, words))
        return found
