"""How an archive is loaded into an empty site."""

import sys
from pathlib import Path

from django.core.management.base import BaseCommand, CommandError

from analysis import archive_loading
from shared.archive_file import Refused


class Command(BaseCommand):
    help = (
        "Loads an archive into a site that holds nothing, of either kind of database, "
        "after looking at every byte of it. Everything or nothing is loaded."
    )

    def add_arguments(self, parser):
        parser.add_argument("file", metavar="FILE", type=Path)
        parser.add_argument(
            "--look-only", action="store_true", help="look at the archive and stop"
        )

    def handle(self, *, file, look_only, **options):
        try:
            with file.open("rb") as source:
                if look_only:
                    facts = archive_loading.look(source)
                else:
                    facts = archive_loading.load(source, self._progress)
        except Refused as error:
            raise CommandError(f"{error} Nothing was loaded.")
        except OSError as error:
            raise CommandError(f"{file} could not be loaded: {error}")
        rows = sum(one.get("lines", 0) for one in facts["members"].values())
        told = f"{rows} rows of {facts.get('society')}, {facts.get('made_at')}"
        if look_only:
            self.stdout.write(f"Whole and undamaged: {told}.")
            return
        self.stdout.write(f"Loaded: {told}.")
        if "people" in {name[8:-6] for name in facts["members"]}:
            self.stdout.write(
                "Nobody has a password yet: manage.py changepassword NAME, or a link by "
                "mail."
            )

    def _progress(self, words):
        if sys.stdout.isatty():
            self.stdout.write(f"\r\033[K{words[-70:]}", ending="")
            self.stdout.flush()
