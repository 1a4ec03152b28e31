"""Uncertain dates: EDTF text with the earliest and latest day it allows.

The subset is EDTF level 1 plus one-of-set: year, month and day; ``X`` for digits not
known; ``?`` uncertain, ``~`` approximate, ``%`` both; seasons 21 to 24; intervals with
open ends (``../1890``); and ``[1885,1886]``, one of a set. The format is the Library
of Congress specification of February 2019 (a profile of ISO 8601-2:2019).

An approximate date reaches further than it says. By how much is a choice, not part of
the format: ``ABOUT_YEARS`` either side of a year, a month either side of a month, and
so on. The text as written is always kept and shown.
"""

from __future__ import annotations

import calendar
import datetime
import re
from dataclasses import dataclass

from django.core.exceptions import ValidationError
from django.db import models

ABOUT_YEARS = 1
ABOUT_MONTHS = 1
ABOUT_DAYS = 1
SEASONS = {21: ("spring", 3), 22: ("summer", 6), 23: ("autumn", 9), 24: ("winter", 12)}
POINT = re.compile(
    r"(?P<year>[0-9][0-9X]{3})"
    r"(?:-(?P<month>[0-9X]{2})(?:-(?P<day>[0-9X]{2}))?)?"
    r"(?P<mark>[?~%]?)"
)


@dataclass(frozen=True)
class UncertainDate:
    """One EDTF expression: its text and the days it may reach, None where open."""

    text: str
    earliest: datetime.date | None
    latest: datetime.date | None

    def __str__(self):
        return display(self.text)


def parse(text: str) -> UncertainDate:
    """Read one EDTF expression.

    Raises ``ValidationError`` with code ``date`` for anything outside the subset and
    ``date_reversed`` for an interval that ends before it begins.
    """
    text = text.strip()
    if text.startswith("[") and text.endswith("]"):
        return _one_of(text)
    if "/" in text:
        return _interval(text)
    earliest, latest = _point(text)
    return UncertainDate(text, earliest, latest)


def _refuse(text):
    raise ValidationError(
        "“%(text)s” is not a date that can be read. Write 1908, 1908-06, 1908-06-02, "
        "1908? (uncertain), 1908~ (about), 190X (some year of the decade), 1905/1910 "
        "(between), ../1890 (by 1890) or [1885,1886] (one of these).",
        code="date",
        params={"text": text},
    )


def _one_of(text):
    bounds = []
    for part in text[1:-1].split(","):
        part = part.strip()
        if not part:
            _refuse(text)
        if ".." in part:
            first, _, last = part.partition("..")
            bounds.append(
                (
                    _point(first)[0] if first else None,
                    _point(last)[1] if last else None,
                )
            )
        else:
            bounds.append(_point(part))
    starts = [start for start, _ in bounds]
    ends = [end for _, end in bounds]
    return UncertainDate(
        text,
        None if None in starts else min(starts),
        None if None in ends else max(ends),
    )


def _interval(text):
    parts = text.split("/")
    if len(parts) != 2 or set(parts) <= {"", ".."}:
        _refuse(text)
    first, last = parts
    start = None if first in ("", "..") else _point(first)[0]
    end = None if last in ("", "..") else _point(last)[1]
    if start and end and (start > end or _point(first)[1] > end):
        raise ValidationError(
            "“%(text)s” ends before it begins.",
            code="date_reversed",
            params={"text": text},
        )
    return UncertainDate(text, start, end)


