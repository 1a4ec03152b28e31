"""AASHTO Standard Specifications, articles 3.6 to 3.8 and appendix A.

Axles and lane loads are from memory; the moments and end shears below are recalled
from appendix A and derived again by an exact moving-load search; H20 rows are as
printed by M. A. Khan, Bridge and Highway Structure Rehabilitation and Repair, 2010,
p. 251 (seen). Printed to a tenth.

The engine meets them through a truss of many small panels: the force in its upper
chord times its depth is the beam moment at the panel point opposite.
"""

import pytest

from analysis.engine import vehicles
from analysis.engine.answer import answer

from .rows import approx

pytestmark = pytest.mark.published(
    "AASHTO Standard Specifications, articles 3.6 to 3.8", "reproduced"
)

# Span: H15 moment and end shear, H20, HS20; the greater of truck and lane (not HS20's).
TABLE = {
    20: (120.0, 25.8, 160.0, 34.4, 160.0, 41.6),
    30: (185.0, 27.2, 246.6, 36.3, 282.1, 49.6),
    40: (259.5, 29.1, 346.0, 38.8, 449.8, 55.2),
    50: (334.2, 31.5, 445.6, 42.0, 627.8, 58.6),
    60: (418.5, 33.9, 558.0, 45.2, 806.5, 60.8),
    100: (937.5, 43.5, 1250.0, 58.0, 1523.9, 65.3),
    120: (1269.0, 48.3, 1692.0, 64.4, 1883.3, 66.4),
}
LEGAL = {
    20: {"type-3": (137.7, 31.4), "type-3S2": (125.6, 30.4), "type-3-3": (113.4, 25.2)},
    60: {"type-3": (598.5, 43.8), "type-3S2": (618.4, 49.7), "type-3-3": (564.6, 48.1)},
    100: {"SU4": (1216.8, 50.5), "SU7": (1672.2, 67.5), "EV3": (1909.6, 80.2)},
}
FLOOR_BEAM = {
    12: {"H10": 16.0, "H15": 24.0, "HS20": 32.0, "type-3": 28.33, "type-3S2": 26.67},
    16: {"H10": 16.5, "H15": 24.75, "H20": 33.0, "HS20": 37.0, "type-3-3": 24.5},
    20: {"H15": 25.8, "HS20": 44.0, "type-3": 34.6, "type-3S2": 32.4, "type-3-3": 28.4},
}
PANELS = 60  # sections a sixtieth of the span apart miss the worst by less than 0.2 %
MOMENT = 2e-3
SHEAR_KIP = 0.051


def moment_and_shear(span_ft, live_load):
    """Return the greatest moment, kip ft, and end shear, kip, of a simple span."""
    depth_ft = span_ft / 8.0
    found = answer(
        {
            "geometry": {
                "form": "pratt",
                "panels": PANELS,
                "panel_length_ft": span_ft / PANELS,
                "depth_ft": depth_ft,
            },
            "live_load": live_load,
        }
    )
    least = min(m["live_min_kip"] for m in upper_chord(found))
    return -least * depth_ft, found["reactions"]["L0"]["live_max_kip"]


def upper_chord(found):
    return [m for m in found["members"].values() if m["kind"] == "upper-chord"]


@pytest.mark.parametrize("span_ft", TABLE)
def test_greatest_moment_and_end_shear_of_h_and_hs_loads(span_ft):
    row = TABLE[span_ft]
    for place, key in enumerate(("H15", "H20", "HS20")):
        live = {"vehicle": key} | ({} if key == "HS20" else {"lane": key})
        moment, shear = moment_and_shear(span_ft, live)
        assert moment == approx(row[2 * place], rel=MOMENT)
        assert shear == approx(row[2 * place + 1], abs=SHEAR_KIP)


@pytest.mark.published("AASHTO Manual for Bridge Evaluation, appendix D6A", "derived")
@pytest.mark.parametrize("span_ft", LEGAL)
def test_greatest_moment_and_end_shear_of_legal_trucks(span_ft):
    for key, (wanted_moment, wanted_shear) in LEGAL[span_ft].items():
        moment, shear = moment_and_shear(span_ft, {"vehicle": key})
        assert moment == approx(wanted_moment, rel=MOMENT)
        assert shear == approx(wanted_shear, abs=SHEAR_KIP)


