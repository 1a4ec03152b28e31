"""The two maps of a dossier: where the bridge lies, and where each photograph was taken.

Both are drawn from the facts alone, north at the top, with a scale and the datum. They
are for finding the way and the view, not for measuring.
"""

from __future__ import annotations

import itertools
import math
import re

from django.utils.html import escape
from django.utils.safestring import mark_safe

from bridges.drawing import PRINT, Pen

WIDTH_PX, HEIGHT_PX = 640, 420
LOCATION_REACH_M = 5_000
# Farther off than this, a photograph is of the setting and would shrink all others.
FARTHEST_M = 1_500
LEAST_REACH_M = 60
STEPS = (1, 2, 5)
ARROW_PX, DISC_PX = 34, 10
PLACE = re.compile(r"(-?\d{1,3}\.\d+)[,;\s]+(-?\d{1,3}\.\d+)")
METRES_A_DEGREE = 111_320.0
# How each kind of thing is ruled: colour, width, dashes.
RULED = {
    "river": ("river", 2.6, ""),
    "creek": ("river", 1.4, ""),
    "road": ("pencil", 1.6, ""),
    "county": ("pencil", 1.0, ' stroke-dasharray="9 4 2 4"'),
    "rail": ("ink", 1.2, ' stroke-dasharray="6 3"'),
}
LETTERED = {"river": "river", "creek": "river", "road": "pencil"}


def location(facts, palette=PRINT):
    """Draw where the bridge lies; empty where the region's map does not reach."""
    if not facts["map"]["features"]:
        return ""
    sheet = _Map(LOCATION_REACH_M, palette)
    sheet.features(facts["map"]["features"])
    exact = facts["bridge"]["position"]["is_exact"]
    sheet.bridge(facts["bridge"]["name"], exact)
    towns = [name for kind, name, _, _ in facts["map"]["features"] if kind == "town"]
    said = f"Location map: {facts['bridge']['heading']}"
    if towns:
        said += f"; towns in the picture: {', '.join(towns)}"
    if not exact:
        said += "; the place shown is the middle of its area"
    return sheet.drawn(f"{said}.", "location", facts["bridge"]["position"]["datum"])


def sketch(facts, palette=PRINT):
    """Draw where each photograph of the log was taken, and which way it looks.

    Empty where no chosen photograph has a place.
    """
    rows = [
        one
        for one in facts["photographs"]
        if one["is_chosen"] and one["east_m"] is not None
    ]
    if not rows:
        return ""
    near = [one for one in rows if _far(one) <= FARTHEST_M] or rows
    reach = max([LEAST_REACH_M, *(_far(one) * 1.25 for one in near)])
    sheet = _Map(reach, palette)
    sheet.features([one for one in facts["map"]["features"] if one[0] != "town"])
    sheet.deck(facts)
    for one in rows:
        sheet.arrow(one)
    told = "; ".join(
        f"{one['number']} looks {one['facing'] or 'a way not recorded'}" for one in rows
    )
    said = f"Sketch map of the photographs of {facts['bridge']['name']}: {told}."
    return sheet.drawn(said, "sketch", facts["bridge"]["position"]["datum"])


