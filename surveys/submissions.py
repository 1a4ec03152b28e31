"""Reading a submitted visit: the document a phone or the visit form sends.

Every fault is told at once, each with the dotted path of the field it concerns, so
that the sender can put it beside the right field and keep all the others.

Read so that what is wrong is set aside (``setting_aside``), a document with a fault in
it still becomes a visit: what can be read is read, what cannot is named, and the
document itself is kept word for word for a reviewer. A phone at a bridge cannot be
asked to mend it, and the rest must not wait for that.
"""

from __future__ import annotations

import datetime
import hashlib
import json
import math
import uuid
from dataclasses import dataclass, field

from django.conf import settings
from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.dateparse import parse_datetime

from bridges.models import Bridge
from shared import dates

from . import danger, finds, joints, states, stations
from .models import Answer, Certainty, Element, Observation, Photo, Viewpoint, Visit

MOST_OBSERVATIONS = 5_000
MOST_PHOTOS = 60
VISIT_KEYS = {
    "client_id",
    "bridge",
    "date",
    "basis",
    "people",
    "access",
    "not_reached",
    "notes",
    "is_danger",
    "danger_note",
    "observations",
    "photos",
    "answers_to",
    "find",
    "viewpoints",
}
OBSERVATION_KEYS = {
    "element",
    "answer",
    "state",
    "certainty",
    "reason",
    "note",
    "marks",
    "compared_with",
}
PHOTO_KEYS = {
    "client_id",
    "name",
    "size_bytes",
    "sha256",
    "element",
    "viewpoint",
    "repeats",
    "caption",
    "credit",
    "rights",
    "is_drawing",
    "taken",
    "taken_at",
    "latitude",
    "longitude",
    "position_accuracy_m",
    "position_source",
    "bearing_deg",
}
# Free text may be long, but not without end.
MOST_TEXT = 20_000


class Faulty(ValidationError):
    """A document that cannot be stored; ``rows`` are (dotted field, code, message)."""

    def __init__(self, rows):
        self.rows = list(rows)
        by_field = {}
        for name, code, message in self.rows:
            by_field.setdefault(name or "__all__", []).append(
                ValidationError(message, code=code)
            )
        super().__init__(by_field)


@dataclass
class Submission:
    """A document that has been read: facts ready to become rows."""

    # None for a new find, whose bridge is made with the visit.
    bridge: Bridge | None
    visit: dict
    observations: list[dict] = field(default_factory=list)
    photos: list[dict] = field(default_factory=list)
    answers_to: Visit | None = None
    # (dotted field, code, message) of what was not read.
    set_aside: list[tuple] = field(default_factory=list)
    find: dict | None = None
    # Joints that no visit has spoken of before, not yet stored.
    joints: list[Element] = field(default_factory=list)


