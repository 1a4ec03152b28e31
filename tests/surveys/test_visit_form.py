"""The visit form as it works without a script, with one hand, and with mistakes."""

import datetime
import re

import pytest
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from surveys import services, stash
from surveys.models import Element, Observation, Photo, SecondSubmission, Visit
from tests.images import jpeg, with_place
from tests.makers import make_bridge, make_person, make_visit, photo_document
from tests.pages import filled

pytestmark = pytest.mark.django_db

TIMBER = {"layers": [{"material": "timber", "thickness_in": 3.0}]}
BARS = {
    "shape": "eyebar",
    "count": 2,
    "width_in": 4.0,
    "thickness_in": 0.875,
    "origin": "original",
}
ROD = {"shape": "round-rod", "count": 1, "diameter_in": 1.125, "origin": "original"}
LINES = ("upstream", "downstream")
COUNTERS = [f"span-1/{line}/{m}" for line in LINES for m in ("L2U3", "L3U2")]


@pytest.fixture
def ada(db):
    return make_person("ada", credit_name="Ada Weir")


@pytest.fixture
def rex(db):
    return make_person("rex", "reviewer")


@pytest.fixture
def bridge(ada, rex):
    bridge = make_bridge(owner="Alder County", owner_contact="555 0100")
    said = {path: {"components": [ROD]} for path in COUNTERS}
    said |= {
        "span-1/deck": TIMBER,
        "limit": {"tons": 8, "wording": "WEIGHT LIMIT 8 TONS"},
        "span-1/upstream/L1L2": {"components": [BARS]},
        "span-1/railing-upstream": "gone",
    }
    make_visit(bridge, ada, rex, date="1990-05-01", said=said)
    return bridge


@pytest.fixture
def phone(ada):
    client = Client()
    client.force_login(ada)
    return client


def address(bridge):
    return f"/bridges/{bridge.slug}/visit/"


def name_of(bridge, path):
    return f"e{Element.objects.get(bridge=bridge, path=path).pk}"


def opened(phone, bridge, query=""):
    response = phone.get(address(bridge) + query)
    assert response.status_code == 200
    return filled(response)


def send(phone, bridge, fields, action="send", **files):
    return phone.post(address(bridge), {**fields, "action": action, **files})


def stored(client_id):
    return Visit.objects.get(client_id=client_id[0])


def text_of(response):
    text = re.sub(r"<[^>]+>", " ", response.content.decode())
    return re.sub(r"\s+", " ", text)


# -- what it begins with


def test_it_shows_what_was_last_recorded_when_and_by_which_visit(phone, bridge, rex):
    later = {"span-1/deck": "same"}
    make_visit(bridge, None, rex, date="2004-06", said=later)
    text = text_of(phone.get(address(bridge)))
    assert "3 in timber plank recorded 1 May 1990, seen again June 2004" in text
    assert "two eyebars 4 × 7/8 in seen 1 May 1990" in text
    assert "Upstream railing not there" in text


def test_nothing_is_answered_until_somebody_answers(phone, bridge):
    fields = opened(phone, bridge)
    answers = {v[0] for name, v in fields.items() if re.fullmatch(r"e\d+", name)}
    assert answers == {""}
    response = send(phone, bridge, {**fields, "notes": ["Passed by."]})
    assert response.status_code == 302
    assert not Observation.objects.filter(visit=stored(fields["client_id"])).exists()


def test_the_date_is_today_unless_said_otherwise(phone, bridge):
    assert opened(phone, bridge)["date"] == [timezone.localdate().isoformat()]


def test_an_older_visit_begins_from_what_was_recorded_by_then(phone, bridge):
    page = phone.get(address(bridge) + "?date=1950&basis=photograph")
    assert "3 in timber plank" not in text_of(page)
    fields = filled(page)
    assert (fields["date"], fields["basis"]) == (["1950"], ["photograph"])


def test_an_element_never_recorded_cannot_be_the_same(phone, bridge):
    page = phone.get(address(bridge)).content.decode()
    setting, deck = name_of(bridge, "setting"), name_of(bridge, "span-1/deck")
    assert f'name="{deck}" value="same"' in page
    assert f'name="{setting}" value="same"' not in page


def test_the_owner_is_named_where_danger_is(phone, bridge):
    text = text_of(phone.get(address(bridge)))
    assert "Leave the deck" in text
    assert "Alder County, 555 0100" in text


