"""Files appear whole under their name or not at all."""

import datetime

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.core.management import call_command
from django.utils import timezone

from surveys import photos

NAME = "originals/ab/abcd.jpg"


@pytest.fixture(autouse=True)
def _kept_apart(media):
    """Every test here has an empty store."""


def held(name=NAME):
    with default_storage.open(name) as file:
        return file.read()


def test_half_a_file_is_replaced_by_the_whole():
    default_storage.save(NAME, ContentFile(b"half"))
    photos.put(NAME, ContentFile(b"the whole of it"))
    assert held() == b"the whole of it"
    assert default_storage.listdir("originals/ab")[1] == ["abcd.jpg"]


def test_nothing_is_left_beside_a_file_that_was_written():
    photos.put(NAME, ContentFile(b"bytes"))
    assert default_storage.listdir(photos.SCRATCH) == ([], [])


def test_a_name_never_shows_a_file_that_is_still_being_written(monkeypatch):
    """While one request writes, another that looks finds nothing, not a half."""
    seen = []

    class Slow(ContentFile):
        def chunks(self, chunk_size=None):
            yield b"the first half, "
            seen.append(default_storage.exists(NAME))
            yield b"the second"

    photos.put(NAME, Slow(b"the first half, the second"))
    assert seen == [False]
    assert held() == b"the first half, the second"


@pytest.mark.django_db
def test_what_a_power_cut_left_is_tidied_away_once_it_is_old(monkeypatch):
    default_storage.save(f"{photos.SCRATCH}/left", ContentFile(b"hal"))
    call_command("tidy_uploads", days=1)
    assert default_storage.exists(f"{photos.SCRATCH}/left")
    later = timezone.now() + datetime.timedelta(days=2)
    assert photos.forget_scratch(later) == 1
    assert default_storage.listdir(photos.SCRATCH) == ([], [])
