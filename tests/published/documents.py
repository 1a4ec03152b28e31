"""Short ways to ask the engine a published case."""

from analysis.engine import forms
from analysis.engine.answer import answer

REFERENCE = {"form": "pratt", "panels": 6, "panel_length_ft": 15, "depth_ft": 20}


def dead_forces(geometry, joints_kip, **rest):
    """Return {member: kip} under loads on joints, down positive."""
    found = answer(
        {"geometry": geometry, "dead_load": {"joints_kip": joints_kip}, **rest}
    )
    return {name: member["dead_kip"] for name, member in found["members"].items()}


def uniform_forces(geometry, each_kip, **rest):
    """Return {member: kip} under the same load on every inner lower joint of a form."""
    inner = forms.build(**geometry).loaded_joints[1:-1]
    return dead_forces(geometry, dict.fromkeys(inner, each_kip), **rest)


def live_envelope(geometry, live_load, **rest):
    """Return {member: (greatest, least)}, kip, of a live load alone."""
    found = answer({"geometry": geometry, "live_load": live_load, **rest})
    return {
        name: (member["live_max_kip"], member["live_min_kip"])
        for name, member in found["members"].items()
    }


def picked(forces, wanted):
    """Return the forces named in ``wanted``, to compare with it."""
    return {name: forces[name] for name in wanted}
