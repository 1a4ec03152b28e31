"""The demonstration society: invented bridges, loaded as a phone would send them.

The data lies in ``fixtures/society``: people, builders and sources in files of their
own, and one file a bridge. A bridge's visits stand there in the order in which they
were entered, which is not the order of their dates. Each says what it saw by address:

- an element's path, with or without ``span-1/`` in front: ``deck``, ``limit``;
- ``railings`` for all the railings of a span;
- ``both/upper-chord,L2U3``, ``upstream/*``: members of truss lines by role or by name;
- ``rest``: every element that earlier entries had spoken of and this one has not yet.

Several addresses may follow one another, with spaces between.
"""

from __future__ import annotations

import hashlib
import json
import re
import secrets
import uuid
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from django.conf import settings
from django.contrib.auth.models import Group
from django.core.files.storage import default_storage
from django.core.management import call_command
from django.db import transaction

from bridges.models import (
    Attribution,
    Bridge,
    Builder,
    Claim,
    Concern,
    LifeEvent,
    Link,
    Plate,
    Source,
    Span,
    TrussLine,
)
from shared import dates, policy
from shared.models import Person
from shared.statistics import refresh_statistics
from surveys import record as records
from surveys import services as surveys
from surveys.models import Element, Photo, Repair, Viewpoint, Visit

from . import dossier, illustrations, layout, services
from .demonstration import MARK

FOLDER = settings.BASE_DIR / "fixtures" / "society"
COMMON = ("people", "builders", "sources")
# Ids that are the same in every demonstration, so that addresses can be shared.
FAMILY = uuid.UUID("5ec04d00-de40-4000-8000-000000000000")
CITED_KEY = re.compile(r"\[source:([a-z-]+)\]")
SYLLABLES = [
    *("al", "ber", "cor", "den", "el", "fen", "gar", "hol", "im", "jas", "kel", "lin"),
    *(
        "mar",
        "nor",
        "os",
        "pen",
        "quil",
        "ros",
        "sal",
        "tan",
        "um",
        "ver",
        "wen",
        "yar",
    ),
]


class Refused(Exception):
    """This database holds something that is not the demonstration."""


@dataclass
class Loaded:
    """What a loading made, or found made already."""

    is_new: bool
    password: str
    usernames: list[str]
    bridges: int = 0
    visits: int = 0
    photos: int = 0


def mark() -> str | None:
    """Return the seed of a demonstration's password; None for any other database."""
    name = Group.objects.filter(name__startswith=MARK).values_list("name", flat=True)
    return name[0].removeprefix(MARK) if name else None


def password_of(seed: str) -> str:
    """Return the accounts' password, the same for one database as long as it lives."""
    digest = hashlib.sha256(f"demonstration:{seed}".encode()).digest()
    parts = [SYLLABLES[byte % len(SYLLABLES)] for byte in digest[:8]]
    words = ["".join(parts[at : at + 2]) for at in range(0, 8, 2)]
    return "-".join(words)


def holds_something_else() -> bool:
    """Say whether anything but a demonstration lives in this database."""
    return mark() is None and (Bridge.objects.exists() or Person.objects.exists())


def reset():
    """Empty a demonstration's database and its pictures; raises ``Refused``."""
    if holds_something_else():
        raise Refused
    for photo in Photo.objects.all():
        for name in (photo.original.name, *photo.derivatives.values()):
            if name:
                default_storage.delete(name)
    call_command("flush", interactive=False, verbosity=0)
    for name in policy.GROUPS:
        Group.objects.get_or_create(name=name)


@transaction.atomic
def load(
    *, with_pictures=True, progress: Callable[[int, int, str], None] | None = None
):
    """Load the demonstration society once; return what there is as ``Loaded``.

    All or nothing. ``progress`` is called with (bridges done, of how many, name).
    Raises ``Refused`` when the database holds anything else.
    """
    if holds_something_else():
        raise Refused
    seed = mark()
    if seed is not None:
        return _found(seed)
    seed = secrets.token_hex(8)
    Group.objects.create(name=MARK + seed)
    common = _Common(password_of(seed))
    names = bridge_files()
    for done, name in enumerate(names):
        document = read(name)
        if progress:
            progress(done, len(names), document["bridge"]["name"])
        _Loading(common, document, with_pictures).run()
        refresh_statistics()
    if progress:
        progress(len(names), len(names), "")
    return _found(seed, is_new=True)


