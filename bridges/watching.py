"""Watching a bridge or a view: what somebody asks to be told of, and the mail of it.

A mail goes out only where something was noted since the last one; sending it again
tells nothing twice. Whoever gets it can stop it by the link at its foot, signed, without
signing in.
"""

from __future__ import annotations

from dataclasses import dataclass

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core import signing
from django.core.mail import EmailMessage
from django.db import IntegrityError, transaction
from django.http import Http404, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from shared.dates import display

from . import asked, changes
from .models import Bridge, Watch

SALT = "bridges.watching"
MOST_WATCHES = 100
MOST_TOLD = 40


@login_required
@require_GET
def page(request):
    """What one watches, and how to stop."""
    watches = Watch.objects.filter(person=request.user).select_related("bridge")
    return render(request, "bridges/watching.html", {"watches": watches})


@login_required
@require_POST
def add(request):
    """Watch a bridge (``bridge``, its slug) or a view (``query``, its filters)."""
    slug = request.POST.get("bridge", "")
    if Watch.objects.filter(person=request.user).count() >= MOST_WATCHES:
        messages.error(
            request, f"{MOST_WATCHES} is as many as can be watched. Stop one first."
        )
        return redirect("bridges:watching")
    if slug:
        bridge = get_object_or_404(Bridge.objects.visible_to(request.user), slug=slug)
        made = {"bridge_id": bridge.pk, "title": bridge.name}
    else:
        made = _of_view(request)
    try:
        with transaction.atomic():
            Watch.objects.create(person=request.user, told_until=timezone.now(), **made)
    except IntegrityError:
        messages.info(request, "You watch that already.")
    else:
        messages.success(request, f"You will be told what changes: {made['title']}.")
        if not request.user.email:
            messages.warning(
                request, "There is no mail address beside your name yet to tell you at."
            )
    return redirect("bridges:watching")


def _of_view(request):
    view = asked.read(QueryDict(request.POST.get("query", "")), request.user)
    if view.faults:
        raise Http404("That view cannot be read.")
    query = view.facets.query()
    most = Watch._meta.get_field("query").max_length
    if len(query) > most:
        raise Http404("That view says too much to be kept.")
    title = "; ".join(tag.label for tag in view.facets.tags()) or "Every bridge"
    return {"query": query, "title": title[:300]}


@login_required
@require_POST
def stop(request, pk):
    """Watch it no longer."""
    get_object_or_404(Watch, pk=pk, person=request.user).delete()
    messages.success(request, "You will not be told of it any more.")
    return redirect("bridges:watching")


@require_http_methods(["GET", "POST"])
def stop_by_mail(request, token):
    """Stop all mail of one person, by the link at its foot. Asks before it does."""
    try:
        pk = signing.loads(token, salt=SALT)
    except signing.BadSignature:
        raise Http404
    if request.method == "POST":
        Watch.objects.filter(person_id=pk).delete()
    return render(
        request, "bridges/watching_stop.html", {"is_done": request.method == "POST"}
    )


@dataclass(frozen=True)
class Digest:
    """One person's mail: watches, each with the changes noted since it was last told."""

    person: object
    told: list
    until: object


def digests(until=None):
    """Yield the ``Digest`` of each person for whom something was noted."""
    until = until or timezone.now()
    watches = Watch.objects.select_related("person", "bridge").filter(
        person__is_active=True
    )
    by_person = {}
    for watch in watches.exclude(person__email="").order_by("person", "title", "id"):
        by_person.setdefault(watch.person, []).append(watch)
    for person, theirs in by_person.items():
        told = [(watch, _since(watch, until)) for watch in theirs]
        told = [(watch, rows) for watch, rows in told if rows]
        if told:
            yield Digest(person, told, until)


def _since(watch, until):
    """Return what was noted of a watch, as far as its owner may see it now."""
    view = asked.read(QueryDict(watch.query), watch.person)
    found = changes.seen(view)
    if watch.bridge_id:
        found = found.filter(bridge=watch.bridge_id)
    found = found.filter(noted_at__gt=watch.told_until, noted_at__lte=until)
    return changes.as_visitors_see(found[:MOST_TOLD], view.places.is_members)


def send(digest, site):
    """Send one digest and remember that it was sent; ``site`` is the site's address."""
    Watch.objects.filter(pk__in=[watch.pk for watch, _ in digest.told]).update(
        told_until=digest.until
    )
    address = f"{site}{reverse('bridges:watching-stop', args=[_token(digest.person)])}"
    EmailMessage(
        subject=_subject(digest),
        body=_body(digest, site, address),
        to=[digest.person.email],
        headers={
            "List-Unsubscribe": f"<{address}>",
            "Auto-Submitted": "auto-generated",
        },
    ).send()


def _token(person):
    return signing.dumps(person.pk, salt=SALT)


def _subject(digest):
    count = len({row.bridge_id for _, rows in digest.told for row in rows})
    what = "one bridge" if count == 1 else f"{count} bridges"
    return f"{settings.SITE_NAME}: changes noted on {what} you watch"


def _body(digest, site, stop_address):
    lines = []
    for watch, rows in digest.told:
        lines += [watch.title, "-" * len(watch.title), ""]
        for row in rows:
            seen = display(row.day.isoformat())
            lines += [
                f"{row.bridge.name}: {changes.parts_in_words(row)} (seen {seen})",
                *(f"  {line}" for line in row.text.splitlines()),
                f"  {site}{row.bridge.get_absolute_url()}",
                "",
            ]
    return "\n".join(
        [
            *lines,
            f"What you watch: {site}{reverse('bridges:watching')}",
            f"To get no more of these mails: {stop_address}",
            "",
        ]
    )
