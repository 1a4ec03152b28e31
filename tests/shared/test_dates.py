"""Uncertain dates, against the ``edtf`` package, an independent reader of the format.

The package is asked for its strict bounds: those of the format itself, before any
allowance for ``~``. That allowance is a choice (``ABOUT_YEARS`` and its like); for
years and decades the package has made the same one, and there it is compared too.
"""

import datetime
import math

import edtf
import pytest
from django.core.exceptions import ValidationError
from hypothesis import Phase, assume, given, settings
from hypothesis import strategies as st

from shared import dates
from shared.dates import display, parse

Day = datetime.date

YEARS = st.integers(1000, 9998).map(lambda year: f"{year:04d}")
DECADES = st.integers(100, 998).map(lambda ten: f"{ten}X")
CENTURIES = st.integers(10, 98).map(lambda hundred: f"{hundred}XX")
MONTHS = st.dates(Day(1000, 1, 1), Day(9998, 12, 31)).map(lambda day: f"{day:%Y-%m}")
DAYS = st.dates(Day(1000, 1, 1), Day(9998, 12, 31)).map(lambda day: day.isoformat())
# What the package reads alone, in an interval and in a set, with a mark or without.
PLAIN = st.one_of(
    YEARS,
    DECADES,
    CENTURIES,
    MONTHS,
    DAYS,
    YEARS.map("{}-XX-XX".format),
    MONTHS.map("{}-XX".format),
)
# It ends winter with the year (see below), and reads these only alone.
POINTS = st.one_of(
    PLAIN,
    YEARS.map("{}-XX".format),
    st.builds("{}-{}".format, YEARS, st.integers(21, 23)),
)
# It takes some 50 ms over each, and small cases show nothing that large ones do not.
few = settings(max_examples=20, phases=[Phase.generate])


def oracle(text, kind="strict"):
    """Return the package's (earliest, latest), None where it says endless."""
    read = edtf.parse_edtf(text)
    ends = getattr(read, f"lower_{kind}")(), getattr(read, f"upper_{kind}")()
    return tuple(
        None if isinstance(end, float) and math.isinf(end) else Day(*end[:3])
        for end in ends
    )


def bounds(text):
    date = parse(text)
    return date.earliest, date.latest


def code_of(text):
    with pytest.raises(ValidationError) as caught:
        parse(text)
    return caught.value.code


@few
@given(POINTS)
def test_bounds_of_one_date_are_those_of_the_reference_reader(text):
    assert bounds(text) == oracle(text)


@few
@given(PLAIN)
def test_doubt_alone_moves_no_bound(text):
    assert bounds(f"{text}?") == oracle(f"{text}?") == bounds(text)


@few
@given(PLAIN, PLAIN)
def test_bounds_of_an_interval_are_those_of_the_reference_reader(first, last):
    text = f"{first}/{last}"
    expected = oracle(text)
    assume(expected[0] <= expected[1])
    assert bounds(text) == expected


@few
@given(POINTS)
def test_an_open_end_has_no_bound(text):
    earliest, latest = oracle(text)
    assert bounds(f"../{text}") == (None, latest)
    assert bounds(f"{text}/..") == (earliest, None)
    assert bounds(f"/{text}") == (None, latest)
    assert bounds(f"{text}/") == (earliest, None)


@few
@given(st.lists(PLAIN, min_size=2, max_size=4))
def test_one_of_a_set_reaches_over_all_of_it(parts):
    text = f"[{','.join(parts)}]"
    assert bounds(text) == oracle(text)


@few
@given(YEARS, YEARS)
def test_a_stretch_within_a_set_counts_whole(first, last):
    assume(first <= last)
    assert bounds(f"[{first}..{last}]") == oracle(f"[{first}..{last}]")
    assert bounds(f"[..{last}]") == (None, Day(int(last), 12, 31))


@few
@given(st.one_of(YEARS, DECADES))
def test_about_a_year_or_a_decade_reaches_as_far_as_in_the_reference(text):
    assert bounds(f"{text}~") == oracle(f"{text}~", "fuzzy")


@pytest.mark.parametrize(
    "text, earliest, latest",
    [
        ("1908%", Day(1907, 1, 1), Day(1909, 12, 31)),
        ("1908-06~", Day(1908, 5, 1), Day(1908, 7, 31)),
        ("1908-01~", Day(1907, 12, 1), Day(1908, 2, 29)),
        ("1908-12~", Day(1908, 11, 1), Day(1909, 1, 31)),
        ("1908-06-01~", Day(1908, 5, 31), Day(1908, 6, 2)),
        ("1908-21~", Day(1908, 2, 1), Day(1908, 6, 30)),
        ("19XX~", Day(1800, 1, 1), Day(2099, 12, 31)),
    ],
)
def test_about_reaches_one_unit_either_side_which_is_our_own_choice(
    text, earliest, latest
):
    assert bounds(text) == (earliest, latest)


