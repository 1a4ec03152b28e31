"""How long a write waits for another that holds the database."""

from contextlib import contextmanager

from django.db import connection

# Where a page can do without what it would store.
IMPATIENT_MS = 200


@contextmanager
def impatient():
    """Writes within give up soon where another holds the file, by the usual error.

    For what is kept only to save time. On PostgreSQL, and inside a transaction,
    nothing has to wait.
    """
    if connection.vendor != "sqlite" or connection.in_atomic_block:
        yield
        return
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA busy_timeout")
        usual_ms = int(cursor.fetchone()[0])
        cursor.execute(f"PRAGMA busy_timeout = {IMPATIENT_MS}")
        try:
            yield
        finally:
            cursor.execute(f"PRAGMA busy_timeout = {usual_ms}")
