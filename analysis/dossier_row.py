"""One row of the completeness list, and how rows are made."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

THERE, PARTLY, MISSING = "there", "in part", "missing"
# What a row is for: a dossier is complete when every REQUIRED row is there; it prints
# without the others, and says so by name (USUAL) or not at all (ADVICE).
REQUIRED, USUAL, ADVICE = "required", "usual", "advice"
LEVEL_WORDS = {
    REQUIRED: "a complete dossier has it",
    USUAL: "most offices ask for it",
    ADVICE: "good practice",
}
MOST_NAMED = 5


@dataclass(frozen=True)
class Row:
    """One thing a complete dossier has: whether it is there, and where to mend it."""

    key: str
    title: str
    state: str
    says: str
    # Where it is mended: a kind of the edited record, ``visit``, ``photographs``, or
    # ``narrative.`` and the name of a field.
    mend: str
    level: str = REQUIRED
    number: int = 0

    @property
    def is_there(self):
        return self.state == THERE

    @property
    def level_words(self):
        return LEVEL_WORDS[self.level]


def made(key, title, mend, gaps: Iterable[str], full, partly=False):
    """Return a row that is there when ``gaps`` holds no words, else says them."""
    gaps = [gap for gap in gaps if gap]
    if not gaps:
        return Row(key, title, THERE, full, mend)
    return Row(key, title, PARTLY if partly else MISSING, " ".join(gaps), mend)


def named(things):
    """Name the first few of many, and how many more there are."""
    things = list(things)
    shown = ", ".join(things[:MOST_NAMED])
    more = len(things) - MOST_NAMED
    return f"{shown} and {more} more" if more > 0 else shown


def answered(facts, name):
    """Return an officer's answer, without blanks at its ends."""
    value = facts["case"]["answers"][name]
    return value.strip() if isinstance(value, str) else value
