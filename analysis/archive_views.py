"""The keeper's page of archives: having one made, and taking it away."""

from __future__ import annotations

import tempfile
import uuid

from django.conf import settings
from django.contrib import messages
from django.core.files import File
from django.core.files.storage import default_storage
from django.http import FileResponse, Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_POST

from shared import audit, jobs, limits, policy
from shared.models import Job

from . import archive

# Not part of a backup, which would else hold everything twice.
FOLDER = "scratch/archives"
MOST_SHOWN = 6


@jobs.job(most_tries=2)
def write_archive(*, public):
    """Write an archive into the store, in place of the last one of its kind."""
    with tempfile.TemporaryFile(dir=settings.DATA_DIR) as scratch:
        facts = archive.make(scratch, public=public)
        size = scratch.tell()
        scratch.seek(0)
        name = default_storage.save(f"{FOLDER}/{uuid.uuid4().hex}.zip", File(scratch))
    for older in _made(public):
        default_storage.delete(older.result["file"])
    return {
        "file": name,
        "bytes": size,
        "rows": sum(one.get("lines", 0) for one in facts["members"].values()),
        "missing": len(facts["missing"]),
        "made_at": facts["made_at"],
    }


def _asked():
    return Job.objects.filter(call=f"{write_archive.__module__}.write_archive")


def _made(public):
    """Return the jobs whose file is there."""
    done = _asked().filter(state=Job.State.DONE)
    return [
        one
        for one in done
        if one.arguments.get("public") == public
        and (one.result or {}).get("file")
        and default_storage.exists(one.result["file"])
    ]


@policy.requires(policy.can_keep)
@require_GET
@never_cache
def page(request):
    """What an archive is, what is being written, and what can be taken away."""
    context = {
        "made": [*_made(True), *_made(False)],
        "running": [one for one in _asked()[:MOST_SHOWN] if not one.is_over],
        "dead": _asked().filter(state=Job.State.DEAD)[:MOST_SHOWN],
    }
    return render(request, "analysis/archive.html", context)


@policy.requires(policy.can_keep)
@require_POST
@limits.limited("export")
def ask(request):
    """Have an archive written behind the pages."""
    public = request.POST.get("kind") == archive.PUBLIC_KIND
    asked = jobs.enqueue(
        write_archive, by=request.user, key=f"archive public={public}", public=public
    )
    if asked.state == Job.State.DEAD:
        messages.error(request, f"It could not be written: {asked.fault}")
    elif asked.state == Job.State.DONE:
        messages.success(request, "Written. Take it away below.")
    else:
        messages.info(request, "It is being written. This page will offer it.")
    return redirect("archive")


@policy.requires(policy.can_keep)
@require_GET
@never_cache
def take(request, token):
    """The file, under a name with its kind and day."""
    asked = get_object_or_404(_asked(), token=token, state=Job.State.DONE)
    name = (asked.result or {}).get("file", "")
    if not name or not default_storage.exists(name):
        raise Http404("This archive is not there any more; have it written again.")
    public = asked.arguments.get("public", False)
    kind = archive.PUBLIC_KIND if public else archive.FULL
    audit.note(audit.Action.EXPORTED, person=request.user, subject=f"archive ({kind})")
    return FileResponse(
        default_storage.open(name, "rb"),
        as_attachment=True,
        filename=archive.file_name(public, asked.made_at),
        content_type="application/zip",
    )
