"""How the keeper makes a backup, while the site runs."""

import sys
from pathlib import Path

from django.core.management import BaseCommand, CommandError

from shared import audit, backup


class Command(BaseCommand):
    help = (
        "Writes the whole database and all files into DIR, with a manifest of hashes. "
        "The site may be written to meanwhile. DIR must not hold anything yet."
    )

    def add_arguments(self, parser):
        parser.add_argument("folder", metavar="DIR", type=Path)

    def handle(self, *, folder, **options):
        try:
            facts = backup.make(folder.absolute(), self._progress)
        except backup.Refused as error:
            raise CommandError(str(error))
        except OSError as error:
            raise CommandError(f"The backup could not be written: {error}")
        count = len(facts["media"])
        rows = sum(one["rows"] for one in facts["tables"].values())
        audit.note(audit.Action.BACKED_UP, subject=f"{rows} rows, {count} files")
        self.stdout.write(f"{rows} rows and {count} files are in {folder}")
        for name in facts["missing"]:
            self.stderr.write(f"Missing from the media folder: {name}")

    def _progress(self, name):
        if sys.stdout.isatty():
            self.stdout.write(f"\r\033[K{name[-70:]}", ending="")
            self.stdout.flush()
