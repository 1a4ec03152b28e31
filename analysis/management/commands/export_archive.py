"""How the keeper writes the society's whole record into one file."""

import sys
from pathlib import Path

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from analysis import archive
from shared import audit


class Command(BaseCommand):
    help = (
        "Writes the whole record into FILE, for another site to load or a library to "
        "keep: JSON lines, photographs and a manifest in a ZIP. The site may be written "
        "to meanwhile. It holds what only the society may see, unless --public."
    )

    def add_arguments(self, parser):
        parser.add_argument(
            "file", metavar="FILE", type=Path, help="a folder: a name is chosen in it"
        )
        parser.add_argument(
            "--public",
            action="store_true",
            help="what a signed-out visitor may see, and no more",
        )
        parser.add_argument(
            "--replace", action="store_true", help="drop the file that is there"
        )

    def handle(self, *, file, public, replace, **options):
        if file.is_dir():
            file = file / archive.file_name(public, timezone.localdate())
        if file.exists() and not replace:
            raise CommandError(f"{file} is there already. Give --replace to drop it.")
        try:
            facts = archive.write(file, public=public, progress=self._progress)
        except OSError as error:
            raise CommandError(f"{file} could not be written: {error.strerror}.")
        rows = sum(one.get("lines", 0) for one in facts["members"].values())
        audit.note(audit.Action.EXPORTED, subject=f"archive ({facts['of']})")
        self.stdout.write(f"{rows} rows are in {file}")
        for name in facts["missing"]:
            self.stderr.write(f"Missing from the media folder: {name}")

    def _progress(self, words):
        if sys.stdout.isatty():
            self.stdout.write(f"\r\033[K{words[-70:]}", ending="")
            self.stdout.flush()
