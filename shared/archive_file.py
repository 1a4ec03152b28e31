"""The archive as a file: a ZIP of JSON lines, files and a manifest, written as a stream.

Inside are ``manifest.json``, ``README.txt``, ``records/KIND.jsonl`` with one JSON object
a line, ``media.jsonl`` with name, size and SHA-256 of each file, and the files below
``media/``. The manifest, written last, has the size, SHA-256 and count of lines of each
member but the files. The same rows give the same bytes, the manifest's stamps aside.

A file that is read comes from anywhere, so nothing in it is believed before it is
measured: ``Reader`` looks at every byte before anything is taken from it.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import posixpath
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from typing import BinaryIO

KIND = "second-crossing archive"
FORMAT = 1
MANIFEST = "manifest.json"
README = "README.txt"
RECORDS = "records/"
MEDIA = "media/"
MEDIA_LIST = "media.jsonl"
BLOCK = 1024 * 1024
# The earliest day that a ZIP can name: the same rows give the same bytes.
DATE = (1980, 1, 1, 0, 0, 0)
MOST_MANIFEST = 4 * 1024 * 1024
# One row, with all that a phone sent of a long visit.
MOST_LINE = 32 * 1024 * 1024
MOST_MEMBERS = 2_000_000
# Deflate packs a file of one letter a thousandfold; a long record some fiftyfold.
MOST_RATIO = 400
SMALL = 16 * 1024 * 1024


class Refused(Exception):
    """Nothing was touched, and the text says why, for people."""


class Newer(Refused):
    """Written by a later release than this."""


class Changed(Refused):
    """Bytes are others than the manifest says."""


class Measure:
    """Counts and hashes what passes through it."""

    def __init__(self):
        self.digest, self.bytes, self.lines = hashlib.sha256(), 0, 0

    def take(self, block):
        self.digest.update(block)
        self.bytes += len(block)
        self.lines += block.count(b"\n")

    @property
    def told(self):
        return {"bytes": self.bytes, "sha256": self.digest.hexdigest()}


class Writer:
    """Writes the members one after another; ``close`` adds the manifest."""

    def __init__(self, target: BinaryIO):
        self._zip = zipfile.ZipFile(target, "w", allowZip64=True)
        self._members: dict[str, dict] = {}

    def text(self, name: str, text: str) -> None:
        self._write(name, [text.encode()])

    def lines(self, name: str, rows: Iterable[dict]) -> int:
        """Write rows as JSON lines; returns how many there were."""
        return self._write(name, (line(row) for row in rows)).lines

    def media(self, files: Iterable[tuple[str, BinaryIO]]) -> int:
        """Write files, each under its name in the store, and the list of them."""
        told = []
        for name, file in files:
            with file, self._open(MEDIA + name, zipfile.ZIP_STORED) as out:
                measure = _poured(iter(lambda file=file: file.read(BLOCK), b""), out)
            told.append((name, measure.bytes, measure.digest.digest()))
        self.lines(
            MEDIA_LIST,
            (
                {"name": name, "bytes": size, "sha256": digest.hex()}
                for name, size, digest in told
            ),
        )
        return len(told)

    def close(self, facts: dict) -> dict:
        """Write the manifest, with ``facts`` in it, and end the file."""
        manifest = {"kind": KIND, "format": FORMAT, **facts, "members": self._members}
        text = json.dumps(manifest, indent=1, sort_keys=True, ensure_ascii=False)
        with self._open(MANIFEST, zipfile.ZIP_DEFLATED) as out:
            out.write(text.encode())
        self._zip.close()
        return manifest

    def _write(self, name, blocks):
        with self._open(name, zipfile.ZIP_DEFLATED) as out:
            measure = _poured(blocks, out)
        self._members[name] = measure.told
        if name.endswith(".jsonl"):
            self._members[name]["lines"] = measure.lines
        return measure

    def _open(self, name, packing):
        entry = zipfile.ZipInfo(name, date_time=DATE)
        entry.external_attr = 0o644 << 16
        entry.compress_type = packing
        return self._zip.open(entry, "w", force_zip64=True)


def line(row: dict) -> bytes:
    """Return one row as it is written: keys in order, UTF-8, no spaces."""
    text = json.dumps(
        row,
        sort_keys=True,
        ensure_ascii=False,
        allow_nan=False,
        separators=(",", ":"),
    )
    return text.encode() + b"\n"


def _poured(blocks, out):
    measure = Measure()
    for block in blocks:
        measure.take(block)
        out.write(block)
    return measure


class Reader:
    """An archive looked at whole. Raises ``Refused`` with the reason."""

    def __init__(self, source: BinaryIO):
        try:
            self._zip = zipfile.ZipFile(source)
        except (zipfile.BadZipFile, OSError, ValueError) as error:
            raise Refused(
                "This is no whole archive: it is not a ZIP file, or it was cut short "
                f"({error})."
            )
        source.seek(0, 2)
        self._size = source.tell()
        self._entries = self._listed()
        self.manifest = self._manifest()

    def __enter__(self):
        return self

    def __exit__(self, *fault):
        self._zip.close()

    @property
    def kinds(self) -> list[str]:
        """Return the kinds of records in it, by the names of their files."""
        return sorted(
            name.removeprefix(RECORDS).removesuffix(".jsonl")
            for name in self.manifest["members"]
            if name.startswith(RECORDS)
        )

    def count(self, kind: str) -> int:
        return self.manifest["members"][f"{RECORDS}{kind}.jsonl"]["lines"]

    def verify(self, progress=None) -> None:
        """Look at every byte of every member."""
        for name, told in self.manifest["members"].items():
            self._require(name, told)
        listed = 0
        for row in self.media():
            self._require(MEDIA + row["name"], row)
            listed += 1
            if progress:
                progress(row["name"])
        if listed != sum(1 for name in self._entries if name.startswith(MEDIA)):
            raise Refused(f"It holds files of which {MEDIA_LIST} knows nothing.")

    def rows(self, kind: str) -> Iterator[tuple[int, dict]]:
        """Yield ``(number, object)`` of each line of a kind, the first being 1."""
        yield from self._rows(f"{RECORDS}{kind}.jsonl")

    def media(self) -> Iterator[dict]:
        for number, row in self._rows(MEDIA_LIST):
            is_sound = (
                isinstance(row.get("name"), str)
                and isinstance(row.get("bytes"), int)
                and isinstance(row.get("sha256"), str)
            )
            if not is_sound:
                raise Refused(f"{MEDIA_LIST}, line {number}: name, bytes or sha256.")
            yield row

    def open_media(self, name: str):
        return self._opened(MEDIA + name)

    # -- what is inside

    def _listed(self):
        entries = {}
        packed = 0
        listed = self._zip.infolist()
        if len(listed) > MOST_MEMBERS:
            raise Refused(f"It names {len(listed)} files, more than any archive has.")
        for entry in listed:
            name = entry.filename
            _require_inside(name)
            if name in entries:
                raise Refused(f"It names {name} twice.")
            if entry.flag_bits & 0x1:
                raise Refused(f"{name} is locked by a password.")
            if entry.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
                raise Refused(f"{name} is packed in a way that no archive uses.")
            if (
                entry.file_size > SMALL
                and entry.file_size > MOST_RATIO * entry.compress_size
            ):
                raise Refused(
                    f"{name} would grow from {entry.compress_size} to "
                    f"{entry.file_size} bytes: no record does. It may be made to fill "
                    "a disk."
                )
            packed += entry.compress_size
            entries[name] = entry
        # Members that lie over one another, as in a file made to fill a disk.
        if packed > self._size:
            raise Refused("Its members lie over one another.")
        return entries

    def _manifest(self):
        entry = self._entries.get(MANIFEST)
        if entry is None:
            raise Refused("It has no manifest: it was cut short, or is no archive.")
        if entry.file_size > MOST_MANIFEST:
            raise Refused("Its manifest is longer than any.")
        try:
            with self._opened(MANIFEST) as file:
                manifest = json.loads(file.read(MOST_MANIFEST + 1))
            kind, form = manifest["kind"], manifest["format"]
        except (ValueError, KeyError, TypeError, RecursionError):
            raise Refused("Its manifest cannot be read.")
        if kind != KIND:
            raise Refused(f"This is no archive of this software, but a {kind!s:.60}.")
        if not isinstance(form, int) or form > FORMAT:
            raise Newer(
                f"The archive is written in format {form!s:.20}, by release "
                f"{manifest.get('version', '?')!s:.20}; this release reads up to format "
                f"{FORMAT}. Load it with that release or a later one."
            )
        self._require_members(manifest.get("members"))
        return manifest

    def _require_members(self, members):
        if not isinstance(members, dict) or MEDIA_LIST not in members:
            raise Refused("Its manifest does not say what is in it.")
        for name, told in members.items():
            if not isinstance(told, dict) or name not in self._entries:
                raise Refused(f"The archive is not whole: {name!s:.80} is missing.")
        known = {MANIFEST, *members}
        for name in self._entries:
            if name not in known and not name.startswith(MEDIA):
                raise Refused(
                    f"It holds {name:.80}, of which its manifest knows nothing."
                )

    def _require(self, name, told):
        """Compare a member with what was noted of it."""
        entry = self._entries.get(name)
        if entry is None:
            raise Refused(f"The archive is not whole: {name} is missing.")
        if entry.file_size != told.get("bytes"):
            raise Changed(
                f"The archive is damaged: {name} has {entry.file_size} bytes instead of "
                f"{told.get('bytes')}."
            )
        measure = Measure()
        with self._opened(name) as file:
            while block := file.read(BLOCK):
                measure.take(block)
                if measure.bytes > told["bytes"]:
                    raise Changed(
                        f"The archive is damaged: {name} is longer than noted."
                    )
        if measure.told != {key: told.get(key) for key in ("bytes", "sha256")}:
            raise Changed(
                f"The archive is damaged: {name} has another hash than noted."
            )
        if "lines" in told and told["lines"] != measure.lines:
            raise Changed(f"The archive is damaged: {name} has another count of lines.")

    def _rows(self, name):
        if name not in self._entries:
            return
        with self._opened(name) as file:
            number = 0
            while text := file.readline(MOST_LINE + 1):
                number += 1
                if len(text) > MOST_LINE:
                    raise Refused(f"{name}, line {number} is longer than any row.")
                try:
                    row = json.loads(text)
                except (ValueError, RecursionError):
                    row = None
                if not isinstance(row, dict):
                    raise Refused(f"{name}, line {number} is no JSON object.")
                yield number, row

    @contextlib.contextmanager
    def _opened(self, name):
        try:
            with self._zip.open(self._entries[name]) as file:
                yield file
        except KeyError:
            raise Refused(f"The archive is not whole: {name} is missing.")
        except (zipfile.BadZipFile, zlib.error, EOFError) as error:
            raise Changed(f"The archive is damaged: {name} cannot be read ({error}).")


def _require_inside(name):
    """Refuse a name that would lead out of the folder it belongs in."""
    plain = posixpath.normpath(name)
    is_inside = (
        name
        and plain == name
        and not name.startswith(("/", "../", "./"))
        and ".." not in name.split("/")
        and "\\" not in name
        and ":" not in name
        and "\0" not in name
    )
    if not is_inside:
        raise Refused(f"It names a file outside itself: {name!r:.100}.")
