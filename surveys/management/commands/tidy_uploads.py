"""Drop what visit forms that were never sent have left behind."""

import datetime

from django.core.management.base import BaseCommand
from django.utils import timezone

from surveys import photos, stash


class Command(BaseCommand):
    help = (
        "Drops photographs of visit forms that were opened and never sent. What is "
        "part of a visit is never touched. Safe to repeat; once a month is enough."
    )

    def add_arguments(self, parser):
        parser.add_argument(
            "--days",
            type=int,
            default=stash.DAYS_KEPT,
            help="how long they are kept (default: %(default)s)",
        )

    def handle(self, *args, days, **options):
        moment = timezone.now() - datetime.timedelta(days=days)
        count = stash.forget_older_than(moment)
        photos.forget_scratch(moment)
        self.stdout.write(f"{count} photo{'' if count == 1 else 's'} dropped.")
