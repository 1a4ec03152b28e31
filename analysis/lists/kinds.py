"""What a list is: a question, who may ask it, and how its rows are told."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property

from bridges import asked
from bridges.models import Bridge
from shared import policy


@dataclass(frozen=True)
class Cell:
    """What stands in one field of a row, and where it leads."""

    text: str
    url: str = ""

    def __str__(self):
        return self.text


@dataclass(frozen=True)
class Choice:
    """One thing that a list can be narrowed by, beside the filters of bridges.

    ``options`` are (value, words); none of them makes it a day to be typed.
    """

    name: str
    label: str
    options: tuple[tuple[str, str], ...] = ()


@dataclass
class Question:
    """A list as one person asks it: the bridges it is asked of, and its own choices."""

    person: object
    view: asked.Asked
    chosen: dict[str, str] = field(default_factory=dict)

    @property
    def is_society(self):
        return policy.can_log_visits(self.person)

    @cached_property
    def bridges(self):
        """The bridges that the filters leave, as the database can look among them."""
        if self.view.pairs:
            return Bridge.objects.filter(
                pk__in=self.view.filterset.qs.order_by().values("pk")
            )
        return Bridge.objects.all() if self.is_society else self._public()

    def _public(self):
        return Bridge.objects.filter(is_public=True)

    def of(self, model, path="bridge"):
        """Return the rows of a model whose bridge is asked about and may be seen."""
        rows = model.objects.select_related(path)
        if self.view.pairs:
            rows = rows.filter(**{f"{path}__in": self.bridges.values("pk")})
        if not self.is_society:
            rows = rows.filter(**{f"{path}__is_public": True})
        return rows

    def get(self, name):
        return self.chosen.get(name, "")


@dataclass(frozen=True)
class List:
    """``source`` gives what there is to tell, in order, as a paginator takes it;
    ``tell`` makes rows of a page of it, each as long as ``columns``."""

    name: str
    title: str
    question: str
    columns: tuple[str, ...]
    source: Callable[[Question], Sequence]
    tell: Callable[[Sequence, Question], list[tuple]]
    choices: tuple[Choice, ...] = ()
    note: str = ""
    may_ask: Callable[[object], bool] = lambda person: True
    # Who may, where not everybody, in words.
    for_whom: str = ""


def bridge_cell(bridge):
    return Cell(bridge.name, bridge.get_absolute_url())


def source_words(source):
    """Say where something is told, or that it is told nowhere."""
    if source is None:
        return "no source"
    return f"{source.title}, {source.locator}" if source.locator else source.title
