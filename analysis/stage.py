"""A truss with a vehicle on it and an influence line below: the drawing one drives on.

Drawn whole for paper and for a page without scripts; ``drive.js`` changes the same
parts as the vehicle moves. Conventions are those of ``bridges.drawing``: a bar that is
pushed a double line, one that is pulled a single, a slack rod dashed, a bar that
carries nothing dotted, and wider for more force. Pure.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

from django.utils.html import escape
from django.utils.safestring import mark_safe

from shared.templatetags.figures import signed

SIDE, TOP = 56.0, 44.0
LEAST_SPAN, MOST_SPAN, PANEL = 560.0, 1300.0, 84.0
DECK_FOOT = 64.0
LINE_HEIGHT = 46.0
NOTHING_KIP = 0.05
WHEEL, BODY = 8.0, 17.0
TENSION, COMPRESSION, SLACK, ZERO = "tension", "compression", "slack", "zero"
WORDS = {
    TENSION: "pulled",
    COMPRESSION: "pushed",
    SLACK: "slack",
    ZERO: "carries nothing",
}


@dataclass(frozen=True)
class Standing:
    """A vehicle standing: ``front`` and ``places`` ft, ``kip`` its axles, ``heading``."""

    words: str
    front: float
    heading: int
    places: tuple[float, ...]
    kip: tuple[float, ...]


class Stage:
    """Where things are on the drawing, px."""

    def __init__(self, joints_ft, members, loaded):
        self.joints = {name: tuple(map(float, xy)) for name, xy in joints_ft.items()}
        self.members = members
        xs = [x for x, _ in self.joints.values()]
        ys = [y for _, y in self.joints.values()]
        self.left, self.right = min(xs), max(xs)
        self.low, self.high = min(ys), max(ys)
        deck = [self.joints[name] for name in loaded]
        panel = min((b[0] - a[0] for a, b in pairwise(deck)), default=10.0)
        span = max(self.right - self.left, 1e-6)
        self.scale = min(max(LEAST_SPAN / span, PANEL / panel), MOST_SPAN / span)
        self.width = span * self.scale + 2 * SIDE
        self.deck = [(self.x(x), self.y(y)) for x, y in deck]
        self.foot = self.y(self.low) + DECK_FOOT
        self.base = self.foot + LINE_HEIGHT + 34
        self.height = self.base + LINE_HEIGHT + 34

    def x(self, feet):
        return SIDE + (feet - self.left) * self.scale

    def y(self, feet):
        return TOP + (self.high - feet) * self.scale

    def deck_y(self, x):
        """Height of the deck at ``x`` px; level beyond its ends."""
        if x <= self.deck[0][0]:
            return self.deck[0][1]
        for (ax, ay), (bx, by) in pairwise(self.deck):
            if x <= bx:
                return ay + (by - ay) * (x - ax) / ((bx - ax) or 1.0)
        return self.deck[-1][1]


def draw(stage, forces, slack, *, most_kip, title, standing, chosen, line, name):
    """Draw the truss under a standing vehicle, and one influence line.

    ``forces`` {member: kip}, ``slack`` members, ``line`` ordinates at the loaded joints,
    ``most_kip`` the force drawn widest, ``chosen`` the member whose line is drawn.
    """
    crossing = _crossing(stage)
    bars = [
        _bar(stage, member, forces.get(member[0], 0.0), member[0] in slack, most_kip,
             member[0] == chosen, member[0] in crossing)
        for member in stage.members
    ]  # fmt: skip
    told = "; ".join(
        f"{member} {WORDS[action_of(kip, member in slack)]} {signed(kip)} kip"
        for member, kip in forces.items()
        if abs(kip) >= NOTHING_KIP
    )
    parts = [
        _deck(stage),
        f'<g data-bars="">{"".join(bars)}</g>',
        f'<g data-labels="">{"".join(_labels(stage, forces, crossing))}</g>',
        _joints(stage),
        f'<g data-vehicle="" class="vehicle">{vehicle(stage, standing)}</g>',
        f'<g data-line="">{influence(stage, line)}</g>',
    ]
    facts = (
        f'data-left="{_n(stage.left)}" data-scale="{stage.scale:.6f}" '
        f'data-side="{_n(SIDE)}" data-base="{_n(stage.base)}"'
    )
    return mark_safe(
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_n(stage.width)} '
        f'{_n(stage.height)}" class="stage {_width_class(stage)}" role="img" '
        f'data-stage="" {facts} aria-labelledby="{escape(name)}-title '
        f'{escape(name)}-desc"><title id="{escape(name)}-title">{escape(title)}</title>'
        f'<desc id="{escape(name)}-desc">{escape(told)}</desc>{"".join(parts)}</svg>'
    )


def _width_class(stage):
    return f"wide-{min(max(int(stage.width / 16 / 5) * 5, 25), 90)}"


def action_of(kip, is_slack):
    if is_slack:
        return SLACK
    if abs(kip) < NOTHING_KIP:
        return ZERO
    return TENSION if kip > 0 else COMPRESSION


def breadth_of(kip, most_kip, action):
    """Return the breadth of a bar, px; ``drive.js`` has the same rule."""
    part = min(abs(kip) / most_kip, 1.0) if most_kip else 0.0
    if action == COMPRESSION:
        return 5.0 + 8.0 * part
    if action == TENSION:
        return 1.6 + 5.5 * part
    return 2.0


def _bar(stage, member, kip, is_slack, most_kip, is_chosen, is_crossing):
    name, a, b = member[:3]
    action = action_of(kip, is_slack)
    breadth = breadth_of(kip, most_kip, action)
    ax, ay = stage.x(stage.joints[a][0]), stage.y(stage.joints[a][1])
    bx, by = stage.x(stage.joints[b][0]), stage.y(stage.joints[b][1])
    path = f"M{_n(ax)} {_n(ay)}L{_n(bx)} {_n(by)}"
    # Tapped between its ends only: at a joint nobody can tell which bar is meant.
    ex, ey = (bx - ax) * 0.16, (by - ay) * 0.16
    tap = f"M{_n(ax + ex)} {_n(ay + ey)}L{_n(bx - ex)} {_n(by - ey)}"
    chosen = " is-chosen" if is_chosen else ""
    return (
        f'<g data-bar="{escape(name)}" class="stage-bar is-{action}{chosen}">'
        f"<title>{escape(name)}</title>"
        f'<path class="outer" d="{path}" stroke-width="{_n(breadth)}"/>'
        f'<path class="inner" d="{path}" stroke-width="{_n(max(breadth * 0.42, 1.8))}"/>'
        f'<path class="tap" d="{tap}" stroke-width="44"/></g>'
    )


def _labels(stage, forces, crossing):
    for member in stage.members:
        name, a, b = member[:3]
        (ax, ay), (bx, by) = (
            (stage.x(stage.joints[j][0]), stage.y(stage.joints[j][1])) for j in (a, b)
        )
        if (bx, by) < (ax, ay):
            (ax, ay), (bx, by) = (bx, by), (ax, ay)
        # Of an upright above its middle: those of diagonals beside it stand lower.
        part = 0.33 if abs(bx - ax) < 1e-6 else 0.5
        if name in crossing:
            part = 0.29 if ay >= by else 0.71
        x, y = ax + (bx - ax) * part, ay + (by - ay) * part
        angle = math.degrees(math.atan2(by - ay, bx - ax))
        if angle > 89.9:
            angle = -90.0
        across = math.radians(angle)
        middle = (stage.low + stage.high) / 2
        is_low = all(stage.joints[j][1] < middle for j in (a, b))
        away = 22.0 if is_low else -10.0
        x, y = x - math.sin(across) * away, y + math.cos(across) * away
        kip = forces.get(name, 0.0)
        words = signed(kip) if abs(kip) >= NOTHING_KIP else ""
        yield (
            f'<text data-label="{escape(name)}" x="{_n(x)}" y="{_n(y)}" '
            f'text-anchor="middle" font-size="14" '
            f'transform="rotate({_n(angle)} {_n(x)} {_n(y)})">{escape(words)}</text>'
        )


def _crossing(stage):
    """Return the bars that cross another between their ends."""
    found = set()
    for i, one in enumerate(stage.members):
        for other in stage.members[i + 1 :]:
            if {one[1], one[2]} & {other[1], other[2]}:
                continue
            a, b, c, d = (stage.joints[j] for j in (one[1], one[2], other[1], other[2]))
            if _turn(a, b, c) * _turn(a, b, d) < 0 and (
                _turn(c, d, a) * _turn(c, d, b) < 0
            ):
                found |= {one[0], other[0]}
    return found


def _turn(a, b, c):
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def _deck(stage):
    (ax, ay), (bx, by) = stage.deck[0], stage.deck[-1]
    middle = "".join(f"L{_n(x)} {_n(y)}" for x, y in stage.deck)
    return (
        f'<path class="deck" d="M{_n(ax - 44)} {_n(ay)}{middle}L{_n(bx + 44)} '
        f'{_n(by)}" fill="none" stroke-width="1"/>'
    )


def _joints(stage):
    parts = []
    for name, (x, y) in stage.joints.items():
        px, py = stage.x(x), stage.y(y)
        parts.append(
            f'<circle class="joint" cx="{_n(px)}" cy="{_n(py)}" r="4.5" '
            'stroke-width="1.5"/>'
        )
        down = -12 if y > (stage.low + stage.high) / 2 else 34
        parts.append(
            f'<text class="joint-name" x="{_n(px)}" y="{_n(py + down)}" '
            f'text-anchor="middle" font-size="13">{escape(name)}</text>'
        )
    return "".join(parts)


def vehicle(stage, standing):
    """Draw a vehicle's body and wheels, heaviest axles the largest wheels."""
    xs = [stage.x(place) for place in standing.places]
    left, right = min(xs) - 13, max(xs) + 13
    top = min(stage.deck_y(x) for x in xs) - 2 * WHEEL - BODY
    nose = right if standing.heading > 0 else left
    parts = [
        f'<rect class="body" x="{_n(left)}" y="{_n(top)}" width="{_n(right - left)}" '
        f'height="{_n(BODY)}" rx="3" stroke-width="1.6"/>',
        f'<path class="nose" d="M{_n(nose)} {_n(top + 3)}l{_n(9 * standing.heading)} '
        f'{_n(BODY / 2 - 3)}l{_n(-9 * standing.heading)} {_n(BODY / 2 - 3)}z"/>',
    ]
    parts += [
        f'<circle class="wheel" cx="{_n(x)}" cy="{_n(stage.deck_y(x) - WHEEL)}" '
        f'r="{_n(WHEEL - 1)}" stroke-width="1.6"/>'
        for x in xs
    ]
    return "".join(parts)


def influence(stage, line):
    """Draw ordinates at the loaded joints about a base line, pull above, push below."""
    most = max((abs(value) for value in line), default=0.0)
    unit = LINE_HEIGHT / most if most > 1e-9 else 0.0
    points = [
        (x, stage.base - value * unit)
        for (x, _), value in zip(stage.deck, line, strict=True)
    ]
    first, last = stage.deck[0][0], stage.deck[-1][0]
    shape = "".join(f"L{_n(x)} {_n(y)}" for x, y in points)
    parts = [
        f'<path class="line-area" d="M{_n(first)} {_n(stage.base)}{shape}'
        f'L{_n(last)} {_n(stage.base)}Z" stroke-width="1.8"/>',
        f'<path class="line-base" d="M{_n(first)} {_n(stage.base)}H{_n(last)}" '
        'stroke-width="1"/>',
    ]
    for (x, y), value in zip(points, line, strict=True):
        if abs(value) > 0.005:
            above = y - 7 if value > 0 else y + 17
            parts.append(
                f'<text x="{_n(x)}" y="{_n(above)}" text-anchor="middle" '
                f'font-size="13">{escape(signed(value, 2))}</text>'
            )
    return "".join(parts)


def _n(value):
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
