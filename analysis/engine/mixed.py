"""Envelopes and multiples of moving loads for several trusses of one make at once.

Feet and kips; tension positive. Array axes as in ``cells``; here every configuration, on
the last axis, has its own geometry.

A call costs as much as its work where configurations are few, and most bridges have but
few. Trusses whose redundants are bound and coupled alike go through ``batch`` and ``cells``
together, whatever their lengths. Those with fewer places of the load than others are given
more places, without any load.

What rates a truss is written as steps: a generator that asks its questions and is sent the
answers. ``answered`` answers them one by one, ``answered_together`` those of many trusses.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Generator, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar, TypeVar

import numpy as np

from .batch import BLOCK as PEAKS_BLOCK
from .batch import Peaks, mixed_peaks, vehicle_peaks
from .cells import BLOCK, Least, Shares, mixed_shares, vehicle_shares
from .equilibrium import Float, Index, Mask
from .loads import Places
from .pairs import BY_CONFIGURATION, Columns, Crossed, LiveBase

__all__ = [
    "PeaksQuestion",
    "Question",
    "SharesQuestion",
    "Steps",
    "answered",
    "answered_together",
]

#: Of more configurations than this the work costs more than the call.
_FEW = 48

T = TypeVar("T")


@dataclass(frozen=True, eq=False)
class Question(ABC):
    """What is asked of configurations of one truss under vehicles.

    ``wanted`` (t,) are members. Of more than ``few`` configurations the work costs more
    than the call; ``most`` are answered together.
    """

    few: ClassVar[int]
    most: ClassVar[int]

    crossed: Crossed
    live: LiveBase
    places: Places
    wanted: Index

    @abstractmethod
    def answer(self) -> Any:
        """Answer it by itself."""

    @property
    def make(self) -> object:
        """Return what trusses share that can be answered together; None of others."""
        crossed = self.crossed
        if crossed.count > self.few:
            return None
        bounds = (
            crossed.bounded_by_partner,
            crossed.bounded_by_self,
            crossed.locked,
            crossed.coupled,
            crossed.system.watched,
            self.wanted,
        )
        return (
            type(self),
            len(crossed.system.truss.names),
            *(of.tobytes() for of in bounds),
        )

    @staticmethod
    @abstractmethod
    def together(questions: Sequence[Any], crossed: _Mixed, live: _MixedLive) -> Any:
        """Answer several of one make, put together as ``crossed`` and ``live``."""


@dataclass(frozen=True, eq=False)
class SharesQuestion(Question):
    """What ``vehicle_shares`` is asked; its answer is what that returns."""

    dead: Columns
    limits: tuple[Float, Float]
    least: Least | None

    def answer(self) -> SharesFound:
        """Answer it by itself."""
        return vehicle_shares(
            self.crossed,
            self.dead,
            self.live,
            self.places,
            self.wanted,
            self.limits,
            self.least,
        )

    @property
    def make(self) -> object:
        """Return what trusses share that can be answered together; None of others."""
        if self.least is not None:
            return None
        make = super().make
        return None if make is None else (make, len(self.limits[0]))

    few = _FEW
    most = BLOCK

    @staticmethod
    def together(
        questions: Sequence[SharesQuestion], crossed: _Mixed, live: _MixedLive
    ) -> list[SharesFound]:
        """Answer several of one make."""
        dead = Columns(
            np.concatenate([one.dead.x for one in questions], axis=-1),
            np.concatenate([one.dead.target for one in questions], axis=-1),
            np.concatenate([one.dead.states for one in questions], axis=-1),
            np.concatenate([one.dead.unsettled for one in questions]),
        )
        upper, lower = (
            np.concatenate([one.limits[side] for one in questions], axis=2)
            for side in (0, 1)
        )
        found, beyond, left = mixed_shares(
            crossed, dead, live, live.linked, questions[0].wanted, (upper, lower)
        )
        return [
            (
                Shares(found.share[:, :, mine], found.at[:, :, mine]),
                beyond[mine],
                [(c - mine.start, at) for c, at in left if mine.start <= c < mine.stop],
            )
            for mine in crossed.parts
        ]


@dataclass(frozen=True, eq=False)
class PeaksQuestion(Question):
    """What ``vehicle_peaks`` is asked; its answer is what that returns."""

    factor: Float
    peaks: Peaks
    own: Mask | None

    def answer(self) -> Mask:
        """Answer it by itself."""
        return vehicle_peaks(
            self.crossed,
            self.live,
            self.places,
            self.factor,
            self.wanted,
            self.peaks,
            own=self.own,
        )

    @property
    def make(self) -> object:
        """Return what trusses share that can be answered together; None of others."""
        is_plain = self.own is None and self.peaks.high_at is None
        return super().make if is_plain else None

    few = 2 * _FEW
    most = 2 * PEAKS_BLOCK

    @staticmethod
    def together(
        questions: Sequence[PeaksQuestion], crossed: _Mixed, live: _MixedLive
    ) -> list[Mask]:
        """Answer several of one make."""
        peaks = Peaks(
            np.concatenate([one.peaks.high for one in questions], axis=1),
            np.concatenate([one.peaks.low for one in questions], axis=1),
            None,
            None,
        )
        factor = np.concatenate([one.factor for one in questions])
        lost = mixed_peaks(
            crossed, live, live.linked, factor, questions[0].wanted, peaks
        )
        for one, mine in zip(questions, crossed.parts, strict=True):
            one.peaks.high[...] = peaks.high[:, mine]
            one.peaks.low[...] = peaks.low[:, mine]
        return [lost[mine] for mine in crossed.parts]


SharesFound = tuple[Shares, Mask, list[tuple[int, int]]]
#: What asks questions and, given the answers, comes to something.
Steps = Generator[Question, Any, T]


def answered(steps: Steps[T]) -> T:
    """Answer each question by itself; return what is come to."""
    try:
        question = next(steps)
        while True:
            question = steps.send(question.answer())
    except StopIteration as end:
        result: T = end.value
        return result


def answered_together(many: Sequence[Steps[T]]) -> list[T]:
    """Answer the questions of many together where they can be; return what each comes to.

    Each answer is what it would be by itself, but for rounding.
    """
    results: dict[int, T] = {}
    asked: dict[int, Question] = {}

    def go_on(number: int, answer: Any) -> None:
        try:
            asked[number] = many[number].send(answer)
        except StopIteration as end:
            results[number] = end.value

    for number in range(len(many)):
        go_on(number, None)
    while asked:
        now = dict(asked)
        asked.clear()
        for numbers in _blocks(now):
            found = _answers([now[number] for number in numbers])
            for number, one in zip(numbers, found, strict=True):
                go_on(number, one)
    return [results[number] for number in range(len(many))]


def _blocks(asked: dict[int, Question]) -> list[list[int]]:
    """Return the numbers of the questions to be answered together."""
    blocks: list[list[int]] = []
    by_make: dict[object, list[int]] = {}
    for number, question in asked.items():
        make = question.make
        if make is None:
            blocks.append([number])
        else:
            by_make.setdefault(make, []).append(number)
    for numbers in by_make.values():
        block: list[int] = []
        count = 0
        # Those with places in like number together: the rest are filled up.
        for number in sorted(numbers, key=lambda n: asked[n].live.base.shape[1]):
            mine = asked[number]
            count += mine.crossed.count
            if count > mine.most and block:
                blocks.append(block)
                block, count = [], mine.crossed.count
            block.append(number)
        blocks.append(block)
    return blocks


def _answers(questions: Sequence[Question]) -> list[Any]:
    first = questions[0]
    if len(questions) == 1:
        return [first.answer()]
    crossed = _Mixed([one.crossed for one in questions])
    live = _MixedLive.of(questions)
    found: list[Any] = first.together(questions, crossed, live)
    return found


class _Mixed(Crossed):
    """The configurations of several trusses of one make.

    ``stress`` is (m, k, c); ``parts`` are the configurations of each.
    """

    def __init__(self, many: Sequence[Crossed]) -> None:
        first = many[0]
        # What is bound and coupled is one for all; what follows from geometry is joined.
        self.__dict__.update(first.__dict__)
        counts = [one.count for one in many]
        ends = np.cumsum(counts).tolist()
        self.parts = [slice(end - n, end) for n, end in zip(counts, ends, strict=True)]
        self.stress = np.concatenate(
            [np.repeat(one.stress[:, :, None], one.count, axis=2) for one in many],
            axis=2,
        )
        for name in BY_CONFIGURATION:
            joined: Any = np.concatenate([getattr(one, name) for one in many], axis=-1)
            setattr(self, name, joined)

    def drive(self, live: LiveBase, columns: slice | Index) -> Float:
        """Return (k, s, c): ``g`` of the live loads, each truss's own."""
        if not isinstance(live, _MixedLive):
            raise TypeError("each truss has its own live loads")
        return live.g[:, :, columns]


