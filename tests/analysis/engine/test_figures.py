"""Figures without the answer are those of the answer."""

from analysis.engine import checkfile
from analysis.engine.answer import answer, answer_many
from analysis.engine.figures import figures_many

from .checkfiles import ALL, PONY, THROUGH, changed

#: Added to strong eyebars, it would be at its limit long before them.
WEAK = {
    "shape": "round-rod",
    "diameter_in": 1.0,
    "carries": "live",
    "material": {"kind": "wrought-iron"},
}
STRONG = changed(THROUGH, ["members", 1, "material"], {"fy_ksi": 50, "fu_ksi": 70})
ADDED = changed(STRONG, ["members", 1, "components", 1], WEAK)
MANY = [
    *ALL.values(),
    *(changed(ADDED, ["dead_load", "uniform_plf"], 150 * k) for k in range(7)),
    *(changed(THROUGH, ["dead_load", "uniform_plf"], 150 * k) for k in range(7)),
    *(changed(PONY, ["members", 1, "loss_fraction"], k / 10) for k in range(7)),
]


def test_figures_are_those_of_the_answers():
    found = figures_many([checkfile.read(document) for document in MANY])
    for one, whole in zip(found, map(answer, MANY), strict=True):
        governing = whole["governing"]["operating"] or {}
        assert one.stands == whole["stands"]
        assert one.dead_kip == whole["dead_load"]["total_kip"]
        for name in ("rating", "limit_tons", "member", "mode"):
            assert getattr(one, name) == governing.get(name)
        assert one.ratings == {
            name: member["rating"]["operating"]
            for name, member in whole["members"].items()
        }


def test_a_batch_of_many_answers_as_each_alone():
    """Members made of several pieces too: more than a few share one look-up."""
    for alone, together in zip(map(answer, MANY), answer_many(MANY), strict=True):
        assert alone == together
