"""A truss line as joints and bars, and the names its bars go by."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import pairwise
from typing import Any

from ..errors import UnknownMember

KINDS = (
    "upper-chord",
    "lower-chord",
    "end-post",
    "hip-vertical",
    "vertical",
    "diagonal",
    "counter",
    "sub-strut",
    "sub-tie",
    "arch",
)
CHORDS = ("upper-chord", "lower-chord")
#: Two joints nearer than this, ft, are one point.
SAME_POINT_FT = 1e-3
JOINT = re.compile(r"([LMU])(\d+)")
LEVELS = {"L": 0, "M": 1, "U": 2}


@dataclass(frozen=True)
class Geometry:
    """One truss line as joints and bars.

    Attributes
    ----------
    joints : {name: (x, y)}, ft
    members : pairs of joint names, in the order they are answered
    kinds : {member name: kind}, for the members that have one
    pinned, roller : joint names; the roller is held vertically only
    loaded_joints : joint names in order of x, where floor beams bear
    crossed_panels : 1-based panels that carry both diagonals
    idealised : what a pin-jointed model leaves out of this form; empty for most
    """

    joints: dict[str, tuple[float, float]]
    members: tuple[tuple[str, str], ...]
    kinds: dict[str, str]
    pinned: str
    roller: str
    loaded_joints: tuple[str, ...]
    crossed_panels: tuple[int, ...] = ()
    idealised: str = ""

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(a + b for a, b in self.members)

    def canonical(self) -> dict[str, Any]:
        """Return the geometry in plain JSON form."""
        # What the form leaves out is told in the answer, and so is part of the question.
        told = {"idealised": self.idealised} if self.idealised else {}
        return told | {
            "joints": self.joints,
            "members": self.members,
            "kinds": self.kinds,
            "pinned": self.pinned,
            "roller": self.roller,
            "loaded_joints": self.loaded_joints,
        }

    @cached_property
    def canonical_text(self) -> str:
        """Return ``canonical`` as JSON without spaces, keys in order."""
        return json.dumps(self.canonical(), sort_keys=True, separators=(",", ":"))

    @cached_property
    def lengths_ft(self) -> tuple[float, ...]:
        """Return the length of every member."""
        return tuple(self.length_ft(ends) for ends in self.members)

    @cached_property
    def spellings(self) -> dict[str, str]:
        """Return what ``spellings`` does."""
        return spellings(self)

    def length_ft(self, member: tuple[str, str]) -> float:
        (ax, ay), (bx, by) = (self.joints[joint] for joint in member)
        return float(((bx - ax) ** 2 + (by - ay) ** 2) ** 0.5)


def named(a: str, b: str) -> tuple[str, str]:
    """Return the ends of a bar in the order of its name.

    Lower joint first for web members and end posts, ascending along a chord.
    """
    return (a, b) if _rank(a) <= _rank(b) else (b, a)


def member_name(a: str, b: str) -> str:
    """Return the name of the bar between two joints of a form, ``L2U3`` for U3, L2."""
    return "".join(named(a, b))


@lru_cache(maxsize=1024)
def _rank(joint: str) -> tuple[int, int]:
    match = JOINT.fullmatch(joint)
    return (LEVELS[match[1]], int(match[2])) if match else (3, 0)


def spellings(geometry: Geometry) -> dict[str, str]:
    """Return every accepted spelling of every member, upper case, to its name.

    Either order of the joints, with a hyphen between them or without. A spelling that
    two members could claim belongs to the one named that way round, or to neither.
    """
    forward = {(a + b).upper(): a + b for a, b in geometry.members}
    hyphened: dict[str, str] = {}
    backward: dict[str, str] = {}
    doubtful: set[str] = set()
    for a, b in geometry.members:
        hyphened[f"{a}-{b}".upper()] = hyphened[f"{b}-{a}".upper()] = a + b
        turned = (b + a).upper()
        if backward.setdefault(turned, a + b) != a + b:
            doubtful.add(turned)
    for turned in doubtful:
        del backward[turned]
    return backward | hyphened | forward


def spelled(text: str) -> str:
    """Return a member name as ``spellings`` keys it."""
    return "".join(text.split()).upper()


def canonical_name(text: str, geometry: Geometry) -> str:
    """Return the name a bar is answered under, however it was written.

    Raises ``UnknownMember`` where no bar, or more than one, answers to it.
    """
    name = spellings(geometry).get(spelled(text))
    if name is None:
        raise UnknownMember(f"no member {text!r}")
    return name


def upper_chord(geometry: Geometry) -> tuple[str, ...]:
    """Return the joints of the upper chord in order of x; empty if it is no one line."""
    bars = [
        ends
        for ends in geometry.members
        if geometry.kinds.get(ends[0] + ends[1]) == "upper-chord"
    ]
    joints = sorted(
        {end for ends in bars for end in ends},
        key=lambda joint: (geometry.joints[joint][0], joint),
    )
    is_line = {frozenset(ends) for ends in bars} == {
        frozenset(pair) for pair in pairwise(joints)
    }
    return tuple(joints) if bars and is_line else ()
