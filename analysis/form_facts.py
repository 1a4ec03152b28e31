"""What is told of a form: how its members act under gravity, computed and not assumed.

Forces are for the form's example with one load at every panel point between the
bearings, and are told in *panel loads*: what one floor beam brings to the truss.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from analysis.engine import forms
from analysis.engine.answer import answer

from . import form_drawings

#: Below this part of a panel load a bar carries nothing worth telling.
NOTHING = 1e-3
#: Live load on a panel point for every unit of dead load there, to find what reverses.
LIVE_TO_DEAD = 3.0
KIND_WORDS = {
    "upper-chord": ("upper chord", "upper chord"),
    "lower-chord": ("lower chord", "lower chord"),
    "arch": ("arch", "arch"),
    "end-post": ("end post", "end posts"),
    "hip-vertical": ("hip vertical", "hip verticals"),
    "vertical": ("vertical", "verticals"),
    "diagonal": ("diagonal", "diagonals"),
    "counter": ("counter", "counters"),
    "sub-strut": ("sub-strut", "sub-struts"),
    "sub-tie": ("sub-tie", "sub-ties"),
}


@dataclass(frozen=True)
class KindRow:
    """Bars of one kind that act alike: ``most`` is the greatest force, panel loads."""

    words: str
    members: tuple[str, ...]
    action: str
    most: float


@dataclass(frozen=True)
class Action:
    """A form's example under an even load.

    ``turning`` are bars that are pulled under one position of a moving load and pressed
    under another; ``woken`` those that carry only under an uneven load.
    """

    geometry: forms.Geometry
    forces: dict[str, float]
    rows: tuple[KindRow, ...]
    turning: tuple[str, ...]
    woken: tuple[str, ...]
    rods: frozenset[str]


#: Names of forms that begin with no name of a person or place.
COMMON = (
    "Half-hip",
    "Camelback",
    "Double-intersection",
    "King",
    "Queen",
    "Lattice",
    "Bowstring",
    "Bedstead",
    "Lenticular",
)


def full_title(entry: forms.Form) -> str:
    """Return "Pratt truss" for Pratt, "Post truss" for Post truss."""
    title, with_, more = entry.title.partition(" with ")
    return title + ("" if title.endswith("truss") else " truss") + with_ + more


def in_a_sentence(title: str) -> str:
    """Return "half-hip Pratt" for Half-hip Pratt, "Pratt" for Pratt."""
    return title[0].lower() + title[1:] if title.startswith(COMMON) else title


@cache
def action(form: str) -> Action:
    """Return how the bars of a form's example act. Any form of the registry."""
    entry = forms.FORMS[form]
    geometry = entry.typical()
    rods = rods_of(form, geometry)
    inner = geometry.loaded_joints[1:-1]
    document = {
        **entry.document(),
        "dead_load": {"joints_kip": dict.fromkeys(inner, 1.0)},
        "tension_only_model": "classical",
        "members": taking_no_push(rods),
    }
    even = answer(document)["members"]
    forces = {name: _clean(told["dead_kip"]) for name, told in even.items()}
    turning, woken = _under_a_moving_load(document, forces, geometry)
    return Action(
        geometry,
        forces,
        tuple(_rows(geometry, forces)),
        turning,
        woken,
        frozenset(rods),
    )


def rods_of(form: str, geometry: forms.Geometry) -> list[str]:
    """Return the bars taken as rods: counters, except of a Howe, whose are struts."""
    if form == "howe":
        return []
    return [name for name, kind in geometry.kinds.items() if kind == "counter"]


def taking_no_push(names: list[str], area_in2: float = 1.0) -> list[dict]:
    """Return the groups of a check file that make bars tension-only."""
    if not names:
        return []
    section = {"area_in2": area_in2}
    return [{"names": list(names), "section": section, "tension_only": True}]


def _clean(force):
    return 0.0 if abs(force) < NOTHING else force


def _under_a_moving_load(document, forces, geometry):
    panel_ft = geometry.joints[geometry.roller][0] / (len(geometry.loaded_joints) - 1)
    found = answer(
        document | {"live_load": {"uniform_plf": 1000.0 * LIVE_TO_DEAD / panel_ft}}
    )
    turning, woken = [], []
    if not found["stands"]:
        return (), ()
    for name, told in found["members"].items():
        most = told["dead_kip"] + told["live_max_kip"]
        least = told["dead_kip"] + told["live_min_kip"]
        if most > NOTHING and least < -NOTHING:
            turning.append(name)
        elif not forces[name] and (most > NOTHING or least < -NOTHING):
            woken.append(name)
    return tuple(turning), tuple(woken)


def _rows(geometry, forces):
    """Group the bars by kind, and those of one kind by how they act."""
    order = {"tension": "pulled", "compression": "pressed"}
    for kind, (one, many) in KIND_WORDS.items():
        names = [name for name in forces if geometry.kinds[name] == kind]
        acts = {}
        for name in names:
            word = order.get(form_drawings.action_of(forces[name]), "idle")
            acts.setdefault(word, []).append(name)
        for word, alike in sorted(acts.items(), key=lambda item: item[0] == "idle"):
            most = max((forces[name] for name in alike), key=abs)
            yield KindRow(one if len(alike) == 1 else many, tuple(alike), word, most)
