"""Laying out a span: its skeleton from its form, and the elements seen on it.

A member is the same element for ever, so laying a span out again adds what is missing
and never takes anything away that a visit has spoken of.
"""

from django.db import transaction

from analysis.engine import forms
from bridges.models import Form
from surveys.models import Element

Kind = Element.Kind

# Forms of the record that the engine draws as one of its own.
DRAWN_AS = {Form.CAMELBACK: "parker"}
ROLE_ORDER = (
    "end-post",
    "lower-chord",
    "upper-chord",
    "arch",
    "hip-vertical",
    "vertical",
    "diagonal",
    "counter",
    "sub-strut",
    "sub-tie",
)
# Where one meets things walking up to a bridge, across it and below it.
LIMIT, APPROACH, PLATE, PORTAL, RAILING, DECK = 10, 100, 200, 300, 400, 500
TRUSS, LINE_STEP, SPAN_STEP = 1_000, 2_000, 10_000
BELOW, SUBSTRUCTURE, SETTING = 100_000, 200_000, 300_000


def engine_form(form):
    """Return the engine's name of a form, or None where it has no truss to analyse."""
    name = DRAWN_AS.get(form, form)
    return str(name) if name in forms.FORMS else None


def geometry_block(span):
    """Return the ``geometry`` of a check file, or None where it cannot be written."""
    form = engine_form(span.form)
    length = span.panel_lengths_ft or span.panel_length_ft
    if length is None and span.length_ft and span.panels:
        length = span.length_ft / span.panels
    if form is None or not span.panels or not length or not span.depth_ft:
        return None
    block = {
        "form": form,
        "panels": span.panels,
        "panel_length_ft": length,
        "depth_ft": span.depth_ft,
    }
    if span.hip_offset_ft:
        block["hip_offset_ft"] = span.hip_offset_ft
    if span.upper_heights_ft:
        block["upper_heights_ft"] = span.upper_heights_ft
        block.pop("depth_ft", None)
        block["depth_ft"] = max(span.upper_heights_ft)
    if span.crossed_panels:
        block["crossed_panels"] = span.crossed_panels
    return block


def skeleton_of(span):
    """Return joints and bars of a span as drawn, or None where there is no truss."""
    block = geometry_block(span)
    if block is None:
        return None
    geometry = forms.build(**block)
    return {
        "joints": {name: list(place) for name, place in geometry.joints.items()},
        "members": [
            [name, a, b, geometry.kinds[name]]
            for name, (a, b) in zip(geometry.kinds, geometry.members, strict=True)
        ],
        "panels": span.panels,
    }


@transaction.atomic
def lay_out(span):
    """Store a span's skeleton and make the elements that can be seen on it.

    Safe to repeat. Raises the engine's ``CheckFileError`` for a geometry that cannot
    be built.
    """
    span.skeleton = skeleton_of(span)
    span.save(update_fields=["skeleton"])
    wanted = [*_span_elements(span), *_bridge_elements(span.bridge)]
    _keep(span.bridge, wanted)


def lay_out_bridge(bridge):
    """Lay out every span of a bridge, and what belongs to the bridge as a whole."""
    for span in bridge.spans.all():
        lay_out(span)
    _keep(bridge, _bridge_elements(bridge))


def elements_of(bridge):
    """Return the elements that can be seen on a bridge, none of them stored."""
    seen = [one for span in bridge.spans.all() for one in _span_elements(span)]
    return [*seen, *_bridge_elements(bridge)]


def _keep(bridge, wanted):
    """Write elements by their path; what stands already keeps its identity."""
    standing = {one.path: one for one in Element.objects.filter(bridge=bridge)}
    fresh, mended = [], []
    for element in wanted:
        old = standing.get(element.path)
        if old is None:
            fresh.append(element)
            continue
        facts = ("name", "role", "position")
        if any(getattr(old, f) != getattr(element, f) for f in facts):
            for fact in facts:
                setattr(old, fact, getattr(element, fact))
            mended.append(old)
    Element.objects.bulk_create(fresh)
    if mended:
        Element.objects.bulk_update(mended, ["name", "role", "position"])


def _span_elements(span):
    prefix = f"span-{span.number}"
    first = SPAN_STEP * (span.number - 1)

    def element(kind, tail, name, position, **more):
        return Element(
            bridge=span.bridge,
            span=span,
            kind=kind,
            path=f"{prefix}/{tail}",
            name=name if span.number == 1 else f"{name}, span {span.number}",
            position=first + position,
            **more,
        )

    lines = list(span.truss_lines.order_by("position", "id"))
    if span.form in (Form.STONE_ARCH, Form.CONCRETE_ARCH):
        yield element(Kind.ARCH, "arch", "arch ring", BELOW)
    elif span.form in (Form.PLATE_GIRDER, Form.BEAM):
        yield element(Kind.GIRDER, "girders", "girders", BELOW)
    elif span.form == Form.SUSPENSION:
        yield element(Kind.CABLE, "cables", "cables", TRUSS)
    if lines:
        yield element(Kind.BRACING, "bracing", "portals and bracing", PORTAL)
    for index, line in enumerate(lines or [None]):
        tail = f"railing-{line.key}" if line else "railing"
        name = f"{line.name.lower()} railing" if line else "railing"
        yield element(Kind.RAILING, tail, name, RAILING + index, truss_line=line)
    yield element(Kind.DECK, "deck", "deck", DECK)
    for index, line in enumerate(lines):
        yield from _members(span, line, element, TRUSS + LINE_STEP * index)
    if span.form not in (Form.STONE_ARCH, Form.CONCRETE_ARCH):
        yield element(Kind.FLOOR_BEAMS, "floor-beams", "floor beams", BELOW + 10)
        yield element(Kind.STRINGERS, "stringers", "stringers", BELOW + 20)
        yield element(Kind.BEARING, "bearings", "bearings", BELOW + 30)


def _members(span, line, element, start):
    bars = (span.skeleton or {}).get("members", [])
    for index, (name, _, _, role) in enumerate(bars):
        rank = ROLE_ORDER.index(role) if role in ROLE_ORDER else len(ROLE_ORDER)
        yield element(
            Kind.MEMBER,
            f"{line.key}/{name}",
            f"{name}, {line.name.lower()} truss",
            start + rank * 150 + index,
            truss_line=line,
            member=name,
            role=role,
        )


def _bridge_elements(bridge):
    def element(kind, path, name, position, **more):
        return Element(
            bridge=bridge, kind=kind, path=path, name=name, position=position, **more
        )

    yield element(Kind.LIMIT, "limit", "posted limit", LIMIT)
    for index, end in enumerate(("near", "far")):
        yield element(
            Kind.APPROACH, f"approach/{end}", f"{end} approach", APPROACH + index
        )
    for index, plate in enumerate(bridge.plates.order_by("key")):
        yield element(
            Kind.PLATE, f"plate/{plate.key}", str(plate), PLATE + index, plate=plate
        )
    for index, end in enumerate(("near", "far")):
        yield element(
            Kind.ABUTMENT,
            f"abutment/{end}",
            f"{end} abutment",
            SUBSTRUCTURE + index,
        )
    for number in range(1, bridge.spans.count()):
        yield element(Kind.PIER, f"pier/{number}", f"pier {number}", SUBSTRUCTURE + 50)
    yield element(Kind.SETTING, "setting", "setting", SETTING)
