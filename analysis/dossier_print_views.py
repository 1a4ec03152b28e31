"""Printing: the dossier, the shorter documents and the package, drawn by a job."""

import datetime

from django.core.exceptions import BadRequest
from django.core.files.storage import default_storage
from django.http import FileResponse, Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_POST

from bridges.models import Bridge
from shared import audit, limits, policy
from shared.models import Job

from . import dossier, dossier_jobs
from .dossier_forms import PrintForm
from .dossier_pdf import DOCUMENTS

FILE_NAMES = {
    "dossier": "dossier",
    "sheet": "bridge-sheet",
    "relocation": "data-for-moving",
    "alternatives": "alternatives",
    "changes": "changes",
}


@policy.requires(policy.can_write_dossiers)
@require_GET
@never_cache
@limits.limited("export", methods=("GET",))
def pdf(request, slug, document="dossier"):
    """A PDF: ``?paper=a4``, ``?include=position``, ``?include=plates``, ``?case=1``.

    The report of changes takes ``from`` and ``to``, two days. What is drawn already is
    sent at once; otherwise a job draws it, and a page says how far it is.
    """
    if document not in DOCUMENTS:
        raise Http404("No such document.")
    bridge = get_object_or_404(Bridge, slug=slug)
    wanted = _wanted(request, bridge, document)
    drawn = _kept(bridge, wanted)
    if drawn is None:
        asked = dossier_jobs.ask(bridge, request.user, **wanted)
        if asked.state == Job.State.DEAD:
            return _cannot(request, bridge, asked)
        if asked.state == Job.State.DONE:
            drawn = _kept(bridge, wanted)
        if drawn is None:
            return redirect("dossier-waiting", slug=bridge.slug, token=asked.token)
    audit.note(audit.Action.PRINTED, person=request.user, subject=bridge.slug)
    return FileResponse(
        default_storage.open(drawn, "rb"),
        filename=f"{FILE_NAMES[document]}-{bridge.slug}.pdf",
        content_type="application/pdf",
    )


def _wanted(request, bridge, document):
    form = PrintForm(request.GET if request.method == "GET" else request.POST)
    if not form.is_valid():
        raise BadRequest("No such paper, or nothing of that name to include.")
    case = form.cleaned_data["case"]
    if case is not None and dossier.current_case(bridge, case) is None:
        raise Http404("No case of that number.")
    return {
        "document": document,
        "paper": form.cleaned_data["paper"],
        "include": list(form.cleaned_data["include"]),
        "case": case,
        "between": _between(request.GET) if document == "changes" else [],
    }


def _between(query):
    try:
        first = datetime.date.fromisoformat(query.get("from") or "0001-01-01")
        last = datetime.date.fromisoformat(
            query.get("to") or timezone.localdate().isoformat()
        )
    except ValueError as error:
        raise BadRequest("from and to are days such as 2019-06-02.") from error
    if last < first:
        raise BadRequest("to is before from.")
    return [first.isoformat(), last.isoformat()]


def _kept(bridge, wanted):
    """Return the drawn document's name in the store, None where it is not drawn or cannot be here."""
    told = dossier_jobs.facts_for(
        bridge,
        document=wanted["document"],
        include=wanted["include"],
        case=wanted["case"],
        between=wanted["between"],
    )
    return dossier.kept(told, wanted["paper"], document=wanted["document"])


def _cannot(request, bridge, asked):
    context = {"bridge": bridge, "why": asked.error.partition("\n")[0]}
    return render(request, "analysis/dossier_no_pdf.html", context, status=503)


@policy.requires(policy.can_write_dossiers)
@require_POST
@limits.limited("export")
def package(request, slug):
    """Ask for the package."""
    bridge = get_object_or_404(Bridge, slug=slug)
    wanted = _wanted(request, bridge, "dossier") | {
        "document": dossier_jobs.PACKAGE,
        "between": [],
    }
    asked = dossier_jobs.ask(bridge, request.user, **wanted)
    return redirect("dossier-waiting", slug=bridge.slug, token=asked.token)


@policy.requires(policy.can_write_dossiers)
@require_GET
@never_cache
def waiting(request, slug, token):
    """How far a document is; onward to it when it is drawn."""
    bridge = get_object_or_404(Bridge, slug=slug)
    asked = _job_of(bridge, token)
    if asked.state == Job.State.DONE:
        return redirect(_address(bridge, asked))
    if asked.state == Job.State.DEAD:
        return _cannot(request, bridge, asked)
    context = {
        "bridge": bridge,
        "job": asked,
        "is_late": timezone.now() - asked.made_at > datetime.timedelta(minutes=2),
    }
    return render(request, "analysis/dossier_waiting.html", context)


def _job_of(bridge, token):
    asked = get_object_or_404(Job, token=token)
    is_ours = asked.call == f"{dossier_jobs.draw.__module__}.draw"
    if not is_ours or asked.arguments.get("bridge") != bridge.pk:
        raise Http404("No such document is being drawn.")
    return asked


def _address(bridge, asked):
    wanted = asked.arguments
    if wanted["document"] == dossier_jobs.PACKAGE:
        return reverse("dossier-package-file", args=[bridge.slug, asked.token])
    query = [("paper", wanted["paper"])]
    query += [("include", one) for one in wanted["include"]]
    if wanted["case"] is not None:
        query.append(("case", wanted["case"]))
    query += list(zip(("from", "to"), wanted["between"], strict=False))
    name = "dossier-pdf" if wanted["document"] == "dossier" else "dossier-document"
    args = [bridge.slug]
    if name == "dossier-document":
        args.append(wanted["document"])
    return f"{reverse(name, args=args)}?{urlencode(query)}"


@policy.requires(policy.can_write_dossiers)
@require_GET
@never_cache
def package_file(request, slug, token):
    """The package itself, once its job is done."""
    bridge = get_object_or_404(Bridge, slug=slug)
    asked = _job_of(bridge, token)
    name = (asked.result or {}).get("file", "")
    if asked.state != Job.State.DONE or not name or not default_storage.exists(name):
        raise Http404("This package is not there any more; ask for it again.")
    audit.note(audit.Action.PRINTED, person=request.user, subject=bridge.slug)
    return FileResponse(
        default_storage.open(name, "rb"),
        as_attachment=True,
        filename=f"package-{bridge.slug}.zip",
        content_type="application/zip",
    )
