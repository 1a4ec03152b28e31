"""What changed between two configurations, and what kind of change it was.

Pure. A change is derived, never typed in. Something described for the first time is
knowledge, not a change; something that could not be seen has no change.
"""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property

from .fold import Part
from .states import DECK_MATERIALS, describe, describe_component

MEMBER, DECK, LIMIT, PLATE, RAILING = "member", "deck", "limit", "plate", "railing"

ROLE_PARTS = {
    "upper-chord": "chord",
    "lower-chord": "chord",
    "end-post": "end-post",
    "hip-vertical": "vertical",
    "vertical": "vertical",
    "diagonal": "diagonal",
    "counter": "counter",
    "sub-strut": "web",
    "sub-tie": "web",
}
KIND_PARTS = {
    "deck": "deck",
    "stringers": "floor",
    "floor-beams": "floor",
    "railing": "railing",
    "plate": "plate",
    "limit": "limit",
    "abutment": "substructure",
    "pier": "substructure",
    "bearing": "substructure",
    "setting": "setting",
    "approach": "setting",
}
PARTS = {
    "deck": "deck",
    "chord": "chord",
    "counter": "counter",
    "diagonal": "diagonal",
    "vertical": "vertical",
    "end-post": "end post",
    "web": "web",
    "floor": "floor",
    "railing": "railing",
    "plate": "plate",
    "limit": "posted limit",
    "substructure": "substructure",
    "setting": "setting",
    "other": "other",
}
CLASSES = {
    "reinforced": "reinforced",
    "replaced": "replaced",
    "replaced-in-part": "replaced in part",
    "pieces-removed": "pieces taken away",
    "removed": "removed",
    "added": "added",
    "lost-section": "section lost",
    "restored": "section restored",
    "loosened": "loosened",
    "bent": "bent",
    "cracked": "cracked",
    "welded": "welded",
    "mended": "mended",
    "tightened": "tightened",
    "slackened": "slackened",
    "tied-otherwise": "tied otherwise",
    "deck-replaced": "replaced",
    "deck-overlaid": "overlaid",
    "deck-stripped": "stripped of a layer",
    "deck-removed": "removed",
    "limit-posted": "posted",
    "limit-lowered": "lowered",
    "limit-raised": "raised",
    "limit-removed": "taken down",
    "closed": "closed to vehicles",
    "reopened": "reopened",
    "gone": "gone",
    "returned": "back in place",
    "altered": "altered",
}
FLAG_CLASSES = {
    "loose": "loosened",
    "slack": "loosened",
    "bent": "bent",
    "cracked": "cracked",
    "section-lost": "lost-section",
    "welded": "welded",
}
# What a state says that has no bearing on what the thing is.
WORDS_ONLY = {"description", "as_entered"}


@dataclass(frozen=True)
class About:
    """What the classifier needs to know of an element."""

    path: str
    kind: str
    name: str
    role: str = ""
    member: str = ""
    line: str = ""
    span: int | None = None


@dataclass(frozen=True)
class Change:
    """The difference between two configurations of one element, or of several alike."""

    key: str
    part: str
    kinds: tuple[str, ...]
    elements: tuple[About, ...]
    before: Mapping[str, Part | None]
    after: Mapping[str, Part]

    @cached_property
    def paths(self):
        return tuple(element.path for element in self.elements)

    @property
    def is_member(self):
        return self.elements[0].kind == MEMBER

    @cached_property
    def title(self):
        verbs = " and ".join(CLASSES[kind] for kind in self.kinds)
        return f"{_subject(self.elements)} {verbs}"

    @property
    def was(self):
        part = self.before.get(self.elements[0].path)
        return _words(self.elements[0], part)

    @property
    def now(self):
        return _words(self.elements[0], self.after[self.elements[0].path])

    @property
    def sentence(self):
        return _sentence(self)

    @property
    def doubt(self):
        doubts = [self.after[path].doubt for path in self.paths]
        return next((doubt for doubt in doubts if doubt), "")

    @property
    def certainty(self):
        order = ["sure", "probable", "guess"]
        found = {self.after[path].certainty for path in self.paths}
        return max(found, key=lambda word: order.index(word) if word in order else 0)


