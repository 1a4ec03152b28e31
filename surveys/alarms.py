"""Telling reviewers at once of what was reported as dangerous.

It stands on every page they open until somebody writes what was done about it; where
mail is set they are written to as well. A mail that cannot be sent costs nothing of the visit.
"""

from __future__ import annotations

import datetime
import logging

from django.conf import settings
from django.contrib.auth import get_user_model
from django.core.mail import EmailMessage
from django.db import transaction
from django.urls import reverse
from django.utils import timezone
from django.utils.functional import SimpleLazyObject

from shared import policy

from .models import Visit

logger = logging.getLogger(__name__)
MOST_SHOWN = 5
RECENT_DAYS = 365


def open_alarms():
    """Visits reported as dangerous that nobody has closed yet, the latest first."""
    return Visit.objects.in_danger().select_related("bridge").order_by("-submitted_at")


def call_first():
    """Whom a volunteer calls, as the keeper has set it; empty where nothing is set."""
    return settings.DANGER_CONTACT


def is_mail_set():
    """Mail that goes to the console goes to nobody."""
    return not settings.EMAIL_BACKEND.endswith("console.EmailBackend")


def furniture(request):
    """What the page furniture of reviewers needs; asks nothing of the database until
    a template does."""
    return {"open_alarms": SimpleLazyObject(lambda: _shown_to(request))}


def _shown_to(request):
    if not policy.can_review(getattr(request, "user", None)):
        return []
    # Of an old visit entered late the queue tells, not every page.
    since = timezone.localdate() - datetime.timedelta(days=RECENT_DAYS)
    return list(open_alarms().filter(when_latest__gte=since)[:MOST_SHOWN])


def raise_if_danger(visit):
    """Write to the reviewers, once the visit is surely stored."""
    if visit.is_danger and is_mail_set():
        transaction.on_commit(lambda: write_to_reviewers(visit), robust=True)


def write_to_reviewers(visit):
    """Send one mail to every reviewer with an address; returns how many were told."""
    people = get_user_model().objects.filter(
        is_active=True, groups__name__in=(policy.REVIEWER, policy.KEEPER)
    )
    addresses = sorted(set(people.exclude(email="").values_list("email", flat=True)))
    if not addresses:
        return 0
    bridge = visit.bridge
    lines = [
        f"{bridge.name} ({bridge.number}) was reported as dangerous on {visit.when}.",
        visit.danger_note or "No more was said.",
        "",
        f"Make sure that the owner has been told: {_owner(bridge)}",
    ]
    if call_first():
        lines.append(f"Whom the society calls: {call_first()}")
    page = reverse("surveys:visit", args=[visit.client_id])
    lines += ["", f"What was said: {settings.SITE_ADDRESS}{page}"]
    lines += ["It stands first under Review until somebody writes what was done."]
    message = EmailMessage(
        subject=f"Reported as dangerous: {bridge.name}",
        body="\n".join(lines),
        bcc=addresses,
    )
    try:
        message.send()
    # The edge that tells a person: the visit is stored and shown on every page anyway.
    except OSError:
        logger.exception("No mail could be sent about a danger")
        return 0
    return len(addresses)


def _owner(bridge):
    told = [one for one in (bridge.owner, bridge.owner_contact) if one]
    return ", ".join(told) or "not recorded"
