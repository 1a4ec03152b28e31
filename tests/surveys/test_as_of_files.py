"""A file as of a day tells the deck and the limit as visits had seen them by then."""

import csv
import io

import pytest

from tests.makers import make_bridge, make_person, make_visit

pytestmark = pytest.mark.django_db


def deck(material):
    return {"span-1/deck": {"layers": [{"material": material, "thickness_in": 3.0}]}}


def row_of(client, day):
    response = client.get(f"/export/bridges.csv?as_of={day}")
    text = b"".join(response.streaming_content).decode().removeprefix("\ufeff")
    (row,) = csv.DictReader(io.StringIO(text))
    return row


def test_deck_limit_and_visits_are_those_of_the_day(client):
    bridge, rae = make_bridge(), make_person("rae", "reviewer")
    # Entered out of order: a visit counts from its own date.
    later = {**deck("asphalt"), "limit": {"tons": 8}}
    make_visit(bridge, reviewer=rae, date="2019-06-02", said=later)
    make_visit(
        bridge, reviewer=rae, date="1950", said=deck("timber"), basis="photograph"
    )
    make_visit(bridge, date="1960", said=deck("concrete"))

    def told(day):
        row = row_of(client, day)
        return [row[name] for name in ("deck", "posted_tons", "visit_count")]

    assert told("1949") == ["", "", "0"]
    # Some day of 1950, so not surely before the last of them.
    assert told("1950-06") == ["", "", "0"]
    assert told("1950") == ["timber", "", "1"]
    assert told("2019-06-01") == ["timber", "", "1"]
    assert told("2019-06-02") == ["asphalt", "8", "2"]
    assert row_of(client, "2019-06-02")["last_changed"] == "2019-06-02"
