"""A person's answer to which bridge a row is; remembered for every later vintage."""

from __future__ import annotations

from django.db import transaction

from bridges.models import Bridge, Correspondence, ImportRow
from shared import audit

from . import making, taking
from .layouts import Kept

Outcome = ImportRow.Outcome
SAME, NEW, NOT_OURS = "same", "new", "not-ours"


class Cannot(Exception):
    """The answer cannot be kept as it is; ``field`` says what to mend."""

    def __init__(self, field, text):
        super().__init__(text)
        self.field = field


@transaction.atomic
def decide(row, verdict, *, person, bridge=None, facts=None, note=""):
    """Settle a row that waits, and all of the same record in other vintages.

    ``bridge`` for the same bridge; ``facts`` (name, county, number) for a new one.
    Raises ``Cannot``. Said again, the same answer changes nothing.
    """
    row = ImportRow.objects.select_for_update(of=("self",)).get(pk=row.pk)
    if row.outcome != Outcome.QUEUED:
        raise Cannot("verdict", "Somebody has answered for this row already.")
    if verdict == SAME and bridge is None:
        raise Cannot("bridge", "Choose which bridge it is.")
    waiting = ImportRow.objects.filter(
        of__list_name=row.of.list_name, key=row.key, outcome=Outcome.QUEUED
    ).select_related("of", "bridge")
    rows = list(waiting.order_by("pk"))
    if verdict == NEW:
        bridge = _new(row, facts or {}, person)
    for one in rows:
        one.why, one.is_taken = "said so", True
        one.bridge = bridge
        one.outcome = Outcome.NOT_OURS if bridge is None else Outcome.MATCHED
    ImportRow.objects.bulk_update(rows, ["why", "is_taken", "bridge", "outcome"])
    known = Correspondence.objects.filter(
        list_name=row.of.list_name, key=row.key
    ).first()
    said = known or Correspondence(list_name=row.of.list_name, key=row.key)
    said.bridge, said.why, said.person = bridge, "said so", person
    said.note = note[:300]
    said._history_user = person
    said._change_reason = verdict
    said.save()
    if bridge is not None:
        bridge = Bridge.objects.select_related("standing").get(pk=bridge.pk)
        for one in rows:
            one.bridge = bridge
            kept, source = Kept(one.of), taking.source_of(one.of)
            taking._claim([(one, kept.record(one))], one.of, source, person)
    words = {SAME: "is", NEW: "was made", NOT_OURS: "is no bridge of ours"}[verdict]
    subject = f"{row.of.list_name}, {row.name}: {words} {bridge or ''}".strip()
    audit.note(audit.Action.DECIDED, person=person, subject=subject)
    return bridge


def _new(row, facts, person):
    record = Kept(row.of).record(row)
    for name, text in facts.items():
        if text:
            record.facts[name] = " ".join(text.split())
    if not record.facts.get("number"):
        record.facts["number"] = making.next_number()
    for name, most in (("name", 160), ("county", 80), ("number", 20)):
        said = record.facts.get(name, "")
        if not said:
            raise Cannot(name, f"A new bridge needs a {name}.")
        if len(said) > most:
            raise Cannot(name, f"The {name} is longer than {most} characters.")
    if record.place is None:
        raise Cannot("verdict", "The row gives no place, and a bridge needs one.")
    if not making.free_numbers([record]):
        raise Cannot("number", "Another bridge has that number.")
    source = taking.source_of(row.of)
    return making.make([record], source=source, person=person)[0]


@transaction.atomic
def ask_again(row, *, person):
    """Put a row that was matched or set aside back into the queue.

    The claims it brought to the wrong bridge go (their history stays), and so does what
    was remembered. A bridge that was made of it stays: it may hold visits by now.
    """
    row = ImportRow.objects.select_for_update(of=("self",)).get(pk=row.pk)
    if row.outcome not in (
        Outcome.MATCHED,
        Outcome.NEW,
        Outcome.NOT_OURS,
        Outcome.KEPT,
    ):
        raise Cannot("verdict", "This row cannot be asked about.")
    rows = ImportRow.objects.filter(
        of__list_name=row.of.list_name,
        key=row.key,
        outcome=row.outcome,
        bridge=row.bridge_id,
    ).select_related("of")
    for one in rows:
        taking.withdraw(one, person)
        if one.bridge_id and one.bridge_id not in {c[0] for c in one.candidates}:
            one.candidates = [[one.bridge_id, None, None], *one.candidates]
        one.outcome, one.why, one.bridge = Outcome.QUEUED, "asked again", None
        one.save()
    for said in Correspondence.objects.filter(list_name=row.of.list_name, key=row.key):
        said._history_user = person
        said.delete()
    subject = f"{row.of.list_name}, {row.name}: asked again"
    audit.note(audit.Action.DECIDED, person=person, subject=subject)
