"""What a member can carry: tension, compression, and how much room dead load leaves.

Kips, ksi, inches and feet. Compression resistances are positive numbers. The two
levels are inventory and operating.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from itertools import combinations, pairwise

from .materials import STEEL_E_KSI, WEIGHT_PCF, Material, Strength, strength
from .question import GivenSection, MemberInput
from .sections import (
    IN2_PER_FT2,
    Component,
    Section,
    combined,
    component_section,
)

LEVELS = ("operating", "inventory")
IN_PER_FT = 12.0
Limits = Mapping[str, float]

#: Length over least width, ksi: Tower 1874.
TIMBER_COLUMN: tuple[tuple[float, float], ...] = (
    (6.0, 1.000),
    (12.0, 0.860),
    (20.0, 0.660),
    (30.0, 0.328),
    (40.0, 0.224),
    (60.0, 0.099),
)
TIMBER_TENSION_KSI = 0.825
TIMBER_LEVEL = {"inventory": 1.0, "operating": 1.33}

#: Of so many pieces every choice is tried for the one that carries most; of more, every
#: choice of the first ones, and the others one after the other, as they are listed.
MOST_SORTED_OUT = 5
#: What is more by less than this part is alike.
ALIKE = 1e-12

#: Greatest KL/r of main compression members, and L/r of main tension members.
MOST_SLENDER_COMPRESSION = 120.0
MOST_SLENDER_TENSION = 200.0


@dataclass(frozen=True)
class Method:
    """One way of rating: factors on loads and on strengths.

    rating = (C - ``dead_factor`` D) / (``live_factor`` L).
    """

    key: str
    dead_factor: float
    live_factor: Limits
    gross: Limits  # of Fy on the gross section
    net: Limits  # of Fu on the net section
    column: Limits  # divides the column strength
    sources: tuple[str, ...]


COLUMN_SOURCE = (
    "Compression: column strength Fy(1 − Fy(KL/r)²/4π²E) up to KL/r of "
    "√(2π²E/Fy), Euler beyond, K 0.875 for pinned and 0.75 for riveted ends: "
    "AASHTO Manual for Bridge Evaluation, 6B.5.2"
)
METHODS = {
    "allowable-stress": Method(
        "allowable-stress",
        1.0,
        {"operating": 1.0, "inventory": 1.0},
        {"operating": 0.75, "inventory": 0.55},
        {"operating": 0.67, "inventory": 0.50},
        {"operating": 1.70, "inventory": 2.12},
        (
            "Rating (C − D)/L(1 + I) by allowable stress; tension 0.55 and 0.75 Fy "
            "gross, 0.50 and 0.67 Fu net (inventory and operating): AASHTO Manual for "
            "Bridge Evaluation, 6B.4 and 6B.5.2, from memory.",
            f"{COLUMN_SOURCE}, divided by 2.12 and 1.70; from memory, its printed "
            "constants reproduce.",
        ),
    ),
    "load-factor": Method(
        "load-factor",
        1.3,
        {"operating": 1.3, "inventory": 2.17},
        {"operating": 1.0, "inventory": 1.0},
        {"operating": 1.0, "inventory": 1.0},
        {"operating": 1.0 / 0.85, "inventory": 1.0 / 0.85},
        (
            "Rating (C − 1.3 D)/(A L(1 + I)) by load factor, A 2.17 inventory and 1.3 "
            "operating; tension Fy gross or Fu net: AASHTO Manual for Bridge "
            "Evaluation, 6B.4, from memory.",
            f"{COLUMN_SOURCE}, times 0.85; from memory.",
        ),
    ),
}
#: Published allowable tension of wrought iron on the gross section, ksi.
WROUGHT_IRON_TENSION = {"operating": 20.0, "inventory": 14.6}


def column_strength_ksi(fy_ksi: float, e_ksi: float, slenderness: float) -> float:
    """Return the strength of a centrally loaded column, without safety factor, ksi.

    Source: parabola to half of Fy, then Euler (AASHTO Manual for Bridge Evaluation
    6B.5.2, from memory; printed constants reproduce). Known answers:
    tests/published/test_columns.py.
    """
    change = math.sqrt(2.0 * math.pi**2 * e_ksi / fy_ksi)
    if slenderness <= change:
        return fy_ksi * (1.0 - slenderness**2 * fy_ksi / (4.0 * math.pi**2 * e_ksi))
    return math.pi**2 * e_ksi / slenderness**2


def timber_column_ksi(length_over_width: float) -> float:
    """Return the safe stress of a timber strut, ksi.

    Between the printed slendernesses in a straight line; beyond the last as Euler
    falls. Source: Tower 1874. Known answers: tests/published/test_columns.py.
    """
    table = TIMBER_COLUMN
    if length_over_width <= table[0][0]:
        return table[0][1]
    for (low, high_ksi), (high, low_ksi) in pairwise(table):
        if length_over_width <= high:
            part = (length_over_width - low) / (high - low)
            return high_ksi + part * (low_ksi - high_ksi)
    return table[-1][1] * (table[-1][0] / length_over_width) ** 2


@dataclass(frozen=True)
class Piece:
    """One component of a member: its stiffness and its own limits.

    ``tension_kip``, ``compression_kip`` by level; None where not rated.
    ``late_kip``: what it lags behind its share, being longer than its fellows.
    """

    ea_kip: float
    carries_dead: bool
    tension_kip: Limits | None
    compression_kip: Limits | None
    late_kip: float = 0.0


@dataclass(frozen=True)
class Capacity:
    """What a member comes to.

    Attributes
    ----------
    section : Section, after losses
    ea_kip : E times A, all components
    slenderness : KL/r of the worse plane, of the pieces counted in compression; None
        where no compression is rated
    tension_kip, compression_kip : by level, were all of the force shared alike; None
        where not rated
    pieces : per component; empty where no group says what the member is made of
    fewer : what some of the pieces come to without the others, where that may be more
    kept : which pieces of the member they are, where they are some of them
    """

    section: Section
    ea_kip: float
    slenderness: float | None
    tension_kip: Limits | None
    compression_kip: Limits | None
    pieces: tuple[Piece, ...]
    fewer: tuple[Capacity, ...] = ()
    kept: tuple[int, ...] = ()

    @cached_property
    def _is_late(self) -> bool:
        return any(piece.late_kip for piece in self.pieces)

    @cached_property
    def _dead_ea_kip(self) -> float:
        return sum(piece.ea_kip for piece in self.pieces if piece.carries_dead)

    def headroom_kip(self, dead_kip: float, level: str, upward: bool) -> float:
        """Return how much the force may rise, or fall, from the dead-load force.

        Dead force is shared by the components that carry all, live force by all of
        them, each by EA; the first component at its limit sets it. Negative where dead
        load alone is beyond it, infinite where there is no limit.

        Pieces that would lower what the others carry without them, by being weaker or
        more slender, are not counted, so that metal put on a member never lowers its
        rating. In tension that is the static theorem: forces that balance and are
        nowhere beyond a limit are carried, however the pieces share in fact. In
        compression it is common practice and rests on two things more: a piece not
        counted that is held to the others along the member makes it stiffer sideways
        and never less stiff, and those counted are taken with their own radii, not
        with those of the whole. No piece is counted without one that carries dead load.
        """
        room = self.together_kip(dead_kip, level, upward)
        for some in self.fewer:
            room = max(room, some.together_kip(dead_kip, level, upward))
        return room

    def counts_all(self, dead_kip: float, upward: bool) -> bool:
        """Return whether the room one way is that of all pieces, at every level."""
        return not any(
            some.together_kip(dead_kip, level, upward)
            > self.together_kip(dead_kip, level, upward) + ALIKE * self.ea_kip
            for some in self.fewer
            for level in LEVELS
        )

    def together_kip(self, dead_kip: float, level: str, upward: bool) -> float:
        """Return the same with all components taking their share."""
        if upward and self._is_late:
            return self._pulled_kip(level) - dead_kip
        dead_ea = self._dead_ea_kip
        room = math.inf
        for piece in self.pieces:
            own = dead_kip * piece.ea_kip / dead_ea if piece.carries_dead else 0.0
            limits = piece.tension_kip if upward else piece.compression_kip
            if limits is None:
                continue
            left = limits[level] - own if upward else limits[level] + own
            room = min(room, left * self.ea_kip / piece.ea_kip)
        return room

    def line(self, level: str, upward: bool) -> tuple[float, float, float]:
        """Return (p, s, q): the room of all pieces under a dead force D is the lesser of
        p - s D and q, where D is positive as the force moves.
        """
        if upward and self._is_late:
            return self._pulled_kip(level), 1.0, math.inf
        first = {True: math.inf, False: math.inf}
        for piece in self.pieces:
            limits = piece.tension_kip if upward else piece.compression_kip
            if limits is not None:
                reached = limits[level] * self.ea_kip / piece.ea_kip
                first[piece.carries_dead] = min(first[piece.carries_dead], reached)
        return first[True], self.ea_kip / self._dead_ea_kip, first[False]

    def _pulled_kip(self, level: str) -> float:
        """Return the pull at which the first of unequally tight bars is at its limit.

        A bar longer by d takes nothing until the others have stretched d.
        """
        strains = [
            (piece.tension_kip[level] + piece.late_kip) / piece.ea_kip
            for piece in self.pieces
            if piece.tension_kip is not None
        ]
        if not strains:
            return math.inf
        strain = min(strains)
        return sum(max(p.ea_kip * strain - p.late_kip, 0.0) for p in self.pieces)


@lru_cache(maxsize=8192)
def capacity(
    member: MemberInput, method_key: str, kl_out_in: float | None = None
) -> Capacity:
    """Return what a member comes to under a method.

    Parameters
    ----------
    member : MemberInput
    method_key : a key of ``METHODS``
    kl_out_in : effective length out of plane, in, where the chord settles it

    Source: named in ``METHODS`` and ``materials``. Known answers:
    tests/published/test_worked_rating.py, test_columns.py.
    """
    parts = _parts(
        member.components, member.section, member.material, member.loss_fraction
    )
    if not parts:
        unit = Section(1.0, 1.0, None, None, 0.0)
        e = strength(member.material).e_ksi if member.material else STEEL_E_KSI
        return Capacity(unit, e, None, None, None, ())
    parts = tuple(part for part in parts if part.acts)
    found = _capacity(member, parts, method_key, kl_out_in)
    if found.tension_kip is None or _are_alike(member, parts):
        return found
    some = [
        replace(
            _capacity(member, tuple(parts[p] for p in kept), method_key, kl_out_in),
            kept=kept,
        )
        for kept in _choices([part.carries_dead for part in parts])
    ]
    return _with_fewer(found, some)


def _are_alike(member: MemberInput, parts: Sequence[_Part]) -> bool:
    """Return whether none of the pieces can lower what the others carry.

    Of one metal, whatever their radii: A F(KL/r) by the column formula never falls as A
    and I grow, nothing else being changed.
    """

    def make(part: _Part) -> object:
        section, known = part.section, part.known
        bends: object = None
        if not member.tension_only:
            bends = section.shear_square, section.alone
            if known is not None and known.kind == "timber":
                bends = bends, section.r_in_plane_in, section.r_out_of_plane_in
        net = section.net_area_in2 / section.area_in2
        return known, part.carries_dead, part.longer_in, net, bends

    return len(parts) == 1 or len({make(part) for part in parts}) == 1


def _choices(carry_dead: Sequence[bool]) -> Iterator[tuple[int, ...]]:
    """Return which pieces may be counted: some of them, one of which carries dead load.

    Whoever adds a piece at the end adds choices and takes none away.
    """
    count = len(carry_dead)
    first = range(min(count, MOST_SORTED_OUT))
    for many in range(min(count - 1, len(first)), 0, -1):
        for kept in combinations(first, many):
            if any(carry_dead[p] for p in kept):
                yield kept
    for many in range(len(first) + 1, count):
        if any(carry_dead[:many]):
            yield tuple(range(many))


def _with_fewer(whole: Capacity, some: Sequence[Capacity]) -> Capacity:
    """Return a capacity with those choices of its pieces that can carry more."""
    every = [whole, *some]
    useful: set[int] = set()
    for upward in (True, False):
        if not upward and whole.compression_kip is None:
            continue
        for level in LEVELS:
            useful |= _not_below([one.line(level, upward) for one in every])
    # Those that were there before the others: sampled sizes may make them the better.
    old = tuple(p for p, piece in enumerate(whole.pieces) if piece.carries_dead)
    fewer = tuple(
        one for k, one in enumerate(every) if k and (k in useful or one.kept == old)
    )
    if not fewer:
        return whole

    def most(each: Sequence[Limits | None]) -> Limits | None:
        known = [one for one in each if one is not None]
        if not known:
            return None
        return {level: max(one[level] for one in known) for level in LEVELS}

    counted = whole
    for one in fewer if whole.compression_kip is not None else ():
        if _pushed(one) > _pushed(counted) * (1.0 + ALIKE):
            counted = one
    return replace(
        whole,
        slenderness=counted.slenderness,
        tension_kip=most([one.tension_kip for one in (whole, *fewer)]),
        compression_kip=most([one.compression_kip for one in (whole, *fewer)]),
        fewer=fewer,
    )


def _pushed(one: Capacity) -> float:
    return 0.0 if one.compression_kip is None else one.compression_kip["operating"]


def _not_below(lines: Sequence[tuple[float, float, float]]) -> set[int]:
    """Return which of some lines, as ``Capacity.line`` gives them, others do not cover.

    Of lines alike the first; the first of all is left out only where it is covered.
    """
    kept: list[int] = []
    for k, line in enumerate(lines):
        if any(_covers(lines[other], line) for other in kept):
            continue
        kept = [other for other in kept if not _covers(line, lines[other])]
        kept.append(k)
    return set(kept)


def _covers(
    above: tuple[float, float, float], below: tuple[float, float, float]
) -> bool:
    """Return whether one line leaves as much room as another under any dead force.

    Rooms below zero are all none.
    """
    (p, s, q), (p_below, s_below, q_below) = above, below
    more = 1.0 + ALIKE
    if p * more < p_below or q * more < q_below:
        return False
    steeper = s_below - s
    if abs(steeper) <= ALIKE * s:
        return True
    # Where the sloping parts meet; beyond it the other is the higher of the two.
    meet = p - s * (p_below - p) / steeper
    return meet <= 0.0 if steeper < 0.0 else meet * more >= q_below


def _capacity(
    member: MemberInput,
    parts: tuple[_Part, ...],
    method_key: str,
    kl_out_in: float | None,
) -> Capacity:
    """Return what some parts of a member come to together."""
    whole = combined([(part.section, part.e_ksi) for part in parts])
    slenderness = _slenderness(member, whole, kl_out_in)
    widths = _length_over_width(member, whole, kl_out_in)
    method = METHODS[method_key]
    pieces = tuple(_piece(part, method, slenderness, widths) for part in parts)
    length_in = member.length_ft * IN_PER_FT
    pieces = tuple(
        replace(piece, late_kip=piece.ea_kip * part.longer_in / length_in)
        if part.longer_in
        else piece
        for piece, part in zip(pieces, parts, strict=True)
    )
    ea = sum(piece.ea_kip for piece in pieces)
    pushed = _shared([(p.compression_kip, p.ea_kip) for p in pieces], ea)
    pulled = _shared([(p.tension_kip, p.ea_kip) for p in pieces], ea)
    found = Capacity(
        whole, ea, slenderness if pushed is not None else None, pulled, pushed, pieces
    )
    if pulled is None or not any(piece.late_kip for piece in pieces):
        return found
    return replace(
        found, tension_kip={level: found._pulled_kip(level) for level in LEVELS}
    )


@dataclass(frozen=True)
class _Part:
    """A component's section after losses; ``known`` None where no material is said."""

    section: Section
    known: Strength | None
    carries_dead: bool
    acts: bool = True
    longer_in: float = 0.0

    @property
    def e_ksi(self) -> float:
        return self.known.e_ksi if self.known else STEEL_E_KSI


