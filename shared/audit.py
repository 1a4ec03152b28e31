"""The audit log: sign-ins, exports, permissions, accepted visits, backups and more.

It names a person and what they did, and no address. Entries are dropped after two
years, long enough to look into what went wrong in a season.
"""

import datetime

from axes.signals import user_locked_out
from django.conf import settings
from django.contrib.auth.signals import user_logged_in
from django.utils import timezone

from .models import AuditEntry, Person

Action = AuditEntry.Action
DAYS_KEPT = 730
# Entries whose subject begins with somebody's mail address or sign-in name.
NAMING = (Action.INVITED, Action.UNINVITED, Action.GROUPS)


def note(action: str, *, person=None, subject: str = "") -> AuditEntry:
    """Write one entry. ``person`` may be nobody (a visitor, a command)."""
    known = person if getattr(person, "pk", None) else None
    return AuditEntry.objects.create(
        action=action, person=known, subject=str(subject)[:300]
    )


def last(action: str) -> AuditEntry | None:
    return AuditEntry.objects.filter(action=action).first()


def forget_names(person: Person) -> None:
    """Say "account 7" where an entry names somebody who leaves; what they did stays."""
    names = [one for one in (person.email, person.username) if one]
    for entry in AuditEntry.objects.filter(action__in=NAMING):
        for name in names:
            rest = entry.subject.removeprefix(name)
            if rest != entry.subject and not rest[:1].isalnum():
                entry.subject = f"account {person.pk}{rest}"
                entry.save(update_fields=["subject"])
                break


def forget_old() -> int:
    before = timezone.now() - datetime.timedelta(days=DAYS_KEPT)
    return AuditEntry.objects.filter(at__lt=before).delete()[0]


def _signed_in(sender, request, user, **kwargs):
    note(Action.SIGNED_IN, person=user)


def _shut_out(sender, username, **kwargs):
    # Only of who has an account: what a stranger typed may be anything.
    person = Person.objects.filter(username=username).first()
    since = timezone.now() - settings.AXES_COOLOFF_TIME
    told = AuditEntry.objects.filter(
        action=Action.SHUT_OUT, person=person, at__gte=since
    )
    if person is not None and not told.exists():
        note(Action.SHUT_OUT, person=person)


def listen():
    """Once a process, from ``apps``."""
    user_logged_in.connect(_signed_in, dispatch_uid="audit")
    user_locked_out.connect(_shut_out, dispatch_uid="audit")
