"""Elevations of trusses as a draughtsman would rule them, in SVG.

One function draws for the page, the phone, the field sheet and the PDF. A page styles
the drawing by class (``line-ink``, ``fill-ground`` … in ``shared/css/record.css``), so
that light and dark follow the reader; a PDF and a picture file can use neither
classes nor variables, so with a ``Palette`` every colour is written on its element.

The conventions:

=============  ==================================================
compression    a heavy double line
tension        a single light line
slack          a dashed line
zero           a dotted line
replacement    hatched across
addition       hatched along
gone           a broken outline
unseen         a question mark on the bar
changed        in rust, with a slanted tick
governing      in a detail circle with a leader
=============  ==================================================

Width grows with force. Coordinates of a skeleton are feet, x from the origin end and
y upwards; those of the drawing are px at its natural size, y downwards.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe

from shared.units import feet_text

from .lettering import best_place

COMPRESSION, TENSION, SLACK, ZERO = "compression", "tension", "slack", "zero"
UNKNOWN = "unknown"
ORIGINAL, REPLACEMENT, ADDITION = "original", "replacement", "addition"
GONE, UNSEEN, CHANGED = "gone", "unseen", "changed"

MARGIN_SIDE_PX, MARGIN_TOP_PX, MARGIN_FOOT_PX = 52, 46, 40
DIMENSION_PX = 60
PANEL_PX, LABELLED_PANEL_PX, LABELLED_BAR_PX = 64, 92, 62
LEAST_SPAN_PX, MOST_SPAN_PX = 420, 1500
TEXT_PX = 14
JOINT_PX = 5
TAP_PX = 44
LETTER_PX = 10
SHIFTS = (-0.12, 0.12, -0.2, 0.2, -0.28, 0.28)
ACTION_WORDS = {
    COMPRESSION: "in compression",
    TENSION: "in tension",
    SLACK: "slack",
    ZERO: "carrying nothing",
    UNKNOWN: "",
}
MARK_WORDS = {
    ORIGINAL: "",
    REPLACEMENT: "a replacement",
    ADDITION: "added to",
    GONE: "gone",
    UNSEEN: "could not be seen",
    CHANGED: "changed",
}


@dataclass(frozen=True)
class Palette:
    """Colours written into a drawing that no style sheet reaches."""

    ink: str
    pencil: str
    rule: str
    ground: str
    rust: str
    river: str
    brass: str
    font: str = "Source Sans 3"


LIGHT = Palette(
    "#1C2730", "#56626B", "#7F878E", "#FFFFFF", "#9A4520", "#1F6273", "#7A5A10"
)
DARK = Palette(
    "#ECE7DC", "#A9B2B8", "#6C7780", "#1A232B", "#F0A07A", "#7CC4D6", "#E0BE6A"
)
PRINT = Palette(
    "#000000", "#333A40", "#6B7278", "#FFFFFF", "#7E3514", "#123F4B", "#5F4508"
)


@dataclass(frozen=True)
class BarStyle:
    """How one bar is drawn and what is written on it.

    ``force_kip`` sets the width only; ``label`` is what is written on the bar.
    ``href`` makes the bar a link, ``title`` is what it is called to who cannot see it.
    """

    force_kip: float | None = None
    action: str = UNKNOWN
    mark: str = ORIGINAL
    is_governing: bool = False
    is_changed: bool = False
    label: str = ""
    href: str = ""
    title: str = ""

    @property
    def is_new(self):
        return self.is_changed or self.mark == CHANGED


class Pen:
    """Writes colours as classes (no palette) or as attributes (with one)."""

    def __init__(self, palette=None):
        self.palette = palette

    def line(self, colour, width_px, extra=""):
        return (
            f'{self._colour("line", "stroke", colour)} stroke-width="{_n(width_px)}" '
            f'fill="none"{extra}'
        )

    def fill(self, colour):
        return self._colour("fill", "fill", colour)

    def shape(self, fill, line, width_px):
        """Attributes of a closed shape: filled in one colour, ruled in another."""
        if self.palette is None:
            return f'class="fill-{fill} line-{line}" stroke-width="{_n(width_px)}"'
        inside, outline = (getattr(self.palette, name) for name in (fill, line))
        return f'fill="{inside}" stroke="{outline}" stroke-width="{_n(width_px)}"'

    def text(self, colour, size_px=TEXT_PX, weight=400, anchor="middle"):
        return f"{self.fill(colour)} {self._letters(size_px, weight, anchor)}"

    def halo(self, size_px=TEXT_PX, weight=400, anchor="middle"):
        """The same letters ruled broad in the colour of the ground, to lie beneath."""
        ground = self.shape("ground", "ground", 4)
        letters = self._letters(size_px, weight, anchor)
        return f'{ground} stroke-linejoin="round" {letters}'

    def _letters(self, size_px, weight, anchor):
        font = ""
        if self.palette is not None:
            font = f'font-family="{escape(self.palette.font)}" '
        return (
            f'{font}font-size="{_n(size_px)}" font-weight="{weight}" '
            f'text-anchor="{anchor}"'
        )

    def _colour(self, prefix, attribute, colour):
        if self.palette is None:
            return f'class="{prefix}-{colour}"'
        return f'{attribute}="{getattr(self.palette, colour)}"'


def elevation(
    skeleton: Mapping,
    bars: Mapping[str, BarStyle] | None = None,
    *,
    title: str,
    description: str = "",
    origin_end: str = "",
    palette: Palette | None = None,
    dimensions: bool = True,
    name: str = "elevation",
) -> SafeString:
    """Draw one truss line from its skeleton.

    ``skeleton`` is that of a span: joints in ft and members ``[name, from, to, role]``.
    ``bars`` styles members by name; one that is not named is drawn plain. ``name``
    must differ between two drawings on one page. All text is escaped here. Raises
    ``KeyError`` where a member names a joint that is not there, and ``ValueError``
    for a skeleton without joints.
    """
    sheet = _Sheet(skeleton, bars or {}, Pen(palette), dimensions)
    has_links = any(style.href for style in sheet.styles.values())
    parts = [sheet.ground(origin_end)]
    parts += [sheet.bar(member) for member in sheet.in_drawing_order()]
    parts += [sheet.joints(), sheet.labels(), sheet.governing()]
    body = "".join(parts)
    role = "group" if has_links else "img"
    size = f'viewBox="0 0 {_n(sheet.width)} {_n(sheet.height)}"'
    if palette is not None:
        size += f' width="{_n(sheet.width)}" height="{_n(sheet.height)}"'
    described = description or _describe(sheet)
    return mark_safe(
        f'<svg xmlns="http://www.w3.org/2000/svg" {size} role="{role}" '
        f'class="elevation {_width_class(sheet)}" '
        f'aria-labelledby="{escape(name)}-title {escape(name)}-desc">'
        f'<title id="{escape(name)}-title">{escape(title)}</title>'
        f'<desc id="{escape(name)}-desc">{escape(described)}</desc>{body}</svg>'
    )


class _Sheet:
    """The drawing's geometry in px, and its parts as SVG."""

    def __init__(self, skeleton, bars, pen, dimensions):
        self.joints_ft = {
            k: tuple(map(float, p)) for k, p in skeleton["joints"].items()
        }
        if not self.joints_ft:
            raise ValueError("A skeleton to be drawn has joints.")
        self.members = [tuple(member) for member in skeleton["members"]]
        self.panels = skeleton.get("panels")
        self.styles = {m[0]: bars.get(m[0], BarStyle()) for m in self.members}
        self.pen = pen
        self.dimensions = dimensions
        xs = [x for x, _ in self.joints_ft.values()]
        ys = [y for _, y in self.joints_ft.values()]
        self.left_ft, self.right_ft = min(xs), max(xs)
        self.low_ft, self.high_ft = min(ys), max(ys)
        self.scale = self._scale()
        foot = MARGIN_FOOT_PX + (DIMENSION_PX if dimensions else 0)
        self.span_px = (self.right_ft - self.left_ft) * self.scale
        self.width = self.span_px + 2 * MARGIN_SIDE_PX
        self.height = (self.high_ft - self.low_ft) * self.scale + MARGIN_TOP_PX + foot
        forces = [abs(s.force_kip) for s in self.styles.values() if s.force_kip]
        self.most_kip = max(forces, default=0.0)
        self.crossed = _crossed(self.members, self.joints_ft)
        # Middles of the labels written so far.
        self.written = []

    def _scale(self):
        """Choose px per foot so that panels, and labels on bars, have room."""
        span_ft = max(self.right_ft - self.left_ft, 1e-6)
        labelled = any(style.label for style in self.styles.values())
        lower = sorted(
            {round(x, 6) for x, y in self.joints_ft.values() if y == self.low_ft}
        )
        panel_ft = min((b - a for a, b in pairwise(lower)), default=span_ft)
        wanted = [
            LEAST_SPAN_PX / span_ft,
            (LABELLED_PANEL_PX if labelled else PANEL_PX) / panel_ft,
        ]
        if labelled:
            lengths = [
                self._length_ft(m) for m in self.members if self.styles[m[0]].label
            ]
            wanted.append(LABELLED_BAR_PX / max(min(lengths), 1e-6))
        return min(max(wanted), MOST_SPAN_PX / span_ft)

    def _length_ft(self, member):
        (ax, ay), (bx, by) = self.joints_ft[member[1]], self.joints_ft[member[2]]
        return math.hypot(bx - ax, by - ay)

    def at(self, joint):
        x_ft, y_ft = self.joints_ft[joint]
        return (
            MARGIN_SIDE_PX + (x_ft - self.left_ft) * self.scale,
            MARGIN_TOP_PX + (self.high_ft - y_ft) * self.scale,
        )

    def ends(self, member):
        return self.at(member[1]), self.at(member[2])

    def in_drawing_order(self):
        """Light bars beneath heavy ones; verticals last, for they are the shortest."""
        rank = {TENSION: 1, COMPRESSION: 2}
        return sorted(
            self.members,
            key=lambda m: (rank.get(self.styles[m[0]].action, 0), -self._length_ft(m)),
        )

    # What the truss stands on, and its measure.

    def ground(self, origin_end):
        base = self.height - MARGIN_FOOT_PX - (DIMENSION_PX if self.dimensions else 0)
        left, right = MARGIN_SIDE_PX, MARGIN_SIDE_PX + self.span_px
        parts = [self._bearing(left), self._bearing(right)]
        if self.dimensions:
            y = base + 72
            line = self.pen.line("rule", 1)
            parts.append(
                f'<path d="M{_n(left)} {_n(y)}H{_n(right)}'
                f"M{_n(left - 5)} {_n(y + 5)}l10 -10M{_n(right - 5)} {_n(y + 5)}l10 -10"
                f'" {line}/>'
            )
            parts.append(
                _text(
                    (left + right) / 2,
                    y + 19,
                    self._measure(),
                    self.pen.text("pencil", 13),
                )
            )
        if origin_end:
            parts.append(
                _text(
                    left - 14,
                    base + 54,
                    origin_end,
                    self.pen.text("pencil", 13, anchor="start"),
                )
            )
        return "".join(parts)

    def _measure(self):
        span_ft = self.right_ft - self.left_ft
        lower = [x for x, y in self.joints_ft.values() if y == self.low_ft]
        count = self.panels or max(len(lower) - 1, 0)
        depth = feet_text(self.high_ft - self.low_ft)
        panels = f", {count} panels" if count > 1 else ""
        return f"{feet_text(span_ft)}{panels}, {depth} deep"

    def _bearing(self, x):
        ends = [
            self.at(name) for name in self.joints_ft if abs(self.at(name)[0] - x) < 0.5
        ]
        y = max(place[1] for place in ends) + JOINT_PX
        return (
            f'<path d="M{_n(x)} {_n(y)}l-8 11h16zM{_n(x - 13)} {_n(y + 11)}h26'
            f'M{_n(x - 9)} {_n(y + 11)}l-5 6m12 -6l-5 6m12 -6l-5 6m12 -6l-5 6" '
            f"{self.pen.line('rule', 1.2)}/>"
        )

    # Bars.

    def bar(self, member):
        name = member[0]
        style = self.styles[name]
        said = style.title or _said(name, style)
        inside = (
            f"<title>{escape(said)}</title>{self._strokes(member, style)}"
            f"{self._material(member, style)}{self._tap(member)}"
        )
        data = f'data-bar="{escape(name)}" class="bar"'
        if style.href:
            return (
                f'<a {data} href="{escape(style.href)}" aria-label="{escape(said)}">'
                f"{inside}</a>"
            )
        return f"<g {data}>{inside}</g>"

    def _share(self, style):
        """Return the part of the largest force that this bar carries, 0 to 1."""
        if style.force_kip is None or not self.most_kip:
            return 0.3
        return abs(style.force_kip) / self.most_kip

    def _breadth(self, style):
        """Return the breadth of a bar as drawn, px."""
        if style.mark == GONE:
            return 8.0
        if style.action == COMPRESSION:
            return 5 + 8 * self._share(style)
        if style.action == TENSION:
            return 1.6 + 5.5 * self._share(style)
        return 2.0

    def _strokes(self, member, style):
        a, b = self.ends(member)
        colour = "rust" if style.is_new else "ink"
        breadth = self._breadth(style)
        if style.mark == GONE:
            return _path(
                _outline(a, b, breadth / 2), self.pen.line("rust", 1.4, DASHED)
            )
        straight = _segment(a, b)
        if style.action == COMPRESSION:
            return _path(straight, self.pen.line(colour, breadth)) + _path(
                straight, self.pen.line("ground", max(breadth * 0.42, 1.8))
            )
        if style.action == SLACK:
            return _path(straight, self.pen.line(colour, 1.8, SLACK_DASH))
        if style.action == ZERO:
            return _path(straight, self.pen.line(colour, 2.2, DOTTED))
        return _path(straight, self.pen.line(colour, breadth))

    def _material(self, member, style):
        """Draw what the bar is made of, and whether that is new."""
        a, b = self.ends(member)
        colour = "rust" if style.is_new else "ink"
        half = self._breadth(style) / 2
        parts = []
        if style.mark == REPLACEMENT:
            parts.append(
                _path(_hatch_across(a, b, half + 4), self.pen.line(colour, 1.2))
            )
        elif style.mark == ADDITION:
            parts.append(
                _path(_hatch_along(a, b, half + 3.2), self.pen.line(colour, 1.6, ALONG))
            )
        elif style.mark == UNSEEN:
            x, y = _between(a, b, 0.74 if style.label else self._label_place(member))
            parts.append(
                f'<circle cx="{_n(x)}" cy="{_n(y)}" r="9.5" '
                f"{self.pen.shape('ground', 'brass', 1.4)}/>"
                + _text(x, y + 5, "?", self.pen.text("brass", 15, 700))
            )
        if style.is_new:
            x, y = _between(a, b, 0.2)
            parts.append(
                f'<path d="M{_n(x - 3)} {_n(y + 9)}L{_n(x + 3)} {_n(y - 9)}" '
                f"{self.pen.line('rust', 3)}/>"
            )
        return "".join(parts)

    def _tap(self, member):
        """A broad unseen line to be tapped, the same width at any scale."""
        if self.pen.palette is not None:
            return ""
        a, b = self.ends(member)
        start, end = _between(a, b, 0.16), _between(a, b, 0.84)
        return (
            f'<path class="tap" d="{_segment(start, end)}" fill="none" stroke="#000" '
            f'stroke-opacity="0" stroke-width="{TAP_PX}" pointer-events="stroke" '
            'vector-effect="non-scaling-stroke"/>'
        )

    # What is written on the drawing.

    def _label_place(self, member):
        """Where on a bar its label stands: apart, where two bars cross."""
        if member[0] not in self.crossed:
            return 0.5
        return (
            0.3 if self.joints_ft[member[1]][1] <= self.joints_ft[member[2]][1] else 0.7
        )

    def labels(self):
        parts = []
        for member in self.members:
            style = self.styles[member[0]]
            # The ring's leader carries the label of the bar that governs.
            if style.label and not style.is_governing:
                parts.append(self._label(member, style))
        return self._laid_over(parts)

    def _label(self, member, style):
        """Write along a bar, on the outer side of a chord, clear of what is near."""
        a, b = sorted(self.ends(member))
        _, along, across = _directions(a, b)
        angle = math.degrees(math.atan2(along[1], along[0]))
        if angle > 89.9:
            angle, across = -90.0, (1.0, 0.0)
        middle = (self.low_ft + self.high_ft) / 2
        is_low = all(self.joints_ft[joint][1] < middle for joint in member[1:3])
        away = self._breadth(style) / 2 + LETTER_PX / 2 + 4
        if style.mark in (REPLACEMENT, ADDITION):
            away += 5
        start = self._label_place(member)
        if (a, b) != self.ends(member):
            start = 1 - start
        tries = []
        for side in (away, -away) if is_low else (-away, away):
            for part in (start, *(min(max(start + by, 0.2), 0.8) for by in SHIFTS)):
                x, y = _between(a, b, part)
                centre = x + across[0] * side, y + across[1] * side
                reach = len(style.label) * 3.2
                covered = [
                    (centre[0] + along[0] * by, centre[1] + along[1] * by)
                    for by in (-reach, 0, reach)
                ]
                tries.append((covered, centre))
        others = [self.ends(one) for one in self.members if one != member]
        x, y = best_place(tries, others, self.written)
        self.written.append((x, y))
        x, y = x + across[0] * LETTER_PX / 2, y + across[1] * LETTER_PX / 2
        turn = f' transform="rotate({_n(angle)} {_n(x)} {_n(y)})"' if angle else ""
        colour = "rust" if style.is_new else "ink"
        return self._haloed(x, y, style.label, colour, turn=turn)

    def _laid_over(self, parts):
        """Group what lies over the bars so that a tap goes through it to them."""
        taps = "" if self.pen.palette is not None else ' pointer-events="none"'
        return f'<g aria-hidden="true"{taps}>{"".join(parts)}</g>'

    def _haloed(self, x, y, words, colour, size_px=TEXT_PX, weight=600, turn=""):
        beneath = self.pen.halo(size_px, weight) + turn
        plain = self.pen.text(colour, size_px, weight) + turn
        return _text(x, y, words, beneath) + _text(x, y, words, plain)

    def joints(self):
        middle = (self.low_ft + self.high_ft) / 2
        parts = []
        for name, (_, y_ft) in self.joints_ft.items():
            x, y = self.at(name)
            parts.append(
                f'<circle cx="{_n(x)}" cy="{_n(y)}" r="{JOINT_PX}" '
                f"{self.pen.shape('ground', 'ink', 1.5)}/>"
            )
            above = y_ft >= middle
            if self.low_ft < y_ft < self.high_ft and name[:1] not in "UL":
                parts.append(self._haloed(x + 18, y + 5, name, "pencil", 13))
                continue
            down = -13 if above else 34 if self._is_end(name) else 22
            parts.append(self._haloed(x, y + down, name, "ink", 13))
        return self._laid_over(parts)

    def _names(self):
        """Return the middles of the names above the upper joints."""
        return [
            (self.at(name)[0], self.at(name)[1] - 17)
            for name, (_, y_ft) in self.joints_ft.items()
            if y_ft > self.low_ft
        ]

    def _is_end(self, name):
        x_ft, y_ft = self.joints_ft[name]
        return y_ft == self.low_ft and x_ft in (self.left_ft, self.right_ft)

    def governing(self):
        """Ring the bar that governs, with a leader to its name above the drawing."""
        parts = []
        for member in self.members:
            style = self.styles[member[0]]
            if not style.is_governing:
                continue
            x, y = _between(*self.ends(member), self._label_place(member))
            radius = max(15.0, self._breadth(style) / 2 + 8)
            words = f"{member[0]} governs {style.label}".strip()
            reach = 4.2 * len(words)
            across = best_place(
                [
                    (_along_leader(x, y, to), to)
                    for to in (
                        min(max(x + slant, reach + 4), self.width - reach - 4)
                        for slant in SLANTS
                    )
                ],
                [],
                [*self.written, *self._names()],
            )
            aside = math.copysign(radius * 0.5, across - x)
            parts.append(
                f'<circle cx="{_n(x)}" cy="{_n(y)}" r="{_n(radius)}" '
                f"{self.pen.line('brass', 2)}/>"
                f'<path d="M{_n(x + aside)} {_n(y - radius * 0.87)}'
                f'L{_n(across)} 21" {self.pen.line("brass", 1.2)}/>'
                + self._haloed(across, 15, words, "brass", 14, 700)
            )
        return self._laid_over(parts)


