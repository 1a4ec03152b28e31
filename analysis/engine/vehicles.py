"""Vehicles and lane loads, with where each is from and how surely it is known.

Axle loads in kips for the whole vehicle; distances in feet behind the front axle.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import accumulate

AASHTO = "AASHTO Standard Specifications for Highway Bridges, article 3.7"
LEGAL = "AASHTO Manual for Bridge Evaluation, appendix D6A"
EMERGENCY = "FHWA memorandum on emergency vehicles, 2016, and 23 U.S.C. 127(r)"
FROM_MEMORY = "axle loads set down from memory"
REPRODUCED = "axle loads set down from memory; published moments reproduce from them"


@dataclass(frozen=True)
class Vehicle:
    """A vehicle's axles: ``axle_kip`` and ``behind_front_ft``, front to rear."""

    key: str
    axle_kip: tuple[float, ...]
    behind_front_ft: tuple[float, ...]
    source: str

    @property
    def weight_kip(self) -> float:
        return sum(self.axle_kip)


@dataclass(frozen=True)
class LaneLoad:
    """A uniform load with one concentrated load, larger for web members than chords."""

    key: str
    klf: float
    concentrated_chord_kip: float
    concentrated_web_kip: float
    source: str


def _vehicle(
    key: str, axle_kip: tuple[float, ...], spacing_ft: tuple[float, ...], source: str
) -> Vehicle:
    return Vehicle(key, axle_kip, tuple(accumulate(spacing_ft, initial=0.0)), source)


_ALL = (
    _vehicle(
        "H5",
        (2.0, 8.0),
        (14.0,),
        "Maintenance truck of 10,000 lb, AASHTO Guide Specifications for Design of "
        f"Pedestrian Bridges, 1997; {FROM_MEMORY}",
    ),
    _vehicle("H10", (4.0, 16.0), (14.0,), f"{AASHTO}; {FROM_MEMORY}"),
    _vehicle("H15", (6.0, 24.0), (14.0,), f"{AASHTO}; {REPRODUCED}"),
    _vehicle("H20", (8.0, 32.0), (14.0,), f"{AASHTO}; {REPRODUCED}"),
    _vehicle("HS15", (6.0, 24.0, 24.0), (14.0, 14.0), f"{AASHTO}; {FROM_MEMORY}"),
    _vehicle("HS20", (8.0, 32.0, 32.0), (14.0, 14.0), f"{AASHTO}; {REPRODUCED}"),
    _vehicle("type-3", (16.0, 17.0, 17.0), (15.0, 4.0), f"{LEGAL}; {FROM_MEMORY}"),
    _vehicle(
        "type-3S2",
        (10.0, 15.5, 15.5, 15.5, 15.5),
        (11.0, 4.0, 22.0, 4.0),
        f"{LEGAL}; {FROM_MEMORY}",
    ),
    _vehicle(
        "type-3-3",
        (12.0, 12.0, 12.0, 16.0, 14.0, 14.0),
        (15.0, 4.0, 15.0, 16.0, 4.0),
        f"{LEGAL}; {FROM_MEMORY}",
    ),
    _vehicle(
        "SU4", (12.0, 8.0, 17.0, 17.0), (10.0, 4.0, 4.0), f"{LEGAL}; {FROM_MEMORY}"
    ),
    _vehicle(
        "SU5",
        (12.0, 8.0, 8.0, 17.0, 17.0),
        (10.0, 4.0, 4.0, 4.0),
        f"{LEGAL}; {FROM_MEMORY}",
    ),
    _vehicle(
        "SU6",
        (11.5, 8.0, 8.0, 17.0, 17.0, 8.0),
        (10.0, 4.0, 4.0, 4.0, 4.0),
        f"{LEGAL}; {FROM_MEMORY}",
    ),
    _vehicle(
        "SU7",
        (11.5, 8.0, 8.0, 17.0, 17.0, 8.0, 8.0),
        (10.0, 4.0, 4.0, 4.0, 4.0, 4.0),
        f"{LEGAL}; {FROM_MEMORY}",
    ),
    _vehicle(
        "legal-axle",
        (20.0,),
        (),
        "Federal limit of a single axle, 23 U.S.C. 127; from memory",
    ),
    _vehicle(
        "legal-tandem",
        (17.0, 17.0),
        (4.0,),
        "Federal limit of a tandem axle, 23 U.S.C. 127; from memory",
    ),
    _vehicle(
        "traction-engine-15",
        (10.0, 20.0),
        (10.0,),
        "Traction engine of 15 tons, axles 10 ft apart, two thirds on the rear: M. S. "
        "Ketchum's specification of 1908 as applied in an engineering thesis (seen)",
    ),
    _vehicle("EV2", (24.0, 33.5), (15.0,), f"{EMERGENCY}; {FROM_MEMORY}"),
    _vehicle("EV3", (24.0, 31.0, 31.0), (15.0, 4.0), f"{EMERGENCY}; {FROM_MEMORY}"),
)

