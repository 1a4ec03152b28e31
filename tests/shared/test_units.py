"""Lengths as people write them.

The inch is 25.4 mm and the foot 0.3048 m exactly: the refinement published in the
US Federal Register of 1 July 1959 (24 FR 5348), from memory; the same factors stand in
NIST Special Publication 811, appendix B.8, from memory.
"""

import contextlib
from fractions import Fraction

import pytest
from django.core.exceptions import ValidationError
from hypothesis import given
from hypothesis import strategies as st

from shared.templatetags import figures
from shared.units import feet_text, fraction_text, length


@pytest.mark.parametrize(
    "text, inches",
    [
        ("3.5", 3.5),
        ("3 1/2", 3.5),
        ("3-1/2", 3.5),
        ("3½", 3.5),
        ("3 ½", 3.5),
        ("½", 0.5),
        ("7/8", 0.875),
        ("⅞ in", 0.875),
        ('3 1/2"', 3.5),
        ("3 1/2 in.", 3.5),
        ("3 1/2 inches", 3.5),
        ("3 1/2 ”", 3.5),
        ("3½″", 3.5),
        ("6''", 6.0),
        ("1 ft", 12.0),
        ("1'-6\"", 18.0),
        ("1' 6 1/2\"", 18.5),
        ("1’6”", 18.0),
        ("1'6", 18.0),
        ("1 ft 6 in", 18.0),
        ("1½ ft", 18.0),
        ("25.4 mm", 1.0),
        ("2.54cm", 1.0),
        ("0.0254 m", 1.0),
        (" 4 ", 4.0),
        (".5", 0.5),
        ("4.", 4.0),
    ],
)
def test_inches_are_read_as_people_write_them(text, inches):
    assert length(text, "in") == pytest.approx(inches, rel=1e-14)


@pytest.mark.parametrize(
    "text, feet",
    [
        ("14.5", 14.5),
        ("14 1/2", 14.5),
        ("14'-6\"", 14.5),
        ("14 ft 6 in", 14.5),
        ("14′-6″", 14.5),
        ("174 in", 14.5),
        ("0.3048 m", 1.0),
        ("304.8 mm", 1.0),
        ("100 feet", 100.0),
    ],
)
def test_feet_are_read_as_people_write_them(text, feet):
    assert length(text, "ft") == pytest.approx(feet, rel=1e-14)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "long",
        "-5",
        "1/0",
        "3 1/0 in",
        "1' 1/0\"",
        "14 6",
        "1,200",
        "5 km",
        "1e3",
        "NaN",
        "3 1/2 1/2",
        "9" * 400,
        "1/" + "9" * 5000,
        "3 in in",
    ],
)
def test_what_is_no_length_is_refused_with_its_text(text):
    with pytest.raises(ValidationError) as caught:
        length(text, "in")
    assert caught.value.code == "length"
    assert "14'-6" in caught.value.messages[0]


@given(st.text("0123456789./'\"-½ ftinmc", max_size=16))
def test_any_text_is_read_or_refused(text):
    with contextlib.suppress(ValidationError):
        assert length(text, "ft") >= 0


@given(st.integers(0, 16 * 240))
def test_sixteenths_come_back_as_they_were_written(sixteenths):
    inches = sixteenths / 16
    assert length(fraction_text(inches), "in") == inches


@given(st.integers(0, 8 * 12 * 400))
def test_feet_and_eighths_come_back_as_they_were_written(eighths):
    feet = eighths / 96
    assert length(feet_text(feet), "ft") == pytest.approx(feet, rel=1e-14)


@given(st.floats(0.001, 1e4), st.sampled_from(["mm", "cm", "m"]))
def test_a_metric_length_is_the_same_in_feet_and_in_inches(number, unit):
    text = f"{number:.6f} {unit}"
    assert length(text, "in") == pytest.approx(length(text, "ft") * 12, rel=1e-12)


@given(st.fractions(0, 100, max_denominator=64))
def test_any_fraction_means_what_it_says(value):
    whole, rest = divmod(value, 1)
    text = f"{whole} {rest.numerator}/{rest.denominator}"
    assert length(text, "in") == pytest.approx(float(Fraction(value)), rel=1e-14)


@pytest.mark.parametrize(
    "inches, text",
    [
        (0, "0"),
        (3.5, "3 1/2"),
        (0.875, "7/8"),
        (0.0625, "1/16"),
        (4, "4"),
        (1 / 3, "0.333"),
        (3.98, "3.98"),
        (3.9999, "4"),
        (-0.5, "−1/2"),
    ],
)
def test_inches_are_written_as_the_trade_does(inches, text):
    assert fraction_text(inches) == text


@pytest.mark.parametrize(
    "feet, text",
    [
        (14.5, "14′-6″"),
        (0, "0′-0″"),
        (13.9999, "14′-0″"),
        (14 + 6.5 / 12, "14′-6 1/2″"),
        (-1.5, "−1′-6″"),
    ],
)
def test_feet_are_written_with_primes(feet, text):
    assert feet_text(feet) == text


@pytest.mark.parametrize(
    "value, places, plain, with_sign",
    [
        (12.34, 1, "12.3", "+12.3"),
        (-12.34, 1, "−12.3", "−12.3"),
        (1234.5, 1, "1,234.5", "+1,234.5"),
        (-0.04, 1, "0.0", "0.0"),
        (0.04, 1, "0.0", "0.0"),
        (0, 0, "0", "0"),
        (10, 0, "10", "+10"),
        (None, 1, "–", "–"),
        ("", 1, "–", "–"),
    ],
)
def test_figures_have_a_true_minus_and_no_negative_zero(
    value, places, plain, with_sign
):
    assert figures.figure(value, places) == plain
    assert figures.signed(value, places) == with_sign
