"""The visit form's list of elements: what was last recorded, what is answered now.

One row for each element, gathered into groups as one meets them walking. A row begins
from the record and asks only same, changed, gone or couldn't see; a row left alone
says nothing. Everything typed comes back as it was typed, whatever was wrong with it.

Names of inputs: ``e12`` is the answer for the element with id 12, ``e12-note`` its
note, ``e12-p0-size`` the size of its first new piece; ``rest-deck`` is the “rest of
this group the same” of the group ``deck``.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from functools import cached_property

from django.core.exceptions import ValidationError
from django.utils.datastructures import MultiValueDict

from . import entry, packing, states
from .models import Answer, Certainty, Component, Element

Kind = Element.Kind

MOST_PIECES = 6
LAYERS = 3
HAPPENED = {
    "added": "Pieces added to those there",
    "replaced": "Pieces replaced",
    "taken": "Pieces taken away",
    "damaged": "Section lost, bent, loose or cracked",
    "other": "Something else",
}
# What a state field is called, and the unit it is in.
LABELS = {
    "count": ("How many", ""),
    "plf_each": ("Weight of each", "lb/ft"),
    "each_lb": ("Weight of each", "lb"),
    "plf": ("Weight", "lb/ft"),
    "material": ("Material", ""),
    "tons": ("Limit on the sign", "tons"),
    "is_closed": ("Closed to vehicles", ""),
    "wording": ("Words on the sign", ""),
    "transcription": ("The words, letter by letter", ""),
    "condition": ("Its condition", ""),
    "remaining_in": ("Left at the thinnest, measured", "in"),
    "holes": ("Rivet holes across one piece", ""),
    "rivet_in": ("Rivets, diameter", "in"),
    "lacing_bars": ("Lacing bars, width × thickness", "in"),
    "untied_ft": ("Ties missing over", "ft"),
    "tightened_in": ("Turnbuckle makes it shorter by", "in"),
    "pin_in": ("Pin, diameter", "in"),
    "packing": ("Bars on the pin, in order", "thickness in inches"),
    "flags": ("Seen on it", ""),
    "description": ("In your own words", ""),
}
LONG_TEXT = {"transcription", "description", "wording", "packing"}
# Read as lengths, in the unit of their label.
LENGTHS = {"remaining_in", "rivet_in", "tightened_in", "pin_in", "untied_ft"}
# Of rods and bars nothing is laced, and only they are tightened.
RODS = {"counter", "hip-vertical"}
OF_TIED, OF_RODS = {"lacing_bars", "untied_ft", "holes", "rivet_in"}, {"tightened_in"}
TIGHTENED = {"counter", "diagonal", "hip-vertical", "vertical"}
# Words of last time would be wrong of what is new, so these begin empty.
BEGIN_EMPTY = {"wording", "condition", "description"}
ROLE_TITLES = {
    "end-post": "End posts",
    "lower-chord": "Lower chord",
    "upper-chord": "Upper chord",
    "arch": "Arch",
    "hip-vertical": "Hip verticals",
    "vertical": "Verticals",
    "diagonal": "Diagonals",
    "counter": "Counters",
    "sub-strut": "Sub-struts",
    "sub-tie": "Sub-ties",
}
GROUP_OF_KIND = {
    Kind.LIMIT: ("signs", "Signs and approaches"),
    Kind.APPROACH: ("signs", "Signs and approaches"),
    Kind.PLATE: ("plates", "Plates"),
    Kind.BRACING: ("deck", "Portals, railings and deck"),
    Kind.RAILING: ("deck", "Portals, railings and deck"),
    Kind.DECK: ("deck", "Portals, railings and deck"),
    Kind.FLOOR_BEAMS: ("below", "Under the deck"),
    Kind.STRINGERS: ("below", "Under the deck"),
    Kind.BEARING: ("below", "Under the deck"),
    Kind.ARCH: ("below", "Under the deck"),
    Kind.GIRDER: ("below", "Under the deck"),
    Kind.CABLE: ("cables", "Cables and hangers"),
    Kind.ABUTMENT: ("ground", "Abutments and piers"),
    Kind.PIER: ("ground", "Abutments and piers"),
    Kind.SETTING: ("setting", "Setting"),
}
BRIDGE_WIDE = {"signs", "plates", "ground", "setting"}


@dataclass
class Input:
    """One input of an editor, ready to be drawn."""

    name: str
    label: str
    kind: str = "text"  # text, area, select, check, checks
    value: object = ""
    choices: list = field(default_factory=list)
    unit: str = ""
    help: str = ""
    last: str = ""
    errors: list = field(default_factory=list)


@dataclass
class Kept:
    """Something that was there before: kept unless unticked.

    ``value`` is what the tick box sends: a number, so that two alike can be told
    apart, and the thing itself, so that what was shown is what is submitted even if
    the record has moved on meanwhile.
    """

    number: int
    thing: dict
    words: str
    is_kept: bool

    @property
    def value(self):
        return f"{self.number} {_text(self.thing)}"


@dataclass
class Piece:
    """Inputs for one new piece."""

    prefix: str
    shape: str = ""
    count: str = ""
    size: str = ""
    ends: str = ""
    origin: str = ""
    relieved: bool = False
    errors: list = field(default_factory=list)

    @property
    def is_blank(self):
        return not (self.shape or self.size.strip())


class Row:
    """One element: what was last recorded of it, and what is answered now."""

    def __init__(self, sheet, element, part):
        self.sheet, self.element, self.part = sheet, element, part
        self.name = f"e{element.pk}"
        self.errors: dict[str, list[str]] = {}
        self.thumbnail = None
        self.group = None
        # Set while the document is written, to find the way back from its faults:
        # the inputs its pieces and layers came from, and the pieces that are new.
        self.piece_tails: list[str] = []
        self.layer_numbers: list[int] = []
        self.fresh: list[dict] = []

    # -- what was last recorded

    @property
    def is_recorded(self):
        return self.part is not None

    @property
    def was_gone(self):
        return self.part is not None and self.part.is_gone

    @cached_property
    def state(self):
        return dict(self.part.state or {}) if self.part is not None else {}

    @property
    def last_words(self):
        if self.part is None:
            return "nothing recorded yet"
        if self.part.is_gone:
            return "not there"
        return states.describe(self.element.kind, self.part.state)

    @property
    def last_seen(self):
        """The date, as the visit gives it, when this was last confirmed."""
        visit = self.sheet.record.visit_by_key.get(self.part.seen_by)
        return visit.when if visit else ""

    @property
    def said(self):
        """The date of the visit that gave this state, when an earlier one did."""
        if not self.part.said_by or self.part.said_by == self.part.seen_by:
            return ""
        visit = self.sheet.record.visit_by_key.get(self.part.said_by)
        return visit.when if visit else ""

    @property
    def certainty_words(self):
        return Certainty(self.part.certainty).label.lower() if self.part else ""

    @property
    def title(self):
        element = self.element
        return element.member or f"{element.name[:1].upper()}{element.name[1:]}"

    # -- what is answered now

    def get(self, tail="", default=""):
        return self.sheet.data.get(f"{self.name}{tail}", default)

    def getlist(self, tail):
        return self.sheet.data.getlist(f"{self.name}{tail}")

    @property
    def answer(self):
        return self.get()

    @property
    def is_looked_at(self):
        return bool(self.answer) or self.is_among_the_rest

    @property
    def is_among_the_rest(self):
        return not self.answer and self.is_recorded and self.group.is_rest

    @property
    def base(self):
        """The observation whose state the surveyor was shown."""
        return self.part.said_observation if self.part else None

    @property
    def answers(self):
        """``(value, label)`` of the answers that make sense of this element."""
        same = "Still gone" if self.was_gone else "Same"
        changed = "Back again" if self.was_gone else "Changed"
        if not self.is_recorded:
            same, changed = "", "Describe it"
        rows = [
            (Answer.SAME, same),
            (Answer.CHANGED, changed),
            (Answer.GONE, "" if self.was_gone else "Gone"),
            (Answer.NOT_SEEN, "Couldn’t see"),
        ]
        if not self.is_recorded:
            rows[2] = (Answer.GONE, "Not there")
        return [(value.value, label) for value, label in rows]

    @property
    def has_words(self):
        tails = ("-note", "-why", "-f-description")
        return any(self.get(tail).strip() for tail in tails)

    @property
    def has_errors(self):
        return bool(self.errors)

    @property
    def first_errors(self):
        return [message for messages in self.errors.values() for message in messages]

    def fail(self, tail, message):
        self.errors.setdefault(tail, []).append(message)

    @property
    def own_errors(self):
        """Errors that belong beside the answer: those of no other input."""
        drawn = {"-note", "-why", "-also", *(f"-p{n}" for n in range(MOST_PIECES))}
        drawn |= {one.name.removeprefix(self.name) for one in self._drawn_inputs()}
        return [
            message
            for tail, messages in self.errors.items()
            if tail not in drawn
            for message in messages
        ]

    def _drawn_inputs(self):
        yield from self.inputs
        for layer in self.layers:
            yield from layer

    @property
    def note_errors(self):
        return self.errors.get("-note", [])

    @property
    def why_errors(self):
        return self.errors.get("-why", [])

    @property
    def also_errors(self):
        return self.errors.get("-also", [])

    # -- the editor

    @property
    def is_member(self):
        return self.element.kind == Kind.MEMBER

    @property
    def has_pieces(self):
        return self.element.kind in states.WITH_PIECES

    @cached_property
    def kept_pieces(self):
        """The pieces recorded before, each ticked until said to be gone."""
        ticked = set(self.getlist("-keep"))
        shown = [
            Kept(number, piece, _piece_words(piece), False)
            for number, piece in enumerate(_recorded(self))
        ]
        for piece in shown:
            piece.is_kept = piece.value in ticked
        # Ticked when the form was opened, and not in the record as it now is.
        for text in sorted(ticked - {piece.value for piece in shown}):
            piece = _piece_from(text)
            if piece is not None:
                shown.append(Kept(len(shown), piece, _piece_words(piece), True))
        return shown

    @property
    def kept(self):
        return [piece.thing for piece in self.kept_pieces if piece.is_kept]

    @property
    def gone(self):
        return [piece.thing for piece in self.kept_pieces if not piece.is_kept]

    @cached_property
    def built_up(self):
        """How the pieces are tied together, kept like a piece."""
        block = self.state.get("built_up")
        if not block:
            return None
        made = Kept(0, block, _built_up_words(block), False)
        made.is_kept = self.get("-built") == made.value
        return made

    @cached_property
    def pieces(self):
        found = [self._piece(index) for index in range(MOST_PIECES)]
        filled = [index for index, piece in enumerate(found) if not piece.is_blank]
        shown = max([*filled, -1]) + 2
        return found[: min(max(shown, 1), MOST_PIECES)] if self.has_pieces else []

    def _piece(self, index):
        tail = f"-p{index}"
        return Piece(
            prefix=f"{self.name}{tail}",
            shape=self.get(f"{tail}-shape"),
            count=self.get(f"{tail}-count"),
            size=self.get(f"{tail}-size"),
            ends=self.get(f"{tail}-ends"),
            origin=self.get(f"{tail}-origin"),
            relieved=bool(self.get(f"{tail}-relieved")),
            errors=self.errors.get(tail, []),
        )

    @cached_property
    def layers(self):
        """Inputs of a deck's layers, lowest first."""
        if self.element.kind != Kind.DECK:
            return []
        materials = [("", "–"), *states.DECK_MATERIALS.items()]
        return [
            [
                self._input(f"-l{n}-material", "Material", "select", choices=materials),
                self._input(f"-l{n}-thickness_in", "Thickness", unit="in"),
                self._input(f"-l{n}-psf", "Weight, if known", unit="lb/ft²"),
            ]
            for n in range(LAYERS)
        ]

    @cached_property
    def inputs(self):
        """Inputs of the editor's plain fields, by kind of element."""
        found = []
        for name, spec in states.fields_of(self.element.kind).items():
            made = self._field_input(name, spec)
            if made is not None:
                found.append(made)
        if self.has_pieces:
            loss = self._input("-f-loss", "Part of the section lost", unit="%")
            found.insert(0, loss)
        return found

    def _field_input(self, name, spec):
        role = self.element.role
        if name not in LABELS or (name in OF_TIED and role in RODS):
            return None
        if name in OF_RODS and role not in TIGHTENED:
            return None
        label, unit = LABELS[name]
        tail = f"-f-{name}"
        if spec.type == "choice":
            choices = [("", "–"), *((c, c.replace("-", " ")) for c in spec.choices)]
            return self._input(tail, label, "select", choices=choices)
        if spec.type == "flag":
            return self._input(tail, label, "check")
        if spec.type == "list-of-choices":
            chosen = self.getlist(tail)
            choices = [(v, w, v in chosen) for v, w in states.FLAGS.items()]
            return self._input(tail, label, "checks", choices=choices)
        kind = "area" if name in LONG_TEXT else "text"
        made = self._input(tail, label, kind, unit=unit)
        if name == "packing":
            made.help = f"From one end of the pin to the other, {packing.EXAMPLE}."
        if name in BEGIN_EMPTY:
            made.last = self.state.get(name, "")
        return made

    def _input(self, tail, label, kind="text", **more):
        return Input(
            name=f"{self.name}{tail}",
            label=label,
            kind=kind,
            value=self.get(tail),
            errors=self.errors.get(tail, []),
            **more,
        )

    @cached_property
    def alike(self):
        """Members of the same role in the span: “the same change on these too”."""
        ticked = set(self.getlist("-also"))
        return [
            (row.element.pk, row.full_name, str(row.element.pk) in ticked)
            for row in self.sheet.alike.get(_likeness(self), ())
            if row is not self
        ]

    @property
    def full_name(self):
        line = self.element.truss_line
        return f"{self.element.member} {line.name.lower()}" if line else self.title

    @property
    def certainty(self):
        return self.get("-sure", Certainty.SURE.value)

    @property
    def note(self):
        return self.get("-note")

    @property
    def why(self):
        return self.get("-why")

    @property
    def also_name(self):
        return f"{self.name}-also"

    @property
    def has_also(self):
        return bool(self.getlist("-also"))

    @property
    def damage_inputs(self):
        return [one for one in self.inputs if one.kind != "area"]

    @property
    def word_inputs(self):
        return [one for one in self.inputs if one.kind == "area"]

    @property
    def happened(self):
        return self.get("-happened")


