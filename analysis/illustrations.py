"""Drawings that stand in for photographs in the demonstration.

Pen and wash by program: the same bridge, date and view always give the same bytes. What
is drawn follows the record: members that are gone are not there, decks are of the
material recorded, seasons and ages show. Each is labelled "Drawing" on its face.

Lengths of the structure are feet, places on the sheet pixels of the finished picture.
"""

from __future__ import annotations

import io
import math
import random
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path

import fontpkg_source_sans_3
import fontpkg_source_serif_4
import numpy as np
from PIL import Image, ImageDraw, ImageFilter, ImageFont, ImageOps

from shared.dates import display
from surveys.states import describe_component

WIDTH, HEIGHT = 1600, 1067
SCALE = 2  # drawn this much larger and reduced, for smooth edges
MARGIN, STRIP = 28, 74
QUALITY = 86
PAPER, SHEET, INK, PENCIL, RULE = "#F7F4ED", "#FFFFFF", "#1C2730", "#56626B", "#7F878E"
RIVER, RUST, BRASS = "#1F6273", "#9A4520", "#7A5A10"
IRON, IRON_LIGHT, IRON_FAR = "#2B343B", "#D9D8CF", "#8A9296"
STONE, STONE_DARK, TIMBER, TIMBER_DARK = "#CFC6B2", "#8D8470", "#B99B6E", "#6E5434"
CONCRETE, ASPHALT, WATER = "#C9C8C1", "#5B5F61", "#C3D6D6"
COMPRESSED = ("upper-chord", "end-post", "vertical", "sub-strut")
SEASONS = {
    "spring": {
        "sky": "#E7EDEA",
        "far": "#BFCBBE",
        "near": "#AFC090",
        "grass": "#BFCB96",
    },
    "summer": {
        "sky": "#EAEFEC",
        "far": "#B2C0AE",
        "near": "#97AC79",
        "grass": "#AEBD84",
    },
    "autumn": {
        "sky": "#EFEBE0",
        "far": "#C6BFA8",
        "near": "#BFA36C",
        "grass": "#C9BC8C",
    },
    "winter": {
        "sky": "#E6E9EA",
        "far": "#CDD2D2",
        "near": "#DFE0DC",
        "grass": "#F0EFEA",
    },
}
LEAVES = {
    "spring": ("#9DB678", "#B4C58B", "#87A368"),
    "summer": ("#6F8F5A", "#82A06A", "#5E7D4D"),
    "autumn": ("#C08A45", "#B0632F", "#CFA757", "#8C8A52"),
    "winter": (),
}


@dataclass
class Scene:
    """What a drawing is made from: a bridge's file, its spans, its state on a date.

    ``state`` is {element path: recorded state, or None where it is gone}; ``facts``
    the picture's entry in the file: ``view``, ``caption``, ``season``, ``look``.
    """

    document: dict
    elements: dict
    spans: list
    state: dict
    date: str
    facts: dict = field(default_factory=dict)

    @property
    def season(self):
        return self.facts.get("season", "summer")

    @property
    def look(self):
        return self.facts.get("look", "")

    @property
    def scenery(self):
        return self.document.get("scenery", {})

    @property
    def random(self):
        bridge = self.document["bridge"]["slug"]
        return random.Random(f"{bridge} {self.date} {self.facts['view']}")

    @property
    def land(self):
        """Hills and trees stay where they are from one visit to the next."""
        return random.Random(self.document["bridge"]["slug"])

    def is_gone(self, tail):
        return tail in self.state and self.state[tail] is None

    def of(self, tail):
        return self.state.get(tail) or {}


def draw(scene: Scene) -> bytes:
    """Return the picture of a scene as JPEG bytes, 1600 by 1067 pixels."""
    view = VIEWS[scene.facts["view"]]
    pen = Pen()
    view(pen, scene)
    image = pen.finished()
    if scene.look in AGED:
        image = AGED[scene.look](image, scene)
    else:
        image = _grained(image, scene, 3.0)
    _framed(image, scene)
    out = io.BytesIO()
    image.save(out, "JPEG", quality=QUALITY)
    return out.getvalue()


# -- the pen ----------------------------------------------------------------------------


class Pen:
    """Draws in pixels of the finished picture on a larger sheet."""

    def __init__(self):
        self.image = Image.new("RGB", (WIDTH * SCALE, HEIGHT * SCALE), PAPER)
        self.on = ImageDraw.Draw(self.image)

    def _at(self, points):
        return [(x * SCALE, y * SCALE) for x, y in points]

    def line(self, points, colour=INK, width=1.5, closed=False):
        points = list(points)
        if closed:
            points.append(points[0])
        thick = max(1, round(width * SCALE))
        self.on.line(self._at(points), fill=colour, width=thick, joint="curve")

    def area(self, points, colour, edge=None, width=1.5):
        points = list(points)
        self.on.polygon(self._at(points), fill=colour)
        if edge:
            self.line(points, edge, width, closed=True)

    def box(self, x, y, width, height, colour, edge=None, line=1.5):
        corners = [(x, y), (x + width, y), (x + width, y + height), (x, y + height)]
        self.area(corners, colour, edge, line)

    def dot(self, x, y, radius, colour, edge=None, width=1.5):
        box = [(x - radius) * SCALE, (y - radius) * SCALE]
        box += [(x + radius) * SCALE, (y + radius) * SCALE]
        thick = max(1, round(width * SCALE))
        self.on.ellipse(box, fill=colour, outline=edge, width=thick if edge else 0)

    def oval(self, x, y, rx, ry, colour, edge=None, width=1.5):
        box = [(x - rx) * SCALE, (y - ry) * SCALE, (x + rx) * SCALE, (y + ry) * SCALE]
        thick = max(1, round(width * SCALE))
        self.on.ellipse(box, fill=colour, outline=edge, width=thick if edge else 0)

    def text(
        self, x, y, words, size=24, colour=INK, anchor="la", face="serif", weight=400
    ):
        font = font_of(face, round(size * SCALE), weight)
        self.on.text(
            (x * SCALE, y * SCALE), words, fill=colour, font=font, anchor=anchor
        )

    def bar(self, a, b, width, colour, edge=None, line=1.2):
        """A bar of some width between two points."""
        (ax, ay), (bx, by) = a, b
        length = math.dist(a, b) or 1
        ox, oy = -(by - ay) / length * width / 2, (bx - ax) / length * width / 2
        corners = [(ax + ox, ay + oy), (bx + ox, by + oy), (bx - ox, by - oy)]
        self.area([*corners, (ax - ox, ay - oy)], colour, edge, line)

    def finished(self):
        return self.image.reduce(SCALE)


FONTS = {
    "serif": (fontpkg_source_serif_4, "files/SourceSerif4[opsz,wght].ttf"),
    "italic": (fontpkg_source_serif_4, "files/SourceSerif4-Italic[opsz,wght].ttf"),
    "sans": (fontpkg_source_sans_3, "files/SourceSans3[wght].ttf"),
}


@lru_cache(maxsize=64)
def font_of(face, size, weight=400):
    package, name = FONTS[face]
    font = ImageFont.truetype(str(Path(package.ROOT) / name), size)
    values = []
    for axis in font.get_variation_axes():
        wanted = weight if axis["maximum"] >= 200 else size / SCALE
        values.append(min(max(wanted, axis["minimum"]), axis["maximum"]))
    font.set_variation_by_axes(values)
    return font


def mixed(one, other, share):
    """Return a colour ``share`` of the way from one to the other."""
    a, b = (tuple(int(c[i : i + 2], 16) for i in (1, 3, 5)) for c in (one, other))
    blend = (round(x + (y - x) * share) for x, y in zip(a, b, strict=True))
    return "#{:02X}{:02X}{:02X}".format(*blend)


# -- land and water -----------------------------------------------------------------------


def _outline(rng, base, height, step=16, waves=((900, 1.0), (410, 0.45), (170, 0.18))):
    """A skyline as points from left to right."""
    shifts = [rng.uniform(0, 2 * math.pi) for _ in waves]
    return [
        (
            x,
            base
            - height
            * sum(
                share * (0.5 + 0.5 * math.sin(x / length * 2 * math.pi + shift))
                for (length, share), shift in zip(waves, shifts, strict=True)
            ),
        )
        for x in range(-20, WIDTH + 40, step)
    ]


def _sky(pen, scene, horizon):
    top = SEASONS[scene.season]["sky"]
    bands = 40
    for band in range(bands):
        y = horizon * band / bands
        colour = mixed(top, PAPER, band / bands)
        pen.box(0, y, WIDTH, horizon / bands + 1, colour)
    rng = scene.random
    for _ in range(rng.randint(2, 5)):
        _cloud(pen, rng, rng.uniform(80, WIDTH - 80), rng.uniform(90, horizon * 0.45))


def _cloud(pen, rng, x, y):
    """A few level strokes, as an engraver would."""
    for row in range(5):
        half = rng.uniform(40, 130) * (1 - abs(row - 2) / 4)
        shift = rng.uniform(-25, 25)
        points = [(x + shift - half, y + row * 9), (x + shift + half, y + row * 9)]
        pen.line(points, mixed(RULE, PAPER, 0.72), 1.4)


