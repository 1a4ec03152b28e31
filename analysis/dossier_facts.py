"""What a dossier says: the facts of one bridge as a plain document.

Everything else is made from it: the completeness list, the PDF, the attached files.
Only accepted visits and photographs that visitors may see are in it. What is private
stays out unless the officer asks for it by name (``INCLUDABLE``); what was left out is
named in the document itself.
"""

from __future__ import annotations

import datetime
import json
import math

from django.conf import settings
from django.db.models import Max

from bridges.models import (
    Attribution,
    Bridge,
    Claim,
    LifeEvent,
    Plate,
    Span,
    family_of,
)
from surveys import record as records
from surveys import states
from surveys.models import Component, Photo, Repair, Viewpoint, Visit

from . import designed, effects, measure, region, services
from .caution import CAUTION
from .demonstration import is_demonstration
from .dossier_case import case_facts, comparables, current_case, integrity_evidence
from .dossier_questions import questions
from .engine import ENGINE_VERSION

EDITION = 1
# What an officer writes, in the order in which it is printed.
NARRATIVE = (
    "preparer",
    "organisation",
    "description",
    "period",
    "significance",
    "integrity",
    "boundary",
)
# Left out of a dossier unless the officer asks: where a sensitive bridge stands, and
# where plates taken off a bridge are kept.
POSITION, PLATES = "position", "plates"
INCLUDABLE = (POSITION, PLATES)
FACETS = (
    ("form", "Form"),
    ("deck_position", "Deck position"),
    ("connection", "Connections"),
    ("material", "Material"),
)
# What the site's maps and phones give; the record keeps no other.
DATUM = "WGS 84"
ENDS = ("end_a", "end_b")
# Shorter than this, a word kept back is found everywhere.
FEWEST_LETTERS = 5
BEFORE_ALL = datetime.datetime(1980, 1, 1, tzinfo=datetime.UTC)


class _Sources:
    """Numbers sources in the order in which they are first cited."""

    def __init__(self):
        self._numbers = {}
        self.rows = []

    def cite(self, source):
        """Return the number of a source, None for None."""
        if source is None:
            return None
        if source.pk not in self._numbers:
            self._numbers[source.pk] = len(self.rows) + 1
            self.rows.append(
                {
                    "number": len(self.rows) + 1,
                    "kind": source.kind,
                    "kind_words": source.get_kind_display(),
                    "title": source.title,
                    "author": source.author,
                    "date": source.date,
                    "held_by": source.held_by,
                    "locator": source.locator,
                    "url": source.url,
                }
            )
        return self._numbers[source.pk]


def facts(bridge, include=(), case=None):
    """Return everything the dossier of one bridge says, as a plain document.

    ``include`` names what the officer has decided to show (``INCLUDABLE``); ``case`` is
    the number of a nomination case, the newest where it is None. A fixed number of
    queries whatever the length of the record. Lengths in feet, sizes in inches, loads
    in short tons or kips as their keys say.
    """
    record = records.load(bridge)
    steps = services.history(bridge, record)
    now = record.configuration()
    sources = _Sources()
    dossier = current_case(bridge, case)
    lines = services.truss_lines(bridge)
    told = {
        "edition": EDITION,
        "society": settings.SOCIETY_NAME,
        "site": settings.SITE_NAME,
        "caution": CAUTION,
        "recorded_at": _last_change(bridge, record, dossier),
        "bridge": _bridge(bridge, POSITION in include),
        "narrative": {},
        "case": {},
        "spans": _spans(bridge, record, now, lines, sources),
        "parts": _other_parts(record, now),
        "events": _events(bridge, sources),
        "attributions": _attributions(bridge, sources),
        "plates": _plates(bridge, now, PLATES in include),
        "claims": _claims(bridge, sources),
        "visits": _visits(bridge, record, steps, sources),
        "repairs": _repairs(bridge, sources),
        "photographs": _photographs(bridge, dossier.photos if dossier else []),
        "viewpoints": _viewpoints(bridge),
        "checks": _checks(steps, lines),
        "designed": _designed(bridge, record),
        "bands": _bands(bridge, record, now),
        "links": _links(bridge),
        "comparables": comparables(bridge),
        "engine": ENGINE_VERSION,
        "is_demonstration": is_demonstration(),
        "map": region.around(float(bridge.latitude), float(bridge.longitude)),
        "sources": sources.rows,
        "left_out": [],
    }
    said, written = case_facts(dossier, _texts(dossier), sources)
    told["case"] = said
    told["narrative"] = written | {"revision": dossier.revision if dossier else 0}
    if not told["bridge"]["position"]["is_exact"]:
        # Both ends are the position to the metre.
        said["answers"] |= dict.fromkeys(ENDS, "")
    told["evidence"] = integrity_evidence(told)
    told["questions"] = questions(told)
    told["open_questions"] = len(told["questions"])
    told["kept_back_but_written"] = _written_all_the_same(bridge, told, include)
    told["map"]["features"] = _map_features(told["bridge"]["position"])
    told["left_out"] = _left_out(bridge, told, include)
    return told


