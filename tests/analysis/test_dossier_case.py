"""A nomination case: every row of the list met and missed, evidence, maps, signing."""

import copy
import datetime
import re
from itertools import pairwise

import pytest
from django.urls import reverse

from analysis import dossier, dossier_case, dossier_maps, region, section_drawing
from analysis.dossier_completeness import ADVICE, REQUIRED, completeness, gate
from analysis.dossier_photos import PHOTO_NAME, photo_name
from analysis.models import Dossier
from surveys.models import Photo
from tests.analysis.dossier_record import (
    ANSWERS,
    facts_of,
    make_complete_case,
    make_recorded_bridge,
    write_narrative,
)
from tests.makers import make_bridge, make_person
from tests.structures import make_visit_saying

TODAY = datetime.date(2024, 6, 1)
pytestmark = pytest.mark.django_db


@pytest.fixture
def facts():
    return facts_of(make_complete_case())


def rows_of(facts, today=TODAY):
    return {row.key: row for row in completeness(facts, today)}


def test_a_complete_case_lacks_nothing(facts):
    lacking = {key: row.says for key, row in rows_of(facts).items() if not row.is_there}
    assert lacking == {}
    assert len(rows_of(facts)) == 47
    assert gate(rows_of(facts).values()).words == "Complete"


# What unmakes each row of an otherwise complete dossier. The facts are a plain
# document, so that each row is missed by itself.


def answer(**changed):
    return lambda facts: facts["case"]["answers"].update(changed)


def text(**changed):
    return lambda facts: facts["narrative"].update(changed)


def bridge(**changed):
    return lambda facts: facts["bridge"].update(changed)


def every(name, **changed):
    def change(facts):
        for one in facts[name]:
            one.update(changed)

    return change


def no(name):
    return lambda facts: facts.update({name: []})


def _unpieced(facts):
    facts["spans"][0]["lines"][0]["members"][0].update(pieces=[])


def _sized(facts):
    facts["spans"][0]["measured_how"] = "unknown"


def _sourceless(facts):
    facts["spans"][0]["facets"][0]["source"] = None


