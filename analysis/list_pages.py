"""The pages of lists to work from, and the same as tables to take away."""

import csv
from functools import wraps

from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied, ValidationError
from django.core.paginator import Paginator
from django.http import Http404, StreamingHttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from bridges import asked
from bridges.exports import guard, headers
from bridges.filters import DayField
from shared import limits

from .lists import afoot, doubt, life, outside, pictures
from .lists.kinds import Question

PAGE_SIZE = 50
# A table is read by a person or a spreadsheet; more is for the export of all.
MOST_ROWS = 20_000
GROUPS = (
    (
        "What befell bridges",
        (life.EVENTS, life.ELSEWHERE, life.LISTING, life.SINCE_FINDING, afoot.ONLY),
    ),
    ("What the record is unsure of", (doubt.DISPUTED, doubt.WEAKLY_KNOWN)),
    ("Pictures and views", (pictures.LOST, pictures.VIEWPOINTS, pictures.PICTURES)),
    ("Lists from outside", (outside.UNMATCHED, outside.UNLISTED, outside.CHANGED)),
    (
        "What is to be done",
        (afoot.CONCERNS, afoot.MOVABLE, afoot.WAYS, afoot.DOSSIERS, afoot.EDITS),
    ),
)
LISTS = {one.name: one for _, lists in GROUPS for one in lists}


@require_safe
def contents(request):
    """Every list that this person may ask for, by what it answers.

    Filters of the list of bridges go along to each, so that a view can be asked.
    """
    view = asked.read(request.GET, request.user)
    groups = [
        (title, [one for one in lists if one.may_ask(request.user)])
        for title, lists in GROUPS
    ]
    return render(
        request,
        "analysis/lists.html",
        {
            "groups": [(title, lists) for title, lists in groups if lists],
            "tags": view.facets.tags(),
            "query": view.facets.query(),
        },
    )


def _asked(request, what):
    """Return (question, faults) of a request for one list."""
    query = request.GET.copy()
    chosen, faults = {}, []
    for choice in what.choices:
        text = " ".join(query.pop(choice.name, [""])[-1].split())[:40]
        if not text:
            continue
        message = _fault(choice, text)
        if message:
            faults.append((choice.label, message))
        else:
            chosen[choice.name] = text
    query.pop("page", None)
    view = asked.read(query, request.user)
    return Question(request.user, view, chosen), faults + view.faults


def _fault(choice, text):
    if choice.options:
        known = text in dict(choice.options)
        return "" if known else f"“{text}” is not one of the choices."
    try:
        DayField(required=False).clean(text)
    except ValidationError as error:
        return " ".join(error.messages)
    return ""


def _guarded(view):
    """Let ask a list who may: others sign in, or are told whom it is for."""

    @wraps(view)
    def guarded(request, what):
        known = LISTS.get(what)
        if known is None:
            raise Http404
        if known.may_ask(request.user):
            return view(request, known)
        if not request.user.is_authenticated:
            return redirect_to_login(request.get_full_path())
        raise PermissionDenied(f"This list is for {known.for_whom}.")

    return guarded


@require_safe
@_guarded
def page(request, what):
    """One list, fifty rows at a time, narrowed by its choices and by any facet."""
    question, faults = _asked(request, what)
    shown = Paginator(what.source(question), PAGE_SIZE).get_page(
        request.GET.get("page")
    )
    tags = question.view.facets.tags()
    return render(
        request,
        "analysis/list.html",
        {
            "what": what,
            "page": shown,
            "rows": what.tell(list(shown), question),
            "choices": [(one, question.get(one.name)) for one in what.choices],
            "faults": faults,
            "tags": tags,
            "kept": [
                (name, value)
                for name, values in request.GET.lists()
                for value in values
                if name != "page" and name not in {one.name for one in what.choices}
            ],
            "query": request.GET.urlencode(),
        },
    )


class _Line:
    """Something a csv writer writes to, that hands each line back."""

    def write(self, text):
        return text


@require_safe
@_guarded
@limits.limited("export", methods=("GET",))
def table(request, what):
    """The whole list as CSV."""
    question, faults = _asked(request, what)
    if faults:
        # A file goes on without its address: it must not hold more than was asked.
        return render(
            request,
            "analysis/list.html",
            {"what": what, "faults": faults, "page": None},
            status=400,
        )
    response = StreamingHttpResponse(_lines(what, question))
    for key, value in headers("csv", what.name).items():
        response.headers[key] = value
    return response


def _lines(what, question):
    writer = csv.writer(_Line())
    yield "\ufeff" + writer.writerow(what.columns)
    found = what.source(question)[:MOST_ROWS]
    pages = Paginator(found, 500)
    for number in pages.page_range:
        for row in what.tell(list(pages.page(number)), question):
            yield writer.writerow([guard(str(cell)) for cell in row])