# Ways for a leader to lean, px to the right at the top.
SLANTS = (16, 34, -16, -34, 60, -60)
DASHED = ' stroke-dasharray="6 4"'
SLACK_DASH = ' stroke-dasharray="9 6"'
DOTTED = ' stroke-dasharray="0.1 5.5" stroke-linecap="round"'
ALONG = ' stroke-dasharray="11 4"'


def _n(value):
    """Write a number of px short: two decimals, no trailing zeros, no minus nought."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _text(x, y, words, attributes):
    return f'<text x="{_n(x)}" y="{_n(y)}" {attributes}>{escape(words)}</text>'


def _path(d, attributes):
    return f'<path d="{d}" {attributes}/>'


def _segment(a, b):
    return f"M{_n(a[0])} {_n(a[1])}L{_n(b[0])} {_n(b[1])}"


def _between(a, b, part):
    return a[0] + (b[0] - a[0]) * part, a[1] + (b[1] - a[1]) * part


def _directions(a, b):
    """Return the length of a segment and its unit vectors along and across."""
    length = math.hypot(b[0] - a[0], b[1] - a[1]) or 1.0
    along = (b[0] - a[0]) / length, (b[1] - a[1]) / length
    return length, along, (-along[1], along[0])


def _hatch_across(a, b, reach, spacing=10.0):
    length, _, across = _directions(a, b)
    count = max(int((length - 30) / spacing), 1)
    first = (length - (count - 1) * spacing) / 2
    strokes = []
    for index in range(count):
        x, y = _between(a, b, (first + index * spacing) / length)
        strokes.append(
            _segment(
                (x - across[0] * reach, y - across[1] * reach),
                (x + across[0] * reach, y + across[1] * reach),
            )
        )
    return "".join(strokes)


def _sides(a, b, reach, trim):
    length, _, across = _directions(a, b)
    part = min(trim / length, 0.4)
    start, end = _between(a, b, part), _between(a, b, 1 - part)
    for side in (-reach, reach):
        yield tuple(
            (x + across[0] * side, y + across[1] * side) for x, y in (start, end)
        )


def _hatch_along(a, b, reach):
    return "".join(_segment(start, end) for start, end in _sides(a, b, reach, 13))


def _outline(a, b, reach):
    (a1, b1), (a2, b2) = _sides(a, b, reach, 9)
    return _segment(a1, b1) + f"L{_n(b2[0])} {_n(b2[1])}L{_n(a2[0])} {_n(a2[1])}Z"


def _along_leader(x, y, to):
    """Return points along the leader from a ring's middle to words at the top."""
    steps = range(1, 9)
    return [(x + (to - x) * i / 8, y + (21 - y) * i / 8) for i in steps]


