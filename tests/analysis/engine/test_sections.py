"""Sections put together, and what a member made of them can carry."""

import dataclasses
import math

import pytest

from analysis.engine import checkfile, resistance, sections
from analysis.engine.errors import UnknownShape
from analysis.engine.materials import Material
from analysis.engine.resistance import capacity
from analysis.engine.sections import BuiltUp, Component, Section, combined

from .checkfiles import PONY, THROUGH, changed

EYEBARS = Component("eyebar", count=2, width_in=4.0, thickness_in=0.875)


def test_areas_and_weights_of_components_add():
    rod = Component("round-rod", diameter_in=1.0, ends="upset")
    both = sections.member_section([EYEBARS, rod])
    assert both.area_in2 == pytest.approx(7.0 + math.pi / 4)
    assert both.weight_plf == pytest.approx(both.area_in2 * 490 / 144)


def test_pieces_side_by_side_bend_together_without_standing_apart():
    stiff = Section(4.0, 4.0, 40.0, 20.0, 0.0)
    soft = Section(1.0, 1.0, 0.1, 0.1, 0.0)
    whole = combined([(stiff, 29_000.0), (soft, 29_000.0)])
    assert whole.r_in_plane_in == pytest.approx(math.sqrt(40.1 / 5.0))
    assert whole.r_out_of_plane_in == pytest.approx(math.sqrt(20.1 / 5.0))


def test_a_stiffer_metal_counts_for_more_in_the_radius():
    a, b = Section(2.0, 2.0, 8.0, 8.0, 0.0), Section(2.0, 2.0, 2.0, 2.0, 0.0)
    whole = combined([(a, 20_000.0), (b, 10_000.0)])
    wanted = math.sqrt((8.0 * 2 + 2.0) / (2.0 * 2 + 2.0))
    assert whole.r_in_plane_in == pytest.approx(wanted)


def test_timber_bends_about_its_depth_in_plane_and_its_width_sideways():
    piece = sections.component_section(Component("timber", width_in=6.0, depth_in=12.0))
    assert piece.r_in_plane_in == pytest.approx(12.0 / math.sqrt(12.0))
    assert piece.r_out_of_plane_in == pytest.approx(6.0 / math.sqrt(12.0))


def test_channels_catalogued_before_1930_are_the_same_profiles():
    old = sections.rolled_shape("channel", 12, 20.5)
    assert old is sections.rolled_shape("channel", 12, 20.7)


def test_a_shape_that_is_not_listed_names_those_that_are():
    with pytest.raises(UnknownShape, match=r"weights are 11\.5, 13\.75, 18\.75"):
        sections.rolled_shape("channel", 8, 31)
    with pytest.raises(UnknownShape, match="depths are 3, 4, 5"):
        sections.rolled_shape("i-beam", 11, 21)


def test_a_thread_between_standard_sizes_is_cut_as_the_next_coarser():
    root = math.sqrt(sections.root_area_in2(1.2) * 4 / math.pi)
    assert root == pytest.approx(1.2 - 1.299 / 7)


def test_a_built_up_pair_is_stiffer_sideways_than_its_pieces():
    pair = Component("channel", count=2, depth_in=8, weight_plf=11.5)
    alone = sections.component_section(pair)
    tied = sections.component_section(dataclasses.replace(pair, built_up=BuiltUp(6.5)))
    assert tied.area_in2 == alone.area_in2
    assert tied.i_out_of_plane_in4 > 10 * alone.i_out_of_plane_in4


# --- resistance ------------------------------------------------------------------------


def member(document, name):
    return next(m for m in checkfile.read(document).members if m.name == name)


def test_loss_of_section_takes_area_and_leaves_radii_and_weight():
    whole = capacity(member(THROUGH, "L0L1"), "allowable-stress")
    lossy = changed(THROUGH, ("members", 1, "loss_fraction"), 0.25)
    left = capacity(member(lossy, "L0L1"), "allowable-stress")
    assert left.section.area_in2 == pytest.approx(0.75 * whole.section.area_in2)
    assert left.ea_kip == pytest.approx(0.75 * whole.ea_kip)
    assert left.tension_kip["operating"] == pytest.approx(
        0.75 * whole.tension_kip["operating"]
    )
    bare = resistance.bare_section(member(lossy, "L0L1"))
    assert bare.weight_plf == whole.section.weight_plf
    lossy = changed(THROUGH, ("members", 0, "loss_fraction"), 0.25)
    before = capacity(member(THROUGH, "U1U2"), "allowable-stress")
    after = capacity(member(lossy, "U1U2"), "allowable-stress")
    assert after.slenderness == pytest.approx(before.slenderness)


