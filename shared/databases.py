"""What a database's address means: the same options wherever one is opened."""

import os
import subprocess
import sys
from contextlib import contextmanager

import dj_database_url

# IMMEDIATE with WAL: several writers wait for each other and none is refused. FULL:
# what was answered to a phone, which then forgets it, is on the disk when the power goes.
SQLITE = {
    "transaction_mode": "IMMEDIATE",
    "timeout": 20,
    "init_command": (
        "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL;"
        "PRAGMA cache_size=-64000; PRAGMA temp_store=MEMORY;"
    ),
}
KNOWN = ("django.db.backends.sqlite3", "django.db.backends.postgresql")


def from_url(url: str) -> dict:
    """Return Django's settings of the database at this address.

    Raises ``ValueError`` for an address of no kind that is known.
    """
    facts = dj_database_url.parse(url, conn_max_age=60, conn_health_checks=True)
    engine = facts.get("ENGINE", "")
    if engine not in KNOWN:
        raise ValueError(
            "Give the address of a database as postgres://user@host/name or "
            "sqlite:///path."
        )
    if engine.endswith("sqlite3"):
        facts["OPTIONS"] = dict(SQLITE)
    return facts


#: How either kind of database is told not to wait for the disk, and to wait again.
UNHURRIED = {
    "sqlite": ("PRAGMA synchronous=NORMAL", "PRAGMA synchronous=FULL"),
    "postgresql": ("SET synchronous_commit=off", "RESET synchronous_commit"),
}


@contextmanager
def unhurried(connection):
    """Let what is written within reach the disk a little later.

    For what follows from the rest and can be computed again: when the power goes, the
    last of it may be gone, whole commits of it, and never what was written by others.
    """
    begin, end = UNHURRIED[connection.vendor]
    if connection.in_atomic_block:
        yield
        return
    with connection.cursor() as cursor:
        cursor.execute(begin)
    try:
        yield
    finally:
        with connection.cursor() as cursor:
            cursor.execute(end)


class NotMigrated(Exception):
    """The tables could not be made; the text is the command's own."""


def migrate(url: str) -> None:
    """Bring the database at this address to the present schema.

    In a process of its own, in which it is the only database: a migration that moves
    data must not find the site's rows in place of these. Raises ``NotMigrated``.
    """
    from django.conf import settings

    done = subprocess.run(
        [sys.executable, str(settings.BASE_DIR / "manage.py"), "migrate", "-v", "0"],
        env={**os.environ, "DATABASE_URL": url},
        cwd=settings.BASE_DIR,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode:
        raise NotMigrated(done.stderr.strip()[-500:] or "migrate failed")
