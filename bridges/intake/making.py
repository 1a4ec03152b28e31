"""Making bridges of rows that match none, many at once, and all that follows of them.

What a row does not say stays not known. A truss is given two truss lines, as nearly all
have, and its elements are laid out by the room that knows how (``LAY_OUT``).
"""

from __future__ import annotations

import re

from django.utils import timezone
from django.utils.text import slugify
from simple_history.utils import bulk_create_with_history

from bridges.models import (
    RESERVED_SLUGS,
    Attribution,
    Bridge,
    Builder,
    Confidence,
    Form,
    MapVersion,
    Span,
    Standing,
    StatusSpell,
    TrussLine,
    family_of,
)
from bridges.spells import spells_of
from shared import jobs

LAY_OUT = "analysis.brought.lay_out"
FACETS = ("form", "deck_position", "connection", "material")
LINES = ("upstream", "downstream")
SLUG = re.compile(r"[-a-zA-Z0-9_]{1,160}")
PLAIN = (
    "also_known_as",
    "town",
    "road",
    "crossing",
    "status",
    "listing",
    "built",
    "lost",
    "summary",
    "access_notes",
    "owner",
    "owner_contact",
    "is_public",
    "is_position_sensitive",
)


def make(records, *, source, person=None, confidence=Confidence.PROBABLE):
    """Return new ``Bridge``s, one for each record; to be called in a transaction.

    Each record's ``facts`` need name, county and number, and its ``place`` a place.
    """
    if not records:
        return []
    slugs = _slugs(records)
    bridges = [
        _bridge(record, slug, confidence)
        for record, slug in zip(records, slugs, strict=True)
    ]
    more = {
        "default_user": person,
        "default_change_reason": f"brought in: {source}"[:100],
    }
    bridges = bulk_create_with_history(bridges, Bridge, **more)
    spans = [
        span
        for bridge, record in zip(bridges, records, strict=True)
        for span in _spans(bridge, record.facts, source, confidence)
    ]
    spans = bulk_create_with_history(spans, Span, **more)
    TrussLine.objects.bulk_create(
        TrussLine(span=span, key=key, name=key.capitalize(), position=position)
        for span in spans
        if family_of(span.form) == "truss"
        for position, key in enumerate(LINES)
    )
    hands = _attributions(bridges, records, source, confidence)
    bulk_create_with_history(hands, Attribution, **more)
    Standing.objects.bulk_create(
        _standing(bridge, record.facts, hands)
        for bridge, record in zip(bridges, records, strict=True)
    )
    today = timezone.localdate()
    StatusSpell.objects.bulk_create(
        StatusSpell(bridge=bridge, status=one.status, first=one.first, last=one.last)
        for bridge in bridges
        for one in spells_of(bridge, (), today)
    )
    ids = [bridge.pk for bridge in bridges]
    MapVersion.bump(ids)
    jobs.enqueue(LAY_OUT, by=person, bridges=ids)
    return bridges


def free_numbers(records):
    """Return the records whose numbers no bridge has yet."""
    numbers = [record.facts.get("number", "") for record in records]
    taken = set(
        Bridge.objects.filter(number__in=numbers).values_list("number", flat=True)
    )
    return [record for record in records if record.facts.get("number") not in taken]


def next_number():
    """Return a number no bridge has, for what brings none of its own."""
    count = Bridge.objects.filter(number__startswith="N-").count() + 1
    while Bridge.objects.filter(number=f"N-{count}").exists():
        count += 1
    return f"N-{count}"


def _slugs(records):
    bases = []
    for record in records:
        given = record.facts.get("slug", "")
        wanted = given if SLUG.fullmatch(given) else slugify(record.facts["name"])[:120]
        bases.append(wanted or "bridge")
    taken = {*RESERVED_SLUGS}
    taken |= set(Bridge.objects.filter(slug__in=bases).values_list("slug", flat=True))
    found = []
    for base, record in zip(bases, records, strict=True):
        slug = base
        if slug in taken:
            slug = f"{base}-{slugify(record.facts['number'])}"[:160]
        count = 2
        while slug in taken or (
            slug != base and Bridge.objects.filter(slug=slug).exists()
        ):
            slug, count = f"{base}-{count}", count + 1
        taken.add(slug)
        found.append(slug)
    return found


def _bridge(record, slug, confidence):
    facts = record.facts
    return Bridge(
        name=facts["name"][:160],
        slug=slug,
        number=facts["number"][:20],
        county=facts["county"][:80],
        latitude=record.place[0],
        longitude=record.place[1],
        position_accuracy_m=record.accuracy_m or None,
        built_confidence=facts.get("built_confidence", confidence),
        **{name: _fitting(name, facts[name]) for name in PLAIN if name in facts},
    )


def _fitting(name, value):
    most = Bridge._meta.get_field(name).max_length
    return value[:most] if isinstance(value, str) else value


def _spans(bridge, facts, source, confidence):
    count = facts.get("span_count", 1)
    for number in range(1, min(count, 999) + 1):
        span = Span(bridge=bridge, number=number)
        for facet in FACETS:
            known = facts.get(facet, "unknown") if number == 1 else "unknown"
            setattr(span, facet, known)
            setattr(span, f"{facet}_confidence", confidence)
            if known != "unknown":
                setattr(span, f"{facet}_source", source)
        if number == 1 and facts.get("longest_span_ft"):
            span.length_ft = facts["longest_span_ft"]
            span.measured_how = "document"
        yield span


def _standing(bridge, facts, hands):
    names = [one.builder.name for one in hands if one.bridge == bridge]
    count = min(facts.get("span_count", 1), 999)
    length = facts.get("longest_span_ft") if count else None
    form = facts.get("form", Form.UNKNOWN) if count else Form.UNKNOWN
    facets = {facet: facts[facet] for facet in FACETS if facet in facts and count}
    most = Standing._meta.get_field("builder_names").max_length
    return Standing(
        bridge=bridge,
        family=family_of(form),
        span_count=count,
        longest_span_ft=length,
        total_length_ft=length if count == 1 else None,
        builder_names="; ".join(names)[:most],
        plates=",none,",
        **facets,
    )


def _attributions(bridges, records, source, confidence):
    wanted = {}
    for bridge, record in zip(bridges, records, strict=True):
        text = record.facts.get("builder_names", "").rstrip("…")
        names = [" ".join(name.split())[:160] for name in text.split(";")]
        wanted[bridge] = list(dict.fromkeys(filter(None, names)))
    builders = {}
    for name in {name for names in wanted.values() for name in names}:
        builders[name] = Builder.objects.filter(name=name).first() or _builder(name)
    return [
        Attribution(
            bridge=bridge, builder=builders[name], confidence=confidence, source=source
        )
        for bridge, names in wanted.items()
        for name in names
    ]


def _builder(name):
    base = slugify(name)[:110] or "builder"
    slug, count = base, 2
    while Builder.objects.filter(slug=slug).exists():
        slug, count = f"{base}-{count}", count + 1
    return Builder.objects.create(name=name, slug=slug)
