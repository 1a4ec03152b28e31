"""What the database believes about the sizes of its tables."""

from django.db import connection


def refresh_statistics():
    """Have PostgreSQL count its tables again, this transaction's own rows among them.

    Its background counting sees only what is committed. In a long transaction that
    fills empty tables it goes on planning for empty ones, and a query over three of
    them takes seconds. SQLite plans without, and nothing is done there.
    """
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE")
