"""Reading a file into raw rows, with what would become of each. Nothing else is touched.

This is the dry run and the first half of the real one: ``taking`` puts into the record
only what stands here. Rows are read and written some hundreds at a time, each batch in
a transaction of its own, so neither memory nor the database's lock grows with the file.
"""

from __future__ import annotations

import hashlib
import re
from collections import Counter

from django.core.files.base import File
from django.core.files.storage import default_storage
from django.db import transaction
from django.utils import timezone

from bridges.models import Import, ImportRow
from shared import audit, jobs
from shared.statistics import refresh_statistics

from . import layouts, vintages
from .lines import Refused
from .matching import Match, Matcher
from .record import Fault

Outcome = ImportRow.Outcome
Layout = Import.Layout

BATCH = 500
EXAMPLES = 5
# More rows than a table's statistics of before would still plan well for.
MANY = 2000
FOLDER = "imports"
FEDERAL_LIST = "Federal inventory"
LISTS = {
    Layout.OWN: "Our own CSV",
    Layout.DELIMITED: FEDERAL_LIST,
    Layout.FIXED: FEDERAL_LIST,
    Layout.WAYPOINTS: "Waypoints",
}
UNMATCHED = {
    Layout.OWN: Import.Unmatched.NEW,
    Layout.DELIMITED: Import.Unmatched.KEEP,
    Layout.FIXED: Import.Unmatched.KEEP,
    Layout.WAYPOINTS: Import.Unmatched.ASK,
}
VINTAGE = re.compile(r"(19|20)\d\d(-\d\d(-\d\d)?)?")


class AlreadyTaken(Exception):
    """The same file of the same list and vintage is in; ``of`` is that import."""

    def __init__(self, of):
        super().__init__(str(of))
        self.of = of


def receive(
    file, *, name, person=None, layout="", list_name="", vintage="", unmatched=""
):
    """Keep a file that was sent, and return its ``Import``, not read yet.

    ``file`` is binary and can be read from its beginning again. Raises ``Refused`` for
    what is no list or has no vintage, ``AlreadyTaken`` for what is in already.
    """
    layout = layout or layouts.tell(file)
    list_name = " ".join(list_name.split())[:80] or LISTS[layout]
    vintage = vintage.strip() or _vintage(name, layout)
    if not VINTAGE.fullmatch(vintage):
        raise Refused(
            f"“{vintage}” is not a vintage. Give the year the list is of, such as 2023, "
            "or its day, such as 2023-06-30."
        )
    # The header is looked at before the file is kept.
    layouts.Opened(file, layout, vintage)
    digest, size = _measure(file)
    same = Import.objects.filter(
        list_name=list_name, vintage=vintage, sha256=digest, state=Import.State.TAKEN
    )
    if (taken := same.first()) is not None:
        raise AlreadyTaken(taken)
    file.seek(0)
    stored = default_storage.save(f"{FOLDER}/{digest[:16]}.txt", File(file))
    return Import.objects.create(
        list_name=list_name,
        vintage=vintage,
        layout=layout,
        unmatched=unmatched or UNMATCHED[layout],
        file_name=name[-200:],
        stored=stored,
        sha256=digest,
        size_bytes=size,
        person=person if getattr(person, "pk", None) else None,
    )


def _vintage(name, layout):
    if layout in (Layout.OWN, Layout.WAYPOINTS):
        return timezone.localdate().isoformat()
    found = re.search(r"(?<!\d)(19|20)\d\d(?!\d)", name)
    if found is None:
        raise Refused(
            "Say of which year the list is: neither you nor the file's name does."
        )
    return found.group()


def _measure(file):
    file.seek(0)
    digest, size = hashlib.sha256(), 0
    while block := file.read(1 << 20):
        digest.update(block)
        size += len(block)
    return digest.hexdigest(), size


@jobs.job
def read(*, pk, progress=None):
    """Read the file of an ``Import`` into rows. Run again, it begins anew."""
    of = Import.objects.get(pk=pk)
    if of.state not in (Import.State.WAITING, Import.State.REFUSED):
        return of.report
    _drop_rows(of)
    try:
        with default_storage.open(of.stored) as file:
            _read(of, file, progress or (lambda *args: None))
    except Refused as refused:
        _drop_rows(of)
        of.state, of.refusal = Import.State.REFUSED, str(refused)
        of.save()
        return {"refused": of.refusal}
    _forget_file(of)
    return {"rows": of.row_count}


def _drop_rows(of):
    while True:
        some = list(of.rows.order_by("pk").values_list("pk", flat=True)[:2000])
        if not some:
            return
        ImportRow.objects.filter(pk__in=some).delete()


def _forget_file(of):
    """The rows hold every word of it now."""
    stored, of.stored = of.stored, ""
    of.save(update_fields=["stored"])
    default_storage.delete(stored)


