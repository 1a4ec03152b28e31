"""What one visit said, gathered for people: like answers of like elements in one row."""

from __future__ import annotations

import json
from dataclasses import dataclass, field

from . import states
from .models import Answer


@dataclass
class Told:
    """One answer given of one or several elements alike."""

    answer: str
    label: str
    words: str
    certainty: str
    reason: str
    note: str
    marks: str
    question: str
    is_held_back: bool
    observations: list = field(default_factory=list)

    @property
    def elements(self):
        return [one.element for one in self.observations]

    @property
    def subject(self):
        return name_all(self.elements)

    @property
    def is_unsure(self):
        return self.certainty not in ("", "Sure")


def told(observations) -> list[Told]:
    """Gather observations, in walking order, into rows.

    Needs ``element__truss_line`` and ``components`` loaded.
    """
    rows = {}
    for one in observations:
        state = one.whole_state()
        key = (
            one.answer,
            # Each changed plate or deck stands alone; members of one role go together.
            (one.element.kind, one.element.role, one.element.span_id),
            json.dumps(state, sort_keys=True),
            (one.certainty, one.reason, one.note, one.marks),
            (one.is_held_back, one.question),
        )
        if key not in rows:
            rows[key] = Told(
                answer=one.answer,
                label=Answer(one.answer).label,
                words=states.describe(one.element.kind, state) if state else "",
                certainty=one.get_certainty_display(),
                reason=one.reason,
                note=one.note,
                marks=one.marks,
                question=one.question,
                is_held_back=one.is_held_back,
            )
        rows[key].observations.append(one)
    return list(rows.values())


def name_all(elements):
    """Name elements together: “L2U3 and L3U2, upstream and downstream trusses”."""
    first = elements[0]
    if not first.member:
        return _and([one.name for one in elements], capital=True)
    members = list(dict.fromkeys(one.member for one in elements))
    lines = list(dict.fromkeys(one.truss_line.name.lower() for one in elements))
    noun = "truss" if len(lines) == 1 else "trusses"
    if len(members) * len(lines) != len(elements):
        each = [f"{one.member} {one.truss_line.name.lower()}" for one in elements]
        return _and(each)
    return f"{_and(members)}, {_and(lines)} {noun}"


def _and(words, capital=False):
    text = words[0]
    if len(words) > 1:
        text = f"{', '.join(words[:-1])} and {words[-1]}"
    return f"{text[:1].upper()}{text[1:]}" if capital else text
