"""Answers: the contract's words, ratings against a pencil, and what they warn of."""

import json
import math

import pytest

from analysis.engine import ENGINE_VERSION, checkfile
from analysis.engine.answer import answer, answer_many
from analysis.engine.errors import CheckFileError
from analysis.engine.liveload import loaded_lengths
from analysis.engine.sentences import CAUTION

from .checkfiles import ALL, GONE, OUTRIGHT, PONY, THROUGH, changed
from .test_checkfile import SAME

R = {"form": "pratt", "panels": 6, "panel_length_ft": 15, "depth_ft": 20}
SIZED = {
    "geometry": R,
    "material": {"kind": "steel", "year": 1920},
    "members": [
        {
            "kinds": ["upper-chord", "end-post", "vertical", "hip-vertical"],
            "section": {
                "area_in2": 6.0,
                "r_in_plane_in": 2.5,
                "r_out_of_plane_in": 2.5,
            },
        },
        {
            "kinds": ["lower-chord", "diagonal"],
            "section": {"area_in2": 3.0},
            "tension_only": True,
        },
    ],
    "dead_load": {"uniform_plf": 400},
    "live_load": {"axles": [{"kip": 10, "behind_front_ft": 0}]},
}
# What stands in for counters: the diagonals may be pushed.
STIFF = changed(SIZED, ("members", 1, "tension_only"), False)


def warns(found, words):
    return any(words in text for text in found["warnings"])


# --- the contract's words --------------------------------------------------------------

MEMBER_KEYS = {
    "kind",
    "length_ft",
    "dead_kip",
    "live_max_kip",
    "live_min_kip",
    "tension_only",
    "area_in2",
    "net_area_in2",
    "slenderness",
    "resistance",
    "rating",
}
ANSWER_KEYS = {
    "engine",
    "input_sha256",
    "stands",
    "unstable_joints",
    "members",
    "reactions",
    "dead_load",
    "governing",
    "unstable_at",
    "chord",
    "floor",
    "pins",
    "assumptions",
    "warnings",
    "sources",
}


@pytest.mark.parametrize("name", ALL)
def test_an_answer_has_the_contracts_keys_and_is_json(name):
    found = answer(ALL[name])
    assert set(found) == ANSWER_KEYS
    assert found["engine"] == ENGINE_VERSION
    assert found["input_sha256"] == checkfile.input_sha256(ALL[name])
    for member in found["members"].values():
        assert set(member) == MEMBER_KEYS
        for level in ("operating", "inventory"):
            assert set(member["resistance"][level]) == {
                "tension_kip",
                "compression_kip",
            }
    assert json.loads(json.dumps(found, allow_nan=False)) == found


@pytest.mark.parametrize("name", ALL)
def test_every_answer_says_that_it_is_a_screening_estimate(name):
    found = answer(ALL[name])
    assert found["warnings"][0] == CAUTION
    assert "screening estimate" in CAUTION
    assert "not a load rating" in CAUTION
    assert "not for posting" in CAUTION


@pytest.mark.parametrize("name", ALL)
def test_assumptions_warnings_and_sources_are_sentences(name):
    found = answer(ALL[name])
    for key in ("assumptions", "warnings", "sources"):
        assert found[key]
        for text in found[key]:
            assert text[0] == text[0].upper()
            assert text.endswith(".")
            assert "  " not in text
            for word in (" safe", " OK", " pass", " fail"):
                assert f"{word} " not in text.replace("safe stress", "")
    assert len(set(found["sources"])) == len(found["sources"])


@pytest.mark.parametrize("how", SAME)
def test_the_same_question_has_the_same_answer_however_written(how):
    assert answer(SAME[how]) == answer(THROUGH)