def test_only_volunteers_are_given_the_form(bridge):
    assert Client().get(address(bridge)).status_code == 302
    stranger = make_person("sam")
    stranger.groups.clear()
    client = Client()
    client.force_login(stranger)
    assert client.get(address(bridge)).status_code == 403
    assert client.post(address(bridge), {}).status_code == 403


def test_it_costs_the_same_queries_for_one_span_and_for_four(phone, ada, rex):
    def queries(bridge):
        with CaptureQueriesContext(connection) as seen:
            opened(phone, bridge)
        return [query["sql"] for query in seen.captured_queries]

    small = make_bridge(name="Small")
    make_visit(small, ada, rex, date="1990", said={"span-1/deck": TIMBER})
    large = make_bridge(name="Large")
    from analysis.layout import lay_out_bridge
    from tests.makers import make_span

    for _ in range(3):
        make_span(large)
    lay_out_bridge(large)
    for year in range(1990, 1996):
        said = {f"span-{n}/deck": TIMBER for n in (1, 2, 3, 4)}
        said["span-1/upstream/L1L2"] = {"components": [BARS]}
        make_visit(large, ada, rex, date=str(year), said=said)
    queries(small)
    one, four = queries(small), queries(large)
    # Pieces of members are read where there are any.
    assert len(four) <= len(one) + 1, "\n".join(four)


# -- what it records


def test_the_four_answers_are_recorded_as_given(phone, bridge):
    fields = opened(phone, bridge)
    deck, limit = name_of(bridge, "span-1/deck"), name_of(bridge, "limit")
    bars = name_of(bridge, "span-1/upstream/L1L2")
    counter = name_of(bridge, COUNTERS[0])
    fields |= {
        deck: "same",
        limit: "changed",
        f"{limit}-f-tons": "5 tons",
        f"{limit}-sure": "probable",
        bars: "not-seen",
        f"{bars}-why": "leaves",
        counter: "gone",
        f"{counter}-note": "The pin is there, the rod is not.",
    }
    assert send(phone, bridge, fields).status_code == 302
    said = {
        one.element.path: one
        for one in stored(fields["client_id"]).observations.select_related("element")
    }
    assert {path: one.answer for path, one in said.items()} == {
        "span-1/deck": "same",
        "limit": "changed",
        "span-1/upstream/L1L2": "not-seen",
        COUNTERS[0]: "gone",
    }
    assert said["limit"].whole_state() == {"tons": 5.0}
    assert said["limit"].certainty == "probable"
    assert said["span-1/upstream/L1L2"].reason == "leaves"
    assert said["span-1/deck"].compared_with.visit.when == "1990-05-01"


def test_the_rest_of_a_group_is_what_was_recorded_and_unanswered(phone, bridge):
    fields = opened(phone, bridge)
    deck, portal = name_of(bridge, "span-1/deck"), name_of(bridge, "span-1/bracing")
    fields |= {"rest-deck": "on", deck: "not-seen"}
    send(phone, bridge, fields)
    said = stored(fields["client_id"]).observations.values_list(
        "element__path", "answer"
    )
    assert dict(said) == {"span-1/deck": "not-seen", "span-1/railing-upstream": "same"}
    assert portal in fields, "the portal was never recorded, so nothing is said of it"


def test_pieces_added_keep_what_was_there_and_take_trade_sizes(phone, bridge):
    fields = opened(phone, bridge)
    bars = name_of(bridge, "span-1/upstream/L1L2")
    fields |= {
        bars: "changed",
        f"{bars}-happened": "added",
        f"{bars}-p0-shape": "flat-bar",
        f"{bars}-p0-count": "2",
        f"{bars}-p0-size": "3 1/2 x 3/8",
        f"{bars}-p0-relieved": "on",
    }
    send(phone, bridge, fields)
    state = stored(fields["client_id"]).observations.get().whole_state()
    assert state["components"] == [
        BARS,
        {
            "shape": "flat-bar",
            "count": 2,
            "width_in": 3.5,
            "thickness_in": 0.375,
            "origin": "addition",
            "dead_load_relieved": True,
            "as_entered": "3 1/2 x 3/8",
        },
    ]


