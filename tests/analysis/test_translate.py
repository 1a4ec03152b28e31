"""Recorded configurations into check files: what is taken for granted, and said."""

import pytest

from analysis import services, translate
from analysis.engine import checkfile
from analysis.engine.vehicles import lever_fraction
from surveys import record as records
from surveys.models import Element
from tests.makers import make_bridge
from tests.structures import FLOOR, make_visit_saying

pytestmark = pytest.mark.django_db
TIMBER = {"components": [{"shape": "timber", "width_in": 10.0, "depth_in": 12.0}]}
ROD = {"components": [{"shape": "round-rod", "diameter_in": 1.5, "ends": "upset"}]}


def translated(**span):
    """Return the check file of a Howe whose verticals are rods."""
    built = span.pop("built", "1868")
    bridge = make_bridge(
        built=built, span={"form": "howe", "panels": 6, "panel_length_ft": 12.0} | span
    )
    states = dict(FLOOR)
    for one in Element.objects.filter(bridge=bridge, kind="member"):
        states[one.path] = ROD if "vertical" in one.role else TIMBER
    make_visit_saying(bridge, 1990, changed=states)
    line = services.truss_lines(bridge)[0]
    return translate.check_file(line, records.load(bridge).configuration())


def metals(document):
    return {
        group["components"][0]["shape"]: group.get("material")
        for group in document["members"]
    }


@pytest.mark.parametrize(
    "built, kind",
    [("1868", "wrought-iron"), ("1894", "wrought-iron"), ("1912", "steel")],
)
def test_the_rods_of_a_timber_truss_are_metal(built, kind):
    made = translated(material="timber", built=built)
    assert metals(made.document) == {
        "timber": None,
        "round-rod": {"kind": kind, "year": int(built)},
    }
    assert any("recorded as timber" in said for said in made.assumptions)


def test_a_metal_truss_has_one_metal():
    made = translated(material="steel")
    assert set(map(str, metals(made.document).values())) == {"None"}


def test_a_roadway_wider_than_the_trusses_is_shared_by_the_same_rule():
    """16 ft on trusses 14 ft apart: by hand (13 + 7) / 28 = 0.714."""
    made = translated(material="timber", roadway_ft=16.0, trusses_apart_ft=14.0)
    assert made.document["live_load"]["fraction"] == pytest.approx(20 / 28, abs=1e-6)
    checkfile.read(made.document)


def test_the_two_ways_of_sharing_meet_where_the_kerb_is_over_the_truss():
    made = translate.Translation(None)
    just_wider = translate._share_of_lane(16.0 + 1e-9, 16.0, made)["fraction"]
    assert just_wider == pytest.approx(lever_fraction(16.0, 16.0, 6.0, 2.0), abs=1e-6)


I_BEAM = {"shape": "i-beam", "depth_in": 8.0, "weight_plf": 18.4, "count": 1}
WEB = {"shape": "plate", "count": 1, "width_in": 24.0, "thickness_in": 0.375}
ANGLES = {
    "shape": "angle",
    "count": 4,
    "leg_in": 3.0,
    "other_leg_in": 3.0,
    "thickness_in": 0.375,
}


def floor_of(stringers, floor_beams, **span):
    bridge = make_bridge(built="1908", span=span)
    states = dict(FLOOR)
    for one in Element.objects.filter(bridge=bridge, kind="member"):
        states[one.path] = ROD if "vertical" in one.role else TIMBER
    states |= {"span-1/stringers": stringers, "span-1/floor-beams": floor_beams}
    make_visit_saying(bridge, 1990, changed=states)
    line = services.truss_lines(bridge)[0]
    return translate.check_file(line, records.load(bridge).configuration()).document


def test_beams_of_recorded_size_are_checked_and_weighed_by_their_size():
    document = floor_of(
        {"count": 7, "material": "steel", "components": [I_BEAM]},
        {"material": "steel", "components": [WEB, ANGLES], "loss_fraction": 0.1},
        roadway_ft=14.0,
        trusses_apart_ft=16.0,
    )
    system = document["floor_system"]
    assert system["stringers"]["components"] == [I_BEAM]
    assert system["stringers"]["count"] == 7
    assert system["stringers"]["material"] == {"kind": "steel", "year": 1908}
    assert system["floor_beams"]["girder"]["depth_in"] == 24.0
    assert system["floor_beams"]["loss_fraction"] == 0.1
    floor = document["dead_load"]["floor"]
    assert floor["stringers"] == {"count": 7, "plf_each": 18.4}
    # 9 sq in of web and four angles of 2.11, 3.403 lb each a foot, 16 ft.
    assert floor["floor_beams_lb_each"] == pytest.approx(949, abs=1)
    checkfile.read(document)


def test_beams_without_sizes_or_without_a_roadway_are_not_checked():
    bare = floor_of(FLOOR["span-1/stringers"], FLOOR["span-1/floor-beams"])
    assert "floor_system" not in bare