def test_a_batch_answers_as_each_file_alone():
    documents = [
        THROUGH,
        SIZED,
        changed(THROUGH, ("dead_load", "uniform_plf"), 500),
        changed(THROUGH, ("members", 0, "section", "area_in2"), 4.0),
        PONY,
        changed(THROUGH, ("members", 3), {"names": ["L2U3"], "absent": True}),
        OUTRIGHT,
        changed(THROUGH, ("live_load", "vehicle"), "HS20"),
        changed(PONY, ("dead_load", "floor", "share"), 0.6),
        changed(THROUGH, ("method",), "load-factor"),
    ]
    together = answer_many(documents)
    for found, document in zip(together, documents, strict=True):
        alone = answer(document)
        assert found["input_sha256"] == alone["input_sha256"]
        assert json.dumps(found) == json.dumps(alone)


def test_a_batch_with_a_wrong_file_is_refused():
    with pytest.raises(CheckFileError):
        answer_many([THROUGH, {}])


def test_no_files_no_answers():
    assert answer_many([]) == []


# --- ratings ---------------------------------------------------------------------------


@pytest.mark.parametrize("method", ["allowable-stress", "load-factor"])
def test_without_slack_a_rating_is_capacity_less_dead_over_live(method):
    """Manual for Bridge Evaluation 6B.4: (C - A1 D)/(A2 L(1 + I)), from memory."""
    found = answer(STIFF | {"method": method})
    factors = {
        "allowable-stress": (1.0, {"operating": 1.0, "inventory": 1.0}),
        "load-factor": (1.3, {"operating": 1.3, "inventory": 2.17}),
    }[method]
    rated = 0
    for name, member in found["members"].items():
        dead = factors[0] * member["dead_kip"]
        for level, factor in factors[1].items():
            limits = member["resistance"][level]
            ways = []
            if member["live_max_kip"]:
                room = limits["tension_kip"] - dead
                ways.append(room / (factor * member["live_max_kip"]))
            if member["live_min_kip"] and limits["compression_kip"] is not None:
                room = limits["compression_kip"] + dead
                ways.append(room / (factor * -member["live_min_kip"]))
            if member["rating"][level] is None:
                # Pushed by the axle without radii: the diagonals of this truss.
                assert limits["compression_kip"] is None or not ways
            else:
                assert member["rating"][level] == pytest.approx(min(ways)), name
                rated += 1
    assert rated > 20


def test_the_governing_rating_is_the_least_and_names_its_member():
    found = answer(THROUGH)
    for level in ("operating", "inventory"):
        ratings = {
            name: member["rating"][level]
            for name, member in found["members"].items()
            if member["rating"][level] is not None
        }
        governing = found["governing"][level]
        assert governing["rating"] == min(ratings.values())
        assert ratings[governing["member"]] == governing["rating"]
        assert governing["mode"] == "tension"
        assert governing["limit_tons"] == pytest.approx(15 * governing["rating"])


def test_a_pushed_member_governs_in_compression():
    slender = changed(STIFF, ("members", 0, "section", "r_in_plane_in"), 0.8)
    governing = answer(slender)["governing"]["operating"]
    assert governing["mode"] == "compression"
    assert governing["member"] in ("L0U1", "L6U5")


def test_dead_load_beyond_a_members_limit_rates_it_nought_and_says_so():
    heavy = changed(STIFF, ("dead_load", "uniform_plf"), 4000)
    found = answer(heavy)
    assert found["members"]["L2L3"]["rating"]["operating"] == 0.0
    assert found["governing"]["operating"]["rating"] == 0.0
    assert found["governing"]["operating"]["limit_tons"] == 0.0
    assert warns(found, "Dead load alone takes")
    assert warns(found, "Tell the owner")


def test_dead_load_beyond_a_limit_rates_nought_where_no_vehicle_reaches_the_bar():
    """A load on U3 alone pushes the post L3U3, which the deck never loads."""
    found = answer(changed(STIFF, ("dead_load", "joints_kip"), {"U3": 200}))
    post = found["members"]["L3U3"]
    assert (post["live_max_kip"], post["live_min_kip"]) == (0.0, 0.0)
    assert -post["dead_kip"] > post["resistance"]["operating"]["compression_kip"]
    assert post["rating"] == {"operating": 0.0, "inventory": 0.0}


