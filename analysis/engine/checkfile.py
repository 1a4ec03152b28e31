"""Reading check files: one truss line, in one configuration, under one loading.

``tables`` says what a document may hold; the same tables write the JSON Schema.
``read`` goes through them, then looks at what no schema can say (joints that exist,
shapes that are listed, bars with a length), and returns a frozen ``CheckInput`` with
every default in place and every member spelled out. Two documents that ask the same
question read to equal inputs, so ``input_sha256`` is that of the input, not of the
text. The title is a label and no part of the question.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache
from itertools import pairwise
from typing import Any

from . import forms, resistance, sections
from .deadload import DeadLoad, Floor, Layer, Stringers
from .documents import ABSENT, Faults, child, quoted
from .errors import CheckFileError, Fault, FormError, UnknownShape
from .forms import (
    FORMS,
    MOST_CROSSED_PANELS,
    SAME_POINT_FT,
    Geometry,
    upper_chord,
)
from .materials import Material
from .parsing import parse
from .question import (
    Beam,
    CheckInput,
    Chord,
    Crowd,
    FloorSystem,
    Frames,
    GivenSection,
    Lever,
    LiveLoad,
    MemberInput,
    PackedBar,
    Pin,
)
from .question import (
    Stringers as StringerBeams,
)
from .sections import BuiltUp, Component, Girder
from .tables import (
    DEAD_LOAD,
    DEFAULT_K,
    DOCUMENT,
    MANY_RODS,
    MOST_AXLES,
    MOST_AXLES_BY_PANELS,
    MOST_AXLES_BY_SURPLUS,
    MOST_AXLES_ON_RODS,
    MOST_COUNTERED,
    MOST_RODS,
)
from .vehicles import ABREAST_FT, crowd_psf, sidewalk_psf

__all__ = [
    "CheckFileError",
    "CheckInput",
    "geometry_of",
    "group_of",
    "input_sha256",
    "material_of",
    "member_of",
    "parse",
    "put_together",
    "read",
    "schema",
    "sha256_of",
    "structure_faults",
]


def schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of a check file.

    It accepts all that ``read`` accepts. What ties one part of a file to another
    (joints that exist, shapes that are listed) is for ``read`` alone.
    """
    head = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Check file",
        "description": "One truss line, in one configuration, under one loading. "
        "Units are in the key names; force is positive in tension.",
    }
    plain: dict[str, Any] = json.loads(json.dumps(head | DOCUMENT.schema()))
    return plain


def input_sha256(document: Mapping[str, Any]) -> str:
    """Return the SHA-256 of the question a document asks, as 64 hex digits.

    The same for files that differ in key order, spacing, defaults written out, member
    spelling, grouping of members or title. Raises ``CheckFileError`` as ``read``.
    """
    return sha256_of(read(document))


def sha256_of(check: CheckInput) -> str:
    """Return the SHA-256 of a question already read."""
    return check.sha256


# --- from a document -------------------------------------------------------------------


def read(document: Mapping[str, Any]) -> CheckInput:
    """Return a document as the engine understands it.

    Raises ``CheckFileError`` with every fault found, each with its JSON path.
    """
    faults = Faults()
    plain = DOCUMENT.read(document, "", faults)
    if plain is ABSENT:
        raise CheckFileError(faults.all())
    geometry = geometry_of(plain["geometry"], plain["deck_position"], faults)
    if geometry is None:
        raise CheckFileError(faults.all())
    members = _members(plain, geometry, faults)
    check = put_together(plain, geometry, members, faults)
    if faults.found:
        raise CheckFileError(faults.all())
    return check


def put_together(
    plain: dict[str, Any],
    geometry: Geometry,
    members: tuple[MemberInput, ...],
    faults: Faults,
) -> CheckInput:
    """Return a file read from its parts, of which geometry and members are ready."""
    check = CheckInput(
        title=plain["title"],
        geometry=geometry,
        deck_position=plain["deck_position"],
        connection=plain["connection"],
        members=members,
        dead_load=_dead_load(plain["dead_load"], geometry, faults),
        live_load=_live_load(plain.get("live_load"), geometry, faults),
        method=plain["method"],
        tension_only_model=plain["tension_only_model"],
        chord=_chord(plain.get("chord"), geometry, faults),
        floor_system=_floor_system(plain, faults),
        pins=_pins(plain, geometry, faults),
    )
    _check_timber_method(plain, faults)
    _check_proportion(check, plain["geometry"].get("form"), faults)
    if check.chord is not None and not faults.found:
        _check_chord_stiffness(check, faults)
    return check


