"""What a dossier still lacks, read off its own facts: the rows and three gates.

Pure. The list is the society's own working list, after what nomination forms and
recording practice commonly ask for (36 CFR 60.4 for criteria, considerations and the
seven aspects of integrity; National Park Service guidance for maps and photographs); a
state office may ask for more. It judges whether something is written and hangs
together, never whether it is right.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from dataclasses import dataclass, replace

from . import dossier_rows as rows
from .dossier_row import (
    ADVICE,
    MISSING,
    PARTLY,
    REQUIRED,
    THERE,
    USUAL,
    Row,
)

__all__ = [
    "ADVICE",
    "MISSING",
    "PARTLY",
    "REQUIRED",
    "THERE",
    "USUAL",
    "Gate",
    "Row",
    "completeness",
    "gate",
    "lacking",
]

# What is asked for by a nomination form or a regulation is required; what most state
# offices ask for, usual; the rest is this society's advice.
ROWS = (
    (REQUIRED, rows.names),
    (REQUIRED, rows.numbers),
    (REQUIRED, rows.location),
    (REQUIRED, rows.publication),
    (REQUIRED, rows.owner),
    (REQUIRED, rows.counts),
    (REQUIRED, rows.functions),
    (REQUIRED, rows.materials),
    (REQUIRED, rows.summary),
    (REQUIRED, rows.description),
    (USUAL, rows.sizes),
    (REQUIRED, rows.alterations),
    (REQUIRED, rows.integrity),
    (REQUIRED, rows.criteria),
    (REQUIRED, rows.considerations),
    (REQUIRED, rows.areas),
    (REQUIRED, rows.level),
    (REQUIRED, rows.period),
    (REQUIRED, rows.significant_dates),
    (REQUIRED, rows.builder),
    (REQUIRED, rows.opening),
    (REQUIRED, rows.significance),
    (USUAL, rows.context),
    (REQUIRED, rows.bibliography),
    (REQUIRED, rows.prior),
    (REQUIRED, rows.repositories),
    (REQUIRED, rows.acreage),
    (REQUIRED, rows.coordinates),
    (REQUIRED, rows.boundary),
    (REQUIRED, rows.boundary_reason),
    (REQUIRED, rows.location_map),
    (USUAL, rows.sketch_map),
    (REQUIRED, rows.photo_set),
    (REQUIRED, rows.photo_names),
    (REQUIRED, rows.photo_log),
    (ADVICE, rows.historic_images),
    (REQUIRED, rows.preparer),
    (USUAL, rows.notice),
    (ADVICE, rows.ledger),
    (ADVICE, rows.stamp),
    (ADVICE, rows.questions),
    (ADVICE, rows.sensitive),
    (USUAL, rows.status),
    (USUAL, rows.plates),
    (USUAL, rows.visited),
    (USUAL, rows.checked),
    (ADVICE, rows.disputed),
)


@dataclass(frozen=True)
class Gate:
    """What the rows come to together."""

    is_complete: bool
    # Required and usual rows that are not wholly there, printed by name.
    gaps: list[Row]
    advice: list[Row]

    @property
    def words(self):
        if self.is_complete:
            return "Complete, with gaps named" if self.gaps else "Complete"
        return "Not complete: prints with its gaps named"


def completeness(facts, today: datetime.date) -> list[Row]:
    """Return every row in the order of the document, whether it is there or not."""
    return [
        replace(make(facts, today), number=number, level=level)
        for number, (level, make) in enumerate(ROWS, start=1)
    ]


def lacking(facts, today) -> list[Row]:
    """Return the rows that are not wholly there."""
    return [row for row in completeness(facts, today) if not row.is_there]


def gate(rows: Iterable[Row]) -> Gate:
    """Say whether a dossier is complete, or prints with gaps, and what is advice."""
    open_rows = [row for row in rows if not row.is_there]
    return Gate(
        is_complete=all(row.level != REQUIRED for row in open_rows),
        gaps=[row for row in open_rows if row.level != ADVICE],
        advice=[row for row in open_rows if row.level == ADVICE],
    )
