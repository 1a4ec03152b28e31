"""One of each thing that not everybody may see, and the secrets in them."""

from __future__ import annotations

from dataclasses import dataclass, field

from django.urls import get_resolver, reverse
from django.utils import timezone

from analysis import archive_views, dossier_jobs
from analysis.services import recheck
from bridges import watching
from bridges.models import (
    Attribution,
    Builder,
    Import,
    ImportRow,
    Plate,
    Source,
    Watch,
)
from shared import jobs, people
from surveys import services
from tests.images import with_place
from tests.makers import make_person, make_visit, photo_document
from tests.shared import example_jobs
from tests.structures import make_described_bridge

ROLES = (
    "nobody",
    "someone",
    "volunteer",
    "author",
    "reviewer",
    "officer",
    "keeper",
)
SOCIETY = {"volunteer", "author", "reviewer", "officer", "keeper"}
# What must not stand in anything that others than these are given.
SECRETS = {
    "41.234567": SOCIETY,
    "77.456789": SOCIETY,
    "secret-owner-contact": SOCIETY,
    "secret-way-in": SOCIETY,
    "secret-plate-store": SOCIETY,
    "Hidden Bridge": SOCIETY,
    "secret-note-of-a-hidden-visit": SOCIETY,
    "secret-note-that-waits": {"author", "reviewer", "keeper"},
    # A danger is told to the society at once, and a question sends whoever is next.
    "secret-danger-note": SOCIETY,
    "secret-question": SOCIETY,
    "secret-mail@example.org": {"author", "keeper"},
    "secret-job": {"author", "keeper"},
    "secret-row": {"officer", "keeper"},
}


@dataclass
class World:
    people: dict = field(default_factory=dict)
    bridges: dict = field(default_factory=dict)
    visits: dict = field(default_factory=dict)
    photos: dict = field(default_factory=dict)
    builder: object = None
    job: object = None
    dead: object = None
    row: object = None
    package: object = None
    watch: object = None
    archive: object = None
    invitation: str = ""
    waiting: object = None

    def path(self, name, case):
        """Return the address that a row of the table speaks of."""
        wanted = PARAMETERS[name]
        return reverse(
            name, kwargs={one: self._value(one, name, case) for one in wanted}
        )

    def _value(self, parameter, name, case):
        room = name.rpartition(":")[2]
        if parameter == "client_id":
            of_photos = room in ("photo", "original", "api-upload")
            kept = self.photos if of_photos else self.visits
            return kept[case or "accepted"].client_id
        if parameter == "slug":
            if room.startswith("builder"):
                return self.builder.slug
            return self.bridges[case or "open"].slug
        if parameter == "pk":
            if room == "import-row":
                return self.row.pk
            if room.startswith("import"):
                return self.row.of_id
            if room == "keeper-retry":
                return self.dead.pk
            if room == "builder-name":
                return self.builder.names.get().pk
            if room == "record-edit":
                return self.bridges["open"].spans.get().pk
            if room == "keeper-take-back":
                return self.waiting.pk
            if room == "watching-remove":
                return self.watch.pk
            return self.people["volunteer"].pk
        if parameter == "token" and room == "archive-file":
            return self.archive.token
        if parameter == "token":
            if room == "watching-stop":
                return watching._token(self.people["author"])
            if room.startswith("dossier"):
                return self.package.token
            return "no-such-token" if room == "link" else self.job.token
        if parameter == "what":
            return case or "events"
        if parameter == "secret":
            return self.invitation
        if parameter == "kind" and room == "export":
            return case or "csv"
        if parameter == "number":
            return self.bridges[case or "open"].number
        if parameter not in PLAIN:
            raise LookupError(f"Say in {__name__} what “{parameter}” of {name} is.")
        return PLAIN[parameter]


PLAIN = {
    "address": "upstream",
    "document": "sheet",
    "kind": "span",
    "form": "pratt",
    "size": "320",
    "recipe": 1,
    # A day by which the record holds all that the world was made of.
    "moment": "2999-12-31",
    "name": "source-serif-4",
}


