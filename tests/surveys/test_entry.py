"""What surveyors type of sizes and numbers, and how it comes back to them."""

import datetime

import pytest
from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.core.management import call_command
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from surveys import entry, stash, states
from tests.makers import make_id, make_person

SIXTEENTHS = st.integers(1, 24 * 16 - 1).map(lambda n: n / 16)


@pytest.mark.parametrize(
    ("shape", "text", "sizes"),
    [
        ("eyebar", "4 x 7/8", {"width_in": 4.0, "thickness_in": 0.875}),
        ("eyebar", "3 1/2 × 3/4", {"width_in": 3.5, "thickness_in": 0.75}),
        ("flat-bar", '3½" by ⅜"', {"width_in": 3.5, "thickness_in": 0.375}),
        ("round-rod", "1 1/8", {"diameter_in": 1.125}),
        ("square-rod", "25.4 mm", {"side_in": 1.0}),
        (
            "angle",
            "3x3x3/8",
            {"leg_in": 3.0, "other_leg_in": 3.0, "thickness_in": 0.375},
        ),
        ("channel", "8 x 11.5", {"depth_in": 8.0, "weight_plf": 11.5}),
        ("channel", "8 x 11.5 lb/ft", {"depth_in": 8.0, "weight_plf": 11.5}),
        ("i-beam", "10 in x 25#", {"depth_in": 10.0, "weight_plf": 25.0}),
        ("timber", "8 x 10", {"width_in": 8.0, "depth_in": 10.0}),
        (
            "i-beam",
            "10 x 4 5/8 x 1/2 x 5/16",
            {
                "depth_in": 10.0,
                "flange_width_in": 4.625,
                "flange_thickness_in": 0.5,
                "web_thickness_in": 0.3125,
            },
        ),
    ],
)
def test_sizes_are_read_as_the_trade_writes_them(shape, text, sizes):
    assert entry.sizes(shape, text) == pytest.approx(sizes)


@pytest.mark.parametrize(
    ("shape", "text"),
    [
        ("eyebar", "4"),
        ("eyebar", "4 x 7/8 x 1"),
        ("round-rod", "about an inch"),
        ("angle", "3 x 3/8"),
        ("channel", "8 x heavy"),
        ("eyebar", "4 x 7/0"),
        ("eyebar", ""),
        ("eyebar", "x"),
    ],
)
def test_a_size_that_cannot_be_read_is_refused_in_words(shape, text):
    with pytest.raises(ValidationError):
        entry.sizes(shape, text)


@given(st.sampled_from(sorted(states.SIZES_BY_SHAPE)), st.lists(SIXTEENTHS, min_size=4))
def test_a_size_comes_back_as_it_was(shape, numbers):
    names = states.SIZES_BY_SHAPE[shape]
    piece = {"shape": shape, **dict(zip(names, numbers, strict=False))}
    read = entry.sizes(shape, entry.size_text(piece))
    assert read == pytest.approx({name: piece[name] for name in names})


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("5", 5),
        ("5.5", 5.5),
        ("5 tons", 5),
        ("12,000", 12_000),
        (".5", 0.5),
        ("-1", -1),
    ],
)
def test_numbers_are_read_with_or_without_their_unit(text, number):
    assert entry.number(text) == number


@pytest.mark.parametrize("text", ["", "five", "5 1/2", "5-6", "1.2.3", "12,00"])
def test_what_may_be_two_numbers_is_not_read_as_one(text):
    with pytest.raises(ValidationError):
        entry.number(text)


@pytest.mark.django_db
def test_photos_of_forms_never_sent_are_dropped_in_time(capsys):
    ada = make_person("ada")
    for name in ("old", "new"):
        stash.keep(ada, make_id(name), ContentFile(name.encode(), f"{name}.jpg"))
    call_command("tidy_uploads")
    assert "0 photos dropped" in capsys.readouterr().out
    tomorrow = timezone.now() + datetime.timedelta(days=1)
    assert stash.forget_older_than(tomorrow) == 2
    assert stash.held(ada, make_id("old")) == {}
