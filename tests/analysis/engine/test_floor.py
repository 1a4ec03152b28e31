"""Stringers and floor beams: worked by hand, against a section library, and governing.

The worked case is derived by statics; the spread of wheels by AASHTO Standard
Specifications table 3.23.1, from memory.
"""

import pytest
from sectionproperties.analysis.section import Section
from sectionproperties.pre.geometry import Geometry
from sectionproperties.pre.library import primitive_sections, steel_sections

from analysis.engine import beams, floor
from analysis.engine.answer import answer
from analysis.engine.checkfile import CheckFileError
from analysis.engine.sections import Component, Girder

LEVELS = ("operating", "inventory")


def document(**floor_system):
    """Return a through Pratt of five panels of 16 ft with its floor."""
    return {
        "geometry": {
            "form": "pratt",
            "panels": 5,
            "panel_length_ft": 16,
            "depth_ft": 18,
        },
        "material": {"kind": "steel", "year": 1908},
        "members": [
            {
                "kinds": ["upper-chord", "end-post", "vertical"],
                "section": {
                    "area_in2": 9.7,
                    "r_in_plane_in": 3.2,
                    "r_out_of_plane_in": 3.7,
                },
            },
            {
                "kinds": ["lower-chord", "hip-vertical", "diagonal", "counter"],
                "components": [
                    {
                        "shape": "eyebar",
                        "count": 2,
                        "width_in": 3.5,
                        "thickness_in": 0.875,
                    }
                ],
            },
        ],
        "dead_load": {
            "self_weight": {},
            "floor": {
                "roadway_ft": 14,
                "layers": [{"material": "timber", "thickness_in": 3}],
                "stringers": {"count": 7, "plf_each": 18.4},
                "floor_beams_lb_each": 600,
                "railing_plf": 20,
            },
        },
        "live_load": {"vehicle": "H15", "impact": "aashto"},
        "floor_system": {
            "roadway_ft": 14,
            "trusses_apart_ft": 16,
            "stringers": {
                "count": 7,
                "components": [{"shape": "i-beam", "depth_in": 8, "weight_plf": 18.4}],
            },
            "floor_beams": {
                "components": [{"shape": "i-beam", "depth_in": 12, "weight_plf": 31.8}]
            },
            **floor_system,
        },
    }


def test_a_floor_by_hand():
    """H15, 16-ft panels, 3 in plank (12.5 psf) on seven stringers 14/6 ft apart.

    Stringer: dead (12.5 x 2.333 + 18.4) 16^2/8 = 1.522 kip ft; a 12-kip wheel at
    midspan, 2.333/4 of it, 30 % impact: 48 x 0.5833 x 1.3 = 36.4. 57.5/4 in3 at 0.75 x
    30 ksi carries 26.95. Floor beam: wheel lines of 24.75/2 kip 6.5 ft from one truss,
    5.281 ft of moment each kip, 1.3: 84.96; dead from stringers, plank, rail and
    itself 12.25 by statics.
    """
    found = answer(document())["floor"]
    stringer, beam = found["stringer"], found["floor_beam"]
    assert stringer["wheel_share"] == pytest.approx(14 / 6 / 4)
    assert stringer["bending"]["dead_kip_ft"] == pytest.approx(1.522, abs=1e-3)
    assert stringer["bending"]["live_kip_ft"] == pytest.approx(36.4, abs=1e-6)
    resistance = stringer["bending"]["resistance_kip_ft"]
    assert resistance["operating"] == pytest.approx(57.5 / 4 * 22.5 / 12)
    assert stringer["bending"]["rating"]["operating"] == pytest.approx(
        (57.5 / 4 * 22.5 / 12 - 1.522) / 36.4, abs=1e-4
    )
    assert stringer["shear"]["live_kip"] == pytest.approx(
        12 * (1 + 0.25 * 2 / 16) * 14 / 24 * 1.3, abs=1e-6
    )
    assert beam["bending"]["live_kip_ft"] == pytest.approx(
        24.75 / 2 * 5.28125 * 1.3, abs=1e-6
    )
    over = (12.5 * 14 + 7 * 18.4) * 16 / 1000
    dead = over * (32 - 14) / 8 + 0.32 / 2 * 1 + 0.6 * 16 / 8
    assert beam["bending"]["dead_kip_ft"] == pytest.approx(dead, abs=1e-6)
    assert beam["shear"]["dead_kip"] == pytest.approx((over + 0.32 + 0.6) / 2)
    # The near wheel line 3 ft from a truss: (13 + 7)/16 of a line.
    assert beam["shear"]["live_kip"] == pytest.approx(24.75 / 2 * 20 / 16 * 1.3)


