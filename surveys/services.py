"""Changes to visits: recording, review, and what follows for lists and the map.

Reads live on the querysets in ``models`` and in ``record``.
"""

from __future__ import annotations

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone
from simple_history.utils import bulk_create_with_history

from bridges import services as bridge_services
from shared import policy

from . import (
    alarms,
    changes,
    features,
    finds,
    joints,
    photos,
    record,
    stations,
    submissions,
)
from .models import (
    Component,
    Observation,
    Photo,
    Repair,
    SecondSubmission,
    Visit,
)
from .photos import OtherBytes, TooMuch, WrongOffset, receive_chunk, store_photo
from .submissions import Faulty

__all__ = [
    "Faulty",
    "OtherBytes",
    "OtherContent",
    "TooMuch",
    "WrongOffset",
    "WrongStatus",
    "accept_visit",
    "ask_again",
    "close_danger",
    "put_back_visit",
    "receive_chunk",
    "record_visit",
    "refresh_standing",
    "return_visit",
    "store_photo",
    "take_in",
    "take_out_visit",
    "withdraw_visit",
]


class OtherContent(Exception):
    """The id was used before for other content; both are kept. ``visit`` is the first."""

    def __init__(self, visit):
        self.visit = visit
        super().__init__("This visit was sent before with other content.")


class WrongStatus(ValidationError):
    """The visit is not where this step can be taken, as when two people review it."""

    def __init__(self, visit):
        super().__init__(
            f"This visit is “{visit.get_status_display().lower()}”; "
            "that step cannot be taken any more.",
            code="status",
        )


# -- recording


def record_visit(*, surveyor, payload, setting_aside=False):
    """Store one visit once, however often it is sent.

    ``payload`` is the submitted document, kept word for word. The same id with the same
    content changes nothing; with other content the first stays, the second is kept
    beside it, and ``OtherContent`` is raised. Everything is stored or nothing is.

    A visit that was returned with a question is answered by a new visit, with an id of
    its own, that names the returned one in ``answers_to``: what was submitted is never
    written over. The returned visit is withdrawn in the same step. A visit in the
    record with answers held back stays there; once the new one is accepted too, what it
    says takes their place.

    With ``setting_aside`` what is wrong with a document costs only itself: it is named
    in ``visit.set_aside``, kept word for word, and the rest is stored; an id that is
    another surveyor's is exchanged for one of its own (``submissions.own_id``).

    Returns ``(visit, created)``. Raises ``Faulty`` with every fault of the document,
    ``PermissionDenied`` for another surveyor's id. Not to be called inside a
    transaction that its errors would roll back: a second submission must outlive it.
    """
    client_id = submissions.id_of(payload)
    digest = submissions.digest(payload)
    taken = []
    if setting_aside and _is_anothers(client_id, surveyor):
        client_id = submissions.own_id(client_id, surveyor)
        taken = [TAKEN]
    visit = _sent_before(client_id, surveyor)
    if visit is None:
        read = submissions.read(payload, surveyor, setting_aside=setting_aside)
        read.set_aside = [*taken, *read.set_aside]
        read.visit["client_id"] = client_id
        try:
            visit = _store_visit(surveyor, payload, digest, read)
        except IntegrityError:
            # Two sendings at once: the other one was first.
            visit = _sent_before(client_id, surveyor)
            if visit is None:
                raise
        else:
            _adopt_known_photos(visit)
            alarms.raise_if_danger(visit)
            return visit, True
    if visit.submitted_sha256 == digest:
        return visit, False
    SecondSubmission.objects.get_or_create(
        visit=visit,
        submitted_sha256=digest,
        defaults={"submitted": payload, "surveyor": surveyor},
    )
    raise OtherContent(visit)


TAKEN = (
    "client_id",
    "taken",
    "Another surveyor's visit has this id. Yours is kept apart from it.",
)


def _is_anothers(client_id, surveyor):
    others = Visit.objects.filter(client_id=client_id).exclude(surveyor=surveyor)
    return others.exists()


def _sent_before(client_id, surveyor):
    visit = Visit.objects.filter(client_id=client_id).first()
    if visit is not None and visit.surveyor_id != surveyor.pk:
        raise PermissionDenied("This visit belongs to another surveyor.")
    return visit


@transaction.atomic
def _store_visit(surveyor, payload, digest, found):
    bridge = found.bridge or finds.make(found.find, found.visit["client_id"])
    joints.keep(found.joints)
    visit = Visit.objects.create(
        bridge=bridge,
        surveyor=surveyor,
        submitted=payload,
        submitted_sha256=digest,
        set_aside=[
            {"field": field, "code": code, "message": message}
            for field, code, message in found.set_aside
        ],
        **found.visit,
    )
    _store_observations(visit, found.observations)
    _announce_photos(visit, found.photos)
    if found.answers_to is not None:
        _answer(found.answers_to, visit)
    return visit


