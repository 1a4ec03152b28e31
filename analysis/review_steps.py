"""What a reviewer may do with a visit, each by one button, and the way it has gone."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.shortcuts import redirect

from surveys import services as survey_services
from surveys import telling as survey_telling
from surveys.models import Observation

from . import services

# -- steps taken


def accept(request, shown, held, observations):
    if not request.POST.get("looked"):
        raise ValidationError("Tick that you have looked at the photos and changes.")
    questions = asked(held, observations)
    services.accept_visit(visit=shown, reviewer=request.user, held_back=questions)
    out = f" {len(questions)} held back." if questions else ""
    messages.success(request, f"{shown.bridge.name}: the visit is in the record.{out}")
    return redirect("review")


def send_back(request, shown, held, observations):
    services.return_visit(
        visit=shown,
        reviewer=request.user,
        question=request.POST.get("question", ""),
        questions=asked(held, observations),
    )
    messages.success(
        request, f"{shown.bridge.name}: the visit is back with its surveyor."
    )
    return redirect("review")


def take_out(request, shown, held, observations):
    services.take_out_visit(
        visit=shown, reviewer=request.user, reason=request.POST.get("reason", "")
    )
    messages.success(
        request,
        f"{shown.bridge.name}: the visit is out of the record, and checks and effects "
        "are computed anew. Nothing of it is deleted.",
    )
    return redirect("review-visit", shown.client_id)


def put_back(request, shown, held, observations):
    survey_services.put_back_visit(visit=shown, reviewer=request.user)
    messages.success(request, "The visit waits in the queue again.")
    return redirect("review-visit", shown.client_id)


def take_in(request, shown, held, observations):
    services.take_in(visit=shown, reviewer=request.user, observations=held.ids)
    messages.success(
        request, f"{shown.bridge.name}: what was held back is in the record."
    )
    return redirect("review-visit", shown.client_id)


def ask_again(request, shown, held, observations):
    survey_services.ask_again(
        visit=shown, reviewer=request.user, questions=asked(held, observations)
    )
    messages.success(request, "The surveyor is asked once more.")
    return redirect("review-visit", shown.client_id)


def close_danger(request, shown, held, observations):
    survey_services.close_danger(
        visit=shown, reviewer=request.user, outcome=request.POST.get("outcome", "")
    )
    messages.success(request, "Written down. It leaves the top of reviewers’ pages.")
    return redirect("review-visit", shown.client_id)


STEPS = {
    "accept": accept,
    "return": send_back,
    "take-out": take_out,
    "put-back": put_back,
    "take-in": take_in,
    "ask-again": ask_again,
    "close-danger": close_danger,
}


def step(action):
    """Return the step a button asks for; raises ``ValidationError`` for none of them."""
    if action not in STEPS:
        raise ValidationError("Choose what to do with this visit.", code="action")
    return STEPS[action]


def asked(held, observations):
    """Return ``{observation id: question}``; rows ticked together share a question."""
    found = {}
    for told in survey_telling.told(observations):
        ids = [one.pk for one in told.observations]
        if held.ids & set(ids):
            found |= dict.fromkeys(ids, held.questions.get(ids[0], ""))
    return found


# -- steps so far


@dataclass
class Step:
    """One thing that happened to a visit: when, who, what, and the words of it."""

    when: datetime.datetime
    who: object
    what: str
    words: str = ""
    reason: str = ""


def so_far(shown) -> list[Step]:
    """Every step of a visit, earliest first, from its history, replies and answers.

    Three queries whatever the visit has been through.
    """
    steps = [*_of_visit(shown), *_of_observations(shown), *_of_replies(shown)]
    return sorted(steps, key=lambda step: step.when)


def _of_visit(shown):
    before = None
    rows = shown.history.select_related("history_user")
    for row in rows.order_by("history_date", "history_id"):
        who, when = row.history_user, row.history_date
        reason = row.history_change_reason or ""
        if before is None or row.status != before.status:
            words = row.question if row.status in ("returned", "taken-out") else ""
            what = row.get_status_display()
            yield Step(when, who, what, words, reason)
        elif row.danger_outcome != before.danger_outcome:
            yield Step(when, who, "Danger passed on", row.danger_outcome)
        elif reason.startswith("answered by"):
            yield Step(when, who, "Said anew by another visit", reason=reason)
        before = row


def _of_observations(shown):
    """Questions asked of single answers, and what became of them; alike ones once."""
    ids = shown.observations.values_list("pk", flat=True)
    rows = Observation.history.filter(id__in=ids).exclude(asked_at=None)
    before, steps = {}, {}
    for row in rows.select_related("history_user", "element").order_by(
        "history_date", "history_id"
    ):
        last = before.get(row.id)
        before[row.id] = row
        what, words = _what(row, last)
        if not what:
            continue
        # Rows of one press of a button are a moment apart.
        key = (what, words, row.history_date.replace(microsecond=0))
        step = steps.setdefault(
            key, Step(row.history_date, row.history_user, what, words)
        )
        step.reason = ", ".join(filter(None, [step.reason, row.element.name]))
    return steps.values()


def _what(row, last):
    if last is None or row.asked_at != last.asked_at:
        return ("Held back" if row.is_held_back else "Asked"), row.question
    if last.is_held_back and not row.is_held_back:
        return "Taken in after all", ""
    if row.superseded_by_id and not last.superseded_by_id:
        return "Said anew by another visit", ""
    return "", ""


def _of_replies(shown):
    for reply in shown.replies.select_related("person", "observation__element"):
        about = reply.observation.element.name if reply.observation else ""
        yield Step(reply.sent_at, reply.person, "Answered", reply.text, about)