def _read(of, file, progress):
    opened = layouts.Opened(file, of.layout, of.vintage)
    of.header = opened.header
    of.save(update_fields=["header"])
    tally = Tally()
    matcher, earlier = Matcher(of), vintages.Earlier(of)
    batch, done = [], 0
    for record, done in opened.records():
        batch.append(record)
        if len(batch) == BATCH:
            _keep(of, batch, matcher, earlier, tally)
            batch = []
            progress(done, of.size_bytes, f"{tally.rows:,} rows read")
    if batch:
        _keep(of, batch, matcher, earlier, tally)
    progress(of.size_bytes, of.size_bytes, f"{tally.rows:,} rows read")
    if not tally.rows:
        raise Refused("The file holds a header and no row.")
    of.parts = sorted(tally.parts)
    of.previous = earlier.latest(of.parts)
    of.row_count = tally.rows
    of.report = {
        **tally.report(),
        "notes": opened.notes.sentences(),
        "unknown": opened.reader.unknown if hasattr(opened.reader, "unknown") else [],
        "era": getattr(opened.reader, "era", ""),
        "gone": vintages.gone(of).count(),
    }
    of.state, of.read_at = Import.State.READ, timezone.now()
    of.save()
    if tally.rows > MANY:
        refresh_statistics()


class Tally:
    """What a whole file comes to: counts and a few examples, whatever its length."""

    def __init__(self):
        self.rows = self.seen_before = self.changed = 0
        self.outcomes, self.whys = Counter(), Counter()
        self.faults, self.fields = Counter(), Counter()
        self.examples: dict[str, list] = {}
        self.parts: set[str] = set()

    def add(self, record, row, of):
        self.rows += 1
        self.outcomes[row.outcome] += 1
        if row.why:
            self.whys[f"{row.outcome}:{row.why}"] += 1
        for fault in record.faults:
            self.faults[fault.code] += 1
            shown = self.examples.setdefault(fault.code, [])
            if len(shown) < EXAMPLES:
                shown.append([record.line, fault.field, fault.text])
        if row.changes is not None:
            self.seen_before += 1
            self.changed += bool(row.changes)
            self.fields.update(list(row.changes))
        if of.is_federal and record.key:
            self.parts.add(record.key.partition(":")[0])

    def report(self):
        return {
            "outcomes": dict(self.outcomes),
            "whys": dict(self.whys),
            "faults": dict(self.faults.most_common()),
            "examples": self.examples,
            "seen_before": self.seen_before,
            "changed": self.changed,
            "fields": dict(self.fields.most_common()),
        }


@transaction.atomic
def _keep(of, records, matcher, earlier, tally):
    _find_twins(of, records)
    whole = [one for one in records if not (one.is_faulty or one.aside)]
    matches = dict(zip(map(id, whole), matcher.match(whole), strict=True))
    changes = earlier.changes(whole)
    rows = []
    for record in records:
        match = _settled(of, record, matches.get(id(record)))
        faults = record.faults
        said = changes.get(record.key) if id(record) in matches else None
        row = ImportRow(
            of=of,
            line=record.line,
            raw=record.raw,
            key=record.key,
            name=record.name[:160],
            outcome=match.outcome,
            why=match.why,
            bridge_id=match.bridge,
            candidates=match.candidates,
            faults=[[one.code, one.field, one.said] for one in faults],
            fault_codes=_listed(one.code for one in faults),
            changes=said,
            changed_fields=_listed(said or ()),
        )
        rows.append(row)
        tally.add(record, row, of)
    ImportRow.objects.bulk_create(rows)


def _listed(words):
    words = list(dict.fromkeys(words))
    return f",{','.join(words)}," if words else ""


def _find_twins(of, records):
    """Find what stood in the file before; the first of each counts."""
    keys = {one.key for one in records if one.key and not one.is_faulty}
    known = ImportRow.objects.filter(of=of, key__in=keys).exclude(
        outcome=Outcome.FAULTY
    )
    seen = set(known.values_list("key", flat=True))
    for record in records:
        if not record.key or record.is_faulty or record.aside:
            continue
        if record.key in seen:
            record.faults.append(Fault.of("key-twice", "the row", record.key))
        seen.add(record.key)


def _settled(of, record, match):
    """Return what becomes of a row, its last faults told."""
    if record.aside:
        return Match(Outcome.ASIDE, "")
    if match is None:
        return Match(Outcome.FAULTY, "")
    if match.outcome != Outcome.KEPT or of.unmatched == Import.Unmatched.KEEP:
        return match
    if of.unmatched == Import.Unmatched.ASK:
        return Match(Outcome.QUEUED, match.why)
    if record.if_new:
        record.faults += record.if_new
        return Match(Outcome.FAULTY, match.why)
    return Match(Outcome.NEW, match.why)


def throw_away(of, *, by=None):
    """Drop an import that nothing was taken of; raises ``Refused`` for any other."""
    if of.state in (Import.State.TAKING, Import.State.TAKEN):
        raise Refused("What was taken into the record is not thrown away.")
    _drop_rows(of)
    if of.stored:
        default_storage.delete(of.stored)
    of.delete()


def told(of, by):
    """Write in the audit log that a list was brought in."""
    subject = f"{of}: {of.row_count:,} rows of {of.file_name}"
    audit.note(audit.Action.IMPORTED, person=by, subject=subject)
