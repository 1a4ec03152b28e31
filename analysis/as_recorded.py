"""What the record of a bridge held at a moment, rebuilt from the edits that are kept.

Nothing is overwritten in the record: each row's earlier states are kept with when they
were saved. So the record as it was can be read again: visits that were accepted by then,
what they said and had not yet been superseded, facts as they were then worded. What no
edits are kept of stands in ``CANNOT``.

The same for everybody: what a visitor may not see now is not in it either. The facts of
one moment never change, so their hash shows that two copies say the same.
"""

from __future__ import annotations

import datetime
import hashlib
import json
from dataclasses import dataclass

from django.db.models import ForeignKey

from analysis.engine import ENGINE_VERSION
from analysis.engine.answer import answer_checks
from bridges.models import (
    Attribution,
    Bridge,
    Builder,
    Claim,
    LifeEvent,
    Plate,
    Source,
    Span,
    TrussLine,
)
from surveys import record as records
from surveys import states
from surveys.models import Component, Element, Observation, Photo, Repair, Visit

from . import telling, translate
from .archive_kinds import BY_NAME
from .archive_rows import plain
from .models import Check

EDITION = 1
CANNOT = (
    "Links to pages elsewhere: no edits of them are kept.",
    "Names of truss lines and of parts: as they are now.",
    "Which parts and sources a repair names: as they are now.",
    "Pictures themselves: their captions and hashes are here; the files are on the page "
    "as it is now, unless they have left the record.",
    "Figures of the engine: worked out again from what was recorded then, and said so.",
)
# A minute that is over; a day counts to its end.
MOMENT = "%Y-%m-%dT%H%MZ"


class NotRecorded(Exception):
    """The record held nothing of the bridge then; ``first`` is when it first did."""

    def __init__(self, first):
        self.first = first
        super().__init__("The record did not hold this bridge then.")


def read_moment(text: str) -> datetime.datetime | None:
    """Return the end of a day, or a minute in UTC; None for anything else."""
    try:
        if len(text) == 10:
            day = datetime.date.fromisoformat(text)
            end = datetime.datetime.combine(day, datetime.time.max, datetime.UTC)
            return end
        return datetime.datetime.strptime(text, MOMENT).replace(tzinfo=datetime.UTC)
    except ValueError:
        return None


@dataclass(frozen=True)
class AsRecorded:
    """The facts of one bridge at a moment, and what pages need of them."""

    bridge: Bridge
    moment: datetime.datetime
    facts: dict
    # The same with words for people, which are not part of what is hashed.
    shown: dict
    record: records.Record
    lines: list

    @property
    def sha256(self) -> str:
        return hashlib.sha256(canonical(self.facts)).hexdigest()


