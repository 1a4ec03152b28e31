"""The words of the trade in plain words, and links to them from wherever they stand.

A term has an address on the page of words, ``/forms/words/#counter``. Links open beside
the page they stand on, so that nothing typed into a form is lost by following one.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache

from django.urls import reverse
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe


@dataclass(frozen=True)
class Term:
    """One word: what it means, other names for it, and spellings it is met under."""

    slug: str
    word: str
    meaning: str
    also: str = ""
    spelled: tuple[str, ...] = ()


@dataclass(frozen=True)
class Group:
    slug: str
    title: str
    terms: tuple[Term, ...]


def _term(word, meaning, also="", *spelled):
    slug = re.sub(r"[^a-z]+", "-", word.lower()).strip("-")
    return Term(slug, word, meaning, also, tuple(spelled))


GROUPS = (
    Group(
        "whole",
        "The bridge as a whole",
        (
            _term(
                "span",
                "One length of bridge from one support to the next, with its own trusses. "
                "A bridge may have several.",
            ),
            _term(
                "form",
                "The outline that the bars of a truss make: Pratt, Warren, and so on. It "
                "says nothing of the material, the joints or where the deck is.",
                "truss type",
            ),
            _term(
                "truss line",
                "One of the upright frames that carry a span, as a rule two. They are "
                "called upstream and downstream, or by the compass.",
                "truss, side",
                "truss lines",
            ),
            _term(
                "origin end",
                "The end that members are counted from: L0 is there. Every drawing of the "
                "bridge has it on the left.",
            ),
            _term(
                "deck position",
                "Through: one drives between the trusses with bracing overhead. Pony: "
                "between the trusses, with nothing overhead. Deck: the road lies on top "
                "of the trusses.",
                "through, pony, deck",
            ),
            _term(
                "pony truss",
                "A truss that stands beside the road and is not joined to its fellow "
                "overhead. Only the posts and floor beams keep its top from leaning.",
                "half-through",
                "pony",
            ),
            _term(
                "connection",
                "How the bars are joined: by a pin through them all, by rivets or bolts "
                "through a plate, or by joints cut in timber.",
                "",
                "connections",
            ),
        ),
    ),
    Group(
        "places",
        "Places and measures",
        (
            _term(
                "panel",
                "The length from one floor beam to the next, measured along the lower "
                "chord.",
                "",
                "panels",
                "panel length",
                "panel lengths",
            ),
            _term(
                "panel point",
                "The joint where a floor beam meets the truss. They are numbered from the "
                "origin end: L0, L1, L2 below, U1, U2 above.",
                "",
                "panel points",
            ),
            _term(
                "depth",
                "The height from the middle of the lower chord to the middle of the upper "
                "chord.",
            ),
            _term(
                "hip",
                "The joint where the end post meets the upper chord.",
                "hip joint",
                "hip joint",
            ),
            _term(
                "hip offset",
                "How far the hip stands from the bearing, measured along the span. In a "
                "half-hip it is less than a panel.",
            ),
            _term(
                "upper heights",
                "The height of each upper joint above the lower chord, where the top is "
                "not level; one number for each joint, from the origin end.",
            ),
            _term(
                "crossed panel",
                "A panel with two diagonals that cross, one each way.",
                "",
                "crossed panels",
            ),
            _term("roadway", "The clear width between curbs or wheel guards."),
            _term(
                "trusses apart",
                "From the middle of one truss to the middle of the other, across the "
                "road.",
            ),
        ),
    ),
    Group(
        "members",
        "The bars of a truss",
        (
            _term("member", "One bar of a truss, from joint to joint.", "", "members"),
            _term(
                "upper chord",
                "The line of bars along the top. It is pressed together under load, so it "
                "is stiff: often two channels with a plate over them.",
                "top chord",
                "top chord",
            ),
            _term(
                "lower chord",
                "The line of bars along the bottom. It is pulled under load: eyebars, "
                "rods, or a pair of angles.",
                "bottom chord",
                "bottom chord",
            ),
            _term(
                "end post",
                "The bar from the bearing up to the upper chord, leaning as a rule, upright "
                "in a bedstead.",
                "batter brace in old books",
                "end posts",
            ),
            _term(
                "vertical",
                "An upright bar between the chords. A post is pressed and stiff; a hanger "
                "is pulled and may be thin.",
                "post",
                "verticals",
            ),
            _term(
                "hip vertical",
                "The upright below the hip of a truss with a full slope. It only hangs "
                "the first floor beam, so it is pulled.",
                "hip hanger",
                "hip verticals",
            ),
            _term(
                "diagonal",
                "A slanting bar between the chords. Whether it is pulled or pressed "
                "depends on the form.",
                "",
                "diagonals",
            ),
            _term(
                "counter",
                "A light slanting rod that crosses a main diagonal near midspan. It hangs "
                "slack until a load stands to one side of the span.",
                "counterbrace",
                "counters",
            ),
            _term(
                "sub-strut",
                "A short stiff bar that steadies the middle of a long one.",
                "",
                "sub-struts",
            ),
            _term(
                "sub-tie",
                "A short bar that is pulled: it hangs a floor beam from the middle of a "
                "long bar.",
                "",
                "sub-ties",
            ),
            _term("tie", "Any bar that is pulled.", "tension member", "ties"),
            _term("strut", "Any bar that is pressed.", "compression member", "struts"),
            _term(
                "web",
                "All the bars between the two chords, taken together.",
            ),
        ),
    ),
    Group(
        "pieces",
        "What a bar is made of",
        (
            _term(
                "component",
                "One piece of a member: of two eyebars side by side, each is one piece.",
                "piece",
                "components",
            ),
            _term(
                "eyebar",
                "A flat bar with a round eye forged at each end for a pin. Write how many "
                "there are and the size between the eyes.",
                "",
                "eyebars",
            ),
            _term(
                "loop rod",
                "A rod whose end is bent round the pin and welded back on itself in the "
                "forge.",
                "loop-welded rod",
                "loop",
            ),
            _term(
                "upset end",
                "A rod end made thicker before its thread was cut, so that the thread takes "
                "nothing from the strength of the rod.",
                "",
                "upset",
            ),
            _term(
                "turnbuckle",
                "An open frame with a nut at each end that tightens a rod in two halves. A "
                "sleeve nut does the same and is closed.",
                "sleeve nut",
                "sleeve nut",
            ),
            _term(
                "channel",
                "A rolled bar like a squared C. Its depth is measured along the back.",
                "",
                "channels",
            ),
            _term("angle", "A rolled bar like an L; give both legs and the thickness."),
            _term(
                "cover plate",
                "A plate along the whole top of a pair of channels.",
                "",
                "cover plates",
            ),
            _term(
                "lacing",
                "Flat bars in a zigzag that tie the two halves of a member. Where they "
                "cross each other it is called lattice.",
                "lattice bars, double lacing",
            ),
            _term(
                "batten",
                "A plate across the two halves of a member. At the ends of the lacing it "
                "is a stay plate.",
                "stay plate, tie plate",
                "battens",
                "stay plate",
            ),
            _term(
                "gusset",
                "A plate that the bars of a riveted joint are fastened to.",
                "gusset plate",
            ),
            _term(
                "pin",
                "A round steel or iron bar through the eyes of all the members at a joint, "
                "with a nut or cap on each end.",
                "",
                "pins",
            ),
            _term(
                "rivet",
                "A round head on both sides. A six-sided head is a bolt, and so a later "
                "repair as a rule.",
                "",
                "rivets",
            ),
            _term(
                "section loss",
                "Metal that rust has eaten. Measure what is left at the thinnest place.",
                "",
            ),
        ),
    ),
    Group(
        "floor",
        "The floor and what holds it",
        (
            _term(
                "floor beam",
                "The beam across the road from truss to truss at a panel point.",
                "",
                "floor beams",
            ),
            _term(
                "hanger",
                "A bar or a bent rod that hangs a floor beam from a joint.",
                "beam hanger, U-bolt",
                "hangers",
            ),
            _term(
                "stringer",
                "A beam along the road, from one floor beam to the next, that the deck "
                "lies on.",
                "joist",
                "stringers",
            ),
            _term(
                "deck",
                "What one walks or drives on, and what carries it between the stringers: "
                "plank, concrete, steel grid.",
            ),
            _term(
                "railing",
                "What keeps people from falling; no part of the truss unless it is "
                "fastened in.",
                "",
                "railings",
            ),
            _term(
                "outrigger",
                "A sloping brace from the end of a floor beam to the outside of a pony "
                "truss's post.",
                "",
                "outriggers",
            ),
        ),
    ),
    Group(
        "frame",
        "Bracing and supports",
        (
            _term(
                "portal",
                "The frame overhead that one drives in under, between the two end posts.",
                "",
                "portals",
            ),
            _term(
                "bracing",
                "Bars between the two trusses that keep them upright and in line: sway "
                "bracing in the plane of the posts, laterals in the plane of a chord.",
                "sway bracing, laterals",
            ),
            _term(
                "bearing",
                "What the end of the truss stands on. One end is fixed; the other can "
                "slide or roll as the metal warms.",
                "shoe, bed plate, rollers, rocker",
                "bearings",
            ),
            _term(
                "abutment",
                "The wall or frame at either end of the bridge that carries the bearings "
                "and holds back the road.",
                "",
                "abutments",
            ),
            _term("pier", "A support between two spans.", "", "piers"),
            _term(
                "posted limit",
                "The weight on the sign. It is the owner's, and stands whatever an "
                "estimate says.",
                "weight limit",
                "limit",
            ),
        ),
    ),
    Group(
        "working",
        "How it works",
        (
            _term(
                "tension",
                "A pull that tries to make a bar longer. Thin bars can take it.",
                "pulled",
            ),
            _term(
                "compression",
                "A push that tries to make a bar shorter, and bends it aside if it is "
                "slender. It wants stiff bars.",
                "pressed",
            ),
            _term(
                "dead load",
                "What is always there: trusses, floor, railing.",
            ),
            _term("live load", "What comes and goes: vehicles, animals, people."),
            _term(
                "slenderness",
                "The length of a bar against its thickness (its radius of gyration). The "
                "larger it is, the sooner the bar bends aside under a push.",
                "KL/r",
            ),
            _term(
                "reversal",
                "A bar that is pulled with the load at one place and pressed with it at "
                "another.",
            ),
        ),
    ),
)


@cache
def _known() -> dict[str, Term]:
    """Return every spelling, lower case, to its term."""
    return {
        spelling: term
        for group in GROUPS
        for term in group.terms
        for spelling in (term.word, *term.spelled)
    }


@cache
def _pattern() -> re.Pattern[str]:
    """Match any spelling as a whole word, the longest first."""
    spellings = sorted(_known(), key=len, reverse=True)
    return re.compile(
        rf"(?<![\w-])(?:{'|'.join(map(re.escape, spellings))})(?![\w-])", re.IGNORECASE
    )


def find(text: str) -> list[Term]:
    """Return the terms that a text names, each once, in order."""
    found = (_known()[match[0].lower()] for match in _pattern().finditer(text))
    return list(dict.fromkeys(found))


def term(word: str) -> Term:
    """Return the term of a word in any of its spellings. Raises ``KeyError``."""
    return _known()[word.lower()]


def address(one: Term) -> str:
    return f"{reverse('bridges:words')}#{one.slug}"


def link(one: Term, words: str = "") -> SafeString:
    """Return a link to a term; it opens beside the page it stands on."""
    return format_html(
        '<a class="term" href="{}" target="_blank" rel="noopener">{}</a>',
        address(one),
        words or one.word,
    )


def asked(text: str) -> SafeString:
    """Return "What is a …?" links for the terms that a label names; "" for none."""
    return format_html_join(", ", "{}", ((link(one),) for one in find(text)))


def explain(form) -> None:
    """Add links to the words that a Django form's labels name, each word once."""
    told: set[Term] = set()
    for field in form.fields.values():
        fresh = [one for one in find(str(field.label or "")) if one not in told]
        if not fresh:
            continue
        told.update(fresh)
        links = format_html_join(" ", "{}", ((_meaning(one),) for one in fresh))
        # Help texts are ours and may hold markup, as Django takes them.
        field.help_text = mark_safe(f"{field.help_text} {links}".strip())


def _meaning(one: Term) -> SafeString:
    """Return a link beside a label that has the word in it already."""
    return format_html(
        '<a class="term" href="{}" target="_blank" rel="noopener">In plain words'
        '<span class="out-of-sight">: {}</span></a>.',
        address(one),
        one.word,
    )
