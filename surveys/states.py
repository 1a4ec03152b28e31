"""What may be said of an element that has changed, kind by kind, and how to say it.

A state is a small JSON object. Members, stringers and floor beams carry ``components``
(pieces, shapes and sizes as in the check file, with ``origin``); everything else is
described by the fields below. Unknown fields are refused, so that nothing is stored that nothing reads.
"""

from dataclasses import dataclass

from django.core.exceptions import ValidationError

from shared.units import fraction_text

from . import packing
from .models import Component, Element

Kind = Element.Kind

DECK_MATERIALS = {
    "timber": "timber plank",
    "concrete": "concrete",
    "steel-grid": "steel grid",
    "asphalt": "asphalt",
    "gravel": "gravel",
    "earth": "earth",
    "none": "no deck",
}
FLAGS = {
    "loose": "loose",
    "bent": "bent",
    "cracked": "cracked",
    "section-lost": "section lost",
    "slack": "slack under no load",
    "welded": "welded",
}
SIZES_BY_SHAPE = {
    "round-rod": ("diameter_in",),
    "square-rod": ("side_in",),
    "eyebar": ("width_in", "thickness_in"),
    "flat-bar": ("width_in", "thickness_in"),
    "plate": ("width_in", "thickness_in"),
    "angle": ("leg_in", "other_leg_in", "thickness_in"),
    "channel": ("depth_in", "weight_plf"),
    "i-beam": ("depth_in", "weight_plf"),
    "timber": ("width_in", "depth_in"),
}
MEASURED_SHAPE = (
    "depth_in",
    "flange_width_in",
    "flange_thickness_in",
    "web_thickness_in",
)
LARGEST = {"weight_plf": 400.0, "depth_in": 60.0, "width_in": 60.0}
NAMES = {
    "round-rod": ("round rod", "round rods"),
    "square-rod": ("square rod", "square rods"),
    "eyebar": ("eyebar", "eyebars"),
    "flat-bar": ("flat bar", "flat bars"),
    "plate": ("plate", "plates"),
    "angle": ("angle", "angles"),
    "channel": ("channel", "channels"),
    "i-beam": ("I-beam", "I-beams"),
    "timber": ("timber", "timbers"),
}


@dataclass(frozen=True)
class Field:
    """One field of a state: what it takes and how large it may be."""

    # number, whole, text, choice, flag, list-of-choices, layers, built-up, bar, packing
    type: str
    choices: tuple = ()
    least: float = 0.0
    most: float = 1e6


def number(most, least=0.0):
    return Field("number", least=least, most=most)


TEXT = Field("text", most=2000)
MEMBER_FIELDS = {
    "built_up": Field("built-up"),
    "tension_only": Field("flag"),
    "loss_fraction": number(0.95),
    # Thickness, or diameter, where least is left of its pieces.
    "remaining_in": number(24.0),
    # Rivet holes across one piece.
    "holes": Field("whole", least=1, most=20),
    "rivet_in": number(2.0),
    # Of the lacing, width × thickness; and the greatest length without ties.
    "lacing_bars": Field("bar", most=40),
    "untied_ft": number(200.0),
    # How much shorter its turnbuckle or nuts make it than fits the bare truss.
    "tightened_in": number(2.0),
    "flags": Field("list-of-choices", tuple(FLAGS)),
    "description": TEXT,
}
JOINT_FIELDS = {
    "pin_in": number(24.0),
    # The bars on the pin in their order: “L1L2 7/8, L2U3 3/4, floor 1/2”.
    "packing": Field("packing", most=600),
    "flags": Field("list-of-choices", tuple(FLAGS)),
    "material": TEXT,
    "description": TEXT,
}
SHAPES_BY_KIND = {
    Kind.MEMBER: MEMBER_FIELDS,
    Kind.JOINT: JOINT_FIELDS,
    Kind.DECK: {
        "layers": Field("layers"),
        "description": TEXT,
    },
    Kind.STRINGERS: {
        "count": Field("whole", least=1, most=40),
        "plf_each": number(400),
        "material": Field("choice", ("timber", "steel", "wrought-iron", "concrete")),
        "loss_fraction": number(0.95),
        "description": TEXT,
    },
    Kind.FLOOR_BEAMS: {
        "each_lb": number(40_000),
        "material": Field("choice", ("timber", "steel", "wrought-iron", "concrete")),
        "loss_fraction": number(0.95),
        "flags": Field("list-of-choices", tuple(FLAGS)),
        "description": TEXT,
    },
    Kind.RAILING: {
        "plf": number(600),
        "material": Field(
            "choice", ("timber", "steel", "wrought-iron", "pipe", "cable")
        ),
        "description": TEXT,
    },
    Kind.PLATE: {"transcription": TEXT, "condition": TEXT, "description": TEXT},
    Kind.LIMIT: {
        "tons": number(200),
        "is_closed": Field("flag"),
        "wording": TEXT,
        "description": TEXT,
    },
}
#: Kinds of element that are made of pieces of known shape and size. Of stringers and
#: floor beams, all alike, the pieces are those of one.
WITH_PIECES = (Kind.MEMBER, Kind.STRINGERS, Kind.FLOOR_BEAMS)
PLAIN = {
    "material": TEXT,
    "flags": Field("list-of-choices", tuple(FLAGS)),
    "description": TEXT,
}


