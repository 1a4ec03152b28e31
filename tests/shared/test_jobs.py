"""The queue: asked for once, run once, tried again, and given up before a person."""

import datetime
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from django.core.management import call_command
from django.db import connection, transaction
from django.utils import timezone

from shared import jobs
from shared.models import Job
from tests.makers import make_person
from tests.shared import example_jobs

ROOT = Path(__file__).resolve().parent.parent.parent


@pytest.fixture(autouse=True)
def seen():
    example_jobs.SEEN.clear()
    return example_jobs.SEEN


@pytest.fixture
def queued(settings):
    settings.JOBS_INLINE = False


def work():
    call_command("run_jobs", "--until-empty", "--verbosity=0")


def later(seconds):
    """Let so much time have passed for every job that waits or is held."""
    for one in Job.objects.exclude(state__in=["done", "dead"]):
        one.run_after -= datetime.timedelta(seconds=seconds)
        if one.lease_until:
            one.lease_until -= datetime.timedelta(seconds=seconds)
        one.save()


def test_inline_a_job_is_done_when_it_has_been_asked_for(db):
    asked = jobs.enqueue(example_jobs.add, first=2, second=3)
    assert (asked.state, asked.result) == (Job.State.DONE, {"sum": 5})
    by_name = jobs.enqueue("tests.shared.example_jobs.add", first=1, second=1)
    assert by_name.result == {"sum": 2}


@pytest.mark.django_db(transaction=True)
def test_inline_a_job_waits_for_what_asked_for_it_to_be_committed(seen):
    with transaction.atomic():
        jobs.enqueue(example_jobs.add, first=2, second=3)
        assert seen == []
    assert seen == [(2, 3)]
    with transaction.atomic():
        jobs.enqueue(example_jobs.add, first=4, second=5)
        transaction.set_rollback(True)
    assert seen == [(2, 3)]
    assert Job.objects.count() == 1


def test_queued_a_job_is_done_by_the_worker_and_not_before(db, queued, seen):
    asked = jobs.enqueue(example_jobs.add, first=2, second=3)
    assert (asked.state, seen) == (Job.State.WAITING, [])
    work()
    asked.refresh_from_db()
    assert (asked.state, asked.result, asked.tries) == (Job.State.DONE, {"sum": 5}, 1)
    work()
    assert seen == [(2, 3)]


@pytest.mark.parametrize(
    "call, arguments, error",
    [
        ("tests.shared.example_jobs.not_marked", {}, jobs.NotAJob),
        ("os.system", {"command": "true"}, jobs.NotAJob),
        ("nowhere.at_all", {}, jobs.NotAJob),
        ("tests.shared.example_jobs.add", {"first": 1}, TypeError),
        ("tests.shared.example_jobs.add", {"first": 1, "third": 2}, TypeError),
        ("tests.shared.example_jobs.add", {"first": {1}, "second": 2}, TypeError),
    ],
)
def test_only_what_can_be_run_may_be_asked_for(db, call, arguments, error):
    with pytest.raises(error), transaction.atomic():
        jobs.enqueue(call, **arguments)
    assert not Job.objects.exists()


def test_the_same_key_asked_for_twice_waits_once_and_runs_anew_afterwards(
    db, queued, seen
):
    first = jobs.enqueue(example_jobs.add, key="sum", first=1, second=1)
    again = jobs.enqueue(example_jobs.add, key="sum", first=1, second=1)
    assert again.pk == first.pk
    work()
    assert jobs.enqueue(example_jobs.add, key="sum", first=1, second=1).pk != first.pk
    work()
    assert len(seen) == 2


def test_a_failing_job_is_tried_again_later_and_later_and_then_given_up(
    db, queued, seen
):
    asked = jobs.enqueue(example_jobs.fail, how="value")
    for tries, wait_s in ((1, 30), (2, 120)):
        work()
        asked.refresh_from_db()
        assert (asked.state, asked.tries) == (Job.State.WAITING, tries)
        assert asked.fault == "ValueError: no value today"
        left = (asked.run_after - timezone.now()).total_seconds()
        assert wait_s - 10 < left <= wait_s
        work()
        assert len(seen) == tries, "not before its time"
        later(wait_s)
    work()
    asked.refresh_from_db()
    assert (asked.state, asked.tries) == (Job.State.DEAD, 3)
    assert "raise" in asked.error


def test_a_hopeless_job_is_given_up_at_once(db, queued, seen):
    asked = jobs.enqueue(example_jobs.fail, how="hopeless")
    work()
    asked.refresh_from_db()
    assert (asked.state, asked.fault) == (Job.State.DEAD, "no hopeless today")


def test_waits_grow_and_stop_growing():
    waits = [jobs.delay(tries).total_seconds() for tries in range(1, 12)]
    assert waits[:4] == [30, 120, 480, 1920]
    assert waits == sorted(waits)
    assert waits[-1] == 6 * 60 * 60


def test_progress_is_seen_while_it_runs(db):
    asked = jobs.enqueue(example_jobs.count, to=3)
    assert (asked.progress_done, asked.progress_total) == (3, 3)
    assert asked.progress_note == "number 3"


