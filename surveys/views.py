"""Pages of what was seen: logging a visit, reading one, its photographs."""

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import FileResponse, Http404, HttpResponseNotModified
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_POST
from django.views.generic import ListView

from shared import policy

from . import services
from .models import Photo, Visit

DAY_S = 24 * 60 * 60
COPY_SIZES = ("320", "800", "1600")


# -- photographs


def _photo(person, client_id):
    """The photo, when its visit and its bridge may be seen by this person."""
    photo = get_object_or_404(
        Photo.objects.select_related("visit__bridge"), client_id=client_id
    )
    visit = photo.visit
    if visit.status != Visit.Status.ACCEPTED and not _is_party(person, visit):
        raise Http404
    if not visit.bridge.is_public and not policy.can_log_visits(person):
        raise Http404
    return photo


def _is_party(person, visit):
    own = person.is_authenticated and person.pk == visit.surveyor_id
    return own or policy.can_review(person)


@require_GET
def photo(request, client_id, size):
    """A copy of a photo, without anything its file told of place or owner."""
    shown = _photo(request.user, client_id)
    name = shown.derivatives.get(size) if size in COPY_SIZES else None
    if name is None:
        raise Http404
    tag = f'"{shown.sha256[:32]}-{size}"'
    if tag in request.headers.get("If-None-Match", ""):
        response = HttpResponseNotModified()
    else:
        storage = Photo._meta.get_field("original").storage
        response = FileResponse(storage.open(name), content_type="image/jpeg")
    is_public = shown.visit.status == Visit.Status.ACCEPTED and (
        shown.visit.bridge.is_public
    )
    # A day, not for ever: a visit may leave the record and a bridge the public's view.
    response.headers["Cache-Control"] = (
        f"public, max-age={DAY_S}" if is_public else "private, no-cache"
    )
    response.headers["ETag"] = tag
    return response


@require_GET
@login_required
def original(request, client_id):
    """The untouched file, which may tell where it was taken; never shown in a page."""
    if not policy.can_see_originals(request.user):
        raise PermissionDenied("Originals may tell more than the society shows.")
    held = _photo(request.user, client_id)
    if not held.original:
        raise Http404
    response = FileResponse(
        held.original.open(),
        as_attachment=True,
        filename=held.name or held.original.name.rsplit("/", 1)[-1],
        content_type="application/octet-stream",
    )
    response.headers["Cache-Control"] = "private, no-store"
    return response
