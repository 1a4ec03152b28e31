"""Forms beyond the common ones, under equal loads at the panel points.

Sources are named test by test. Where it says *statics*, the figure follows from a cut
or a joint that can be done on paper and is done in the docstring; where bars are more
than statics asks, a direct-stiffness solution written out here is the second method.
"""

import math

import numpy as np
import pytest

from analysis.engine import forms
from analysis.engine.answer import answer

from .documents import dead_forces, picked, uniform_forces
from .rows import approx

pytestmark = pytest.mark.published(
    "Forms by statics and by direct stiffness", "derived"
)

PRINTED = 5.1e-4
EXACT = 1e-7


def test_fink():
    """Derived by joint equilibrium and by direct stiffness, printed to three decimals.

    A deck of 8 panels of 10 ft on posts of 20 ft, W = 10 kip: posts 10, 20 and 40; ties
    5.590, 14.142 and 44.721; the chord 52.5 from end to end, more than M/h = 40.
    """
    geometry = {"form": "fink", "panels": 8, "panel_length_ft": 10, "depth_ft": 20}
    loads = {f"U{i}": 10 for i in range(1, 8)}
    forces = dead_forces(geometry, loads, deck_position="deck")
    wanted = {f"L{i}U{i}": -10 for i in (1, 3, 5, 7)}
    wanted |= {"L2U2": -20, "L6U6": -20, "L4U4": -40}
    wanted |= {"L1U0": 5.590, "L1U2": 5.590, "L2U0": 14.142, "L4U0": 44.721}
    wanted |= {f"U{i}U{i + 1}": -52.5 for i in range(8)}
    assert picked(forces, wanted) == approx(wanted, abs=PRINTED)


def test_bollman():
    """Statics: a foot at x from one end, slung from both, over a span L.

    Moments about an end give the far tie a vertical part of W x/L; both ties pull the
    chord together by W x (L - x)/(L h).
    """
    n, panel, depth, load = 8, 11.0, 16.0, 10.0
    geometry = {"form": "bollman", "panels": n, "panel_length_ft": panel}
    forces = uniform_forces(geometry | {"depth_ft": depth}, load)
    span = n * panel
    for i in range(1, n):
        x = i * panel
        to_origin = load * (span - x) / span * math.hypot(x, depth) / depth
        assert forces[f"L{i}U0"] == approx(to_origin, abs=EXACT)
        # Hung from the feet, the floor leaves the posts nothing to carry.
        assert forces[f"L{i}U{i}"] == approx(0.0, abs=EXACT)
    chord = -sum(
        load * i * panel * (span - i * panel) / (span * depth) for i in range(1, n)
    )
    for i in range(n):
        assert forces[f"U{i}U{i + 1}"] == approx(chord, abs=EXACT)


def test_bollman_posts_carry_their_floor_beam_on_a_deck_span():
    geometry = {"form": "bollman", "panels": 4, "panel_length_ft": 12, "depth_ft": 10}
    forces = dead_forces(geometry, {"U1": 10, "U2": 10, "U3": 10}, deck_position="deck")
    assert forces["L2U2"] == approx(-10)


def test_k_truss():
    """Statics: level chords, 8 panels of 20 ft, 30 ft deep, W = 10 kip, R = 35.

    Panel 2: shear 25 shared alike by the arms, of 15 up in 20 across: 12.5 x 25/15.
    A cut through panel 4 and the upright's two halves: chords 10 x 20 x (3.5 x 3 - 1
    - 2)/30 = 50 about L3 or U3; over the middle the chords take M/h = 1600/30, less
    what the arm there has of it.
    """
    geometry = {"form": "k-truss", "panels": 8, "panel_length_ft": 20, "depth_ft": 30}
    forces = uniform_forces(geometry, 10)
    arm = 12.5 * 25 / 15
    wanted = {"M1U2": -arm, "L2M1": arm, "L3L4": 50, "U3U4": -50}
    # Joint L0: 35 x 20/30 along the chord. Joint U1 and M1: the hanger's two halves.
    wanted |= {"L0L1": 70 / 3, "L1M1": 10, "M1U1": 35}
    assert picked(forces, wanted) == approx(wanted, abs=EXACT)


def test_kellogg():
    """Statics: 8 panels of 10 ft, 15 ft deep, W = 10 kip, R = 35.

    The extra tie takes its own floor beam, 10 x hypot(10, 15)/15; the main tie of
    panels 3 and 4 the shear past L3, 35 - 30 = 5, by 25 over 15.
    """
    geometry = {"form": "kellogg", "panels": 8, "panel_length_ft": 10, "depth_ft": 15}
    forces = uniform_forces(geometry, 10)
    tie = 10 * math.hypot(10, 15) / 15
    wanted = {"L1U2": tie, "L3U2": tie, "L2U2": 10, "L4U2": 5 * 25 / 15}
    wanted |= {"L0U2": -35 * 25 / 15, "L4U4": 0, "U2U4": -800 / 15}
    assert picked(forces, wanted) == approx(wanted, abs=EXACT)


def test_a_truss():
    """Statics: 4 panels of 15 ft, 20 ft high, W = 10 kip, R = 15.

    The prop from the middle takes half of its hanger's 10, by 18.028 over 10; the
    middle hanger its own 10 and the two props' halves.
    """
    geometry = {"form": "a-truss", "panels": 4, "panel_length_ft": 15, "depth_ft": 20}
    forces = uniform_forces(geometry, 10)
    slope = math.hypot(15, 10) / 10
    wanted = {"L1M1": 10, "L2M1": -5 * slope, "L2U2": 20}
    wanted |= {"L0M1": -15 * slope, "M1U2": -10 * slope, "L0L1": 22.5, "L1L2": 22.5}
    assert picked(forces, wanted) == approx(wanted, abs=EXACT)