class NewJoint(Row):
    """A joint that no visit has spoken of yet, chosen by its name, and what it is."""

    def __init__(self, sheet, group, prefix, names):
        line = group.line
        self.names = names
        self.chosen = sheet.data.get(f"j{line.pk}-joint", "")
        path = f"{prefix}/{self.chosen}"
        super().__init__(sheet, Element(kind=Kind.JOINT, path=path), None)
        self.name, self.group = f"j{line.pk}", group
        self.element.name = f"joint of the {line.name.lower()} truss"

    @property
    def answer(self):
        return Answer.CHANGED.value if self.chosen else ""

    @property
    def choices(self):
        return [("", "–"), *((name, name) for name in self.names)]

    @property
    def is_open(self):
        return self.has_errors or bool(self.chosen)

    @property
    def has_words(self):
        typed = [one.value for one in self.inputs if isinstance(one.value, str)]
        return any(text.strip() for text in typed)


@dataclass
class Group:
    """Elements one meets together, answered together."""

    key: str
    title: str
    rows: list = field(default_factory=list)
    line: object = None
    is_rest: bool = False
    new_joint: NewJoint | None = None

    @property
    def name(self):
        return f"rest-{self.key}"

    @property
    def looked(self):
        return sum(row.is_looked_at for row in self.rows)

    @property
    def can_rest(self):
        """Only what was recorded before can be the same as last time."""
        return any(row.is_recorded for row in self.rows)

    @property
    def has_errors(self):
        return any(row.has_errors for row in (*self.rows, *self.joints))

    @property
    def joints(self):
        return [self.new_joint] if self.new_joint else []

    @property
    def parts(self):
        """``[(title, rows)]``: members by role, everything else in one."""
        found = {}
        for row in self.rows:
            title = ROLE_TITLES.get(row.element.role, "") if row.is_member else ""
            found.setdefault(title, []).append(row)
        return list(found.items())


