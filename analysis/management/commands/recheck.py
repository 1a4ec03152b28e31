"""Recompute stored checks and effects whose input or engine has changed."""

import sys

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from analysis.processes import recheck_in_processes, worth_starting
from analysis.recheck import Counts
from bridges.models import Bridge


class Command(BaseCommand):
    help = "Recompute stored checks and effects whose input or engine changed."

    def add_arguments(self, parser):
        parser.add_argument("--bridge", help="society number or slug of one bridge")
        parser.add_argument("--all", action="store_true", help="every bridge")
        parser.add_argument(
            "--processes",
            type=int,
            help="how many compute side by side (default: as many as there are "
            f"bridges for, at most {settings.RECHECK_PROCESSES})",
        )

    def handle(self, *args, **options):
        processes = options["processes"]
        if processes is not None and processes < 1:
            raise CommandError("--processes takes a whole number from 1 up.")
        ids = self._bridges(options)
        total = Counts()
        for counts in recheck_in_processes(ids, processes or worth_starting(len(ids))):
            total.add(counts)
            self._progress(total.bridges, len(ids))
        self.stdout.write(
            f"{total.bridges} bridges: {total.checks_new} checks new, "
            f"{total.checks_kept} unchanged; {total.effects_new} effects new, "
            f"{total.effects_kept} unchanged."
        )

    def _bridges(self, options):
        if options["bridge"]:
            name = options["bridge"]
            found = Bridge.objects.filter(slug=name) | Bridge.objects.filter(
                number=name
            )
            if not found.exists():
                raise CommandError(f"No bridge has the number or slug “{name}”.")
            return list(found.values_list("pk", flat=True))
        if not options["all"]:
            raise CommandError("Say --bridge NUMBER for one bridge, or --all.")
        return list(Bridge.objects.order_by("pk").values_list("pk", flat=True))

    def _progress(self, done, total):
        if not sys.stderr.isatty():
            return
        filled = 40 * done // max(total, 1)
        bar = "█" * filled + "·" * (40 - filled)
        self.stderr.write(
            f"\r{bar} {done}/{total}", ending="" if done < total else "\n"
        )
