"""What a phone takes of a bridge to log a visit with no signal.

The same rows and the same rules as the visit form's (``sheet``), as plain data, so
that phone and desk ask alike. Nothing here is written down: it is made anew each time.
"""

from __future__ import annotations

from django.conf import settings

from bridges import drawing

from . import alarms, danger, entry, joints, replies, states
from .models import Certainty, Component, Element, Photo, Viewpoint, Visit
from .sheet import (
    BEGIN_EMPTY,
    LABELS,
    LAYERS,
    LONG_TEXT,
    MOST_PIECES,
    ROLE_TITLES,
    Sheet,
)
from .submissions import MOST_PHOTOS

Kind = Element.Kind
JOINT_ANSWERS = [
    ["changed", "Something to tell"],
    ["gone", "Pin or nut gone"],
    ["not-seen", "Couldn’t see"],
]


def rules():
    """Return what each kind of element may be said to be, and what sizes there are."""
    return {
        "kinds": {kind: _fields(kind) for kind in Kind.values},
        "shapes": {
            shape: {
                "name": states.NAMES[shape][0],
                "names": states.NAMES[shape][1],
                "sizes": list(sizes),
                "example": entry.EXAMPLES[shape],
            }
            for shape, sizes in states.SIZES_BY_SHAPE.items()
        },
        "measured_shape": list(states.MEASURED_SHAPE),
        "largest": {"other": 24, **states.LARGEST},
        "deck_materials": states.DECK_MATERIALS,
        "flags": states.FLAGS,
        "ends": dict(Component.Ends.choices),
        "origins": dict(Component.Origin.choices),
        "certainties": dict(Certainty.choices),
        "bases": dict(Visit.Basis.choices),
        "danger": {"leave": danger.LEAVE, "call": alarms.call_first()},
        "most_pieces": MOST_PIECES,
        "most_layers": LAYERS,
        "most_photos": MOST_PHOTOS,
        "most_photo_bytes": settings.PHOTO_MAX_BYTES,
    }


def _fields(kind):
    """Return the plain fields of a kind of element, as the visit form asks them."""
    found = []
    for name, spec in states.fields_of(kind).items():
        if name not in LABELS:
            continue
        label, unit = LABELS[name]
        row = {"name": name, "label": label, "unit": unit, "type": spec.type}
        if spec.choices:
            row["choices"] = [[c, states.FLAGS.get(c, c)] for c in spec.choices]
        if spec.type in ("number", "whole"):
            row |= {"least": spec.least, "most": spec.most}
        if name in LONG_TEXT:
            row["is_long"] = True
        if name in BEGIN_EMPTY:
            row["begins_empty"] = True
        found.append(row)
    return found


def bridge_pack(held):
    """Return one bridge as a phone takes it, from its record (``record.load``)."""
    bridge = held.bridge
    sheet = Sheet(held)
    pictures = _pictures(bridge)
    shown = {one["element"]: one["id"] for one in pictures if one["element"]}
    return {
        "slug": bridge.slug,
        "name": bridge.name,
        "number": bridge.number,
        "place": ", ".join(filter(None, [bridge.town, f"{bridge.county} County"])),
        "road": bridge.road,
        "crossing": bridge.crossing,
        # Exact: only the society's people take packs.
        "latitude": float(bridge.latitude),
        "longitude": float(bridge.longitude),
        "status": bridge.get_status_display(),
        "is_closed": bridge.status == bridge.Status.CLOSED,
        "access_notes": bridge.access_notes,
        "last_visit": held.visits[-1].when if held.visits else "",
        "groups": [_group(group) for group in sheet.groups],
        "elements": [
            *(_element(row, shown.get(row.element.path)) for row in sheet.rows),
            *_joints(bridge, sheet),
        ],
        "skeletons": {
            f"span-{span.number}": span.skeleton
            for span in bridge.spans.all()
            if span.skeleton
        },
        "viewpoints": _viewpoints(bridge),
        "pictures": pictures,
    }


def _group(group):
    line = group.line
    return {
        "key": group.key,
        "title": group.title,
        "rows": [
            row.element.path for row in group.rows if row.element.kind != Kind.JOINT
        ],
        "line": line and f"span-{line.span.number}/{line.key}",
        "drawing": _drawing(group),
    }


