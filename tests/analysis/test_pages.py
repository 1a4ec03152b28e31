"""The pages of a bridge: what stands there, its history, its trusses."""

import json
import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from analysis import drawings, services, telling
from analysis.models import ConfigurationCheck
from bridges.models import Claim, LifeEvent, Link, Plate, Source
from surveys.models import Repair, Visit
from tests.makers import make_bridge, make_person
from tests.structures import (
    GRID,
    ROD,
    make_described_bridge,
    make_visit_saying,
)

pytestmark = pytest.mark.django_db
CAUTION = "Screening estimate, not a load rating, and not for posting."


def heavier_counters():
    rod = {**ROD, "diameter_in": 1.5, "origin": "replacement"}
    return {
        f"span-1/{line}/{name}": {"components": [rod]}
        for line in ("upstream", "downstream")
        for name in ("L2U3", "L3U2")
    }


@pytest.fixture
def bridge():
    """Described in 1990, with a new deck and new counters in 2019, checked."""
    bridge = make_described_bridge()
    make_visit_saying(bridge, 2019, changed={"span-1/deck": GRID} | heavier_counters())
    services.recheck(bridge=bridge)
    return bridge


def page(client, bridge, tail=""):
    answer = client.get(f"/bridges/{bridge.slug}/{tail}")
    assert answer.status_code == 200
    return answer.content.decode()


def visits(bridge):
    return list(Visit.objects.filter(bridge=bridge).in_time_order())


def compared(client, bridge, first, second):
    return page(
        client, bridge, f"history/?from={first.client_id}&to={second.client_id}"
    )


def words_of(html):
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html))


def test_a_bridge_page_tells_each_change_beside_what_it_did(client, bridge):
    text = words_of(page(client, bridge))
    assert "Deck replaced" in text
    assert "Counters L2U3 and L3U2, upstream and downstream trusses, replaced" in text
    result = services.history(bridge)[-1].lines[0][3]
    deck = next(one for one in result["shares"] if one["part"] == "deck")
    told = drawings.signed(deck["limit_tons"]["share"])
    assert f"{told} tons on the estimate" in text


@pytest.mark.parametrize("tail", ["", "history/", "trusses/upstream/"])
def test_every_page_that_shows_a_load_figure_carries_the_caution(client, bridge, tail):
    html = page(client, bridge, tail)
    assert "tons" in html
    assert CAUTION in html


@pytest.mark.parametrize("tail", ["", "history/", "trusses/upstream/"])
def test_no_page_passes_judgement_on_a_structure(client, bridge, tail):
    text = words_of(page(client, bridge, tail)).lower()
    assert not re.search(r"\b(safe|unsafe|ok|passe[sd]|fail(s|ed)?)\b", text)


def test_a_bare_bridge_says_what_would_be_here_and_how_to_begin(client):
    bridge = make_bridge(lay_out=False)
    assert "No visit is recorded." in page(client, bridge)
    assert "No visit is recorded." in page(client, bridge, "history/")
    assert "still to be made" in words_of(page(client, bridge, "trusses/upstream/"))


def test_a_bridge_whose_form_is_not_known_to_the_check_says_so(client):
    bridge = make_bridge(span={"form": "other", "panels": None, "depth_ft": None})
    make_visit_saying(bridge, 2001, changed={"limit": {"tons": 3.0}})
    services.recheck(bridge=bridge)
    text = words_of(page(client, bridge))
    assert "no drawing" in text
    assert "This form is not one that the truss check knows." in text
    assert "This form is not one" in words_of(page(client, bridge, "trusses/upstream/"))


def test_a_bridge_kept_from_visitors_is_not_there_for_them(client, bridge):
    bridge.is_public = False
    bridge.save()
    for tail in (
        "",
        "history/",
        "trusses/upstream/",
        "trusses/upstream/check-file.json",
    ):
        assert client.get(f"/bridges/{bridge.slug}/{tail}").status_code == 404
    client.force_login(make_person("member"))
    assert client.get(f"/bridges/{bridge.slug}/").status_code == 200


def test_a_visitor_sees_only_the_area_of_a_sensitive_bridge(client, bridge):
    bridge.is_position_sensitive = True
    bridge.latitude, bridge.longitude = 41.234567, -77.456789
    bridge.save()
    html = page(client, bridge)
    assert "41.23457" not in html
    assert "the exact place is not shown" in html
    client.force_login(make_person("member"))
    assert "41.23457" in page(client, bridge)


