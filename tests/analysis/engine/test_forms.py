"""Forms: their joints, bars, names and kinds, and what cannot be built."""

from collections import Counter

import numpy as np
import pytest

from analysis.engine import forms
from analysis.engine.answer import answer
from analysis.engine.errors import FormError, UnknownMember
from analysis.engine.forms import registry

PARKER_5 = {"upper_heights_ft": [16.0, 20.0, 20.0, 16.0]}
EVERY = {
    "pratt": {"panels": 6, "depth_ft": 20},
    "half-hip-pratt": {"panels": 4, "depth_ft": 8, "hip_offset_ft": 7},
    "parker": {"panels": 6, "upper_heights_ft": [16, 22, 24, 22, 16]},
    "howe": {"panels": 6, "depth_ft": 20},
    "warren": {"panels": 4, "depth_ft": 15},
    "warren-with-verticals": {"panels": 6, "depth_ft": 15},
    "double-intersection-pratt": {"panels": 10, "depth_ft": 25},
    "baltimore": {"panels": 12, "depth_ft": 30},
    "pennsylvania": {"panels": 12, "upper_heights_ft": [24, 30, 33, 30, 24]},
    "king-post": {"panels": 2, "depth_ft": 10},
    "queen-post": {"panels": 3, "depth_ft": 10},
    "bowstring": {"panels": 6, "depth_ft": 18},
    "bedstead": {"panels": 6, "depth_ft": 10},
    "lenticular": {"panels": 6, "depth_ft": 20},
    "camelback": {"panels": 8, "upper_heights_ft": [20, 26, 26, 26, 26, 26, 20]},
    "k-truss": {"panels": 10, "depth_ft": 40},
    "kellogg": {"panels": 12, "depth_ft": 24},
    "post": {"panels": 10, "depth_ft": 24},
    "double-intersection-warren": {"panels": 7, "depth_ft": 15},
    "lattice": {"panels": 9, "depth_ft": 15},
    "a-truss": {"panels": 4, "depth_ft": 20},
    "burr-arch": {"panels": 8, "depth_ft": 16},
    "fink": {"panels": 8, "depth_ft": 20},
    "bollman": {"panels": 8, "depth_ft": 20},
}
# Their one chord is the upper, and the bearings are at its ends.
HUNG = ("fink", "bollman")


def make(form, **changes):
    return forms.build(form, **{"panel_length_ft": 15.0} | EVERY[form] | changes)


def test_every_form_has_a_case_here():
    assert set(EVERY) == set(forms.FORMS)


@pytest.mark.parametrize("form", EVERY)
def test_lower_joints_are_at_the_panel_points(form):
    geometry = make(form)
    n = EVERY[form]["panels"]
    ends = ("U0", f"U{n}") if form in HUNG else ("L0", f"L{n}")
    loaded = (ends[0], *(f"L{i}" for i in range(1, n)), ends[1])
    for i, name in enumerate(loaded):
        x, y = geometry.joints[name]
        assert x == 15.0 * i
        assert y == 0.0 or form == "lenticular" or name in ends
    assert (geometry.pinned, geometry.roller) == ends
    assert geometry.loaded_joints == loaded


@pytest.mark.parametrize("form", EVERY)
def test_each_has_its_example_its_spans_its_years_and_its_looks(form):
    entry = forms.FORMS[form]
    assert entry.example
    assert entry.typical().members
    low, high = entry.spans_ft
    assert 0 < low < high
    assert entry.period
    assert entry.tell


@pytest.mark.parametrize("form", EVERY)
def test_a_form_is_its_own_mirror_image(form):
    geometry = make(form)
    n = EVERY[form]["panels"]
    span = 15.0 * n
    places = {
        name: (round(x, 6), round(y, 6)) for name, (x, y) in geometry.joints.items()
    }
    by_place = {place: name for name, place in places.items()}
    mirror = {name: by_place[round(span - x, 6), y] for name, (x, y) in places.items()}
    bars = {frozenset(ends) for ends in geometry.members}
    assert {frozenset(mirror[end] for end in ends) for ends in geometry.members} == bars
    kinds = geometry.kinds
    for a, b in geometry.members:
        other = forms.canonical_name(f"{mirror[a]}-{mirror[b]}", geometry)
        assert kinds[other] == kinds[a + b]


@pytest.mark.parametrize("form", EVERY)
def test_members_are_named_lower_joint_first_and_chords_ascending(form):
    for a, b in make(form).members:
        if a[0] == b[0]:
            assert int(a[1:]) < int(b[1:])
        else:
            assert "LMU".index(a[0]) < "LMU".index(b[0])