def _point(text):
    """Return the first and last day that one date (no interval) may mean."""
    match = POINT.fullmatch(text)
    if not match:
        _refuse(text)
    year, month, day = match["year"], match["month"], match["day"]
    if "X" in year.rstrip("X") or (
        "X" in year and (month or "") not in ("", "XX") or year == "XXXX"
    ):
        _refuse(text)
    first_year, last_year = int(year.replace("X", "0")), int(year.replace("X", "9"))
    about = match["mark"] in ("~", "%")
    if first_year < 1 or (month and "X" in month and month != "XX"):
        _refuse(text)
    if day and "X" in day and day != "XX":
        _refuse(text)
    if not month or (month == "XX" and day in (None, "XX")):
        reach = ABOUT_YEARS * 10 ** year.count("X") if about else 0
        return _day(first_year - reach, 1, 1), _day(last_year + reach, 12, 31)
    if month == "XX":
        _refuse(text)
    number = int(month)
    if number in SEASONS:
        if day:
            _refuse(text)
        start = SEASONS[number][1]
        reach = ABOUT_MONTHS if about else 0
        return _month(first_year, start - reach, False), _month(
            first_year, start + 2 + reach, True
        )
    if not 1 <= number <= 12:
        _refuse(text)
    if not day or day == "XX":
        reach = ABOUT_MONTHS if about else 0
        return _month(first_year, number - reach, False), _month(
            first_year, number + reach, True
        )
    try:
        exact = datetime.date(first_year, number, int(day))
    except ValueError:
        _refuse(text)
    reach = datetime.timedelta(days=ABOUT_DAYS if about else 0)
    return exact - reach, exact + reach


def _day(year, month, day):
    return datetime.date(min(max(year, 1), 9999), month, day)


def _month(year, month, last):
    """Return the first or last day of a month counted on from January of ``year``."""
    year, month = year + (month - 1) // 12, (month - 1) % 12 + 1
    day = calendar.monthrange(year, month)[1] if last else 1
    return _day(year, month, day)


def display(text: str) -> str:
    """Say an EDTF expression in words: ``1887~`` is “about 1887”."""
    if not text:
        return "date unknown"
    if text.startswith("["):
        parts = [display(part.strip()) for part in text[1:-1].split(",")]
        return " or ".join(part.replace("..", " to ") for part in parts)
    if "/" in text:
        first, last = text.split("/")
        if first in ("", ".."):
            return f"by {display(last)}"
        if last in ("", ".."):
            return f"{display(first)} or later"
        return f"between {display(first)} and {display(last)}"
    match = POINT.fullmatch(text)
    if not match:
        return text
    return _with_mark(_plain(match["year"], match["month"], match["day"]), match["mark"])


def _plain(year, month, day):
    if "X" in year:
        known = year.rstrip("X")
        words = {1: f"the {known}0s", 2: f"the {known}00s"}
        return words.get(year.count("X"), year)
    if not month or month == "XX":
        return year
    number = int(month)
    if number in SEASONS:
        return f"{SEASONS[number][0]} {year}"
    name = calendar.month_name[number] if 1 <= number <= 12 else month
    if not day or day == "XX":
        return f"{name} {year}"
    return f"{int(day)} {name} {year}"


def _with_mark(words, mark):
    return {
        "": words,
        "?": f"{words} (uncertain)",
        "~": f"about {words}",
        "%": f"about {words} (uncertain)",
    }[mark]


def validate(text):
    parse(text)


class EdtfField(models.CharField):
    """EDTF text that fills ``<name>_earliest`` and ``<name>_latest`` when saved.

    The two date columns are declared beside it, **after** it, with ``bound()``.
    """

    def __init__(self, *args, **kwargs):
        kwargs.setdefault("max_length", 40)
        kwargs.setdefault("validators", [validate])
        super().__init__(*args, **kwargs)

    def deconstruct(self):
        name, path, args, kwargs = super().deconstruct()
        kwargs.pop("validators", None)
        return name, path, args, kwargs

    def pre_save(self, instance, add):
        text = super().pre_save(instance, add) or ""
        date = parse(text) if text else UncertainDate("", None, None)
        setattr(instance, f"{self.name}_earliest", date.earliest)
        setattr(instance, f"{self.name}_latest", date.latest)
        return date.text


def bound():
    """One of the two columns an ``EdtfField`` fills."""
    return models.DateField(null=True, blank=True, editable=False, db_index=True)