def fields_of(kind):
    """Return the fields a state of this kind of element may have."""
    return SHAPES_BY_KIND.get(kind, PLAIN)


class _Faults:
    """Gathers (dotted path, code, message) rows so that all are told at once."""

    def __init__(self):
        self.rows = []

    def add(self, path, message, code="state"):
        self.rows.append((path, code, message))


def clean(kind, state, path="state"):
    """Return ``(state, faults)``: the state with its blanks dropped, and what is wrong.

    ``faults`` are (dotted path, code, message) rows, empty when all is well.
    """
    faults = _Faults()
    if not isinstance(state, dict):
        faults.add(path, "Say what it is now: an object with what was seen.")
        return None, faults.rows
    allowed = fields_of(kind)
    clean_state = {}
    for name, value in state.items():
        where = f"{path}.{name}"
        if value in (None, "", [], {}):
            continue
        if name == "components" and kind in WITH_PIECES:
            clean_state[name] = _components(value, where, faults)
        elif name not in allowed:
            faults.add(where, f"“{name}” is not something a {kind} has.", "unknown")
        else:
            clean_state[name] = _value(allowed[name], value, where, faults)
    _together(clean_state, path, faults)
    if not clean_state and not faults.rows:
        faults.add(path, "Say what it is now: a size, a material or a description.")
    return clean_state, faults.rows


def _together(state, path, faults):
    """What says nothing without its other half."""
    for one, other, words in (
        ("holes", "rivet_in", "the diameter of the rivets"),
        ("rivet_in", "holes", "how many holes stand across one piece"),
        ("packing", "pin_in", "the diameter of the pin"),
    ):
        if state.get(one) and not state.get(other):
            faults.add(f"{path}.{other}", f"Say {words} too.", "required")


def validated(kind, state):
    """Return the clean state or raise ``ValidationError`` with every fault."""
    clean_state, faults = clean(kind, state)
    if faults:
        raise ValidationError([f"{path}: {message}" for path, _, message in faults])
    return clean_state


def _value(spec, value, where, faults):
    check = _CHECKS[spec.type]
    return check(spec, value, where, faults)


def _is_number(value):
    # Compared, not converted: an integer of JSON may be too large for a float.
    return (
        isinstance(value, (int, float))
        and not isinstance(value, bool)
        and abs(value) < 1e300
    )


def _number(spec, value, where, faults):
    if not _is_number(value) or not spec.least <= value <= spec.most:
        faults.add(where, f"Expected a number from {spec.least:g} to {spec.most:g}.")
        return None
    return float(value)


def _whole(spec, value, where, faults):
    if not _is_number(value) or value != int(value):
        faults.add(where, "Expected a whole number.")
        return None
    number = _number(spec, value, where, faults)
    return None if number is None else int(number)


def _text(spec, value, where, faults):
    if not isinstance(value, str) or len(value) > spec.most or "\x00" in value:
        faults.add(where, f"Expected text of at most {spec.most:.0f} characters.")
        return None
    return value


def _choice(spec, value, where, faults):
    if value not in spec.choices:
        faults.add(where, f"Expected one of: {', '.join(spec.choices)}.")
        return None
    return value


def _flag(spec, value, where, faults):
    if not isinstance(value, bool):
        faults.add(where, "Expected true or false.")
        return None
    return value


def _choices(spec, value, where, faults):
    if not isinstance(value, list) or not all(one in spec.choices for one in value):
        faults.add(where, f"Expected a list of: {', '.join(spec.choices)}.")
        return None
    return sorted(set(value))


def _layers(spec, value, where, faults):
    if not isinstance(value, list) or len(value) > 6:
        faults.add(where, "Expected a list of at most six layers.")
        return None
    layers = []
    for index, layer in enumerate(value):
        here = f"{where}.{index}"
        if not isinstance(layer, dict) or layer.get("material") not in tuple(
            DECK_MATERIALS
        ):
            faults.add(
                f"{here}.material", f"Expected one of: {', '.join(DECK_MATERIALS)}."
            )
            continue
        kept = {"material": layer["material"]}
        for name, most in (("thickness_in", 48.0), ("psf", 600.0)):
            if layer.get(name) not in (None, ""):
                size = _number(number(most), layer[name], f"{here}.{name}", faults)
                kept[name] = size
        for name in set(layer) - {"material", "thickness_in", "psf"}:
            faults.add(f"{here}.{name}", "Not something a deck layer has.", "unknown")
        layers.append(kept)
    return layers


