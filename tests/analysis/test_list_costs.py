"""Every list of the site costs as many queries for fifty results as for one.

One world holds one bridge with one of everything that a list tells; then fifty. A
prefetch that is taken away makes some list dearer with each row, and fails this.
"""

import datetime

import pytest
from django.core.cache import cache
from django.utils import timezone

from analysis import errands
from analysis.list_pages import LISTS
from analysis.models import Dossier
from bridges.models import (
    Builder,
    ChangeSeen,
    Claim,
    Concern,
    Form,
    Import,
    ImportRow,
    LifeEvent,
    Plate,
    Source,
    Span,
    Watch,
)
from shared import audit
from surveys.models import Element, Photo, Viewpoint, Visit
from tests.bridges.inventory import (
    built_by,
    furnish,
    list_bridge,
    list_builder,
    queries_of,
)
from tests.makers import make_id, make_person

MANY = 50
# A dossier's completeness is read off all of its facts: so many queries for each open
# case, of which a society has a few.
EXCEPT = {"dossiers"}
LIST_PAGES = [
    "/",
    "/?q=mill&decade=1880",
    "/builders/",
    "/builders/common/",
    "/changes/",
    "/changes.atom",
    "/along/",
    "/along/?crossing=Alder+River",
    "/numbers/",
    "/bridges/mill-road-1/comparables/",
    "/bridges/mill-road-1/comparables.csv",
    "/watching/",
    "/visits/",
    "/review/",
    "/due/",
    "/dossiers/",
    "/keeper/log/",
    "/keeper/people/",
    "/lists/",
    *(f"/lists/{name}/" for name in LISTS if name not in EXCEPT),
    # Written 500 rows at a time, of which fifty bridges have more edits than that.
    *(f"/lists/{name}.csv" for name in LISTS if name not in EXCEPT | {"edits"}),
    "/export/bridges.csv",
    "/export/bridges.geojson",
    "/export/bridges.gpx",
    "/api/bridges/?page_size=100",
    "/api/bridges/map/?bbox=-41,39,-40,40&zoom=9",
    "/api/views/map/?bbox=-41,39,-40,40",
    "/api/questions/",
]


def one_of_everything(number, person):
    """Make a bridge with what each list tells of one."""
    bridge = list_bridge(
        number,
        status=("closed", "lost")[number % 2],
        listing="listed",
        form=Form.values[number % len(Form.values)],
    )
    furnish(bridge, list_builder(f"Works {number}", f"works-{number}"))
    built_by(
        bridge,
        Builder.objects.get(slug="common"),
        source=Source.objects.first(),
        confidence="possible",
    )
    Dossier.objects.create(bridge=bridge, updated_by=person)
    Plate.objects.create(
        bridge=bridge, key="far", builder=Builder.objects.get(slug="common")
    )
    make_person(f"person-{number}")
    source = bridge.claims.get().source
    Claim.objects.create(
        bridge=bridge, about="built", value="1880", source=source, confidence="possible"
    )
    Claim.objects.create(
        bridge=bridge, about="lost", value="1936", source=source, confidence="possible"
    )
    Span.objects.filter(bridge=bridge).update(
        material="steel", material_confidence="possible", material_source=source
    )
    for kind in ("moved", "listed"):
        LifeEvent.objects.create(
            bridge=bridge,
            kind=kind,
            when="1990",
            when_latest=datetime.date(1990, 12, 31),
            source=source,
        )
    ChangeSeen.objects.create(
        bridge=bridge,
        key="x",
        day=datetime.date(2001, 1, 1),
        parts=",deck,",
        noted_at=timezone.now(),
    )
    for kind in Concern.Kind.values:
        Concern.objects.create(bridge=bridge, kind=kind, text="So.", source=source)
    Watch.objects.create(
        person=person, bridge=bridge, title="It", told_until=timezone.now()
    )
    element = Element.objects.create(
        bridge=bridge, kind="deck", path="span-1/deck", name="Deck"
    )
    for status in ("accepted", "submitted", "returned"):
        _visit(bridge, element, person, status)
    _row(bridge)
    audit.note(audit.Action.EXPORTED, person=person, subject=str(number))
    return bridge


