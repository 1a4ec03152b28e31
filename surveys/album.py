"""The photographs of a visit form: chosen now, kept from before, sent already."""

from __future__ import annotations

import uuid
from dataclasses import dataclass, field

from . import stash
from .models import Photo

BLOCKS = 3
PLACE = ("latitude", "longitude", "position_accuracy_m")


@dataclass
class Shot:
    """One photograph that is here: its bytes kept or stored, its words as typed."""

    client_id: uuid.UUID
    size_bytes: int
    sha256: str
    name: str = ""
    caption: str = ""
    element: str = ""
    place: dict = field(default_factory=dict)
    # A photo of the visit being answered, whose bytes need not travel again.
    sent_before: Photo | None = None
    errors: list = field(default_factory=list)

    @property
    def prefix(self):
        return f"k{self.client_id.hex}"


@dataclass
class Block:
    """Inputs for choosing photographs that share a caption and an element."""

    number: int
    caption: str = ""
    element: str = ""
    errors: list = field(default_factory=list)

    @property
    def prefix(self):
        return f"ph{self.number}"


class Album:
    """What the form holds of photographs, and what it submits of them."""

    def __init__(self, person, form_id, sheet, answered=None, data=None, files=None):
        self.person, self.form_id, self.sheet = person, form_id, sheet
        self.shots: dict[uuid.UUID, Shot] = {}
        self.blocks = [Block(number) for number in range(BLOCKS)]
        self.answered = answered
        if data is None:
            self._begin_from_answered()
        else:
            self._keep_from_before(data)
            self._take_in(data, files)

    @property
    def errors(self):
        rows = [(b.prefix, message) for b in self.blocks for message in b.errors]
        return rows + [
            (shot.prefix, message)
            for shot in self.shots.values()
            for message in shot.errors
        ]

    def _sent_before(self):
        """Photos of the visit being answered whose bytes have arrived."""
        if self.answered is None:
            return {}
        sent = self.answered.photos.arrived().select_related("element")
        return {uuid.uuid5(self.form_id, one.sha256): one for one in sent}

    def _begin_from_answered(self):
        for client_id, photo in self._sent_before().items():
            self.shots[client_id] = Shot(
                client_id,
                photo.size_bytes,
                photo.sha256,
                photo.name,
                photo.caption,
                str(photo.element_id or ""),
                sent_before=photo,
            )

    def _keep_from_before(self, data):
        held = stash.held(self.person, self.form_id)
        sent = self._sent_before()
        for text in dict.fromkeys(data.getlist("kept")):
            try:
                client_id = uuid.UUID(text)
            except ValueError:
                continue
            there = held.get(client_id) or sent.get(client_id)
            prefix = f"k{client_id.hex}"
            if there is None or data.get(f"{prefix}-drop"):
                continue
            self.shots[client_id] = Shot(
                client_id,
                there.size_bytes,
                there.sha256,
                data.get(f"{prefix}-name", "")[:200],
                data.get(f"{prefix}-caption", ""),
                data.get(f"{prefix}-element", ""),
                _place(data, prefix),
                sent.get(client_id),
            )

    def _take_in(self, data, files):
        """Keep the files that came with this sending, each once by its content."""
        numbers = sorted(
            {
                int(name[2:].split("-")[0])
                for name in files
                if name.startswith("ph") and name[2:].split("-")[0].isdecimal()
            }
        )
        for number in numbers:
            block = Block(number)
            if number < BLOCKS:
                block = self.blocks[number]
            else:
                self.blocks.append(block)
            self._take_block(block, data, files)

    def _take_block(self, block, data, files):
        prefix = block.prefix
        for end in ("take", "file"):
            for file in files.getlist(f"{prefix}-{end}"):
                try:
                    kept = stash.keep(self.person, self.form_id, file)
                except stash.Refused as error:
                    block.errors.append(str(error))
                    block.caption = data.get(f"{prefix}-caption", "")
                    block.element = data.get(f"{prefix}-element", "")
                    continue
                self.shots.setdefault(
                    kept.client_id,
                    Shot(
                        kept.client_id,
                        kept.size_bytes,
                        kept.sha256,
                        file.name[:200],
                        data.get(f"{prefix}-caption", ""),
                        data.get(f"{prefix}-element", ""),
                        _place(data, prefix),
                    ),
                )

    def documents(self):
        """Return the submitted photos."""
        return [self._document(shot) for shot in self.shots.values()]

    def _document(self, shot):
        row = None
        if shot.element.isdecimal():
            row = self.sheet.by_pk.get(int(shot.element))
        made = {
            "client_id": str(shot.client_id),
            "name": shot.name,
            "size_bytes": shot.size_bytes,
            "sha256": shot.sha256,
            "element": row.element.path if row else None,
            "caption": shot.caption.strip(),
            "credit": self.person.credit,
        }
        if shot.place:
            made |= shot.place | {"position_source": Photo.Place.DEVICE.value}
        return made

    def take(self, rows):
        """Put the service's faults beside their photos; return those of none."""
        rest, shots = [], list(self.shots.values())
        for path, code, message in rows:
            parts = path.split(".")
            if parts[0] == "photos" and len(parts) > 1 and int(parts[1]) < len(shots):
                shots[int(parts[1])].errors.append(message)
            else:
                rest.append((path, code, message))
        return rest

    def store(self, visit, store_photo):
        """Give a stored visit its bytes; returns ``[(name, fault)]`` of unreadable ones."""
        held = stash.held(self.person, self.form_id)
        unreadable = []
        for photo in visit.photos.all():
            kept = held.get(photo.client_id)
            if kept is not None and not photo.arrived_at and not photo.fault:
                with kept.open() as file:
                    photo = store_photo(photo=photo, bytes=file)
            if photo.fault:
                unreadable.append((photo.name, photo.fault))
        stash.forget(self.person, self.form_id)
        return unreadable


def _place(data, prefix):
    """Where the phone said it was, when it did; what makes no number is left out."""
    place = {}
    for name in PLACE:
        try:
            place[name] = float(data.get(f"{prefix}-{name}", ""))
        except ValueError:
            continue
    return place if {"latitude", "longitude"} <= place.keys() else {}
