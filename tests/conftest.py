"""What every test stands on: its own media, a real SQLite file, an empty cache."""

import os
import shutil
import sqlite3
from contextlib import closing

import pytest
from django.conf import settings as site_settings
from django.core.cache import cache
from django.db import connection
from hypothesis import HealthCheck
from hypothesis import settings as hypothesis_settings

# Small and repeatable where every push waits for it; ``--hypothesis-profile=long``
# for a night. No clock: on a busy machine examples take as long as they take.
UNHURRIED = {
    "deadline": None,
    "database": None,
    "suppress_health_check": [HealthCheck.too_slow],
}
hypothesis_settings.register_profile(
    "ci", max_examples=50, derandomize=True, **UNHURRIED
)
hypothesis_settings.register_profile("dev", max_examples=50, **UNHURRIED)
hypothesis_settings.register_profile("long", max_examples=5_000, **UNHURRIED)
hypothesis_settings.load_profile("ci" if os.environ.get("CI") else "dev")

NEEDS_A_DATABASE = {
    "db",
    "transactional_db",
    "live_server",
    "django_db_reset_sequences",
}

OF_A_BROWSER = {"page", "context", "browser", "browser_name", "playwright"}


def pytest_configure(config):
    """Passwords are hashed slowly on purpose; not a thousand times in a test run."""
    site_settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    site_settings.JOBS_INLINE = True
    # Counts failures by request, and the test client signs in without one.
    site_settings.AXES_ENABLED = False


def pytest_collection_modifyitems(items):
    """Mark what touches the database, so that it can run on another one.

    Tests that commit empty every table after them: what migrations made (the groups) is
    put back.
    """
    for item in items:
        names = set(getattr(item, "fixturenames", ()))
        if names & OF_A_BROWSER and not item.get_closest_marker("browser"):
            # pytest would run every browser test beside it, and those commit.
            raise pytest.UsageError(
                f"{item.nodeid} takes a browser's name for its own."
            )
        asked = item.get_closest_marker("django_db")
        if names & NEEDS_A_DATABASE or asked:
            item.add_marker("database")
            given = {**(asked.kwargs if asked else {}), "serialized_rollback": True}
            item.add_marker(pytest.mark.django_db(**given), append=False)


@pytest.fixture(scope="session")
def django_db_modify_db_settings(
    django_db_modify_db_settings_parallel_suffix, tmp_path_factory
):
    """Test on a SQLite file, as the site runs.

    A live server's threads would share one connection to a database in memory, and
    begin a transaction inside each other's.
    """
    default = site_settings.DATABASES["default"]
    if default["ENGINE"].endswith("sqlite3"):
        folder = tmp_path_factory.mktemp("database")
        default.setdefault("TEST", {})["NAME"] = str(folder / "test.sqlite3")


@pytest.fixture(autouse=True)
def media(settings, tmp_path):
    """Keep this test's files, and only this test's, in a folder that goes away."""
    folder = tmp_path / "media"
    settings.MEDIA_ROOT = folder
    settings.STORAGES = {
        **settings.STORAGES,
        "default": {
            "BACKEND": "django.core.files.storage.FileSystemStorage",
            "OPTIONS": {"location": folder},
        },
    }
    cache.clear()
    return folder


KEPT_SOCIETY = pytest.StashKey()


@pytest.fixture
def demo_society(transactional_db, media, request, tmp_path_factory):
    """Load the demonstration society, whole and committed; return what was loaded.

    Loading takes a while. On SQLite it is done once a run and the file copied back
    for every later test that asks for it.
    """
    from analysis import demo

    stash = request.config.stash
    if KEPT_SOCIETY in stash:
        folder, loaded = stash[KEPT_SOCIETY]
        with closing(sqlite3.connect(folder / "society.sqlite3")) as kept:
            connection.ensure_connection()
            kept.backup(connection.connection)
        shutil.copytree(folder / "media", media, dirs_exist_ok=True)
        cache.clear()
        return loaded
    loaded = demo.load()
    if connection.vendor == "sqlite":
        folder = tmp_path_factory.mktemp("society")
        with closing(sqlite3.connect(folder / "society.sqlite3")) as kept:
            connection.connection.backup(kept)
        shutil.copytree(media, folder / "media")
        stash[KEPT_SOCIETY] = folder, loaded
    return loaded


@pytest.fixture(autouse=True)
def few_samples(monkeypatch):
    """Bands out of fewer samples: pages make one whenever they are first asked."""
    monkeypatch.setattr("analysis.engine.sampling.SAMPLES", 256)