def _built_up(spec, value, where, faults):
    if not isinstance(value, dict):
        faults.add(where, "Expected how the pieces are tied together.")
        return None
    kept = {}
    for name, inner in value.items():
        here = f"{where}.{name}"
        if name == "webs_apart_in":
            kept[name] = _number(number(60.0), inner, here, faults)
        elif name == "flanges":
            kept[name] = _choice(Field("choice", ("out", "in")), inner, here, faults)
        elif name == "tied_by":
            ties = Field("choice", ("lacing", "battens", "none"))
            kept[name] = _choice(ties, inner, here, faults)
        elif name in ("battens_apart_in", "box_depth_in", "pin_height_in"):
            kept[name] = _number(number(600.0), inner, here, faults)
        elif name == "untied_ft":
            kept[name] = _number(number(200.0), inner, here, faults)
        elif name in ("cover_plate", "bottom_plate", "lacing") and isinstance(
            inner, dict
        ):
            kept[name] = {
                size: _number(number(60.0), inner.get(size), f"{here}.{size}", faults)
                for size in ("width_in", "thickness_in")
            }
        else:
            faults.add(here, "Not something a built-up member has.", "unknown")
    return kept


def _bar(spec, value, where, faults):
    return _read(packing.bar_size, spec, value, where, faults)


def _packing(spec, value, where, faults):
    return _read(packing.read, spec, value, where, faults)


def _read(read, spec, value, where, faults):
    """Keep what was typed, once it can be read."""
    text = _text(spec, value, where, faults)
    try:
        if text is not None:
            read(text)
    except ValidationError as error:
        faults.add(where, error.messages[0])
    return text


_CHECKS = {
    "bar": _bar,
    "packing": _packing,
    "number": _number,
    "whole": _whole,
    "text": _text,
    "choice": _choice,
    "flag": _flag,
    "list-of-choices": _choices,
    "layers": _layers,
    "built-up": _built_up,
}


def _components(value, where, faults):
    if not isinstance(value, list) or len(value) > 12:
        faults.add(where, "Expected a list of at most twelve pieces.")
        return None
    return [
        _component(piece, f"{where}.{index}", faults)
        for index, piece in enumerate(value)
    ]


def _component(piece, where, faults):
    if not isinstance(piece, dict) or piece.get("shape") not in tuple(SIZES_BY_SHAPE):
        faults.add(f"{where}.shape", f"Expected one of: {', '.join(SIZES_BY_SHAPE)}.")
        return None
    shape = piece["shape"]
    kept = {"shape": shape, "count": 1, "origin": Component.Origin.ORIGINAL.value}
    sizes = {name for name in Component.SIZES if piece.get(name) not in (None, "")}
    needed = set(SIZES_BY_SHAPE[shape])
    if shape in ("channel", "i-beam") and "weight_plf" not in sizes:
        needed = set(MEASURED_SHAPE)
    # A piece described in words only is kept: sizes may be measured next time.
    if sizes or not piece.get("as_entered"):
        for name in sorted(needed - sizes):
            faults.add(f"{where}.{name}", f"{a_piece(shape)} needs this size.")
    allowed = set(SIZES_BY_SHAPE[shape]) | (
        set(MEASURED_SHAPE) if shape in ("channel", "i-beam") else set()
    )
    for name in sorted(sizes):
        here = f"{where}.{name}"
        if name not in allowed:
            faults.add(here, f"{a_piece(shape)} has no such size.", "unknown")
        elif not _is_number(piece[name]) or not 0 < piece[name] <= LARGEST.get(
            name, 24
        ):
            faults.add(
                here, f"Expected a number above 0, at most {LARGEST.get(name, 24):g}."
            )
        else:
            kept[name] = float(piece[name])
    _component_rest(piece, where, kept, faults)
    return kept


def _component_rest(piece, where, kept, faults):
    for name, value in piece.items():
        here = f"{where}.{name}"
        if name in Component.SIZES or name == "shape" or value in (None, ""):
            continue
        if name == "count":
            count = _whole(Field("whole", least=1, most=24), value, here, faults)
            kept[name] = count
        elif name == "ends":
            ends = Field("choice", tuple(Component.Ends.values))
            kept[name] = _choice(ends, value, here, faults)
        elif name == "origin":
            origins = Field("choice", tuple(Component.Origin.values))
            kept[name] = _choice(origins, value, here, faults)
        elif name == "dead_load_relieved":
            if _flag(None, value, here, faults):
                kept[name] = True
        elif name == "as_entered":
            kept[name] = _text(Field("text", most=200), value, here, faults)
        else:
            faults.add(here, "Not something a piece of a member has.", "unknown")


