"""Sampled configurations against whole check files, and shares against a closed form."""

from copy import deepcopy
from dataclasses import replace

import numpy as np
import pytest

from analysis.engine import checkfile, sampling
from analysis.engine.answer import answer_many
from analysis.engine.materials import Material

DOCUMENT = {
    "geometry": {"form": "pratt", "panels": 7, "panel_length_ft": 16, "depth_ft": 20},
    "connection": "pin",
    "material": {"fy_ksi": 30, "fu_ksi": 60, "e_ksi": 29000},
    "members": [
        {
            "kinds": ["upper-chord", "end-post"],
            "components": [
                {"shape": "channel", "count": 2, "depth_in": 8, "weight_plf": 11.5}
            ],
            "built_up": {
                "webs_apart_in": 7,
                "cover_plate": {"width_in": 12, "thickness_in": 0.25},
            },
        },
        {
            "kinds": ["vertical"],
            "components": [
                {"shape": "channel", "count": 2, "depth_in": 6, "weight_plf": 8.2}
            ],
            "built_up": {"webs_apart_in": 6},
        },
        {
            "kinds": ["lower-chord", "hip-vertical", "diagonal"],
            "components": [
                {"shape": "eyebar", "count": 2, "width_in": 3, "thickness_in": 0.75}
            ],
        },
        {
            "kinds": ["counter"],
            "components": [
                {"shape": "round-rod", "diameter_in": 1.125, "ends": "upset"}
            ],
        },
    ],
    "dead_load": {"uniform_plf": 300, "self_weight": {"details_factor": 1.2}},
    "live_load": {"vehicle": "H15", "fraction": 0.6, "impact": "aashto"},
}
METAL = Material(fy_ksi=30.0, fu_ksi=60.0, e_ksi=29000.0)


def named(check, *kinds):
    return tuple(member.name for member in check.members if member.kind in kinds)


def every_kind(check):
    chord, eyebars = (
        named(check, "upper-chord", "end-post"),
        named(check, "lower-chord"),
    )
    rods = named(check, "counter")
    return [
        sampling.Size("cover", chord, 0, "cover_thickness_in", 0.2, 0.3),
        sampling.Size("apart", chord, 0, "webs_apart_in", 6.5, 7.5),
        sampling.Size("width", eyebars, 0, "width_in", 2.7, 3.3),
        sampling.Size("thick", eyebars, 0, "thickness_in", 0.68, 0.82),
        sampling.Choice("ends", rods, 0, "ends", ("plain-thread", "upset")),
        sampling.Strength("metal", METAL, 0.9, 1.3),
        sampling.Stretch("panel", "x", 0.97, 1.03),
        sampling.Stretch("depth", "y", 0.97, 1.03),
        sampling.Dead("deck", lambda dead, v: replace(dead, uniform_plf=v), 200, 400),
        sampling.Live("lane", lambda live, v: replace(live, fraction=v), 0.5, 0.7),
    ]


def drawn(unknowns, row):
    return [
        u.choices[int(u.number(np.array(place)))]
        if isinstance(u, sampling.Choice)
        else u.low + (u.high - u.low) * place
        for u, place in zip(unknowns, row, strict=True)
    ]


def whole_file(document, values):
    """Write out one sampled configuration as a check file of its own."""
    cover, apart, width, thick, ends, metal, panel, depth, deck, lane = values
    made = deepcopy(document)
    chord, _, bars, rod = made["members"]
    chord["built_up"]["cover_plate"]["thickness_in"] = cover
    chord["built_up"]["webs_apart_in"] = apart
    lower = deepcopy(bars) | {"kinds": ["lower-chord"]}
    lower["components"][0] |= {"width_in": width, "thickness_in": thick}
    rod["components"][0]["ends"] = ends
    made["members"].append(lower)
    made["material"] = {"fy_ksi": 30 * metal, "fu_ksi": 60 * metal, "e_ksi": 29000}
    made["geometry"] |= {"panel_length_ft": 16 * panel, "depth_ft": 20 * depth}
    made["dead_load"]["uniform_plf"] = deck
    made["live_load"]["fraction"] = lane
    return made


@pytest.mark.parametrize("crossed", [[], [2, 3, 5, 6]])
def test_samples_are_the_engines_own_answers(crossed):
    """To 1 %: what is left out is how two sizes of one member act on each other."""
    document = deepcopy(DOCUMENT)
    document["geometry"]["crossed_panels"] = crossed
    check = checkfile.read(document)
    unknowns = every_kind(check)
    sampled = sampling.sample(check, unknowns, 256)
    rows = range(0, 256, 9)
    answers = answer_many(
        [whole_file(document, drawn(unknowns, sampled.place[row])) for row in rows]
    )
    expected = [one["governing"]["operating"]["limit_tons"] for one in answers]
    assert sampled.limit_tons[list(rows)] == pytest.approx(expected, rel=0.01)


