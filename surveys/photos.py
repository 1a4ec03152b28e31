"""Taking in photographs: bytes in pieces, checked, kept untouched, copied for show.

A photo is announced with its size and SHA-256 and its bytes follow, in pieces or at
once. Each piece is a file of its own, named by where it begins, so that the storage
need not append and a piece sent twice is written twice over itself. Originals and
copies are named by content; the same picture is stored once.
"""

from __future__ import annotations

import hashlib
import io
import os
import tempfile
import uuid
from pathlib import Path

from django.conf import settings
from django.core.files import File
from django.core.files.base import ContentFile
from django.core.files.storage import FileSystemStorage, default_storage
from django.db import transaction
from django.utils import timezone

from shared import jobs

from . import pictures
from .models import Photo

IN_MEMORY_BYTES = 4 * 1024 * 1024
SCRATCH = "scratch"
# Facts a picture file may supply where nobody gave them.
FROM_FILE = ("taken", "bearing_deg")
PLACE_FROM_FILE = ("latitude", "longitude", "position_accuracy_m")


class WrongOffset(Exception):
    """The piece does not begin where the last one ended; ``offset`` says where."""

    def __init__(self, offset):
        self.offset = offset
        super().__init__(f"The next piece begins at {offset}.")


class TooMuch(WrongOffset):
    """The piece reaches past the size announced."""


class OtherBytes(WrongOffset):
    """All has arrived and is not what was announced; it begins again at 0."""

    def __init__(self):
        super().__init__(0)


def receive_chunk(*, photo, offset, data):
    """Keep one piece of a photo's bytes; the last one finishes it.

    Safe to repeat: a piece sent again after a lost answer raises ``WrongOffset`` with
    where to go on. Returns the photo. Raises ``TooMuch`` past the announced size and
    ``OtherBytes`` when the whole has another SHA-256 than announced.
    """
    with transaction.atomic():
        held = Photo.objects.select_for_update().get(pk=photo.pk)
        if offset != held.received_bytes:
            raise WrongOffset(held.received_bytes)
        if offset + len(data) > held.size_bytes:
            raise TooMuch(held.received_bytes)
        if data:
            put(_piece_name(held, offset), ContentFile(data))
            held.received_bytes += len(data)
            # Not save(): a row of history for every piece would say nothing.
            Photo.objects.filter(pk=held.pk).update(received_bytes=held.received_bytes)
    return _finish(held) if held.received_bytes == held.size_bytes else held


def store_photo(*, photo, bytes):
    """Keep a photo's bytes all at once, replacing what had begun to arrive.

    ``bytes`` is a bytes object or an open binary file. Returns the photo; raises as
    ``receive_chunk`` does.
    """
    file = bytes if hasattr(bytes, "read") else io.BytesIO(bytes)
    size, digest = measure(file)
    if (size, digest) != (photo.size_bytes, photo.sha256):
        raise OtherBytes
    photo = _keep(photo, file)
    _share(photo)
    return photo


_BYTES = bytes


def measure(file):
    """Return ``(size in bytes, SHA-256 in hexadecimal)`` of an open file."""
    file.seek(0)
    digest, size = hashlib.sha256(), 0
    while piece := file.read(1024 * 1024):
        digest.update(piece)
        size += len(piece)
    file.seek(0)
    return size, digest.hexdigest()


def adopt(*, photo, twin):
    """Take the bytes of a photo that the same person had sent before."""
    photo.original = twin.original.name
    photo.received_bytes = photo.size_bytes
    photo.fault = twin.fault
    photo.arrived_at = timezone.now() if twin.arrived_at else None
    for name in ("format", "width_px", "height_px", "derivatives", "looks"):
        setattr(photo, name, getattr(twin, name))
    if photo.derivatives:
        with twin.original.open() as file:
            _fill(photo, pictures.facts_of(file))
    _save_arrived(photo)
    return photo


def _finish(photo):
    """Put the pieces together; safe to repeat and to do twice at once."""
    if photo.arrived_at or photo.fault:
        return photo
    with tempfile.SpooledTemporaryFile(IN_MEMORY_BYTES) as whole:
        _gather(photo, whole)
        if measure(whole) != (photo.size_bytes, photo.sha256):
            return _begin_again(photo)
        _keep(photo, whole)
    _drop_pieces(photo)
    _share(photo)
    return photo


def _gather(photo, whole):
    for name, offset in _pieces(photo):
        if offset == whole.tell():
            try:
                with default_storage.open(name) as piece:
                    whole.write(piece.read())
            except FileNotFoundError:
                # Another request has finished the photo and dropped its pieces; it
                # stored the photo first, which ``_begin_again`` finds.
                return


def _begin_again(photo):
    """Forget the pieces, unless another request has finished the photo meanwhile."""
    unfinished = Photo.objects.filter(pk=photo.pk, arrived_at=None, fault="")
    if not unfinished.update(received_bytes=0):
        photo.refresh_from_db()
        return photo
    _drop_pieces(photo)
    raise OtherBytes