def structure_faults(document: Any) -> list[Fault]:
    """Return the faults the schema too would find."""
    faults = Faults()
    DOCUMENT.read(document, "", faults)
    return faults.all()


def geometry_of(
    given: dict[str, Any], deck_position: str, faults: Faults
) -> Geometry | None:
    """Return the geometry of a file in plain form, None having added faults."""
    if "form" not in given:
        return _explicit(given, faults)
    try:
        geometry = _of_form(deck_position, tuple(sorted(given.items())))
    except FormError as error:
        faults.add(f"geometry.{error.field}", str(error), "geometry")
        return None
    if _has_short_members(geometry, "geometry", faults):
        return None
    return geometry


@lru_cache(maxsize=512)
def _of_form(deck_position: str, given: tuple[tuple[str, Any], ...]) -> Geometry:
    """Return a form's geometry; shared, and so only to be read."""
    return forms.build(**dict(given), deck_position=deck_position)


def _explicit(given: dict[str, Any], faults: Faults) -> Geometry | None:
    before = len(faults.found)
    joints = {name: given["joints"][name] for name in sorted(given["joints"])}
    _check_joint_names(joints, faults)
    members = _bars(given["members"], joints, faults)
    for name in ("pinned", "roller"):
        _check_joint(given[name], joints, f"geometry.{name}", faults)
    _check_loaded(given["loaded_joints"], joints, faults)
    if len(faults.found) > before:
        return None
    pinned, roller = given["pinned"], given["roller"]
    if abs(joints[pinned][0] - joints[roller][0]) < SAME_POINT_FT:
        message = f"expected a joint that does not stand above or below {pinned}"
        faults.add("geometry.roller", message, "geometry")
        return None
    plain = Geometry(joints, members, {}, pinned, roller, given["loaded_joints"])
    kinds = _kinds(given["kinds"], plain, faults)
    if _has_short_members(plain, "geometry.members", faults) or kinds is None:
        return None
    return Geometry(joints, members, kinds, pinned, roller, given["loaded_joints"])


def _check_joint_names(joints: Mapping[str, Any], faults: Faults) -> None:
    seen: dict[str, str] = {}
    for name in joints:
        other = seen.setdefault(name.upper(), name)
        if other != name:
            message = f"expected a name that differs from {other} in more than case"
            faults.add(child("geometry.joints", name), message, "repeated")


def _check_joint(name: str, joints: Mapping[str, Any], at: str, faults: Faults) -> bool:
    if name in joints:
        return True
    faults.add(at, f"expected a joint of this geometry, found {quoted(name)}", "joint")
    return False


def _bars(
    given: tuple[tuple[str, str], ...], joints: Mapping[str, Any], faults: Faults
) -> tuple[tuple[str, str], ...]:
    pairs: set[frozenset[str]] = set()
    names: set[str] = set()
    for number, (a, b) in enumerate(given):
        at = child("geometry.members", number)
        known = [
            _check_joint(end, joints, child(at, place), faults)
            for place, end in enumerate((a, b))
        ]
        if not all(known):
            continue
        if a == b:
            faults.add(at, f"expected two joints, found {a} twice", "zero-length")
        elif frozenset((a, b)) in pairs:
            faults.add(at, f"expected each member once, found {a}{b} again", "repeated")
        elif (a + b).upper() in names:
            message = f"expected names that tell members apart, found {a}{b} twice"
            faults.add(at, message, "repeated")
        pairs.add(frozenset((a, b)))
        names.add((a + b).upper())
    return tuple((a, b) for a, b in given)


def _check_loaded(
    loaded: tuple[str, ...], joints: Mapping[str, Any], faults: Faults
) -> None:
    at = "geometry.loaded_joints"
    known = [
        _check_joint(name, joints, child(at, number), faults)
        for number, name in enumerate(loaded)
    ]
    if not all(known):
        return
    for number in range(1, len(loaded)):
        before, here = loaded[number - 1], loaded[number]
        if joints[here][0] - joints[before][0] < SAME_POINT_FT:
            message = f"expected a joint beyond {before} in x, found {here}"
            faults.add(child(at, number), message, "order")


