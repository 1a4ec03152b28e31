"""The first run on a society's own machine: questions in words, and then a site."""

import getpass
import os
import re
import secrets
import subprocess
import sys
import zoneinfo
from pathlib import Path

from django.conf import settings
from django.core.management import BaseCommand, CommandError

from shared import databases

HOST = re.compile(r"(?=.{1,253}$)([a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?\.)*[a-z0-9-]+")
MAIL = re.compile(r"[^@\s]+@[^@\s]+")


class Command(BaseCommand):
    help = (
        "Asks what a public site needs to know, writes it to one file that only this "
        "account may read, prepares the database, and makes the keeper's account. "
        "Safe to run again: what stands in the file is offered as the answer."
    )
    # It writes the very file that the settings are read from.
    requires_system_checks = []

    def add_arguments(self, parser):
        parser.add_argument(
            "--file",
            type=Path,
            default=None,
            help="Where to write it (default: the one in use, else .env here).",
        )
        parser.add_argument(
            "--answers-from-stdin",
            action="store_true",
            help="Read the answers from the standard input, one a line.",
        )

    def handle(self, *, file, answers_from_stdin, **options):
        self.is_typed = not answers_from_stdin
        if self.is_typed and not sys.stdin.isatty():
            raise CommandError(
                "Run this at a terminal, or with --answers-from-stdin and one answer a "
                "line."
            )
        named = os.environ.get("SECOND_CROSSING_ENVIRONMENT", "")
        file = file or Path(named or settings.BASE_DIR / ".env")
        held = _read(file)
        self.stdout.write(
            "A few questions. Press return to take what stands in brackets.\n"
        )
        answers = self._ask_all(held)
        keeper, password, mail = self._ask_keeper(answers)
        _write(file, {**held, **answers})
        self.stdout.write(f"\nWritten: {file}")
        self._prepare(file, keeper, password, mail)
        self._try_mail(file, answers)
        self._say_what_is_next(file, answers)

    def _ask_all(self, held):
        ask = self._ask
        default = held.get
        answers = {
            "SECOND_CROSSING_PRODUCTION": "1",
            "SECRET_KEY": default("SECRET_KEY") or secrets.token_urlsafe(60),
        }
        answers["SOCIETY_NAME"] = ask(
            "The society's name", default("SOCIETY_NAME"), _something
        )
        answers["ALLOWED_HOSTS"] = ask(
            "The site's host name, such as bridges.example.org",
            default("ALLOWED_HOSTS"),
            _host,
        )
        answers["TIME_ZONE"] = ask(
            "Time zone", default("TIME_ZONE") or "America/New_York", _zone
        )
        answers["BASE_MAP"] = ask(
            "Ground of the map: a GeoJSON file or a folder of them, or - for plain paper",
            default("BASE_MAP") or "-",
            _ground,
        )
        answers["SECOND_CROSSING_DATA"] = ask(
            "Folder for the database and the photographs",
            default("SECOND_CROSSING_DATA") or str(settings.DATA_DIR),
            _folder,
        )
        answers["DATABASE_URL"] = ask(
            "PostgreSQL address (postgres://user@host/name), or - for a file in that "
            "folder",
            default("DATABASE_URL") or "-",
            _database,
        )
        answers["BEHIND_PROXY"] = ask(
            "Does a proxy on this machine speak TLS and pass requests on? yes or no",
            "no" if default("BEHIND_PROXY") == "0" else "yes",
            _yes_or_no,
        )
        answers["EMAIL_HOST"] = ask(
            "Mail server for invitations and links, or - for none",
            default("EMAIL_HOST") or "-",
            _or_none,
        )
        if answers["EMAIL_HOST"]:
            answers["EMAIL_HOST_USER"] = ask(
                "Name to sign in to it with, or - for none",
                default("EMAIL_HOST_USER") or "-",
                _or_none,
            )
            answers["EMAIL_HOST_PASSWORD"] = default("EMAIL_HOST_PASSWORD") or ""
            if answers["EMAIL_HOST_USER"]:
                answers["EMAIL_HOST_PASSWORD"] = self._secret(
                    "Its password", default("EMAIL_HOST_PASSWORD")
                )
            answers["DEFAULT_FROM_EMAIL"] = ask(
                "Letters come from", default("DEFAULT_FROM_EMAIL"), _mail
            )
            answers["ERROR_MAIL"] = ask(
                "Mail faults of the site to", default("ERROR_MAIL"), _mail
            )
        answers["JOBS_INLINE"] = ask(
            "Will you run the worker (manage.py run_jobs) beside the site? yes or no",
            "no" if default("JOBS_INLINE") == "1" else "yes",
            lambda text: {"1": "0", "0": "1"}[_yes_or_no(text)],
        )
        return answers

    def _ask_keeper(self, answers):
        self.stdout.write("\nThe keeper's own account, to sign in with.")
        name = self._ask("Name, or - if there is one already", "keeper", _name)
        if not name:
            return "", "", ""
        password = self._secret("Password (8 characters or more)", "", _password)
        mail = ""
        if answers["EMAIL_HOST"]:
            question = "Mail address, for a link if the password is lost"
            mail = self._ask(question, answers["ERROR_MAIL"], _mail)
        return name, password, mail

    def _ask(self, question, offered, read):
        """Ask until the answer can be read. Raises ``CommandError`` when input ends."""
        offered = offered or ""
        while True:
            self.stdout.write(f"{question} [{offered}]: ", ending="")
            self.stdout.flush()
            line = sys.stdin.readline()
            if not line:
                raise CommandError("The answers end here. Nothing was written.")
            try:
                return read(line.strip() or offered)
            except ValueError as error:
                self.stdout.write(f"  {error}")
                if not self.is_typed:
                    raise CommandError(f"{question}: {error} Nothing was written.")

    def _secret(self, question, offered, read=str):
        if not self.is_typed:
            return self._ask(question, offered, read)
        while True:
            note = " [the one there is]" if offered else ""
            typed = getpass.getpass(f"{question}{note}: ") or offered or ""
            try:
                return read(typed)
            except ValueError as error:
                self.stdout.write(f"  {error}")

    def _prepare(self, file, keeper, password, mail):
        """Run each step of a deployment; a fault leaves the answers as they are."""
        steps = [
            ["check", "--deploy", "--fail-level", "WARNING"],
            ["migrate", "-v", "0"],
            ["collectstatic", "--no-input", "-v", "0"],
        ]
        if keeper:
            steps.append(["add_person", keeper, "--group", "keeper", "--email", mail])
        for step in steps:
            self.stdout.write(f"manage.py {' '.join(filter(None, step))}")
            done = _manage(file, step, f"{password}\n")
            if done.returncode:
                raise CommandError(
                    f"That did not work:\n{done.stderr.strip()}\nMend it and run "
                    "manage.py setup again; your answers are kept."
                )

    def _try_mail(self, file, answers):
        """Send one letter: better found out now than by whoever is invited."""
        if not answers["EMAIL_HOST"]:
            return
        done = _manage(file, ["sendtestemail", answers["ERROR_MAIL"]])
        if done.returncode:
            why = done.stderr.strip().rpartition("\n")[2]
            self.stdout.write(
                f"\nThe mail server took no letter: {why}\nThe site works without; "
                f"mend EMAIL_HOST, EMAIL_PORT or EMAIL_USE_TLS in {file} (README), and "
                "pass invitations on by hand until then."
            )
        else:
            self.stdout.write(f"A trial letter is sent to {answers['ERROR_MAIL']}.")

    def _say_what_is_next(self, file, answers):
        self.stdout.write(
            "\nThe site is ready. Start it with\n"
            "  .venv/bin/gunicorn shared.wsgi --workers 2 --threads 4 "
            "--keep-alive 75 --bind 127.0.0.1:8001\n"
            "or by the units in .deploy (see the README). Keep a copy of\n"
            f"  {file}\n"
            "beside your backups: the secret in it is in no backup."
        )
        if answers["BEHIND_PROXY"] == "0":
            self.stdout.write(
                "Without a proxy give gunicorn a certificate (--certfile, --keyfile): "
                "the site sends every page over TLS and answers nothing without."
            )