class Sheet:
    """All rows of one bridge's form, from the record and from what was typed."""

    def __init__(self, record, as_of=None, data=None):
        self.record = record
        self.parts = record.configuration(as_of)
        self.data = MultiValueDict() if data is None else data
        self.rows = [
            Row(self, element, self.parts.get(element.path))
            for element in record.elements
        ]
        self.by_pk = {row.element.pk: row for row in self.rows}
        self.alike: dict[tuple, list[Row]] = {}
        for row in self.rows:
            if row.is_member:
                self.alike.setdefault(_likeness(row), []).append(row)
        self.groups = self._grouped()
        self._add_joints()
        if data is None:
            for row in self.rows:
                _begin(row, self.data)
        # For each submitted observation the row in which it was typed.
        self.paths: list[Row] = []

    def _grouped(self):
        spans = {row.element.span_id for row in self.rows if row.element.span_id}
        groups = {}
        for row in self.rows:
            key, title, line = _group_of(row.element, len(spans) > 1)
            group = groups.get(key)
            if group is None:
                group = groups[key] = Group(key, title, line=line)
                group.is_rest = bool(self.data.get(group.name))
            group.rows.append(row)
            row.group = group
        return list(groups.values())

    def _add_joints(self):
        known = {row.element.path for row in self.rows}
        for group in self.groups:
            # The element's own span: that of its line would cost a query each.
            span = group.rows[0].element.span if group.line else None
            if span is None or not span.skeleton:
                continue
            prefix = f"span-{span.number}/{group.line.key}"
            joints = span.skeleton["joints"]
            names = [name for name in joints if f"{prefix}/{name}" not in known]
            if names:
                group.new_joint = NewJoint(self, group, prefix, names)

    @property
    def all_rows(self):
        joints = [row for group in self.groups for row in group.joints]
        return [*self.rows, *joints]

    @property
    def looked(self):
        return sum(group.looked for group in self.groups)

    @property
    def has_errors(self):
        return any(row.has_errors for row in self.all_rows)

    @property
    def errors(self):
        """``[(id of the input to go to, element, message)]`` for the summary."""
        return [
            (row.name, row.element.name, message)
            for row in self.all_rows
            for message in row.first_errors
        ]

    # -- into the submitted document

    def observations(self):
        """Return the submitted observations; what cannot be read is told by ``fail``.

        What is typed and cannot be read stays in the document as it was typed, so that
        the service refuses it and nothing is quietly left out.
        """
        said, self.paths, copies = [], [], []
        for row in self.all_rows:
            answer = row.answer or (Answer.SAME.value if row.is_among_the_rest else "")
            if not answer:
                if row.has_words:
                    row.fail("", "You wrote something here: choose an answer for it.")
                continue
            observation = _observation(row, answer)
            said.append(observation)
            self.paths.append(row)
            if answer == Answer.CHANGED and row.is_member:
                copies += [(row, observation, pk) for pk in row.getlist("-also")]
        for row, observation, pk in copies:
            self._copy(row, observation, pk, said)
        return said

    def _copy(self, row, observation, pk, said):
        """Record the same change of another member of the same role."""
        other = self.by_pk.get(int(pk)) if pk.isascii() and pk.isdigit() else None
        if other is None:
            row.fail("-also", "One of the members ticked is not there any more.")
            return
        if other.answer:
            row.fail(
                "-also",
                f"{other.full_name} has an answer of its own and is also ticked here: "
                "leave one of the two.",
            )
            return
        already = [
            index
            for index, one in enumerate(said)
            if one["element"] == other.element.path
        ]
        if any(said[index]["answer"] != Answer.SAME for index in already):
            row.fail("-also", f"{other.full_name} is ticked in two places.")
            return
        for index in already:
            # Ticked here, it is no longer of the rest that is the same.
            del self.paths[index], said[index]
        copied = {**observation, "element": other.element.path}
        copied["compared_with"] = other.base
        state = {
            name: value
            for name, value in observation["state"].items()
            if name not in ("components", "built_up")
        }
        copied["state"] = state | _pieces_of_copy(row, other)
        said.append(copied)
        self.paths.append(row)

    # -- and faults back to their inputs

    def take(self, rows):
        """Put the service's faults beside their inputs; return those of no row."""
        rest = []
        for path, code, message in rows:
            parts = path.split(".")
            if parts[0] != "observations" or len(parts) < 2 or not parts[1].isdigit():
                rest.append((path, code, message))
                continue
            row = self.paths[int(parts[1])]
            tail = _tail_of(row, parts[2:])
            # What the form itself said of an input is nearer to what was typed.
            if tail not in row.errors:
                row.fail(tail, message)
        return rest


