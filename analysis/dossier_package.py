"""A nomination's package: the PDF, photographs under their numbers, data, hashes.

A folder in a ZIP that needs no program of ours to read. The same facts and the same
photographs give the same bytes.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import tempfile
import zipfile
from datetime import datetime

from django.core.files.base import File
from django.core.files.storage import default_storage

from bridges.exports import guard
from surveys.models import Photo

from . import dossier_pdf
from .dossier_photos import log

README = """{name}: nomination package
{line}

dossier.pdf           the dossier; its own attachments are repeated here as files
photographs/          the photographs of the log, by number
photographs/log.csv   number, file, caption, date, photographer, direction, rights
map.geojson           the bridge (RFC 7946, WGS 84)
record.json           everything the dossier says, as data
record.csv            what every accepted visit said of every element
sources.csv           the sources by the numbers that the dossier cites
check-*.json          input of each truss check, to be run again
manifest-sha256.txt   SHA-256 of every other file

Dates are EDTF (Library of Congress, level 1): 1887~ is about 1887, 1908? uncertain,
1987/1991 between the two. Lengths are feet, sizes inches, weights short tons or kips,
as each column says. A direction is where the camera looked, degrees from true north.

{photographs}
{left_out}

Load figures are screening estimates from recorded sizes: not a load rating and not for
posting. Prepared by volunteers; not a structural inspection and no legal finding.
The record as it stood at {recorded_at}.
"""
SOURCE_COLUMNS = (
    "number",
    "kind",
    "title",
    "author",
    "date",
    "held_by",
    "locator",
    "url",
)
LOG_COLUMNS = (
    "number",
    "file",
    "caption",
    "viewpoint",
    "taken",
    "credit",
    "facing",
    "bearing_deg",
    "rights",
    "is_drawing",
    "is_original",
    "sha256_of_original",
)
ORIGINAL_SUFFIX = {"JPEG": "jpg", "TIFF": "tif"}


def write(facts, target, paper="letter", progress=None):
    """Write the package of these facts to ``target``, a binary file.

    ``progress`` is called with (done, of how many, note). A photograph is the original
    where its bridge's position may be printed and it is JPEG or TIFF; otherwise the
    largest copy, without place or device. Raises ``NoRenderer`` as the PDF does.
    """
    say = progress or (lambda *told: None)
    rows = log(facts)
    steps = len(rows) + 2
    say(0, steps, "Arranging the pages")
    packer = _Packer(target, facts["recorded_at"])
    drawn = dossier_pdf.keep(facts, paper, say=lambda note: say(0, steps, note))
    packer.put_stored("dossier.pdf", drawn)
    for one in dossier_pdf.attachments(facts):
        if not one.name.startswith(("manifest", "photographs")):
            packer.put(one.name, one.content)
    logged = []
    for number, row in enumerate(rows, start=1):
        say(number, steps, f"Photograph {number} of {len(rows)}")
        logged.append(_photograph(packer, facts, row))
    packer.put("photographs/log.csv", _csv(LOG_COLUMNS, logged))
    sources = [[one[name] for name in SOURCE_COLUMNS] for one in facts["sources"]]
    packer.put("sources.csv", _csv(SOURCE_COLUMNS, sources))
    packer.put("map.geojson", _geojson(facts))
    packer.put("README.txt", _readme(facts, logged).encode())
    packer.close()


class _Packer:
    """Writes files with one date, and the list of their hashes last."""

    def __init__(self, target, moment):
        self.archive = zipfile.ZipFile(target, "w")
        self.date = datetime.fromisoformat(moment.replace("Z", "+00:00")).timetuple()
        self.hashes = []

    def put(self, name, content):
        digest = hashlib.sha256(content).hexdigest()
        self.hashes.append(f"{digest}  {name}\n")
        self.archive.writestr(self._entry(name), content)

    def put_stored(self, name, stored):
        """Copy a file of the store, piece by piece; False where it is not there."""
        try:
            file = default_storage.open(stored, "rb")
        except OSError:
            return False
        digest = hashlib.sha256()
        with file, self.archive.open(self._entry(name), "w") as inside:
            for piece in file.chunks():
                digest.update(piece)
                inside.write(piece)
        self.hashes.append(f"{digest.hexdigest()}  {name}\n")
        return True

    def _entry(self, name):
        entry = zipfile.ZipInfo(name, date_time=self.date[:6])
        entry.external_attr = 0o644 << 16
        is_packed = name.endswith((".pdf", ".jpg", ".tif"))
        entry.compress_type = zipfile.ZIP_STORED if is_packed else zipfile.ZIP_DEFLATED
        return entry

    def close(self):
        hashes = "".join(sorted(self.hashes)).encode()
        self.archive.writestr(self._entry("manifest-sha256.txt"), hashes)
        self.archive.close()


def _photograph(packer, facts, row):
    """Put one photograph in; return its row of the log."""
    photo = Photo.objects.get(client_id=row["key"])
    suffix = ORIGINAL_SUFFIX.get(photo.format)
    may_be_whole = facts["bridge"]["position"]["is_exact"] and photo.original
    is_original = bool(suffix and may_be_whole)
    name = row["name"] or f"photograph_{row['number']:04d}.jpg"
    if is_original:
        name = f"{name.rpartition('.')[0]}.{suffix}"
    is_there = is_original and packer.put_stored(
        f"photographs/{name}", photo.original.name
    )
    if not is_there:
        is_original = False
        is_there = packer.put_stored(f"photographs/{name}", row["file"])
    if not is_there:
        name = ""
    return [
        row["number"],
        name or "(its file was not found)",
        row["caption"],
        row["viewpoint"],
        row["taken"],
        row["credit"],
        row["facing"],
        row["bearing_deg"],
        row["rights"],
        row["is_drawing"],
        is_original,
        row["sha256"],
    ]


def _csv(columns, rows):
    out = io.StringIO()
    write_row = csv.writer(out, lineterminator="\r\n").writerow
    write_row(columns)
    for row in rows:
        write_row([guard(cell) if isinstance(cell, str) else cell for cell in row])
    return out.getvalue().encode("utf-8-sig")


def _geojson(facts):
    bridge = facts["bridge"]
    place = bridge["position"]
    feature = {
        "type": "Feature",
        "geometry": {
            "type": "Point",
            "coordinates": [place["longitude"], place["latitude"]],
        },
        "properties": {
            "name": bridge["name"],
            "number": bridge["number"],
            "built": bridge["built"],
            "status": bridge["status"],
            "position_is_exact": place["is_exact"],
            "accuracy_m": place["accuracy_m"],
        },
    }
    collection = {"type": "FeatureCollection", "features": [feature]}
    return json.dumps(collection, ensure_ascii=False, indent=1).encode()


def _readme(facts, logged):
    name = facts["bridge"]["name"]
    copies = sum(1 for row in logged if not row[10])
    photographs = f"{len(logged)} photographs."
    if copies:
        photographs += (
            f" {copies} of them are copies without place or device, because the place is "
            "kept back or the original is of another format."
        )
    left_out = "\n".join(f"Left out: {text}" for text in facts["left_out"])
    return README.format(
        name=name,
        line="=" * (len(name) + 20),
        photographs=photographs,
        left_out=left_out or "Nothing is left out.",
        recorded_at=facts["recorded_at"],
    )


def store(facts, name, paper="letter", progress=None):
    """Write the package into the media store under ``name``; returns its name there."""
    with tempfile.TemporaryFile() as scratch:
        write(facts, scratch, paper, progress)
        scratch.seek(0)
        return default_storage.save(name, File(scratch))