def test_slenderness_is_of_the_worse_plane():
    """0.875 x 18 x 12/3.2 = 59.06 in plane; sideways 0.875 x 40 x 12/3.7 = 113.5."""
    assert capacity(
        member(THROUGH, "U1U2"), "allowable-stress"
    ).slenderness == pytest.approx(59.0625)
    far = changed(THROUGH, ("members", 0, "unbraced_out_of_plane_ft"), 40)
    assert capacity(
        member(far, "U1U2"), "allowable-stress"
    ).slenderness == pytest.approx(420.0 / 3.7)


def test_a_section_without_radii_has_no_rated_compression():
    for key in ("r_in_plane_in", "r_out_of_plane_in"):
        section = dict(THROUGH["members"][0]["section"])
        del section[key]
        bare = changed(THROUGH, ("members", 0, "section"), section)
        found = capacity(member(bare, "U1U2"), "allowable-stress")
        assert found.compression_kip is None
        assert found.slenderness is None
        assert found.tension_kip["operating"] == pytest.approx(0.75 * 30 * 9.7)


def test_the_moment_of_inertia_sideways_gives_the_radius_where_it_is_missing():
    section = {"area_in2": 9.7, "r_in_plane_in": 3.2, "i_out_of_plane_in4": 9.7 * 4}
    given = changed(THROUGH, ("members", 0, "section"), section)
    found = capacity(member(given, "U1U2"), "allowable-stress")
    assert found.slenderness == pytest.approx(0.875 * 216 / 2.0)


def test_tension_only_bars_have_no_compression():
    found = capacity(member(THROUGH, "L2U3"), "allowable-stress")
    assert found.compression_kip is None


def test_battens_add_to_the_slenderness_sideways():
    """Engesser, derived: square root of (KL/r)^2 + pi^2/12 x 40^2."""
    name = "U1U2"
    laced = changed(
        PONY, ("members", 0, "components", 0, "built_up", "tied_by"), "lacing"
    )
    laced = changed(laced, ("members", 0, "unbraced_out_of_plane_ft"), 32)
    battened = changed(PONY, ("members", 0, "unbraced_out_of_plane_ft"), 32)
    sound = capacity(member(laced, name), "allowable-stress").slenderness
    looser = capacity(member(battened, name), "allowable-stress").slenderness
    assert looser**2 - sound**2 == pytest.approx(math.pi**2 / 12 * 1600)


def test_timber_is_rated_by_length_over_width():
    """Two 6 x 6 posts 10 ft long: L/d 20, 0.660 ksi; tension 0.825; operating 1.33."""
    document = {
        "geometry": {
            "form": "king-post",
            "panels": 2,
            "panel_length_ft": 10,
            "depth_ft": 10,
        },
        "material": {"kind": "timber"},
        "members": [
            {
                "names": ["L1U1"],
                "components": [
                    {"shape": "timber", "count": 2, "width_in": 6, "depth_in": 6}
                ],
            }
        ],
    }
    found = capacity(member(document, "L1U1"), "allowable-stress")
    assert found.compression_kip["inventory"] == pytest.approx(0.660 * 72)
    assert found.compression_kip["operating"] == pytest.approx(1.33 * 0.660 * 72)
    assert found.tension_kip["inventory"] == pytest.approx(0.825 * 72)


def test_headroom_is_of_the_most_stressed_component():
    """Old 2 sq in under D 20, 1 sq in new for live load only, 20 ksi each: old metal
    has 10 ksi left, so live may rise 30; new metal alone would let it rise 60."""
    parts = (
        Component("flat-bar", width_in=2.0, thickness_in=1.0),
        Component("flat-bar", width_in=1.0, thickness_in=1.0, carries="live"),
    )
    given = dataclasses.replace(
        member(THROUGH, "L0L1"),
        components=parts,
        material=Material(fy_ksi=20 / 0.75, fu_ksi=60, e_ksi=29_000),
    )
    found = capacity(given, "allowable-stress")
    assert found.headroom_kip(20.0, "operating", upward=True) == pytest.approx(30.0)
    assert found.headroom_kip(41.0, "operating", upward=True) < 0.0
    assert found.headroom_kip(20.0, "operating", upward=False) == math.inf


def test_load_factor_strengths():
    """Tension Fy A; compression 0.85 Fcr A (Manual for Bridge Evaluation, recalled)."""
    found = capacity(member(THROUGH, "U1U2"), "load-factor")
    assert found.tension_kip["inventory"] == pytest.approx(30 * 9.7)
    column = resistance.column_strength_ksi(30, 29_000, 59.0625)
    assert found.compression_kip["operating"] == pytest.approx(0.85 * column * 9.7)