def _keep(photo, file):
    """Store the original; its copies now, or by a worker where there is one."""
    try:
        if settings.JOBS_INLINE:
            _develop(photo, file)
        else:
            photo.format = pictures.glance(file)
    except pictures.Unreadable as error:
        # The bytes are what was sent and are kept: a person may yet make use of them.
        photo.fault = str(error)
        suffix = "bin"
    else:
        photo.arrived_at = timezone.now()
        suffix = pictures.SUFFIXES[photo.format]
    file.seek(0)
    sha = photo.sha256
    photo.original = put(f"originals/{sha[:2]}/{sha}.{suffix}", File(file))
    photo.received_bytes = photo.size_bytes
    _save_arrived(photo)
    return photo


@transaction.atomic
def _save_arrived(photo):
    """Both or neither: nobody asks for the copies of a photo that is here already."""
    photo.save()
    _ask_for_copies(photo)


def _ask_for_copies(photo):
    if photo.arrived_at and not photo.derivatives and not settings.JOBS_INLINE:
        jobs.enqueue(make_copies, key=f"copies of photo {photo.pk}", photo=photo.pk)


def _develop(photo, file):
    """Make a photo's copies and fill in what the picture tells; saves nothing."""
    picture = pictures.read(file)
    photo.format = picture.format
    photo.width_px, photo.height_px = picture.width_px, picture.height_px
    photo.looks = picture.looks
    photo.derivatives = {
        str(size): put(_copy_name(photo, size), ContentFile(copy))
        for size, copy in picture.copies.items()
    }
    _fill(photo, picture.facts)


@jobs.job
def make_copies(*, photo):
    """Make the copies of a photo whose bytes are here; safe to repeat.

    A picture that turns out to be broken gets its fault, as it would have had at once.
    """
    held = Photo.objects.filter(pk=photo).first()
    if held is None or held.derivatives or not held.arrived_at:
        return
    with held.original.open() as file:
        try:
            _develop(held, file)
        except pictures.Unreadable as error:
            held.fault, held.arrived_at = str(error), None
    held._change_reason = "copies made"
    held.save()


def _share(photo):
    """Give the bytes to the same picture where it still waits for them.

    The same file announced twice by one person need not travel twice.
    """
    if not photo.original:
        return
    waiting = Photo.objects.filter(
        sha256=photo.sha256,
        size_bytes=photo.size_bytes,
        visit__surveyor=photo.visit.surveyor_id,
        original="",
    )
    for other in waiting.exclude(pk=photo.pk):
        adopt(photo=other, twin=photo)
        _drop_pieces(other)


def _fill(photo, facts):
    """Use what the file tells where the surveyor said nothing."""
    for name in FROM_FILE:
        if name in facts and getattr(photo, name) in (None, ""):
            setattr(photo, name, facts[name])
    if photo.latitude is None and "latitude" in facts:
        for name in PLACE_FROM_FILE:
            setattr(photo, name, facts.get(name))
        photo.position_source = Photo.Place.EXIF


# -- storage


def put(name, content):
    """Write a file under exactly this name; it appears whole or not at all.

    Two requests may finish one photo at the same moment: on a disk each writes beside
    and renames, so neither sees the other's half. A store of objects puts whole files
    of itself.
    """
    is_piece = name.startswith("incoming")
    if not is_piece and _holds(name, content.size):
        return name
    if not isinstance(default_storage, FileSystemStorage):
        default_storage.delete(name)
        return default_storage.save(name, content)
    scratch = default_storage.save(f"{SCRATCH}/{uuid.uuid4().hex}", content)
    place = Path(default_storage.path(name))
    place.parent.mkdir(parents=True, exist_ok=True)
    # On the disk before the row that names it: the power may go at any moment.
    with open(default_storage.path(scratch), "rb") as written:
        os.fsync(written.fileno())
    os.replace(default_storage.path(scratch), place)
    _sync(place.parent)
    return name


def _sync(folder):
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _holds(name, size):
    return default_storage.exists(name) and default_storage.size(name) == size


def forget_scratch(moment):
    """Drop what a power cut left half written before ``moment``; return how many."""
    try:
        _, names = default_storage.listdir(SCRATCH)
    except FileNotFoundError:
        return 0
    paths = [f"{SCRATCH}/{name}" for name in names]
    old = [one for one in paths if default_storage.get_modified_time(one) < moment]
    for one in old:
        default_storage.delete(one)
    return len(old)


def _copy_name(photo, size):
    return f"photos/{photo.sha256[:2]}/{photo.sha256}-{size}.jpg"


def _folder(photo):
    return f"incoming/{photo.client_id.hex}"


def _piece_name(photo, offset):
    return f"{_folder(photo)}/{offset:012d}"


def _pieces(photo):
    """Return (name, offset) of the pieces held, in order."""
    try:
        _, names = default_storage.listdir(_folder(photo))
    except FileNotFoundError:
        return []
    return [(f"{_folder(photo)}/{name}", int(name)) for name in sorted(names)]


def _drop_pieces(photo):
    for name, _ in _pieces(photo):
        default_storage.delete(name)
    # A store of objects has no folders; a disk keeps an empty one otherwise.
    default_storage.delete(_folder(photo))