def _last_change(bridge, record, dossier):
    """Return when anything the dossier draws on was last changed, in UTC."""
    moments = [dossier.updated_at] if dossier else []
    for visit in record.visits:
        moments.append(visit.reviewed_at or visit.submitted_at)
    for model, key in (
        (Bridge, "id"),
        (Span, "bridge_id"),
        (LifeEvent, "bridge_id"),
        (Attribution, "bridge_id"),
        (Plate, "bridge_id"),
        (Claim, "bridge_id"),
        (Repair, "bridge_id"),
    ):
        rows = model.history.filter(**{key: bridge.pk})
        moments.append(rows.aggregate(latest=Max("history_date"))["latest"])
    latest = max((one for one in moments if one), default=BEFORE_ALL)
    whole = latest.astimezone(datetime.UTC).replace(microsecond=0)
    return whole.strftime("%Y-%m-%dT%H:%M:%SZ")


def _bridge(bridge, exact):
    latitude, longitude = float(bridge.latitude), float(bridge.longitude)
    is_exact = exact or not bridge.is_position_sensitive
    if not is_exact:
        latitude, longitude, _ = bridge.position_for(None)
    accuracy = bridge.position_accuracy_m if is_exact else None
    return {
        "name": bridge.name,
        "slug": bridge.slug,
        "number": bridge.number,
        "also_known_as": bridge.also_known_as,
        "county": bridge.county,
        "town": bridge.town,
        "road": bridge.road,
        "crossing": bridge.crossing,
        "heading": _heading(bridge),
        "position": {
            "latitude": latitude,
            "longitude": longitude,
            "is_exact": is_exact,
            "is_sensitive": bridge.is_position_sensitive,
            "accuracy_m": accuracy,
            "datum": DATUM,
        },
        "status": bridge.status,
        "status_words": bridge.get_status_display(),
        "listing": bridge.listing,
        "listing_words": bridge.get_listing_display(),
        "built": bridge.built,
        "built_confidence": bridge.get_built_confidence_display(),
        "lost": bridge.lost,
        "summary": bridge.summary,
        "owner": bridge.owner,
    }


def _heading(bridge):
    """Say which crossing this is in one line, most particular first."""
    words = bridge.name
    if bridge.road:
        words += f", carrying {bridge.road}"
    if bridge.crossing:
        words += f"{' ' if bridge.road else ', '}over {bridge.crossing}"
    county = bridge.county
    if not county.lower().endswith("county"):
        county += " County"
    places = [place for place in (bridge.town, county) if place]
    return ", ".join([words, *places])


def _texts(dossier):
    return {name: getattr(dossier, name, "") for name in NARRATIVE}


# What stands there.


def _spans(bridge, record, now, lines, sources):
    spans = bridge.spans.select_related(*(f"{name}_source" for name, _ in FACETS))
    return [
        _span(
            span, record, now, [one for one in lines if one.span_id == span.pk], sources
        )
        for span in spans.order_by("number")
    ]