# A crossed middle panel is one bar more; an open queen post one less.
REDUNDANT = {
    "bowstring": 4,
    "lenticular": 4,
    "queen-post": -1,
    "double-intersection-warren": 1,
    "lattice": 3,
    "post": 2,
    "burr-arch": 1,
}


@pytest.mark.parametrize("form", EVERY)
def test_bars_count_as_statics_asks(form):
    geometry = make(form)
    bars, joints = len(geometry.members), len(geometry.joints)
    assert bars - (2 * joints - 3) == REDUNDANT.get(form, 0)


@pytest.mark.parametrize("form", [name for name in EVERY if name != "queen-post"])
@pytest.mark.parametrize("deck_position", ["through", "deck"])
def test_every_form_stands_and_balances_its_load(form, deck_position):
    found = answer(
        {
            "geometry": {"form": form, "panel_length_ft": 15, **EVERY[form]},
            "deck_position": deck_position,
            "dead_load": {"uniform_plf": 400},
        }
    )
    assert found["stands"]
    total = 0.4 * 15 * EVERY[form]["panels"]
    assert found["dead_load"]["total_kip"] == pytest.approx(total)
    for reaction in found["reactions"].values():
        assert reaction["dead_kip"] == pytest.approx(total / 2)


@pytest.mark.parametrize("form", [name for name in EVERY if name != "queen-post"])
def test_a_truck_across_every_form_does_what_its_influence_lines_say(form):
    """H15, 6 and 24 kip 14 ft apart, either heading, each axle over each panel point.

    Without bars that go slack an influence line is straight between panel points, so
    the extremes are among those positions.
    """
    entry = forms.FORMS[form]
    geometry, document = entry.typical(), entry.document()
    loaded = geometry.loaded_joints
    x = np.array([geometry.joints[joint][0] for joint in loaded])
    lines = np.zeros((len(geometry.members), len(x)))
    for place, joint in enumerate(loaded):
        found = answer(document | {"dead_load": {"joints_kip": {joint: 1.0}}})
        lines[:, place] = [found["members"][m]["dead_kip"] for m in geometry.names]
    forces = [np.zeros(len(geometry.members))]
    for kips in ((6.0, 24.0), (24.0, 6.0)):
        for at in x:
            for shift in (0.0, 14.0):
                axles = np.array([at + shift - 14.0, at + shift])
                on = (axles >= 0.0) & (axles <= x[-1])
                forces.append(
                    sum(
                        kip * np.array([np.interp(axle, x, line) for line in lines])
                        for kip, axle in zip(np.array(kips)[on], axles[on], strict=True)
                    )
                    + np.zeros(len(lines))
                )
    found = answer(document | {"live_load": {"vehicle": "H15"}})["members"]
    most = [found[name]["live_max_kip"] for name in geometry.names]
    least = [found[name]["live_min_kip"] for name in geometry.names]
    assert most == pytest.approx(np.max(forces, axis=0), abs=1e-6)
    assert least == pytest.approx(np.min(forces, axis=0), abs=1e-6)


def test_the_deck_of_a_bedstead_ends_on_its_legs():
    """A wheel over the abutment goes down the leg, whatever joint stands beneath."""
    found = answer(
        {
            "geometry": {
                "form": "bedstead",
                "panel_length_ft": 15,
                **EVERY["bedstead"],
            },
            "deck_position": "deck",
            "live_load": {"axles": [{"kip": 10, "behind_front_ft": 0}]},
        }
    )
    assert found["members"]["L0U0"]["live_min_kip"] == pytest.approx(-10.0)
    assert found["members"]["U2U3"]["live_min_kip"] < 0


def test_what_a_model_on_pins_leaves_out_is_said_in_the_answer():
    for form in ("lattice", "burr-arch"):
        document = {"geometry": {"form": form, "panel_length_ft": 15, **EVERY[form]}}
        told = forms.FORMS[form].idealised
        assert told
        assert told in answer(document)["assumptions"]
    assert not forms.FORMS["pratt"].idealised


def test_a_camelback_has_five_slopes():
    heights = [20, 24, 26, 26, 26, 24, 20]
    with pytest.raises(FormError, match="five slopes") as caught:
        make("camelback", upper_heights_ft=heights)
    assert caught.value.field == "upper_heights_ft"


def test_a_k_is_level_or_broken():
    assert {y for _, y in make("k-truss").joints.values()} == {0, 20, 40}
    heights = [28, 34, 38, 40, 40, 40, 38, 34, 28]
    broken = make("k-truss", upper_heights_ft=heights)
    assert broken.joints["U1"] == (15, 28)
    assert broken.joints["M1"] == (15, 14)


