"""Several processes that recheck side by side, this one among them.

Imports no model at the top: a fresh process reads this before Django is ready.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from multiprocessing import get_context

import django
from django.conf import settings
from django.db import connection

from shared.databases import unhurried

#: Bridges handed to a process at once, and at the end, so that all end together.
HANDED, HANDED_LAST = 40, 8
#: Bridges for which one process more is worth starting: it takes a second or two.
WORTH = 100


def recheck_in_processes(ids: Sequence[int], processes: int, handed: int = HANDED):
    """Yield the counts of what was done as it is done, by so many processes.

    One of them is this one, which computes while it is asked for what was done.
    """
    shares = shares_of(ids, processes, handed)
    if processes <= 1 or len(shares) <= 1:
        return map(_recheck, shares)
    return _by_several(shares, processes - 1)


def worth_starting(count: int) -> int:
    """Return how many processes so many bridges are worth, at most as settings say."""
    return max(1, min(settings.RECHECK_PROCESSES, 1 + count // WORTH))


def shares_of(ids, processes, handed) -> list[Sequence[int]]:
    """Cut the ids into shares, smaller ones at the end."""
    shares, at = [], 0
    while at < len(ids):
        each = -(-(len(ids) - at) // (2 * processes)) if processes > 1 else handed
        size = min(handed, max(HANDED_LAST, each))
        shares.append(ids[at : at + size])
        at += size
    return shares


def _by_several(shares, others) -> Iterator:
    left, handed = deque(shares), set[Future]()
    with ProcessPoolExecutor(
        min(others, len(shares) - 1),
        # A forked process would share the connection.
        mp_context=get_context("spawn"),
        initializer=_begin,
        initargs=(connection.settings_dict["NAME"],),
    ) as pool:
        try:
            while left or handed:
                # One more than each is at work on, so that it need not wait for us.
                while left and len(handed) < 2 * others:
                    handed.add(pool.submit(_recheck, left.popleft()))
                if left:
                    yield _recheck(left.popleft())
                else:
                    wait(handed, return_when=FIRST_COMPLETED)
                for one in [one for one in handed if one.done()]:
                    handed.remove(one)
                    yield one.result()
        finally:
            pool.shutdown(cancel_futures=True)


def _begin(database):
    """Make a fresh process ready, on the database of the one that asked."""
    settings.DATABASES["default"]["NAME"] = database
    django.setup()


def _recheck(ids):
    from bridges.models import Bridge

    from .recheck import recheck_many

    with unhurried(connection):
        return recheck_many(Bridge.objects.filter(pk__in=ids).order_by("pk"))