def addresses(patterns=None, space=""):
    """Yield ``(name, parameters)`` of every address of the site."""
    for one in get_resolver().url_patterns if patterns is None else patterns:
        if hasattr(one, "url_patterns"):
            inner = f"{space}{one.namespace}:" if one.namespace else space
            yield from addresses(one.url_patterns, inner)
        else:
            yield f"{space}{one.name}", list(one.pattern.converters)


PARAMETERS = dict(addresses())


def make():
    world = World()
    for role in ROLES[1:]:
        groups = {"someone": [], "author": ["volunteer"]}.get(role, [role])
        person = make_person(role, *groups, email=f"{role}@example.org")
        if not groups:
            person.groups.clear()
        world.people[role] = person
    author, rae = world.people["author"], world.people["reviewer"]
    author.email = "secret-mail@example.org"
    author.save()
    _bridges(world)
    data = with_place()
    for key, facts in {
        "accepted": {"bridge": "open"},
        "waiting": {
            "bridge": "open",
            "notes": "secret-note-that-waits",
            "is_danger": True,
            "danger_note": "secret-danger-note",
        },
        "returned": {"bridge": "open"},
        "hidden": {"bridge": "hidden", "notes": "secret-note-of-a-hidden-visit"},
        "shy": {"bridge": "shy"},
    }.items():
        bridge = world.bridges[facts.pop("bridge")]
        # Other bytes for each: what was sent before is taken from there.
        own = data + key.encode()
        visit = make_visit(
            bridge,
            author,
            name=key,
            said={"limit": "same"},
            photos=[photo_document(own, f"{key}.jpg")],
            **facts,
        )
        world.visits[key] = visit
        world.photos[key] = visit.photos.get()
        services.store_photo(photo=world.photos[key], bytes=own)
        if key in ("accepted", "hidden", "shy"):
            services.accept_visit(visit=visit, reviewer=rae)
    services.return_visit(
        visit=world.visits["returned"], reviewer=rae, question="secret-question"
    )
    world.job = jobs.enqueue(example_jobs.echo, by=author, word="secret-job")
    for bridge in world.bridges.values():
        recheck(bridge=bridge)
    officer = world.people["officer"]
    world.package = dossier_jobs.ask(
        world.bridges["open"],
        officer,
        document=dossier_jobs.PACKAGE,
        paper="a4",
        include=[],
        case=None,
        between=[],
    )
    world.watch = Watch.objects.create(
        person=author, bridge=world.bridges["open"], told_until=timezone.now()
    )
    world.archive = jobs.enqueue(archive_views.write_archive, public=True)
    world.dead = jobs.enqueue(example_jobs.fail, how="hopeless")
    world.row = _row_of_a_list()
    world.waiting, world.invitation = people.invite(
        email="guest@example.org", groups=["volunteer"], by=world.people["keeper"]
    )
    return world


def _row_of_a_list():
    of = Import.objects.create(
        list_name="Our own CSV",
        vintage="2020",
        layout=Import.Layout.OWN,
        unmatched=Import.Unmatched.ASK,
        state=Import.State.TAKEN,
        header="number,name",
        row_count=1,
        report={"examples": {}},
    )
    return of.rows.create(
        line=2,
        raw="secret-row,secret-row",
        key="SECRET-ROW",
        name="secret-row",
        outcome=ImportRow.Outcome.QUEUED,
        faults=[["date-unread", "built", "secret-row"]],
        fault_codes=",date-unread,",
    )


def _bridges(world):
    world.bridges = {
        "open": make_described_bridge(name="Open Bridge"),
        "shy": make_described_bridge(
            name="Shy Bridge",
            latitude="41.234567",
            longitude="-77.456789",
            is_position_sensitive=True,
            owner_contact="secret-owner-contact",
            access_notes="secret-way-in",
        ),
        "hidden": make_described_bridge(name="Hidden Bridge", is_public=False),
    }
    world.builder = Builder.objects.create(name="Orr & Vane", slug="orr-vane")
    world.builder.names.create(name="Orr Bros.", when="1871/1880")
    source = Source.objects.create(title="County minutes")
    for bridge in world.bridges.values():
        Attribution.objects.create(bridge=bridge, builder=world.builder, source=source)
        Plate.objects.create(
            bridge=bridge,
            key="portal",
            location="portal",
            builder=world.builder,
            whereabouts="secret-plate-store",
        )