def _answer(earlier, visit):
    """Note on the visit that was asked about that a new one answers it."""
    earlier = _locked(
        earlier, Visit.Status.RETURNED, Visit.Status.TAKEN_OUT, Visit.Status.ACCEPTED
    )
    if earlier.status != Visit.Status.ACCEPTED:
        earlier.status = Visit.Status.WITHDRAWN
    earlier._change_reason = f"answered by {visit.client_id}"
    earlier.save()


def _store_observations(visit, rows):
    pieces = []
    for row in rows:
        state = row["state"]
        pieces.append((state or {}).pop("components", []))
        row["compared_with_id"] = row.pop("compared_with")
    made = bulk_create_with_history(
        [Observation(visit=visit, **row) for row in rows], Observation
    )
    Component.objects.bulk_create(
        Component(
            observation=observation,
            position=position,
            is_dead_load_relieved=piece.pop("dead_load_relieved", False),
            **piece,
        )
        for observation, components in zip(made, pieces, strict=True)
        for position, piece in enumerate(components)
    )


def _announce_photos(visit, rows):
    repeats = [row.pop("repeats", None) for row in rows]
    made = [Photo.objects.create(visit=visit, **row) for row in rows]
    wanted = {one for one in repeats if one}
    if not wanted:
        return
    by_id = {one.client_id: one for one in Photo.objects.filter(client_id__in=wanted)}
    for photo, repeated in zip(made, repeats, strict=True):
        if repeated:
            photo.repeats = by_id[repeated]
            photo.save(update_fields=["repeats"])


def _adopt_known_photos(visit):
    """Bytes that this person has sent before need not travel again."""
    for photo in visit.photos.all():
        twin = (
            Photo.objects.filter(
                sha256=photo.sha256,
                size_bytes=photo.size_bytes,
                visit__surveyor=visit.surveyor,
            )
            .exclude(pk=photo.pk)
            .exclude(original="")
            .first()
        )
        if twin is not None:
            photos.adopt(photo=photo, twin=twin)


# -- review


def _locked(visit, *statuses):
    held = Visit.objects.select_for_update().get(pk=visit.pk)
    if held.status not in statuses:
        raise WrongStatus(held)
    return held


def _require_reviewer(reviewer, visit):
    if not policy.can_review(reviewer):
        raise PermissionDenied("Only reviewers may do this.")
    # Two pairs of eyes; a keeper may be the only reviewer that a society has.
    if reviewer.pk == visit.surveyor_id and not policy.can_keep(reviewer):
        raise PermissionDenied("Somebody else reviews a visit of yours.")


@transaction.atomic
def accept_visit(*, visit, reviewer, held_back=()):
    """Take a submitted visit into the record.

    ``held_back`` maps observation ids to the question each raises (or is a list of
    such pairs): those stay out of the record and keep their question. What the visit
    says takes the place of what was held back of the visit it answers. Returns the
    visit. Raises ``PermissionDenied``, ``WrongStatus``, and ``ValidationError`` for a
    held-back observation without a question or of another visit. Checks that follow
    from the record are the business of the room above, which wraps this.
    """
    _require_reviewer(reviewer, visit)
    held = _locked(visit, Visit.Status.SUBMITTED)
    _ask(held, dict(held_back), is_held_back=True)
    _review(held, reviewer, Visit.Status.ACCEPTED)
    _supersede_what_it_answers(held)
    stations.establish(held)
    refresh_standing(bridge=held.bridge)
    return held


def _ask(visit, questions, is_held_back):
    observations = {one.pk: one for one in visit.observations.all()}
    for pk, question in questions.items():
        if pk not in observations:
            raise ValidationError(
                "That observation is not of this visit.", code="unknown"
            )
        if not question.strip():
            raise ValidationError(
                f"Say what is in question about {observations[pk].element}.",
                code="question",
            )
        observations[pk].is_held_back = is_held_back
        observations[pk].question = question.strip()
        observations[pk].asked_at = timezone.now()
        observations[pk].save()


def _supersede_what_it_answers(visit):
    answered = submissions.uuid_or_none(visit.submitted.get("answers_to"))
    if answered is None:
        return
    ids = [answered, submissions.own_id(answered, visit.surveyor)]
    new = {one.element_id: one for one in visit.observations.filter(is_held_back=False)}
    held_back = Observation.objects.held_back().filter(
        visit__client_id__in=ids,
        visit__surveyor=visit.surveyor,
        visit__status=Visit.Status.ACCEPTED,
        element__in=new,
    )
    for one in held_back:
        one.superseded_by = new[one.element_id]
        one._change_reason = f"answered by {visit.client_id}"
        one.save()


