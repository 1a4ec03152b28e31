"""Truss forms: where the joints stand and which bars join them.

A form is one function from a ``Plan`` (panel points, depth, hips) to a ``Draft``,
registered with the measurements it needs. Everything else (the table the reader
validates against, the schema, member names, loaded joints) follows from that.

Lower joints are L0 to Ln at the panel points, x in feet from the origin end, y = 0.
Upper joints are U, joints of subdivided panels M. Left is the origin end.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from .errors import FormError, UnknownMember

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
)
CHORDS = ("upper-chord", "lower-chord")
MOST_PANELS = 60
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
    """

    joints: dict[str, tuple[float, float]]
    members: tuple[tuple[str, str], ...]
    kinds: dict[str, str]
    pinned: str
    roller: str
    loaded_joints: tuple[str, ...]
    crossed_panels: tuple[int, ...] = ()

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(a + b for a, b in self.members)

    def length_ft(self, member: tuple[str, str]) -> float:
        (ax, ay), (bx, by) = (self.joints[joint] for joint in member)
        return float(((bx - ax) ** 2 + (by - ay) ** 2) ** 0.5)


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

    def joint(self, name: str, x: float, y: float) -> None:
        self.joints[name] = (x, y)

    def bar(self, a: str, b: str, kind: str) -> None:
        self.kinds[named(a, b)] = kind

    def has(self, a: str, b: str) -> bool:
        return named(a, b) in self.kinds


@dataclass(frozen=True)
class Form:
    """One entry of the registry.

    ``needs`` are the measurements it asks for besides panels and their length;
    ``takes`` those it can do without. ``fixed_panels`` and ``even`` limit n.
    """

    key: str
    title: str
    function: Callable[[Plan], Draft]
    needs: tuple[str, ...]
    description: str
    takes: tuple[str, ...] = ()
    least_panels: int = 2
    most_panels: int = MOST_PANELS
    even: bool = False


FORMS: dict[str, Form] = {}


def form(
    key: str,
    title: str,
    *,
    needs: Sequence[str] = ("depth_ft",),
    takes: Sequence[str] = (),
    panels: tuple[int, int] = (2, MOST_PANELS),
    even: bool = False,
) -> Callable[[Callable[[Plan], Draft]], Callable[[Plan], Draft]]:
    """Register a form function; its docstring is the description."""

    def register(function: Callable[[Plan], Draft]) -> Callable[[Plan], Draft]:
        about = " ".join((function.__doc__ or "").split())
        FORMS[key] = Form(
            key, title, function, tuple(needs), about, tuple(takes), *panels, even
        )
        return function

    return register


def named(a: str, b: str) -> tuple[str, str]:
    """Return the ends of a bar in the order of its name.

    Lower joint first for web members and end posts, ascending along a chord.
    """
    return (a, b) if _rank(a) <= _rank(b) else (b, a)


def member_name(a: str, b: str) -> str:
    """Return the name of the bar between two joints of a form, ``L2U3`` for U3, L2."""
    return "".join(named(a, b))


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
    return _finish(draft, plan, deck_position)


def _check_panels(entry: Form, panels: int) -> None:
    if not entry.least_panels <= panels <= entry.most_panels:
        limits = (
            f"{entry.least_panels}"
            if entry.least_panels == entry.most_panels
            else f"{entry.least_panels} to {entry.most_panels}"
        )
        raise FormError("panels", f"expected {limits} panels for {entry.key}")
    if entry.even and panels % 2:
        raise FormError("panels", f"expected an even number for {entry.key}")


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


def _finish(draft: Draft, plan: Plan, deck_position: str) -> Geometry:
    order = {kind: place for place, kind in enumerate(_ORDER)}
    members = sorted(
        draft.kinds,
        key=lambda ends: (order[draft.kinds[ends]], _along(draft, ends)),
    )
    last = f"L{plan.panels}"
    loaded = [f"L{i}" for i in range(plan.panels + 1)]
    if deck_position == "deck":
        # Stringers run from the abutments, at the end joints, over the upper joints.
        upper = [name for name in draft.joints if name.startswith("U")]
        loaded = ["L0", *sorted(upper, key=lambda name: draft.joints[name][0]), last]
    return Geometry(
        draft.joints,
        tuple(members),
        {a + b: draft.kinds[a, b] for a, b in members},
        "L0",
        last,
        tuple(loaded),
        tuple(sorted(draft.crossed)),
    )


