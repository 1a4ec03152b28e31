"""From SQLite to PostgreSQL, or back, row by row and proved."""

from django.core.management import BaseCommand, CommandError
from django.db import Error, connection, connections, transaction

from shared import databases, tables

TARGET = "moving-to"


class Command(BaseCommand):
    help = (
        "Copies the site's whole database to the one at URL, which must be empty, and "
        "proves by counts and hashes that every row arrived. Stop the site's server and "
        "workers first. The old database is left as it is. Files are not touched."
    )

    def add_arguments(self, parser):
        parser.add_argument(
            "url", metavar="URL", help="postgres://user@host/name or sqlite:///path"
        )

    def handle(self, *, url, verbosity, **options):
        try:
            facts = databases.from_url(url)
        except ValueError as error:
            raise CommandError(f"The address cannot be read: {error}")
        if _is_same(facts):
            raise CommandError("That is the database the site uses already.")
        try:
            with tables.opened(facts, TARGET):
                copied = self._move(url, verbosity)
        except Error as error:
            raise CommandError(
                f"The other database gave up: {str(error).strip()} Nothing has changed "
                "here."
            )
        rows = sum(one["rows"] for one in copied.values())
        self.stdout.write(
            f"{rows} rows in {len(copied)} tables have arrived, each table with the "
            "same count and hash. Now set DATABASE_URL to the new address and start "
            "the site."
        )

    def _move(self, url, verbosity):
        connections[TARGET].ensure_connection()
        _require_empty()
        if verbosity > 1:
            self.stdout.write("Making the tables")
        try:
            databases.migrate(url)
        except databases.NotMigrated as error:
            raise CommandError(f"The tables could not be made there: {error}")
        if held := tables.holds_anything(TARGET):
            raise CommandError(f"The other database is not empty: it holds {held}.")
        with transaction.atomic(using=TARGET):
            before = tables.summary("default")
            tables.copy("default", TARGET, self._progress if verbosity > 1 else None)
            arrived = tables.summary(TARGET)
            if found := tables.differences(before, arrived):
                raise CommandError(f"Not all arrived as it was: {'; '.join(found)}.")
            if found := tables.differences(before, tables.summary("default")):
                raise CommandError(
                    "The site was written to meanwhile and nothing was moved. Stop its "
                    f"server and workers and begin again. ({'; '.join(found)})"
                )
        return arrived

    def _progress(self, label):
        self.stdout.write(label)


def _is_same(facts):
    here = connection.settings_dict
    return all(
        str(here.get(name) or "") == str(facts.get(name) or "")
        for name in ("ENGINE", "NAME", "HOST", "PORT")
    )


def _require_empty():
    names = connections[TARGET].introspection.table_names()
    if names and "django_migrations" not in names:
        raise CommandError("The other database holds tables of other software.")
