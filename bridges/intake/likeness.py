"""How alike two names of a crossing, a road or a bridge are, from 0 to 100.

Lists shorten and misspell: "ALDER R", "N BR ALDER CK". Words that many names share say
little; a compass word that only one of the two has says that they differ.
"""

from __future__ import annotations

from functools import lru_cache

from bridges.search import distance, fold

SHORT = {
    "r": "river",
    "riv": "river",
    "rv": "river",
    "cr": "creek",
    "ck": "creek",
    "crk": "creek",
    "bk": "brook",
    "brk": "brook",
    "br": "branch",
    "brnch": "branch",
    "fk": "fork",
    "rd": "road",
    "st": "street",
    "str": "street",
    "ave": "avenue",
    "av": "avenue",
    "ln": "lane",
    "hwy": "highway",
    "pk": "pike",
    "rr": "railroad",
    "n": "north",
    "s": "south",
    "e": "east",
    "w": "west",
    "no": "north",
    "so": "south",
    "trib": "tributary",
    "twp": "township",
    "co": "county",
}
KINDS = {
    "river", "creek", "brook", "run", "branch", "fork", "stream", "canal", "race",
    "road", "street", "avenue", "lane", "highway", "pike", "railroad", "drive", "way",
}  # fmt: skip
TURNS = {"north", "south", "east", "west", "upper", "lower", "little", "big", "middle"}
NOTHING = {"the", "of", "over", "at", "and", "a", "bridge", "on", "near", "to"}


@lru_cache(maxsize=20_000)
def words(text):
    """Return (telling words, words of kind, compass words) of a name."""
    plain = "".join(c if c.isalnum() else " " for c in fold(text))
    found = [SHORT.get(word, word) for word in plain.split()]
    found = [word for word in found if word not in NOTHING]
    kinds = frozenset(word for word in found if word in KINDS)
    turns = frozenset(word for word in found if word in TURNS)
    telling = tuple(word for word in found if word not in KINDS | TURNS)
    return telling or tuple(found), kinds, turns


def alike(one, other):
    """Return 0 … 100; 0 where either says nothing."""
    (a, a_kinds, a_turns), (b, b_kinds, b_turns) = words(one), words(other)
    if not a or not b:
        return 0
    short, long = (a, b) if len(a) <= len(b) else (b, a)
    score = sum(any(_is_word(x, y) for y in long) for x in short) / len(short)
    if a_kinds and b_kinds and not a_kinds & b_kinds:
        score *= 0.7
    if a_turns != b_turns:
        score *= 0.8
    return round(100 * score)


def _is_word(one, other):
    if one == other:
        return True
    least = min(len(one), len(other))
    if least < 4 or one.isdigit() or other.isdigit():
        return False
    # Fields of a fixed width cut the last word short.
    if one.startswith(other) or other.startswith(one):
        return True
    return distance(one, other) <= (1 if least < 7 else 2)


def best(ones, others):
    """Return the greatest likeness of any of one side to any of the other."""
    return max((alike(a, b) for a in ones for b in others if a and b), default=0)
