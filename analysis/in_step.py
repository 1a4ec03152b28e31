"""Telling at a glance that a bridge's checks and effects follow from its record.

A recheck that finds nothing to do should cost what reading costs. So with what it
stores it keeps two hashes of each bridge: of every row that it reads, with the code
that works on them, and of every row that it stored. Where both still hold, folding the
record and writing its check files would end in what is stored.

They are hashes of contents, not of stamps: a row that was changed past every form and
every history, or a stored answer that was altered, shows in them too.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import partial
from itertools import groupby
from pathlib import Path

from django.db.models import TextField
from django.db.models.functions import Cast

from analysis.engine import ENGINE_VERSION
from bridges.models import Bridge, Span, TrussLine
from surveys import rows

from .models import Check, ConfigurationCheck, Effect, InStep

#: Rooms whose code may bear on what a record comes to.
ROOMS = ("shared", "bridges", "surveys", "analysis")


def _code_sha256() -> str:
    found = hashlib.sha256()
    top = Path(__file__).parents[1]
    for room in ROOMS:
        for path in sorted((top / room).rglob("*.py")):
            found.update(f"\n# {path.relative_to(top)}\n".encode())
            found.update(path.read_bytes())
    return found.hexdigest()


#: Read when the process starts: what it runs, even if the files are replaced later.
CODE_SHA256 = _code_sha256()


@dataclass
class Standing:
    """What a recheck reads of one bridge."""

    rows: rows.Rows
    lines: list[TrussLine] = field(default_factory=list)
    spans: list[Span] = field(default_factory=list)

    @property
    def sha256(self) -> str:
        """Hash of all of it, with the engine and the code that reads it."""
        parts = [self.rows.text, ENGINE_VERSION, CODE_SHA256]
        parts += [repr(_values(one)) for one in (*self.spans, *self.lines)]
        parts += [
            repr((s.bridge.built_earliest, s.bridge.built_latest)) for s in self.spans
        ]
        return hashlib.sha256("\n".join(parts).encode()).hexdigest()


def _values(row):
    return [getattr(row, one.attname) for one in row._meta.concrete_fields]


def standing(bridges: Iterable[Bridge]) -> dict[int, Standing]:
    """Read what a recheck reads of bridges, by their ids.

    Truss lines come in the order of ``recheck.truss_lines_of``, with their spans and
    these with their bridges, the same objects for all lines.
    """
    ids = [bridge.pk for bridge in bridges]
    found = {pk: Standing(one) for pk, one in rows.read(ids).items()}
    # Read anew: those given may have been read long ago.
    fresh = Bridge.objects.filter(pk__in=ids).only("built_earliest", "built_latest")
    fresh = {bridge.pk: bridge for bridge in fresh}
    spans = {}
    for span in Span.objects.filter(bridge__in=ids).order_by("bridge", "number", "id"):
        span.bridge = fresh[span.bridge_id]
        spans[span.pk] = span
        found[span.bridge_id].spans.append(span)
    lines = TrussLine.objects.filter(span__bridge__in=ids)
    for line in lines.order_by("span__bridge", "span__number", "position", "id"):
        if line.span_id in spans:
            line.span = spans[line.span_id]
            found[line.span.bridge_id].lines.append(line)
    return found


@dataclass
class Stored:
    """What is stored of one bridge: its hash, its checks' ids, how many effects."""

    sha256: str
    checks: set[int]
    effects: int


def stored(bridges: Iterable[int]) -> dict[int, Stored]:
    """Read what is stored of bridges, word for word, by the bridges' ids."""
    ids = list(bridges)
    text = partial(Cast, output_field=TextField())
    configurations = ConfigurationCheck.objects.filter(
        truss_line__span__bridge__in=ids
    ).order_by("truss_line__span__bridge", "truss_line", "visit")
    configured = _by_first(
        configurations.values_list(
            "truss_line__span__bridge",
            "truss_line",
            "visit",
            "check_made",
            "gap",
            text("assumptions"),
        )
    )
    effects = Effect.objects.filter(truss_line__span__bridge__in=ids).order_by(
        "truss_line__span__bridge", "truss_line", "from_visit", "to_visit"
    )
    effected = _by_first(
        effects.values_list(
            "truss_line__span__bridge",
            "truss_line",
            "from_visit",
            "to_visit",
            "content_sha256",
            "engine",
            text("result"),
        )
    )
    asked = {row[2] for some in configured.values() for row in some} - {None}
    rows_of_checks = Check.objects.filter(pk__in=asked).values_list(
        "pk",
        "input_sha256",
        "engine",
        "stands",
        "limit_tons",
        "governing_member",
        text("document"),
        text("answer"),
    )
    checks = {row[0]: _sha256(*row) for row in rows_of_checks.iterator()}
    found = {}
    for pk in ids:
        some, told = configured.get(pk, []), effected.get(pk, [])
        used = {row[2] for row in some} - {None}
        parts = [(*row, checks.get(row[2])) for row in some]
        found[pk] = Stored(_sha256(parts, told), used, len(told))
    return found


def _by_first(found) -> dict[int, list]:
    """Rows, in order of their first column, by it and without it."""
    return {
        first: [row[1:] for row in some]
        for first, some in groupby(found, key=lambda row: row[0])
    }


def _sha256(*parts) -> str:
    return hashlib.sha256(repr(parts).encode()).hexdigest()


def kept(bridges: Iterable[int]) -> dict[int, tuple[str, str]]:
    """Return the hashes of record and of stored rows that were kept of bridges."""
    found = InStep.objects.filter(bridge__in=list(bridges))
    return {pk: (record, held) for pk, record, held in found.values_list(*FIELDS)}


def keep(marks: Mapping[int, str]) -> None:
    """Keep of bridges that they are in step, by the hash of what was read of them.

    Within the transaction that stored what follows from it.
    """
    now = stored(marks)
    InStep.objects.bulk_create(
        [
            InStep(bridge_id=pk, record_sha256=sha, stored_sha256=now[pk].sha256)
            for pk, sha in marks.items()
        ],
        update_conflicts=True,
        unique_fields=["bridge"],
        update_fields=list(FIELDS[1:]),
    )


FIELDS = ("bridge", "record_sha256", "stored_sha256")
