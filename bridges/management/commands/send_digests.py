"""Mail people what was noted on what they watch; run it by cron, daily or weekly."""

from smtplib import SMTPException

from django.core.management.base import BaseCommand, CommandError
from django.db import transaction

from bridges import watching


class Command(BaseCommand):
    help = (
        "Mails each person what was noted since the last mail on the bridges and views "
        "that they watch. Nobody is mailed of nothing. Safe to run again."
    )

    def add_arguments(self, parser):
        parser.add_argument(
            "--site", metavar="URL", required=True, help="the site's address, for links"
        )
        parser.add_argument(
            "--dry-run", action="store_true", help="say who would be told, send nothing"
        )

    def handle(self, *, site, dry_run, **options):
        if not site.startswith(("https://", "http://")):
            raise CommandError("--site starts with https:// or http://.")
        sent, failed = 0, []
        for digest in watching.digests():
            if dry_run:
                self.stdout.write(f"{digest.person}: {watching._subject(digest)}")
                continue
            try:
                # Not sent is not told: it will be tried again the next time.
                with transaction.atomic():
                    watching.send(digest, site.rstrip("/"))
            except (OSError, SMTPException) as error:
                failed.append(f"{digest.person}: {error}")
            else:
                sent += 1
        self.stdout.write(f"{sent} mails sent.")
        if failed:
            raise CommandError("Not sent:\n" + "\n".join(failed))
