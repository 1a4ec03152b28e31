"""Work behind the pages: asked for here, run by ``manage.py run_jobs`` or at once.

A job is a function that its module has marked with ``@jobs.job``, called with
arguments that JSON can hold::

    @jobs.job
    def print_dossier(*, slug, progress): ...

    asked = jobs.enqueue(print_dossier, slug="mill-lane", by=request.user)
    asked.state, asked.result, asked.fault

``enqueue`` takes the function or its dotted name, so that a lower room can ask a higher.
Where ``JOBS_INLINE`` is set (the demonstration, the tests, a site without a worker) the
job runs in the same process as soon as what asked for it is committed.

A job may run twice: a worker that is killed, or stands still for longer than its
lease, is taken for gone. So a job must bear repetition (write beside, rename, then say
it is done), and only whoever still holds the lease may finish it.
"""

from __future__ import annotations

import contextlib
import datetime
import inspect
import logging
import os
import socket
import threading
import traceback
import uuid
from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.db import DatabaseError, IntegrityError, connection, transaction
from django.utils import timezone
from django.utils.module_loading import import_string

from .models import Job

logger = logging.getLogger(__name__)

MOST_TRIES = 5
# Half a minute, two minutes, eight, half an hour: long enough for a full disk to be
# noticed or a database to come back, short enough for the person who waits.
FIRST_DELAY_S, DELAY_GROWS_BY, LONGEST_DELAY_S = 30, 4, 6 * 60 * 60
DAYS_KEPT = 30
MOST_ERROR = 8_000


class Hopeless(Exception):
    """Raised by a job that no repetition would help; its text is for people."""


class NotAJob(ValueError):
    """The name is not that of a function marked with ``@job``."""


def job(function=None, /, *, most_tries=MOST_TRIES):
    """Mark a function as one that may be asked for by name.

    A parameter called ``progress`` is given ``progress(done, total, note="")``.
    """

    def mark(function):
        function.job_most_tries = most_tries
        return function

    return mark if function is None else mark(function)


def enqueue(
    call: Callable | str, /, *, by=None, key="", after_s: float = 0, **arguments: Any
) -> Job:
    """Ask for a job; returns its row. Inline, the row tells how it went.

    The same ``key`` asked for again while it waits is the same job, with the arguments
    it was first asked with. With ``after_s`` it waits so long, also where jobs run
    inline: then for a worker. Inside a transaction the job is asked for only if that
    commits. Raises ``NotAJob``, and ``TypeError`` for arguments that JSON cannot hold
    or the function does not take.
    """
    name = call if isinstance(call, str) else f"{call.__module__}.{call.__qualname__}"
    function = _function(name)
    _require_fit(function, arguments)
    asked, is_new = _store(
        call=name,
        arguments=arguments,
        key=key,
        person=by if getattr(by, "pk", None) else None,
        most_tries=function.job_most_tries,
        run_after=timezone.now() + datetime.timedelta(seconds=after_s),
    )
    if is_new and not after_s and settings.JOBS_INLINE:
        if _is_inside_a_transaction():
            transaction.on_commit(lambda: run_now(asked), robust=True)
        else:
            run_now(asked)
    return asked


def _function(name):
    try:
        function = import_string(name)
    except (ImportError, ValueError) as error:
        raise NotAJob(f"There is no {name}.") from error
    if not hasattr(function, "job_most_tries"):
        raise NotAJob(f"{name} is not marked as a job.")
    return function


def _takes_progress(function):
    return "progress" in inspect.signature(function).parameters


def _require_fit(function, arguments):
    extra = {"progress": None} if _takes_progress(function) else {}
    inspect.signature(function).bind(**arguments, **extra)


def _store(**facts):
    if not facts["key"]:
        return Job.objects.create(**facts), True
    waiting = Job.objects.filter(key=facts["key"], state=Job.State.WAITING)
    while True:
        held = waiting.first()
        if held is not None:
            return held, False
        try:
            with transaction.atomic():
                return Job.objects.create(**facts), True
        except IntegrityError:
            # Two asked at once: the other's row waits now, or has been begun already.
            continue


def _is_inside_a_transaction():
    """Whether anything is still to be committed, but for what a test wraps itself in."""
    blocks = connection.atomic_blocks
    return any(not getattr(one, "_from_testcase", False) for one in blocks)


def drop(asked: Job) -> bool:
    """Ask no more for a job that nobody has begun; returns whether it was so."""
    return bool(Job.objects.filter(pk=asked.pk, state=Job.State.WAITING).delete()[0])


# -- running


def run_now(asked: Job) -> Job:
    """Run one job in this process, whatever its turn; returns it as it then stands."""
    held = _take(Job.objects.filter(pk=asked.pk, state=Job.State.WAITING), _name())
    if held is not None:
        _run(held)
    asked.refresh_from_db()
    return asked


def run_next(owner: str) -> Job | None:
    """Run the job whose turn it is; returns it as it then stands, None when none is."""
    held = _take(Job.objects.due(timezone.now()), owner)
    if held is None:
        return None
    _run(held)
    held.refresh_from_db()
    return held


def worker_name() -> str:
    """Return a name no other worker has."""
    return f"{socket.gethostname()[:40]}:{os.getpid()}:{uuid.uuid4().hex[:8]}"


def _name():
    return f"inline:{uuid.uuid4().hex}"


def _lease():
    return datetime.timedelta(seconds=settings.JOBS_LEASE_S)