def canonical(facts: dict) -> bytes:
    """Return the bytes that the hash is of: JSON, keys in order, no spaces, UTF-8."""
    text = json.dumps(facts, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return text.encode()


def on(now: Bridge, moment: datetime.datetime) -> AsRecorded:
    """Read the record of a bridge again as it was. Raises ``NotRecorded``.

    ``now`` says who may see what of it. A fixed number of queries.
    """
    rows = Bridge.history.filter(id=now.pk)
    then = rows.filter(history_date__lte=moment).order_by(*LATEST).first()
    if then is None or then.history_type == "-":
        first = rows.order_by("history_date").values_list("history_date", flat=True)
        raise NotRecorded(first.first())
    bridge = then.instance
    # What is kept back now is kept back of the past too.
    bridge.is_position_sensitive |= now.is_position_sensitive
    bridge.withhold()
    held = {
        name: _rows(model, moment, bridge_id=now.pk)
        for name, model in (
            ("spans", Span),
            ("events", LifeEvent),
            ("attributions", Attribution),
            ("plates", Plate),
            ("claims", Claim),
            ("repairs", Repair),
        )
    }
    held["spans"].sort(key=lambda span: span.number)
    record = _record(bridge, moment)
    photos = _photos(record, moment)
    teller = _Teller(moment, held, record)
    facts = {"edition": EDITION, "photos": photos} | teller.all_of(bridge)
    for row, visit in zip(facts["visits"], record.visits, strict=True):
        row["said"] = {
            path: {
                "answer": seen.answer,
                "state": plain(seen.state),
                "certainty": seen.certainty,
            }
            for path, seen in record.answers_of(visit).items()
        }
    teller.in_words = True
    shown = {"photos": photos} | teller.all_of(bridge) | _in_words(record)
    return AsRecorded(
        bridge, moment, facts, shown, record, _lines(bridge, held["spans"])
    )


def _in_words(record):
    """Return the parts as last seen then and what had changed, for people.

    Not part of the facts: another release may word them otherwise.
    """
    parts = record.configuration()
    rows = [
        {
            "name": element.name,
            "is_member": bool(element.member),
            "words": "not there"
            if part.is_gone
            else states.describe(element.kind, part.state)
            if part.is_described
            else "seen, never described",
            "certainty": part.certainty,
            "confirmed_on": record.visit_by_key[part.seen_by].when,
        }
        for element in record.elements
        if (part := parts.get(element.path)) is not None
    ]
    return {
        "parts": [row for row in rows if not row["is_member"]],
        "members": [row for row in rows if row["is_member"]],
        "changes": [
            {"visit": visit.when, "said": [one.sentence for one in changes]}
            for visit, _, changes in record.steps()
            if changes
        ],
    }


LATEST = ("-history_date", "-history_id")


def _rows(model, moment, **where):
    """Return rows as they were, in the order of their ids, deleted ones left out."""
    ids = model.history.filter(**where).values("id")
    latest = {}
    rows = model.history.filter(id__in=ids, history_date__lte=moment)
    for row in rows.order_by("id", "history_date", "history_id"):
        latest[row.id] = row
    return [
        row.instance
        for row in latest.values()
        if row.history_type != "-"
        and all(_is(row, name, value) for name, value in where.items())
    ]


def _is(row, name, value):
    if name.endswith("__in"):
        return getattr(row, name.removesuffix("__in")) in value
    return getattr(row, name) == value


def _record(bridge, moment):
    """Return what the visits accepted by then said, ready to be folded."""
    visits = [
        one
        for one in _rows(Visit, moment, bridge_id=bridge.pk)
        if one.status == Visit.Status.ACCEPTED
    ]
    for one in visits:
        one.bridge = bridge
        one.withhold()
    ids = [one.pk for one in visits]
    rows = Element.objects.filter(bridge=bridge.pk)
    elements = list(
        rows.select_related("truss_line", "span").order_by("position", "path")
    )
    by_id = {one.pk: one for one in elements}
    said = {pk: [] for pk in ids}
    pieces = {}
    for one in Component.objects.filter(observation__visit__in=ids):
        pieces.setdefault(one.observation_id, []).append(one)
    for one in _rows(Observation, moment, visit_id__in=ids):
        if one.superseded_by_id or one.is_held_back or one.element_id not in by_id:
            continue
        one.element = by_id[one.element_id]
        one._prefetched_objects_cache = {"components": pieces.get(one.pk, [])}
        said[one.visit_id].append(one)
    looks = {one.pk: records.look_at(one, said[one.pk]) for one in visits}
    visits.sort(key=lambda one: looks[one.pk].order)
    return records.Record(bridge, elements, visits, [looks[one.pk] for one in visits])


def _photos(record, moment):
    ids = [one.pk for one in record.visits]
    when = {one.pk: one.when for one in record.visits}
    return [
        {
            "caption": one.caption,
            "credit": one.credit,
            "rights": one.rights,
            "taken": one.taken or when[one.visit_id],
            "is_drawing": one.is_drawing,
            "sha256": one.sha256,
        }
        for one in _rows(Photo, moment, visit_id__in=ids)
        if one.arrived_at and not one.fault
    ]


def _lines(bridge, spans):
    """Return the truss lines with their spans as they were."""
    by_id = {span.pk: span for span in spans}
    lines = list(TrussLine.objects.filter(span__in=by_id).order_by("span", "position"))
    for line in lines:
        line.span = by_id[line.span_id]
        line.span.bridge = bridge
    return lines


class _Teller:
    """Writes rows as facts, with sources numbered and builders by their names then."""

    in_words = False

    def __init__(self, moment, held, record):
        self.held, self.visits = held, record.visits
        every = [one for rows in held.values() for one in rows] + record.visits
        used = {
            getattr(one, field.attname)
            for one in every
            for field in one._meta.concrete_fields
            if isinstance(field, ForeignKey) and field.related_model is Source
        }
        repairs = [one.pk for one in held["repairs"]]
        self._of_repairs = {}
        through = Repair.sources.through.objects.filter(repair__in=repairs)
        for repair, source in through.order_by("source").values_list(
            "repair_id", "source_id"
        ):
            self._of_repairs.setdefault(repair, []).append(source)
            used.add(source)
        found = _rows(Source, moment, id__in=used - {None})
        found.sort(key=lambda one: (one.title, one.pk))
        self.numbers = {one.pk: number for number, one in enumerate(found, start=1)}
        self.found = found
        makers = {
            one.builder_id
            for one in every
            if getattr(one, "builder_id", None) is not None
        }
        self.builders = {
            one.pk: one.name for one in _rows(Builder, moment, id__in=makers)
        }

    def all_of(self, bridge):
        """Return everything told of a bridge, by kind."""
        told = {
            name: [self.told(name, one) for one in rows]
            for name, rows in self.held.items()
        }
        told["bridge"] = self.told("bridges", bridge)
        told["visits"] = [self.told("visits", one) for one in self.visits]
        if bridge.is_position_sensitive:
            for visit in told["visits"]:
                visit["notes"] = ""
        told["sources"] = [
            {"number": self.numbers[one.pk], **self.told("sources", one)}
            for one in self.found
        ]
        return told

    def told(self, name, one):
        """Return what anybody may see of a row; its bridge goes without saying."""
        kind = BY_NAME[name]
        facts = {}
        for field in kind.fields:
            if field.name not in kind.public or field.name == "skeleton":
                continue
            value = getattr(one, field.attname)
            target = kind.references.get(field.name)
            if target is None:
                facts[field.name] = plain(value)
            elif target == "sources":
                facts[field.name] = self.numbers.get(value)
            elif target == "builders":
                facts[field.name] = self.builders.get(value)
            if field.choices and self.in_words:
                facts[f"{field.name}_words"] = getattr(
                    one, f"get_{field.name}_display"
                )()
        if name == "repairs":
            numbers = [self.numbers.get(pk) for pk in self._of_repairs.get(one.pk, [])]
            facts["sources"] = sorted(filter(None, numbers))
        for hidden in ("submitted_at", "is_danger", "danger_note", "client_id"):
            facts.pop(hidden, None)
        return facts


def estimates(held: AsRecorded) -> list[dict]:
    """Return what the engine makes today of each truss line as it was recorded then.

    With the figure that the site had stored by then, where it is still there.
    """
    parts = held.record.configuration()
    made = [translate.check_file(line, parts) for line in held.lines]
    answers = iter(answer_checks([one.check for one in made if one.check]))
    rows = []
    for line, one in zip(held.lines, made, strict=True):
        answer = next(answers) if one.check else {}
        stored = None
        if one.check:
            stored = (
                Check.objects.filter(
                    input_sha256=one.sha256, computed_at__lte=held.moment
                )
                .order_by("-computed_at")
                .first()
            )
        rows.append(
            {
                "line": line,
                "words": telling.line_words(line),
                "limit_tons": _limit(answer),
                "gaps": one.gaps,
                "engine": ENGINE_VERSION,
                "stored": stored,
                "stored_tons": stored.limit_tons if stored else None,
            }
        )
    return rows


def _limit(answer):
    governing = (answer.get("governing") or {}).get("operating") or {}
    return governing.get("limit_tons")
