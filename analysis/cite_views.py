"""Citing a bridge's page, and the permanent address of what was cited."""

from __future__ import annotations

import datetime

from django.conf import settings
from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.cache import patch_vary_headers
from django.utils.http import quote_etag
from django.views.decorators.http import require_safe

from bridges import share
from bridges.models import Bridge

from . import as_recorded, services, telling
from .views import shown_bridge

# Facts never change; who may see the bridge might.
KEEP = "private, max-age=300"


@require_safe
def cite(request, slug):
    """The text to cite a bridge by, as it stands now or stood on a day that is over."""
    bridge = shown_bridge(request, slug)
    now = timezone.now().astimezone(datetime.UTC).replace(second=0, microsecond=0)
    # A minute that is not over may still see an edit.
    moment, fault = now - datetime.timedelta(minutes=1), ""
    asked = request.GET.get("on", "").strip()
    if asked:
        day = as_recorded.read_moment(asked)
        if day is None or len(asked) != 10:
            fault = "Write a day as 2019-06-02."
        elif day >= now:
            fault = "That day is not over: leave it blank to cite the record as it is."
        else:
            moment = day
    held = None
    try:
        held = as_recorded.on(bridge, moment)
    except as_recorded.NotRecorded as error:
        if asked and not fault:
            fault = _since(error)
    lines = services.truss_lines(bridge)
    about = next(
        (one for one in lines if one.address == request.GET.get("truss")), None
    )
    context = {
        "bridge": bridge,
        "on": asked,
        "fault": fault,
        "truss": about,
        "text": "",
    }
    if held and not fault:
        text = asked or moment.strftime(as_recorded.MOMENT)
        address = request.build_absolute_uri(
            reverse("as-recorded", args=[held.bridge.number, text])
        )
        if about is not None:
            address += f"#truss-{about.address}"
        context |= {
            "address": address,
            "sha256": held.sha256,
            "text": _text(held, about, address, asked),
        }
    return render(request, "analysis/cite.html", context)


def _text(held, line, address, asked):
    title = held.facts["bridge"]["name"]
    if line is not None:
        title = f"{title}, {telling.line_words(line)}"
    return (
        f"{settings.SOCIETY_NAME}, “{title}” ({held.bridge.number}), as recorded "
        f"{_words(held.moment, bool(asked))}, {address} (SHA-256 {held.sha256[:16]}…; "
        f"accessed {_day(timezone.now().astimezone(datetime.UTC))})."
    )


def _day(day):
    return f"{day.day} {day:%B %Y}"


def _words(moment, is_day):
    day = _day(moment)
    return f"at the end of {day} (UTC)" if is_day else f"on {day}, {moment:%H:%M} UTC"


def _since(error):
    if error.first is None:
        return "No earlier state of this bridge’s record is kept."
    return f"The record holds this bridge since {_day(error.first)}."


def _held(request, number, moment_text):
    """Return ``(bridge now, AsRecorded)``. Raises ``NotRecorded`` and 404."""
    bridge = share.bridge_of(request, number)
    moment = as_recorded.read_moment(moment_text)
    if moment is None:
        raise Http404("Not a day or a minute.")
    return bridge, as_recorded.on(bridge, moment)


@require_safe
def page(request, number, moment):
    """The record of a bridge as it stood at a moment, for whoever follows a citation."""
    try:
        bridge, held = _held(request, number, moment)
    except as_recorded.NotRecorded as error:
        context = {"bridge": share.bridge_of(request, number), "why": _since(error)}
        return render(request, "analysis/not_recorded.html", context, status=404)
    response = render(
        request,
        "analysis/as_recorded.html",
        {
            "now": bridge,
            "held": held,
            "facts": held.shown,
            "is_over": held.moment < timezone.now() - datetime.timedelta(minutes=1),
            "when": _words(held.moment, len(moment) == 10),
            "moment": moment,
            "estimates": as_recorded.estimates(held),
            "cannot": as_recorded.CANNOT,
            "same_now": _is_same_now(bridge, held),
        },
    )
    return _answer(response, None)


def _is_same_now(bridge, held):
    now = as_recorded.on(Bridge.objects.get(pk=bridge.pk), timezone.now())
    return now.sha256 == held.sha256


@require_safe
def facts(request, number, moment):
    """The same facts as the bytes that their hash is of."""
    try:
        _, held = _held(request, number, moment)
    except as_recorded.NotRecorded as error:
        raise Http404(_since(error))
    etag = quote_etag(held.sha256)
    if request.headers.get("If-None-Match") == etag:
        response = HttpResponse(status=304)
    else:
        body = as_recorded.canonical(held.facts)
        response = HttpResponse(body, content_type="application/json")
    return _answer(response, etag)


def _answer(response, etag):
    if etag:
        response.headers["ETag"] = etag
    response.headers["Cache-Control"] = KEEP
    patch_vary_headers(response, ["Cookie"])
    return response
