"""The society's people: invited, signed in by a link, given rights, and leaving.

Nothing here tells a stranger who has an account.
"""

from __future__ import annotations

import datetime
import hashlib
import secrets
import threading

from axes.models import AccessAttempt
from django.conf import settings
from django.contrib.auth.models import Group
from django.contrib.sessions.models import Session
from django.core.exceptions import ValidationError
from django.core.mail import send_mail
from django.db import connection, transaction
from django.urls import reverse
from django.utils import timezone
from sesame.tokens import create_token, parse_token

from . import audit, jobs, policy
from .models import Invitation, Person

LINK_MINUTES = 15
INVITATION_DAYS = 14
SIGN_IN = "sign-in"
FORMER = "A former volunteer"


def has_mail() -> bool:
    """Whether letters go out; without a server they are printed where the site runs."""
    return "console" not in settings.EMAIL_BACKEND


# -- one-time links


def ask_for_link(address: str, site: str) -> None:
    """Have a link sent to every account with this mail address, if there is any.

    Whether there is one is looked up by the job, not by the page: the page takes as
    long for a stranger's address as for a member's. Where no worker takes jobs, one
    of the page's own threads does it, so that the answer does not wait for the letter.
    """
    wanted = {"address": address.strip()[:254], "site": site}
    if settings.PRODUCTION and settings.JOBS_INLINE:
        threading.Thread(target=_send_apart, kwargs=wanted).start()
    else:
        jobs.enqueue(send_links, **wanted)


def _send_apart(**wanted):
    try:
        jobs.enqueue(send_links, **wanted)
    finally:
        connection.close()


@jobs.job(most_tries=3)
def send_links(*, address, site):
    """Mail a link that signs in once, within a quarter of an hour."""
    people = Person.objects.filter(email__iexact=address, is_active=True)
    for person in people.exclude(email=""):
        link = reverse("accounts:link", args=[create_token(person, SIGN_IN)])
        send_mail(
            f"Sign in to {settings.SITE_NAME}",
            f"Somebody, probably you, asked to sign in as {person.username}.\n\n"
            f"Open this within {LINK_MINUTES} minutes and confirm:\n\n{site}{link}\n\n"
            "It works once. If you did not ask for it, do nothing.\n\n"
            f"{settings.SOCIETY_NAME}\n",
            None,
            [person.email],
        )


def person_of_link(token: str) -> Person | None:
    """Return whom an unused link of the last quarter of an hour is for, else None."""
    return parse_token(token, _active, SIGN_IN, LINK_MINUTES * 60)


def _active(pk):
    return Person.objects.filter(pk=pk, is_active=True).first()


# -- invitations


def _digest(secret):
    return hashlib.sha256(secret.encode()).hexdigest()


def invite(*, email: str, groups: list[str], by: Person) -> tuple[Invitation, str]:
    """Make an invitation; returns it with the secret, which is kept nowhere."""
    _require_known(groups)
    secret = secrets.token_urlsafe(32)
    invitation = Invitation.objects.create(
        email=email, groups=sorted(groups), secret_sha256=_digest(secret), invited_by=by
    )
    audit.note(
        audit.Action.INVITED, person=by, subject=f"{email} as {', '.join(groups)}"
    )
    return invitation, secret


def send_invitation(invitation: Invitation, address: str) -> None:
    send_mail(
        f"{settings.SOCIETY_NAME} invites you",
        f"{settings.SOCIETY_NAME} would like you to help keep the record of its "
        f"bridges.\n\nMake your account here within {INVITATION_DAYS} days:\n\n"
        f"{address}\n\nIf you do not want to, do nothing.\n",
        None,
        [invitation.email],
    )


@transaction.atomic
def take_back(*, invitation: Invitation, by: Person) -> None:
    """Undo an invitation that nobody has used; taking it back again does nothing."""
    if Invitation.objects.filter(pk=invitation.pk, accepted_at=None).delete()[0]:
        audit.note(audit.Action.UNINVITED, person=by, subject=invitation.email)