def bridge_files() -> list[str]:
    return sorted(one.stem for one in FOLDER.glob("*.json") if one.stem not in COMMON)


def read(name: str) -> dict:
    return json.loads((FOLDER / f"{name}.json").read_text(encoding="utf-8"))


def _found(seed, is_new=False):
    return Loaded(
        is_new,
        password_of(seed),
        [one["username"] for one in read("people")["people"]],
        Bridge.objects.count(),
        Visit.objects.count(),
        Photo.objects.arrived().count(),
    )


class _Common:
    """People, builders and sources, by the keys the bridges' files use."""

    def __init__(self, password):
        # A database emptied by hand has lost those that its migrations made.
        groups = {
            name: Group.objects.get_or_create(name=name)[0] for name in policy.GROUPS
        }
        self.people = {}
        for one in read("people")["people"]:
            person = Person.objects.create_user(
                one["username"],
                email=one["email"],
                password=password,
                credit_name=one["credit_name"],
            )
            person.groups.set([groups[name] for name in one["groups"]])
            self.people[one["username"]] = person
        self.sources = {}
        for one in read("sources")["sources"]:
            key = one.pop("key")
            self.sources[key] = Source.objects.create(**one)
        self.builders = {}
        for one in read("builders")["builders"]:
            names = one.pop("names", [])
            made = self.builders[one["slug"]] = Builder.objects.create(**one)
            for name in names:
                made.names.create(**self.resolved(name))

    def resolved(self, facts):
        """Return facts with builders and sources in the place of their keys."""
        found = dict(facts)
        for name, value in facts.items():
            if name == "builder":
                found[name] = self.builders[value]
            elif name == "source" or name.endswith("_source"):
                found[name] = self.sources[value]
        return found


@dataclass
class _Entry:
    """One visit of the file with its observations written out by element path."""

    facts: dict
    said: list[dict] = field(default_factory=list)

    @property
    def latest(self):
        return dates.parse(self.facts["date"]).latest