@pytest.mark.published("Floor-beam reactions by statics", "derived")
@pytest.mark.parametrize("panel_ft", FLOOR_BEAM)
def test_floor_beam_reaction_is_the_hip_verticals_live_load(panel_ft):
    geometry = {
        "form": "pratt",
        "panels": 6,
        "panel_length_ft": panel_ft,
        "depth_ft": 20,
    }
    for key, wanted in FLOOR_BEAM[panel_ft].items():
        found = answer({"geometry": geometry, "live_load": {"vehicle": key}})
        assert found["members"]["L1U1"]["live_max_kip"] == approx(wanted, abs=5.1e-3)


@pytest.mark.published("Federal bridge formula, 23 U.S.C. 127", "reproduced")
def test_legal_trucks_sit_just_under_the_federal_bridge_formula():
    """W = 500(LN/(N - 1) + 12N + 36) lb: 50,250; 73,625; 86,400 (derived)."""
    for key, wanted in (("type-3", 50.25), ("type-3S2", 73.625), ("type-3-3", 86.4)):
        vehicle = vehicles.VEHICLES[key]
        n, length = len(vehicle.axle_kip), vehicle.behind_front_ft[-1]
        allowed = 0.5 * (length * n / (n - 1) + 12 * n + 36)
        assert allowed == approx(wanted)
        assert 0.9 * allowed < vehicle.weight_kip <= allowed


def test_impact():
    """Article 3.8.2: 0.2703 at 60 ft; 0.30 at 30 ft, the cap up to 41.67 ft."""
    assert vehicles.impact(60.0) == approx(0.2703, abs=5e-5)
    assert vehicles.impact(30.0) == 0.30
    assert vehicles.impact(90.0) == approx(50.0 / 215.0)
    assert vehicles.impact(41.67 - 0.01) == 0.30 > vehicles.impact(41.67 + 0.01)


IMPACT = "0.300 0.300 0.300 0.300 0.286 0.270 0.256 0.244 0.233 0.222 0.213 0.204 "
IMPACT += "0.196 0.189 0.182"


def test_impact_of_every_span_of_the_table():
    spans = [20, 25, *range(30, 151, 10)]
    ours = [vehicles.impact(span) for span in spans]
    assert ours == approx([float(part) for part in IMPACT.split()], abs=6e-4)


@pytest.mark.published("AASHTO Standard Specifications, articles 3.6 to 3.8", "memory")
@pytest.mark.parametrize(
    ("key", "gross", "length"),
    [
        ("H10", 20, 14),
        ("H15", 30, 14),
        ("H20", 40, 14),
        ("HS15", 54, 28),
        ("HS20", 72, 28),
        ("type-3", 50, 19),
        ("type-3S2", 72, 41),
        ("type-3-3", 80, 54),
        ("SU4", 54, 18),
        ("SU5", 62, 22),
        ("SU6", 69.5, 26),
        ("SU7", 77.5, 30),
        ("EV2", 57.5, 15),
        ("EV3", 86, 19),
    ],
)
def test_gross_weights_and_wheelbases(key, gross, length):
    vehicle = vehicles.VEHICLES[key]
    ours = [vehicle.weight_kip, vehicle.behind_front_ft[-1]]
    assert ours == approx([gross, length])


@pytest.mark.published(
    "M. A. Khan, Bridge and Highway Structure Rehabilitation, 2010, p. 251", "seen"
)
def test_lane_load_of_h20():
    """0.64 klf with 18 kip for moment or 26 for shear ("418" there is a scan's fault)."""
    for key in ("H20", "HS20"):
        lane = vehicles.LANES[key]
        ours = [lane.klf, lane.concentrated_chord_kip, lane.concentrated_web_kip]
        assert ours == approx([0.64, 18.0, 26.0])


@pytest.mark.published("Lever rule by statics", "derived")
@pytest.mark.parametrize(
    ("apart", "roadway", "wanted"),
    [
        (13, 12, 0.577),
        (15, 14, 0.633),
        (17, 16, 0.676),
        (19, 18, 0.711),
        (21, 20, 0.738),
    ],
)
def test_lever_rule(apart, roadway, wanted):
    """Derived: wheel lines 6 ft apart, the outer 2 ft from the curb."""
    assert vehicles.lever_fraction(roadway, apart, 6.0, 2.0) == approx(wanted, abs=6e-4)