_ORDER = ("lower-chord", "upper-chord", "end-post", *KINDS[3:])


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


# --- pieces that several forms share ---------------------------------------------------


def _lower_chord(plan: Plan) -> Draft:
    """Put down L0 to Ln and the lower chord."""
    draft = Draft()
    for i, x in enumerate(plan.x):
        draft.joint(f"L{i}", x, 0.0)
    for i in range(plan.panels):
        draft.bar(f"L{i}", f"L{i + 1}", "lower-chord")
    return draft


def _over_panel_points(draft: Draft, plan: Plan, heights_ft: Sequence[float]) -> None:
    """Put down U1 to Un-1, the upper chord between them and the verticals."""
    n = plan.panels
    for i, height in zip(range(1, n), heights_ft, strict=True):
        draft.joint(f"U{i}", plan.x[i], height)
    for i in range(1, n - 1):
        draft.bar(f"U{i}", f"U{i + 1}", "upper-chord")
    for i in range(1, n):
        draft.bar(f"L{i}", f"U{i}", "vertical")


def _hips(draft: Draft, plan: Plan) -> None:
    """Put down the end posts to U1 and Un-1 and call their verticals hip verticals."""
    n = plan.panels
    draft.bar("L0", "U1", "end-post")
    draft.bar(f"L{n}", f"U{n - 1}", "end-post")
    draft.bar("L1", "U1", "hip-vertical")
    draft.bar(f"L{n - 1}", f"U{n - 1}", "hip-vertical")


def _pratt_web(draft: Draft, plan: Plan, first: int, rising: bool = False) -> None:
    """Put down one diagonal a panel from panel ``first`` to its mirror image.

    They fall toward midspan (rise, where asked); the middle panel of odd n is crossed.
    """
    n = plan.panels
    for panel in range(first, n - first + 2):
        left, right = panel - 1, panel
        falls = (f"U{left}", f"L{right}")
        rises = (f"L{left}", f"U{right}")
        if 2 * panel == n + 1:
            draft.bar(*falls, "counter")
            draft.bar(*rises, "counter")
            draft.crossed.add(panel)
        elif (2 * panel < n + 1) != rising:
            draft.bar(*falls, "diagonal")
        else:
            draft.bar(*rises, "diagonal")


def _heights(plan: Plan, wanted: int) -> tuple[float, ...]:
    heights = plan.upper_heights_ft
    if len(heights) != wanted:
        message = f"expected {wanted} heights, one per upper joint"
        raise FormError("upper_heights_ft", f"{message}, found {len(heights)}")
    if abs(plan.depth_ft - max(heights)) > 1e-9:
        message = "expected the greatest of upper_heights_ft, or nothing"
        raise FormError("depth_ft", message)
    return heights


# --- the forms -------------------------------------------------------------------------


@form("pratt", "Pratt", takes=("crossed_panels",))
def pratt(plan: Plan) -> Draft:
    """Parallel chords, inclined end posts, verticals, and diagonals falling toward
    midspan; the middle panel of an odd number is crossed."""
    draft = _lower_chord(plan)
    _over_panel_points(draft, plan, [plan.depth_ft] * (plan.panels - 1))
    _hips(draft, plan)
    _pratt_web(draft, plan, first=2)
    return draft