def _crossed(members, joints_ft):
    """Return the names of bars that cross another between their ends."""
    lines = [(m[0], m[1], m[2], joints_ft[m[1]], joints_ft[m[2]]) for m in members]
    slanted = [line for line in lines if line[3][0] != line[4][0]]
    found = set()
    for index, (name, a, b, pa, pb) in enumerate(slanted):
        for other, c, d, pc, pd in slanted[index + 1 :]:
            if {a, b} & {c, d}:
                continue
            if _turn(pa, pb, pc) * _turn(pa, pb, pd) < 0 and (
                _turn(pc, pd, pa) * _turn(pc, pd, pb) < 0
            ):
                found |= {name, other}
    return found


def _turn(a, b, c):
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def _width_class(sheet):
    """Name the step of least width, in rem, below which the drawing scrolls.

    One without labels of up to eight panels shrinks to any phone instead.
    """
    is_labelled = any(style.label for style in sheet.styles.values())
    if not is_labelled and sheet.span_px <= 8 * PANEL_PX:
        return "fits"
    step = min(max(int(sheet.width / 16 / 5) * 5, 25), 90)
    return f"wide-{step}"


def _said(name, style):
    words = [ACTION_WORDS.get(style.action, ""), MARK_WORDS.get(style.mark, "")]
    if style.is_changed and style.mark != CHANGED:
        words.append("changed")
    if style.label:
        words.insert(0, style.label)
    if style.is_governing:
        words.append("governs")
    told = ", ".join(word for word in words if word)
    return f"{name}: {told}" if told else name


