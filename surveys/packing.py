"""Bars in their order on a pin, as people write them, and sizes of single bars. Pure.

“L1L2 7/8, L2U3 3/4, floor 1/2, L2L3 7/8 gap 1/4”: from one end of the pin to the other,
each with its thickness along the pin; ``floor`` is what the floor beam hangs by. A gap
is to the bar before it.
"""

from __future__ import annotations

import re

from django.core.exceptions import ValidationError

from shared import units

EXAMPLE = "such as L1L2 7/8, L2U3 3/4, floor 1/2, L2L3 7/8"
BETWEEN = re.compile(r"[,;\n]+")
BAR = re.compile(
    r"(?P<name>floor|[A-Za-z]+\d+\s*-?\s*[A-Za-z]+\d+)\s*[:=]?\s+(?P<size>.+?)"
    r"(?:\s+gap\s+(?P<gap>.+))?",
    re.IGNORECASE,
)
BY = re.compile(r"\s*(?:[x×*]|\bby\b)\s*", re.IGNORECASE)
MOST_BARS, MOST_IN = 40, 12.0


def read(text: str) -> list[dict]:
    """Return the bars: ``member`` (left out for the floor), ``thickness_in``, ``gap_in``.

    Raises ``ValidationError`` (code ``packing``) that names the bar that cannot be read.
    """
    found = [_bar(part.strip()) for part in BETWEEN.split(text) if part.strip()]
    if not 2 <= len(found) <= MOST_BARS:
        raise ValidationError(
            f"Name the bars on the pin in their order, two at least, {EXAMPLE}.",
            code="packing",
        )
    return found


def _bar(text):
    match = BAR.fullmatch(text)
    if match is None:
        raise ValidationError(
            f"“{text}” is not a bar and its thickness, {EXAMPLE}.", code="packing"
        )
    bar = {}
    if match["name"].lower() != "floor":
        bar["member"] = re.sub(r"[\s-]", "", match["name"]).upper()
    bar["thickness_in"] = _size(match["size"], text)
    if match["gap"]:
        bar["gap_in"] = _size(match["gap"], text)
    return bar


def _size(text, whole):
    size = units.length(text, "in")
    if not 0 < size <= MOST_IN:
        raise ValidationError(
            f"“{whole}”: expected a size above 0, at most {MOST_IN:g} in.",
            code="packing",
        )
    return size


def bar_size(text: str) -> dict:
    """Read “2 x 1/4”: the width and thickness of a bar, in.

    Raises ``ValidationError`` (code ``size``).
    """
    parts = [part for part in BY.split(text.strip()) if part]
    if len(parts) != 2:
        raise ValidationError("Write width × thickness, such as 2 x 1/4.", code="size")
    width, thickness = (_size(part, text) for part in parts)
    return {"width_in": width, "thickness_in": thickness}