@form(
    "half-hip-pratt",
    "Half-hip Pratt",
    needs=("depth_ft", "hip_offset_ft"),
    takes=("crossed_panels",),
)
def half_hip_pratt(plan: Plan) -> Draft:
    """As a Pratt, but the end posts rise in less than a panel to hip joints U0 and Un,
    so that the first verticals are posts and the first diagonals reach L1 and Ln-1."""
    n = plan.panels
    room = min(plan.x[1], plan.span_ft - plan.x[n - 1])
    if plan.hip_offset_ft > room - SAME_POINT_FT:
        message = f"expected less than the end panel's {room:g} ft"
        raise FormError("hip_offset_ft", message)
    draft = _lower_chord(plan)
    _over_panel_points(draft, plan, [plan.depth_ft] * (n - 1))
    draft.joint("U0", plan.hip_offset_ft, plan.depth_ft)
    draft.joint(f"U{n}", plan.span_ft - plan.hip_offset_ft, plan.depth_ft)
    for i in (0, n - 1):
        draft.bar(f"U{i}", f"U{i + 1}", "upper-chord")
    for end, neighbour in ((0, 1), (n, n - 1)):
        draft.bar(f"L{end}", f"U{end}", "end-post")
        draft.bar(f"L{neighbour}", f"U{end}", "diagonal")
    _pratt_web(draft, plan, first=2)
    return draft


@form(
    "parker",
    "Parker",
    needs=("upper_heights_ft",),
    takes=("depth_ft", "crossed_panels"),
)
def parker(plan: Plan) -> Draft:
    """A Pratt web under a polygonal upper chord of any outline; a camelback is one
    with five slopes."""
    draft = _lower_chord(plan)
    _over_panel_points(draft, plan, _heights(plan, plan.panels - 1))
    _hips(draft, plan)
    _pratt_web(draft, plan, first=2)
    return draft


@form("warren", "Warren")
def warren(plan: Plan) -> Draft:
    """Upper joints over the middle of each panel and two web members a panel, which
    alternate between tension and compression; no verticals."""
    n = plan.panels
    draft = _lower_chord(plan)
    for i in range(1, n + 1):
        middle = 0.5 * (plan.x[i - 1] + plan.x[i])
        draft.joint(f"U{i}", middle, plan.depth_ft)
        draft.bar(f"L{i - 1}", f"U{i}", "end-post" if i == 1 else "diagonal")
        draft.bar(f"L{i}", f"U{i}", "end-post" if i == n else "diagonal")
    for i in range(1, n):
        draft.bar(f"U{i}", f"U{i + 1}", "upper-chord")
    return draft


@form(
    "warren-with-verticals",
    "Warren with verticals",
    takes=("crossed_panels",),
    even=True,
)
def warren_with_verticals(plan: Plan) -> Draft:
    """Web members that alternate between the chords, one a panel, with a vertical at
    every panel point."""
    n = plan.panels
    draft = _lower_chord(plan)
    _over_panel_points(draft, plan, [plan.depth_ft] * (n - 1))
    for i in range(1, n, 2):
        draft.bar(f"L{i - 1}", f"U{i}", "end-post" if i == 1 else "diagonal")
        draft.bar(f"L{i + 1}", f"U{i}", "end-post" if i == n - 1 else "diagonal")
    return draft


@form("howe", "Howe", takes=("crossed_panels",))
def howe(plan: Plan) -> Draft:
    """As a Pratt with the diagonals rising toward midspan, in compression, and the
    verticals in tension."""
    draft = _lower_chord(plan)
    _over_panel_points(draft, plan, [plan.depth_ft] * (plan.panels - 1))
    _hips(draft, plan)
    _pratt_web(draft, plan, first=2, rising=True)
    return draft


