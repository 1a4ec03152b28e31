"""The configuration as of a date, whatever the order of entry."""

import datetime

from hypothesis import given
from hypothesis import strategies as st

from surveys import fold
from surveys.fold import Look, Seen

ELEMENTS = ["span-1/deck", "span-1/upstream/L1L2", "plate/portal", "limit"]
ANSWERS = ["same", "changed", "gone", "not-seen", "not-looked"]


def day(year, month=1, of_month=1):
    return datetime.date(year, month, of_month)


def look(visit, year, **said):
    seen = tuple(
        Seen(element.replace("__", "/"), *(a if isinstance(a, tuple) else (a,)))
        for element, a in said.items()
    )
    return Look(visit, day(year), day(year), seen)


@st.composite
def histories(draw):
    """Visits with distinct days, each saying something of some of four elements."""
    years = draw(st.lists(st.integers(1900, 2026), unique=True, min_size=1, max_size=8))
    looks = []
    for index, year in enumerate(years):
        chosen = draw(st.lists(st.sampled_from(ELEMENTS), unique=True))
        seen = []
        for element in chosen:
            answer = draw(st.sampled_from(ANSWERS))
            state = {"n": draw(st.integers(0, 3))} if answer == "changed" else None
            seen.append(Seen(element, answer, state))
        looks.append(Look(f"v{index}", day(year), day(year), tuple(seen)))
    return looks


@given(histories(), st.randoms(use_true_random=False))
def test_the_order_of_entry_does_not_matter(looks, random):
    shuffled = list(looks)
    random.shuffle(shuffled)
    assert fold.configuration(shuffled) == fold.configuration(looks)


@given(histories())
def test_a_backdated_visit_changes_only_what_follows_it(looks):
    """The first-entered visit is taken as the one that lands late."""
    late, rest = looks[0], looks[1:]
    for year in range(1899, 2028):
        as_of = day(year)
        if as_of < late.latest:
            assert fold.configuration(fold.up_to(looks, as_of)) == fold.configuration(
                fold.up_to(rest, as_of)
            )


@given(histories())
def test_not_seen_changes_nothing(looks):
    without = [
        Look(
            one.visit,
            one.latest,
            one.earliest,
            tuple(s for s in one.seen if s.answer not in ("not-seen", "not-looked")),
        )
        for one in looks
    ]
    assert fold.configuration(without) == fold.configuration(looks)


@given(histories())
def test_same_renews_age_and_keeps_the_state(looks):
    before = fold.configuration(looks)
    for element, part in before.items():
        again = Look("again", day(2030), day(2030), (Seen(element, "same"),))
        renewed = fold.configuration([*looks, again])[element]
        assert renewed.age_days(day(2030)) == 0
        assert (renewed.state, renewed.is_gone) == (part.state, part.is_gone)
        assert renewed.said_by == part.said_by
        assert part.seen_on < renewed.seen_on


@given(histories())
def test_folding_step_by_step_ends_where_folding_at_once_does(looks):
    for one, parts in fold.steps(looks):
        before = [each for each in looks if each.order <= one.order]
        assert parts == fold.configuration(before)


def test_the_latest_that_says_something_counts():
    looks = [
        look("a", 1990, limit=("changed", {"tons": 10})),
        look("b", 2000, limit="not-seen"),
        look("c", 1995, limit=("changed", {"tons": 6})),
    ]
    part = fold.configuration(looks)["limit"]
    assert part.state == {"tons": 6}
    assert (part.said_by, part.seen_by) == ("c", "c")


def test_gone_is_not_silence():
    looks = [
        look("a", 1990, plate__portal=("changed", {"condition": "sound"})),
        look("b", 2001, plate__portal="gone"),
        look("c", 2011, limit="same"),
    ]
    part = fold.configuration(looks)["plate/portal"]
    assert part.is_gone
    assert part.seen_on == day(2001)


def test_an_uncertain_date_counts_from_the_day_it_must_have_been_made():
    card = Look("card", day(1929, 12, 31), day(1920), (Seen("limit", "gone"),))
    assert fold.configuration(fold.up_to([card], day(1925))) == {}
    assert fold.configuration(fold.up_to([card], day(1930)))["limit"].is_gone


def test_what_may_be_the_earlier_of_two_counts_by_the_day_it_was_surely_made():
    """A card of the 1920s beside a visit of 1925: the card may be later, so it is."""
    card = Look("card", day(1929, 12, 31), day(1920), (Seen("limit", "gone"),))
    sure = look("sure", 1925, limit=("changed", {"tons": 6}))
    for looks in ([card, sure], [sure, card]):
        part = fold.configuration(looks)["limit"]
        assert part.is_gone
        assert (part.said_by, part.seen_by) == ("card", "card")


def test_two_visits_of_one_day_that_disagree_are_doubted():
    looks = [
        look("a", 2001, limit=("changed", {"tons": 10})),
        look("b", 2001, limit=("changed", {"tons": 6})),
    ]
    assert "same date" in fold.configuration(looks)["limit"].doubt


def test_same_as_an_entry_since_overtaken_is_doubted():
    """A surveyor of 2010 was shown 1990's deck; 2000's was entered afterwards."""
    first = Look("a", day(1990), None, (Seen("d", "changed", {"n": 1}, "sure", 11),))
    later = Look("c", day(2010), None, (Seen("d", "same", None, "sure", 13, 11),))
    late = Look("b", day(2000), None, (Seen("d", "changed", {"n": 2}, "sure", 12),))
    assert fold.configuration([first, later])["d"].doubt == ""
    doubted = fold.configuration([first, later, late])["d"]
    assert doubted.state == {"n": 2}
    assert "earlier entry" in doubted.doubt


def test_of_two_visits_of_one_day_the_same_one_counts_whoever_was_entered_first():
    one = look("a", 1990, limit=("changed", {"tons": 10}))
    two = look("b", 1990, limit=("changed", {"tons": 6}))
    assert fold.configuration([one, two]) == fold.configuration([two, one])