def compare(
    before: Mapping[str, Part], after: Mapping[str, Part], elements: Iterable[About]
) -> list[Change]:
    """Return what changed, in the order of ``elements``, like changes as one."""
    groups: dict[tuple, list[About]] = {}
    for about in elements:
        old, new = before.get(about.path), after.get(about.path)
        kinds = classify(about, old, new)
        if kinds:
            groups.setdefault(_likeness(about, kinds, old, new), []).append(about)
    return [
        Change(
            key=_key(key[1], members),
            part=part_of(members[0]),
            kinds=key[1],
            elements=tuple(members),
            before={one.path: before.get(one.path) for one in members},
            after={one.path: after[one.path] for one in members},
        )
        for key, members in groups.items()
    ]


def part_of(about: About) -> str:
    """Return the part of a bridge that an element belongs to, one of ``PARTS``."""
    if about.kind == MEMBER:
        return ROLE_PARTS.get(about.role, "web")
    return KIND_PARTS.get(about.kind, "other")


def _likeness(about, kinds, old, new):
    """Changes with equal likeness are told, and shared out, as one."""
    alone = about.path if about.kind in (PLATE, LIMIT) else None
    role = about.role or about.kind
    was = None if old is None else _digest(old.fact)
    return (about.span, kinds, role, was, _digest(new.fact), alone)


def _digest(state):
    return json.dumps(_bare(state), sort_keys=True)


def _bare(value):
    """Drop the words that describe without changing anything."""
    if isinstance(value, Mapping):
        return {k: _bare(v) for k, v in value.items() if k not in WORDS_ONLY}
    if isinstance(value, list):
        return [_bare(one) for one in value]
    return value


def _key(kinds, members):
    text = json.dumps([kinds, [one.path for one in members]])
    return hashlib.sha256(text.encode()).hexdigest()[:10]


def classify(about: About, old: Part | None, new: Part | None) -> tuple[str, ...]:
    """Name the kinds of change of one element, () where there is none."""
    if new is None or new is old or not new.is_described:
        return ()
    if new.is_gone:
        if old is not None and old.is_gone:
            return ()
        return (_GONE.get(about.kind, "gone"),)
    if old is None or not old.is_described:
        return ()
    if old.is_gone:
        return (_BACK.get(about.kind, "returned"),)
    if old.state == new.state:
        return ()
    was, now = _bare(old.state), _bare(new.state)
    if was == now:
        return ()
    judge = {MEMBER: _member, DECK: _deck, LIMIT: _limit}.get(about.kind, _plain)
    return judge(was, now)


_GONE = {MEMBER: "removed", DECK: "deck-removed", LIMIT: "limit-removed"}
_BACK = {MEMBER: "added", LIMIT: "limit-posted", DECK: "deck-replaced"}


def _member(was, now):
    kinds = []
    pieces = _pieces_class(_pieces(was), _pieces(now))
    if pieces:
        kinds.append(pieces)
    old_plate = (was.get("built_up") or {}).get("cover_plate")
    new_plate = (now.get("built_up") or {}).get("cover_plate")
    if new_plate and not old_plate and "reinforced" not in kinds:
        kinds.append("reinforced")
    elif was.get("built_up") != now.get("built_up") and not kinds:
        kinds.append("tied-otherwise")
    kinds += _damage(was, now)
    return tuple(dict.fromkeys(kinds)) or ("altered",)


def _damage(was, now):
    """Loss and flags that came or went: the same for members and the rest."""
    lost, before = now.get("loss_fraction", 0.0), was.get("loss_fraction", 0.0)
    kinds = []
    if lost != before:
        kinds.append("lost-section" if lost > before else "restored")
    left, measured = now.get("remaining_in"), was.get("remaining_in")
    if left and (measured is None or left < measured) and "lost-section" not in kinds:
        kinds.append("lost-section")
    if now.get("tightened_in", 0.0) != was.get("tightened_in", 0.0):
        more = now.get("tightened_in", 0.0) > was.get("tightened_in", 0.0)
        kinds.append("tightened" if more else "slackened")
    old_flags, new_flags = set(was.get("flags", [])), set(now.get("flags", []))
    kinds += [FLAG_CLASSES[flag] for flag in sorted(new_flags - old_flags)]
    if old_flags - new_flags and not new_flags - old_flags and not kinds:
        kinds.append("mended")
    return kinds