@form("double-intersection-pratt", "Double-intersection Pratt", panels=(6, MOST_PANELS))
def double_intersection_pratt(plan: Plan) -> Draft:
    """A Pratt whose diagonals cross two panels, in two overlapping systems, with short
    diagonals next to the hips; in an odd number of panels the last two pass midspan."""
    n = plan.panels
    draft = _lower_chord(plan)
    _over_panel_points(draft, plan, [plan.depth_ft] * (n - 1))
    _hips(draft, plan)
    draft.bar("L2", "U1", "diagonal")
    draft.bar(f"L{n - 2}", f"U{n - 1}", "diagonal")
    for i in range(1, (n + 1) // 2 - 1):
        kind = "counter" if 2 * (i + 2) > n else "diagonal"
        draft.bar(f"U{i}", f"L{i + 2}", kind)
        draft.bar(f"U{n - i}", f"L{n - i - 2}", kind)
    return draft


def _subdivided(plan: Plan, heights_ft: Sequence[float]) -> Draft:
    """Put down a Pratt of n/2 main panels with joints M halfway along its diagonals.

    Upper joints stand over the even panel points. Each M carries a hanger to the panel
    point below it and is steadied by a sub-strut down to the main panel point farther
    from midspan or a sub-tie up to the upper joint nearer midspan; over the end posts
    there is always a sub-strut. The middle main panel of an odd number is crossed.
    """
    n = plan.panels
    draft = _lower_chord(plan)
    for i, height in zip(range(2, n, 2), heights_ft, strict=True):
        draft.joint(f"U{i}", plan.x[i], height)
        draft.bar(f"L{i}", f"U{i}", "vertical")
        if i + 2 < n:
            draft.bar(f"U{i}", f"U{i + 2}", "upper-chord")
    for i in range(1, n, 2):
        left, right = i - 1, i + 1
        if i in (1, n - 1):
            outer, inner = (left, right) if i == 1 else (right, left)
            _half_way(draft, plan, i, f"L{outer}", f"U{inner}", "end-post")
            draft.bar(f"M{i}", f"L{inner}", "sub-strut")
        elif 2 * i == n:
            _crossed_half_way(draft, i)
        else:
            outer, inner = (left, right) if 2 * i < n else (right, left)
            _half_way(draft, plan, i, f"U{outer}", f"L{inner}", "diagonal")
            if plan.sub_members == "ties":
                draft.bar(f"M{i}", f"U{inner}", "sub-tie")
            else:
                draft.bar(f"M{i}", f"L{outer}", "sub-strut")
        draft.bar(f"M{i}", f"L{i}", "sub-tie")
    return draft


def _half_way(draft: Draft, plan: Plan, i: int, a: str, b: str, kind: str) -> None:
    """Put M over panel point i on the straight line between two joints."""
    (ax, ay), (bx, by) = draft.joints[a], draft.joints[b]
    draft.joint(f"M{i}", plan.x[i], ay + (by - ay) * (plan.x[i] - ax) / (bx - ax))
    draft.bar(a, f"M{i}", kind)
    draft.bar(f"M{i}", b, kind)


def _crossed_half_way(draft: Draft, i: int) -> None:
    """Put M where the two diagonals of the middle main panel meet."""
    (lx, _), (rx, _) = draft.joints[f"L{i - 1}"], draft.joints[f"L{i + 1}"]
    left, right = draft.joints[f"U{i - 1}"][1], draft.joints[f"U{i + 1}"][1]
    part = left / (left + right)
    draft.joint(f"M{i}", lx + part * (rx - lx), part * right)
    for corner in (f"L{i - 1}", f"L{i + 1}", f"U{i - 1}", f"U{i + 1}"):
        draft.bar(f"M{i}", corner, "counter")
    draft.crossed |= {i, i + 1}


@form(
    "baltimore",
    "Baltimore",
    takes=("sub_members",),
    panels=(6, MOST_PANELS),
    even=True,
)
def baltimore(plan: Plan) -> Draft:
    """A Pratt whose main panels, two panels each, are subdivided: joints M halfway
    along the diagonals carry the floor beams between main panel points."""
    return _subdivided(plan, [plan.depth_ft] * (plan.panels // 2 - 1))


@form(
    "pennsylvania",
    "Pennsylvania",
    needs=("upper_heights_ft",),
    takes=("depth_ft", "sub_members"),
    panels=(6, MOST_PANELS),
    even=True,
)
def pennsylvania(plan: Plan) -> Draft:
    """As a Baltimore, under a polygonal upper chord; one height for each upper joint,
    which stand over every second panel point."""
    return _subdivided(plan, _heights(plan, plan.panels // 2 - 1))


@form("king-post", "King post", panels=(2, 2))
def king_post(plan: Plan) -> Draft:
    """Two braces meeting over one hanger, and a tie."""
    draft = _lower_chord(plan)
    draft.joint("U1", plan.x[1], plan.depth_ft)
    draft.bar("L0", "U1", "end-post")
    draft.bar("L2", "U1", "end-post")
    draft.bar("L1", "U1", "vertical")
    return draft


@form("queen-post", "Queen post", takes=("crossed_panels",), panels=(3, 3))
def queen_post(plan: Plan) -> Draft:
    """Two braces, two hangers and a straining beam over a tie. The middle panel is open
    unless it is named in crossed_panels; open, it can balance only a symmetric load."""
    draft = _lower_chord(plan)
    _over_panel_points(draft, plan, [plan.depth_ft] * 2)
    draft.bar("L0", "U1", "end-post")
    draft.bar("L3", "U2", "end-post")
    return draft


@form("bowstring", "Bowstring", panels=(3, MOST_PANELS))
def bowstring(plan: Plan) -> Draft:
    """A parabolic upper chord from L0 to Ln tied by the lower chord, with verticals and
    crossed diagonals; the depth is that of the parabola at midspan."""
    n, span = plan.panels, plan.span_ft
    heights = [4.0 * plan.depth_ft * x * (span - x) / span**2 for x in plan.x[1:n]]
    draft = _lower_chord(plan)
    _over_panel_points(draft, plan, heights)
    draft.bar("L0", "U1", "upper-chord")
    draft.bar(f"U{n - 1}", f"L{n}", "upper-chord")
    for panel in range(2, n):
        draft.bar(f"U{panel - 1}", f"L{panel}", "counter")
        draft.bar(f"L{panel - 1}", f"U{panel}", "counter")
        draft.crossed.add(panel)
    return draft


@form("bedstead", "Bedstead", takes=("crossed_panels",))
def bedstead(plan: Plan) -> Draft:
    """A Pratt with vertical end posts, the legs of the bed, and diagonals from their
    heads; the end panels of the lower chord carry nothing."""
    n = plan.panels
    draft = _lower_chord(plan)
    _over_panel_points(draft, plan, [plan.depth_ft] * (n - 1))
    for end, neighbour in ((0, 1), (n, n - 1)):
        draft.joint(f"U{end}", plan.x[end], plan.depth_ft)
        draft.bar(f"U{end}", f"U{neighbour}", "upper-chord")
        draft.bar(f"L{end}", f"U{end}", "end-post")
    _pratt_web(draft, plan, first=1)
    return draft


@form("lenticular", "Lenticular", panels=(3, MOST_PANELS))
def lenticular(plan: Plan) -> Draft:
    """Two parabolic chords that meet over the bearings, with verticals and crossed
    diagonals; half of the depth at midspan lies below the bearings."""
    n, span = plan.panels, plan.span_ft
    draft = Draft()
    for i, x in enumerate(plan.x):
        half = 2.0 * plan.depth_ft * x * (span - x) / span**2
        draft.joint(f"L{i}", x, -half if 0 < i < n else 0.0)
        if 0 < i < n:
            draft.joint(f"U{i}", x, half)
            draft.bar(f"L{i}", f"U{i}", "vertical")
    for i in range(n):
        draft.bar(f"L{i}", f"L{i + 1}", "lower-chord")
    for i in range(1, n - 1):
        draft.bar(f"U{i}", f"U{i + 1}", "upper-chord")
        draft.bar(f"U{i}", f"L{i + 1}", "counter")
        draft.bar(f"L{i}", f"U{i + 1}", "counter")
        draft.crossed.add(i + 1)
    draft.bar("L0", "U1", "upper-chord")
    draft.bar(f"L{n}", f"U{n - 1}", "upper-chord")
    return draft
