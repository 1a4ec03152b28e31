"""Where letters stand on a drawing: clear of its bars and of each other.

Points are (x, y) and segments pairs of points, in px.
"""

import math

# Nearer than this to another label, or to a bar, and letters are hard to read.
LABEL_APART_PX, BAR_APART_PX = 36.0, 11.0


def best_place(tries, bars, taken):
    """Return the first of ``tries`` that is clear of everything, or the clearest.

    ``tries`` are ``(points, value)`` in order of preference: the points that a label
    covers there, and what to return. ``bars`` are segments, ``taken`` the middles of
    labels that stand already.
    """
    scored = []
    for points, value in tries:
        room = clearance(points, bars, taken)
        if room >= 1:
            return value
        scored.append((room, value))
    return max(scored, key=lambda one: one[0])[1]


def clearance(points, bars, taken):
    """Return how clear a label is: 1 and above where nothing is too near."""
    rooms = [
        math.dist(point, other) / LABEL_APART_PX for point in points for other in taken
    ]
    rooms += [
        distance_to(point, bar) / BAR_APART_PX for point in points for bar in bars
    ]
    return min(rooms, default=math.inf)


def distance_to(point, segment):
    """Return the distance of a point from a segment."""
    (ax, ay), (bx, by) = segment
    length2 = (bx - ax) ** 2 + (by - ay) ** 2
    if not length2:
        return math.dist(point, segment[0])
    part = ((point[0] - ax) * (bx - ax) + (point[1] - ay) * (by - ay)) / length2
    part = min(max(part, 0.0), 1.0)
    return math.dist(point, (ax + part * (bx - ax), ay + part * (by - ay)))
