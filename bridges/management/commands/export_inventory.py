"""Write the inventory to a file or to standard output."""

import os
import sys
from pathlib import Path

from django.core.management.base import BaseCommand, CommandError

from bridges import exports
from bridges.filters import BridgeFilter


class Command(BaseCommand):
    help = (
        "Writes the inventory as CSV, GeoJSON, GPX or KML: what a signed-out visitor "
        "may see, unless --full is given."
    )

    def add_arguments(self, parser):
        parser.add_argument("--format", choices=list(exports.FORMATS), default="csv")
        parser.add_argument(
            "--full",
            action="store_true",
            help="exact positions, bridges not shown to visitors, owners and access",
        )
        parser.add_argument(
            "--as-of",
            metavar="DATE",
            help="what stood on a day, and as it was then: 1925, 1925-06 or 1925-06-30",
        )
        parser.add_argument(
            "--output", metavar="FILE", help="standard output without it"
        )
        parser.add_argument(
            "--site", metavar="URL", help="the site's address, for links to its pages"
        )

    def handle(self, *, format, full, output, site, as_of=None, **options):
        bridges, day = exports.everything(full), None
        if as_of:
            bridges, day = _as_of(as_of, bridges, full)
        sight = exports.Sight(full=full, as_of=day)
        address_of = _addresses(site)
        pieces = exports.write(format, bridges, sight, address_of)
        if output is None:
            # The whole file in one encoding, whatever the terminal would use.
            out = self._out()
            try:
                for piece in pieces:
                    out.write(piece.encode())
                out.flush()
            except BrokenPipeError:
                # Who reads has had enough, as ``head`` does. Nothing is left to flush.
                nowhere = os.open(os.devnull, os.O_WRONLY)
                os.dup2(nowhere, sys.stdout.fileno())
            return
        try:
            with Path(output).open("wb") as file:
                for piece in pieces:
                    file.write(piece.encode())
        except OSError as error:
            raise CommandError(f"{output} could not be written: {error.strerror}.")

    def _out(self):
        return getattr(self.stdout, "buffer", None) or _Plain(self.stdout)


class _Plain:
    """Standard output without bytes under it, as in a test."""

    def __init__(self, out):
        self.out = out

    def write(self, data):
        self.out.write(data.decode(), ending="")

    def flush(self):
        self.out.flush()


def _as_of(text, bridges, full):
    """Return the bridges that stood on a day, and the day."""
    filterset = BridgeFilter({"as_of": text}, bridges, is_members=full)
    if not filterset.is_valid():
        raise CommandError(f"--as-of: {filterset.errors['as_of'][0]}")
    return filterset.qs, filterset.form.cleaned_data["as_of"]


def _addresses(site):
    if site is None:
        return None
    if not site.startswith(("https://", "http://")):
        raise CommandError("--site starts with https:// or http://.")
    root = site.rstrip("/")
    return lambda bridge: f"{root}{bridge.get_absolute_url()}"
