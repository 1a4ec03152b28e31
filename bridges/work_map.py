"""A small map of a builder's work, what stands and what is lost, drawn on the server.

The big map asks for scripts and shows the bridges of any view; this one is on the
builder's page without them, and beside it stands the list of the same bridges.
"""

from __future__ import annotations

import math

from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe

from . import basemap
from .drawing import GROUNDS, OUTLINES, Pen, shape_of

WIDTH_PX, HEIGHT_PX, MARGIN_PX, MARK_PX = 640, 400, 36, 26
# However near its bridges lie to one another, so many degrees are shown.
LEAST_DEGREES = 0.15
RULED = {
    "county": ("rule", 1.0, ' stroke-dasharray="9 4 2 4"'),
    "creek": ("river", 1.2, ""),
    "river": ("river", 2.4, ""),
    "road": ("rule", 1.4, ""),
}


def draw(bridges, title: str) -> SafeString:
    """Draw bridges, positions as the person may see them; "" where there are none."""
    places = [(one, float(one.longitude), float(one.latitude)) for one in bridges]
    if not places:
        return mark_safe("")
    frame = _Frame([(x, y) for _, x, y in places])
    pen = Pen()
    body = [_ground(frame, pen)]
    # What is lost lies under what stands.
    places.sort(key=lambda place: (shape_of(place[0].status) != "lost", place[0].pk))
    for bridge, longitude, latitude in places:
        body.append(_mark(bridge, *frame.at(longitude, latitude), pen))
    return mark_safe(
        f'<svg xmlns="http://www.w3.org/2000/svg" class="work-map" role="group" '
        f'viewBox="0 0 {WIDTH_PX} {HEIGHT_PX}" width="{WIDTH_PX}" '
        f'height="{HEIGHT_PX}" aria-labelledby="work-map-title">'
        f'<title id="work-map-title">{escape(title)}</title>{"".join(body)}</svg>'
    )


class _Frame:
    """The piece of the world that is drawn, and where its places fall on the sheet."""

    def __init__(self, places):
        xs, ys = zip(*places, strict=True)
        self.middle = (min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2
        # A degree of longitude is shorter the farther north.
        self.squeeze = max(math.cos(math.radians(self.middle[1])), 0.01)
        wide = max((max(xs) - min(xs)) * self.squeeze, LEAST_DEGREES)
        high = max(max(ys) - min(ys), LEAST_DEGREES)
        self.scale = min(
            (WIDTH_PX - 2 * MARGIN_PX) / wide, (HEIGHT_PX - 2 * MARGIN_PX) / high
        )

    def at(self, longitude, latitude):
        return (
            WIDTH_PX / 2 + (longitude - self.middle[0]) * self.squeeze * self.scale,
            HEIGHT_PX / 2 - (latitude - self.middle[1]) * self.scale,
        )

    def holds(self, points):
        xs, ys = zip(*points, strict=True)
        return (
            min(xs) < WIDTH_PX and max(xs) > 0 and min(ys) < HEIGHT_PX and max(ys) > 0
        )


def _ground(frame, pen):
    drawn = {kind: [] for kind in RULED}
    names = []
    for feature in basemap.read(basemap.place())[3]:
        kind, geometry = feature["properties"].get("kind"), feature["geometry"]
        if kind == "town" and geometry.get("type") == "Point":
            names.append((feature["properties"].get("name", ""), geometry))
        if kind not in RULED:
            continue
        for part in _parts(geometry):
            points = [frame.at(*place[:2]) for place in part]
            if len(points) > 1 and frame.holds(points):
                path = "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
                drawn[kind].append(f"M{path}")
    lines = []
    for kind, (colour, width, dashes) in RULED.items():
        if drawn[kind]:
            line = pen.line(colour, width)
            lines.append(f'<path d="{"".join(drawn[kind])}" {line}{dashes}/>')
    for name, geometry in names:
        x, y = frame.at(*geometry["coordinates"][:2])
        if 40 < x < WIDTH_PX - 40 and 12 < y < HEIGHT_PX - 4:
            for words in (pen.halo(13), pen.text("pencil", 13)):
                lines.append(
                    f'<text x="{x:.1f}" y="{y:.1f}" {words}>{escape(name)}</text>'
                )
    return f'<g aria-hidden="true">{"".join(lines)}</g>'


def _parts(geometry):
    kind, places = geometry.get("type"), geometry.get("coordinates") or []
    if kind == "LineString":
        return [places]
    if kind in ("MultiLineString", "Polygon"):
        return places
    if kind == "MultiPolygon":
        return [ring for part in places for ring in part]
    return []


def _mark(bridge, x, y, pen):
    shape = shape_of(bridge.status)
    line = "pencil" if shape == "lost" else "ink"
    # Opaque either way: a river must not run through a mark.
    ground = pen.shape("ground", line, 1.6)
    standing = getattr(bridge, "standing", None)
    outline = OUTLINES.get(standing.family if standing else "other", OUTLINES["other"])
    said = f"{bridge.name}: {bridge.get_status_display().lower()}"
    scale = MARK_PX / 32
    dashes = ' stroke-dasharray="3 2.4"' if shape == "lost" else ""
    return (
        f'<a href="{escape(bridge.get_absolute_url())}" aria-label="{escape(said)}">'
        f"<title>{escape(said)}</title>"
        f'<g transform="translate({x - MARK_PX / 2:.1f} {y - MARK_PX / 2:.1f}) '
        f'scale({scale:.3f})">'
        f'<path d="{GROUNDS[shape]}" {ground}{dashes}/>'
        f'<path d="{outline}" {pen.line(line, 1.7)}/></g></a>'
    )
