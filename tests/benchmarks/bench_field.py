"""The field page: bytes of its first load, and how soon it opens with no signal.

Run by hand, from the project's folder; it serves the site itself, as in production:

    python -m tests.benchmarks.bench_field
"""

import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.request
from pathlib import Path

from playwright.sync_api import sync_playwright

from tests.browser.conftest import PHONE, PROGRAMS, QUIET
from tests.endurance.site import free_port

ROOT = Path(__file__).resolve().parent.parent.parent
THROTTLE, RUNS = 4, 7
# When the heading of the first screen stands, in ms since the page was asked for.
STANDS = """new MutationObserver((_, watcher) => {
  if (!document.getElementById("step")) return;
  window.stoodAt = performance.now();
  watcher.disconnect();
}).observe(document, { childList: true, subtree: true });"""


def serve(folder, port):
    environment = {
        **os.environ,
        "DJANGO_SETTINGS_MODULE": "shared.settings",
        "SECOND_CROSSING_DATA": folder,
        "SECOND_CROSSING_PRODUCTION": "1",
        "SECRET_KEY": "only-for-a-benchmark-on-this-machine-0123456789-abcdefghij",
        "ALLOWED_HOSTS": "127.0.0.1",
        "SECURE_SSL_REDIRECT": "0",
    }
    environment.pop("DATABASE_URL", None)
    for command in (["collectstatic", "--noinput", "-v0"], ["make_fonts"]):
        subprocess.run(
            [sys.executable, "manage.py", *command],
            cwd=ROOT,
            env=environment,
            check=True,
            stdout=subprocess.DEVNULL,
        )
    server = subprocess.Popen(
        [sys.executable, "-m", "gunicorn", "shared.wsgi", "--threads", "4"]
        + ["--bind", f"127.0.0.1:{port}", "--log-level", "critical"],
        cwd=ROOT,
        env=environment,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    for _ in range(200):
        try:
            urllib.request.urlopen(f"http://127.0.0.1:{port}/field/", timeout=2)
        except OSError:
            time.sleep(0.1)
        else:
            break
    return server


def first_load(page, sizes):
    """Count what comes over the wire, for the page and for its worker."""
    session = page.context.new_cdp_session(page)
    session.send("Network.enable")
    session.on(
        "Network.loadingFinished", lambda e: sizes.append(e["encodedDataLength"])
    )
    page.goto("/field/")
    page.locator("#step").wait_for()
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.wait_for_timeout(1500)


def offline_times(page):
    session = page.context.new_cdp_session(page)
    session.send("Emulation.setCPUThrottlingRate", {"rate": THROTTLE})
    page.context.set_offline(True)
    page.add_init_script(STANDS)
    for _ in range(RUNS):
        page.reload()
        page.locator("#step").wait_for()
        yield page.evaluate("window.stoodAt")


def main():
    program = next(filter(None, map(shutil.which, PROGRAMS)))
    folder, port = tempfile.mkdtemp(), free_port()
    server = serve(folder, port)
    try:
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=program, args=QUIET)
            url = f"http://127.0.0.1:{port}"
            page = browser.new_context(base_url=url, **PHONE).new_page()
            sizes = []
            first_load(page, sizes)
            print(f"first load: {sum(sizes) / 1000:.1f} kB in {len(sizes)} answers")
            times = sorted(offline_times(page))
            print(
                f"opens with no signal, {THROTTLE}x CPU throttle: "
                f"{statistics.median(times):.0f} ms (median of {RUNS}), "
                f"{times[-1]:.0f} ms (slowest)"
            )
            browser.close()
    finally:
        server.terminate()
        server.wait(10)
        shutil.rmtree(folder, ignore_errors=True)


if __name__ == "__main__":
    main()