def test_pratt_kinds():
    kinds = Counter(make("pratt", panels=7).kinds.values())
    assert kinds == {
        "lower-chord": 7,
        "upper-chord": 5,
        "end-post": 2,
        "hip-vertical": 2,
        "vertical": 4,
        "diagonal": 4,
        "counter": 2,
    }


def test_pratt_diagonals_fall_toward_midspan_and_the_odd_middle_is_crossed():
    geometry = make("pratt", panels=5)
    kinds = geometry.kinds
    assert kinds["L2U1"] == kinds["L3U4"] == "diagonal"
    assert kinds["L2U3"] == kinds["L3U2"] == "counter"
    assert geometry.crossed_panels == (3,)


def test_howe_diagonals_rise_toward_midspan():
    kinds = make("howe").kinds
    assert kinds["L1U2"] == kinds["L2U3"] == kinds["L4U3"] == "diagonal"
    assert "L2U1" not in kinds


def test_half_hip_first_verticals_are_posts_not_hangers():
    geometry = make("half-hip-pratt")
    assert geometry.kinds["L1U1"] == "vertical"
    assert geometry.kinds["L1U0"] == geometry.kinds["L2U1"] == "diagonal"
    assert geometry.joints["U0"] == (7.0, 8.0)
    assert geometry.joints["U4"] == (53.0, 8.0)


def test_crossing_a_panel_adds_the_counter_to_its_diagonal():
    geometry = make("pratt", crossed_panels=[3])
    assert geometry.kinds["L3U2"] == "diagonal"
    assert geometry.kinds["L2U3"] == "counter"
    assert geometry.crossed_panels == (3,)


def test_crossing_a_crossed_panel_changes_nothing():
    assert make("pratt", panels=5, crossed_panels=[3]) == make("pratt", panels=5)


def test_crossing_the_open_queen_post_gives_two_counters():
    kinds = make("queen-post", crossed_panels=[2]).kinds
    assert kinds["L1U2"] == kinds["L2U1"] == "counter"


def test_warren_outermost_web_members_are_end_posts():
    geometry = make("warren")
    assert geometry.kinds["L0U1"] == geometry.kinds["L4U4"] == "end-post"
    assert geometry.kinds["L1U1"] == geometry.kinds["L1U2"] == "diagonal"
    assert geometry.joints["U2"] == (22.5, 15.0)


def test_parker_takes_any_outline():
    geometry = make("parker", panels=5, **PARKER_5)
    assert [geometry.joints[f"U{i}"][1] for i in range(1, 5)] == [16, 20, 20, 16]
    camelback = make("parker", depth_ft=24)
    assert camelback == make("parker")


def test_bowstring_follows_a_parabola():
    """Six panels, rise 30: 16.667, 26.667, 30."""
    geometry = make("bowstring", panel_length_ft=20.0, depth_ft=30.0)
    heights = [geometry.joints[f"U{i}"][1] for i in range(1, 6)]
    assert heights == pytest.approx([50 / 3, 80 / 3, 30, 80 / 3, 50 / 3])


def test_bedstead_stands_on_its_legs():
    geometry = make("bedstead")
    assert geometry.kinds["L0U0"] == "end-post"
    assert geometry.joints["U0"] == (0.0, 10)
    assert geometry.kinds["L1U0"] == geometry.kinds["L3U2"] == "diagonal"


def test_lenticular_chords_meet_over_the_bearings():
    geometry = make("lenticular")
    assert geometry.joints["L3"] == (45.0, -10.0)
    assert geometry.joints["U3"] == (45.0, 10.0)
    assert geometry.joints["U1"][1] == pytest.approx(20.0 * 5 / 18)
    assert geometry.kinds["L0U1"] == "upper-chord"


def test_joints_of_subdivided_panels_lie_on_the_diagonals():
    geometry = make("pennsylvania")
    assert geometry.joints["M1"] == (15.0, 12.0)
    assert geometry.joints["M3"] == (45.0, 12.0)
    assert geometry.kinds["L2M3"] == "sub-strut"
    tied = make("pennsylvania", sub_members="ties")
    assert tied.kinds["M3U4"] == "sub-tie"
    assert "L2M3" not in tied.kinds


def test_panels_may_differ_in_length():
    geometry = make("pratt", panels=4, panel_length_ft=[10, 15, 15, 10])
    assert [geometry.joints[f"L{i}"][0] for i in range(5)] == [0, 10, 25, 40, 50]
    assert geometry.joints["U2"] == (25.0, 20)


