"""Two or more forms for one crossing, side by side: numbers, and what they mean.

Every bar is given one section, so that what differs is the outline alone. Forces are
the greatest under the dead load with the moving load where it adds. *Metal* is that of
the bars between joints, each with just the area that its greatest force asks for.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

from scipy.optimize import brentq

from analysis.engine import forms
from analysis.engine.answer import answer
from analysis.engine.errors import FormError

from . import form_facts

MOST_FORMS = 4
#: A steel bar of one square inch, a foot long, lb.
STEEL_LB = 3.4
E_KSI = 29_000.0
UPRIGHTS = ("vertical", "hip-vertical")
WEB = (*UPRIGHTS, "diagonal", "counter", "sub-strut", "sub-tie")
#: A polygonal upper chord is drawn on a parabola from this part of its depth.
SPRING = 0.6
#: A camelback is a Parker of an outline that no depth alone gives; the open panel of a
#: queen post can balance no load on one side of the span.
LEFT_OUT = ("camelback", "queen-post")
COMPARABLE = tuple(name for name in forms.FORMS if name not in LEFT_OUT)
DEFAULT_PANELS = 5
MOST_PANELS = 20


@dataclass(frozen=True)
class Crossing:
    """What the forms are compared for; one truss, its span between bearings.

    ``hip_offset_ft`` is for half-hips. ``area_in2`` and ``r_in`` are of the section
    that every bar is given; ``stress_ksi`` is the one stress of *metal at one stress*.
    """

    span_ft: float
    panels: int
    depth_ft: float
    hip_offset_ft: float
    dead_plf: float
    live_plf: float
    stress_ksi: float
    area_in2: float
    r_in: float

    @property
    def panel_ft(self) -> float:
        return self.span_ft / self.panels


@dataclass(frozen=True)
class Bar:
    """One bar: kip, tension positive; what the column formula allows it, ksi.

    ``strut_ksi`` and ``slenderness`` are None for a rod.
    """

    name: str
    kind: str
    length_ft: float
    most_kip: float
    least_kip: float
    slenderness: float | None
    tie_ksi: float
    strut_ksi: float | None

    @property
    def governing_kip(self) -> float:
        return max(self.most_kip, self.least_kip, key=abs)

    @property
    def push_kip(self) -> float:
        return max(-self.least_kip, 0.0)

    @property
    def pull_kip(self) -> float:
        return max(self.most_kip, 0.0)

    @property
    def strut_area_in2(self) -> float | None:
        return self.push_kip / self.strut_ksi if self.strut_ksi else None

    @property
    def area_in2(self) -> float:
        """The area its forces ask for, at what the rules of stress allow each way."""
        return max(self.pull_kip / self.tie_ksi, self.strut_area_in2 or 0.0)


@dataclass(frozen=True)
class Compared:
    """One form on the crossing."""

    entry: forms.Form
    crossing: Crossing
    geometry: forms.Geometry
    bars: tuple[Bar, ...]

    @property
    def title(self) -> str:
        return form_facts.full_title(self.entry)

    @property
    def in_line(self) -> str:
        return form_facts.in_a_sentence(self.title)

    @property
    def joints(self) -> int:
        return len(self.geometry.joints)

    @property
    def total_ft(self) -> float:
        return sum(bar.length_ft for bar in self.bars)

    @property
    def end_post(self) -> Bar | None:
        """The bar from the bearing up to the hip, or None where there is none."""
        return next(
            (b for b in self._at(self.geometry.pinned) if b.kind == "end-post"), None
        )

    @property
    def top(self) -> Bar | None:
        """The bar of the upper chord, or the arch, that is pressed hardest."""
        found = [bar for bar in self.bars if bar.kind in ("upper-chord", "arch")]
        return max(found, key=lambda bar: bar.push_kip, default=None)

    @property
    def bottom(self) -> Bar | None:
        found = [bar for bar in self.bars if bar.kind == "lower-chord"]
        return max(found, key=lambda bar: bar.pull_kip, default=None)

    @property
    def next_to_bearing(self) -> Bar | None:
        """The bar of the lower chord at the bearing."""
        return next(
            (b for b in self._at(self.geometry.pinned) if b.kind == "lower-chord"), None
        )

    @property
    def first_upright(self) -> Bar | None:
        """The upright at the first panel point."""
        place = self.geometry.joints
        first = place[self.geometry.loaded_joints[1]][0]
        return next(
            (
                bar
                for bar, (a, b) in zip(self.bars, self.geometry.members, strict=True)
                if bar.kind in UPRIGHTS
                and abs(place[a][0] - first) < 1e-6
                and abs(place[b][0] - first) < 1e-6
            ),
            None,
        )

    @property
    def longest_web_strut(self) -> Bar | None:
        found = [b for b in self.bars if b.kind in WEB and b.governing_kip < -1e-6]
        return max(found, key=lambda bar: (bar.length_ft, bar.push_kip), default=None)

    @property
    def reversing(self) -> list[str]:
        return [
            bar.name
            for bar in self.bars
            if bar.most_kip > 1e-6 and bar.least_kip < -1e-6
        ]

    @property
    def metal_lb(self) -> float:
        stress = self.crossing.stress_ksi
        return STEEL_LB * sum(
            abs(bar.governing_kip) / stress * bar.length_ft for bar in self.bars
        )

    @property
    def column_metal_lb(self) -> float:
        return STEEL_LB * sum(bar.area_in2 * bar.length_ft for bar in self.bars)

    @property
    def diagonals(self) -> str:
        """ "pulled", "pressed", or "" where its diagonals do both, or there are none."""
        found = [bar for bar in self.bars if bar.kind == "diagonal"]
        if found and all(bar.pull_kip > bar.push_kip for bar in found):
            return "pulled"
        if found and all(bar.push_kip > bar.pull_kip for bar in found):
            return "pressed"
        return ""

    def _at(self, joint):
        return [
            bar
            for bar, ends in zip(self.bars, self.geometry.members, strict=True)
            if joint in ends
        ]


def euler_kip(bar: Bar, area_in2: float) -> float | None:
    """Return the load at which a bar of the section buckles, elastic and straight.

    Euler: pi^2 E A / (KL/r)^2.
    """
    if not bar.slenderness:
        return None
    return math.pi**2 * E_KSI * area_in2 / bar.slenderness**2


def compare(keys: Sequence[str], crossing: Crossing) -> list[Compared]:
    """Return the forms on a crossing, in the order of the registry.

    Raises ``FormError`` where one of them cannot be built.
    """
    chosen = [forms.FORMS[name] for name in forms.FORMS if name in set(keys)]
    return [_on(entry.key, crossing) for entry in chosen]


def even_depth_ft(first: Compared, other: Compared) -> float | None:
    """Return the depth at which two forms need as much metal by the column formula.

    From a quarter of a panel to two panels, everything else as it is; None where
    one of them needs less at every depth.
    """

    def more(depth_ft):
        crossing = replace(first.crossing, depth_ft=depth_ft)
        one, two = (_on(form.entry.key, crossing) for form in (first, other))
        return two.column_metal_lb - one.column_metal_lb

    panel_ft = first.crossing.panel_ft
    depths = [panel_ft * part for part in (0.25, 0.4, 0.6, 0.9, 1.3, 2.0)]
    found = [more(depth) for depth in depths]
    for low, high, a, b in zip(depths, depths[1:], found, found[1:], strict=False):
        if a * b < 0:
            return float(brentq(more, low, high, xtol=0.05, maxiter=20))
    return None


def geometry_of(entry: forms.Form, crossing: Crossing) -> dict[str, Any]:
    """Return the ``geometry`` of a check file for a form on a crossing."""
    block: dict[str, Any] = {
        "form": entry.key,
        "panels": crossing.panels,
        "panel_length_ft": crossing.panel_ft,
        "depth_ft": crossing.depth_ft,
    }
    if "hip_offset_ft" in entry.needs:
        block["hip_offset_ft"] = crossing.hip_offset_ft
    if "upper_heights_ft" in entry.needs:
        step = entry.multiple_of
        places = [i / crossing.panels for i in range(step, crossing.panels, step)]
        curve = [SPRING + (1.0 - SPRING) * 4.0 * p * (1.0 - p) for p in places]
        most = max(curve, default=1.0)
        block["upper_heights_ft"] = [crossing.depth_ft * y / most for y in curve]
        block["depth_ft"] = max(block["upper_heights_ft"], default=crossing.depth_ft)
    return block


@lru_cache(maxsize=256)
def _on(key, crossing):
    entry = forms.FORMS[key]
    block = geometry_of(entry, crossing)
    geometry = forms.build(**block, deck_position=entry.carries)
    section = {
        "area_in2": crossing.area_in2,
        "r_in_plane_in": crossing.r_in,
        "r_out_of_plane_in": crossing.r_in,
    }
    kinds = sorted(set(geometry.kinds.values()))
    rods = form_facts.rods_of(entry.key, geometry)
    document = {
        "geometry": block,
        "deck_position": entry.carries,
        "material": {"kind": "steel", "year": 1910},
        "members": [
            {"kinds": kinds, "section": section},
            *form_facts.taking_no_push(rods, crossing.area_in2),
        ],
        "dead_load": {"uniform_plf": crossing.dead_plf},
        # Of crossed rods the one that the shear stretches: sizes have no say in it.
        "tension_only_model": "classical",
    }
    if crossing.live_plf:
        document["live_load"] = {"uniform_plf": crossing.live_plf}
    found = answer(document)
    if not found["stands"]:
        raise FormError("form", "expected a form that stands under every load")
    bars = tuple(
        _bar(name, geometry, found["members"][name], crossing)
        for name in geometry.names
    )
    return Compared(entry, crossing, geometry, bars)


def _bar(name, geometry, told, crossing):
    ends = next(e for e in geometry.members if e[0] + e[1] == name)
    limits = told["resistance"]["inventory"]
    strut = limits["compression_kip"]
    dead = told["dead_kip"]
    return Bar(
        name,
        geometry.kinds[name],
        geometry.length_ft(ends),
        dead + (told.get("live_max_kip") or 0.0),
        dead + (told.get("live_min_kip") or 0.0),
        told["slenderness"],
        limits["tension_kip"] / crossing.area_in2,
        None if strut is None else strut / crossing.area_in2,
    )


# --- what a form asks of the number of panels ------------------------------------------


def _one(entry: forms.Form) -> str:
    title = form_facts.full_title(entry)
    return f"An {title}" if title[0] == "A" else f"A {form_facts.in_a_sentence(title)}"


def panels_fault(entry: forms.Form, panels: int) -> str:
    """Return what a form asks of the number of panels, or "" where it has it."""
    if entry.key == "fink" and panels & (panels - 1):
        return "A Fink truss has 2, 4, 8 or 16 panels."
    if entry.least_panels == entry.most_panels != panels:
        return f"{_one(entry)} has {entry.least_panels} panels."
    if panels < entry.least_panels:
        return f"{_one(entry)} has at least {entry.least_panels} panels."
    if panels > entry.most_panels:
        return f"{_one(entry)} has at most {entry.most_panels} panels."
    if panels % entry.multiple_of:
        number = (
            "an even number" if entry.multiple_of == 2 else "a number divisible by four"
        )
        return f"{_one(entry)} has {number} of panels."
    return ""


def query(*keys: str) -> str:
    """Return the query that compares forms with a number of panels that suits all.

    "" where there is none, or one of them cannot be compared.
    """
    if not set(keys) <= set(COMPARABLE):
        return ""
    wanted = (DEFAULT_PANELS, 6, 8, 4, 10, 12, 3, 2)
    entries = [forms.FORMS[name] for name in keys]
    for panels in wanted:
        if not any(panels_fault(entry, panels) for entry in entries):
            chosen = "&".join(f"form={name}" for name in keys)
            return f"?{chosen}&panels={panels}"
    return ""