def bare_section(member: MemberInput) -> Section | None:
    """Return a member's section before losses; None where nothing says what it is."""
    parts = _parts(member.components, member.section, member.material, 0.0)
    return combined([(p.section, p.e_ksi) for p in parts]) if parts else None


@lru_cache(maxsize=8192)
def _parts(
    components: tuple[Component, ...],
    given: GivenSection | None,
    material: Material | None,
    loss_fraction: float,
) -> tuple[_Part, ...]:
    """Return the parts of every member that is made of these."""
    if given is not None:
        known = _known(material)
        section = _given(given, known)
        return (_Part(_reduced(section, loss_fraction), known, True),)
    parts = []
    for piece in components:
        known = _known(piece.material or material)
        pcf = known.weight_pcf if known else WEIGHT_PCF["steel"]
        section = _reduced(component_section(piece, pcf), loss_fraction)
        acts = piece.carries != "none"
        parts.append(
            _Part(section, known, piece.carries == "all", acts, piece.longer_in)
        )
    return tuple(parts)


def _known(material: Material | None) -> Strength | None:
    return None if material is None else strength(material)


def _given(given: GivenSection, known: Strength | None) -> Section:
    area = given.area_in2
    weight = given.weight_plf
    if weight is None:
        pcf = known.weight_pcf if known else WEIGHT_PCF["steel"]
        weight = area * pcf / IN2_PER_FT2
    i_out = given.i_out_of_plane_in4
    if given.r_out_of_plane_in is not None:
        i_out = area * given.r_out_of_plane_in**2
    r_in = given.r_in_plane_in
    i_in = None if r_in is None else area * r_in**2
    return Section(area, given.net_area_in2, i_in, i_out, weight)