def test_nothing_unknown_gives_the_answer_itself():
    check = checkfile.read(DOCUMENT)
    (answer,) = answer_many([DOCUMENT])
    sampled = sampling.sample(check, [], 4)
    limit = answer["governing"]["operating"]["limit_tons"]
    assert sampled.limit_tons == pytest.approx([limit] * 4, rel=1e-9)


ROD = {"shape": "round-rod", "diameter_in": 1.0, "ends": "upset", "carries": "live"}
WEAK = ROD | {"material": {"kind": "wrought-iron"}}
STRONG = ROD | {"material": {"fy_ksi": 60, "fu_ksi": 75}}


@pytest.mark.parametrize(
    "added",
    [[WEAK], [STRONG], [WEAK | {"carries": "all"}], [WEAK, STRONG], [STRONG] * 2],
    ids=["weak", "strong", "weak, carrying all", "weak and strong", "two strong"],
)
def test_pieces_added_count_where_they_help(added):
    """A weak one is left out as in a whole check."""
    eyebar = {"shape": "eyebar", "width_in": 4, "thickness_in": 0.75}
    pieces = [eyebar, *added]
    document = {
        "geometry": {
            "form": "king-post",
            "panels": 2,
            "panel_length_ft": 15,
            "depth_ft": 15,
        },
        "material": {"fy_ksi": 50, "fu_ksi": 70, "e_ksi": 29_000},
        "members": [{"names": ["L0L1"], "components": pieces}],
        "dead_load": {"uniform_plf": 400},
        "live_load": {"axles": [{"kip": 60, "behind_front_ft": 0}]},
    }
    check = checkfile.read(document)
    deck = sampling.Dead("deck", lambda dead, v: replace(dead, uniform_plf=v), 200, 600)
    sampled = sampling.sample(check, [deck], 64)
    made = [deepcopy(document) for _ in range(8)]
    for one, place in zip(made, sampled.place[:8, 0], strict=True):
        one["dead_load"]["uniform_plf"] = 200 + 400 * place
    expected = [
        one["governing"]["operating"]["limit_tons"] for one in answer_many(made)
    ]
    assert sampled.limit_tons[:8] == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize("name", ["floor", "pins"])
def test_what_is_held_still_limits(monkeypatch, name):
    """Beams under the deck and pins are no unknowns; they may set the limit still."""
    check = checkfile.read(DOCUMENT)
    free = sampling.sample(check, every_kind(check), 64).limit_tons
    monkeypatch.setattr(sampling, f"_{name.rstrip('s')}_rating", lambda *_: 0.5)
    held = sampling.sample(check, every_kind(check), 64)
    assert held.limit_tons == pytest.approx(np.minimum(free, 0.5 * 15.0))
    assert set(held.governing[free > 7.5]) == {-1}


def test_the_same_question_has_the_same_band():
    check = checkfile.read(DOCUMENT)
    once, again = (sampling.sample(check, every_kind(check), 256) for _ in range(2))
    assert np.array_equal(once.limit_tons, again.limit_tons)


def test_shares_of_one_governing_bar_are_those_of_a_product():
    """One weak bar in every sample: its limit is strength x width x thickness, less
    the dead force, and the shares are those of the product, by hand."""
    document = {
        "geometry": {"form": "king-post", "panels": 2, "panel_length_ft": 15,
                     "depth_ft": 12},
        "connection": "pin",
        "material": {"fy_ksi": 30, "fu_ksi": 60, "e_ksi": 29000},
        "members": [
            {
                "kinds": ["end-post", "lower-chord", "upper-chord"],
                "section": {"area_in2": 90, "r_in_plane_in": 9,
                            "r_out_of_plane_in": 9},
            },
            {
                "kinds": ["vertical", "hip-vertical"],
                "components": [
                    {"shape": "flat-bar", "width_in": 2, "thickness_in": 0.5}
                ],
            },
        ],
        "dead_load": {"uniform_plf": 200},
        "live_load": {"vehicle": "H15", "fraction": 0.6, "impact": 0.3},
    }  # fmt: skip
    check = checkfile.read(document)
    bar = named(check, "vertical", "hip-vertical")
    assert len(bar) == 1
    unknowns = [
        sampling.Size("width", bar, 0, "width_in", 1.6, 2.4),
        sampling.Size("thickness", bar, 0, "thickness_in", 0.45, 0.55),
        sampling.Strength("metal", METAL, 0.7, 1.3),
        sampling.Size("nothing", named(check, "end-post"), -1, "loss_fraction", 0, 0.1),
    ]
    sampled = sampling.sample(check, unknowns, 2048)
    assert set(sampled.governing) == {[m.name for m in check.members].index(bar[0])}
    own = np.array([0.2, 0.1, 0.3, 0.0]) ** 2 / 3.0
    expected = own / (np.prod(1.0 + own) - 1.0)
    assert sampled.share == pytest.approx(expected, abs=0.025)


def test_a_check_without_a_vehicle_has_no_band():
    document = {key: value for key, value in DOCUMENT.items() if key != "live_load"}
    with pytest.raises(ValueError, match="live load"):
        sampling.sample(checkfile.read(document), [])
