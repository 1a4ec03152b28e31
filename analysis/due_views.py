"""The due list: what to revisit next, and how to take it along."""

from __future__ import annotations

import re
from urllib.parse import urlencode

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET

from bridges import exports
from bridges.models import Bridge
from shared import policy
from surveys import seasons

from . import drive, errands, field_sheet
from .due import due, fill

PER_PAGE = 25
POINT = re.compile(r"\s*(-?\d+(?:\.\d+)?)\s*[,;\s]\s*(-?\d+(?:\.\d+)?)\s*")


class DueForm(forms.Form):
    """From where, how far, at what time of the year, and how one gets to look."""

    near = forms.CharField(
        label="From",
        required=False,
        max_length=80,
        help_text="A bridge’s name or number, or latitude, longitude.",
    )
    within = forms.FloatField(
        label="Within, miles", required=False, min_value=0.1, max_value=5_000
    )
    county = forms.ChoiceField(label="County", required=False)
    season = forms.ChoiceField(
        label="That waits until",
        required=False,
        choices=[("", "any season"), *((s.key, s.name) for s in seasons.SEASONS)],
    )
    access = forms.ChoiceField(
        label="Getting to see it",
        required=False,
        choices=[("", "any way"), *seasons.ACCESS],
    )
    order = forms.ChoiceField(
        label="In order of",
        required=False,
        choices=[("", "need"), ("distance", "distance")],
    )

    def __init__(self, data, bridges):
        super().__init__(data)
        self.bridges = bridges
        counties = bridges.order_by("county").values_list("county", flat=True)
        names = [(name, name) for name in counties.distinct() if name]
        self.fields["county"].choices = [("", "every county"), *names]

    def clean_near(self):
        """Return (latitude, longitude), None where nothing is asked."""
        text = self.cleaned_data["near"].strip()
        if not text:
            return None
        point = POINT.fullmatch(text)
        if point:
            latitude, longitude = float(point[1]), float(point[2])
            if abs(latitude) > 90 or abs(longitude) > 180:
                raise ValidationError("Latitude runs to 90, longitude to 180.")
            return latitude, longitude
        bridge = (
            self.bridges.filter(number__iexact=text).first()
            or self.bridges.filter(name__icontains=text).order_by("name").first()
        )
        if bridge is None:
            raise ValidationError(f"There is no bridge “{text}” in the record.")
        return float(bridge.latitude), float(bridge.longitude)

    def clean(self):
        given = super().clean()
        needs = given.get("within") or given.get("order") == "distance"
        if needs and not given.get("near") and "near" not in self.errors:
            self.add_error("near", "From where should the distance be counted?")
        return given


def _bridges(request):
    return Bridge.objects.visible_to(request.user)


@require_GET
@policy.requires(policy.can_log_visits)
def due_list(request):
    """What is due, by need or distance, with why; some of it to be taken along."""
    bridges = _bridges(request)
    form = DueForm(request.GET, bridges)
    given = form.cleaned_data if form.is_valid() else {}
    rows = _chosen(bridges, given)
    page = Paginator(rows, PER_PAGE).get_page(request.GET.get("page"))
    errands.catch_up([row.bridge for row in fill(page.object_list)])
    query = [(k, v) for k, v in request.GET.items() if k not in ("page", "b") and v]
    response = render(
        request,
        "analysis/due.html",
        {
            "form": form,
            "page": page,
            "query": urlencode(query),
            "chosen": set(request.GET.getlist("b")),
            "near": request.GET.get("near", ""),
            "asked": _asked(request, form),
            "most": drive.MOST_STOPS,
            "access_words": dict(seasons.ACCESS),
        },
        status=200 if form.is_valid() else 422,
    )
    response.headers["Cache-Control"] = "private, no-cache"
    return response


def _asked(request, form):
    """What the list was narrowed by, in the form's own words."""
    found = []
    for name, field in form.fields.items():
        value = request.GET.get(name, "").strip()
        if value:
            words = dict(getattr(field, "choices", ())).get(value, value)
            found.append(f"{field.label.lower()} {words}")
    return found


def _chosen(bridges, given):
    if given.get("county"):
        bridges = bridges.filter(county=given["county"])
    rows = due(bridges, timezone.localdate(), given.get("near"), filled=False)
    if given.get("access"):
        rows = [row for row in rows if row.access == given["access"]]
    if given.get("season"):
        rows = [row for row in rows if given["season"] in row.seasons]
    if given.get("within"):
        rows = [row for row in rows if row.miles <= given["within"]]
    if given.get("order") == "distance":
        rows.sort(key=lambda row: row.miles)
    return rows


# -- taken along


def _picked(request):
    """The bridges ticked, each once; too many are told of and cut."""
    slugs = list(dict.fromkeys(request.GET.getlist("b")))
    found = {one.slug: one for one in _bridges(request).filter(slug__in=slugs)}
    bridges = [found[slug] for slug in slugs if slug in found]
    if len(bridges) > drive.MOST_STOPS:
        messages.warning(
            request,
            f"At most {drive.MOST_STOPS} at once: the first of them were taken.",
        )
    return bridges[: drive.MOST_STOPS]


def _none_picked(request):
    messages.error(request, "Tick the bridges first.")
    query = [(name, value) for name, value in request.GET.items() if name != "b"]
    return redirect(f"{reverse('due')}?{urlencode(query)}")


def _start(request):
    form = DueForm(request.GET, _bridges(request))
    form.is_valid()
    return form.cleaned_data.get("near")


def _in_order(request, bridges):
    places = [bridge.position_for(request.user)[:2] for bridge in bridges]
    return [bridges[at] for at in drive.ordered(places, _start(request))]


@require_GET
@policy.requires(policy.can_log_visits)
def drive_file(request):
    """The ticked bridges as a GPX route, in an order that makes the way short."""
    bridges = _picked(request)
    if not bridges:
        return _none_picked(request)
    told = {
        row.bridge.pk: row
        for row in due(
            _bridges(request).filter(pk__in=[one.pk for one in bridges]),
            timezone.localdate(),
        )
    }
    stops = [
        (bridge, _words(bridge, told.get(bridge.pk)))
        for bridge in _in_order(request, bridges)
    ]
    text = drive.gpx(
        stops,
        request.user,
        lambda bridge: request.build_absolute_uri(bridge.get_absolute_url()),
    )
    return HttpResponse(text, headers=exports.headers("gpx", "drive"))


def _words(bridge, row):
    said = [bridge.access_notes] if bridge.access_notes else []
    if bridge.status == Bridge.Status.CLOSED:
        said.append("Closed: look from the banks.")
    return said + [reason.words for reason in (row.reasons if row else [])][:3]


@require_GET
@policy.requires(policy.can_log_visits)
def sheets(request):
    """Field sheets to print, one page a bridge, for people without a phone."""
    bridges = _picked(request)
    if not bridges:
        return _none_picked(request)
    made = field_sheet.sheets(_in_order(request, bridges), timezone.localdate())
    return render(request, "analysis/field_sheets.html", {"sheets": made})


@require_GET
@policy.requires(policy.can_log_visits)
def take(request):
    """On to the field pages, which take the ticked bridges along."""
    bridges = _picked(request)
    if not bridges:
        return _none_picked(request)
    slugs = ",".join(bridge.slug for bridge in bridges)
    return redirect(f"/field/#/take/{slugs}")
