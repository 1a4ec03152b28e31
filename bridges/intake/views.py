"""Pages of lists brought in: sending one, what was read, its rows, what changed."""

import csv

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Exists, OuterRef
from django.http import Http404, StreamingHttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.http import content_disposition_header
from django.views.decorators.cache import never_cache
from django.views.decorators.http import (
    require_GET,
    require_http_methods,
    require_POST,
    require_safe,
)

from bridges import exports
from bridges.models import Bridge, Claim, Correspondence, Import, ImportRow
from shared import jobs, policy
from shared.models import Job

from . import matching, own, reading, taking, vintages
from .forms import ListForm
from .items import TRAILING
from .layouts import Kept
from .lines import Refused
from .record import Fault, without

PER_PAGE = 50
Outcome = ImportRow.Outcome


@never_cache
@policy.requires(policy.can_import)
@require_http_methods(["GET", "HEAD", "POST"])
def imports(request):
    """The lists brought in so far, and the form to send another."""
    form = ListForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        of = _received(request, form)
        if of is not None:
            return redirect("bridges:import", of.pk)
    brought = Import.objects.select_related("person")
    context = {
        "form": form,
        "page": Paginator(brought, PER_PAGE).get_page(request.GET.get("page")),
        "waiting": ImportRow.objects.filter(
            outcome=Outcome.QUEUED, of__state=Import.State.TAKEN
        ).count(),
        "list_names": Import.objects.filter(
            state=Import.State.TAKEN,
            layout__in=(Import.Layout.DELIMITED, Import.Layout.FIXED),
        )
        .order_by("list_name")
        .values_list("list_name", flat=True)
        .distinct(),
    }
    status = 400 if request.method == "POST" else 200
    return render(request, "bridges/imports/index.html", context, status=status)


def _received(request, form):
    sent = form.cleaned_data
    file = sent.pop("file")
    try:
        of = reading.receive(file.file, name=file.name, person=request.user, **sent)
    except Refused as refused:
        field = (
            "vintage" if "vintage" in str(refused) or "year" in str(refused) else "file"
        )
        form.add_error(field, str(refused))
        return None
    except reading.AlreadyTaken as already:
        messages.info(request, f"{already.of} is in already, from the same file.")
        return already.of
    asked = jobs.enqueue(
        reading.read, by=request.user, key=f"import-read:{of.pk}", pk=of.pk
    )
    Import.objects.filter(pk=of.pk).update(job=asked.token)
    return of


@never_cache
@policy.requires(policy.can_import)
@require_safe
def one(request, pk):
    """What was read of one file, or how far it is."""
    of = get_object_or_404(
        Import.objects.select_related("previous", "source", "person"), pk=pk
    )
    job = Job.objects.filter(token=of.job).first() if of.job else None
    is_waiting = of.state in (Import.State.WAITING, Import.State.TAKING)
    report = of.report
    context = {
        "of": of,
        "job": job,
        "is_waiting": is_waiting and job is not None and not job.is_over,
        "is_stuck": is_waiting and (job is None or job.is_over),
        "outcomes": [
            (
                value,
                label,
                report.get("outcomes", {}).get(value, 0),
                _whys(report, value),
            )
            for value, label in Outcome.choices
            if report.get("outcomes", {}).get(value)
        ],
        "faults": [
            (code, _field(examples), without(code), count, examples)
            for code, count in report.get("faults", {}).items()
            for examples in [report["examples"].get(code, [])]
        ],
        "fields": list(report.get("fields", {}).items())[:12],
        "now": _now(of) if of.state == Import.State.TAKEN else None,
    }
    return render(request, "bridges/imports/one.html", context)


def _field(examples):
    """Return the one field that a kind of fault is of, blank if of several."""
    fields = {field for _, field, _ in examples}
    return fields.pop() if len(fields) == 1 else ""


def _whys(report, outcome):
    """Return (why in words, count) of one outcome."""
    return [
        (matching.WHYS.get(key.partition(":")[2], ""), count)
        for key, count in report.get("whys", {}).items()
        if key.partition(":")[0] == outcome
    ]


def _now(of):
    """Counts as they stand after people's answers."""
    rows = of.rows
    return {
        "queued": rows.filter(outcome=Outcome.QUEUED).count(),
        "claims": Claim.objects.filter(source=of.source_id).count()
        if of.source_id
        else 0,
    }


@policy.requires(policy.can_import)
@require_POST
def take(request, pk):
    """Take into the record what is certain."""
    of = get_object_or_404(Import, pk=pk)
    if of.state not in (Import.State.READ, Import.State.TAKING):
        messages.info(request, "There is nothing of it to take.")
        return redirect("bridges:import", pk)
    Import.objects.filter(pk=pk, state=Import.State.READ).update(
        state=Import.State.TAKING, person=request.user
    )
    asked = jobs.enqueue(taking.take, by=request.user, key=f"import-take:{pk}", pk=pk)
    Import.objects.filter(pk=pk).update(job=asked.token)
    return redirect("bridges:import", pk)


@policy.requires(policy.can_import)
@require_POST
def drop(request, pk):
    """Throw away what was only read."""
    of = get_object_or_404(Import, pk=pk)
    try:
        reading.throw_away(of)
    except Refused as refused:
        messages.error(request, str(refused))
        return redirect("bridges:import", pk)
    messages.success(request, f"{of} is thrown away. Nothing was taken of it.")
    return redirect("bridges:imports")


