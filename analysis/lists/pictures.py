"""Lists of views: what is pictured, what is to be photographed, what may be printed."""

from __future__ import annotations

import datetime
from collections import defaultdict

from django.db.models import Q
from django.utils import timezone

from bridges.models import Bridge
from shared import policy
from shared.dates import display
from surveys.models import Photo, Viewpoint, Visit

from .kinds import Choice, List, bridge_cell

# A view older than this is due again.
DUE_YEARS = 10
STATES = (
    ("never", "Never photographed"),
    ("unrepeated", "Historic view not yet repeated"),
    ("due", f"Due again: the latest is over {DUE_YEARS} years old"),
    ("current", "Current"),
)


def _lost(question):
    rows = question.bridges.filter(status=Bridge.Status.LOST)
    return rows.order_by("name", "id")


def _lost_rows(bridges, question):
    views = defaultdict(list)
    photos = Photo.objects.public().filter(visit__bridge__in=[b.pk for b in bridges])
    photos = photos.select_related("visit", "viewpoint").order_by(
        "taken_earliest", "id"
    )
    for photo in photos:
        what = (
            photo.viewpoint.name if photo.viewpoint else photo.caption or "no caption"
        )
        taken = photo.taken or photo.visit.when
        views[photo.visit.bridge_id].append(f"{what} ({display(taken)})")
    return [
        (
            bridge_cell(bridge),
            display(bridge.lost) if bridge.lost else "not known",
            str(len(views[bridge.pk])),
            "; ".join(views[bridge.pk]) or "none",
        )
        for bridge in bridges
    ]


LOST = List(
    "lost-pictures",
    "Pictures of lost bridges",
    "Which lost bridges do we have pictures of, and of which views?",
    ("Bridge", "Lost", "Pictures", "Views"),
    _lost,
    _lost_rows,
)


def _views(question):
    """All viewpoints told, since what they lack is known only then."""
    rows = question.of(Viewpoint)
    if not question.is_society:
        rows = rows.filter(bridge__is_position_sensitive=False)
    if question.get("which") == "required":
        rows = rows.filter(is_mandatory=True)
    told = [
        _view(*pair) for pair in _with_photos(rows.order_by("bridge__name", "name"))
    ]
    if state := question.get("state"):
        told = [one for one in told if one["state"] == state]
    return told


def _with_photos(viewpoints):
    viewpoints = list(viewpoints)
    held = defaultdict(list)
    photos = Photo.objects.arrived().filter(
        viewpoint__in=[one.pk for one in viewpoints],
        visit__status=Visit.Status.ACCEPTED,
    )
    for photo in photos.select_related("visit").order_by("id"):
        held[photo.viewpoint_id].append(photo)
    return [(one, held[one.pk]) for one in viewpoints]


def _day(photo):
    return photo.taken_latest or photo.visit.when_latest or datetime.date.min


def _view(viewpoint, photos):
    photos = sorted(photos, key=lambda one: (_day(one), one.pk))
    repeated = {one.repeats_id for one in photos}
    historic = [one for one in photos if one.visit.basis == Visit.Basis.PHOTOGRAPH]
    own = [one for one in photos if one.visit.basis == Visit.Basis.IN_PERSON]
    before = timezone.localdate().year - DUE_YEARS
    if not own and not historic:
        state = "never"
    elif historic and not own and not any(one.pk in repeated for one in historic):
        state = "unrepeated"
    elif not own or _day(own[-1]).year < before:
        state = "due"
    else:
        state = "current"
    return {
        "viewpoint": viewpoint,
        "state": state,
        "oldest": photos[0] if photos else None,
        "latest": photos[-1] if photos else None,
    }


def _view_rows(views, question):
    words = dict(STATES)
    return [
        (
            bridge_cell(one["viewpoint"].bridge),
            one["viewpoint"].name,
            "Required" if one["viewpoint"].is_mandatory else "Further view",
            _taken(one["oldest"]),
            _taken(one["latest"]),
            words[one["state"]],
        )
        for one in views
    ]


def _taken(photo):
    if photo is None:
        return "none"
    return display(photo.taken or photo.visit.when)


VIEWPOINTS = List(
    "viewpoints",
    "Viewpoints and what they lack",
    "Which required views lack a current photograph, and which old views are still to "
    "be repeated?",
    ("Bridge", "Viewpoint", "Kind", "Oldest view", "Latest", "What it lacks"),
    _views,
    _view_rows,
    (
        Choice("state", "What it lacks", STATES),
        Choice("which", "Kind", (("required", "Required views"),)),
    ),
)


def _pictures(question):
    rows = question.of(Photo, "visit__bridge").arrived()
    rows = rows.filter(visit__status=Visit.Status.ACCEPTED)
    bare = Q(rights="") | Q(credit="")
    may = question.get("permission")
    if may:
        rows = rows.filter(bare) if may == "lacking" else rows.exclude(bare)
    return rows.order_by("visit__bridge__name", "taken_earliest", "id")


def _picture_rows(photos, question):
    return [
        (
            bridge_cell(one.visit.bridge),
            one.caption or one.name or "no caption",
            _taken(one),
            one.credit or "no credit recorded",
            one.rights or "no permission recorded",
            "As the rights say, with the credit"
            if one.rights and one.credit
            else "Ask first",
        )
        for one in photos
    ]


PICTURES = List(
    "pictures",
    "What may be printed, and whose credit must appear",
    "Which pictures may be published, whose credit must appear, and which lack "
    "permission?",
    ("Bridge", "Picture", "Taken", "Credit", "Rights", "May it be printed"),
    _pictures,
    _picture_rows,
    (
        Choice(
            "permission",
            "Rights and credit",
            (("recorded", "Both recorded"), ("lacking", "One is lacking")),
        ),
    ),
    may_ask=policy.can_log_visits,
    for_whom="the society's people",
)
