"""Documents drawn behind the pages: nobody's page waits for a long dossier."""

from __future__ import annotations

import hashlib
import json
import time

from django.conf import settings
from django.core.files.storage import default_storage

from bridges.models import Bridge
from shared import jobs
from shared.models import Job

from . import dossier, dossier_package, dossier_pdf

PACKAGE = "package"
# Gathering, arranging, drawing: what a document goes through.
STAGES = 3
# Pages go by faster than anybody looks, and each word is a write.
BETWEEN_WORDS_S = 0.4


def now_and_then(progress):
    """Return ``progress`` that lets only so many words a second through."""
    said_at = 0.0

    def say(done, total, note):
        nonlocal said_at
        now = time.monotonic()
        if now - said_at >= BETWEEN_WORDS_S:
            said_at = now
            progress(done, total, note)

    return say


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
    progress(0, STAGES, "Gathering the record")
    told = facts_for(
        row, document=document, include=include, case=case, between=between
    )
    try:
        if document == PACKAGE:
            file = _package(row, told, paper, now_and_then(progress))
            progress(STAGES, STAGES, "Done")
            return {"file": file}
        progress(1, STAGES, "Arranging the pages")
        say = now_and_then(progress)
        dossier_pdf.keep(
            told, paper, document=document, say=lambda note: say(2, STAGES, note)
        )
    except dossier_pdf.NoRenderer as error:
        raise jobs.Hopeless(str(error)) from error
    progress(STAGES, STAGES, "Done")
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
