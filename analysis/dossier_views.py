"""An officer's pages: the list of dossiers, one dossier, its PDF."""

from django.contrib import messages
from django.core.exceptions import BadRequest
from django.core.paginator import Paginator
from django.db.models import Q
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_http_methods

from bridges.models import Bridge
from shared import policy

from . import dossier
from .dossier_completeness import completeness
from .dossier_facts import PLATES, POSITION
from .dossier_forms import NarrativeForm, PrintForm
from .models import Dossier

PER_PAGE = 50
EARLIER = 20


@policy.requires(policy.can_write_dossiers)
@require_GET
@never_cache
def dossiers(request):
    """Every bridge, with how far its dossier has been written."""
    words = request.GET.get("q", "").replace("\0", "").strip()
    bridges = Bridge.objects.order_by("name", "id")
    for word in words.split():
        bridges = bridges.filter(
            Q(name__icontains=word)
            | Q(number__icontains=word)
            | Q(county__icontains=word)
            | Q(town__icontains=word)
        )
    page = Paginator(bridges, PER_PAGE).get_page(request.GET.get("page"))
    written = {
        one.bridge_id: one
        for one in Dossier.objects.filter(
            bridge__in=[bridge.pk for bridge in page]
        ).select_related("updated_by")
    }
    rows = [(bridge, written.get(bridge.pk)) for bridge in page]
    context = {"page": page, "rows": rows, "words": words}
    return render(request, "analysis/dossiers.html", context)


@policy.requires(policy.can_write_dossiers)
@require_http_methods(["GET", "POST"])
@never_cache
def narrative(request, slug):
    """The officer's texts, what is missing, and what would be printed."""
    bridge = get_object_or_404(Bridge, slug=slug)
    if request.method == "GET":
        return _page(request, bridge, _fresh_form(bridge))
    form = NarrativeForm(request.POST)
    if not form.is_valid():
        return _page(request, bridge, form, status=400)
    saved = dossier.save_narrative(
        bridge=bridge,
        person=request.user,
        revision=form.cleaned_data["revision"],
        written=form.written,
    )
    if saved.conflicts:
        again = _form_over_conflict(form, saved)
        return _page(request, bridge, again, saved=saved, status=409)
    messages.success(request, _said(saved))
    return redirect("dossier", slug=bridge.slug)


def _fresh_form(bridge):
    kept = Dossier.objects.filter(bridge=bridge).first()
    revision = kept.revision if kept else 0
    return NarrativeForm(instance=kept, initial={"revision": revision})


def _form_over_conflict(form, saved):
    """Return the form as typed, on top of what the other person saved.

    Fields this person had not touched take the other's text: sending the form again
    must not undo it.
    """
    data = form.data.copy()
    data["revision"] = saved.dossier.revision
    for name in saved.merged:
        data[name] = getattr(saved.dossier, name)
    again = NarrativeForm(data)
    for name, theirs in saved.conflicts.items():
        again.fields[name].theirs = theirs
    return again


def _said(saved):
    if not saved.merged:
        return "Saved."
    names = [Dossier._meta.get_field(name).verbose_name for name in saved.merged]
    return (
        f"Saved. Meanwhile {saved.changed_by or 'somebody else'} had changed: "
        f"{', '.join(names)}. Both are kept."
    )


def _page(request, bridge, form, saved=None, status=200):
    facts = dossier.facts(bridge)
    rows = completeness(facts, timezone.localdate())
    kept = Dossier.history.filter(bridge_id=bridge.pk).select_related("history_user")
    context = {
        "bridge": bridge,
        "form": form,
        "saved": saved,
        "facts": facts,
        "rows": [(row, _mending(row, bridge)) for row in rows],
        "there": sum(row.is_there for row in rows),
        "can_include": _can_include(facts),
        "earlier": kept.order_by("-history_date", "-history_id")[:EARLIER],
    }
    return render(request, "analysis/dossier.html", context, status=status)


def _can_include(facts):
    """Return (value, label) of what is left out of this bridge and may be shown."""
    there = {
        POSITION: facts["bridge"]["position"]["is_sensitive"],
        PLATES: any(plate["has_whereabouts"] for plate in facts["plates"]),
    }
    choices = PrintForm.base_fields["include"].choices
    return [(value, label) for value, label in choices if there[value]]


def _mending(row, bridge):
    """Return where a row of the completeness list is mended."""
    if row.mend == "narrative":
        return f"#id_{row.key}"
    if row.mend == "visit":
        return reverse("surveys:log", args=[bridge.slug])
    return f"{reverse('record', args=[bridge.slug])}#kind-{row.mend}"


@policy.requires(policy.can_write_dossiers)
@require_GET
@never_cache
def pdf(request, slug):
    """The PDF: ``?paper=a4``, ``?include=position``, ``?include=plates``."""
    bridge = get_object_or_404(Bridge, slug=slug)
    form = PrintForm(request.GET)
    if not form.is_valid():
        raise BadRequest("No such paper, or nothing of that name to include.")
    facts = dossier.facts(bridge, form.cleaned_data["include"])
    try:
        content = dossier.stored_pdf(facts, form.cleaned_data["paper"])
    except dossier.NoRenderer as error:
        context = {"bridge": bridge, "why": str(error)}
        return render(request, "analysis/dossier_no_pdf.html", context, status=503)
    response = HttpResponse(content, content_type="application/pdf")
    name = f"dossier-{bridge.slug}.pdf"
    response["Content-Disposition"] = f'inline; filename="{name}"'
    return response