@dataclass(frozen=True, eq=False)
class _MixedLive(LiveBase):
    """Live loads of each configuration: ``base`` (m, s, c), ``r`` and ``g`` (k, s, c).

    ``linked`` (s - 1, c): whether loads are linear from each place to the next.
    """

    g: Float
    linked: Mask

    @classmethod
    def of(cls, questions: Sequence[Question]) -> _MixedLive:
        """Join the live loads of several trusses; after the last place there is no load."""
        places = max(one.live.base.shape[1] for one in questions)
        counts = [one.crossed.count for one in questions]

        def joined(parts: Sequence[Float]) -> Float:
            every = np.zeros((len(parts[0]), places, sum(counts)))
            begin = 0
            for part, count in zip(parts, counts, strict=True):
                every[:, : part.shape[1], begin : begin + count] = part
                begin += count
            return every

        linked = np.zeros((places - 1, sum(counts)), bool)
        begin = 0
        for one, count in zip(questions, counts, strict=True):
            own = one.places.linked
            linked[: len(own), begin : begin + count] = own[:, None]
            begin += count
        return cls(
            joined([one.live.base[:, :, None] for one in questions]),
            np.zeros((0, 0)),
            joined([one.live.r[:, :, None] for one in questions]),
            np.repeat([one.live.scale for one in questions], counts),
            joined([one.crossed.drive(one.live, slice(None)) for one in questions]),
            linked,
        )