def _describe(sheet):
    """Say the drawing in words for who cannot see it: the bars that are not plain."""
    told = [
        style.title or _said(name, style)
        for name, style in sheet.styles.items()
        if style != BarStyle()
    ]
    count = len(sheet.members)
    lead = f"Elevation of a truss of {count} bars, {sheet._measure()}."
    return f"{lead} {'; '.join(told)}." if told else lead


# The legend.

LEGEND = (
    (
        "compression",
        BarStyle(action=COMPRESSION, force_kip=7),
        "compression: double line",
    ),
    ("tension", BarStyle(action=TENSION, force_kip=7), "tension: single line"),
    ("slack", BarStyle(action=SLACK), "slack rod: dashed"),
    ("zero", BarStyle(action=ZERO), "carries nothing: dotted"),
    ("replacement", BarStyle(mark=REPLACEMENT), "replacement: hatched across"),
    ("addition", BarStyle(mark=ADDITION), "pieces added: hatched along"),
    ("gone", BarStyle(mark=GONE), "gone: broken outline"),
    ("unseen", BarStyle(mark=UNSEEN), "could not be seen: question mark"),
    ("changed", BarStyle(is_changed=True), "changed: rust, with a tick"),
    ("governing", BarStyle(is_governing=True), "governs the limit: ringed"),
)


