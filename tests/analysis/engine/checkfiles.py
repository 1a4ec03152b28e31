"""Check files for tests: fixed, readable, and every kind of key somewhere in them."""

from copy import deepcopy

from analysis.engine import checkfile

THROUGH = {
    "title": "upstream truss as of 2019-06-02",
    "geometry": {"form": "pratt", "panels": 5, "panel_length_ft": 18, "depth_ft": 20},
    "deck_position": "through",
    "connection": "pin",
    "material": {"kind": "steel", "year": 1908},
    "members": [
        {
            "kinds": ["upper-chord", "end-post", "vertical"],
            "section": {
                "area_in2": 9.7,
                "r_in_plane_in": 3.2,
                "r_out_of_plane_in": 3.7,
            },
        },
        {
            "kinds": ["lower-chord", "hip-vertical", "diagonal"],
            "components": [
                {
                    "shape": "eyebar",
                    "count": 2,
                    "width_in": 3.5,
                    "thickness_in": 0.875,
                }
            ],
        },
        {
            "names": ["L2U3", "L3U2"],
            "components": [
                {"shape": "round-rod", "diameter_in": 1.125, "ends": "upset"}
            ],
        },
    ],
    "dead_load": {"uniform_plf": 300, "self_weight": {"details_factor": 1.2}},
    "live_load": {"vehicle": "H15", "fraction": 0.6, "impact": 0.3},
    "method": "allowable-stress",
}

PONY = {
    "geometry": {
        "form": "half-hip-pratt",
        "panels": 4,
        "panel_length_ft": [16, 16, 16, 16],
        "depth_ft": 8,
        "hip_offset_ft": 8,
        "crossed_panels": [2],
    },
    "deck_position": "pony",
    "connection": "riveted",
    "members": [
        {
            "kinds": ["upper-chord", "end-post"],
            "material": {"kind": "wrought-iron"},
            "components": [
                {
                    "shape": "channel",
                    "count": 2,
                    "depth_in": 8,
                    "weight_plf": 11.5,
                    "built_up": {
                        "webs_apart_in": 6.5,
                        "flanges": "out",
                        "cover_plate": {"width_in": 12, "thickness_in": 0.25},
                        "tied_by": "battens",
                    },
                }
            ],
            "unbraced_in_plane_ft": 16,
            "unbraced_out_of_plane_ft": 16,
            "k": 0.8,
        },
        {
            "kinds": ["vertical"],
            "material": {"fy_ksi": 33, "fu_ksi": 55, "e_ksi": 28000},
            "components": [
                {
                    "shape": "angle",
                    "count": 4,
                    "leg_in": 3,
                    "other_leg_in": 2.5,
                    "thickness_in": 0.25,
                },
                {
                    "shape": "plate",
                    "width_in": 6,
                    "thickness_in": 0.25,
                    "carries": "live",
                    "material": {"kind": "steel", "year": 1990},
                },
            ],
            "loss_fraction": 0.1,
        },
        {
            "names": ["l1-l0", "L1L2", "L2L3", "L3L4"],
            "material": {"kind": "timber"},
            "components": [
                {"shape": "timber", "count": 2, "width_in": 4, "depth_in": 10},
                {"shape": "square-rod", "side_in": 1, "ends": "loop"},
            ],
            "tension_only": False,
        },
        {
            "kinds": ["diagonal", "counter"],
            "material": {"kind": "steel"},
            "components": [
                {
                    "shape": "i-beam",
                    "depth_in": 6,
                    "flange_width_in": 3.3,
                    "flange_thickness_in": 0.35,
                    "web_thickness_in": 0.23,
                }
            ],
        },
    ],
    "dead_load": {
        "joints_kip": {"L2": 0.5, "L1": 0.25},
        "floor": {
            "roadway_ft": 14,
            "layers": [
                {"material": "timber", "thickness_in": 3},
                {"material": "gravel", "psf": 20},
            ],
            "stringers": {"count": 7, "plf_each": 15},
            "floor_beams_lb_each": 800,
            "railing_plf": 20,
            "share": 0.5,
        },
    },
    "live_load": {
        "axles": [
            {"kip": 6, "behind_front_ft": 0},
            {"kip": 14, "behind_front_ft": 10},
        ],
        "lane": "H15",
        "uniform_plf": 400,
        "lever": {
            "roadway_ft": 14,
            "trusses_apart_ft": 15,
            "gauge_ft": 6,
            "curb_clear_ft": 2,
        },
        "impact": "aashto",
    },
    "tension_only_model": "classical",
    "chord": {
        "frame_stiffness_kip_per_in": {"U1": 3, "U2": 3.5, "U3": 3},
        "end_stiffness_kip_per_in": 5,
    },
}

OUTRIGHT = {
    "geometry": {
        "joints": {
            "A": [0, 0],
            "B": [5, 8],
            "C": [10, 0],
            "D": [15, 8],
            "E": [20, 0],
        },
        "members": [
            ["A", "B"],
            ["A", "C"],
            ["B", "C"],
            ["B", "D"],
            ["C", "D"],
            ["C", "E"],
            ["D", "E"],
        ],
        "pinned": "A",
        "roller": "E",
        "loaded_joints": ["A", "C", "E"],
        "kinds": {"B-D": "upper-chord", "AC": "lower-chord"},
    },
    "material": {"fy_ksi": 30, "fu_ksi": 60},
    "members": [{"names": ["DB"], "section": {"area_in2": 4}}],
    "dead_load": {"joints_kip": {"C": 4}},
    "live_load": {"uniform_plf": 500},
}
ALL = {"through": THROUGH, "pony": PONY, "outright": OUTRIGHT}
GONE = object()


def changed(document, path, value):
    """Return a copy with the value at a path of keys and numbers put in or taken out.

    ``value`` ``GONE`` deletes; a key that is not there is added.
    """
    copy = deepcopy(document)
    inner = copy
    for step in path[:-1]:
        inner = inner[step]
    if value is GONE:
        del inner[path[-1]]
    elif isinstance(inner, list) and path[-1] == len(inner):
        inner.append(value)
    else:
        inner[path[-1]] = value
    return copy


def outright(document):
    """Return the file with its geometry given joint by joint, not by a form."""
    geometry = checkfile.read(document).geometry
    return document | {
        "geometry": {
            "joints": {name: list(xy) for name, xy in geometry.joints.items()},
            "members": [list(ends) for ends in geometry.members],
            "pinned": geometry.pinned,
            "roller": geometry.roller,
            "loaded_joints": list(geometry.loaded_joints),
            "kinds": dict(geometry.kinds),
        }
    }