UNMADE = {
    "names": [bridge(town=""), answer(other_names="")],
    "numbers": [answer(numbers=""), answer(numbers="114")],
    "location": [answer(state_code="Pa"), answer(county_code="1"), answer(vicinity="")],
    "publication": [
        answer(not_for_publication=""),
        answer(not_for_publication="yes", not_for_publication_why=""),
    ],
    "owner": [answer(owner_checked="2021-01-01"), answer(owner_class="")],
    "counts": [answer(contributing="2"), answer(contributing="one")],
    "functions": [answer(current_function="vacant"), answer(historic_function="")],
    "materials": [answer(materials=["concrete"]), answer(classification="")],
    "summary": [
        answer(opening_description="Too short."),
        answer(
            opening_description=ANSWERS["opening_description"].replace("Alder", "x")
        ),
        answer(opening_description=ANSWERS["opening_description"] * 4),
    ],
    "description": [text(description=""), _unpieced],
    "sizes": [_sized],
    "alterations": [
        no("repairs"),
        every("repairs", sources=[]),
        lambda facts: facts.update(repairs=[], visits=[]),
    ],
    "integrity": [
        answer(integrity_setting=""),
        answer(integrity_setting_why=""),
        answer(integrity_setting_on="2010"),
    ],
    "criteria": [answer(criteria=[])],
    "considerations": [
        answer(consideration_d=""),
        answer(consideration_b="yes", consideration_b_why=""),
        lambda facts: facts["events"].append({"kind": "moved", "source": None}),
        bridge(built="1990"),
    ],
    "areas": [answer(areas=[]), answer(areas=["engineering", "commerce"])],
    "level": [answer(level="")],
    "period": [
        text(period="1900/1910"),
        text(period="long ago"),
        answer(period_why=""),
    ],
    "dates": [answer(significant_dates="1931"), answer(significant_dates="")],
    "builder": [no("attributions"), every("attributions", source=None)],
    "opening": [answer(opening_significance="It is old."), answer(level="national")],
    "significance": [
        text(significance="Old."),
        lambda facts: facts["case"].update(unknown_citations=["S99"]),
    ],
    "context": [answer(context=""), answer(context="There are others.")],
    "sources": [no("sources"), every("sources", held_by="", url="")],
    "prior": [answer(prior_survey="")],
    "repositories": [answer(repositories="")],
    "acreage": [answer(acreage="small"), answer(acreage="0")],
    "coordinates": [
        answer(end_a="39.67, -39.84"),
        answer(position_how=""),
        lambda facts: facts["map"].update(county="Sallow County"),
    ],
    "boundary": [text(boundary="Round the bridge.")],
    "boundary-why": [answer(boundary_why="It seemed right.")],
    "location-map": [lambda facts: facts["map"].update(is_covered=False)],
    "sketch-map": [every("photographs", bearing_deg=None)],
    "photographs": [
        every("photographs", viewpoint=""),
        every("photographs", latest="2018-01-01"),
        every("photographs", height_px=900),
        every("photographs", is_drawing=True),
        every("photographs", is_chosen=False),
    ],
    "photo-names": [answer(state_code="")],
    "photo-log": [every("photographs", caption=""), every("photographs", credit="")],
    "historic-images": [every("photographs", taken="1912", rights="")],
    "preparer": [text(preparer=""), answer(prepared_on="soon")],
    "notice": [answer(owner_notified=""), answer(owner_reply="")],
    "ledger": [_sourceless],
    "stamp": [lambda facts: facts.update(engine="later")],
    "questions": [answer(questions_read="no")],
    "sensitive": [lambda facts: facts.update(kept_back_but_written=["A name"])],
    "status": [bridge(status="closed")],
    "plates": [no("plates"), every("plates", transcription="")],
    "visited": [no("visits")],
    "checked": [no("checks")],
    "disputed": [every("claims", is_chosen=False)],
}


def test_each_row_is_missed_when_what_it_wants_is_not_there(facts):
    assert list(UNMADE) == list(rows_of(facts))
    for key, changes in UNMADE.items():
        for number, change in enumerate(changes):
            changed = copy.deepcopy(facts)
            change(changed)
            row = rows_of(changed)[key]
            assert not row.is_there, (key, number)
            assert row.says, (key, number)


def test_a_required_row_closes_the_gate_and_advice_does_not(facts):
    rows = rows_of(facts)
    assert {row.level for row in rows.values()} == {REQUIRED, "usual", ADVICE}
    UNMADE["level"][0](facts)
    assert not gate(rows_of(facts).values()).is_complete
    facts["case"]["answers"]["level"] = "local"
    UNMADE["stamp"][0](facts)
    closed = gate(rows_of(facts).values())
    assert closed.is_complete
    assert [row.key for row in closed.advice] == ["stamp"]


# Evidence and contradictions.


def test_shares_of_original_members_and_metal_are_those_counted_by_hand():
    made = make_recorded_bridge()
    (line, *_) = facts_of(made)["evidence"]["lines"]
    record = facts_of(made)["spans"][0]["lines"][0]["members"]
    fresh = [
        one["member"]
        for one in record
        if all(piece["origin"] == "original" for piece in one["pieces"])
    ]
    assert (line["original"], line["known"]) == (len(fresh), len(record))
    assert 0.5 < line["metal_share"] < 1
    # Two 3 by 1/2 in flats of wrought metal at 490 lb a cubic foot: 2 · 1.5 · 490/144.
    flats = {"shape": "flat-bar", "count": 2, "width_in": 3.0, "thickness_in": 0.5}
    assert dossier_case.piece_weight_plf(flats) == pytest.approx(10.208, abs=1e-3)