def legend(
    bars: Mapping[str, BarStyle] | None = None, palette: Palette | None = None
) -> SafeString:
    """List in words the conventions that a drawing of these bars uses (None: all)."""
    used = None if bars is None else _used(bars)
    rows = [
        f"<li>{_sample(style, palette)} {escape(words)}</li>"
        for key, style, words in LEGEND
        if used is None or key in used
    ]
    if used is None or any(style.force_kip for style in (bars or {}).values()):
        rows.append("<li>wider: more force</li>")
    return mark_safe(f'<ul class="legend">{"".join(rows)}</ul>')


def _used(bars):
    used = set()
    for style in bars.values():
        used |= {style.action, style.mark}
        if style.is_new:
            used.add("changed")
        if style.is_governing:
            used.add("governing")
    return used


def _sample(style, palette):
    """A short bar drawn in one style."""
    skeleton = {"joints": {"a": (0, 0), "b": (1, 0)}, "members": [["", "a", "b", ""]]}
    sheet = _Sheet(skeleton, {"": style}, Pen(palette), False)
    sheet.joints_ft = {"a": (0.0, 0.0), "b": (1.0, 0.0)}
    sheet.at = {"a": (2.0, 14.0), "b": (58.0, 14.0)}.__getitem__
    member = ("", "a", "b", "")
    ring = ""
    if style.is_governing:
        ring = f'<circle cx="30" cy="14" r="11" {sheet.pen.line("brass", 2)}/>'
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 60 28" width="60" '
        f'height="28" aria-hidden="true">{sheet._strokes(member, style)}'
        f"{sheet._material(member, style)}{ring}</svg>"
    )


