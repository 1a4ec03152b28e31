"""Waypoints of a GPX file, 1.0 or 1.1, read as a stream.

A waypoint is a place and perhaps a name: it can be matched, and otherwise waits for a
person. Tracks and routes are passed over. A file that brings a document type of its own
is refused: entities could make it as large as they like.
"""

from __future__ import annotations

import re
from xml.parsers import expat

from .lines import Refused
from .record import Fault, Record

BLOCK = 64 * 1024
MOST_RAW = 64 * 1024
TEXTS = ("name", "cmt", "desc", "sym", "type", "time", "ele", "src")
DEGREES = re.compile(r"\s*[+-]?\d{1,3}(\.\d*)?\s*")


class Waypoints:
    name = "waypoints"
    unknown: list[str] = []
    era = ""

    def __init__(self, header="", vintage=""):
        pass

    def records(self, file):
        """Yield (``Record``, bytes read) of a binary file. Raises ``Refused``."""
        for point in Reader(file).points():
            yield self.record(point), point["end"]

    def record(self, point):
        raw = point["raw"]
        record = Record(point["line"], raw)
        said = {name: " ".join(text.split()) for name, text in point["said"].items()}
        name = said.get("name", "")
        record.name = name or f"Waypoint on line {record.line}"
        record.names = tuple(filter(None, [name, said.get("desc", "")[:120]]))
        record.crossings = record.roads = record.names
        place = []
        for word, most in (("lat", 90), ("lon", 180)):
            text = point["at"].get(word, "")
            if not DEGREES.fullmatch(text):
                record.fault(
                    "position-blank" if not text else "degrees-digits", word, text
                )
                record.faults.append(Fault.of("position-needed", word))
                return record
            if abs(float(text)) > most:
                word = "latitude" if word == "lat" else "longitude"
                record.fault(f"{word}-range", word, text)
                record.faults.append(Fault.of("position-needed", word))
                return record
            place.append(round(float(text), 6))
        if place == [0, 0]:
            record.fault("position-zero", "lat")
            record.faults.append(Fault.of("position-needed", "lat"))
            return record
        if not name:
            record.fault("waypoint-unnamed", "name")
        record.place = tuple(place)
        # A waypoint has no number: its name and place tell it again.
        record.key = f"{name.upper()[:30]}@{place[0]:.4f},{place[1]:.4f}"
        record.facts = {"name": name or record.name}
        record.if_new.append(Fault.of("county-blank", "county"))
        return record


class Reader:
    """Feeds a file to expat a block at a time and keeps the last waypoint only."""

    def __init__(self, file):
        self.file, self.done, self.now, self.text = file, [], None, None
        self.depth, self.size = 0, 0
        self.is_gpx = False
        self.held = b""
        self.held_from = 0
        parser = expat.ParserCreate(namespace_separator=" ")
        parser.buffer_text = True
        parser.StartDoctypeDeclHandler = self._doctype
        parser.StartElementHandler = self._start
        parser.EndElementHandler = self._end
        parser.CharacterDataHandler = self._say
        self.parser = parser

    def points(self):
        self.file.seek(0)
        try:
            while True:
                block = self.file.read(BLOCK)
                self.held += block
                self.parser.Parse(block, not block)
                yield from self._taken()
                if not block:
                    return
                self._forget()
        except expat.ExpatError as error:
            yield from self._taken()
            raise Refused(
                f"The file is not whole XML: line {error.lineno}, "
                f"{expat.ErrorString(error.code)}."
            ) from error

    def _taken(self):
        done, self.done = self.done, []
        return done

    def _forget(self):
        """Drop what lies before the waypoint that is being read."""
        keep = self.now["start"] if self.now else self.parser.CurrentByteIndex
        if self.now and self.held_from + len(self.held) - keep > 2 * MOST_RAW:
            raise Refused(
                f"The waypoint on line {self.now['line']} is longer than any is."
            )
        self.held = self.held[keep - self.held_from :]
        self.held_from = keep

    def _doctype(self, *args):
        raise Refused(
            "The file brings a document type of its own, which no GPX file needs."
        )

    def _start(self, name, attributes):
        name = name.rpartition(" ")[2]
        self.depth += 1
        if self.depth == 1:
            self.is_gpx = name == "gpx"
            if not self.is_gpx:
                raise Refused(f"This is XML of another kind (<{name[:40]}>), not GPX.")
        if name == "wpt" and self.now is None:
            self.now = {
                "line": self.parser.CurrentLineNumber,
                "start": self.parser.CurrentByteIndex,
                "depth": self.depth,
                "at": dict(attributes),
                "said": {},
            }
        elif self.now and self.depth == self.now["depth"] + 1 and name in TEXTS:
            self.text = []
            self.size = 0

    def _say(self, text):
        if self.text is not None:
            self.size += len(text)
            if self.size <= 4000:
                self.text.append(text)

    def _end(self, name):
        name = name.rpartition(" ")[2]
        if self.now and self.depth == self.now["depth"] + 1 and self.text is not None:
            self.now["said"][name] = "".join(self.text)
            self.text = None
        elif self.now and self.depth == self.now["depth"]:
            # At an end tag expat stands at its beginning; an empty element has none.
            start = self.now["start"] - self.held_from
            stop = self.parser.CurrentByteIndex - self.held_from
            close = self.held.find(b">", stop) + 1
            raw = self.held[start : close or None]
            self.now["raw"] = _text(raw)
            self.now["end"] = self.parser.CurrentByteIndex
            self.done.append(self.now)
            self.now = None
        self.depth -= 1


def point_of(raw, line):
    """Return the waypoint of a raw row again, as ``Waypoints.record`` takes it."""
    import io

    text = f"<gpx>{'' if raw.lstrip().startswith('<') else '<wpt/>'}{raw}</gpx>"
    try:
        found = next(Reader(io.BytesIO(text.encode())).points(), None)
    except Refused:
        return None
    if found is not None:
        found |= {"line": line, "raw": raw}
    return found


def _text(raw):
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError:
        return raw.decode("latin-1")
