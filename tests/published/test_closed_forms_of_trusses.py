"""Level chords under equal loads: what cuts and joints give in a line, by hand.

w a panel on n panels of p, h deep: R = w(n - 1)/2, the moment at joint i is
w p i(n - i)/2, the shear of panel i is w((n + 1)/2 - i).
"""

import math

import pytest

from analysis.engine.answer import answer

from .documents import uniform_forces
from .rows import approx

pytestmark = pytest.mark.published("Level chords by sections", "derived")
SIZES = [(4, 12.0, 15.0), (6, 18.0, 14.0), (8, 15.0, 24.0), (12, 17.5, 22.0)]
KIP = 7.0
EXACT = 1e-9


def forces_of(form, size):
    n, panel_ft, depth_ft = size
    geometry = {
        "form": form,
        "panels": n,
        "panel_length_ft": panel_ft,
        "depth_ft": depth_ft,
    }
    return geometry, uniform_forces(geometry, KIP)


def moment(size, i):
    n, panel_ft, _ = size
    return KIP * panel_ft * i * (n - i) / 2


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("form", ["pratt", "howe"])
def test_end_posts_webs_and_chords(form, size):
    n, panel_ft, depth_ft = size
    _, forces = forces_of(form, size)
    sine = depth_ft / math.hypot(panel_ft, depth_ft)
    assert forces["L0U1"] == approx(-KIP * (n - 1) / 2 / sine, abs=EXACT)
    for i in range(2, n // 2 + 1):
        shear = KIP * ((n + 1) / 2 - i)
        rod, strut = f"L{i}U{i - 1}", f"L{i - 1}U{i}"
        bar, sign = (rod, 1) if form == "pratt" else (strut, -1)
        assert sign * forces[bar] * sine == approx(shear, abs=EXACT)
        # The moment centre of a chord is where the diagonal meets the other chord.
        low, high = (i - 1, i) if form == "pratt" else (i, i - 1)
        lower, upper = f"L{i - 1}L{i}", f"U{i - 1}U{i}"
        assert forces[lower] == approx(moment(size, low) / depth_ft, abs=EXACT)
        assert forces[upper] == approx(-moment(size, high) / depth_ft, abs=EXACT)


@pytest.mark.parametrize("size", SIZES)
def test_the_middle_of_a_howes_lower_chord(size):
    """WL/8h with W the whole load."""
    n, panel_ft, depth_ft = size
    _, forces = forces_of("howe", size)
    middle = forces[f"L{n // 2 - 1}L{n // 2}"]
    assert middle == approx((n * KIP) * (n * panel_ft) / (8 * depth_ft), abs=EXACT)


@pytest.mark.parametrize("size", SIZES)
def test_turning_the_diagonals_turns_their_force_and_keeps_the_moments(size):
    n, _, _ = size
    _, pratt = forces_of("pratt", size)
    _, howe = forces_of("howe", size)
    for i in range(2, n // 2 + 1):
        assert pratt[f"L{i}U{i - 1}"] == approx(-howe[f"L{i - 1}U{i}"], abs=EXACT)
        # One's lower chord has the moment that the other's upper chord has.
        assert pratt[f"L{i - 1}L{i}"] == approx(-howe[f"U{i - 1}U{i}"], abs=EXACT)


@pytest.mark.parametrize("size", SIZES)
def test_the_supports_take_all_of_the_load(size):
    geometry, _ = forces_of("pratt", size)
    n = size[0]
    loads = {f"L{i}": KIP * i for i in range(1, n)}
    found = answer({"geometry": geometry, "dead_load": {"joints_kip": loads}})
    reactions = [each["dead_kip"] for each in found["reactions"].values()]
    assert sum(reactions) == approx(sum(loads.values()), abs=3 * EXACT)
    far = sum(KIP * i * i for i in range(1, n)) / n
    assert found["reactions"][f"L{n}"]["dead_kip"] == approx(far, abs=EXACT)
