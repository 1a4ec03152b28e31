"""The keeper's page: what runs behind the site, and what needs a hand."""

import platform
import shutil

import django
from django.apps import apps
from django.conf import settings
from django.contrib import messages
from django.core.files.storage import FileSystemStorage, default_storage
from django.core.paginator import Paginator
from django.db import connection
from django.db.models import Count
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_POST

from . import audit, jobs, policy
from .models import AuditEntry, Job

MOST_JOBS = 50
PER_PAGE = 100
MOST_DAYS_WITHOUT_BACKUP = 8
LITTLE_ROOM = 0.1


@never_cache
@require_GET
@policy.requires(policy.can_keep)
def overview(request):
    backed_up = audit.last(audit.Action.BACKED_UP)
    days = (timezone.now() - backed_up.at).days if backed_up else None
    context = {
        "jobs": _jobs(),
        "backed_up": backed_up,
        "is_backup_old": days is None or days > MOST_DAYS_WITHOUT_BACKUP,
        "disk": _disk(),
        "has_ground": bool(settings.BASE_MAP or settings.TILE_URL),
        "counts": _counts(),
        "versions": _versions(),
        "last_entries": AuditEntry.objects.select_related("person")[:10],
    }
    return render(request, "shared/keeper.html", context)


@never_cache
@require_GET
@policy.requires(policy.can_keep)
def log(request):
    """Everything in the audit log, the latest first."""
    entries = AuditEntry.objects.select_related("person")
    page = Paginator(entries, PER_PAGE).get_page(request.GET.get("page"))
    return render(request, "shared/audit.html", {"page": page})


@require_POST
@policy.requires(policy.can_keep)
def retry(request, pk):
    """Give a job that was given up another chance."""
    dead = get_object_or_404(Job, pk=pk)
    after = jobs.retry(dead)
    if after.state == Job.State.DEAD:
        messages.warning(request, f"It failed again: {after.fault}")
    elif after.state == Job.State.DONE:
        messages.success(request, "Done this time.")
    elif after.error:
        messages.warning(
            request, f"It failed again and will be tried later: {after.fault}"
        )
    else:
        messages.success(request, "It waits for its turn.")
    return redirect("keeper")


def _jobs():
    counted = Job.objects.order_by().values_list("state").annotate(Count("pk"))
    counts = dict(counted)
    due = Job.objects.due(timezone.now()).first()
    failed = Job.objects.filter(state=Job.State.WAITING).exclude(error="")
    return {
        "counts": [(label, counts.get(state, 0)) for state, label in Job.State.choices],
        "dead": Job.objects.filter(state=Job.State.DEAD)[:MOST_JOBS],
        "failed_once": failed[:MOST_JOBS],
        "due_since": due.run_after if due else None,
    }


def _disk():
    """Rows of (what lies there, free bytes, share free, is it little)."""
    places = {"Data folder": settings.DATA_DIR}
    if isinstance(default_storage, FileSystemStorage):
        places["Photographs"] = default_storage.location
    rows = []
    for name, place in places.items():
        try:
            use = shutil.disk_usage(place)
        except OSError:
            continue
        share = use.free / use.total if use.total else 0.0
        rows.append((name, use.free, 100 * share, share < LITTLE_ROOM))
    return rows


def _counts():
    return [
        (label, apps.get_model(name)._default_manager.count())
        for label, name in settings.KEEPER_COUNTS.items()
    ]


def _versions():
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("SELECT sqlite_version()")
        else:
            cursor.execute("SHOW server_version")
        server = cursor.fetchone()[0]
    return [
        (settings.SITE_NAME, settings.VERSION),
        ("Django", django.get_version()),
        ("Python", platform.python_version()),
        (connection.display_name, server),
    ]