def test_what_only_the_society_may_see_is_kept_from_visitors(client, bridge):
    bridge.owner, bridge.owner_contact = "Alder County", "555-0100, ask for the clerk"
    bridge.save()
    Plate.objects.create(
        bridge=bridge, key="oval", location="portal", whereabouts="the town vault"
    )
    html = page(client, bridge)
    assert "Alder County" in html
    assert "555-0100" not in html
    assert "town vault" not in html
    client.force_login(make_person("member"))
    html = page(client, bridge)
    assert "555-0100" in html
    assert "town vault" in html


def test_a_visit_that_waits_for_review_changes_no_page(client, bridge):
    visit = visits(bridge)[-1]
    Visit.objects.filter(pk=visit.pk).update(status=Visit.Status.SUBMITTED)
    services.recheck(bridge=bridge)
    for tail in ("", "history/", "trusses/upstream/"):
        assert "2019" not in words_of(page(client, bridge, tail))


def test_facts_show_how_sure_they_are_and_by_whom(client, bridge):
    source = Source.objects.create(
        title="Order book", locator="sheet 4", held_by="Mill"
    )
    span = bridge.spans.get()
    span.material_source, span.material_confidence = source, "possible"
    span.save()
    Claim.objects.create(
        bridge=bridge, about="built", value="1889", source=source, is_chosen=True
    )
    LifeEvent.objects.create(bridge=bridge, kind="moved", when="1921~", source=source)
    repair = Repair.objects.create(bridge=bridge, title="Deck relaid", when="1990/2019")
    repair.sources.add(source)
    Link.objects.create(
        bridge=bridge,
        title="A talk",
        url="https://example.org/talk",
        kind="recording",
        starts_at_s=754,
    )
    text = words_of(page(client, bridge))
    assert re.search(r"Wrought iron possible\s*; Order book, sheet 4", text)
    assert "taken as right" in text
    assert "about 1921" in text
    assert "between 1990 and 2019" in text
    assert "from 12:34" in text
    assert text.count("kept at Mill") == 1


def test_what_was_typed_in_is_shown_as_typed_and_never_as_mark_up(client, bridge):
    bridge.name = bridge.summary = "<script>alert(1)</script>"
    bridge.save()
    Visit.objects.filter(bridge=bridge).update(notes="<img src=x onerror=alert(2)>")
    first, second = visits(bridge)
    for html in (
        page(client, bridge),
        page(client, bridge, "history/"),
        page(client, bridge, "trusses/upstream/"),
        compared(client, bridge, first, second),
    ):
        assert "<script>alert" not in html
        assert "<img src=x" not in html


def test_the_last_danger_is_told_at_the_top_with_whom_to_tell(client, bridge):
    Visit.objects.filter(pk=visits(bridge)[-1].pk).update(
        is_danger=True, danger_note="Pin at L0 working out."
    )
    html = page(client, bridge)
    assert html.index("Pin at L0 working out.") < html.index("The trusses as last seen")
    assert "tell the owner" in html


# History.


def test_history_lists_every_visit_in_order_with_its_estimates(client, bridge):
    text = words_of(page(client, bridge, "history/"))
    assert text.index("1990") < text.index("2019")
    check = ConfigurationCheck.objects.latest("visit__when_latest").check_made
    assert f"about {check.limit_tons:.1f} tons, by estimate" in text


def test_two_visits_compared_show_both_drawings_and_each_member_twice(client, bridge):
    first, second = visits(bridge)
    html = compared(client, bridge, first, second)
    for name in ("before-upstream", "after-upstream", "before-downstream"):
        assert f'id="{name}-title"' in html
    after = html[html.index('id="after-upstream-title"') :]
    assert "changed" in after[: after.index("</svg>")]
    before = html[html.index('id="before-upstream-title"') :]
    assert "changed" not in before[: before.index("</svg>")]
    assert "#m-upstream-L2U3" in html
    assert 'id="m-upstream-L2U3"' in html


def test_the_order_in_which_two_visits_are_named_does_not_matter(client, bridge):
    first, second = visits(bridge)
    one = compared(client, bridge, first, second)
    other = compared(client, bridge, second, first)
    assert one.count("Deck replaced") == other.count("Deck replaced")
    head = re.compile(r"<h1>(.*?)</h1>", re.DOTALL)
    assert head.search(one)[1] == head.search(other)[1]


def test_visits_far_apart_are_compared_as_asked_and_nothing_is_stored(client, bridge):
    make_visit_saying(bridge, 2022, changed={"limit": {"tons": 3.0}})
    services.recheck(bridge=bridge)
    first, _, last = visits(bridge)
    before = ConfigurationCheck.objects.count()
    text = words_of(compared(client, bridge, first, last))
    assert "Deck replaced" in text
    assert "tons on the estimate" in text
    assert ConfigurationCheck.objects.count() == before