def _likeness(row):
    return row.element.span_id, row.element.role


def _group_of(element, several_spans):
    if element.kind in (Kind.MEMBER, Kind.JOINT) and element.truss_line_id:
        line = element.truss_line
        title = f"{line.name} truss"
        if several_spans:
            title = f"{title}, span {element.span.number}"
        return f"line-{line.pk}", title, line
    key, title = GROUP_OF_KIND.get(element.kind, ("setting", "Setting"))
    if several_spans and key not in BRIDGE_WIDE and element.span_id:
        key = f"{key}-{element.span_id}"
        title = f"{title}, span {element.span.number}"
    return key, title, None


# -- beginning from the record


def _begin(row, data):
    """Fill an untouched row's editor from what was last recorded."""
    _fill(row, row.state, data)
    kept = [Kept(n, piece, "", True).value for n, piece in enumerate(_recorded(row))]
    data.setlist(f"{row.name}-keep", kept)
    if row.state.get("built_up"):
        data[f"{row.name}-built"] = Kept(0, row.state["built_up"], "", True).value


def _recorded(row):
    return row.state.get("components", [])


def _fill(row, state, data, begin_empty=BEGIN_EMPTY):
    for name, value in state.items():
        if name in begin_empty or name in ("components", "built_up"):
            continue
        if name == "layers":
            _fill_layers(row, value, data)
        elif name == "flags":
            data.setlist(f"{row.name}-f-flags", list(value))
        elif name == "loss_fraction":
            data[f"{row.name}-f-loss"] = entry.number_text(value * 100)
        elif isinstance(value, bool):
            if value:
                data[f"{row.name}-f-{name}"] = "on"
        elif isinstance(value, (int, float)):
            data[f"{row.name}-f-{name}"] = entry.number_text(value)
        else:
            data[f"{row.name}-f-{name}"] = str(value)