def _manage(file, step, typed=""):
    """Run a command as the site itself will: with that file, in a new process."""
    env = {name: os.environ[name] for name in ("PATH", "HOME") if name in os.environ}
    env["SECOND_CROSSING_ENVIRONMENT"] = str(file.absolute())
    return subprocess.run(
        [sys.executable, str(settings.BASE_DIR / "manage.py"), *step],
        input=typed,
        env=env,
        cwd=settings.BASE_DIR,
        capture_output=True,
        text=True,
        check=False,
    )


# -- the file


def _read(file):
    held = {}
    if file.exists():
        for line in file.read_text(encoding="utf-8").splitlines():
            name, equals, value = line.partition("=")
            if equals and not line.lstrip().startswith("#"):
                held[name.strip()] = value.strip().strip("\"'")
    return held


def _write(file, answers):
    file.parent.mkdir(parents=True, exist_ok=True)
    lines = [f'{name}="{value}"\n' for name, value in answers.items() if value != ""]
    beside = file.with_name(f"{file.name}.new")
    handle = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(handle, "w", encoding="utf-8") as out:
        out.writelines(["# Written by manage.py setup. It holds secrets.\n", *lines])
    os.replace(beside, file)


# -- readers of answers; each raises ValueError with a sentence


def _something(text):
    if not text or '"' in text or not text.isprintable():
        raise ValueError("Write a name, without quotation marks.")
    return text


