"""A run of these tests that is cut off leaves no process behind."""

import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent.parent
# A run that starts a group of its own, which forks a worker as the farm does.
WORKERS = """
import os, time
from tests.endurance.together import die_with
own = os.getpid()
child = os.fork()
if child == 0:
    die_with(own)
else:
    print(own, child, flush=True)
time.sleep(60)
"""
RUN = f"""
import subprocess, sys, time
from tests.endurance.together import tied
subprocess.Popen(tied([sys.executable, "-c", {WORKERS!r}]), start_new_session=True)
time.sleep(60)
"""


def is_alive(pid):
    try:
        return (
            Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
        )
    except FileNotFoundError:
        return False


@pytest.mark.skipif(shutil.which("setpriv") is None, reason="setpriv is not here")
def test_what_a_run_started_ends_with_it_however_it_ends():
    run = subprocess.Popen(
        [sys.executable, "-c", RUN], cwd=ROOT, stdout=subprocess.PIPE, text=True
    )
    with run:
        started = [int(one) for one in run.stdout.readline().split()]
        assert len(started) == 2
        assert all(map(is_alive, started))
        run.kill()
    until = time.monotonic() + 60
    while any(map(is_alive, started)) and time.monotonic() < until:
        time.sleep(0.02)
    assert not any(map(is_alive, started))