def _fill_layers(row, layers, data):
    for index, layer in enumerate(layers[:LAYERS]):
        prefix = f"{row.name}-l{index}"
        data[f"{prefix}-material"] = layer.get("material", "")
        for name in ("thickness_in", "psf"):
            if layer.get(name) is not None:
                data[f"{prefix}-{name}"] = entry.number_text(layer[name])


def begin_from(sheet, payload):
    """Fill a sheet from a document submitted before, to be answered or corrected."""
    by_path = {row.element.path: row for row in sheet.rows}
    data = sheet.data
    for said in payload.get("observations", []):
        row = by_path.get(said.get("element"))
        if row is None:
            continue
        data[row.name] = said.get("answer", "")
        data[f"{row.name}-sure"] = said.get("certainty") or Certainty.SURE.value
        data[f"{row.name}-why"] = said.get("reason") or ""
        data[f"{row.name}-note"] = said.get("note") or ""
        state = said.get("state")
        if isinstance(state, dict):
            _begin_from_state(row, state, data)


def _begin_from_state(row, state, data):
    _fill(row, state, data, begin_empty=())
    left = {Kept(n, piece, "", True).value for n, piece in enumerate(_recorded(row))}
    kept, fresh = [], []
    for piece in state.get("components") or []:
        found = [value for value in left if value.split(" ", 1)[1] == _text(piece)]
        if found:
            kept.append(found[0])
            left.discard(found[0])
        else:
            fresh.append(piece)
    data.setlist(f"{row.name}-keep", kept)
    built = state.get("built_up")
    data[f"{row.name}-built"] = Kept(0, built, "", True).value if built else ""
    for index, piece in enumerate(fresh[:MOST_PIECES]):
        prefix = f"{row.name}-p{index}"
        for name in ("shape", "ends", "origin"):
            data[f"{prefix}-{name}"] = piece.get(name) or ""
        data[f"{prefix}-count"] = str(piece.get("count", 1))
        data[f"{prefix}-size"] = entry.size_text(piece)
        if piece.get("dead_load_relieved"):
            data[f"{prefix}-relieved"] = "on"


