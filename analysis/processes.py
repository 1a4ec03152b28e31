"""Several processes that recheck side by side.

Imports no model at the top: a fresh process reads this before Django is ready.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

import django
from django.conf import settings
from django.db import connection, connections

#: Bridges handed to a process at once.
HANDED = 40


def recheck_in_processes(ids: Sequence[int], processes: int, handed: int = HANDED):
    """Yield the counts of what was done as it is done, by so many processes."""
    chunks = [ids[at : at + handed] for at in range(0, len(ids), handed)]
    return _by_one(chunks) if processes <= 1 else _by_several(chunks, processes)


def _by_one(chunks) -> Iterator:
    yield from map(_recheck, chunks)


def _by_several(chunks, processes) -> Iterator:
    name = connection.settings_dict["NAME"]
    # A forked process would share the connection.
    connections.close_all()
    with ProcessPoolExecutor(
        max(1, min(processes, len(chunks))),
        mp_context=get_context("spawn"),
        initializer=_begin,
        initargs=(name,),
    ) as pool:
        yield from pool.map(_recheck, chunks)


def _begin(database):
    """Make a fresh process ready, on the database of the one that asked."""
    settings.DATABASES["default"]["NAME"] = database
    django.setup()


def _recheck(ids):
    from bridges.models import Bridge

    from .recheck import recheck_many

    return recheck_many(Bridge.objects.filter(pk__in=ids).order_by("pk"))