@never_cache
@policy.requires(policy.can_import)
@require_safe
def rows(request, pk):
    """Rows of one list: all, or those of one outcome, of one fault, or changed."""
    of = get_object_or_404(Import, pk=pk)
    found, title = _narrowed(of, request.GET)
    page = Paginator(found.select_related("bridge"), PER_PAGE).get_page(
        request.GET.get("page")
    )
    context = {
        "of": of,
        "page": page,
        "title": title,
        "rows": [(row, faults_of(row), why_of(row)) for row in page],
        "asked": {k: v for k, v in request.GET.items() if k != "page"},
        "query": query_of(request),
    }
    return render(request, "bridges/imports/rows.html", context)


def _narrowed(of, asked):
    found, title = of.rows.all(), "Every row"
    outcome, fault = asked.get("outcome", ""), asked.get("fault", "")
    if outcome:
        if outcome not in Outcome.values:
            raise Http404("No such outcome.")
        found, title = found.filter(outcome=outcome), Outcome(outcome).label
    if fault:
        found, title = found.filter(fault_codes__contains=f",{fault},"), without(fault)
    if word := asked.get("q", "").strip().replace("\x00", ""):
        found = found.filter(raw__icontains=word)
        title = f"{title}, with “{word}”"
    return found, title


def query_of(request):
    """Return what an address asks for, but for the page, to go before a page's number."""
    asked = request.GET.copy()
    asked.pop("page", None)
    return f"{asked.urlencode()}&" if asked else ""


def faults_of(row):
    """Return the ``Fault``s of a row as it kept them."""
    return [Fault(*one) for one in row.faults]


def why_of(row):
    return matching.WHYS.get(row.why, "")


@never_cache
@policy.requires(policy.can_import)
@require_safe
def changes(request, pk):
    """What this vintage says otherwise than the one before, row by row."""
    of = get_object_or_404(Import.objects.select_related("previous"), pk=pk)
    field, is_gone = request.GET.get("field", ""), "gone" in request.GET
    if is_gone:
        found = vintages.gone(of)
    else:
        found = of.rows.exclude(changed_fields="").order_by("line")
        if field:
            found = found.filter(changed_fields__contains=f",{field},")
    if "ours" in request.GET:
        found = found.filter(bridge__isnull=False)
    page = Paginator(found.select_related("bridge"), PER_PAGE).get_page(
        request.GET.get("page")
    )
    context = {
        "of": of,
        "page": page,
        "field": field,
        "is_gone": is_gone,
        "is_ours": "ours" in request.GET,
        "query": query_of(request),
    }
    return render(request, "bridges/imports/changes.html", context)


@policy.requires(policy.can_import)
@require_GET
def faults(request, pk):
    """Every fault of one list as CSV, to be mended where the list was made."""
    of = get_object_or_404(Import, pk=pk)
    answer = StreamingHttpResponse(
        _fault_lines(of), content_type="text/csv; charset=utf-8"
    )
    name = f"faults-{of.vintage}.csv"
    answer.headers["Content-Disposition"] = content_disposition_header(True, name)
    answer.headers["Cache-Control"] = "private, no-store"
    return answer


class _Echo:
    def write(self, text):
        return text


def _fault_lines(of):
    table = csv.writer(_Echo())
    yield "\ufeff" + table.writerow(["line", "field", "fault", "what is wrong", "row"])
    found = of.rows.exclude(fault_codes="").order_by("line", "pk")
    for row in found.iterator(chunk_size=500):
        for fault in faults_of(row):
            cells = [str(row.line), fault.field, fault.code, fault.text, row.raw]
            yield table.writerow([exports.guard(cell) for cell in cells])


@policy.requires(policy.can_import)
@require_safe
def columns(request):
    """Which columns our own CSV has, and what other files are read."""
    return render(
        request,
        "bridges/imports/columns.html",
        {
            "columns": own.COLUMNS,
            "eras": list(TRAILING),
            "needed": {"number": "every row", "name": "a new bridge"}
            | dict.fromkeys(("county", "latitude", "longitude"), "a new bridge"),
        },
    )


@never_cache
@policy.requires(policy.can_import)
@require_safe
def of_bridge(request, slug):
    """What every list says of one bridge, vintage by vintage."""
    bridge = get_object_or_404(Bridge, slug=slug)
    found = ImportRow.objects.filter(bridge=bridge, of__state=Import.State.TAKEN)
    found = found.select_related("of").order_by("of__list_name", "-of__vintage", "-pk")
    kept = {}
    rows = []
    for row in found[:PER_PAGE]:
        if row.of_id not in kept:
            kept[row.of_id] = Kept(row.of)
        rows.append((row, kept[row.of_id].record(row)))
    return render(
        request, "bridges/imports/of_bridge.html", {"bridge": bridge, "rows": rows}
    )


@never_cache
@policy.requires(policy.can_import)
@require_safe
def unlisted(request):
    """Bridges of ours that a list has no record of."""
    name = request.GET.get("list", "") or reading.FEDERAL_LIST
    said = Correspondence.objects.filter(list_name=name, bridge=OuterRef("pk"))
    found = Bridge.objects.filter(~Exists(said)).order_by("name", "id")
    page = Paginator(found, PER_PAGE).get_page(request.GET.get("page"))
    is_federal = name == reading.FEDERAL_LIST
    return render(
        request,
        "bridges/imports/unlisted.html",
        {
            "page": page,
            "list_words": "the federal inventory" if is_federal else f"“{name}”",
            "is_federal": is_federal,
            "is_known": Import.objects.filter(list_name=name).exists(),
            "query": query_of(request),
        },
    )