def test_post_truss():
    """Statics: 8 panels of 12 ft, 18 ft deep, W = 10 kip, R = 35; counters left out.

    Two systems: the odd joints hang on the posts from L1, the even on the end post.
    The end post and the tie beside it share the shear of 35: the even system, L2 and
    half of L4, gives 15, the odd, L1 and L3, 20. Half of panel 4 holds one tie alone.
    """
    geometry = {"form": "post", "panels": 8, "panel_length_ft": 12, "depth_ft": 18}
    out = [{"names": ["L3U5", "L5U4"], "absent": True}]
    forces = uniform_forces(geometry, 10, members=out)
    post, tie = math.hypot(6, 18) / 18, math.hypot(18, 18) / 18
    wanted = {"L0U1": -35 * post, "L1U1": 20 * post, "L2U1": 15 * tie}
    wanted |= {"L1U2": -10 * post, "L3U2": 10 * tie, "L2U3": -5 * post}
    wanted |= {"L4U3": 5 * tie, "L3U4": 0}
    assert picked(forces, wanted) == approx(wanted, abs=EXACT)


@pytest.mark.parametrize(
    ("form", "panels", "depth"),
    [
        ("double-intersection-warren", 7, 18),
        ("double-intersection-warren", 8, 18),
        ("lattice", 9, 12),
        ("burr-arch", 8, 15),
        ("post", 8, 18),
    ],
)
def test_what_statics_alone_cannot_settle_agrees_with_direct_stiffness(
    form, panels, depth
):
    geometry = {"form": form, "panels": panels, "panel_length_ft": 12}
    geometry["depth_ft"] = depth
    forces = uniform_forces(geometry, 10)
    built = forms.build(**geometry)
    loads = dict.fromkeys(built.loaded_joints[1:-1], 10)
    assert forces == approx(direct_stiffness(built, loads), abs=1e-6)


def direct_stiffness(geometry, loads):
    """Return {member: kip}: displacements of pinned joints, every bar of one EA."""
    place = {name: 2 * k for k, name in enumerate(geometry.joints)}
    stiffness = np.zeros((2 * len(place), 2 * len(place)))
    columns = {}
    for a, b in geometry.members:
        (ax, ay), (bx, by) = geometry.joints[a], geometry.joints[b]
        length = math.hypot(bx - ax, by - ay)
        column = np.zeros(len(stiffness))
        column[place[a] : place[a] + 2] = (ax - bx) / length, (ay - by) / length
        column[place[b] : place[b] + 2] = (bx - ax) / length, (by - ay) / length
        columns[a + b] = column, length
        stiffness += np.outer(column, column) / length
    load = np.zeros(len(stiffness))
    for name, kip in loads.items():
        load[place[name] + 1] = -kip
    held = {place[geometry.pinned], place[geometry.pinned] + 1}
    held.add(place[geometry.roller] + 1)
    free = [k for k in range(len(load)) if k not in held]
    moved = np.zeros(len(load))
    moved[free] = np.linalg.solve(stiffness[np.ix_(free, free)], load[free])
    return {name: float(c @ moved) / length for name, (c, length) in columns.items()}


def test_burr_arch_and_truss_share_the_moment():
    """Statics: a cut through the middle of panel 4 carries the whole moment there.

    About the lower joint L4 nothing is left but upper chord, arch and brace.
    """
    geometry = {"form": "burr-arch", "panels": 8, "panel_length_ft": 12}
    geometry["depth_ft"] = 15
    forces, built = uniform_forces(geometry, 10), forms.build(**geometry)
    cut = []
    for name in ("U3U4", "M3M4", "L3U4"):
        a, b = next(ends for ends in built.members if "".join(ends) == name)
        (ax, ay), (bx, by) = built.joints[a], built.joints[b]
        across = (bx - ax) * (ay - 0) - (by - ay) * (ax - 48)
        cut.append(-forces[name] * across / math.hypot(bx - ax, by - ay))
    moment = 35 * 48 - 10 * (36 + 24 + 12)
    assert sum(cut) == approx(moment, abs=1e-6)
    assert forces["M3M4"] < -10
    assert forces["U3U4"] < 0


@pytest.mark.parametrize("form", forms.FORMS)
def test_ties_and_struts_take_the_same_metal_at_the_same_stress(form):
    """J. C. Maxwell, *On reciprocal figures, frames and diagrams of forces*, 1870:
    the sum of force times length over all bars is that of the outer forces.

    From memory, and it follows from virtual work. With loads and bearings on one level
    the sum is 0, so ties and struts weigh the same; hung or carried at a depth h
    below the bearings, it is the load times h.
    """
    entry = forms.FORMS[form]
    built = entry.typical()
    inner = built.loaded_joints[1:-1]
    document = {
        **entry.document(),
        "dead_load": {"joints_kip": dict.fromkeys(inner, 10)},
    }
    found = answer(document)
    total = sum(
        found["members"][a + b]["dead_kip"] * built.length_ft((a, b))
        for a, b in built.members
    )
    level = built.joints[built.pinned][1]
    outer = sum(10 * (level - built.joints[name][1]) for name in inner)
    assert total == approx(outer, abs=1e-5)
