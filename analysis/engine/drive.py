"""All that another program needs to give the same forces, for a vehicle standing still.

A reader of these figures computes, for loads ``P`` on the joints where floor beams bear,

    force = dead + influence P + selfstress z,

with the ``z`` of least z.z that leaves no rod pushed; z is 0 in a truss that needs no
rod to go slack. ``influence`` is that of the truss with every bar acting. The columns
of ``selfstress`` are states of stress that need no load, of unit strain energy and
orthogonal to each other, so that least z.z is least strain energy: the same taut set as
``tautsets`` finds. ``analysis/static/analysis/js/statics.js`` is such a reader.

Feet and kips; tension positive; loads positive downward. Array axes: ``m`` members,
``p`` loaded joints, ``r`` redundants, ``s`` places.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.linalg

from . import liveload
from .answer import truss_of
from .equilibrium import Float, Mask, Mechanism, Truss, analyse
from .influence import influence
from .loads import joint_loads
from .question import CheckInput
from .resistance import capacity
from .sampling import dead_joint_kip
from .statics import dead_forces


@dataclass(frozen=True, eq=False)
class Drive:
    """A truss ready to be driven across.

    Attributes
    ----------
    truss : Truss
    x_ft : (p,) float, where the loaded joints are
    dead_kip : (m,) float, under dead load with every bar acting
    influence : (m, p) float, kip per kip, every bar acting
    selfstress : (m, r) float, see the module
    rods : (m,) bool, bars that cannot be pushed, those that are not there left out
    line : (m, p) float
        Influence lines as drawn: of the bars that dead load leaves taut, a slack bar's
        with it let in; zero where there is none.
    share : float, of a vehicle on this truss line
    """

    truss: Truss
    x_ft: Float
    dead_kip: Float
    influence: Float
    selfstress: Float
    rods: Mask
    line: Float
    share: float
    ea_kip: Float
    dead_joint_kip: Float

    def standing(self, axles_ft: Float, axle_kip: Float) -> Float:
        """Return (s, m) forces under a vehicle whose axles stand at (s, a) ft.

        By ``statics``; zero where the truss cannot stand under it.
        """
        live = np.zeros((len(axles_ft), len(self.truss.joints)))
        live[:, self.truss.loaded] = joint_loads(axles_ft, axle_kip, self.x_ft)
        ea = np.broadcast_to(self.ea_kip, (len(axles_ft), len(self.ea_kip)))
        load = self.dead_joint_kip + self.share * live
        answer: Float = dead_forces(self.truss, ea, load).forces_kip
        return answer


def drive(check: CheckInput) -> Drive | None:
    """Return what is needed to drive across; None where dead load alone falls.

    Source: derivation in ``equilibrium``. Known answers: tests/analysis/test_drive.py.
    """
    truss = truss_of(check)
    system = analyse(truss)
    ea = np.array([capacity(m, check.method).ea_kip for m in check.members])
    dead = dead_joint_kip(check, truss, check.dead_load)
    state = dead_forces(truss, ea[None], dead[None])
    if system.movable or not state.stands[0]:
        return None
    flex = (system.length_ft / ea)[:, None]
    s = system.selfstress
    upper = scipy.linalg.cholesky(s.T @ (flex * s)) if s.shape[1] else np.zeros((0, 0))
    unit = np.hstack(
        [system.particular[:, truss.loaded], (system.particular @ dead)[:, None]]
    )
    pull = (truss.pull_ft @ dead)[:, None]
    if s.shape[1]:
        normed = scipy.linalg.solve_triangular(upper, s.T, trans="T").T
        unit = unit - normed @ (normed.T @ (flex * unit))
        unit[:, -1:] += normed @ (normed.T @ pull)
    else:
        normed = s
    live = check.live_load
    return Drive(
        truss=truss,
        x_ft=truss.xy_ft[truss.loaded, 0],
        dead_kip=unit[:, -1],
        influence=unit[:, :-1],
        selfstress=normed,
        rods=np.asarray(truss.tension_only, bool) & ~np.asarray(truss.absent, bool),
        line=_lines(truss, ea, state.taut[0]),
        share=1.0 if live is None else liveload.fraction(live),
        ea_kip=ea,
        dead_joint_kip=dead,
    )


def _lines(truss: Truss, ea_kip: Float, taut: Mask) -> Float:
    try:
        lines = influence(truss, ea_kip, taut)
    except Mechanism:
        return np.zeros((len(truss.names), len(truss.loaded)))
    for bar in np.flatnonzero(~taut & ~np.asarray(truss.absent, bool)):
        let_in = taut.copy()
        let_in[bar] = True
        lines[bar] = influence(truss, ea_kip, let_in)[bar]
    return lines
