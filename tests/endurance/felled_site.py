"""A site of its own in processes of its own, for tests that are hard on one.

On the test's database and media folder: what the processes wrote can be looked at with
models afterwards.
"""

import os
import signal
import socket
import subprocess
import sys
import time
from contextlib import contextmanager
from pathlib import Path

import requests
from django.db import connection
from django.test import Client

from tests.endurance.together import tied

ROOT = Path(__file__).resolve().parent.parent.parent
FARM = Path(__file__).with_name("farm.py")
PATIENCE_S = 120


def database_url():
    facts = connection.settings_dict
    if connection.vendor == "sqlite":
        return f"sqlite:///{facts['NAME']}"
    return f"postgres://{facts['USER']}@{facts['HOST']}:{facts['PORT']}/{facts['NAME']}"


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class Site:
    """Web processes and job workers, each forked from one that has loaded the code."""

    def __init__(self, data, *, processes=2, threads=4, workers=2, **more):
        self.data, self.port = Path(data), free_port()
        self.address = f"http://127.0.0.1:{self.port}"
        self.log = (self.data / "site.log").open("ab")
        self.env = {
            **os.environ,
            "DATABASE_URL": database_url(),
            "SECOND_CROSSING_DATA": str(self.data),
            "JOBS_INLINE": "0",
            "JOBS_LEASE_S": "3",
            "WORKERS": str(workers),
            **more,
        }
        self.web_command = [
            sys.executable,
            "-m",
            "gunicorn",
            "shared.wsgi",
            "--preload",
            f"--workers={processes}",
            f"--threads={threads}",
            f"--bind=127.0.0.1:{self.port}",
            "--timeout=60",
            # Longer than anybody here thinks between two calls.
            "--keep-alive=75",
            "--log-level=error",
        ]
        self.farm_command = [sys.executable, str(FARM)]
        self.web = self.farm = None

    def _start(self, command):
        # A group of its own, so that it can be felled whole.
        return subprocess.Popen(
            tied(command),
            cwd=ROOT,
            env=self.env,
            stdout=self.log,
            stderr=self.log,
            start_new_session=True,
        )

    def start(self, *, farm=True):
        if self.web is None:
            self.web = self._start(self.web_command)
        if farm and self.farm is None:
            self.farm = self._start(self.farm_command)
        until = time.monotonic() + PATIENCE_S
        while time.monotonic() < until:
            if self.web.poll() is not None:
                raise RuntimeError(f"the site did not start: {self.tail()}")
            try:
                if requests.get(f"{self.address}/healthz", timeout=5).ok:
                    return
            except requests.RequestException:
                time.sleep(0.1)
        raise TimeoutError(f"the site did not answer: {self.tail()}")

    def tail(self):
        return (self.data / "site.log").read_text(errors="replace")[-3000:]

    def fell(self, which):
        """SIGKILL to all of the web server, or of the job workers, at once."""
        process = getattr(self, which)
        os.killpg(process.pid, signal.SIGKILL)
        process.wait()
        setattr(self, which, None)

    def fell_child(self, which, chance):
        """SIGKILL to one web process or job worker; its parent starts another."""
        process = getattr(self, which)
        children = children_of(process.pid)
        if not children:
            return False
        try:
            os.kill(chance.choice(children), signal.SIGKILL)
        except ProcessLookupError:
            return False
        return True

    def stop(self):
        for which in ("web", "farm"):
            process = getattr(self, which)
            if process is None:
                continue
            process.send_signal(signal.SIGTERM)
            try:
                process.wait(60)
            except subprocess.TimeoutExpired:
                self.fell(which)
            setattr(self, which, None)
        self.log.close()


def children_of(pid):
    try:
        text = Path(f"/proc/{pid}/task/{pid}/children").read_text()
    except FileNotFoundError:
        return []
    return [int(one) for one in text.split()]


@contextmanager
def running(data, **more):
    site = Site(data, **more)
    try:
        site.start(farm=bool(int(site.env["WORKERS"])))
        yield site
    finally:
        site.stop()


TOKEN = "t" * 32


class Caller:
    """Somebody signed in, or nobody, with a browser of their own."""

    def __init__(self, address, person=None, timeout=60):
        self.address, self.timeout = address, timeout
        self.http = requests.Session()
        self.http.cookies.set("second_crossing_csrf", TOKEN)
        self.http.headers["X-CSRFToken"] = TOKEN
        if person is not None:
            client = Client()
            client.force_login(person)
            key = client.cookies["second_crossing_session"].value
            self.http.cookies.set("second_crossing_session", key)

    def ask(self, method, path, **more):
        """Return the answer; raises ``requests.RequestException`` where none comes."""
        return self.http.request(
            method,
            f"{self.address}{path}",
            timeout=self.timeout,
            allow_redirects=False,
            **more,
        )
