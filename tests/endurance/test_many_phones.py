"""A Sunday evening: thirty phones send what they saw, all at once.

Small here; by hand, with the times printed, and on PostgreSQL too:

    PHONES=30 PHONE_VISITS=5 pytest -s tests/endurance/test_many_phones.py
    DATABASE_URL=postgres://… PHONES=30 PHONE_VISITS=5 pytest -s tests/endurance/test_many_phones.py
"""

import base64
import collections
import hashlib
import json
import os
import shutil
import statistics
import subprocess
from pathlib import Path

import pytest
from django.conf import settings
from django.db import connection
from django.test import Client

from surveys.models import Photo, SecondSubmission, Visit
from tests.endurance.site import Site
from tests.images import jpeg
from tests.makers import make_bridge, make_person

pytestmark = pytest.mark.django_db(transaction=True)

PHONES = int(os.environ.get("PHONES", "6"))
VISITS = int(os.environ.get("PHONE_VISITS", "2"))
SCRIPT = Path(__file__).with_name("phones.mjs")


def signed_in(person):
    client = Client()
    client.force_login(person)
    name = settings.SESSION_COOKIE_NAME
    return f"{name}={client.cookies[name].value}"


@pytest.mark.skipif(not shutil.which("node"), reason="Node is not installed")
def test_many_phones_at_once_see_no_error_and_lose_nothing(tmp_path, media):
    bridge = make_bridge()
    people = [make_person(f"phone-{n}") for n in range(PHONES)]
    asked = {
        "visits": VISITS,
        "jpeg": base64.b64encode(jpeg(640, 480)).decode(),
        "phones": [
            {"user": one.pk, "cookie": signed_in(one), "slug": bridge.slug}
            for one in people
        ],
    }
    with Site(tmp_path) as site:
        asked["url"] = site.url
        done = subprocess.run(
            ["node", str(SCRIPT)],
            input=json.dumps(asked),
            capture_output=True,
            text=True,
            check=True,
        )
    phones = json.loads(done.stdout)
    statuses = collections.Counter()
    for one in phones:
        statuses.update(one["statuses"])
    times = sorted(one["ms"] / 1000 for one in phones)
    print(
        f"\n{connection.vendor}: {PHONES} phones, {VISITS} visits each, "
        f"{sum(len(one['photos']) for one in phones)} photos: "
        f"a phone was done in {statistics.median(times):.1f} s (median), "
        f"{times[-1]:.1f} s (last); answers {dict(statuses)}; "
        f"{sum(one['tries'] - 1 for one in phones)} tries after a broken connection"
    )
    assert [one["why"] for one in phones if one["left"]] == []
    assert set(statuses) <= {"200", "201"}
    sent = [visit for one in phones for visit in one["visits"]]
    assert sorted(str(v.client_id) for v in Visit.objects.all()) == sorted(sent)
    assert not SecondSubmission.objects.exists()
    expected = {
        photo["id"]: photo["sha256"] for one in phones for photo in one["photos"]
    }
    for photo in Photo.objects.all():
        with photo.original.open() as file:
            digest = hashlib.file_digest(file, "sha256").hexdigest()
        assert digest == expected.pop(str(photo.client_id))
    assert not expected