@pytest.mark.parametrize(
    "query",
    [
        "from=x&to=y",
        "from=",
        "to=00000000-0000-4000-8000-000000000000",
        "from=%00&to=1",
    ],
)
def test_visits_that_are_not_there_are_refused_in_words(client, bridge, query):
    html = page(client, bridge, f"history/?{query}")
    if query != "from=":
        assert "Choose two visits of this bridge" in html


def test_one_visit_compared_with_itself_is_refused_in_words(client, bridge):
    first, _ = visits(bridge)
    assert "one and the same visit" in compared(client, bridge, first, first)


def test_a_visit_of_another_bridge_cannot_be_compared(client, bridge):
    other = make_bridge(name="Elsewhere Bridge")
    make_visit_saying(other, 2001, changed={"limit": {"tons": 3.0}})
    html = compared(client, bridge, visits(bridge)[0], visits(other)[0])
    assert "Choose two visits of this bridge" in html


# One truss.


def test_a_truss_page_gives_each_force_and_what_it_rests_on(client, bridge):
    html = page(client, bridge, "trusses/upstream/")
    made = ConfigurationCheck.objects.filter(truss_line__key="upstream").latest(
        "visit__when_latest"
    )
    answer = made.check_made.answer
    for name, told in answer["members"].items():
        row = re.search(rf'<tr id="m-upstream-{name}".*?</tr>', html, re.DOTALL)[0]
        assert drawings.signed(told["dead_kip"]) in row
    text = words_of(html)
    for said in (*answer["sources"], *made.assumptions):
        assert words_of(re.sub(r"[<>&'\"].*", "", said)) in text


@pytest.mark.parametrize(
    "as_of, year",
    [("", "2019"), ("2019", "2019"), ("2018", "1990"), ("1995-06", "1990")],
)
def test_a_truss_is_shown_as_of_any_date(client, bridge, as_of, year):
    html = page(client, bridge, f"trusses/upstream/?as_of={as_of}")
    lede = re.search(r'class="lede">(.*?)</p>', html, re.DOTALL)[1]
    assert year in lede


def test_a_date_before_every_visit_has_no_truss(client, bridge):
    text = words_of(page(client, bridge, "trusses/upstream/?as_of=1900"))
    assert "No visit had been made by then." in text


def test_a_date_that_cannot_be_read_is_refused_in_words_and_kept(client, bridge):
    html = page(client, bridge, "trusses/upstream/?as_of=last+spring")
    assert "is not a date that can be read" in html
    assert 'value="last spring"' in html


def test_a_truss_that_is_not_there_is_not_found(client, bridge):
    for address in ("north", "2-upstream"):
        assert (
            client.get(f"/bridges/{bridge.slug}/trusses/{address}/").status_code == 404
        )


def test_the_check_file_can_be_taken_away_and_gives_the_same_answer(client, bridge):
    from analysis.engine.answer import answer

    path = f"/bridges/{bridge.slug}/trusses/upstream/check-file.json"
    given = client.get(path)
    assert "attachment" in given["Content-Disposition"]
    made = ConfigurationCheck.objects.filter(truss_line__key="upstream").latest(
        "visit__when_latest"
    )
    again, stored = answer(json.loads(given.content)), made.check_made.answer
    assert again["input_sha256"] == stored["input_sha256"]
    limits = [one["governing"]["operating"]["limit_tons"] for one in (again, stored)]
    assert limits[0] == pytest.approx(limits[1], rel=1e-9)
    assert client.get(f"{path}?as_of=1900").status_code == 404
    assert client.get(f"{path}?as_of=soon").status_code == 404


def test_an_estimate_below_the_posted_limit_says_to_tell_the_owner(client, bridge):
    make_visit_saying(bridge, 2020, changed={"limit": {"tons": 90.0}})
    services.recheck(bridge=bridge)
    text = words_of(page(client, bridge, "trusses/upstream/"))
    assert "The estimate is below the posted limit" in text
    assert "Tell the owner" in text


def test_a_truss_that_could_not_stand_asks_after_the_record(client, bridge):
    make_visit_saying(bridge, 2020, gone=["span-1/upstream/L0L1"])
    services.recheck(bridge=bridge)
    text = words_of(page(client, bridge, "trusses/upstream/"))
    assert "As recorded, this truss could not stand" in text
    assert "gone" in page(client, bridge, "trusses/upstream/")


# Arranging.


def test_a_force_that_reverses_is_told(bridge):
    row = drawings.MemberRow(
        "L2U2", "a", "", "", None, False, False,
        {"dead_kip": -1.0, "live_max_kip": 3.0, "live_min_kip": -4.0}, None, None,
    )  # fmt: skip
    assert row.is_reversing


