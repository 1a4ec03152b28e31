"""What an answer says in words: its assumptions, its warnings and its sources.

Full sentences, read on pages and in dossiers. They follow from the question as it was
read, never from how it was written.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from . import deadload, floor, lacing, materials, pins, resistance, sections
from .chordcheck import ChordState
from .liveload import Loading
from .materials import Material
from .question import CheckInput, MemberInput
from .resistance import METHODS, MOST_SLENDER_COMPRESSION, MOST_SLENDER_TENSION
from .sections import Component
from .vehicles import CROWD_SOURCE, LANES, VEHICLES

CAUTION = (
    "This is a screening estimate from recorded sizes. It is not a load rating and not "
    "for posting: those are the owner's licensed engineer's, under the law that "
    "applies."
)
IMPACT_SOURCE = (
    "Impact 50/(L + 125), at most 0.30: AASHTO Standard Specifications for Highway "
    "Bridges, article 3.8.2, from memory."
)
LEVER_SOURCE = "Share of the vehicle by the lever rule: moments about the other truss."
CHORD_SOURCE = (
    "Sideways buckling of the upper chord: eigenvalue of a bar on springs, with each "
    "panel's own stiffness and force, derived; cross-frame stiffness "
    "E/(h^2 (h/3Ic + b/2Ib)), derived."
)
RIVETED_SHAPES = ("angle", "channel", "i-beam", "plate")
SHAPES_TURNED = ("angle", "channel", "i-beam", "plate", "flat-bar", "eyebar")
NAMED_AT_MOST = 12
#: Pins nearer than this to the centre of a section are at it, in.
LEAST_OFFSET_IN = 0.05


@dataclass(frozen=True)
class Findings:
    """What the numbers came to, as far as warnings need it."""

    stands: bool
    balanced: bool
    unstable_joints: tuple[str, ...]
    unstable_at: Mapping[str, Any] | None
    members: Mapping[str, Mapping[str, Any]]
    governing: Mapping[str, Mapping[str, Any] | None]
    pushed_unrated: tuple[str, ...]
    dead_beyond: tuple[str, ...]
    lifted: tuple[str, ...]


def listed(names: Iterable[str]) -> str:
    """Return names in a row, ``A, B and C``, the first dozen of many."""
    every = list(names)
    if len(every) > NAMED_AT_MOST:
        more = len(every) - NAMED_AT_MOST
        return f"{', '.join(every[:NAMED_AT_MOST])} and {more} more"
    if len(every) < 2:
        return "".join(every)
    return f"{', '.join(every[:-1])} and {every[-1]}"


def _made_so(
    check: CheckInput, test: Callable[[MemberInput], bool]
) -> list[MemberInput]:
    """Return the members present, in order, whose make passes a test.

    Only pieces, section and material may be looked at: one of each make is tried.
    """
    passed = {id(m) for alike in check.makes if test(alike[0]) for m in alike}
    return [m for m in check.present if id(m) in passed] if passed else []


def _having(
    check: CheckInput, test: Callable[[Component], bool], *, stiff: bool = False
) -> list[str]:
    """Return the members with a component that passes a test.

    ``stiff`` leaves out those that carry tension only.
    """
    return [
        m.name
        for m in _made_so(check, lambda m: any(map(test, m.components)))
        if not (stiff and m.tension_only)
    ]


def _materials(check: CheckInput) -> list[Material]:
    found: dict[Material, None] = {}
    for alike in check.makes:
        own = [piece.material for piece in alike[0].components] or [None]
        for material in own:
            used = material or alike[0].material
            if used is not None:
                found[used] = None
    if check.floor_system is not None:
        found |= dict.fromkeys(floor.materials_of(check.floor_system))
    return list(found)


# --- assumptions -----------------------------------------------------------------------


def assumptions(
    check: CheckInput,
    loading: Loading | None,
    chord: ChordState | None,
    beams: floor.FloorCheck | None = None,
    uncounted: Sequence[str] = (),
) -> list[str]:
    """Return what stands in for what is not recorded, and how the truss is seen.

    ``uncounted``: the members of which not all pieces are counted.
    """
    return [
        "The truss is taken as pin-jointed in one plane, straight, and loaded at its "
        "joints only.",
        *([check.geometry.idealised] if check.geometry.idealised else []),
        *_tension_only(check),
        *_tightened(check),
        *_rated_by(check),
        *[materials.strength(each).assumption for each in _materials(check)],
        *_made_of(check),
        *_not_counted(uncounted),
        *_floor(check),
        *_loading(check, loading),
        *(floor.assumptions(beams) if check.live_load is not None else []),
        *_pins(check),
        *_chord(check, chord),
    ]


def _tightened(check: CheckInput) -> list[str]:
    by_size: dict[float, list[str]] = {}
    for member in check.members:
        if member.tightened_in:
            by_size.setdefault(member.tightened_in, []).append(member.name)
    if not by_size:
        return []
    each = "; ".join(
        f"{listed(names)} by {size:g} in" for size, names in by_size.items()
    )
    return [
        "Bars are taken as made shorter, by a turnbuckle or nuts, than fits the truss "
        f"with nothing on it: {each}. The tension that this puts into them, and what it "
        "puts into the bars about them, is in the forces under dead load; a bar that no "
        "other crosses takes none of it."
    ]


def _tension_only(check: CheckInput) -> list[str]:
    names = [m.name for m in check.members if m.tension_only and not m.is_absent]
    if not names:
        return []
    if check.tension_only_model == "classical":
        how = "of a crossed pair one acts, by the sign of the shear (classical)"
    else:
        how = "crossed bars share by their stiffness (elastic), none tightened"
    return [f"{listed(names)} carry tension only; {how}."]


def _rated_by(check: CheckInput) -> list[str]:
    ks = sorted({member.k for member in check.present})
    method = "allowable stress" if check.method == "allowable-stress" else "load factor"
    text = f"Members are rated by {method}."
    if ks:
        text += f" Effective length factor K {' and '.join(f'{k:g}' for k in ks)}."
    return [text]


def _is_tied(piece: Component, by: str) -> bool:
    return piece.built_up is not None and piece.built_up.tied_by == by


def _ties(piece: Component) -> sections.BuiltUp:
    return piece.built_up or sections.BuiltUp(0.0)


def _made_of(check: CheckInput) -> list[str]:
    found = []

    def say(
        test: Callable[[Component], bool], sentence: str, *, stiff: bool = False
    ) -> None:
        names = _having(check, test, stiff=stiff)
        if names:
            found.append(sentence.format(listed(names)))

    say(
        lambda p: p.ends == "plain-thread",
        "Rods of {} are taken at the root of a plain thread.",
    )
    say(lambda p: p.ends == "loop", "Loop ends of {} are taken as strong as the rod.")
    say(
        lambda p: p.shape in RIVETED_SHAPES and not p.holes,
        "Rivet holes are not deducted from {}: none are recorded.",
    )
    say(
        lambda p: p.shape in SHAPES_TURNED and p.built_up is None,
        "Pieces of {} bend about their weaker axis in both planes where compressed: "
        "how they are turned is not recorded.",
        stiff=True,
    )
    say(
        lambda p: _is_tied(p, "lacing") and not _ties(p).lacing_in2,
        "Lacing of {} is taken as sound and stiff.",
    )
    say(
        lambda p: _is_tied(p, "lacing") and _ties(p).lacing_in2 > 0.0,
        "Lacing of {} is as measured, sound but for what is said, and gives in shear.",
    )
    say(
        lambda p: _is_tied(p, "battens") and not _ties(p).battens_apart_in,
        "Battens of {} are taken 40 least radii of one piece apart.",
    )
    say(
        lambda p: p.carries == "none",
        "What hangs loose in {} takes no load; it is weighed.",
    )
    say(
        lambda p: p.longer_in > 0.0,
        "Bars of {} are unequally tight: a longer one takes load when the others have "
        "stretched as much. Forces in the truss are found as if they were alike.",
    )
    say(
        lambda p: p.remaining_in > 0.0,
        "Pieces of {} are as thin throughout as where they were measured.",
    )
    say(
        lambda p: (
            p.built_up is not None
            and p.built_up.cover_width_in > 0.0
            and not p.built_up.pin_height_in
        ),
        "The force in {} is taken through the centre of the section, wherever the "
        "pins are.",
    )
    say(
        lambda p: p.carries == "live",
        "Pieces added to {} take no dead load; dead force is shared by the others, "
        "live force by all, each by its stiffness. They are left out where the others "
        "would carry more without them.",
    )
    lost = [f"{m.name} {m.loss_fraction:.0%}" for m in check.present if m.loss_fraction]
    if lost:
        found.append(
            f"Loss of section is taken over the whole length, radii and weight as new: "
            f"{listed(lost)}."
        )
    return found


def _not_counted(names: Sequence[str]) -> list[str]:
    if not names:
        return []
    return [
        f"Not every piece of {listed(names)} is counted in what it can carry: one that "
        "is weaker or more slender than the others would lower it, and what they carry "
        "without it they carry with it there. Its weight and its stiffness are counted."
    ]


def _floor(check: CheckInput) -> list[str]:
    load = check.dead_load
    found = []
    if load.details_factor:
        found.append(
            f"Details are taken to weigh {load.details_factor - 1.0:.0%} of the bare "
            "members."
        )
    if load.floor is not None:
        found.append(
            f"{load.floor.share:.0%} of the whole floor bears on this truss line."
        )
    return found


def _loading(check: CheckInput, loading: Loading | None) -> list[str]:
    live = check.live_load
    if live is None or loading is None:
        return ["No live load is given: only dead-load forces are answered."]
    found = []
    if live.vehicle or live.axle_kip or live.lane:
        how, lanes = "", "one lane"
        if live.lever is not None:
            how = " by the lever rule"
            if live.lever.placing == "centred":
                how += ", vehicles in the middle"
            if live.lever.vehicles > 1:
                lanes = "two vehicles abreast"
        found.append(
            f"{loading.fraction:.3g} of a lane bears on this truss line{how}; {lanes}."
        )
    if live.vehicle and live.vehicle.startswith("HS"):
        found.append("The rear axles are 14 ft apart, which governs simple spans.")
    if live.lane:
        found.append(
            f"The {live.lane} lane load counts the weight of the {live.lane} truck."
        )
    if live.uniform_plf:
        found.append(
            f"{live.uniform_plf:g} lb/ft lies on this truss line wherever it adds."
        )
    if live.crowd is not None:
        found.append(
            f"People on foot, {live.crowd.psf:.3g} lb/sq ft on {live.crowd.width_ft:g} "
            f"ft, {live.crowd.share:.0%} of it on this truss line, wherever it adds."
        )
        return found
    if live.impact is None:
        found.append(
            "Impact follows each member's loaded length, from influence lines of bars "
            "of equal size."
        )
    else:
        found.append(f"Impact is {live.impact:g} of the live load.")
    if check.deck_position == "deck":
        joints = listed(check.geometry.loaded_joints)
        found.append(f"Floor beams, or the abutments, bear the stringers at {joints}.")
    return found


def _pins(check: CheckInput) -> list[str]:
    if check.live_load is None:
        return []
    if not check.pins:
        if check.connection != "pin":
            return []
        return ["Pins are not checked: their packing is not given."]
    if check.method != "allowable-stress":
        return ["Pins are not checked by load factor."]
    at = listed(pin.joint for pin in check.pins)
    return [
        f"Pins at {at} carry their bars at the middle of each; what the bars leave over "
        "hangs where the floor's load does, or at the pin's middle; the greatest "
        "impact of any member is taken."
    ]


def _chord(check: CheckInput, chord: ChordState | None) -> list[str]:
    if check.chord is None:
        return []
    ends = check.chord.end_stiffness_kip_per_in
    held = "rigidly" if ends is None else f"by {ends:g} kip/in"
    found = [
        "The upper chord is one bar from its first to its last joint, free to turn "
        f"sideways at its ends, which are held {held}; as much stays in hand against "
        "its buckling as the column formula asks."
    ]
    if chord is not None and check.chord.frames is not None:
        found.append("Posts and floor beams are taken as rigidly joined cross-frames.")
    return found


# --- warnings --------------------------------------------------------------------------


def warnings(
    check: CheckInput,
    found: Findings,
    chord: ChordState | None,
    beams: floor.FloorCheck | None = None,
) -> list[str]:
    """Return the caution, and what whoever reads the answer must know."""
    return [
        CAUTION,
        *_stability(found),
        *_unrated(check, found),
        *_slender(check, found),
        *_slender_ties(check, found),
        *_heavy(check, found),
        *_sideways(check, chord),
        *_tied(check, found),
        *(beams.gaps if beams is not None else ()),
        *_vehicles(check),
    ]


def _stability(found: Findings) -> list[str]:
    if not found.stands:
        joints = listed(found.unstable_joints)
        text = (
            f"As recorded this truss cannot stand: it can move at {joints}. Nothing "
            "is rated."
        )
        if found.balanced:
            text += (
                " The dead-load forces given balance this one load and no other: "
                "only a symmetric load can be answered."
            )
        return [text]
    if found.unstable_at is None:
        return []
    factor = found.unstable_at["load_factor"]
    return [
        f"Under {factor:.1%} of the live load no set of taut bars carries it: the "
        "truss needs a bar that is slack or not there. Tell the owner."
    ]


def _unrated(check: CheckInput, found: Findings) -> list[str]:
    said = []
    bare = [m.name for m in check.members if not m.is_covered]
    if bare:
        said.append(
            f"No size is recorded for {listed(bare)}: taken of unit area and without "
            "weight, and answered with force only."
        )
    unnamed = _made_so(
        check,
        lambda m: (
            m.material is None
            and (m.section is not None or not all(p.material for p in m.components))
        ),
    )
    # Those of components first.
    unknown = [m.name for m in unnamed if not all(p.material for p in m.components)]
    unknown += [m.name for m in unnamed if m.section is not None]
    cast = [
        m.name
        for m in _made_so(
            check,
            lambda m: any(
                used is not None and used.kind == "cast-iron"
                for used in [
                    *(p.material or m.material for p in m.components),
                    m.material if m.section is not None else None,
                ]
            ),
        )
    ]
    if cast:
        said.append(f"{listed(cast)} is of cast iron: not assessed, not rated.")
    if unknown:
        names = listed(dict.fromkeys(unknown))
        said.append(f"No material is recorded for {names}: not rated.")
    pushed = [
        name for name in found.pushed_unrated if name not in {*bare, *unknown, *cast}
    ]
    if pushed:
        said.append(
            f"{listed(pushed)} meets compression, which cannot be rated without its "
            "radii of gyration: not rated."
        )
    missing = [m.name for m in check.members if m.is_absent]
    if missing:
        said.append(f"{listed(missing)} is not there.")
    return said


def _slender(check: CheckInput, found: Findings) -> list[str]:
    limit = MOST_SLENDER_COMPRESSION
    names = [
        f"{name} ({member['slenderness']:.0f})"
        for name, member in found.members.items()
        if member["slenderness"] is not None
        and member["slenderness"] > limit
        and _is_pushed(member)
    ]
    if not names:
        return []
    return [
        f"KL/r is above {limit:g}, the usual most for main members in compression, in "
        f"{listed(names)}."
    ]


def _is_pushed(member: Mapping[str, Any]) -> bool:
    if member["dead_kip"] is None:
        return False
    return bool(member["dead_kip"] + (member["live_min_kip"] or 0.0) < -1e-6)


def _heavy(check: CheckInput, found: Findings) -> list[str]:
    said = []
    if found.dead_beyond:
        said.append(
            f"Dead load alone takes {listed(found.dead_beyond)} to its operating "
            "limit: rated 0. Tell the owner."
        )
    operating = found.governing.get("operating")
    if operating is not None and operating["rating"] < 1.0 and not found.dead_beyond:
        what = "A member, or the truss,"
        if operating["member"] in floor.NAMES:
            what = f"A {operating['member']}"
        said.append(
            f"{what} reaches its operating limit under less than the whole live load: "
            "tell the owner."
        )
    if found.lifted:
        said.append(
            f"The live load can lift {listed(found.lifted)} off its bearing, which is "
            "taken as held down."
        )
    return said


def _sideways(check: CheckInput, chord: ChordState | None) -> list[str]:
    if check.deck_position == "pony" and check.chord is None:
        return [
            "The upper chord of a pony is held sideways by its posts alone. Without "
            "their stiffness its unbraced length sideways is taken as one panel, "
            "which may be too short."
        ]
    said = []
    if chord is not None and chord.bare_joints:
        said.append(
            f"No stiff post stands under {listed(chord.bare_joints)}: not held "
            "sideways there."
        )
    if chord is not None and chord.buckling_factor < 1.0:
        said.append(
            "The upper chord buckles sideways under less than the dead and live load "
            "together. Tell the owner."
        )
    return said


def _tied(check: CheckInput, found: Findings) -> list[str]:
    said = []
    names = _having(check, lambda p: _is_tied(p, "none"))
    if names:
        said.append(
            f"Nothing ties the channels of {listed(names)} sideways: each bends alone "
            "there."
        )
    for member in _made_so(
        check, lambda m: any(_ties(p).untied_ft for p in m.components)
    ):
        for piece in member.components:
            how = piece.built_up
            if how is not None and how.untied_ft:
                said.append(
                    f"Ties of {member.name} are missing over {how.untied_ft:g} ft: "
                    "each piece stands alone there, and is rated so."
                )
    return said + _laced(check, found) + _eccentric(check)


def _laced(check: CheckInput, found: Findings) -> list[str]:
    """Note lacing bars that are less than the shear of their member asks."""
    said = []
    for member in _made_so(
        check, lambda m: any(_ties(p).lacing_thickness_in for p in m.components)
    ):
        told = found.members[member.name]
        slender = told["slenderness"]
        if slender is None or member.material is None or not _is_pushed(told):
            continue
        push_kip = -(told["dead_kip"] + (told["live_min_kip"] or 0.0))
        metal = materials.strength(member.material)
        for piece in member.components:
            how = piece.built_up
            if how is None or not how.lacing_thickness_in or how.tied_by != "lacing":
                continue
            shear_kip = lacing.shear_part(slender, metal.fy_ksi) * push_kip
            asked_kip = lacing.bar_force_kip(how, shear_kip)
            good_kip = lacing.bar_strength_kip(how, metal.fy_ksi, metal.e_ksi)
            if asked_kip > good_kip:
                said.append(
                    f"Lacing bars of {member.name} would have to carry "
                    f"{asked_kip:.2f} kip each and are good for {good_kip:.2f}: its "
                    "pieces may not act as one."
                )
    return said


def _eccentric(check: CheckInput) -> list[str]:
    """Note pins that stand off the centre of a section: they bend what they press."""
    off: dict[str, list[str]] = {}
    for member in _made_so(check, lambda m: abs(_pin_below_in(m)) >= LEAST_OFFSET_IN):
        below = _pin_below_in(member)
        where = f"{abs(below):.2f} in {'below' if below > 0.0 else 'above'}"
        off.setdefault(where, []).append(member.name)
    return [
        f"Pins of {listed(names)} stand {where} the centre of the section: its force "
        "also bends it by that arm, which its resistance leaves out."
        for where, names in off.items()
    ]


def _pin_below_in(member: MemberInput) -> float:
    section = resistance.bare_section(member)
    return 0.0 if section is None else section.pin_below_in


def _least_radius_in(member: MemberInput) -> float | None:
    """Return the least radius of stiff pieces; None of rods and bars, or not known."""
    section = resistance.bare_section(member)
    if section is None:
        return None
    if any(piece.shape in sections.TENSION_SHAPES for piece in member.components):
        return None
    radii = section.r_in_plane_in, section.r_out_of_plane_in
    return min((radius for radius in radii if radius), default=None)


def _slender_ties(check: CheckInput, found: Findings) -> list[str]:
    """Note stiff members that are pulled and too slender to stay still."""
    names = []
    for alike in check.makes:
        least = _least_radius_in(alike[0])
        if least is None:
            continue
        names += [
            m.name
            for m in alike
            if not m.tension_only
            and 12.0 * m.length_ft / least > MOST_SLENDER_TENSION
            and not _is_pushed(found.members[m.name])
        ]
    names = [m.name for m in check.present if m.name in names]
    if not names:
        return []
    return [
        f"L/r is above {MOST_SLENDER_TENSION:g}, the usual most for main members in "
        f"tension that are not rods or eyebars, in {listed(names)}."
    ]


def _vehicles(check: CheckInput) -> list[str]:
    live = check.live_load
    if live is None:
        return []
    said = []
    weights = {
        key: VEHICLES[key].weight_kip for key in (live.vehicle, live.lane) if key
    }
    if live.axle_kip:
        weights["axles"] = sum(live.axle_kip)
    if len(set(weights.values())) > 1:
        said.append(
            "The limit in tons is of the lightest of the vehicles given, whichever "
            "governs."
        )
    if live.impact == 0.0 and live.crowd is None:
        said.append("No impact is included.")
    return said


# --- sources ---------------------------------------------------------------------------


def sources(check: CheckInput) -> list[str]:
    """Return where the rules and figures used are from, each once."""
    said: list[str] = [*METHODS[check.method].sources]
    for material in _materials(check):
        said += materials.strength(material).sources
    pieces = [piece for alike in check.makes for piece in alike[0].components]
    if any(p.shape == "channel" and p.weight_plf for p in pieces):
        said.append(sections.CHANNEL_SOURCE)
    if any(p.shape == "i-beam" and p.weight_plf for p in pieces):
        said.append(sections.BEAM_SOURCE)
    if any(p.ends == "plain-thread" for p in pieces):
        said.append(sections.THREAD_SOURCE)
    if any(_is_tied(p, "battens") for p in pieces):
        said.append(sections.BATTEN_SOURCE)
    if any(
        p.built_up and (p.built_up.lacing_in2 or p.built_up.untied_ft) for p in pieces
    ):
        said.append(sections.LACING_SOURCE)
    if any(p.holes or p.by_one_leg for p in pieces):
        said.append(sections.NET_SOURCE)
    if check.dead_load.floor is not None:
        used = {layer.material: None for layer in check.dead_load.floor.layers}
        said += [f"Weight of {deadload.LAYERS[name][1]}." for name in used]
    said += _load_sources(check)
    if check.floor_system is not None and check.live_load is not None:
        said += floor.sources(check.floor_system)
    if check.pins:
        said.append(pins.PIN_SOURCE)
    if check.chord is not None:
        said.append(CHORD_SOURCE)
    return list(dict.fromkeys(said))


def _load_sources(check: CheckInput) -> list[str]:
    live = check.live_load
    if live is None:
        return []
    said = []
    if live.vehicle:
        said.append(f"{live.vehicle} vehicle: {VEHICLES[live.vehicle].source}.")
    if live.lane:
        said.append(f"{live.lane} lane load: {LANES[live.lane].source}.")
    if live.impact is None:
        said.append(IMPACT_SOURCE)
    if live.crowd is not None:
        said.append(CROWD_SOURCE)
    if live.lever is not None:
        said.append(LEVER_SOURCE)
    return said
