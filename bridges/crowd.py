"""A made-up inventory of any size, to measure with and to look at.

The first ten thousand bridges are made one by one and in every way different; the many
beyond them are copied in the database, moved a little and numbered anew. Everything is
invented and follows from the seed alone.
"""

from __future__ import annotations

import random

import numpy as np
from django.core.management.color import no_style
from django.db import connection, transaction

from shared import dates

from . import packing, services
from .mapindex import unproject
from .models import (
    Attribution,
    Bridge,
    Builder,
    Confidence,
    Connection,
    DeckPosition,
    Form,
    MapRow,
    MapVersion,
    Material,
    SearchText,
    Span,
    Standing,
    StatusSpell,
    family_of,
)

MADE_ONE_BY_ONE = 10_000
BATCH = 1000
WEST, SOUTH, EAST, NORTH = -43.0, 37.0, -37.0, 42.0
WATERS = ("River", "Creek", "Brook", "Run", "Fork")
WORDS = [
    "Alder",
    "Birch",
    "Cedar",
    "Dunlin",
    "Elder",
    "Fern",
    "Gorse",
    "Hazel",
    "Iris",
    "Juniper",
    "Kestrel",
    "Linnet",
    "Maple",
    "Nettle",
    "Osier",
    "Plover",
    "Quarry",
    "Rowan",
    "Sedge",
    "Teal",
    "Umber",
    "Vetch",
    "Willow",
    "Yarrow",
    "Ash",
    "Bracken",
    "Clover",
    "Dock",
    "Egret",
    "Finch",
    "Grouse",
    "Heron",
    "Jackdaw",
    "Knot",
    "Larch",
    "Mallow",
    "Newt",
    "Otter",
    "Pine",
    "Quail",
    "Reed",
    "Sorrel",
    "Thistle",
    "Wren",
]
TRADES = ("Mill", "Ford", "Ferry", "Weir", "Lane", "Depot", "Forge", "Kiln", "Landing")
DATES = ["18{:02d}", "18{:02d}~", "19{:02d}", "189X", "188X", "../1890", "1905/..", ""]
PARTS = ["deck", "chord", "counter", "railing", "plate", "limit", "diagonal"]


def make(count, seed=7, progress=lambda made: None):
    """Fill an empty database with ``count`` bridges. ``progress`` is told how many."""
    if Bridge.objects.exists():
        raise ValueError("There are bridges here already.")
    chance = random.Random(seed)
    builders = _builders(chance)
    first = min(count, MADE_ONE_BY_ONE)
    for start in range(0, first, BATCH):
        with transaction.atomic():
            _make(chance, builders, start, min(start + BATCH, first))
        progress(min(start + BATCH, first))
    with transaction.atomic():
        MapVersion.bump()
    base = Bridge.objects.order_by("pk").values_list("pk", flat=True)
    lowest = base.first() or 1
    for start in range(first, count, MADE_ONE_BY_ONE):
        size = min(MADE_ONE_BY_ONE, count - start)
        with transaction.atomic():
            _copy(lowest, start, size)
        progress(start + size)
    with transaction.atomic():
        MapVersion.objects.update(number=count + 1, whole=count + 1)
        _put_sequences_right()
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")


def _builders(chance):
    names = [f"{a} & {b} Bridge Works" for a in WORDS[:20] for b in WORDS[20:35]]
    Builder.objects.bulk_create(
        Builder(name=name, slug=f"works-{number}")
        for number, name in enumerate(chance.sample(names, 240))
    )
    return list(Builder.objects.all())


def _make(chance, builders, start, end):
    bridges, standings, spans, hands = [], [], [], []
    for number in range(start, end):
        bridges.append(_bridge(chance, number))
    Bridge.objects.bulk_create(bridges)
    for bridge in bridges:
        form = chance.choice(Form.values)
        span_ft = round(chance.uniform(18, 260), 1)
        panels = chance.choice([None, 4, 5, 6, 7, 8, 9, 10])
        span = Span(
            bridge=bridge,
            form=form,
            deck_position=chance.choice(DeckPosition.values),
            connection=chance.choice(Connection.values),
            material=chance.choice(Material.values),
            length_ft=span_ft,
            panels=panels,
        )
        spans.append(span)
        standings.append(_standing(chance, bridge, span))
        for builder in chance.sample(builders, chance.choice([0, 1, 1, 1, 2])):
            sure = chance.choice(Confidence.values)
            hands.append(Attribution(bridge=bridge, builder=builder, confidence=sure))
    Span.objects.bulk_create(spans)
    Standing.objects.bulk_create(standings)
    Attribution.objects.bulk_create(hands)
    for bridge in bridges:
        services.refresh_spells(bridge, events=())


