"""The index in memory and the database's own filters say the same of every question."""

import datetime
import random

import numpy as np
import pytest
from django.http import QueryDict

from bridges import columns, gathering, mapindex, services
from bridges.filters import BridgeFilter, applied
from bridges.models import (
    Bridge,
    Confidence,
    Form,
    LifeEvent,
    MapRow,
    MapVersion,
    Material,
)
from tests.bridges.inventory import built_by, list_bridge, list_builder

pytestmark = pytest.mark.django_db
DATES = ["", "1889", "188X", "1887~", "../1885", "1895/..", "1888/1902", "[1879,1901]"]
DAY = datetime.date


def inventory(count=60, seed=11):
    """A society in which nearly everything differs from bridge to bridge."""
    chance = random.Random(seed)
    builders = [list_builder(f"Firm {n}", f"firm-{n}") for n in range(3)]
    words = ["deck", "chord", "counter", "plate"]
    for number in range(1, count + 1):
        parts = chance.sample(words, chance.randint(0, 3))
        visited = chance.choice([None, DAY(2015, 6, 30), DAY(2024, 1, 2)])
        bridge = list_bridge(
            number,
            form=chance.choice(Form.values),
            material=chance.choice(Material.values),
            status=chance.choice(Bridge.Status.values),
            listing=chance.choice(Bridge.Listing.values),
            county=chance.choice(["Alder", "Sallow", "Maunder"]),
            crossing=chance.choice(["Alder River", "Wend", ""]),
            road=chance.choice(["Mill Road", "Weir Lane"]),
            built=chance.choice(DATES),
            built_confidence=chance.choice(Confidence.values),
            longest_span_ft=chance.choice([None, 42.5, 50.0, 99.96, 149.0, 212.25]),
            total_length_ft=chance.choice([None, 90.0, 300.5]),
            panels=chance.choice([None, 5, 7]),
            plates=chance.choice([",present,", ",missing,kept,", ",none,", ",unsaid,"]),
            repair_count=chance.choice([0, 2]),
            deck=chance.choice(["", "timber", "steel-grid"]),
            last_visited=visited,
            last_changed=visited if parts else None,
            changed_parts=f",{','.join(parts)}," if parts else "",
            ever_changed=f",{','.join([*parts, 'limit'])},",
            is_public=chance.random() > 0.15,
            is_position_sensitive=chance.random() < 0.25,
            lost=chance.choice(["1935", ""]),
        )
        for kind in chance.sample(["closed", "reopened", "bypassed"], 1):
            when = str(chance.randint(1920, 1990))
            LifeEvent.objects.create(bridge=bridge, kind=kind, when=when)
        services.refresh_spells(bridge)
        for builder in chance.sample(builders, chance.randint(0, 2)):
            built_by(bridge, builder, confidence=chance.choice(Confidence.values))
    # One that nobody has refreshed yet.
    bare = Bridge.objects.create(
        name="Bare", slug="bare", number="B", county="Alder", latitude=40, longitude=-40
    )
    services.refresh_spells(bare)
    MapVersion.bump()


ASKED = [
    "form=pratt&form=warren&form=howe",
    "material=steel",
    "status=closed&status=lost",
    "as_of=1925",
    "as_of=1925&status=in-service",
    "as_of=1975&status=closed&status=bypassed",
    "as_of=1890-05&form=pratt",
    "decade=1880",
    "decade=1890&decade=undated",
    "certainty=certain&certainty=possible",
    "span=0&span=100",
    "span=unknown",
    "span_min=50&span_max=150",
    "length_min=100",
    "panels=5",
    "builder=firm-0",
    "builder=firm-0&builder_certainty=certain",
    "builder_certainty=possible",
    "county=Alder",
    "crossing=Alder+River",
    "road=Weir+Lane",
    "listing=listed&listing=eligible",
    "deck=timber",
    "changed=deck",
    "changed_within=5",
    "changed_since=2016",
    "ever_changed=limit&ever_changed=plate",
    "plate=missing",
    "plate=none&plate=unsaid",
    "repairs=some",
    "repairs=none",
    "visited_since=2015-06-30",
    "unvisited_since=2020",
    "near=39.6,-40.4,6",
    "q=mill+road",
    "q=weir",
    "q=mlil",
    "q=zzzzzz",
]


def said_by_both(query, is_members):
    filterset = BridgeFilter(
        QueryDict(query), queryset=Bridge.objects.all(), is_members=is_members
    )
    assert filterset.is_valid(), filterset.errors
    by_database = filterset.qs if is_members else filterset.qs.filter(is_public=True)
    places = mapindex.places_of(is_members)
    in_memory = places.ids(places.mask(applied(filterset)))
    return sorted(by_database.values_list("pk", flat=True)), sorted(in_memory.tolist())


@pytest.mark.parametrize("is_members", [True, False])
def test_map_and_database_agree_on_every_filter_and_on_three_at_once(is_members):
    inventory()
    chance = random.Random(5)
    mixed = ["&".join(chance.sample(ASKED, 3)) for _ in range(60)]
    some = 0
    for query in [*ASKED, *mixed]:
        by_database, in_memory = said_by_both(query, is_members)
        assert in_memory == by_database, query
        some += bool(in_memory)
    assert some > len(ASKED) / 2


