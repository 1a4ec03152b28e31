"""What a truss would have met under the specifications of its own day.

Each specification is that day's unit stresses and the loads it asked of each class of
bridge; ``works_out`` asks the other way round as well: the uniform load and the road
roller at which the first member comes to that day's stress. Ratings are the engine's,
with these stresses in place of today's, and no impact where the day knew none.

Values marked ``weak`` are recalled and unchecked: they place a bridge in a range, and
no figure should be quoted from them. ksi, psf, short tons, feet.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from .answer import truss_of
from .equilibrium import Float, Mask, Truss
from .liveload import fraction, loading
from .loads import Load, Train, Uniform
from .question import CheckInput, LiveLoad, MemberInput
from .rating import ratings
from .resistance import IN_PER_FT, TIMBER_COLUMN, capacity, timber_column_ksi
from .sampling import dead_joint_kip
from .sections import Section
from .statics import Model, dead_forces
from .vehicles import VEHICLES

SEEN, MEMORY, WEAK = "seen", "memory", "weak"
CERTAINTY_WORDS = {
    SEEN: "from a copy of the source",
    MEMORY: "from memory",
    WEAK: "recalled and not checked, so not to be quoted",
}
LB_PER_KIP = 1000.0
KIP_PER_TON = 2.0
#: A road roller or traction engine: axles 10 ft apart, two thirds on the rear
#: (M. S. Ketchum's specification of 1908, as an engineering thesis applied it).
ROLLER_APART_FT, ROLLER_REAR = 10.0, 2.0 / 3.0
#: A member counts as meeting a class within this part: sizes were rolled, and read.
WITHIN = 0.02


@dataclass(frozen=True)
class Column:
    """A column formula by l/r, ksi; ``kind`` says which letters mean what.

    "rankine": ``a`` / (1 + (l/r)^2 / b), b for pinned and for fixed ends.
    "straight": ``a`` - b (l/r), at most ``most``.
    "parabola": ``a`` - b (l/r)^2, at most ``most``.
    """

    kind: str
    a_ksi: float
    b_pinned: float
    b_fixed: float
    most_ksi: float = math.inf

    def stress_ksi(self, slenderness: float, is_pinned: bool) -> float:
        """Return the allowed stress; never below 0."""
        b = self.b_pinned if is_pinned else self.b_fixed
        if self.kind == "rankine":
            return self.a_ksi / (1.0 + slenderness * slenderness / b)
        power = 1.0 if self.kind == "straight" else 2.0
        stress = self.a_ksi - b * math.pow(slenderness, power)
        return max(min(stress, self.most_ksi), 0.0)


@dataclass(frozen=True)
class Metal:
    """Unit stresses of one material, ksi; tension on the net section."""

    tension_ksi: float
    column: Column | None
    eyebar_ksi: float = 0.0
    rod_ksi: float = 0.0


@dataclass(frozen=True)
class LoadClass:
    """What was asked of one class of bridge.

    ``psf`` rows are (span up to, psf); ``vehicle`` is a truck instead.
    """

    key: str
    words: str
    psf: tuple[tuple[float, float], ...] = ()
    vehicle: str = ""
    floor_words: str = ""

    def psf_at(self, span_ft: float) -> float | None:
        """Return the uniform load for a span, None beyond the table."""
        return next((psf for to_ft, psf in self.psf if span_ft <= to_ft), None)


@dataclass(frozen=True)
class Specification:
    """One specification: when it was used, its stresses, its loads, and their source."""

    key: str
    title: str
    first_year: int
    last_year: int
    metals: Mapping[str, Metal]
    classes: tuple[LoadClass, ...]
    stress_certainty: str
    load_certainty: str
    source: str
    note: str = ""
    #: 100/(L + this many ft), as a fraction of the live load; 0 for none.
    impact_ft: float = 0.0

    def is_of(self, year: int) -> bool:
        """Return whether a bridge built that year may have been let under it."""
        return self.first_year <= year <= self.last_year


def _falling(
    low_ft: float, low: float, high_ft: float, high: float
) -> tuple[tuple[float, float], ...]:
    """Return rows of a load that falls in a straight line, by tens of feet."""
    rows = [(low_ft, low)]
    steps = round((high_ft - low_ft) / 10.0)
    rows += [
        (low_ft + 10.0 * i, low + (high - low) * i / steps) for i in range(1, steps + 1)
    ]
    return (*rows, (math.inf, high))


_TIMBER = Metal(2.0, None)
_RANKINE_9 = Column("rankine", 9.0, 20_000.0, 40_000.0)
_COOPER = {
    "wrought-iron": Metal(12.0, _RANKINE_9, rod_ksi=12.0),
    "steel": Metal(15.0, Column("rankine", 10.0, 20_000.0, 40_000.0)),
}

SPECIFICATIONS: tuple[Specification, ...] = (
    Specification(
        "tower-1874",
        "G. B. N. Tower’s rules of 1874",
        1860,
        1885,
        {
            "wrought-iron": Metal(15.0, Column("rankine", 11.0, 20_000.0, 40_000.0)),
            "timber": _TIMBER,
        },
        (LoadClass("any", "any highway bridge", ((math.inf, 120.0),)),),
        SEEN,
        SEEN,
        "G. B. N. Tower, Instructions on Modern American Bridge Building, 1874",
        "Tower gives 11,000 lb for short iron posts and prints 12,000 elsewhere; the "
        "falling off with length is Rankine’s, for his own rule is not at hand. Timber "
        "posts by his table of length over width.",
    ),
    Specification(
        "asce-1875",
        "the civil engineers’ committee of 1875",
        1872,
        1890,
        {"wrought-iron": Metal(15.0, Column("rankine", 10.0, 20_000.0, 40_000.0))},
        (
            LoadClass(
                "A",
                "city and suburban bridges",
                ((60, 100), (100, 90), (200, 75), (400, 60)),
                floor_words="24 tons on four wheels",
            ),
            LoadClass(
                "B",
                "bridges in manufacturing districts",
                ((60, 100), (100, 75), (200, 60), (400, 50)),
                floor_words="16 tons on four wheels",
            ),
            LoadClass(
                "C",
                "country bridges",
                ((60, 70), (100, 60), (200, 50), (400, 40)),
                floor_words="8 tons on four wheels",
            ),
        ),
        MEMORY,
        SEEN,
        "Committee of the American Society of Civil Engineers on averting bridge "
        "accidents, 1875, as printed in G. L. Vose, Bridge Disasters in America, 1887",
        "Vose: 15,000 lb on iron in tension was often allowed on highway bridges. The "
        "column formula is Rankine’s with the highway numerator of 10,000, from memory.",
    ),
    Specification(
        "waddell-1884",
        "J. A. L. Waddell’s iron highway bridges of 1884",
        1884,
        1897,
        {"wrought-iron": _COOPER["wrought-iron"]},
        (
            LoadClass(
                "A",
                "cities",
                ((50, 100), (150, 90), (200, 80), (300, 70), (400, 60)),
            ),
            LoadClass(
                "B",
                "manufacturing districts",
                ((50, 100), (150, 90), (200, 80), (300, 70), (400, 60)),
            ),
            LoadClass(
                "C",
                "country roads",
                ((150, 80), (200, 70), (300, 60), (400, 50)),
            ),
        ),
        WEAK,
        WEAK,
        "J. A. L. Waddell, The Designing of Ordinary Iron Highway Bridges, 1884 and 1888",
        "Unit stresses are those common at the time, not his.",
    ),
    Specification(
        "cooper-1884",
        "Theodore Cooper’s highway specifications, 1884 to 1909",
        1884,
        1912,
        _COOPER,
        (
            LoadClass(
                "A",
                "city bridges",
                _falling(100, 100, 200, 80),
                floor_words="24 tons on two axles 10 ft apart",
            ),
            LoadClass(
                "B",
                "suburban bridges",
                _falling(100, 80, 200, 60),
                floor_words="12 tons on two axles",
            ),
            LoadClass(
                "C",
                "country bridges, heavy",
                _falling(100, 80, 200, 55),
                floor_words="12 tons on two axles",
            ),
            LoadClass(
                "D",
                "country bridges, ordinary",
                _falling(100, 75, 200, 55),
                floor_words="6 tons on two axles",
            ),
        ),
        WEAK,
        WEAK,
        "Theodore Cooper, General Specifications for Highway Bridges, editions of 1884, "
        "1890, 1896, 1901 and 1909",
        "Editions differ; iron at 12,000 lb and steel at a quarter more.",
    ),
    Specification(
        "waddell-1898",
        "J. A. L. Waddell’s De Pontibus of 1898",
        1898,
        1912,
        {
            "steel": Metal(
                16.0,
                Column("straight", 18.0, 0.080, 0.070),
                eyebar_ksi=18.0,
            )
        },
        (),
        SEEN,
        WEAK,
        "J. A. L. Waddell, De Pontibus, 1898, page 8",
        "His loads are on a plate of curves that is not at hand, so only what it works "
        "out to is told; his column formula and impact 100/(L + 150) are recalled.",
        impact_ft=150.0,
    ),
    Specification(
        "ketchum-1908",
        "M. S. Ketchum’s specification of 1908",
        1906,
        1930,
        {"steel": Metal(16.0, Column("straight", 16.0, 0.070, 0.070, 14.0))},
        (
            LoadClass(
                "highway",
                "a highway span of about 100 ft",
                ((math.inf, 75.0),),
                floor_words="80 lb per square foot, or a 15-ton traction engine",
            ),
        ),
        MEMORY,
        SEEN,
        "M. S. Ketchum’s General Specifications for Steel Highway Bridges, 1908, as "
        "applied in an engineering thesis to a 100-ft span",
        "His load varies with the span; only that for 100 ft is at hand.",
    ),
    Specification(
        "aasho-1931",
        "the state highway officials’ specifications of 1931 to 1941",
        1927,
        1944,
        {"steel": Metal(16.0, Column("parabola", 15.0, 1 / 3000, 1 / 4000))},
        (
            LoadClass("H10", "10-ton trucks, light roads", vehicle="H10"),
            LoadClass("H15", "15-ton trucks, secondary roads", vehicle="H15"),
            LoadClass("H20", "20-ton trucks, main roads", vehicle="H20"),
        ),
        WEAK,
        MEMORY,
        "American Association of State Highway Officials, Standard Specifications, 1931 "
        "to 1941",
        "One truck of each class; the editions asked for trains of trucks.",
    ),
)


# --- members under a day's unit stresses -----------------------------------------------


@dataclass(frozen=True)
class Allowed:
    """What a member may carry, kip; None where that day's rules do not reach it."""

    tension_kip: float | None
    compression_kip: float | None


