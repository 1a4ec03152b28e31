"""What the record is unsure of, as ranges, each with the words of its measurement.

Pure: no database. How far a reading may be off follows from how it was made: taped or
paced, seen or read off a photograph, sure or a guess. The widths are this project's
choice by common practice, not a published rule; what they rest on stands beside them.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from analysis.engine import sampling, sections
from analysis.engine.deadload import Floor, Layer, Stringers
from analysis.engine.question import CheckInput
from shared.units import fraction_text
from surveys import states

from .usual import (
    BESIDE_ROADWAY_FT,
    DECK_PSF,
    DECK_THICKNESS_IN,
    FLOOR_BEAM_PLF,
    ROADWAY_FT,
    STRINGERS_PSF,
    deck_of_unknown_thickness,
)

# By certainty: part of the size, and the least either way, in (thicknesses half).
SIZE_EITHER_WAY = {
    "sure": (0.01, 1 / 16),
    "probable": (0.10, 1 / 8),
    "guess": (0.25, 1 / 4),
}
# A size read off something else than the bridge: part of the size.
BASIS_EITHER_WAY = {"photograph": 0.10, "drawing": 0.03, "document": 0.03}
THICKNESSES = {
    "thickness_in",
    "cover_thickness_in",
    "flange_thickness_in",
    "web_thickness_in",
}
WEBS_APART_IN = 1 / 4
LOSS_EITHER_WAY = {"sure": 0.05, "probable": 0.10, "guess": 0.15}
# Panel length and depth, as parts of them.
GEOMETRY_EITHER_WAY = {
    "taped": 0.005,
    "document": 0.01,
    "scaled": 0.03,
    "paced": 0.05,
    "unknown": 0.05,
}
DECK_EITHER_WAY = {"sure": 0.05, "probable": 0.15, "guess": 0.30}
# Rivets, pins, tie plates and lacing weigh 15 to 25 % of the bars.
DETAILS_FACTOR = (1.15, 1.25)
# Part of one vehicle on the nearer truss, from trusses centred on it to wide roadways.
LANE = (0.5, 0.75)
# Strength over what the tables take. Wrought iron: tables 26 ksi at yield, tests of
# old iron 18 to 33, means of 30 (two Indiana bridges) and 33 (19th-century tests).
# Steel: tables are set below most coupons; from memory. Timber: grade is not known.
STRENGTH = {"wrought-iron": (0.85, 1.30), "steel": (0.90, 1.25), "timber": (0.70, 1.40)}
STRENGTH_UNDATED = 1.40

TAPE, CALIPER, LOOK = "tape", "caliper", "look"
SIZE_WORDS = {
    "width_in": "the width of {}",
    "thickness_in": "the thickness of {}",
    "diameter_in": "the diameter of {}",
    "side_in": "the side of {}",
    "depth_in": "the depth of {}",
    "leg_in": "the longer leg of {}",
    "other_leg_in": "the shorter leg of {}",
    "flange_width_in": "the flange width of {}",
    "flange_thickness_in": "the flange thickness of {}",
    "web_thickness_in": "the web thickness of {}",
    "cover_width_in": "the width of {}",
    "cover_thickness_in": "the thickness of {}",
    "webs_apart_in": "how far apart {} stand, back to back",
}


@dataclass(frozen=True)
class Measure:
    """What somebody could do about one unknown, on one truss line or the whole span.

    ``act`` is said of the place: “tape the thickness of the end-post cover plate”.
    ``paths`` are the elements it is about. ``can_measure`` is False for what no tape
    settles.
    """

    key: str
    act: str
    quantity: str
    paths: tuple[str, ...]
    is_of_line: bool
    can_measure: bool = True
    # What stands in the record now: “recorded as 3 in, good to 1/16 in either way”.
    known: str = ""


@dataclass
class Ranges:
    """The unknowns of one truss line, the words of each, and what no range covers."""

    unknowns: list[sampling.Unknown] = field(default_factory=list)
    measures: list[Measure] = field(default_factory=list)

    def add(
        self, unknown, act, quantity, paths, *, is_of_line, can_measure=True, known=""
    ):
        self.unknowns.append(unknown)
        self.measures.append(
            Measure(
                unknown.key,
                act,
                quantity,
                tuple(paths),
                is_of_line,
                can_measure,
                known,
            )
        )


def ranges(line, parts, basis_of, check: CheckInput, assumed=()) -> Ranges:
    """Return what is unsure of one truss line.

    ``basis_of(part)`` says how the visit that described a part was made; ``check`` is
    its check file, read; ``assumed`` are the parts of the floor whose weight in it is
    the middle of what such parts weigh.
    """
    found = Ranges()
    _sizes(found, line, parts, basis_of, check)
    _geometry(found, line.span)
    _floor(found, line.span, parts, check, assumed)
    _lane(found, line.span, check)
    _strengths(found, line.span, check)
    return found


# --- sizes of members ------------------------------------------------------------------


def _sizes(found, line, parts, basis_of, check):
    """Bars of one kind recorded alike are alike: one reading settles them all."""
    prefix = f"span-{line.span.number}/{line.key}/"
    alike: dict[tuple, list] = {}
    for member in check.members:
        if member.is_absent or not member.components:
            continue
        part = parts.get(prefix + member.name)
        certainty, basis = "sure", "in-person"
        if part is not None:
            certainty = part.certainty
            if part.doubt and certainty == "sure":
                certainty = "probable"
            basis = basis_of(part)
        key = (
            member.kind,
            member.components,
            member.loss_fraction,
            certainty,
            basis,
        )
        alike.setdefault(key, []).append(member)
    for (kind, components, loss, certainty, basis), members in alike.items():
        names = tuple(member.name for member in members)
        all_of_kind = [m for m in check.members if m.kind == kind and not m.is_absent]
        where = members_words(kind, names, len(all_of_kind) == len(names))
        told = _Told(found, names, [prefix + name for name in names], where, kind)
        for number, piece in enumerate(components):
            _piece_sizes(told, number, piece, certainty, basis)
        if loss:
            either = LOSS_EITHER_WAY[certainty]
            told.size(
                -1,
                "loss_fraction",
                max(loss - either, 0.0),
                min(loss + either, 0.95),
                f"measure what is left of the section of {where}",
            )
            found.measures[-1] = replace(
                found.measures[-1], known=f"recorded as {100 * loss:.0f}% lost"
            )


@dataclass(frozen=True)
class _Told:
    """Members that are alike, and where what is unsure of them goes."""

    found: Ranges
    names: tuple[str, ...]
    paths: list[str]
    where: str
    kind: str | None

    def key(self, piece, name):
        return f"{self.kind} {','.join(self.names)} {piece} {name}"

    def size(self, piece, name, low, high, act):
        unknown = sampling.Size(
            self.key(piece, name), self.names, piece, name, low, high
        )
        self.found.add(
            unknown, act, name, self.paths, is_of_line=True, known=_known(low, high)
        )

    def choice(self, piece, name, choices, act):
        unknown = sampling.Choice(
            self.key(piece, name), self.names, piece, name, choices
        )
        self.found.add(unknown, act, name, self.paths, is_of_line=True)


def _piece_sizes(told, number, piece, certainty, basis):
    noun = _piece_words(piece, len(told.names))
    listed = bool(piece.weight_plf)
    for name in states.SIZES_BY_SHAPE[piece.shape] + states.MEASURED_SHAPE:
        value = getattr(piece, name, 0.0)
        if not value or name == "weight_plf" or (listed and name == "depth_in"):
            continue
        low, high = _either_way(name, value, certainty, basis)
        told.size(number, name, low, high, _act(name, f"the {noun} of {told.where}"))
    if listed and certainty != "sure":
        weights = _weights_near(piece)
        if len(weights) > 1:
            told.choice(
                number,
                "weight_plf",
                weights,
                f"caliper the web and flange thickness of the {noun} of {told.where}, "
                "to tell which weight they are",
            )
    if piece.shape in sections.RODS and piece.ends in ("", "none"):
        told.choice(
            number,
            "ends",
            ("plain-thread", "upset"),
            f"look whether the ends of the {noun} of {told.where} are upset (thicker "
            "at the thread) or plain",
        )
    if piece.built_up is not None:
        _built_up_sizes(told, number, piece, certainty, basis)


def _built_up_sizes(told, number, piece, certainty, basis):
    tied = piece.built_up
    noun = _piece_words(piece, len(told.names))
    part, _ = SIZE_EITHER_WAY[certainty]
    either = max(WEBS_APART_IN, tied.webs_apart_in * part)
    told.size(
        number,
        "webs_apart_in",
        tied.webs_apart_in - either,
        tied.webs_apart_in + either,
        _act("webs_apart_in", f"the {noun} of {told.where}"),
    )
    if tied.cover_thickness_in:
        for name in ("cover_width_in", "cover_thickness_in"):
            low, high = _either_way(name, getattr(tied, name), certainty, basis)
            told.size(number, name, low, high, _act(name, _cover_words(told)))


def _cover_words(told):
    """“the end-post cover plate”, or “the cover plate of the upper chord U1U2”."""
    role = (told.kind or "").replace("-", " ")
    if role and told.where == f"the {_plural(role)}":
        return (
            f"the {(told.kind or '').replace('upper-chord', 'upper chord')} cover plate"
        )
    return f"the cover plate of {told.where}"


def _known(low, high):
    middle, either = (low + high) / 2, (high - low) / 2
    return (
        f"recorded as {fraction_text(middle)} in, taken as good to "
        f"{fraction_text(either, 32)} in either way"
    )


def _act(name, what):
    verb = CALIPER if name in ("diameter_in", "side_in") else TAPE
    return f"{verb} {SIZE_WORDS[name].format(what)}"


def _either_way(name, value, certainty, basis):
    part, least = SIZE_EITHER_WAY[certainty]
    part = max(part, BASIS_EITHER_WAY.get(basis, 0.0))
    if name in THICKNESSES:
        least /= 2
    either = min(max(value * part, least), 0.5 * value)
    return value - either, value + either


def _weights_near(piece):
    """Return the recorded weight of a rolled shape with the listed one either side."""
    table = sections.CHANNELS if piece.shape == "channel" else sections.BEAMS
    listed = sorted(
        r.weight_plf for r in table if abs(r.depth_in - piece.depth_in) < 0.01
    )
    if not listed:
        return ()
    at = min(range(len(listed)), key=lambda i: abs(listed[i] - piece.weight_plf))
    return tuple(listed[max(at - 1, 0) : at + 2])


def _piece_words(piece, members):
    one, many = states.NAMES[piece.shape]
    word = one if piece.count * members == 1 else many
    if piece.shape in ("channel", "i-beam"):
        return f"{piece.depth_in:g} in {word}"
    return word


ROLES = {
    "upper-chord": "upper chord",
    "lower-chord": "lower chord",
}


def _plural(role):
    return role if role.endswith("chord") else f"{role}s"


def members_words(kind, names, is_all):
    """“the lower chord”, “the diagonals L1U2 and L2U3”, “the lower chord L2L3”."""
    role = ROLES.get(kind or "", (kind or "member").replace("-", " "))
    if kind in ("end-post", "sub-strut", "sub-tie"):
        role = kind.replace("-", " ")
    several = len(names) > 1
    noun = _plural(role) if several else role
    if is_all:
        return f"the {noun}"
    return f"the {noun} {list_words(names)}"


def list_words(names, most=4):
    names = list(names)
    if len(names) > most:
        return f"{', '.join(names[: most - 1])} and {len(names) - most + 1} more"
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"


# --- the span as a whole ---------------------------------------------------------------


def _geometry(found, span):
    either = GEOMETRY_EITHER_WAY[span.measured_how]
    how = {
        "paced": "it was paced",
        "scaled": "it was scaled off",
        "unknown": "nobody said how it was measured",
    }.get(span.measured_how, "")
    tail = f" ({how})" if how else ""
    for axis, key, act in (
        ("x", "panel-length", "tape a panel, joint to joint along the lower chord"),
        ("y", "depth", "tape the depth, middle of lower chord to middle of upper"),
    ):
        unknown = sampling.Stretch(key, axis, 1 - either, 1 + either)
        found.add(
            unknown,
            act + tail,
            key,
            [],
            is_of_line=False,
            known=f"taken as good to {100 * either:g}% either way",
        )


def _floor(found, span, parts, check, assumed):
    prefix = f"span-{span.number}/"
    load, floor = check.dead_load, check.dead_load.floor
    roadway_ft = span.roadway_ft or ROADWAY_FT
    if load.details_factor:
        unknown = sampling.Dead(
            "details", lambda load, v: replace(load, details_factor=v), *DETAILS_FACTOR
        )
        found.add(
            unknown,
            "weight of rivets, pins, tie plates and lacing",
            "details",
            [],
            is_of_line=False,
            can_measure=False,
        )
    deck = parts.get(prefix + "deck")
    if not (deck is not None and deck.is_gone):
        layers = floor.layers if floor is not None and "deck" not in assumed else ()
        _deck(found, prefix + "deck", deck, layers, roadway_ft)
    if "stringers" in assumed:
        found.add(
            sampling.Dead(
                "stringers",
                lambda load, v: _in_floor(
                    load, roadway_ft, stringers=Stringers(1, v * roadway_ft)
                ),
                *STRINGERS_PSF,
            ),
            "count the stringers and tape their depth and width",
            "stringers",
            [prefix + "stringers"],
            is_of_line=False,
        )
    if "floor-beams" in assumed:
        across_ft = span.trusses_apart_ft or roadway_ft + BESIDE_ROADWAY_FT
        found.add(
            sampling.Dead(
                "floor-beams",
                lambda load, v: _in_floor(
                    load, roadway_ft, floor_beams_lb_each=v * across_ft
                ),
                *FLOOR_BEAM_PLF,
            ),
            "tape the floor beams: depth, flange width and thicknesses",
            "floor-beams",
            [prefix + "floor-beams"],
            is_of_line=False,
        )


def _deck(found, path, deck, layers, roadway_ft):
    certainty = deck.certainty if deck is not None else "guess"
    if not layers:
        made = deck_of_unknown_thickness(
            ((deck and deck.state) or {}).get("layers", [])
        )
        if made is None:
            low, high = DECK_PSF
            at, act = _deck_of_psf(roadway_ft), "say what the deck is made of, and tape"
            act += " its thickness at an edge"
        else:
            low, high = DECK_THICKNESS_IN[made]
            at = _deck_of_thickness(made, roadway_ft)
            act = f"tape the thickness of the {states.DECK_MATERIALS[made]} deck, at an edge"
        found.add(
            sampling.Dead("deck", at, low, high), act, "deck", [path], is_of_line=False
        )
        return
    part = DECK_EITHER_WAY[certainty]
    for number, layer in enumerate(layers):
        name = states.DECK_MATERIALS.get(layer.material, layer.material)
        value = layer.psf if layer.psf is not None else layer.thickness_in
        size = "psf" if layer.psf is not None else "thickness_in"
        found.add(
            sampling.Dead(
                f"deck {number}",
                _deck_layer(number, size),
                value * (1 - part),
                value * (1 + part),
            ),
            f"tape the thickness of the {name} deck, at an edge"
            if size == "thickness_in"
            else f"tape the {name} deck: its thickness, and what it rests in",
            "deck",
            [path],
            is_of_line=False,
            known=f"recorded as {value:g} {'lb per sq ft' if size == 'psf' else 'in'}, "
            f"taken as good to {100 * part:g}% either way",
        )


def _in_floor(load, roadway_ft, **facts):
    floor = load.floor or Floor(roadway_ft)
    if not floor.roadway_ft:
        floor = replace(floor, roadway_ft=roadway_ft)
    return replace(load, floor=replace(floor, **facts))


def _deck_of_psf(roadway_ft):
    return lambda load, value: _in_floor(
        load, roadway_ft, layers=(Layer("unrecorded", psf=value),)
    )


def _deck_of_thickness(material, roadway_ft):
    return lambda load, value: _in_floor(
        load, roadway_ft, layers=(Layer(material, value),)
    )


def _deck_layer(number, size):
    def at(load, value):
        layers = list(load.floor.layers)
        layers[number] = replace(layers[number], **{size: value})
        return replace(load, floor=replace(load.floor, layers=tuple(layers)))

    return at


def _lane(found, span, check):
    """What part of the vehicle one truss takes: the roadway, or nearly nothing known."""
    live = check.live_load
    if live is None:
        return
    act = "tape the roadway between kerbs, and the trusses centre to centre"
    if live.lever is not None:
        either = max(GEOMETRY_EITHER_WAY[span.measured_how], 0.01)
        unknown = sampling.Live(
            "roadway",
            lambda one, v: replace(one, lever=replace(one.lever, roadway_ft=v)),
            live.lever.roadway_ft * (1 - either),
            min(live.lever.roadway_ft * (1 + either), live.lever.trusses_apart_ft),
        )
    elif span.roadway_ft and span.trusses_apart_ft:
        return
    else:
        unknown = sampling.Live(
            "roadway", lambda one, v: replace(one, fraction=v), *LANE
        )
    found.add(unknown, act, "roadway", [], is_of_line=False)


def _strengths(found, span, check):
    seen = []
    for member in check.members:
        of_pieces = [piece.material for piece in member.components]
        for material in (member.material, *of_pieces):
            if member.is_covered and material is not None and material not in seen:
                seen.append(material)
    undated = not (span.made_in_earliest or span.bridge.built_earliest)
    for material in seen:
        if material.kind not in STRENGTH:
            continue
        low, high = STRENGTH[material.kind]
        if undated and material.kind != "timber":
            high = STRENGTH_UNDATED
        name = material.kind.replace("-", " ")
        found.add(
            sampling.Strength(
                f"strength {name} {material.year or ''}".strip(), material, low, high
            ),
            f"strength of the {name}, which nobody has tested",
            "strength",
            [],
            is_of_line=False,
            can_measure=False,
        )
