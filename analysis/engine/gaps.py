"""What the gaps of slack bars do to each other, in many configurations of one truss.

Feet and kips; tension positive; loads positive downward.
Array axes: ``c`` configurations, ``m`` members, ``n`` joints, ``r`` redundants, ``t``
tension-only bars that redundants touch.

With F the flexibility of the self-stresses and A the bars' rows of them, the bars'
forces are q + M gap, where M = A F^-1 A' and q is what they would be without any bound:
a linear complementarity problem, since no gap and no force may be negative and of each
bar one of the two is zero.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .equilibrium import Equilibrium, Float, Index
from .tautsets import LOOSE


@dataclass(frozen=True, eq=False)
class Gaps:
    """The bars of some configurations, and what their gaps do.

    ``bars`` (t,) members; ``free`` (c, r, n) redundants without any bound, by unit loads
    on the joints, that for the tightening among them; ``lift`` (c, r, t) what a gap does
    to the redundants; ``matrix`` (c, t, t) to the bars' forces, and ``size`` (c, t) to its
    own bar's; ``held`` (c, n) the greatest force that tightening by a unit load would put
    into a bar whose ends are held, kip.
    """

    bars: Index
    free: Float
    lift: Float
    matrix: Float
    size: Float
    held: Float

    @classmethod
    def of(cls, system: Equilibrium, ea_kip: Float, classical: bool) -> Gaps:
        """Return those of (c, m) configurations; ``classical`` as in ``TautSets``."""
        stress, pull_ft = system.selfstress, system.truss.pull_ft
        flexible = stress.T * (system.length_ft / ea_kip)[:, None, :]  # (c, r, m)
        flexibility = flexible @ stress
        if classical:
            own = [k for k, pair in enumerate(system.pairs) if pair.is_crossed]
            flexibility[:, own, own] *= LOOSE
        touching = np.logical_or.reduce(stress != 0.0, axis=1)
        bars = np.flatnonzero(
            touching & system.truss.tension_only & ~system.truss.absent
        )
        rows = stress[bars]
        # What the bars lengthen by, less what they were made shorter by.
        given = flexible @ system.particular - stress.T @ pull_ft
        free = np.negative(np.linalg.solve(flexibility, given), dtype=float)
        lift = np.broadcast_to(rows.T, (len(ea_kip), *rows.T.shape))
        lift = np.asarray(np.linalg.solve(flexibility, lift), float)
        matrix = rows @ lift
        held = np.abs(pull_ft * (ea_kip / system.length_ft)[:, :, None])
        return cls(
            bars,
            free,
            lift,
            matrix,
            np.diagonal(matrix, axis1=1, axis2=2),
            held.max(axis=1),
        )
