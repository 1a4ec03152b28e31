"""An ordered drive to a few bridges, and the same as a GPX file.

Distances are great circles: the order is a proposal for the map on the dashboard, which
knows the roads.
"""

from __future__ import annotations

import io
import math
from itertools import pairwise
from xml.sax.saxutils import XMLGenerator

from bridges.exports import ABOUT, NOT_XML

# IUGG mean radius, 6371.0088 km, in statute miles of 1.609344 km.
EARTH_RADIUS_MI = 6371.0088 / 1.609344
MOST_STOPS = 25
GPX = "http://www.topografix.com/GPX/1/1"


def miles_between(one, other) -> float:
    """Great-circle distance of two (latitude, longitude) in degrees, statute miles.

    Haversine on a sphere: within 0.6 % of the ellipsoid.
    """
    (lat_a, lon_a), (lat_b, lon_b) = (
        (math.radians(d) for d in p) for p in (one, other)
    )
    half = (
        math.sin((lat_b - lat_a) / 2) ** 2
        + math.cos(lat_a) * math.cos(lat_b) * math.sin((lon_b - lon_a) / 2) ** 2
    )
    return 2 * EARTH_RADIUS_MI * math.asin(min(1.0, math.sqrt(half)))


def ordered(places, start=None) -> list[int]:
    """Return the order in which to visit places so that the way is short.

    ``places`` are (latitude, longitude); ``start`` is where the drive begins, which is
    not one of them. Nearest first, then every stretch is turned round while that
    shortens the way (2-opt). Without a start, the shortest found from any place.
    """
    count = len(places)
    if count < 2:
        return list(range(count))
    away = [[miles_between(a, b) for b in places] for a in places]
    if start is not None:
        first = [miles_between(start, place) for place in places]
        return _shortened(
            _nearest(away, min(range(count), key=first.__getitem__)), away, first
        )
    free = [0.0] * count
    tours = [_shortened(_nearest(away, at), away, free) for at in range(count)]
    return min(tours, key=lambda tour: length(tour, away, free))


def length(tour, away, first) -> float:
    """Return the miles of a tour, from its start (``first``) to its last place."""
    return first[tour[0]] + sum(away[a][b] for a, b in pairwise(tour))


def _nearest(away, at):
    tour, left = [at], set(range(len(away))) - {at}
    while left:
        at = min(left, key=lambda other: (away[at][other], other))
        left.discard(at)
        tour.append(at)
    return tour


def _shortened(tour, away, first):
    best = length(tour, away, first)
    is_better = True
    while is_better:
        is_better = False
        for i in range(len(tour) - 1):
            for j in range(i + 1, len(tour)):
                turned = tour[:i] + tour[i : j + 1][::-1] + tour[j + 1 :]
                miles = length(turned, away, first)
                if miles < best - 1e-9:
                    tour, best, is_better = turned, miles, True
    return tour


def gpx(stops, person, address_of=None, title="Bridges due a visit") -> str:
    """Return a GPX 1.1 document with one route through ``stops``, in their order.

    ``stops`` are ``(bridge, [words])``. A position that is kept from this person is the
    middle of its square and says so.
    """
    out = io.StringIO()
    xml = XMLGenerator(out, encoding="utf-8", short_empty_elements=True)
    xml.startDocument()
    xml.startElement(
        "gpx", {"version": "1.1", "creator": "Second Crossing", "xmlns": GPX}
    )
    xml.startElement("metadata", {})
    _leaf(xml, "name", title)
    _leaf(xml, "desc", CAUTION)
    xml.endElement("metadata")
    # Waypoints for receivers that do not take routes; the schema wants them first.
    for tag in ("wpt", "rte"):
        if tag == "rte":
            xml.startElement("rte", {})
            _leaf(xml, "name", title)
        for number, (bridge, words) in enumerate(stops, 1):
            _point(
                xml,
                "wpt" if tag == "wpt" else "rtept",
                number,
                bridge,
                words,
                person,
                address_of,
            )
    xml.endElement("rte")
    xml.endElement("gpx")
    return out.getvalue()


CAUTION = (
    "Order by straight lines, not by road. Look from the road and the bank; a closed "
    "bridge is closed to you too."
)


def _point(xml, tag, number, bridge, words, person, address_of):
    latitude, longitude, is_exact = bridge.position_for(person)
    xml.startElement(tag, {"lat": f"{latitude:.6f}", "lon": f"{longitude:.6f}"})
    _leaf(xml, "name", f"{number}. {bridge.name}")
    _leaf(xml, "cmt", bridge.number)
    said = list(words) if is_exact else [*words, f"Place to {ABOUT} only."]
    _leaf(xml, "desc", " ".join(said))
    if address_of:
        xml.startElement("link", {"href": address_of(bridge)})
        _leaf(xml, "text", bridge.name)
        xml.endElement("link")
    _leaf(xml, "type", "bridge")
    xml.endElement(tag)


def _leaf(xml, name, text):
    xml.startElement(name, {})
    xml.characters(NOT_XML.sub("", text))
    xml.endElement(name)
