"""What a tape says of a bar, a pin and its packing: from the visit form to the check."""

import pytest
from django.test import Client

from analysis import services
from analysis.models import ConfigurationCheck
from surveys.models import Observation
from tests.makers import make_person
from tests.structures import make_described_bridge
from tests.surveys.test_visit_form import name_of, opened, send, stored, text_of

pytestmark = pytest.mark.django_db
CHORD, POST, COUNTER = (f"span-1/upstream/{n}" for n in ("L2L3", "L2U2", "L2U3"))


@pytest.fixture
def bridge():
    return make_described_bridge(span={"trusses_apart_ft": 16.0})


@pytest.fixture
def phone():
    client = Client()
    client.force_login(make_person("ada", credit_name="Ada Weir"))
    return client


def typed(bridge, fields, **joint):
    """Fill the form: a thin eyebar, a post's rivets and lacing, a pin."""
    chord, post, rod = (name_of(bridge, path) for path in (CHORD, POST, COUNTER))
    row = next(name for name in fields if name.endswith("-joint"))[: -len("-joint")]
    return fields | {
        "date": ["2020-06-01"],
        chord: ["changed"],
        f"{chord}-f-remaining_in": ["5/8"],
        post: ["changed"],
        f"{post}-f-holes": ["2"],
        f"{post}-f-rivet_in": ['5/8"'],
        f"{post}-f-lacing_bars": ["1 3/4 x 1/4"],
        f"{post}-f-untied_ft": ["3 ft"],
        rod: ["changed"],
        f"{rod}-f-tightened_in": ["1/8"],
        f"{row}-joint": ["L2"],
        f"{row}-f-pin_in": ["2 1/2"],
        f"{row}-f-packing": ["L1L2 3/4, L2U1 3/4, floor 1/2 gap 1/4, L2L3 3/4"],
        **{f"{row}{tail}": [value] for tail, value in joint.items()},
    }


def test_a_tape_and_a_pin_come_from_the_form_into_the_check(phone, bridge):
    fields = opened(phone, bridge)
    response = send(phone, bridge, typed(bridge, fields, **{"-f-packing": PACKED}))
    assert response.status_code == 302, text_of(response)
    services.accept_visit(
        visit=stored(fields["client_id"]), reviewer=make_person("rae", "reviewer")
    )
    check = (
        ConfigurationCheck.objects.filter(truss_line__key="upstream")
        .select_related("check_made")
        .latest("visit__when_latest")
        .check_made
    )
    by_name = {
        name: group for group in check.document["members"] for name in group["names"]
    }
    assert by_name["L2L3"]["components"][0]["remaining_in"] == 0.625
    post = by_name["L2U2"]
    assert (post["components"][0]["holes"], post["components"][0]["rivet_in"]) == (
        2,
        0.625,
    )
    assert post["built_up"]["lacing"] == {"width_in": 1.75, "thickness_in": 0.25}
    assert post["built_up"]["untied_ft"] == 3.0
    assert by_name["L2U3"]["tightened_in"] == 0.125
    assert any("L2U3 by 0.125 in" in one for one in check.answer["assumptions"])
    (pin,) = check.document["pins"]
    assert (pin["joint"], pin["diameter_in"]) == ("L2", 2.5)
    assert pin["packing"][1] == {"thickness_in": 0.5, "gap_in": 0.25}
    answer = check.answer
    assert answer["pins"]["L2"]["bending"]["rating"]["operating"] > 0
    # Two eyebars of 3 in: 5/8 is left of 3/4.
    assert answer["members"]["L2L3"]["area_in2"] == pytest.approx(2 * 3 * 0.625)
    whole = answer["members"]["L3U3"]
    assert answer["members"]["L2U2"]["net_area_in2"] < whole["net_area_in2"]
    page = text_of(phone.get(f"/bridges/{bridge.slug}/"))
    assert "5/8 in left at the thinnest" in page
    assert "tightened by 0.125 in" in page
    # The next to come is shown what was measured.
    again = text_of(phone.get(f"/bridges/{bridge.slug}/visit/?date=2024"))
    assert "pin 2 1/2 in; on it in order L1L2 3/4, floor 1/2 gap 1/4" in again


PACKED = (
    "L1L2 3/4, floor 1/2 gap 1/4, L2U1 3/4, L2L3 3/4, L2L3 3/4, L2U1 3/4, floor 1/2, "
    "L1L2 3/4"
)


@pytest.mark.parametrize(
    "wrong, words",
    [
        ({"-f-packing": "L1L2, L2L3 3/4"}, "is not a bar and its thickness"),
        ({"-f-pin_in": "", "-f-packing": PACKED}, "Say the diameter of the pin too."),
        ({"-joint": ""}, "You wrote something here"),
        ({"-f-pin_in": "thick"}, "is not a length that can be read"),
    ],
)
def test_what_cannot_be_read_of_a_pin_is_told_beside_it_and_kept(
    phone, bridge, wrong, words
):
    fields = typed(bridge, opened(phone, bridge), **wrong)
    response = send(phone, bridge, fields)
    assert response.status_code == 422
    assert words in text_of(response)
    assert not Observation.objects.filter(element__kind="joint").exists()
    assert wrong.get("-f-packing", "L2U1 3/4") in response.content.decode()


def test_a_pin_of_bars_that_do_not_end_there_leaves_the_check_standing(phone, bridge):
    fields = typed(
        bridge, opened(phone, bridge), **{"-f-packing": "L1L2 3/4, L3U3 3/4"}
    )
    send(phone, bridge, fields)
    services.accept_visit(
        visit=stored(fields["client_id"]), reviewer=make_person("rae", "reviewer")
    )
    row = ConfigurationCheck.objects.filter(truss_line__key="upstream").latest(
        "visit__when_latest"
    )
    assert row.check_made.stands
    assert any(
        "L3U3, named on it, does not end there" in one for one in row.assumptions
    )
