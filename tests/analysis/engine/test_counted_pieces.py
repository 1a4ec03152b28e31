"""Which pieces of a member are counted: whatever is added, it carries no less."""

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.engine import answer as answering
from analysis.engine import resistance
from analysis.engine.materials import Material
from analysis.engine.question import MemberInput
from analysis.engine.resistance import LEVELS, METHODS, MOST_SORTED_OUT, capacity
from analysis.engine.sections import BuiltUp, Component

METALS = [
    Material("wrought-iron"),
    Material("steel", year=1900),
    Material("steel", year=1950),
    Material(fy_ksi=50.0, fu_ksi=70.0),
    Material("timber"),
]
AGREE = 1 + 1e-9
size = st.sampled_from([0.25, 0.5, 1.0, 3.0, 8.0])


def shapes(draw, shape):
    if shape == "flat-bar":
        return {"width_in": draw(size), "thickness_in": draw(size)}
    if shape == "round-rod":
        ends = draw(st.sampled_from(["upset", "plain-thread"]))
        return {"diameter_in": draw(size), "ends": ends}
    if shape == "angle":
        legs = {"leg_in": 3.0, "other_leg_in": draw(st.sampled_from([2.0, 6.0]))}
        return {"thickness_in": 0.375, **legs}
    if shape == "channel":
        return {"depth_in": 8.0, "weight_plf": 11.5}
    tied = draw(st.sampled_from([{"tied_by": "battens"}, {"lacing_in2": 0.5}]))
    how = BuiltUp(10.0, untied_ft=draw(st.sampled_from([0.0, 5.0])), **tied)
    return {"depth_in": 10.0, "weight_plf": 15.3, "built_up": how, "count": 2}


@st.composite
def members(draw, most, loose=True):
    """Pieces of a member, the first of which carries dead load.

    Of few metals and shapes, so that what differs is often one thing only.
    """
    metals = draw(st.lists(st.sampled_from(METALS), min_size=1, max_size=2))
    names = ["flat-bar", "round-rod", "angle", "channel", "pair"]
    of = draw(st.lists(st.sampled_from(names), min_size=1, max_size=2))
    ways = ["all", "live", *(["none"] if loose else [])]
    carry = draw(st.lists(st.sampled_from(ways), min_size=1, max_size=2))
    late = draw(st.sampled_from([[0.0], [0.0], [0.0, 0.02, 0.2]]))
    found = []
    for number in range(draw(st.integers(2, most))):
        shape = draw(st.sampled_from(of))
        carries = draw(st.sampled_from(carry)) if number else "all"
        own = {"count": draw(st.integers(1, 3)), **shapes(draw, shape)}
        own["longer_in"] = draw(st.sampled_from(late)) if carries == "all" else 0.0
        own |= {"material": draw(st.sampled_from(metals)), "carries": carries}
        name = "channel" if shape == "pair" else shape
        found.append(Component(name, **own))
    return found


def made_of(pieces, *, tension_only, length_ft=15.0):
    return MemberInput.of(
        name="L0L1",
        kind="lower-chord",
        length_ft=length_ft,
        is_covered=True,
        is_absent=False,
        components=tuple(pieces),
        section=None,
        material=None,
        tension_only=tension_only,
        loss_fraction=0.0,
        unbraced_in_plane_ft=length_ft,
        unbraced_out_of_plane_ft=length_ft,
        k=0.875,
        tightened_in=0.0,
    )


ways = st.tuples(st.sampled_from(list(METHODS)), st.sampled_from(LEVELS), st.booleans())
dead = st.floats(-400.0, 400.0)


def room_of(pieces, tension_only, way, dead_kip):
    method, level, upward = way
    found = capacity(made_of(pieces, tension_only=tension_only), method)
    return max(found.headroom_kip(dead_kip, level, upward), 0.0)


@given(members(MOST_SORTED_OUT + 2), st.booleans(), ways, dead)
def test_no_piece_put_on_after_others_lowers_what_a_member_can_carry(
    pieces, tension_only, way, dead_kip
):
    before = 0.0
    for k in range(len(pieces)):
        after = room_of(pieces[: k + 1], tension_only, way, dead_kip)
        assert after * AGREE >= before, k
        before = after


