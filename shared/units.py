"""Lengths as people write them, and as the record keeps them.

The record's units are US customary: feet and inches here, pounds and short tons
(2,000 lb) elsewhere. What was typed
is kept beside the number. One inch is 25.4 mm exactly (international yard and pound
agreement, 1959).
"""

from __future__ import annotations

import re
from fractions import Fraction

from django.core.exceptions import ValidationError

INCHES = {"ft": 12, "in": 1}
METRIC_IN = {"mm": 1 / 25.4, "cm": 10 / 25.4, "m": 1000 / 25.4}
NUMBER = r"(?:\d+(?:\.\d*)?|\.\d+)"
FRACTION = r"\d+\s*/\s*\d+"
QUANTITY = rf"(?:{NUMBER}[\s-]+{FRACTION}|{FRACTION}|{NUMBER})"
FEET = re.compile(
    rf"(?:(?P<ft>{QUANTITY})\s*(?:ft\.?|feet|foot|'))"
    rf"(?:[\s-]*(?P<ft_in>{QUANTITY})\s*(?:in\.?|inches|inch|\"|'')?)?",
    re.IGNORECASE,
)
INCH = re.compile(rf"(?P<in>{QUANTITY})\s*(?:in\.?|inches|inch|\"|'')", re.IGNORECASE)
METRIC = re.compile(rf"(?P<number>{NUMBER})\s*(?P<unit>mm|cm|m)", re.IGNORECASE)
BARE = re.compile(QUANTITY)
LONGEST = 40  # characters; no length anybody writes comes near it
VULGAR = {"½": "1/2", "¼": "1/4", "¾": "3/4", "⅛": "1/8", "⅜": "3/8"}
VULGAR |= {"⅝": "5/8", "⅞": "7/8", "⅓": "1/3", "⅔": "2/3"}


def length(text: str, unit: str) -> float:
    """Return a length in ``unit`` (``ft`` or ``in``).

    Accepts ``14'-6"``, ``14 ft 6 in``, ``3 1/2"``, ``3 1/2``, ``4.2 m``, ``90 mm``; a
    bare number is in ``unit``. Raises ``ValidationError`` (code ``length``).
    """
    inches = _inches(str(text), unit)
    if inches is None:
        raise ValidationError(
            '“%(text)s” is not a length that can be read. Write 14\'-6", 3 1/2", '
            "14.5 ft or 4.2 m.",
            code="length",
            params={"text": text},
        )
    return float(inches) / INCHES[unit]


def _inches(text, unit):
    if len(text) > LONGEST:
        return None
    text = text.strip().replace("′", "'").replace("″", '"').replace("’", "'")
    text = text.replace("”", '"').replace("⁄", "/")
    for glyph, plain in VULGAR.items():
        text = re.sub(rf"(?<=\d){glyph}", f" {plain}", text).replace(glyph, plain)
    if match := FEET.fullmatch(text):
        rest = _quantity(match["ft_in"]) if match["ft_in"] else Fraction(0)
        return _add(_quantity(match["ft"]), 12, rest)
    if match := INCH.fullmatch(text):
        return _quantity(match["in"])
    if match := METRIC.fullmatch(text):
        return float(match["number"]) * METRIC_IN[match["unit"].lower()]
    if match := BARE.fullmatch(text):
        return _add(_quantity(text), INCHES[unit], Fraction(0))
    return None


def _add(number, times, rest):
    return None if number is None or rest is None else number * times + rest


def _quantity(text):
    """Read ``3``, ``3.5``, ``1/2`` or ``3 1/2``; None when a fraction has no sense."""
    match = re.fullmatch(rf"(?:({NUMBER})[\s-]+)?(\d+)\s*/\s*(\d+)", text)
    if match:
        whole, over, under = match.groups()
        if int(under) == 0:
            return None
        return Fraction(whole or 0) + Fraction(int(over), int(under))
    return Fraction(text.rstrip("."))


def fraction_text(inches: float, finest: int = 16) -> str:
    """Write inches as the trade does: 3.5 is ``3 1/2``, to the nearest sixteenth.

    A number that is no sixteenth (within a thousandth) is written as a decimal.
    """
    if inches < 0:
        return f"−{fraction_text(-inches, finest)}"
    near = Fraction(inches).limit_denominator(finest)
    if near.denominator & (near.denominator - 1) or abs(float(near) - inches) > 1e-3:
        return f"{inches:.3f}".rstrip("0").rstrip(".")
    whole, rest = divmod(near.numerator, near.denominator)
    if not rest:
        return str(whole)
    part = f"{rest}/{near.denominator}"
    return f"{whole} {part}" if whole else part


def feet_text(feet: float) -> str:
    """Write feet and inches with true primes: 14.5 is ``14′-6″``.

    To the nearest eighth of an inch.
    """
    if feet < 0:
        return f"−{feet_text(-feet)}"
    inches = round(feet * 12 * 8) / 8
    whole, rest = divmod(inches, 12)
    return f"{int(whole)}′-{fraction_text(rest)}″"