class _Loading:
    """Loads one bridge; a class because every step needs the same few things."""

    def __init__(self, common, document, with_pictures):
        self.common = common
        self.document = document
        self.with_pictures = with_pictures
        self.sections = document.get("sections", {})
        self.photo_ids: dict[str, list[tuple]] = {}

    def run(self):
        self.bridge = self._bridge()
        layout.lay_out_bridge(self.bridge)
        rows = Element.objects.filter(bridge=self.bridge)
        self.elements = {one.path: one for one in rows.select_related("truss_line")}
        self._viewpoints()
        self.entries = self._written_out()
        for number, entry in enumerate(self.entries):
            self._visit(number, entry)
        self._repairs()
        surveys.refresh_standing(bridge=self.bridge)
        services.recheck(bridge=self.bridge)
        self._dossier()

    # -- what stands there

    def _bridge(self):
        document, resolved = self.document, self.common.resolved
        bridge = Bridge.objects.create(**document["bridge"])
        for facts in document["spans"]:
            lines = facts.pop("lines", [])
            span = Span.objects.create(bridge=bridge, **resolved(facts))
            for position, key in enumerate(lines):
                TrussLine.objects.create(
                    span=span, key=key, name=key.capitalize(), position=position
                )
        for name, model in (
            ("attributions", Attribution),
            ("plates", Plate),
            ("events", LifeEvent),
            ("claims", Claim),
            ("concerns", Concern),
            ("links", Link),
        ):
            for facts in document.get(name, []):
                model.objects.create(bridge=bridge, **resolved(facts))
        return bridge

    def _viewpoints(self):
        for facts in self.document.get("viewpoints", []):
            Viewpoint.objects.create(bridge=self.bridge, **facts)

    # -- what was seen

    def _written_out(self):
        entries = []
        for facts in self.document["visits"]:
            entry = _Entry(facts)
            known = {
                one["element"]
                for other in entries
                if other.latest <= entry.latest
                for one in other.said
            }
            by_path = {}
            for row in facts["saw"]:
                row = dict(row)
                for path in self._paths(row.pop("of"), known - set(by_path)):
                    by_path[path] = self._observation(path, row)
            order = {path: at for at, path in enumerate(self.elements)}
            entry.said = sorted(by_path.values(), key=lambda one: order[one["element"]])
            entries.append(entry)
        return entries

    def _observation(self, path, row):
        state = row.get("is")
        if isinstance(state, str):
            state = self.sections[state]
        answer = row.get("answer", "changed")
        said = {"element": path, "answer": answer}
        if answer == "changed":
            said["state"] = state
        return said | {k: v for k, v in row.items() if k not in ("is", "answer")}

    def _paths(self, addresses, unspoken) -> Iterator[str]:
        for address in addresses.split():
            if address == "rest":
                yield from (path for path in self.elements if path in unspoken)
            elif address.split("/")[-1] == "railings":
                span = address.rpartition("/")[0] or "span-1"
                start = f"{span}/railing"
                yield from (path for path in self.elements if path.startswith(start))
            elif address in self.elements:
                yield address
            elif f"span-1/{address}" in self.elements:
                yield f"span-1/{address}"
            else:
                yield from self._members(address)

    def _members(self, address):
        """Members of ``both/upper-chord,L2U3`` or ``span-2/upstream/*``, in order."""
        span, lines, which = ("span-1/" + address).split("/")[-3:]
        members = {
            path: {one.member, one.role, "*"}
            for path, one in self.elements.items()
            if one.member
            and path.startswith(f"{span}/")
            and lines in ("both", one.truss_line.key)
        }
        found = []
        for wanted in which.split(","):
            answering = [path for path, names in members.items() if wanted in names]
            # A form that the engine does not know has no members to speak of.
            if not answering and members:
                raise LookupError(
                    f"{self.bridge.slug}: nothing answers to {address!r}."
                )
            found += answering
        return found

    def _visit(self, number, entry):
        facts = entry.facts
        surveyor = self.common.people[facts["by"]]
        pictures = list(self._pictures(entry)) if self.with_pictures else []
        visit, _ = surveys.record_visit(
            surveyor=surveyor,
            payload=self._payload(number, entry, [row for row, _ in pictures]),
        )
        by_id = {str(photo.client_id): photo for photo in visit.photos.all()}
        for row, content in pictures:
            surveys.store_photo(photo=by_id[row["client_id"]], bytes=content)
        if "source" in facts:
            visit.source = self.common.sources[facts["source"]]
            visit.save()
        reviewer = self.common.people[
            "keeper" if facts["by"] == "reviewer" else "reviewer"
        ]
        status = facts.get("status", "accepted")
        if status == "returned":
            services.return_visit(
                visit=visit, reviewer=reviewer, question=facts["question"]
            )
        elif status == "accepted":
            surveys.accept_visit(visit=visit, reviewer=reviewer)
        if "danger_outcome" in facts:
            surveys.close_danger(
                visit=visit, reviewer=reviewer, outcome=facts["danger_outcome"]
            )

    def _payload(self, number, entry, photos):
        facts = entry.facts
        standing = records.load(self.bridge).configuration(entry.latest)
        said = []
        for one in entry.said:
            part = standing.get(one["element"])
            shown = part.said_observation if part else None
            said.append(one | ({"compared_with": shown} if shown else {}))
        words = ("people", "access", "not_reached", "notes", "is_danger", "danger_note")
        return {
            "client_id": self._id("visit", number),
            "bridge": self.bridge.slug,
            "date": facts["date"],
            "basis": facts.get("basis", "in-person"),
            **{name: facts[name] for name in words if name in facts},
            "observations": said,
            "photos": photos,
        }

    def _id(self, *parts):
        return str(uuid.uuid5(FAMILY, "/".join(map(str, (self.bridge.slug, *parts)))))

    def _pictures(self, entry):
        """Yield what the phone would announce of each picture, and its bytes."""
        stations = {one["name"]: one for one in self.document.get("viewpoints", [])}
        state = self._standing_at(entry)
        for at, facts in enumerate(entry.facts.get("pictures", [])):
            scene = illustrations.Scene(
                document=self.document,
                elements=self.elements,
                spans=list(self.bridge.spans.order_by("number")),
                state=state,
                date=entry.facts["date"],
                facts=facts,
            )
            content = illustrations.draw(scene)
            yield self._announced(entry, at, facts, stations, content), content

    def _announced(self, entry, at, facts, stations, content):
        client_id = self._id("picture", entry.facts["date"], at)
        row = {
            "client_id": client_id,
            "name": f"{self.bridge.slug}-{at + 1}.jpg",
            "size_bytes": len(content),
            "sha256": hashlib.sha256(content).hexdigest(),
            "caption": facts["caption"],
            "credit": "Drawn for the society",
            "rights": "CC BY 4.0",
            "is_drawing": True,
            "taken": entry.facts["date"],
        }
        path = facts.get("element")
        if path:
            row["element"] = next(self._paths(path, set()))
        station = stations.get(facts.get("viewpoint"))
        if station:
            row["viewpoint"] = station["name"]
            row["bearing_deg"] = station["bearing_deg"]
            row |= {name: station[name] for name in ("latitude", "longitude")}
            row["position_source"] = "typed"
            earlier = [
                found
                for latest, found in self.photo_ids.get(station["name"], [])
                if latest < entry.latest
            ]
            if earlier:
                row["repeats"] = earlier[-1]
            self.photo_ids.setdefault(station["name"], []).append(
                (entry.latest, client_id)
            )
        return row

    def _standing_at(self, entry):
        """Fold the file's visits up to one of them: {path: state, or None if gone}."""
        state = {}
        for other in sorted(self.entries, key=lambda one: one.latest):
            if other.latest > entry.latest:
                break
            for one in other.said:
                if one["answer"] == "changed":
                    state[one["element"]] = one["state"]
                elif one["answer"] == "gone":
                    state[one["element"]] = None
        return state

    # -- what people make of it

    def _repairs(self):
        visits = list(
            Visit.objects.filter(bridge=self.bridge).accepted().in_time_order()
        )
        for facts in self.document.get("repairs", []):
            facts = dict(facts)
            elements = facts.pop("elements", [])
            sources = facts.pop("sources", [])
            done = dates.parse(facts["when"])
            after = [v for v in visits if v.when_latest <= done.earliest]
            seen = [
                v
                for v in visits
                if v.when_latest >= done.latest and v.basis == Visit.Basis.IN_PERSON
            ]
            repair = Repair.objects.create(
                bridge=self.bridge,
                recorded_by=self.common.people["officer"],
                after_visit=after[-1] if after else None,
                seen_at_visit=seen[0] if seen else None,
                **self.common.resolved(facts),
            )
            repair.sources.set(self.common.sources[key] for key in sources)
            paths = [path for one in elements for path in self._paths(one, set())]
            repair.elements.set(self.elements[path] for path in paths)

    # -- what an officer wrote

    def _dossier(self):
        """Save the nomination case of the file; its log is the newest of each view."""
        case = self.document.get("dossier")
        if case is None:
            return
        newest: dict[str, str] = {}
        rows = Photo.objects.filter(visit__bridge=self.bridge).exclude(viewpoint=None)
        for photo in rows.order_by("visit__when_latest", "id"):
            newest[photo.viewpoint_id] = str(photo.client_id)
        written = {**case["texts"], **case["answers"]}
        dossier.save_narrative(
            bridge=self.bridge,
            person=self.common.people[case["by"]],
            revision=0,
            written={
                **{name: self._cited(value) for name, value in written.items()},
                "photos": list(newest.values()),
            },
        )

    def _cited(self, text):
        """Put the numbers of sources in the place of their keys."""
        if not isinstance(text, str):
            return text
        return CITED_KEY.sub(
            lambda found: f"[S{self.common.sources[found[1]].pk}]", text
        )
