"""Documents drawn behind the pages: nobody's page waits for a long dossier."""

from __future__ import annotations

import hashlib
import json

from django.conf import settings
from django.core.files.storage import default_storage

from bridges.models import Bridge
from shared import jobs
from shared.models import Job

from . import dossier, dossier_package, dossier_pdf

PACKAGE = "package"


def facts_for(bridge, *, document, include=(), case=None, between=()):
    """Return the facts of a document: those of the dossier, and its two days."""
    told = dossier.facts(bridge, tuple(include), case)
    return told | {"between": list(between)} if document == "changes" else told


@jobs.job(most_tries=3)
def draw(*, bridge, document, paper, include, case, between, progress):
    """Draw a document and keep it; a package's result is its name in the store.

    Safe to repeat: what is drawn already is found by its content.
    """
    row = Bridge.objects.get(pk=bridge)
    progress(0, 1, "Gathering the record")
    told = facts_for(
        row, document=document, include=include, case=case, between=between
    )
    try:
        if document == PACKAGE:
            return {"file": _package(row, told, paper, progress)}
        progress(0, 1, "Drawing the pages")
        dossier_pdf.stored_pdf(told, paper, document=document)
    except dossier_pdf.NoRenderer as error:
        raise jobs.Hopeless(str(error)) from error
    progress(1, 1, "Done")
    return {}


def _package(bridge, told, paper, progress):
    canonical = json.dumps(told, sort_keys=True, default=str)
    digest = hashlib.sha256(f"{paper}\0{canonical}".encode()).hexdigest()
    name = f"dossiers/packages/{digest}.zip"
    if not default_storage.exists(name):
        name = dossier_package.store(told, name, paper, progress)
    return name


def ask(bridge, person, **wanted) -> Job:
    """Ask for a document, or for the one already being drawn of the same kind.

    ``wanted`` are the arguments of ``draw`` but the bridge. Inline, the job is over
    when this returns.
    """
    wanted = {"include": [], "case": None, "between": [], "paper": "letter"} | wanted
    wanted["bridge"] = bridge.pk
    text = json.dumps(wanted, sort_keys=True)
    key = f"dossier:{hashlib.sha256(text.encode()).hexdigest()}"
    if not settings.JOBS_INLINE:
        running = Job.objects.filter(key=key, state=Job.State.RUNNING).first()
        if running is not None:
            return running
    return jobs.enqueue(draw, by=person, key=key, **wanted)
