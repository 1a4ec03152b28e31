"""Builders, their plates, and their work, standing and lost."""

import pytest

from bridges.models import BuilderName, Source
from tests.bridges.inventory import (
    built_by,
    furnish,
    list_bridge,
    list_builder,
    named,
    queries_of,
)
from tests.makers import make_person

pytestmark = pytest.mark.django_db


def counts(client):
    page = client.get("/builders/").context["page"]
    return {one.slug: (one.standing_count, one.lost_count) for one in page}


def test_what_stands_and_what_is_lost_are_counted_apart(client):
    builder = list_builder()
    list_builder("Alder Iron", "alder-iron")
    for number, status in enumerate(("in-service", "moved", "stored", "lost"), 1):
        built_by(list_bridge(number, status=status), builder)
    assert counts(client) == {"alder-iron": (0, 0), "corrick-and-vane": (3, 1)}


def test_a_bridge_counts_once_however_many_hands_a_builder_had_in_it(client):
    bridge, builder = list_bridge(1), list_builder()
    built_by(bridge, builder)
    built_by(bridge, builder, role="designer")
    assert counts(client) == {"corrick-and-vane": (1, 0)}


def test_bridges_that_are_not_public_are_neither_counted_nor_named(client):
    builder = list_builder()
    furnish(list_bridge(1, is_public=False, name="Hidden Ford"), builder)
    assert counts(client) == {"corrick-and-vane": (0, 0)}
    assert b"Hidden Ford" not in client.get("/builders/corrick-and-vane/").content
    client.force_login(make_person())
    assert counts(client) == {"corrick-and-vane": (1, 0)}
    assert b"Hidden Ford" in client.get("/builders/corrick-and-vane/").content


def test_a_builders_page_tells_work_with_confidence_and_source(client):
    builder = list_builder(active="1871/1908")
    bridge = list_bridge(1, name="Weir Lane")
    furnish(bridge, builder)
    bridge.attributions.update(confidence="possible")
    built_by(list_bridge(2, name="Old Ferry", status="lost", lost="1936"), builder)
    response = client.get("/builders/corrick-and-vane/")
    text = response.content.decode()
    standing, lost = text.split("Lost work")
    assert "Weir Lane" in standing
    assert "possible" in standing
    assert "Minute book of mill-road-1" in standing
    assert "Old Ferry" in lost
    assert "lost 1936" in lost
    assert "between 1871 and 1908" in text
    assert "?builder=corrick-and-vane" in text


def test_plates_are_shown_letter_by_letter_but_not_where_they_are_kept(client):
    furnish(list_bridge(1), list_builder())
    text = client.get("/builders/corrick-and-vane/").content.decode()
    assert "CORRICK &amp; VANE" in text
    assert "society&#x27;s store" not in text
    client.force_login(make_person())
    text = client.get("/builders/corrick-and-vane/").content.decode()
    assert "society&#x27;s store" in text


def test_a_builder_of_nothing_has_a_page_that_says_so(client):
    list_builder()
    text = client.get("/builders/corrick-and-vane/").content.decode()
    assert "No bridge of theirs is known to survive." in text
    assert client.get("/builders/nobody/").status_code == 404
    assert client.get("/builders/?page=x").status_code == 200


def test_builders_cost_the_same_for_one_and_for_thirty(client):
    named(list_builder(), "Corrick Bros.")
    built_by(list_bridge(1), list_builder("Works 1", "works-1"))
    one = queries_of(lambda: client.get("/builders/"))
    for number in range(2, 31):
        builder = list_builder(f"Works {number}", f"works-{number}")
        named(builder, f"Old Works {number}")
        built_by(list_bridge(number), builder)
    thirty = queries_of(lambda: client.get("/builders/"))
    assert len(thirty) == len(one), "\n".join(thirty)


def test_a_builders_page_costs_the_same_for_one_bridge_and_for_thirty(client):
    builder = list_builder()
    furnish(list_bridge(1), builder)
    one = queries_of(lambda: client.get("/builders/corrick-and-vane/"))
    for number in range(2, 31):
        furnish(list_bridge(number), builder)
    thirty = queries_of(lambda: client.get("/builders/corrick-and-vane/"))
    assert len(thirty) == len(one), "\n".join(thirty)


# -- names over time


def test_names_stand_in_the_order_of_time_with_who_says_so(client):
    builder = list_builder()
    source = Source.objects.create(title="Register of firms", locator="page 41")
    named(builder, "Corrick & Vane", "1884/..")
    named(builder, "Corrick Bros.", "1871/1883", source=source, note="two brothers")
    text = client.get("/builders/corrick-and-vane/").content.decode()
    names = text.split("Names over time")[1]
    assert names.index("Corrick Bros.") < names.index("1884 or later")
    assert "Register of firms, page 41" in names
    assert "Corrick Bros." in client.get("/builders/").content.decode()


@pytest.mark.parametrize(
    "built, then",
    [("1879", "Corrick Bros."), ("1883/1885", ""), ("1889", ""), ("", "")],
)
def test_work_is_under_the_name_of_its_day_where_that_is_sure(client, built, then):
    builder = list_builder()
    named(builder, "Corrick Bros.", "1871/1883")
    named(builder, "Corrick & Vane", "1884/..")
    built_by(list_bridge(1, built=built), builder)
    text = client.get("/builders/corrick-and-vane/").content.decode()
    assert (", then Corrick Bros." in text) == bool(then)


def test_a_bridge_is_found_by_every_name_of_its_builder(client):
    builder = list_builder()
    built_by(list_bridge(1), builder)
    list_bridge(2)
    client.force_login(make_person("olga", "officer"))
    answer = client.post(
        "/builders/corrick-and-vane/names/", {"name": "Zephaniah Quill", "when": "1871"}
    )
    assert answer.status_code == 302
    client.logout()
    found = client.get("/?q=zephaniah").context["page"]
    assert [one.number for one in found.object_list] == ["A-001"]


def test_names_are_edited_by_those_who_edit_the_record_and_what_was_is_kept(client):
    builder = list_builder()
    one = named(builder, "Corick Bros.", "1871/1883")
    address = f"/builders/corrick-and-vane/names/{one.pk}/"
    client.force_login(make_person())
    assert client.get(address).status_code == 403
    client.force_login(make_person("rae", "reviewer"))
    wrong = client.post(address, {"name": "Corrick Bros.", "when": "in the seventies"})
    assert "when" in wrong.context["form"].errors
    assert "in the seventies" in wrong.content.decode()
    client.post(address, {"name": "Corrick Bros.", "when": "1871/1883"})
    assert BuilderName.objects.get().name == "Corrick Bros."
    assert [row.name for row in BuilderName.history.all()] == [
        "Corrick Bros.",
        "Corick Bros.",
    ]
    again = client.post(
        "/builders/corrick-and-vane/names/",
        {"name": "Corrick Bros.", "when": "1871/1883"},
    )
    assert "there for that time already" in again.content.decode()
