"""The pages of lists brought in, as an officer meets them, and what nobody else sees."""

import io

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from bridges.models import Bridge, Claim, Import, ImportRow
from shared import jobs
from tests.bridges.test_import import FORD, brought, federal_file
from tests.makers import make_bridge, make_person

Outcome = ImportRow.Outcome


@pytest.fixture
def officer(db, client):
    person = make_person("olive", "officer")
    client.force_login(person)
    return client


def sent(client, data, name="list-2020.csv", **more):
    file = io.BytesIO(data if isinstance(data, bytes) else data.encode())
    file.name = name
    return client.post("/imports/", {"file": file, **more}, follow=True)


OWN = "number,name,county,latitude,longitude,form,crossing\n"


def test_a_list_is_read_looked_at_and_taken(officer):
    page = sent(
        officer,
        f"{OWN}W-1,Wharton Crossing,Elder,41.5,-77.5,parker,Elm Run\nW-2,,Elder,41,-77,,\n",
    )
    text = page.content.decode()
    assert "Read, and nothing taken yet" in text
    assert "Line 3, name: A new bridge needs a name." in text
    assert not Bridge.objects.exists()
    of = Import.objects.get()
    officer.post(f"/imports/{of.pk}/take/")
    assert Bridge.objects.get().name == "Wharton Crossing"
    # The map's index, the list and the search know it at once.
    for query in ("", "?form=parker", "?q=whartan"):
        assert "Wharton Crossing" in officer.get(f"/{query}").content.decode(), query
    assert "Wharton" not in officer.get("/?form=pratt").content.decode()
    faults = b"".join(officer.get(f"/imports/{of.pk}/faults.csv").streaming_content)
    assert b"3,name,name-blank,A new bridge needs a name." in faults
    again = sent(
        officer,
        f"{OWN}W-1,Wharton Crossing,Elder,41.5,-77.5,parker,Elm Run\nW-2,,Elder,41,-77,,\n",
    )
    assert "in already" in again.content.decode()


def test_what_is_only_read_can_be_thrown_away(officer):
    sent(officer, f"{OWN}W-1,Wharton Crossing,Elder,41.5,-77.5,,\n")
    of = Import.objects.get()
    officer.post(f"/imports/{of.pk}/drop/")
    assert not Import.objects.exists()
    assert not ImportRow.objects.exists()


@pytest.mark.parametrize(
    "data, name, more, word",
    [
        (b"PK\x03\x04" + b"\x00" * 99, "a-2020.csv", {}, "ZIP"),
        (b"", "a-2020.csv", {}, "empty"),
        (federal_file(FORD).read(), "federal.txt", {}, "of which year"),
        (OWN.encode(), "a.csv", {"vintage": "late"}, "not a vintage"),
    ],
)
def test_a_refusal_stands_beside_its_field_and_keeps_the_others(
    officer, data, name, more, word
):
    page = sent(officer, data, name, list_name="Our cards", **more)
    assert page.status_code == 400
    assert word in page.content.decode()
    assert 'value="Our cards"' in page.content.decode()
    assert not Import.objects.exists()


def test_the_page_tells_how_far_it_is_while_a_worker_reads(officer, settings):
    settings.JOBS_INLINE = False
    page = sent(officer, f"{OWN}W-1,Wharton Crossing,Elder,41.5,-77.5,,\n")
    text = page.content.decode()
    assert '<meta http-equiv="refresh" content="2">' in text
    assert "<progress" in text
    jobs.run_next("worker")
    of = Import.objects.get()
    text = officer.get(f"/imports/{of.pk}/").content.decode()
    assert "http-equiv" not in text
    officer.post(f"/imports/{of.pk}/take/")
    assert "Being taken" in officer.get(f"/imports/{of.pk}/").content.decode()
    assert not Bridge.objects.exists()
    jobs.run_next("worker")
    assert Bridge.objects.get().number == "W-1"