@pytest.mark.parametrize(
    "order",
    ["name", "number", "built", "-built", "visited", "-visited", "span", "-span"],
)
def test_the_page_is_in_the_order_that_the_database_gives(order):
    inventory()
    places = mapindex.places_of(True)
    mask = places.mask([])
    asked = BridgeFilter(
        QueryDict(f"order={order}"), queryset=Bridge.objects.all(), is_members=True
    )
    expected = list(asked.qs.values_list("pk", flat=True))
    pages = [places.page(mask, order, start, 25) for start in range(0, 75, 25)]
    assert [pk for page in pages for pk in page] == expected


def test_what_is_mended_row_by_row_is_what_is_made_anew(monkeypatch):
    monkeypatch.setattr(mapindex, "MOST_POINTS", 5)
    inventory(40)
    chance = random.Random(2)
    for round_ in range(6):
        for is_members in (True, False):
            _looked_at(mapindex.places_of(is_members))
        touched = chance.sample(list(Bridge.objects.all()), 5)
        for bridge in touched:
            bridge.county = chance.choice(["Alder", "Quarry", "Sedge"])
            bridge.status = chance.choice(Bridge.Status.values)
            bridge.is_position_sensitive = not bridge.is_position_sensitive
            if chance.random() < 0.4:
                bridge.is_public = not bridge.is_public
                bridge.name = f"{chance.choice('ABZ')} {bridge.name}"
                bridge.latitude = 39.5 + chance.random() / 5
            bridge.save()
        new = list_bridge(100 + round_, county="New County", is_position_sensitive=True)
        built_by(new, list_builder(f"Late {round_}", f"late-{round_}"))
        MapVersion.bump([bridge.pk for bridge in touched])
        assert MapVersion.objects.get().whole < MapVersion.current()
        mended = mapindex.places_of(True)
        anew = mapindex.Places(
            columns.rows_of(*mapindex._read()), "", 0, is_members=True
        )
        assert np.array_equal(mended.rows.ids, anew.rows.ids)
        hands = ("hand_counts", "hand_builders", "hand_sure")
        for name in ("x", "y", *hands):
            one, other = getattr(mended.rows, name), getattr(anew.rows, name)
            assert np.array_equal(one, other), name
        for name in columns.GROUP_OF:
            assert np.array_equal(mended.rows.of(name), anew.rows.of(name)), name
        assert np.array_equal(mended.x, anew.x)
        assert np.array_equal(mended.y, anew.y)
        for name in mapindex.TERMS:
            assert mended.counts(name, ()) == anew.counts(name, ()), name
        for is_members in (True, False):
            mended = mapindex.places_of(is_members)
            assert mended._cells
            anew = mapindex.Places(anew.rows, "", 0, is_members=is_members)
            assert _looked_at(mended) == _looked_at(anew)


def _looked_at(places):
    """Return what views near and far and the list show, all of it kept by the index."""
    boxes = [mapindex.Box(-41, 39, -40, 40, zoom) for zoom in (3, 8, 10, 11, 13)]
    told = []
    for box in boxes:
        points, clusters, total = places.view(box)
        told.append((points.tolist(), clusters, total))
    told.append(places.page(places.mask([]), "name", 0, 200))
    return told


def test_a_view_is_kept_over_a_write_that_moves_nothing(monkeypatch):
    inventory(30)
    places = mapindex.places_of(True)
    before = _looked_at(places)
    MapVersion.bump([places.rows.ids[3].item()])
    monkeypatch.setattr(gathering, "gather", None)
    monkeypatch.setattr(gathering, "coarser", None)
    box = mapindex.Box(-41, 39, -40, 40, 8)
    points, clusters, total = mapindex.places_of(True).view(box)
    assert (points.tolist(), clusters, total) == before[1]


def test_a_bridge_that_is_gone_is_gone_from_the_index():
    list_bridge(1)
    gone = list_bridge(2)
    assert len(mapindex.places_of(True)) == 2
    gone.delete()
    MapVersion.bump([1])
    assert len(mapindex.places_of(True)) == 1


def test_a_database_that_was_filled_by_hand_is_packed_when_it_is_asked():
    list_bridge(1)
    list_bridge(2)
    MapRow.objects.all().delete()
    mapindex._held = None
    assert len(mapindex.places_of(True)) == 2


def test_an_index_of_no_bridge_answers():
    places = mapindex.places_of(True)
    assert len(places) == 0
    assert places.counts("county", ()) == {}
    assert places.page(places.mask([]), "name", 0, 50) == []


def test_rows_packed_by_another_release_are_packed_anew():
    """Codes are places in a list of choices: another list, and they mean others."""
    list_bridge(1, form="warren")
    MapRow.objects.update(packed=bytes(MapRow.objects.get().packed)[::-1])
    MapVersion.objects.update(layout="of another release")
    mapindex._held = None
    places = mapindex.places_of(True)
    assert places.mask([("form", "warren")]).tolist() == [True]