def _reduced(section: Section, loss_fraction: float) -> Section:
    """Return a section less a part of it everywhere; its weight and radii stay."""
    if not loss_fraction:
        return section
    left = 1.0 - loss_fraction
    i_in, i_out = section.i_in_plane_in4, section.i_out_of_plane_in4
    return replace(
        section,
        area_in2=section.area_in2 * left,
        net_area_in2=section.net_area_in2 * left,
        i_in_plane_in4=None if i_in is None else i_in * left,
        i_out_of_plane_in4=None if i_out is None else i_out * left,
    )


def _slenderness(
    member: MemberInput, whole: Section, kl_out_in: float | None
) -> float | None:
    """Return KL/r of the worse plane; None if tension-only or a radius is not known."""
    r_in, r_out = whole.r_in_plane_in, whole.r_out_of_plane_in
    if member.tension_only or not r_in or not r_out:
        return None
    kl_in = member.k * member.unbraced_in_plane_ft * IN_PER_FT
    if kl_out_in is None:
        kl_out_in = member.k * member.unbraced_out_of_plane_ft * IN_PER_FT
    sideways = kl_out_in / r_out
    sideways = math.sqrt(sideways**2 + whole.shear_square)
    return max(kl_in / r_in, sideways, whole.alone)


def _length_over_width(
    member: MemberInput, whole: Section, kl_out_in: float | None
) -> float | None:
    """Return length over width of the worse plane, as timber tables count it."""
    r_in, r_out = whole.r_in_plane_in, whole.r_out_of_plane_in
    if member.tension_only or not r_in or not r_out:
        return None
    out_in = kl_out_in or member.unbraced_out_of_plane_ft * IN_PER_FT
    worst = max(member.unbraced_in_plane_ft * IN_PER_FT / r_in, out_in / r_out)
    return worst / math.sqrt(12.0)


