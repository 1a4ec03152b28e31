"""Fill an empty database with a made-up inventory, to measure with."""

import random
import sys

from django.core.management.base import BaseCommand, CommandError

from bridges import crowd
from bridges.models import Bridge, ChangeSeen
from shared import dates
from shared.models import Person
from surveys.models import Visit

BATCH = 2000


class Command(BaseCommand):
    help = (
        "Fills a database of its own with invented bridges and visits, for measuring. "
        "Refuses any database that holds bridges or people."
    )

    def add_arguments(self, parser):
        parser.add_argument("--bridges", type=int, required=True, metavar="N")
        parser.add_argument("--visits", type=int, default=0, metavar="M")
        parser.add_argument("--seed", type=int, default=7)

    def handle(self, *, bridges, visits, seed, **options):
        if not 1 <= bridges <= 5_000_000:
            raise CommandError("--bridges is a whole number from 1 to 5,000,000.")
        if not 0 <= visits <= 10_000_000:
            raise CommandError("--visits is a whole number from 0 to 10,000,000.")
        if Bridge.objects.exists() or Person.objects.exists():
            raise CommandError(
                "This database holds bridges or people. A crowd goes into an empty one: "
                "set DATABASE_URL or SECOND_CROSSING_DATA to another, and migrate it."
            )
        crowd.make(bridges, seed, lambda made: self._tell("bridges", made, bridges))
        self._visits(visits, random.Random(seed))
        self.stdout.write(f"{bridges} bridges and {visits} visits made.")

    def _visits(self, count, chance):
        ids = Bridge.objects.order_by("pk").values_list("pk", flat=True)
        first, last = ids.first(), ids.last()
        for start in range(0, count, BATCH):
            rows, changes = [], []
            for number in range(start, min(start + BATCH, count)):
                year = chance.randint(1975, 2026)
                when = f"{year}-0{chance.randint(1, 9)}-1{chance.randint(0, 9)}"
                day = dates.parse(when).latest
                visit = Visit(
                    bridge_id=chance.randint(first, last),
                    when=when,
                    when_earliest=day,
                    when_latest=day,
                    status=Visit.Status.ACCEPTED,
                )
                rows.append(visit)
                if number % 3 == 0:
                    changes.append((visit, day))
            Visit.objects.bulk_create(rows)
            ChangeSeen.objects.bulk_create(
                ChangeSeen(
                    bridge_id=visit.bridge_id,
                    key=str(visit.client_id),
                    day=day,
                    parts=chance.choice([",deck,", ",deck,limit,", ",counter,"]),
                    text="Deck replaced: steel grid, before timber plank.",
                    noted_at=visit.submitted_at,
                )
                for visit, day in changes
            )
            self._tell("visits", min(start + BATCH, count), count)

    def _tell(self, what, made, whole):
        if sys.stderr.isatty():
            self.stderr.write(f"\r{made:,} of {whole:,} {what}", ending="")
            if made == whole:
                self.stderr.write("")