def _bridge(chance, number):
    a, b = chance.choice(WORDS), chance.choice(WORDS)
    built = chance.choice(DATES).format(chance.randrange(60, 99))
    bounds = dates.parse(built) if built else None
    return Bridge(
        name=f"{a} {chance.choice(TRADES)} Bridge",
        slug=f"crowd-{number}",
        number=f"C-{number}",
        county=f"{chance.choice(WORDS)}shire",
        town=f"{b} {chance.choice(TRADES)}",
        road=f"{chance.choice(WORDS)} {chance.choice(('Road', 'Street', 'Pike'))}",
        crossing=f"{chance.choice(WORDS)} {chance.choice(WATERS)}",
        latitude=round(chance.uniform(SOUTH, NORTH), 6),
        longitude=round(chance.uniform(WEST, EAST), 6),
        status=chance.choice(Bridge.Status.values),
        listing=chance.choice(Bridge.Listing.values),
        built=built,
        built_earliest=bounds.earliest if bounds else None,
        built_latest=bounds.latest if bounds else None,
        built_confidence=chance.choice(Confidence.values),
        is_position_sensitive=number % 50 == 0,
        is_public=number % 100 != 0,
    )


def _standing(chance, bridge, span):
    seen = chance.random() < 0.6
    parts = chance.sample(PARTS, chance.randint(1, 3)) if chance.random() < 0.4 else []
    words = f",{','.join(parts)}," if parts else ""
    day = f"{chance.randint(1985, 2026)}-06-0{chance.randint(1, 9)}"
    visited = dates.parse(day).latest if seen else None
    return Standing(
        bridge=bridge,
        family=family_of(span.form),
        form=span.form,
        deck_position=span.deck_position,
        connection=span.connection,
        material=span.material,
        span_count=1,
        longest_span_ft=span.length_ft,
        total_length_ft=span.length_ft,
        panels=span.panels,
        deck=chance.choice(["timber", "steel-grid", "concrete", "asphalt", ""]),
        last_visited=visited,
        last_changed=visited if parts else None,
        changed_parts=words if seen else "",
        ever_changed=words if seen else "",
        plates=chance.choice([",present,", ",missing,", ",none,", ",unsaid,"]),
        repair_count=chance.choice([0, 0, 0, 1, 2]),
    )


def _copy(lowest, start, size):
    """Copy the first bridges under ids ``start`` higher, a few hundred metres on."""
    turn = start // MADE_ONE_BY_ONE
    north, east = turn * 0.00171 % 0.05, turn * 0.00093 % 0.05
    changed = {
        Bridge: {
            "id": f"id + {start}",
            "slug": f"slug || '-{turn}'",
            "number": f"number || '-{turn}'",
            "latitude": f"latitude + {north:.6f}",
            "longitude": f"longitude + {east:.6f}",
        },
        Standing: {},
        Span: {"id": None},
        Attribution: {"id": None},
        StatusSpell: {"id": None},
        SearchText: {"told": f"told || ' c-{turn}'"},
    }
    with connection.cursor() as cursor:
        for model, values in changed.items():
            key = "id" if model is Bridge else "bridge_id"
            fields = [one.column for one in model._meta.concrete_fields]
            fields = [one for one in fields if values.get(one, one) is not None]
            values.setdefault("bridge_id", f"bridge_id + {start}")
            table = model._meta.db_table
            chosen = ", ".join(values.get(name, name) for name in fields)
            cursor.execute(
                f"INSERT INTO {table} ({', '.join(fields)}) SELECT {chosen} "
                f"FROM {table} WHERE {key} < %s",
                [lowest + size],
            )
        _copy_packed(cursor, lowest, start, size, north, east)


def _copy_packed(cursor, lowest, start, size, north, east):
    rows = MapRow.objects.filter(pk__lt=lowest + size).order_by("pk")
    packed, hands = zip(*rows.values_list("packed", "hands"), strict=True)
    records = np.frombuffer(b"".join(packed), dtype=packing.RECORD).copy()
    for x, y in (("x", "y"), ("general_x", "general_y")):
        latitude, longitude = unproject(records[x], records[y])
        records[x], records[y] = packing.project(latitude + north, longitude + east)
    records["id"] += start
    ids = records["id"].tolist()
    table = MapRow._meta.db_table
    data = [
        (pk, record.tobytes(), bytes(hand), pk)
        for pk, record, hand in zip(ids, records, hands, strict=True)
    ]
    if connection.vendor == "postgresql":
        with cursor.copy(
            f"COPY {table} (bridge_id, packed, hands, stamp) FROM STDIN"
        ) as copy:
            for row in data:
                copy.write_row(row)
    else:
        cursor.executemany(
            f"INSERT INTO {table} (bridge_id, packed, hands, stamp) "
            "VALUES (%s, %s, %s, %s)",
            data,
        )


def _put_sequences_right():
    with connection.cursor() as cursor:
        for sql in connection.ops.sequence_reset_sql(
            no_style(), [Bridge, Span, Attribution, StatusSpell]
        ):
            cursor.execute(sql)