def _pieces(state):
    """Count the pieces of a member by what they are."""
    counted = Counter()
    for piece in state.get("components", []):
        bare = {k: v for k, v in piece.items() if k not in ("count", "position")}
        counted[json.dumps(bare, sort_keys=True)] += piece.get("count", 1)
    return counted


def _pieces_class(old, new):
    if old == new or not old or not new:
        return ""
    kept, came, went = old & new, new - old, old - new
    if not went:
        return "reinforced"
    if not came:
        return "pieces-removed"
    return "replaced-in-part" if kept else "replaced"


def _deck(was, now):
    old, new = was.get("layers", []), now.get("layers", [])
    if old == new:
        return tuple(_damage(was, now)) or ("altered",)
    if old and new[: len(old)] == old:
        return ("deck-overlaid",)
    if new and old[: len(new)] == new:
        return ("deck-stripped",)
    return ("deck-replaced",)


def _limit(was, now):
    if bool(was.get("is_closed")) != bool(now.get("is_closed")):
        return ("closed",) if now.get("is_closed") else ("reopened",)
    old, new = was.get("tons"), now.get("tons")
    if old is None or new is None or old == new:
        return ("limit-posted",) if new is not None and old is None else ("altered",)
    return ("limit-lowered",) if new < old else ("limit-raised",)


def _plain(was, now):
    """Judge everything else; stringers and floor beams by their pieces too.

    Beams measured for the first time, otherwise as they were, have not changed.
    """
    if {**now, "components": None} == {**was, "components": None} and not _pieces(was):
        return ()
    pieces = _pieces_class(_pieces(was), _pieces(now))
    return ((pieces,) if pieces else ()) + tuple(_damage(was, now)) or ("altered",)


def _subject(elements):
    """Name what changed: “L1L2, upstream truss”, “Counters L2U3 and L3U2, …”."""
    first = elements[0]
    if first.kind != MEMBER:
        names = [element.name for element in elements]
        text = _and(names)
        return text[:1].upper() + text[1:]
    members = list(dict.fromkeys(element.member for element in elements))
    lines = list(dict.fromkeys(element.line for element in elements))
    where = f"{lines[0]} truss" if len(lines) == 1 else f"{_and(lines)} trusses"
    if first.role == "counter":
        lead = "Counter " if len(members) == 1 else "Counters "
    else:
        lead = ""
    return f"{lead}{_and(members)}, {where.lower()},"


def _and(words):
    if len(words) < 2:
        return "".join(words)
    if len(words) > 6:
        return f"{', '.join(words[:4])} and {len(words) - 4} more"
    return f"{', '.join(words[:-1])} and {words[-1]}"


def _words(about, part):
    if part is None or not part.is_described:
        return "not recorded"
    if part.is_gone:
        return "not there"
    return describe(about.kind, part.state)


def _sentence(change):
    first = change.elements[0]
    title = change.title.rstrip(",")
    if change.kinds == ("reinforced",) and change.is_member:
        return f"{title}: {_added_words(change, first)}."
    if change.after[first.path].is_gone:
        return f"{title}; it was {change.was}."
    return f"{title}: {change.now}, before {change.was}."


def _added_words(change, first):
    """Say only the pieces that came, since what was there is still there."""
    old = change.before[first.path].state
    new = change.after[first.path].state
    left = _pieces(_bare(old))
    came = []
    for piece in new.get("components", []):
        bare = {k: v for k, v in _bare(piece).items() if k != "count"}
        key = json.dumps(bare, sort_keys=True)
        extra = piece.get("count", 1) - left.get(key, 0)
        left[key] = max(0, left.get(key, 0) - piece.get("count", 1))
        if extra > 0:
            came.append(describe_component({**piece, "count": extra}))
    plate = (new.get("built_up") or {}).get("cover_plate")
    if plate and not (old.get("built_up") or {}).get("cover_plate"):
        came.append(describe(first.kind, {"built_up": {"cover_plate": plate}}))
    return f"{_and(came)} added to what was there" if came else change.now


def deck_word(state):
    """Return the one word a deck is filed under: its topmost structural layer."""
    layers = (state or {}).get("layers") or []
    return layers[0]["material"] if layers else ""


__all__ = [
    "CLASSES",
    "DECK_MATERIALS",
    "PARTS",
    "About",
    "Change",
    "classify",
    "compare",
    "deck_word",
    "part_of",
]
