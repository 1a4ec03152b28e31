"""Bars that lie down: a word, a bar, a number, each leading to what it counts."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe

from .drawing import Pen, _n, _text

WIDTH_PX, WORDS_PX, NUMBER_PX, ROW_PX = 440, 190, 48, 30
FILLS = ("river", "ground", "brass")


@dataclass(frozen=True)
class Part:
    """A stretch of a bar: how many, of what, and the list of them."""

    number: int
    what: str
    href: str = ""


@dataclass(frozen=True)
class Bar:
    """``parts`` are drawn one after another; ``href`` is the list of all of them."""

    label: str
    parts: tuple[Part, ...]
    href: str = ""

    @property
    def total(self):
        return sum(part.number for part in self.parts)


def bars(rows: list[Bar], *, title: str, name: str) -> SafeString:
    """Draw one row for each bar, all to one scale that begins at nothing."""
    pen = Pen()
    most = max((row.total for row in rows), default=0) or 1
    room = WIDTH_PX - WORDS_PX - NUMBER_PX
    height = ROW_PX * len(rows) + 8
    body = []
    for number, row in enumerate(rows):
        top = 4 + number * ROW_PX
        foot = top + ROW_PX / 2 + 5
        words = pen.text("ink", 15, 400, "end")
        body.append(_text(WORDS_PX - 8, foot, row.label, words))
        x = float(WORDS_PX)
        for part, fill in zip(row.parts, FILLS, strict=False):
            wide = room * part.number / most
            if part.number:
                drawn = (
                    f'<path d="M{_n(x)} {_n(top + 2)}h{_n(wide)}v{ROW_PX - 4}'
                    f'h-{_n(wide)}z" {pen.shape(fill, "river", 1.4)}/>'
                )
                said = f"{row.label}: {part.number:,} {part.what}"
                body.append(_linked(drawn, said, part.href))
            x += wide
        figure = _text(x + 7, foot, f"{row.total:,}", pen.text("ink", 15, 600, "start"))
        href = row.href if row.total else ""
        body.append(_linked(figure, f"{row.label}: {row.total:,} in all", href))
    return mark_safe(
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH_PX} {height}" '
        f'role="group" class="bars" aria-labelledby="{escape(name)}-title">'
        f'<title id="{escape(name)}-title">{escape(title)}</title>'
        f'<path d="M{WORDS_PX} 2V{height - 2}" {pen.line("ink", 1)}/>'
        f"{''.join(body)}</svg>"
    )


def _linked(drawn, said, href):
    inside = f"<title>{escape(said)}</title>{drawn}"
    if not href:
        return f"<g>{inside}</g>"
    return f'<a href="{escape(href)}" aria-label="{escape(said)}">{inside}</a>'
