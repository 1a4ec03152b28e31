"""A bridge as the map and list know it, made without spans or elements."""

import datetime

from django.db import connection
from django.test.utils import CaptureQueriesContext

from bridges import services
from bridges.models import (
    Attribution,
    Bridge,
    Builder,
    BuilderName,
    Claim,
    LifeEvent,
    Link,
    MapVersion,
    Plate,
    Source,
    Span,
    Standing,
    TrussLine,
    family_of,
)

STANDING = {
    "form": "pratt",
    "deck_position": "through",
    "connection": "pin",
    "material": "wrought-iron",
    "span_count": 1,
    "longest_span_ft": 90.0,
    "deck": "timber",
    "visit_count": 2,
    "last_visited": datetime.date(2024, 6, 2),
    "last_changed": datetime.date(2024, 6, 2),
    "changed_parts": ",deck,",
}


MORE = (
    "posted_tons",
    "ever_changed",
    "panels",
    "total_length_ft",
    "plates",
    "repair_count",
    "features",
)


def list_bridge(number=1, **facts):
    """Return a bridge with its standing; facts of either go to where they belong."""
    standing = {key: facts.pop(key, value) for key, value in STANDING.items()}
    standing |= {key: facts.pop(key) for key in MORE if key in facts}
    bridge = Bridge.objects.create(
        **{
            "name": f"Mill Road Bridge {number}",
            "slug": f"mill-road-{number}",
            "number": f"A-{number:03d}",
            "county": "Alder",
            "town": "Kestle",
            "road": "Mill Road",
            "crossing": "Alder River",
            "latitude": 39.5 + number * 0.003,
            "longitude": -40.5 + number * 0.004,
            "built": "1889",
            **facts,
        }
    )
    standing.setdefault("ever_changed", standing["changed_parts"])
    Standing.objects.create(
        bridge=bridge, family=family_of(standing["form"]), **standing
    )
    services.refresh_spells(bridge)
    MapVersion.bump([bridge.pk])
    return bridge


def list_builder(name="Corrick & Vane", slug="corrick-and-vane", **facts):
    return Builder.objects.create(name=name, slug=slug, place="Hollin Mills", **facts)


def named(builder, name, when="", **facts):
    return BuilderName.objects.create(builder=builder, name=name, when=when, **facts)


def built_by(bridge, builder, **facts):
    hand = Attribution.objects.create(bridge=bridge, builder=builder, **facts)
    MapVersion.bump([bridge.pk])
    return hand


def furnish(bridge, builder):
    """Give a bridge one of everything that its page in the API tells."""
    source = Source.objects.create(title=f"Minute book of {bridge.slug}")
    built_by(bridge, builder, source=source)
    span = Span.objects.create(
        bridge=bridge, form="pratt", form_source=source, length_ft=90.0
    )
    for position, key in enumerate(("upstream", "downstream")):
        TrussLine.objects.create(span=span, key=key, name=key, position=position)
    Plate.objects.create(
        bridge=bridge,
        key="portal-east",
        location="east portal",
        builder=builder,
        transcription="CORRICK & VANE",
        whereabouts="in the society's store",
    )
    Claim.objects.create(bridge=bridge, about="built", value="1889", source=source)
    LifeEvent.objects.create(bridge=bridge, kind="built", when="1889", source=source)
    Link.objects.create(
        bridge=bridge, title="A page", url="https://pages.example/mill-road"
    )
    return bridge


def queries_of(ask):
    """Return the SQL that a call runs."""
    with CaptureQueriesContext(connection) as seen:
        ask()
    return [query["sql"] for query in seen.captured_queries]
