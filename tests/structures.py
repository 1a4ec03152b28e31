"""Bridges with every member described, for tests of checks and effects."""

import datetime

from surveys.models import Component, Element, Observation, Visit
from tests.makers import make_bridge, make_id

EYEBARS = {"shape": "eyebar", "count": 2, "width_in": 3.0, "thickness_in": 0.75}
WEB_BARS = {"shape": "eyebar", "count": 2, "width_in": 2.0, "thickness_in": 0.75}
ROD = {"shape": "round-rod", "count": 1, "diameter_in": 1.5, "ends": "upset"}
CHANNELS = {"shape": "channel", "count": 2, "depth_in": 8.0, "weight_plf": 11.5}
BUILT_UP = {
    "webs_apart_in": 6.5,
    "flanges": "out",
    "tied_by": "lacing",
    "cover_plate": {"width_in": 12.0, "thickness_in": 0.25},
}
LACED = {"webs_apart_in": 5.0, "flanges": "in", "tied_by": "lacing"}
POST = {"shape": "channel", "count": 2, "depth_in": 5.0, "weight_plf": 6.7}
BY_ROLE = {
    "upper-chord": {"components": [CHANNELS], "built_up": BUILT_UP},
    "end-post": {"components": [CHANNELS], "built_up": BUILT_UP},
    "lower-chord": {"components": [EYEBARS]},
    "hip-vertical": {"components": [{**ROD, "count": 2, "diameter_in": 1.125}]},
    "vertical": {"components": [POST], "built_up": LACED},
    "diagonal": {"components": [WEB_BARS]},
    "counter": {"components": [ROD]},
}
PLANK = {"layers": [{"material": "timber", "thickness_in": 3.0}]}
GRID = {"layers": [{"material": "steel-grid", "thickness_in": 5.0, "psf": 18.0}]}
PANS = {"layers": [{"material": "concrete", "psf": 62.0}]}
FLOOR = {
    "span-1/deck": PLANK,
    "span-1/stringers": {"count": 7, "plf_each": 40.0, "material": "timber"},
    "span-1/floor-beams": {"each_lb": 1000.0, "material": "steel"},
}


def make_described_bridge(year=1990, **facts):
    """Return a bridge all of whose members and floor were described at one visit.

    Counters in the middle three panels, so that no diagonal governs by going slack.
    """
    facts["span"] = {"crossed_panels": [2, 3, 4]} | facts.get("span", {})
    bridge = make_bridge(**facts)
    states = dict(FLOOR)
    for member in Element.objects.filter(bridge=bridge, kind="member"):
        states[member.path] = BY_ROLE[member.role]
    make_visit_saying(bridge, year, changed=states)
    return bridge


def make_visit_saying(bridge, year, *, changed=None, status="accepted", **answers):
    """Return a visit: ``changed`` maps paths to states; ``same``, ``gone`` and
    ``not_seen`` list paths."""
    visit = Visit.objects.create(
        client_id=make_id(f"{bridge.slug} {year}"),
        bridge=bridge,
        when=f"{year}-06-02",
        when_latest=datetime.date(year, 6, 2),
        status=status,
    )
    elements = {one.path: one for one in Element.objects.filter(bridge=bridge)}
    for path, state in (changed or {}).items():
        say(visit, elements[path], "changed", state)
    for answer, paths in answers.items():
        for path in paths:
            say(visit, elements[path], answer.replace("_", "-"))
    return visit


def say(visit, element, answer, state=None):
    """Store one observation with its pieces."""
    rest = None
    if state is not None:
        rest = {k: v for k, v in state.items() if k != "components"}
    seen = Observation.objects.create(
        visit=visit, element=element, answer=answer, state=rest
    )
    for position, piece in enumerate((state or {}).get("components", [])):
        facts = dict(piece)
        relieved = facts.pop("dead_load_relieved", False)
        Component.objects.create(
            observation=seen,
            position=position,
            is_dead_load_relieved=relieved,
            **facts,
        )
    return seen