def _review(visit, reviewer, status, question="", reason=""):
    visit.status = status
    visit.reviewer = reviewer
    visit.reviewed_at = timezone.now()
    visit.question = question.strip()
    visit._change_reason = reason[:100] or None
    visit.save()


@transaction.atomic
def return_visit(*, visit, reviewer, question="", questions=()):
    """Send a submitted visit back to its surveyor with a question.

    ``questions`` maps observation ids to what is asked of each; either they or the
    ``question`` of the whole must ask something. Returns the visit. Raises
    ``PermissionDenied``, ``WrongStatus``, and ``ValidationError`` (code ``question``)
    when nothing is asked.
    """
    _require_reviewer(reviewer, visit)
    held = _locked(visit, Visit.Status.SUBMITTED)
    if not question.strip() and not questions:
        raise ValidationError(
            "Ask the surveyor something: what should they look at or explain?",
            code="question",
        )
    _ask(held, dict(questions), is_held_back=False)
    _review(held, reviewer, Visit.Status.RETURNED, question)
    return held


@transaction.atomic
def withdraw_visit(*, visit, person):
    """Let a surveyor take back a visit that is not yet in the record.

    Returns the visit. Raises ``PermissionDenied`` for another's visit and
    ``WrongStatus`` once it is accepted. Nothing is deleted.
    """
    if person.pk != visit.surveyor_id:
        raise PermissionDenied("This visit belongs to another surveyor.")
    held = _locked(visit, Visit.Status.SUBMITTED, Visit.Status.RETURNED)
    held.status = Visit.Status.WITHDRAWN
    held.save()
    return held


@transaction.atomic
def take_out_visit(*, visit, reviewer, reason):
    """Take an accepted visit back out of the record; nothing of it is lost.

    Its surveyor sees the reason and may answer; ``put_back`` undoes it. Returns the
    visit. Raises ``PermissionDenied``, ``WrongStatus``, and ``ValidationError`` (code
    ``question``) without a reason. Checks that follow from the record are the business
    of the room above, which wraps this.
    """
    if not policy.can_review(reviewer):
        raise PermissionDenied("Only reviewers may do this.")
    held = _locked(visit, Visit.Status.ACCEPTED)
    if not reason.strip():
        raise ValidationError(
            "Say why it leaves the record: its surveyor and whoever reads the history "
            "will want to know.",
            code="question",
        )
    _review(held, reviewer, Visit.Status.TAKEN_OUT, reason)
    # What it had answered is in question again.
    for one in Observation.objects.filter(
        superseded_by__visit=held, is_held_back=True
    ).exclude(visit=held):
        one.superseded_by = None
        one.save()
    refresh_standing(bridge=held.bridge)
    return held


@transaction.atomic
def put_back_visit(*, visit, reviewer):
    """Put a visit that was taken out into the queue again, to be reviewed anew.

    Returns the visit. Raises ``PermissionDenied`` and ``WrongStatus``.
    """
    if not policy.can_review(reviewer):
        raise PermissionDenied("Only reviewers may do this.")
    held = _locked(visit, Visit.Status.TAKEN_OUT)
    _review(held, reviewer, Visit.Status.SUBMITTED, held.question, "back in the queue")
    return held


@transaction.atomic
def take_in(*, visit, reviewer, observations):
    """Take answers that were held back of an accepted visit into the record after all.

    ``observations`` are ids; the questions stay where they were asked. Returns the
    visit. Raises ``PermissionDenied``, ``WrongStatus``, and ``ValidationError`` when
    one of them is not held back. Checks are the business of the room above.
    """
    _require_reviewer(reviewer, visit)
    held = _locked(visit, Visit.Status.ACCEPTED)
    wanted = set(observations)
    found = [one for one in held.observations.held_back() if one.pk in wanted]
    if not found or len(found) != len(wanted):
        raise ValidationError("That is not held back any more.", code="unknown")
    for one in found:
        one.is_held_back = False
        one._change_reason = "taken in after all"
        one.save()
    refresh_standing(bridge=held.bridge)
    return held


