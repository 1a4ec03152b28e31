"""What is written of the site's running: a line a request, and every fault.

No line holds a name, an address, what was asked for by whom, or anything sent: a
request is known by its id, its kind of page (the route, never the address itself) and
how it went. The id goes to the caller as ``X-Request-ID``, so that somebody who tells
of a fault can say which.
"""

from __future__ import annotations

import contextvars
import json
import logging
import time
import traceback
import uuid
from datetime import UTC, datetime

from django.core import mail
from django.core.exceptions import ImproperlyConfigured

request_id: contextvars.ContextVar[str] = contextvars.ContextVar(
    "request_id", default=""
)
requests = logging.getLogger("shared.requests")
# What records of logging hold of themselves; everything else was given on purpose.
OWN = set(vars(logging.makeLogRecord({}))) | {"message", "asctime", "request"}
MAIL_EVERY_S = 60
QUIET = ("healthz", "font")


def middleware(get_response):
    """Give each request an id, and write a line when it is answered."""

    def logged(request):
        own = uuid.uuid4().hex
        mark = request_id.set(own)
        began = time.perf_counter()
        try:
            response = get_response(request)
            response.headers["X-Request-ID"] = own
            name = route(request)
            level = logging.DEBUG if name in QUIET else logging.INFO
            took_ms = round((time.perf_counter() - began) * 1000)
            facts = {
                "method": request.method,
                "route": name,
                "status": response.status_code,
                "took_ms": took_ms,
            }
            line = f"{request.method} {name} {response.status_code} {took_ms} ms"
            requests.log(level, line, extra=facts)
            return response
        finally:
            request_id.reset(mark)

    return logged


def route(request) -> str:
    """Return the name of the page asked for, or its pattern; never its address."""
    match = getattr(request, "resolver_match", None)
    if match is None:
        return "none"
    return match.view_name or match.route


class Clean(logging.Filter):
    """Add the request's id, and take addresses out of what Django writes of requests."""

    def filter(self, record):
        record.request_id = request_id.get()
        request = getattr(record, "request", None)
        if request is not None and hasattr(request, "method"):
            status = getattr(record, "status_code", "")
            record.msg = f"{request.method} {route(request)}: answered {status}".strip()
            record.args = ()
        return True


class Json(logging.Formatter):
    """One JSON object a line."""

    def format(self, record):
        line = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(
                timespec="milliseconds"
            ),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": record.getMessage(),
        }
        for name, value in vars(record).items():
            if name not in OWN and name not in line and value not in ("", None):
                line[name] = value if isinstance(value, int | float) else str(value)
        if record.exc_info:
            line["fault"] = fault(record.exc_info[1])
        return json.dumps(line, ensure_ascii=False)


class Text(logging.Formatter):
    """One line for a person at a terminal; faults in full."""

    def format(self, record):
        line = f"{record.levelname} {record.name}: {record.getMessage()}"
        return f"{line}\n{fault(record.exc_info[1])}" if record.exc_info else line


def fault(error) -> str:
    """Return where a fault arose, frame by frame, and of what kind it was.

    Of a database's message only its first line: the lines after it quote the row.
    """
    if error is None:
        return ""
    frames = traceback.extract_tb(error.__traceback__)
    lines = [f"{one.filename}:{one.lineno} in {one.name}" for one in frames]
    message = str(error).partition("\n")[0][:300]
    return "\n".join([*lines, f"{type(error).__name__}: {message}"])


class MailHandler(logging.Handler):
    """Mail faults to the keeper, at most one letter a minute, nothing of the request."""

    def __init__(self):
        super().__init__(logging.ERROR)
        self.sent_at = 0.0

    def emit(self, record):
        if record.created - self.sent_at < MAIL_EVERY_S:
            return
        self.sent_at = record.created
        text = self.format(record)
        try:
            mail.mail_admins(record.getMessage()[:100], text, fail_silently=True)
        except OSError:
            self.handleError(record)


def settings(*, as_json: bool, mail_to: list[str]) -> dict:
    handlers = ["console", "mail"] if mail_to else ["console"]
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "filters": {"clean": {"()": "shared.logs.Clean"}},
        "formatters": {
            "line": {"()": "shared.logs.Json" if as_json else "shared.logs.Text"},
            "letter": {"()": "shared.logs.Text"},
        },
        "handlers": {
            "console": {
                "class": "logging.StreamHandler",
                "filters": ["clean"],
                "formatter": "line",
            },
            "mail": {
                "()": "shared.logs.MailHandler",
                "filters": ["clean"],
                "formatter": "letter",
            },
        },
        "root": {"handlers": handlers, "level": "WARNING"},
        "loggers": {
            "shared.requests": {"level": "INFO" if as_json else "WARNING"},
            # Django's own handlers here would write addresses and mail whole requests.
            "django": {"handlers": [], "level": "WARNING", "propagate": True},
            # Every refusal is a line of its own above; only faults are told again.
            "django.request": {"level": "ERROR"},
            # Strangers ask for other hosts all day; each is answered 400 and needs no
            # trace.
            "django.security.DisallowedHost": {
                "handlers": [],
                "level": "CRITICAL",
                "propagate": False,
            },
        },
    }


def report_to(dsn: str, version: str) -> None:
    """Report faults to a collector that speaks Sentry's protocol, nothing of people.

    Raises ``ImproperlyConfigured`` where its library is missing or the DSN is none.
    """
    try:
        import sentry_sdk
    except ImportError:
        raise ImproperlyConfigured(
            "SENTRY_DSN needs a further package: pip install -e '.[reports]'"
        )
    try:
        sentry_sdk.init(
            dsn=dsn,
            release=version,
            include_local_variables=False,
            max_request_body_size="never",
            max_breadcrumbs=0,
            before_send=without_people,
        )
    except sentry_sdk.utils.BadDsn as error:
        raise ImproperlyConfigured(f"SENTRY_DSN cannot be read: {error}")


def without_people(event, hint):
    """Drop what a report would say of the request and of whoever made it."""
    for name in ("request", "user", "server_name", "breadcrumbs", "extra"):
        event.pop(name, None)
    event["tags"] = {"request_id": request_id.get()}
    return event