# Marks of whole bridges, for the map and for lists.

SHAPES = {
    "in-service": "standing",
    "foot-only": "standing",
    "closed": "out-of-use",
    "bypassed": "out-of-use",
    "moved": "moved",
    "stored": "moved",
    "lost": "lost",
}
GROUNDS = {
    "standing": "M3 3H29V29H3Z",
    "out-of-use": "M16 2.5A13.5 13.5 0 1 1 15.99 2.5Z",
    "moved": "M16 1L31 16L16 31L1 16Z",
    "lost": "M16 2.5A13.5 13.5 0 1 1 15.99 2.5Z",
}
OUTLINES = {
    "truss": "M7 20L11.5 12H20.5L25 20ZM11.5 12V20M20.5 12V20M11.5 12L16 20L20.5 12",
    "arch": "M7 21A9 9.5 0 0 1 25 21M6 11.2H26M11 14V11.2M21 14V11.2",
    "beam": "M6 13.5H26M6 17H26M9 17V22M23 17V22",
    "suspension": "M11 9V22M21 9V22M5 17Q9 15 11 9Q16 20 21 9Q23 15 27 17M6 18.5H26",
    "other": "M7 16H25M11 16V21M21 16V21",
}


def shape_of(status: str) -> str:
    """Return standing, out-of-use, moved or lost: the shape of a status's mark."""
    return SHAPES.get(status, "standing")