def _hills(pen, scene, horizon):
    land, tones = scene.land, SEASONS[scene.season]
    rise = scene.scenery.get("hills", 0.75)
    for base, height, tone in (
        (horizon + 6, 190 * rise, mixed(tones["far"], PAPER, 0.45)),
        (horizon + 14, 120 * rise, tones["far"]),
        (horizon + 26, 62 * rise, tones["near"]),
    ):
        skyline = _outline(land, base, height)
        pen.area([*skyline, (WIDTH + 40, horizon + 80), (-40, horizon + 80)], tone)
        pen.line(skyline, mixed(tone, INK, 0.35), 1.2)
    for x, y in _outline(land, horizon + 24, 26, step=7):
        size = land.uniform(5, 17)
        if land.random() < 0.62:
            _bush(pen, land, x, y, size, scene.season, 0.35)


def _bush(pen, rng, x, y, size, season, faint=0.0):
    leaves = LEAVES[season]
    if not leaves:
        for _ in range(4):
            lean = rng.uniform(-0.6, 0.6)
            tip = (x + lean * size, y - size * rng.uniform(0.9, 1.5))
            pen.line([(x, y), tip], mixed("#6E6A63", PAPER, faint), 1.1)
        return
    tone = mixed(rng.choice(leaves), PAPER, faint)
    for _ in range(5):
        dx, dy = rng.uniform(-0.7, 0.7) * size, rng.uniform(-0.9, 0.1) * size
        pen.dot(x + dx, y + dy, size * rng.uniform(0.35, 0.6), tone)
    pen.line(
        [(x - size * 0.5, y - size * 0.2), (x + size * 0.1, y - size * 0.75)],
        mixed(tone, INK, 0.25),
        1,
    )


def _tree(pen, rng, x, y, height, season):
    """A trunk, boughs, and leaves in three washes."""
    trunk = mixed(TIMBER_DARK, INK, 0.25)
    lean = rng.uniform(-0.06, 0.06) * height
    top = (x + lean, y - height * 0.8)
    pen.bar((x, y), top, height * 0.045, trunk)
    boughs = []
    for _ in range(9):
        share = rng.uniform(0.35, 0.95)
        start = (x + lean * share, y - height * 0.8 * share)
        reach = height * rng.uniform(0.16, 0.34) * (1.2 - share * 0.5)
        side = rng.choice((-1, 1))
        end = (start[0] + side * reach, start[1] - reach * rng.uniform(0.4, 1.0))
        boughs.append(end)
        pen.line([start, end], trunk, max(1.2, height * 0.012))
        if not LEAVES[season]:
            for _ in range(3):
                twig = (
                    end[0] + rng.uniform(-0.1, 0.1) * height,
                    end[1] - rng.uniform(0.02, 0.12) * height,
                )
                pen.line([end, twig], trunk, 1)
    leaves = LEAVES[season]
    if not leaves:
        return
    tone = rng.choice(leaves)
    for shade, count in (
        (mixed(tone, INK, 0.22), 14),
        (tone, 22),
        (mixed(tone, PAPER, 0.28), 9),
    ):
        for _ in range(count):
            end = rng.choice([*boughs, top])
            spread = height * 0.12
            turn, far = rng.uniform(0, 2 * math.pi), spread * rng.random() ** 0.5
            cx, cy = end[0] + far * math.cos(turn), end[1] + far * math.sin(turn) * 0.8
            pen.dot(cx, cy, height * rng.uniform(0.03, 0.075), shade)


def _water(pen, scene, left, right, top, bottom):
    """The river between two banks: flat tone, level strokes, a little light."""
    rng, frozen = scene.random, scene.season == "winter"
    tone = mixed(WATER, "#FFFFFF", 0.35) if frozen else WATER
    pen.area(
        [(left, top), (right, top), (right + 190, bottom), (left - 190, bottom)], tone
    )
    for _ in range(150):
        share = rng.random() ** 1.4
        y = top + 5 + share * (bottom - top - 8)
        edge = 190 * (y - top) / (bottom - top)
        x = rng.uniform(left - edge + 10, right + edge - 10)
        half = rng.uniform(10, 60) * (0.4 + share)
        light = rng.random() < 0.3
        colour = mixed(tone, "#FFFFFF", 0.6) if light else mixed(tone, RIVER, 0.45)
        ends = [(max(x - half, left - edge), y), (min(x + half, right + edge), y)]
        pen.line(ends, colour, 1.2)


