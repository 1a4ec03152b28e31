"""The database's own counts, within a transaction that fills a table."""

import pytest
from django.contrib.auth.models import Group
from django.db import connection

from shared.statistics import refresh_statistics

pytestmark = pytest.mark.django_db


def counted():
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT reltuples FROM pg_class WHERE oid = 'auth_group'::regclass"
        )
        return cursor.fetchone()[0]


def test_rows_not_yet_committed_are_counted(django_assert_num_queries):
    Group.objects.bulk_create(Group(name=f"group {n}") for n in range(500))
    if connection.vendor != "postgresql":
        with django_assert_num_queries(0):
            refresh_statistics()
        return
    assert counted() < 500
    refresh_statistics()
    assert counted() >= 500
