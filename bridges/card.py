"""A bridge's card as a picture: its name, what it is, its address and the code of it."""

import io
from functools import lru_cache

import fontpkg_source_sans_3
import fontpkg_source_serif_4
import segno
from PIL import Image, ImageDraw, ImageFont

from shared.dates import display

from .drawing import LIGHT

WIDTH_PX, HEIGHT_PX, SIDE_PX = 1200, 630, 64
PAPER = "#F7F4ED"
WEIGHT = 450


@lru_cache(16)
def _font(package, size_px):
    module = {"serif": fontpkg_source_serif_4, "sans": fontpkg_source_sans_3}[package]
    upright = sorted(
        path for path in module.ROOT.rglob("*.ttf") if "Italic" not in path.name
    )
    font = ImageFont.truetype(str(upright[0]), size_px)
    # A variable font begins at its thinnest; only the weight is asked for.
    axes = font.get_variation_axes()
    font.set_variation_by_axes(
        [WEIGHT if "eight" in str(axis["name"]) else axis["default"] for axis in axes]
    )
    return font


def draw(bridge, address):
    """Return the card as the bytes of a PNG."""
    picture = Image.new("RGB", (WIDTH_PX, HEIGHT_PX), PAPER)
    pen = ImageDraw.Draw(picture)
    code = _code(address, 260)
    room = WIDTH_PX - 3 * SIDE_PX - code.width
    picture.paste(code, (WIDTH_PX - SIDE_PX - code.width, SIDE_PX))
    y = SIDE_PX
    for line in _lines(pen, bridge.name, _font("serif", 68), room)[:3]:
        pen.text((SIDE_PX, y), line, fill=LIGHT.ink, font=_font("serif", 68))
        y += 80
    y += 16
    for words in _words(bridge):
        for line in _lines(pen, words, _font("sans", 36), room)[:2]:
            pen.text((SIDE_PX, y), line, fill=LIGHT.pencil, font=_font("sans", 36))
            y += 48
    foot = HEIGHT_PX - SIDE_PX - 40
    pen.line(
        (SIDE_PX, foot - 24, WIDTH_PX - SIDE_PX, foot - 24), fill=LIGHT.rule, width=2
    )
    size = 36
    while size > 18 and pen.textlength(address, _font("sans", size)) > (
        WIDTH_PX - 2 * SIDE_PX
    ):
        size -= 2
    pen.text((SIDE_PX, foot), address, fill=LIGHT.river, font=_font("sans", size))
    out = io.BytesIO()
    picture.save(out, "PNG", optimize=True)
    return out.getvalue()


def _words(bridge):
    standing = getattr(bridge, "standing", None)
    form = standing.get_form_display() if standing else "Form not known"
    built = display(bridge.built)
    return [
        f"{form}, {f'built {built}' if bridge.built else built}",
        ", ".join(part for part in (bridge.town, f"{bridge.county} County") if part),
        bridge.get_status_display(),
        bridge.number,
    ]


def _code(address, most_px):
    out = io.BytesIO()
    made = segno.make(address, error="m", micro=False)
    scale = max(most_px // made.symbol_size(border=4)[0], 1)
    made.save(out, kind="png", border=4, scale=scale)
    out.seek(0)
    return Image.open(out).convert("RGB")


def _lines(pen, text, font, room_px):
    """Break a text into lines no wider than the room, cutting a word that is."""
    lines, line = [], ""
    for word in text.split():
        longer = f"{line} {word}".strip()
        if line and pen.textlength(longer, font) > room_px:
            lines.append(line)
            line = word
        else:
            line = longer
        while pen.textlength(line, font) > room_px and len(line) > 1:
            line = f"{line[:-2]}…"
    return [*lines, line] if line else lines