def _kinds(
    given: Mapping[str, str], geometry: Geometry, faults: Faults
) -> dict[str, str] | None:
    known = geometry.spellings
    kinds: dict[str, str] = {}
    before = len(faults.found)
    for text, kind in given.items():
        name = known.get(forms.spelled(text))
        at = child("geometry.kinds", text)
        if name is None:
            faults.add(at, "expected a member of this geometry", "member")
        elif kinds.setdefault(name, kind) != kind:
            faults.add(at, f"expected one kind for {name}, found two", "repeated")
    return kinds if len(faults.found) == before else None


def _has_short_members(geometry: Geometry, at: str, faults: Faults) -> bool:
    short = False
    for number, (a, b) in enumerate(geometry.members):
        if geometry.lengths_ft[number] < SAME_POINT_FT:
            where = child(at, number) if at.endswith("members") else at
            message = f"expected every member to have a length, {a}{b} has none"
            faults.add(where, message, "zero-length")
            short = True
    return short


# --- members ---------------------------------------------------------------------------


def _members(
    plain: dict[str, Any], geometry: Geometry, faults: Faults
) -> tuple[MemberInput, ...]:
    exact = set(geometry.names)
    material = material_of(plain.get("material"))
    kinds = geometry.kinds
    last: dict[str, dict[str, Any]] = {}
    for number, group in enumerate(plain["members"]):
        at = child("members", number)
        read = group_of(group, at, faults)
        for place, text in enumerate(group["names"]):
            # Most are spelled as they are answered.
            name = text
            if text not in exact:
                name = geometry.spellings.get(forms.spelled(text))
            if name is None:
                message = f"expected a member of this geometry, found {quoted(text)}"
                faults.add(child(f"{at}.names", place), message, "member")
            else:
                last[name] = read
        for name, kind in geometry.kinds.items():
            if kind in group["kinds"]:
                last[name] = read
    return tuple(
        _kept(
            member_of(ends, length, last.get(ends[0] + ends[1]), plain, material, kinds)
        )
        for ends, length in zip(geometry.members, geometry.lengths_ft, strict=True)
    )


@lru_cache(maxsize=8192)
def _kept(member: MemberInput) -> MemberInput:
    """Return the member met before that is equal, so that it is soon told to be so."""
    return member


def member_of(
    ends: tuple[str, str],
    length: float,
    group: dict[str, Any] | None,
    plain: dict[str, Any],
    material: Material | None,
    kinds: Mapping[str, str],
) -> MemberInput:
    """Return a member from the last group that names it, of a file in plain form."""
    name = ends[0] + ends[1]
    kind = kinds.get(name)
    if group is None:
        return MemberInput(name, kind, length, material=material)
    if group["absent"]:
        return MemberInput(name, kind, length, is_covered=True, is_absent=True)
    return MemberInput.of(
        name=name,
        kind=kind,
        length_ft=length,
        is_covered=True,
        is_absent=False,
        components=group["components"],
        section=group["section"],
        material=group["own_material"] or material,
        tension_only=group.get("tension_only", group["by_shape"]),
        loss_fraction=group["loss_fraction"],
        unbraced_in_plane_ft=group.get("unbraced_in_plane_ft", length),
        unbraced_out_of_plane_ft=group.get("unbraced_out_of_plane_ft", length),
        k=group.get("k", DEFAULT_K[plain["connection"]]),
        tightened_in=group["tightened_in"],
    )


def group_of(group: dict[str, Any], at: str, faults: Faults) -> dict[str, Any]:
    """Return a group with its components and section in the engine's own types."""
    components = tuple(
        _component(given, child(f"{at}.components", number), faults)
        for number, given in enumerate(group.get("components", ()))
    )
    if components and all(piece.carries != "all" for piece in components):
        message = "expected at least one component that carries all"
        faults.add(f"{at}.components", message, "combination")
    if "built_up" in group:
        components = _built_up_group(group["built_up"], components, at, faults)
    return group | {
        "components": components,
        "section": _section(group.get("section"), at, faults),
        "own_material": material_of(group.get("material")),
        "by_shape": bool(components) and sections.is_tension_shape(components),
    }


