"""The check inputs of every subset of changes, most of them put together from parts.

Reading 2^k check files would cost more than answering them. But a change alters a few
parts of a check input (some members, the dead load), and where a part is altered by one
change alone, every subset has either that part as it was or as that change makes it. So
only the empty set, each change alone, and the subsets of changes that alter a part in
common are written out and read.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

from analysis.engine.question import CheckInput

Read = Callable[[Sequence[int]], CheckInput | None]


def checks_of_subsets(read: Read, count: int) -> list[CheckInput | None]:
    """Return the check inputs of all subsets of ``count`` changes, by bit mask.

    ``read`` takes the numbers of the changes made, in order, and gives None where no
    check file can be written; so does the answer. Where the whole set does not come out
    as it reads, because changes bear on each other in some other way, every subset is
    read.
    """
    if count < 2:
        return [read(_members_of(mask)) for mask in range(2**count)]
    alone = [read([index]) for index in range(count)]
    base, whole = read([]), read(range(count))
    known = [one for one in (base, whole, *alone) if one is not None]
    if base is not None and len(known) == count + 2:
        puzzle = _Puzzle.of(base, [one for one in alone if one is not None], read)
        if puzzle is not None and puzzle.put_together(2**count - 1) == whole:
            return [puzzle.put_together(mask) for mask in range(2**count)]
    return [read(_members_of(mask)) for mask in range(2**count)]


def _members_of(mask: int) -> list[int]:
    return [index for index in range(mask.bit_length()) if mask >> index & 1]


@dataclass(frozen=True)
class _Puzzle:
    """Parts of check inputs by slot, and which changes alter each.

    ``by`` are bit masks of the changes that alter a slot; ``shared`` are the subsets of
    changes that alter a slot in common, read.
    """

    base: dict[Any, Any]
    alone: list[dict[Any, Any]]
    by: dict[Any, int]
    common: int
    shared: dict[int, dict[Any, Any]]
    first: CheckInput

    @classmethod
    def of(
        cls, base: CheckInput, alone: list[CheckInput], read: Read
    ) -> _Puzzle | None:
        parts, ones = _parts(base), [_parts(one) for one in alone]
        if any(one.keys() != parts.keys() for one in ones):
            return None
        by = {
            slot: sum(1 << i for i, one in enumerate(ones) if one[slot] != part)
            for slot, part in parts.items()
        }
        common = 0
        for mask in by.values():
            if mask.bit_count() > 1:
                common |= mask
        shared: dict[int, dict[Any, Any]] = {}
        for mask in _subsets_of(common):
            if mask.bit_count() > 1:
                found = read(_members_of(mask))
                if found is None:
                    return None
                shared[mask] = _parts(found)
                if shared[mask].keys() != parts.keys():
                    return None
        return cls(parts, ones, by, common, shared, base)

    def put_together(self, mask: int) -> CheckInput:
        """Return the check input of one subset."""
        made = {}
        for slot, by in self.by.items():
            here = mask & by
            if not here:
                made[slot] = self.base[slot]
            elif not here & (here - 1):
                made[slot] = self.alone[here.bit_length() - 1][slot]
            else:
                made[slot] = self.shared[mask & self.common][slot]
        members = tuple(made.pop(("member", m)) for m in range(len(self.first.members)))
        return replace(self.first, members=members, **made)


def _parts(check: CheckInput) -> dict[Any, Any]:
    """Return a check input by slot: each member, and each other field but the title."""
    parts: dict[Any, Any] = {
        ("member", m): member for m, member in enumerate(check.members)
    }
    for one in fields(check):
        if one.name not in ("members", "title"):
            parts[one.name] = getattr(check, one.name)
    return parts


def _subsets_of(mask: int) -> list[int]:
    found, part = [], mask
    while part:
        found.append(part)
        part = (part - 1) & mask
    return found