def test_a_floor_may_govern_and_says_so():
    found = answer(document())
    governing = found["governing"]["operating"]
    assert (governing["member"], governing["mode"]) == ("floor beam", "bending")
    assert governing["rating"] < min(
        m["rating"]["operating"]
        for m in found["members"].values()
        if m["rating"]["operating"] is not None
    )
    assert governing["limit_tons"] == pytest.approx(15 * governing["rating"])
    assert any(text.startswith("A floor beam reaches") for text in found["warnings"])
    bare = document()
    del bare["floor_system"]
    alone = answer(bare)
    assert alone["floor"] is None
    assert any("truss alone" in text for text in alone["assumptions"])
    assert alone["members"] == found["members"]


def test_heavier_beams_hand_the_limit_back_to_the_truss():
    strong = {
        "girder": {
            "depth_in": 30,
            "web_thickness_in": 0.375,
            "leg_in": 4,
            "other_leg_in": 4,
            "angle_thickness_in": 0.5,
        }
    }
    many = {
        "count": 7,
        "components": [{"shape": "i-beam", "depth_in": 24, "weight_plf": 100}],
    }
    found = answer(document(floor_beams=strong, stringers=many))
    assert found["governing"]["operating"]["member"] not in floor.NAMES


@pytest.mark.parametrize("level", LEVELS)
def test_load_factor_rates_against_yield(level):
    """(Fy S - 1.3 D)/(A L)."""
    found = answer(document() | {"method": "load-factor"})
    bending = found["floor"]["stringer"]["bending"]
    capacity = 57.5 / 4 * 30 / 12
    factor = {"operating": 1.3, "inventory": 2.17}[level]
    wanted = capacity - 1.3 * bending["dead_kip_ft"]
    wanted /= factor * bending["live_kip_ft"]
    assert bending["rating"][level] == pytest.approx(wanted)


def test_timber_stringers_bend_and_shear_as_timber():
    """3 x 12 at 2 ft: 72 in3 at 1.2 ksi and a third more; 2/3 of 36 in2 at 0.150 ksi;
    wheels at the lesser of three depths and a quarter of the span, half of 0.60 of
    all and of those spread."""
    stringers = {
        "count": 8,
        "components": [{"shape": "timber", "width_in": 3, "depth_in": 12}],
        "material": {"kind": "timber"},
    }
    found = answer(document(stringers=stringers))["floor"]["stringer"]
    limit = found["bending"]["resistance_kip_ft"]
    assert limit["inventory"] == pytest.approx(72 * 1.2 / 12)
    assert limit["operating"] == pytest.approx(72 * 1.2 / 12 * 1.33)
    assert found["shear"]["resistance_kip"]["inventory"] == pytest.approx(3.6)
    assert found["wheel_share"] == pytest.approx(0.5)
    at = 3.0
    whole = 12 * (16 - at) / 16
    # Only the heavy wheel is on the span beyond the section with the light one off.
    wanted = 0.5 * (0.6 + 0.5) * whole * 1.3
    assert found["shear"]["live_kip"] == pytest.approx(wanted)


@pytest.mark.parametrize(
    ("spacing", "deck", "thick", "timber", "wanted"),
    [
        (2.0, "timber", 3, False, 0.5),
        (3.5, "concrete", 5, False, 0.5),
        (3.0, "concrete", 5, True, 0.5),
        (3.0, "steel-grid", 5, False, 0.5),
        (2.25, "steel-grid", 3, False, 0.5),
        (3.0, None, 0, False, 1.0),
        (8.0, "timber", 3, False, 1.25),
    ],
)
def test_wheels_spread_by_deck_and_spacing(spacing, deck, thick, timber, wanted):
    assert floor.wheel_share(spacing, deck, thick, timber) == pytest.approx(wanted)


@pytest.mark.parametrize(
    ("apart", "roadway", "moment", "shear"),
    [
        (16, 14, 5.28125, 20 / 16),  # free to stand 1.5 ft off the middle
        (13, 12, 4.5 * (8.5 + 2.5) / 13, (10.5 + 4.5) / 13),  # the curb stops them
        (10, 8, 2.0, 1.0),  # no room for clearances: in the middle
    ],
)
def test_wheels_stand_where_the_curbs_let_them(apart, roadway, moment, shear):
    found = floor.wheel_places(apart, roadway, 6.0, 2.0)
    assert found == pytest.approx((moment, shear))


def test_a_crowd_loads_the_floor_too():
    found = answer(
        document() | {"live_load": {"crowd": {"psf": 100, "width_ft": 14}}},
    )
    stringer = found["floor"]["stringer"]["bending"]
    assert stringer["live_kip_ft"] == pytest.approx(0.1 * 14 / 6 * 16**2 / 8)
    beam = found["floor"]["floor_beam"]
    assert beam["shear"]["live_kip"] == pytest.approx(0.1 * 14 * 16 / 2)
    assert found["members"]["L1U1"]["live_max_kip"] == pytest.approx(0.7 * 16, rel=0.01)