def _built_up_group(
    given: dict[str, Any], components: tuple[Component, ...], at: str, faults: Faults
) -> tuple[Component, ...]:
    tied = [
        piece
        for piece in components
        if piece.shape in TIED_COUNTS and piece.built_up is None
    ]
    # Plates and bars riveted to a pair leave no doubt; angles beside channels do.
    pair = [piece for piece in tied if piece.shape != "angle"] or tied
    if len(pair) != 1 or pair[0].count not in TIED_COUNTS[pair[0].shape]:
        message = (
            "expected one component of two channels or I-beams, or of two or four "
            "angles, not yet built up"
        )
        faults.add(f"{at}.built_up", message, "combination")
        return components
    made = replace(pair[0], built_up=_built_up(given))
    _check_built_up(made, f"{at}.built_up", faults)
    return tuple(made if piece is pair[0] else piece for piece in components)


#: How many of a shape can be tied into one section.
TIED_COUNTS = {"channel": (2,), "i-beam": (2,), "angle": (2, 4)}


def _check_built_up(piece: Component, at: str, faults: Faults) -> None:
    """Refuse ties of pieces that cannot stand so."""
    how = piece.built_up
    if how is None:
        return
    if piece.count == 4 and how.box_depth_in <= 2.0 * piece.leg_in:
        message = f"expected more than two legs, {2.0 * piece.leg_in:g}, of four angles"
        faults.add(f"{at}.box_depth_in", message, "proportion")
    if piece.count == 4 and how.webs_apart_in <= 2.0 * piece.other_leg_in:
        message = f"expected more than two legs, {2.0 * piece.other_leg_in:g}"
        faults.add(f"{at}.webs_apart_in", message, "proportion")


def _component(given: dict[str, Any], at: str, faults: Faults) -> Component:
    values = dict(given)
    values["material"] = material_of(given.get("material"))
    values["built_up"] = _built_up(given["built_up"]) if "built_up" in given else None
    component = Component(**values)
    if component.built_up is not None:
        counts = TIED_COUNTS[component.shape]
        if component.count not in counts:
            among = " or ".join(str(count) for count in counts)
            message = f"expected {among}, because built_up makes one section of them"
            faults.add(f"{at}.count", message, "combination")
        _check_built_up(component, f"{at}.built_up", faults)
    for key, message in _proportion_faults(component):
        faults.add(f"{at}.{key}", message, "proportion")
    if component.weight_plf:
        try:
            sections.rolled_shape(
                component.shape, component.depth_in, component.weight_plf
            )
        except UnknownShape as error:
            faults.add(f"{at}.weight_plf", f"expected a listed shape; {error}", "shape")
    return component


def _proportion_faults(component: Component) -> list[tuple[str, str]]:
    """Return the measurements of one component that cannot go together."""
    found = []
    worn = sections.WORN_SIZE.get(component.shape)
    if component.remaining_in and worn:
        whole = getattr(component, worn)
        if component.remaining_in > whole:
            found.append(("remaining_in", f"expected at most {whole:g}, what it was"))
    if component.longer_in and component.carries != "all":
        found.append(("longer_in", "expected only of bars that carry all"))
    if component.shape == "angle":
        leg = min(component.leg_in, component.other_leg_in)
        if component.thickness_in >= leg:
            found.append(("thickness_in", f"expected less than the {leg:g} in leg"))
    if component.flange_width_in:
        if 2.0 * component.flange_thickness_in >= component.depth_in:
            half = component.depth_in / 2.0
            found.append(
                ("flange_thickness_in", f"expected less than half the depth, {half:g}")
            )
        if component.web_thickness_in >= component.flange_width_in:
            width = component.flange_width_in
            found.append(
                ("web_thickness_in", f"expected less than the flange, {width:g}")
            )
    return found


def _built_up(given: dict[str, Any]) -> BuiltUp:
    cover, bottom = given.get("cover_plate", {}), given.get("bottom_plate", {})
    lacing = given.get("lacing")
    crossed, planes, systems = 0.0, 2, 1
    if lacing is not None:
        planes, systems = lacing["planes"], 2 if lacing["double"] else 1
        crossed = planes * systems * lacing["width_in"] * lacing["thickness_in"]
    return BuiltUp(
        given["webs_apart_in"],
        given["flanges"],
        given["tied_by"],
        cover.get("width_in", 0.0),
        cover.get("thickness_in", 0.0),
        bottom.get("width_in", 0.0),
        bottom.get("thickness_in", 0.0),
        given.get("box_depth_in", 0.0),
        crossed,
        60.0 if lacing is None else lacing["degrees"],
        given.get("battens_apart_in", 0.0),
        given.get("untied_ft", 0.0),
        given.get("pin_height_in", 0.0),
        0.0 if lacing is None else lacing["thickness_in"],
        planes,
        systems,
    )


