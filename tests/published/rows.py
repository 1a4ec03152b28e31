"""Printed values beside the engine's: compared like ``pytest.approx``, and kept.

``python -m tests.published`` runs the folder and prints every row and the counts. Each
test, or its module, is marked with where its values are from and how surely:

    pytestmark = pytest.mark.published("W. H. Thorpe, 1906, chapter X", "seen")

``seen`` in a stored copy of the source; ``memory`` recalled; ``reproduced`` recalled,
and a calculation gives it again; ``derived`` here, by another way than the engine's.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pytest

CERTAINTIES = ("seen", "memory", "reproduced", "derived")


@dataclass(frozen=True)
class Row:
    """One printed value and the engine's."""

    source: str
    certainty: str
    what: str
    theirs: float
    ours: float


@dataclass
class Current:
    """The test that is running."""

    source: str = ""
    certainty: str = ""
    what: str = ""


ROWS: list[Row] = []
CURRENT = Current()


class approx:
    """``pytest.approx`` that writes down what it is compared with."""

    __array_ufunc__ = None
    __array_priority__ = 1000

    def __init__(self, expected, **tolerance):
        self.expected = expected
        self.inner = pytest.approx(expected, **tolerance)

    def __eq__(self, actual):
        _write_down(self.expected, actual)
        return self.inner == actual

    __hash__ = None

    def __repr__(self):
        return repr(self.inner)


def _write_down(expected, actual, tail=""):
    if isinstance(expected, Mapping):
        for key, value in expected.items():
            if isinstance(actual, Mapping) and key in actual:
                _write_down(value, actual[key], f"{tail} {key}")
    elif isinstance(expected, Sequence | np.ndarray):
        for number, (one, other) in enumerate(zip(expected, actual, strict=False)):
            _write_down(one, other, f"{tail} {number + 1}")
    elif actual is not None:
        ROWS.append(
            Row(
                CURRENT.source,
                CURRENT.certainty,
                f"{CURRENT.what}{tail}",
                float(expected),
                float(actual),
            )
        )