def test_section_loss_lowers_every_limit_of_a_beam():
    plain = answer(document())["floor"]["floor_beam"]
    lost = document()
    lost["floor_system"]["floor_beams"]["loss_fraction"] = 0.2
    thin = answer(lost)["floor"]["floor_beam"]
    for mode, unit in (("bending", "kip_ft"), ("shear", "kip")):
        assert thin[mode][f"resistance_{unit}"]["operating"] == pytest.approx(
            0.8 * plain[mode][f"resistance_{unit}"]["operating"]
        )


def test_what_cannot_be_checked_is_said():
    one = {
        "count": 1,
        "components": [{"shape": "i-beam", "depth_in": 8, "weight_plf": 18.4}],
    }
    found = answer(document(stringers=one, trusses_apart_ft=12))
    assert "stringer" not in found["floor"]
    assert "floor_beam" not in found["floor"]
    assert any("spacing is not recorded" in text for text in found["warnings"])
    assert any("overhangs" in text for text in found["warnings"])


@pytest.mark.parametrize(
    ("change", "path"),
    [
        ({"stringers": {"count": 7}}, "floor_system.stringers"),
        (
            {
                "floor_beams": {
                    "material": {"kind": "steel"},
                    "components": [
                        {
                            "shape": "timber",
                            "width_in": 8,
                            "depth_in": 14,
                            "material": {"kind": "timber"},
                        }
                    ],
                }
            },
            "floor_system.floor_beams.material",
        ),
        ({"trusses_apart_ft": 0}, "floor_system.trusses_apart_ft"),
        (
            {
                "floor_beams": {
                    "components": [
                        {"shape": "i-beam", "depth_in": 9, "weight_plf": 1.0}
                    ]
                }
            },
            "floor_system.floor_beams.components[0].weight_plf",
        ),
        (
            {
                "floor_beams": {
                    "girder": {
                        "depth_in": 6,
                        "web_thickness_in": 0.375,
                        "leg_in": 4,
                        "other_leg_in": 4,
                        "angle_thickness_in": 0.5,
                    }
                }
            },
            "floor_system.floor_beams.girder.depth_in",
        ),
    ],
)
def test_faults_of_a_floor_are_named_by_path(change, path):
    with pytest.raises(CheckFileError) as caught:
        answer(document(**change))
    assert path in [fault.path for fault in caught.value.faults]


def library(geometry):
    section = Section(geometry.create_mesh(mesh_sizes=[0.05]))
    section.calculate_geometric_properties()
    return section


def test_a_girder_agrees_with_a_section_library():
    girder = Girder(30, 0.375, 4, 3, 0.5, 9, 0.5)
    web = primitive_sections.rectangular_section(d=30, b=0.375)
    angle = steel_sections.angle_section(d=4, b=3, t=0.5, r_r=1e-6, r_t=1e-6, n_r=2)
    plate = primitive_sections.rectangular_section(d=0.5, b=9)
    right = angle.shift_section(0.375, 0)
    left = right.mirror_section(axis="y", mirror_point=(0.1875, 0))
    low: Geometry = web + right + left
    low += plate.shift_section(0.1875 - 4.5, -0.5)
    for side in (right, left):
        low += side.mirror_section(axis="x", mirror_point=(0, 15))
    low += plate.shift_section(0.1875 - 4.5, 30)
    oracle = library(low)
    found = beams.girder_section(girder)
    assert found.area_in2 == pytest.approx(oracle.get_area(), rel=2e-3)
    assert found.i_in4 == pytest.approx(oracle.get_ic()[0], rel=2e-3)
    assert found.modulus_in3 == pytest.approx(oracle.get_z()[0], rel=2e-3)


def test_an_upright_angle_agrees_with_a_section_library():
    oracle = library(
        steel_sections.angle_section(d=6, b=4, t=0.5, r_r=1e-6, r_t=1e-6, n_r=2)
    )
    found = beams.beam_section(
        [Component("angle", leg_in=6, other_leg_in=4, thickness_in=0.5)]
    )
    assert found.i_in4 == pytest.approx(oracle.get_ic()[0], rel=2e-3)
    least = min(oracle.get_z()[:2])
    assert found.modulus_in3 == pytest.approx(least, rel=2e-3)


def test_a_beam_takes_its_pieces_material_and_their_wear():
    timber = {
        "shape": "timber",
        "width_in": 8,
        "depth_in": 14,
        "material": {"kind": "timber"},
    }
    whole = answer(document(floor_beams={"components": [timber]}))
    worn = answer(document(floor_beams={"components": [timber | {"remaining_in": 6}]}))
    limits = [
        found["floor"]["floor_beam"]["bending"]["resistance_kip_ft"]["inventory"]
        for found in (whole, worn)
    ]
    assert limits[0] == pytest.approx(8 * 14**2 / 6 * 1.2 / 12)
    assert limits[1] == pytest.approx(0.75 * limits[0])
