"""What a machine's environment may say, and what stops a production start."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from django.core.exceptions import ImproperlyConfigured

from shared import environment

ROOT = Path(__file__).resolve().parent.parent.parent
SECRET = "kM3vX9-qT7wLr2_ZbN8cYdF5hJ6gPsA1uEoViRnQtWyBxCzD4e"
PRODUCTION = {
    "SECOND_CROSSING_PRODUCTION": "1",
    "SECRET_KEY": SECRET,
    "ALLOWED_HOSTS": "bridges.example.org",
}


def manage(*arguments, data, **environ):
    """Run ``manage.py`` with nothing but these variables set."""
    return subprocess.run(
        [sys.executable, "-W", "error", "manage.py", *arguments],
        cwd=ROOT,
        env={
            "PATH": os.environ["PATH"],
            "SECOND_CROSSING_DATA": str(data),
            **environ,
        },
        capture_output=True,
        text=True,
        timeout=600,
        check=False,
    )


def setting(name, data, **environ):
    code = f"from django.conf import settings; print(repr(settings.{name}))"
    done = manage("shell", "--no-imports", "-c", code, data=data, **environ)
    assert done.returncode == 0, done.stderr
    return done.stdout.strip()


def test_production_settings_satisfy_every_check_of_a_deployment(tmp_path):
    done = manage(
        "check", "--deploy", "--fail-level", "WARNING", data=tmp_path, **PRODUCTION
    )
    assert done.returncode == 0, done.stderr
    assert "no issues (0 silenced)" in done.stdout


@pytest.mark.parametrize(
    "change, complaint",
    [
        ({"SECRET_KEY": ""}, "SECRET_KEY must be set"),
        ({"SECRET_KEY": "short"}, "SECRET_KEY must be set"),
        ({"SECRET_KEY": "a" * 60}, "SECRET_KEY must be set"),
        ({"DEBUG": "1"}, "DEBUG must be off"),
        ({"ALLOWED_HOSTS": ""}, "ALLOWED_HOSTS must list"),
        ({"ALLOWED_HOSTS": "*"}, "ALLOWED_HOSTS must list"),
        ({"ALLOWED_HOSTS": "bridges.example.org, *"}, "ALLOWED_HOSTS must list"),
        (
            {"SECOND_CROSSING_PRODUCTION": "perhaps"},
            "SECOND_CROSSING_PRODUCTION must be",
        ),
    ],
)
def test_production_refuses_to_start_without_what_it_needs(tmp_path, change, complaint):
    done = manage("check", data=tmp_path, **{**PRODUCTION, **change})
    assert done.returncode != 0
    assert complaint in done.stderr


def test_a_site_on_one_machine_needs_no_environment_and_makes_its_folder(tmp_path):
    data = tmp_path / "not" / "there" / "yet"
    done = manage("check", data=data)
    assert done.returncode == 0, done.stderr
    assert data.is_dir()


def test_the_key_known_to_all_answers_on_this_machine_only(tmp_path):
    hosts = setting("ALLOWED_HOSTS", tmp_path)
    assert hosts == "['localhost', '127.0.0.1', '[::1]', 'testserver']"
    assert "not-a-secret" in setting("SECRET_KEY", tmp_path)
    assert "not-a-secret" not in setting("SECRET_KEY", tmp_path, **PRODUCTION)


def test_a_blank_line_in_the_environment_file_switches_no_protection_off(tmp_path):
    blank = {"SECURE_SSL_REDIRECT": "", "HSTS_SECONDS": "", **PRODUCTION}
    assert setting("SECURE_SSL_REDIRECT", tmp_path, **blank) == "True"
    assert setting("SECURE_HSTS_SECONDS", tmp_path, **blank) == "31536000"


def test_forms_are_trusted_from_the_sites_own_hosts(tmp_path):
    hosts = {**PRODUCTION, "ALLOWED_HOSTS": "bridges.example.org,.example.com"}
    assert setting("CSRF_TRUSTED_ORIGINS", tmp_path, **hosts) == (
        "['https://bridges.example.org', 'https://*.example.com']"
    )


def test_a_tile_server_is_let_into_the_policy_and_nothing_else(tmp_path):
    tiles = {"TILE_URL": "https://{s}.tiles.example.org/{z}/{x}/{y}.png"}
    policy = setting("CONTENT_SECURITY_POLICY", tmp_path, **tiles)
    assert policy.count("https://") == 1
    assert (
        "'img-src': [\"'self'\", 'blob:', 'data:', 'https://*.tiles.example.org']"
        in policy
    )


def test_static_files_are_collected_under_hashed_names(tmp_path):
    done = manage("collectstatic", "--no-input", "-v", "0", data=tmp_path, **PRODUCTION)
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "static" / "staticfiles.json").exists()


def test_the_site_starts_without_the_geographic_libraries():
    """They are not a dependency; importing them must not be one either."""
    code = (
        "import sys\n"
        "class Gone:\n"
        "    def find_spec(self, name, path=None, target=None):\n"
        "        if name.startswith(('django.contrib.gis', 'osgeo')):\n"
        "            raise ImportError(name)\n"
        "sys.meta_path.insert(0, Gone())\n"
        "import django; django.setup()\n"
        "from django.urls import reverse; reverse('healthz')\n"
    )
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", code],
        cwd=ROOT,
        env={**os.environ, "DJANGO_SETTINGS_MODULE": "shared.settings"},
        capture_output=True,
        text=True,
        timeout=600,
        check=False,
    )
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize(
    "word, answer",
    [
        ("1", True),
        ("Yes", True),
        ("on", True),
        ("0", False),
        ("off", False),
        ("", True),
    ],
)
def test_a_flag_reads_yes_and_no_and_blank_as_not_set(monkeypatch, word, answer):
    monkeypatch.setenv("FLAG", word)
    assert environment.flag("FLAG", default=True) is answer


def test_readers_refuse_what_they_cannot_read_and_name_the_variable(monkeypatch):
    monkeypatch.setenv("SIZE", "large")
    with pytest.raises(ImproperlyConfigured, match="SIZE must be a whole number"):
        environment.whole("SIZE", 3)
    with pytest.raises(ImproperlyConfigured, match="SIZE must be 1 or 0"):
        environment.flag("SIZE")


def test_readers_fall_back_when_a_variable_is_missing_or_blank(monkeypatch):
    monkeypatch.delenv("ABSENT", raising=False)
    monkeypatch.setenv("BLANK", "  ")
    for name in ("ABSENT", "BLANK"):
        assert environment.text(name, "x") == "x"
        assert environment.whole(name, 3) == 3
        assert environment.words(name, ("a",)) == ["a"]
    monkeypatch.setenv("LIST", " a, b ,,c ")
    assert environment.words("LIST") == ["a", "b", "c"]