def _span(span, record, now, lines, sources):
    return {
        "number": span.number,
        "name": span.name,
        "family": family_of(span.form),
        "facets": [
            {
                "key": name,
                "facet": title,
                "value": getattr(span, name),
                "words": getattr(span, f"get_{name}_display")(),
                "confidence": getattr(span, f"{name}_confidence"),
                "confidence_words": getattr(span, f"get_{name}_confidence_display")(),
                "source": sources.cite(getattr(span, f"{name}_source")),
            }
            for name, title in FACETS
        ],
        "length_ft": span.length_ft,
        "length_as_entered": span.length_as_entered,
        "panels": span.panels,
        "panel_length_ft": span.panel_length_ft,
        "panel_lengths_ft": span.panel_lengths_ft,
        "depth_ft": span.depth_ft,
        "depth_as_entered": span.depth_as_entered,
        "roadway_ft": span.roadway_ft,
        "trusses_apart_ft": span.trusses_apart_ft,
        "measured_how": span.measured_how,
        "measured_how_words": span.get_measured_how_display(),
        "origin_end": span.origin_end,
        "made_in": span.made_in,
        "skeleton": span.skeleton,
        "lines": [
            {
                "key": line.key,
                "name": line.name,
                "address": line.address,
                "members": _members(line, record, now),
            }
            for line in lines
        ],
    }


def _members(line, record, now):
    return [
        {
            "path": element.path,
            "member": element.member,
            "role": element.role,
            **_part(element, now.get(element.path), record),
        }
        for element in record.elements
        if element.kind == "member" and element.truss_line_id == line.pk
    ]


ORIGINS = dict(Component.Origin.choices)
# What ``states.describe`` says of a state that holds nothing to be said in words.
UNSAID = "as described on the visit"


def _part(element, part, record):
    """Say one element as it now is, with where that is known from."""
    if part is None:
        return {"is_known": False, "is_gone": False, "pieces": [], "words": ""}
    state = part.state or {}
    pieces = [
        {
            "words": states.describe_component(piece),
            "origin": piece["origin"],
            "origin_words": ORIGINS[piece["origin"]],
            "as_entered": piece.get("as_entered", ""),
            "is_dead_load_relieved": bool(piece.get("dead_load_relieved")),
        }
        for piece in state.get("components", [])
    ]
    rest = {name: value for name, value in state.items() if name != "components"}
    words = states.describe(element.kind, rest) if rest else ""
    if words == UNSAID and pieces:
        words = ""
    said = record.visit_by_key.get(part.said_by or "")
    seen = record.visit_by_key.get(part.seen_by)
    return {
        "is_known": part.is_described,
        "is_gone": part.is_gone,
        "pieces": pieces,
        "words": words,
        "state": state,
        "certainty": part.certainty,
        "doubt": part.doubt,
        "said_when": said.when if said else "",
        "seen_when": seen.when if seen else "",
    }


def _other_parts(record, now):
    return [
        {
            "path": element.path,
            "name": element.name,
            "kind": element.kind,
            **_part(element, now.get(element.path), record),
        }
        for element in record.elements
        if element.kind not in ("member", "plate")
    ]


def _events(bridge, sources):
    return [
        {
            "kind": event.kind,
            "kind_words": event.get_kind_display(),
            "when": event.when,
            "text": event.text,
            "confidence_words": event.get_confidence_display(),
            "source": sources.cite(event.source),
        }
        for event in bridge.events.select_related("source")
    ]


def _attributions(bridge, sources):
    return [
        {
            "role": one.role,
            "role_words": one.get_role_display(),
            "builder": one.builder.name,
            "place": one.builder.place,
            "active": one.builder.active,
            "confidence": one.confidence,
            "confidence_words": one.get_confidence_display(),
            "source": sources.cite(one.source),
        }
        for one in bridge.attributions.select_related("builder", "source")
    ]