def test_what_is_written_is_held_against_what_was_seen():
    made = make_recorded_bridge()
    make_visit_saying(made, 2021, gone=["plate/portal"])
    write_narrative(
        made,
        integrity="The builder's plate remains in place.",
        integrity_location="retained",
        consideration_b="no",
        current_function="vacant",
    )
    made.events.create(kind="moved", when="1931")
    told = " ".join(dossier_case.contradictions(facts_of(made)))
    assert "seen gone on 2 June 2021" in told
    assert "the bridge was moved: 1931" in told
    assert "Consideration b is answered no" in told
    assert "Vacant, not in use" in told


def test_others_like_it_are_on_the_same_form_and_say_why():
    one = make_bridge()
    make_bridge(name="Mill Lane Bridge", built="1885")
    make_bridge(name="Warren Bridge", span={"form": "warren"}, lay_out=False)
    (found,) = dossier_case.comparables(one)
    assert found["name"] == "Mill Lane Bridge"
    assert "same form, Pratt" in found["why"]
    assert "built in the same decade" in found["why"]


def test_a_text_that_holds_what_is_kept_back_is_found():
    made = make_recorded_bridge()
    assert facts_of(made)["kept_back_but_written"] == []
    write_narrative(made, boundary="Ask at the white house for the gate. 40 ft.")
    assert facts_of(made)["kept_back_but_written"] == ["A note on a private way"]


def test_the_ends_of_a_sensitive_bridge_are_kept_back():
    made = make_complete_case(is_position_sensitive=True)
    assert facts_of(made)["case"]["answers"]["end_a"] == ""
    assert facts_of(made, ["position"])["case"]["answers"]["end_a"]
    assert "39.674" not in str(facts_of(made))


# The photograph log and the maps.


def test_photographs_are_named_as_the_policy_wants(facts):
    # State, county, property and a four-digit number apart by underscores, as the
    # National Park Service's photograph policy of about 2013 gives it.
    name = photo_name(facts, 1)
    assert name == "PA_Alder County_Tanners Ford Bridge_0001.jpg"
    assert PHOTO_NAME.fullmatch(name)
    assert not PHOTO_NAME.fullmatch("PA_Alder_Bridge_1.jpg")


def test_the_log_keeps_its_order_and_another_choice_is_not_overwritten(client):
    made = make_complete_case()
    client.force_login(make_person("odile", "officer"))
    keys = [str(one.client_id) for one in Photo.objects.order_by("-id")[:2]]
    where = reverse("dossier-photographs", args=[made.slug])
    assert client.get(where).status_code == 200
    sent = {"revision": 1, keys[0]: "1", keys[1]: "2"}
    assert client.post(where, sent).status_code == 302
    assert Dossier.objects.get(bridge=made).photos == keys
    shown = [one["key"] for one in facts_of(made)["photographs"] if one["is_chosen"]]
    assert shown == keys
    client.post(where, {"revision": 1, keys[1]: "1"})
    assert Dossier.objects.get(bridge=made).photos == keys
    wrong = client.post(where, {"revision": 2, keys[0]: "first"})
    assert wrong.status_code == 400
    assert 'value="first"' in wrong.content.decode()


def test_the_sketch_map_has_one_arrow_for_each_photograph(facts):
    drawn = str(dossier_maps.sketch(facts))
    chosen = [one for one in facts["photographs"] if one["is_chosen"]]
    assert re.findall(r">(\d+)</text>", drawn) == [str(one["number"]) for one in chosen]
    assert "1 looks northeast" in drawn
    assert "north up" in drawn


def test_the_location_map_names_the_river_and_says_its_datum(facts):
    drawn = str(dossier_maps.location(facts))
    assert "Alder River" in drawn
    assert "WGS 84" in drawn
    assert "km (" in drawn
    facts["map"]["features"] = []
    assert dossier_maps.location(facts) == ""


def test_a_place_is_found_in_its_county_and_none_beyond_the_region():
    assert region.around(39.67411, -39.84596)["county"] == "Alder County"
    assert region.around(10.0, 10.0) == {"is_covered": False, "county": ""}


