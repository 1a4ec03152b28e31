"""Pages of what was seen: logging a visit, reading one, its photographs."""

import uuid

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied, ValidationError
from django.db.models import Count, Q
from django.http import FileResponse, Http404, HttpResponseNotModified
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import (
    require_GET,
    require_http_methods,
    require_POST,
)
from django.views.generic import ListView

from bridges import drawing
from bridges.models import Bridge
from shared import audit, policy

from . import alarms, danger, reading, record, replies, services, states, submissions
from .album import Album
from .forms import TEXTS, VisitForm, parsed_day
from .models import Certainty, Component, Photo, Visit
from .sheet import HAPPENED, Sheet, begin_from

DAY_S = 24 * 60 * 60
COPY_SIZES = ("320", "800", "1600")


# -- photographs


def _photo(person, client_id):
    """The photo, when its visit and its bridge may be seen by this person."""
    photo = get_object_or_404(
        Photo.objects.select_related("visit__bridge"), client_id=client_id
    )
    visit = photo.visit
    if visit.status != Visit.Status.ACCEPTED and not reading.is_party(person, visit):
        raise Http404
    if not visit.bridge.is_public and not policy.can_log_visits(person):
        raise Http404
    return photo


@require_GET
def photo(request, client_id, size):
    """A copy of a photo, without anything its file told of place or owner."""
    shown = _photo(request.user, client_id)
    name = shown.derivatives.get(size) if size in COPY_SIZES else None
    if name is None:
        raise Http404
    tag = f'"{shown.sha256[:32]}-{size}"'
    if tag in request.headers.get("If-None-Match", ""):
        response = HttpResponseNotModified()
    else:
        storage = Photo._meta.get_field("original").storage
        response = FileResponse(storage.open(name), content_type="image/jpeg")
    is_public = shown.visit.status == Visit.Status.ACCEPTED and (
        shown.visit.bridge.is_public
    )
    # A day, not for ever: a visit may leave the record and a bridge the public's view.
    response.headers["Cache-Control"] = (
        f"public, max-age={DAY_S}" if is_public else "private, no-cache"
    )
    response.headers["ETag"] = tag
    return response


@require_GET
@login_required
def original(request, client_id):
    """The untouched file, which may tell where it was taken; never shown in a page."""
    if not policy.can_see_originals(request.user):
        raise PermissionDenied("Originals may tell more than the society shows.")
    held = _photo(request.user, client_id)
    if not held.original:
        raise Http404
    response = FileResponse(
        held.original.open(),
        as_attachment=True,
        filename=held.name or held.original.name.rsplit("/", 1)[-1],
        content_type="application/octet-stream",
    )
    response.headers["Cache-Control"] = "private, no-store"
    audit.note(audit.Action.ORIGINAL, person=request.user, subject=held.client_id)
    return response


# -- logging a visit


# Long and much alike: a tenth of its size on a poor signal. (Django masks the token
# anew in every answer, so its size tells nothing of it.)
@gzip_page
@require_http_methods(["GET", "POST"])
def log(request, slug):
    """The visit form: it works without a script and loses nothing that was typed."""
    bridge = get_object_or_404(Bridge.objects.visible_to(request.user), slug=slug)
    if request.method == "POST":
        return _receive(request, bridge)
    if not request.user.is_authenticated:
        return redirect_to_login(request.get_full_path())
    if not policy.can_log_visits(request.user):
        raise PermissionDenied("Only the society's volunteers log visits.")
    return _begin(request, bridge)


def _begin(request, bridge):
    answered = _answered(request.user, bridge, request.GET.get("answers"))
    form_id = uuid.uuid4()
    initial = {
        name: request.GET[name] for name in ("date", "basis") if request.GET.get(name)
    }
    initial["client_id"] = form_id
    if answered is not None:
        sent = answered.submitted | _as_read(answered)
        initial |= {name: sent.get(name) or "" for name in TEXTS}
        initial |= {
            name: sent[name] for name in ("date", "basis", "is_danger") if name in sent
        }
        initial["answers_to"] = answered.client_id
    initial["as_of"] = request.GET.get("date", "")
    form = VisitForm(initial=initial)
    held = record.load(bridge)
    sheet = Sheet(held, parsed_day(initial["as_of"]))
    if answered is not None:
        begin_from(sheet, _to_be_said_anew(answered))
    album = Album(request.user, form_id, sheet, _with_photos(answered))
    return _show(request, bridge, form, sheet, album)


def _with_photos(answered):
    """The visit whose photos come along; those of the record stay where they are."""
    if answered is None or answered.status == Visit.Status.ACCEPTED:
        return None
    return answered


