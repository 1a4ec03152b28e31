"""An officer's dossier: what officers write, and the document made of it.

``facts(bridge)`` gathers, ``pdf(facts)`` draws, ``keep(facts)`` keeps what was drawn; ``save_narrative`` keeps what two people write at the same time; ``sign`` and
``open_case`` begin and end a nomination case.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from django.db import transaction
from django.utils import timezone

from bridges.models import Bridge

from . import dossier_fields
from .dossier_facts import INCLUDABLE, NARRATIVE, current_case, facts
from .dossier_pdf import PAPERS, NoRenderer, keep, kept, pdf
from .models import Dossier

__all__ = [
    "INCLUDABLE",
    "NARRATIVE",
    "PAPERS",
    "CaseIsClosed",
    "NoRenderer",
    "NotAsRead",
    "Saved",
    "current_case",
    "facts",
    "keep",
    "kept",
    "open_case",
    "pdf",
    "save_narrative",
    "sign",
]
# Everything that people may write at the same time, each merged by itself.
WRITABLE = (*NARRATIVE, *dossier_fields.NAMES, "photos")


class CaseIsClosed(Exception):
    """The case was closed: what was signed and sent is not written over."""


class NotAsRead(Exception):
    """The case has changed since the person who signs read it."""


@dataclass
class Saved:
    """What came of saving a narrative."""

    dossier: Dossier | None
    # Fields that somebody else changed meanwhile and this person did not: kept.
    merged: list[str] = field(default_factory=list)
    # Fields both changed: {name: what the other wrote}. Nothing was saved.
    conflicts: dict[str, str] = field(default_factory=dict)
    changed_by: str = ""


@transaction.atomic
def save_narrative(*, bridge, person, revision, written) -> Saved:
    """Save what an officer wrote on top of ``revision`` (0: nothing was there yet).

    Names that ``written`` lacks are not touched. Somebody else's newer changes are kept
    where this person did not touch the field.
    Where both changed one, nothing is saved and ``conflicts`` holds the other's text.
    Saving the same again changes nothing. Every revision stays in the history.
    """
    # The bridge's row is the lock: the dossier's may not exist yet.
    Bridge.objects.select_for_update().get(pk=bridge.pk)
    dossier = current_case(bridge)
    if dossier and dossier.closed_at:
        raise CaseIsClosed
    current = _written(dossier)
    base = _base(dossier, revision)
    saved = Saved(dossier)
    final = {}
    for name in WRITABLE:
        mine, theirs, was = written.get(name, current[name]), current[name], base[name]
        if mine == theirs or theirs == was:
            final[name] = mine
        elif mine == was:
            final[name] = theirs
            saved.merged.append(name)
        else:
            saved.conflicts[name] = theirs
    if dossier and dossier.updated_by and (saved.merged or saved.conflicts):
        saved.changed_by = dossier.updated_by.credit
    if saved.conflicts or final == current:
        return saved
    if dossier is None:
        dossier = Dossier(bridge=bridge, revision=0)
    _write(dossier, final)
    dossier.revision += 1
    dossier.updated_by = person
    dossier.full_clean(exclude=["bridge", "updated_by"])
    dossier.save()
    saved.dossier = dossier
    return saved


def _write(dossier, final):
    for name in (*NARRATIVE, "photos"):
        setattr(dossier, name, final[name])
    answers = {name: final[name] for name in dossier_fields.NAMES if final[name]}
    dossier.answers = answers


def _written(dossier):
    written = {name: getattr(dossier, name, "") for name in NARRATIVE}
    answers = dossier.answers if dossier else {}
    written |= dossier_fields.blank_answers()
    written |= {k: v for k, v in answers.items() if k in dossier_fields.BY_NAME}
    return written | {"photos": list(dossier.photos) if dossier else []}


def _base(dossier, revision):
    """Return what stood at the revision a person began from.

    Blank where that revision is not in the history: whatever differs is then shown
    beside, and nothing overwritten.
    """
    if dossier is None or revision == 0:
        return _written(None)
    if revision == dossier.revision:
        return _written(dossier)
    row = Dossier.history.filter(id=dossier.pk, revision=revision)
    found = row.order_by("-history_date").first()
    return _written(found)


@transaction.atomic
def sign(*, bridge, person, revision) -> Dossier:
    """Sign the case as it stood at ``revision``; returns it.

    Raises ``NotAsRead`` where it has changed since, or nothing is written,
    ``CaseIsClosed`` where it is closed. A later change leaves the signature to what it
    was put under.
    """
    Bridge.objects.select_for_update().get(pk=bridge.pk)
    dossier = current_case(bridge)
    if dossier is None or dossier.revision != revision:
        raise NotAsRead
    if dossier.closed_at:
        raise CaseIsClosed
    dossier.signed_at, dossier.signed_by = timezone.now(), person
    dossier.signed_revision = dossier.revision
    dossier.save()
    return dossier


@transaction.atomic
def open_case(*, bridge, person, title) -> Dossier:
    """Close the case there is and open the next one on top of what it says.

    Findings, dates and signatures belong to their case and are not taken along.
    """
    Bridge.objects.select_for_update().get(pk=bridge.pk)
    last = current_case(bridge)
    if last and last.closed_at is None:
        last.closed_at = timezone.now()
        last.save()
    begun = Dossier(bridge=bridge, number=last.number + 1 if last else 1)
    written = _written(last)
    for name in written:
        if name.startswith("integrity_") or name in PER_CASE:
            written[name] = dossier_fields.BY_NAME[name].blank
    _write(begun, written)
    begun.title, begun.updated_by = title, person
    begun.save()
    return begun


PER_CASE = (*dossier_fields.printed_dates(), "owner_reply", "questions_read")
