"""What nobody should send: every call with generated nonsense, and files that lie.

Small here; by hand, with the counts printed:

    CASES=5000 pytest -s tests/endurance/test_bad_input.py
"""

import collections
import io
import os
import zipfile
import zlib

import hypothesis
import pytest
from django.core.files.storage import default_storage
from django.test import Client
from PIL import Image

from shared import backup
from surveys.models import Photo, Visit
from tests.images import jpeg
from tests.makers import make_bridge, make_person, photo_document, visit_document

schemathesis = pytest.importorskip("schemathesis")

CASES = int(os.environ.get("CASES", "60"))


# -- generated calls


@pytest.mark.django_db(transaction=True)
def test_no_generated_call_brings_the_site_down(settings):
    """Every call of the API with what its schema allows and what it does not."""
    from django.core.wsgi import get_wsgi_application

    settings.LIMITS = dict.fromkeys(settings.LIMITS, 10**9)
    make_bridge()
    keeper = make_person("kit", "keeper", "volunteer")
    client = Client()
    client.force_login(keeper)
    cookie = (
        f"second_crossing_session={client.cookies['second_crossing_session'].value}; "
        f"second_crossing_csrf={'t' * 32}"
    )
    headers = {"Cookie": cookie, "X-CSRFToken": "t" * 32, "Host": "testserver"}
    app = get_wsgi_application()
    schema = schemathesis.openapi.from_wsgi("/api/schema/?format=json", app)
    operations = [one.ok() for one in schema.get_all_operations()]
    counts, each = collections.Counter(), max(2, CASES // len(operations))
    faults = []
    for operation in operations:
        for mode in schemathesis.GenerationMode:
            _generate(operation, mode, max(1, each // 2), headers, counts, faults)
    print(f"\n{sum(counts.values())} calls of {len(operations)} kinds: {dict(counts)}")
    assert not faults, faults[:3]
    assert sum(counts.values()) >= min(CASES, 5000) // 2


def _generate(operation, mode, examples, headers, counts, faults):
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
        answer = case.call(headers=headers)
        counts[answer.status_code] += 1
        if answer.status_code >= 500:
            faults.append((answer.status_code, case.as_curl_command()))

    try:
        run()
    except hypothesis.errors.Unsatisfiable:
        counts["nothing to generate"] += 1


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
