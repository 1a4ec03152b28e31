"""What a database's address means: the same options wherever one is opened."""

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
