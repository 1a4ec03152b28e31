"""One visit as it is read: by its surveyor, by reviewers, by everybody else.

What a person may see of it is decided here and in the query, not in the page.
"""

from __future__ import annotations

from shared import policy

from . import alarms, danger, replies
from .models import Answer, Visit
from .telling import told


def is_party(person, visit):
    own = person.is_authenticated and person.pk == visit.surveyor_id
    return own or policy.can_review(person)


def context(person, shown, typed=None, errors=None):
    """Return all that the page of one visit shows to this person."""
    is_own = person.is_authenticated and person.pk == shown.surveyor_id
    party = is_party(person, shown)
    rows = told(_observations(shown, party))
    asked = _asked(shown, is_own, typed or {}, errors or {})
    names = {row["name"] for row in asked}
    return {
        "visit": shown,
        "rows": [row for row in rows if row.answer != Answer.SAME],
        "same": [row for row in rows if row.answer == Answer.SAME],
        "photos": list(shown.photos.select_related("element")),
        "is_own": is_own,
        "is_party": party,
        "answered_by": _answer_to(shown) if party else None,
        "can_withdraw": is_own and shown.status in ("submitted", "returned"),
        "seconds": shown.seconds.count() if is_own else 0,
        "set_aside": shown.set_aside if party else [],
        "signs": shown.danger_signs if party else [],
        "leave": danger.LEAVE,
        "call": alarms.call_first() if party else "",
        "asked": asked,
        # Said of an input that this page does not have.
        "asked_errors": [
            message for name, message in (errors or {}).items() if name not in names
        ],
        "replies": list(shown.replies.select_related("observation__element"))
        if party
        else [],
    }


def _observations(shown, party):
    found = shown.observations.filter(superseded_by__isnull=True)
    if not party:
        # Held back is not in the record, and so not for everybody.
        found = found.filter(is_held_back=False)
    return list(
        found.select_related("element__truss_line")
        .prefetch_related("components")
        .order_by("element__position", "element__path")
    )


def _asked(shown, is_own, typed, errors):
    """``[(input name, what is asked about, question, typed, error)]``, own and open."""
    if not is_own or shown.status in (Visit.Status.SUBMITTED, Visit.Status.WITHDRAWN):
        return []
    asked = replies.asked_of(shown)
    rows = []
    if asked.question:
        rows.append(("text", "", asked.question))
    rows += [
        (f"a-{one.pk}", one.element.name, one.question) for one in asked.observations
    ]
    return [
        {
            "name": name,
            "about": about,
            "question": question,
            "typed": typed.get(name, ""),
            "error": errors.get(name, ""),
        }
        for name, about, question in rows
    ]


def _answer_to(returned):
    """The later visit that was submitted in answer to this one, if any."""
    later = Visit.objects.filter(bridge=returned.bridge, surveyor=returned.surveyor)
    return later.filter(submitted__answers_to=str(returned.client_id)).first()


def typed_answers(data):
    """Return ``(text, {observation id: text})`` of the form on a visit's page."""
    answers = {
        int(name[2:]): text
        for name, text in data.items()
        if name.startswith("a-") and name[2:].isdecimal() and text.strip()
    }
    return data.get("text", ""), answers


def errors_of(error):
    """Return ``{input name: message}`` of what ``replies.answer`` refused."""
    if not hasattr(error, "error_dict"):
        return {"text": error.messages[0]}
    return {
        name.replace("answers.", "a-"): rows[0].messages[0]
        for name, rows in error.error_dict.items()
    }
