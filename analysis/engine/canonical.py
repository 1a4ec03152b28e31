"""The one text of a question's parts, which is hashed; and hashes found once.

The text is that of ``json.dumps(asdict(part), sort_keys=True, separators=(",", ":"))``,
keys left out that came later and say nothing. Written field by field: a member is some
forty numbers deep, and copying all of them only to write them took longer than the
statics of the whole truss.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields
from functools import cache
from json.encoder import encode_basestring_ascii
from operator import attrgetter
from typing import Any

#: Keys that came after files were first hashed: left out where they say nothing, so
#: that an old question keeps its hash.
LATER: dict[str, Any] = {
    "crowd": None,
    "vehicles": 1,
    "placing": "worst",
    # of a member
    "tightened_in": 0.0,
    # of a component
    "remaining_in": 0.0,
    "holes": 0,
    "rivet_in": 0.0,
    "by_one_leg": False,
    "longer_in": 0.0,
    # of pieces tied together
    "bottom_width_in": 0.0,
    "bottom_thickness_in": 0.0,
    "box_depth_in": 0.0,
    "lacing_in2": 0.0,
    "lacing_deg": 60.0,
    "battens_apart_in": 0.0,
    "untied_ft": 0.0,
    "pin_height_in": 0.0,
    "lacing_thickness_in": 0.0,
    "lacing_planes": 2,
    "lacing_systems": 1,
}

#: Instances keep their text and their hash under these names.
_TEXT, _HASH = "_canonical_text", "_kept_hash"


def _null(_value: None) -> str:
    return "null"


def _truth(value: bool) -> str:
    return "true" if value else "false"


#: By class, as asking for each in turn takes longer than the writing.
_WRITERS: dict[type, Callable[[Any], str]] = {
    float: float.__repr__,
    str: encode_basestring_ascii,
    type(None): _null,
    bool: _truth,
    int: int.__repr__,
}


def text(value: Any) -> str:
    """Return a plain value, or a frozen dataclass of such, as it is hashed.

    Numbers are finite. The text of a dataclass is kept with it: pieces are shared by
    many members, and between the configurations of one truss most members are the same.
    """
    writer = _WRITERS.get(value.__class__)
    if writer is not None:
        return writer(value)
    if isinstance(value, tuple):
        return f"[{','.join([text(one) for one in value])}]"
    if isinstance(value, float):  # one of numpy's
        return float.__repr__(value)
    found: str | None = value.__dict__.get(_TEXT)
    if found is None:
        found = value.__dict__[_TEXT] = _written(value)
    return found


def _written(part: Any) -> str:
    values = part.__dict__
    parts = []
    for name, lead, is_later in _plan(part.__class__):
        value = values[name]
        if is_later and value == LATER[name]:
            continue
        writer = _WRITERS.get(value.__class__, text)
        parts.append(lead + writer(value))
    return f"{{{','.join(parts)}}}"


@cache
def _plan(kind: type) -> tuple[tuple[str, str, bool], ...]:
    """Return the fields in order: name, what is written before it, whether it is later."""
    names = sorted(one.name for one in fields(kind))
    return tuple((name, f'"{name}":', name in LATER) for name in names)


def kept_hash(part: Any) -> int:
    """Stand for ``__hash__`` of a frozen dataclass that is deep and often asked."""
    found: int | None = part.__dict__.get(_HASH)
    if found is None:
        found = part.__dict__[_HASH] = hash(_values(part.__class__)(part))
    return found


@cache
def _values(kind: type) -> Callable[[Any], Any]:
    return attrgetter(*(one.name for one in fields(kind)))


def without_kept(part: Any) -> dict[str, Any]:
    """Stand for ``__getstate__`` beside ``kept_hash``: another process hashes otherwise."""
    return {k: v for k, v in part.__dict__.items() if k not in (_TEXT, _HASH)}
