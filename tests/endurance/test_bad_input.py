"""What nobody should send: every call with generated nonsense, and files that lie.

Small here; by hand, with the counts printed:

    CASES=6000 pytest -s tests/endurance/test_bad_input.py
"""

import collections
import contextlib
import io
import os
import zipfile
import zlib

import hypothesis
import pytest
from django.core.files.storage import default_storage
from django.test import Client
from PIL import Image

from shared import backup, jobs
from surveys.models import Photo, Visit
from tests.images import jpeg
from tests.makers import (
    make_bridge,
    make_person,
    make_visit,
    photo_document,
    visit_document,
)
from tests.shared import example_jobs

schemathesis = pytest.importorskip("schemathesis")
from schemathesis.checks import CHECKS, load_all_checks  # noqa: E402
from schemathesis.core.failures import (  # noqa: E402
    AcceptedNegativeData,
    FailureGroup,
)

CASES = int(os.environ.get("CASES", "60"))


# -- generated calls


def checks():
    """Every check there is for answers to single calls, less what cannot hold here.

    ``ignored_auth`` and ``object_level_authorization`` send calls of their own to a
    running server: tests/access walks every address as everybody instead.
    ``use_after_free`` and ``ensure_resource_availability`` follow a DELETE or a chain
    of calls, of which there is none. ``positive_data_acceptance`` takes whatever has
    the right type for right: an uncertain date, a box on the map, the number of a
    bridge and a truss say more than a schema can.
    """
    load_all_checks()
    elsewhere = {
        "ignored_auth",
        "object_level_authorization",
        "use_after_free",
        "ensure_resource_availability",
        "positive_data_acceptance",
    }
    return [one for one in CHECKS.get_all() if one.__name__ not in elsewhere]


