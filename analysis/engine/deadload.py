"""Dead load of one truss line as loads on its joints, item by item.

lb per foot and psf on the way in, kips on joints on the way out, down positive.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from .equilibrium import Float, Index

LB_PER_KIP = 1000.0

#: lb per sq ft for each inch of thickness, and where it is from.
LAYERS: Mapping[str, tuple[float, str]] = {
    "timber": (50.0 / 12.0, "timber 50 lb/cu ft, AASHTO Standard Specifications 3.3.6"),
    "concrete": (150.0 / 12.0, "concrete 150 lb/cu ft, the same"),
    "asphalt": (150.0 / 12.0, "asphalt 150 lb/cu ft, the upper of 144 to 150"),
    "gravel": (140.0 / 12.0, "rolled gravel 140 lb/cu ft, AASHTO 3.3.6, from memory"),
    "earth": (120.0 / 12.0, "compacted earth 120 lb/cu ft, the same, from memory"),
    "steel-grid": (
        4.0,
        "open steel grid 20 psf where 5 in deep, the upper of 15 to 20, from memory",
    ),
    "unrecorded": (
        50.0 / 12.0,
        "a deck of unrecorded make as given, or as timber where only its thickness is",
    ),
}


@dataclass(frozen=True)
class Layer:
    """One layer of the deck, by thickness or by weight."""

    material: str
    thickness_in: float | None = None
    psf: float | None = None

    @property
    def weight_psf(self) -> float:
        if self.psf is not None:
            return self.psf
        return LAYERS[self.material][0] * (self.thickness_in or 0.0)

    @property
    def title(self) -> str:
        if self.material == "unrecorded" and self.psf is not None:
            return f"floor: deck of unrecorded make, {self.psf:g} psf"
        if self.psf is not None:
            return f"floor: {self.material}, {self.psf:g} psf"
        return f"floor: {self.material}, {self.thickness_in:g} in"


@dataclass(frozen=True)
class Stringers:
    """All the stringers side by side, alike."""

    count: int
    plf_each: float


@dataclass(frozen=True)
class Floor:
    """The whole floor; ``share`` of it comes on this truss line."""

    roadway_ft: float
    layers: tuple[Layer, ...] = ()
    stringers: Stringers | None = None
    floor_beams_lb_each: float = 0.0
    railing_plf: float = 0.0
    share: float = 0.5


@dataclass(frozen=True)
class DeadLoad:
    """Everything that bears all the time; ``details_factor`` 0 is no self-weight."""

    uniform_plf: float = 0.0
    joints_kip: tuple[tuple[str, float], ...] = ()
    details_factor: float = 0.0
    floor: Floor | None = None


@dataclass(frozen=True)
class Item:
    """One part of the dead load: on the joints, (n,) kip, and in all."""

    what: str
    joint_kip: Float

    @property
    def kip(self) -> float:
        return float(self.joint_kip.sum())


def joint_loads(
    load: DeadLoad,
    joints: Sequence[str],
    loaded: Sequence[int],
    x_ft: Float,
    ends: Index,
    member_lb: Float,
) -> list[Item]:
    """Return the items of a dead load.

    Parameters
    ----------
    load : DeadLoad
    joints : n names
    loaded : p joint numbers in order of x, where floor beams bear
    x_ft : (n,) float
    ends : (m, 2) int, joint numbers
    member_lb : (m,) float, bare weight of each member, lb

    Returns
    -------
    list of Item
        A load along the deck goes to each loaded joint by its tributary length, the
        end joints taking half a panel; half of a member's weight goes to each end.

    Source: statics. Known answers: tests/analysis/engine/test_deadload.py.
    """
    tributary = _tributary_ft(loaded, x_ft)
    items = []
    if load.uniform_plf:
        items.append(Item("uniform", load.uniform_plf * tributary / LB_PER_KIP))
    if load.joints_kip:
        at_joints = np.zeros(len(joints))
        for name, kip in load.joints_kip:
            at_joints[joints.index(name)] = kip
        items.append(Item("joint loads", at_joints))
    if load.details_factor:
        own = np.zeros(len(joints))
        half = load.details_factor * member_lb / (2.0 * LB_PER_KIP)
        np.add.at(own, ends[:, 0], half)
        np.add.at(own, ends[:, 1], half)
        items.append(Item("self-weight", own))
    if load.floor is not None:
        items += _floor_items(load.floor, loaded, tributary)
    return items


def _tributary_ft(loaded: Sequence[int], x_ft: Float) -> Float:
    panel = np.diff(x_ft[list(loaded)])
    answer = np.zeros(len(x_ft))
    answer[list(loaded[:-1])] += panel / 2.0
    answer[list(loaded[1:])] += panel / 2.0
    return answer


def _floor_items(floor: Floor, loaded: Sequence[int], tributary: Float) -> list[Item]:
    along = [
        (layer.title, layer.weight_psf * floor.roadway_ft) for layer in floor.layers
    ]
    if floor.stringers is not None:
        each = floor.stringers
        along.append(("floor: stringers", each.count * each.plf_each))
    if floor.railing_plf:
        along.append(("floor: railing", floor.railing_plf))
    items = [
        Item(what, floor.share * plf * tributary / LB_PER_KIP) for what, plf in along
    ]
    if floor.floor_beams_lb_each:
        beams = np.zeros(len(tributary))
        beams[list(loaded)] = floor.share * floor.floor_beams_lb_each / LB_PER_KIP
        items.append(Item("floor: floor beams", beams))
    return items
