"""What people type into the visit form, turned into states and back again.

Pure. The inverse of ``states.describe`` as far as a form needs one: sizes as the trade
writes them (``4 x 7/8``), numbers with or without their unit, pieces and layers.
"""

from __future__ import annotations

import re

from django.core.exceptions import ValidationError

from shared import units

from . import states

BY = re.compile(r"\s*(?:[x×*]|\bby\b)\s*", re.IGNORECASE)
PLF = re.compile(
    r"\s*(?:#|lbs?\.?(?:\s*(?:/|per)\s*(?:ft|foot))?|plf)\s*$", re.IGNORECASE
)
NUMBER = re.compile(r"-?(?:\d+(?:\.\d*)?|\.\d+)")
EXAMPLES = {
    "round-rod": "its diameter, such as 1 1/8",
    "square-rod": "its side, such as 1",
    "eyebar": "width × thickness, such as 4 x 7/8",
    "flat-bar": "width × thickness, such as 3 x 3/8",
    "plate": "width × thickness, such as 12 x 1/4",
    "angle": "leg × leg × thickness, such as 3 x 3 x 3/8",
    "channel": "depth × weight per foot, such as 8 x 11.5",
    "i-beam": "depth × weight per foot, such as 10 x 25",
    "timber": "width × depth, such as 8 x 10",
}


def sizes(shape, text):
    """Read “4 x 7/8” for a shape: ``{"width_in": 4.0, "thickness_in": 0.875}``.

    Inches, and lb/ft for the weight of rolled shapes; feet, metric and fractions as
    ``shared.units`` takes them. A rolled shape may be given by four measures instead:
    depth × flange width × flange thickness × web thickness. Raises
    ``ValidationError`` (code ``size``).
    """
    parts = [part for part in BY.split(text.strip()) if part]
    names = states.SIZES_BY_SHAPE[shape]
    if names[-1] == "weight_plf" and len(parts) == len(states.MEASURED_SHAPE):
        names = states.MEASURED_SHAPE
    if len(parts) != len(names):
        raise ValidationError(
            f"{states.a_piece(shape)} is written as {EXAMPLES[shape]}.", code="size"
        )
    return {
        name: _weight(part) if name == "weight_plf" else units.length(part, "in")
        for name, part in zip(names, parts, strict=True)
    }


def _weight(text):
    return number(PLF.sub("", text))


def size_text(piece):
    """Write a piece's sizes as ``sizes`` reads them; the text as entered if there."""
    if piece.get("as_entered"):
        return piece["as_entered"]
    names = states.SIZES_BY_SHAPE[piece["shape"]]
    if names[-1] == "weight_plf" and "weight_plf" not in piece:
        names = states.MEASURED_SHAPE
    return " x ".join(
        number_text(piece[name])
        if name == "weight_plf"
        else units.fraction_text(piece[name])
        for name in names
        if name in piece
    )


def number(text):
    """Read “5”, “12,000” or “5 tons”; raises ``ValidationError`` (code ``number``)."""
    plain = re.sub(r"(?<=\d),(?=\d{3}\b)", "", text.strip())
    match = NUMBER.match(plain)
    rest = plain[match.end() :].strip() if match else ""
    if not match or any(sign.isdigit() for sign in rest):
        raise ValidationError(
            f"“{text}” is not a number that can be read.", code="number"
        )
    return float(match[0])


def number_text(value):
    """Write a number without a needless decimal point; nothing for None."""
    return "" if value is None else f"{value:.10g}"
