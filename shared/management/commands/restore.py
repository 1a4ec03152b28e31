"""How the keeper brings a backup back."""

import sys
from pathlib import Path

from django.core.management import BaseCommand, CommandError

from shared import audit, backup


class Command(BaseCommand):
    help = (
        "Puts the backup in DIR in place, after looking at every byte of it. A site "
        "that holds something is left as it is unless --replace is given. Stop the "
        "site's server and workers first."
    )

    def add_arguments(self, parser):
        parser.add_argument("folder", metavar="DIR", type=Path)
        parser.add_argument(
            "--replace", action="store_true", help="Drop what the site holds now."
        )
        parser.add_argument(
            "--upgrade",
            action="store_true",
            help="Take a backup of an older release and bring it forward.",
        )
        parser.add_argument(
            "--look-only", action="store_true", help="Look at the backup and stop."
        )

    def handle(self, *, folder, replace, upgrade, look_only, **options):
        folder = folder.absolute()
        try:
            if look_only:
                facts = backup.read(folder, older_too=upgrade)
            else:
                facts = backup.restore(
                    folder, replace=replace, older_too=upgrade, progress=self._progress
                )
        except backup.Refused as error:
            raise CommandError(f"{error} Nothing was restored.")
        except OSError as error:
            raise CommandError(f"The backup could not be restored: {error}")
        rows = sum(one["rows"] for one in facts["tables"].values())
        told = f"{rows} rows and {len(facts['media'])} files of {facts['made_at']}"
        if look_only:
            self.stdout.write(f"Whole and undamaged: {told}.")
            return
        audit.note(audit.Action.RESTORED, subject=told)
        self.stdout.write(f"Restored: {told}.")

    def _progress(self, name):
        if sys.stdout.isatty():
            self.stdout.write(f"\r\033[K{name[-70:]}", ending="")
            self.stdout.flush()