def _plates(bridge, now, with_whereabouts):
    return [
        {
            "key": plate.key,
            "kind_words": plate.get_kind_display(),
            "location": plate.location,
            "transcription": plate.transcription,
            "builder": plate.builder.name if plate.builder else "",
            "whereabouts": plate.whereabouts if with_whereabouts else "",
            "has_whereabouts": bool(plate.whereabouts),
            **_plate_now(now.get(f"plate/{plate.key}")),
        }
        for plate in bridge.plates.select_related("builder")
    ]


def _plate_now(part):
    if part is None:
        return {"now": "Not looked for on any accepted visit", "seen_on": None}
    words = "Gone" if part.is_gone else "In place"
    return {"now": words, "seen_on": part.seen_on.isoformat()}


def _claims(bridge, sources):
    return [
        {
            "about": claim.about,
            "value": claim.value,
            "confidence": claim.confidence,
            "confidence_words": claim.get_confidence_display(),
            "is_chosen": claim.is_chosen,
            "reason": claim.reason,
            "source": sources.cite(claim.source),
        }
        for claim in bridge.claims.select_related("source")
    ]


def _links(bridge):
    return [
        {"title": link.title, "url": link.url, "kind": link.get_kind_display()}
        for link in bridge.links.all()
    ]


# What was seen.


def _visits(bridge, record, steps, sources):
    said = _said(bridge)
    cited = Visit.objects.filter(bridge=bridge).accepted().select_related("source")
    source_of = {visit.pk: visit.source for visit in cited}
    return [
        _visit(
            step, said.get(step.visit.pk, []), sources.cite(source_of[step.visit.pk])
        )
        for step in steps
    ]


def _said(bridge):
    """Return every standing answer of the accepted visits, by visit."""
    rows = records.standing_observations().filter(
        visit__bridge=bridge, visit__status=Visit.Status.ACCEPTED
    )
    found: dict[int, list] = {}
    for one in rows.select_related("element").order_by("element__position", "id"):
        found.setdefault(one.visit_id, []).append(one)
    return found


def _visit(step, said, source):
    visit = step.visit
    return {
        "key": str(visit.client_id),
        "when": visit.when,
        "earliest": visit.when_earliest.isoformat() if visit.when_earliest else None,
        "latest": visit.when_latest.isoformat(),
        "basis": visit.basis,
        "basis_words": visit.get_basis_display(),
        "people": visit.people or (visit.surveyor.credit if visit.surveyor else ""),
        "not_reached": visit.not_reached,
        "notes": visit.notes,
        "is_danger": visit.is_danger,
        "danger_note": visit.danger_note,
        "source": source,
        "answers": [_answer(one) for one in said],
        "changes": [_change(step, change) for change in step.changes],
        "lines": [_line(row) for row in step.lines],
    }


def _answer(one):
    state = one.whole_state()
    return {
        "element": one.element.path,
        "name": one.element.name,
        "answer": one.answer,
        "words": "" if state is None else states.describe(one.element.kind, state),
        "state": state,
        "certainty": one.certainty,
        "reason": one.reason,
        "note": one.note,
    }


def _change(step, change):
    return {
        "key": change.key,
        "title": change.title.rstrip(","),
        "sentence": change.sentence,
        "part": change.part,
        "kinds": list(change.kinds),
        "elements": list(change.paths),
        "certainty": change.certainty,
        "doubt": change.doubt,
        "effects": [
            {
                "line": line.name,
                "address": line.address,
                "limit_tons": share.get("limit_tons"),
                "dead_tons": share.get("dead_tons"),
                "is_joint": len(share["keys"]) > 1,
            }
            for line, share, _ in step.shares_of(change)
        ],
    }


def _line(row):
    line, _, after, result = row
    result = result or {}
    return {
        "line": line.name,
        "address": line.address,
        "before": result.get("before"),
        "after": result.get("after"),
        "difference": result.get("difference"),
        "sentences": result.get("sentences", []),
        "gaps": result.get("gaps", []),
        "standing": _standing(after),
    }