@pytest.mark.parametrize(
    "told, most, share",
    [
        # Pull 10 + 20 of 60; push none.
        ((10.0, 20.0, -5.0, 60.0, None), 30.0, 0.5),
        # Push 8 + 12 of 40.
        ((-8.0, 0.0, -12.0, None, 40.0), -20.0, 0.5),
        # Both ways: 2 of 60 pulled, 22 of 44 pushed.
        ((-8.0, 10.0, -14.0, 60.0, 44.0), -22.0, 0.5),
        # Sizes not known.
        ((10.0, 20.0, 0.0, None, None), 30.0, None),
    ],
)
def test_the_part_used_is_the_greatest_force_over_its_allowable(told, most, share):
    dead, high, low, tension, compression = told
    answer = {
        "dead_kip": dead,
        "live_max_kip": high,
        "live_min_kip": low,
        "resistance": {
            "operating": {"tension_kip": tension, "compression_kip": compression}
        },
    }
    assert drawings.most_kip(answer) == pytest.approx(most)
    assert drawings.used(answer) == (None if share is None else pytest.approx(share))


def test_two_trusses_with_the_same_figures_are_told_in_one_line(bridge):
    rows = telling.step_rows(services.history(bridge)[-1])
    deck = next(row for row in rows if row.change.part == "deck")
    assert [effect.where for effect in deck.effects] == [
        "upstream and downstream trusses"
    ]


def test_trusses_with_other_figures_are_told_apart(bridge):
    plated = {**ROD, "diameter_in": 2.0, "count": 2, "origin": "replacement"}
    make_visit_saying(
        bridge, 2021, changed={"span-1/upstream/L1U1": {"components": [plated]}}
    )
    make_visit_saying(bridge, 2022, changed={"span-1/deck": {"layers": [
        {"material": "concrete", "psf": 62.0}]}})  # fmt: skip
    services.recheck(bridge=bridge)
    rows = telling.step_rows(services.history(bridge)[-1])
    assert len(rows[0].effects) == 2


def test_trusses_whose_shares_differ_are_told_apart(bridge):
    """The same change, the same governing bar, 0.2 tons between the two trusses."""
    step = services.history(bridge)[-1]
    change = next(one for one in step.changes if one.part == "deck")

    def result(share):
        figures = {"share": share, "alone": share}
        told = {"keys": [change.key], "title": "x", "limit_tons": figures}
        return {"after": {"member": "U2U3"}, "shares": [told]}

    lines = [line for line, *_ in step.lines]
    apart = zip(lines, (result(1.0), result(1.2)), strict=True)
    alike = zip(lines, (result(1.0), result(1.01)), strict=True)
    assert len(telling.effect_rows(change, apart)) == 2
    assert len(telling.effect_rows(change, alike)) == 1


# Cost.


def queries(client, path):
    client.get(path)
    with CaptureQueriesContext(connection) as counted:
        assert client.get(path).status_code == 200
    return len(counted)


@pytest.mark.parametrize("tail", ["", "history/", "trusses/upstream/"])
def test_a_long_record_costs_no_more_queries_than_a_short_one(client, bridge, tail):
    path = f"/bridges/{bridge.slug}/{tail}"
    source = Source.objects.create(title="Order book")
    repair = Repair.objects.create(bridge=bridge, title="Repair")
    repair.sources.add(source)
    few = queries(client, path)
    for year in range(2020, 2026):
        tons = {"tons": float(year - 2015)}
        make_visit_saying(bridge, year, changed={"limit": tons})
        Claim.objects.create(bridge=bridge, about=f"x{year}", value="y", source=source)
        repair = Repair.objects.create(bridge=bridge, title=f"Repair {year}")
        repair.sources.add(source)
        Plate.objects.create(bridge=bridge, key=f"p{year}", location="portal")
        LifeEvent.objects.create(bridge=bridge, kind="altered", when=str(year))
    services.recheck(bridge=bridge)
    assert queries(client, path) == few


def test_the_truss_page_draws_the_line_of_the_bar_asked_for(client, bridge):
    html = page(client, bridge, "trusses/upstream/?member=L2L3")
    assert 'data-bar="L2L3" class="stage-bar is-tension is-chosen"' in html
    assert "pulls L2L3 with" in html
    assert html.count('class="wheel"') == 2


def test_the_truss_page_says_how_far_off_and_what_to_measure(client, bridge):
    words = words_of(page(client, bridge, "trusses/upstream/"))
    assert "Nine times in ten the estimate comes out between" in words
    assert "What to measure next" in words
    assert "What it was designed for" in words


def test_a_bridge_page_says_the_band_in_short(client, bridge):
    assert "nine times in ten" in words_of(page(client, bridge))
    assert "nine times in ten" in words_of(page(client, bridge, "history/"))
