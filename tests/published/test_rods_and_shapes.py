"""Rods, upset ends, rolled channels and what is built of them.

Threads: American (Sellers, Franklin Institute) standard, root D - 1.299/n, from memory,
areas derived. Upset sizes: mill-handbook practice, from memory, excesses derived.
Channels: American Standard, AISC Manual figures (seen as data of an open library).
Built-up chords: derived by the parallel-axis theorem.
"""

import math

import pytest
from sectionproperties.analysis.section import Section
from sectionproperties.pre.library import steel_sections

from analysis.engine import sections
from analysis.engine.sections import BuiltUp, Component, component_section

from .rows import approx

pytestmark = pytest.mark.published("Built-up sections by parallel axes", "derived")

ROOT_AREAS = {
    0.75: 0.302,
    0.875: 0.419,
    1: 0.551,
    1.125: 0.693,
    1.25: 0.890,
    1.375: 1.054,
    1.5: 1.294,
    1.625: 1.515,
    1.75: 1.744,
    1.875: 2.049,
    2: 2.300,
    2.125: 2.648,
    2.25: 3.021,
    2.375: 3.301,
    2.5: 3.716,
    2.875: 4.924,
}
# Bar: round upset and its excess in per cent, square upset and its excess.
UPSETS = {
    0.75: (1, 24.7, 1.125, 23.2),
    0.875: (1.25, 48.0, 1.375, 37.7),
    1: (1.375, 34.2, 1.5, 29.4),
    1.125: (1.5, 30.2, 1.625, 19.7),
    1.25: (1.625, 23.4, 1.875, 31.1),
    1.375: (1.75, 17.5, 2, 21.7),
    1.5: (2, 30.2, 2.125, 17.7),
    1.625: (2.125, 27.7, 2.375, 25.0),
    1.75: (2.25, 25.6, 2.5, 21.3),
    1.875: (2.375, 19.6, 2.625, 18.2),
    2: (2.5, 18.3, 2.875, 23.1),
}


@pytest.mark.published("American (Sellers) standard thread", "reproduced")
@pytest.mark.parametrize("diameter", ROOT_AREAS)
def test_root_areas(diameter):
    area = sections.root_area_in2(diameter)
    assert area == approx(ROOT_AREAS[diameter], abs=5.1e-4)


@pytest.mark.published("Mill handbooks' upset ends", "reproduced")
@pytest.mark.parametrize("bar", UPSETS)
def test_the_root_of_an_upset_end_exceeds_the_bar(bar):
    round_upset, round_excess, square_upset, square_excess = UPSETS[bar]
    area = math.pi / 4 * bar**2
    excess = sections.root_area_in2(round_upset) / area - 1
    assert 100 * excess == approx(round_excess, abs=0.06)
    excess = sections.root_area_in2(square_upset) / bar**2 - 1
    assert 100 * excess == approx(square_excess, abs=0.06)


@pytest.mark.published("American (Sellers) standard thread", "derived")
@pytest.mark.parametrize(
    ("diameter", "kept"),
    [(0.75, 0.684), (1, 0.702), (1.25, 0.725), (1.5, 0.732), (2, 0.732)],
)
def test_a_thread_without_upset_leaves_part_of_the_bar(diameter, kept):
    rod = component_section(
        Component("round-rod", diameter_in=diameter, ends="plain-thread")
    )
    assert rod.net_area_in2 / rod.area_in2 == approx(kept, abs=6e-4)


@pytest.mark.published("G. B. N. Tower, 1874", "seen")
def test_towers_bolt_is_far_above_its_stress_at_the_root_of_the_thread():
    """1 in, 11,775 lb: his 15,000 psi on the whole bar is 21,400 on the root (derived)."""
    bolt = component_section(Component("round-rod", diameter_in=1, ends="plain-thread"))
    assert 15.0 * bolt.area_in2 == approx(11.775, abs=6e-3)
    assert 11.775 / bolt.net_area_in2 == approx(21.4, abs=0.06)


def test_upset_and_loop_ends_keep_the_bar():
    for ends in ("upset", "loop", "none"):
        rod = component_section(Component("square-rod", side_in=1.5, ends=ends))
        assert rod.net_area_in2 == rod.area_in2 == approx(2.25)


