"""W. H. Thorpe, The Anatomy of Bridgework, 1906, chapter X (seen).

A girder at 7 tons/sq in, one third of it dead load, gets half as much metal again
while the dead load is on: dead 2.3 on the old metal, live 3.1 on all, 5.4 tons/sq in
(solved 5.444); relief 22 %, where equal sharing would have promised 33 %.
"""

import pytest

from analysis.engine.answer import answer

from .rows import approx

pytestmark = pytest.mark.published(
    "W. H. Thorpe, The Anatomy of Bridgework, 1906, chapter X", "seen"
)

FY = 7.0
DEAD, LIVE, OLD_IN2 = 7.0 / 3.0 * 3.0, 14.0 / 3.0 * 3.0, 3.0


def rating(added_carries, material=None):
    """Return the multiple of the live load that brings the chord to 7 in its worst bar.

    A king post 30 ft long and 15 deep: the tie takes half of the load on L1, so the
    loads are chosen for D = 7 and L = 14 on 3 sq in.
    """
    bar = {"shape": "flat-bar", "width_in": 3.0, "thickness_in": 1.0}
    pieces = [bar]
    if added_carries:
        half = bar | {"thickness_in": 0.5, "carries": added_carries}
        pieces = [bar, half | ({"material": material} if material else {})]
    found = answer(
        {
            "geometry": {
                "form": "king-post",
                "panels": 2,
                "panel_length_ft": 15,
                "depth_ft": 15,
            },
            "material": {"fy_ksi": FY / 0.75, "fu_ksi": 50, "e_ksi": 27500},
            "members": [{"names": ["L0L1"], "components": pieces}],
            "dead_load": {"joints_kip": {"L1": 2 * DEAD}},
            "live_load": {"axles": [{"kip": 2 * LIVE, "behind_front_ft": 0}]},
        }
    )
    return found["members"]["L0L1"]["rating"]["operating"]


def test_before_strengthening_the_chord_is_at_its_stress():
    assert rating(None) == approx(1.0)


def test_new_metal_takes_live_load_only():
    """Stress 7/3 + 14/3/1.5 = 5.444; 7 is reached when live is (7 - 7/3)/3.111."""
    multiple = rating("live")
    assert multiple == approx((7.0 - 7.0 / 3.0) / (14.0 / 3.0 / 1.5))
    stress = 7.0 / 3.0 + (7.0 - 7.0 / 3.0) / multiple
    assert stress == approx(5.444, abs=6e-4)
    # Printed as 5.4; a relief of 22 hundredths.
    assert stress == approx(5.4, abs=0.051)
    assert 1.0 - stress / 7.0 == approx(0.22, abs=6e-3)


def test_new_metal_with_the_dead_load_relieved_takes_both():
    assert rating("all") == approx((7.0 - 7.0 / 4.5) / (14.0 / 4.5))


def test_other_metal_counts_by_its_stiffness():
    """Strain compatibility: new area counts E_new/E_old of its size. Thorpe prints the
    ratio upside down; derived here. Strong enough new metal leaves the old to govern.
    """
    alike = {"fy_ksi": 100, "fu_ksi": 120, "e_ksi": 27500}
    soft = {"fy_ksi": 100, "fu_ksi": 120, "e_ksi": 27500 / 2}
    assert rating("live", alike) == approx((14.0 / 3.0) / (14.0 / 4.5))
    assert rating("live", soft) == approx((14.0 / 3.0) / (14.0 / 3.75))
