"""Who may do what. Pages, API, media and PDFs all ask here."""

from functools import cached_property, wraps

from django.contrib.auth.decorators import login_required
from django.core.exceptions import PermissionDenied

VOLUNTEER, REVIEWER, OFFICER, KEEPER = "volunteer", "reviewer", "officer", "keeper"
GROUPS = (VOLUNTEER, REVIEWER, OFFICER, KEEPER)


def _in(person, *groups):
    if person is None or not person.is_authenticated or not person.is_active:
        return False
    return bool(person.group_names & set(groups))


def can_log_visits(person):
    return _in(person, *GROUPS)


def can_review(person):
    return _in(person, REVIEWER, KEEPER)


def can_write_dossiers(person):
    return _in(person, OFFICER, KEEPER)


def can_import(person):
    """Bring in lists, and say which bridge a row of one speaks of."""
    return _in(person, OFFICER, KEEPER)


def can_see_exact_positions(person):
    """Members of the society see where a sensitive bridge stands; visitors do not."""
    return _in(person, *GROUPS)


def can_see_originals(person):
    return _in(person, REVIEWER, OFFICER, KEEPER)


def can_keep(person):
    return _in(person, KEEPER)


class Can:
    """The same answers for templates: ``{% if can.review %}``."""

    def __init__(self, person):
        self.person = person

    @cached_property
    def log_visits(self):
        return can_log_visits(self.person)

    @cached_property
    def review(self):
        return can_review(self.person)

    @cached_property
    def write_dossiers(self):
        return can_write_dossiers(self.person)

    @cached_property
    def bring_in(self):
        return can_import(self.person)

    @cached_property
    def keep(self):
        return can_keep(self.person)


def requires(test):
    """Let only people for whom ``test`` holds through; others sign in or get 403."""

    def decorator(view):
        @login_required
        @wraps(view)
        def guarded(request, *args, **kwargs):
            if not test(request.user):
                raise PermissionDenied
            return view(request, *args, **kwargs)

        return guarded

    return decorator
