"""The worker: runs what the pages have asked for. Several may run at once."""

import signal
import threading
import time

from django.core.management import BaseCommand, CommandError
from django.db import DatabaseError, close_old_connections, connection

from shared import audit, jobs

TIDY_EVERY_S = 60 * 60


class Command(BaseCommand):
    help = (
        "Runs queued jobs until it is stopped (Control-C or SIGTERM), finishing the one "
        "it is at. Several may run at once, on one machine or on many. A worker that is "
        "killed loses nothing: its job is taken up again when its lease runs out."
    )

    def add_arguments(self, parser):
        parser.add_argument(
            "--until-empty", action="store_true", help="Stop when no job is due."
        )
        parser.add_argument(
            "--pause", type=float, default=1.0, help="Seconds between two looks."
        )

    def handle(self, *, until_empty, pause, verbosity, **options):
        if pause <= 0:
            raise CommandError("--pause must be more than nothing.")
        is_over = threading.Event()
        before = {
            name: signal.signal(name, lambda *_: is_over.set())
            for name in (signal.SIGTERM, signal.SIGINT)
        }
        try:
            self._work(is_over, until_empty, pause, verbosity)
        finally:
            for name, handler in before.items():
                signal.signal(name, handler)

    def _work(self, is_over, until_empty, pause, verbosity):
        owner, count, tidied = jobs.worker_name(), 0, 0.0
        while not is_over.is_set():
            try:
                if time.monotonic() - tidied > TIDY_EVERY_S or not tidied:
                    jobs.forget_old()
                    audit.forget_old()
                    tidied = time.monotonic()
                done = jobs.run_next(owner)
            except DatabaseError as error:
                if until_empty:
                    raise CommandError(f"The database does not answer: {error}")
                # It may be starting, or its disk full: it is asked again.
                self.stderr.write(f"The database does not answer: {error}")
                connection.close()
                is_over.wait(max(pause, 5))
                continue
            if not connection.in_atomic_block:
                close_old_connections()
            if done is None:
                if until_empty:
                    break
                is_over.wait(pause)
                continue
            count += 1
            if verbosity > 1:
                self.stdout.write(f"{done.pk} {done.call}: {done.get_state_display()}")
        if verbosity:
            self.stdout.write(f"{count} jobs run.")
