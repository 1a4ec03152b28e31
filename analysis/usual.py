"""What floors of country bridges weigh, where the record does not say.

The band of an estimate draws from these ranges; the estimate itself takes their middle
and says so. Widths are this project's choice by common practice, not a published rule.
"""

from __future__ import annotations

# Decks of unknown make: 3 in plank 12.5 psf, concrete on pans 60 to 65 (engineering
# handbook figures); of known make and unknown thickness, in.
DECK_PSF = (12.0, 62.0)
DECK_THICKNESS_IN = {
    "timber": (2.5, 4.0),
    "concrete": (4.0, 7.0),
    "asphalt": (1.0, 3.0),
    "gravel": (2.0, 4.0),
    "earth": (3.0, 6.0),
    "steel-grid": (3.0, 5.0),
}
# Planks on joists 2 ft apart to rolled joists 2 to 3 ft apart, per sq ft of roadway.
STRINGERS_PSF = (5.0, 12.0)
# A rolled or built floor beam of a country span, lb per foot of its length.
FLOOR_BEAM_PLF = (60.0, 100.0)
ROADWAY_FT = 14.0
# Floor beams reach from truss to truss, which stand this much outside the roadway.
BESIDE_ROADWAY_FT = 2.0


def middle(low_high):
    return sum(low_high) / 2


def deck_of_unknown_thickness(layers):
    """Return the material by which such a deck is weighed, None where none is known."""
    made = [one["material"] for one in layers]
    return next((one for one in made if one in DECK_THICKNESS_IN), None)