def _standing(configured):
    """Say what the check of one configuration came to, or why there is none."""
    if configured is None:
        return None
    check = configured.check_made
    if check is None:
        return {"gap": configured.gap or "Not checked.", "check": None}
    return {
        "gap": "",
        "check": check.input_sha256,
        "stands": check.stands,
        **effects.measures(check.answer),
    }


def _repairs(bridge, sources):
    rows = Repair.objects.filter(bridge=bridge).select_related(
        "after_visit", "seen_at_visit", "builder"
    )
    return [
        {
            "title": repair.title,
            "text": repair.text,
            "when": repair.when,
            "after_visit": repair.after_visit.when if repair.after_visit else "",
            "seen_at_visit": repair.seen_at_visit.when if repair.seen_at_visit else "",
            "by_whom": repair.by_whom
            or (repair.builder.name if repair.builder else ""),
            "reversible_words": repair.get_reversible_display(),
            "confidence_words": repair.get_confidence_display(),
            "elements": [element.name for element in repair.elements.all()],
            "paths": [element.path for element in repair.elements.all()],
            "sources": [sources.cite(one) for one in repair.sources.all()],
        }
        for repair in rows.prefetch_related("elements", "sources")
    ]


def _photographs(bridge, chosen):
    """Return what may be printed: the log's pictures in its order, then the others."""
    rows = Photo.objects.public().filter(visit__bridge=bridge, fault="")
    rows = rows.select_related("visit__surveyor", "element", "viewpoint", "repeats")
    rows = rows.order_by("visit__when_latest", "visit__client_id", "id")
    place = {key: number for number, key in enumerate(chosen)}
    printable = [photo for photo in rows if _derivative(photo)]
    printable.sort(key=lambda photo: place.get(str(photo.client_id), len(place)))
    return [
        _photograph(number, photo, str(photo.client_id) in place, bridge)
        for number, photo in enumerate(printable, start=1)
    ]


def _derivative(photo):
    """Return the name of the picture to print: the largest made, at most 1600."""
    return photo.derivatives.get("1600") or photo.derivatives.get("800")


def _photograph(number, photo, is_chosen, bridge):
    surveyor = photo.visit.surveyor
    return {
        "number": number,
        "is_chosen": is_chosen,
        **_stood(photo, bridge),
        "key": str(photo.client_id),
        "file": _derivative(photo),
        "caption": photo.caption,
        "of": photo.element.name if photo.element else "",
        "viewpoint": photo.viewpoint.name if photo.viewpoint else "",
        "is_mandatory_view": bool(photo.viewpoint and photo.viewpoint.is_mandatory),
        "is_drawing": photo.is_drawing,
        "taken": photo.taken or photo.visit.when,
        "latest": photo.visit.when_latest.isoformat(),
        "visit": photo.visit.when,
        "credit": photo.credit or (surveyor.credit if surveyor else ""),
        "rights": photo.rights,
        "bearing_deg": photo.bearing_deg,
        "facing": _facing(photo.bearing_deg),
        "repeats": str(photo.repeats.client_id) if photo.repeats else "",
        "width_px": photo.width_px,
        "height_px": photo.height_px,
        "sha256": photo.sha256,
    }


METRES_A_DEGREE = 111_320.0
MAP_REACH_M = 9_000


def _map_features(place):
    """Return what the region's map has about the place that may be shown."""
    rows = region.features(place["latitude"], place["longitude"], MAP_REACH_M)
    return [row for row in rows if row[0] != "land"]


def _stood(photo, bridge):
    """Say where the camera stood from the middle of the bridge, to the metre.

    A sketch map needs no more, and the place of a sensitive bridge is not in it.
    """
    if photo.latitude is None or photo.longitude is None:
        return {"east_m": None, "north_m": None}
    north = (float(photo.latitude) - float(bridge.latitude)) * METRES_A_DEGREE
    shrink = math.cos(math.radians(float(bridge.latitude)))
    east = float(photo.longitude) - float(bridge.longitude)
    east *= METRES_A_DEGREE * shrink
    return {"east_m": round(east), "north_m": round(north)}