def digest(payload):
    """SHA-256 of the document as canonical JSON: keys sorted, no spaces."""
    text = json.dumps(payload, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def id_of(payload):
    """Return the document's ``client_id``; raises ``Faulty``."""
    if not isinstance(payload, dict):
        raise Faulty([("", "document", "A visit is one JSON object.")])
    rows = []
    _storable(payload, "", rows)
    if rows:
        raise Faulty(rows)
    found = uuid_or_none(payload.get("client_id"))
    if found is None:
        raise Faulty([("client_id", "uuid", "A visit needs an id, a UUID.")])
    return found


def _storable(value, path, rows, depth=0):
    """Name text and numbers that no database keeps as they are."""
    if depth > 12:
        rows.append((path, "depth", "This is nested too deeply."))
    elif isinstance(value, dict):
        for name, inner in value.items():
            where = f"{path}.{name}" if path else str(name)
            _storable(str(name), where, rows, depth + 1)
            _storable(inner, where, rows, depth + 1)
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            where = f"{path}.{index}" if path else str(index)
            _storable(inner, where, rows, depth + 1)
    elif isinstance(value, str):
        if "\x00" in value or any("\ud800" <= sign <= "\udfff" for sign in value):
            rows.append((path, "text", "This holds a sign that cannot be stored."))
    elif isinstance(value, float) and not math.isfinite(value):
        rows.append((path, "number", "Expected a finite number."))


def read(payload, surveyor, *, setting_aside=False) -> Submission:
    """Check a whole document against the record; raises ``Faulty`` with every fault.

    With ``setting_aside`` only a document that names no bridge of the record, or says
    nothing at all, is refused; other faults are told in ``Submission.set_aside``.
    """
    return _Reader(payload, surveyor, setting_aside).read()


def own_id(client_id, surveyor):
    """Return the id under which a surveyor's thing is kept whose own id is taken.

    Always the same for the same two, so that sending again finds it again.
    """
    return uuid.uuid5(client_id, f"surveyor {surveyor.pk}")


def uuid_or_none(value):
    if isinstance(value, uuid.UUID):
        return value
    try:
        return uuid.UUID(value) if isinstance(value, str) else None
    except ValueError:
        return None


class _Reader:
    """Reads one document, gathering faults; a nuisance to thread through functions."""

    def __init__(self, payload, surveyor, setting_aside=False):
        self.payload = payload
        self.surveyor = surveyor
        self.is_setting_aside = setting_aside
        self.rows = []
        # Observations and photos that cannot be stored for what is wrong with them.
        self.spoilt = set()
        self.find = None
        self.joints = {}
        self.lines = None

    def fault(self, path, code, message, spoils=False):
        self.rows.append((path, code, message))
        if spoils:
            self.spoilt.add(".".join(path.split(".")[:2]))

    def read(self):
        self._known_keys(self.payload, VISIT_KEYS, "")
        bridge = self._bridge()
        visit = self._visit_facts()
        observations = self._list("observations", MOST_OBSERVATIONS)
        photos = self._list("photos", MOST_PHOTOS)
        self.elements = {}
        if bridge is not None:
            rows = Element.objects.filter(bridge=bridge)
            self.elements = {element.path: element for element in rows}
        described = self._list("viewpoints", stations.MOST)
        self.new_viewpoints = stations.read(described, self)
        read_observations = self._observations(observations, bridge)
        read_photos = self._photos(photos, bridge)
        answers_to = self._answers_to(bridge)
        if not self.rows and not self._says_something(visit, observations, photos):
            raise Faulty(
                [
                    (
                        "observations",
                        "empty",
                        "Say at least one thing: an answer, a photo, or a note.",
                    )
                ]
            )
        has_a_place = bridge is not None or self.find is not None
        if self.rows and not (self.is_setting_aside and has_a_place):
            raise Faulty(self.rows)
        latest = visit.pop("latest")
        found = Submission(
            bridge,
            visit,
            self._unspoilt("observations", read_observations),
            self._unspoilt("photos", read_photos),
            answers_to,
            self.rows,
            self.find,
            list(self.joints.values()),
        )
        visit["danger_signs"] = danger.signs(
            {**visit, "latest": latest}, found.observations, timezone.localdate()
        )
        return found

    def _unspoilt(self, name, by_index):
        return [
            facts
            for index, facts in by_index.items()
            if f"{name}.{index}" not in self.spoilt
        ]

    def _says_something(self, visit, observations, photos):
        words = ("notes", "not_reached", "danger_note")
        said = observations or photos or self.find
        return said or any(visit[name] for name in words)

    def _known_keys(self, given, known, path):
        for name in given.keys() - known:
            where = f"{path}.{name}" if path else str(name)
            self.fault(where, "unknown", f"“{name}” is not read here.")

    def _list(self, name, most):
        value = self.payload.get(name) or []
        if not isinstance(value, list):
            self.fault(name, "list", "Expected a list.")
            return []
        if len(value) > most:
            self.fault(name, "too_many", f"Expected at most {most}.")
            return []
        return value

    def _bridge(self):
        slug = self.payload.get("bridge")
        if not slug and self.payload.get("find"):
            self.find = finds.read(self.payload["find"], self)
            if self.find is not None:
                return None
        if isinstance(slug, str) and slug:
            visible = Bridge.objects.visible_to(self.surveyor)
            bridge = visible.filter(slug=slug).first()
            if bridge is not None:
                return bridge
        self.fault("bridge", "unknown", "There is no such bridge in the record.")
        return None

    # -- the visit itself

    def _visit_facts(self):
        when, latest = self._visit_date()
        facts = {
            "client_id": uuid_or_none(self.payload.get("client_id")),
            "when": when,
            "latest": latest,
            "basis": self._choice(
                self.payload, "basis", "", Visit.Basis.values, Visit.Basis.IN_PERSON
            ),
            # Garbage where the box would be ticked is taken for a tick, not for none.
            "is_danger": self._flag(self.payload, "is_danger", "", unclear=True),
        }
        for name in ("people", "access", "not_reached", "notes", "danger_note"):
            facts[name] = self._text(self.payload, name, "", Visit)
        return facts

    def _visit_date(self):
        """Return the date's text and its latest day.

        Where it cannot be used, all that is known of it: not after today.
        """
        today = timezone.localdate()
        unknown = f"../{today.isoformat()}", today
        text = self.payload.get("date")
        if not isinstance(text, str) or not text.strip():
            self.fault("date", "required", "When was this? A visit needs a date.")
            return unknown
        date = self._edtf("date", text)
        if date is None:
            return unknown
        if date.latest is None:
            self.fault("date", "open", "A visit's date needs an end.")
            return unknown
        # An uncertain date may reach past today; one wholly ahead cannot be a visit.
        if self._is_ahead(date):
            self.fault("date", "future", "A visit cannot be dated in the future.")
            return unknown
        return date.text, date.latest

    def _is_ahead(self, date):
        return date.earliest is not None and date.earliest > self._today()

    def _today(self):
        """Return the last day that a sender can mean by today.

        A phone goes by its own zone, which may be a day ahead of the society's: the
        first to see a day are 14 hours before UTC.
        """
        if self.is_setting_aside:
            return (timezone.now() + datetime.timedelta(hours=14)).date()
        return timezone.localdate()

    def _answers_to(self, bridge):
        """The visit with a question that this one answers; the surveyor's own."""
        given = self.payload.get("answers_to")
        if given in (None, ""):
            return None
        asked = uuid_or_none(given)
        ids = [asked, own_id(asked, self.surveyor)] if asked else []
        earlier = Visit.objects.filter(
            client_id__in=ids, surveyor=self.surveyor, bridge=bridge
        ).first()
        if earlier is None:
            self.fault(
                "answers_to", "unknown", "There is no such visit of yours to answer."
            )
        elif not earlier.takes_an_answer:
            self.fault(
                "answers_to",
                "status",
                f"That visit is not waiting for an answer: it is "
                f"“{earlier.get_status_display().lower()}”.",
            )
            return None
        return earlier

    # -- observations

    def _observations(self, rows, bridge):
        compared = self._compared(rows, bridge)
        said, facts = {}, {}
        for index, row in enumerate(rows):
            path = f"observations.{index}"
            if not isinstance(row, dict):
                self.fault(path, "object", "Expected an object.")
                continue
            self._known_keys(row, OBSERVATION_KEYS, path)
            element = self._element(row, path, bridge, required=True)
            if element is not None and element.path in said:
                self.fault(
                    f"{path}.element",
                    "twice",
                    f"This visit speaks of {element.name} already, in "
                    f"observations.{said[element.path]}.",
                    spoils=True,
                )
            elif element is not None:
                said[element.path] = index
            facts[index] = self._observation(row, path, element, compared)
        return facts

    def _observation(self, row, path, element, compared):
        answer = self._choice(row, "answer", path, Answer.values, None, spoils=True)
        return {
            "element": element,
            "answer": answer,
            "state": self._state(row, path, element, answer),
            "certainty": self._choice(
                row, "certainty", path, Certainty.values, Certainty.SURE, spoils=True
            ),
            "reason": self._text(row, "reason", path, Observation),
            "note": self._text(row, "note", path, Observation),
            "marks": self._text(row, "marks", path, Observation),
            "compared_with": self._compared_with(row, path, element, compared),
        }

    def _state(self, row, path, element, answer):
        state, where = row.get("state"), f"{path}.state"
        if answer == Answer.CHANGED:
            if element is None:
                return None
            clean, faults = states.clean(element.kind, state, where)
            for fault in faults:
                self.fault(*fault, spoils=True)
            return clean
        if state not in (None, {}):
            self.fault(where, "unwanted", "Only what has changed gets a new state.")
        return None

    def _compared(self, rows, bridge):
        """Return {observation id: its element id} of those the rows point at."""
        ids = {
            row["compared_with"]
            for row in rows
            if isinstance(row, dict) and _is_whole(row.get("compared_with"))
        }
        if not ids or bridge is None:
            return {}
        found = Observation.objects.filter(pk__in=ids, visit__bridge=bridge)
        return dict(found.values_list("pk", "element_id"))

    def _compared_with(self, row, path, element, compared):
        given = row.get("compared_with")
        if given is None:
            return None
        known = _is_whole(given) and given in compared
        if not known or (element is not None and compared[given] != element.pk):
            self.fault(
                f"{path}.compared_with",
                "unknown",
                "There is no such earlier observation of this element.",
            )
            return None
        return given

    def _element(self, row, path, bridge, required=False):
        given = row.get("element")
        if given in (None, "") and not required:
            return None
        element = self._element_at(given, bridge) if isinstance(given, str) else None
        if element is None and bridge is None:
            message = "A new find has no parts yet: say it in words."
            self.fault(f"{path}.element", "unknown", message, spoils=required)
        elif element is None:
            self.fault(
                f"{path}.element",
                "unknown",
                f"{bridge.name} has no “{given}” in the record.",
                spoils=required,
            )
        return element

    def _element_at(self, path, bridge):
        found = self.elements.get(path) or self.joints.get(path)
        if found is None and bridge is not None:
            found = joints.element_at(path, self._lines(bridge), self.elements)
            if found is not None:
                self.joints[path] = found
        return found

    def _lines(self, bridge):
        if self.lines is None:
            self.lines = joints.joint_lines(bridge)
        return self.lines

    # -- photos

    def _photos(self, rows, bridge):
        known = self._known_photos(rows)
        viewpoints = {}
        if bridge is not None and any(
            isinstance(row, dict) and row.get("viewpoint") for row in rows
        ):
            rows_there = Viewpoint.objects.filter(bridge=bridge)
            viewpoints = {one.name: one for one in rows_there}
        facts, seen = {}, set()
        for index, row in enumerate(rows):
            path = f"photos.{index}"
            if not isinstance(row, dict):
                self.fault(path, "object", "Expected an object.")
                continue
            self._known_keys(row, PHOTO_KEYS, path)
            client_id = uuid_or_none(row.get("client_id"))
            where = f"{path}.client_id"
            if client_id is None:
                self.fault(where, "uuid", "A photo needs an id, a UUID.", spoils=True)
            elif client_id in seen:
                self.fault(where, "twice", "Another photo has this id.", spoils=True)
            elif client_id in known:
                client_id = self._another_id(where, client_id, known[client_id])
            seen.add(client_id)
            facts[index] = self._photo(row, path, client_id, bridge, viewpoints)
        self._repeats(rows, facts, bridge, seen)
        return facts

    def _another_id(self, where, client_id, surveyor_id):
        """A photo whose id is another's is kept under one of its own."""
        if surveyor_id == self.surveyor.pk:
            self.fault(
                where,
                "twice",
                "Another photo of yours has this id, in a visit sent before. It stays "
                "there.",
                spoils=True,
            )
            return client_id
        self.fault(
            where,
            "taken",
            "Another surveyor's photo has this id. Yours is kept apart from it.",
        )
        return own_id(client_id, self.surveyor)

    def _known_photos(self, rows):
        """Return {id: whose it is} of the announced ids that are taken."""
        ids = [
            uuid_or_none(row.get("client_id")) for row in rows if isinstance(row, dict)
        ]
        found = Photo.objects.filter(client_id__in=[one for one in ids if one])
        return dict(found.values_list("client_id", "visit__surveyor"))

    def _photo(self, row, path, client_id, bridge, viewpoints):
        facts = {
            "client_id": client_id,
            "element": self._element(row, path, bridge),
            "viewpoint": self._viewpoint(row, path, viewpoints),
            "is_drawing": self._flag(row, "is_drawing", path),
            "size_bytes": self._size(row, path),
            "sha256": self._sha256(row, path),
            "taken": self._taken(row, path),
            "taken_at": self._moment(row, path),
            **self._place(row, path),
        }
        for name in ("name", "caption", "credit", "rights"):
            facts[name] = self._text(row, name, path, Photo)
        return facts

    def _viewpoint(self, row, path, viewpoints):
        given = row.get("viewpoint")
        if given in (None, ""):
            return None
        found = viewpoints.get(given) if isinstance(given, str) else None
        # One that this visit describes is made once the visit is in the record.
        is_new = isinstance(given, str) and given in self.new_viewpoints
        if found is None and not is_new:
            self.fault(
                f"{path}.viewpoint", "unknown", f"There is no viewpoint “{given}” here."
            )
        return found

    def _size(self, row, path):
        size, most = row.get("size_bytes"), settings.PHOTO_MAX_BYTES
        if not _is_whole(size) or not 0 < size <= most:
            self.fault(
                f"{path}.size_bytes",
                "size",
                f"A picture file has from 1 to {most:,} bytes. Send a smaller copy.",
                spoils=True,
            )
            return 0
        return size

    def _sha256(self, row, path):
        given = row.get("sha256")
        hexadecimal = set("0123456789abcdef")
        if not isinstance(given, str) or len(given) != 64 or set(given) - hexadecimal:
            self.fault(
                f"{path}.sha256",
                "sha256",
                "Expected 64 hexadecimal digits, lower case.",
                spoils=True,
            )
            return ""
        return given

    def _taken(self, row, path):
        text = row.get("taken")
        if text in (None, ""):
            return ""
        date = self._edtf(f"{path}.taken", text)
        if date is not None and self._is_ahead(date):
            self.fault(
                f"{path}.taken", "future", "A photo cannot be taken in the future."
            )
            return ""
        return date.text if date else ""

    def _moment(self, row, path):
        text, where = row.get("taken_at"), f"{path}.taken_at"
        if text in (None, ""):
            return None
        try:
            moment = parse_datetime(text) if isinstance(text, str) else None
        except ValueError:
            moment = None
        if moment is None or timezone.is_naive(moment):
            message = "Expected a moment such as 2019-06-02T14:03:00Z."
            self.fault(where, "moment", message)
            return None
        # Clocks of phones go a little wrong; a day is no little.
        if moment > timezone.now() + datetime.timedelta(days=1):
            message = "A photo cannot be taken in the future."
            self.fault(where, "future", message)
            return None
        return moment

    def _place(self, row, path):
        bounds = {
            "latitude": (-90, 90),
            "longitude": (-180, 180),
            "position_accuracy_m": (0, 1_000_000),
            "bearing_deg": (0, 360),
        }
        facts = {}
        for name, (least, most) in bounds.items():
            value = row.get(name)
            facts[name] = None
            if value in (None, ""):
                continue
            if not _is_number(value) or not least <= value <= most:
                self.fault(
                    f"{path}.{name}", "number", f"Expected {least:,} to {most:,}."
                )
                continue
            facts[name] = float(value)
        if facts["bearing_deg"] == 360:
            facts["bearing_deg"] = 0.0
        if (facts["latitude"] is None) != (facts["longitude"] is None):
            if not self._is_faulty(f"{path}.latitude", f"{path}.longitude"):
                self.fault(
                    f"{path}.latitude",
                    "half",
                    "A position needs latitude and longitude.",
                )
            facts["latitude"] = facts["longitude"] = None
        facts["position_source"] = self._choice(
            row, "position_source", path, Photo.Place.values, ""
        )
        return facts

    def _is_faulty(self, *paths):
        return any(path in paths for path, _, _ in self.rows)

    def _repeats(self, rows, facts, bridge, seen):
        """``repeats`` names a photo of this bridge, or another of this document."""
        wanted = {}
        for index, row in enumerate(rows):
            if isinstance(row, dict) and row.get("repeats") not in (None, ""):
                wanted[index] = uuid_or_none(row["repeats"])
        ids = {one for one in wanted.values() if one and one not in seen}
        there = set(
            Photo.objects.filter(client_id__in=ids, visit__bridge=bridge).values_list(
                "client_id", flat=True
            )
            if ids
            else ()
        )
        for index, given in wanted.items():
            own = facts[index]["client_id"] if index in facts else None
            if given is None or given == own or given not in there | seen:
                self.fault(
                    f"photos.{index}.repeats",
                    "unknown",
                    "There is no such photo of this bridge to repeat.",
                )
            elif index in facts:
                facts[index]["repeats"] = given

    # -- plain values

    def number(self, value, path, least, most):
        """Return a number within bounds as a float, or None."""
        if value in (None, ""):
            return None
        if not _is_number(value) or not least <= value <= most:
            self.fault(path, "number", f"Expected {least:,} to {most:,}.")
            return None
        return float(value)

    def _edtf(self, path, text):
        if not isinstance(text, str) or len(text) > 40:
            self.fault(path, "date", "Expected a date such as 2019-06-02 or 1908~.")
            return None
        try:
            return dates.parse(text)
        except ValidationError as error:
            self.fault(path, error.code, error.messages[0])
            return None

    def _text(self, row, name, path, model):
        value = row.get(name)
        where = f"{path}.{name}" if path else name
        if value in (None, ""):
            return ""
        most = model._meta.get_field(name).max_length or MOST_TEXT
        if not isinstance(value, str):
            self.fault(where, "text", "Expected text.")
            return ""
        if len(value) > most:
            self.fault(
                where,
                "too_long",
                f"At most {most:,} characters; this is {len(value):,}.",
            )
            return ""
        return value

    def _choice(self, row, name, path, choices, default, spoils=False):
        value = row.get(name)
        if value in (None, "") and default is not None:
            return default
        if value not in choices:
            where = f"{path}.{name}" if path else name
            self.fault(
                where, "choice", f"Expected one of: {', '.join(choices)}.", spoils
            )
            return default
        return value

    def _flag(self, row, name, path, unclear=False):
        value = row.get(name)
        if value is None:
            return False
        if not isinstance(value, bool):
            where = f"{path}.{name}" if path else name
            self.fault(where, "flag", "Expected true or false.")
            return unclear
        return value


def _is_whole(value):
    # Larger than any id or size the databases can hold is no id or size.
    return isinstance(value, int) and not isinstance(value, bool) and 0 <= value < 2**63


def _is_number(value):
    return (
        isinstance(value, (int, float))
        and not isinstance(value, bool)
        # Compared, not converted: an integer may be too large for a float.
        and abs(value) < 1e300
    )