def test_winter_is_three_months_and_ends_in_the_next_year():
    """Ours: the format says 24 is winter and not when that is."""
    assert bounds("1908-24") == (Day(1908, 12, 1), Day(1909, 2, 28))
    assert oracle("1908-24") == (Day(1908, 12, 1), Day(1908, 12, 31))


@pytest.mark.parametrize(
    "text",
    ["0001~", "0001-01-01~", "0001-01~", "9999~", "9999-12-31~", "9999-24", "99XX~"],
)
def test_dates_at_the_ends_of_the_calendar_stop_there(text):
    earliest, latest = bounds(text)
    assert Day.min <= earliest <= latest <= Day.max


@given(POINTS, POINTS)
def test_an_interval_that_cannot_be_is_refused(first, last):
    assume(parse(first).earliest > parse(last).latest)
    assert code_of(f"{first}/{last}") == "date_reversed"
    if "X" not in first + last:
        assert code_of(f"[{first}..{last}]") == "date_reversed"


@pytest.mark.parametrize("text", ["1908~/1908", "1908/1908-06", "190X/1905"])
def test_an_interval_that_may_be_is_taken(text):
    earliest, latest = bounds(text)
    assert earliest <= latest


@pytest.mark.parametrize(
    "text",
    [
        "",
        "1908-13",
        "1908-00",
        "1908-02-30",
        "1908-1X",
        "1908-XX-12",
        "190X-06",
        "1X08",
        "XXXX",
        "0000",
        "c. 1908",
        "08/06/1908",
        "1908~?",
        "1908/1909/1910",
        "../..",
        "/",
        "..1890..1900/1910",
        "[]",
        "[..]",
        "[1885,]",
        "[1885..1886..1887]",
        "1908-21-01",
        "１９０８",
    ],
)
def test_what_is_outside_the_subset_is_refused_with_its_text(text):
    with pytest.raises(ValidationError) as caught:
        parse(text)
    assert caught.value.code == "date"
    assert "190X (some year of the decade)" in caught.value.messages[0]


@given(st.text("0123456789X-~?%/.,[] ", max_size=24))
def test_any_text_is_either_read_or_refused_and_never_breaks_a_page(text):
    assert isinstance(display(text), str)
    try:
        date = parse(text)
    except ValidationError:
        return
    if date.earliest and date.latest:
        assert date.earliest <= date.latest
    assert date.text == text.strip()


@pytest.mark.parametrize(
    "text, words",
    [
        ("", "date unknown"),
        ("1908", "1908"),
        ("1908-06", "June 1908"),
        ("1908-06-02", "2 June 1908"),
        ("1908-06-XX", "June 1908"),
        ("1908-XX", "1908"),
        ("1887~", "about 1887"),
        ("1887?", "1887 (uncertain)"),
        ("1887%", "about 1887 (uncertain)"),
        ("188X", "the 1880s"),
        ("188X~", "about the 1880s"),
        ("190X", "the decade from 1900"),
        ("19XX", "the century from 1900"),
        ("1908-22", "summer 1908"),
        ("1905/1910", "between 1905 and 1910"),
        ("../1890", "by 1890"),
        ("1890/..", "1890 or later"),
        ("1905~/1910-06", "between about 1905 and June 1910"),
        ("[1885,1886]", "1885 or 1886"),
        ("[1885,1887..1889]", "1885 or between 1887 and 1889"),
        ("[..1885]", "by 1885"),
        ("Tuesday", "Tuesday"),
        ("08/06/1908", "08/06/1908"),
        ("/", "/"),
    ],
)
def test_dates_are_said_in_words(text, words):
    assert display(text) == words


def test_the_field_fills_its_bounds_when_cleaned_and_when_saved(db):
    from bridges.models import Source

    source = Source(title="County ledger", date="1887~")
    source.full_clean()
    assert (source.date_earliest, source.date_latest) == (
        Day(1886, 1, 1),
        Day(1888, 12, 31),
    )

    source.date = "../1890"
    source.save()
    source.refresh_from_db()
    assert (source.date_earliest, source.date_latest) == (None, Day(1890, 12, 31))

    source.date = ""
    source.save()
    source.refresh_from_db()
    assert (source.date_earliest, source.date_latest) == (None, None)


def test_a_fault_in_a_date_field_names_the_field(db):
    from bridges.models import Source

    with pytest.raises(ValidationError) as caught:
        Source(title="County ledger", date="last spring").full_clean()
    assert caught.value.error_dict["date"][0].code == "date"


def test_how_far_about_reaches_is_stated_in_one_place():
    assert (dates.ABOUT_YEARS, dates.ABOUT_MONTHS, dates.ABOUT_DAYS) == (1, 1, 1)
