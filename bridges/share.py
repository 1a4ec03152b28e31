"""A bridge's short address, the code of it for signs and talks, and its card.

``/b/NUMBER`` holds for good: a number that a bridge had before still leads to it.
"""

import io

import segno
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.cache import patch_vary_headers
from django.views.decorators.http import require_safe

from . import card
from .models import Bridge


def short_address(request, bridge):
    return request.build_absolute_uri(reverse("bridges:short", args=[bridge.number]))


def bridge_of(request, number):
    """Return the bridge that has or had a number, as far as the person may see it."""
    bridges = Bridge.objects.visible_to(request.user).select_related("standing")
    found = bridges.filter(number=number).first()
    if found is None:
        # What it was called before somebody gave it another number.
        former = Bridge.history.filter(number=number).order_by("-history_date")
        ids = former.values_list("id", flat=True)[:1]
        found = bridges.filter(pk__in=list(ids)).first()
    if found is None:
        raise Http404("No bridge has or had that number.")
    return found


@require_safe
def short(request, number):
    """Lead from the short address to the bridge's page."""
    return redirect(bridge_of(request, number))


@require_safe
def code(request, number, kind):
    """The short address as a QR code, as SVG for print or PNG for slides.

    Error correction M (15 %), a quiet zone of four modules (ISO/IEC 18004).
    """
    bridge = bridge_of(request, number)
    made = segno.make(short_address(request, bridge), error="m", micro=False)
    out = io.BytesIO()
    if kind == "svg":
        made.save(out, kind="svg", border=4, scale=8, title=bridge.name, xmldecl=False)
        return _file(out, "image/svg+xml", request)
    made.save(out, kind="png", border=4, scale=12)
    return _file(out, "image/png", request)


@require_safe
def picture(request, number):
    """The card as a picture, 1200 by 630, for where links are shown with one."""
    bridge = bridge_of(request, number)
    out = io.BytesIO(card.draw(bridge, short_address(request, bridge)))
    return _file(out, "image/png", request)


def _file(out, kind, request):
    response = HttpResponse(out.getvalue(), content_type=kind)
    # What is in it depends on who may see the bridge.
    response.headers["Cache-Control"] = "private, max-age=86400"
    patch_vary_headers(response, ["Cookie"])
    return response


@require_safe
def page(request, number):
    """A card to print or show: what it is, its code, its address in letters."""
    bridge = bridge_of(request, number)
    return render(
        request,
        "bridges/share.html",
        {
            "bridge": bridge,
            "standing": getattr(bridge, "standing", None),
            "address": short_address(request, bridge),
        },
    )
