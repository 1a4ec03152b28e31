"""Mutated check files by the hundred thousand: answered or refused, never anything else.

    python -m tests.endurance.fuzz_check_files 200000

Each file is a right one with a few things wrong: keys taken, added or moved, values
swapped for others of every type and size, texts cut and flipped. Whatever comes of it,
the reader and the schema agree, a refusal names a path and what was expected, an
accepted file keeps its hash when it is written another way, and its answer is JSON with
finite numbers and ratings that are not below zero. Prints what it counted.
"""

import json
import sys
import time
from collections import Counter
from copy import deepcopy

import jsonschema
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from analysis.engine import checkfile
from analysis.engine.answer import answer
from analysis.engine.errors import CheckFileError
from tests.analysis.engine.checkfiles import ALL

SCHEMA = jsonschema.Draft202012Validator(checkfile.schema())
WORDS = sorted(
    {
        word
        for document in ALL.values()
        for word in json.dumps(document).replace('"', " ").split()
        if word.strip("{}[],:").isidentifier() or "-" in word
    }
)
NUMBERS = st.sampled_from(
    [0, -1, 1, 2, 3, 0.5, 1e-9, 1e9, -1e9, 1e300, 10**40, 5.0, 18, 1e-300, 60, 0.999]
)
JUNK = st.one_of(
    NUMBERS,
    st.sampled_from(
        [None, True, False, "", [], {}, "\ud800", "L0L1", "aashto", [0, 0], [[]]]
    ),
    st.sampled_from(WORDS),
    st.floats(allow_nan=False, allow_infinity=False),
    st.integers(-5, 70),
    st.text(max_size=5),
).map(deepcopy)
# Most changes leave a file that can be read, so that answers are tried too.
HOW = [*["scale"] * 6, "take", "take", "twice", "swap", "move", "add"]
FACTORS = st.sampled_from([0.5, 0.9, 1.1, 1.5, 2, 2, 3, -1, 0.01, 10, 1e3, 1e-6])


def places(value, at=()):
    """Yield the path of everything inside a document."""
    items = ()
    if isinstance(value, dict):
        items = value.items()
    elif isinstance(value, list):
        items = enumerate(value)
    for key, item in items:
        yield (*at, key)
        yield from places(item, (*at, key))


def inside(value, path):
    for step in path:
        value = value[step]
    return value


@st.composite
def mutated(draw):
    """Return a right document with one to four things changed."""
    document = deepcopy(draw(st.sampled_from(list(ALL.values()))))
    for _ in range(draw(st.integers(1, 4))):
        every = list(places(document))
        if not every:
            break
        path = draw(st.sampled_from(every))
        holder, key = inside(document, path[:-1]), path[-1]
        how = draw(st.sampled_from(HOW))
        if how == "take":
            del holder[key]
        elif how == "scale" and type(holder[key]) in (int, float):
            holder[key] = type(holder[key])(holder[key] * draw(FACTORS))
        elif how == "move":
            other = deepcopy(draw(st.sampled_from(list(ALL.values()))))
            holder[key] = inside(other, draw(st.sampled_from(list(places(other)))))
        elif how == "add" and isinstance(holder, dict):
            holder[draw(st.one_of(st.sampled_from(WORDS), st.text(max_size=4)))] = draw(
                JUNK
            )
        elif how == "twice" and isinstance(holder, list):
            holder.insert(key, deepcopy(holder[key]))
        else:
            holder[key] = draw(JUNK)
    return document


@st.composite
def spoilt(draw):
    """Return the text of a right document with a stretch of it spoilt."""
    text = json.dumps(draw(st.sampled_from(list(ALL.values())))).encode()
    start = draw(st.integers(0, len(text)))
    stop = min(len(text), start + draw(st.integers(0, 8)))
    return text[:start] + draw(st.binary(max_size=8)) + text[stop:]


def reversed_keys(value):
    if isinstance(value, dict):
        return {key: reversed_keys(value[key]) for key in reversed(list(value))}
    return [reversed_keys(v) for v in value] if isinstance(value, list) else value


def check_refusal(error):
    assert error.faults
    for fault in error.faults:
        assert fault.path
        assert fault.code
        assert "expect" in fault.message or fault.code == "too-many", fault
        assert "\n" not in str(fault)


def check_document(document, *, answered=True, validated=True):
    """Hold one document against all that is promised; return what came of it."""
    structure = checkfile.structure_faults(document)
    if validated:
        assert bool(structure) == (not SCHEMA.is_valid(document)), structure
    try:
        check = checkfile.read(document)
    except CheckFileError as error:
        check_refusal(error)
        return "refused by the schema" if structure else "refused by its meaning"
    sha = checkfile.sha256_of(check)
    again = json.loads(json.dumps(reversed_keys(document)))
    assert checkfile.input_sha256(again) == sha
    if not answered:
        return "accepted"
    check_answer(answer(document))
    return "answered"


def check_answer(found):
    json.dumps(found, allow_nan=False)
    if not found["stands"]:
        assert found["governing"] == {"operating": None, "inventory": None}
        assert found["unstable_joints"]
        return
    for level, governing in found["governing"].items():
        ratings = [
            member["rating"][level]
            for member in found["members"].values()
            if member["rating"][level] is not None
        ]
        assert all(rating >= 0.0 for rating in ratings)
        if governing is not None and ratings:
            assert 0.0 <= governing["rating"] <= min(ratings)
    for member in found["members"].values():
        assert member["live_max_kip"] >= 0.0 >= member["live_min_kip"]


def check_text(text):
    """Hold one text against what is promised of any bytes at all."""
    try:
        document = checkfile.parse(text)
        checkfile.read(document)
    except CheckFileError as error:
        check_refusal(error)
        return "text refused"
    return "text accepted"


def run(count, answer_every=1, validate_every=1):
    """Try ``count`` documents and as many texts; return what was counted.

    Answering takes the most time and the schema the next most: every how manieth file
    is put through them.
    """
    counted, tried = Counter(), Counter()
    slowest = [0.0, None]
    options = settings(
        max_examples=count,
        deadline=None,
        database=None,
        phases=[Phase.generate, Phase.shrink],
        suppress_health_check=list(HealthCheck),
    )

    @options
    @given(mutated())
    def documents(document):
        tried["documents"] += 1
        start = time.perf_counter()
        came = check_document(
            document,
            answered=tried["documents"] % answer_every == 0,
            validated=tried["documents"] % validate_every == 0,
        )
        counted[came] += 1
        took = time.perf_counter() - start
        if took > slowest[0]:
            slowest[:] = [took, document]

    @options
    @given(spoilt())
    def texts(text):
        counted[check_text(text)] += 1

    documents()
    texts()
    return counted, slowest


if __name__ == "__main__":
    size = int(sys.argv[1]) if len(sys.argv) > 1 else 200_000
    totals, (seconds, worst) = run(size, answer_every=20, validate_every=5)
    for what, many in sorted(totals.items()):
        print(f"{what:<24}{many:>9,}")
    print(f"slowest document: {seconds:.2f} s: {json.dumps(worst)[:300]}")