def open_invitation(secret: str) -> Invitation | None:
    """Return the invitation this secret opens, unless it is used or too old."""
    return open_invitations().filter(secret_sha256=_digest(secret)).first()


def open_invitations():
    """Those that still make an account."""
    since = timezone.now() - datetime.timedelta(days=INVITATION_DAYS)
    return Invitation.objects.filter(accepted_at=None, made_at__gte=since)


@transaction.atomic
def join(*, invitation: Invitation, person: Person) -> Person:
    """Store a new person by an invitation, which is then used up.

    Raises ``ValidationError`` when somebody else has just used it.
    """
    held = Invitation.objects.select_for_update().get(pk=invitation.pk)
    if held.accepted_at:
        raise ValidationError("This invitation has been used.", code="used")
    person.email = held.email
    person.save()
    person.groups.set(Group.objects.filter(name__in=held.groups))
    held.accepted_at = timezone.now()
    held.save()
    audit.note(audit.Action.JOINED, person=person, subject=", ".join(held.groups))
    return person


# -- rights


def _require_known(groups):
    unknown = set(groups) - set(policy.GROUPS)
    if unknown:
        raise ValidationError(f"There is no group {sorted(unknown)[0]}.", code="group")


def other_keepers(person: Person):
    keepers = Person.objects.filter(is_active=True, groups__name=policy.KEEPER)
    return keepers.exclude(pk=person.pk)


@transaction.atomic
def set_groups(*, person: Person, groups: list[str], by: Person | None) -> None:
    """Say what somebody may do. Raises ``ValidationError`` for the last keeper."""
    _require_known(groups)
    before = set(person.groups.values_list("name", flat=True)) & set(policy.GROUPS)
    if before == set(groups):
        return
    if policy.KEEPER in before - set(groups):
        _require_another_keeper(person)
    person.groups.set(Group.objects.filter(name__in=groups))
    person.__dict__.pop("group_names", None)
    was, now = ", ".join(sorted(before)) or "none", ", ".join(sorted(groups)) or "none"
    audit.note(
        audit.Action.GROUPS, person=by, subject=f"{person.username}: {was} → {now}"
    )


def _require_another_keeper(person):
    if not other_keepers(person).exists():
        raise ValidationError(
            "Somebody must keep the site. Make another keeper first.",
            code="last_keeper",
        )


# -- leaving


@transaction.atomic
def leave(*, person: Person, by: Person, keep_credit: bool) -> None:
    """Close an account and remove the person; what they recorded stays.

    Name, mail address, password, groups and sessions go. The name beside their work
    stays only if they wish it. Cannot be undone. Raises ``ValidationError`` for the
    last keeper.
    """
    if policy.KEEPER in person.group_names:
        _require_another_keeper(person)
    audit.note(audit.Action.LEFT, person=by, subject=f"account {person.pk}")
    audit.forget_names(person)
    AccessAttempt.objects.filter(username=person.username).delete()
    Invitation.objects.filter(email__iexact=person.email).exclude(email="").delete()
    end_sessions(person)
    credit = person.credit_name or person.get_full_name()
    person.credit_name = credit if keep_credit and person.is_credited else FORMER
    person.is_credited = True
    person.username = f"former-{person.pk}"
    person.first_name = person.last_name = person.email = ""
    person.is_active = person.is_staff = person.is_superuser = False
    person.set_unusable_password()
    person.last_login = None
    person.save()
    person.groups.clear()
    person.user_permissions.clear()


def end_sessions(person: Person) -> int:
    """Sign somebody out everywhere; returns how many sessions ended."""
    own = [
        one.pk
        for one in Session.objects.filter(expire_date__gte=timezone.now()).iterator()
        if one.get_decoded().get("_auth_user_id") == str(person.pk)
    ]
    return Session.objects.filter(pk__in=own).delete()[0]
