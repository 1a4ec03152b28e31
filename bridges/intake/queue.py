"""Rows that wait for a person: the queue, one row whole, and the answer to it."""

from django.contrib import messages
from django.core.paginator import Paginator
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_safe

from bridges.models import Bridge, Correspondence, Import, ImportRow
from shared import policy

from . import deciding
from .forms import NewBridgeForm
from .layouts import Kept
from .views import faults_of, why_of

PER_PAGE = 20
Outcome = ImportRow.Outcome


@never_cache
@policy.requires(policy.can_import)
@require_safe
def queue(request):
    """What could not be matched surely, beside the bridges it may be."""
    waiting = ImportRow.objects.filter(
        outcome=Outcome.QUEUED, of__state=Import.State.TAKEN
    )
    waiting = waiting.select_related("of").order_by("-of_id", "line")
    page = Paginator(waiting, PER_PAGE).get_page(request.GET.get("page"))
    context = {"page": page, "rows": _beside(list(page))}
    return render(request, "bridges/imports/queue.html", context)


def _beside(rows):
    """Return [(row, its record, why, [(bridge, metres, likeness)])]."""
    wanted = {pk for row in rows for pk, *_ in row.candidates}
    bridges = Bridge.objects.select_related("standing").in_bulk(wanted)
    kept = {}
    found = []
    for row in rows:
        if row.of_id not in kept:
            kept[row.of_id] = Kept(row.of)
        candidates = [
            (bridges[pk], metres, likeness)
            for pk, metres, likeness in row.candidates
            if pk in bridges
        ]
        found.append((row, kept[row.of_id].record(row), why_of(row), candidates))
    return found


@never_cache
@policy.requires(policy.can_import)
@require_http_methods(["GET", "HEAD", "POST"])
def row(request, pk):
    """One row word for word, what was read of it, and what a person says it is."""
    asked = get_object_or_404(ImportRow.objects.select_related("of", "bridge"), pk=pk)
    if request.method == "POST":
        return _answered(request, asked)
    return _shown(request, asked)


def _shown(request, asked, form=None, status=200):
    kept = Kept(asked.of)
    (_, record, why, candidates), *_ = _beside([asked])
    said = Correspondence.objects.filter(
        list_name=asked.of.list_name, key=asked.key
    ).select_related("person", "bridge")
    start = {
        "name": record.facts.get("name", ""),
        "county": record.facts.get("county", ""),
        "number": record.facts.get("number", ""),
    }
    context = {
        "row": asked,
        "record": record,
        "why": why,
        "candidates": candidates,
        "faults": faults_of(asked),
        "told": kept.told(asked.raw),
        "said": said.first() if asked.key else None,
        "form": form or NewBridgeForm(initial=start),
        "is_waiting": asked.outcome == Outcome.QUEUED
        and asked.of.state == Import.State.TAKEN,
        "may_ask_again": asked.of.state == Import.State.TAKEN
        and asked.outcome in (Outcome.MATCHED, Outcome.NOT_OURS, Outcome.KEPT),
    }
    return render(request, "bridges/imports/row.html", context, status=status)


def _answered(request, asked):
    verdict = request.POST.get("verdict", "")
    if asked.of.state != Import.State.TAKEN:
        messages.error(request, "The list has not been taken yet; take it first.")
        return redirect("bridges:import-row", asked.pk)
    try:
        if verdict == "again":
            deciding.ask_again(asked, person=request.user)
            messages.success(request, "It waits in the queue again.")
            return redirect("bridges:import-row", asked.pk)
        return _decided(request, asked, verdict)
    except deciding.Cannot as cannot:
        form = None
        if verdict == deciding.NEW:
            form = NewBridgeForm(request.POST)
            field = cannot.field if cannot.field in form.fields else None
            form.is_valid()
            form.add_error(field, str(cannot))
        else:
            messages.error(request, str(cannot))
        asked.refresh_from_db()
        return _shown(request, asked, form, status=400)


def _decided(request, asked, verdict):
    verdict, _, chosen = verdict.partition(":")
    bridge = None
    if verdict == deciding.SAME and chosen:
        bridge = _bridge_of_id(chosen)
    elif verdict == deciding.SAME:
        bridge = _bridge(request.POST.get("bridge", ""))
    if verdict not in (deciding.SAME, deciding.NEW, deciding.NOT_OURS):
        raise deciding.Cannot("verdict", "Choose what the row is.")
    facts = {name: request.POST.get(name, "") for name in ("name", "county", "number")}
    bridge = deciding.decide(
        asked,
        verdict,
        person=request.user,
        bridge=bridge,
        facts=facts if verdict == deciding.NEW else None,
        note=request.POST.get("note", ""),
    )
    words = {
        deciding.SAME: f"{asked.name}: it is {bridge}. What the row says stands there as claims.",
        deciding.NEW: f"{bridge} is made. Look its record over.",
        deciding.NOT_OURS: f"{asked.name}: no bridge of ours, and not asked about again.",
    }
    messages.success(request, words[verdict])
    if verdict == deciding.NEW:
        return redirect("bridges:import-row", asked.pk)
    return redirect("bridges:import-queue")


def _bridge(text):
    """Return a bridge by its number or the last part of its address."""
    text = text.strip().replace("\x00", "")
    if not text:
        return None
    found = Bridge.objects.filter(number=text).first()
    found = found or Bridge.objects.filter(slug=text).first()
    if found is None:
        raise deciding.Cannot(
            "bridge", f"No bridge of ours has the number “{text[:40]}”."
        )
    return found


def _bridge_of_id(text):
    is_id = text.isascii() and text.isdigit() and len(text) < 18
    found = Bridge.objects.filter(pk=int(text)).first() if is_id else None
    if found is None:
        raise deciding.Cannot("bridge", "That bridge is no longer on record.")
    return found
