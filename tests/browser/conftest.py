"""A real Chromium against a live site, on a phone and at a desk.

The browser is the system's own (``chromium``); nothing is downloaded. Without one
these tests are skipped with a reason, except where CI is set: there they must run.
"""

import os
import shutil

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

# Playwright keeps an event loop running in this thread for the rest of the session, in
# which Django would otherwise refuse every query of this and later tests.
os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"

# What a test waits for may come late on a busy machine; what never comes fails it.
PATIENCE_MS = 60_000
expect.set_options(timeout=PATIENCE_MS)

PHONE = {
    "viewport": {"width": 390, "height": 844},
    "device_scale_factor": 2,
    "is_mobile": True,
    "has_touch": True,
}
DESKTOP = {"viewport": {"width": 1440, "height": 900}}
PROGRAMS = ("chromium", "chromium-browser", "google-chrome")
QUIET = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-dev-shm-usage",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-default-apps",
    "--disable-sync",
    "--no-first-run",
    # A moving test picture in place of a camera, for pages that ask for one.
    "--use-fake-device-for-media-stream",
    "--use-fake-ui-for-media-stream",
]


def pytest_collection_modifyitems(items):
    for item in items:
        if "tests/browser" in item.path.as_posix():
            item.add_marker("browser")


@pytest.fixture(scope="session")
def chromium_program():
    """Return the path of the system's Chromium."""
    found = next(filter(None, map(shutil.which, PROGRAMS)), None)
    if not found and os.environ.get("CI"):
        pytest.fail("No chromium is installed, and here browser tests must run.")
    if not found:
        pytest.skip("No chromium is installed: apt install chromium")
    return found


@pytest.fixture(scope="session")
def browser_type_launch_args(chromium_program):
    return {"executable_path": chromium_program, "args": QUIET}


class Console:
    """What the pages complained of: errors, exceptions, refused requests."""

    def __init__(self):
        self.complaints = []
        self.expected = []

    def watch(self, page):
        page.on("console", self._heard)
        page.on("pageerror", lambda error: self._note(f"{page.url}: {error}"))
        page.on("response", self._answered)
        page.add_init_script(
            "document.addEventListener('securitypolicyviolation', (e) =>"
            " console.error(`policy: ${e.violatedDirective} ${e.blockedURI}`));"
        )
        return page

    def expect(self, text):
        """Let complaints that hold this text be: the test provokes them."""
        self.expected.append(text)

    def _note(self, complaint):
        self.complaints.append(complaint)

    def _heard(self, message):
        if message.type == "error":
            self._note(f"{message.location.get('url', '')}: {message.text}")

    def _answered(self, response):
        if response.status >= 400:
            self._note(f"{response.status} {response.url}")

    def unexpected(self):
        return [
            complaint
            for complaint in self.complaints
            if not any(text in complaint for text in self.expected)
        ]


@pytest.fixture
def console_is_quiet():
    """Fail a test whose pages logged an error, broke the policy or missed a file."""
    console = Console()
    yield console
    assert not console.unexpected()


@pytest.fixture
def open_page(new_context, live_server, console_is_quiet):
    """Return a function that opens a watched page at ``PHONE`` or ``DESKTOP``."""

    def opened(size, **options):
        context = new_context(base_url=live_server.url, **{**size, **options})
        # Only the site under test is asked for anything.
        context.route(
            lambda url: not url.startswith((live_server.url, "data:", "blob:")),
            lambda route: route.abort(),
        )
        page = console_is_quiet.watch(context.new_page())
        page.set_default_timeout(PATIENCE_MS)
        return page

    return opened


@pytest.fixture
def phone_page(open_page):
    return open_page(PHONE)


@pytest.fixture
def desktop_page(open_page):
    return open_page(DESKTOP)


def axe(page, *rules):
    """Fail on what axe-core calls a serious or critical barrier on this page.

    All its rules, or only those named.
    """
    options = {"resultTypes": ["violations"]}
    if rules:
        options["runOnly"] = {"type": "rule", "values": list(rules)}
    found = Axe().run(page, options=options).response["violations"]
    barriers = [
        f"{fault['id']} ({fault['impact']}): {fault['help']}\n"
        + "\n".join(f"    {node['html'][:200]}" for node in fault["nodes"][:5])
        for fault in found
        if fault["impact"] in ("serious", "critical")
    ]
    assert not barriers, "\n".join([page.url, *barriers])


def sign_in(page, username, password):
    """Sign in as a person does."""
    page.goto("/accounts/sign-in/")
    page.get_by_label("Username").fill(username)
    page.get_by_label("Password").fill(password)
    page.get_by_role("main").get_by_role("button", name="Sign in").click()
    page.wait_for_url(lambda url: "sign-in" not in url)
