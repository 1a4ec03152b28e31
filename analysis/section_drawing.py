"""Cross-sections of members to scale, from their recorded pieces.

What arrangement is recorded is drawn as such: two channels with their flanges in or out
and the plates on them. Pieces whose arrangement is not recorded are drawn side by side,
and the drawing says so. Fillets, rivets and the slope of flanges are left out.
"""

from __future__ import annotations

from django.utils.html import escape
from django.utils.safestring import mark_safe

from bridges.drawing import PRINT, Pen

from .engine import sections

HEIGHT_PX, MARGIN_PX = 110, 16
GAP_IN = 1.0
LEAST_PX = 1.2


def section(state, title, name, palette=PRINT):
    """Draw the section of one member; the empty string where no size is recorded.

    ``state`` holds ``components`` and, where pieces are joined, ``built_up``.
    """
    shapes = _shapes(state)
    if not shapes:
        return ""
    xs = [x for shape in shapes for x, _ in shape.points]
    ys = [y for shape in shapes for _, y in shape.points]
    wide, high = max(xs) - min(xs), max(ys) - min(ys)
    per_in = min(HEIGHT_PX / max(high, 0.1), 2.4 * HEIGHT_PX / max(wide, 0.1), 16.0)
    pen = Pen(palette)
    width = wide * per_in + 2 * MARGIN_PX
    height = high * per_in + 2 * MARGIN_PX
    parts = []
    for shape in shapes:
        where = [
            (
                MARGIN_PX + (x - min(xs)) * per_in,
                MARGIN_PX + (max(ys) - y) * per_in,
            )
            for x, y in shape.points
        ]
        colour = "rust" if shape.is_added else "ink"
        drawn = pen.shape("rule" if not shape.is_added else "ground", colour, LEAST_PX)
        if shape.is_round:
            (x1, y1), (x2, _) = where
            parts.append(
                f'<circle cx="{(x1 + x2) / 2:.1f}" cy="{y1:.1f}" '
                f'r="{(x2 - x1) / 2:.1f}" {drawn}/>'
            )
        else:
            d = "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in where) + "Z"
            parts.append(f'<path d="{d}" {drawn}/>')
    size = f'viewBox="0 0 {width:.0f} {height:.0f}"'
    if palette is not None:
        size += f' width="{width:.0f}" height="{height:.0f}"'
    return mark_safe(
        f'<svg xmlns="http://www.w3.org/2000/svg" {size} role="img" '
        f'aria-labelledby="{escape(name)}-title">'
        f'<title id="{escape(name)}-title">{escape(title)}</title>'
        f"{''.join(parts)}</svg>"
    )


class _Shape:
    """A closed outline in inches, x to the right and y upwards."""

    def __init__(self, points, is_added=False, is_round=False):
        self.points, self.is_added, self.is_round = points, is_added, is_round


def _rectangle(x, y, wide, high, is_added=False):
    return _Shape(
        [(x, y), (x + wide, y), (x + wide, y + high), (x, y + high)], is_added
    )


def is_arranged(state):
    """Whether the record says how the pieces stand to each other."""
    built = state.get("built_up") or {}
    return bool(built.get("webs_apart_in"))


def _shapes(state):
    pieces = [one for one in state.get("components", []) if _has_size(one)]
    pair = next(
        (one for one in pieces if one["shape"] == "channel" and one["count"] == 2), None
    )
    shapes, right = [], 0.0
    if pair is not None and is_arranged(state):
        shapes = _channels(pair, state["built_up"])
        right = max(x for shape in shapes for x, _ in shape.points) + GAP_IN
        pieces = [one for one in pieces if one is not pair]
    for piece in pieces:
        for _ in range(int(piece.get("count", 1))):
            made = _one(piece, right)
            shapes += made
            right = max(x for shape in made for x, _ in shape.points) + GAP_IN
    return shapes


def _has_size(piece):
    try:
        return bool(_one(piece, 0.0))
    except (KeyError, TypeError, ValueError):
        return False


def _channels(piece, built):
    """Two channels back to back or toe to toe, the plates on them."""
    rolled = _rolled(piece)
    apart = built["webs_apart_in"]
    is_out = built.get("flanges", "out") == "out"
    left = _channel(rolled, -apart / 2, -1 if is_out else 1)
    right = _channel(rolled, apart / 2, 1 if is_out else -1)
    shapes = [left, right]
    cover = built.get("cover_plate") or {}
    if cover.get("width_in") and cover.get("thickness_in"):
        wide, thick = cover["width_in"], cover["thickness_in"]
        shapes.append(_rectangle(-wide / 2, rolled.depth_in, wide, thick))
    bottom = built.get("bottom_plate") or {}
    if bottom.get("width_in") and bottom.get("thickness_in"):
        wide, thick = bottom["width_in"], bottom["thickness_in"]
        shapes.append(_rectangle(-wide / 2, -thick, wide, thick))
    return shapes


def _rolled(piece):
    return sections.rolled_shape(piece["shape"], piece["depth_in"], piece["weight_plf"])


def _channel(rolled, back, way):
    """A channel whose back stands at ``back`` and whose toes point ``way``."""
    deep, web = rolled.depth_in, rolled.web_thickness_in
    flange, wide = rolled.flange_thickness_in, rolled.flange_width_in
    points = [
        (0, 0),
        (wide, 0),
        (wide, flange),
        (web, flange),
        (web, deep - flange),
        (wide, deep - flange),
        (wide, deep),
        (0, deep),
    ]
    return _Shape([(back + way * x, y) for x, y in points])


def _one(piece, x):
    """Return the outline of one piece with its left edge at ``x``."""
    shape, is_added = piece["shape"], piece.get("origin") == "addition"
    if shape == "round-rod":
        radius = piece["diameter_in"] / 2
        where = [(x, radius), (x + 2 * radius, radius)]
        return [_Shape(where, is_added, is_round=True)]
    if shape == "square-rod":
        return [_rectangle(x, 0, piece["side_in"], piece["side_in"], is_added)]
    if shape in ("eyebar", "flat-bar", "plate"):
        wide, thick = piece["width_in"], piece["thickness_in"]
        return [_rectangle(x, 0, thick, wide, is_added)]
    if shape == "timber":
        return [_rectangle(x, 0, piece["width_in"], piece["depth_in"], is_added)]
    if shape == "angle":
        leg, thick = piece["leg_in"], piece["thickness_in"]
        other = piece.get("other_leg_in") or leg
        points = [
            (0, 0),
            (other, 0),
            (other, thick),
            (thick, thick),
            (thick, leg),
            (0, leg),
        ]
        return [_Shape([(x + a, b) for a, b in points], is_added)]
    if shape == "channel":
        return [_channel(_rolled(piece), x, 1)]
    if shape == "i-beam":
        rolled = _rolled(piece)
        deep, wide = rolled.depth_in, rolled.flange_width_in
        web, flange = rolled.web_thickness_in, rolled.flange_thickness_in
        a, b = (wide - web) / 2, (wide + web) / 2
        points = [
            (0, 0),
            (wide, 0),
            (wide, flange),
            (b, flange),
            (b, deep - flange),
            (wide, deep - flange),
            (wide, deep),
            (0, deep),
            (0, deep - flange),
            (a, deep - flange),
            (a, flange),
            (0, flange),
        ]
        return [_Shape([(x + u, v) for u, v in points], is_added)]
    return []
