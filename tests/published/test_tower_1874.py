"""G. B. N. Tower, Instructions on Modern American Bridge Building, 1874.

Public-domain text, seen. Loads in pounds there, entered here as thousands. He rounds
lengths, and takes the whole half of the load on the end brace where statics takes the
reaction less the end panel point, so some of his figures are high; where that is so
the exact figure is asked for and his is named.
"""

import pytest

from .documents import dead_forces, uniform_forces
from .rows import approx

pytestmark = pytest.mark.published("G. B. N. Tower, 1874", "seen")

ROUNDED = 2e-3  # relative: his brace of 18.028 ft is taken as 18 long


def test_king_post_pp_17_18():
    """Span 30, rise 10, 8,000 lb on each brace: brace 14,400 (exact 14,422)."""
    geometry = {"form": "king-post", "panels": 2, "panel_length_ft": 15, "depth_ft": 10}
    forces = dead_forces(geometry, {"L1": 16.0})
    assert -forces["L0U1"] == approx(14.400, rel=ROUNDED)
    assert -forces["L0U1"] == approx(14.422, abs=5e-4)
    assert forces["L0L1"] == approx(12.0, abs=1e-8)
    assert forces["L1U1"] == approx(16.0, abs=1e-8)


def test_howe_pp_22_24():
    """Span 120, 12 panels, rise 15, 22,400 lb a panel: chord WL/8h = 268,800 lb.

    Printed end brace 161,280 and end rods 134,400 are of six panels where the reaction
    is of five and a half: 148,068 and 123,200.
    """
    geometry = {"form": "howe", "panels": 12, "panel_length_ft": 10, "depth_ft": 15}
    forces = uniform_forces(geometry, 22.4)
    assert forces["L5L6"] == approx(268.8, abs=1e-6)
    assert forces["L0U1"] == approx(-161.280 * 5.5 / 6, rel=2e-3)
    assert forces["L0U1"] == approx(-148.068, abs=5e-4)
    assert forces["L1U1"] == approx(134.4 * 5.5 / 6, abs=1e-6)
    assert forces["U5U6"] == approx(-261.333, abs=5e-4)


def test_pratt_p_31():
    """Span 100, 10 panels, rise 12, 1,500 lb/ft a truss: chord 156,250 lb.

    The printed "3,333,333" is a misprint; his own formula gives 312,500 for two.
    """
    geometry = {"form": "pratt", "panels": 10, "panel_length_ft": 10, "depth_ft": 12}
    forces = uniform_forces(geometry, 15.0)
    assert forces["U4U5"] == approx(-156.25, abs=1e-6)
    assert forces["L4L5"] == approx(150.0, abs=1e-6)