def test_a_limit_under_the_whole_vehicle_says_tell_the_owner():
    found = answer(changed(STIFF, ("live_load", "axles", 0, "kip"), 100))
    assert found["governing"]["operating"]["rating"] < 1.0
    assert warns(found, "tell the owner")


def test_compression_without_radii_is_not_rated_and_says_so():
    bare = changed(STIFF, ("members", 0, "section"), {"area_in2": 6})
    found = answer(bare)
    chord = found["members"]["U1U2"]
    assert chord["rating"] == {"operating": None, "inventory": None}
    assert chord["resistance"]["operating"]["tension_kip"] is not None
    assert chord["slenderness"] is None
    assert warns(found, "without its radii of gyration")


def test_members_nothing_is_said_of_are_answered_with_force_only():
    found = answer({"geometry": R, "dead_load": {"uniform_plf": 400}})
    member = found["members"]["L2L3"]
    assert member["dead_kip"] == pytest.approx(18.0)
    assert member["area_in2"] is None
    assert member["rating"] == {"operating": None, "inventory": None}
    assert warns(found, "No size is recorded for")


def test_sizes_without_a_material_are_not_rated():
    found = answer({k: v for k, v in STIFF.items() if k != "material"})
    assert found["members"]["L2L3"]["rating"]["operating"] is None
    assert found["members"]["L2L3"]["area_in2"] == 3.0
    assert warns(found, "No material is recorded for")


def test_slender_members_in_compression_are_named():
    slender = changed(STIFF, ("members", 0, "section", "r_out_of_plane_in"), 1.2)
    found = answer(slender)
    assert found["members"]["L0U1"]["slenderness"] > 120
    assert warns(found, "KL/r is above 120")


# --- live load -------------------------------------------------------------------------


def live_of(live_load, name, document=STIFF):
    member = answer(document | {"live_load": live_load})["members"][name]
    return member["live_max_kip"], member["live_min_kip"]


def test_fraction_and_impact_multiply_the_vehicle():
    plain = live_of({"vehicle": "H15"}, "L2U1")
    both = live_of({"vehicle": "H15", "fraction": 0.6, "impact": 0.3}, "L2U1")
    assert both == pytest.approx([0.78 * kip for kip in plain])


def test_a_uniform_load_is_on_this_truss_line_whatever_the_fraction():
    plain = live_of({"uniform_plf": 500}, "L2U1")
    share = live_of({"uniform_plf": 500, "fraction": 0.6}, "L2U1")
    assert share == pytest.approx(plain)
    struck = live_of({"uniform_plf": 500, "fraction": 0.6, "impact": 0.2}, "L2U1")
    assert struck == pytest.approx([1.2 * kip for kip in plain])


def test_several_loads_are_the_worse_of_each_member_by_member():
    truck, lane = {"vehicle": "H15"}, {"lane": "H15"}
    for name in ("L0L1", "L2U1", "L1U1", "U2U3", "L3U2"):
        one, other = live_of(truck, name), live_of(lane, name)
        most = max(one[0], other[0]), min(one[1], other[1])
        assert live_of(truck | lane, name) == pytest.approx(most)


def test_lane_puts_its_lesser_load_on_chords_and_its_greater_on_webs():
    """As published: H15 13.5 kip with chord members, 19.5 with web members."""
    assert live_of({"lane": "H15"}, "L2L3")[0] == pytest.approx(0.48 * 45 + 13.5)
    # L2U1: longest loaded length 15 x (0.8 + 4) = 72 ft, ordinates to 0.8333.
    area = 0.8333333 * 72 / 2
    assert live_of({"lane": "H15"}, "L2U1")[0] == pytest.approx(
        0.48 * area + 19.5 * 0.8333333
    )