def _section(
    given: dict[str, Any] | None, at: str, faults: Faults
) -> GivenSection | None:
    if given is None:
        return None
    section = GivenSection(**{"net_area_in2": given["area_in2"]} | given)
    if section.net_area_in2 > section.area_in2:
        message = f"expected at most the gross area, {section.area_in2:g}"
        faults.add(f"{at}.section.net_area_in2", message, "proportion")
    if section.i_out_of_plane_in4 and section.r_out_of_plane_in:
        radius = math.sqrt(section.i_out_of_plane_in4 / section.area_in2)
        if abs(radius / section.r_out_of_plane_in - 1.0) > 0.02:
            message = f"expected to agree with the radius: r is then {radius:.3g} in"
            faults.add(f"{at}.section.i_out_of_plane_in4", message, "proportion")
    return section


def material_of(given: dict[str, Any] | None) -> Material | None:
    """Return a material in plain form in the engine's own type."""
    return None if given is None else Material(**given)


def _check_timber_method(plain: dict[str, Any], faults: Faults) -> None:
    """Refuse load-factor rating of timber, for which nothing is published."""
    if plain["method"] != "load-factor":
        return
    named = [
        plain.get("material"),
        *(group.get("material") for group in plain["members"]),
    ]
    for group in plain["members"]:
        named += [piece.get("material") for piece in group.get("components", ())]
    system = plain.get("floor_system", {})
    for beam in (system.get("stringers", {}), system.get("floor_beams", {})):
        named.append(beam.get("material"))
        named += [piece.get("material") for piece in beam.get("components", ())]
    if any(given is not None and given.get("kind") == "timber" for given in named):
        message = "expected allowable-stress: timber has no load-factor resistance"
        faults.add("method", message, "combination")


# --- loads and chord -------------------------------------------------------------------


def _dead_load(given: dict[str, Any], geometry: Geometry, faults: Faults) -> DeadLoad:
    # A dead load left out has the defaults of an empty one.
    plain = given or DEAD_LOAD.read({}, "dead_load", faults)
    joints = plain["joints_kip"]
    for name in joints:
        at = child("dead_load.joints_kip", name)
        _check_joint(name, geometry.joints, at, faults)
    details = plain.get("self_weight", {}).get("details_factor", 0.0)
    floor = plain.get("floor")
    return DeadLoad(
        plain["uniform_plf"],
        tuple(sorted((name, kip) for name, kip in joints.items() if kip)),
        details,
        None if floor is None else _floor(floor),
    )


def _floor(given: dict[str, Any]) -> Floor:
    stringers = given.get("stringers")
    return Floor(
        given.get("roadway_ft", 0.0),
        tuple(
            Layer(layer["material"], layer.get("thickness_in"), layer.get("psf"))
            for layer in given["layers"]
        ),
        None if stringers is None else Stringers(**stringers),
        given["floor_beams_lb_each"],
        given["railing_plf"],
        given["share"],
    )


def _floor_system(plain: dict[str, Any], faults: Faults) -> FloorSystem | None:
    given = plain.get("floor_system")
    if given is None:
        return None
    material = material_of(plain.get("material"))
    beam, stringers = given.get("floor_beams"), given.get("stringers")
    return FloorSystem(
        given["roadway_ft"],
        given.get("trusses_apart_ft"),
        None
        if stringers is None
        else StringerBeams(
            _beam(stringers, "floor_system.stringers", material, faults),
            stringers["count"],
            stringers.get("spacing_ft", 0.0),
            stringers.get("wheel_share", 0.0),
        ),
        None
        if beam is None
        else _beam(beam, "floor_system.floor_beams", material, faults),
    )


