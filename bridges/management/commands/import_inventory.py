"""Bring in a list: our own CSV, the federal inventory's public files, or waypoints."""

import sys
from pathlib import Path

from django.core.management.base import BaseCommand, CommandError

from bridges.intake import reading, taking
from bridges.intake.lines import Refused
from bridges.intake.record import without
from bridges.models import Import, ImportRow

MOST_FAULTS = 20


class Command(BaseCommand):
    help = (
        "Reads a list (CSV of ours, a federal delimited or fixed-width file, GPX), keeps "
        "every row word for word, and takes into the record what is certain, as claims "
        "beside what stands there. What is not certain waits for a person at /imports/."
    )

    def add_arguments(self, parser):
        parser.add_argument("file", metavar="FILE")
        parser.add_argument(
            "--dry-run", action="store_true", help="report, and keep nothing"
        )
        parser.add_argument(
            "--kind",
            choices=Import.Layout.values,
            default="",
            help="told by the file's content without it",
        )
        parser.add_argument(
            "--list", metavar="NAME", default="", help="which list this is a vintage of"
        )
        parser.add_argument(
            "--vintage", metavar="YEAR", default="", help="the year or day it is of"
        )
        parser.add_argument(
            "--unmatched",
            choices=Import.Unmatched.values,
            default="",
            help="what becomes of rows that match no bridge: new for our own CSV, keep "
            "for federal files, ask for waypoints, unless said",
        )

    def handle(self, *, file, dry_run, kind, vintage, unmatched, **options):
        try:
            with Path(file).open("rb") as opened:
                of = reading.receive(
                    opened,
                    name=Path(file).name,
                    layout=kind,
                    list_name=options["list"],
                    vintage=vintage,
                    unmatched=unmatched,
                )
        except OSError as error:
            raise CommandError(f"{file} could not be read: {error.strerror}.")
        except Refused as refused:
            raise CommandError(f"{file} was refused: {refused}")
        except reading.AlreadyTaken as already:
            self.stdout.write(
                f"{already.of} is in already, from the same file. Nothing was done."
            )
            return
        reading.read(pk=of.pk, progress=self._bar("Reading"))
        of.refresh_from_db()
        if of.state == Import.State.REFUSED:
            refusal = of.refusal
            reading.throw_away(of)
            raise CommandError(f"{file} was refused: {refusal}")
        self._report(of)
        if dry_run:
            reading.throw_away(of)
            self.stdout.write("A dry run: nothing was kept.")
            return
        taking.take(pk=of.pk, progress=self._bar("Taking"))
        self.stdout.write(f"Taken. The rows stand at /imports/{of.pk}/.")

    def _bar(self, word):
        if not sys.stderr.isatty():
            return None

        def progress(done, total=0, note=""):
            share = done / total if total else 1
            bar = ("=" * round(30 * share)).ljust(30)
            end = "\n" if done >= total else ""
            self.stderr.write(f"\r{word} [{bar}] {share:4.0%} {note}", ending=end)

        return progress

    def _report(self, of):
        report = of.report
        self.stdout.write(f"{of}: {of.get_layout_display()}, {of.row_count:,} rows.")
        for note in report["notes"]:
            self.stdout.write(note)
        if report["unknown"]:
            self.stdout.write(
                f"Columns not known and kept: {', '.join(report['unknown'])}."
            )
        for value, label in ImportRow.Outcome.choices:
            if count := report["outcomes"].get(value):
                self.stdout.write(f"  {count:>9,}  {label}")
        if of.previous:
            self.stdout.write(
                f"Against {of.previous}: {report['changed']:,} of "
                f"{report['seen_before']:,} rows changed, {report['gone']:,} are gone."
            )
        for code, count in report["faults"].items():
            self.stdout.write(f"  {count:>9,}  {code}: {without(code)}")
        shown = [one for group in report["examples"].values() for one in group]
        for line, field, text in sorted(shown)[:MOST_FAULTS]:
            self.stdout.write(f"    line {line}, {field}: {text}")