@pytest.mark.django_db(transaction=True)
def test_no_generated_call_brings_the_site_down(settings):
    """Every call of the API with what its schema allows and what it does not."""
    from django.core.wsgi import get_wsgi_application

    settings.LIMITS = dict.fromkeys(settings.LIMITS, 10**9)
    keeper = make_person("kit", "keeper", "volunteer")
    visit = make_visit(make_bridge(), keeper, photos=[photo_document(jpeg())])
    job = jobs.enqueue(example_jobs.echo, by=keeper, word="x")
    real = {
        "slug": visit.bridge.slug,
        "client_id": str(visit.client_id),
        "token": str(job.token),
        "photo": str(visit.photos.get().client_id),
    }
    client = Client()
    client.force_login(keeper)
    cookie = (
        f"second_crossing_session={client.cookies['second_crossing_session'].value}; "
        f"second_crossing_csrf={'t' * 32}"
    )
    site = get_wsgi_application()

    def app(environ, start_response):
        """The site, and somebody signed in whatever cookies are made up."""
        signed_in = {"HTTP_COOKIE": cookie, "HTTP_X_CSRFTOKEN": "t" * 32}
        return site(environ | signed_in, start_response)

    schema = schemathesis.openapi.from_wsgi("/api/schema/?format=json", app)
    operations = [one.ok() for one in schema.get_all_operations()]
    counts, faults = collections.Counter(), {}
    each = max(2, -(-CASES // len(operations) // 2))
    for operation in operations:
        for mode in schemathesis.GenerationMode:
            _generate(operation, mode, each, real, counts, faults)
    calls = sum(counts.values())
    print(f"\n{calls} calls of {len(operations)} kinds: {dict(sorted(counts.items()))}")
    for (check, where), (count, first) in sorted(faults.items()):
        print(f"{count} x {check} {where}: {first}")
    assert not [status for status in counts if status >= 500]
    assert not faults, list(faults.items())[:3]
    assert calls >= CASES // 2


def make_real(case, real):
    """Have a call that is right as far as the schema goes lead to something."""
    for name in case.path_parameters:
        key = "photo" if "/uploads/" in case.path else name
        case.path_parameters[name] = real.get(key, case.path_parameters[name])
    case.headers.pop("X-Expected-User", None)
    if isinstance(case.body, dict) and "bridge" in case.body:
        case.body["bridge"] = real["slug"]


def is_as_meant(fault, case):
    """Whether what a check complains of is how the site is meant to be.

    Somebody is signed in whatever cookies are made up; what is left blank is not given;
    and of a visit a fault is set aside and named, and the rest stored.
    """
    given = [*(case.query or {}).values(), *(case.headers or {}).values()]
    is_blank = any(value in ("", []) for value in given)
    sets_aside = (case.method, case.path) == ("POST", "/api/visits/")
    return isinstance(fault, AcceptedNegativeData) and (
        "cookie" in str(fault) or is_blank or sets_aside
    )


def _generate(operation, mode, examples, real, counts, faults):
    strategy = operation.as_strategy(generation_mode=mode)

    @hypothesis.settings(
        max_examples=examples,
        deadline=None,
        database=None,
        derandomize=True,
        suppress_health_check=list(hypothesis.HealthCheck),
        phases=[hypothesis.Phase.generate],
    )
    @hypothesis.given(case=strategy)
    def run(case):
        if mode.is_positive:
            make_real(case, real)
        answer = case.call()
        counts[answer.status_code] += 1
        try:
            case.validate_response(answer, checks=checks())
        except FailureGroup as group:
            for one in group.exceptions:
                if is_as_meant(one, case):
                    continue
                key = type(one).__name__, f"{case.method} {operation.path}"
                told = f"{one} {case.as_curl_command(headers={})}"[:600]
                count, first = faults.get(key, (0, told))
                faults[key] = count + 1, first

    # Of a call without parameters nothing wrong can be made.
    with contextlib.suppress(hypothesis.errors.Unsatisfiable):
        run()


# -- files that are not what they say


def bomb_png():
    """Some kilobytes that unpack to 900 million pixels."""
    import struct

    def chunk(kind, data):
        whole = kind + data
        return (
            struct.pack(">I", len(data)) + whole + struct.pack(">I", zlib.crc32(whole))
        )

    head = struct.pack(">IIBBBBB", 30_000, 30_000, 8, 0, 0, 0, 0)
    rows = zlib.compress(b"\0" * 30_001 * 1000, 9)
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        [chunk(b"IHDR", head), chunk(b"IDAT", rows), chunk(b"IEND", b"")]
    )


def zipped(jpeg_bytes):
    """A picture with an archive at its end: both to whoever looks."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("run.html", "<script>alert(1)</script>")
    return jpeg_bytes + out.getvalue()


def many_frames():
    out = io.BytesIO()
    frames = [Image.new("RGB", (64, 64), (n, 0, 0)) for n in range(200)]
    frames[0].save(out, "WEBP", save_all=True, append_images=frames[1:])
    return out.getvalue()


SVG = b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'
CORPUS = {
    "a pixel bomb": (bomb_png(), False),
    "a drawing with a script": (SVG, False),
    "a page named as a picture": (b"<html><script>alert(1)</script></html>", False),
    "a program": (b"\x7fELF" + b"\0" * 400, False),
    "a picture that is also an archive": (zipped(jpeg()), True),
    "a picture with a page in its comment": (
        jpeg(comment=b"<script>alert(1)</script>"),
        True,
    ),
    "half a picture": (jpeg()[:2000], False),
    "two hundred frames": (many_frames(), True),
    "a PDF": (b"%PDF-1.4\n%%EOF", False),
    "one byte": (b"x", False),
}
NAMES = (
    "../../../../etc/passwd",
    "..\\..\\windows\\win.ini",
    "/etc/cron.d/x",
    "x.jpg\r\nX-Injected: 1",
    '"><script>alert(1)</script>.jpg',
    "𝕏" * 60 + ".jpg",
    ".htaccess",
)


@pytest.mark.parametrize("what", CORPUS)
def test_a_file_is_taken_for_what_it_holds_and_never_served_as_it_came(
    client, db, media, what
):
    data, is_picture = CORPUS[what]
    client.force_login(make_person("ada"))
    photo = photo_document(data, "deck.jpg")
    document = visit_document(make_bridge(), photos=[photo])
    sent = client.post("/api/visits/", document, "application/json")
    assert sent.status_code == 201, sent.text
    answer = client.patch(
        f"/api/uploads/{photo['client_id']}/",
        data,
        "application/octet-stream",
        headers={"Upload-Offset": "0"},
    )
    assert answer.status_code in (200, 422), answer.text
    held = Photo.objects.get()
    assert bool(held.arrived_at) is is_picture
    assert bool(held.fault) is not is_picture
    with held.original.open() as original:
        assert original.read() == data, "what was sent is kept as it was"
    shown = client.get(f"/photos/{held.client_id}/320.jpg")
    assert shown.status_code == (200 if is_picture else 404)
    if is_picture:
        copy = b"".join(shown.streaming_content)
        assert shown.headers["Content-Type"] == "image/jpeg"
        assert b"script" not in copy
        assert Image.open(io.BytesIO(copy)).format == "JPEG"
    client.force_login(make_person("kit", "keeper"))
    original = client.get(f"/photos/{held.client_id}/original")
    assert b"".join(original.streaming_content) == data
    assert original.headers["Content-Type"] == "application/octet-stream"
    assert original.headers["Content-Disposition"].startswith("attachment")
    assert original.headers["X-Content-Type-Options"] == "nosniff"


def test_an_empty_file_is_refused_and_named(client, db):
    client.force_login(make_person("ada"))
    document = visit_document(make_bridge(), photos=[photo_document(b"", "deck.jpg")])
    answer = client.post("/api/visits/", document, "application/json")
    told = answer.json().get("errors") or answer.json().get("set_aside")
    assert "photos.0" in str(told)


@pytest.mark.parametrize("name", NAMES)
def test_a_name_leads_nowhere(client, db, media, name):
    data = jpeg()
    client.force_login(make_person("kit", "keeper"))
    photo = photo_document(data, name)
    photo["name"] = name
    document = visit_document(make_bridge(), photos=[photo])
    answer = client.post("/api/visits/", document, "application/json")
    assert answer.status_code in (201, 400)
    if answer.status_code == 400 or not Photo.objects.exists():
        return
    client.patch(
        f"/api/uploads/{photo['client_id']}/",
        data,
        "application/octet-stream",
        headers={"Upload-Offset": "0"},
    )
    for stored in backup.stored_names():
        assert default_storage.path(stored).startswith(str(media))
        assert "passwd" not in stored
        assert "script" not in stored
    original = client.get(f"/photos/{photo['client_id']}/original")
    list(original.streaming_content)
    assert "X-Injected" not in original.headers
    assert "\n" not in original.headers["Content-Disposition"]
    assert Visit.objects.count() == 1