def _drawing(group):
    """Draw a truss line, each bar a link to its page on the phone; empty for others."""
    span = group.rows[0].element.span
    if group.line is None or not (span and span.skeleton):
        return ""
    bars = {
        row.element.member: drawing.BarStyle(
            mark=drawing.GONE if row.was_gone else drawing.ORIGINAL,
            label=row.element.member,
            href=f"#bar:{row.element.path}",
            title=f"{row.element.member}: {row.last_words}",
        )
        for row in group.rows
        if row.element.member
    }
    return str(
        drawing.elevation(
            span.skeleton,
            bars,
            title=group.title,
            origin_end=span.origin_end,
            dimensions=False,
            name=group.key,
        )
    )


def _element(row, picture):
    element = row.element
    found = {
        "path": element.path,
        "kind": element.kind,
        "name": element.name,
        "title": row.title,
        "is_recorded": row.is_recorded,
        "was_gone": row.was_gone,
        "last_words": row.last_words,
        "last_seen": row.last_seen if row.is_recorded else "",
        "certainty": row.part.certainty if row.is_recorded else "",
        "state": row.state,
        "base": row.base,
        "answers": [[value, label] for value, label in row.answers if label],
    }
    if picture:
        found["picture"] = picture
    if element.kind == Kind.MEMBER:
        found |= {
            "member": element.member,
            "role": element.role,
            "role_title": ROLE_TITLES.get(element.role, ""),
            "line": element.path.rpartition("/")[0],
            "pieces": [one.words for one in row.kept_pieces],
            "ties": row.built_up.words if row.built_up else "",
        }
    return found


def _joints(bridge, sheet):
    """Yield the joints that no visit has spoken of yet: they can be tapped too."""
    known = {row.element.path for row in sheet.rows}
    for prefix, line in joints.joint_lines(bridge).items():
        for name in line.span.skeleton["joints"]:
            if f"{prefix}/{name}" not in known:
                yield {
                    "path": f"{prefix}/{name}",
                    "kind": Kind.JOINT,
                    "name": joints.name_of(name, line),
                    "title": f"Joint {name}",
                    "is_recorded": False,
                    "was_gone": False,
                    "last_words": "nothing recorded yet",
                    "last_seen": "",
                    "certainty": "",
                    "state": {},
                    "base": None,
                    "answers": JOINT_ANSWERS,
                }


def _viewpoints(bridge):
    return [
        {
            "name": one.name,
            "description": one.description,
            "latitude": _degrees(one.latitude),
            "longitude": _degrees(one.longitude),
            "bearing_deg": one.bearing_deg,
            "is_mandatory": one.is_mandatory,
        }
        for one in Viewpoint.objects.filter(bridge=bridge)
    ]


def _degrees(value):
    return None if value is None else float(value)


def _pictures(bridge):
    """Return the pictures worth taking along: the latest of each element and viewpoint.

    Those of a viewpoint, or without a place of their own, are to be stood at again and
    come larger.
    """
    public = Photo.objects.public().filter(visit__bridge=bridge)
    rows = public.select_related("element", "viewpoint", "visit").order_by(
        "visit__when_latest", "pk"
    )
    latest = {}
    for photo in rows:
        place = photo.element_id and ("element", photo.element_id)
        place = (photo.viewpoint_id and ("viewpoint", photo.viewpoint_id)) or place
        size = "320" if place and place[0] == "element" else "800"
        if size in photo.derivatives:
            latest[place or ("photo", photo.pk)] = (photo, size)
    return [
        {
            "id": str(photo.client_id),
            "url": f"/photos/{photo.client_id}/{size}.jpg",
            "element": photo.element.path if photo.element_id else "",
            "viewpoint": photo.viewpoint.name if photo.viewpoint_id else "",
            "caption": photo.caption,
            "when": photo.taken or photo.visit.when,
            "bearing_deg": photo.bearing_deg,
            "is_drawing": photo.is_drawing,
        }
        for photo, size in latest.values()
    ]


def questions(person):
    """Return what reviewers have asked this person and nobody has answered yet.

    ``submitted`` is what was sent, where the whole visit came back: it can be corrected
    and sent anew. Each question can also be answered in words.
    """
    return [
        {
            "visit": str(asked.visit.client_id),
            "bridge": asked.visit.bridge.slug,
            "bridge_name": asked.visit.bridge.name,
            "date": asked.visit.when,
            "question": asked.question,
            "observations": [
                {
                    "id": one.pk,
                    "element": one.element.path,
                    "name": one.element.name,
                    "answer": one.answer,
                    "question": one.question,
                }
                for one in asked.observations
            ],
            "submitted": asked.visit.submitted,
        }
        for asked in replies.open_questions(person)
    ]
