"""Answer check files: ``manage.py run_check FILE... [--table]`` or ``--schema``."""

import json
import os
import sys

from django.core.management.base import BaseCommand

from analysis.engine import checkfile
from analysis.engine.answer import answer_many
from analysis.engine.errors import CheckFileError, Fault
from analysis.engine.parsing import MOST_BYTES
from analysis.engine.table import table

WRONG_FILE = 2


class Command(BaseCommand):
    help = (
        "Answers check files: member forces, resistances and ratings of one truss "
        "line, as JSON or as a table. Screening estimates, not load ratings."
    )
    # It reads files and writes figures: no database, no site.
    requires_system_checks = []
    requires_migrations_checks = False

    def add_arguments(self, parser):
        parser.add_argument(
            "files", nargs="*", metavar="FILE", help="a check file; - is standard input"
        )
        parser.add_argument(
            "--table", action="store_true", help="aligned columns instead of JSON"
        )
        parser.add_argument(
            "--schema", action="store_true", help="the JSON Schema of a check file"
        )

    def handle(self, *, files, table, schema, **options):
        if schema:
            self.write(json.dumps(checkfile.schema(), indent=2))
            return
        if not files:
            self.refuse(["run_check: expected a FILE, - or --schema"])
        documents, faults = [], []
        for name in files:
            try:
                document = checkfile.parse(self.text_of(name))
                checkfile.read(document)
            except CheckFileError as error:
                faults += [f"{plain(name)}: {plain(str(f))}" for f in error.faults]
            else:
                documents.append(document)
        if faults:
            self.refuse(faults)
        self.show(documents, as_table=table)

    def show(self, documents, *, as_table):
        answers = answer_many(documents)
        if as_table:
            titles = [plain(document.get("title", "")) for document in documents]
            texts = [
                table(found, title)
                for found, title in zip(answers, titles, strict=True)
            ]
            self.write("\n".join(texts))
            return
        whole = answers[0] if len(answers) == 1 else answers
        self.write(json.dumps(whole, indent=2))

    def text_of(self, name):
        """Read a file as bytes, one byte more than the reader takes."""
        try:
            if name == "-":
                return sys.stdin.buffer.read(MOST_BYTES + 1)
            with open(name, "rb") as file:
                return file.read(MOST_BYTES + 1)
        except (OSError, ValueError) as error:
            why = getattr(error, "strerror", None) or str(error)
            message = f"expected a file that can be read: {why}"
            raise CheckFileError([Fault("$", message, "file")]) from None

    def write(self, text):
        """Print; a reader that has gone away, as ``head`` does, is no fault."""
        coding = getattr(sys.stdout, "encoding", None) or "utf-8"
        try:
            self.stdout.write(text.encode(coding, "backslashreplace").decode(coding))
            self.stdout.flush()
        except BrokenPipeError:
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())

    def refuse(self, lines):
        for line in lines:
            self.stderr.write(line, self.style.NOTICE)
        sys.exit(WRONG_FILE)


def plain(text):
    """Return a text on one line, without what no terminal can be sent."""
    shown = text.encode("utf-8", "backslashreplace").decode()
    return "".join(c if c.isprintable() else repr(c)[1:-1] for c in shown)