def test_a_replacement_on_all_four_counters_is_told_once(phone, bridge):
    fields = opened(phone, bridge)
    first, *others = [name_of(bridge, path) for path in COUNTERS]
    fields |= {
        first: "changed",
        f"{first}-happened": "replaced",
        f"{first}-keep": [],
        f"{first}-p0-shape": "square-rod",
        f"{first}-p0-size": '1 1/4"',
        f"{first}-p0-ends": "upset",
        f"{first}-also": [other[1:] for other in others],
    }
    assert send(phone, bridge, fields).status_code == 302
    visit = stored(fields["client_id"])
    states = {o.element.path: o.whole_state() for o in visit.observations.all()}
    assert set(states) == set(COUNTERS)
    piece = {
        "shape": "square-rod",
        "count": 1,
        "side_in": 1.25,
        "ends": "upset",
        "origin": "replacement",
        "as_entered": '1 1/4"',
    }
    assert all(state == {"components": [piece]} for state in states.values())
    compared = visit.observations.get(element__path=COUNTERS[3]).compared_with
    assert compared.element.path == COUNTERS[3]


def test_a_change_on_others_leaves_their_own_pieces(phone, bridge, rex):
    """Bars added to L1L2 and L2L3: each keeps the bars that it had itself."""
    wider = {**BARS, "width_in": 5.0}
    other_path = "span-1/upstream/L2L3"
    make_visit(
        bridge, None, rex, date="1995", said={other_path: {"components": [wider]}}
    )
    fields = opened(phone, bridge)
    bars, other = name_of(bridge, "span-1/upstream/L1L2"), name_of(bridge, other_path)
    fields |= {
        bars: "changed",
        f"{bars}-p0-shape": "plate",
        f"{bars}-p0-size": "6 x 1/4",
        f"{bars}-also": [other[1:]],
    }
    send(phone, bridge, fields)
    said = stored(fields["client_id"]).observations
    first, second = said.get(element__path=other_path).whole_state()["components"]
    assert first == wider
    assert (second["shape"], second["origin"]) == ("plate", "addition")


def test_an_own_answer_and_the_same_change_are_not_both_taken(phone, bridge):
    fields = opened(phone, bridge)
    first, second, *_ = [name_of(bridge, path) for path in COUNTERS]
    fields |= {
        first: "changed",
        f"{first}-f-description": "turnbuckle missing",
        f"{first}-also": [second[1:]],
        second: "gone",
    }
    response = send(phone, bridge, fields)
    assert response.status_code == 422
    assert "has an answer of its own" in text_of(response)


@pytest.mark.parametrize("rest", ["", "on"], ids=["alone", "among the rest"])
def test_one_member_is_not_changed_in_two_ways(phone, bridge, rest):
    fields = opened(phone, bridge)
    first, second, third, _ = [name_of(bridge, path) for path in COUNTERS]
    line = Element.objects.get(bridge=bridge, path=COUNTERS[2]).truss_line_id
    fields[f"rest-line-{line}"] = rest
    for name, words in ((first, "turnbuckle missing"), (second, "pin worn")):
        fields |= {
            name: "changed",
            f"{name}-f-description": words,
            f"{name}-also": [third[1:]],
        }
    response = send(phone, bridge, fields)
    assert response.status_code == 422
    assert "L2U3 downstream is ticked in two places" in text_of(response)


def test_a_member_ticked_as_changed_is_not_among_the_rest_that_is_the_same(
    phone, bridge
):
    fields = opened(phone, bridge)
    first, second, *_ = [name_of(bridge, path) for path in COUNTERS]
    line = Element.objects.get(bridge=bridge, path=COUNTERS[0]).truss_line_id
    fields |= {
        f"rest-line-{line}": "on",
        first: "changed",
        f"{first}-f-description": "turnbuckle missing",
        f"{first}-also": [second[1:]],
    }
    assert send(phone, bridge, fields).status_code == 302
    said = stored(fields["client_id"]).observations.values_list(
        "element__path", "answer"
    )
    assert dict(said) == {
        COUNTERS[0]: "changed",
        COUNTERS[1]: "changed",
        "span-1/upstream/L1L2": "same",
    }


