"""Photographs in an S3 bucket. moto answers in this process in place of a store.

By hand against a server that speaks S3, here the npm package s3rver, whose keys are
both "S3RVER":

    npx s3rver --directory store --port 4568 &
    S3_ENDPOINT=http://127.0.0.1:4568 S3_KEYS=S3RVER pytest tests/shared/test_bucket.py
"""

import contextlib
import os
import uuid

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage

from shared import backup
from shared.media import bucket
from surveys import services
from surveys.models import Photo
from tests.images import with_place
from tests.makers import (
    make_bridge,
    make_person,
    make_visit,
    photo_document,
    visit_document,
)

moto = pytest.importorskip("moto")
boto3 = pytest.importorskip("boto3")


ENDPOINT, KEYS = os.environ.get("S3_ENDPOINT", ""), os.environ.get("S3_KEYS", "testing")


@pytest.fixture
def stored(settings, monkeypatch, media):
    for name in ("AWS_ACCESS_KEY_ID", "AWS_SECRET_ACCESS_KEY"):
        monkeypatch.setenv(name, KEYS)
    monkeypatch.setenv("MEDIA_REGION", "us-east-1")
    monkeypatch.setenv("MEDIA_ENDPOINT", ENDPOINT)
    name = f"crossing-{uuid.uuid4().hex[:8]}"
    with contextlib.nullcontext() if ENDPOINT else moto.mock_aws():
        store = boto3.client(
            "s3", region_name="us-east-1", endpoint_url=ENDPOINT or None
        )
        store.create_bucket(Bucket=name)
        store.bucket = name
        settings.STORAGES = {**settings.STORAGES, "default": bucket(name)}
        yield store


def names(store):
    held = store.list_objects_v2(Bucket=store.bucket).get("Contents", [])
    return sorted(one["Key"] for one in held)


def test_a_photograph_sent_in_pieces_is_kept_and_shown(client, db, stored, media):
    data, ada = with_place(), make_person("ada")
    client.force_login(ada)
    photo = photo_document(data)
    document = visit_document(make_bridge(), photos=[photo])
    client.post("/api/visits/", document, "application/json")
    half = len(data) // 2
    for offset, piece in ((0, data[:half]), (half, data[half:])):
        answer = client.patch(
            f"/api/uploads/{photo['client_id']}/",
            piece,
            "application/octet-stream",
            headers={"Upload-Offset": str(offset)},
        )
        assert answer.status_code == 200, answer.text
    kept = Photo.objects.get()
    assert kept.arrived_at
    with kept.original.open() as original:
        assert original.read() == data
    assert not [one for one in names(stored) if one.startswith(("incoming", "scratch"))]
    shown = client.get(f"/photos/{kept.client_id}/320.jpg")
    assert b"".join(shown.streaming_content).startswith(b"\xff\xd8")
    assert not media.exists(), "nothing lies on this machine"


def test_the_bucket_shows_nothing_to_strangers(db, stored):
    assert bucket("crossing")["OPTIONS"]["default_acl"] is None
    default_storage.save("originals/a.jpg", ContentFile(b"x"))
    if not ENDPOINT:
        access = stored.get_object_acl(Bucket=stored.bucket, Key="originals/a.jpg")
        assert not any("AllUsers" in str(grant) for grant in access["Grants"])


@pytest.mark.django_db(transaction=True)
def test_a_backup_of_a_bucket_holds_every_file(stored, tmp_path, monkeypatch):
    data = with_place()
    visit = make_visit(make_bridge(), photos=[photo_document(data)])
    services.store_photo(photo=visit.photos.get(), bytes=data)
    before = names(stored)
    assert len(before) == 4
    copied = backup._copy_media(tmp_path / "media", None)
    assert sorted(copied) == before
    for name in before:
        default_storage.delete(name)
    backup._restore_media(tmp_path, {"media": copied}, None)
    assert names(stored) == before
    with default_storage.open(before[0]) as file:
        assert file.read() == (tmp_path / "media" / before[0]).read_bytes()
