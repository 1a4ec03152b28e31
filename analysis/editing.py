"""Editing the record by hand, with the history of every edit beside the form.

What visits say is never edited here: it follows from accepted observations.
"""

from dataclasses import dataclass

from django import forms
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.html import format_html
from django.views.decorators.http import require_GET, require_http_methods

from analysis.engine.errors import EngineError
from bridges.models import (
    Attribution,
    Bridge,
    Claim,
    Concern,
    LifeEvent,
    Link,
    Plate,
    Source,
    Span,
    TrussLine,
)
from bridges.words import explain
from shared import policy
from surveys import services as survey_services
from surveys.models import Element, Repair, Viewpoint, Visit

from . import layout, services

# Shown in the history of edits; the rest (bounds, ids) follows from these.
UNTOLD = {"id", "bridge", "span", "skeleton", "recorded_by"}


@dataclass(frozen=True)
class Editable:
    """One kind of thing that may be edited by hand."""

    model: type
    word: str
    plural: str
    fields: tuple[str, ...]
    # Changes to these can alter a check: lay out again and recheck.
    bears_on_checks: bool = False


EDITABLE = {
    "bridge": Editable(
        Bridge,
        "bridge",
        "the bridge itself",
        (
            "name",
            "also_known_as",
            "county",
            "town",
            "road",
            "crossing",
            "latitude",
            "longitude",
            "position_accuracy_m",
            "is_position_sensitive",
            "is_public",
            "status",
            "listing",
            "built",
            "built_confidence",
            "lost",
            "summary",
            "access_notes",
            "owner",
            "owner_contact",
        ),
        True,
    ),
    "span": Editable(
        Span,
        "span",
        "spans",
        (
            "number",
            "name",
            "form",
            "form_confidence",
            "form_source",
            "deck_position",
            "deck_position_confidence",
            "deck_position_source",
            "connection",
            "connection_confidence",
            "connection_source",
            "material",
            "material_confidence",
            "material_source",
            "length_ft",
            "panels",
            "panel_length_ft",
            "depth_ft",
            "hip_offset_ft",
            "upper_heights_ft",
            "crossed_panels",
            "roadway_ft",
            "trusses_apart_ft",
            "measured_how",
            "origin_end",
            "made_in",
        ),
        True,
    ),
    "event": Editable(
        LifeEvent,
        "event",
        "events of its life",
        ("kind", "when", "text", "confidence", "source"),
    ),
    "attribution": Editable(
        Attribution,
        "attribution",
        "who built it",
        ("builder", "role", "confidence", "source"),
    ),
    "plate": Editable(
        Plate,
        "plate",
        "plates",
        ("key", "kind", "location", "transcription", "builder", "whereabouts"),
        True,
    ),
    "claim": Editable(
        Claim,
        "claim",
        "claims",
        ("about", "value", "source", "confidence", "is_chosen", "reason"),
    ),
    "concern": Editable(
        Concern,
        "concern",
        "what is afoot (told to the society's people)",
        (
            "kind",
            "text",
            "noted",
            "deadline",
            "acting",
            "source",
            "closed_on",
            "outcome",
        ),
    ),
    "link": Editable(Link, "link", "links", ("kind", "title", "url", "starts_at_s")),
    "repair": Editable(
        Repair,
        "repair",
        "repairs",
        (
            "title",
            "text",
            "when",
            "by_whom",
            "builder",
            "after_visit",
            "seen_at_visit",
            "elements",
            "reversible",
            "confidence",
            "sources",
        ),
    ),
    "viewpoint": Editable(
        Viewpoint,
        "viewpoint",
        "viewpoints",
        (
            "name",
            "description",
            "latitude",
            "longitude",
            "bearing_deg",
            "is_mandatory",
        ),
    ),
}


def can_edit_record(person):
    return policy.can_review(person) or policy.can_write_dossiers(person)


def _form_class(what):
    class RecordForm(forms.ModelForm):
        why = forms.CharField(
            label="Why it is changed",
            required=False,
            max_length=100,
            help_text="Kept with this edit. A source, a letter, a slip of the pen.",
        )

        class Meta:
            model = what.model
            fields = what.fields

        def __init__(self, *args, bridge, **kwargs):
            super().__init__(*args, **kwargs)
            narrowed = {
                "elements": Element.objects.filter(bridge=bridge),
                "after_visit": Visit.objects.filter(bridge=bridge).accepted(),
                "seen_at_visit": Visit.objects.filter(bridge=bridge).accepted(),
            }
            for name, rows in narrowed.items():
                if name in self.fields:
                    self.fields[name].queryset = rows
            if hasattr(self.instance, "bridge_id") and not self.instance.bridge_id:
                self.instance.bridge = bridge
            explain(self)
            if "form" in self.fields:
                self.fields["form"].help_text += format_html(
                    ' <a href="{}" target="_blank" rel="noopener">Which form is it?</a>',
                    reverse("forms"),
                )

        def _get_validation_exclusions(self):
            # The bridge is set above, so rules that name it can be checked here.
            return super()._get_validation_exclusions() - {"bridge"}

    return RecordForm


