"""The envelope of one configuration, rises and falls each with their own factor.

Feet and kips; tension positive. Array axes as in ``moving``, which is asked where the
configuration is not one of few redundants, or not of the ordinary.
"""

from __future__ import annotations

import numpy as np

from . import moving
from .equilibrium import Float
from .mixed import Steps, answered
from .moving import Envelope
from .setting import Setting


def envelopes(
    asked: Setting, factor_up: Float, factor_down: Float, reaction_factor: float
) -> tuple[Envelope, Envelope]:
    """Return the envelope for greatest forces, and that for least forces.

    ``factor_up`` and ``factor_down`` are (m,). Where positions are told is not asked.

    Source: ``moving.envelope``, whose answers these are.
    """
    return answered(envelope_steps(asked, factor_up, factor_down, reaction_factor))


def envelope_steps(
    asked: Setting, factor_up: Float, factor_down: Float, reaction_factor: float
) -> Steps[tuple[Envelope, Envelope]]:
    """Come to ``envelopes``, and ask on the way what may be asked for many together."""
    alone = _alone(asked, factor_up, factor_down, reaction_factor)
    if alone is not None:
        return alone, alone
    factors = [factor_up]
    if not np.array_equal(factor_up, factor_down):
        factors.append(factor_down)
    found = yield from moving.envelope_steps(
        asked, factors, reaction_factor, with_places=False
    )
    return found[0], found[-1]


def _alone(
    asked: Setting, factor_up: Float, factor_down: Float, reaction_factor: float
) -> Envelope | None:
    """Return both in one; None where the configuration is not of the ordinary."""
    if asked.alone is None or asked.spreads or not len(asked.places.joint_kip):
        return None
    fall = asked.fall(float(max(factor_up.max(), factor_down.max())))
    if fall.fraction[0] <= 1.0:
        return None
    system, state, live = asked.system, asked.state, asked.live_alone
    touched, linear = system.touched, asked.linear
    values, which = np.unique(
        np.concatenate([factor_up[touched], factor_down[touched]]), return_inverse=True
    )
    found = asked.alone.extremes(live, asked.places, values)
    if found is None:
        return None
    every = np.arange(len(touched))
    dead = state.forces_kip[0, touched]
    up, down = np.zeros((2, 1, len(factor_up)))
    up[0, touched] = found[0][every, which[: len(touched)]] - dead
    down[0, touched] = found[1][every, which[len(touched) :]] - dead
    force = live.base[linear]
    up[0, linear] = factor_up[linear] * force.max(axis=1)
    down[0, linear] = factor_down[linear] * force.min(axis=1)
    reactions = asked.places.joint_kip @ system.reaction[:, system.truss.loaded].T
    return Envelope(
        np.maximum(up, 0.0),
        np.minimum(down, 0.0),
        None,
        None,
        reaction_factor * np.maximum(reactions.max(axis=0), 0.0)[None],
        reaction_factor * np.minimum(reactions.min(axis=0), 0.0)[None],
        fall.at,
        state.stands,
        state.elastic,
    )
