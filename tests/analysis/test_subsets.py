"""Check inputs of every subset of changes, put together from parts or read."""

from dataclasses import replace

import pytest

from analysis import subsets
from analysis.engine import checkfile
from tests.analysis.engine.checkfiles import THROUGH

BASE = checkfile.read(THROUGH)


def with_loss(check, at, loss):
    members = list(check.members)
    members[at] = replace(members[at], loss_fraction=loss)
    return replace(check, members=tuple(members))


def read_apart(numbers):
    """Three changes: a heavier deck, metal lost of one bar, metal lost of another."""
    made = BASE
    if 0 in numbers:
        made = replace(made, dead_load=replace(made.dead_load, uniform_plf=500.0))
    if 1 in numbers:
        made = with_loss(made, 0, 0.1)
    return with_loss(made, 3, 0.2) if 2 in numbers else made


def read_of_one_bar(numbers):
    """Two changes of one bar that together are neither, and one of the deck."""
    made = read_apart([0] if 2 in numbers else [])
    loss = {(): 0.0, (0,): 0.1, (1,): 0.2, (0, 1): 0.28}
    return with_loss(made, 0, loss[tuple(n for n in numbers if n < 2)])


def read_that_bear_on_each_other(numbers):
    """Where both are made, a part changes that neither change alters alone."""
    made = read_apart([n for n in numbers if n < 2])
    both = {0, 1} <= set(numbers)
    return replace(made, method="load-factor") if both else made


@pytest.mark.parametrize(
    ("read", "most"),
    [(read_apart, 5), (read_of_one_bar, 6), (read_that_bear_on_each_other, 12)],
)
def test_every_subset_is_as_it_reads(read, most):
    asked = []

    def noted(numbers):
        asked.append(tuple(numbers))
        return read(list(numbers))

    found = subsets.checks_of_subsets(noted, 3)
    for mask, check in enumerate(found):
        assert check == read([n for n in range(3) if mask >> n & 1])
    assert len(asked) <= most + 1