@pytest.mark.parametrize(
    ("legs", "area"),
    [
        ((2, 2, 0.25), 0.938),
        ((2.5, 2.5, 0.25), 1.188),
        ((3, 2.5, 0.25), 1.313),
        ((3, 3, 0.3125), 1.777),
        ((3.5, 3.5, 0.375), 2.484),
        ((4, 3, 0.375), 2.484),
        ((5, 3, 0.375), 2.859),
        ((6, 4, 0.5), 4.75),
    ],
)
def test_angle_areas(legs, area):
    a, b, t = legs
    found = component_section(
        Component("angle", leg_in=a, other_leg_in=b, thickness_in=t)
    )
    assert found.area_in2 == approx(area, abs=6e-4)


@pytest.mark.published("American Standard channels, AISC Manual", "seen")
@pytest.mark.parametrize("row", sections.CHANNELS, ids=str)
def test_channel_table_hangs_together(row):
    """Weight 3.4 lb/ft a square inch, and three rectangles; test_channel_table.py has
    the table."""
    assert row.weight_plf == approx(3.403 * row.area_in2, rel=0.015)
    rough = measured("channel", row)
    assert rough.area_in2 == approx(row.area_in2, rel=0.03)
    strong = sections.rolled(as_measured("channel", row)).i_strong_in4
    assert strong == approx(row.i_strong_in4, rel=0.04)


@pytest.mark.published("American Standard beams, AISC Manual", "memory")
@pytest.mark.parametrize("row", sections.BEAMS, ids=str)
def test_beam_table_hangs_together(row):
    assert row.weight_plf == approx(3.403 * row.area_in2, rel=0.015)
    rough = measured("i-beam", row)
    assert rough.area_in2 == approx(row.area_in2, rel=0.02)
    strong = sections.rolled(as_measured("i-beam", row)).i_strong_in4
    assert strong == approx(row.i_strong_in4, rel=0.03)


def measured(shape, row):
    return component_section(as_measured(shape, row))


def as_measured(shape, row):
    return Component(
        shape,
        depth_in=row.depth_in,
        flange_width_in=row.flange_width_in,
        flange_thickness_in=row.flange_thickness_in,
        web_thickness_in=row.web_thickness_in,
    )


@pytest.mark.parametrize(
    ("depth", "weight", "web_gap", "plate", "area", "r_in", "r_out", "i_in", "i_out"),
    [
        (8, 11.5, 6.5, (12, 0.25), 9.74, 3.210, 3.751, 100.3, 137.1),
        (10, 15.3, 8, (14, 0.3125), 13.335, 3.995, 4.486, 212.8, 268.4),
        (5, 6.7, 5, (9, 0.25), 6.19, 2.003, 2.876, 24.84, 51.2),
    ],
)
def test_laced_chords_of_two_channels_and_a_plate(
    depth, weight, web_gap, plate, area, r_in, r_out, i_in, i_out
):
    width, thickness = plate
    found = component_section(
        Component(
            "channel",
            count=2,
            depth_in=depth,
            weight_plf=weight,
            built_up=BuiltUp(web_gap, "out", "lacing", width, thickness),
        )
    )
    assert found.area_in2 == approx(area, abs=6e-4)
    assert found.r_in_plane_in == approx(r_in, abs=6e-4)
    assert found.r_out_of_plane_in == approx(r_out, abs=6e-4)
    assert found.i_in_plane_in4 == approx(i_in, abs=0.06)
    assert found.i_out_of_plane_in4 == approx(i_out, abs=0.06)


def test_channels_turned_inward_stand_closer():
    """Derived: (b/2 - x bar) in place of (b/2 + x bar)."""
    pair = Component(
        "channel", count=2, depth_in=8, weight_plf=11.5, built_up=BuiltUp(6.5, "in")
    )
    wanted = 2 * (1.31 + 3.37 * (3.25 - 0.572) ** 2)
    assert component_section(pair).i_out_of_plane_in4 == approx(wanted)


def test_untied_channels_bend_alone_sideways():
    pair = Component(
        "channel",
        count=2,
        depth_in=8,
        weight_plf=11.5,
        built_up=BuiltUp(6.5, tied_by="none"),
    )
    found = component_section(pair)
    assert found.r_out_of_plane_in == approx(0.623, abs=1e-3)
    assert found.r_in_plane_in == approx(3.11, abs=5e-3)


# --- a general-purpose library as the other opinion ------------------------------------

SHARP = {"r": 1e-6, "n_r": 2}
LIBRARY = 2e-3


def by_library(geometry):
    geometry.create_mesh(mesh_sizes=[0.02])
    section = Section(geometry)
    section.calculate_geometric_properties()
    return section


