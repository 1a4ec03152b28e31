"""Laying out bridges that came with a list, so that visits can be logged to them."""

from django.db import transaction

from bridges.models import Bridge
from shared import jobs
from surveys.models import Element

from . import layout

BATCH = 50


@jobs.job
def lay_out(*, bridges):
    """Make the elements of these bridges (their ids). Safe to repeat.

    A list gives neither panels nor depth, so there is no skeleton to draw; bridges that
    have elements already are left as they are. Many are written at once: a list may
    bring thousands.
    """
    for start in range(0, len(bridges), BATCH):
        with transaction.atomic():
            _lay_out(bridges[start : start + BATCH])


def _lay_out(ids):
    has = set(
        Element.objects.filter(bridge__in=ids).values_list("bridge_id", flat=True)
    )
    bare = Bridge.objects.filter(pk__in=set(ids) - has).order_by("pk")
    Element.objects.bulk_create(
        element
        for bridge in bare.prefetch_related("spans")
        for element in layout.elements_of(bridge)
    )
