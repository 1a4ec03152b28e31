"""Field sheets: what the phone form asks, on one page of paper a bridge.

The same elements in the same order with the same four answers, so that a sheet is typed
in from top to bottom at a desk. Members are marked on the drawing, by letters.
"""

from __future__ import annotations

import datetime
from collections import Counter
from dataclasses import dataclass, field

from bridges import drawing
from bridges.models import Bridge
from surveys import alarms
from surveys import record as records
from surveys.sheet import ROLE_TITLES, Sheet

from . import due as due_list
from .models import ToMeasure

MOST_REASONS, MOST_TASKS = 4, 3
# Marks written beside a bar, as few as can be remembered in the rain.
MARKS = (
    ("R", "reinforced"),
    ("N", "new, replaced"),
    ("A", "added"),
    ("X", "gone"),
    ("L", "loose, slack"),
    ("B", "bent"),
    ("S", "section lost"),
    ("C", "cracked"),
    ("?", "couldn’t see"),
)


@dataclass
class LineSheet:
    """One truss line: its drawing to be marked, and what was last recorded by role."""

    title: str
    drawing: str
    roles: list = field(default_factory=list)


@dataclass
class FieldSheet:
    """One bridge's page."""

    bridge: Bridge
    printed: datetime.date
    groups: list
    lines: list
    reasons: list
    tasks: list
    call: str = ""
    marks: tuple = MARKS
    # Lines to write on.
    rules = range(6)

    @property
    def owner(self):
        told = (self.bridge.owner, self.bridge.owner_contact)
        return ", ".join(one for one in told if one)

    @property
    def size(self):
        """How closely the page must be set: ``wide``, ``close`` or ``closest``."""
        rows = sum(len(group.rows) for group in self.groups)
        load = rows + 9 * len(self.lines) + len(self.reasons) + len(self.tasks)
        return "wide" if load <= 34 else "close" if load <= 46 else "closest"


def sheets(bridges, today) -> list[FieldSheet]:
    """Return the pages of some bridges, in their order, in a fixed number of queries."""
    if not bridges:
        return []
    held = records.load_many(bridges)
    ids = [bridge.pk for bridge in bridges]
    chosen = Bridge.objects.filter(pk__in=ids)
    reasons = {row.bridge.pk: row.reasons for row in due_list.due(chosen, today)}
    tasks = dict(
        ToMeasure.objects.filter(bridge__in=ids).values_list("bridge_id", "tasks")
    )
    return [
        _sheet(
            held[bridge.pk],
            today,
            [one for one in reasons.get(bridge.pk, []) if one.kind in TOLD],
            tasks.get(bridge.pk, []),
        )
        for bridge in bridges
    ]


# Reasons that ask for something to be done there; age is plain from the sheet itself.
TOLD = {"danger", "question", "unseen", "viewpoint", "expected"}


def _sheet(record, today, reasons, tasks):
    sheet = Sheet(record)
    groups, lines = [], []
    for group in sheet.groups:
        if group.line is None:
            groups.append(group)
        else:
            lines.append(_line(group))
    return FieldSheet(
        bridge=record.bridge,
        printed=today,
        groups=groups,
        lines=lines,
        reasons=reasons[:MOST_REASONS],
        tasks=tasks[:MOST_TASKS],
        call=alarms.call_first(),
    )


def _line(group):
    span = group.rows[0].element.span
    return LineSheet(
        title=group.title,
        drawing=_drawing(group, span) if span and span.skeleton else "",
        roles=_roles(group.rows),
    )


def _drawing(group, span):
    bars = {
        row.element.member: drawing.BarStyle(
            mark=drawing.GONE if row.was_gone else drawing.ORIGINAL,
            title=row.element.member,
        )
        for row in group.rows
    }
    return drawing.elevation(
        span.skeleton,
        bars,
        title=group.title,
        origin_end=span.origin_end,
        dimensions=False,
        palette=drawing.PRINT,
        name=f"sheet-{group.key}",
    )


def _roles(rows):
    """``[(role, what was last recorded of most of them)]``, in walking order."""
    by_role = {}
    for row in rows:
        by_role.setdefault(row.element.role, []).append(row)
    told = []
    for role, found in by_role.items():
        words = Counter(row.last_words for row in found)
        most, count = words.most_common(1)[0]
        others = "" if count == len(found) else f" ({count} of {len(found)})"
        told.append((ROLE_TITLES.get(role, role or "Members"), f"{most}{others}"))
    return told
