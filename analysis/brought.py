"""Laying out bridges that came with a list, so that visits can be logged to them."""

from django.db import transaction

from analysis.engine.errors import EngineError
from bridges.models import Bridge
from shared import jobs

from . import layout


@jobs.job
def lay_out(*, bridges):
    """Make the elements of these bridges (their ids). Safe to repeat."""
    for bridge in Bridge.objects.filter(pk__in=bridges).order_by("pk"):
        try:
            with transaction.atomic():
                layout.lay_out_bridge(bridge)
        except EngineError:
            # A geometry that cannot be built is told on the record's own page.
            continue
