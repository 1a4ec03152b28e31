"""What of a bridge is left as it was first recorded, group by group of its parts.

For comparing bridges: which of several like ones still has its railing, its counters,
its plate. It tells what visits have said and no more: a group of which no visit has
said anything is left out, and *as first recorded* is not *as built*.
"""

from __future__ import annotations

from .models import Element

Kind = Element.Kind
AS_RECORDED, REINFORCED, REPLACED, CHANGED, GONE, PART_GONE = (
    "as first recorded",
    "reinforced",
    "replaced in part",
    "changed",
    "gone",
    "gone in part",
)
# The worst that holds of any of a group's parts is said of the group.
ORDER = (PART_GONE, REPLACED, REINFORCED, CHANGED, AS_RECORDED)
ROLES = {
    "upper-chord": "chords",
    "lower-chord": "chords",
    "end-post": "end posts",
    "hip-vertical": "hangers",
    "vertical": "verticals",
    "diagonal": "diagonals",
    "counter": "counters",
}
KINDS = {
    Kind.DECK: "deck",
    Kind.FLOOR_BEAMS: "floor beams",
    Kind.STRINGERS: "stringers",
    Kind.RAILING: "railing",
    Kind.BRACING: "bracing",
    Kind.PLATE: "plates",
    Kind.ABUTMENT: "abutments",
    Kind.PIER: "piers",
}


def group_of(element):
    if element.kind == Kind.MEMBER:
        return ROLES.get(element.role, "other web bars")
    return KINDS.get(element.kind)


def left_of(held) -> dict[str, str]:
    """Return {group: what is left of it} of one ``Record``."""
    changed = {
        path
        for _, _, found in held.steps()
        for change in found
        for path in change.paths
    }
    found: dict[str, list[str]] = {}
    parts = held.configuration()
    for element in held.elements:
        group, part = group_of(element), parts.get(element.path)
        if group is None or part is None:
            continue
        found.setdefault(group, []).append(_left(part, element.path in changed))
    return {group: _worst(said) for group, said in found.items()}


def _left(part, is_changed):
    if part.is_gone:
        return GONE
    origins = {
        piece.get("origin") for piece in (part.state or {}).get("components", ())
    }
    if "replacement" in origins:
        return REPLACED
    if "addition" in origins:
        return REINFORCED
    return CHANGED if is_changed else AS_RECORDED


def _worst(said):
    if set(said) == {GONE}:
        return GONE
    if GONE in said:
        return PART_GONE
    return next(word for word in ORDER if word in said)