@transaction.atomic
def _take(jobs, owner):
    """Take the first of these jobs, so that nobody else does; None when there is none.

    PostgreSQL passes over rows that another worker is just taking. On SQLite the
    transaction holds the one write lock from its beginning.
    """
    skip = connection.features.has_select_for_update_skip_locked
    while True:
        held = jobs.select_for_update(skip_locked=skip, of=("self",)).first()
        if held is None:
            return None
        if held.tries < held.most_tries:
            break
        # Only what was left running comes here with all its tries used.
        _give_up(held)
    now = timezone.now()
    held.state, held.owner, held.tries = Job.State.RUNNING, owner, held.tries + 1
    held.started_at, held.lease_until = now, now + _lease()
    held.finished_at, held.progress_done, held.progress_note = None, 0, ""
    held.save()
    return held


def _give_up(held):
    held.state, held.owner, held.lease_until = Job.State.DEAD, "", None
    held.finished_at = timezone.now()
    held.error = (
        f"Its worker stopped each of the {held.tries} times it was begun: the machine "
        "may have run out of memory."
    )
    held.save()


def _run(held):
    try:
        function = _function(held.call)
        arguments = dict(held.arguments)
        if _takes_progress(function):
            arguments["progress"] = _progress_of(held)
        with _lease_renewed(held), _apart():
            result = function(**arguments)
        _finish(held, state=Job.State.DONE, result=result, error="")
    # The edge that tells a person: the keeper's page shows it.
    except Exception as error:
        _fail(held, error)


@contextlib.contextmanager
def _apart():
    """Inside a transaction (a test's own), let a failing job undo only itself."""
    if connection.in_atomic_block:
        with transaction.atomic():
            yield
    else:
        yield


def _fail(held, error):
    logger.exception("A job failed", extra={"job": held.pk, "call": held.call})
    is_hopeless = isinstance(error, Hopeless | NotAJob | TypeError)
    is_over = is_hopeless or held.tries >= held.most_tries
    sentence = str(error).strip() or type(error).__name__
    if not isinstance(error, Hopeless):
        sentence = f"{type(error).__name__}: {sentence}"
    text = f"{sentence}\n\n{''.join(traceback.format_exception(error))}"
    _finish(
        held,
        state=Job.State.DEAD if is_over else Job.State.WAITING,
        error=text[:MOST_ERROR],
        run_after=timezone.now() + delay(held.tries),
    )


def delay(tries: int) -> datetime.timedelta:
    """Return how long to wait after so many tries before the next."""
    seconds = FIRST_DELAY_S * DELAY_GROWS_BY ** (tries - 1)
    return datetime.timedelta(seconds=min(seconds, LONGEST_DELAY_S))


def _finish(held, *, state, **facts):
    """Write how it went, if this worker still holds it."""
    mine = Job.objects.filter(pk=held.pk, owner=held.owner, state=Job.State.RUNNING)
    facts |= {"state": state, "owner": "", "lease_until": None}
    if state != Job.State.WAITING:
        facts["finished_at"] = timezone.now()
    try:
        with transaction.atomic():
            is_mine = mine.update(**facts)
    except IntegrityError:
        # To be tried again, but the same was asked for anew meanwhile: that one will.
        facts |= {"state": Job.State.DEAD, "finished_at": timezone.now()}
        is_mine = mine.update(**facts)
    if not is_mine:
        logger.warning("A job outlived its lease", extra={"job": held.pk})


def _progress_of(held):
    def progress(done, total=0, note=""):
        """Say how far it is; whoever waits for it sees this."""
        mine = Job.objects.filter(pk=held.pk, owner=held.owner)
        mine.update(progress_done=done, progress_total=total, progress_note=note[:200])

    return progress


@contextlib.contextmanager
def _lease_renewed(held):
    """Renew the lease from a thread of its own while the job runs.

    Not inside a transaction (a test's own): nobody else sees the row there.
    """
    if connection.in_atomic_block:
        yield
        return
    is_over = threading.Event()

    def renew():
        mine = Job.objects.filter(pk=held.pk, owner=held.owner)
        try:
            while not is_over.wait(settings.JOBS_LEASE_S / 4):
                # A database that is busy or away for a moment: the next turn will do.
                with contextlib.suppress(DatabaseError):
                    mine.update(lease_until=timezone.now() + _lease())
        finally:
            connection.close()

    thread = threading.Thread(target=renew, daemon=True, name="job-lease")
    thread.start()
    try:
        yield
    finally:
        is_over.set()
        thread.join()


# -- for the keeper


def retry(dead: Job) -> Job:
    """Give a job that was given up all its tries again; others are left as they are."""
    with transaction.atomic():
        held = Job.objects.select_for_update().get(pk=dead.pk)
        if held.state != Job.State.DEAD:
            return held
        twin = Job.objects.filter(key=held.key, state=Job.State.WAITING).first()
        if held.key and twin is not None:
            return twin
        held.state, held.tries, held.run_after = Job.State.WAITING, 0, timezone.now()
        held.finished_at = None
        held.save()
    return run_now(held) if settings.JOBS_INLINE else held


def forget_old() -> int:
    """Drop jobs that were done a month ago; returns how many. The dead stay."""
    before = timezone.now() - datetime.timedelta(days=DAYS_KEPT)
    old = Job.objects.filter(state=Job.State.DONE, finished_at__lt=before)
    return old.delete()[0]