def test_impact_follows_each_members_loaded_length_of_either_sign():
    """L2U1 is pulled over 72 ft and pushed over 18: 50/197 and 0.30."""
    plain = live_of({"vehicle": "H15"}, "L2U1")
    struck = live_of({"vehicle": "H15", "impact": "aashto"}, "L2U1")
    assert struck[0] / plain[0] == pytest.approx(1 + 50 / 197)
    assert struck[1] / plain[1] == pytest.approx(1.30)
    whole = live_of({"vehicle": "H15", "impact": "aashto"}, "L2L3")
    assert whole[0] / live_of({"vehicle": "H15"}, "L2L3")[0] == pytest.approx(
        1 + 50 / 215
    )


def test_ratings_use_the_impact_of_the_way_the_force_goes():
    live = {"vehicle": "H15", "impact": "aashto"}
    slender = changed(STIFF, ("members", 1), {**STIFF["members"][0]})
    slender["members"][1]["kinds"] = ["lower-chord", "diagonal"]
    found = answer(slender | {"live_load": live})
    member = found["members"]["L3U2"]
    limits = member["resistance"]["operating"]
    ways = (
        (limits["tension_kip"] - member["dead_kip"]) / member["live_max_kip"],
        (limits["compression_kip"] + member["dead_kip"]) / -member["live_min_kip"],
    )
    assert member["rating"]["operating"] == pytest.approx(min(ways))


@pytest.mark.parametrize("model", ["elastic", "classical"])
def test_impact_by_formula_is_answered_where_no_rod_changes_between_joints(model):
    """Of few places in between there may be none at which the truss is about to fall."""
    geometry = THROUGH["geometry"] | {"panels": 7, "crossed_panels": [2, 3]}
    document = changed(THROUGH, ["geometry"], geometry)
    members = [group for group in document["members"] if "names" not in group]
    rod = {
        "kinds": ["counter"],
        "components": [{"shape": "round-rod", "diameter_in": 1}],
    }
    hanger = {"names": ["L1U1"], "components": [rod["components"][0]]}
    document = changed(document, ["members"], [*members, rod, hanger])
    document = changed(document, ["tension_only_model"], model)
    live = {"vehicle": "type-3S2", "fraction": 0.6, "impact": "aashto"}
    found = answer(changed(document, ["live_load"], live))
    assert found["stands"]
    assert found["members"]["L1U1"]["live_max_kip"] > 0.0


def test_loaded_lengths_of_a_counter_are_its_own():
    from analysis.engine.answer import truss_of

    document = {
        "geometry": R | {"crossed_panels": [3, 4]},
        "members": [
            {
                "kinds": ["diagonal", "counter"],
                "section": {"area_in2": 1},
                "tension_only": True,
            }
        ],
    }
    truss = truss_of(checkfile.read(document))
    pulling, _ = loaded_lengths(truss)
    lengths = dict(zip(truss.names, pulling, strict=True))
    # Panel 3: shear changes sign 15 x 2/5 into the panel: 54 ft beyond, 36 before.
    assert lengths["L3U2"] == pytest.approx(54.0)
    assert lengths["L2U3"] == pytest.approx(36.0)


def test_a_file_without_live_load_is_answered_with_dead_forces():
    found = answer(changed(SIZED, ("live_load",), GONE))
    assert found["members"]["L2L3"]["dead_kip"] == pytest.approx(18.0)
    assert found["members"]["L2L3"]["live_max_kip"] == 0.0
    assert found["governing"] == {"operating": None, "inventory": None}


def test_limit_in_tons_wants_a_vehicle():
    found = answer(STIFF | {"live_load": {"uniform_plf": 500}})
    assert found["governing"]["operating"]["limit_tons"] is None
    assert found["governing"]["operating"]["rating"] > 0


def test_limit_in_tons_of_several_is_of_the_lightest_and_says_so():
    found = answer(STIFF | {"live_load": {"vehicle": "H20", "lane": "H10"}})
    governing = found["governing"]["operating"]
    assert governing["limit_tons"] == pytest.approx(10 * governing["rating"])
    assert warns(found, "lightest of the vehicles")