def test_floor_beams_of_a_deck_truss_bear_on_the_upper_joints():
    geometry = make("warren", deck_position="deck")
    assert geometry.loaded_joints == ("L0", "U1", "U2", "U3", "U4", "L4")


@pytest.mark.parametrize("text", ["U2-L3", "u2l3", "L3U2", "l3-u2", " U2 L3 "])
def test_a_member_is_known_by_either_order_hyphen_or_case(text):
    assert forms.canonical_name(text, make("pratt")) == "L3U2"


@pytest.mark.parametrize("text", ["U2L5", "", "L3", "U2--L3"])
def test_a_member_that_is_not_there_is_not_known(text):
    with pytest.raises(UnknownMember):
        forms.canonical_name(text, make("pratt"))


def test_a_spelling_two_members_could_claim_is_refused():
    joints = {"A": (0.0, 0.0), "AB": (5.0, 5.0), "B": (10.0, 0.0), "BA": (9.0, 5.0)}
    geometry = forms.Geometry(
        joints, (("A", "BA"), ("AB", "A"), ("B", "AB")), {}, "A", "B", ("A", "B")
    )
    assert forms.canonical_name("ABA", geometry) == "ABA"
    assert forms.canonical_name("BA-A", geometry) == "ABA"


def test_member_name():
    assert forms.member_name("U3", "L2") == "L2U3"
    assert forms.member_name("L10", "L9") == "L9L10"
    assert forms.member_name("U2", "M1") == "M1U2"


@pytest.mark.parametrize(
    ("form", "changes", "field"),
    [
        ("pratt", {"panels": 1}, "panels"),
        ("pratt", {"panels": 61}, "panels"),
        ("pratt", {"depth_ft": None}, "depth_ft"),
        ("pratt", {"hip_offset_ft": 3}, "hip_offset_ft"),
        ("pratt", {"upper_heights_ft": [20] * 5}, "upper_heights_ft"),
        ("pratt", {"panel_length_ft": [15] * 5}, "panel_length_ft"),
        ("pratt", {"crossed_panels": [7]}, "crossed_panels[0]"),
        ("pratt", {"crossed_panels": [3, 1]}, "crossed_panels[1]"),
        ("warren", {"crossed_panels": [2]}, "crossed_panels[0]"),
        ("baltimore", {"crossed_panels": [5]}, "crossed_panels[0]"),
        ("half-hip-pratt", {"hip_offset_ft": None}, "hip_offset_ft"),
        ("half-hip-pratt", {"hip_offset_ft": 15}, "hip_offset_ft"),
        ("half-hip-pratt", {"crossed_panels": [1]}, "crossed_panels[0]"),
        ("parker", {"upper_heights_ft": [16, 20]}, "upper_heights_ft"),
        ("parker", {"depth_ft": 20}, "depth_ft"),
        ("warren-with-verticals", {"panels": 5}, "panels"),
        ("double-intersection-pratt", {"panels": 5}, "panels"),
        ("baltimore", {"panels": 9}, "panels"),
        ("king-post", {"panels": 3}, "panels"),
        ("fink", {"panels": 6}, "panels"),
        ("kellogg", {"panels": 10}, "panels"),
        ("k-truss", {"upper_heights_ft": [30] * 8}, "upper_heights_ft"),
        ("queen-post", {"panels": 4}, "panels"),
    ],
)
def test_what_cannot_be_built_names_the_measurement_at_fault(form, changes, field):
    with pytest.raises(FormError, match="expected") as caught:
        make(form, **changes)
    assert caught.value.field == field


def test_an_unknown_form_lists_the_known():
    with pytest.raises(FormError, match="pratt, half-hip-pratt"):
        forms.build("arch", 4, 10.0, 10.0)


def test_adding_a_form_is_one_function(monkeypatch):
    monkeypatch.setattr(registry, "FORMS", dict(forms.FORMS))
    monkeypatch.setattr(forms, "FORMS", registry.FORMS)

    @forms.form("beam", "Plain triangle", panels=(2, 2))
    def beam(plan):
        """Two bars over a tie."""
        draft = forms.lower_chord(plan)
        draft.joint("U1", plan.x[1], plan.depth_ft)
        for end in ("L0", "L1", "L2"):
            draft.bar(end, "U1", "diagonal")
        return draft

    assert forms.FORMS["beam"].description == "Two bars over a tie."
    assert len(forms.build("beam", 2, 10.0, 5.0).members) == 5
    assert forms.FORMS["beam"].typical().members