def glyph(
    family: str,
    status: str,
    *,
    is_recently_changed: bool = False,
    palette: Palette | None = None,
    size_px: int = 32,
) -> SafeString:
    """Draw the mark of a bridge: an elevation of its family in a shape by status.

    It is hidden from who cannot see: the word stands beside it.
    """
    shape, pen = shape_of(status), Pen(palette)
    is_lost = shape == "lost"
    line = "pencil" if is_lost else "ink"
    ground = (
        f'fill="none" {_line_only(pen, line)} stroke-width="1.6"'
        if is_lost
        else pen.shape("ground", line, 1.6)
    )
    tick = pen.line("rust", 3.2)
    return mark_safe(
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 32 32" '
        f'width="{int(size_px)}" height="{int(size_px)}" '
        f'class="glyph glyph-{shape}" aria-hidden="true" focusable="false">'
        f'<path d="{GROUNDS[shape]}" {ground}/>'
        f'<path d="{OUTLINES.get(family, OUTLINES["other"])}" {pen.line(line, 1.7)}/>'
        + (f'<path d="M23 11L28 1" {tick}/>' if is_recently_changed else "")
        + "</svg>"
    )


def _line_only(pen, colour):
    if pen.palette is None:
        return f'class="line-{colour}"'
    return f'stroke="{getattr(pen.palette, colour)}"'
