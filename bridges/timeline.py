"""The line of time: a bridge's life from left to right, in true proportion.

A tick for each visit, filled where somebody stood there and open where a photograph
or a paper speaks; a rust bar from one visit to the next where something had changed
between them, with what that did written over it. It takes its colours as
``bridges.drawing`` does.
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe

from .drawing import Palette, Pen, _n, _text

WIDTH_PX, SIDE_PX = 1080, 40
LETTER_PX = 7.0
ROW_PX = 19
MOST_ROWS = 5
IN_PERSON = "in-person"


@dataclass(frozen=True)
class Tick:
    """One visit. ``earliest`` is given where its date reaches back before ``day``."""

    day: datetime.date
    label: str
    earliest: datetime.date | None = None
    basis: str = IN_PERSON
    href: str = ""
    title: str = ""
    is_chosen: bool = False


@dataclass(frozen=True)
class Stretch:
    """The time between two visits within which something changed."""

    first: datetime.date
    last: datetime.date
    label: str
    href: str = ""
    title: str = ""


@dataclass(frozen=True)
class Event:
    """Built, moved, lost: a word and the days that it may have been."""

    earliest: datetime.date | None
    latest: datetime.date | None
    label: str


def line_of_time(
    ticks: Sequence[Tick],
    stretches: Sequence[Stretch] = (),
    *,
    until: datetime.date,
    built: Event | None = None,
    lost: Event | None = None,
    title: str = "The line of time",
    palette: Palette | None = None,
    name: str = "time",
    width_px: int = WIDTH_PX,
) -> SafeString:
    """Draw visits and changes between the first thing known and ``until``.

    ``name`` must differ between two lines on one page. Letters keep their size, so a
    narrow sheet of paper takes a narrow line (``width_px``), not a shrunken one.
    """
    sheet = _Line(ticks, stretches, until, built, lost, Pen(palette), width_px)
    above = sheet.stretches()
    below = sheet.ticks()
    body = sheet.axis() + above + below + sheet.events()
    links = any(one.href for one in (*ticks, *stretches))
    size = f'viewBox="0 0 {width_px} {_n(sheet.height)}"'
    if palette is not None:
        size += f' width="{width_px}" height="{_n(sheet.height)}"'
    said = "; ".join(
        [one.title or one.label for one in ticks]
        + [one.title or one.label for one in stretches]
    )
    return mark_safe(
        f'<svg xmlns="http://www.w3.org/2000/svg" {size} '
        f'role="{"group" if links else "img"}" class="time-line wide-55" '
        f'aria-labelledby="{escape(name)}-title {escape(name)}-desc">'
        f'<title id="{escape(name)}-title">{escape(title)}</title>'
        f'<desc id="{escape(name)}-desc">{escape(said)}</desc>{body}</svg>'
    )


class _Line:
    def __init__(self, ticks, stretches, until, built, lost, pen, width_px):
        self.width = width_px
        self.visits = sorted(ticks, key=lambda one: one.day)
        self.changes = sorted(stretches, key=lambda one: one.first)
        self.ends = [one for one in (built, lost) if one is not None]
        self.pen = pen
        days = [until, *(one.earliest or one.day for one in self.visits)]
        days += [one.day for one in self.visits]
        for event in self.ends:
            days += [day for day in (event.earliest, event.latest) if day]
        first, last = min(days), max(days)
        reach = max((last - first).days, 365)
        # A little room, so that nothing stands on the very end.
        self.start = first.toordinal() - reach * 0.015
        self.days = reach * 1.03
        self.upper = _rows([(self._middle(c), c.label) for c in self.changes])
        self.lower = _rows([(self.x(v.day), v.label) for v in self.visits])
        most = max(self.upper, default=0)
        self.y = 34 + ROW_PX * (most + 1)
        self.height = self.y + 62 + ROW_PX * (max(self.lower, default=0) + 1)

    def x(self, day):
        part = (day.toordinal() - self.start) / self.days
        return SIDE_PX + part * (self.width - 2 * SIDE_PX)

    def _middle(self, change):
        return (self.x(change.first) + self.x(change.last)) / 2

    def axis(self):
        pen, y = self.pen, self.y
        parts = [
            f'<path d="M{SIDE_PX - 20} {_n(y)}H{self.width - SIDE_PX + 20}" '
            f"{pen.line('ink', 1.5)}/>"
        ]
        first = datetime.date.fromordinal(int(self.start) + 1).year
        last = datetime.date.fromordinal(int(self.start + self.days)).year
        step = next(
            s
            for s in (1, 2, 5, 10, 20, 25, 50, 100)
            if (last - first) / s <= self.width / 77
        )
        foot = self.height - 12
        for year in range(first - first % step + step, last + 1, step):
            x = self.x(datetime.date(year, 1, 1))
            parts.append(
                f'<path d="M{_n(x)} {_n(foot - 24)}v7" {pen.line("rule", 1)}/>'
                + _text(x, foot, str(year), pen.text("pencil", 13))
            )
        parts.append(
            f'<path d="M{SIDE_PX - 20} {_n(foot - 24)}H{self.width - SIDE_PX + 20}" '
            f"{pen.line('rule', 1)}/>"
        )
        return f'<g aria-hidden="true">{"".join(parts)}</g>'

    def stretches(self):
        parts = []
        for change, row in zip(self.changes, self.upper, strict=True):
            a, b = self.x(change.first), self.x(change.last)
            middle, top = (a + b) / 2, self.y - 34 - ROW_PX * row
            body = (
                f'<path d="M{_n(a)} {_n(self.y)}H{_n(max(b, a + 5))}" '
                f"{self.pen.line('rust', 9)}/>"
                f'<path d="M{_n(middle)} {_n(self.y - 6)}V{_n(top + 5)}" '
                f"{self.pen.line('rust', 1)}/>"
            )
            body += self._words(middle, top, change.label, "rust", 600)
            parts.append(self._linked(change, body, middle, top - 5))
        return "".join(parts)

    def ticks(self):
        parts = []
        for visit, row in zip(self.visits, self.lower, strict=True):
            x, colour = self.x(visit.day), "river" if visit.is_chosen else "ink"
            ground = colour if visit.basis == IN_PERSON else "ground"
            tall = 15 if visit.is_chosen else 11
            foot = self.y + 30 + ROW_PX * row
            body = ""
            if visit.earliest and visit.earliest < visit.day:
                body += (
                    f'<path d="M{_n(self.x(visit.earliest))} {_n(self.y)}H{_n(x)}" '
                    f"{self.pen.line(colour, 3, BROKEN)}/>"
                )
            if row:
                body += (
                    f'<path d="M{_n(x)} {_n(self.y + tall)}V{_n(foot - 12)}" '
                    f"{self.pen.line('rule', 1)}/>"
                )
            body += (
                f'<path d="M{_n(x - 3.5)} {_n(self.y - tall)}h7v{2 * tall}h-7z" '
                f"{self.pen.shape(ground, colour, 1.6)}/>"
            )
            weight = 700 if visit.is_chosen else 500
            body += self._words(x, foot, visit.label, colour, weight)
            parts.append(self._linked(visit, body, x, self.y + 8))
        return "".join(parts)

    def events(self):
        parts = []
        for event in self.ends:
            days = [day for day in (event.earliest, event.latest) if day]
            if not days:
                continue
            a, b = self.x(min(days)), self.x(max(days))
            parts.append(
                f'<path d="M{_n(a)} {_n(self.y - 13)}V{_n(self.y + 13)}'
                f"M{_n(b)} {_n(self.y - 13)}V{_n(self.y + 13)}"
                f'M{_n(a)} {_n(self.y)}H{_n(b)}" {self.pen.line("ink", 2.2)}/>'
            )
            parts.append(self._words((a + b) / 2, self.y - 19, event.label, "ink", 600))
        return "".join(parts)

    def _words(self, x, y, words, colour, weight):
        """Write centred on ``x``, but inside the sheet."""
        reach = len(words) * LETTER_PX / 2
        x = min(max(x, reach + 4), self.width - reach - 4)
        return _text(x, y, words, self.pen.halo(14, weight)) + _text(
            x, y, words, self.pen.text(colour, 14, weight)
        )

    def _linked(self, one, body, x, y):
        said = escape(one.title or one.label)
        if not one.href:
            return f"<g><title>{said}</title>{body}</g>"
        tap = (
            f'<path class="tap" d="M{_n(x)} {_n(y - 12)}v24" fill="none" stroke="#000" '
            'stroke-opacity="0" stroke-width="26" pointer-events="stroke"/>'
        )
        return (
            f'<a href="{escape(one.href)}" aria-label="{said}"><title>{said}</title>'
            f"{body}{tap}</a>"
        )


BROKEN = ' stroke-dasharray="2 3"'


def _rows(labels):
    """Give each label the lowest row in which it is clear of those before it.

    Where none is clear, the one that ends first: labels may then touch.
    """
    rows, ends = [], []
    for x, words in labels:
        half = len(words) * LETTER_PX / 2 + 6
        free = [row for row, end in enumerate(ends) if end <= x - half]
        if free:
            row = free[0]
        elif len(ends) < MOST_ROWS:
            row = len(ends)
            ends.append(0.0)
        else:
            row = ends.index(min(ends))
        ends[row] = max(x, half) + half
        rows.append(row)
    return rows