@pytest.mark.published("Lever rule by statics", "derived")
@pytest.mark.parametrize(
    ("apart", "roadway", "wanted"), [(19, 18, 0.895), (21, 20, 1.000)]
)
def test_lever_rule_of_two_trucks_abreast(apart, roadway, wanted):
    found = vehicles.lever_fraction(roadway, apart, 6.0, 2.0, vehicles=2)
    assert found == approx(wanted, abs=6e-4)


@pytest.mark.published("Lever rule by statics", "derived")
def test_a_centred_truck_is_half_on_each_truss():
    assert vehicles.lever_fraction(16, 17, 6.0, 2.0, placing="centred") == approx(0.5)


@pytest.mark.published("23 U.S.C. 127(r), emergency vehicles", "seen")
def test_emergency_vehicles_are_within_the_statute():
    """Steer 24,000; drive 33,500; tandem 62,000; gross 86,000 lb."""
    ev2, ev3 = vehicles.VEHICLES["EV2"], vehicles.VEHICLES["EV3"]
    assert list(ev2.axle_kip) == approx([24.0, 33.5])
    assert ev3.axle_kip[1] + ev3.axle_kip[2] == approx(62.0)
    assert ev3.weight_kip == approx(86.0)


@pytest.mark.published("AASHTO pedestrian guide, 1997", "memory")
@pytest.mark.parametrize(
    ("area", "psf"), [(300, 85.0), (400, 85.0), (900, 63.75), (625, 72.25)]
)
def test_pedestrian_load_by_area(area, psf):
    """85(0.25 + 15/sqrt A) above 400 sq ft, at least 65."""
    assert vehicles.crowd_psf(area) == approx(max(psf, 65.0))


@pytest.mark.published("AASHTO Standard Specifications, art. 3.14.1.1", "memory")
@pytest.mark.parametrize(
    ("span", "width", "psf"),
    [(20, 5, 85.0), (60, 5, 60.0), (100, 5, 60.0), (150, 5, 50.0), (200, 6, 44.1)],
)
def test_sidewalk_load_of_trusses_by_span(span, width, psf):
    """(30 + 3000/L)(55 - W)/50 above 100 ft, at most 60; by hand."""
    assert vehicles.sidewalk_psf(span, width) == approx(psf)


@pytest.mark.published("Interregional Highways, appendix VI, 1944", "seen")
def test_lighter_h_loads_are_parts_of_h20():
    """H15 and H10 are 75 and 50 per cent of H20; H15-S12 75 of H20-S16."""
    h20, hs20 = vehicles.VEHICLES["H20"], vehicles.VEHICLES["HS20"]
    for key, part, whole in (
        ("H15", 0.75, h20),
        ("H10", 0.5, h20),
        ("HS15", 0.75, hs20),
    ):
        wanted = [part * kip for kip in whole.axle_kip]
        assert list(vehicles.VEHICLES[key].axle_kip) == approx(wanted)
    for key, part in (("H15", 0.75), ("H10", 0.5)):
        ours, whole = vehicles.LANES[key], vehicles.LANES["H20"]
        assert ours.klf == approx(part * whole.klf)
        assert ours.concentrated_web_kip == approx(part * whole.concentrated_web_kip)


@pytest.mark.published("M. S. Ketchum, 1908, in an engineering thesis", "seen")
def test_ketchums_traction_engine():
    """15 tons, axles 10 ft apart, two thirds on the rear."""
    engine = vehicles.VEHICLES["traction-engine-15"]
    assert engine.weight_kip == approx(30.0)
    assert engine.axle_kip[1] / engine.weight_kip == approx(2 / 3)
    assert engine.behind_front_ft[1] == approx(10.0)


@pytest.mark.published("Federal axle limits, 23 U.S.C. 127", "memory")
def test_federal_axle_limits():
    """Single axle 20, tandem 34 kip."""
    assert vehicles.VEHICLES["legal-axle"].weight_kip == approx(20.0)
    assert vehicles.VEHICLES["legal-tandem"].weight_kip == approx(34.0)
