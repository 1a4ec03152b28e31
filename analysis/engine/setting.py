"""Configurations under dead load and the loads that move over them, worked out once.

Envelopes and ratings of the same configurations start from the same things: the
equilibrium of the truss, the taut bars under dead load, the places of the vehicles and
what brings the truss down. Feet and kips; tension positive; loads positive downward.
Array axes: ``c`` configurations, ``n`` joints, ``m`` members.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from . import general
from .alone import Alone, Live
from .equilibrium import Equilibrium, Float, Index, Mask, Truss, analyse
from .loads import Load, Places, Train, vehicle_places
from .spreads import Spreads
from .stability import least_multiple
from .statics import DeadState, Model, Settled, settle_dead
from .tautcells import TautCells
from .tautsets import TautSets

#: Front axle (ft), heading (+1 or -1) and the fraction of the load.
Unstable = tuple[float, int, float]


@dataclass(frozen=True, eq=False)
class Fall:
    """What brings configurations down.

    ``fraction`` (c,), of the load, may exceed 1; ``at`` gives the place only where it
    does not.
    """

    fraction: Float
    at: list[Unstable | None]


@dataclass(frozen=True, eq=False)
class Setting:
    """Configurations of one truss, settled, and the loads to move.

    ``web`` (m,) bool, members that take a lane's concentrated load for webs.
    """

    settled: Settled
    loads: tuple[Load, ...]
    model: Model
    web: Mask
    _sets: dict[int, TautSets] = field(default_factory=dict)
    _cells: tuple[bytes, TautCells] | None = None

    @property
    def system(self) -> Equilibrium:
        return self.settled.system

    @property
    def state(self) -> DeadState:
        return self.settled.state

    @cached_property
    def places(self) -> Places:
        return vehicle_places(self.system, self.loads)

    @cached_property
    def no_places(self) -> Places:
        return vehicle_places(self.system, [])

    @cached_property
    def live_kip(self) -> Float:
        """Return (s, n): loads on all joints in every place of a vehicle."""
        return general.on_all_joints(self.system, self.places.joint_kip)

    @cached_property
    def linear(self) -> Index:
        """Return the members that no redundant touches."""
        every = np.ones(len(self.web), bool)
        every[self.system.touched] = False
        return np.flatnonzero(every)

    @cached_property
    def spreads(self) -> bool:
        """Return whether any load is not a vehicle."""
        return any(not isinstance(load, Train) for load in self.loads)

    @property
    def alone(self) -> Alone | None:
        """Return what answers one configuration of few redundants; None of others."""
        return self.settled.alone

    @cached_property
    def live_alone(self) -> Live:
        """Return the vehicles' loads as ``alone`` takes them."""
        if self.alone is None:
            raise ValueError("not one configuration of few redundants")
        return self.alone.live(self.live_kip)

    def sets(self, c: int) -> TautSets:
        """Return the taut sets of one configuration, kept for who asks next."""
        found = self._sets.get(c)
        if found is None:
            found = TautSets(self.system, self.settled.ea[c], self.model == "classical")
            self._sets[c] = found
        return found

    @property
    def as_cells(self) -> bool:
        """Return whether ``cells`` answer, and not ``general`` one by one.

        In the classical model crossed bars are so much looser than other redundants
        that of what rods share with both too few figures are left.
        """
        return self.model != "classical"

    def cells(self, columns: Index) -> TautCells:
        """Return some configurations that stand, kept for who asks next for the same."""
        which = columns.tobytes()
        if self._cells is None or self._cells[0] != which:
            cells = TautCells(
                self.system,
                self.settled.ea[columns],
                self.settled.dead[columns],
                ~self.state.taut[columns],
                self.model == "classical",
            )
            object.__setattr__(self, "_cells", (which, cells))
            return cells
        return self._cells[1]

    def spread_over(self, c: int) -> Spreads | None:
        """Return what lays spread loads on one configuration; None if ``pairs`` does not."""
        crossed, columns = self.settled.crossed, self.settled.columns
        if crossed is None or columns is None or self.settled.beyond[c]:
            return None
        return Spreads(crossed, columns, c, self.settled.dead[c], self.web)

    def fall(self, factor: float) -> Fall:
        """Return the least fractions of ``factor`` times the load that bring it down."""
        multiple, place = self._least
        fraction = multiple / factor if factor > 0.0 else np.full_like(multiple, np.inf)
        where: list[Unstable | None] = [None] * len(fraction)
        for c in np.flatnonzero((place >= 0) & (fraction <= 1.0)).tolist():
            at = int(place[c])
            vehicle = at < len(self.places.front_ft)
            where[c] = (
                float(self.places.front_ft[at]) if vehicle else 0.0,
                int(self.places.heading[at]) if vehicle else 0,
                float(fraction[c]),
            )
        return Fall(fraction, where)

    @cached_property
    def _least(self) -> tuple[Float, Index]:
        """Return the least multiples of the loads themselves, and where."""
        system, stands = self.system, self.state.stands
        lone = system.particular[system.lone]
        spread = general.spread_places(system, self.loads, lone)
        fraction = np.full(len(stands), np.inf)
        place = np.full(len(stands), -1, np.intp)
        if not stands.any():
            return fraction, place
        multiple, at = least_multiple(
            system, self.settled.dead[stands], np.vstack([self.live_kip, spread])
        )
        fraction[stands], place[stands] = multiple, at
        return fraction, place


def setting(
    truss: Truss,
    ea_kip: Float,
    dead_kip: Float,
    loads: Sequence[Load],
    model: Model = "elastic",
    web: Mask | None = None,
) -> Setting:
    """Return configurations settled under dead load, with the loads to move over them.

    Parameters
    ----------
    truss, ea_kip, dead_kip, loads, model, web
        As ``moving.envelope`` takes them.

    Raises
    ------
    ValueError
        As ``dead_forces``.

    Source
    ------
    None of its own: what ``statics``, ``loads`` and ``stability`` find, kept together.
    """
    settled = settle_dead(analyse(truss), ea_kip, dead_kip, model)
    is_web = np.zeros(len(truss.names), bool) if web is None else np.asarray(web, bool)
    return Setting(settled, tuple(loads), model, is_web)
