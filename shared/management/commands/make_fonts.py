"""Make the web's typefaces before the first reader asks for them."""

from django.core.management.base import BaseCommand

from shared import fonts


class Command(BaseCommand):
    help = "Cut the typefaces that pages use out of the packaged files."

    def handle(self, *args, **options):
        for name in fonts.FACES:
            path = fonts.subset_path(name)
            self.stdout.write(f"{name}: {path.stat().st_size:,} bytes")