def plan(span, palette=PRINT):
    """Draw which truss is which, from which end joints count, and which way it flows.

    Empty where the trusses are not told apart as upstream and downstream: then the
    record does not say which way the water goes.
    """
    keys = [line["key"] for line in span["lines"]]
    if "upstream" not in keys or "downstream" not in keys:
        return ""
    pen = Pen(palette)
    last = f"L{span['panels']}" if span["panels"] else "the far end"
    size = 'viewBox="0 0 460 120"'
    if palette is not None:
        size += ' width="460" height="120"'
    said = (
        f"Plan: joints count from L0 at the {span['origin_end']}, at the left; the water "
        "flows from the upstream truss, drawn above, to the downstream truss."
    )
    name = f"plan-{span['number']}"
    parts = [
        f'<path d="M70 40H350M70 80H350" {pen.line("ink", 3)}/>',
        f'<path d="M210 8V112M204 102L210 112L216 102" {pen.line("river", 2.2)}/>',
        f'<text x="360" y="44" {pen.text("ink", 13, 400, "start")}>upstream</text>',
        f'<text x="360" y="84" {pen.text("ink", 13, 400, "start")}>downstream</text>',
        f'<text x="60" y="44" {pen.text("ink", 13, 600, "end")}>L0</text>',
        f'<text x="60" y="84" {pen.text("ink", 13, 600, "end")}>L0</text>',
        f'<text x="222" y="20" {pen.text("river", 13, 400, "start")}>flow</text>',
        f'<text x="70" y="104" {pen.text("pencil", 12, 400, "start")}>'
        f"{escape(span['origin_end'])}</text>",
        f'<text x="350" y="104" {pen.text("pencil", 12, 400, "end")}>{last}</text>',
    ]
    return mark_safe(
        f'<svg xmlns="http://www.w3.org/2000/svg" {size} role="img" '
        f'aria-labelledby="{name}-title"><title id="{name}-title">{escape(said)}</title>'
        f"{''.join(parts)}</svg>"
    )


def bearing_of(facts):
    """Return the bearing from one end of the bridge to the other, degrees; or None."""
    ends = [
        _metres(facts, facts["case"]["answers"][name]) for name in ("end_a", "end_b")
    ]
    if not all(ends):
        return None
    (x1, y1), (x2, y2) = ends
    if math.hypot(x2 - x1, y2 - y1) < 1:
        return None
    return math.degrees(math.atan2(x2 - x1, y2 - y1)) % 360


def _far(one):
    return math.hypot(one["east_m"], one["north_m"])


