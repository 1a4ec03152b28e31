"""A file as lines that can be trusted: bounded, decoded, numbered.

Nothing is read into memory but one line. What is no list of bridges at all is refused
by name before a single row is looked at.
"""

from __future__ import annotations

from dataclasses import dataclass

MOST_LINE = 64 * 1024
BLOCK = 64 * 1024
# Beginnings of files that people send by mistake.
KINDS = (
    (b"PK\x03\x04", "a ZIP archive or a spreadsheet", "Unpack it, or save it as CSV"),
    (b"%PDF", "a PDF", "Ask for the table it was printed from"),
    (b"\xd0\xcf\x11\xe0", "an old spreadsheet", "Save it as CSV"),
    (b"\x1f\x8b", "a gzip archive", "Unpack it"),
    (b"\x89PNG", "a picture", "Choose the list"),
    (b"\xff\xd8\xff", "a photograph", "Choose the list"),
    (b"SQLite format 3", "a database", "Export the table as CSV"),
)


class Refused(Exception):
    """The whole file cannot be read; the text says why, for people. Nothing was kept."""


@dataclass
class Line:
    number: int
    text: str
    # Where the next one begins, in bytes.
    end: int

    @property
    def is_blank(self):
        # An old end-of-file mark is no row either.
        return not self.text.strip("\x1a \t\x0c")


@dataclass
class Notes:
    """What was odd about the lines and could be read all the same."""

    latin: int = 0
    first_latin: int = 0
    unix: int = 0
    windows: int = 0
    first_mixed: int = 0

    def sentences(self):
        found = []
        if self.latin:
            found.append(
                f"{self.latin} lines, the first of them line {self.first_latin}, are "
                "not UTF-8 and were read as ISO-8859-1 (Windows-1252)."
            )
        if self.unix and self.windows:
            found.append(
                f"Line endings are mixed, first at line {self.first_mixed}; both kinds "
                "were read."
            )
        return found


def look(file):
    """Raise ``Refused`` for what is no text; return how many bytes of mark to skip."""
    file.seek(0)
    head = file.read(BLOCK)
    if not head.strip():
        raise Refused("The file is empty.")
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise Refused("The file is UTF-16 text. Save it as CSV in UTF-8.")
    for beginning, what, instead in KINDS:
        if head.startswith(beginning):
            raise Refused(f"This is {what}, not a list. {instead}.")
    if b"\x00" in head:
        raise Refused(
            "The file holds NUL characters: it is binary, or UTF-16 text without its "
            "mark. Save it as CSV in UTF-8."
        )
    odd = sum(byte < 32 and byte not in b"\t\r\n\x0c\x1a" for byte in head)
    if odd > len(head) // 100:
        raise Refused("The file is binary, not a list.")
    if b"\r" in head and b"\n" not in head:
        raise Refused(
            "The lines end with a carriage return alone, as on very old machines. Save "
            "the file again with today's line endings."
        )
    return 3 if head.startswith(b"\xef\xbb\xbf") else 0


def read(file, notes=None):
    """Yield each ``Line`` of a binary file. Raises ``Refused`` as soon as it must.

    Lines are decoded one by one, as a list put together from several offices is written
    in several ways.
    """
    notes = Notes() if notes is None else notes
    start = look(file)
    file.seek(start)
    end, number = start, 0
    while True:
        data = file.readline(MOST_LINE + 1)
        if not data:
            return
        number += 1
        end += len(data)
        if len(data) > MOST_LINE:
            raise Refused(
                f"Line {number} is longer than {MOST_LINE:,} characters. This is not a "
                "list, or its line endings are lost."
            )
        if b"\x00" in data:
            raise Refused(
                f"Line {number} holds a NUL character: the file is damaged there."
            )
        yield Line(number, _text(data, number, notes), end)


def _text(data, number, notes):
    if data.endswith(b"\r\n"):
        data = data[:-2]
        notes.windows += 1
        is_odd = notes.unix
    else:
        is_odd = data.endswith(b"\n") and notes.windows
        notes.unix += data.endswith(b"\n")
        data = data.removesuffix(b"\n")
    if is_odd and not notes.first_mixed:
        notes.first_mixed = number
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        notes.latin += 1
        notes.first_latin = notes.first_latin or number
    # The few bytes that Windows-1252 leaves open are the same in ISO-8859-1.
    try:
        return data.decode("cp1252")
    except UnicodeDecodeError:
        return data.decode("latin-1")
