"""Forms side by side: figures that can be worked on paper, and what is said of them."""

import math
from dataclasses import replace

import pytest
from django.urls import reverse

from analysis import form_compare, form_compare_words
from analysis.engine import forms
from analysis.form_compare import Crossing, compare

PONY = Crossing(
    span_ft=75.0,
    panels=5,
    depth_ft=8.0,
    hip_offset_ft=6.0,
    dead_plf=300.0,
    live_plf=0.0,
    stress_ksi=16.0,
    area_in2=10.0,
    r_in=3.0,
)
ADDRESS = "/forms/compare/"


@pytest.fixture(scope="module")
def pony():
    return {one.entry.key: one for one in compare(["half-hip-pratt", "pratt"], PONY)}


def test_half_hip_against_full_slope(pony):
    """Statics: 300 lb per ft in panels of 15 ft is 4.5 kip a panel point, R = 9 kip.

    End posts: 17 long over 8 deep takes 9 x 17/8; 10 long takes 9 x 10/8. L0L1: 9 x
    15/8 and 9 x 6/8. At L1 the full slope hangs 4.5; in the half-hip the two diagonals'
    parts are 9 and 4.5 and their posts make up the difference: pressed by 4.5.
    """
    full, half = pony["pratt"], pony["half-hip-pratt"]
    assert full.end_post.length_ft == pytest.approx(17.0)
    assert half.end_post.length_ft == pytest.approx(10.0)
    assert full.end_post.governing_kip == pytest.approx(-9 * 17 / 8)
    assert half.end_post.governing_kip == pytest.approx(-9 * 10 / 8)
    assert full.next_to_bearing.governing_kip == pytest.approx(9 * 15 / 8)
    assert half.next_to_bearing.governing_kip == pytest.approx(9 * 6 / 8)
    assert full.first_upright.governing_kip == pytest.approx(4.5)
    assert half.first_upright.governing_kip == pytest.approx(-4.5)
    # At the middle both have M/h = 4.5 x 3 x 15/8.
    assert full.top.push_kip == half.top.push_kip == pytest.approx(4.5 * 45 / 8)
    assert (half.joints - full.joints, len(half.bars) - len(full.bars)) == (2, 4)


def test_slenderness_and_buckling_of_the_end_post(pony):
    """K = 0.875 for pins: 0.875 x 204/3 = 59.5; Euler pi^2 E A/(KL/r)^2."""
    post = pony["pratt"].end_post
    assert post.slenderness == pytest.approx(0.875 * 17 * 12 / 3)
    load = math.pi**2 * 29_000 * 10 / 59.5**2
    assert form_compare.euler_kip(post, 10.0) == pytest.approx(load)


def test_metal_at_one_stress_is_force_times_length(pony):
    """One panel load on a king post, 6 high and 16 long, W = 1.2 kip.

    Hanger 1.2 x 6; braces 0.6 x 10/6 x 10, twice; tie 0.6 x 8/6 x 8, twice: the sum
    40.0 kip-ft, over 16 ksi and at 3.4 lb.
    """
    crossing = Crossing(16, 2, 6, 1, 150, 0, 16, 10, 3)
    (king,) = compare(["king-post"], crossing)
    sum_kip_ft = 1.2 * 6 + 2 * 1.0 * 10 + 2 * 0.8 * 8
    assert king.metal_lb == pytest.approx(3.4 * sum_kip_ft / 16)
    assert king.column_metal_lb > king.metal_lb * 16 / 30


@pytest.mark.parametrize("form", form_compare.COMPARABLE)
def test_what_a_form_asks_of_its_panels_is_what_the_engine_asks(form):
    entry = forms.FORMS[form]
    for panels in range(2, 13):
        crossing = Crossing(120, panels, 15, 2, 300, 0, 16, 10, 3)
        if form_compare.panels_fault(entry, panels):
            with pytest.raises(forms.registry.FormError) as caught:
                compare([form], crossing)
            assert caught.value.field in ("panels", "upper_heights_ft")
        else:
            assert compare([form], crossing)


def test_a_moving_load_finds_what_is_pulled_and_pressed_by_turns():
    crossing = Crossing(90, 6, 20, 5, 100, 1000, 16, 10, 3)
    (pratt,) = compare(["pratt"], crossing)
    assert {"L3U2", "L3U4"} <= set(pratt.reversing)


def test_the_sentences_follow_the_figures(pony):
    said = form_compare_words.beside(pony["pratt"], pony["half-hip-pratt"])
    text = " ".join(said)
    assert "The end post of the half-hip Pratt is 10′-0″ long" in text
    assert "pressed by 11.2 kip" in text
    assert "that of the full-slope Pratt is 17′-0″ and pressed by 19.1 kip" in text
    assert "hangs in the full-slope Pratt, pulled by 4.5 kip, and stands in" in text
    assert "the half-hip Pratt, pressed by 4.5 kip" in text
    assert "4 more bars, 2 more joints" in text
    # Turned about, the same is said the other way.
    turned = " ".join(form_compare_words.beside(pony["half-hip-pratt"], pony["pratt"]))
    assert "hangs in the full-slope Pratt" in turned
    assert "4 fewer bars, 2 fewer joints" in turned
    assert "what a half-hip is for" not in turned
    short = "In short: the half-hip spends 4 bars and 2 joints more"
    assert short in text
    assert short in turned


