"""What the log says of requests and faults, and what it never says."""

import http.server
import importlib
import io
import json
import logging
import sys
import threading

import pytest
from django.core import mail
from django.core.exceptions import ImproperlyConfigured
from django.db import OperationalError
from django.test import Client

from shared import logs, views
from tests.makers import PASSWORD, make_bridge, make_person

# No name that a random hexadecimal number could hold.
SECRETS = ("otto", "otto@example.org", PASSWORD, "198.51.100.7", "s3cret-token")


@pytest.fixture
def written():
    """What the site would write, with production's settings."""
    out = io.StringIO()
    handler = logging.StreamHandler(out)
    handler.addFilter(logs.Clean())
    handler.setFormatter(logs.Json())
    loggers = [logging.getLogger(name) for name in ("", "shared.requests")]
    before = [one.level for one in loggers]
    loggers[0].addHandler(handler)
    loggers[1].setLevel(logging.INFO)
    yield out
    loggers[0].removeHandler(handler)
    for one, level in zip(loggers, before, strict=True):
        one.setLevel(level)


def lines(out):
    return [json.loads(line) for line in out.getvalue().splitlines()]


def break_page(monkeypatch, error):
    def broken(*arguments, **more):
        raise error

    monkeypatch.setattr("bridges.views.Bridge.objects.visible_to", broken)


def test_each_request_is_one_line_that_its_answer_names(client, db, written):
    slug = make_bridge().slug
    answer = client.get(f"/bridges/{slug}/?q=s3cret-token")
    line = lines(written)[-1]
    assert (line["method"], line["route"], line["status"]) == ("GET", "bridge", 200)
    assert line["request_id"] == answer.headers["X-Request-ID"]
    assert slug not in written.getvalue()
    other = client.get("/no/such/page")
    assert other.headers["X-Request-ID"] != answer.headers["X-Request-ID"]
    assert lines(written)[-1]["route"] == "none"


def test_no_line_names_a_person_an_address_or_what_was_sent(
    client, db, written, settings
):
    settings.AXES_ENABLED = True
    make_person("otto", email="otto@example.org")
    caller = {"REMOTE_ADDR": "198.51.100.7"}
    wrong = {"username": "otto", "password": "wrong"}
    client.post("/accounts/sign-in/", wrong, **caller)
    client.post("/accounts/sign-in/", wrong | {"password": PASSWORD}, **caller)
    client.post("/accounts/link/", {"email": "otto@example.org"}, **caller)
    client.post("/accounts/link/s3cret-token/", **caller)
    client.get("/accounts/invited/s3cret-token/", **caller)
    client.get("/bridges/s3cret-token/", **caller)
    Client(enforce_csrf_checks=True).post("/accounts/link/s3cret-token/", **caller)
    assert len(lines(written)) >= 6
    for secret in SECRETS:
        assert secret not in written.getvalue(), secret


def test_a_fault_is_told_with_where_it_arose_and_the_requests_id(
    client, db, written, monkeypatch
):
    client.raise_request_exception = False
    break_page(monkeypatch, KeyError("broken part"))
    answer = client.get("/bridges/s3cret-token/")
    assert answer.status_code == 500
    fault = next(line for line in lines(written) if "fault" in line)
    assert "KeyError: 'broken part'" in fault["fault"]
    assert fault["request_id"] == answer.headers["X-Request-ID"]
    assert "s3cret-token" not in written.getvalue()


def test_of_a_databases_complaint_the_row_is_left_out():
    error = OperationalError("duplicate key\nDETAIL: (email)=(otto@example.org)")
    assert "otto@example.org" not in logs.fault(error)
    assert "duplicate key" in logs.fault(error)


def test_faults_are_mailed_to_the_keeper_one_a_minute(client, db, settings):
    settings.ADMINS = [("keeper", "keeper@example.org")]
    handler = logs.MailHandler()
    handler.addFilter(logs.Clean())
    handler.setFormatter(logs.Text())
    logger = logging.getLogger("tests.mailed")
    logger.addHandler(handler)
    logger.propagate = False
    try:
        for _ in range(3):
            try:
                raise ValueError("a broken part")
            except ValueError:
                logger.exception("A job failed")
        logger.warning("not so bad")
    finally:
        logger.removeHandler(handler)
    assert [letter.to for letter in mail.outbox] == [["keeper@example.org"]]
    assert "ValueError: a broken part" in mail.outbox[0].body


# -- a collector of faults


class Collector(http.server.BaseHTTPRequestHandler):
    got = []

    def do_POST(self):
        body = self.rfile.read(int(self.headers["Content-Length"]))
        packed = self.headers.get("Content-Encoding")
        if packed:
            module = {"gzip": "gzip", "br": "brotli"}[packed]
            body = importlib.import_module(module).decompress(body)
        Collector.got.append(body.decode())
        self.send_response(200)
        self.end_headers()
        self.wfile.write(b"{}")

    def log_message(self, *arguments):
        pass


def test_a_collector_is_told_of_faults_and_of_nobody(client, db, monkeypatch):
    sentry_sdk = pytest.importorskip("sentry_sdk")
    Collector.got.clear()
    server = http.server.HTTPServer(("127.0.0.1", 0), Collector)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    make_person("otto", email="otto@example.org")
    client.login(username="otto", password=PASSWORD)
    client.raise_request_exception = False
    try:
        logs.report_to(f"http://key@127.0.0.1:{server.server_port}/1", "0.1.0")
        break_page(monkeypatch, KeyError("broken part"))
        client.get("/bridges/x/?q=s3cret-token", REMOTE_ADDR="198.51.100.7")
        sentry_sdk.flush(60)
    finally:
        sentry_sdk.init()
        server.shutdown()
        thread.join()
        server.server_close()
    told = "\n".join(Collector.got)
    assert "broken part" in told
    for secret in SECRETS[1:]:
        assert secret not in told, secret


def test_a_dsn_that_is_none_stops_the_start():
    pytest.importorskip("sentry_sdk")
    with pytest.raises(ImproperlyConfigured, match="SENTRY_DSN"):
        logs.report_to("not an address", "0")


# -- a full disk, a database that is away


@pytest.mark.parametrize(
    "error, status, words",
    [
        (OSError(28, "No space left on device"), 507, "disk is full"),
        (OperationalError("database or disk is full"), 507, "disk is full"),
        (OperationalError("could not extend file"), 507, "disk is full"),
        (OperationalError("database is locked"), 503, "does not answer"),
        (KeyError("x"), 500, "Something went wrong here"),
    ],
)
def test_what_the_site_cannot_do_it_says_on_the_page_and_in_the_api(
    client, db, monkeypatch, error, status, words
):
    client.raise_request_exception = False
    break_page(monkeypatch, error)
    page = client.get("/")
    assert page.status_code == status
    assert words in page.text
    monkeypatch.setattr("bridges.api.BridgeList.get", raising(error), raising=False)
    answer = client.get("/api/bridges/")
    assert answer.status_code == status
    assert set(answer.json()["errors"][0]) == {"field", "code", "message"}


def raising(error):
    def broken(*arguments, **more):
        raise error

    return broken


def test_full_is_seen_through_what_was_raised_from_it():
    try:
        try:
            raise OSError(28, "No space left on device")
        except OSError as cause:
            raise ValueError("could not save") from cause
    except ValueError:
        assert views.is_full(sys.exc_info()[1])
    assert not views.is_full(None)
    assert not views.is_full(ValueError("disk is full of jokes"))
