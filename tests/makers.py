"""Makers of the few things tests stand on: fixed, readable facts and no randomness."""

import hashlib
import uuid

from django.contrib.auth.models import Group

from bridges.models import (
    Bridge,
    Connection,
    DeckPosition,
    Form,
    Material,
    Span,
    TrussLine,
)
from shared import policy
from shared.models import Person
from surveys import services

PASSWORD = "a long enough password"
FAMILY = uuid.UUID("5ec04d00-0000-4000-8000-000000000000")


def make_id(name):
    """Return the same UUID for the same name, so that tests can be read again."""
    return uuid.uuid5(FAMILY, str(name))


def make_person(username="ada", *groups, **facts):
    """Return somebody in the named groups (volunteer when none is named)."""
    person = Person.objects.create_user(username, password=PASSWORD, **facts)
    for name in groups or (policy.VOLUNTEER,):
        # Made again where a test with real transactions has emptied the tables.
        assert name in policy.GROUPS, name
        person.groups.add(Group.objects.get_or_create(name=name)[0])
    return person


def make_bridge(**facts):
    """Return a one-span, two-truss, five-panel through Pratt with its elements.

    Five panels of 18 ft, 20 ft deep, pins, wrought iron; lines upstream and downstream.
    Facts of ``span`` may be given as ``span={...}``; ``lay_out=False`` makes no elements.
    """
    span_facts = facts.pop("span", {})
    lay_out = facts.pop("lay_out", True)
    name = facts.pop("name", "Tanner's Ford Bridge")
    slug = facts.pop("slug", name.lower().replace("'", "").replace(" ", "-"))
    bridge = Bridge.objects.create(
        name=name,
        slug=slug,
        number=facts.pop("number", f"A-{Bridge.objects.count() + 1:03d}"),
        **{
            "county": "Alder",
            "town": "Tanner's Ford",
            "road": "Mill Road",
            "crossing": "Alder River",
            "latitude": 41.2,
            "longitude": -77.4,
            "built": "1889",
            **facts,
        },
    )
    make_span(bridge, **span_facts)
    if lay_out:
        # Imported here: tests of the lower rooms need no engine to make a bare bridge.
        from analysis.layout import lay_out_bridge

        lay_out_bridge(bridge)
    return bridge


def make_span(bridge, **facts):
    """Return one more span of a bridge, a five-panel Pratt with two truss lines."""
    span = Span.objects.create(
        bridge=bridge,
        number=bridge.spans.count() + 1,
        **{
            "form": Form.PRATT,
            "deck_position": DeckPosition.THROUGH,
            "connection": Connection.PIN,
            "material": Material.WROUGHT_IRON,
            "length_ft": 90.0,
            "panels": 5,
            "panel_length_ft": 18.0,
            "depth_ft": 20.0,
            "roadway_ft": 14.0,
            "trusses_apart_ft": 16.0,
            **facts,
        },
    )
    for position, key in enumerate(("upstream", "downstream")):
        TrussLine.objects.create(
            span=span, key=key, name=key.capitalize(), position=position
        )
    return span


def visit_document(bridge, *, date="2019-06-02", name="", photos=(), **more):
    """Return what a phone would submit: ``said`` maps paths to an answer or a state.

    ``said={"limit": "same", "span-1/deck": {"layers": [...]}}``; a state means changed.
    """
    said = more.pop("said", None) or {}
    observations = [
        {"element": path, "answer": "changed", "state": what}
        if isinstance(what, dict)
        else {"element": path, "answer": what}
        for path, what in said.items()
    ]
    return {
        "client_id": str(make_id(f"{bridge.slug} {date} {name}")),
        "bridge": bridge.slug,
        "date": date,
        "basis": "in-person",
        "notes": more.pop("notes", "Looked at from the road."),
        "observations": observations,
        "photos": list(photos),
        **more,
    }


def photo_document(data, name="deck.jpg", **more):
    """Return how a submitted visit announces a photo of these bytes."""
    return {
        "client_id": str(make_id(f"photo {name}")),
        "name": name,
        "size_bytes": len(data),
        "sha256": hashlib.sha256(data).hexdigest(),
        **more,
    }


def make_visit(bridge, surveyor=None, reviewer=None, **facts):
    """Return a recorded visit; accepted when a reviewer is given.

    ``facts`` as ``visit_document`` takes them.
    """
    surveyor = surveyor or Person.objects.filter(username="ada").first()
    surveyor = surveyor or make_person("ada")
    visit, _ = services.record_visit(
        surveyor=surveyor, payload=visit_document(bridge, **facts)
    )
    if reviewer is not None:
        visit = services.accept_visit(visit=visit, reviewer=reviewer)
    return visit
