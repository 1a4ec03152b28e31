"""Built-up members: ties that give in shear, pieces alone, net sections, tight bars.

Lacing and battens: Engesser, as carried by S. P. Timoshenko and J. M. Gere, Theory of
Elastic Stability, from memory; values derived. Arrangements against a section library.
"""

import math

import pytest
from sectionproperties.analysis.section import Section
from sectionproperties.pre.library import primitive_sections, steel_sections

from analysis.engine import checkfile, lacing
from analysis.engine.answer import answer
from analysis.engine.resistance import capacity, column_strength_ksi
from analysis.engine.sections import BuiltUp, Component, component_section

from .rows import approx

ENGESSER = pytest.mark.published("Engesser's laced and battened columns", "reproduced")
LIBRARY = pytest.mark.published("A section library", "derived")
PAIR = {"shape": "channel", "count": 2, "depth_in": 8, "weight_plf": 11.5}
PRINTED = 5.1e-3


def king_post(component, built_up=None, **group):
    """Return a king post whose 20-ft tie is pushed by a load the wrong way up."""
    made = {"names": ["L0L1"], "components": [component], "k": 1.0, **group}
    if built_up:
        made["built_up"] = built_up
    return {
        "geometry": {
            "form": "king-post",
            "panels": 2,
            "panel_length_ft": 20,
            "depth_ft": 20,
        },
        "material": {"kind": "steel", "year": 1910},
        "members": [made],
    }


def member(document, name="L0L1"):
    check = checkfile.read(document)
    return next(each for each in check.members if each.name == name)


def capacity_of(document):
    return capacity(member(document), "allowable-stress")


@ENGESSER
def test_soft_lacing_lowers_the_critical_load():
    """2-[8x11.5, b 6.5 in, L 240 in, 2 x 1/4 bars on both faces at 60 degrees: Iy 101.1,
    Pe 502, Pd 10,875, Pcr 480 kip, ratio 0.956."""
    pair = Component(
        "channel",
        count=2,
        depth_in=8,
        weight_plf=11.5,
        built_up=BuiltUp(6.5, lacing_in2=1.0),
    )
    found = component_section(pair)
    assert found.i_out_of_plane_in4 == approx(101.1, abs=0.06)
    euler = math.pi**2 * 29_000 * found.i_out_of_plane_in4 / 240**2
    assert euler == approx(502, abs=0.6)
    slender = (240 / found.r_out_of_plane_in) ** 2 + found.shear_square
    critical = math.pi**2 * 29_000 * found.area_in2 / slender
    assert critical == approx(480, abs=0.6)
    assert critical / euler == approx(0.956, abs=6e-4)
    rigidity = math.pi**2 * 29_000 * found.area_in2 / found.shear_square
    assert rigidity == approx(10_875, abs=1)


@ENGESSER
def test_measured_battens_add_their_panel():
    """(KL/r)^2 + (pi^2/12)(a/r1)^2, r1 0.623 of the channel, a 36 in."""
    tied = {"webs_apart_in": 6.5, "tied_by": "battens", "battens_apart_in": 36}
    found = capacity_of(king_post(PAIR, tied))
    r1 = math.sqrt(1.31 / 3.37)
    plain = capacity_of(king_post(PAIR, {"webs_apart_in": 6.5}))
    sideways = 240 / plain.section.r_out_of_plane_in
    wanted = math.sqrt(sideways**2 + math.pi**2 / 12 * (36 / r1) ** 2)
    assert found.slenderness == approx(wanted)


@pytest.mark.published("Missing lacing: each piece alone, handbook rule", "memory")
def test_where_ties_are_missing_each_channel_stands_alone():
    """5 ft untied: L/r 60/0.623 = 96 of one channel, above the member's own."""
    whole = capacity_of(king_post(PAIR, {"webs_apart_in": 6.5}))
    bare = capacity_of(king_post(PAIR, {"webs_apart_in": 6.5, "untied_ft": 5}))
    alone = 60 / math.sqrt(1.31 / 3.37)
    assert bare.slenderness == approx(alone)
    assert bare.slenderness > whole.slenderness
    stress = column_strength_ksi(30, 29_000, alone) / 1.70
    assert bare.compression_kip["operating"] == approx(stress * 6.74)


@LIBRARY
def test_four_laced_angles_agree_with_a_section_library():
    box = Component(
        "angle",
        count=4,
        leg_in=3,
        other_leg_in=2.5,
        thickness_in=0.25,
        built_up=BuiltUp(10, box_depth_in=12),
    )
    angle = steel_sections.angle_section(d=3, b=2.5, t=0.25, r_r=1e-6, r_t=1e-6, n_r=2)
    left = angle + angle.mirror_section(axis="x", mirror_point=(0, 6))
    whole = left + left.mirror_section(axis="y", mirror_point=(5, 0))
    oracle = library(whole)
    agree(component_section(box), oracle)