def _reflection(pen, left, right, top):
    """What stands above the water, turned over and faint, broken by level strokes."""
    x0, x1, y = round(left * SCALE), round(right * SCALE), round(top * SCALE)
    deep = min(pen.image.height - y, y)
    above = pen.image.crop((x0, y - deep, x1, y)).transpose(
        Image.Transpose.FLIP_TOP_BOTTOM
    )
    water = pen.image.crop((x0, y, x1, y + deep))
    fade = np.linspace(0.34, 0.06, deep)[:, None] * np.ones((1, x1 - x0))
    fade *= (np.arange(deep) // (5 * SCALE) % 3 != 1)[:, None]
    mask = Image.fromarray((fade * 255).astype(np.uint8))
    water.paste(above, (0, 0), mask)
    pen.image.paste(water, (x0, y))


def _grass(pen, rng, points, season, count=160):
    """Tufts scattered on a bank given as a polygon's upper edge."""
    colour = mixed(SEASONS[season]["grass"], INK, 0.42 if season != "winter" else 0.3)
    for _ in range(count):
        at = rng.randrange(len(points) - 1)
        (ax, ay), (bx, by) = points[at], points[at + 1]
        share = rng.random()
        x, y = ax + (bx - ax) * share, ay + (by - ay) * share + rng.uniform(4, 150)
        for lean in (-3, 0, 3):
            pen.line([(x, y), (x + lean, y - rng.uniform(5, 11))], colour, 1)


def _masonry(pen, rng, x, y, width, height, batter=0.0, courses=None, tone=STONE):
    """An abutment or pier of dressed stone, wider below by ``batter`` either side."""
    courses = courses or max(4, round(height / 16))
    edge = mixed(tone, INK, 0.5)
    foot = [
        (x + width, y),
        (x + width + batter, y + height),
        (x - batter, y + height),
        (x, y),
    ]
    pen.area(foot, tone)
    rise = height / courses
    for course in range(courses):
        top = y + course * rise
        spread = batter * (course + 0.5) / courses
        left, right = x - spread, x + width + spread
        pen.line([(left, top), (right, top)], edge, 1)
        block = rise * rng.uniform(1.6, 2.4)
        joint = left + block * (0.5 if course % 2 else 1)
        while joint < right - 4:
            pen.line([(joint, top), (joint, top + rise)], edge, 1)
            if rng.random() < 0.3:
                shade = mixed(tone, rng.choice((INK, "#FFFFFF", BRASS)), 0.12)
                first = max(joint - block, left) + 1
                pen.box(first, top + 1, joint - first - 1, rise - 2, shade)
            joint += block * rng.uniform(0.8, 1.25)
    pen.line(foot, edge, 1.6, closed=True)


# -- elevations -----------------------------------------------------------------------------


@dataclass
class Frame:
    """Where feet of the structure fall on the sheet, seen from the side."""

    left: float
    base: float
    scale: float
    mirror: bool = False
    length: float = 0.0

    def at(self, x_ft, y_ft):
        x = self.length - x_ft if self.mirror else x_ft
        return self.left + x * self.scale, self.base - y_ft * self.scale


def outline_of(span):
    """Return ``(joints, members)`` of a span in feet: as laid out, or as its form goes.

    Members are (name, joint, joint, role).
    """
    if span.skeleton:
        joints = {name: tuple(place) for name, place in span.skeleton["joints"].items()}
        return joints, [tuple(member) for member in span.skeleton["members"]]
    recipe = OUTLINES.get(span.form)
    if recipe is None:
        return {}, []
    panels = span.panels or 4
    length = span.length_ft or 60
    return recipe(panels, length / panels, span.depth_ft or length / 8)


def _lenticular(panels, panel, depth):
    joints, members = {}, []
    for i in range(panels + 1):
        bow = 4 * depth / 2 * i * (panels - i) / panels**2
        joints[f"L{i}"], joints[f"U{i}"] = (
            (i * panel, depth / 2 - bow),
            (i * panel, depth / 2 + bow),
        )
    for i in range(panels):
        role = "upper-chord"
        members.append((f"U{i}U{i + 1}", f"U{i}", f"U{i + 1}", role))
        members.append((f"L{i}L{i + 1}", f"L{i}", f"L{i + 1}", "lower-chord"))
    for i in range(1, panels):
        members.append((f"L{i}U{i}", f"L{i}", f"U{i}", "vertical"))
    for i in range(1, panels - 1):
        members.append((f"L{i}U{i + 1}", f"L{i}", f"U{i + 1}", "counter"))
        members.append((f"L{i + 1}U{i}", f"L{i + 1}", f"U{i}", "counter"))
    return joints, members


def _boxed(panels, panel, depth):
    """Parallel chords over every panel point, vertical ends."""
    joints, members = {}, []
    for i in range(panels + 1):
        joints[f"L{i}"], joints[f"U{i}"] = (i * panel, 0), (i * panel, depth)
    for i in range(panels):
        members.append((f"L{i}L{i + 1}", f"L{i}", f"L{i + 1}", "lower-chord"))
        members.append((f"U{i}U{i + 1}", f"U{i}", f"U{i + 1}", "upper-chord"))
    for i in range(panels + 1):
        members.append((f"L{i}U{i}", f"L{i}", f"U{i}", "vertical"))
    return joints, members


def _bedstead(panels, panel, depth):
    joints, members = _boxed(panels, panel, depth)
    joints |= {"F0": (0, -depth * 0.9), f"F{panels}": (panels * panel, -depth * 0.9)}
    members += [
        ("F0L0", "F0", "L0", "end-post"),
        ("FnLn", f"F{panels}", f"L{panels}", "end-post"),
    ]
    for i in range(panels):
        falls = i < panels / 2
        a, b = (f"U{i}", f"L{i + 1}") if falls else (f"L{i}", f"U{i + 1}")
        members.append((f"{a}{b}", a, b, "diagonal"))
    return joints, members


def _lattice(panels, panel, depth):
    joints, members = _boxed(panels, panel, depth)
    members = [one for one in members if one[3] != "vertical"]
    for i in (0, panels):
        members.append((f"L{i}U{i}", f"L{i}", f"U{i}", "vertical"))
    for i in range(panels):
        for reach in (1, 2):
            if i + reach <= panels:
                members.append(("", f"L{i}", f"U{i + reach}", "diagonal"))
                members.append(("", f"U{i}", f"L{i + reach}", "diagonal"))
    return joints, members


def _burr(panels, panel, depth):
    joints, members = _boxed(panels, panel, depth)
    for i in range(panels):
        rises = i < panels / 2
        a, b = (f"L{i}", f"U{i + 1}") if rises else (f"U{i}", f"L{i + 1}")
        members.append((f"{a}{b}", a, b, "upper-chord"))
    steps = 16
    length = panels * panel
    for k in range(steps + 1):
        joints[f"A{k}"] = (
            length * k / steps,
            depth * 0.86 * 4 * (k / steps) * (1 - k / steps) - 1,
        )
    for k in range(steps):
        members.append(("", f"A{k}", f"A{k + 1}", "upper-chord"))
    return joints, members


def _pratt_like(panels, panel, depth):
    joints, members = _boxed(panels, panel, depth)
    ends = {"U0", f"U{panels}"}
    members = [one for one in members if not ends & {one[1], one[2]}]
    members += [("L0U1", "L0", "U1", "end-post")]
    members += [("LnUn", f"L{panels}", f"U{panels - 1}", "end-post")]
    for i in range(1, panels - 1):
        falls = i + 0.5 < panels / 2
        a, b = (f"U{i}", f"L{i + 1}") if falls else (f"L{i}", f"U{i + 1}")
        members.append((f"{a}{b}", a, b, "diagonal"))
    return joints, members


OUTLINES = {
    "lenticular": _lenticular,
    "bedstead": _bedstead,
    "lattice": _lattice,
    "burr-arch": _burr,
} | dict.fromkeys(
    (
        "pratt",
        "half-hip-pratt",
        "parker",
        "camelback",
        "howe",
        "warren",
        "warren-with-verticals",
        "double-intersection-pratt",
        "baltimore",
        "pennsylvania",
        "king-post",
        "queen-post",
        "bowstring",
    ),
    _pratt_like,
)


def elevation(pen, scene, mirror=False):
    """The whole bridge from the bank, square on."""
    spans = scene.spans
    total = sum(span.length_ft or 50 for span in spans)
    tallest = max((span.depth_ft or 6) for span in spans)
    scale = min(WIDTH * 0.62 / total, 300 / tallest, 24)
    horizon, rail_line = 520, 640
    height_ft = scene.scenery.get("above_water_ft", 14)
    water_top = min(rail_line + height_ft * scale, 850)
    left = (WIDTH - total * scale) / 2
    _sky(pen, scene, horizon + 40)
    _hills(pen, scene, horizon)
    _behind(pen, scene, left, total * scale, rail_line)
    _water(pen, scene, left + 6, left + total * scale - 6, water_top, HEIGHT)
    frame = Frame(left, rail_line, scale, mirror, total)
    _substructure(pen, scene, frame, total, water_top)
    at = 0.0
    for span in spans:
        own = Frame(left + at * scale, rail_line, scale, mirror, span.length_ft or 50)
        _superstructure(pen, scene, span, own, water_top)
        at += span.length_ft or 50
    _reflection(pen, left + 6, left + total * scale - 6, water_top)
    _banks(pen, scene, left, left + total * scale, rail_line, water_top)
    _figure(pen, scene, frame, total)


def _behind(pen, scene, left, length, rail_line):
    """Trees and the far bank behind the bridge."""
    land, season = scene.land, scene.season
    tone = SEASONS[season]["grass"]
    edge = _outline(land, rail_line - 60, 26, step=24)
    pen.area([*edge, (WIDTH + 40, HEIGHT), (-40, HEIGHT)], mixed(tone, PAPER, 0.25))
    for _ in range(15):
        x = land.uniform(-20, WIDTH + 20)
        tall = land.uniform(90, 190)
        _tree(pen, land, x, rail_line - land.uniform(35, 75), tall, season)


def _banks(pen, scene, left, right, rail_line, water_top):
    """The near ground at either end, over the feet of the abutments."""
    rng, tone = scene.land, SEASONS[scene.season]["grass"]
    for side in (-1, 1):
        edge = left if side < 0 else right
        far = -40 if side < 0 else WIDTH + 40
        top = [
            (far, rail_line + 34),
            (edge + side * 190, rail_line + 26),
            (edge + side * 92, rail_line + 52),
            (edge + side * 36, (rail_line + water_top) / 2 + 44),
            (edge + side * 14, water_top + 16),
            (edge - side * 8, water_top + 34),
            (edge + side * 60, HEIGHT + 10),
        ]
        pen.area([*top, (far, HEIGHT + 10)], tone, mixed(tone, INK, 0.4), 1.5)
        _grass(pen, rng, top[:5], scene.season)
        # The road up to the bridge.
        pen.area(
            [
                (far, rail_line + 2),
                (edge + side * 24, rail_line - 3),
                (edge + side * 26, rail_line + 9),
                (edge + side * 190, rail_line + 27),
                (far, rail_line + 36),
            ],
            mixed("#D8CDB4", tone, 0.25),
            mixed(tone, INK, 0.35),
            1.2,
        )
    spots = [(60, 880, 250), (WIDTH - 90, 900, 280)]
    for x, y, tall in spots:
        if rng.random() < 0.8:
            _tree(
                pen,
                rng,
                x + rng.uniform(-30, 30),
                y,
                tall * rng.uniform(0.8, 1.1),
                scene.season,
            )


def _substructure(pen, scene, frame, total, water_top):
    rng = scene.land
    seat = frame.base + 10
    deep = max(60, water_top - seat + 46)
    wide = max(34, min(70, 8 * frame.scale))
    tone = CONCRETE if _is_concrete(scene, "abutment/near") else STONE
    for x in (frame.left - wide + 8, frame.left + total * frame.scale - 8):
        _masonry(pen, rng, x, seat, wide, deep, batter=8, tone=tone)
    at = 0.0
    for span in scene.spans[:-1]:
        at += span.length_ft or 50
        x = frame.left + at * frame.scale - wide * 0.4
        _masonry(pen, rng, x, seat, wide * 0.8, deep + 10, batter=10, tone=STONE)


def _is_concrete(scene, tail):
    return scene.of(tail).get("material") == "concrete"


def _superstructure(pen, scene, span, frame, water_top):
    number = f"span-{span.number}"
    if scene.is_gone(f"{number}/deck"):
        return
    special = SPECIAL.get(span.form)
    if special:
        special(pen, scene, span, frame, water_top)
        return
    if scene.scenery.get("covered"):
        _covered(pen, scene, span, frame)
        return
    joints, members = outline_of(span)
    lines = list(span.truss_lines.all())
    near, far = (
        (lines[-1], lines[0])
        if lines and frame.mirror
        else (lines[:1] or [None], lines[-1:] or [None])
    )
    if isinstance(near, list):
        near, far = near[0], far[0]
    high = span.deck_position == "deck"
    deck_ft = max((y for _, y in joints.values()), default=6) if high else 0.0
    if high:
        frame = Frame(
            frame.left,
            frame.base + deck_ft * frame.scale,
            frame.scale,
            frame.mirror,
            frame.length,
        )
    shift = Frame(
        frame.left + 13, frame.base - 9, frame.scale, frame.mirror, frame.length
    )
    _bars(pen, scene, number, far, joints, members, shift, far=True)
    _deck_edge(pen, scene, span, frame, deck_ft)
    _bars(pen, scene, number, near, joints, members, frame)
    _railing_edge(pen, scene, span, near, frame, deck_ft)


def _bars(pen, scene, number, line, joints, members, frame, far=False):
    """One truss line: compression heavy, tension light, rods lightest."""
    key = line.key if line else ""
    timber = scene.spans and scene.spans[0].material == "timber"
    order = {"counter": 0, "diagonal": 1, "lower-chord": 2, "hip-vertical": 3}
    for name, a, b, role in sorted(members, key=lambda one: order.get(one[3], 4)):
        path = f"{number}/{key}/{name}"
        if scene.is_gone(path):
            continue
        start, end = frame.at(*joints[a]), frame.at(*joints[b])
        _bar(pen, start, end, role, scene.of(path), frame.scale, far, timber)
    if far:
        return
    for joint, place in joints.items():
        if not joint.startswith("A"):
            x, y = frame.at(*place)
            pen.dot(x, y, max(2.4, 0.32 * frame.scale), IRON_LIGHT, IRON, 1.3)


def _bar(pen, start, end, role, state, scale, far, timber):
    width = {"upper-chord": 0.95, "end-post": 0.95, "vertical": 0.62, "sub-strut": 0.5}
    if far:
        heavy = 3.2 if role in COMPRESSED else 1.2
        pen.line([start, end], mixed(IRON_FAR, PAPER, 0.25), heavy)
        return
    if timber and role not in ("vertical", "hip-vertical", "counter"):
        pen.bar(start, end, max(6, 0.9 * scale), TIMBER, TIMBER_DARK, 1.3)
        return
    if role in COMPRESSED and not timber:
        across = max(4.5, width[role] * scale)
        pen.bar(start, end, across, IRON_LIGHT, IRON, 1.7)
        if role == "vertical":
            _lacing(pen, start, end, across)
        return
    if "bent" in state.get("flags", ()):
        _bowed(pen, start, end, max(1.8, 0.14 * scale))
        return
    if role in ("lower-chord", "diagonal"):
        gap = max(1.6, 0.16 * scale)
        _pair(pen, start, end, gap, max(1.5, 0.1 * scale))
        return
    pen.line([start, end], IRON, max(1.6, 0.11 * scale))
    if role == "counter":
        _turnbuckle(pen, start, end, scale)


def _pair(pen, start, end, gap, width):
    length = math.dist(start, end) or 1
    ox = -(end[1] - start[1]) / length * gap
    oy = (end[0] - start[0]) / length * gap
    for side in (-1, 1):
        shifted = [(x + side * ox, y + side * oy) for x, y in (start, end)]
        pen.line(shifted, IRON, width)


def _lacing(pen, start, end, across, colour=IRON):
    length = math.dist(start, end)
    steps = max(4, round(length / (across * 1.1)))
    ox = -(end[1] - start[1]) / length * across / 2
    oy = (end[0] - start[0]) / length * across / 2
    points = []
    for i in range(steps + 1):
        share, side = i / steps, 1 if i % 2 else -1
        x = start[0] + (end[0] - start[0]) * share + side * ox
        points.append((x, start[1] + (end[1] - start[1]) * share + side * oy))
    pen.line(points, colour, 1.1)


def _bowed(pen, start, end, width):
    length = math.dist(start, end)
    ox, oy = -(end[1] - start[1]) / length, (end[0] - start[0]) / length
    points = []
    for i in range(13):
        share = i / 12
        sag = math.sin(math.pi * share) * length * 0.05
        x = start[0] + (end[0] - start[0]) * share + ox * sag
        points.append((x, start[1] + (end[1] - start[1]) * share + oy * sag))
    pen.line(points, IRON, width)


def _turnbuckle(pen, start, end, scale, share=0.36):
    x = start[0] + (end[0] - start[0]) * share
    y = start[1] + (end[1] - start[1]) * share
    length = math.dist(start, end) or 1
    ux, uy = (end[0] - start[0]) / length, (end[1] - start[1]) / length
    half = max(5, 0.5 * scale)
    pen.bar(
        (x - ux * half, y - uy * half),
        (x + ux * half, y + uy * half),
        max(4, 0.3 * scale),
        IRON_LIGHT,
        IRON,
        1.3,
    )


def _deck_edge(pen, scene, span, frame, deck_ft):
    """Floor beams, stringers and the deck's edge, by its material."""
    number = f"span-{span.number}"
    layers = scene.of(f"{number}/deck").get("layers") or [
        {"material": "timber", "thickness_in": 3}
    ]
    top, length = deck_ft + 0.4, frame.length
    panels = span.panels or 4
    for i in range(panels + 1):
        x, y = frame.at(length * i / panels, deck_ft - 0.3)
        pen.box(
            x - max(3, 0.4 * frame.scale),
            y - 2,
            max(6, 0.8 * frame.scale),
            max(8, 1.3 * frame.scale),
            mixed(IRON_FAR, IRON, 0.4),
            IRON,
            1,
        )
    (ax, ay), (bx, _) = frame.at(0, top), frame.at(length, top)
    left, wide = min(ax, bx) - 6, abs(bx - ax) + 12
    pen.box(
        left,
        ay + 2,
        wide,
        max(5, 0.7 * frame.scale),
        mixed(TIMBER_DARK, INK, 0.25),
        INK,
        1,
    )
    y = ay
    for layer in layers:
        thick = max(4, (layer.get("thickness_in") or 4) / 12 * frame.scale * 1.3)
        y -= thick
        DECK_EDGES.get(layer["material"], _solid(CONCRETE))(pen, left, y, wide, thick)


def _solid(colour):
    def edge(pen, x, y, width, thick):
        pen.box(x, y, width, thick, colour, INK, 1.1)

    return edge


def _planks(pen, x, y, width, thick):
    pen.box(x, y, width, thick, TIMBER, TIMBER_DARK, 1)
    step = max(5.0, thick * 1.6)
    at = x
    while at < x + width:
        pen.line([(at, y), (at, y + thick)], TIMBER_DARK, 1)
        at += step


def _grid(pen, x, y, width, thick):
    pen.box(x, y, width, thick, "#DADCDA", IRON, 1.1)
    at = x
    while at < x + width:
        pen.line([(at, y), (at + thick, y + thick)], IRON, 0.9)
        at += 5


DECK_EDGES = {
    "timber": _planks,
    "steel-grid": _grid,
    "concrete": _solid(CONCRETE),
    "asphalt": _solid(ASPHALT),
    "gravel": _solid("#B8AB8E"),
    "earth": _solid("#A58E66"),
}


def _railing_edge(pen, scene, span, line, frame, deck_ft):
    number = f"span-{span.number}"
    path = f"{number}/railing-{line.key}" if line else f"{number}/railing"
    if scene.is_gone(path) or path not in scene.state:
        return
    state = scene.of(path)
    words = f"{state.get('description', '')} {state.get('material', '')}"
    low, high = deck_ft + 1.3, deck_ft + 4.3
    (ax, _), (bx, _) = frame.at(0, low), frame.at(frame.length, low)
    left, right = min(ax, bx), max(ax, bx)
    bottom, top = frame.at(0, low)[1], frame.at(0, high)[1]
    if "guard rail" in words:
        mid = (bottom + top) / 2
        pen.box(left, mid - 4, right - left, 9, "#E4E4DE", INK, 1.2)
        return
    tone = TIMBER_DARK if "timber" in words else PENCIL
    pen.line([(left, top), (right, top)], tone, 2)
    pen.line([(left, bottom), (right, bottom)], tone, 1.6)
    if "lattice" in words:
        step = max(7.0, bottom - top)
        x = left
        while x < right - 2:
            end = min(x + step, right)
            pen.line([(x, top), (end, bottom)], tone, 0.9)
            pen.line([(x, bottom), (end, top)], tone, 0.9)
            x += step
    else:
        pen.line([(left, (top + bottom) / 2), (right, (top + bottom) / 2)], tone, 1.4)


def _figure(pen, scene, frame, total):
    """Somebody on the bridge, so that its size can be judged."""
    if scene.is_gone("span-1/deck"):
        return
    rng = scene.random
    x, y = frame.at(total * rng.uniform(0.3, 0.7), 0.9)
    unit = max(frame.scale * 5.6, 26)
    coat = rng.choice((RIVER, RUST, "#4C4A43", "#6B3A5B"))
    pen.area(
        [
            (x - unit * 0.13, y - unit * 0.78),
            (x + unit * 0.13, y - unit * 0.78),
            (x + unit * 0.17, y - unit * 0.3),
            (x - unit * 0.17, y - unit * 0.3),
        ],
        coat,
    )
    pen.line(
        [(x - unit * 0.06, y - unit * 0.3), (x - unit * 0.08, y)], INK, unit * 0.09
    )
    pen.line(
        [(x + unit * 0.06, y - unit * 0.3), (x + unit * 0.09, y)], INK, unit * 0.09
    )
    pen.dot(x, y - unit * 0.88, unit * 0.095, "#D9B48F", INK, 1)
    pen.line(
        [(x - unit * 0.14, y - unit * 0.93), (x + unit * 0.14, y - unit * 0.93)],
        INK,
        unit * 0.05,
    )


def _covered(pen, scene, span, frame):
    """A boarded and roofed timber span: the truss is inside."""
    rng = scene.land
    depth = span.depth_ft or 14
    (x0, floor), (x1, eaves) = frame.at(-4, -1.2), frame.at(frame.length + 4, depth)
    left, right = min(x0, x1), max(x0, x1)
    boards = "#B08E63" if not scene.scenery.get("red") else "#9A5238"
    pen.area(
        [(left + 26, floor), (right - 26, floor), (right, eaves), (left, eaves)],
        boards,
        TIMBER_DARK,
        1.6,
    )
    x = left + 6
    while x < right - 6:
        lean = (
            26
            * (1 if x < (left + right) / 2 else -1)
            * abs((left + right) / 2 - x)
            / ((right - left) / 2)
        )
        pen.line([(x, eaves), (x + lean, floor)], mixed(boards, INK, 0.3), 1)
        if rng.random() < 0.12:
            pen.bar(
                (x, eaves + 4),
                (x + lean, floor - 3),
                7,
                mixed(boards, rng.choice((INK, PAPER)), 0.14),
            )
        x += 11
    ridge = eaves - 52
    roof = SEASONS["winter"]["grass"] if scene.season == "winter" else "#8E8778"
    pen.area(
        [
            (left - 16, eaves + 6),
            (right + 16, eaves + 6),
            (right - 6, ridge),
            (left + 6, ridge),
        ],
        roof,
        INK,
        1.5,
    )
    for row in range(1, 6):
        y = ridge + (eaves + 6 - ridge) * row / 6
        pen.line(
            [(left + 6 - 22 * row / 6, y), (right - 6 + 22 * row / 6, y)],
            mixed(roof, INK, 0.3),
            0.9,
        )
    for share in (0.3, 0.5, 0.7):
        mid = left + (right - left) * share
        pen.box(
            mid - 22, eaves + 26, 44, 22, mixed(INK, boards, 0.25), TIMBER_DARK, 1.3
        )


# -- bridges that are no trusses ---------------------------------------------------------------


def _stone_arch(pen, scene, span, frame, water_top):
    rng = scene.land
    (x0, road), (x1, _) = frame.at(0, 3), frame.at(frame.length, 3)
    left, right = min(x0, x1), max(x0, x1)
    mid, half = (left + right) / 2, (right - left) / 2 - 10
    rise = min(half * 0.86, water_top - road - 34)
    spring = water_top - 6
    arch = [
        (mid - half * math.cos(t), spring - rise * math.sin(t)) for t in _angles(40)
    ]
    wall = [
        (left - 30, road),
        (right + 30, road),
        (right + 30, spring + 20),
        (mid + half, spring + 20),
    ]
    wall += [*reversed(arch), (mid - half, spring + 20), (left - 30, spring + 20)]
    pen.area(wall, STONE, mixed(STONE, INK, 0.5), 1.6)
    y = road + 14
    while y < spring:
        gaps = [x for x, ay in arch if ay < y]
        inner = (min(gaps), max(gaps)) if gaps else None
        x = left - 30 + rng.uniform(0, 26)
        while x < right + 30:
            if inner is None or not inner[0] - 26 < x < inner[1] + 26:
                pen.line([(x, y), (x, y + 14)], mixed(STONE, INK, 0.35), 0.9)
                pen.line([(x, y), (x + 22, y)], mixed(STONE, INK, 0.35), 0.9)
            x += rng.uniform(24, 40)
        y += 14
    outer = [
        (mid - (half + 24) * math.cos(t), spring - (rise + 24) * math.sin(t))
        for t in _angles(40)
    ]
    pen.area([*outer, *reversed(arch)], mixed(STONE, "#FFFFFF", 0.25), INK, 1.4)
    for (ax, ay), (bx, by) in zip(outer[::2], arch[::2], strict=True):
        pen.line([(ax, ay), (bx, by)], mixed(STONE, INK, 0.6), 1.1)
    pen.box(
        left - 40,
        road - 20,
        right - left + 80,
        22,
        mixed(STONE, "#FFFFFF", 0.2),
        mixed(STONE, INK, 0.6),
        1.3,
    )


def _angles(count):
    return [math.pi * i / count for i in range(count + 1)]


def _concrete_arch(pen, scene, span, frame, water_top):
    (x0, road), (x1, _) = frame.at(0, 3), frame.at(frame.length, 3)
    left, right = min(x0, x1), max(x0, x1)
    mid, half, spring = (left + right) / 2, (right - left) / 2, water_top - 20
    rise = spring - road - 34
    edge = mixed(CONCRETE, INK, 0.55)

    def rib(offset):
        return [
            (
                mid - half + 2 * half * i / 40,
                spring - offset - rise * 4 * (i / 40) * (1 - i / 40),
            )
            for i in range(41)
        ]

    for i in range(1, 14):
        x = left + (right - left) * i / 14
        share = i / 14
        top_of_rib = spring - rise * 4 * share * (1 - share)
        if top_of_rib - road > 12:
            pen.box(
                x - 7,
                road + 8,
                14,
                top_of_rib - road,
                mixed(CONCRETE, "#FFFFFF", 0.2),
                edge,
                1.2,
            )
    pen.area([*rib(18), *reversed(rib(-10))], CONCRETE, edge, 1.8)
    pen.box(left - 30, road, right - left + 60, 16, CONCRETE, edge, 1.5)
    x = left - 26
    pen.box(left - 30, road - 30, right - left + 60, 6, CONCRETE, edge, 1.2)
    while x < right + 26:
        pen.box(x, road - 24, 6, 24, mixed(CONCRETE, "#FFFFFF", 0.3), edge, 1)
        x += 15


def _girder(pen, scene, span, frame, water_top):
    depth = span.depth_ft or 5
    (x0, low), (x1, high) = frame.at(0, -0.8), frame.at(frame.length, depth - 0.8)
    left, right = min(x0, x1), max(x0, x1)
    pen.box(left - 6, high, right - left + 12, low - high, "#5E6B66", INK, 1.8)
    pen.box(left - 8, high - 4, right - left + 16, 8, "#717E78", INK, 1.3)
    pen.box(left - 8, low - 4, right - left + 16, 8, "#717E78", INK, 1.3)
    count = max(6, round(frame.length / 4.5))
    for i in range(count + 1):
        x = left + (right - left) * i / count
        pen.line([(x, high + 4), (x, low - 4)], mixed("#5E6B66", "#FFFFFF", 0.4), 2.2)
        for k in range(9):
            pen.dot(
                x + 5,
                high + 10 + k * (low - high - 20) / 8,
                1.3,
                mixed("#5E6B66", "#FFFFFF", 0.5),
            )


def _suspension(pen, scene, span, frame, water_top):
    (x0, road), (x1, _) = frame.at(0, 0.6), frame.at(frame.length, 0.6)
    left, right = min(x0, x1), max(x0, x1)
    rise = max(120.0, 0.13 * (right - left))
    for shift in (10, 0):
        tone = IRON if shift == 0 else IRON_FAR
        cable = []
        for i in range(41):
            share = i / 40
            sag = 4 * share * (1 - share)
            cable.append(
                (
                    left + shift + (right - left) * share,
                    road - shift - rise + (rise - 22) * sag,
                )
            )
        pen.line(cable, tone, 2.6 if shift == 0 else 1.4)
        pen.line([(left - 150, road + 26), cable[0]], tone, 2.2 if shift == 0 else 1.2)
        pen.line(
            [cable[-1], (right + 150, road + 26)], tone, 2.2 if shift == 0 else 1.2
        )
        for x, y in cable[1:-1]:
            pen.line([(x, y), (x, road - shift)], tone, 1.1)
        for x in (left, right):
            pen.bar(
                (x + shift, road + 90),
                (x + shift, road - rise - 12 - shift),
                11,
                TIMBER,
                TIMBER_DARK,
                1.3,
            )
    _planks(pen, left - 20, road, right - left + 40, 9)


SPECIAL = {
    "stone-arch": _stone_arch,
    "concrete-arch": _concrete_arch,
    "plate-girder": _girder,
    "beam": _girder,
    "suspension": _suspension,
}


# -- along the road: portal and deck -----------------------------------------------------------


class Camera:
    """A one-point view along the bridge; x along it, y up, z across, in feet."""

    def __init__(self, back_ft, eye_ft, focus, horizon, across_ft=0.0):
        self.back, self.eye, self.focus = back_ft, eye_ft, focus
        self.horizon, self.across = horizon, across_ft

    def see(self, x, y, z):
        far = max(x + self.back, 0.6)
        scale = self.focus / far
        return (
            WIDTH / 2 + (z - self.across) * scale,
            self.horizon - (y - self.eye) * scale,
        )

    def thickness(self, x, feet):
        return max(1.2, feet * self.focus / max(x + self.back, 0.6))


def portal(pen, scene):
    """From the middle of the road, before the bridge."""
    span = scene.spans[0]
    tall = (span.depth_ft or 6) if span.deck_position == "through" else 12
    camera = Camera(back_ft=max(26.0, tall * 1.5), eye_ft=5.4, focus=1150, horizon=600)
    _along(pen, scene, camera)


def deck(pen, scene):
    """Standing on the end of the deck and looking along it."""
    _along(
        pen,
        scene,
        Camera(back_ft=5.0, eye_ft=6.6, focus=860, horizon=400, across_ft=1.2),
    )


def _along(pen, scene, camera):
    horizon = camera.horizon
    _sky(pen, scene, horizon)
    _hills(pen, scene, horizon - 16)
    tone = SEASONS[scene.season]["grass"]
    pen.box(0, horizon - 4, WIDTH, HEIGHT - horizon + 4, tone)
    _grass(
        pen, scene.random, [(0, horizon + 60), (WIDTH, horizon + 60)], scene.season, 240
    )
    land = scene.land
    for side in (-1, 1):
        for _ in range(5):
            x = WIDTH / 2 + side * land.uniform(380, 820)
            _tree(
                pen,
                land,
                x,
                horizon + land.uniform(20, 90),
                land.uniform(160, 320),
                scene.season,
            )
    span = scene.spans[0]
    wide = (span.trusses_apart_ft or 16) / 2
    road = (span.roadway_ft or 14) / 2
    length = sum(one.length_ft or 50 for one in scene.spans)
    water = [
        camera.see(3, -9, -60),
        camera.see(3, -9, 60),
        camera.see(length - 3, -9, 60),
        camera.see(length - 3, -9, -60),
    ]
    if not scene.is_gone("span-1/deck"):
        pen.area(water, WATER)
    _approach(pen, scene, camera, road)
    if scene.is_gone("span-1/deck"):
        return
    _deck_surface(pen, scene, camera, road, length)
    at = length
    for one in reversed(scene.spans):
        at -= one.length_ft or 50
        _frames_along(pen, scene, camera, one, wide, at)


def _approach(pen, scene, camera, road):
    quad = [
        camera.see(-camera.back + 1.2, -0.1, -road),
        camera.see(-camera.back + 1.2, -0.1, road),
    ]
    quad += [camera.see(0, 0, road), camera.see(0, 0, -road)]
    pen.area(quad, "#D9CFB8", mixed("#D9CFB8", INK, 0.4), 1.4)
    for rut in (-2.6, 2.6):
        points = [camera.see(-camera.back + 1.2, -0.1, rut), camera.see(0, 0, rut)]
        pen.line(points, "#BBAE90", 9)


def _deck_surface(pen, scene, camera, road, length):
    layers = scene.of("span-1/deck").get("layers") or [{"material": "timber"}]
    top = layers[-1]["material"]
    tone = {
        "timber": TIMBER,
        "concrete": CONCRETE,
        "asphalt": ASPHALT,
        "steel-grid": "#A9AFAE",
        "gravel": "#C3B798",
        "earth": "#B39C74",
    }.get(top, CONCRETE)
    quad = [
        camera.see(-0.5, 0, -road),
        camera.see(-0.5, 0, road),
        camera.see(length, 0, road),
        camera.see(length, 0, -road),
    ]
    pen.area(quad, tone, INK, 1.5)
    if top == "timber":
        x, rng = -0.5, scene.land
        while x < length:
            shade = mixed(
                tone, rng.choice((TIMBER_DARK, "#FFFFFF")), rng.uniform(0, 0.22)
            )
            step = 0.75 if x < 30 else 2.5
            pen.area(
                [
                    camera.see(x, 0, -road),
                    camera.see(x, 0, road),
                    camera.see(x + step, 0, road),
                    camera.see(x + step, 0, -road),
                ],
                shade,
            )
            pen.line([camera.see(x, 0, -road), camera.see(x, 0, road)], TIMBER_DARK, 1)
            x += step
    elif top == "steel-grid":
        for i in range(int(road * 4) + 1):
            z = -road + i * 0.5
            pen.line([camera.see(-0.5, 0, z), camera.see(length, 0, z)], IRON, 0.9)
        x = -0.5
        while x < min(length, 60):
            pen.line([camera.see(x, 0, -road), camera.see(x, 0, road)], IRON, 0.8)
            x += 0.5 if x < 12 else 1.5
    else:
        rng = scene.random
        for _ in range(140):
            x, z = rng.uniform(0, length) ** 0.9, rng.uniform(-road, road)
            pen.dot(
                *camera.see(x, 0, z),
                rng.uniform(0.8, 2),
                mixed(tone, rng.choice((INK, "#FFFFFF")), 0.3),
            )
    for side in (-1, 1):
        z = side * (road - 0.4)
        pen.bar(
            camera.see(0, 0.5, z), camera.see(length, 0.5, z), 5, TIMBER, TIMBER_DARK, 1
        )


def _frames_along(pen, scene, camera, span, wide, start):
    joints, members = outline_of(span)
    number = f"span-{span.number}"
    if span.form in SPECIAL or span.deck_position == "deck" or not joints:
        for side in (-1, 1):
            _rail_along(pen, camera, side * wide, start, span.length_ft or 50)
        return
    lines = list(span.truss_lines.all())
    order = sorted(members, key=lambda one: -min(joints[one[1]][0], joints[one[2]][0]))
    through = span.deck_position == "through"
    timber = span.material == "timber"
    tops = [place for name, place in joints.items() if name.startswith("U")]
    for x, y in sorted(tops, reverse=True) if through else ():
        ends = (camera.see(start + x, y, -wide), camera.see(start + x, y, wide))
        pen.bar(*ends, camera.thickness(start + x, 0.5), IRON_LIGHT, IRON, 1.3)
        low = (
            camera.see(start + x, y - 2.2, -wide),
            camera.see(start + x, y - 2.2, wide),
        )
        pen.line(low, IRON, camera.thickness(start + x, 0.12))
    for side, line in zip(
        (-1, 1), [lines[0], lines[-1]] if lines else (None, None), strict=True
    ):
        for name, a, b, role in order:
            path = f"{number}/{line.key if line else ''}/{name}"
            if scene.is_gone(path):
                continue
            (ax, ay), (bx, by) = joints[a], joints[b]
            z = side * wide
            near = min(ax, bx) + start
            ends = camera.see(start + ax, ay, z), camera.see(start + bx, by, z)
            if role in COMPRESSED:
                thick = camera.thickness(near, {"vertical": 0.45}.get(role, 0.8))
                fill, edge = (TIMBER, TIMBER_DARK) if timber else (IRON_LIGHT, IRON)
                pen.bar(*ends, max(3, thick), fill, edge, 1.4)
            else:
                pen.line(ends, IRON, max(1.3, camera.thickness(near, 0.12)))
        path = f"{number}/railing-{line.key}" if line else f"{number}/railing"
        if not scene.is_gone(path):
            _rail_along(pen, camera, side * (wide - 0.7), start, span.length_ft or 50)
    if through and start == 0:
        _portal_frame(pen, scene, camera, joints, wide)


def _rail_along(pen, camera, z, start, length):
    for height in (1.6, 4.2):
        ends = [camera.see(start, height, z), camera.see(start + length, height, z)]
        pen.line(ends, PENCIL, 3)


def _portal_frame(pen, scene, camera, joints, wide):
    """The lattice between the first end posts, with the plate where there is one."""
    hips = [place for name, place in joints.items() if name.startswith("U")]
    x, y = min(hips)
    deep = min(3.2, y * 0.18)
    quad = [
        camera.see(x, y, -wide),
        camera.see(x, y, wide),
        camera.see(x, y - deep, wide),
        camera.see(x, y - deep, -wide),
    ]
    pen.line(quad, IRON, 4, closed=True)
    steps = 12
    for i in range(steps):
        a, b = (-wide + 2 * wide * k / steps for k in (i, i + 1))
        pen.line([camera.see(x, y, a), camera.see(x, y - deep, b)], IRON, 2.2)
        pen.line([camera.see(x, y - deep, a), camera.see(x, y, b)], IRON, 2.2)
    for side in (-1, 1):
        knee = [
            camera.see(x, y - deep, side * (wide - 3.4)),
            camera.see(x * 0.8, y * 0.8 - deep * 0.6, side * wide),
        ]
        pen.line(knee, IRON, 4)
    plates = [
        one
        for one in scene.document.get("plates", [])
        if "portal" in one["location"] and not scene.is_gone(f"plate/{one['key']}")
    ]
    if plates and scene.state.get(f"plate/{plates[0]['key']}"):
        cx, cy = camera.see(x, y + 0.6, 0)
        pen.oval(
            cx,
            cy,
            camera.thickness(x, 2.1),
            camera.thickness(x, 0.9),
            "#55605F",
            INK,
            2,
        )
        for row in (-1, 0, 1):
            half = camera.thickness(x, 1.3)
            pen.line(
                [
                    (cx - half, cy + row * half * 0.3),
                    (cx + half, cy + row * half * 0.3),
                ],
                IRON_LIGHT,
                1.6,
            )


# -- near to: a member, a plate, a sign ---------------------------------------------------------


def detail(pen, scene):
    """A member and its neighbours, a few feet of them, in their true sizes."""
    path = scene.facts["element"].replace("both/", "upstream/")
    if not path.startswith("span-"):
        path = f"span-1/{path}"
    _, key, name = path.split("/")[-3:]
    number = path.split("/")[0]
    span = scene.spans[int(number.removeprefix("span-")) - 1]
    joints, members = outline_of(span)
    found = next((one for one in members if one[0] == name), None)
    _ground(pen, scene)
    if found is None:
        return
    (ax, ay), (bx, by) = joints[found[1]], joints[found[2]]
    length = math.dist((ax, ay), (bx, by))
    built = bool(scene.of(f"{number}/{key}/{name}").get("built_up"))
    scale = WIDTH / (10.0 if built else 7.0)
    share = 0.5 if found[3] == "counter" else min(0.5, 2.4 / length)
    cx, cy = ax + (bx - ax) * share, ay + (by - ay) * share
    frame = Frame(WIDTH / 2 - cx * scale, HEIGHT / 2 + cy * scale - 20, scale)
    for one in sorted(members, key=lambda m: (m[0] == name, m[3] in COMPRESSED)):
        spot = f"{number}/{key}/{one[0]}"
        ends = frame.at(*joints[one[1]]), frame.at(*joints[one[2]])
        if scene.is_gone(spot):
            if one[0] == name:
                _stubs(pen, *ends)
            continue
        _true_bar(pen, scene, ends, one[3], scene.of(spot), scale, one[0] == name)
    for place in joints.values():
        x, y = frame.at(*place)
        if -60 < x < WIDTH + 60 and -60 < y < HEIGHT + 60:
            pen.dot(x, y, 0.26 * scale, IRON_LIGHT, IRON, 2.6)
            sides = [
                (
                    x + 0.15 * scale * math.cos(k * math.pi / 3),
                    y + 0.15 * scale * math.sin(k * math.pi / 3),
                )
                for k in range(6)
            ]
            pen.area(sides, "#A7ABA5", IRON, 2)


def _ground(pen, scene):
    """A soft background for what is near: foliage out of focus."""
    rng, tones = scene.random, SEASONS[scene.season]
    pen.box(0, 0, WIDTH, HEIGHT, mixed(tones["sky"], PAPER, 0.3))
    leaves = LEAVES[scene.season] or (tones["far"],)
    for _ in range(90):
        x, y = rng.uniform(0, WIDTH), HEIGHT * (0.35 + 0.65 * rng.random() ** 0.6)
        pen.dot(x, y, rng.uniform(40, 150), mixed(rng.choice(leaves), PAPER, 0.55))
    pen.box(0, HEIGHT * 0.86, WIDTH, HEIGHT * 0.14, mixed(WATER, PAPER, 0.3))
    small = pen.image.resize((WIDTH // 8, HEIGHT // 8)).filter(
        ImageFilter.GaussianBlur(5)
    )
    pen.image.paste(small.resize(pen.image.size, Image.Resampling.BICUBIC))


def _true_bar(pen, scene, ends, role, state, scale, chosen):
    start, end = ends
    pieces = state.get("components") or [{"shape": "round-rod", "diameter_in": 1}]
    inch = scale / 12
    flags = state.get("flags", ())
    tone = "#B8BBB3" if chosen else "#CBCCC4"
    if role in COMPRESSED and state.get("built_up"):
        deep = (pieces[0].get("depth_in") or 6) * inch
        pen.bar(start, end, deep, tone, IRON, 2.4)
        if role == "vertical" or not state["built_up"].get("cover_plate"):
            _lacing(pen, start, end, deep * 0.86)
        else:
            _rivets(pen, start, end, deep * 0.78)
        for piece in pieces[1:]:
            pen.bar(
                start,
                end,
                (piece.get("width_in") or 4) * inch * 0.9,
                mixed(tone, BRASS, 0.2),
                IRON,
                1.8,
            )
            _rivets(pen, start, end, (piece.get("width_in") or 4) * inch * 0.5)
    else:
        width = max(_breadth(piece) for piece in pieces) * inch
        if "bent" in flags:
            _bowed(pen, start, end, max(5, width))
        else:
            fresh = pieces[0].get("origin") == "replacement"
            pen.bar(
                start,
                end,
                max(5, width),
                mixed(tone, "#FFFFFF", 0.4) if fresh else tone,
                IRON,
                2.2,
            )
        if role == "counter":
            _turnbuckle(pen, start, end, scale * 0.42, share=0.46)
        if pieces[0]["shape"] == "eyebar":
            for x, y in ends:
                pen.dot(x, y, width * 1.2, tone, IRON, 2.2)
    if chosen and ("section-lost" in flags or state.get("loss_fraction")):
        _rust(pen, scene.random, start, end, _breadth(pieces[0]) * inch)


def _breadth(piece):
    names = ("width_in", "diameter_in", "side_in", "leg_in", "depth_in")
    return next((piece[name] for name in names if piece.get(name)), 2.0)


def _rivets(pen, start, end, across):
    length = math.dist(start, end)
    ox, oy = -(end[1] - start[1]) / length, (end[0] - start[0]) / length
    count = int(length / 34)
    for i in range(count + 1):
        share = i / max(count, 1)
        x = start[0] + (end[0] - start[0]) * share
        y = start[1] + (end[1] - start[1]) * share
        for side in (-1, 1):
            px, py = x + side * ox * across / 2, y + side * oy * across / 2
            if 0 <= px <= WIDTH and 0 <= py <= HEIGHT:
                pen.dot(px, py, 4.2, "#DCDDD6", IRON, 1.2)


def _rust(pen, rng, start, end, width):
    for _ in range(70):
        share = rng.gauss(0.16, 0.05)
        x = start[0] + (end[0] - start[0]) * share + rng.gauss(0, 2)
        y = start[1] + (end[1] - start[1]) * share + width * rng.uniform(0.1, 0.55)
        pen.dot(
            x,
            y,
            rng.uniform(2, 8),
            mixed(RUST, rng.choice((INK, BRASS)), rng.uniform(0, 0.4)),
        )


def _stubs(pen, start, end):
    """Where a bar was: its two cut ends and a ghost between."""
    for share in range(0, 100, 6):
        a, b = share / 100, (share + 3) / 100
        points = [
            (start[0] + (end[0] - start[0]) * k, start[1] + (end[1] - start[1]) * k)
            for k in (a, b)
        ]
        pen.line(points, mixed(RUST, PAPER, 0.35), 3)
    for a, b in ((0, 0.09), (1, 0.91)):
        points = [
            (start[0] + (end[0] - start[0]) * k, start[1] + (end[1] - start[1]) * k)
            for k in (a, b)
        ]
        pen.bar(*points, 9, "#B8BBB3", IRON, 2)


def plate(pen, scene):
    """A cast plate square on, letter by letter, or the holes it left."""
    key = scene.facts["element"].removeprefix("plate/")
    record = next(one for one in scene.document["plates"] if one["key"] == key)
    rng = scene.random
    pen.box(0, 0, WIDTH, HEIGHT, "#8C9390")
    for _ in range(260):
        x, y = rng.uniform(0, WIDTH), rng.uniform(0, HEIGHT)
        shade = rng.choice((INK, "#FFFFFF", RUST))
        pen.dot(
            x, y, rng.uniform(2, 26), mixed("#8C9390", shade, rng.uniform(0.02, 0.09))
        )
    for y in (70, HEIGHT - 150):
        for i in range(22):
            pen.dot(40 + i * 76, y, 13, "#9EA5A1", "#4E5656", 2)
    cx, cy = WIDTH / 2, HEIGHT / 2 - 30
    lines = record["transcription"].split("\n")
    if scene.is_gone(f"plate/{key}"):
        pen.box(cx - 430, cy - 230, 860, 460, mixed("#8C9390", "#D8CFBD", 0.45))
        for dx, dy in ((-390, -190), (390, -190), (-390, 190), (390, 190)):
            pen.dot(cx + dx, cy + dy, 15, "#23292B", "#5A4635", 4)
        return
    oval = "oval" in record["location"]
    for inset, tone, edge in ((0, "#5A6362", INK), (22, "#646E6C", "#3D4646")):
        if oval:
            pen.oval(cx, cy, 560 - inset, 300 - inset, tone, edge, 4)
        else:
            pen.box(
                cx - 520 + inset,
                cy - 270 + inset,
                1040 - 2 * inset,
                540 - 2 * inset,
                tone,
                edge,
                4,
            )
    size = min(92, 400 / len(lines))
    top = cy - (len(lines) - 1) * size * 0.6
    for i, words in enumerate(lines):
        longest = max(len(one) for one in lines)
        own = min(size, 900 / max(longest, 8) * 1.55)
        y = top + i * size * 1.2
        pen.text(cx + 3, y + 4, words, own, "#2E3637", "mm", "serif", 700)
        pen.text(cx, y, words, own, "#D9DAD2", "mm", "serif", 700)
    reach = 500 if oval else 475
    for dx, dy in (
        ((-reach, 0), (reach, 0))
        if oval
        else ((-reach, -225), (reach, -225), (-reach, 225), (reach, 225))
    ):
        pen.dot(cx + dx, cy + dy, 17, "#8B928E", INK, 3)


def sign(pen, scene):
    """The posted limit beside the road, with its wording."""
    _sky(pen, scene, 620)
    _hills(pen, scene, 560)
    tone = SEASONS[scene.season]["grass"]
    pen.box(0, 600, WIDTH, HEIGHT - 600, tone)
    pen.area(
        [(700, 600), (820, 600), (1500, HEIGHT), (240, HEIGHT)],
        "#D9CFB8",
        mixed("#D9CFB8", INK, 0.4),
    )
    _grass(pen, scene.random, [(0, 620), (WIDTH, 620)], scene.season, 260)
    for x, tall in ((120, 300), (1480, 340), (1330, 220)):
        _tree(pen, scene.land, x, 690, tall, scene.season)
    pen.bar((500, 940), (500, 300), 20, "#8B8F8C", INK, 2)
    if scene.is_gone("limit"):
        return
    state = scene.of("limit")
    words = (state.get("wording") or f"LIMIT {state.get('tons', 0):g} TONS").split()
    rows = [words[i : i + 2] for i in range(0, len(words), 2)]
    pen.box(290, 180, 420, 96 * len(rows) + 70, "#F4F2EA", INK, 5)
    for i, row in enumerate(rows):
        pen.text(500, 262 + 96 * i, " ".join(row), 66, INK, "mm", "sans", 700)


# -- paper: sheets and pages ----------------------------------------------------------------------


def sheet(pen, scene):
    """A maker's drawing: elevation in fine line, dimensions, a title block."""
    rng, ground = scene.random, "#EFE8D6"
    pen.box(0, 0, WIDTH, HEIGHT, ground)
    for _ in range(26):
        x, y = rng.uniform(0, WIDTH), rng.uniform(0, HEIGHT)
        pen.dot(x, y, rng.uniform(8, 60), mixed(ground, BRASS, rng.uniform(0.02, 0.07)))
    pen.line(
        [(60, 60), (WIDTH - 60, 60), (WIDTH - 60, HEIGHT - 120), (60, HEIGHT - 120)],
        INK,
        2.4,
        closed=True,
    )
    span = scene.spans[0]
    joints, members = outline_of(span)
    length = span.length_ft or 60
    scale = min(1300 / length, 330 / max(y for _, y in joints.values()))
    frame = Frame((WIDTH - length * scale) / 2, 560, scale)
    for _name, a, b, role in members:
        ends = frame.at(*joints[a]), frame.at(*joints[b])
        if role in COMPRESSED:
            pen.bar(*ends, 8, ground, INK, 1.4)
        else:
            pen.line(ends, INK, 1.5)
    for joint, place in joints.items():
        x, y = frame.at(*place)
        pen.dot(x, y, 5, ground, INK, 1.5)
        below = not joint.startswith("U")
        pen.text(x, y + (22 if below else -20), joint, 19, INK, "mm", "italic")
    x0, x1 = frame.at(0, 0)[0], frame.at(length, 0)[0]
    pen.line([(x0, 640), (x1, 640)], INK, 1.2)
    for x in (x0, x1):
        pen.line([(x, 600), (x, 650)], INK, 1.2)
        pen.line([(x - 7, 647), (x + 7, 633)], INK, 1.6)
    pen.text(
        (x0 + x1) / 2,
        626,
        f"{length:g} ft centre to centre of end pins",
        22,
        INK,
        "mm",
        "italic",
    )
    _sizes(pen, scene, span)
    bridge = scene.document["bridge"]
    pen.box(980, 730, 520, 190, mixed(ground, "#FFFFFF", 0.4), INK, 2)
    rows = (
        bridge["name"].upper(),
        f"over {bridge['crossing']}",
        f"{span.get_form_display()}, {span.panels} panels",
        display(scene.date),
    )
    for i, words in enumerate(rows):
        pen.text(
            1240,
            766 + i * 42,
            words,
            30 if i == 0 else 23,
            INK,
            "mm",
            "serif" if i == 0 else "italic",
            600 if i == 0 else 400,
        )


def _sizes(pen, scene, span):
    """A table of what the record holds, one row a role."""
    rows = {}
    for path, element in scene.elements.items():
        state = scene.state.get(path)
        if (
            element.member
            and state
            and element.role not in rows
            and element.span_id == span.pk
        ):
            rows[element.role] = "; ".join(
                describe_component(piece) for piece in state.get("components", [])[:2]
            )
    for i, (role, words) in enumerate(list(rows.items())[:6]):
        y = 742 + i * 34
        pen.text(
            130, y, role.replace("-", " ").capitalize(), 22, INK, "lm", "sans", 600
        )
        pen.text(310, y, words, 22, INK, "lm", "italic")


def page(pen, scene):
    """A card or a page of a record book, as typed."""
    rng, ground = scene.random, "#EDE4CC"
    pen.box(0, 0, WIDTH, HEIGHT, "#C9C1AF")
    pen.box(150, 60, WIDTH - 300, HEIGHT - 210, ground, mixed(ground, INK, 0.4), 2)
    for i in range(14):
        y = 210 + i * 50
        pen.line([(190, y), (WIDTH - 190, y)], mixed(ground, RIVER, 0.25), 1)
    bridge = scene.document["bridge"]
    pen.text(200, 130, bridge["name"], 44, INK, "lm", "serif", 600)
    pen.text(WIDTH - 200, 130, bridge["number"], 34, RUST, "rm", "sans", 600)
    rows = [
        ("Crosses", bridge["crossing"]),
        ("Road", bridge["road"]),
        ("Date of entry", display(scene.date)),
    ]
    for tail, label in (
        ("span-1/deck", "Floor"),
        ("limit", "Limit"),
        ("abutment/near", "Abutments"),
    ):
        state = scene.of(tail)
        words = (
            state.get("wording")
            or state.get("description")
            or ", ".join(
                f"{one.get('thickness_in', '')} in {one['material']}"
                for one in state.get("layers", [])
            )
        )
        if words:
            rows.append((label, words))
    for i, (label, words) in enumerate(rows):
        y = 194 + i * 50
        pen.text(
            200 + rng.uniform(-1, 1), y, label.upper(), 22, PENCIL, "lm", "sans", 600
        )
        pen.text(430 + rng.uniform(-2, 2), y, words, 28, INK, "lm", "italic")


VIEWS = {
    "elevation": elevation,
    "elevation-downstream": lambda pen, scene: elevation(pen, scene, mirror=True),
    "portal": portal,
    "deck": deck,
    "detail": detail,
    "plate": plate,
    "sign": sign,
    "sheet": sheet,
    "page": page,
}


# -- age and frame ----------------------------------------------------------------------------------


def _grained(image, scene, strength):
    noise = np.random.default_rng(scene.random.getrandbits(32))
    grain = noise.normal(0, strength, (HEIGHT // 2, WIDTH // 2)).astype(np.float32)
    grain = np.kron(grain, np.ones((2, 2), dtype=np.float32))
    pixels = np.asarray(image, dtype=np.int16)[: grain.shape[0], : grain.shape[1]]
    out = np.asarray(image).copy()
    out[: grain.shape[0], : grain.shape[1]] = np.clip(pixels + grain[..., None], 0, 255)
    return Image.fromarray(out)


def _postcard(image, scene):
    """Sepia with a pale border and the title lettered in the sky."""
    toned = ImageOps.colorize(
        ImageOps.autocontrast(image.convert("L"), cutoff=1),
        "#33241A",
        "#F1E3C6",
        mid="#A58A66",
    )
    toned = _vignette(_grained(toned, scene, 7), 0.28)
    pen = ImageDraw.Draw(toned)
    title = scene.facts["caption"].removeprefix("Postcard: ")
    pen.text((84, 88), title, fill="#5A2E1C", font=font_of("italic", 42), anchor="lm")
    pen.rectangle(
        [MARGIN, MARGIN, WIDTH - MARGIN, HEIGHT - STRIP], outline="#F3EAD4", width=20
    )
    return toned


def _old_print(image, scene):
    toned = ImageOps.colorize(
        ImageOps.autocontrast(image.convert("L"), cutoff=1),
        "#22211F",
        "#EFEBE1",
        mid="#8E8A82",
    )
    return _vignette(
        _grained(toned.filter(ImageFilter.GaussianBlur(0.8)), scene, 9), 0.35
    )


def _vignette(image, depth):
    y, x = np.mgrid[-1 : 1 : HEIGHT * 1j, -1 : 1 : WIDTH * 1j]
    fall = 1 - depth * np.clip(x**2 * 0.6 + y**2 * 0.6 - 0.25, 0, 1)
    return Image.fromarray((np.asarray(image) * fall[..., None]).astype(np.uint8))


AGED = {"postcard": _postcard, "old": _old_print}


def _framed(image, scene):
    """The paper round it, the caption below, and the word that says what it is."""
    pen = ImageDraw.Draw(image)
    pen.rectangle([0, HEIGHT - STRIP, WIDTH, HEIGHT], fill=PAPER)
    pen.rectangle([0, 0, WIDTH, MARGIN], fill=PAPER)
    pen.rectangle([0, 0, MARGIN, HEIGHT], fill=PAPER)
    pen.rectangle([WIDTH - MARGIN, 0, WIDTH, HEIGHT], fill=PAPER)
    pen.rectangle(
        [MARGIN, MARGIN, WIDTH - MARGIN, HEIGHT - STRIP], outline=INK, width=2
    )
    bridge, line = scene.document["bridge"]["name"], HEIGHT - STRIP / 2
    words = f"{bridge}: {scene.facts['caption'].removeprefix('Postcard: ')}"
    pen.text((MARGIN, line), words, fill=INK, font=font_of("italic", 29), anchor="lm")
    label = font_of("sans", 25, 600)
    pen.text((WIDTH - MARGIN, line), "Drawing", fill=RUST, font=label, anchor="rm")
