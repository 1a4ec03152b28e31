"""Boxes, filters and page numbers that nobody means: only ever 200 or 400.

Small here; by hand, with the counts printed:

    CASES=10000 pytest -s tests/endurance/test_hostile_questions.py
"""

import collections
import os
import random

import pytest
from django.urls import reverse
from django.utils.http import urlencode

from bridges.filters import NAMES
from tests.bridges.inventory import built_by, list_bridge, list_builder

CASES = int(os.environ.get("CASES", "250"))
HOSTILE = [
    "",
    " ",
    "\0",
    "\ud800".encode("utf-8", "surrogatepass").decode("latin-1"),
    "%00",
    "'; DROP TABLE bridges_bridge; --",
    '" OR 1=1',
    "{{7*7}}",
    "<script>alert(1)</script>",
    "../../etc/passwd",
    "-1",
    "0",
    "1",
    "00001",
    "1e308",
    "1e-400",
    "9" * 60,
    "-" + "9" * 30,
    "NaN",
    "inf",
    "-inf",
    "0x1F",
    "１２",
    "٣",
    "½",
    "true",
    "None",
    "null",
    "[]",
    "{}",
    "a" * 3000,
    "á" * 200,
    "🌉" * 50,
    "a\tb\nc\rd",
    "*",
    '"',
    '""',
    "NEAR(a b)",
    "col:a",
    "a OR b",
    "%",
    "_",
    "\\",
    "1885",
    "1880s",
    "0000",
    "9990",
    "18XX",
    "../..",
    "..",
    "[1880..1890]",
    "1880-13-45",
    "-9999",
    "Y-17000000",
    "2015-02-30",
    "91,0",
    "0,181,1",
    "41,-77,-5",
    "41,-77,1e9",
    "41,-77,10,10",
    "nan,nan",
    "pratt",
    "closed",
    "deck",
    "some",
    "undated",
]
EDGES = [
    "-180",
    "180",
    "-90",
    "90",
    "0",
    "-0",
    "-40.1",
    "39.5",
    "1e-320",
    "1e400",
    "-1e400",
    "NaN",
    "inf",
    "",
    " 5 ",
    "5_0",
    "٣",
    "181",
    "-90.0000001",
    "0x10",
    "1,2",
    "a",
]


def hostile(chance):
    text = chance.choice(HOSTILE)
    if chance.random() < 0.2:
        text += chance.choice(HOSTILE)
    if chance.random() < 0.1:
        text = "".join(chance.sample(text, len(text)))
    return text


def questions(chance):
    """Return a query of hostile filters, page, order and box, some of it sound."""
    pairs = [
        (chance.choice([*NAMES, "order", "page", "page_size"]), hostile(chance))
        for _ in range(chance.choice([0, 0, 1, 1, 2, 4]))
    ]
    if chance.random() < 0.05:
        pairs += [(chance.choice(NAMES), hostile(chance))] * chance.randint(50, 400)
    if chance.random() < 0.7:
        size = chance.choice([4] * 8 + [0, 1, 3, 5])
        edges = [chance.choice(EDGES) for _ in range(size)]
        if chance.random() < 0.6:
            edges = ["-41", "39", "-40", "40"]
        zoom = chance.choice([*("0", "7", "9", "14") * 3, "21", "-1", hostile(chance)])
        pairs += [("bbox", ",".join(edges)), ("zoom", zoom)]
    chance.shuffle(pairs)
    return urlencode(pairs)


@pytest.mark.django_db
def test_no_question_is_answered_with_anything_but_an_answer_or_a_fault(
    client, settings
):
    settings.LIMITS = dict.fromkeys(settings.LIMITS, 10**9)
    for number in range(1, 60):
        list_bridge(number, form=("pratt", "warren")[number % 2])
    built_by(list_bridge(60), list_builder())
    ways = [
        reverse("api-bridges"),
        reverse("api-bridges-map"),
        reverse("api-views-map"),
        reverse("bridges:index"),
        reverse("bridges:changes"),
        reverse("bridges:feed"),
        reverse("bridges:export", args=["csv"]),
        reverse("list", args=["events"]),
        reverse("list", args=["viewpoints"]),
        reverse("list-table", args=["disputed"]),
    ]
    chance, counts, wrong = random.Random(11), collections.Counter(), []
    for number in range(CASES):
        # The API and the map are asked more than half of it.
        way = ways[number % 2] if number % 3 else chance.choice(ways)
        address = f"{way}?{questions(chance)}"
        response = client.get(address, follow=way == ways[3])
        if response.streaming:
            b"".join(response.streaming_content)
        counts[way, response.status_code] += 1
        if response.status_code not in (200, 400):
            wrong.append((response.status_code, address[:600]))
    for (way, status), count in sorted(counts.items()):
        print(f"  {way:28} {status} {count:6}")
    assert not wrong, wrong[:3]
    assert {status for _, status in counts} == {200, 400}
