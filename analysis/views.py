"""Pages that show a bridge with its visits, its changes and what they did."""

from dataclasses import dataclass

from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET

from analysis.engine import forms
from bridges import drawing
from bridges.models import (
    Attribution,
    Bridge,
    Claim,
    Concern,
    LifeEvent,
    Link,
    Plate,
    Span,
)
from shared import dates, policy
from surveys import record as records
from surveys.models import Photo, Repair

from . import drawings, measure, services, telling

LATEST_CHANGES = 4
PHOTOS_SHOWN = 9
TALLY = (
    ("same", "as last time"),
    ("changed", "described"),
    ("gone", "gone"),
    ("not-seen", "could not be seen"),
    ("not-looked", "not looked at"),
)


def shown_bridge(request, slug):
    bridges = Bridge.objects.visible_to(request.user).select_related("standing")
    return get_object_or_404(bridges, slug=slug)


@dataclass(frozen=True)
class LineNow:
    """A truss line as it stands at one visit, ready to be shown."""

    line: object
    check: object
    gap: str
    assumptions: list
    rows: list
    drawing: str
    legend_bars: dict

    @property
    def words(self):
        return telling.line_words(self.line)

    @property
    def answer(self):
        return self.check.answer if self.check is not None else {}


def line_at(line, made, parts, **drawn):
    """Gather one truss line: ``made`` is its ConfigurationCheck at a visit, or None.

    ``drawn`` may hold ``changed`` and ``unseen`` members, ``prefix``, ``is_labelled``,
    and the drawing's ``title`` and ``name``.
    """
    title = drawn.pop("title", telling.line_words(line).capitalize())
    name = drawn.pop("name", f"truss-{line.address}")
    check = made.check_made if made is not None else None
    rows = drawings.member_rows(line, parts, check)
    styles = drawings.bars(rows, **drawn)
    return LineNow(
        line,
        check,
        made.gap if made is not None else "",
        made.assumptions if made is not None else [],
        rows,
        drawings.elevation(line, styles, title=title, name=name),
        styles,
    )


@require_GET
def bridge_page(request, slug):
    """Everything known of one bridge, the latest changes first."""
    bridge = shown_bridge(request, slug)
    record = records.load(bridge)
    steps = services.history(bridge, record)
    parts = record.configuration()
    last = steps[-1] if steps else None
    latest = [row for step in reversed(steps) for row in telling.step_rows(step)]
    latitude, longitude, is_exact = bridge.position_for(request.user)
    photos = list(
        Photo.objects.public()
        .filter(visit__bridge=bridge)
        .exclude(derivatives={})
        .select_related("visit", "element")
        .order_by("-visit__when_latest", "id")
    )
    shown = photos if "photos" in request.GET else photos[:PHOTOS_SHOWN]
    lines = [
        line_at(line, after, parts, prefix="", is_labelled=False)
        for line, _, after, _ in (last.lines if last else [])
    ]
    spans = list(
        Span.objects.filter(bridge=bridge).select_related(
            "form_source",
            "deck_position_source",
            "connection_source",
            "material_source",
        )
    )
    claims = list(Claim.objects.filter(bridge=bridge).select_related("source"))
    repairs = list(
        Repair.objects.filter(bridge=bridge).prefetch_related("sources", "elements")
    )
    events = list(LifeEvent.objects.filter(bridge=bridge).select_related("source"))
    attributions = list(
        Attribution.objects.filter(bridge=bridge).select_related("builder", "source")
    )
    return render(
        request,
        "analysis/bridge.html",
        {
            "bridge": bridge,
            "standing": getattr(bridge, "standing", None),
            "steps": steps,
            "last_visit": last.visit if last else None,
            "time_line": _time_line(bridge, steps),
            "latest": latest[:LATEST_CHANGES],
            "more_changes": len(latest) - len(latest[:LATEST_CHANGES]),
            "parts": telling.part_rows(record, parts),
            "today": timezone.localdate(),
            "dangers": [s.visit for s in steps if s.visit.is_danger][-1:],
            "lines": lines,
            "measure_note": measure.note(bridge, record, parts) if lines else None,
            "spans": [(span, _facets(span)) for span in spans],
            "claims": claims,
            "repairs": repairs,
            "events": events,
            "attributions": attributions,
            "plates": _plates(bridge, record, parts),
            "links": Link.objects.filter(bridge=bridge),
            "concerns": Concern.objects.open().filter(bridge=bridge)
            if policy.can_log_visits(request.user)
            else [],
            "photos": shown,
            "photo_count": len(photos),
            "sources": _sources(spans, claims, repairs, events, attributions),
            "latitude": latitude,
            "longitude": longitude,
            "is_exact": is_exact,
            "is_of_the_society": policy.can_log_visits(request.user),
        },
    )


FACETS = (
    ("form", "Form"),
    ("deck_position", "Deck position"),
    ("connection", "Connections"),
    ("material", "Material"),
)


def _form_page(span):
    return reverse("form", args=[span.form]) if span.form in forms.FORMS else ""


def _facets(span):
    return [
        {
            "label": label,
            "value": getattr(span, f"get_{name}_display")(),
            "page": _form_page(span) if name == "form" else "",
            "confidence": getattr(span, f"{name}_confidence"),
            "confidence_words": getattr(span, f"get_{name}_confidence_display")(),
            "source": getattr(span, f"{name}_source"),
        }
        for name, label in FACETS
    ]


