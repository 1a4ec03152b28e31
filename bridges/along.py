"""The bridges along a road or a water, in the order that one passes them.

The order is that along the line the base map draws for it, where it draws one of that
name; otherwise along the longer way that the bridges themselves lie. Which of the two
it was is said beside the list.
"""

from __future__ import annotations

import itertools
import math

import numpy as np
from django.http import Http404
from django.shortcuts import render
from django.utils.http import urlencode
from django.views.decorators.http import require_safe

from . import basemap, mapindex
from .models import Bridge

KINDS = {"crossing": "over", "road": "on"}
MOST = 500


@require_safe
def page(request):
    """The bridges over one water or on one road, in order, with the miles between."""
    kind = next((name for name in KINDS if request.GET.get(name)), None)
    if kind is None:
        return _choose(request)
    name = request.GET[kind]
    places = mapindex.places_for(request.user)
    mask = places.mask(((kind, name),))
    rows = np.flatnonzero(mask)[:MOST]
    if not len(rows):
        raise Http404("No bridge is recorded there.")
    latitude, longitude = mapindex.unproject(places.x[rows], places.y[rows])
    spots = list(zip(longitude.tolist(), latitude.tolist(), strict=True))
    order, how = in_order(spots, basemap.lines_named(name))
    bridges = (
        Bridge.objects.visible_to(request.user)
        .for_list()
        .in_bulk(places.rows.ids[rows].tolist())
    )
    found, before = [], None
    for number in order:
        bridge = bridges.get(int(places.rows.ids[rows[number]]))
        if bridge is None:
            continue
        miles = None if before is None else miles_between(before, spots[number])
        found.append((bridge, miles))
        before = spots[number]
    return render(
        request,
        "bridges/along.html",
        {
            "name": name,
            "word": KINDS[kind],
            "found": found,
            "how": how,
            "query": urlencode({kind: name}),
            "is_cut": int(mask.sum()) > MOST,
        },
    )


def _choose(request):
    places = mapindex.places_for(request.user)
    waters = places.counts("crossing", ())
    return render(
        request,
        "bridges/along.html",
        {"waters": sorted(waters.items(), key=lambda pair: (-pair[1], pair[0]))[:200]},
    )


def miles_between(one, other):
    """Return the miles along the ground between two (longitude, latitude)."""
    (x1, y1), (x2, y2) = (tuple(map(math.radians, place)) for place in (one, other))
    h = (
        math.sin((y2 - y1) / 2) ** 2
        + math.cos(y1) * math.cos(y2) * math.sin((x2 - x1) / 2) ** 2
    )
    return 2 * mapindex.EARTH_MILES * math.asin(math.sqrt(h))


def in_order(spots, lines):
    """Return (numbers in order, which way it was): "line", "east" or "south".

    ``spots`` and the points of ``lines`` are (longitude, latitude).
    """
    if lines:
        reached = [along_line(spot, lines) for spot in spots]
        # A name may be that of another water far away.
        if max(away for _, away in reached) < 0.1:
            return sorted(range(len(spots)), key=lambda n: reached[n][0]), "line"
    xs, ys = [x for x, _ in spots], [y for _, y in spots]
    middle = math.radians(sum(ys) / len(ys))
    if (max(xs) - min(xs)) * math.cos(middle) >= max(ys) - min(ys):
        return sorted(range(len(spots)), key=lambda n: xs[n]), "east"
    return sorted(range(len(spots)), key=lambda n: -ys[n]), "south"


def along_line(spot, lines):
    """Return (how far along the lines, how far from them), in degrees.

    Degrees of longitude are shortened to those of latitude there.
    """
    shrink = math.cos(math.radians(spot[1]))
    best, begun = (0.0, math.inf), 0.0
    for line in lines:
        for (ax, ay), (bx, by) in itertools.pairwise(line):
            dx, dy = (bx - ax) * shrink, by - ay
            length = math.hypot(dx, dy)
            px, py = (spot[0] - ax) * shrink, spot[1] - ay
            part = 0.0
            if length:
                part = min(max((px * dx + py * dy) / length**2, 0.0), 1.0)
            away = math.hypot(px - part * dx, py - part * dy)
            if away < best[1]:
                best = (begun + part * length, away)
            begun += length
    return best