class _Map:
    """A sheet with the bridge in its middle, north at the top."""

    def __init__(self, reach_m, palette):
        self.pen = Pen(palette)
        self.palette = palette
        self.per_m = (HEIGHT_PX / 2 - 34) / reach_m
        self.parts = []
        self.letters = []
        self.taken = []

    def at(self, east, north):
        return WIDTH_PX / 2 + east * self.per_m, HEIGHT_PX / 2 - north * self.per_m

    def features(self, rows):
        # Towns first, so that their names have the room.
        order = {"town": 0, "water": 1, "county": 2, "river": 3, "creek": 4, "road": 5}
        for kind, name, shape, parts in sorted(
            rows, key=lambda row: order.get(row[0], 2)
        ):
            if kind == "town":
                self._town(name, parts[0][0])
            elif kind == "water":
                self._water(parts)
            elif kind in RULED:
                self._ruled(kind, name, shape, parts)

    def _town(self, name, place):
        x, y = self.at(*place)
        if not self._holds(x, y):
            return
        self.parts.append(
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4" '
            f"{self.pen.shape('ground', 'ink', 1.6)}/>"
        )
        self._say(x, y - 9, name, "ink", 13, 600)

    def _water(self, parts):
        for part in parts:
            d = self._path(part) + "Z"
            self.parts.append(f'<path d="{d}" {self.pen.line("river", 1.6)}/>')

    def _ruled(self, kind, name, shape, parts):
        colour, width, dashes = RULED[kind]
        for part in parts:
            d = self._path(part) + ("Z" if shape == "area" else "")
            self.parts.append(f'<path d="{d}" {self.pen.line(colour, width, dashes)}/>')
        if kind in LETTERED and name:
            inside = [
                (x, y)
                for part in parts
                for x, y in self._between(part)
                if self._holds(x, y, 60)
            ]
            if inside:
                x, y = inside[len(inside) // 3]
                self._say(x, y - 5, name, LETTERED[kind], 12, 400)

    def _between(self, part):
        """Give points along a line, close enough that one falls inside the sheet."""
        for one, other in itertools.pairwise(part):
            (x1, y1), (x2, y2) = self.at(*one), self.at(*other)
            count = max(1, int(math.hypot(x2 - x1, y2 - y1) / 20))
            for step in range(count):
                share = step / count
                yield x1 + (x2 - x1) * share, y1 + (y2 - y1) * share

    def _path(self, part):
        return "M" + "L".join(
            f"{x:.1f} {y:.1f}" for x, y in (self.at(*p) for p in part)
        )

    def _holds(self, x, y, margin=14):
        return (
            margin < x < WIDTH_PX - margin and margin + 6 < y < HEIGHT_PX - margin - 26
        )

    def _say(self, x, y, words, colour, size, weight):
        """Letter a name where nothing else stands, or leave it out."""
        half = len(words) * size * 0.27
        x = min(max(x, half + 8), WIDTH_PX - half - 8)
        box = (x - half, y - size, x + half, y + 3)
        if any(_overlap(box, other) for other in self.taken):
            return
        self.taken.append(box)
        self.letters.append(
            f'<text x="{x:.1f}" y="{y:.1f}" {self.pen.halo(size, weight)}>{escape(words)}'
            f'</text><text x="{x:.1f}" y="{y:.1f}" '
            f"{self.pen.text(colour, size, weight)}>{escape(words)}</text>"
        )

    def bridge(self, name, is_exact):
        x, y = self.at(0, 0)
        self.taken.append((x - 12, y - 12, x + 12, y + 12))
        dash = "" if is_exact else ' stroke-dasharray="4 3"'
        self.letters.append(
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="11" '
            f"{self.pen.line('rust', 2.6, dash)}/>"
            f'<path d="M{x - 5:.1f} {y:.1f}H{x + 5:.1f}M{x:.1f} {y - 5:.1f}V{y + 5:.1f}" '
            f"{self.pen.line('rust', 2)}/>"
        )
        self._say(x, y + 28, name, "rust", 14, 700)

    def deck(self, facts):
        """The bridge itself: between its ends where they are known, else a mark."""
        ends = [
            _metres(facts, facts["case"]["answers"][name])
            for name in ("end_a", "end_b")
        ]
        if all(ends):
            (x1, y1), (x2, y2) = (self.at(*one) for one in ends)
            d = f"M{x1:.1f} {y1:.1f}L{x2:.1f} {y2:.1f}"
            self.parts.append(f'<path d="{d}" {self.pen.line("ink", 9)}/>')
            self.parts.append(f'<path d="{d}" {self.pen.line("ground", 4)}/>')
        else:
            x, y = self.at(0, 0)
            self.parts.append(
                f'<rect x="{x - 8:.1f}" y="{y - 8:.1f}" width="16" height="16" '
                f"{self.pen.shape('ground', 'ink', 2.4)}/>"
            )

    def arrow(self, one):
        """A numbered disc where the camera stood, an arrow the way it looked."""
        x, y = self.at(one["east_m"], one["north_m"])
        # Farther off than the sheet: at its edge, the arrow still true.
        x = min(max(x, 20), WIDTH_PX - 20)
        y = min(max(y, 26), HEIGHT_PX - 46)
        x, y = self._beside(x, y)
        if one["bearing_deg"] is not None:
            turn = math.radians(one["bearing_deg"])
            dx, dy = math.sin(turn), -math.cos(turn)
            tip = (x + dx * ARROW_PX, y + dy * ARROW_PX)
            wings = [
                (
                    tip[0] - 9 * math.sin(turn + side),
                    tip[1] + 9 * math.cos(turn + side),
                )
                for side in (-0.4, 0.4)
            ]
            d = (
                f"M{x:.1f} {y:.1f}L{tip[0]:.1f} {tip[1]:.1f}"
                f"M{wings[0][0]:.1f} {wings[0][1]:.1f}L{tip[0]:.1f} {tip[1]:.1f}"
                f"L{wings[1][0]:.1f} {wings[1][1]:.1f}"
            )
            self.letters.append(f'<path d="{d}" {self.pen.line("rust", 2)}/>')
        self.letters.append(
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{DISC_PX}" '
            f"{self.pen.shape('ground', 'rust', 2)}/>"
            f'<text x="{x:.1f}" y="{y + 4:.1f}" {self.pen.text("ink", 12, 700)}>'
            f"{one['number']}</text>"
        )

    def _beside(self, x, y):
        """Move a disc off those already there, a step at a time round them."""
        for step in range(60):
            ring, turn = step // 8 + (step > 0), step * math.tau / 8
            box_x = x + ring * 2.2 * DISC_PX * math.cos(turn) * (step > 0)
            box_y = y + ring * 2.2 * DISC_PX * math.sin(turn) * (step > 0)
            box = (box_x - DISC_PX, box_y - DISC_PX, box_x + DISC_PX, box_y + DISC_PX)
            if not any(_overlap(box, other) for other in self.taken):
                self.taken.append(box)
                return box_x, box_y
        return x, y

    def drawn(self, title, name, datum):
        size = f'viewBox="0 0 {WIDTH_PX} {HEIGHT_PX}"'
        if self.palette is not None:
            size += f' width="{WIDTH_PX}" height="{HEIGHT_PX}"'
        return mark_safe(
            f'<svg xmlns="http://www.w3.org/2000/svg" {size} role="img" '
            f'class="dossier-map" aria-labelledby="{name}-title">'
            f'<title id="{name}-title">{escape(title)}</title>'
            f'<defs><clipPath id="{name}-sheet"><rect x="1" y="1" '
            f'width="{WIDTH_PX - 2}" height="{HEIGHT_PX - 2}"/></clipPath></defs>'
            f'<rect x="1" y="1" width="{WIDTH_PX - 2}" height="{HEIGHT_PX - 2}" '
            f"{self.pen.shape('ground', 'ink', 1.4)}/>"
            f'<g clip-path="url(#{name}-sheet)">{"".join(self.parts)}'
            f"{''.join(self.letters)}</g>{self._north()}{self._scale(datum)}</svg>"
        )

    def _north(self):
        x, y = WIDTH_PX - 26, 20
        return (
            f'<path d="M{x} {y + 34}V{y}M{x - 6} {y + 11}L{x} {y}L{x + 6} {y + 11}" '
            f"{self.pen.line('ink', 2)}/>"
            f'<text x="{x}" y="{y + 50}" {self.pen.halo(13, 700)}>N</text>'
            f'<text x="{x}" y="{y + 50}" {self.pen.text("ink", 13, 700)}>N</text>'
        )

    def _scale(self, datum):
        """A bar of a round length, about a fifth of the sheet, in metres and feet."""
        whole = WIDTH_PX / 5 / self.per_m
        power = 10 ** math.floor(math.log10(whole))
        metres = max(step * power for step in STEPS if step * power <= whole)
        length = metres * self.per_m
        x, y = 18, HEIGHT_PX - 14
        words = f"{metres / 1000:g} km" if metres >= 1000 else f"{metres:g} m"
        feet = metres / 0.3048
        words += f" ({feet / 5280:.1f} miles)" if feet >= 5280 else f" ({feet:,.0f} ft)"
        words += f"; {datum}, north up"
        return (
            f'<rect x="8" y="{HEIGHT_PX - 40}" width="{max(length + 24, 230):.0f}" '
            f'height="32" {self.pen.fill("ground")}/>'
            f'<path d="M{x} {y - 6}V{y}H{x + length:.1f}V{y - 6}" '
            f"{self.pen.line('ink', 2)}/>"
            f'<text x="{x}" y="{y - 10}" {self.pen.text("ink", 12, 400, "start")}>'
            f"{escape(words)}</text>"
        )


def _overlap(one, other):
    return (
        one[0] < other[2]
        and other[0] < one[2]
        and one[1] < other[3]
        and other[1] < one[3]
    )


def _metres(facts, text):
    found = PLACE.search(text)
    if not found:
        return None
    place = facts["bridge"]["position"]
    north = (float(found[1]) - place["latitude"]) * METRES_A_DEGREE
    across = METRES_A_DEGREE * math.cos(math.radians(place["latitude"]))
    return (float(found[2]) - place["longitude"]) * across, north
