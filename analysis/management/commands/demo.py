"""One command to see the project: a demonstration society in a database of its own."""

import contextlib
import logging
import socket
import sys
import threading

from django.conf import settings
from django.core.management import BaseCommand, CommandError, call_command
from django.core.servers import basehttp
from django.core.wsgi import get_wsgi_application
from django.db import connection
from django.db.utils import OperationalError

from analysis import demo, errands

HOST = "127.0.0.1"


class Command(BaseCommand):
    help = (
        "Prepares the database, loads the demonstration society once, prints the "
        f"address and the accounts, and serves the site on {HOST}."
    )

    def add_arguments(self, parser):
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument(
            "--no-serve", action="store_true", help="Load and print, then stop."
        )
        parser.add_argument(
            "--reset",
            action="store_true",
            help="Empty the demonstration first. Refused for any other database.",
        )

    def handle(self, *, port, no_serve, reset, **options):
        if settings.PRODUCTION:
            raise CommandError(
                "The demonstration is not for production: its accounts' password is "
                "printed for all to see. Run it without SECOND_CROSSING_PRODUCTION."
            )
        if not no_serve:
            _require_free(port)
        self._migrate()
        try:
            if reset:
                demo.reset()
            loaded = demo.load(progress=self._progress)
        except demo.Refused:
            raise CommandError(
                f"{_place()} holds something that is not the demonstration, and is "
                "left as it is. Give the demonstration a database of its own: set "
                "DATABASE_URL and SECOND_CROSSING_DATA to an empty place."
            )
        self._tell(loaded, port, no_serve)
        if not no_serve:
            _serve(port)

    def _migrate(self):
        if connection.vendor == "sqlite":
            settings.DATA_DIR.mkdir(parents=True, exist_ok=True)
        try:
            call_command("migrate", interactive=False, verbosity=0)
        except OperationalError as error:
            raise CommandError(f"{_place()} cannot be opened: {error}")

    def _progress(self, done, of, name):
        if not self.stdout.isatty():
            if done == 0:
                self.stdout.write(f"Loading {of} bridges …")
            return
        bar = "■" * (20 * done // of) + "·" * (20 - 20 * done // of)
        self.stdout.write(f"\r\033[K{bar} {done} of {of}  {name}", ending="")
        self.stdout.flush()
        if done == of:
            self.stdout.write("")

    def _tell(self, loaded, port, no_serve):
        made = "Loaded" if loaded.is_new else "Loaded before"
        self.stdout.write(
            f"{made}: {settings.SOCIETY_NAME}, {loaded.bridges} bridges, "
            f"{loaded.visits} visits, {loaded.photos} drawings. All of it is invented."
        )
        self.stdout.write(f"Accounts: {', '.join(loaded.usernames)}")
        self.stdout.write(f"Password: {loaded.password}")
        if not no_serve:
            self.stdout.write(f"Address:  http://{HOST}:{port}/")
            self.stdout.write("Control-C stops it.")
        self.stdout.flush()


def _place():
    name = connection.settings_dict["NAME"]
    return f"The database {name}"


def _require_free(port):
    """Find out before anything is loaded that the port cannot be had."""
    if not 0 < port < 65536:
        raise CommandError(f"--port takes a number from 1 to 65535, not {port}.")
    with socket.socket() as probe:
        # What a server that has just stopped leaves behind is no hindrance.
        if sys.platform != "win32":
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HOST, port))
        except OSError as error:
            raise CommandError(
                f"Port {port} cannot be used ({error.strerror}). Something else may "
                f"be answering there: stop it, or name another with --port "
                f"{port + 1 if port < 65535 else 8000}."
            )


def _serve(port):
    """Answer with a thread a request; WhiteNoise serves the static files."""
    logging.getLogger("django.server").setLevel(logging.WARNING)
    # Half a minute's arithmetic for the due list, which nobody should wait for.
    threading.Thread(target=errands.reckon_all, daemon=True).start()
    with contextlib.suppress(KeyboardInterrupt):
        basehttp.run(HOST, port, get_wsgi_application(), threading=True)
