"""A check file as the engine understands it, every default in place.

Feet, inches, kips and ksi as the names say. Everything is frozen and hashable.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass, fields
from functools import cached_property, lru_cache
from typing import Any

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

    @cached_property
    def text(self) -> str:
        """This member as it is hashed."""
        return _text_of(self)

    def __hash__(self) -> int:
        # Asked for many times in one check, and deep: every piece and its material.
        return self._hash

    @cached_property
    def _hash(self) -> int:
        return hash(tuple(getattr(self, one.name) for one in fields(self)))

    def __getstate__(self) -> dict[str, Any]:
        # Another process hashes texts otherwise.
        return {k: v for k, v in self.__dict__.items() if k != "_hash"}


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

    def canonical(self) -> dict[str, Any]:
        """Return the question in plain JSON form, the same for every way of asking."""
        return self._head() | {"members": [_plain(member) for member in self.members]}

    def _head(self) -> dict[str, Any]:
        return {
            "geometry": self.geometry.canonical(),
            "deck_position": self.deck_position,
            "connection": self.connection,
            "dead_load": _plain(self.dead_load),
            "live_load": _plain(self.live_load) if self.live_load else None,
            "method": self.method,
            "tension_only_model": self.tension_only_model,
            "chord": _plain(self.chord) if self.chord else None,
        } | self._later()

    @cached_property
    def sha256(self) -> str:
        """The SHA-256 of ``canonical`` as sorted JSON without spaces, 64 hex digits."""
        head = self._head()
        del head["geometry"]
        parts = {key: _text(value) for key, value in head.items()}
        # Between the configurations of one truss most members are the same.
        parts["geometry"] = self.geometry.canonical_text
        parts["members"] = f"[{','.join(member.text for member in self.members)}]"
        text = ",".join(f'"{key}":{parts[key]}' for key in sorted(parts))
        return hashlib.sha256(f"{{{text}}}".encode()).hexdigest()

    def _later(self) -> dict[str, Any]:
        """Return the parts that came after files were first hashed, where given."""
        found: dict[str, Any] = {}
        if self.floor_system is not None:
            found["floor_system"] = _plain(self.floor_system)
        if self.pins:
            found["pins"] = [_plain(pin) for pin in self.pins]
        return found


#: Keys that came after files were first hashed: left out where they say nothing, so
#: that an old question keeps its hash.
LATER: dict[str, Any] = {
    "crowd": None,
    "vehicles": 1,
    "placing": "worst",
    # of a member
    "tightened_in": 0.0,
    # of a component
    "remaining_in": 0.0,
    "holes": 0,
    "rivet_in": 0.0,
    "by_one_leg": False,
    "longer_in": 0.0,
    # of pieces tied together
    "bottom_width_in": 0.0,
    "bottom_thickness_in": 0.0,
    "box_depth_in": 0.0,
    "lacing_in2": 0.0,
    "lacing_deg": 60.0,
    "battens_apart_in": 0.0,
    "untied_ft": 0.0,
    "pin_height_in": 0.0,
    "lacing_thickness_in": 0.0,
    "lacing_planes": 2,
    "lacing_systems": 1,
}


def _without_later(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    return {k: v for k, v in pairs if k not in LATER or v != LATER[k]}


@lru_cache(maxsize=8192)
def _plain(
    part: MemberInput | DeadLoad | LiveLoad | Chord | FloorSystem | Pin,
) -> dict[str, Any]:
    """Return a part as plain values; shared, and so only to be read.

    Between the configurations of one truss nearly all members are the same.
    """
    return asdict(part, dict_factory=_without_later)


def _text(value: Any) -> str:
    return json.dumps(value, sort_keys=True, separators=(",", ":"))


@lru_cache(maxsize=8192)
def _text_of(member: MemberInput) -> str:
    return _text(_plain(member))
