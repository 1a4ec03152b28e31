"""What can be wrong with a question put to the engine, in words a person can act on."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


class EngineError(ValueError):
    """Base of every fault the engine reports about its input."""


@dataclass(frozen=True)
class Fault:
    """One thing wrong with a check file.

    Attributes
    ----------
    path : str
        JSON path of the value at fault, as ``members[2].components[0].thickness_in``;
        ``$`` is the whole document.
    message : str
        What was expected there, and what was found.
    code : str
        The same in one word, for programs: ``required``, ``unknown-key``, ``type`` ...
    """

    path: str
    message: str
    code: str

    def __str__(self) -> str:
        return f"{self.path}: {self.message}"


class CheckFileError(EngineError):
    """A check file that cannot be read as one, with every fault found in it."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = list(faults)
        super().__init__("; ".join(str(fault) for fault in self.faults))


class FormError(EngineError):
    """Measurements that do not make the form asked for; ``field`` is the one at fault."""

    def __init__(self, field: str, message: str) -> None:
        super().__init__(message)
        self.field = field


class UnknownMember(EngineError):
    """A member name that no bar of the geometry answers to."""


class UnknownShape(EngineError):
    """A rolled shape that is not in the table."""