# -- what is typed, into a state


def _observation(row, answer):
    said = {
        "element": row.element.path,
        "answer": answer,
        "certainty": row.certainty,
        "note": row.get("-note").strip(),
        "compared_with": row.base,
    }
    if answer == Answer.NOT_SEEN:
        said["reason"] = row.get("-why").strip()
    if answer == Answer.CHANGED:
        said["state"] = _state(row)
        if row.is_recorded and said["state"] == _comparable(row.state):
            row.fail(
                "-f-description",
                "Nothing here differs from last time: say what has changed, or answer "
                "“Same”.",
            )
    return said


def _comparable(state):
    """A recorded state less the words that the form does not bring back."""
    return {name: value for name, value in state.items() if name not in BEGIN_EMPTY}


def _state(row):
    state = {}
    for name, spec in states.fields_of(row.element.kind).items():
        value = _field_value(row, name, spec)
        # Nought is an answer: a limit of 0 tons.
        if value is not None and value is not False and value not in ("", []):
            state[name] = value
    if row.has_pieces:
        _pieces_state(row, state)
    if row.element.kind == Kind.DECK:
        layers = _layers(row)
        if layers:
            state["layers"] = layers
    return state


def _field_value(row, name, spec):
    tail = f"-f-{name}"
    if spec.type == "list-of-choices":
        return sorted(row.getlist(tail))
    text = row.get(tail).strip()
    if spec.type == "flag":
        return bool(text) if name in LABELS else row.state.get(name)
    if spec.type in ("number", "whole") and name in LABELS and text:
        return _length(row, tail, text) if name in LENGTHS else _number(row, tail, text)
    return text


