"""What to measure at each bridge, reckoned beforehand so that a list can read it."""

from __future__ import annotations

import time
from contextlib import suppress

from django.conf import settings
from django.db import OperationalError
from django.db.models import Q

from bridges.models import Bridge
from shared import jobs
from shared.waiting import impatient

from . import measure
from .models import ToMeasure

KEPT = 4
# How long a page without a worker behind it may reckon before it is shown anyway.
PAGE_S = 1.0


@jobs.job
def reckon(*, bridge):
    """Reckon what to measure at one bridge (its id) and keep it; safe to repeat."""
    held = Bridge.objects.filter(pk=bridge).first()
    if held is None:
        return
    tasks = [
        {
            "words": one["words"],
            "why": one["why"],
            "narrows_percent": one["narrows_percent"],
            "is_missing": one["is_missing"],
        }
        for one in measure.measure_next(held, KEPT)
    ]
    ToMeasure.objects.update_or_create(
        bridge=held, defaults={"tasks": tasks, "is_stale": False}
    )


def behind(bridges):
    """Return which of these bridges were never reckoned, or not since a change."""
    kept = ToMeasure.objects.filter(bridge__in=bridges, is_stale=False)
    fresh = set(kept.values_list("bridge_id", flat=True))
    return [bridge for bridge in bridges if bridge.pk not in fresh]


def catch_up(bridges):
    """Have what is behind reckoned: by the worker, or here for ``PAGE_S`` at most.

    A list that is only read does not wait while another write holds the database.
    """
    late = behind(bridges)
    with suppress(OperationalError), impatient():
        _catch_up(late)


def _catch_up(late):
    if not settings.JOBS_INLINE:
        for bridge in late:
            jobs.enqueue(reckon, key=f"to measure at {bridge.pk}", bridge=bridge.pk)
        return
    until = time.monotonic() + PAGE_S
    for bridge in late:
        if time.monotonic() > until:
            break
        reckon(bridge=bridge.pk)


def reckon_all(progress=None):
    """Reckon every bridge that is behind; returns how many."""
    fresh = ToMeasure.objects.filter(is_stale=False).values("bridge")
    late = list(Bridge.objects.filter(~Q(pk__in=fresh)).order_by("pk"))
    for done, bridge in enumerate(late):
        if progress:
            progress(done, len(late), bridge.name)
        reckon(bridge=bridge.pk)
    return len(late)