def _answered(person, bridge, client_id):
    """The returned visit that this form answers, or None."""
    try:
        wanted = uuid.UUID(client_id or "")
    except ValueError:
        return None
    own = Visit.objects.filter(surveyor=person, bridge=bridge, client_id=wanted)
    found = own.first()
    return found if found is not None and found.takes_an_answer else None


def _as_read(answered):
    """The visit's own fields as they stand: what was sent may not have been readable."""
    names = (*TEXTS, "basis", "is_danger")
    found = {name: getattr(answered, name) for name in names}
    faulty = {row["field"] for row in answered.set_aside}
    if "date" in faulty:
        found["date"] = answered.when
    if answered.status == Visit.Status.ACCEPTED:
        # The rest is in the record already and need not be said twice.
        found |= dict.fromkeys(("notes", "not_reached", "danger_note"), "")
        found["is_danger"] = False
    return found


def _to_be_said_anew(answered):
    """What of a visit is in question: all of it, or only what was held back."""
    is_accepted = answered.status == Visit.Status.ACCEPTED
    if not is_accepted and not answered.set_aside:
        return answered.submitted
    # From the rows: a document with faults in it cannot be put into inputs.
    rows = answered.observations.filter(superseded_by__isnull=True)
    if is_accepted:
        rows = rows.held_back()
    rows = rows.select_related("element").prefetch_related("components")
    return {
        "observations": [
            {
                "element": one.element.path,
                "answer": one.answer,
                "certainty": one.certainty,
                "reason": one.reason,
                "note": one.note,
                "state": one.whole_state(),
            }
            for one in rows
        ]
    }


def _receive(request, bridge):
    form = VisitForm(request.POST)
    person = request.user
    held = record.load(bridge)
    sheet = Sheet(held, parsed_day(request.POST.get("as_of")), request.POST)
    if not policy.can_log_visits(person):
        return _not_signed_in(request, bridge, form, sheet)
    form_id = form["client_id"].data and _uuid(form["client_id"].data)
    answered = _answered(person, bridge, request.POST.get("answers_to"))
    album = Album(
        person,
        form_id or uuid.uuid4(),
        sheet,
        _with_photos(answered),
        request.POST,
        request.FILES,
    )
    if request.POST.get("action") == "add-photos":
        return _show(request, bridge, _as_typed(form), sheet, album)
    payload = form.payload() | {
        "bridge": bridge.slug,
        "observations": sheet.observations(),
        "photos": album.documents(),
    }
    try:
        if not sheet.has_errors and not album.errors:
            visit, _ = services.record_visit(surveyor=person, payload=payload)
            return _sent(request, visit, album)
        submissions.id_of(payload)
        submissions.read(payload, person)
    except services.Faulty as error:
        rest = album.take(sheet.take(form.take(error.rows)))
        return _show(request, bridge, form, sheet, album, rest, status=422)
    except services.OtherContent as error:
        messages.warning(
            request,
            "This visit had been sent before. What you have changed since is kept "
            "beside it, and the reviewer will see both.",
        )
        return redirect(error.visit)
    return _show(request, bridge, form, sheet, album, status=422)


def _sent(request, visit, album):
    unreadable = album.store(visit, services.store_photo)
    messages.success(request, "The visit is sent. A reviewer will look at it.")
    if visit.is_danger or visit.danger_signs:
        call = alarms.call_first()
        whom = f" The society calls {call}." if call else ""
        messages.error(request, f"{danger.LEAVE}{whom}")
    for name, fault in unreadable:
        messages.warning(request, f"“{name}”: {fault} The rest of the visit is stored.")
    return redirect(visit)


def _uuid(text):
    try:
        return uuid.UUID(str(text))
    except ValueError:
        return None


def _as_typed(form):
    """The same form with everything typed and nothing yet found wrong."""
    return VisitForm(initial={name: form[name].data for name in form.fields})


def _not_signed_in(request, bridge, form, sheet):
    """Give everything back to somebody whose session ran out while they wrote."""
    album = Album(request.user, uuid.uuid4(), sheet)
    signed_out = not request.user.is_authenticated
    return _show(
        request,
        bridge,
        _as_typed(form),
        sheet,
        album,
        status=401 if signed_out else 403,
        signed_out=signed_out,
        had_files=bool(request.FILES),
    )