def _number(row, tail, text):
    try:
        return entry.number(text)
    except ValidationError as error:
        row.fail(tail, error.messages[0])
        return text


def _length(row, tail, text):
    try:
        return entry.units.length(text, tail.rpartition("_")[2])
    except ValidationError as error:
        row.fail(tail, error.messages[0])
        return text


def _pieces_state(row, state):
    loss = row.get("-f-loss").strip()
    if loss:
        percent = _number(row, "-f-loss", loss)
        state["loss_fraction"] = (
            round(percent / 100, 6) if isinstance(percent, float) else percent
        )
    row.fresh, row.piece_tails = [], [""] * len(row.kept)
    for index in range(MOST_PIECES):
        piece = row._piece(index)
        if not piece.is_blank:
            row.fresh.append(_new_piece(row, piece, f"-p{index}"))
            row.piece_tails.append(f"-p{index}")
    pieces = [*row.kept, *row.fresh]
    if pieces:
        state["components"] = pieces
    # Ties of a member all of whose pieces went, went with them.
    if row.built_up and row.built_up.is_kept and (row.kept or not row.gone):
        state["built_up"] = row.built_up.thing


def _new_piece(row, piece, tail):
    """A piece as the document writes it; its origin follows what has happened."""
    replaced = row.happened == "replaced" or not row.kept
    default = Component.Origin.REPLACEMENT if replaced else Component.Origin.ADDITION
    if not _recorded(row):
        default = Component.Origin.ORIGINAL
    made = {
        "shape": piece.shape,
        "count": _count(row, piece, tail),
        "origin": piece.origin or default.value,
    }
    if piece.ends:
        made["ends"] = piece.ends
    if piece.relieved:
        made["dead_load_relieved"] = True
    size = piece.size.strip()
    if size:
        made["as_entered"] = size
    if not piece.shape:
        row.fail(tail, "What shape is this piece? A bar, a rod, an angle …")
    elif size and piece.shape in states.SIZES_BY_SHAPE:
        try:
            made |= entry.sizes(piece.shape, size)
        except ValidationError as error:
            row.fail(tail, error.messages[0])
    elif not size:
        made["as_entered"] = "size not measured"
    return made


