"""Recorded configurations into check files: the one place that knows rows and engine.

Everything the record does not say and the check needs is taken from common practice,
and said as an assumption in words. Nothing is assumed of a member's size: a member
without recorded pieces is answered with its force only.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

from analysis.engine import beams, checkfile
from analysis.engine.errors import UnknownShape
from analysis.engine.materials import WEIGHT_PCF
from analysis.engine.sections import Component as EnginePiece
from surveys import packing
from surveys.fold import Part
from surveys.models import Component
from surveys.states import DECK_MATERIALS

from . import layout, usual

# Common practice, not a published rule: rivets, pins, tie plates and lacing weigh a
# fifth of the bars (engineering notes give 15 to 25 %).
DETAILS_FACTOR = 1.2
SCREENING_VEHICLE = "H15"
# The year a metal is given where the record has none.
OLDEST = {"wrought-iron": 1880, "steel": 1900}
FLOOR_MATERIALS = {"timber", "concrete", "steel-grid", "asphalt", "gravel", "earth"}
# Sizes of the pieces that check files take, by the names states give them.
PIECE_KEYS = ("shape", "count", *Component.SIZES, "ends")
ENDED = {"round-rod", "square-rod"}
# Pieces that are measured where they are thinnest, and by what; pieces with rivet holes.
WORN = {"round-rod", "square-rod", "eyebar", "flat-bar", "plate", "angle"}
WORN_SIZES = ("diameter_in", "side_in", "thickness_in")
HOLED = {"flat-bar", "plate", "angle", "channel", "i-beam"}


@dataclass
class Translation:
    """A check file, or why there is none, with what was taken for granted."""

    document: dict | None
    gaps: list[str] = field(default_factory=list)
    assumptions: list[str] = field(default_factory=list)
    # Parts of the floor whose weight is taken as the middle of what such parts weigh.
    assumed: list[str] = field(default_factory=list)
    # The file as the engine read it.
    check: checkfile.CheckInput | None = None

    @cached_property
    def sha256(self):
        """Return the hash of the question, None where there is no file."""
        return None if self.check is None else checkfile.sha256_of(self.check)


@dataclass
class Kept:
    """What was made of spans and states before, which are only read.

    By identity, and holding on to what it was made of, so that no other gets its place.
    """

    _made: dict = field(default_factory=dict)

    def of(self, make, *things):
        """Return what ``make`` makes of some things."""
        key = (make, *map(id, things))
        known = self._made.get(key)
        if known is None:
            known = self._made[key] = (make(*things), things)
        return known[0]


def read_alone(document, labels) -> checkfile.CheckInput:
    """Read one file; ``alike.Reader.read`` reads many of which most is the same."""
    return checkfile.read(document)


def check_file(
    line, parts: dict[str, Part], title="", read=read_alone, kept: Kept | None = None
) -> Translation:
    """Write the check file of one truss line from a configuration.

    ``line`` with ``span`` and ``span.bridge`` loaded; ``parts`` as
    ``Record.configuration`` returns them. US customary units throughout; loads are on
    this truss line. ``read`` makes the engine's input of a document and a label of each
    of its groups; ``kept`` is given where many files are written that are much alike.
    """
    span = line.span
    kept = kept or Kept()
    made = Translation(None)
    geometry = layout.geometry_block(span)
    if geometry is None:
        made.gaps.append(_why_no_geometry(span))
        return made
    members = _member_groups(line, parts, made, kept)
    if not any("components" in group for group in members.values()):
        made.gaps.append("No member of this truss has recorded sizes.")
        return made
    prefix = f"span-{span.number}/"
    about = [
        part
        for path, part in parts.items()
        if path.startswith(prefix) and path.count("/") == 1
    ]
    of_span = kept.of(_of_span, span, *about)
    made.assumptions += of_span.assumptions
    made.assumed += of_span.assumed
    made.document = {
        "title": title or f"{line.name} truss",
        "geometry": geometry,
        **of_span.head,
        "members": list(members.values()),
        **of_span.tail,
    }
    pins = _pins(line, parts, made)
    if pins:
        made.document["pins"] = pins
    return _readable(made, list(members), read)


@dataclass
class _OfSpan:
    """What all truss lines of a span have in common in one configuration."""

    assumptions: list[str] = field(default_factory=list)
    assumed: list[str] = field(default_factory=list)
    head: dict = field(default_factory=dict)
    tail: dict = field(default_factory=dict)


def _of_span(span, *about):
    """Write what a configuration of the span, these parts of it, says of each line."""
    parts = {part.element: part for part in about}
    made = _OfSpan()
    made.head = {
        "deck_position": _deck_position(span, made),
        "connection": _connection(span, made),
        "material": _material(span, made),
    }
    made.tail = {
        "dead_load": _dead_load(span, parts, made),
        "live_load": _live_load(span, made),
        "method": "allowable-stress",
    }
    system = _floor_system(span, parts)
    if system:
        made.tail["floor_system"] = system
    return made


def _readable(made, labels, read):
    """Turn a file that the engine would refuse into gaps that a person can mend."""
    try:
        made.check = read(made.document, labels)
    except checkfile.CheckFileError as error:
        made.document = None
        made.gaps += [
            f"The record cannot be checked: {one.path}: {one.message}."
            for one in error.faults
        ]
    return made


def _why_no_geometry(span):
    if layout.engine_form(span.form) is None:
        return "This form is not one that the truss check knows."
    return "The number of panels, the panel length and the depth are not all recorded."


def _deck_position(span, made):
    if span.deck_position == "unknown":
        made.assumptions.append(
            "Taken as a through truss: the position of the deck is not recorded."
        )
        return "through"
    return span.deck_position


def _connection(span, made):
    if span.connection in ("pin", "riveted"):
        return span.connection
    made.assumptions.append(
        "Joints are taken as pins for the length of compression members."
    )
    return "pin"


def _material(span, made):
    kind = {"cast-and-wrought-iron": "wrought-iron"}.get(span.material, span.material)
    if span.material == "cast-and-wrought-iron":
        made.assumptions.append(
            "Pieces of recorded size are taken as wrought iron, since what was cast "
            "has none of these shapes; cast iron is not assessed here."
        )
    if kind not in ("wrought-iron", "steel", "timber"):
        made.assumptions.append("Taken as steel: the metal is not recorded.")
        kind = "steel"
    year = _year_of(span)
    if year is None:
        made.assumptions.append(
            "Taken as the oldest and weakest metal of its kind: no date is recorded."
        )
        year = OLDEST.get(kind, OLDEST["steel"])
    return {"kind": kind, "year": year}


@dataclass(frozen=True)
class _Group:
    """What the file says of a member, and of all that are like it.

    ``label`` is the whole of it as text; ``is_untied`` where lacing is left out.
    """

    body: dict
    label: str
    is_untied: bool

    @classmethod
    def of(cls, body, is_untied=False):
        return cls(body, repr(body), is_untied)


ABSENT = _Group.of({"absent": True})


def _group_of(state) -> _Group | None:
    """Return what a file says of a member in this state, None without any size."""
    pieces = _worn(_pieces(state), state)
    if not pieces:
        return None
    body = {"components": pieces, **_rest(state)}
    is_untied = not body.get("built_up") and (
        state.get("lacing_bars") or state.get("untied_ft")
    )
    return _Group.of(body, bool(is_untied))


def _of_metal(group, metal) -> _Group | None:
    """Return the group of a member of a timber span, None where it is of timber."""
    if any(one["shape"] == "timber" for one in group.body["components"]):
        return None
    return _Group.of({**group.body, "material": metal}, group.is_untied)


def _member_groups(line, parts, made, kept):
    """Return the groups of members that are alike, by their label, as first met."""
    span = line.span
    prefix = f"span-{span.number}/{line.key}/"
    groups: dict[str, dict] = {}
    bare, in_metal, untied = [], [], []
    metal = kept.of(_metal_of_timber_span, span)
    for name, _, _, _ in (span.skeleton or {}).get("members", []):
        part = parts.get(prefix + name)
        if part is not None and part.is_gone:
            group = ABSENT
        elif part is None or not part.state:
            group = None
        else:
            group = kept.of(_group_of, part.state)
        if group is None:
            bare.append(name)
            continue
        if group.is_untied:
            untied.append(name)
        if span.material == "timber" and group is not ABSENT:
            of_metal = kept.of(_of_metal, group, metal)
            if of_metal is not None:
                group = of_metal
                in_metal.append(name)
        known = groups.get(group.label)
        if known is None:
            groups[group.label] = {"names": [name], **group.body}
        else:
            known["names"].append(name)
    if bare:
        made.assumptions.append(
            f"No sizes are recorded for {', '.join(bare)}: answered with force only."
        )
    if untied:
        made.assumptions.append(
            f"The lacing of {', '.join(untied)} is left out: how its pieces stand apart "
            "is not recorded."
        )
    if in_metal:
        made.assumptions.append(
            f"The metal of {', '.join(in_metal)} is taken as "
            f"{metal['kind'].replace('-', ' ')} of {metal['year']}: the span is "
            "recorded as timber."
        )
    return groups


def _metal_of_timber_span(span):
    """Rods and bars of a timber truss are iron or steel by the year of the span.

    Common practice, not a published rule: wrought iron until the middle 1890s.
    """
    year = _year_of(span) or OLDEST["wrought-iron"]
    return {"kind": "wrought-iron" if year < 1895 else "steel", "year": year}


def _year_of(span):
    dated = span.made_in_earliest or span.bridge.built_earliest
    return dated.year if dated else None


def _pieces(state):
    """Pieces whose sizes are known, with what load each carries."""
    found = []
    for piece in state.get("components", []):
        kept = {key: piece[key] for key in PIECE_KEYS if key in piece}
        if kept["shape"] not in ENDED:
            kept.pop("ends", None)
        if len(kept) <= 2:
            continue
        # Metal put on while the dead load was on takes live load only (rule 9).
        if piece.get("origin") == "addition" and not piece.get("dead_load_relieved"):
            kept["carries"] = "live"
        found.append(kept)
    if found and all(piece.get("carries") == "live" for piece in found):
        for piece in found:
            piece.pop("carries")
    return found


def _worn(pieces, state):
    """Put what was measured on a whole member on those of its pieces that it is about."""
    left_in, holes = state.get("remaining_in"), state.get("holes")
    for piece in pieces:
        size = next((n for n in WORN_SIZES if n in piece), None)
        if left_in and size and piece["shape"] in WORN and left_in < piece[size]:
            piece["remaining_in"] = left_in
        if holes and piece["shape"] in HOLED:
            piece |= {"holes": holes, "rivet_in": state["rivet_in"]}
    return pieces


def _rest(state):
    rest = {}
    for key in ("built_up", "tension_only", "loss_fraction", "tightened_in"):
        if state.get(key) not in (None, {}, ""):
            rest[key] = state[key]
    if "built_up" in rest:
        rest["built_up"] = dict(rest["built_up"])
        if state.get("lacing_bars"):
            rest["built_up"]["lacing"] = packing.bar_size(state["lacing_bars"])
        if state.get("untied_ft"):
            rest["built_up"]["untied_ft"] = state["untied_ft"]
    return rest


def _pins(line, parts, made):
    """Return the pins whose diameter and packing are recorded, by their joints."""
    prefix = f"span-{line.span.number}/{line.key}/"
    skeleton = line.span.skeleton or {}
    found = []
    for joint in skeleton.get("joints", {}):
        part = parts.get(prefix + joint)
        state = {} if part is None or part.is_gone else part.state or {}
        if not (state.get("pin_in") and state.get("packing")):
            continue
        bars = packing.read(state["packing"])
        ending = {name for name, a, b, _ in skeleton["members"] if joint in (a, b)}
        named = [one["member"] for one in bars if "member" in one]
        strange = [name for name in named if name not in ending]
        if strange:
            made.assumptions.append(
                f"The pin at {joint} is left out: {', '.join(strange)}, named on it, "
                "does not end there."
            )
            continue
        found.append({"joint": joint, "diameter_in": state["pin_in"], "packing": bars})
    return found


def _dead_load(span, parts, made):
    load = {"self_weight": {"details_factor": DETAILS_FACTOR}}
    floor = _floor(span, parts, made)
    if floor:
        load["floor"] = floor
    return load


def _floor(span, parts, made):
    prefix = f"span-{span.number}/"

    def state(tail):
        part = parts.get(prefix + tail)
        if part is None or part.is_gone:
            return {}
        return part.state or {}

    floor = {}
    roadway_ft = span.roadway_ft or usual.ROADWAY_FT
    floor["roadway_ft"] = roadway_ft
    if not _is_gone(parts, prefix + "deck"):
        floor["layers"] = _layers(state("deck"), made)
    stringers = state("stringers")
    plf = stringers.get("plf_each") or _weight_plf(stringers)
    if stringers.get("count") and plf:
        floor["stringers"] = {"count": stringers["count"], "plf_each": plf}
    elif not _is_gone(parts, prefix + "stringers"):
        psf = usual.middle(usual.STRINGERS_PSF)
        floor["stringers"] = {"count": 1, "plf_each": round(psf * roadway_ft, 1)}
        made.assumed.append("stringers")
        made.assumptions.append(
            f"Stringers are taken as {psf:g} lb per sq ft of roadway: their number and "
            "sizes are not recorded."
        )
    each_lb = state("floor-beams").get("each_lb")
    if not each_lb and span.trusses_apart_ft:
        each_lb = round(_weight_plf(state("floor-beams")) * span.trusses_apart_ft)
    if each_lb:
        floor["floor_beams_lb_each"] = each_lb
    elif not _is_gone(parts, prefix + "floor-beams"):
        plf = usual.middle(usual.FLOOR_BEAM_PLF)
        across_ft = span.trusses_apart_ft or roadway_ft + usual.BESIDE_ROADWAY_FT
        floor["floor_beams_lb_each"] = round(plf * across_ft)
        made.assumed.append("floor-beams")
        made.assumptions.append(
            f"Floor beams are taken as {plf:g} lb per foot: their sizes are not recorded."
        )
    if not span.roadway_ft and ("layers" in floor or "stringers" in made.assumed):
        made.assumptions.append(
            f"The floor is weighed on a roadway of {usual.ROADWAY_FT:g} ft: its width is "
            "not recorded."
        )
    railings = [
        found.get("plf", 0)
        for key, found in (
            (path, parts[path].state or {})
            for path in parts
            if path.startswith(prefix + "railing") and not parts[path].is_gone
        )
    ]
    if sum(railings):
        floor["railing_plf"] = sum(railings)
    return floor


def _floor_system(span, parts):
    """Return the beams under the deck whose sizes are recorded, None without any."""
    prefix = f"span-{span.number}/"
    found = {}
    for key, tail in (("stringers", "stringers"), ("floor_beams", "floor-beams")):
        part = parts.get(prefix + tail)
        if part is None or part.is_gone:
            continue
        beam = _beam(span, part.state or {})
        if beam:
            found[key] = beam
    if "stringers" in found:
        count = parts[f"{prefix}stringers"].state.get("count")
        if count:
            found["stringers"]["count"] = count
        else:
            del found["stringers"]
    if not span.trusses_apart_ft:
        found.pop("floor_beams", None)
    if not found or not span.roadway_ft:
        return None
    found["roadway_ft"] = span.roadway_ft
    if span.trusses_apart_ft:
        found["trusses_apart_ft"] = span.trusses_apart_ft
    return found


def _beam(span, state):
    """Write one beam of the floor: a girder of plates and angles, or pieces."""
    pieces = _pieces(state)
    if not pieces:
        return None
    for piece in pieces:
        piece.pop("carries", None)
    made = _girder(pieces)
    beam = {"components": pieces} if made is None else {"girder": made}
    kind = state.get("material")
    if kind is None and all(piece["shape"] == "timber" for piece in pieces):
        kind = "timber"
    year = _year_of(span)
    if kind == "timber":
        beam["material"] = {"kind": "timber"}
    elif kind in OLDEST:
        beam["material"] = {"kind": kind, "year": year or OLDEST[kind]}
    elif span.material == "timber":
        beam["material"] = _metal_of_timber_span(span)
    if state.get("loss_fraction"):
        beam["loss_fraction"] = state["loss_fraction"]
    return beam


def _girder(pieces):
    """Read a web plate, four angles and pairs of cover plates as one girder."""
    plates = [piece for piece in pieces if piece["shape"] == "plate"]
    angles = [piece for piece in pieces if piece["shape"] == "angle"]
    covers = plates[1:]
    if (
        len(plates) + len(angles) != len(pieces)
        or not plates
        or plates[0]["count"] != 1
        or len(angles) != 1
        or angles[0]["count"] != 4
        or len(covers) > 1
        or any(piece["count"] % 2 for piece in covers)
    ):
        return None
    girder = {
        "depth_in": plates[0]["width_in"],
        "web_thickness_in": plates[0]["thickness_in"],
        "leg_in": angles[0]["leg_in"],
        "other_leg_in": angles[0]["other_leg_in"],
        "angle_thickness_in": angles[0]["thickness_in"],
    }
    for piece in covers:
        girder["cover_width_in"] = piece["width_in"]
        girder["cover_thickness_in"] = piece["thickness_in"] * piece["count"] / 2
    return girder


def _weight_plf(state):
    """Return the weight of one beam from its pieces, 0 where their sizes are unknown.

    Plates and angles at the weight of their metal; a rolled shape that no table lists
    weighs nothing here, and the check then refuses it in words.
    """
    pieces = _pieces(state)
    if not pieces:
        return 0.0
    kind = state.get("material")
    pcf = WEIGHT_PCF.get(kind, WEIGHT_PCF["steel"])
    if all(piece["shape"] == "timber" for piece in pieces):
        pcf = WEIGHT_PCF["timber"]
    made = [
        EnginePiece(**{k: v for k, v in piece.items() if k != "carries"})
        for piece in pieces
    ]
    try:
        return round(beams.beam_section(made, pcf).weight_plf, 2)
    except UnknownShape:
        return 0.0


def _layers(state, made):
    """Return the layers of a deck: as recorded, or the middle of what such decks are."""
    layers = state.get("layers", [])
    sized = [
        one for one in layers if one["material"] in FLOOR_MATERIALS and len(one) > 1
    ]
    if sized:
        return [_layer(one) for one in sized]
    made.assumed.append("deck")
    material = usual.deck_of_unknown_thickness(layers)
    if material is None:
        psf = usual.middle(usual.DECK_PSF)
        made.assumptions.append(
            f"The deck is taken as {psf:g} lb per sq ft, midway between planks and "
            "concrete: its make and thickness are not recorded."
        )
        return [{"material": "unrecorded", "psf": psf}]
    thick_in = usual.middle(usual.DECK_THICKNESS_IN[material])
    made.assumptions.append(
        f"The {DECK_MATERIALS[material]} deck is taken as {thick_in:g} in thick: its "
        "thickness is not recorded."
    )
    return [{"material": material, "thickness_in": thick_in}]


def _layer(layer):
    """A measured weight stands before one worked out from the thickness."""
    size = "psf" if "psf" in layer else "thickness_in"
    return {"material": layer["material"], size: layer[size]}


def _is_gone(parts, path):
    return path in parts and parts[path].is_gone


def _share_of_lane(roadway_ft, trusses_apart_ft, made):
    """Return how the vehicle is shared out between the trusses, by the lever rule.

    A deck truss may carry a roadway wider than its trusses stand apart; the check file
    has no word for that, so the same rule is worked out here: wheel lines 2 and 8 ft
    from the kerb, moments about the far truss.
    """
    if roadway_ft <= trusses_apart_ft:
        return {
            "lever": {"roadway_ft": roadway_ft, "trusses_apart_ft": trusses_apart_ft}
        }
    made.assumptions.append(
        "The vehicle stands 2 ft from the kerb, outside the truss where the roadway "
        "overhangs it."
    )
    kerb_to_far = (trusses_apart_ft + roadway_ft) / 2
    arms = (kerb_to_far - 2.0) + (kerb_to_far - 8.0)
    return {"fraction": round(arms / (2 * trusses_apart_ft), 6)}


def _live_load(span, made):
    load = {"vehicle": SCREENING_VEHICLE, "impact": "aashto"}
    if span.roadway_ft and span.trusses_apart_ft:
        load |= _share_of_lane(span.roadway_ft, span.trusses_apart_ft, made)
    else:
        load["fraction"] = 0.6
        made.assumptions.append(
            "Six tenths of the vehicle on this truss: roadway and spacing of the "
            "trusses are not both recorded."
        )
    return load