def test_the_queue_asks_and_the_answer_is_kept(officer):
    bridge = make_bridge(lay_out=False)
    row = brought(federal_file({**FORD, "6A": "JUNIPER CREEK"})).rows.get()
    text = officer.get("/imports/queue/").content.decode()
    assert bridge.name.replace("'", "&#x27;") in text
    assert "JUNIPER CREEK" in text
    officer.post(f"/imports/rows/{row.pk}/", {"verdict": f"same:{bridge.pk}"})
    row.refresh_from_db()
    assert row.bridge == bridge
    said = officer.get(f"/imports/bridges/{bridge.slug}/").content.decode()
    assert "Structure 000000000004711" in said
    assert bridge.name not in officer.get("/imports/unlisted/").content.decode()
    other = officer.get("/imports/unlisted/?list=Road+book").content.decode()
    assert "No such list has been brought in" in other
    assert bridge.name not in other
    officer.post(f"/imports/rows/{row.pk}/", {"verdict": "again"})
    assert (
        "Which bridge is it?"
        in officer.get(f"/imports/rows/{row.pk}/").content.decode()
    )
    answer = officer.post(
        f"/imports/rows/{row.pk}/", {"verdict": "same", "bridge": "X-9"}
    )
    assert "No bridge of ours has the number" in answer.content.decode()
    officer.post(
        f"/imports/rows/{row.pk}/", {"verdict": "same", "bridge": bridge.number}
    )
    row.refresh_from_db()
    assert row.bridge == bridge


def test_a_new_bridge_out_of_the_queue_keeps_what_was_typed(officer):
    make_bridge(lay_out=False)
    row = brought(federal_file({**FORD, "6A": "JUNIPER CREEK"})).rows.get()
    address = f"/imports/rows/{row.pk}/"
    typed = {"verdict": "new", "name": "Juniper Bridge", "county": "", "number": "J-1"}
    answer = officer.post(address, typed | {"number": "A-001"})
    assert answer.status_code == 400
    assert "Juniper Bridge" in answer.content.decode()
    officer.post(address, typed | {"county": "Elder"})
    made = Bridge.objects.get(number="J-1")
    assert (made.name, made.county, made.crossing) == (
        "Juniper Bridge",
        "Elder",
        "JUNIPER CREEK",
    )
    # The year of such a list is a claim and not the bridge's date.
    assert made.built == ""
    assert Claim.objects.get(bridge=made, about="built").value == "1890"


def test_what_leads_to_a_sensitive_bridge_is_told_to_no_visitor(officer, client):
    bridge = make_bridge(is_position_sensitive=True, lay_out=False)
    brought(federal_file(FORD))
    assert Claim.objects.filter(bridge=bridge).exists()
    client.logout()
    shown = client.get(f"/bridges/{bridge.slug}/").content.decode()
    shown += client.get(f"/api/bridges/{bridge.slug}/").content.decode()
    for secret in ("41.2000", "-77.4000", "ALDER R", "MILL RD", "4711", "411200"):
        assert secret not in shown, secret
    assert "1890" in shown


def test_lists_of_rows_cost_as_many_queries_for_forty_as_for_one(officer):
    make_bridge(lay_out=False)
    counts = []
    for many in (1, 40):
        rows = [
            {**FORD, "8": f"Q{many}{n}", "6A": "JUNIPER CREEK"} for n in range(many)
        ]
        brought(federal_file(*rows), "list-2020.txt", list_name=f"list {many}")
        changed = [{**row, "41": "K"} for row in rows]
        of = brought(federal_file(*changed), "list-2021.txt", list_name=f"list {many}")
        asked = []
        for address in (
            f"/imports/{of.pk}/rows/",
            f"/imports/{of.pk}/changes/",
            "/imports/queue/",
        ):
            with CaptureQueriesContext(
                connection,
            ) as caught:
                assert officer.get(address).status_code == 200
            asked.append(len(caught))
        counts.append(asked)
        ImportRow.objects.update(outcome=Outcome.NOT_OURS)
    assert counts[0] == counts[1]


def test_changes_are_shown_field_by_field_and_narrowed(officer):
    make_bridge(lay_out=False)
    brought(federal_file(FORD, {"8": "B2"}, {"8": "B3"}))
    of = brought(
        federal_file({**FORD, "41": "K"}, {"8": "B2", "22": "27"}), "list-2021.txt"
    )
    address = f"/imports/{of.pk}/changes/"
    every = officer.get(address).content.decode()
    assert "Open, posted or closed (item 41)" in every
    assert "Owner (item 22)" in every
    ours = officer.get(f"{address}?ours").content.decode()
    assert "Owner (item 22)" not in ours
    one = officer.get(address, {"field": "Owner (item 22)"}).content.decode()
    assert "Structure B2" in one
    assert "4711" not in one
    assert "Structure B3" in officer.get(f"{address}?gone").content.decode()


def test_the_columns_that_the_export_writes_are_all_explained(officer):
    import datetime

    from bridges import exports
    from bridges.intake import own

    sight = exports.Sight(full=True, as_of=datetime.date(1975, 1, 1))
    assert set(exports.columns(sight)) <= set(own.BY_NAME)
    text = officer.get("/imports/columns/").content.decode()
    assert all(f"<code>{name}</code>" in text for name in exports.columns(sight))
