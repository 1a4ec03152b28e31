"""Questions that reviewers have asked a surveyor, and answers in words.

A question is asked of a visit as a whole or of one observation; one answer may settle
it, and whoever would rather say it all anew fills in the form again (``answers_to``).
Nothing that was submitted changes by an answer: it is kept beside, for a reviewer.
"""

from __future__ import annotations

import uuid
from dataclasses import dataclass, field

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction
from django.db.models import Q

from .models import Observation, Reply, Visit
from .services import WrongStatus

MOST_TEXT = 4_000


@dataclass
class Asked:
    """What one visit is asked: of the whole, and of single observations."""

    visit: Visit
    question: str
    observations: list[Observation] = field(default_factory=list)


def open_questions(person) -> list[Asked]:
    """Return what this surveyor has been asked and not yet answered, latest first.

    Three queries whatever there is.
    """
    own = Visit.objects.filter(surveyor=person).select_related("bridge")
    asked = own.filter(
        Q(status__in=[Visit.Status.RETURNED, Visit.Status.TAKEN_OUT])
        | Q(status=Visit.Status.ACCEPTED, observations__is_held_back=True)
    )
    visits = {one.pk: one for one in asked.distinct().order_by("-reviewed_at", "-pk")}
    rows = _asked_observations().filter(visit__in=visits)
    by_visit: dict[int, list[Observation]] = {}
    for one in rows.select_related("element__truss_line"):
        by_visit.setdefault(one.visit_id, []).append(one)
    found = []
    for visit in visits.values():
        one = _asked_of(visit, by_visit.get(visit.pk, []))
        if one.question or one.observations:
            found.append(one)
    return found


def asked_of(visit) -> Asked:
    """Return what is still open of one visit."""
    rows = _asked_observations().filter(visit=visit)
    return _asked_of(visit, list(rows.select_related("element__truss_line")))


def _asked_observations():
    return (
        Observation.objects.filter(superseded_by__isnull=True)
        .exclude(question="")
        .prefetch_related("replies")
        .order_by("element__position", "pk")
    )


def _asked_of(visit, observations):
    if visit.status == Visit.Status.ACCEPTED:
        observations = [one for one in observations if one.is_held_back]
    elif not visit.takes_an_answer:
        observations = []
    is_returned = visit.status in (Visit.Status.RETURNED, Visit.Status.TAKEN_OUT)
    return Asked(
        visit,
        visit.question if is_returned else "",
        [one for one in observations if not _is_answered(one)],
    )


def _is_answered(observation):
    return any(
        observation.asked_at is None or reply.sent_at >= observation.asked_at
        for reply in observation.replies.all()
    )


@transaction.atomic
def answer(*, visit, person, answers, text="", client_id=None):
    """Keep a surveyor's answers; a returned visit goes back into the queue.

    ``answers`` maps observation ids to text, ``text`` answers the question of the whole
    visit. Safe to repeat with the same ``client_id``, a UUID. Returns the visit. Raises
    ``PermissionDenied`` for another's visit, ``WrongStatus`` when nothing is asked any
    more, and ``ValidationError`` for an unknown observation, for text beyond
    ``MOST_TEXT`` characters, or for no answer at all.
    """
    if person.pk != visit.surveyor_id:
        raise PermissionDenied("This visit belongs to another surveyor.")
    client_id = client_id or uuid.uuid4()
    held = Visit.objects.select_for_update().get(pk=visit.pk)
    if Reply.objects.filter(visit=held, client_id__in=_ids(client_id, answers)):
        return held
    given = _read(held, answers, text)
    if not held.takes_an_answer:
        raise WrongStatus(held)
    for pk, said in given.items():
        one = held.observations.get(pk=pk) if pk else None
        Reply.objects.create(
            client_id=_id_of(client_id, pk),
            visit=held,
            observation=one,
            person=person,
            question=one.question if one else held.question,
            text=said,
        )
    if held.status != Visit.Status.ACCEPTED:
        held.status = Visit.Status.SUBMITTED
        held._change_reason = "answered in words"
        held.save()
    return held


def _id_of(client_id, pk):
    return uuid.uuid5(client_id, str(pk or "visit"))


def _ids(client_id, answers):
    return [_id_of(client_id, pk) for pk in (None, *answers)]


def _read(visit, answers, text):
    given, faults = {}, {}
    # All of them: asked for by a number too large, a database fails.
    known = set(visit.observations.values_list("pk", flat=True))
    for pk, said in {None: text, **answers}.items():
        name = f"answers.{pk}" if pk else "text"
        said = said.strip()
        if pk and pk not in known:
            faults[name] = ValidationError(
                "That observation is not of this visit.", code="unknown"
            )
        elif len(said) > MOST_TEXT:
            faults[name] = ValidationError(
                f"At most {MOST_TEXT:,} characters; this is {len(said):,}.",
                code="too_long",
            )
        elif said:
            given[pk] = said
    if not given and not faults:
        faults["text"] = ValidationError("Write an answer.", code="required")
    if faults:
        raise ValidationError(faults)
    return given


def said_of(visit) -> dict:
    """Return ``{observation id or None: [replies]}``, oldest first."""
    found: dict = {}
    for reply in visit.replies.select_related("person").order_by("sent_at", "pk"):
        found.setdefault(reply.observation_id, []).append(reply)
    return found
