"""Uncertain dates: EDTF text with the earliest and latest day it allows.

The subset is EDTF level 1 plus one-of-set: year, month and day; ``X`` for digits not
known, from the right; ``?`` uncertain, ``~`` approximate, ``%`` both; seasons 21 to
24; intervals with open ends (``../1890``); and ``[1885,1886..1888]``, one of a set.
Years run from 1 to 9999. The format is the Library of Congress specification of
February 2019 (a profile of ISO 8601-2:2019).

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
    r"(?P<year>[0-9]{4}|[0-9]{3}X|[0-9]{2}XX)"
    r"(?:-(?P<month>[0-9]{2}|XX)(?:-(?P<day>[0-9]{2}|XX))?)?"
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
            if not first and not last:
                _refuse(text)
            bounds.append(_reach(part, first, last))
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
    first, last = ("" if part == ".." else part for part in parts)
    start, end = _reach(text, first, last)
    return UncertainDate(text, start, end)


def _reach(text, first, last):
    """Return the bounds of a stretch of time, None where an end is blank.

    Only what cannot be is refused: “about 1908 to 1908” may be right.
    """
    start = _point(first)[0] if first else None
    end = _point(last)[1] if last else None
    if start and end and start > end:
        raise ValidationError(
            "“%(text)s” ends before it begins.",
            code="date_reversed",
            params={"text": text},
        )
    return start, end


def _point(text):
    """Return the first and last day that one date (no interval) may mean."""
    match = POINT.fullmatch(text)
    if not match:
        _refuse(text)
    year, month, day = match["year"], match["month"], match["day"]
    about = match["mark"] in ("~", "%")
    first_year, last_year = int(year.replace("X", "0")), int(year.replace("X", "9"))
    if last_year < 1 or ("X" in year and month not in (None, "XX")):
        _refuse(text)
    if month in (None, "XX"):
        if day not in (None, "XX"):
            _refuse(text)
        reach = ABOUT_YEARS * 10 ** year.count("X") if about else 0
        return _day(first_year - reach, 1, 1), _day(last_year + reach, 12, 31)
    if int(month) in SEASONS:
        if day:
            _refuse(text)
        start = SEASONS[int(month)][1]
        return _months(first_year, start, start + 2, about)
    if not 1 <= int(month) <= 12:
        _refuse(text)
    if day in (None, "XX"):
        return _months(first_year, int(month), int(month), about)
    try:
        exact = datetime.date(first_year, int(month), int(day))
    except ValueError:
        _refuse(text)
    reach = ABOUT_DAYS if about else 0
    return _moved(exact, -reach), _moved(exact, reach)


def _moved(day, by):
    """Move a day, stopping at the ends of the calendar."""
    number = day.toordinal() + by
    return datetime.date.fromordinal(min(max(number, 1), datetime.date.max.toordinal()))


def _months(year, first, last, about):
    """Return the first and the last day of months counted from January of ``year``."""
    reach = ABOUT_MONTHS if about else 0
    return _month(year, first - reach, False), _month(year, last + reach, True)


def _day(year, month, day):
    return datetime.date(min(max(year, 1), 9999), month, day)


def _month(year, month, last):
    """Return the first or last day of a month counted on from January of ``year``."""
    year, month = year + (month - 1) // 12, (month - 1) % 12 + 1
    if year < 1:
        return datetime.date.min
    if year > 9999:
        return datetime.date.max
    day = calendar.monthrange(year, month)[1] if last else 1
    return datetime.date(year, month, day)


def display(text: str) -> str:
    """Say an EDTF expression in words: ``1887~`` is “about 1887”."""
    if not text:
        return "date unknown"
    if text.startswith("[") and text.endswith("]"):
        return " or ".join(_said(part.strip(), "..") for part in text[1:-1].split(","))
    return _said(text, "/")


def _said(text, between):
    """Say one date, or a stretch of time whose ends stand either side of ``between``.

    What cannot be read is said as it stands: a page must not fall over one date.
    """
    if between in text:
        first, _, last = text.partition(between)
        first, last = ("" if part == ".." else part for part in (first, last))
        ends = [end for end in (first, last) if end]
        if not ends or not all(POINT.fullmatch(end) for end in ends):
            return text
        if not first:
            return f"by {_said(last, between)}"
        if not last:
            return f"{_said(first, between)} or later"
        return f"between {_said(first, between)} and {_said(last, between)}"
    match = POINT.fullmatch(text)
    if not match:
        return text
    return _with_mark(
        _plain(match["year"], match["month"], match["day"]), match["mark"]
    )


def _plain(year, month, day):
    if "X" in year:
        known = year.rstrip("X")
        if year.endswith("XX"):
            return f"the century from {known}00"
        # “The 1900s” is ten years to some and a hundred to others.
        return f"the decade from {known}0" if known[-1] == "0" else f"the {known}0s"
    if not month or month == "XX":
        return year
    number = int(month)
    if number in SEASONS:
        return f"{SEASONS[number][0]} {year}"
    if not 1 <= number <= 12:
        return f"{year}-{month}"
    name = calendar.month_name[number]
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

    def clean(self, value, model_instance):
        """Fill the bounds here too: constraints are checked before anything is saved."""
        value = super().clean(value, model_instance)
        if model_instance is not None:
            self._fill(model_instance, value)
        return value

    def pre_save(self, instance, add):
        return self._fill(instance, super().pre_save(instance, add))

    def _fill(self, instance, text):
        text = text or ""
        date = parse(text) if text else UncertainDate("", None, None)
        setattr(instance, f"{self.name}_earliest", date.earliest)
        setattr(instance, f"{self.name}_latest", date.latest)
        return date.text


def bound():
    """One of the two columns an ``EdtfField`` fills."""
    return models.DateField(null=True, blank=True, editable=False, db_index=True)
