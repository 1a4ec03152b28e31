"""What has changed, newest first: as a page, and as a feed to subscribe to."""

import hashlib

from django.conf import settings
from django.core.paginator import Paginator
from django.http import HttpResponse, HttpResponseBadRequest
from django.shortcuts import render
from django.urls import reverse
from django.utils.feedgenerator import Atom1Feed
from django.utils.http import quote_etag
from django.views.decorators.http import require_safe

from shared.dates import display

from . import asked
from .drawing import glyph
from .filters import PARTS, query_text
from .models import Bridge, ChangeSeen

PAGE_SIZE = 50
WORDS = dict(PARTS)


def seen(view, part="", year=""):
    """Return the changes of the bridges of a view, newest noted first.

    ``part`` is one of ``PARTS`` or blank, ``year`` four digits or blank.
    """
    found = ChangeSeen.objects.select_related("bridge__standing")
    if part in WORDS:
        found = found.filter(parts__contains=f",{part},")
    if len(year) == 4 and year.isascii() and year.isdigit() and int(year) > 0:
        found = found.filter(day__year=int(year))
    if view.pairs:
        found = found.filter(bridge__in=_chosen(view))
    elif not view.places.is_members:
        found = found.filter(bridge__is_public=True)
    return found.order_by("-noted_at", "-day", "-id")


def _chosen(view):
    """Return the bridges of a view as the database can look among them."""
    if len(view.ids) <= 10_000:
        return view.ids
    # Too many to name: what the filters say is said to the database instead.
    return view.filterset.qs.order_by().values("pk")


def as_visitors_see(rows, is_members):
    """Leave out of each row's bridge what visitors may not know."""
    rows = list(rows)
    if not is_members:
        for row in rows:
            row.bridge.withhold()
    return rows


def parts_in_words(row):
    return ", ".join(WORDS.get(word, word).lower() for word in row.words)


@require_safe
def page(request):
    """What has changed, in the bridges of a view, and when it was noted."""
    view = asked.read(request.GET, request.user)
    part, year = request.GET.get("part", ""), request.GET.get("year", "")
    found = seen(view, part, year)
    shown = Paginator(found, PAGE_SIZE).get_page(request.GET.get("page"))
    rows = as_visitors_see(shown, view.places.is_members)
    return render(
        request,
        "bridges/changes.html",
        {
            "page": shown,
            "rows": [(row, parts_in_words(row), _mark(row.bridge)) for row in rows],
            "tags": view.facets.tags(),
            "faults": view.faults,
            "part": WORDS.get(part, ""),
            "year": year,
            "query": view.facets.query(),
        },
    )


def _mark(bridge):
    standing = getattr(bridge, "standing", None)
    return glyph(standing.family if standing else "other", bridge.status)


@require_safe
def feed(request):
    """The same as Atom (RFC 4287): the latest changes of the bridges of a view.

    What it tells is what visitors may know, whoever asks: a feed reader signs in
    nowhere, and what it keeps it keeps for good.
    """
    view = asked.read(request.GET, None)
    if view.faults:
        rows = [f"{label}: {message}" for label, message in view.faults]
        text = "\n".join(["This feed asks for what cannot be read.", *rows])
        return HttpResponseBadRequest(text, content_type="text/plain; charset=utf-8")
    rows = as_visitors_see(seen(view)[:PAGE_SIZE], is_members=False)
    etag = quote_etag(
        hashlib.sha256(
            repr([(row.pk, row.noted_at, row.text) for row in rows]).encode()
        ).hexdigest()[:24]
    )
    if request.headers.get("If-None-Match") == etag:
        return HttpResponse(status=304, headers={"ETag": etag})
    response = HttpResponse(
        write(request, view, rows), content_type="application/atom+xml; charset=utf-8"
    )
    response.headers["ETag"] = etag
    response.headers["Cache-Control"] = "public, max-age=900"
    return response


def write(request, view, rows):
    """Return an Atom document of changes."""
    tags = "; ".join(tag.label for tag in view.facets.tags())
    query = query_text(view.pairs)
    asked_for = f"?{query}" if query else ""
    home = request.build_absolute_uri(reverse("bridges:index") + asked_for)
    atom = Atom1Feed(
        title=f"{settings.SITE_NAME}: what has changed"
        + (f" ({tags})" if tags else ""),
        link=home,
        description="",
        feed_url=request.build_absolute_uri(),
        feed_guid=request.build_absolute_uri(reverse("bridges:feed") + asked_for),
        author_name=settings.SOCIETY_NAME,
    )
    for row in rows:
        bridge = row.bridge
        atom.add_item(
            title=f"{bridge.name}: {parts_in_words(row)}",
            link=request.build_absolute_uri(bridge.get_absolute_url()),
            description=f"Seen {display(row.day.isoformat())}. {row.text}",
            unique_id=_tag(request, bridge, row),
            pubdate=row.noted_at,
            updateddate=row.noted_at,
        )
    return atom.writeString("utf-8")


def _tag(request, bridge: Bridge, row):
    """Return an id that stays, however the site's addresses change (RFC 4151)."""
    host = request.get_host().split(":")[0]
    return f"tag:{host},2026:bridge/{bridge.pk}/change/{row.key}"


def feed_address(pairs):
    query = query_text(pairs)
    return reverse("bridges:feed") + (f"?{query}" if query else "")