#: By the word used in a check file. HS trucks have their rear axles 14 ft apart, the
#: spacing that governs on simple spans.
VEHICLES: Mapping[str, Vehicle] = {vehicle.key: vehicle for vehicle in _ALL}

#: The published concentrated load is the smaller for moment (chords) and the larger
#: for shear (web members).
LANES: Mapping[str, LaneLoad] = {
    lane.key: lane
    for lane in (
        LaneLoad("H10", 0.32, 9.0, 13.0, f"{AASHTO}; half of H20, from memory"),
        LaneLoad("H15", 0.48, 13.5, 19.5, f"{AASHTO}; three quarters of H20"),
        LaneLoad(
            "H20",
            0.64,
            18.0,
            26.0,
            f"{AASHTO}, as printed in M. A. Khan, Bridge and Highway Structure "
            "Rehabilitation and Repair, 2010, p. 251",
        ),
        LaneLoad("HS15", 0.48, 13.5, 19.5, f"{AASHTO}; three quarters of HS20"),
        LaneLoad("HS20", 0.64, 18.0, 26.0, f"{AASHTO}; that of H20"),
    )
}


#: Between the centres of vehicles side by side, ft: lanes of 10 ft, AASHTO 3.6, memory.
ABREAST_FT = 10.0


def lever_fraction(
    roadway_ft: float,
    trusses_apart_ft: float,
    gauge_ft: float,
    curb_clear_ft: float,
    vehicles: int = 1,
    placing: str = "worst",
) -> float:
    """Return the part of one vehicle that the nearer truss takes, by the lever rule.

    At worst the first of the ``vehicles`` stands as near that truss as the curb lets
    it and the next 10 ft from it; centred, they stand about the middle. A wheel line
    beyond the farther truss is taken off nothing. Derivation: moments about the farther
    truss. Known answers: tests/published/test_aashto_loads.py.
    """
    if placing == "centred":
        return vehicles / 2.0
    near = trusses_apart_ft - (trusses_apart_ft - roadway_ft) / 2.0 - curb_clear_ft
    lines = [
        near - number * ABREAST_FT - step
        for number in range(vehicles)
        for step in (0.0, gauge_ft)
    ]
    return sum(max(line, 0.0) for line in lines) / (2.0 * trusses_apart_ft)


#: Pedestrian load by loaded area: AASHTO Guide Specifications for Design of Pedestrian
#: Bridges, 1997, from memory.
CROWD_PSF, LEAST_CROWD_PSF, CROWD_AREA_FT2 = 85.0, 65.0, 400.0
CROWD_SOURCE = (
    "Pedestrian load 85 psf, above 400 sq ft 85(0.25 + 15/sqrt A), at least 65: AASHTO "
    "Guide Specifications for Design of Pedestrian Bridges, 1997, from memory."
)


def crowd_psf(area_ft2: float) -> float:
    """Return the pedestrian load on a walkway of an area, psf.

    Source: ``CROWD_SOURCE``. Known answers: tests/published/test_aashto_loads.py.
    """
    if area_ft2 <= CROWD_AREA_FT2:
        return CROWD_PSF
    return max(CROWD_PSF * (0.25 + 15.0 / math.sqrt(area_ft2)), LEAST_CROWD_PSF)


SIDEWALK_SOURCE = (
    "Sidewalk load on trusses 85 psf to 25 ft of span, 60 psf to 100 ft, above it "
    "(30 + 3000/L)(55 - W)/50, at most 60: AASHTO Standard Specifications, article "
    "3.14.1.1, from memory."
)


def sidewalk_psf(span_ft: float, width_ft: float) -> float:
    """Return the sidewalk load that a truss of a span is designed for, psf.

    ``width_ft`` is the width of the sidewalk. No impact. Source: ``SIDEWALK_SOURCE``.
    Known answers: tests/published/test_aashto_loads.py.
    """
    if span_ft <= 25.0:
        return 85.0
    if span_ft <= 100.0:
        return 60.0
    wide = max(55.0 - width_ft, 0.0) / 50.0
    return min((30.0 + 3000.0 / span_ft) * wide, 60.0)


def impact(loaded_ft: float) -> float:
    """Return the impact allowance for a loaded length, 50/(L + 125) at most 0.30.

    Source: AASHTO Standard Specifications, article 3.8.2, from memory.
    """
    return min(50.0 / (loaded_ft + 125.0), 0.30)
