"""What in a visit's answers may be a danger now, whether or not the box was ticked.

A severed rod, a pin that is not there, a compression chord out of its line: the
surveyor is to leave the deck and somebody is to be told at once. These signs are read
from answers alone, say *may be*, and never unsay what a person has ticked. Which
findings are critical is common practice of bridge inspection (a finding that needs
action at once); the list here is the society's own and errs on the side of asking.
"""

from __future__ import annotations

import datetime
import re

from .models import Answer, Element, Visit

LEAVE = (
    "Leave the deck first, and keep others off it from where you stand safely. If there "
    "is traffic on it, call 911. Then tell the owner."
)
# A visit older than this tells of the past; whoever reads it need not run.
RECENT_DAYS = 60
MOST_SIGNS = 8
# Compression has nowhere to go once it is out of line.
IN_COMPRESSION = {"upper-chord", "end-post"}
WORDS = re.compile(
    r"\b(sever(?:ed|s)?|parted|broken|broke|snapped|buckl(?:ed|ing|es)|collaps\w*"
    r"|missing pins?|pins? (?:is |are )?(?:missing|gone|out|working out)"
    r"|nuts? (?:is |are )?(?:missing|gone)|off (?:its|the) (?:seat|bearing|shoe)"
    r"|torn|fractured?)\b",
    re.IGNORECASE,
)
NOT = re.compile(r"\b(no|not|nothing|never|none)\b[^.;]{0,24}$", re.IGNORECASE)


def signs(facts, rows, today) -> list[str]:
    """Return sentences on what may be dangerous, from a visit's read answers.

    ``facts`` are the visit's own fields, ``rows`` its observations as they are stored
    (``element``, ``answer``, ``state``, ``note``).
    """
    if facts["basis"] != Visit.Basis.IN_PERSON or not _is_recent(facts, today):
        return []
    found = []
    for row in rows:
        why = _why(row)
        if why:
            found.append(f"{_name(row['element'])}: {why}")
    return found[:MOST_SIGNS]


def _is_recent(facts, today):
    latest = facts.get("latest")
    return latest is not None and (today - latest) <= datetime.timedelta(RECENT_DAYS)


def _why(row):
    element, answer, state = row["element"], row["answer"], row["state"] or {}
    if answer == Answer.GONE and element.kind in (
        Element.Kind.MEMBER,
        Element.Kind.JOINT,
        Element.Kind.BEARING,
    ):
        return "said to be gone"
    if answer not in (Answer.CHANGED, Answer.SAME):
        return ""
    flags = set(state.get("flags") or ())
    if "bent" in flags and element.role in IN_COMPRESSION:
        return "a bar in compression said to be bent"
    if "cracked" in flags and element.kind == Element.Kind.MEMBER:
        return "said to be cracked"
    said = f"{state.get('description') or ''}\n{row.get('note') or ''}"
    word = WORDS.search(said)
    if word and not NOT.search(said[: word.start()]):
        return f"“{word[0].lower()}”"
    return ""


def _name(element):
    if element.member and element.truss_line_id:
        return f"{element.member} {element.truss_line.name.lower()}"
    return f"{element.name[:1].upper()}{element.name[1:]}"
