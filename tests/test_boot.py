"""The site starts as the README says, as a demonstration and in production."""

import http.client
import os
import re
import signal
import socket
import subprocess
import sys
import time
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PATIENCE_S = 600
PRODUCTION = {
    "SECOND_CROSSING_PRODUCTION": "1",
    "SECRET_KEY": "kM3vX9-qT7wLr2_ZbN8cYdF5hJ6gPsA1uEoViRnQtWyBxCzD4e",
    "ALLOWED_HOSTS": "127.0.0.1",
    "BEHIND_PROXY": "1",
}
THROUGH_A_PROXY = {"X-Forwarded-Proto": "https"}


def environment(data, **more):
    return {"PATH": os.environ["PATH"], "SECOND_CROSSING_DATA": str(data), **more}


def manage(*arguments, data, **more):
    return subprocess.run(
        [sys.executable, "manage.py", *arguments],
        cwd=ROOT,
        env=environment(data, **more),
        capture_output=True,
        text=True,
        timeout=PATIENCE_S,
        check=False,
    )


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


@contextmanager
def running(command, port, env, stop=signal.SIGINT):
    """Run a server until the block ends; ``stop`` must be enough to stop it."""
    server = subprocess.Popen(
        [sys.executable, *command],
        cwd=ROOT,
        env=env,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        # A suite started in the background is born deaf to Control-C, and so would
        # be what it starts.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )
    try:
        wait_for(server, port)
        yield server
        server.send_signal(stop)
        output, _ = server.communicate(timeout=PATIENCE_S)
        assert "Traceback" not in output, output
    finally:
        server.kill()
        server.wait()


def wait_for(server, port):
    until = time.monotonic() + PATIENCE_S
    while time.monotonic() < until:
        if server.poll() is not None:
            raise RuntimeError(server.stdout.read())
        try:
            if get(port, "/healthz")[0] == 200:
                return
        except OSError:
            time.sleep(0.2)
    raise TimeoutError("the site did not answer")


def get(port, path, headers=None):
    """Return (status, headers, text), following nothing."""
    asked = http.client.HTTPConnection("127.0.0.1", port, timeout=120)
    try:
        asked.request("GET", path, headers=headers or {})
        answer = asked.getresponse()
        return answer.status, answer.headers, answer.read().decode("utf-8", "replace")
    finally:
        asked.close()


def test_one_command_shows_the_demonstration_and_a_second_start_keeps_it(tmp_path):
    first = manage("demo", "--no-serve", data=tmp_path)
    assert first.returncode == 0, first.stderr
    password = re.search(r"Password: (\S+)", first.stdout)[1]

    port = free_port()
    command = ["manage.py", "demo", "--port", str(port)]
    with running(command, port, environment(tmp_path)) as server:
        told = [server.stdout.readline() for _ in range(4)]
        status, headers, page = get(port, "/")
        style = re.search(r'href="(/static/[^"]+\.css)"', page)[1]
        assert get(port, style)[0] == 200
    assert f"Password: {password}\n" in told
    assert f"Address:  http://127.0.0.1:{port}/\n" in told
    assert status == 200
    assert "Hollin Ford Bridge" in page
    assert "default-src 'none'" in headers["Content-Security-Policy"]


def test_a_demonstration_never_touches_a_database_that_holds_something_else(tmp_path):
    assert manage("migrate", "-v", "0", data=tmp_path).returncode == 0
    made = manage(
        "createsuperuser",
        "--no-input",
        "--username=own",
        "--email=own@example.org",
        data=tmp_path,
        DJANGO_SUPERUSER_PASSWORD="a long enough password",
    )
    assert made.returncode == 0, made.stderr
    for flags in ([], ["--reset"]):
        refused = manage("demo", "--no-serve", *flags, data=tmp_path)
        assert refused.returncode != 0
        assert "left as it is" in refused.stderr
        assert "Traceback" not in refused.stderr
    code = "from shared.models import Person; print(Person.objects.get().username)"
    kept = manage("shell", "--no-imports", "-c", code, data=tmp_path)
    assert kept.stdout.strip() == "own"


def test_a_demonstration_is_refused_in_production(tmp_path):
    refused = manage("demo", "--no-serve", data=tmp_path, **PRODUCTION)
    assert refused.returncode != 0
    assert "not for production" in refused.stderr


def test_production_serves_over_tls_with_files_that_may_be_kept_for_ever(tmp_path):
    for step in (["migrate", "-v", "0"], ["collectstatic", "--no-input", "-v", "0"]):
        done = manage(*step, data=tmp_path, **PRODUCTION)
        assert done.returncode == 0, done.stderr

    port = free_port()
    command = ["-m", "gunicorn", "shared.wsgi", "--bind", f"127.0.0.1:{port}"]
    with running(
        command, port, environment(tmp_path, **PRODUCTION), stop=signal.SIGTERM
    ):
        plain, redirect, _ = get(port, "/about/figures/")
        status, headers, page = get(port, "/about/figures/", THROUGH_A_PROXY)
        style = re.search(r'href="(/static/[^"]+\.css)"', page)[1]
        file_status, file_headers, _ = get(port, style, THROUGH_A_PROXY)
        stranger = get(port, "/", {**THROUGH_A_PROXY, "Host": "elsewhere.example"})

    assert plain == 301
    assert redirect["Location"].startswith("https://127.0.0.1")
    assert status == 200
    assert "max-age=31536000" in headers["Strict-Transport-Security"]
    assert re.search(r"\.[0-9a-f]{12}\.css$", style)
    assert file_status == 200
    assert "immutable" in file_headers["Cache-Control"]
    assert stranger[0] == 400
