"""The region's own map: which county a place lies in, and a drawing of what is near.

Read from the same GeoJSON that lies under the bridges' marks. A place it does not reach
has no county and no map, and both are said.
"""

from __future__ import annotations

import json
import math
from functools import lru_cache
from itertools import pairwise
from pathlib import Path

from django.conf import settings

METRES_A_DEGREE = 111_320.0


def around(latitude, longitude):
    """Return ``{"is_covered", "county"}`` of a place, county empty where not known."""
    is_covered, county = False, ""
    for kind, name, rings in _areas(_files()):
        if kind == "county" and _is_inside(rings, longitude, latitude):
            county, is_covered = name, True
        elif kind == "land" and _is_inside(rings, longitude, latitude):
            is_covered = True
    return {"is_covered": is_covered, "county": county}


def features(latitude, longitude, reach_m):
    """Yield [kind, name, shape, parts] near a place, parts in metres east and north.

    Lines are cut to whole segments that come within ``reach_m`` in either direction.
    """
    across = METRES_A_DEGREE * math.cos(math.radians(latitude))

    def metres(place):
        return (
            round((place[0] - longitude) * across),
            round((place[1] - latitude) * METRES_A_DEGREE),
        )

    for kind, name, shape, parts in _features(_files()):
        moved = [[metres(place) for place in part] for part in parts]
        if shape == "line":
            moved = [cut for part in moved for cut in _near(part, reach_m)]
        elif shape == "point":
            moved = [part for part in moved if _reaches(part[0], reach_m)]
        else:
            moved = [part for part in moved if _touches(part, reach_m)]
        if moved:
            yield [kind, name, shape, moved]


def _near(part, reach_m):
    """Cut a line to the runs of its segments whose boxes come within reach."""
    runs, run = [], []
    for one, other in pairwise(part):
        if _touches([one, other], reach_m):
            run = run or [one]
            run.append(other)
        elif run:
            runs.append(run)
            run = []
    return runs + [run] if run else runs


def _touches(part, reach_m):
    easts, norths = zip(*part, strict=True)
    return (
        min(easts) <= reach_m
        and max(easts) >= -reach_m
        and min(norths) <= reach_m
        and max(norths) >= -reach_m
    )


def _reaches(place, reach_m):
    return abs(place[0]) <= reach_m and abs(place[1]) <= reach_m


def _is_inside(rings, x, y):
    """Whether a place lies inside: crossings of all rings to the east are odd."""
    inside = False
    for ring in rings:
        for (x1, y1), (x2, y2) in pairwise(ring):
            if (y1 > y) != (y2 > y) and x < x1 + (y - y1) / (y2 - y1) * (x2 - x1):
                inside = not inside
    return inside


def _files():
    folder = Path(settings.BASE_DIR) / "fixtures" / "region"
    return tuple(
        (str(f), f.stat().st_mtime_ns) for f in sorted(folder.glob("*.geojson"))
    )


@lru_cache(maxsize=2)
def _features(files):
    found = []
    for name, _ in files:
        try:
            features = json.loads(Path(name).read_text("utf-8"))["features"]
        except (OSError, ValueError, KeyError, TypeError):
            # The site's map does without such a file, and says so in its log.
            continue
        for one in features:
            facts, geometry = one["properties"], one["geometry"]
            shape, parts = _parts(geometry)
            found.append((facts.get("kind", ""), facts.get("name", ""), shape, parts))
    return found


def _parts(geometry):
    kind, places = geometry["type"], geometry["coordinates"]
    if kind == "Point":
        return "point", [[tuple(places[:2])]]
    if kind == "LineString":
        return "line", [[tuple(one[:2]) for one in places]]
    if kind == "MultiLineString":
        return "line", [[tuple(one[:2]) for one in part] for part in places]
    rings = places if kind == "Polygon" else [ring for part in places for ring in part]
    return "area", [[tuple(one[:2]) for one in ring] for ring in rings]


def _areas(files):
    return [
        (kind, name, parts)
        for kind, name, shape, parts in _features(files)
        if shape == "area"
    ]