def test_a_weak_piece_after_many_is_not_counted():
    """Each alone is good for 0.75 x 50 ksi on 1 sq in, six for six times that."""
    strong = Component("flat-bar", width_in=4.0, thickness_in=0.25, material=METALS[3])
    weak = replace(strong, material=METALS[0])
    way = "allowable-stress", "operating", True
    assert room_of([strong] * 6, True, way, 0.0) == pytest.approx(6 * 37.5)
    assert room_of([strong] * 6 + [weak], True, way, 0.0) == pytest.approx(6 * 37.5)


def test_pieces_that_are_not_tied_do_not_bend_the_others_sooner():
    """Two channels laced, and two more whose ties are gone over 12 ft: L/r 202."""
    sound = {"depth_in": 10.0, "weight_plf": 15.3, "material": METALS[1]}
    pair = Component("channel", 2, built_up=BuiltUp(10.0, lacing_in2=5.0), **sound)
    loose = replace(pair, built_up=BuiltUp(10.0, lacing_in2=5.0, untied_ft=12.0))
    way = "allowable-stress", "operating", False
    alone = room_of([pair], False, way, 0.0)
    assert 2 * room_of([loose], False, way, 0.0) < alone
    for pieces in ([pair, loose], [loose, pair]):
        assert room_of(pieces, False, way, 0.0) == pytest.approx(alone)
        whole = capacity(made_of(pieces, tension_only=False), way[0])
        assert not whole.counts_all(0.0, False)
        assert whole.counts_all(0.0, True)
        assert whole.compression_kip["operating"] == pytest.approx(alone)
        assert whole.slenderness == pytest.approx(
            capacity(made_of([pair], tension_only=False), way[0]).slenderness
        )


LACED = Component(
    "channel",
    2,
    depth_in=10.0,
    weight_plf=15.3,
    material=METALS[1],
    built_up=BuiltUp(10.0, lacing_in2=5.0),
)
POST = Component("timber", width_in=6.5, depth_in=6.5, material=METALS[4])


@pytest.mark.parametrize(
    "good, more",
    [
        (LACED, replace(LACED, built_up=BuiltUp(10.0, lacing_in2=0.002))),
        # Near L/d of 30 the safe stress falls faster than the square of L/d grows.
        (POST, replace(POST, width_in=0.25)),
    ],
    ids=["softly laced", "a plank"],
)
def test_a_piece_of_the_same_stuff_that_makes_the_whole_slender_is_not_counted(
    good, more
):
    way = "allowable-stress", "operating", False
    alone = room_of([good], False, way, 0.0)
    for pieces in ([good, more], [more, good]):
        assert room_of(pieces, False, way, 0.0) == pytest.approx(alone)


@settings(max_examples=200)
@given(st.lists(st.tuples(*[st.floats(0.5, 4.0)] * 3), min_size=2, max_size=8))
def test_no_line_is_left_out_that_is_highest_anywhere(lines):
    """What is not kept leaves no more room than what is, under any dead force."""
    lines = [(p, 1.0 + 0.2 * round(s), q) for p, s, q in lines]
    at = np.linspace(-20.0, 20.0, 4001)

    def most(some):
        rooms = [np.minimum(p - s * at, q) for p, s, q in some]
        return np.maximum(np.max(rooms, axis=0), 0.0)

    kept = resistance._not_below(lines)
    np.testing.assert_allclose(most([lines[k] for k in kept]), most(lines), rtol=1e-9)


@settings(max_examples=150)
@given(members(MOST_SORTED_OUT, loose=False), st.booleans(), ways, dead)
def test_the_most_of_all_choices_of_pieces_is_found(
    pieces, tension_only, way, dead_kip
):
    """Each choice by itself, so that none that is better was left unasked."""
    method, level, upward = way
    choices = [
        some
        for many in range(1, len(pieces) + 1)
        for some in combinations(pieces, many)
        if any(one.carries == "all" for one in some)
    ]
    alone = [
        capacity(made_of(some, tension_only=tension_only), method).together_kip(
            dead_kip, level, upward
        )
        for some in choices
    ]
    most = max(*alone, 0.0)
    assert room_of(pieces, tension_only, way, dead_kip) == pytest.approx(most, rel=1e-9)
    whole = capacity(made_of(pieces, tension_only=tension_only), method)
    many = answering._headrooms(whole, np.array([dead_kip] * 3), level, upward)
    assert np.maximum(many, 0.0) == pytest.approx([most] * 3, rel=1e-8, abs=1e-8)
