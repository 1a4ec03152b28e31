"""What must hold of whole answers, from sizes and metals to ratings."""

from hypothesis import assume, given
from hypothesis import strategies as st

from analysis.engine.answer import answer

AGREE = 1 + 1e-8
LEVELS = ("operating", "inventory")
METALS = [
    {"kind": "wrought-iron"},
    {"kind": "steel", "year": 1900},
    {"kind": "steel", "year": 1950},
    {"fy_ksi": 50, "fu_ksi": 70},
]
CARRIES = ("all", "live", "none")
thick = st.sampled_from([0.25, 0.3125, 0.5, 0.75, 1.0])


@st.composite
def pieces(draw):
    shape = draw(
        st.sampled_from(
            ["flat-bar", "eyebar", "plate", "round-rod", "angle", "channel"]
        )
    )
    piece = {"shape": shape, "count": draw(st.integers(1, 4))}
    if shape == "round-rod":
        ends = draw(st.sampled_from(["upset", "plain-thread", "loop"]))
        return piece | {"diameter_in": draw(st.floats(0.5, 2.5)), "ends": ends}
    if shape == "angle":
        legs = {"leg_in": draw(st.floats(2, 6)), "other_leg_in": draw(st.floats(2, 6))}
        return piece | legs | {"thickness_in": draw(thick)}
    if shape == "channel":
        size = draw(st.sampled_from([(8, 11.5), (10, 15.3), (5, 9), (12, 30)]))
        return piece | {"depth_in": size[0], "weight_plf": size[1]}
    return piece | {"width_in": draw(st.floats(1, 8)), "thickness_in": draw(thick)}


@st.composite
def checks(draw):
    """A plain Warren without its own weight, so that forces stay as they are."""
    tie = [draw(pieces()) for _ in range(draw(st.integers(1, 3)))]
    strut = [draw(pieces()) for _ in range(draw(st.integers(1, 3)))]
    ties = {"kinds": ["lower-chord"], "components": tie, "tension_only": False}
    struts = ["upper-chord", "end-post", "diagonal"]
    return {
        "geometry": {
            "form": "warren",
            "panels": draw(st.integers(2, 5)),
            "panel_length_ft": draw(st.floats(8, 20)),
            "depth_ft": draw(st.floats(6, 20)),
        },
        "connection": draw(st.sampled_from(["pin", "riveted"])),
        "material": draw(st.sampled_from(METALS)),
        "members": [
            ties,
            {"kinds": struts, "components": strut, "tension_only": False},
        ],
        "dead_load": {"uniform_plf": draw(st.floats(0, 600))},
        "live_load": {
            "vehicle": draw(st.sampled_from(["H15", "HS20", "type-3"])),
            "fraction": draw(st.floats(0.3, 1.0)),
            "impact": draw(st.sampled_from([0.0, "aashto"])),
        },
        "method": draw(st.sampled_from(["allowable-stress", "load-factor"])),
    }


@st.composite
def additions(draw):
    """One piece after the other, of any metal, with or without the dead load."""
    metal = draw(st.sampled_from([None, *METALS]))
    own = {"material": metal} if metal else {}
    return draw(pieces()) | own | {"carries": draw(st.sampled_from(CARRIES))}


@given(checks(), st.sampled_from([0, 1]), st.lists(additions(), min_size=1, max_size=4))
def test_metal_added_never_lowers_the_rating_of_its_member(check, group, added):
    """However weak, slender or badly threaded it is, and whatever was added before."""
    before = answer(check)["members"]
    for k in range(len(added)):
        groups = list(check["members"])
        together = [*groups[group]["components"], *added[: k + 1]]
        groups[group] = groups[group] | {"components": together}
        after = answer(check | {"members": groups})["members"]
        for name, member in before.items():
            now = after[name]
            assert now["dead_kip"] == member["dead_kip"]
            for level in LEVELS:
                one, two = member["rating"][level], now["rating"][level]
                assert one is None or two * AGREE >= one, (name, k)
                for way in ("tension_kip", "compression_kip"):
                    one, two = (m["resistance"][level][way] for m in (member, now))
                    assert one is None or two * AGREE >= one, (name, k, way)
        before = after


@given(checks(), st.floats(10, 2000))
def test_more_dead_load_never_raises_a_rating_of_chords_and_end_posts(check, more_plf):
    """Those that dead load and vehicles strain alike."""
    heavier = {"uniform_plf": check["dead_load"]["uniform_plf"] + more_plf}
    before, after = answer(check), answer(check | {"dead_load": heavier})
    seen = 0
    for name, member in before["members"].items():
        if member["kind"] == "diagonal":
            continue
        for level in LEVELS:
            one = member["rating"][level]
            two = after["members"][name]["rating"][level]
            if one is not None:
                seen += 1
                assert two <= one * AGREE, name
    assume(seen)
    for level in LEVELS:
        most = after["governing"][level]["rating"]
        assert most <= before["governing"][level]["rating"] * AGREE or any(
            before["members"][name]["kind"] == "diagonal"
            for name in [before["governing"][level]["member"]]
        )