# --- standing --------------------------------------------------------------------------


def test_a_bar_the_truss_needs_and_is_absent_brings_it_down():
    gone = changed(STIFF, ("members", 2), {"names": ["L3U2"], "absent": True})
    found = answer(gone)
    assert found["stands"] is False
    assert found["unstable_joints"]
    assert found["governing"] == {"operating": None, "inventory": None}
    assert found["members"]["L3U2"]["absent"] is True
    assert all(m["rating"]["operating"] is None for m in found["members"].values())
    assert warns(found, "cannot stand")


def test_a_bar_the_truss_can_do_without_may_be_absent():
    crossed = changed(STIFF, ("geometry", "crossed_panels"), [3])
    gone = changed(crossed, ("members", 2), {"names": ["L2U3"], "absent": True})
    found = answer(gone)
    assert found["stands"]
    assert found["members"]["L2U3"]["dead_kip"] == 0.0
    assert found["members"]["L3U2"]["dead_kip"] == pytest.approx(3.75)
    assert warns(found, "L2U3 is not there")


def test_a_diagonal_moved_where_it_is_not_needed_leaves_a_mechanism():
    """Bars count the same, 24 equations for 24 unknowns, but the rank is 23."""
    from analysis.engine import forms

    geometry = forms.build(**R)
    bars = [list(e) for e in geometry.members if e != ("L3", "U2")] + [["L1", "U2"]]
    found = answer(
        {
            "geometry": {
                "joints": {k: list(v) for k, v in geometry.joints.items()},
                "members": bars,
                "pinned": "L0",
                "roller": "L6",
                "loaded_joints": list(geometry.loaded_joints),
            },
            "dead_load": {"uniform_plf": 400},
        }
    )
    assert found["stands"] is False
    assert {"U2", "L3"} & set(found["unstable_joints"])


def test_a_place_of_the_vehicle_no_taut_set_carries_bounds_the_rating():
    """Rods without counters, dead 6 a joint: panel-3 shear under dead load is +3. An
    axle P at L2 takes P/3 off it, so stability goes at P = 9, 0.9 of 10 kip."""
    found = answer(SIZED)
    assert found["stands"]
    assert found["unstable_at"]["load_factor"] == pytest.approx(0.9, rel=1e-3)
    assert found["unstable_at"]["front_axle_ft"] in (
        pytest.approx(30.0),
        pytest.approx(60.0),
    )
    assert found["unstable_at"]["heading"] in (1, -1)
    for level in ("operating", "inventory"):
        governing = found["governing"][level]
        assert governing["mode"] == "stability"
        assert governing["member"] is None
        assert governing["rating"] == pytest.approx(0.9, rel=1e-3)
        assert governing["limit_tons"] == pytest.approx(4.5, rel=1e-3)
    assert warns(found, "90.0% of the live load")


def test_stability_beyond_the_vehicle_still_bounds_the_rating():
    light = changed(SIZED, ("live_load", "axles", 0, "kip"), 5)
    found = answer(light)
    assert found["unstable_at"] is None
    assert found["governing"]["operating"]["mode"] == "stability"
    assert found["governing"]["operating"]["rating"] == pytest.approx(1.8, rel=1e-3)


def test_stability_of_the_load_factor_method_is_of_factored_loads():
    """1.3 D and 2.17 L: 0.9 x 1.3/2.17."""
    found = answer(SIZED | {"method": "load-factor"})
    governing = found["governing"]
    assert governing["operating"]["rating"] == pytest.approx(0.9, rel=1e-3)
    assert governing["inventory"]["rating"] == pytest.approx(0.9 * 1.3 / 2.17, rel=1e-3)


def test_two_crossed_rods_without_shear_carry_nothing_where_one_acts():
    document = changed(SIZED, ("geometry", "panels"), 5)
    document = changed(document, ("members", 1, "kinds", 1), "counter")
    found = answer(document | {"tension_only_model": "classical"})
    for name in ("L2U3", "L3U2"):
        assert found["members"][name]["dead_kip"] == 0.0