def allowed(
    member: MemberInput, specification: Specification, is_pinned: bool
) -> Allowed:
    """Return what a member may carry under a specification.

    None for a member without sizes, of a material the specification is silent on, or
    of two materials. Known answers: tests/published/test_period_specifications.py.
    """
    nothing = Allowed(None, None)
    if member.is_absent or not (member.components or member.section):
        return nothing
    materials = {piece.material or member.material for piece in member.components}
    if member.section is not None:
        materials = {member.material}
    kinds = {material.kind for material in materials if material is not None}
    if len(materials) != 1 or len(kinds) != 1:
        return nothing
    kind = kinds.pop()
    metal = specification.metals.get(kind or "")
    if metal is None:
        return nothing
    section = capacity(member, "allowable-stress").section
    tension = _tension_ksi(member, metal) * section.net_area_in2
    stress = _column_ksi(member, section, metal, is_pinned)
    return Allowed(tension, None if stress is None else stress * section.area_in2)


def _tension_ksi(member: MemberInput, metal: Metal) -> float:
    shapes = {piece.shape for piece in member.components}
    if metal.eyebar_ksi and shapes == {"eyebar"}:
        return metal.eyebar_ksi
    if metal.rod_ksi and shapes and shapes <= {"round-rod", "square-rod"}:
        return metal.rod_ksi
    return metal.tension_ksi