COMPASS = (
    "north",
    "northeast",
    "east",
    "southeast",
    "south",
    "southwest",
    "west",
    "northwest",
)


def _facing(bearing_deg):
    """Say which of the eight points the camera looks to, nothing for None."""
    if bearing_deg is None:
        return ""
    return COMPASS[round(bearing_deg / 45) % 8]


def _viewpoints(bridge):
    return [
        {"name": one.name, "is_mandatory": one.is_mandatory}
        for one in Viewpoint.objects.filter(bridge=bridge).order_by("name")
    ]


# What it means.


def _checks(steps, lines):
    """Return the check of every configuration, one row for each that differs.

    A configuration whose check file is that of the visit before is not told again.
    """
    told = []
    for line in lines:
        last = None
        for step in steps:
            configured = next(
                (after for one, _, after, _ in step.lines if one.pk == line.pk), None
            )
            if configured is None:
                continue
            sha = configured.check_made and configured.check_made.input_sha256
            if told and last == (line.pk, sha, configured.gap):
                continue
            last = (line.pk, sha, configured.gap)
            told.append(_check(line, step.visit, configured))
    return told


def _check(line, visit, configured):
    row = {
        "line": line.name,
        "address": line.address,
        "span": line.span.number,
        "when": visit.when,
        "latest": visit.when_latest.isoformat(),
        "gap": configured.gap,
        "assumptions": configured.assumptions,
        "document": None,
    }
    check = configured.check_made
    if check is None:
        return row
    return row | {
        "sha256": check.input_sha256,
        "engine": check.engine,
        "document": check.document,
        "answer": check.answer,
        **effects.measures(check.answer),
    }


def _written_all_the_same(bridge, told, include):
    """Name what is kept back and yet stands in some text that would be printed."""
    kept = {"How to reach the owner": bridge.owner_contact}
    kept["A note on a private way"] = bridge.access_notes
    if PLATES not in include:
        for plate in bridge.plates.all():
            kept[f"Where the {plate.location} plate is kept"] = plate.whereabouts
    if not told["bridge"]["position"]["is_exact"]:
        kept["The exact latitude"] = f"{float(bridge.latitude):.4f}"
        kept["The exact longitude"] = f"{float(bridge.longitude):.4f}"
    text = json.dumps(told, ensure_ascii=False, default=str).lower()
    return [
        name
        for name, value in kept.items()
        if len(value.strip()) >= FEWEST_LETTERS
        and json.dumps(value.strip().lower(), ensure_ascii=False)[1:-1] in text
    ]


def _designed(bridge, record):
    return [
        {
            "line": one["line"].name,
            "where": one["where"],
            "gaps": one["gaps"],
            "rests_on": one["rests_on"],
            "sentences": one["sentences"],
            "caveat": one["caveat"],
        }
        for one in designed.designed_for(bridge, record)
    ]


def _bands(bridge, record, now):
    return [
        {
            "line": one["line"].name,
            "gaps": one["gaps"],
            "samples": one.get("samples"),
            **{name: one.get(name) for name in ("low", "mid", "high")},
        }
        for one in measure.bands(bridge, record, now)
    ]


def _left_out(bridge, told, include):
    """Name what the record holds and this copy does not show."""
    out = []
    if bridge.is_position_sensitive and POSITION not in include:
        out.append("The exact position: the coordinates given are of its area.")
    if bridge.owner_contact:
        out.append("How to reach the owner.")
    if bridge.access_notes:
        out.append("Notes on private ways to the bridge.")
    if PLATES not in include and any(one["has_whereabouts"] for one in told["plates"]):
        out.append("Where plates that were taken off are kept.")
    waiting = Visit.objects.filter(bridge=bridge).exclude(
        status__in=(Visit.Status.ACCEPTED, Visit.Status.WITHDRAWN)
    )
    count = waiting.count()
    if count:
        noun = "visit that has" if count == 1 else "visits that have"
        out.append(f"{count} {noun} not been accepted into the record.")
    return out