def test_the_answer_says_which_model_of_slack_it_used():
    elastic, classical = (
        answer(THROUGH),
        answer(THROUGH | {"tension_only_model": "classical"}),
    )
    assert any("(elastic)" in text for text in elastic["assumptions"])
    assert any("(classical)" in text for text in classical["assumptions"])
    assert elastic["input_sha256"] != classical["input_sha256"]


def test_a_load_that_lifts_a_bearing_is_named():
    """A cantilever beyond the roller: a load at its end lifts the pinned end."""
    found = answer(
        {
            "geometry": {
                "joints": {
                    "A": [0, 0],
                    "B": [10, 0],
                    "C": [20, 0],
                    "D": [5, 8],
                    "E": [15, 8],
                },
                "members": [
                    ["A", "B"],
                    ["B", "C"],
                    ["A", "D"],
                    ["B", "D"],
                    ["B", "E"],
                    ["C", "E"],
                    ["D", "E"],
                ],
                "pinned": "A",
                "roller": "B",
                "loaded_joints": ["A", "B", "C"],
            },
            "live_load": {"axles": [{"kip": 5, "behind_front_ft": 0}]},
        }
    )
    assert found["reactions"]["A"]["live_min_kip"] == pytest.approx(-5.0)
    assert warns(found, "can lift A")


# --- ponies, pieces and lengths --------------------------------------------------------


def test_a_pony_without_its_frames_warns_of_its_chord():
    without = changed(PONY, ("chord",), GONE)
    assert warns(answer(without), "held sideways by its posts alone")
    assert not warns(answer(PONY), "held sideways by its posts alone")


def test_chord_buckling_can_govern():
    """Legs so soft that the chord goes before any bar: the factor, less 1.7 of it."""
    soft = changed(PONY, ("chord",), {"frame_stiffness_kip_per_in": 0.002})
    soft = changed(soft, ("members", 0, "unbraced_in_plane_ft"), 1)
    found = answer(soft)
    factor = found["chord"]["buckling_factor"]
    governing = found["governing"]["operating"]
    assert math.isfinite(factor)
    assert governing["mode"] in ("chord-buckling", "compression")
    assert governing["member"].startswith("U")
    assert found["members"]["U1U2"]["rating"]["operating"] >= governing["rating"]


def test_a_warren_pony_has_no_posts_for_its_frames_and_says_so():
    document = {
        "geometry": {
            "form": "warren",
            "panels": 4,
            "panel_length_ft": 12,
            "depth_ft": 7,
        },
        "deck_position": "pony",
        "material": {"kind": "steel", "year": 1910},
        "members": [
            {
                "kinds": ["upper-chord"],
                "section": {
                    "area_in2": 6,
                    "r_in_plane_in": 2,
                    "r_out_of_plane_in": 2,
                },
            }
        ],
        "dead_load": {"uniform_plf": 300},
        "live_load": {"vehicle": "H10"},
        "chord": {
            "frames": {
                "post_i_in4": 10,
                "floor_beam_i_in4": 200,
                "floor_beam_ft": 14,
            }
        },
    }
    assert warns(answer(document), "No stiff post stands under U2 and U3")


def test_added_pieces_are_named_in_the_assumptions():
    added = {
        "shape": "flat-bar",
        "width_in": 3,
        "thickness_in": 0.5,
        "carries": "live",
    }
    document = changed(THROUGH, ("members", 1, "components", 1), added)
    found = answer(document)
    assert any("take no dead load" in text for text in found["assumptions"])
    assert found["members"]["L0L1"]["area_in2"] == pytest.approx(7.625)