def a_piece(shape):
    """Name a shape to begin a sentence with: “An eyebar”, “A round rod”."""
    name = NAMES[shape][0]
    return f"{'An' if name[0] in 'aeiouI' else 'A'} {name}"


def describe_component(piece):
    """Say one piece as the trade does: “two eyebars 4 × 7/8 in”."""
    names = NAMES[piece["shape"]]
    count = piece.get("count", 1)
    lead = "" if count == 1 else f"{_COUNTS.get(count, count)} "
    name = names[0] if count == 1 else names[1]
    sizes = _size_text(piece)
    if not sizes:
        return piece.get("as_entered") or f"{lead}{name}"
    words = f"{lead}{name} {sizes}"
    if piece.get("ends") in ("upset", "loop", "plain-thread"):
        words += {"upset": ", upset ends", "loop": ", loop ends"}.get(
            piece["ends"], ", plain thread"
        )
    return words


_COUNTS = {2: "two", 3: "three", 4: "four", 6: "six", 8: "eight"}


def _size_text(piece):
    shape = piece["shape"]
    if shape in ("channel", "i-beam") and "weight_plf" in piece:
        return f"{fraction_text(piece['depth_in'])} in × {piece['weight_plf']:g} lb/ft"
    parts = [
        fraction_text(piece[name]) for name in SIZES_BY_SHAPE[shape] if name in piece
    ]
    if shape in ("channel", "i-beam"):
        parts = [fraction_text(piece[n]) for n in MEASURED_SHAPE if n in piece]
    return f"{' × '.join(parts)} in" if parts else ""


def describe(kind, state):
    """Say a state in a phrase, for pages, sheets and PDFs."""
    if state is None:
        return "not recorded"
    if kind == Kind.DECK:
        return _describe_deck(state)
    if kind == Kind.LIMIT:
        return _describe_limit(state)
    parts = [describe_component(piece) for piece in state.get("components", [])]
    parts += _describe_rest(state)
    return "; ".join(parts) or "as described on the visit"


def _describe_deck(state):
    words = []
    for layer in state.get("layers", []):
        name = DECK_MATERIALS[layer["material"]]
        if layer.get("thickness_in"):
            name = f"{fraction_text(layer['thickness_in'])} in {name}"
        words.append(name)
    text = " under ".join(reversed(words)) if len(words) > 1 else "".join(words)
    return "; ".join(part for part in (text, state.get("description", "")) if part)


def _describe_limit(state):
    if state.get("is_closed"):
        return "closed to vehicles"
    if "tons" in state:
        return f"{state['tons']:g} tons"
    return state.get("wording") or state.get("description") or "posted"


def _describe_measured(state):
    parts = []
    if state.get("remaining_in"):
        parts.append(f"{fraction_text(state['remaining_in'])} in left at the thinnest")
    if state.get("holes"):
        many = f"{state['holes']} rivet hole{'' if state['holes'] == 1 else 's'} across"
        parts.append(f"{many}, rivets {fraction_text(state['rivet_in'])} in")
    if state.get("lacing_bars"):
        parts.append(f"lacing bars {state['lacing_bars']} in")
    if state.get("untied_ft"):
        parts.append(f"ties missing over {state['untied_ft']:g} ft")
    if state.get("tightened_in"):
        parts.append(f"tightened by {state['tightened_in']:g} in")
    if state.get("pin_in"):
        parts.append(f"pin {fraction_text(state['pin_in'])} in")
    if state.get("packing"):
        parts.append(f"on it in order {state['packing']}")
    return parts


def _describe_rest(state):
    parts = []
    if state.get("count") and state.get("plf_each"):
        parts.append(f"{state['count']} at {state['plf_each']:g} lb/ft each")
    elif state.get("count"):
        parts.append(f"{state['count']} of them")
    if state.get("each_lb"):
        parts.append(f"{state['each_lb']:,.0f} lb each")
    if state.get("plf"):
        parts.append(f"{state['plf']:g} lb/ft")
    cover = (state.get("built_up") or {}).get("cover_plate")
    if cover:
        width, thickness = (
            fraction_text(cover[k]) for k in ("width_in", "thickness_in")
        )
        parts.append(f"cover plate {width} × {thickness} in")
    untied = (state.get("built_up") or {}).get("untied_ft")
    if untied:
        parts.append(f"ties missing over {untied:g} ft")
    parts += _describe_measured(state)
    if state.get("loss_fraction"):
        parts.append(f"{state['loss_fraction']:.0%} of the section lost")
    said = {"section-lost"} if state.get("loss_fraction") else set()
    parts += [FLAGS[flag] for flag in state.get("flags", []) if flag not in said]
    for name in ("material", "transcription", "wording", "condition", "description"):
        if state.get(name):
            parts.append(
                state[name].replace("-", " ") if name == "material" else state[name]
            )
    return parts
