"""Where letters stand: clear of bars and of each other."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bridges.lettering import BAR_APART_PX, LABEL_APART_PX, best_place, distance_to

BAR = ((0.0, 0.0), (100.0, 0.0))
number = st.floats(-200, 200, allow_nan=False)
point = st.tuples(number, number)


@pytest.mark.parametrize(
    "place, away",
    [((50, 10), 10), ((-3, 4), 5), ((103, -4), 5), ((20, 0), 0)],
)
def test_the_distance_from_a_segment_is_measured_to_its_nearest_point(place, away):
    assert distance_to(place, BAR) == pytest.approx(away)


@given(point, point, point)
def test_the_distance_from_a_segment_is_never_more_than_from_its_ends(place, a, b):
    away = distance_to(place, (a, b))
    assert away <= min(math.dist(place, a), math.dist(place, b)) + 1e-6


def test_the_first_place_that_is_clear_is_taken():
    tries = [([(50, 2)], "on a bar"), ([(50, 40)], "clear"), ([(50, 90)], "clearer")]
    assert best_place(tries, [BAR], []) == "clear"
    assert best_place(tries, [BAR], [(50, 40)]) == "clearer"


def test_where_no_place_is_clear_the_clearest_is_taken():
    tries = [([(50, 1)], "worse"), ([(50, BAR_APART_PX - 1)], "better")]
    assert best_place(tries, [BAR], []) == "better"


def test_with_nothing_near_the_first_wish_is_granted():
    assert best_place([([(0, 0)], "first")], [], [(LABEL_APART_PX + 1, 0)]) == "first"