def test_pieces_added_never_lower_what_the_others_carry():
    """A tie of 3 sq in at 37.5 ksi, dead 20 and live 30 kip: (112.5 - 20)/30. A 1 in rod
    as strong takes its part of the live load: 92.5 x 3.785/3. One of wrought iron would
    be at its 20 ksi when both take 15.71 x 108.6/21.6 = 79 kip, less than 92.5: it is
    left out.
    """
    eyebar = {"shape": "eyebar", "width_in": 4, "thickness_in": 0.75}
    rod = {"shape": "round-rod", "diameter_in": 1.0, "ends": "upset", "carries": "live"}
    document = {
        "geometry": {
            "form": "king-post",
            "panels": 2,
            "panel_length_ft": 15,
            "depth_ft": 15,
        },
        "material": {"fy_ksi": 50, "fu_ksi": 70, "e_ksi": 29_000},
        "dead_load": {"joints_kip": {"L1": 40}},
        "live_load": {"axles": [{"kip": 60, "behind_front_ft": 0}]},
    }

    def answered(*pieces):
        members = [{"names": ["L0L1"], "components": [eyebar, *pieces]}]
        return answer(document | {"members": members})

    def rating(*pieces):
        return answered(*pieces)["members"]["L0L1"]["rating"]["operating"]

    assert rating() == pytest.approx(92.5 / 30)
    area = 3 + math.pi / 4
    assert rating(rod) == pytest.approx(92.5 / 30 * area / 3)
    weak = rod | {"material": {"kind": "wrought-iron"}}
    assert rating(weak) == pytest.approx(92.5 / 30)
    # Neither when it took its part of the dead load, nor when the strong rod was there.
    assert rating(weak | {"carries": "all"}) == pytest.approx(92.5 / 30)
    for pieces in ([rod, weak], [weak, rod], [rod, weak, weak | {"carries": "all"}]):
        assert rating(*pieces) == pytest.approx(92.5 / 30 * area / 3)
    said = [one for one in answered(weak)["assumptions"] if "is counted" in one]
    assert len(said) == 1
    assert said[0].startswith("Not every piece of L0L1 is counted")
    assert not [one for one in answered(rod)["assumptions"] if "is counted" in one]


def test_unrecorded_rod_ends_are_taken_as_the_weaker():
    document = changed(THROUGH, ("members", 2, "components", 0, "ends"), GONE)
    rod = answer(document)["members"]["L2U3"]
    assert rod["area_in2"] == pytest.approx(0.994, abs=5e-4)
    assert rod["net_area_in2"] == pytest.approx(0.693, abs=5e-4)


def test_equal_ratings_are_told_alike_alone_and_in_a_batch():
    """Both halves of a symmetric truss govern: the first in order of bars is named."""
    several = [
        changed(THROUGH, ["dead_load", "uniform_plf"], 200 + 10 * k) for k in range(40)
    ]
    together = answer_many(several)
    for alone, one in zip(map(answer, several), together, strict=True):
        for level, governing in one["governing"].items():
            assert governing["member"] == alone["governing"][level]["member"]
            if governing["member"] is None:
                continue
            least = min(
                member["rating"][level]
                for member in one["members"].values()
                if member["rating"][level] is not None
            )
            first = next(
                name
                for name, member in one["members"].items()
                if member["rating"][level] is not None
                and member["rating"][level] <= least * (1 + 1e-9)
            )
            assert governing["member"] == first


def test_a_frame_lost_is_worse_than_one_loosened_and_is_that_chord_worked_anew():
    """Each joint's spring halved or gone: the same as a file that says so."""
    chord = answer(PONY)["chord"]
    assert set(chord["weakened"]) == {"U1", "U2", "U3"}
    for joint, weakened in chord["weakened"].items():
        assert weakened["gone"] <= weakened["loosened"] <= chord["buckling_factor"]
        path = ["chord", "frame_stiffness_kip_per_in", joint]
        given = PONY["chord"]["frame_stiffness_kip_per_in"][joint]
        for name, left in (("gone", 1e-9), ("loosened", 0.5)):
            anew = answer(changed(PONY, path, left * given))["chord"]
            assert weakened[name] == pytest.approx(anew["buckling_factor"], rel=1e-6)
