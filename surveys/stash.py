"""Photographs sent with a form that could not be stored yet.

A form with a fault in it comes back with everything typed; a browser does not send its
files a second time. So they are kept here, under the person and the form's own id,
until the visit is stored, and named by their content, so that sending one twice keeps
it once.
"""

from __future__ import annotations

import uuid
from dataclasses import dataclass

from django.conf import settings
from django.core.files.storage import default_storage

from . import photos

ROOT = "stash"
DAYS_KEPT = 30


@dataclass
class Stashed:
    """One file kept: what it is announced by, and where it lies."""

    client_id: uuid.UUID
    sha256: str
    size_bytes: int
    path: str

    def open(self):
        return default_storage.open(self.path)


class Refused(ValueError):
    """A file that is not kept, with a sentence for people."""


def keep(person, form_id, file) -> Stashed:
    """Keep an uploaded file; raises ``Refused`` for one that is empty or too large."""
    size, sha256 = photos.measure(file)
    most = settings.PHOTO_MAX_BYTES
    if size == 0:
        raise Refused(f"“{file.name}” is empty. Choose it once more.")
    if size > most:
        raise Refused(
            f"“{file.name}” has {size / 1e6:.0f} MB; at most {most / 1e6:.0f} MB can be "
            "sent. Send a smaller copy."
        )
    path = f"{_folder(person, form_id)}/{sha256}"
    photos.put(path, file)
    return _stashed(form_id, path, size)


def held(person, form_id) -> dict[uuid.UUID, Stashed]:
    """Return what is kept for one form, by the id each photo will have."""
    folder = _folder(person, form_id)
    try:
        _, names = default_storage.listdir(folder)
    except FileNotFoundError:
        return {}
    found = [
        _stashed(form_id, f"{folder}/{name}", default_storage.size(f"{folder}/{name}"))
        for name in sorted(names)
    ]
    return {one.client_id: one for one in found}


def forget(person, form_id):
    """Drop what is kept for one form, once it is part of a visit."""
    for one in held(person, form_id).values():
        default_storage.delete(one.path)
    default_storage.delete(_folder(person, form_id))


def forget_older_than(moment):
    """Drop what was kept before ``moment`` by forms never sent; returns how many."""
    count = 0
    for person in _folders(ROOT):
        for form in _folders(f"{ROOT}/{person}"):
            folder = f"{ROOT}/{person}/{form}"
            _, names = default_storage.listdir(folder)
            paths = [f"{folder}/{name}" for name in names]
            old = [p for p in paths if default_storage.get_modified_time(p) < moment]
            for path in old:
                default_storage.delete(path)
            count += len(old)
            if len(old) == len(paths):
                default_storage.delete(folder)
    return count


def _folders(path):
    try:
        return default_storage.listdir(path)[0]
    except FileNotFoundError:
        return []


def _folder(person, form_id):
    return f"{ROOT}/{person.pk}/{form_id.hex}"


def _stashed(form_id, path, size):
    sha256 = path.rsplit("/", 1)[-1]
    # The same picture in the same form is the same photo, however often it is sent.
    return Stashed(uuid.uuid5(form_id, sha256), sha256, size, path)
