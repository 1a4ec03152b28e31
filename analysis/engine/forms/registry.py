"""The registry of forms: what a form may draw on, puts down, and is told of it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from ..errors import FormError
from .geometry import KINDS, SAME_POINT_FT, Geometry, named

MOST_PANELS = 60
#: Where every panel is crossed, or bars pass each other throughout, all may go slack in
#: turn: longer ones are not known to the trade, and would take long to answer.
MOST_CROSSED_PANELS = 20


@dataclass(frozen=True)
class Plan:
    """What a form function may draw on. ``x`` are the n + 1 panel points, ft."""

    panels: int
    x: tuple[float, ...]
    depth_ft: float
    hip_offset_ft: float
    upper_heights_ft: tuple[float, ...]
    sub_members: str

    @property
    def span_ft(self) -> float:
        return self.x[-1]


@dataclass
class Draft:
    """Joints and bars as a form function puts them down."""

    joints: dict[str, tuple[float, float]] = field(default_factory=dict)
    kinds: dict[tuple[str, str], str] = field(default_factory=dict)
    crossed: set[int] = field(default_factory=set)
    #: Joints over the bearings, where they are not the ends of the lower chord.
    bearings: tuple[str, str] | None = None

    def joint(self, name: str, x: float, y: float) -> None:
        self.joints[name] = (x, y)

    def bar(self, a: str, b: str, kind: str) -> None:
        self.kinds[named(a, b)] = kind

    def has(self, a: str, b: str) -> bool:
        return named(a, b) in self.kinds


@dataclass(frozen=True)
class Form:
    """One entry of the registry: how a form is made, and what is told of it.

    Attributes
    ----------
    key, title, function, description
    needs : measurements it asks for besides panels and their length
    takes : measurements it can do without
    least_panels, most_panels, multiple_of : limits on the number of panels
    spans_ft, period : the spans and the years the trade built it in; None, "" unknown
    is_seen : whether spans and period were read in a source or are from memory
    tell : what to look for on the bridge
    also_called : other names in use
    idealised : what a pin-jointed plane model leaves out; empty for most
    example : arguments of ``build`` for a typical one
    also : further examples, whose look differs
    carries : where the deck of the examples is, "through" or "deck"
    """

    key: str
    title: str
    function: Callable[[Plan], Draft]
    needs: tuple[str, ...]
    description: str
    takes: tuple[str, ...] = ()
    least_panels: int = 2
    most_panels: int = MOST_PANELS
    multiple_of: int = 1
    spans_ft: tuple[int, int] | None = None
    period: str = ""
    is_seen: bool = False
    tell: str = ""
    also_called: str = ""
    idealised: str = ""
    example: Mapping[str, Any] = field(default_factory=dict)
    also: tuple[Mapping[str, Any], ...] = ()
    carries: str = "through"

    def typical(self) -> Geometry:
        """Return the geometry of the example."""
        return self.varieties()[0]

    def varieties(self) -> list[Geometry]:
        """Return the geometries of every example, the typical one first."""
        given = [self.example, *self.also]
        return [
            build(self.key, **self._filled(one), deck_position=self.carries)
            for one in given
        ]

    def document(self) -> dict[str, Any]:
        """Return the beginning of a check file on the example."""
        geometry = {"form": self.key, **self._filled(self.example)}
        return {"geometry": geometry, "deck_position": self.carries}

    def _filled(self, example: Mapping[str, Any]) -> dict[str, Any]:
        panels = min(max(6, self.least_panels), self.most_panels)
        plain: dict[str, Any] = {"panels": panels, "panel_length_ft": 15.0}
        sizes = {"depth_ft": 15.0, "hip_offset_ft": 7.0}
        plain |= {name: size for name, size in sizes.items() if name in self.needs}
        return plain | dict(example)


FORMS: dict[str, Form] = {}


def form(
    key: str,
    title: str,
    *,
    needs: Sequence[str] = ("depth_ft",),
    takes: Sequence[str] = (),
    panels: tuple[int, int] = (2, MOST_PANELS),
    multiple_of: int = 1,
    **told: Any,
) -> Callable[[Callable[[Plan], Draft]], Callable[[Plan], Draft]]:
    """Register a form function; its docstring is the description.

    ``told`` are the other attributes of ``Form``.
    """

    def register(function: Callable[[Plan], Draft]) -> Callable[[Plan], Draft]:
        about = " ".join((function.__doc__ or "").split())
        FORMS[key] = Form(
            key,
            title,
            function,
            tuple(needs),
            about,
            tuple(takes),
            *panels,
            multiple_of,
            **told,
        )
        return function

    return register


def build(
    form: str,
    panels: int,
    panel_length_ft: float | Sequence[float],
    depth_ft: float | None = None,
    *,
    hip_offset_ft: float | None = None,
    upper_heights_ft: Sequence[float] | None = None,
    crossed_panels: Sequence[int] = (),
    sub_members: str = "struts",
    deck_position: str = "through",
) -> Geometry:
    """Return the geometry of a form.

    Parameters
    ----------
    form : a key of ``FORMS``
    panels : number of panels, n
    panel_length_ft : one number, or n of them from the origin end, ft
    depth_ft : height of the upper chord above the lower, ft
    hip_offset_ft : from the support to the hip joint, ft (half-hip)
    upper_heights_ft : one per upper joint, ft (polygonal upper chords)
    crossed_panels : 1-based panels that carry both diagonals, besides the form's own
    sub_members : "struts" or "ties" (subdivided forms)
    deck_position : on a "deck" truss floor beams bear on the upper joints

    Raises
    ------
    FormError
        Naming the measurement that is missing, contradicts another or cannot be.
    """
    if form not in FORMS:
        raise FormError("form", f"expected one of {', '.join(FORMS)}")
    entry = FORMS[form]
    _check_panels(entry, panels)
    given = {
        "depth_ft": depth_ft,
        "hip_offset_ft": hip_offset_ft,
        "upper_heights_ft": upper_heights_ft,
    }
    for name, value in given.items():
        if value is None and name in entry.needs:
            raise FormError(name, f"expected, because the form {form} needs it")
        if value is not None and name not in entry.needs + entry.takes:
            raise FormError(name, f"expected nothing: the form {form} has no such size")
    heights = tuple(upper_heights_ft or ())
    plan = Plan(
        panels,
        _panel_points(panels, panel_length_ft),
        depth_ft if depth_ft is not None else max(heights, default=0.0),
        hip_offset_ft or 0.0,
        heights,
        sub_members,
    )
    draft = entry.function(plan)
    for number, panel in enumerate(crossed_panels):
        _cross(draft, entry, plan, panel, f"crossed_panels[{number}]")
    return _finish(draft, plan, deck_position, entry.idealised)


def _check_panels(entry: Form, panels: int) -> None:
    if not entry.least_panels <= panels <= entry.most_panels:
        limits = (
            f"{entry.least_panels}"
            if entry.least_panels == entry.most_panels
            else f"{entry.least_panels} to {entry.most_panels}"
        )
        raise FormError("panels", f"expected {limits} panels for {entry.key}")
    if panels % entry.multiple_of:
        wanted = (
            "an even number"
            if entry.multiple_of == 2
            else f"a multiple of {entry.multiple_of}"
        )
        raise FormError("panels", f"expected {wanted} for {entry.key}")


def _panel_points(panels: int, length_ft: float | Sequence[float]) -> tuple[float, ...]:
    if isinstance(length_ft, Sequence):
        if len(length_ft) != panels:
            message = f"expected one length for each of {panels} panels"
            raise FormError("panel_length_ft", f"{message}, found {len(length_ft)}")
        points = [0.0]
        for length in length_ft:
            points.append(points[-1] + length)
        return tuple(points)
    return tuple(float(number * length_ft) for number in range(panels + 1))


def _finish(draft: Draft, plan: Plan, deck_position: str, idealised: str) -> Geometry:
    order = {kind: place for place, kind in enumerate(_ORDER)}
    members = sorted(
        draft.kinds,
        key=lambda ends: (order[draft.kinds[ends]], _along(draft, ends)),
    )
    pinned, roller = draft.bearings or ("L0", f"L{plan.panels}")
    return Geometry(
        draft.joints,
        tuple(members),
        {a + b: draft.kinds[a, b] for a, b in members},
        pinned,
        roller,
        _loaded(draft, pinned, roller, "U" if deck_position == "deck" else "L"),
        tuple(sorted(draft.crossed)),
        idealised,
    )


def _loaded(draft: Draft, pinned: str, roller: str, level: str) -> tuple[str, ...]:
    """Return the joints where floor beams bear, from one bearing to the other.

    Stringers run from the abutments, at the bearings, except where an upright end
    post brings the deck's end to a joint above one.
    """
    places = {name: x for name, (x, _) in draft.joints.items()}
    names = [name for name in draft.joints if name.startswith(level)]
    over = {round(places[name] / SAME_POINT_FT) for name in names}
    for bearing in (pinned, roller):
        if round(places[bearing] / SAME_POINT_FT) not in over:
            names.append(bearing)
    return tuple(sorted(names, key=places.__getitem__))


_ORDER = ("lower-chord", "upper-chord", "arch", "end-post", *KINDS[3:9])


def _along(draft: Draft, ends: tuple[str, str]) -> tuple[float, str]:
    return sum(draft.joints[end][0] for end in ends), ends[0] + ends[1]


def _cross(draft: Draft, entry: Form, plan: Plan, panel: int, place: str) -> None:
    """Give one panel its second diagonal; ``place`` is where a fault is reported."""
    if not 1 <= panel <= plan.panels:
        raise FormError(place, f"expected a panel from 1 to {plan.panels}")
    left, right = panel - 1, panel
    falling, rising = (f"L{right}", f"U{left}"), (f"L{left}", f"U{right}")
    corners = all(joint in draft.joints for joint in (*falling, *rising))
    over = corners and all(
        abs(draft.joints[f"U{i}"][0] - draft.joints[f"L{i}"][0]) < SAME_POINT_FT
        for i in (left, right)
    )
    if not over or "crossed_panels" not in entry.takes:
        message = f"expected a panel with four corners, which {panel} does not have"
        raise FormError(place, message)
    bare = not draft.has(*falling) and not draft.has(*rising)
    for ends in (falling, rising):
        if bare or not draft.has(*ends):
            draft.bar(*ends, "counter")
    draft.crossed.add(panel)