def test_a_deck_of_layers_is_recorded_from_the_lowest_up(phone, bridge):
    fields = opened(phone, bridge)
    deck = name_of(bridge, "span-1/deck")
    assert fields[f"{deck}-l0-material"] == ["timber"]
    fields |= {
        deck: "changed",
        f"{deck}-l1-material": "asphalt",
        f"{deck}-l1-thickness_in": "2 1/2",
    }
    send(phone, bridge, fields)
    state = stored(fields["client_id"]).observations.get().whole_state()
    assert state == {
        "layers": [
            {"material": "timber", "thickness_in": 3.0},
            {"material": "asphalt", "thickness_in": 2.5},
        ]
    }


def test_words_of_last_time_are_not_taken_for_words_of_this(phone, bridge):
    fields = opened(phone, bridge)
    limit = name_of(bridge, "limit")
    assert fields[f"{limit}-f-wording"] == [""]
    assert fields[f"{limit}-f-tons"] == ["8"]


def test_a_change_that_changes_nothing_is_asked_about(phone, bridge):
    fields = opened(phone, bridge)
    fields[name_of(bridge, "limit")] = "changed"
    response = send(phone, bridge, fields)
    assert response.status_code == 422
    assert "Nothing here differs from last time" in text_of(response)


def test_every_part_of_a_form_sent_untouched_survives_a_newer_visit(phone, bridge, rex):
    """What was shown is what is submitted, though the record has moved on since."""
    fields = opened(phone, bridge)
    bars = name_of(bridge, "span-1/upstream/L1L2")
    newer = {"components": [{**BARS, "count": 4}]}
    make_visit(bridge, None, rex, date="2001", said={"span-1/upstream/L1L2": newer})
    fields |= {bars: "changed", f"{bars}-f-flags": "loose"}
    send(phone, bridge, fields)
    state = stored(fields["client_id"]).observations.get().whole_state()
    assert state["components"] == [BARS]


# -- sending twice, and mistakes


def test_sending_the_form_twice_is_one_visit(phone, bridge):
    fields = opened(phone, bridge)
    fields[name_of(bridge, "span-1/deck")] = "same"
    picture = jpeg(320, 240)

    def again():
        file = SimpleUploadedFile("deck.jpg", picture, "image/jpeg")
        return send(phone, bridge, fields, **{"ph0-file": file})

    first, second = again(), again()
    assert first.url == second.url == f"/visits/{fields['client_id'][0]}/"
    assert Visit.objects.filter(client_id=fields["client_id"][0]).count() == 1
    assert Photo.objects.count() == 1
    assert not SecondSubmission.objects.exists()


def test_going_back_and_changing_a_sent_form_keeps_both(phone, bridge):
    fields = opened(phone, bridge)
    fields["notes"] = "First."
    send(phone, bridge, fields)
    fields["notes"] = "Second."
    response = phone.post(address(bridge), {**fields, "action": "send"}, follow=True)
    assert "kept beside it" in text_of(response)
    assert stored(fields["client_id"]).notes == "First."
    assert SecondSubmission.objects.get().submitted["notes"] == "Second."


def test_a_mistake_keeps_every_value_and_every_photo(phone, bridge):
    fields = opened(phone, bridge)
    deck, limit = name_of(bridge, "span-1/deck"), name_of(bridge, "limit")
    bars = name_of(bridge, "span-1/upstream/L1L2")
    other = name_of(bridge, "span-1/upstream/L2L3")
    fields |= {
        "date": "next Tuesday",
        "people": "A & B <Weir>",
        "notes": "First line\nsecond line",
        "is_danger": "on",
        "danger_note": "A rod hangs loose.",
        deck: "same",
        limit: "changed",
        f"{limit}-f-tons": "heavy",
        bars: "changed",
        f"{bars}-keep": [],
        f"{bars}-p0-shape": "angle",
        f"{bars}-p0-size": "3 by 3",
        f"{bars}-p0-origin": "original",
        f"{bars}-f-flags": ["bent", "loose"],
        f"{bars}-also": [other[1:]],
        "rest-deck": "on",
    }
    picture = SimpleUploadedFile("rod hanging.jpg", with_place(), "image/jpeg")
    fields |= {"ph0-caption": "The rod", "ph0-element": bars[1:]}
    response = send(phone, bridge, fields, **{"ph0-take": picture})
    assert response.status_code == 422
    assert not Visit.objects.filter(status="submitted").exists()
    text = text_of(response)
    for complaint in (
        "“next Tuesday” is not a date",
        "“heavy” is not a number",
        "An angle is written as leg × leg × thickness",
    ):
        assert complaint in text
    assert "rod hanging.jpg" in text

    kept = filled(response)
    expected = {k: v if isinstance(v, list) else [v] for k, v in fields.items()}
    for name in ("ph0-caption", "ph0-element"):
        expected.pop(name)
    for name, value in expected.items():
        assert sorted(kept.get(name, [])) == sorted(value), name
    photo = kept["kept"][0].replace("-", "")
    assert kept[f"k{photo}-caption"] == ["The rod"]

    kept |= {
        "date": ["2019-06-02"],
        f"{limit}-f-tons": ["5"],
        f"{bars}-p0-size": ["3 x 3 x 3/8"],
    }
    assert send(phone, bridge, kept).status_code == 302
    visit = stored(kept["client_id"])
    assert visit.is_danger
    photo = visit.photos.get()
    assert (photo.name, photo.caption) == ("rod hanging.jpg", "The rod")
    assert photo.element.path == "span-1/upstream/L1L2"
    assert photo.arrived_at
    assert photo.credit == "Ada Weir"
    assert default_storage.listdir("stash")[0] == [str(visit.surveyor_id)]
    assert not stash.held(visit.surveyor, visit.client_id)