@transaction.atomic
def ask_again(*, visit, reviewer, questions):
    """Ask anew about answers that an accepted visit holds back. Returns the visit.

    ``questions`` maps observation ids to text. Raises as ``take_in`` does.
    """
    _require_reviewer(reviewer, visit)
    held = _locked(visit, Visit.Status.ACCEPTED)
    known = set(held.observations.held_back().values_list("pk", flat=True))
    if not questions or set(questions) - known:
        raise ValidationError("That is not held back any more.", code="unknown")
    _ask(held, questions, is_held_back=True)
    return held


@transaction.atomic
def close_danger(*, visit, reviewer, outcome):
    """Write what was done about a reported danger; it leaves the reviewers' pages.

    Closing it says nothing of the bridge, only that somebody has been told. Returns
    the visit. Raises ``PermissionDenied``, and ``ValidationError`` (code ``outcome``)
    when nothing is written.
    """
    if not policy.can_review(reviewer):
        raise PermissionDenied("Only reviewers may do this.")
    held = Visit.objects.select_for_update().get(pk=visit.pk)
    if not outcome.strip():
        raise ValidationError(
            "Write whom you told, when, and what they said.", code="outcome"
        )
    held.danger_outcome = outcome.strip()
    held.danger_closed_at, held.danger_closed_by = timezone.now(), reviewer
    held._change_reason = "danger passed on"
    held.save()
    return held


# -- what follows for lists and the map


@transaction.atomic
def refresh_standing(*, bridge):
    """Write what the record now says of a bridge where lists and the map read it.

    Safe to repeat. Bumps the map's version in the same transaction.
    """
    held = record.load(bridge)
    changes_seen = _changes_seen(held)
    bridge_services.note_changes(bridge, changes_seen)
    bridge_services.refresh_standing(
        bridge,
        notes=_words(bridge, held),
        **what_was_seen(held),
        plates=_plates(bridge, held),
        repair_count=Repair.objects.filter(bridge=bridge).count(),
        ever_changed=_among(parts for _, _, parts, _ in changes_seen),
        features=features.left_of(held),
    )


def _changes_seen(held):
    """Return (visit's id, day, parts, text) of each visit that saw a change."""
    found = []
    for visit, _, seen in held.steps():
        if seen:
            parts = _among(change.part for change in seen)
            text = "\n".join(change.sentence for change in seen)
            found.append((str(visit.client_id), visit.when_latest, parts, text))
    return found


def _among(words):
    """Return words, each once, with commas around: ",deck,chord,"."""
    once = dict.fromkeys(word for text in words for word in text.split(",") if word)
    return f",{','.join(once)}," if once else ""


def _plates(bridge, held):
    """Return ``bridges.filters.PLATES`` that hold of some plate of the bridge."""
    parts = held.configuration()
    words = []
    for plate in bridge.plates.all():
        part = parts.get(f"plate/{plate.key}")
        if part is None:
            words.append("unsaid")
        else:
            words.append("missing" if part.is_gone else "present")
        if plate.whereabouts:
            words.append("kept")
    return _among(words) or ",none,"


def _words(bridge, held):
    """Return what visits and repairs say of a bridge, to be searched."""
    texts = [visit.notes for visit in held.visits]
    notes = record.standing_observations().filter(
        visit__bridge=bridge, visit__status=Visit.Status.ACCEPTED
    )
    texts += notes.exclude(note="").order_by("pk").values_list("note", flat=True)
    for title, text in Repair.objects.filter(bridge=bridge).values_list(
        "title", "text"
    ):
        texts += [title, text]
    return " ".join(text for text in texts if text)


def what_was_seen(held):
    """Return the columns of ``Standing`` that follow of a record's visits alone."""
    return {**_deck_and_limit(held), **_visits_and_changes(held)}


def _deck_and_limit(held):
    parts = held.configuration()
    decks = [one.path for one in held.elements if one.kind == one.Kind.DECK]
    facts = {"deck": "", "posted_tons": None}
    for path in decks:
        part = parts.get(path)
        if part is not None and part.is_described:
            facts["deck"] = "none" if part.is_gone else changes.deck_word(part.state)
            break
    limit = parts.get("limit")
    if limit is not None and not limit.is_gone and limit.state:
        facts["posted_tons"] = limit.state.get("tons")
    return facts


def _visits_and_changes(held):
    facts = {
        "visit_count": len(held.visits),
        "last_visited": None,
        "last_changed": None,
        "changed_parts": "",
    }
    in_person = [v.when_latest for v in held.visits if v.basis == Visit.Basis.IN_PERSON]
    if in_person:
        facts["last_visited"] = in_person[-1]
    for visit, _, found in held.steps():
        if found:
            facts["last_changed"] = visit.when_latest
            words = dict.fromkeys(change.part for change in found)
            facts["changed_parts"] = f",{','.join(words)},"
    return facts