def _column_ksi(
    member: MemberInput, section: Section, metal: Metal, is_pinned: bool
) -> float | None:
    r_in, r_out = section.r_in_plane_in, section.r_out_of_plane_in
    if member.tension_only or not r_in or not r_out:
        return None
    slenderness = IN_PER_FT * max(
        member.unbraced_in_plane_ft / r_in, member.unbraced_out_of_plane_ft / r_out
    )
    if metal is _TIMBER:
        return timber_column_ksi(slenderness / math.sqrt(12.0)) / TIMBER_COLUMN[0][1]
    if metal.column is None:
        return None
    return metal.column.stress_ksi(slenderness, is_pinned)


# --- what it works out to --------------------------------------------------------------


@dataclass(frozen=True)
class Met:
    """One class against one truss line.

    ``short`` names the members that do not meet it; ``of`` counts those rated.
    """

    load_class: LoadClass
    psf: float | None
    times: float
    short: tuple[str, ...]
    of: int


@dataclass(frozen=True)
class Worked:
    """One specification against one truss line.

    ``psf`` and ``roller_tons``: the uniform load of the roadway, and the roller, at
    which the first member is at that day's stress; with the least and the most of them
    that the readings allow. None where nothing is rated.
    """

    specification: Specification
    psf: float | None
    psf_range: tuple[float, float] | None
    governs: str
    roller_tons: float | None
    roller_range: tuple[float, float] | None
    roller_governs: str
    unrated: tuple[str, ...]
    met: tuple[Met, ...] = field(default=())


