"""The first run on a society's own machine."""

import io
import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest
from django.core.exceptions import ImproperlyConfigured
from django.core.management import CommandError, call_command

from shared import environment

ROOT = Path(__file__).resolve().parent.parent.parent


def answers(data, **change):
    given = {
        "society": "The Alder Valley Bridge Society",
        "host": "bridges.example.org",
        "zone": "America/New_York",
        "ground": "-",
        "data": str(data),
        "database": "-",
        "proxy": "yes",
        "mail": "-",
        "worker": "yes",
        "keeper": "kit",
        "password": "river stones in May",
        **change,
    }
    return "".join(f"{one}\n" for one in given.values())


def setup(tmp_path, typed):
    return subprocess.run(
        [
            sys.executable,
            "manage.py",
            "setup",
            "--answers-from-stdin",
            f"--file={tmp_path / 'site.env'}",
        ],
        cwd=ROOT,
        input=typed,
        env={"PATH": os.environ["PATH"], "SECOND_CROSSING_DATA": str(tmp_path / "x")},
        capture_output=True,
        text=True,
        timeout=600,
        check=False,
    )


def manage(tmp_path, *arguments):
    return subprocess.run(
        [sys.executable, "manage.py", *arguments],
        cwd=ROOT,
        env={
            "PATH": os.environ["PATH"],
            "SECOND_CROSSING_ENVIRONMENT": str(tmp_path / "site.env"),
        },
        capture_output=True,
        text=True,
        timeout=600,
        check=False,
    )


def test_eleven_answers_make_a_site_with_a_keeper(tmp_path):
    done = setup(tmp_path, answers(tmp_path / "data"))
    assert done.returncode == 0, done.stderr + done.stdout
    assert "The site is ready" in done.stdout
    assert "river stones" not in done.stdout
    file = tmp_path / "site.env"
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert 'JOBS_INLINE="0"' in file.read_text()
    assert (tmp_path / "data" / "second-crossing.sqlite3").exists()
    code = (
        "from shared.models import Person; from django.conf import settings as s;"
        "p = Person.objects.get();"
        "print(p.username, sorted(p.group_names), p.check_password("
        "'river stones in May'), s.PRODUCTION, s.SOCIETY_NAME)"
    )
    told = manage(tmp_path, "shell", "--no-imports", "-c", code)
    assert told.stdout.strip() == (
        "kit ['keeper'] True True The Alder Valley Bridge Society"
    ), told.stderr
    secret = [one for one in file.read_text().splitlines() if "SECRET_KEY" in one]

    mail = ["127.0.0.1", "-", "bridges@example.org", "kit@example.org"]
    lines = ["", "", "", "", "", "", "", *mail, "", "kim", "river stones in May", ""]
    again = setup(tmp_path, "".join(f"{one}\n" for one in lines))
    assert again.returncode == 0, again.stderr + again.stdout
    assert "took no letter" in again.stdout, "nothing listens there"
    code = "from shared.models import Person; print(Person.objects.get(username='kim').email)"
    assert manage(tmp_path, "shell", "--no-imports", "-c", code).stdout.strip() == (
        "kit@example.org"
    )
    assert secret[0] in file.read_text(), "the secret stays"


@pytest.mark.parametrize(
    "change, words",
    [
        ({"host": "https://bridges.example.org/"}, "no https://"),
        ({"host": "bridges.example.org:8000"}, "no port"),
        ({"zone": "Valley Time"}, "America/New_York"),
        ({"ground": "/no/such.geojson"}, "no such file"),
        ({"database": "oracle://x"}, "postgres://user@host/name"),
        ({"database": "/srv/bridges"}, "postgres://user@host/name"),
        ({"host": ""}, "a name of its own"),
        ({"proxy": "perhaps"}, "yes or no"),
        ({"password": "short"}, "At least 8"),
        ({"keeper": "k it"}, "Letters, digits"),
    ],
)
def test_an_answer_that_cannot_be_says_why_and_nothing_is_written(
    tmp_path, monkeypatch, change, words
):
    file = tmp_path / "site.env"
    typed = io.StringIO(answers(tmp_path / "data", **change))
    monkeypatch.setattr("sys.stdin", typed)
    with pytest.raises(CommandError, match=words):
        call_command("setup", answers_from_stdin=True, file=file, stdout=io.StringIO())
    assert not file.exists()


def test_without_a_terminal_nothing_is_guessed(monkeypatch):
    monkeypatch.setattr("sys.stdin", io.StringIO())
    with pytest.raises(CommandError, match="at a terminal"):
        call_command("setup", stdout=io.StringIO())


@pytest.mark.parametrize(
    "content, mode, words",
    [
        ("SECRET_KEY=x\n", 0o644, "chmod 600"),
        ("SECRET_KEY\n", 0o600, "line 1"),
        ("# a remark\n\nmy key=x\n", 0o600, "line 3"),
    ],
)
def test_an_environment_file_that_cannot_be_stops_the_start(
    tmp_path, content, mode, words
):
    file = tmp_path / "site.env"
    file.write_text(content)
    file.chmod(mode)
    with pytest.raises(ImproperlyConfigured, match=words):
        environment.load(file)


def test_an_environment_file_gives_what_is_not_set_yet(tmp_path, monkeypatch):
    file = tmp_path / "site.env"
    file.write_text("# a remark\n\nFIRST=\"a b\"\nSECOND = c\nTHIRD='d=e'\n")
    file.chmod(0o600)
    monkeypatch.setenv("SECOND", "set")
    for name in ("FIRST", "THIRD"):
        # So that it is taken away again afterwards.
        monkeypatch.setenv(name, "x")
        monkeypatch.delenv(name)
    assert environment.load(file)
    got = [os.environ[name] for name in ("FIRST", "SECOND", "THIRD")]
    assert got == ["a b", "set", "d=e"]
    for name in ("FIRST", "THIRD"):
        del os.environ[name]
    assert not environment.load(tmp_path / "none")
