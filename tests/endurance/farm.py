"""Keeps some job workers alive, forked from a process that has loaded the code."""

import os
import signal
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent.parent))
os.environ["DJANGO_SETTINGS_MODULE"] = "shared.settings"

from tests.endurance.together import die_with


def load():
    """Load the code once; every worker is forked from here."""
    import django

    django.setup()
    import analysis.services  # noqa: F401


def main():
    load()
    from django.core.management import call_command

    wanted, alive, is_over = int(os.environ["WORKERS"]), set(), []
    own = os.getpid()
    signal.signal(signal.SIGTERM, lambda *_: is_over.append(True))
    while not is_over:
        while len(alive) < wanted:
            pid = os.fork()
            if pid == 0:
                die_with(own)
                call_command("run_jobs", pause=0.1, verbosity=0)
                os._exit(0)
            alive.add(pid)
        pid, _ = os.waitpid(-1, os.WNOHANG)
        alive.discard(pid)
        time.sleep(0.02)
    for pid in alive:
        os.kill(pid, signal.SIGTERM)
    for pid in alive:
        os.waitpid(pid, 0)


if __name__ == "__main__":
    main()