@pytest.mark.published("A section library", "derived")
@pytest.mark.parametrize("legs", [(4, 3, 0.375), (2, 2, 0.25), (6, 4, 0.5)])
def test_least_radius_of_an_angle_agrees_with_a_section_library(legs):
    a, b, t = legs
    oracle = by_library(
        steel_sections.angle_section(d=a, b=b, t=t, r_r=1e-6, r_t=1e-6, n_r=2)
    )
    least = min(oracle.get_ip())
    found = component_section(
        Component("angle", leg_in=a, other_leg_in=b, thickness_in=t)
    )
    assert found.i_in_plane_in4 == approx(least, rel=LIBRARY)
    assert found.area_in2 == approx(oracle.get_area(), rel=LIBRARY)


@pytest.mark.published("A section library", "derived")
def test_measured_channel_agrees_with_a_section_library():
    shape = {"d": 8, "b": 2.26, "t_f": 0.39, "t_w": 0.22}
    oracle = by_library(steel_sections.channel_section(**shape, **SHARP))
    rolled = sections.rolled(as_measured("channel", sections.CHANNELS[13]))
    ixx, iyy, _ = oracle.get_ic()
    assert rolled.i_strong_in4 == approx(ixx, rel=LIBRARY)
    assert rolled.i_weak_in4 == approx(iyy, rel=LIBRARY)
    assert rolled.x_bar_in == approx(oracle.get_c()[0], rel=LIBRARY)


@pytest.mark.published("A section library", "derived")
def test_measured_beam_agrees_with_a_section_library():
    shape = {"d": 10, "b": 4.66, "t_f": 0.491, "t_w": 0.311}
    oracle = by_library(steel_sections.i_section(**shape, **SHARP))
    row = next(r for r in sections.BEAMS if (r.depth_in, r.weight_plf) == (10, 25.4))
    rolled = sections.rolled(as_measured("i-beam", row))
    ixx, iyy, _ = oracle.get_ic()
    assert rolled.i_strong_in4 == approx(ixx, rel=LIBRARY)
    assert rolled.i_weak_in4 == approx(iyy, rel=LIBRARY)
    assert rolled.area_in2 == approx(oracle.get_area(), rel=LIBRARY)


@pytest.mark.published("Mill catalogues before 1930, rolled shapes", "memory")
@pytest.mark.parametrize(
    ("shape", "depth", "weight", "area", "i_strong"),
    [
        ("channel", 15, 33, 9.90, 312.6),
        ("channel", 15, 35, 10.29, 320.0),
        ("channel", 15, 45, 13.24, 375.1),
        ("channel", 15, 55, 16.18, 430.2),
        ("channel", 12, 20.5, 6.03, 128.1),
        ("channel", 12, 35, 10.29, 179.3),
        ("channel", 12, 40, 11.76, 197.0),
        ("channel", 10, 15, 4.46, 66.9),
        ("channel", 10, 35, 10.29, 115.5),
        ("channel", 9, 13.25, 3.89, 47.3),
        ("channel", 8, 11.25, 3.35, 32.3),
        ("channel", 8, 16.25, 4.78, 39.9),
        ("channel", 7, 9.75, 2.85, 21.1),
        ("channel", 6, 8, 2.38, 13.0),
        ("channel", 5, 6.5, 1.95, 7.4),
        ("channel", 4, 5.25, 1.55, 3.8),
        ("channel", 3, 4, 1.19, 1.6),
        ("i-beam", 15, 42, 12.48, 441.8),
        ("i-beam", 12, 31.5, 9.26, 215.8),
        ("i-beam", 10, 25, 7.37, 122.1),
        ("i-beam", 10, 30, 8.82, 134.2),
        ("i-beam", 9, 25, 7.35, 91.9),
        ("i-beam", 8, 18, 5.33, 56.9),
        ("i-beam", 8, 20.5, 6.03, 60.6),
        ("i-beam", 7, 15, 4.42, 36.2),
        ("i-beam", 6, 12.25, 3.61, 21.8),
    ],
)
def test_weights_of_old_catalogues(shape, depth, weight, area, i_strong):
    """Within 2.5 % (3 in by 4 lb, printed to two digits, 4 %)."""
    found = sections.rolled_shape(shape, depth, weight)
    assert found.area_in2 == approx(area, rel=0.025)
    assert found.i_strong_in4 == approx(i_strong, rel=0.04 if depth == 3 else 0.025)
