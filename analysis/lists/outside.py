"""Lists of what lists from outside say: rows of no bridge, bridges of no row, changes."""

from __future__ import annotations

from django.db.models import Exists, OuterRef

from bridges.models import Correspondence, Import, ImportRow
from shared import policy

from .kinds import Choice, List, bridge_cell

OFFICERS = {"may_ask": policy.can_import, "for_whom": "officers and keepers"}
NO_BRIDGE = (
    ImportRow.Outcome.QUEUED,
    ImportRow.Outcome.KEPT,
    ImportRow.Outcome.NOT_OURS,
)


def _newest():
    """Imports that no later vintage of the same list has followed."""
    later = Import.objects.filter(
        list_name=OuterRef("list_name"), state=Import.State.TAKEN, pk__gt=OuterRef("pk")
    )
    return Import.objects.filter(~Exists(later), state=Import.State.TAKEN)


def _unmatched(question):
    rows = ImportRow.objects.filter(of__in=_newest(), outcome__in=NO_BRIDGE)
    return rows.select_related("of").order_by("of__list_name", "line", "pk")


def _unmatched_rows(rows, question):
    return [
        (
            str(one.of),
            str(one.line),
            one.key or "no number",
            one.name or "no name",
            one.get_outcome_display(),
        )
        for one in rows
    ]


UNMATCHED = List(
    "of-no-bridge",
    "Rows of outside lists that are no bridge of ours",
    "Which records of the newest lists match no bridge of ours?",
    ("List", "Line", "Its number", "Its name", "What became of it"),
    _unmatched,
    _unmatched_rows,
    **OFFICERS,
)


def _unlisted(question):
    known = Correspondence.objects.filter(bridge=OuterRef("pk"))
    return question.bridges.filter(~Exists(known)).order_by("name", "id")


def _unlisted_rows(bridges, question):
    return [
        (bridge_cell(one), one.number, one.county, one.get_status_display())
        for one in bridges
    ]


UNLISTED = List(
    "in-no-list",
    "Bridges of ours that no outside list has",
    "Which of our bridges match no record of any list brought in?",
    ("Bridge", "Number", "County", "Status"),
    _unlisted,
    _unlisted_rows,
    **OFFICERS,
)


def _vintages(question):
    rows = question.of(ImportRow).exclude(changes__isnull=True).exclude(changes={})
    if name := question.get("changed"):
        rows = rows.filter(changed_fields__contains=f",{name},")
    return rows.select_related("bridge", "of__previous").order_by(
        "bridge__name", "of__vintage", "line", "pk"
    )


def _vintage_rows(rows, question):
    told = []
    for one in rows:
        before = one.of.previous.vintage if one.of.previous else "earlier"
        told.append(
            (
                bridge_cell(one.bridge),
                one.of.list_name,
                f"{before} to {one.of.vintage}",
                "; ".join(
                    f"{name.replace('_', ' ')}: {old or 'blank'} → {new or 'blank'}"
                    for name, (old, new) in sorted(one.changes.items())
                ),
            )
        )
    return told


CHANGED = List(
    "between-vintages",
    "What changed between vintages of a list",
    "What do later vintages of outside lists say otherwise of our bridges?",
    ("Bridge", "List", "Vintages", "What changed"),
    _vintages,
    _vintage_rows,
    (
        Choice(
            "changed",
            "What changed",
            tuple(
                (name, name.capitalize())
                for name in (
                    "owner",
                    "status",
                    "built",
                    "latitude",
                    "longitude",
                    "deck",
                )
            ),
        ),
    ),
    **OFFICERS,
)
