"""An officer's pages: the list of dossiers, one dossier, its photographs."""

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Q
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import (
    require_GET,
    require_http_methods,
    require_POST,
)

from bridges.models import Bridge, Source
from shared import policy
from surveys.models import Repair, Visit

from . import dossier, dossier_maps
from .dossier_case import contradictions
from .dossier_completeness import completeness, gate
from .dossier_facts import PLATES, POSITION
from .dossier_fields import BY_NAME
from .dossier_forms import CaseForm, NarrativeForm, PhotoLogForm, PrintForm
from .dossier_photos import pairs
from .models import Dossier

PER_PAGE = 50
CLOSED = (
    "This case is closed, and what was signed is not written over. Open a new case; "
    "what you wrote stands below, to copy from."
)
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
    try:
        saved = dossier.save_narrative(
            bridge=bridge,
            person=request.user,
            revision=form.cleaned_data["revision"],
            written=form.written,
        )
    except dossier.CaseIsClosed:
        form.add_error(None, CLOSED)
        return _page(request, bridge, form, status=409)
    if saved.conflicts:
        again = _form_over_conflict(form, saved)
        return _page(request, bridge, again, saved=saved, status=409)
    messages.success(request, _said(saved))
    return redirect("dossier", slug=bridge.slug)


def _fresh_form(bridge):
    kept = dossier.current_case(bridge)
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
        _put(data, name, _kept_value(saved.dossier, name))
    again = NarrativeForm(data)
    for name, theirs in saved.conflicts.items():
        words = BY_NAME[name].words(theirs) if name in BY_NAME else theirs
        again.fields[name].theirs = words
    return again


def _put(data, name, value):
    """Set one value of a copied form, or the several of a list."""
    if isinstance(value, list):
        data.setlist(name, value)
    else:
        data[name] = value


def _kept_value(kept, name):
    if name in BY_NAME:
        return kept.answers.get(name, BY_NAME[name].blank)
    return getattr(kept, name)


def _label(name):
    if name in BY_NAME:
        return BY_NAME[name].label.lower()
    return Dossier._meta.get_field(name).verbose_name


def _said(saved):
    if not saved.merged:
        return "Saved."
    names = [_label(name) for name in saved.merged]
    return (
        f"Saved. Meanwhile {saved.changed_by or 'somebody else'} had changed: "
        f"{', '.join(names)}. Both are kept."
    )


def _page(request, bridge, form, saved=None, status=200):
    facts = dossier.facts(bridge)
    rows = completeness(facts, timezone.localdate())
    kept = Dossier.history.filter(bridge_id=bridge.pk).select_related("history_user")
    cases = list(
        Dossier.objects.filter(bridge=bridge).select_related("signed_by", "updated_by")
    )
    wrong = set(form.errors) | set(saved.conflicts if saved else ())
    context = {
        "cases": cases,
        "case": cases[0] if cases else None,
        "gate": gate(rows),
        "contradictions": contradictions(facts),
        "sections": [
            (title, fields, any(field.name in wrong for field in fields))
            for title, fields in form.sections()
        ],
        "citable": _citable(bridge),
        "case_form": CaseForm(),
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


def _citable(bridge):
    """Return the sources that this bridge's record names, to be cited by number."""
    wanted = set()
    for rows in (bridge.events, bridge.attributions, bridge.claims):
        wanted |= set(rows.values_list("source_id", flat=True))
    wanted |= set(
        Repair.objects.filter(bridge=bridge).values_list("sources", flat=True)
    )
    wanted |= set(Visit.objects.filter(bridge=bridge).values_list("source", flat=True))
    return Source.objects.filter(pk__in=wanted - {None})


def _mending(row, bridge):
    """Return where a row of the completeness list is mended."""
    if row.mend.startswith("narrative."):
        return f"#id_{row.mend.removeprefix('narrative.')}"
    if row.mend == "photographs":
        return reverse("dossier-photographs", args=[bridge.slug])
    if row.mend == "visit":
        return reverse("surveys:log", args=[bridge.slug])
    return f"{reverse('record', args=[bridge.slug])}#kind-{row.mend}"


@policy.requires(policy.can_write_dossiers)
@require_http_methods(["GET", "POST"])
@never_cache
def photographs(request, slug):
    """Which pictures are in the log, and in which order."""
    bridge = get_object_or_404(Bridge, slug=slug)
    facts = dossier.facts(bridge)
    rows = facts["photographs"]
    form = PhotoLogForm(request.POST or None, rows)
    status = 200
    if request.method == "POST":
        if form.is_valid():
            return _photographs_saved(request, bridge, form)
        status = 400
    kept = dossier.current_case(bridge)
    context = {
        "bridge": bridge,
        "form": form,
        "revision": kept.revision if kept else 0,
        "rows": [(row, form[row["key"]], _number(form, row)) for row in rows],
        "pairs": pairs(facts),
        "wanted": _wanted(facts),
        "sketch": dossier_maps.sketch(facts, palette=None),
    }
    return render(request, "analysis/dossier_photographs.html", context, status=status)


def _number(form, row):
    if form.is_bound:
        return form[row["key"]].value() or ""
    return row["number"] if row["is_chosen"] else ""


def _wanted(facts):
    """Return (viewpoint, numbers of its photographs), those required first."""
    return [
        (
            view,
            [
                one["number"]
                for one in facts["photographs"]
                if one["is_chosen"] and one["viewpoint"] == view["name"]
            ],
        )
        for view in sorted(facts["viewpoints"], key=lambda v: not v["is_mandatory"])
    ]


def _photographs_saved(request, bridge, form):
    try:
        saved = dossier.save_narrative(
            bridge=bridge,
            person=request.user,
            revision=form.cleaned_data["revision"],
            written={"photos": form.chosen},
        )
    except dossier.CaseIsClosed:
        messages.error(request, CLOSED)
        return redirect("dossier", slug=bridge.slug)
    if saved.conflicts:
        who = saved.changed_by or "Somebody else"
        messages.error(
            request,
            f"Not saved: {who} has chosen photographs meanwhile. Theirs are below; "
            "number yours again.",
        )
    else:
        messages.success(request, "The log is saved.")
    return redirect("dossier-photographs", slug=bridge.slug)


@policy.requires(policy.can_write_dossiers)
@require_POST
def sign(request, slug):
    """Sign the case as it was read."""
    bridge = get_object_or_404(Bridge, slug=slug)
    revision = request.POST.get("revision", "")
    try:
        if not revision.isdigit():
            raise dossier.NotAsRead
        dossier.sign(bridge=bridge, person=request.user, revision=int(revision))
    except dossier.NotAsRead:
        messages.error(request, "Not signed: it has changed since. Read it again.")
    except dossier.CaseIsClosed:
        messages.error(request, CLOSED)
    else:
        messages.success(request, "Signed. A later change is not under this signature.")
    return redirect("dossier", slug=bridge.slug)


@policy.requires(policy.can_write_dossiers)
@require_POST
def open_case(request, slug):
    """Close the case there is, and open the next."""
    bridge = get_object_or_404(Bridge, slug=slug)
    form = CaseForm(request.POST)
    if not form.is_valid():
        messages.error(request, "No new case: say what it is for.")
        return redirect("dossier", slug=bridge.slug)
    title = form.cleaned_data["title"]
    begun = dossier.open_case(bridge=bridge, person=request.user, title=title)
    messages.success(request, f"Case {begun.number} is open. The one before is kept.")
    return redirect("dossier", slug=bridge.slug)
