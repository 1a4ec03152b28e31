"""Putting what was read into the record: claims beside what stands there, new bridges.

Nothing that stands in the record is changed. Each batch of rows is taken in one
transaction and marked as taken in the same, so what is cut short goes on where it was.
"""

from __future__ import annotations

from django.db import transaction
from django.utils import timezone
from simple_history.utils import bulk_create_with_history

from bridges.models import (
    Bridge,
    Claim,
    Confidence,
    Correspondence,
    Import,
    ImportRow,
    Source,
)
from shared import jobs
from shared.statistics import refresh_statistics

from . import making, own, reading
from .layouts import Kept

Outcome = ImportRow.Outcome
BATCH = 200
# What an official list says of an old bridge is often an estimate or a default.
CONFIDENCE = {Import.Layout.OWN: Confidence.PROBABLE}


@jobs.job
def take(*, pk, person=None, progress=None):
    """Take the rows of an ``Import`` that are certain. Run again, it goes on."""
    progress = progress or (lambda *args: None)
    of = Import.objects.get(pk=pk)
    if of.state == Import.State.READ:
        of.state = Import.State.TAKING
        of.save(update_fields=["state"])
    if of.state != Import.State.TAKING:
        return {"taken": 0}
    kept = Kept(of)
    source = source_of(of)
    rows = of.rows.filter(outcome__in=(Outcome.MATCHED, Outcome.NEW))
    total = rows.count()
    waiting = (
        rows.filter(is_taken=False).order_by("pk").select_related("bridge__standing")
    )
    done = total - waiting.count()
    while batch := list(waiting[:BATCH]):
        with transaction.atomic():
            take_rows(batch, kept, source, of.person)
        done += len(batch)
        progress(done, total, f"{done:,} of {total:,} rows taken")
    others = of.rows.filter(is_taken=False).exclude(outcome=Outcome.QUEUED)
    others.update(is_taken=True)
    of.state, of.taken_at = Import.State.TAKEN, timezone.now()
    of.save(update_fields=["state", "taken_at"])
    reading.told(of, of.person)
    if total > reading.MANY:
        refresh_statistics()
    return {"taken": done}


def source_of(of):
    """Return the ``Source`` that claims of this vintage of this list rest on."""
    if of.source_id is None:
        title = f"{of.list_name}, {of.vintage}"
        same = Source.objects.filter(title=title, kind=Source.Kind.RECORD).first()
        of.source = same or Source.objects.create(
            kind=Source.Kind.RECORD,
            title=title,
            date=of.vintage,
            held_by="brought in as a list; its rows are kept word for word",
        )
        of.save(update_fields=["source"])
    return of.source


def take_rows(rows, kept, source, person):
    """Take rows that are matched or to be new; to be called in a transaction."""
    records = {row.pk: kept.record(row) for row in rows}
    _make(rows, records, kept.of, source, person)
    matched = [row for row in rows if row.bridge_id and row.outcome != Outcome.NEW]
    made = [row for row in rows if row.bridge_id and row.outcome == Outcome.NEW]
    _claim([(row, records[row.pk]) for row in matched], kept.of, source, person)
    _claim_of_new([(row, records[row.pk]) for row in made], kept.of, source, person)
    _correspond([*matched, *made], kept.of, person)
    for row in rows:
        row.is_taken = True
    ImportRow.objects.bulk_update(rows, ["is_taken", "bridge", "outcome", "why"])


def _make(rows, records, of, source, person):
    wanted = [row for row in rows if row.outcome == Outcome.NEW and not row.bridge_id]
    if not wanted:
        return
    free = {id(one) for one in making.free_numbers([records[row.pk] for row in wanted])}
    for row in wanted:
        if id(records[row.pk]) not in free:
            # Somebody entered it while the list waited to be taken.
            row.outcome, row.why = Outcome.QUEUED, "other number"
    wanted = [row for row in wanted if row.outcome == Outcome.NEW]
    confidence = CONFIDENCE.get(of.layout, Confidence.POSSIBLE)
    bridges = making.make(
        [records[row.pk] for row in wanted],
        source=source,
        person=person,
        confidence=confidence,
    )
    for row, bridge in zip(wanted, bridges, strict=True):
        row.bridge = bridge