def _plates(bridge, record, parts):
    rows = []
    for plate in Plate.objects.filter(bridge=bridge).select_related("builder"):
        part = parts.get(f"plate/{plate.key}")
        seen = record.visit_by_key.get(part.seen_by) if part else None
        rows.append({"plate": plate, "part": part, "seen": seen})
    return rows


def _sources(spans, claims, repairs, events, attributions):
    """Return every source that the page names, once, in alphabetical order."""
    found = [getattr(span, f"{name}_source") for span in spans for name, _ in FACETS]
    found += [one.source for one in (*claims, *events, *attributions)]
    found += [source for repair in repairs for source in repair.sources.all()]
    unique = {source.pk: source for source in found if source is not None}
    return sorted(unique.values(), key=lambda source: (source.title, source.pk))


def _time_line(bridge, steps, chosen=()):
    if not steps:
        return ""
    page = reverse("history", args=[bridge.slug])
    return drawings.life_line(
        bridge,
        steps,
        until=timezone.localdate(),
        address=lambda visit: f"{page}#visit-{visit.client_id}",
        chosen=chosen,
    )


@require_GET
def history_page(request, slug):
    """Every visit in the order of time; any two of them side by side."""
    bridge = shown_bridge(request, slug)
    record = records.load(bridge)
    steps = services.history(bridge, record)
    compared, fault = _compared(request, record, steps)
    chosen = {visit.pk for visit in compared["visits"]} if compared else set()
    return render(
        request,
        "analysis/history.html",
        {
            "bridge": bridge,
            "steps": [] if compared else [_told_step(record, step) for step in steps],
            "measure_note": measure.note(bridge, record, record.configuration())
            if steps and not compared
            else None,
            "visits": record.visits,
            "time_line": _time_line(bridge, steps, chosen),
            "compared": compared,
            "fault": fault,
            "from_id": request.GET.get("from", ""),
            "to_id": request.GET.get("to", ""),
        },
    )


def _told_step(record, step):
    told = [(line, result) for line, _, _, result in step.lines]
    counts = telling.answer_counts(record, step.visit)
    return {
        "visit": step.visit,
        "previous": step.previous,
        "tally": [(words, counts[key]) for key, words in TALLY if key in counts],
        "changes": telling.step_rows(step),
        "sentences": telling.sentences(told),
        "estimates": [
            {"line": line, "words": telling.line_words(line), "made": after}
            for line, _, after, _ in step.lines
            if after is not None
        ],
    }


def _compared(request, record, steps):
    """Return what the two visits asked for show side by side, and what was wrong."""
    asked = [request.GET.get(name, "") for name in ("from", "to")]
    if not any(asked):
        return None, ""
    visits = [record.visit_by_key.get(one) for one in asked]
    if None in visits:
        return None, "Choose two visits of this bridge that have been accepted."
    if visits[0] == visits[1]:
        return None, "These are one and the same visit. Choose two to compare."
    order = [visit.pk for visit in record.visits]
    first, second = sorted(visits, key=lambda visit: order.index(visit.pk))
    return _side_by_side(record, steps, first, second), ""


def _side_by_side(record, steps, first, second):
    by_visit = {step.visit.pk: step for step in steps}
    changes, told = _effects(record, by_visit, first, second)
    before, after = record.configuration(first), record.configuration(second)
    results = {line.pk: result for line, result in told}
    lines = [
        _line_pair(record, row, by_visit, first, second, (before, after), changes)
        | {"result": results.get(row[0].pk)}
        for row in by_visit[second.pk].lines
    ]
    return {
        "visits": (first, second),
        "first": first,
        "second": second,
        "changes": telling.change_rows(changes, told, first, second),
        "sentences": telling.sentences(told),
        "lines": lines,
        "assumptions": sorted(
            {
                said
                for _, result in told
                for said in (result or {}).get("assumptions", [])
            }
        ),
    }


def _effects(record, by_visit, first, second):
    """Return the changes and ``[(line, result)]``: stored, or computed as asked."""
    step = by_visit[second.pk]
    if step.previous is not None and step.previous.pk == first.pk:
        return step.changes, [(line, result) for line, _, _, result in step.lines]
    lines = [line for line, _, _, _ in step.lines]
    changes = record.changes(first, second)
    told = services.effects_between(record, first, second, lines)
    return changes, [(line, result) for line, _, result in told]


def _line_pair(record, row, by_visit, first, second, configurations, changes):
    """Return one truss line at two visits: drawings, and members that differ."""
    line, _, after_made, _ = row
    before_made = next(
        (made for one, _, made, _ in by_visit[first.pk].lines if one.pk == line.pk),
        None,
    )
    changed = {
        about.member
        for change in changes
        for about in change.elements
        if about.member and about.line == line.name and about.span == line.span_id
    }
    words = telling.line_words(line)
    sides = [
        line_at(
            line,
            made,
            parts,
            changed=marked,
            unseen=drawings.unseen_members(record, line, visit),
            title=f"{words}, {dates.display(visit.when)}",
            name=f"{when}-{line.address}",
        )
        for made, parts, marked, visit, when in (
            (before_made, configurations[0], (), first, "before"),
            (after_made, configurations[1], changed, second, "after"),
        )
    ]
    return {
        "line": line,
        "words": words,
        "before": sides[0],
        "after": sides[1],
        "changed": changed,
        "members": list(zip(sides[0].rows, sides[1].rows, strict=True)),
        "legend": drawing.legend(
            {**_by_side(sides[0], "a"), **_by_side(sides[1], "b")}
        ),
    }


def _by_side(side, mark):
    return {f"{mark} {name}": style for name, style in side.legend_bars.items()}