def works_out(
    checks: Sequence[CheckInput],
    specification: Specification,
    roadway_ft: float,
    live: LiveLoad | None = None,
) -> Worked:
    """Ask what one truss line comes to under a specification.

    Parameters
    ----------
    checks : the configuration as recorded, then with its sizes at the least and at the
        most that their readings allow; the same geometry in all
    specification : Specification
    roadway_ft : clear width; half of its load comes on each truss
    live : how much of one vehicle comes on this truss; default as ``checks`` say

    Returns
    -------
    Worked

    Source: statics. Known answers: tests/published/test_period_specifications.py.
    """
    case = _Case(checks, specification)
    if not case.rated.any():
        return Worked(specification, None, None, "", None, None, "", case.unrated)
    span_ft = case.span_ft
    impact = (
        100.0 / (span_ft + specification.impact_ft) if specification.impact_ft else 0
    )
    uniform = Uniform(roadway_ft / 2.0 / LB_PER_KIP * (1.0 + impact))
    share = case.share(live)
    # One ton of roller, front to rear.
    ton = KIP_PER_TON * share * (1.0 + impact)
    roller = Train(
        np.array([ton * (1.0 - ROLLER_REAR), ton * ROLLER_REAR]),
        np.array([0.0, ROLLER_APART_FT]),
    )
    psf, tons = case.times([uniform]), case.times([roller])
    met = []
    for one in specification.classes:
        wanted = one.psf_at(span_ft) if one.psf else None
        if wanted is not None:
            times = psf / wanted
        elif one.vehicle:
            times = case.times_of_vehicle(one.vehicle)
        else:
            continue
        met.append(_met(one, wanted, times[0], case))
    return Worked(
        specification,
        *_first(psf, case),
        *_first(tons, case),
        unrated=case.unrated,
        met=tuple(met),
    )


