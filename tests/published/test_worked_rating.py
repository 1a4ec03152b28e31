"""One rating from beginning to end (derived), and what it must not hide.

90-ft Pratt of six panels, 20 ft deep; L2L3 two wrought-iron eyebars, 3.00 sq in; dead
load 0.4 klf a truss; H15, one lane, trusses 17 ft apart, roadway 16 ft. D 18.0 kip,
I 0.2326, lane 35.10 kip, L(1 + I) 29.27 kip. Rating formula: AASHTO Manual for Bridge
Evaluation 6B.4, from memory; rated load RF times the weight, Khan 2010 p. 187 (seen).
"""

import pytest

from analysis.engine import vehicles
from analysis.engine.answer import answer

from .documents import REFERENCE
from .rows import approx

pytestmark = pytest.mark.published(
    "Worked rating, AASHTO Manual for Bridge Evaluation 6B.4", "derived"
)

DOCUMENT = {
    "geometry": REFERENCE,
    "material": {"kind": "wrought-iron", "year": 1890},
    "members": [
        {
            "names": ["L2L3"],
            "components": [
                {"shape": "eyebar", "count": 2, "width_in": 3, "thickness_in": 0.5}
            ],
        }
    ],
    "dead_load": {"uniform_plf": 400},
    "live_load": {
        "lane": "H15",
        "lever": {"roadway_ft": 16, "trusses_apart_ft": 17},
        "impact": "aashto",
    },
}
PRINTED = 5.1e-3


def bottom_chord(**changes):
    found = answer(DOCUMENT | changes)
    return found["members"]["L2L3"], found["governing"]


def test_dead_and_live_force():
    chord, _ = bottom_chord()
    assert chord["dead_kip"] == approx(18.0)
    assert chord["live_max_kip"] == approx(29.27, abs=PRINTED)


def test_allowable_stress_with_the_lane_load():
    chord, governing = bottom_chord()
    assert chord["rating"]["inventory"] == approx(0.88, abs=PRINTED)
    assert chord["rating"]["operating"] == approx(1.435, abs=5.1e-4)
    assert governing["operating"]["member"] == "L2L3"
    assert governing["operating"]["limit_tons"] == approx(15 * 1.435, abs=0.01)


def test_load_factor_with_the_lane_load():
    chord, _ = bottom_chord(method="load-factor")
    assert chord["rating"]["inventory"] == approx(0.860, abs=5.1e-4)
    assert chord["rating"]["operating"] == approx(1.435, abs=5.1e-4)


def test_allowable_stress_with_the_truck_instead():
    live = {k: v for k, v in DOCUMENT["live_load"].items() if k != "lane"}
    chord, _ = bottom_chord(live_load=live | {"vehicle": "H15"})
    assert chord["rating"]["inventory"] == approx(1.08, abs=PRINTED)
    assert chord["rating"]["operating"] == approx(1.76, abs=PRINTED)


def test_the_answer_says_whether_lane_or_truck_was_used():
    found = answer(DOCUMENT)
    assert any("H15 lane load" in text for text in found["assumptions"])


@pytest.mark.published("M. A. Khan, 2010, p. 187", "seen")
@pytest.mark.parametrize(
    ("factor", "straight", "posted"),
    [
        (0.3, 7.5, 0.0),
        (0.4, 10, 3.57),
        (0.5, 12.5, 7.14),
        (0.7, 17.5, 14.29),
        (0.9, 22.5, 21.43),
        (1.0, 25, 25.0),
    ],
)
def test_the_limit_in_tons_is_the_rated_load_and_no_posting(factor, straight, posted):
    """RT = RF x W of a type 3 truck of 25 tons. The load-and-resistance posting curve,
    (W/0.7)(RF - 0.3), is lower, and is not what the engine answers or says."""
    assert 25 / 0.7 * (factor - 0.3) == approx(posted, abs=6e-3)
    found = answer(
        DOCUMENT
        | {
            "dead_load": {"uniform_plf": 0},
            "live_load": {"vehicle": "type-3", "fraction": 1.0},
        }
    )
    governing = found["governing"]["operating"]
    per_rating = governing["limit_tons"] / governing["rating"]
    assert factor * per_rating == approx(straight)
    assert "not for posting" in found["warnings"][0]


@pytest.mark.published("M. A. Khan, 2010, p. 187", "seen")
def test_the_posting_curve_of_the_longer_truck():
    """Type 3S2 of 36 tons at 0.8: 25.71 by the curve, 28.8 straight."""
    tons = vehicles.VEHICLES["type-3S2"].weight_kip / 2.0
    ours = [tons / 0.7 * (0.8 - 0.3), 0.8 * tons]
    assert ours == approx([25.71, 28.8], abs=6e-3)