def test_a_section_is_drawn_with_the_area_that_its_pieces_have():
    # The outlines against the listed area of an American Standard channel, 10 in at
    # 15.3 lb/ft: 4.48 in² (AISC); fillets and the slope of flanges are left out.
    pair = {
        "components": [
            {"shape": "channel", "count": 2, "depth_in": 10, "weight_plf": 15.3}
        ],
        "built_up": {
            "webs_apart_in": 8,
            "flanges": "out",
            "cover_plate": {"width_in": 16, "thickness_in": 0.25},
        },
    }
    left, right, cover = section_drawing._shapes(pair)
    assert area(left.points) == pytest.approx(4.48, rel=0.03)
    assert area(cover.points) == pytest.approx(4.0)
    assert max(x for x, _ in left.points) == -4.0
    assert min(x for x, _ in right.points) == 4.0
    drawn = section_drawing.section(pair, "Section of the chord.", "one")
    assert drawn.count("<path") == 3
    bare = {"components": [{"shape": "eyebar", "count": 2}]}
    assert section_drawing.section(bare, "Section.", "two") == ""


def area(points):
    pairs = pairwise([*points, points[0]])
    return abs(sum(x1 * y2 - x2 * y1 for (x1, y1), (x2, y2) in pairs)) / 2


def test_the_plan_says_which_way_the_water_flows_and_how_the_bridge_lies(facts):
    (span,) = facts["spans"]
    assert "from the upstream truss" in str(dossier_maps.plan(span))
    span["lines"] = span["lines"][:1]
    assert dossier_maps.plan(span) == ""
    # 21.2 m north and 22.3 m east: a bearing of 46 degrees, by hand.
    assert dossier_maps.bearing_of(facts) == pytest.approx(46.5, abs=1.0)
    facts["case"]["answers"]["end_b"] = ""
    assert dossier_maps.bearing_of(facts) is None


def test_drawings_stand_in_for_photographs_in_a_demonstration_only(facts):
    UNMADE["photographs"][3](facts)
    assert "Only drawings are chosen." in rows_of(facts)["photographs"].says
    facts["is_demonstration"] = True
    assert rows_of(facts)["photographs"].says == "3 drawings stand in for photographs."


# Signing and cases.


def test_a_signature_stands_under_what_was_read_and_nothing_later():
    made = make_complete_case()
    odile = make_person("odile", "officer", credit_name="Odile Farrow")
    with pytest.raises(dossier.NotAsRead):
        dossier.sign(bridge=made, person=odile, revision=7)
    dossier.sign(bridge=made, person=odile, revision=1)
    assert facts_of(made)["case"]["signed"]["is_current"]
    dossier.save_narrative(
        bridge=made, person=odile, revision=1, written={"level": "statewide"}
    )
    signed = facts_of(made)["case"]["signed"]
    assert (signed["is_current"], signed["revision"]) == (False, 1)


def test_a_new_case_keeps_the_old_and_begins_without_its_findings(client):
    made = make_complete_case()
    client.force_login(make_person("odile", "officer"))
    where = reverse("dossier-case", args=[made.slug])
    client.post(where, {"title": ""})
    assert Dossier.objects.filter(bridge=made).count() == 1
    client.post(where, {"title": "Amendment after the move"})
    new, old = Dossier.objects.filter(bridge=made)
    assert (new.number, new.closed_at, old.number) == (2, None, 1)
    assert old.closed_at is not None
    assert new.answers["level"] == "local"
    assert "integrity_setting" not in new.answers
    assert "integrity_setting" in old.answers
    assert facts_of(made)["case"]["number"] == 2
    assert dossier.facts(made, case=1)["case"]["closed_on"]


def test_a_citation_is_printed_by_its_number_and_an_unknown_one_told(facts):
    assert re.search(r"Alder \[\d+\]\.", facts["narrative"]["significance"])
    made = make_bridge(name="Other Bridge", lay_out=False)
    write_narrative(made, significance="Old [S999999].")
    assert facts_of(made)["case"]["unknown_citations"] == ["S999999"]