def _first(
    times: Float, case: _Case
) -> tuple[float | None, tuple[float, float] | None, str]:
    """Return the least multiple as recorded, its range over readings, and where."""
    least = times.min(axis=1)
    if not math.isfinite(least[0]):
        return None, None, ""
    name = case.truss.names[int(times[0].argmin())]
    finite = least[np.isfinite(least)]
    return float(least[0]), (float(finite.min()), float(finite.max())), name


def _met(one: LoadClass, psf: float | None, times: Float, case: _Case) -> Met:
    short = [
        name
        for name, multiple in zip(case.truss.names, times, strict=True)
        if multiple < 1.0 - WITHIN
    ]
    return Met(one, psf, float(times.min()), tuple(short), int(case.rated.sum()))


class _Case:
    """Configurations of one truss with what each member may carry."""

    def __init__(
        self, checks: Sequence[CheckInput], specification: Specification
    ) -> None:
        self.check = checks[0]
        self.truss: Truss = truss_of(self.check)
        self.model: Model = (
            "classical" if self.check.tension_only_model == "classical" else "elastic"
        )
        self.ea_kip = np.array(
            [
                [capacity(member, check.method).ea_kip for member in check.members]
                for check in checks
            ]
        )
        self.dead_kip = np.array(
            [dead_joint_kip(check, self.truss, check.dead_load) for check in checks]
        )
        is_pinned = self.check.connection == "pin"
        state = dead_forces(self.truss, self.ea_kip, self.dead_kip, self.model)
        self.stands: Mask = state.stands
        shape = (len(checks), 1, len(self.truss.names))
        self.up, self.down = np.full(shape, np.inf), np.full(shape, np.inf)
        self.rated = np.zeros(shape[2], bool)
        for c, check in enumerate(checks):
            for m, member in enumerate(check.members):
                found = allowed(member, specification, is_pinned)
                pushed = found.compression_kip
                if found.tension_kip is None or (
                    pushed is None and not member.tension_only
                ):
                    continue
                self.rated[m] = True
                force = state.forces_kip[c, m]
                self.up[c, 0, m] = found.tension_kip - force
                if pushed is not None:
                    self.down[c, 0, m] = pushed + force

    @property
    def unrated(self) -> tuple[str, ...]:
        """Return the members that are there and not judged."""
        judged = self.rated | np.asarray(self.truss.absent, bool)
        return tuple(self.truss.names[m] for m in np.flatnonzero(~judged))

    @property
    def span_ft(self) -> float:
        x = self.truss.xy_ft[:, 0]
        return float(abs(x[self.truss.roller] - x[self.truss.pinned]))

    def share(self, live: LiveLoad | None) -> float:
        """Return the part of one vehicle on this truss."""
        given = live or self.check.live_load
        return 0.5 if given is None else fraction(given)

    def times(self, loads: Sequence[Load], factor: Float | None = None) -> Float:
        """Return (c, m): the multiple of a load that brings each member to its stress."""
        unit = np.ones(len(self.truss.names)) if factor is None else factor
        found = ratings(
            self.truss,
            self.ea_kip,
            self.dead_kip,
            loads,
            unit,
            np.maximum(self.up, 0.0),
            np.maximum(self.down, 0.0),
            self.model,
        )
        beyond = (self.up <= 0.0) | (self.down <= 0.0)
        times = np.where(beyond, 0.0, np.minimum(found.up, found.down))[:, 0]
        answer: Float = np.where(self.stands[:, None], times, 0.0)
        return answer

    def times_of_vehicle(self, vehicle: str) -> Float:
        """The same of a truck with its published impact and this truss's share."""
        live = self.check.live_load or LiveLoad()
        live = replace(live, vehicle=vehicle, impact=None)
        found = loading(replace(self.check, live_load=live), self.truss)
        axle = VEHICLES[vehicle]
        train = Train(np.array(axle.axle_kip), np.array(axle.behind_front_ft))
        return self.times([train], found.factor_up)
