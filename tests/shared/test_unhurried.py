"""What can be computed again need not wait for the disk; all else does."""

from contextlib import suppress

import pytest
from django.db import connection, transaction

from shared.databases import unhurried

ASKED = {"sqlite": "PRAGMA synchronous", "postgresql": "SHOW synchronous_commit"}
WAITS = {"sqlite": 2, "postgresql": "on"}
GOES_ON = {"sqlite": 1, "postgresql": "off"}


class Undone(Exception):
    """Something went wrong within."""


def now():
    with connection.cursor() as cursor:
        cursor.execute(ASKED[connection.vendor])
        return cursor.fetchone()[0]


@pytest.mark.django_db(transaction=True)
def test_only_what_is_written_within_is_not_waited_for():
    kind = connection.vendor
    assert now() == WAITS[kind]
    with suppress(Undone), unhurried(connection):
        assert now() == GOES_ON[kind]
        raise Undone
    assert now() == WAITS[kind]
    # It cannot be said within a transaction, and is no reason to fail there.
    with transaction.atomic(), unhurried(connection):
        assert now() == WAITS[kind]
