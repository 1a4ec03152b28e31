"""When to go: what could not be seen waits for leaves to fall or water to drop.

Read from the words in which people said why they could not see a thing. Months are the
society's own, for the temperate north-east of North America, and can be changed here.
"""

from __future__ import annotations

import re
from dataclasses import dataclass


@dataclass(frozen=True)
class Season:
    """A time of the year that shows what another hides."""

    key: str
    name: str
    words: re.Pattern
    months: frozenset
    when: str

    def suits(self, month):
        return month in self.months


def _words(pattern):
    return re.compile(rf"\b(?:{pattern})", re.IGNORECASE)


SEASONS = (
    Season(
        "leaf-off",
        "leaves are down",
        _words(
            r"leaf|leaves|foliage|vines?\b|brush|overgrown|trees?\b|growth|scrub|ivy"
        ),
        frozenset({11, 12, 1, 2, 3, 4}),
        "November to April",
    ),
    Season(
        "low-water",
        "water is low",
        _words(r"water|high\b|flood|river\b|creek\b|current|mud|tide"),
        frozenset({7, 8, 9, 10}),
        "July to October",
    ),
    Season(
        "no-snow",
        "snow and ice are gone",
        _words(r"snow|ice\b|icy|frozen|drift"),
        frozenset({4, 5, 6, 7, 8, 9, 10, 11}),
        "April to November",
    ),
)
BY_KEY = {season.key: season for season in SEASONS}


def of_reason(text) -> Season | None:
    """Return the season that would show what was hidden for this reason, or None."""
    for season in SEASONS:
        if season.words.search(text):
            return season
    return None


# How one gets to see a bridge, from its status and what was noted of the way.
ACCESS = (
    ("open", "no asking"),
    ("ask", "ask first"),
    ("closed", "closed: look from the banks"),
)
ASK = _words(
    r"ask\b|permission|leave of|with the owner|private|appointment|sign in|keeper"
    r"|locked|gate|yard|posted against|no trespass"
)


def access_of(status, notes) -> str:
    """Return ``closed``, ``ask`` or ``open``; a closed bridge is closed to all."""
    if status == "closed" or re.search(r"\bclosed\b", notes, re.IGNORECASE):
        return "closed"
    return "ask" if ASK.search(notes) else "open"
