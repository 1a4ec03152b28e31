"""Files read from parts that were read before are the files read whole."""

import random
from copy import deepcopy

from analysis.engine import checkfile
from analysis.engine.alike import Reader
from tests.endurance.fuzz_check_files import RIGHT, inside, is_number, places

OTHERS = [0, -1, 0.5, 3, 1e9, None, True, "L0L1", [], {}]


def spelled(document):
    """Return a file whose groups name their members, as those of the record do."""
    document = deepcopy(document)
    kinds = checkfile.read(document).geometry.kinds
    for group in document["members"]:
        meant = group.pop("kinds", ())
        group["names"] = [
            *group.get("names", ()),
            *(name for name, kind in kinds.items() if kind in meant),
        ]
    return document


def changed(document, rng):
    """Return a file with one value scaled, taken away or put in another's place."""
    document = deepcopy(document)
    every, what = list(places(document)), rng.random()
    if what < 0.6:
        every = [path for path in every if is_number(inside(document, path))]
    *at, key = rng.choice(every)
    inner = inside(document, at)
    if what < 0.6:
        inner[key] = type(inner[key])(inner[key] * rng.choice([0.97, 1.1, 2]))
    elif what < 0.8:
        del inner[key]
    else:
        inner[key] = rng.choice(OTHERS)
    return document


def labels(document):
    return [
        repr({key: value for key, value in group.items() if key != "names"})
        for group in document["members"]
    ]


def is_written_so(document):
    """Whether it has the shape that files of the record have, whatever their values."""
    groups = document.get("members")
    return isinstance(groups, list) and all(
        isinstance(group, dict)
        and isinstance(group.get("names"), list)
        and all(isinstance(name, str) for name in group["names"])
        for group in groups
    )


def outcome(read, *arguments):
    try:
        return read(*arguments)
    except checkfile.CheckFileError as error:
        return [(one.path, one.message, one.code) for one in error.faults]


def test_files_read_from_parts_are_the_files_read_whole():
    rng, reader = random.Random(7), Reader()
    right = [spelled(document) for document in RIGHT]
    sound = refused = 0
    for number in range(900):
        document = rng.choice(right) if number % 3 else right[number % len(right)]
        if number >= len(right):
            document = changed(document, rng)
        if not is_written_so(document):
            continue
        # Equal files keep the first one's.
        document["title"] = ""
        whole = outcome(checkfile.read, document)
        found = outcome(reader.read, document, labels(document))
        assert found == whole
        if isinstance(whole, list):
            refused += 1
        else:
            assert found.sha256 == whole.sha256
            sound += 1
    assert sound > 200
    assert refused > 100


def test_equal_files_are_read_once_and_members_shared():
    reader = Reader()
    document = spelled(RIGHT[0])
    first = reader.read(document, labels(document))
    again = reader.read({**document, "title": "other"}, labels(document))
    assert again is first
    deck = {**document, "dead_load": {"uniform_plf": 310}}
    other = reader.read(deck, labels(deck))
    assert other.dead_load != first.dead_load
    assert all(a is b for a, b in zip(other.members, first.members, strict=True))
