"""What can be computed again need not wait for the disk; all else does."""

from contextlib import suppress

import pytest
from django.db import connection, transaction

from shared.databases import unhurried

ASKED = {"sqlite": "PRAGMA synchronous", "postgresql": "SHOW synchronous_commit"}
GOES_ON = {"sqlite": 1, "postgresql": "off"}


class Undone(Exception):
    """Something went wrong within."""


def now():
    with connection.cursor() as cursor:
        cursor.execute(ASKED[connection.vendor])
        return cursor.fetchone()[0]


@pytest.mark.django_db(transaction=True)
def test_only_what_is_written_within_is_not_waited_for():
    # A server for tests may be set up not to wait at all; the site's own SQLite waits.
    before = now()
    assert before == 2 or connection.vendor != "sqlite"
    with suppress(Undone), unhurried(connection):
        assert now() == GOES_ON[connection.vendor]
        raise Undone
    assert now() == before
    # It cannot be said within a transaction, and is no reason to fail there.
    with transaction.atomic(), unhurried(connection):
        assert now() == before
