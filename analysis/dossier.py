"""An officer's dossier: what officers write, and the document made of it.

``facts(bridge)`` gathers, ``pdf(facts)`` draws, ``stored_pdf(facts)`` keeps what was
drawn; ``save_narrative`` keeps what two people write at the same time.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from django.db import transaction

from bridges.models import Bridge

from .dossier_facts import INCLUDABLE, NARRATIVE, facts
from .dossier_pdf import PAPERS, NoRenderer, pdf, stored_pdf
from .models import Dossier

__all__ = [
    "INCLUDABLE",
    "NARRATIVE",
    "PAPERS",
    "NoRenderer",
    "Saved",
    "facts",
    "pdf",
    "save_narrative",
    "stored_pdf",
]


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

    Somebody else's newer changes are kept where this person did not touch the field.
    Where both changed one, nothing is saved and ``conflicts`` holds the other's text.
    Saving the same again changes nothing. Every revision stays in the history.
    """
    # The bridge's row is the lock: the dossier's may not exist yet.
    Bridge.objects.select_for_update().get(pk=bridge.pk)
    dossier = Dossier.objects.filter(bridge=bridge).select_related("updated_by").first()
    current = _written(dossier)
    base = _base(bridge, dossier, revision)
    saved = Saved(dossier)
    final = {}
    for name in NARRATIVE:
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
    for name, value in final.items():
        setattr(dossier, name, value)
    dossier.revision += 1
    dossier.updated_by = person
    dossier.full_clean(exclude=["bridge", "updated_by"])
    dossier.save()
    saved.dossier = dossier
    return saved


def _written(dossier):
    return {name: getattr(dossier, name, "") for name in NARRATIVE}


def _base(bridge, dossier, revision):
    """Return the texts as they were at the revision a person began from.

    Blank where that revision is not in the history: whatever differs is then shown
    beside, and nothing overwritten.
    """
    if dossier is None or revision == 0:
        return _written(None)
    if revision == dossier.revision:
        return _written(dossier)
    row = Dossier.history.filter(bridge_id=bridge.pk, revision=revision)
    found = row.order_by("-history_date").first()
    return _written(found)
