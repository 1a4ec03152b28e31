"""The audit log: sign-ins, exports, permissions, accepted visits, backups and more.

It names a person and what they did, and no address. Entries are dropped after two
years, long enough to look into what went wrong in a season.
"""

import datetime

from axes.signals import user_locked_out
from django.contrib.auth.signals import user_logged_in
from django.utils import timezone

from .models import AuditEntry, Person

Action = AuditEntry.Action
DAYS_KEPT = 730


def note(action: str, *, person=None, subject: str = "") -> AuditEntry:
    """Write one entry. ``person`` may be nobody (a visitor, a command)."""
    known = person if getattr(person, "pk", None) else None
    return AuditEntry.objects.create(
        action=action, person=known, subject=str(subject)[:300]
    )


def last(action: str) -> AuditEntry | None:
    return AuditEntry.objects.filter(action=action).first()


def forget_old() -> int:
    before = timezone.now() - datetime.timedelta(days=DAYS_KEPT)
    return AuditEntry.objects.filter(at__lt=before).delete()[0]


def _signed_in(sender, request, user, **kwargs):
    note(Action.SIGNED_IN, person=user)


def _shut_out(sender, username, **kwargs):
    # Only of who has an account: what a stranger typed may be anything.
    person = Person.objects.filter(username=username).first()
    if person is not None:
        note(Action.SHUT_OUT, person=person)


def listen():
    """Once a process, from ``apps``."""
    user_logged_in.connect(_signed_in, dispatch_uid="audit")
    user_locked_out.connect(_shut_out, dispatch_uid="audit")