def _editable_bridge(request, slug):
    if not can_edit_record(request.user):
        raise PermissionDenied
    return get_object_or_404(Bridge, slug=slug)


def _rows(what, bridge):
    if what.model is Bridge:
        return [bridge]
    return list(what.model.objects.filter(bridge=bridge))


@policy.requires(can_edit_record)
@require_GET
def contents(request, slug):
    """Everything of one bridge that may be edited by hand."""
    bridge = _editable_bridge(request, slug)
    kinds = [
        {"key": key, "what": what, "rows": _rows(what, bridge)}
        for key, what in EDITABLE.items()
    ]
    return render(request, "analysis/record.html", {"bridge": bridge, "kinds": kinds})


@policy.requires(can_edit_record)
@require_http_methods(["GET", "POST"])
def edit(request, slug, kind, pk=None):
    """Add or change one thing; the history of its edits stands below the form."""
    bridge = _editable_bridge(request, slug)
    what = EDITABLE.get(kind)
    if what is None or (pk is None and kind == "bridge"):
        raise Http404
    instance = _instance(what, bridge, pk)
    form = _form_class(what)(request.POST or None, instance=instance, bridge=bridge)
    if request.method == "POST" and form.is_valid() and _save(request, what, form):
        messages.success(request, f"Saved. The earlier {what.word} is kept below.")
        return redirect("record", slug=bridge.slug)
    return render(
        request,
        "analysis/record_edit.html",
        {
            "bridge": bridge,
            "kind": kind,
            "what": what,
            "form": form,
            "instance": instance,
            "edits": _edits(instance) if instance else [],
        },
    )


def _instance(what, bridge, pk):
    if pk is None:
        return None
    if what.model is Bridge:
        return bridge if pk == bridge.pk else _missing()
    return get_object_or_404(what.model, pk=pk, bridge=bridge)


def _missing():
    raise Http404


def _save(request, what, form):
    """Store, and bring what depends on it in step; a fault goes back to the form."""
    try:
        with transaction.atomic():
            thing = form.save(commit=False)
            thing._change_reason = form.cleaned_data["why"] or None
            if isinstance(thing, Repair) and thing.recorded_by_id is None:
                thing.recorded_by = request.user
            thing.save()
            form.save_m2m()
            bridge = thing if isinstance(thing, Bridge) else thing.bridge
            if isinstance(thing, Span) and not thing.truss_lines.exists():
                _give_lines(thing)
            if what.bears_on_checks:
                layout.lay_out_bridge(bridge)
            survey_services.refresh_standing(bridge=bridge)
    except EngineError as error:
        form.add_error(None, f"This span cannot be laid out: {error}")
        return False
    if what.bears_on_checks:
        services.recheck(bridge=bridge)
    return True


def _give_lines(span):
    """A new truss span has two lines until somebody says otherwise."""
    if layout.skeleton_of(span) is None:
        return
    for position, key in enumerate(("upstream", "downstream")):
        TrussLine.objects.create(
            span=span, key=key, name=key.capitalize(), position=position
        )


def _edits(thing):
    """Return who changed what and when, the latest first."""
    if not hasattr(thing, "history"):
        return []
    rows = list(thing.history.select_related("history_user")[:50])
    told = []
    for newer, older in zip(rows, [*rows[1:], None], strict=True):
        told.append(
            {
                "when": newer.history_date,
                "who": newer.history_user,
                "what": newer.get_history_type_display(),
                "why": newer.history_change_reason or "",
                "fields": _differences(newer, older),
            }
        )
    return told


def _differences(newer, older):
    if older is None:
        return []
    delta = newer.diff_against(older, foreign_keys_are_objs=True)
    return [
        {"name": _label(newer, one.field), "old": one.old, "new": one.new}
        for one in delta.changes
        if one.field not in UNTOLD and not one.field.endswith(("_earliest", "_latest"))
    ]


def _label(row, field):
    return str(row.instance_type._meta.get_field(field).verbose_name)


class SourceForm(forms.ModelForm):
    url = forms.URLField(required=False, max_length=200, assume_scheme="https")

    class Meta:
        model = Source
        fields = ("kind", "title", "author", "date", "held_by", "locator", "url")


@policy.requires(can_edit_record)
@require_http_methods(["GET", "POST"])
def add_source(request, slug):
    """A new source, so that a claim can name it."""
    bridge = _editable_bridge(request, slug)
    form = SourceForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        form.save()
        messages.success(request, "Saved. The source can be chosen in any form now.")
        return redirect("record", slug=bridge.slug)
    return render(
        request,
        "analysis/record_edit.html",
        {"bridge": bridge, "kind": "source", "form": form, "edits": []},
    )
