"""Weights of decks and what a change of deck does: derived, and as printed."""

import pytest

from analysis.engine.answer import answer
from analysis.engine.deadload import Layer

from .documents import REFERENCE
from .rows import approx


@pytest.mark.published("Weights of decks by thickness", "derived")
@pytest.mark.parametrize(
    ("material", "inches", "psf", "within"),
    [
        ("timber", 3, 12.5, 0.06),
        ("timber", 4, 16.7, 0.06),
        ("asphalt", 1, 12.25, 0.26),
        ("concrete", 6, 75.0, 0.06),
        ("gravel", 3, 35.0, 0.06),
    ],
)
def test_weights_of_decks(material, inches, psf, within):
    assert Layer(material, inches).weight_psf == approx(psf, abs=within)


@pytest.mark.published("AASHTO Standard Specifications, article 3.3.6", "memory")
@pytest.mark.parametrize(
    ("material", "pcf"),
    [("timber", 50), ("concrete", 150), ("gravel", 140), ("earth", 120)],
)
def test_unit_weights(material, pcf):
    assert Layer(material, 12).weight_psf == approx(pcf)


@pytest.mark.published("Weights of decks by thickness", "derived")
def test_concrete_on_pans_for_plank_adds_396_lb_a_foot():
    """16 ft of 62 psf for 12.5 psf, half to a truss: bigger than many ponies' all."""

    def plf(layer):
        floor = {"roadway_ft": 16, "layers": [layer]}
        found = answer({"geometry": REFERENCE, "dead_load": {"floor": floor}})
        return found["dead_load"]["total_kip"] * 1000 / 90

    pans = plf({"material": "concrete", "psf": 62})
    plank = plf({"material": "timber", "thickness_in": 3})
    assert pans - plank == approx(396, abs=0.5)
