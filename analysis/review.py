"""Review: a submitted visit beside the record, and what accepting it would change."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, field

from django.core.exceptions import PermissionDenied, ValidationError
from django.core.paginator import Paginator
from django.db.models import Count, Q
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_GET, require_http_methods

from shared import policy
from surveys import alarms, fold, replies, states, twins
from surveys import record as records
from surveys import telling as survey_telling
from surveys.models import Answer, Observation, Visit

from . import agreement, review_steps, services, telling

PER_PAGE = 50
EARTH_RADIUS_M = 6_371_000
# Society's practice (no published rule): beyond this a photo is asked about.
FAR_M = 300
MOST_DIFFERENCES = 40
TELLING = (Answer.CHANGED, Answer.GONE, Answer.NOT_SEEN, Answer.NOT_LOOKED)


@dataclass
class Line:
    """One answer of the visit, or several alike, beside what was recorded before."""

    told: survey_telling.Told
    before: str
    before_seen: str
    doubts: list
    photos: list
    is_held: bool = False
    question: str = ""
    error: str = ""
    replies: list = field(default_factory=list)

    @property
    def ids(self):
        return [one.pk for one in self.told.observations]

    @property
    def value(self):
        return ",".join(str(pk) for pk in self.ids)

    @property
    def name(self):
        return f"q-{self.ids[0]}"


@dataclass
class Holding:
    """What the reviewer holds back: observation ids and the question each raises."""

    ids: set = field(default_factory=set)
    questions: dict = field(default_factory=dict)

    @classmethod
    def typed(cls, data):
        held = cls()
        for value in data.getlist("hold"):
            held.ids |= {int(pk) for pk in value.split(",") if pk.isdecimal()}
        held.questions = {
            int(name[2:]): text
            for name, text in data.items()
            if name.startswith("q-") and name[2:].isdecimal()
        }
        return held


# -- the queue


@require_GET
@policy.requires(policy.can_review)
def queue(request):
    """Visits that wait, the dangerous first and then the longest waiting."""
    waiting = _counted(Visit.objects.waiting())
    page = Paginator(waiting, PER_PAGE).get_page(request.GET.get("page"))
    returned = _counted(Visit.objects.filter(status=Visit.Status.RETURNED))
    return render(
        request,
        "analysis/review.html",
        {
            "page": page,
            "dangers": _counted(alarms.open_alarms()),
            "answered": _answered(),
            "returned": returned.order_by("-reviewed_at")[:PER_PAGE],
        },
    )


def _answered():
    """Accepted visits that still hold something back, those with an answer first."""
    held = Observation.objects.held_back().values("visit")
    visits = _counted(Visit.objects.accepted().filter(pk__in=held))
    return visits.annotate(
        reply_count=Count("observations__replies", distinct=True)
    ).order_by("-reply_count", "reviewed_at")[:PER_PAGE]


def _counted(visits):
    return visits.select_related("bridge", "surveyor").annotate(
        answer_count=Count("observations", distinct=True),
        change_count=Count(
            "observations",
            filter=Q(observations__answer__in=[Answer.CHANGED, Answer.GONE]),
            distinct=True,
        ),
        photo_count=Count("photos", distinct=True),
        coming_count=Count(
            "photos",
            filter=Q(photos__arrived_at=None, photos__fault=""),
            distinct=True,
        ),
        second_count=Count("seconds", distinct=True),
    )


# -- one visit


@require_http_methods(["GET", "POST"])
@policy.requires(policy.can_review)
def visit(request, client_id):
    """One submitted visit: read it, hold parts of it back, accept it or ask."""
    shown = get_object_or_404(
        Visit.objects.select_related("bridge", "surveyor", "reviewer"),
        client_id=client_id,
    )
    if request.method == "GET":
        return _page(request, shown)
    held = Holding.typed(request.POST)
    action = request.POST.get("action")
    if action == "preview":
        return _page(request, shown, held)
    try:
        return review_steps.step(action)(request, shown, held, _observations(shown))
    except PermissionDenied as error:
        return _page(request, shown, held, str(error), status=403)
    except ValidationError as error:
        return _page(request, shown, held, error.messages[0], status=422)


def _observations(shown):
    return list(
        shown.observations.filter(superseded_by__isnull=True)
        .select_related("element__truss_line", "element__span")
        .prefetch_related("components")
        .order_by("element__position", "element__path")
    )


def _page(request, shown, held=None, fault="", status=200):
    held = held or Holding()
    observations = _observations(shown)
    record = records.load(shown.bridge)
    kept = [
        one for one in observations if one.pk not in held.ids and not one.is_held_back
    ]
    would_be = record.with_visit(shown, kept)
    previous = would_be.previous(shown)
    before = {} if previous is None else would_be.configuration(previous)
    photos = list(shown.photos.select_related("element"))
    seen_before = twins.of_visit(shown)
    said = replies.said_of(shown)
    is_open = shown.status == Visit.Status.SUBMITTED
    changes, told = _preview(would_be, previous, shown) if is_open else ([], [])
    context = {
        "visit": shown,
        "bridge": shown.bridge,
        "is_open": is_open,
        "is_own": shown.surveyor_id == request.user.pk
        and not policy.can_keep(request.user),
        "can_take_out": shown.status == Visit.Status.ACCEPTED,
        "can_put_back": shown.status == Visit.Status.TAKEN_OUT,
        "lines": _with_replies(
            _lines(observations, would_be, before, shown, photos, held), said
        ),
        "has_held_back": shown.status == Visit.Status.ACCEPTED
        and any(one.is_held_back for one in observations),
        "is_find": not shown.bridge.is_public and bool(shown.submitted.get("find")),
        "as_sent": json.dumps(shown.submitted, indent=2, ensure_ascii=False),
        "replies": said.get(None, []),
        "others": agreement.others(shown, observations),
        "call": alarms.call_first(),
        "outcome": request.POST.get("outcome", ""),
        "reason": request.POST.get("reason", ""),
        "same": [
            row
            for row in survey_telling.told(observations)
            if row.answer == Answer.SAME
        ],
        "previous": previous,
        "changes": telling.change_rows(changes, told, previous, shown),
        "sentences": telling.sentences(told),
        "later": _later(record, shown),
        "photos": [
            (photo, _asked_of(photo, shown), seen_before.get(photo.pk, []))
            for photo in photos
        ],
        "coming": sum(not (p.arrived_at or p.fault) for p in photos),
        "seconds": _seconds(shown),
        "steps": review_steps.so_far(shown),
        "fault": fault,
        "question": request.POST.get("question", ""),
        "has_looked": bool(request.POST.get("looked")),
        "held": held,
    }
    return render(request, "analysis/review_visit.html", context, status=status)


def _with_replies(lines, said):
    for line in lines:
        line.replies = [reply for pk in line.ids for reply in said.get(pk, [])]
    return lines


def _preview(would_be, previous, shown):
    changes = would_be.changes(previous, shown)
    told = services.effects_between(would_be, previous, shown)
    return changes, [(line, result) for line, _, result in told]


def _lines(observations, would_be, before, shown, photos, held):
    after = would_be.configuration(shown)
    rows = []
    for told in survey_telling.told(observations):
        if told.answer not in TELLING:
            continue
        paths = [element.path for element in told.elements]
        parts = [before.get(path) for path in paths]
        ids = {element.pk for element in told.elements}
        row = Line(
            told,
            *_before_words(told.elements, parts, would_be),
            doubts=_doubts([after.get(path) for path in paths]),
            photos=[p for p in photos if p.element_id in ids and p.derivatives],
        )
        row.is_held = bool(held.ids & set(row.ids))
        row.question = held.questions.get(row.ids[0], "")
        rows.append(row)
    return rows


def _before_words(elements, parts, record):
    """Say what was recorded of each element before this visit, alike ones once."""
    said = {}
    for element, part in zip(elements, parts, strict=True):
        if part is None:
            words, seen = "nothing recorded", ""
        else:
            words = (
                "not there"
                if part.is_gone
                else states.describe(element.kind, part.state)
            )
            visit = record.visit_by_key.get(part.seen_by)
            seen = visit.when if visit else ""
        said.setdefault((words, seen), []).append(element)
    if len(said) == 1:
        return next(iter(said))
    texts = [
        f"{survey_telling.name_all(names)}: {words}"
        for (words, _), names in said.items()
    ]
    return "; ".join(texts), ""


def _doubts(parts: list[fold.Part | None]):
    return list(dict.fromkeys(part.doubt for part in parts if part and part.doubt))


def _later(record, shown):
    """Accepted visits after this one, which would be compared with it from now on."""
    order = records.look_at(shown, ()).order
    return [
        visit for visit in record.visits if records.look_at(visit, ()).order > order
    ]


# -- what a reviewer should ask about a photo


def _asked_of(photo, shown):
    asked = []
    away_m = _away_m(photo, shown.bridge)
    if away_m is not None and away_m > FAR_M:
        distance = f"{away_m:,.0f} m" if away_m < 10_000 else f"{away_m / 1000:,.0f} km"
        asked.append(f"Taken about {distance} from where the bridge stands.")
    if photo.taken_earliest and photo.taken_earliest > shown.when_latest:
        asked.append("Taken after the date of the visit.")
    if photo.taken_latest and shown.basis == Visit.Basis.IN_PERSON:
        earliest = shown.when_earliest
        if earliest and photo.taken_latest < earliest:
            asked.append("Taken before the date of the visit.")
    return asked


def _away_m(photo, bridge):
    """Great-circle distance from the bridge, m (haversine, mean radius 6,371 km)."""
    if photo.latitude is None or photo.longitude is None:
        return None
    here = [math.radians(float(v)) for v in (photo.latitude, photo.longitude)]
    there = [math.radians(float(v)) for v in (bridge.latitude, bridge.longitude)]
    half = (
        math.sin((there[0] - here[0]) / 2) ** 2
        + math.cos(here[0])
        * math.cos(there[0])
        * math.sin((there[1] - here[1]) / 2) ** 2
    )
    return 2 * EARTH_RADIUS_M * math.asin(min(1.0, math.sqrt(half)))


# -- what else was sent, and what was done


def _seconds(shown):
    return [
        {
            "second": second,
            "differences": differences(shown.submitted, second.submitted),
        }
        for second in shown.seconds.select_related("surveyor").order_by("received_at")
    ]


def differences(first, second):
    """Return ``[(dotted path, first value, second value)]`` where documents differ.

    Observations and photos are paired by element and id, not by their place in a list.
    """
    one, other = dict(_leaves(first)), dict(_leaves(second))
    paths = [path for path in {**one, **other} if one.get(path) != other.get(path)]
    return [(path, one.get(path), other.get(path)) for path in paths[:MOST_DIFFERENCES]]


def _leaves(value, path=""):
    if isinstance(value, dict):
        for name, inner in value.items():
            yield from _leaves(inner, f"{path}.{name}" if path else str(name))
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            name = index
            if isinstance(inner, dict):
                name = inner.get("element") or inner.get("client_id") or index
            yield from _leaves(inner, f"{path}.{name}")
    elif value not in (None, ""):
        yield path, value
