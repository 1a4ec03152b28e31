"""What a phone keeps so that the field page opens with no signal.

The page is the same for everybody and holds no name and no token; who is signed in is
asked for when something is sent.
"""

from __future__ import annotations

import hashlib
import json
from functools import lru_cache
from pathlib import Path

from django.conf import settings
from django.contrib.staticfiles import finders
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.template.loader import render_to_string
from django.templatetags.static import static
from django.urls import resolve, reverse
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_safe

from shared.fonts import RECIPE

WORKER = Path(__file__).with_name("service_worker.js")
SCRIPTS = "surveys/js/field"
STYLES = (
    "shared/css/base.css",
    "shared/css/forms.css",
    "shared/css/record.css",
    "surveys/css/field.css",
)
ICON = "shared/mark.svg"


def _scripts():
    folder = Path(finders.find(f"{SCRIPTS}/main.js")).parent
    return [f"{SCRIPTS}/{path.name}" for path in sorted(folder.glob("*.js"))]


def shell_addresses():
    """Return every address that the page needs to open, the page itself first."""
    return [
        reverse("surveys:field"),
        reverse("surveys:field-manifest"),
        *(static(name) for name in (*STYLES, *_scripts(), ICON)),
        *settings.FIELD_PAGES,
        *(static(name) for name in settings.FIELD_STYLES),
        f"/fonts/{RECIPE}/source-sans-3.woff2",
    ]


def page():
    """Return the page, rendered without a request: it cannot hold a name or a token."""
    return render_to_string(
        "surveys/field.html",
        {
            "styles": STYLES,
            "society_name": settings.SOCIETY_NAME,
            "site_name": settings.SITE_NAME,
            "recipe": RECIPE,
        },
    )


def worker_source():
    """Return the worker with its release and its list of files in front.

    The text changes exactly when something kept changes, which is what makes a browser
    fetch the new one.
    """
    shell = shell_addresses()
    names = (*STYLES, *_scripts(), ICON, *settings.FIELD_STYLES)
    files = [finders.find(name) for name in names]
    kept = hashlib.sha256("\n".join([*shell, page(), WORKER.read_text()]).encode())
    for path in files:
        kept.update(Path(path).read_bytes())
    for address in settings.FIELD_PAGES:
        kept.update(_page_at(address))
    facts = {"release": kept.hexdigest()[:12], "shell": shell}
    return f"const FIELD = {json.dumps(facts)};\n{WORKER.read_text()}"


def _page_at(address):
    """Return the page at an address as somebody unknown gets it."""
    request = HttpRequest()
    request.method, request.path = "GET", address
    found = resolve(address)
    return found.func(request, *found.args, **found.kwargs).content


@lru_cache(maxsize=1)
def _kept_worker_source():
    return worker_source()


def _answer(body, content_type):
    response = HttpResponse(body, content_type=content_type)
    # Asked for anew each time: what is kept is the worker's to keep.
    response.headers["Cache-Control"] = "no-cache"
    return response


@gzip_page
@require_safe
def field(request):
    """The field page: an empty shell that its scripts fill from this phone."""
    return _answer(page(), "text/html; charset=utf-8")


@gzip_page
@require_safe
def worker(request):
    """The service worker, which keeps the shell and nothing else."""
    make = _kept_worker_source if settings.PRODUCTION else worker_source
    return _answer(make(), "text/javascript; charset=utf-8")


@require_safe
def manifest(request):
    """What a phone's home screen shows of the field page."""
    facts = {
        "name": f"{settings.SITE_NAME}: in the field",
        "short_name": "In the field",
        "id": reverse("surveys:field"),
        "start_url": reverse("surveys:field"),
        "scope": reverse("surveys:field"),
        "display": "standalone",
        "background_color": "#F7F4ED",
        "theme_color": "#F7F4ED",
        "icons": [{"src": static(ICON), "sizes": "any", "type": "image/svg+xml"}],
    }
    response = JsonResponse(facts, content_type="application/manifest+json")
    response.headers["Cache-Control"] = "no-cache"
    return response
