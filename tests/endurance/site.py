"""The site as it runs: server processes of its own over the test's database and media.

Unlike a live server in the test's own process it can be killed.
"""

import os
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

from django.conf import settings
from django.db import connection

from tests.endurance.together import tied

ROOT = Path(__file__).resolve().parent.parent.parent
PATIENCE_S = 120


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def database_url():
    facts = connection.settings_dict
    if connection.vendor == "sqlite":
        return f"sqlite:///{facts['NAME']}"
    return f"postgres://{facts['USER']}@{facts['HOST']}:{facts['PORT']}/{facts['NAME']}"


class Site:
    """Server processes that may be killed and started again at the same address."""

    def __init__(self, data_folder, workers=2):
        self.port, self.workers = free_port(), workers
        self.url = f"http://127.0.0.1:{self.port}"
        self.data_folder = data_folder
        self.process = None

    def start(self):
        command = [sys.executable, "-m", "gunicorn", "shared.wsgi"]
        command += [
            "--workers",
            str(self.workers),
            "--threads",
            "4",
            "--timeout",
            "60",
            "--keep-alive",
            "75",
        ]
        command += ["--bind", f"127.0.0.1:{self.port}", "--log-level", "critical"]
        environment = {
            **os.environ,
            "DJANGO_SETTINGS_MODULE": "shared.settings",
            "DATABASE_URL": database_url(),
            "SECOND_CROSSING_DATA": str(self.data_folder),
        }
        self.process = subprocess.Popen(
            tied(command), cwd=ROOT, env=environment, start_new_session=True
        )
        until = time.monotonic() + PATIENCE_S
        while time.monotonic() < until:
            try:
                urllib.request.urlopen(f"{self.url}/healthz", timeout=2)
            except OSError:
                time.sleep(0.1)
            else:
                return self
        raise AssertionError("The server did not come up.")

    def kill(self):
        """As a power cut does: no farewell to anybody."""
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()

    def stop(self):
        if self.process and self.process.poll() is None:
            self.process.terminate()
            try:
                self.process.wait(10)
            except subprocess.TimeoutExpired:
                self.kill()

    def __enter__(self):
        assert self.data_folder / "media" == settings.MEDIA_ROOT
        return self.start()

    def __exit__(self, *_):
        self.stop()
