"""How often one caller may do what costs the site something.

Counted in the database, so that several processes count together. A person who is
signed in is counted by account, anybody else by address, of which only a keyed hash is
kept, for a day. The limits are ``settings.LIMITS``: name to calls a minute.
"""

from functools import wraps

from django.conf import settings
from django.db import connection
from django.shortcuts import render
from django.utils import timezone
from django.utils.crypto import salted_hmac
from rest_framework.throttling import BaseThrottle

from . import callers
from .models import Tally

MINUTES_KEPT = 24 * 60
# One statement, so that two processes at once count two; both databases know it.
COUNT_ONE = """
    INSERT INTO shared_tally ("key", "minute", "count") VALUES (%s, %s, 1)
    ON CONFLICT ("key", "minute") DO UPDATE SET "count" = shared_tally."count" + 1
    RETURNING "count"
"""


def within(name: str, request) -> bool:
    """Count one call; False when there were more than the limit in this minute."""
    person = getattr(request, "user", None)
    signed_in = person is not None and person.is_authenticated
    who = f"person {person.pk}" if signed_in else f"at {callers.address(request)}"
    return counted(name, who) <= settings.LIMITS[name]


def counted(name: str, who: str) -> int:
    """Count one call of ``who``; return how many there were in this minute."""
    digest = salted_hmac("shared.limits", who, algorithm="sha256").hexdigest()
    minute = int(timezone.now().timestamp() // 60)
    with connection.cursor() as cursor:
        cursor.execute(COUNT_ONE, [f"{name}:{digest[:40]}", minute])
        return cursor.fetchone()[0]


def limited(name: str, methods=("POST",)):
    """Answer 429 to whoever asks a page for more than the limit."""

    def decorator(view):
        @wraps(view)
        def counting(request, *args, **kwargs):
            if request.method in methods and not within(name, request):
                response = render(request, "shared/slow_down.html", status=429)
                response.headers["Retry-After"] = "60"
                return response
            return view(request, *args, **kwargs)

        return counting

    return decorator


class Reading(BaseThrottle):
    """How often one caller may read the API: counted by each worker for itself.

    In its memory, since a read must not wait for the database's one write lock.
    """

    MOST_CALLERS = 10_000
    _minute = 0
    _calls: dict[str, int] = {}

    def allow_request(self, request, view):
        kind, minute = type(self), int(timezone.now().timestamp() // 60)
        if minute != kind._minute or len(kind._calls) > self.MOST_CALLERS:
            kind._minute, kind._calls = minute, {}
        person = request.user
        who = (
            f"person {person.pk}"
            if person.is_authenticated
            else callers.address(request)
        )
        kind._calls[who] = kind._calls.get(who, 0) + 1
        return kind._calls[who] <= settings.LIMITS["read"]

    def wait(self):
        return 60


class Throttle(BaseThrottle):
    """The same for the API; the view's ``limit_name`` says which limit."""

    def allow_request(self, request, view):
        if request.method in ("GET", "HEAD", "OPTIONS"):
            return True
        return within(view.limit_name, request)

    def wait(self):
        return 60


def forget_old() -> int:
    before = int(timezone.now().timestamp() // 60) - MINUTES_KEPT
    return Tally.objects.filter(minute__lt=before).delete()[0]
