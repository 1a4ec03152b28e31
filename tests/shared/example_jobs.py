"""Jobs for the tests of the queue; what they did lies in ``SEEN``."""

import os
import time
from pathlib import Path

from shared import jobs

SEEN = []


@jobs.job
def add(*, first, second):
    SEEN.append((first, second))
    return {"sum": first + second}


@jobs.job
def count(*, to, progress):
    for number in range(to):
        progress(number + 1, to, f"number {number + 1}")
    return to


@jobs.job(most_tries=3)
def fail(*, how):
    SEEN.append(how)
    raise {"hopeless": jobs.Hopeless, "value": ValueError}[how](f"no {how} today")


@jobs.job
def note(*, folder, name, wait_s=0.0):
    """Leave a mark of each time it was begun and of each time it was done."""
    marks = Path(folder)
    with (marks / f"{name}.begun").open("a") as file:
        file.write(f"{os.getpid()}\n")
    time.sleep(wait_s)
    with (marks / f"{name}.done").open("a") as file:
        file.write(f"{os.getpid()}\n")


def not_marked():
    SEEN.append("never")


@jobs.job
def echo(*, word):
    return word
