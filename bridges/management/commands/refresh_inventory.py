"""Make anew what follows of the bridges: the map's rows, the words they are found by."""

from django.core.management.base import BaseCommand

from bridges import search, services
from bridges.models import Bridge


class Command(BaseCommand):
    help = (
        "Makes anew the rows behind map, search and dates. Nothing that anybody "
        "recorded is touched. Safe to run at any time, and again."
    )

    def handle(self, **options):
        search.install("default")
        services.refresh_all()
        self.stdout.write(f"{Bridge.objects.count()} bridges made anew.")