def _piece(
    part: _Part, method: Method, slenderness: float | None, widths: float | None
) -> Piece:
    area, net = part.section.area_in2, part.section.net_area_in2
    ea, known = part.e_ksi * area, part.known
    if known is None or not known.is_rated:
        return Piece(ea, part.carries_dead, None, None)
    if known.kind == "timber":
        return Piece(
            ea,
            part.carries_dead,
            {level: TIMBER_TENSION_KSI * net * TIMBER_LEVEL[level] for level in LEVELS},
            None
            if widths is None
            else {
                level: timber_column_ksi(widths) * area * TIMBER_LEVEL[level]
                for level in LEVELS
            },
        )
    tension = {
        level: min(
            _gross_ksi(known, method, level) * area, _net(known, method, level, net)
        )
        for level in LEVELS
    }
    compression = None
    if slenderness is not None:
        column = column_strength_ksi(known.fy_ksi, known.column_e_ksi, slenderness)
        compression = {level: column * area / method.column[level] for level in LEVELS}
    return Piece(ea, part.carries_dead, tension, compression)


def _gross_ksi(known: Strength, method: Method, level: str) -> float:
    if known.kind == "wrought-iron" and method.key == "allowable-stress":
        return WROUGHT_IRON_TENSION[level]
    return method.gross[level] * known.fy_ksi


def _net(known: Strength, method: Method, level: str, net_in2: float) -> float:
    return method.net[level] * known.fu_ksi * net_in2


def _shared(
    limits: Sequence[tuple[Limits | None, float]], ea_kip: float
) -> Limits | None:
    """Return the force, shared by EA, that brings the first component to its limit."""
    known = [(own, ea) for own, ea in limits if own is not None]
    if len(known) < len(limits):
        return None
    return {
        level: min(own[level] * ea_kip / ea for own, ea in known) for level in LEVELS
    }
