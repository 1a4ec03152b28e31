"""A check file as the engine understands it, every default in place.

Feet, inches, kips and ksi as the names say. Everything is frozen and hashable.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from .canonical import kept_hash, text, without_kept
from .deadload import DeadLoad
from .forms import Geometry
from .materials import Material
from .sections import Component, Girder


@dataclass(frozen=True)
class GivenSection:
    """A section given outright; None where the file says nothing."""

    area_in2: float
    net_area_in2: float
    r_in_plane_in: float | None = None
    r_out_of_plane_in: float | None = None
    i_out_of_plane_in4: float | None = None
    weight_plf: float | None = None

    __hash__ = kept_hash
    __getstate__ = without_kept


@dataclass(frozen=True)
class MemberInput:
    """One member as the file leaves it after every group has been read.

    ``is_covered`` is False where no group says what the member is made of.
    """

    name: str
    kind: str | None
    length_ft: float
    is_covered: bool = False
    is_absent: bool = False
    components: tuple[Component, ...] = ()
    section: GivenSection | None = None
    material: Material | None = None
    tension_only: bool = False
    loss_fraction: float = 0.0
    unbraced_in_plane_ft: float = 0.0
    unbraced_out_of_plane_ft: float = 0.0
    k: float = 1.0
    tightened_in: float = 0.0

    __hash__ = kept_hash
    __getstate__ = without_kept

    @classmethod
    def of(cls, **values: Any) -> MemberInput:
        """Return a member, every field of which is given.

        A frozen dataclass sets its fields one by one: of all the bars of a truss that
        takes longer than to read the rest of its file.
        """
        made = object.__new__(cls)
        made.__dict__.update(values)
        return made


@dataclass(frozen=True)
class Lever:
    """The floor as the lever rule sees it."""

    roadway_ft: float
    trusses_apart_ft: float
    gauge_ft: float
    curb_clear_ft: float
    vehicles: int = 1
    placing: str = "worst"


@dataclass(frozen=True)
class Crowd:
    """People on foot, wherever they add: psf on a width, a share to this truss line."""

    psf: float
    width_ft: float
    share: float


@dataclass(frozen=True)
class LiveLoad:
    """The moving load; ``impact`` is None for the published formula."""

    vehicle: str | None = None
    axle_kip: tuple[float, ...] = ()
    behind_front_ft: tuple[float, ...] = ()
    lane: str | None = None
    uniform_plf: float = 0.0
    fraction: float = 1.0
    lever: Lever | None = None
    impact: float | None = 0.0
    crowd: Crowd | None = None


@dataclass(frozen=True)
class Beam:
    """What one beam of the floor is made of: pieces, or a girder of plates and angles.

    Pieces stand side by side and bend together.
    """

    components: tuple[Component, ...] = ()
    girder: Girder | None = None
    material: Material | None = None
    loss_fraction: float = 0.0


@dataclass(frozen=True)
class Stringers:
    """Stringers side by side, alike; 0 where a spacing or a share is not given."""

    beam: Beam
    count: int
    spacing_ft: float = 0.0
    wheel_share: float = 0.0


@dataclass(frozen=True)
class FloorSystem:
    """The beams under the deck, of the whole floor."""

    roadway_ft: float
    trusses_apart_ft: float | None = None
    stringers: Stringers | None = None
    floor_beams: Beam | None = None


@dataclass(frozen=True)
class PackedBar:
    """One bar on a pin: a part of a member's force; the floor's load where None."""

    member: str | None
    thickness_in: float
    part: float
    gap_in: float


@dataclass(frozen=True)
class Pin:
    """A pin with the bars on it in order, from one end of it to the other."""

    joint: str
    diameter_in: float
    packing: tuple[PackedBar, ...]
    material: Material | None
    turns: bool = True


@dataclass(frozen=True)
class Frames:
    """The cross-frames that hold a pony's upper chord sideways."""

    post_i_in4: float
    floor_beam_i_in4: float
    floor_beam_ft: float


@dataclass(frozen=True)
class Chord:
    """Lateral springs on the upper chord; ``end_stiffness`` None is rigid.

    ``joint_stiffness`` has one entry per interior upper joint, in order of x.
    """

    joint_stiffness_kip_per_in: tuple[tuple[str, float], ...] = ()
    end_stiffness_kip_per_in: float | None = None
    frames: Frames | None = None


@dataclass(frozen=True)
class CheckInput:
    """A whole check file, read. ``members`` are in the order they are answered."""

    title: str
    geometry: Geometry
    deck_position: str
    connection: str
    members: tuple[MemberInput, ...]
    dead_load: DeadLoad
    live_load: LiveLoad | None
    method: str
    tension_only_model: str
    chord: Chord | None
    floor_system: FloorSystem | None = None
    pins: tuple[Pin, ...] = ()

    @cached_property
    def present(self) -> tuple[MemberInput, ...]:
        """The members that are there and whose make a group tells."""
        return tuple(m for m in self.members if m.is_covered and not m.is_absent)

    @cached_property
    def makes(self) -> tuple[tuple[MemberInput, ...], ...]:
        """The members present, those together that are of the same pieces and material."""
        found: dict[object, list[MemberInput]] = {}
        for m in self.present:
            # By identity: a file's group gives all of its members the same pieces.
            make = id(m.components), id(m.section), id(m.material)
            found.setdefault(make, []).append(m)
        return tuple(map(tuple, found.values()))

    @cached_property
    def sha256(self) -> str:
        """The SHA-256 of the question as sorted JSON without spaces, 64 hex digits."""
        parts = {
            "geometry": self.geometry.canonical_text,
            "deck_position": text(self.deck_position),
            "connection": text(self.connection),
            "members": text(self.members),
            "dead_load": text(self.dead_load),
            "live_load": text(self.live_load),
            "method": text(self.method),
            "tension_only_model": text(self.tension_only_model),
            "chord": text(self.chord),
        }
        # These came after files were first hashed.
        if self.floor_system is not None:
            parts["floor_system"] = text(self.floor_system)
        if self.pins:
            parts["pins"] = text(self.pins)
        whole = ",".join([f'"{key}":{parts[key]}' for key in sorted(parts)])
        return hashlib.sha256(f"{{{whole}}}".encode()).hexdigest()
