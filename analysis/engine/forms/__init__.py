"""Truss forms: where the joints stand and which bars join them.

A form is one function from a ``Plan`` (panel points, depth, hips) to a ``Draft``,
registered with the measurements it needs and what the trade knows of it. Everything
else (the table the reader validates against, the schema, member names, loaded joints,
its page, its place in the key) follows from that.

Lower joints are L0 to Ln at the panel points, x in feet from the origin end, y = 0.
Upper joints are U, joints between the chords M. Left is the origin end.
"""

# The order of import is the order of the registry, and so of every list of forms.
from . import pratts, warrens, divided, arched, peaked, hung  # isort: skip
from .geometry import (
    CHORDS,
    KINDS,
    SAME_POINT_FT,
    Geometry,
    canonical_name,
    member_name,
    named,
    spelled,
    spellings,
    upper_chord,
)
from .pieces import lower_chord
from .registry import (
    FORMS,
    MOST_CROSSED_PANELS,
    MOST_PANELS,
    Draft,
    Form,
    Plan,
    build,
    form,
)

__all__ = [
    "CHORDS",
    "FORMS",
    "KINDS",
    "MOST_CROSSED_PANELS",
    "MOST_PANELS",
    "SAME_POINT_FT",
    "Draft",
    "Form",
    "Geometry",
    "Plan",
    "arched",
    "build",
    "canonical_name",
    "divided",
    "form",
    "hung",
    "lower_chord",
    "member_name",
    "named",
    "peaked",
    "pratts",
    "spelled",
    "spellings",
    "upper_chord",
    "warrens",
]