@LIBRARY
def test_two_angles_back_to_back_agree_with_a_section_library():
    pair = Component(
        "angle",
        count=2,
        leg_in=4,
        other_leg_in=3,
        thickness_in=0.375,
        built_up=BuiltUp(0.5),
    )
    right = steel_sections.angle_section(d=4, b=3, t=0.375, r_r=1e-6, r_t=1e-6, n_r=2)
    right = right.shift_section(0.25, 0)
    oracle = library(right + right.mirror_section(axis="y", mirror_point=(0, 0)))
    agree(component_section(pair), oracle)


@LIBRARY
def test_a_box_of_channels_and_two_plates_agrees_with_a_section_library():
    sizes = {"flange_width_in": 2.26, "flange_thickness_in": 0.39}
    box = Component(
        "channel",
        count=2,
        depth_in=8,
        web_thickness_in=0.22,
        built_up=BuiltUp(
            6.5,
            cover_width_in=12,
            cover_thickness_in=0.25,
            bottom_width_in=10,
            bottom_thickness_in=0.375,
        ),
        **sizes,
    )
    channel = steel_sections.channel_section(
        d=8, b=2.26, t_f=0.39, t_w=0.22, r=1e-6, n_r=2
    )
    right = channel.shift_section(3.25, 0)
    whole = right + right.mirror_section(axis="y", mirror_point=(0, 0))
    top = primitive_sections.rectangular_section(d=0.25, b=12).shift_section(-6, 8)
    low = primitive_sections.rectangular_section(d=0.375, b=10)
    whole += top
    whole += low.shift_section(-5, -0.375)
    agree(component_section(box), library(whole))


def library(geometry):
    section = Section(geometry.create_mesh(mesh_sizes=[0.05]))
    section.calculate_geometric_properties()
    return section


def agree(found, oracle):
    i_x, i_y, _ = oracle.get_ic()
    assert found.area_in2 == approx(oracle.get_area(), rel=2e-3)
    assert found.i_in_plane_in4 == approx(i_x, rel=2e-3)
    assert found.i_out_of_plane_in4 == approx(i_y, rel=2e-3)


@pytest.mark.published("Built-up sections by parallel axes", "derived")
@pytest.mark.parametrize(
    ("depth", "weight", "apart", "plate", "middle", "off", "centre"),
    [
        (8, 11.5, 6.5, (12, 0.25), 4, 1.271, 5.271),
        (10, 15.3, 8, (14, 0.3125), 5, 1.692, 6.692),
        (5, 6.7, 5, (9, 0.25), 2.5, 0.954, 3.454),
    ],
)
def test_pins_on_the_channels_middle_stand_below_the_chords_centre(
    depth, weight, apart, plate, middle, off, centre
):
    """Centres by moments about the bottom."""
    width, thickness = plate
    chord = Component(
        "channel",
        count=2,
        depth_in=depth,
        weight_plf=weight,
        built_up=BuiltUp(
            apart,
            cover_width_in=width,
            cover_thickness_in=thickness,
            pin_height_in=middle,
        ),
    )
    below = component_section(chord).pin_below_in
    assert below == approx(off, abs=6e-4)
    assert middle + below == approx(centre, abs=6e-4)


@pytest.mark.published("AASHTO Standard Specifications, 10.16, net sections", "memory")
def test_holes_and_legs_that_stand_out():
    """A 6 x 3/8 plate with two 3/4 rivets: 2.25 - 2(0.875)(0.375); an angle 4 x 3 x
    3/8 by its long leg: 2.484 less half of 2.625 x 0.375."""
    plate = Component("plate", width_in=6, thickness_in=0.375, holes=2, rivet_in=0.75)
    assert component_section(plate).net_area_in2 == approx(1.59375)
    angle = Component(
        "angle", leg_in=4, other_leg_in=3, thickness_in=0.375, by_one_leg=True
    )
    assert component_section(angle).net_area_in2 == approx(2.484375 - 0.4921875)