def _count(row, piece, tail):
    text = piece.count.strip()
    if not text:
        return 1
    try:
        return entry.number(text)
    except ValidationError:
        row.fail(tail, f"“{text}” is not a number of pieces.")
        return text


def _layers(row):
    layers = []
    row.layer_numbers = []
    for index in range(LAYERS):
        typed = {
            name: row.get(f"-l{index}-{name}").strip()
            for name in ("material", "thickness_in", "psf")
        }
        if not any(typed.values()):
            continue
        layer = {"material": typed["material"]}
        for name in ("thickness_in", "psf"):
            if typed[name]:
                layer[name] = _layer_size(row, f"-l{index}-{name}", name, typed[name])
        if not typed["material"]:
            row.fail(f"-l{index}-material", "What is this layer made of?")
        layers.append(layer)
        row.layer_numbers.append(index)
    return layers


def _layer_size(row, tail, name, text):
    try:
        if name == "thickness_in":
            return entry.units.length(text, "in")
        return entry.number(text)
    except ValidationError as error:
        row.fail(tail, error.messages[0])
        return text


def _pieces_of_copy(row, other):
    """The other member's own pieces, changed as this one's were.

    What was kept here is kept there, what went here goes there; what is new is alike.
    """
    all_went = row.gone and not row.kept
    own = [] if all_went else [p for p in _recorded(other) if p not in row.gone]
    pieces = {"components": [*own, *row.fresh]} if own or row.fresh else {}
    if other.state.get("built_up") and not all_went:
        pieces["built_up"] = other.state["built_up"]
    return pieces


def _tail_of(row, parts):
    """The end of the input's name that a path below one observation belongs to."""
    if parts[:1] == ["note"]:
        return "-note"
    if parts[:1] == ["reason"]:
        return "-why"
    if parts[:2] == ["state", "components"] and len(parts) > 2:
        index = int(parts[2])
        return row.piece_tails[index] if index < len(row.piece_tails) else ""
    if parts[:2] == ["state", "layers"] and len(parts) > 3:
        return f"-l{row.layer_numbers[int(parts[2])]}-{parts[3]}"
    if parts[:2] == ["state", "loss_fraction"]:
        return "-f-loss"
    if parts[:1] == ["state"]:
        return f"-f-{parts[1]}" if len(parts) > 1 else "-f-description"
    return ""


def _text(value):
    """JSON in one spelling, so that a ticked box can be recognised."""
    return json.dumps(value, sort_keys=True, separators=(",", ":"))


def _piece_from(value):
    """Read a tick box's piece; None for what no form of ours sends."""
    try:
        piece = json.loads(value.partition(" ")[2])
    except ValueError:
        return None
    clean, faults = states.clean(Kind.MEMBER, {"components": [piece]})
    return None if faults else clean["components"][0]


def _piece_words(piece):
    words = states.describe_component(piece)
    origin = piece.get("origin", Component.Origin.ORIGINAL.value)
    return f"{words} ({Component.Origin(origin).label.lower()})"


def _built_up_words(block):
    words = []
    if block.get("cover_plate"):
        words.append(states.describe(Kind.MEMBER, {"built_up": block}))
    if block.get("tied_by") in ("lacing", "battens"):
        words.append(f"tied by {block['tied_by']}")
    if block.get("webs_apart_in"):
        apart = entry.units.fraction_text(block["webs_apart_in"])
        words.append(f"webs {apart} in apart")
    return "; ".join(words) or "the way they are tied together"