def _pins(plain: dict[str, Any], geometry: Geometry, faults: Faults) -> tuple[Pin, ...]:
    known = geometry.spellings
    ends_of = {a + b: (a, b) for a, b in geometry.members}
    material = material_of(plain.get("material"))
    pins: list[Pin] = []
    for number, given in enumerate(plain["pins"]):
        at = child("pins", number)
        if not _check_joint(given["joint"], geometry.joints, f"{at}.joint", faults):
            continue
        if any(pin.joint == given["joint"] for pin in pins):
            faults.add(f"{at}.joint", "expected one pin for each joint", "repeated")
        names = [
            None if "member" not in bar else known.get(forms.spelled(bar["member"]))
            for bar in given["packing"]
        ]
        packing = []
        for place, (bar, name) in enumerate(zip(given["packing"], names, strict=True)):
            where = child(f"{at}.packing", place)
            ends = ends_of.get(name or "", ())
            if "member" in bar and given["joint"] not in ends:
                message = f"expected a member that ends at {given['joint']}"
                faults.add(f"{where}.member", message, "member")
            even = 1.0 / names.count(name)
            packing.append(
                PackedBar(
                    name, bar["thickness_in"], bar.get("part", even), bar["gap_in"]
                )
            )
        for name in {name for name in names if name is not None}:
            whole = sum(bar.part for bar in packing if bar.member == name)
            if abs(whole - 1.0) > 0.01:
                message = f"expected parts of {name} that come to 1, found {whole:g}"
                faults.add(f"{at}.packing", message, "proportion")
        pins.append(
            Pin(
                given["joint"],
                given["diameter_in"],
                tuple(packing),
                material_of(given.get("material")) or material,
                given["turns"],
            )
        )
    return tuple(pins)


def _beam(
    given: dict[str, Any], at: str, material: Material | None, faults: Faults
) -> Beam:
    components = tuple(
        _component(piece, child(f"{at}.components", number), faults)
        for number, piece in enumerate(given.get("components", ()))
    )
    own = {piece.material for piece in components if piece.material is not None}
    named = material_of(given.get("material"))
    if len(own | ({named} if named else set())) > 1:
        message = "expected one material in one beam"
        faults.add(f"{at}.material", message, "combination")
    for number, piece in enumerate(components):
        if piece.carries != "all":
            where = child(f"{at}.components", number)
            message = "expected all: pieces of a beam bend together"
            faults.add(f"{where}.carries", message, "combination")
        if piece.built_up is not None:
            where = child(f"{at}.components", number)
            message = "expected pieces side by side: a beam is not tied together"
            faults.add(f"{where}.built_up", message, "combination")
    girder = given.get("girder")
    if girder is not None and girder["depth_in"] <= 2.0 * girder["leg_in"]:
        message = f"expected more than two legs, {2.0 * girder['leg_in']:g}"
        faults.add(f"{at}.girder.depth_in", message, "proportion")
    for leg in ("leg_in", "other_leg_in"):
        if girder is not None and girder["angle_thickness_in"] >= girder[leg]:
            message = f"expected less than the {girder[leg]:g} in leg"
            faults.add(f"{at}.girder.angle_thickness_in", message, "proportion")
    return Beam(
        components,
        None if girder is None else Girder(**girder),
        named or next(iter(own), material),
        given["loss_fraction"],
    )


def _live_load(
    given: dict[str, Any] | None, geometry: Geometry, faults: Faults
) -> LiveLoad | None:
    if given is None:
        return None
    axles = sorted(
        (axle["behind_front_ft"], axle["kip"]) for axle in given.get("axles", ())
    )
    if axles and axles[0][0] != 0.0:
        message = "expected 0 for the front axle"
        faults.add("live_load.axles[0].behind_front_ft", message, "order")
    lever = given.get("lever")
    if lever is not None:
        _check_lever(lever, faults)
    impact = given["impact"]
    if "crowd" in given and impact != 0.0:
        faults.add("live_load.impact", "expected none with a crowd", "combination")
    return LiveLoad(
        given.get("vehicle"),
        tuple(kip for _, kip in axles),
        tuple(behind for behind, _ in axles),
        given.get("lane"),
        given.get("uniform_plf", 0.0),
        given.get("fraction", 1.0),
        None if lever is None else Lever(**lever),
        None if impact == "aashto" else impact,
        _crowd(given.get("crowd"), geometry, faults),
    )