def test_a_job_left_by_a_stopped_worker_is_taken_up_when_its_lease_is_over(
    db, queued, seen
):
    asked = jobs.enqueue(example_jobs.add, first=2, second=3)
    held = jobs._take(Job.objects.all(), "gone")
    work()
    assert seen == []
    later(61)
    work()
    asked.refresh_from_db()
    assert (asked.state, asked.tries, seen) == (Job.State.DONE, 2, [(2, 3)])
    # The first worker was only slow. What it brings now changes nothing.
    jobs._finish(held, state=Job.State.DEAD, error="late")
    asked.refresh_from_db()
    assert (asked.state, asked.error) == (Job.State.DONE, "")


def test_a_job_that_fells_every_worker_is_given_up(db, queued, seen):
    asked = jobs.enqueue(example_jobs.fail, how="value")
    for _ in range(3):
        assert jobs._take(Job.objects.due(timezone.now()), "felled").pk == asked.pk
        later(61)
    work()
    asked.refresh_from_db()
    assert (asked.state, seen) == (Job.State.DEAD, [])
    assert "stopped each of the 3 times" in asked.fault


def test_what_was_done_a_month_ago_is_forgotten_and_the_dead_are_not(db):
    done = jobs.enqueue(example_jobs.add, first=2, second=3)
    dead = jobs.enqueue(example_jobs.fail, how="hopeless")
    old = timezone.now() - datetime.timedelta(days=31)
    Job.objects.update(finished_at=old)
    assert jobs.forget_old() == 1
    assert list(Job.objects.all()) == [dead]
    assert done not in Job.objects.all()


# -- the keeper, and whoever waits


def test_the_keeper_sees_why_a_job_was_given_up_and_tries_it_again(client, db):
    dead = jobs.enqueue(example_jobs.fail, how="hopeless")
    client.force_login(make_person("kit", "keeper"))
    page = client.get("/keeper/").text
    assert "no hopeless today" in page
    assert "tests.shared.example_jobs.fail" in page
    again = client.post(f"/keeper/jobs/{dead.pk}/retry/", follow=True)
    assert "failed again" in again.text
    dead.arguments, dead.call = (
        {"first": 1, "second": 1},
        "tests.shared.example_jobs.add",
    )
    dead.save()
    assert (
        "Done this time"
        in client.post(f"/keeper/jobs/{dead.pk}/retry/", follow=True).text
    )


def test_only_the_keeper_tries_jobs_again(client, db, seen):
    dead = jobs.enqueue(example_jobs.fail, how="hopeless")
    assert client.post(f"/keeper/jobs/{dead.pk}/retry/").status_code == 302
    client.force_login(make_person("olive", "officer"))
    assert client.post(f"/keeper/jobs/{dead.pk}/retry/").status_code == 403
    assert client.get("/keeper/").status_code == 403
    assert len(seen) == 1


def test_whoever_asked_may_ask_how_it_stands_and_nobody_else(client, db):
    ada, ben = make_person("ada"), make_person("ben")
    asked = jobs.enqueue(example_jobs.add, by=ada, first=2, second=3)
    path = f"/api/jobs/{asked.token}/"
    assert client.get(path).status_code == 403
    client.force_login(ben)
    assert client.get(path).status_code == 404
    client.force_login(ada)
    body = client.get(path).json()
    assert (body["state"], body["result"]) == ("done", {"sum": 5})
    client.force_login(make_person("kit", "keeper"))
    assert client.get(path).status_code == 200


# -- workers of their own


def worker(lease_s=3):
    """Start a worker process on this test's database."""
    name = connection.settings_dict["NAME"]
    if connection.vendor == "sqlite":
        url = f"sqlite:///{name}"
    else:
        facts = connection.settings_dict
        url = f"postgres://{facts['USER']}@{facts['HOST']}:{facts['PORT']}/{name}"
    return subprocess.Popen(
        [sys.executable, "manage.py", "run_jobs", "--pause=0.1"],
        cwd=ROOT,
        env={
            **os.environ,
            "DATABASE_URL": url,
            "JOBS_LEASE_S": str(lease_s),
            "JOBS_INLINE": "0",
        },
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )


def wait_until(holds, seconds=180):
    until = time.monotonic() + seconds
    while not holds():
        assert time.monotonic() < until, "it never came about"
        time.sleep(0.05)


@pytest.mark.django_db(transaction=True)
def test_killed_in_the_middle_its_job_is_done_once_by_another(queued, tmp_path):
    """The long job outlasts its lease twice over: a live worker renews it."""
    jobs.enqueue(example_jobs.note, folder=str(tmp_path), name="long", wait_s=7.0)
    for n in range(12):
        jobs.enqueue(example_jobs.note, folder=str(tmp_path), name=f"{n}")
    first = worker()
    wait_until((tmp_path / "long.begun").exists)
    first.kill()
    first.communicate()
    others = [worker(), worker()]
    try:
        wait_until(lambda: not Job.objects.exclude(state=Job.State.DONE).exists())
        # Where there is much else to do, one may still be starting when all is done.
        hands = " ".join(path.read_text() for path in tmp_path.glob("*.done")).split()
        began = [one for one in others if str(one.pid) in hands]
    finally:
        for one in others:
            one.send_signal(signal.SIGTERM)
        outputs = {one: one.communicate(timeout=120)[0] for one in others}
    assert began
    assert all("jobs run." in outputs[one] for one in began), outputs
    done = {path.stem: path.read_text().split() for path in tmp_path.glob("*.done")}
    assert len(done) == 13
    assert all(len(times) == 1 for times in done.values())
    assert len((tmp_path / "long.begun").read_text().split()) == 2