def _visit(bridge, element, person, status):
    # A danger is told on every page while it is new.
    day = timezone.localdate() if status == "submitted" else datetime.date(2001, 6, 2)
    visit = Visit.objects.create(
        client_id=make_id(f"{bridge.slug} {status}"),
        bridge=bridge,
        surveyor=person,
        when=day.isoformat(),
        when_earliest=day,
        when_latest=day,
        status=status,
        is_danger=status == "submitted",
        question="Is it so?" if status == "returned" else "",
        reviewed_at=timezone.now() if status != "submitted" else None,
    )
    asked = {"question": "Which?", "asked_at": timezone.now(), "is_held_back": True}
    visit.observations.create(
        element=element, answer="same", **(asked if status == "returned" else {})
    )
    viewpoint, _ = Viewpoint.objects.get_or_create(
        bridge=bridge,
        name="Upstream elevation",
        latitude=bridge.latitude,
        longitude=bridge.longitude,
    )
    Photo.objects.create(
        client_id=make_id(f"{bridge.slug} {status} photo"),
        visit=visit,
        viewpoint=viewpoint,
        element=element,
        size_bytes=1,
        sha256="0" * 64,
        arrived_at=timezone.now(),
        derivatives={"320": "x"},
        latitude=bridge.latitude,
        longitude=bridge.longitude,
    )


def _row(bridge):
    of, _ = Import.objects.get_or_create(
        list_name="Cards",
        vintage="2020",
        layout="own",
        unmatched="keep",
        state="taken",
        file_name="cards.csv",
        sha256="0" * 64,
    )
    ImportRow.objects.create(
        of=of,
        line=bridge.pk,
        raw="x",
        outcome="matched",
        bridge=bridge,
        changes={"owner": ["a", "b"]},
    )
    ImportRow.objects.create(of=of, line=bridge.pk, raw="x", outcome="kept")


def costs(client, *, is_first):
    """Return {address: (queries, results told)} of every list."""
    found = {}
    # What is to be measured is reckoned beforehand, a second's worth at each look.
    errands.reckon_all()
    for address in LIST_PAGES:
        # What is learnt once (content types, what the database can do) is no result's.
        for _ in range(2 if is_first else 1):
            # What an earlier page left in the cache must not make this one cheaper.
            cache.clear()
            made = []
            queries = queries_of(lambda a=address, m=made: m.append(_whole(client, a)))
        found[address] = queries, made[0]
    return found


def _whole(client, address):
    response = client.get(address)
    assert response.status_code == 200, (address, response.status_code)
    if response.streaming:
        return len(b"".join(response.streaming_content))
    return len(response.content)


@pytest.mark.django_db
def test_no_list_costs_more_for_fifty_than_for_one(client, settings):
    settings.LIMITS = dict.fromkeys(settings.LIMITS, 10**9)
    keeper = make_person("kit", "keeper", "reviewer", "officer", "volunteer")
    client.force_login(keeper)
    list_builder("Common", "common")
    one_of_everything(2, keeper)
    one_of_everything(1, keeper)
    few = costs(client, is_first=True)
    for number in range(3, MANY + 1):
        one_of_everything(number, keeper)
    many = costs(client, is_first=False)
    dearer = {
        address: f"{len(few[address][0])} queries, then {len(queries)}:\n"
        + "\n".join(sorted(set(queries) - set(few[address][0]))[:4])
        for address, (queries, _) in many.items()
        if len(queries) > len(few[address][0])
    }
    assert not dearer, "\n\n".join(f"{a}: {told}" for a, told in dearer.items())
    # A list that told nothing more would prove nothing.
    same = {a for a, (_, size) in many.items() if size <= few[a][1]}
    assert same <= {"/lists/"}, same