def _check_proportion(check: CheckInput, form: str | None, faults: Faults) -> None:
    """Refuse so many bars that only pull, and axles, that an answer would take long."""
    present = [one for one in check.members if not one.is_absent]
    rods = sum(one.tension_only for one in present)
    if rods > MOST_RODS:
        message = f"expected at most {MOST_RODS} bars that only pull, found {rods}"
        faults.add("members", message, "proportion")
    surplus = len(present) + 3 - 2 * len(check.geometry.joints)
    if form is None and min(rods, surplus) > MOST_COUNTERED:
        message = (
            f"expected at most {MOST_COUNTERED} bars more than it takes to stand "
            f"where so many only pull, found {surplus}"
        )
        faults.add("geometry.members", message, "proportion")
    if check.live_load is None:
        return
    panels = len(check.geometry.loaded_joints) - 1
    most = [MOST_AXLES]
    if form is not None and FORMS[form].most_panels == MOST_CROSSED_PANELS:
        most.append(MOST_AXLES_BY_PANELS // panels)
    if rods > MANY_RODS:
        most.append(MOST_AXLES_ON_RODS // panels)
        if form is None and surplus > 0:
            most.append(MOST_AXLES_BY_SURPLUS // surplus)
    axles = len(check.live_load.axle_kip)
    if axles > min(most):
        message = (
            f"expected at most {min(most)} axles on {panels} panels of such a truss, "
            f"found {axles}"
        )
        faults.add("live_load.axles", message, "proportion")


def _crowd(
    given: dict[str, Any] | None, geometry: Geometry, faults: Faults
) -> Crowd | None:
    if given is None:
        return None
    psf, width = given["psf"], given["width_ft"]
    if isinstance(psf, str):
        loaded = geometry.loaded_joints
        span = geometry.joints[loaded[-1]][0] - geometry.joints[loaded[0]][0]
        by_area = psf == "aashto-1997"
        psf = crowd_psf(width * span) if by_area else sidewalk_psf(span, width)
        if not psf > 0.0:
            message = "expected less than 55, or a number in psf"
            faults.add("live_load.crowd.width_ft", message, "proportion")
    return Crowd(psf, width, given["share"])


def _check_lever(lever: dict[str, Any], faults: Faults) -> None:
    needed = lever["gauge_ft"] + 2.0 * lever["curb_clear_ft"]
    if lever["roadway_ft"] < needed - 1e-9:
        message = f"expected at least {needed:g}, the wheels and their clearances"
        faults.add("live_load.lever.roadway_ft", message, "proportion")
    abreast = (lever["vehicles"] - 1) * ABREAST_FT
    if abreast and lever["roadway_ft"] < needed + abreast - 1e-9:
        message = f"expected at least {needed + abreast:g} for two vehicles abreast"
        faults.add("live_load.lever.roadway_ft", message, "proportion")
    if lever["trusses_apart_ft"] < lever["roadway_ft"]:
        message = f"expected at least the roadway, {lever['roadway_ft']:g}"
        faults.add("live_load.lever.trusses_apart_ft", message, "proportion")


def _check_chord_stiffness(check: CheckInput, faults: Faults) -> None:
    """Refuse a chord whose bars' sideways stiffness nothing in the file gives."""
    line = upper_chord(check.geometry)
    steps = {frozenset(pair) for pair in pairwise(line)}
    unknown = []
    for member, ends in zip(check.members, check.geometry.members, strict=True):
        if frozenset(ends) not in steps or member.is_absent:
            continue
        section = resistance.bare_section(member)
        if section is None or section.i_out_of_plane_in4 is None:
            unknown.append(member.name)
    if unknown:
        message = (
            "expected components, or a section with r_out_of_plane_in or "
            f"i_out_of_plane_in4, for {', '.join(unknown)}"
        )
        faults.add("chord", message, "required")


def _chord(
    given: dict[str, Any] | None, geometry: Geometry, faults: Faults
) -> Chord | None:
    if given is None:
        return None
    line = upper_chord(geometry)
    if not line:
        message = "expected members of kind upper-chord that make one line of bars"
        faults.add("chord", message, "geometry")
        return None
    inner = line[1:-1]
    stiffness = given.get("frame_stiffness_kip_per_in")
    end = given["end_stiffness_kip_per_in"]
    if stiffness is None:
        return Chord((), end, Frames(**given["frames"]))
    if isinstance(stiffness, float):
        return Chord(tuple((joint, stiffness) for joint in inner), end)
    at = "chord.frame_stiffness_kip_per_in"
    for name in stiffness:
        if name not in inner:
            message = f"expected an interior upper joint: {', '.join(inner)}"
            faults.add(child(at, name), message, "joint")
    for name in inner:
        if name not in stiffness:
            message = "expected a stiffness for every interior upper joint"
            faults.add(child(at, name), message, "required")
    return Chord(tuple((joint, stiffness.get(joint, 0.0)) for joint in inner), end)
