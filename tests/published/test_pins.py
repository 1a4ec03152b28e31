"""Pins: stresses of a round section, and moments built along the packing."""

import math

import numpy as np
import pytest

from analysis.engine import checkfile
from analysis.engine.answer import answer
from analysis.engine.checkfile import CheckFileError
from analysis.engine.pins import middles, pin_stresses

from .documents import REFERENCE
from .rows import approx

HANDBOOK = pytest.mark.published(
    "Pin stresses of the handbooks, by geometry", "derived"
)
STATICS = pytest.mark.published("Moments along a pin, by statics", "derived")
MANUAL = pytest.mark.published(
    "AASHTO Manual for Bridge Evaluation, 6B.5.2, pins", "memory"
)


@HANDBOOK
def test_a_three_inch_pin():
    """M 40 kip in: 15.09 ksi; V 40 kip: 5.66 on average; 40 kip on a 1-in bar: 13.33."""
    # Two pulls of 40 kip an inch apart, held by their like an inch and two beyond.
    at = np.array([0.0, 1.0, 5.0, 6.0])
    pull = np.array([[40.0, 0], [-40.0, 0], [-40.0, 0], [40.0, 0]])
    found = pin_stresses(3.0, at, np.ones(4), pull)
    assert found.bending == approx(15.09, abs=6e-3)
    assert found.shear == approx(5.66, abs=6e-3)
    assert found.bearing == approx(13.33, abs=6e-3)


def packed(*order, diameter=3.0, **pin):
    """Return reference truss R with a pin at L2 packed in an order."""
    bars = {
        "L1L2": {"member": "L1L2", "thickness_in": 1.0},
        "L2L3": {"member": "L2L3", "thickness_in": 1.0},
        "L2U1": {"member": "L2U1", "thickness_in": 0.75},
        "L2U2": {"member": "L2U2", "thickness_in": 0.5},
    }
    return {
        "geometry": REFERENCE,
        "material": {"kind": "steel", "year": 1910},
        "dead_load": {"joints_kip": {f"L{i}": 10 for i in range(1, 6)}},
        "live_load": {"vehicle": "H15", "fraction": 0.6},
        "pins": [
            {
                "joint": "L2",
                "diameter_in": diameter,
                "packing": [bars[name] | {"gap_in": 0.0} for name in order],
                **pin,
            }
        ],
    }


INSIDE_OUT = ["L2U2", "L2U1", "L1L2", "L2L3", "L2L3", "L1L2", "L2U1", "L2U2"]


@STATICS
def test_moments_of_a_lower_chord_pin_by_hand():
    """R, W 10: L1L2 18.75, L2L3 30, L2U1 18.75 (11.25 to the left, 15 up), L2U2 -5;
    10 kip hang at the middle two bars. Halves from the outside in: post 2.5 down,
    tie (-5.625, 7.5), chord -9.375, chord +15; middles 0.25, 0.875, 1.75, 2.75 in.
    Horizontal moments 0, 0, -4.92, -19.92; vertical 0, -1.56, 2.81, 7.81."""
    document = packed(*INSIDE_OUT)
    pin = checkfile.read(document).pins[0]
    assert middles(pin)[:4] == approx([0.25, 0.875, 1.75, 2.75])
    found = answer(document)["pins"]["L2"]
    across = -(5.625 * 0.875) - (5.625 + 9.375) * 1.0
    upright = -2.5 * 0.625 + 5.0 * 0.875 + 5.0 * 1.0
    moment = math.hypot(across, upright)
    modulus = math.pi * 27 / 32
    assert found["bending"]["dead_ksi"] == approx(moment / modulus)
    # Shear is greatest between the two chord bars, 15 kip across and 5 up.
    assert found["shear"]["dead_ksi"] == approx(
        math.hypot(15.0, 5.0) / (math.pi * 9 / 4)
    )
    # L2L3 15 kip with its half of the floor's load, on an inch.
    assert found["bearing"]["dead_ksi"] == approx(math.hypot(15.0, 5.0) / 3.0)


@STATICS
def test_another_order_of_bars_is_another_moment():
    other = ["L2U2", "L2U1", "L2L3", "L1L2", "L1L2", "L2L3", "L2U1", "L2U2"]
    one, two = (
        answer(packed(*order))["pins"]["L2"]["bending"]["dead_ksi"]
        for order in (INSIDE_OUT, other)
    )
    assert abs(one - two) > 0.5


@MANUAL
def test_limits_of_pins():
    """Fy 30: bending 24, shear 12, bearing 12 where it turns, 24 where not; operating
    1.36 times."""
    turning = answer(packed(*INSIDE_OUT))["pins"]["L2"]
    fixed = answer(packed(*INSIDE_OUT, turns=False))["pins"]["L2"]
    for mode, ksi in (("bending", 24.0), ("shear", 12.0), ("bearing", 12.0)):
        limit = turning[mode]["limit_ksi"]
        assert limit["inventory"] == approx(ksi)
        assert limit["operating"] == approx(1.36 * ksi, rel=3e-3)
    assert fixed["bearing"]["limit_ksi"]["inventory"] == approx(24.0)


@pytest.mark.published("AREA 1910 pin stresses, as quoted in 2001", "seen")
def test_pins_of_1910_were_allowed_no_more_than_now():
    """Bending 24,000, shear 12,000, bearing 24,000 psi: those of Fy 30 at inventory."""
    limits = answer(packed(*INSIDE_OUT, turns=False))["pins"]["L2"]
    ours = [
        limits[m]["limit_ksi"]["inventory"] for m in ("bending", "shear", "bearing")
    ]
    assert ours == approx([24.0, 12.0, 24.0])


@STATICS
def test_a_thin_pin_governs_and_its_rating_brings_it_to_its_limit():
    document = packed(*INSIDE_OUT, diameter=2.5)
    found = answer(document)
    governing = found["governing"]["operating"]
    assert governing["member"] == "pin L2"
    rating = found["pins"]["L2"]["bending"]["rating"]["operating"]
    assert governing["rating"] == approx(rating)
    live = document["live_load"]
    scaled = document | {"live_load": live | {"fraction": 0.6 * rating}}
    bending = answer(scaled)["pins"]["L2"]["bending"]
    assert bending["most_ksi"] == approx(bending["limit_ksi"]["operating"])


@STATICS
@pytest.mark.parametrize(
    ("change", "path"),
    [
        ({"joint": "L9"}, "pins[0].joint"),
        ({"joint": "L4"}, "pins[0].packing[0].member"),
    ],
)
def test_faults_of_a_pin_are_named_by_path(change, path):
    document = packed(*INSIDE_OUT)
    document["pins"][0] |= change
    with pytest.raises(CheckFileError) as caught:
        answer(document)
    assert path in [fault.path for fault in caught.value.faults]