def test_a_howe_wants_stiff_diagonals_and_a_pratt_stiff_posts():
    crossing = Crossing(90, 6, 20, 5, 600, 0, 16, 10, 3)
    pratt, howe = compare(["howe", "pratt"], crossing)
    text = " ".join(form_compare_words.beside(pratt, howe))
    assert (
        "The diagonals of the Pratt are pulled and those of the Howe pressed." in text
    )
    assert "25′-0″ in the Howe and 20′-0″ in the Pratt" in text


def test_half_hip_or_full_slope_turns_on_the_depth():
    """A shallow truss is cheaper with half-hips, a deep one without; even between."""
    full, half = compare(["pratt", "half-hip-pratt"], PONY)
    depth_ft = form_compare.even_depth_ft(full, half)

    def metal(depth):
        return [
            one.column_metal_lb
            for one in compare(
                ["pratt", "half-hip-pratt"], replace(PONY, depth_ft=depth)
            )
        ]

    assert metal(depth_ft)[0] == pytest.approx(metal(depth_ft)[1], rel=0.01)
    shallow, deep = metal(0.7 * depth_ft), metal(1.4 * depth_ft)
    assert shallow[1] < shallow[0]
    assert deep[0] < deep[1]
    said = " ".join(form_compare_words.beside(full, half))
    assert f"at about {depth_ft:.0f} ft. Shallower, the half-hip needs less" in said


# --- the page --------------------------------------------------------------------------


def test_the_page_begins_with_the_pair_that_members_argue_about(client, db):
    page = client.get(ADDRESS)
    html = page.content.decode()
    assert reverse("forms-compare") == ADDRESS
    assert "Half-hip Pratt beside full-slope Pratt" in html
    assert html.count('class="elevation') == 2
    assert "Screening estimate, not a load rating" in html
    for form in ("Pratt truss", "half-hip Pratt truss"):
        for what in ("Every bar", "Drawing"):
            assert f"{what} of the {form}" in html


def test_four_forms_stand_side_by_side(client, db):
    chosen = ["pratt", "howe", "warren-with-verticals", "k-truss"]
    page = client.get(ADDRESS, {"form": chosen, "panels": 8, "span_ft": "120'"})
    html = page.content.decode()
    assert html.count('class="elevation') == 4
    assert "Among them all" in html


@pytest.mark.parametrize(
    ("changes", "field", "words"),
    [
        ({"span_ft": "long"}, "span_ft", "is not a length that can be read"),
        ({"span_ft": "5"}, "span_ft", "Give 10 to 800 ft."),
        ({"span_ft": ""}, "span_ft", "Give a length."),
        ({"panels": "5.5"}, "panels", "Give a whole number."),
        ({"panels": "99"}, "panels", "Give 2 to 20 panels."),
        ({"form": ["pratt", "baltimore"]}, "panels", "at least 6 panels"),
        ({"form": ["baltimore", "fink"], "panels": "5"}, "panels", "2, 4, 8 or 16"),
        ({"form": ["pratt", "fink"], "panels": "6"}, "panels", "2, 4, 8 or 16"),
        ({"form": ["pratt"]}, "form", "1 is chosen"),
        ({"form": ["pratt", "arch"]}, "form", "arch is no form"),
        ({"depth_ft": "0"}, "depth_ft", "Give 1 to 200 ft."),
        ({"hip_offset_ft": "15"}, "hip_offset_ft", "less than a panel"),
        ({"dead_plf": "nan"}, "dead_plf", "Give a number"),
        ({"live_plf": "-1"}, "live_plf", "Give 0 to 20,000."),
        ({"stress_ksi": "1e999"}, "stress_ksi", "Give a number"),
        ({"area_in2": ""}, "area_in2", "Give a number."),
        ({"r_in": "0"}, "r_in", "Give 0.1 to 50."),
    ],
)
def test_bad_input_names_its_field_and_is_kept(client, db, changes, field, words):
    page = client.get(ADDRESS, changes)
    errors = page.context["form"].errors
    assert list(errors) == [field]
    html = page.content.decode()
    assert words in str(errors[field])
    assert "Not compared yet" in html
    for name, value in changes.items():
        if name != "form" and value:
            assert f'name="{name}" value="{value}"' in html


def test_no_form_ticked_is_an_error_and_not_the_example(client, db):
    page = client.get(ADDRESS, {"sent": "1", "span_ft": "75"})
    assert "Choose two forms or more." in str(page.context["form"].errors["form"])