def test_a_note_without_an_answer_is_not_lost(phone, bridge):
    fields = opened(phone, bridge)
    deck = name_of(bridge, "span-1/deck")
    fields[f"{deck}-note"] = "Two planks are new."
    response = send(phone, bridge, fields)
    assert response.status_code == 422
    assert "choose an answer" in text_of(response)
    assert filled(response)[f"{deck}-note"] == ["Two planks are new."]


def test_photos_can_be_gathered_before_sending_and_left_out_again(phone, bridge):
    fields = opened(phone, bridge)
    files = [
        SimpleUploadedFile(f"{n}.jpg", jpeg(100 + n, 80), "image/jpeg") for n in (1, 2)
    ]
    page = send(phone, bridge, fields, "add-photos", **{"ph0-file": files})
    assert page.status_code == 200
    fields = filled(page)
    assert len(fields["kept"]) == 2
    first = fields["kept"][0].replace("-", "")
    fields[f"k{first}-drop"] = "on"
    send(phone, bridge, fields)
    assert stored(fields["client_id"]).photos.count() == 1


@pytest.mark.parametrize(
    ("data", "said"),
    [(b"", "is empty"), (b"x" * 2_000, "at most 0 MB")],
    ids=["empty", "too large"],
)
def test_a_file_that_cannot_be_kept_is_named(phone, bridge, settings, data, said):
    settings.PHOTO_MAX_BYTES = 1_000
    fields = opened(phone, bridge)
    fields["notes"] = "Kept."
    file = SimpleUploadedFile("portal.jpg", data, "image/jpeg")
    response = send(phone, bridge, fields, **{"ph0-file": file})
    assert response.status_code == 422
    assert "“portal.jpg”" in text_of(response)
    assert said in text_of(response)
    assert filled(response)["notes"] == ["Kept."]


def test_a_file_that_is_no_picture_does_not_hold_up_the_visit(phone, bridge):
    fields = opened(phone, bridge)
    fields[name_of(bridge, "span-1/deck")] = "same"
    file = SimpleUploadedFile("portal.jpg", b"no picture" * 90, "image/jpeg")
    response = phone.post(
        address(bridge), {**fields, "action": "send", "ph0-file": file}, follow=True
    )
    text = text_of(response)
    assert "“portal.jpg”: This is not a picture that can be read here" in text
    assert "The visit is sent" in text


def test_somebody_signed_out_meanwhile_gets_everything_back(phone, bridge):
    fields = opened(phone, bridge)
    deck = name_of(bridge, "span-1/deck")
    fields |= {deck: "same", "notes": "A long day."}
    phone.logout()
    response = send(phone, bridge, fields)
    assert response.status_code == 401
    assert "nothing is lost" in text_of(response)
    kept = filled(response)
    assert (kept[deck], kept["notes"]) == (["same"], ["A long day."])
    assert kept["client_id"] == fields["client_id"]


