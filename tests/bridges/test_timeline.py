"""The line of time: true proportion, honest ticks, labels that can be read."""

import datetime
from xml.etree import ElementTree

import pytest

from bridges import drawing
from bridges.timeline import WIDTH_PX, Event, Stretch, Tick, line_of_time

SVG = "{http://www.w3.org/2000/svg}"
UNTIL = datetime.date(2026, 1, 1)


def day(year, month=6, number=1):
    return datetime.date(year, month, number)


def drawn(ticks, stretches=(), **options):
    text = line_of_time(ticks, stretches, **{"until": UNTIL, **options})
    return ElementTree.fromstring(text)


def places(root, *words):
    found = {text.text: float(text.get("x")) for text in root.iter(f"{SVG}text")}
    return [found[word] for word in words]


def test_time_runs_left_to_right_in_true_proportion():
    root = drawn([Tick(day(1930), "a"), Tick(day(1960), "b"), Tick(day(1975), "c")])
    a, b, c = places(root, "a", "b", "c")
    days = (day(1960) - day(1930)).days, (day(1975) - day(1960)).days
    assert (b - a) / (c - b) == pytest.approx(days[0] / days[1], rel=0.001)


def test_a_visit_in_person_is_filled_and_any_other_open():
    def grounds(basis):
        root = drawn([Tick(day(1990), "x", basis=basis)])
        return [
            path.get("class")
            for path in root.iter(f"{SVG}path")
            if "fill-" in (path.get("class") or "")
        ]

    assert grounds("in-person") == ["fill-ink line-ink"]
    for basis in ("photograph", "drawing", "document"):
        assert grounds(basis) == ["fill-ground line-ink"]


def test_a_visit_of_uncertain_date_reaches_back_to_its_earliest_day():
    sure = drawn([Tick(day(1912), "x")], built=Event(day(1880), day(1880), "built"))
    unsure = drawn(
        [Tick(day(1912), "x", earliest=day(1905))],
        built=Event(day(1880), day(1880), "built"),
    )
    assert (
        len(list(unsure.iter(f"{SVG}path"))) == len(list(sure.iter(f"{SVG}path"))) + 1
    )


def test_a_change_is_a_rust_bar_between_its_two_visits():
    ticks = [Tick(day(1950), "a"), Tick(day(1990), "b")]
    root = drawn(ticks, [Stretch(day(1950), day(1990), "deck +2.0 tons", href="#b")])
    a, b = places(root, "a", "b")
    (bar,) = [
        path
        for path in root.iter(f"{SVG}path")
        if path.get("class") == "line-rust" and path.get("stroke-width") == "9"
    ]
    start, end = (float(x) for x in bar.get("d")[1:].replace("H", " ").split()[::2])
    assert (start, end) == pytest.approx((a, b), abs=0.1)
    assert any(one.get("href") == "#b" for one in root.iter(f"{SVG}a"))


def test_visits_close_together_are_labelled_in_different_rows():
    root = drawn([Tick(day(2011, 5), "May 2011"), Tick(day(2011, 6), "June 2011")])
    heights = {
        text.text: text.get("y")
        for text in root.iter(f"{SVG}text")
        if "2011" in text.text
    }
    assert len(set(heights.values())) == 2


def test_many_visits_on_one_day_neither_fail_nor_grow_without_end():
    ticks = [Tick(day(2020), f"visit {i}") for i in range(60)]
    root = drawn(ticks)
    height = float(root.get("viewBox").split()[3])
    assert height < 400


def test_one_visit_and_nothing_else_known_is_still_a_line():
    root = drawn([Tick(UNTIL, "today")])
    (x,) = places(root, "today")
    assert 0 < x < WIDTH_PX


def test_everything_written_stays_on_the_sheet():
    long = "counters, upper chord and 4 more −11.2 tons"
    root = drawn(
        [Tick(day(1889), "1889"), Tick(day(2025), "2025")],
        [Stretch(day(1889), day(1889, 7), long), Stretch(day(2025), day(2025), long)],
        built=Event(None, day(1888), "built by 1888"),
        lost=Event(day(2025), None, "lost"),
    )
    for text in root.iter(f"{SVG}text"):
        assert 0 <= float(text.get("x")) <= WIDTH_PX


def test_nothing_that_was_typed_in_becomes_mark_up():
    nasty = '"><script>x</script>'
    text = line_of_time(
        [Tick(day(1990), nasty, href=nasty, title=nasty)],
        [Stretch(day(1980), day(1990), nasty, title=nasty)],
        until=UNTIL,
        built=Event(day(1880), day(1881), nasty),
        title=nasty,
    )
    assert "<script" not in text
    assert ElementTree.fromstring(text)[0].text == nasty


def test_a_line_for_paper_carries_its_colours():
    text = line_of_time([Tick(day(1990), "x")], until=UNTIL, palette=drawing.PRINT)
    assert 'class="fill' not in text
    assert drawing.PRINT.ink in text
