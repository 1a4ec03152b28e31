"""The tables of the check file: every key, its limits and its default."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from . import forms, sections
from .deadload import LAYERS
from .documents import (
    Choice,
    Either,
    Flag,
    Key,
    Many,
    Mapped,
    Needs,
    NotBoth,
    Number,
    Record,
    SomeOf,
    Text,
    Together,
    variants,
)
from .forms import FORMS, KINDS, MOST_PANELS
from .materials import KINDS as MATERIAL_KINDS
from .vehicles import LANES, VEHICLES

MOST_JOINTS = 200
MOST_MEMBERS = 500
MOST_GROUPS = 1000
MOST_COMPONENTS = 20
#: Two locomotives with their tenders have 18.
MOST_AXLES = 20
#: Bars that only pull, which may go slack: a truss of 32 panels, all of its chord and
#: web eyebars and rods, has fewer.
MOST_RODS = 90
#: Panels that a form itself does not cross; and bars more than it takes to stand, of
#: trusses given joint by joint in which more bars than that only pull.
MOST_COUNTERED = 20
#: Axles times panels, in forms whose bars may all go slack in turn.
MOST_AXLES_BY_PANELS = 160
#: More bars than this that only pull are many; then axles times panels, and axles times
#: bars more than it takes to stand, are limited.
MANY_RODS = 40
MOST_AXLES_ON_RODS = 600
MOST_AXLES_BY_SURPLUS = 200

#: Effective length factor by connection: AASHTO Manual for Bridge Evaluation, from
#: memory; bolted and welded joints are as stiff as riveted ones.
DEFAULT_K = {"pin": 0.875, "riveted": 0.75, "bolted": 0.75, "welded": 0.75}

JOINT_NAME = Text(
    12, r"^[A-Za-z0-9_']+(?!\n)$", "a joint name of letters, digits, _ and '"
)
NAME = Text(40, says="a member name")


def size(most: float) -> Number:
    """Return a size, of at least what can be measured of it."""
    return Number(0.0001, most)


def from_zero(most: float) -> Number:
    return Number(0.0, most)


INCHES = size(120.0)
PANEL_FT = Number(0.1, 1000.0)
HEIGHT_FT = Number(0.1, 500.0)
FEET = size(10_000.0)

FORM_KEYS: dict[str, tuple[Any, str]] = {
    "depth_ft": (HEIGHT_FT, "height of the upper chord above the lower"),
    "hip_offset_ft": (from_zero(1000.0), "from the support to the hip joint"),
    "upper_heights_ft": (
        Many(HEIGHT_FT, 1, MOST_PANELS - 1, "heights"),
        "one per upper joint, from the origin end",
    ),
    "crossed_panels": (
        Many(Number(1, MOST_PANELS, whole=True), 0, MOST_COUNTERED, "panel numbers"),
        "panels with both diagonals, numbered from 1",
    ),
    "sub_members": (
        Choice(("struts", "ties")),
        "what steadies the joints between panel points",
    ),
}


def _form_record(entry: forms.Form) -> Record:
    keys = {
        "panels": Key(
            Number(entry.least_panels, entry.most_panels, whole=True), required=True
        ),
        "panel_length_ft": Key(
            Either(
                {
                    "number": PANEL_FT,
                    "array": Many(PANEL_FT, 1, MOST_PANELS, "lengths"),
                }
            ),
            required=True,
            says="one length, or one per panel",
        ),
    }
    for name in (*entry.needs, *entry.takes):
        table, says = FORM_KEYS[name]
        keys[name] = Key(table, name in entry.needs, says=says)
    return Record(keys, says=entry.description)


EXPLICIT = Record(
    {
        "joints": Key(
            Mapped(
                JOINT_NAME,
                Many(Number(-10_000.0, 10_000.0), 2, 2, "numbers, x and y in ft"),
                3,
                MOST_JOINTS,
                "joints",
            ),
            required=True,
            says="x along the span and y up, ft",
        ),
        "members": Key(
            Many(Many(JOINT_NAME, 2, 2, "joint names"), 1, MOST_MEMBERS, "members"),
            required=True,
        ),
        "pinned": Key(JOINT_NAME, required=True),
        "roller": Key(JOINT_NAME, required=True, says="held vertically only"),
        "loaded_joints": Key(
            Many(JOINT_NAME, 2, MOST_JOINTS, "joint names in order of x"),
            required=True,
            says="where floor beams bear",
        ),
        "kinds": Key(
            Mapped(NAME, Choice(KINDS), 0, MOST_MEMBERS, "members with their kind"),
            default={},
        ),
    },
    says="joints and bars given outright",
)

MATERIAL = variants(
    "kind",
    {
        kind: Record({"year": Key(Number(1700, 2100, whole=True), says="year made")})
        for kind in MATERIAL_KINDS
    },
    otherwise=Record(
        {
            "fy_ksi": Key(Number(5.0, 150.0), required=True),
            "fu_ksi": Key(Number(5.0, 200.0), required=True),
            "e_ksi": Key(Number(500.0, 40_000.0), default=29_000.0),
        }
    ),
)

BUILT_UP = Record(
    {
        "webs_apart_in": Key(INCHES, required=True, says="back to back of the webs"),
        "flanges": Key(Choice(("out", "in")), default="out"),
        "cover_plate": Key(
            Record(
                {
                    "width_in": Key(INCHES, required=True),
                    "thickness_in": Key(size(6.0), required=True),
                }
            )
        ),
        "bottom_plate": Key(
            Record(
                {
                    "width_in": Key(INCHES, required=True),
                    "thickness_in": Key(size(6.0), required=True),
                }
            )
        ),
        "box_depth_in": Key(INCHES, says="out to out of four angles, in the plane"),
        "tied_by": Key(Choice(("lacing", "battens", "none")), default="lacing"),
        "lacing": Key(
            Record(
                {
                    "width_in": Key(size(12.0), required=True),
                    "thickness_in": Key(size(3.0), required=True),
                    "planes": Key(Number(1, 2, whole=True), default=2),
                    "double": Key(Flag(), default=False),
                    "degrees": Key(
                        Number(20.0, 80.0), default=60.0, says="to the member's axis"
                    ),
                }
            ),
            says="its bars; else taken as stiff",
        ),
        "battens_apart_in": Key(size(600.0), says="clear; else 40 least radii"),
        "untied_ft": Key(size(200.0), says="greatest length where ties are missing"),
        "pin_height_in": Key(INCHES, says="of the pins above the lower edge"),
    }
)


def _component_record(
    extra: Mapping[str, Key] | None = None, **sizes: Number
) -> Record:
    keys = {name: Key(table, required=True) for name, table in sizes.items()}
    rules = (Together(("holes", "rivet_in")),) if extra and "holes" in extra else ()
    return Record(keys | COMMON_KEYS | WORN_KEY | dict(extra or {}), rules)


def _rolled_record(extra: Mapping[str, Key]) -> Record:
    measured = ("flange_width_in", "flange_thickness_in", "web_thickness_in")
    keys = {
        "depth_in": Key(INCHES, required=True),
        "weight_plf": Key(size(1000.0), says="looked up with the depth"),
        "flange_width_in": Key(INCHES),
        "flange_thickness_in": Key(size(6.0)),
        "web_thickness_in": Key(size(6.0)),
    }
    rules = (
        Together(("holes", "rivet_in")),
        SomeOf(("weight_plf", "flange_width_in")),
        NotBoth("weight_plf", "flange_width_in"),
        NotBoth("weight_plf", "flange_thickness_in"),
        NotBoth("weight_plf", "web_thickness_in"),
        Together(measured),
    )
    return Record({**keys, **extra, **COMMON_KEYS, **HOLE_KEYS}, rules)


COMMON_KEYS: dict[str, Key] = {
    "count": Key(Number(1, 100, whole=True), default=1),
    "carries": Key(
        Choice(("all", "live", "none")),
        default="all",
        says="live: added while the dead load was on; none: hangs loose",
    ),
    "material": Key(MATERIAL, says="where it is not the member's"),
}
WORN_KEY: dict[str, Key] = {
    "remaining_in": Key(
        size(60.0), says="thickness, or diameter, left where it is thinnest"
    ),
}
LONGER_KEY: dict[str, Key] = {
    "longer_in": Key(
        size(2.0), says="than the other bars: tight only when they have stretched"
    ),
}
HOLE_KEYS: dict[str, Key] = {
    "holes": Key(Number(1, 20, whole=True), says="across one piece"),
    "rivet_in": Key(size(2.0)),
}
ENDS_KEY = Key(
    Choice(sections.ENDS),
    default="plain-thread",
    says="unrecorded ends are taken as plain threads, the weaker",
)
COMPONENT = variants(
    "shape",
    {
        "round-rod": Record(
            {"diameter_in": Key(size(12.0), required=True), "ends": ENDS_KEY}
            | COMMON_KEYS
            | WORN_KEY
            | LONGER_KEY
        ),
        "square-rod": Record(
            {"side_in": Key(size(12.0), required=True), "ends": ENDS_KEY}
            | COMMON_KEYS
            | WORN_KEY
            | LONGER_KEY
        ),
        **{
            shape: _component_record(
                LONGER_KEY if shape == "eyebar" else LONGER_KEY | HOLE_KEYS,
                width_in=INCHES,
                thickness_in=size(12.0),
            )
            for shape in ("eyebar", "flat-bar", "plate")
        },
        "angle": _component_record(
            {
                "built_up": Key(BUILT_UP),
                "by_one_leg": Key(Flag(), default=False, says="held by its leg_in"),
                **HOLE_KEYS,
            },
            leg_in=INCHES,
            other_leg_in=INCHES,
            thickness_in=size(6.0),
        ),
        "channel": _rolled_record({"built_up": Key(BUILT_UP)}),
        "i-beam": _rolled_record({"built_up": Key(BUILT_UP)}),
        "timber": _component_record(width_in=INCHES, depth_in=INCHES),
    },
)

SECTION = Record(
    {
        "area_in2": Key(Number(0.01, 10_000.0), required=True),
        "net_area_in2": Key(Number(0.01, 10_000.0)),
        "r_in_plane_in": Key(Number(0.01, 100.0)),
        "r_out_of_plane_in": Key(Number(0.01, 100.0)),
        "i_out_of_plane_in4": Key(size(1e7)),
        "weight_plf": Key(from_zero(50_000.0)),
    }
)

GROUP = Record(
    {
        "names": Key(Many(NAME, 1, MOST_MEMBERS, "member names"), default=()),
        "kinds": Key(Many(Choice(KINDS), 1, len(KINDS), "kinds"), default=()),
        "components": Key(Many(COMPONENT, 1, MOST_COMPONENTS, "components")),
        "section": Key(SECTION),
        "built_up": Key(
            BUILT_UP, says="of the channels, I-beams or angles of the components"
        ),
        "material": Key(MATERIAL),
        "tension_only": Key(Flag()),
        "loss_fraction": Key(Number(0.0, 1.0, below=True), default=0.0),
        "unbraced_in_plane_ft": Key(FEET),
        "unbraced_out_of_plane_ft": Key(FEET),
        "k": Key(Number(0.1, 10.0)),
        "tightened_in": Key(
            from_zero(2.0),
            default=0.0,
            says="shorter than fits the truss with nothing on it: initial tension",
        ),
        "absent": Key(Flag(), default=False, says="the bar is not there"),
    },
    (
        SomeOf(("names", "kinds")),
        SomeOf(("components", "section"), unless="absent"),
        NotBoth("components", "section"),
        NotBoth("built_up", "section"),
    ),
)

LAYER = Record(
    {
        "material": Key(Choice(tuple(LAYERS)), required=True),
        "thickness_in": Key(size(240.0)),
        "psf": Key(size(2000.0)),
    },
    (SomeOf(("thickness_in", "psf")), NotBoth("thickness_in", "psf")),
)
FLOOR = Record(
    {
        "roadway_ft": Key(Number(1.0, 200.0), says="needed with layers"),
        "layers": Key(Many(LAYER, 0, 20, "layers"), default=()),
        "stringers": Key(
            Record(
                {
                    "count": Key(Number(1, 200, whole=True), required=True),
                    "plf_each": Key(from_zero(2000.0), required=True),
                }
            )
        ),
        "floor_beams_lb_each": Key(from_zero(1e6), default=0.0),
        "railing_plf": Key(from_zero(10_000.0), default=0.0),
        "share": Key(
            Number(0.0, 1.0), default=0.5, says="of the whole floor, to this truss line"
        ),
    },
    (Needs("layers", "roadway_ft"),),
)
GIRDER = Record(
    {
        "depth_in": Key(INCHES, required=True, says="back to back of the angles"),
        "web_thickness_in": Key(size(6.0), required=True),
        "leg_in": Key(INCHES, required=True, says="of the angles, along the web"),
        "other_leg_in": Key(INCHES, required=True),
        "angle_thickness_in": Key(size(6.0), required=True),
        "cover_width_in": Key(INCHES),
        "cover_thickness_in": Key(size(6.0), says="of all plates on one flange"),
    },
    (Together(("cover_width_in", "cover_thickness_in")),),
    says="an I of a web plate, four angles and cover plates",
)
BEAM_KEYS: dict[str, Key] = {
    "components": Key(
        Many(COMPONENT, 1, MOST_COMPONENTS, "components"), says="of one beam"
    ),
    "girder": Key(GIRDER),
    "material": Key(MATERIAL),
    "loss_fraction": Key(Number(0.0, 1.0, below=True), default=0.0),
}
BEAM_RULES = (SomeOf(("components", "girder")), NotBoth("components", "girder"))
FLOOR_SYSTEM = Record(
    {
        "roadway_ft": Key(Number(1.0, 200.0), required=True),
        "trusses_apart_ft": Key(Number(1.0, 200.0), says="span of the floor beams"),
        "stringers": Key(
            Record(
                {
                    "count": Key(Number(1, 200, whole=True), required=True),
                    "spacing_ft": Key(
                        Number(0.1, 50.0), says="else from edge to edge of the roadway"
                    ),
                    "wheel_share": Key(
                        size(4.0),
                        says="of one wheel line, to one stringer; else by deck and "
                        "spacing",
                    ),
                    **BEAM_KEYS,
                },
                BEAM_RULES,
            )
        ),
        "floor_beams": Key(Record(BEAM_KEYS, BEAM_RULES)),
    },
    (SomeOf(("stringers", "floor_beams")), Needs("floor_beams", "trusses_apart_ft")),
    says="the beams under the deck, of the whole floor",
)
PIN = Record(
    {
        "joint": Key(JOINT_NAME, required=True),
        "diameter_in": Key(size(24.0), required=True),
        "packing": Key(
            Many(
                Record(
                    {
                        "member": Key(NAME, says="left out: the floor's load hangs"),
                        "thickness_in": Key(size(12.0), required=True),
                        "part": Key(
                            size(1.0),
                            says="of the member's force; else shared evenly",
                        ),
                        "gap_in": Key(
                            from_zero(24.0),
                            default=0.0625,
                            says="to the bar before it",
                        ),
                    }
                ),
                2,
                40,
                "bars in order along the pin",
            ),
            required=True,
        ),
        "material": Key(MATERIAL, says="where it is not the truss's"),
        "turns": Key(Flag(), default=True, says="in its bearing, as pins of bars do"),
    }
)
KIPS = Number(-100_000.0, 100_000.0)
DEAD_LOAD = Record(
    {
        "uniform_plf": Key(from_zero(1e6), default=0.0),
        "joints_kip": Key(
            Mapped(JOINT_NAME, KIPS, 0, MOST_JOINTS, "joints with kips, down positive"),
            default={},
        ),
        "self_weight": Key(
            Record({"details_factor": Key(Number(0.5, 5.0), default=1.2)})
        ),
        "floor": Key(FLOOR),
    }
)

AXLE = Record(
    {
        "kip": Key(Number(0.001, 10_000.0), required=True),
        "behind_front_ft": Key(from_zero(1000.0), required=True),
    }
)
LIVE_LOAD = Record(
    {
        "vehicle": Key(Choice(tuple(VEHICLES))),
        "axles": Key(Many(AXLE, 1, MOST_AXLES, "axles")),
        "lane": Key(Choice(tuple(LANES))),
        "uniform_plf": Key(size(1e6), says="on this truss line"),
        "crowd": Key(
            Record(
                {
                    "psf": Key(
                        Either(
                            {
                                "number": size(1000.0),
                                "string": Choice(("aashto-1997", "aashto-sidewalk")),
                            }
                        ),
                        required=True,
                        says="or a published load: footbridges by area, sidewalks by span",
                    ),
                    "width_ft": Key(Number(0.5, 200.0), required=True),
                    "share": Key(size(1.0), default=0.5),
                }
            ),
            says="people on foot, wherever they add; without impact, and alone",
        ),
        "fraction": Key(
            size(10.0),
            says="of a lane, to this truss line; 1 if nothing is said",
        ),
        "lever": Key(
            Record(
                {
                    "roadway_ft": Key(Number(1.0, 200.0), required=True),
                    "trusses_apart_ft": Key(Number(1.0, 200.0), required=True),
                    "gauge_ft": Key(Number(1.0, 20.0), default=6.0),
                    "curb_clear_ft": Key(from_zero(20.0), default=2.0),
                    "vehicles": Key(
                        Number(1, 2, whole=True),
                        default=1,
                        says="abreast, 10 ft from centre to centre",
                    ),
                    "placing": Key(Choice(("worst", "centred")), default="worst"),
                }
            )
        ),
        "impact": Key(
            Either({"number": from_zero(5.0), "string": Choice(("aashto",))}),
            default=0.0,
        ),
    },
    (
        SomeOf(("vehicle", "axles", "lane", "uniform_plf", "crowd")),
        NotBoth("fraction", "lever"),
        *(
            NotBoth(other, "crowd")
            for other in (
                "vehicle",
                "axles",
                "lane",
                "uniform_plf",
                "fraction",
                "lever",
            )
        ),
    ),
)

STIFFNESS = from_zero(1e6)
CHORD = Record(
    {
        "frame_stiffness_kip_per_in": Key(
            Either(
                {
                    "number": STIFFNESS,
                    "object": Mapped(JOINT_NAME, STIFFNESS, 0, MOST_JOINTS, "joints"),
                }
            )
        ),
        "end_stiffness_kip_per_in": Key(
            Number(0.0, 1e6, nullable=True), default=None, says="null is rigid"
        ),
        "frames": Key(
            Record(
                {
                    "post_i_in4": Key(size(1e6), required=True),
                    "floor_beam_i_in4": Key(size(1e6), required=True),
                    "floor_beam_ft": Key(size(200.0), required=True),
                }
            )
        ),
    },
    (
        SomeOf(("frame_stiffness_kip_per_in", "frames")),
        NotBoth("frame_stiffness_kip_per_in", "frames"),
    ),
)

DOCUMENT = Record(
    {
        "title": Key(Text(500), default=""),
        "geometry": Key(
            variants("form", {k: _form_record(f) for k, f in FORMS.items()}, EXPLICIT),
            required=True,
        ),
        "deck_position": Key(Choice(("through", "pony", "deck")), default="through"),
        "connection": Key(Choice(tuple(DEFAULT_K)), default="pin"),
        "material": Key(MATERIAL),
        "members": Key(Many(GROUP, 0, MOST_GROUPS, "groups"), default=()),
        "dead_load": Key(DEAD_LOAD, default={}),
        "live_load": Key(LIVE_LOAD),
        "method": Key(
            Choice(("allowable-stress", "load-factor")), default="allowable-stress"
        ),
        "tension_only_model": Key(Choice(("elastic", "classical")), default="elastic"),
        "chord": Key(CHORD),
        "floor_system": Key(FLOOR_SYSTEM),
        "pins": Key(Many(PIN, 0, MOST_JOINTS, "pins"), default=()),
    }
)