def claims_of(record, of, bridge):
    """Return {about: value} that a row claims of a bridge that stands in the record."""
    if of.layout == Import.Layout.OWN:
        return own.claims_against(record, bridge, getattr(bridge, "standing", None))
    if of.layout == Import.Layout.WAYPOINTS:
        name = record.facts.get("name", "")
        is_other = name.casefold() != bridge.name.casefold() and record.names
        # The name of a sensitive bridge may be a place on somebody's receiver.
        return (
            {"name": name[:240]}
            if is_other and not bridge.is_position_sensitive
            else {}
        )
    return record.claims


def _claim(pairs, of, source, person):
    wanted = [
        (row.bridge_id, about, value)
        for row, record in pairs
        for about, value in claims_of(record, of, row.bridge).items()
    ]
    _write_claims(wanted, of, source, person)


def _claim_of_new(pairs, of, source, person):
    """A new bridge's facts are the row's own; only what it leaves out is claimed."""
    if of.layout == Import.Layout.OWN:
        wanted = [
            (row.bridge_id, "built", record.facts["built"])
            for row, record in pairs
            if record.facts.get("built")
        ]
        wanted += [
            (row.bridge_id, "builder", record.facts["builder_names"][:240])
            for row, record in pairs
            if record.facts.get("builder_names")
        ]
    else:
        wanted = [
            (row.bridge_id, about, value)
            for row, record in pairs
            for about, value in record.claims.items()
        ]
    _write_claims(wanted, of, source, person)


def _write_claims(wanted, of, source, person):
    """Write what the list has not claimed already, in this vintage or one before."""
    lists = Import.objects.filter(list_name=of.list_name, source__isnull=False)
    known = Claim.objects.filter(
        bridge__in={bridge for bridge, _, _ in wanted},
        source__in=lists.values("source"),
    )
    known = set(known.values_list("bridge_id", "about", "value"))
    confidence = CONFIDENCE.get(of.layout, Confidence.POSSIBLE)
    bulk_create_with_history(
        [
            Claim(
                bridge_id=bridge,
                about=about[:60],
                value=value[:240],
                source=source,
                confidence=confidence,
            )
            for bridge, about, value in dict.fromkeys(wanted)
            if (bridge, about[:60], value[:240]) not in known
        ],
        Claim,
        default_user=person,
        default_change_reason=f"brought in: {source}"[:100],
    )


def _correspond(rows, of, person):
    """Remember which bridge a record is; what a person said stays as it is."""
    keys = [row.key for row in rows]
    known = Correspondence.objects.filter(list_name=of.list_name, key__in=keys)
    known = set(known.values_list("key", flat=True))
    bulk_create_with_history(
        [
            Correspondence(
                list_name=of.list_name,
                key=row.key,
                bridge_id=row.bridge_id,
                why="made" if row.outcome == Outcome.NEW else row.why,
            )
            for row in rows
            if row.key and row.key not in known
        ],
        Correspondence,
        default_user=person,
    )


def withdraw(row, person=None):
    """Take back the claims that one row brought to its bridge; history keeps them."""
    if row.bridge_id is None or row.of.source_id is None:
        return
    bridge = Bridge.objects.select_related("standing").get(pk=row.bridge_id)
    record = Kept(row.of).record(row)
    said = {**claims_of(record, row.of, bridge), **record.claims}
    claims = Claim.objects.filter(
        bridge=bridge, source=row.of.source_id, is_chosen=False, about__in=said
    )
    for claim in claims:
        if said.get(claim.about) == claim.value:
            claim._history_user = person
            claim._change_reason = "the row is of another bridge"
            claim.delete()
