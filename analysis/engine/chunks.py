"""Very many configurations a few thousand at a time, so that memory stays small."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from typing import Any, TypeVar

import numpy as np

#: Configurations worked out before the next are begun.
AT_ONCE = 512

Found = TypeVar("Found")


def slices(count: int) -> Iterator[slice]:
    """Yield what to take of ``count`` configurations, one part after the other."""
    for first in range(0, max(count, 1), AT_ONCE):
        yield slice(first, min(first + AT_ONCE, count))


def joined(parts: Sequence[Found]) -> Found:
    """Return results of parts as one: arrays and lists, configurations first.

    None stays None.
    """
    first: Any = parts[0]
    if len(parts) == 1 or first is None:
        alone: Found = first
        return alone
    if dataclasses.is_dataclass(first):
        values = [
            joined([getattr(part, one.name) for part in parts])
            for one in dataclasses.fields(first)
        ]
        whole: Any = type(first)(*values)  # type: ignore[misc]
    elif isinstance(first, np.ndarray):
        arrays: Any = parts
        whole = np.concatenate(arrays)
    else:
        whole = [one for part in parts for one in part]  # type: ignore[attr-defined]
    answer: Found = whole
    return answer
