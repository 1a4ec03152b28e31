"""A map that is moved does not ask the database each time what version stands."""

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext

from bridges import mapindex, models
from bridges.models import MapVersion
from tests.makers import make_bridge


@pytest.fixture
def held(transactional_db, monkeypatch):
    """A bridge that the index holds, and a glance that never grows old."""
    monkeypatch.setattr(models, "GLANCE_S", 3600.0)
    make_bridge(lay_out=False)
    mapindex.places_of(True)


def test_a_second_look_asks_nothing(held):
    mapindex.places_of(True)
    with CaptureQueriesContext(
        connection,
    ) as asked:
        mapindex.places_of(True)
    assert len(asked) == 0


def test_what_this_process_wrote_is_there_at_once(held):
    before = mapindex.places_of(True).version
    with transaction.atomic():
        make_bridge(name="Mill Lane Bridge", lay_out=False)
        MapVersion.bump()
    after = mapindex.places_of(True)
    assert after.version > before
    assert after.version == MapVersion.current()


def test_what_another_process_wrote_is_there_when_the_glance_is_old(held, monkeypatch):
    mapindex.places_of(True)
    with connection.cursor() as cursor:
        cursor.execute("UPDATE bridges_mapversion SET number = number + 1")
    assert mapindex.places_of(True).version < MapVersion.current()
    monkeypatch.setattr(models, "GLANCE_S", 0.0)
    assert mapindex.places_of(True).version == MapVersion.current()