def _host(text):
    hosts = [one.strip().lower() for one in text.split(",") if one.strip()]
    if not hosts:
        raise ValueError("The site needs a name of its own.")
    if not all(HOST.fullmatch(one) for one in hosts):
        raise ValueError("Write the name alone: no https://, no slash, no port.")
    return ",".join(hosts)


def _zone(text):
    if text not in zoneinfo.available_timezones():
        raise ValueError("Write it as in America/New_York.")
    return text


def _folder(text):
    path = Path(text).expanduser().absolute()
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise ValueError(f"It cannot be made: {error.strerror}.")
    if not os.access(path, os.W_OK):
        raise ValueError("This account may not write there.")
    return str(path)


def _ground(text):
    if text in ("", "-"):
        return ""
    path = Path(text).expanduser().absolute()
    if path.is_file() or any(path.glob("*.geojson")):
        return str(path)
    raise ValueError("There is no such file, nor a folder with any *.geojson in it.")


def _database(text):
    if text in ("", "-"):
        return ""
    if not re.match(r"(postgres|postgresql|sqlite)://", text):
        raise ValueError("Write it as postgres://user@host/name, or - for a file.")
    databases.from_url(text)
    return text


def _yes_or_no(text):
    answer = {"yes": "1", "y": "1", "1": "1", "no": "0", "n": "0", "0": "0"}.get(
        text.lower()
    )
    if answer is None:
        raise ValueError("Write yes or no.")
    return answer


def _or_none(text):
    return "" if text == "-" else _something(text)


def _mail(text):
    if not MAIL.fullmatch(text) or '"' in text:
        raise ValueError("Write a mail address.")
    return text


def _name(text):
    if text == "-":
        return ""
    if not re.fullmatch(r"[\w.@+-]{1,150}", text):
        raise ValueError("Letters, digits and @ . + - _ only.")
    return text


def _password(text):
    if len(text) < 8:
        raise ValueError("At least 8 characters.")
    return text
