"""Pages that stand with no bridge in the world: health, the caution, sign-in."""

from django.db import Error, connection
from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET


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