def test_a_returned_visit_comes_back_filled_in_and_is_answered(phone, ada, rex, bridge):
    picture = with_place()
    photo = photo_document(picture, "sign.jpg", caption="The sign", element="limit")
    first = make_visit(
        bridge,
        ada,
        said={
            "limit": {"tons": 3},
            "span-1/upstream/L1L2": {"components": [BARS, {**ROD, "count": 2}]},
        },
        photos=[photo],
    )
    services.store_photo(photo=first.photos.get(), bytes=picture)
    services.return_visit(visit=first, reviewer=rex, question="Three, or eight?")
    fields = opened(phone, bridge, f"?answers={first.client_id}")
    limit, bars = name_of(bridge, "limit"), name_of(bridge, "span-1/upstream/L1L2")
    assert fields[limit] == ["changed"]
    assert fields[f"{limit}-f-tons"] == ["3"]
    assert fields[f"{bars}-p0-shape"] == ["round-rod"]
    fields[f"{limit}-f-tons"] = ["8.5"]
    assert send(phone, bridge, fields).status_code == 302
    second = stored(fields["client_id"])
    first.refresh_from_db()
    assert (first.status, second.status) == ("withdrawn", "submitted")
    states = {o.element.path: o.whole_state() for o in second.observations.all()}
    assert states["limit"]["tons"] == 8.5
    assert states["span-1/upstream/L1L2"] == (
        first.observations.get(element__path="span-1/upstream/L1L2").whole_state()
        | {"components": [BARS, {**ROD, "count": 2, "as_entered": "1 1/8"}]}
    )
    again = second.photos.get()
    assert again.arrived_at
    assert (again.caption, again.element.path) == ("The sign", "limit")
    assert again.original.name == first.photos.get().original.name


def test_a_future_date_is_refused_in_words(phone, bridge):
    fields = opened(phone, bridge)
    tomorrow = timezone.localdate() + datetime.timedelta(days=1)
    fields |= {"date": tomorrow.isoformat(), "notes": "x"}
    response = send(phone, bridge, fields)
    assert "cannot be dated in the future" in text_of(response)


@pytest.mark.parametrize(
    "tampered",
    [
        {"client_id": "none"},
        {"client_id": ""},
        {"kept": ["no id", "00000000-0000-4000-8000-000000000000"]},
        {"as_of": "whenever"},
        {"answers_to": "x"},
        {"rest-nothing": "on"},
        {"e999999": "same"},
        {"phx-file": "text"},
    ],
)
def test_a_tampered_form_is_answered_and_not_a_crash(phone, bridge, tampered):
    fields = opened(phone, bridge) | {"notes": "x"} | tampered
    assert send(phone, bridge, fields).status_code in (302, 422)


def test_a_tampered_row_is_answered_and_not_a_crash(phone, bridge):
    fields = opened(phone, bridge)
    bars, deck = name_of(bridge, "span-1/upstream/L1L2"), name_of(bridge, "span-1/deck")
    fields |= {
        bars: "changed",
        f"{bars}-keep": ["0 {", "1 []", '2 {"shape": "cheese"}', "", "0 null"],
        f"{bars}-built": "x",
        f"{bars}-p0-shape": "cheese",
        f"{bars}-p0-size": "3 x 3",
        f"{bars}-p0-count": "many",
        f"{bars}-also": ["x", "9999999", bars[1:]],
        f"{bars}-f-loss": "120",
        deck: "perhaps",
    }
    response = send(phone, bridge, fields)
    assert response.status_code == 422
    assert not Visit.objects.filter(status="submitted").exists()


def test_stringers_and_floor_beams_take_the_sizes_of_one_of_them(phone, bridge):
    fields = opened(phone, bridge)
    name = name_of(bridge, "span-1/stringers")
    fields |= {
        name: ["changed"],
        f"{name}-f-count": ["7"],
        f"{name}-f-material": ["steel"],
        f"{name}-f-loss": ["10"],
        f"{name}-p0-shape": ["i-beam"],
        f"{name}-p0-size": ["8 in x 18.4 lb"],
    }
    response = send(phone, bridge, fields)
    assert response.status_code == 302, text_of(response)
    seen = Observation.objects.get(
        visit=stored(fields["client_id"]), element__path="span-1/stringers"
    )
    state = seen.whole_state()
    assert state["loss_fraction"] == 0.1
    assert state["components"][0] | {"as_entered": ""} == {
        "shape": "i-beam",
        "count": 1,
        "depth_in": 8.0,
        "weight_plf": 18.4,
        "origin": "original",
        "as_entered": "",
    }
