"""What kind of change it was, and how it is told."""

import datetime

import pytest

from surveys.changes import About, classify, compare
from surveys.fold import Part

DAY = datetime.date(2001, 5, 6)
BARS = {"shape": "eyebar", "count": 2, "width_in": 3.0, "thickness_in": 0.75}
BARS["origin"] = "original"
ROD = {"shape": "round-rod", "count": 1, "diameter_in": 1.125, "origin": "original"}
FLATS = {"shape": "flat-bar", "count": 2, "width_in": 3.0, "thickness_in": 0.5}
FLATS["origin"] = "addition"


def member(name="L1L2", role="lower-chord", line="Upstream"):
    path = f"span-1/{line.lower()}/{name}"
    return About(path, "member", f"{name}, {line}", role, name, line, 1)


def about(kind, path=None, name=None):
    return About(path or kind, kind, name or kind, span=1)


def part(state=None, gone=False, doubt=""):
    return Part("x", state, gone, "sure", "v", DAY, 1, "v", DAY, doubt)


def pieces(*components, **more):
    return part({"components": list(components), **more})


@pytest.mark.parametrize(
    "old, new, kinds",
    [
        (pieces(BARS), pieces(BARS, FLATS), ("reinforced",)),
        (pieces(BARS), pieces({**BARS, "count": 4}), ("reinforced",)),
        (pieces(ROD), pieces({**ROD, "diameter_in": 1.5}), ("replaced",)),
        (pieces(ROD), pieces({**ROD, "origin": "replacement"}), ("replaced",)),
        (pieces(BARS, ROD), pieces(BARS, FLATS), ("replaced-in-part",)),
        (pieces(BARS, FLATS), pieces(BARS), ("pieces-removed",)),
        (pieces(BARS), pieces(BARS, loss_fraction=0.2), ("lost-section",)),
        (pieces(BARS, loss_fraction=0.2), pieces(BARS), ("restored",)),
        (pieces(BARS), pieces(BARS, flags=["loose"]), ("loosened",)),
        (pieces(BARS), pieces(BARS, flags=["bent"]), ("bent",)),
        (pieces(BARS, flags=["bent"]), pieces(BARS), ("mended",)),
        (pieces(BARS), pieces({**BARS, "as_entered": "two bars"}), ()),
        (pieces(BARS), part(gone=True), ("removed",)),
        (part(gone=True), pieces(BARS), ("added",)),
        (None, pieces(BARS), ()),
        (part(None), pieces(BARS), ()),
        (pieces(BARS), None, ()),
        (None, part(gone=True), ("removed",)),
    ],
)
def test_a_member_is_classified_from_its_pieces(old, new, kinds):
    assert classify(member(), old, new) == kinds


def test_a_cover_plate_put_on_reinforces():
    old = pieces(BARS, built_up={"webs_apart_in": 6.5})
    plate = {"width_in": 12, "thickness_in": 0.25}
    new = pieces(BARS, built_up={"webs_apart_in": 6.5, "cover_plate": plate})
    assert classify(member("U1U2", "upper-chord"), old, new) == ("reinforced",)


PLANK = {"material": "timber", "thickness_in": 3}
GRID = {"material": "steel-grid", "thickness_in": 5}
ASPHALT = {"material": "asphalt", "thickness_in": 2}


@pytest.mark.parametrize(
    "old, new, kind",
    [
        ([PLANK], [GRID], "deck-replaced"),
        ([PLANK], [PLANK, ASPHALT], "deck-overlaid"),
        ([PLANK, ASPHALT], [PLANK], "deck-stripped"),
        ([PLANK], [{**PLANK, "thickness_in": 4}], "deck-replaced"),
    ],
)
def test_a_deck_is_classified_from_its_layers(old, new, kind):
    parts = part({"layers": old}), part({"layers": new})
    assert classify(about("deck"), *parts) == (kind,)


@pytest.mark.parametrize(
    "old, new, kind",
    [
        ({"tons": 10.0}, {"tons": 6.0}, "limit-lowered"),
        ({"tons": 6.0}, {"tons": 10.0}, "limit-raised"),
        ({"tons": 6.0}, {"is_closed": True}, "closed"),
        ({"is_closed": True}, {"tons": 6.0}, "reopened"),
    ],
)
def test_a_posted_limit_is_lowered_raised_or_closed(old, new, kind):
    assert classify(about("limit"), part(old), part(new)) == (kind,)


def test_like_changes_on_both_trusses_are_told_as_one():
    counters = [
        member(name, "counter", line)
        for line in ("Upstream", "Downstream")
        for name in ("L2U3", "L3U2")
    ]
    before = {one.path: pieces(ROD) for one in counters}
    heavier = {**ROD, "diameter_in": 1.5, "origin": "replacement"}
    after = {one.path: pieces(heavier) for one in counters}
    (change,) = compare(before, after, counters)
    assert len(change.elements) == 4
    assert change.part == "counter"
    assert change.title == (
        "Counters L2U3 and L3U2, upstream and downstream trusses, replaced"
    )


def test_a_reinforcement_says_what_was_added():
    one = member()
    (change,) = compare(
        {one.path: pieces(BARS)}, {one.path: pieces(BARS, FLATS)}, [one]
    )
    assert change.sentence == (
        "L1L2, upstream truss, reinforced: two flat bars 3 × 1/2 in added to what was "
        "there."
    )


def test_two_plates_gone_are_two_changes():
    plates = [about("plate", f"plate/{key}", f"plate {key}") for key in "ab"]
    before = {one.path: part({"condition": "sound"}) for one in plates}
    after = {one.path: part(gone=True) for one in plates}
    assert [c.kinds for c in compare(before, after, plates)] == [("gone",)] * 2
