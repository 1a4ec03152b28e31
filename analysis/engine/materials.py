"""What old metal and timber are taken to stand where nobody has tested them.

Strengths in ksi, weights in lb per cubic foot. Each value carries its source and says
where it was set down from memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from .canonical import kept_hash, without_kept

KINDS = ("wrought-iron", "steel", "timber", "cast-iron")

#: Last year of each row, Fy, Fu. Editions print the boundary years ambiguously: the
#: lower strength is used in a boundary year.
STEEL_BY_YEAR: tuple[tuple[int, float, float], ...] = (
    (1905, 26.0, 52.0),
    (1936, 30.0, 60.0),
    (1963, 33.0, 60.0),
    (9999, 36.0, 58.0),
)
STEEL_E_KSI = 29_000.0
#: THORPE 26,200; Purdue coupons 27,900; T. H. Johnson's constants 27,000.
WROUGHT_IRON_E_KSI = 27_500.0
TIMBER_E_KSI = 1_600.0
#: Cast iron, middle of 12,000 to 16,000, from memory; for sharing force only.
CAST_IRON_E_KSI = 14_000.0
#: lb per cubic foot, AASHTO Standard Specifications article 3.3.6.
WEIGHT_PCF = {
    "steel": 490.0,
    "wrought-iron": 480.0,
    "timber": 50.0,
    "cast-iron": 450.0,
}

STEEL_SOURCE = (
    "Steel of unknown strength by year built: AASHTO Manual for Bridge Evaluation, "
    "table 6A.6.2.1-1, from memory."
)
WROUGHT_IRON_SOURCE = (
    "Wrought iron, Fy 26 and Fu 48 ksi where untested, allowable tension 14.6 and "
    "20.0 ksi: AASHTO Manual for Bridge Evaluation, 6A.6.2 and 6B.5.2.2, from memory."
)
TIMBER_SOURCES = (
    "Timber in compression, by length over least width: G. B. N. Tower, Instructions "
    "on Modern American Bridge Building, 1874.",
    "Timber in tension, 0.825 ksi: Douglas fir-larch No. 1 posts and timbers, "
    "National Design Specification supplement, from memory; operating 1.33 times "
    "inventory, Manual for Bridge Evaluation, from memory.",
)
CAST_IRON_SOURCE = (
    "Cast iron 450 lb/cu ft: G. B. N. Tower, 1874, and AASHTO Standard Specifications "
    "3.3.6, from memory."
)
GIVEN_SOURCE = "Strengths as given in the file."


@dataclass(frozen=True)
class Material:
    """A material as a check file names it: by kind and year, or by its strengths."""

    kind: str | None = None
    year: int | None = None
    fy_ksi: float | None = None
    fu_ksi: float | None = None
    e_ksi: float | None = None

    __hash__ = kept_hash
    __getstate__ = without_kept


@dataclass(frozen=True)
class Strength:
    """What is known of a material, or taken to be.

    Attributes
    ----------
    kind : one of ``KINDS``, or "given"
    fy_ksi, fu_ksi : yield and ultimate strength (0 for timber)
    e_ksi : modulus for stiffness
    column_e_ksi : modulus in the column formula
    weight_pcf : lb per cubic foot
    assumption : what stands in for a test, as a sentence; sources : where it is from
    """

    kind: str
    fy_ksi: float
    fu_ksi: float
    e_ksi: float
    column_e_ksi: float
    weight_pcf: float
    assumption: str
    sources: tuple[str, ...]

    @property
    def is_rated(self) -> bool:
        """False for cast iron: no published allowable stress is carried here."""
        return self.kind != "cast-iron"


@lru_cache(maxsize=1024)
def strength(material: Material) -> Strength:
    """Return the strength of a material by kind and year, or as given.

    Source: engineering handbook values named in ``sources`` of the answer. Known
    answers: tests/published/test_material_tables.py.
    """
    if material.kind == "steel":
        return _steel(material.year)
    if material.kind == "wrought-iron":
        return Strength(
            "wrought-iron",
            26.0,
            48.0,
            WROUGHT_IRON_E_KSI,
            STEEL_E_KSI,
            WEIGHT_PCF["wrought-iron"],
            "Wrought iron is taken at Fy 26 and Fu 48 ksi, E 27,500 ksi for stiffness; "
            "the column formula keeps the 29,000 ksi it was published with. Tests of "
            "old iron range from 18 to 33 ksi at yield.",
            (WROUGHT_IRON_SOURCE,),
        )
    if material.kind == "timber":
        return Strength(
            "timber",
            0.0,
            0.0,
            TIMBER_E_KSI,
            TIMBER_E_KSI,
            WEIGHT_PCF["timber"],
            "Timber is taken as sound, dry and of one good structural grade, whatever "
            "its kind; daps, bolt holes and decay are not deducted.",
            TIMBER_SOURCES,
        )
    if material.kind == "cast-iron":
        return Strength(
            "cast-iron",
            0.0,
            0.0,
            CAST_IRON_E_KSI,
            CAST_IRON_E_KSI,
            WEIGHT_PCF["cast-iron"],
            "Cast iron is weighed and shares force, and is not assessed: it breaks "
            "without warning and no allowable stress for rating it is carried here.",
            (CAST_IRON_SOURCE,),
        )
    fy, fu = material.fy_ksi or 0.0, material.fu_ksi or 0.0
    e = material.e_ksi or STEEL_E_KSI
    text = (
        f"Metal with strengths given is taken at Fy {fy:g}, Fu {fu:g} and E {e:,.0f} "
        "ksi, and weighed as steel."
    )
    weight = WEIGHT_PCF["steel"]
    return Strength("given", fy, fu, e, e, weight, text, (GIVEN_SOURCE,))


def _steel(year: int | None) -> Strength:
    built = 0 if year is None else year
    fy, fu = next((fy, fu) for last, fy, fu in STEEL_BY_YEAR if built <= last)
    when = "of no known year, the oldest" if year is None else f"of {year}"
    return Strength(
        "steel",
        fy,
        fu,
        STEEL_E_KSI,
        STEEL_E_KSI,
        WEIGHT_PCF["steel"],
        f"Steel {when} is taken at Fy {fy:g} and Fu {fu:g} ksi, E 29,000 ksi.",
        (STEEL_SOURCE,),
    )
