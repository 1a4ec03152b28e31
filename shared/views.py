"""Pages that stand with no bridge in the world: health, the caution, faults."""

import errno
import sys

from django.db import Error, OperationalError, connection
from django.http import HttpResponse, JsonResponse
from django.shortcuts import render
from django.views import defaults
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import requires_csrf_token
from django.views.decorators.http import require_GET

FULL = (
    "The site's disk is full, and nothing of this was stored. What is on your phone is "
    "kept there. The keeper must make room; try again later."
)
BUSY = (
    "The site's database does not answer just now, and nothing of this was stored. Try "
    "again in a minute."
)
FULL_WORDS = ("disk is full", "disk i/o error", "no space left", "could not extend")


@require_GET
@never_cache
def healthz(request):
    """200 when the database answers, else 503; no detail for strangers."""
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
            cursor.fetchone()
    except Error:
        return HttpResponse("unavailable", status=503, content_type="text/plain")
    return HttpResponse("ok", content_type="text/plain")


@require_GET
def caution(request):
    """What the load figures are, and what they are not."""
    return render(request, "shared/caution.html")


@requires_csrf_token
def server_error(request):
    """Say that it went wrong; and where the disk is full or the database away, so."""
    error = sys.exc_info()[1]
    if is_full(error):
        return _refused(request, 507, "disk_full", FULL)
    if isinstance(error, OperationalError):
        return _refused(request, 503, "busy", BUSY)
    if request.path.startswith("/api/"):
        words = "Something went wrong here. Nothing that had been saved is lost."
        return _fault("error", words, status=500)
    return defaults.server_error(request)


def not_found(request, exception):
    """As Django's own, but that the API's callers are told in their one shape."""
    if request.path.startswith("/api/"):
        return _fault("not_found", "There is nothing here.", status=404)
    return defaults.page_not_found(request, exception)


def bad_request(request, exception):
    """What cannot be read, told to the API's callers in their one shape."""
    if request.path.startswith("/api/"):
        return _fault("unreadable", "This cannot be read.", status=400)
    return defaults.bad_request(request, exception)


def is_full(error: BaseException | None) -> bool:
    """Whether an error, or what it arose from, is that there is no room left."""
    while error is not None:
        if isinstance(error, OSError) and error.errno in (errno.ENOSPC, errno.EDQUOT):
            return True
        words = str(error).lower()
        if isinstance(error, Error) and any(one in words for one in FULL_WORDS):
            return True
        error = error.__cause__ or error.__context__
    return False


def _refused(request, status, code, words):
    if request.path.startswith("/api/"):
        response = _fault(code, words, status)
    else:
        # Plain: the page's own furniture would ask the database who is signed in.
        response = render(
            None,
            "shared/refused.html",
            {"words": words, "status": status},
            status=status,
        )
    response.headers["Retry-After"] = "60"
    return response


def _fault(code, words, status):
    """The API's one shape of errors; its own module cannot be loaded before DRF's."""
    rows = [{"field": "", "code": code, "message": words}]
    return JsonResponse({"errors": rows}, status=status)