def _show(request, bridge, form, sheet, album, rest=(), status=200, **more):
    _add_thumbnails(bridge, sheet)
    context = {
        "bridge": bridge,
        "form": form,
        "sheet": sheet,
        "album": album,
        "rest": rest,
        "drawings": _drawings(sheet),
        "lists": _lists(sheet),
        "leave": danger.LEAVE,
        "call": alarms.call_first(),
        **more,
    }
    response = render(request, "surveys/log.html", context, status=status)
    # Not no-store: a browser that goes back must find what was typed.
    response.headers["Cache-Control"] = "private, no-cache"
    return response


def _lists(sheet):
    """What the form's menus offer, the same in every row."""
    return {
        "certainties": Certainty.choices,
        "shapes": [(value, names[0]) for value, names in states.NAMES.items()],
        "ends": Component.Ends.choices,
        "origins": Component.Origin.choices,
        "happened": list(HAPPENED.items()),
        "elements": [(f"{row.element.pk}", row.element.name) for row in sheet.rows],
        "most_mb": settings.PHOTO_MAX_BYTES // (1024 * 1024),
    }


def _add_thumbnails(bridge, sheet):
    """Give each row the latest public photo of its element, in one query."""
    public = Photo.objects.public().filter(visit__bridge=bridge, element__isnull=False)
    for photo in public.order_by("visit__when_latest", "pk"):
        row = sheet.by_pk.get(photo.element_id)
        if row is not None and "320" in photo.derivatives:
            row.thumbnail = photo


def _drawings(sheet):
    """Draw each truss line with every bar a link to its row: ``{group key: SVG}``."""
    drawn = {}
    for group in sheet.groups:
        span = group.rows[0].element.span
        if group.line is None or not (span and span.skeleton):
            continue
        bars = {
            row.element.member: drawing.BarStyle(
                mark=drawing.GONE if row.was_gone else drawing.ORIGINAL,
                label=row.element.member,
                href=f"#{row.name}",
                title=f"{row.element.member}: {row.last_words}",
            )
            for row in group.rows
        }
        drawn[group.key] = drawing.elevation(
            span.skeleton,
            bars,
            title=group.title,
            origin_end=span.origin_end,
            dimensions=False,
            name=group.key,
        )
    return drawn


# -- reading one's visits


class VisitList(ListView):
    """One's own visits: what waits, what was asked, what is in the record."""

    template_name = "surveys/visits.html"
    context_object_name = "visits"
    paginate_by = 30

    def get_queryset(self):
        own = Visit.objects.filter(surveyor=self.request.user)
        still_to_come = Count(
            "photos", filter=Q(photos__arrived_at=None, photos__fault=""), distinct=True
        )
        held_back = Count(
            "observations",
            filter=Q(observations__is_held_back=True, observations__superseded_by=None),
            distinct=True,
        )
        return (
            own.select_related("bridge")
            .annotate(waiting_photos=still_to_come, held_back=held_back)
            .order_by("-submitted_at", "-pk")
        )


visits = policy.requires(policy.can_log_visits)(VisitList.as_view())


@require_GET
def visit(request, client_id):
    """What one visit said, as it was submitted, and how it fares."""
    shown = _visit(request.user, client_id)
    context = reading.context(request.user, shown)
    return render(request, "surveys/visit.html", context)


@require_POST
@login_required
def answer(request, client_id):
    """Answer in words what a reviewer has asked about a visit of one's own."""
    own = get_object_or_404(Visit, client_id=client_id, surveyor=request.user)
    text, answers = reading.typed_answers(request.POST)
    try:
        replies.answer(visit=own, person=request.user, answers=answers, text=text)
    except services.WrongStatus as error:
        messages.error(request, error.messages[0])
    except ValidationError as error:
        errors = reading.errors_of(error)
        context = reading.context(request.user, own, request.POST, errors)
        return render(request, "surveys/visit.html", context, status=422)
    else:
        messages.success(request, "Your answer is with the reviewer.")
    return redirect(own)


def _visit(person, client_id):
    visible = Visit.objects.visible_to(person).select_related(
        "bridge", "surveyor", "reviewer", "source"
    )
    shown = get_object_or_404(visible, client_id=client_id)
    if not shown.bridge.is_public and not policy.can_log_visits(person):
        raise Http404
    return shown


@require_POST
@login_required
def withdraw(request, client_id):
    """Take back a visit of one's own that is not yet in the record."""
    own = get_object_or_404(Visit, client_id=client_id, surveyor=request.user)
    try:
        services.withdraw_visit(visit=own, person=request.user)
    except services.WrongStatus as error:
        messages.error(request, error.messages[0])
    else:
        messages.success(request, "The visit is withdrawn. Nothing of it is deleted.")
    return redirect(own)