@pytest.mark.published("Unequally tight eyebars, by stiffness", "derived")
def test_of_two_eyebars_the_shorter_reaches_its_limit_first():
    """Two bars of 1.5 sq in, E 27,000, L 180 in, one 1/32 in long: the long one takes
    load from 7.03 kip; at 43.8 kip they carry 25.4 and 18.4."""
    document = king_post({"shape": "eyebar", "width_in": 3, "thickness_in": 0.5})
    document["geometry"] |= {"panel_length_ft": 15}
    document["material"] = {"fy_ksi": 25.4166 / 1.5 / 0.75, "fu_ksi": 90}
    document["material"]["e_ksi"] = 27_000
    piece = document["members"][0]["components"][0]
    document["members"][0]["components"] = [piece, piece | {"longer_in": 1 / 32}]
    found = capacity_of(document)
    lag = found.pieces[1].late_kip
    assert lag == approx(7.03, abs=PRINTED)
    # The short bar at 25.4 kip is at its limit when both carry 43.8.
    assert found.tension_kip["operating"] == approx(43.8, abs=0.01)
    assert 25.4166 - lag == approx(18.4, abs=0.02)
    # E d/L: 3.5 ksi for each 1/32 in on 20 ft.
    assert lag / 1.5 * 180 / 240 == approx(3.5, abs=0.06)
    assert found.headroom_kip(10.0, "operating", True) == approx(33.8, abs=0.01)


@pytest.mark.published("Measured remaining thickness, by geometry", "derived")
def test_a_bar_measured_thin_keeps_its_weight():
    thin = Component("flat-bar", width_in=4, thickness_in=0.5, remaining_in=0.375)
    found = component_section(thin)
    assert found.area_in2 == approx(1.5)
    assert found.weight_plf == approx(2.0 * 490 / 144)
    rod = Component(
        "round-rod", diameter_in=1.25, ends="plain-thread", remaining_in=1.0
    )
    assert component_section(rod).net_area_in2 == approx(math.pi / 4)


@pytest.mark.published("AASHTO Standard Specifications, 10.7", "memory")
def test_slender_ties_that_are_no_rods_are_told():
    """A 2 x 2 x 1/4 angle of 20 ft: L/r 240/0.39 above 200."""
    angle = {
        "shape": "angle",
        "leg_in": 2,
        "other_leg_in": 2,
        "thickness_in": 0.25,
    }
    document = king_post(angle) | {"dead_load": {"joints_kip": {"L1": 1}}}
    assert any("L/r is above 200" in said for said in answer(document)["warnings"])
    eyebar = {"shape": "eyebar", "width_in": 2, "thickness_in": 0.25}
    document = king_post(eyebar) | {"dead_load": {"joints_kip": {"L1": 1}}}
    assert not any("L/r is above" in said for said in answer(document)["warnings"])


@pytest.mark.published("A loose bar takes nothing", "derived")
def test_what_hangs_loose_is_weighed_and_takes_no_load():
    bar = {"shape": "eyebar", "width_in": 3, "thickness_in": 0.5}
    both = king_post(bar)
    both["members"][0]["components"] = [bar, bar | {"carries": "none"}]
    one, two = capacity_of(king_post(bar)), capacity_of(both)
    assert two.tension_kip["operating"] == approx(one.tension_kip["operating"])
    loaded = {"dead_load": {"self_weight": {"details_factor": 1.0}}}
    weights = [
        answer(document | loaded)["dead_load"]["total_kip"]
        for document in (king_post(bar), both)
    ]
    assert weights[1] == approx(2 * weights[0])


@pytest.mark.published("AASHTO Standard Specifications, lacing shear", "reproduced")
@pytest.mark.parametrize(
    ("slenderness", "part"), [(40, 0.0240), (64, 0.0199), (80, 0.0191)]
)
def test_shear_that_lacing_must_carry(slenderness, part):
    """V/P = [100/(L/r + 10) + (L/r) Fy/3,300,000]/100, Fy 33,000 psi."""
    assert lacing.shear_part(slenderness, 33.0) == approx(part, abs=5e-5)


@pytest.mark.published("statics and the column formula, by hand", "derived")
def test_a_lacing_bar_against_its_share_of_the_shear():
    """Two planes of single lacing 2 x 1/4 at 60 degrees, pieces 5 in apart, Fy 33.

    V of 100 kip at L/r 64: 1.99; a bar 1.99/2/sin 60 = 1.149 kip. Free 5/sin 60 = 5.774
    in, r 0.25/sqrt 12 = 0.0722, L/r 80: (15,566 - 0.4487 x 6400) psi on 1/2 sq in.
    """
    how = BuiltUp(5.0, lacing_in2=1.0, lacing_thickness_in=0.25)
    shear = lacing.shear_part(64, 33.0) * 100.0
    assert lacing.bar_force_kip(how, shear) == approx(1.149, abs=2e-3)
    strength = lacing.bar_strength_kip(how, 33.0, 29_000.0)
    assert strength == approx((15.566 - 0.4487e-3 * 6400) / 2, rel=2e-3)
    wide = BuiltUp(12.0, lacing_in2=1.0, lacing_thickness_in=0.25)
    assert lacing.bar_strength_kip(wide, 33.0, 29_000.0) == 0.0
