"""A bridge that is not on the record, reported by who stands before it.

It becomes a bridge at once, so that its visit and photographs have a place, and one
that visitors do not see until somebody of the society has looked at it.
"""

from __future__ import annotations

from django.utils.text import slugify

from bridges import services as bridge_services
from bridges.models import Bridge, Confidence, Form, Material, Span

TEXTS = {
    "name": Bridge,
    "county": Bridge,
    "town": Bridge,
    "road": Bridge,
    "crossing": Bridge,
}
CHOICES = {
    "status": Bridge.Status.values,
    "form": Form.values,
    "material": Material.values,
}
NUMBERS = {
    "latitude": (-90, 90),
    "longitude": (-180, 180),
    "position_accuracy_m": (0, 1_000_000),
}
KEYS = {*TEXTS, *CHOICES, *NUMBERS}
UNNAMED = "Unnamed bridge"
NO_COUNTY = "Not known"


def read(given, reader):
    """Return the facts of a find, or None; faults go to ``reader``.

    ``reader`` is the submission's: it has ``fault``, ``_known_keys``, ``_text``,
    ``_choice`` and ``number``.
    """
    if not isinstance(given, dict):
        reader.fault("find", "object", "Expected an object.")
        return None
    reader._known_keys(given, KEYS, "find")
    facts = {
        name: reader._text(given, name, "find", model) for name, model in TEXTS.items()
    }
    for name, choices in CHOICES.items():
        facts[name] = reader._choice(given, name, "find", choices, "")
    for name, bounds in NUMBERS.items():
        facts[name] = reader.number(given.get(name), f"find.{name}", *bounds)
    for name in ("latitude", "longitude"):
        if facts[name] is None:
            message = "Where is it? A new find needs a position."
            reader.fault(f"find.{name}", "required", message)
            return None
    return facts


def make(facts, client_id) -> Bridge:
    """Return the new bridge of a find; to be called inside the visit's transaction."""
    short = client_id.hex[:8]
    name = facts["name"] or UNNAMED
    accuracy = facts["position_accuracy_m"]
    bridge = Bridge.objects.create(
        name=name,
        slug=f"{slugify(name)[:140] or 'bridge'}-{short}",
        number=f"F-{short}",
        county=facts["county"] or NO_COUNTY,
        town=facts["town"],
        road=facts["road"],
        crossing=facts["crossing"],
        latitude=round(facts["latitude"], 6),
        longitude=round(facts["longitude"], 6),
        position_accuracy_m=None if accuracy is None else round(accuracy),
        status=facts["status"] or Bridge.Status.IN_SERVICE,
        is_public=False,
    )
    if facts["form"] or facts["material"]:
        Span.objects.create(
            bridge=bridge,
            form=facts["form"] or Form.UNKNOWN,
            form_confidence=Confidence.POSSIBLE,
            material=facts["material"] or Material.UNKNOWN,
            material_confidence=Confidence.POSSIBLE,
        )
    bridge_services.refresh_standing(bridge)
    return bridge
