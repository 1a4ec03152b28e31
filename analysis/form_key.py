"""Which form is it? A key from what one can see to the form, made from the geometry.

Each question is a function from joints and bars to an answer, so that no form is told
by hand where it stands in the key: a new one finds its place. The key is a tree; a
question is put where its answers part the forms that are left, and a form with
several varieties may be reached by several ways.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cache
from itertools import combinations

from analysis.engine import forms
from analysis.engine.forms import SAME_POINT_FT, Geometry
from analysis.engine.forms.pieces import slopes

UPRIGHTS = ("vertical", "hip-vertical")
SLANTS = ("diagonal", "counter")


@dataclass(frozen=True)
class Answer:
    """One thing that may be seen: ``label`` to choose by, ``clause`` to tell it by."""

    value: str
    label: str
    clause: str


@dataclass(frozen=True)
class Question:
    """One question of the key.

    ``see`` returns the value of the answer that a geometry gives, "" where the question
    makes no sense of it. ``shows`` are kinds of bars to be drawn heavy beside it.
    """

    key: str
    ask: str
    help: str
    see: Callable[[Geometry], str]
    shows: tuple[str, ...]
    answers: Mapping[str, Answer]


def _answers(**labels: tuple[str, str]) -> dict[str, Answer]:
    return {
        value: Answer(value, label, clause) for value, (label, clause) in labels.items()
    }


# --- what can be seen of a geometry ----------------------------------------------------


def chord(geometry: Geometry, kind: str) -> list[str]:
    """Return the joints of a chord in order of x."""
    joints = {
        end
        for a, b in geometry.members
        if geometry.kinds.get(a + b) == kind
        for end in (a, b)
    }
    return sorted(joints, key=lambda joint: geometry.joints[joint])


def outline(geometry: Geometry) -> str:
    upper = chord(geometry, "upper-chord")
    lower = chord(geometry, "lower-chord")
    level = geometry.joints[geometry.pinned][1]
    if "arch" in geometry.kinds.values():
        return "arch"
    if not lower:
        return "hung"
    if not upper:
        return "peak"
    if any(geometry.joints[joint][1] < level - SAME_POINT_FT for joint in lower):
        return "lens"
    if geometry.pinned in upper:
        return "bow"
    heights = [geometry.joints[joint][1] for joint in upper]
    return "level" if max(heights) - min(heights) < SAME_POINT_FT else "broken"


def hip(geometry: Geometry) -> str:
    if outline(geometry) not in ("level", "broken"):
        return ""
    first = geometry.joints[chord(geometry, "upper-chord")[0]][0]
    bearing, point = (
        geometry.joints[joint][0] for joint in chord(geometry, "lower-chord")[:2]
    )
    if first - bearing < SAME_POINT_FT:
        return "bearing"
    return "short" if first < point - SAME_POINT_FT else "over"


def uprights(geometry: Geometry) -> str:
    if outline(geometry) not in ("level", "broken"):
        return ""
    place = geometry.joints
    bars = [ends for ends in geometry.members if _kind(geometry, ends) in UPRIGHTS]
    if any(abs(place[a][0] - place[b][0]) > SAME_POINT_FT for a, b in bars):
        return "leaning"
    inner = [place[joint][0] for joint in chord(geometry, "lower-chord")[1:-1]]
    standing = {round(place[a][0], 3) for a, _ in bars}
    if len(standing) == len(inner):
        return "every"
    hips = {round(place[j][0], 3) for j in chord(geometry, "upper-chord")}
    return "second" if standing - {min(hips), max(hips)} else "none"


def slant(geometry: Geometry) -> str:
    if outline(geometry) in ("peak", "hung"):
        return ""
    place = geometry.joints
    if any(
        _kind(geometry, ends) in SLANTS and _halves_an_upright(geometry, ends)
        for ends in geometry.members
    ):
        return "meet"
    bars = _left_slants(geometry)
    falls = [ends for ends in bars if place[ends[0]][1] > place[ends[1]][1]]
    rises = [ends for ends in bars if ends not in falls]
    if not bars:
        return "none"
    if not rises:
        return "fall"
    if not falls:
        return "rise"
    crossing = any(_cross(geometry, a, b) for a, b in combinations(bars, 2))
    return "cross" if crossing else "zigzag"


def reach(geometry: Geometry) -> str:
    if outline(geometry) in ("peak", "hung"):
        return ""
    points = chord(geometry, "lower-chord")
    panel = geometry.joints[points[1]][0] - geometry.joints[points[0]][0]
    widest = max(
        (
            abs(geometry.joints[a][0] - geometry.joints[b][0]) / panel
            for a, b in _left_slants(geometry)
        ),
        default=0.0,
    )
    return "two" if widest > 1.25 else "one"


def divided(geometry: Geometry) -> str:
    halved = any(
        _kind(geometry, (a, b)) in ("sub-strut", "sub-tie") and "M" in (a[0], b[0])
        for a, b in geometry.members
    )
    return "halved" if halved else "whole"


def top_slopes(geometry: Geometry) -> str:
    if outline(geometry) != "broken":
        return ""
    ends = [geometry.pinned, *chord(geometry, "upper-chord"), geometry.roller]
    return "five" if slopes([geometry.joints[j] for j in ends]) == 5 else "other"


def slings(geometry: Geometry) -> str:
    if outline(geometry) != "hung":
        return ""
    ends = {geometry.pinned, geometry.roller}
    ties = [set(e) for e in geometry.members if _kind(geometry, e) == "diagonal"]
    return "ends" if all(tie & ends for tie in ties) else "halves"


def _kind(geometry: Geometry, ends: tuple[str, str]) -> str:
    return geometry.kinds.get(ends[0] + ends[1], "")


def _halves_an_upright(geometry: Geometry, ends: tuple[str, str]) -> bool:
    middles = [joint for joint in ends if joint.startswith("M")]
    return any(
        sum(
            joint in bar and _kind(geometry, bar) in UPRIGHTS
            for bar in geometry.members
        )
        == 2
        for joint in middles
    )


def _left_slants(geometry: Geometry) -> list[tuple[str, str]]:
    """Return the slanting web bars left of midspan, their left ends first."""
    place = geometry.joints
    middle = 0.5 * (place[geometry.pinned][0] + place[geometry.roller][0])
    found = []
    for ends in geometry.members:
        a, b = sorted(ends, key=lambda joint: place[joint][0])
        if _kind(geometry, ends) in SLANTS and place[b][0] < middle + SAME_POINT_FT:
            found.append((a, b))
    return found


def _cross(geometry: Geometry, one: tuple[str, str], other: tuple[str, str]) -> bool:
    if set(one) & set(other):
        return False
    a, b, c, d = (geometry.joints[joint] for joint in (*one, *other))

    def side(p, q, r):
        return (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])

    return side(a, b, c) * side(a, b, d) < 0 and side(c, d, a) * side(c, d, b) < 0


# --- the questions, in the order one looks ---------------------------------------------

QUESTIONS = (
    Question(
        "outline",
        "What line does the top of the truss make?",
        "Stand back until you see one whole truss from the side. Leave out railings, "
        "and look at the heavy line along the top.",
        outline,
        ("upper-chord", "end-post", "arch", "lower-chord"),
        _answers(
            level=("Straight and level from hip to hip", "the top is level"),
            broken=(
                "Straight lengths that rise toward the middle",
                "the top is a broken line",
            ),
            bow=(
                "One curve, from bearing to bearing",
                "the top is a curve that springs from the bearings",
            ),
            lens=(
                "A curve above and a curve below, like a lens",
                "both chords are curved",
            ),
            peak=(
                "No level top: two braces meet at a peak",
                "two braces meet at a peak",
            ),
            arch=(
                "Level, with a great arch bolted beside it",
                "an arch is bolted to a truss with a level top",
            ),
            hung=(
                "Level, and no chord along the bottom: posts and ties hang below it",
                "there is no lower chord",
            ),
        ),
    ),
    Question(
        "hip",
        "Where does the hip joint stand?",
        "The hip is where the end post meets the upper chord. Find the first panel "
        "point, where the first floor beam hangs, and look straight up.",
        hip,
        ("end-post",),
        _answers(
            over=(
                "Right above a panel point: the end post leans over a whole panel",
                "the end post leans over a whole panel",
            ),
            short=(
                "Before the first panel point: the end post is steep, nearly upright, or "
                "the upper joints all stand between the lower ones",
                "the hip stands before the first panel point",
            ),
            bearing=(
                "Right above the bearing: the end post is upright",
                "the end post is upright",
            ),
        ),
    ),
    Question(
        "uprights",
        "Where do uprights stand between the chords?",
        "Posts or hangers that run straight up and down from chord to chord.",
        uprights,
        UPRIGHTS,
        _answers(
            every=("At every panel point", "an upright stands at every panel point"),
            second=(
                "At every second floor beam only",
                "uprights stand at every second floor beam only",
            ),
            none=(
                "Nowhere, or only a hanger under each hip",
                "no uprights stand between the hips",
            ),
            leaning=("The posts lean", "the posts lean"),
        ),
    ),
    Question(
        "slant",
        "Which way do the slanting bars run?",
        "Look at the half of the truss to your left, between the hip and the middle.",
        slant,
        SLANTS,
        _answers(
            fall=(
                "Down toward the middle of the span",
                "the slanting bars fall toward the middle",
            ),
            rise=(
                "Up toward the middle of the span",
                "the slanting bars rise toward the middle",
            ),
            zigzag=(
                "By turns up and down, in a zigzag",
                "the slanting bars zigzag",
            ),
            cross=("Both ways, crossing each other", "the slanting bars cross"),
            meet=(
                "Two from the middle of each upright, one up and one down: a K",
                "two slanting bars leave the middle of each upright",
            ),
            none=("There are none", "there are no slanting bars between the hips"),
        ),
    ),
    Question(
        "divided",
        "Do short bars end halfway along a longer one?",
        "Look halfway down a slanting bar or an end post for a joint with a hanger below "
        "it and a short bar to steady it.",
        divided,
        ("sub-strut", "sub-tie"),
        _answers(
            halved=("Yes", "short bars halve the long ones"),
            whole=("No", "the long bars are not halved"),
        ),
    ),
    Question(
        "reach",
        "How many panels does a long slanting bar cross?",
        "Follow one from the upper chord to the lower and count the panels it passes.",
        reach,
        SLANTS,
        _answers(
            one=("One", "each slanting bar crosses one panel"),
            two=(
                "Two: it passes an upright on the way",
                "each long slanting bar crosses two panels",
            ),
        ),
    ),
    Question(
        "slopes",
        "How many slopes has the top, end posts included?",
        "Go along the top from one bearing to the other and count the straight lengths.",
        top_slopes,
        ("upper-chord", "end-post"),
        _answers(
            five=("Five", "the top has five slopes"),
            other=("Any other number", "the top has not five slopes"),
        ),
    ),
    Question(
        "slings",
        "Where do the ties from the feet of the posts go?",
        "Follow the long thin bars up from the foot of a post.",
        slings,
        SLANTS,
        _answers(
            ends=(
                "All of them to the two ends of the span",
                "every tie runs to an end of the span",
            ),
            halves=(
                "To the heads of other posts as well as to the ends",
                "ties run to the heads of other posts as well",
            ),
        ),
    ),
)


# --- the tree --------------------------------------------------------------------------


@dataclass(frozen=True)
class Choice:
    """One answer at a step: how it is drawn, and where it leads.

    ``geometry`` is one of those that give this answer. ``forms`` are keys, more than
    one only where nothing that is asked tells them apart; empty where ``step`` follows.
    """

    answer: Answer
    geometry: Geometry
    forms: tuple[str, ...] = ()
    step: Step | None = None


@dataclass(frozen=True)
class Step:
    """One question put, after the answers in ``trail``."""

    slug: str
    question: Question
    choices: tuple[Choice, ...]
    trail: tuple[Answer, ...] = ()
    back: str = ""
    forms: tuple[str, ...] = field(default=())


@cache
def key() -> tuple[Step, ...]:
    """Return the steps of the key, each before those it leads to."""
    seen = [
        (entry.key, geometry)
        for entry in forms.FORMS.values()
        for geometry in entry.varieties()
    ]
    steps: list[Step] = []
    _grow(seen, (), "", steps)
    return tuple(sorted(steps, key=lambda step: len(step.trail)))


def _grow(seen, trail, back, steps):
    slug = "-".join(answer.value for answer in trail) or "start"
    question = next((one for one in QUESTIONS if _parts(one, seen)), None)
    if question is None:
        return None
    choices = []
    for answer in question.answers.values():
        left = [(form, g) for form, g in seen if question.see(g) == answer.value]
        if not left:
            continue
        names = tuple(dict.fromkeys(form for form, _ in left))
        step = None
        if len(names) > 1:
            step = _grow(left, (*trail, answer), slug, steps)
        choices.append(Choice(answer, left[0][1], () if step else names, step))
    names = tuple(dict.fromkeys(form for form, _ in seen))
    step = Step(slug, question, tuple(choices), trail, back, names)
    steps.append(step)
    return step


def _parts(question, seen):
    values = {question.see(geometry) for _, geometry in seen}
    return len(values) > 1 and "" not in values


# --- neighbours ------------------------------------------------------------------------

NEIGHBOURS = 3
#: Outlines that are mistaken for each other; any other two are worth three differences.
KINDRED = ({"level", "broken"}, {"bow", "lens"}, {"level", "arch"}, {"level", "peak"})
#: Forms that answer more questions otherwise look different, not alike.
MOST_DIFFERENCES = 2


def _weight(question: Question, theirs: str, ours: str) -> int:
    if question.key == "outline" and {theirs, ours} not in KINDRED:
        return 3
    return 1


@dataclass(frozen=True)
class Neighbour:
    """A form that looks much like another: what it shows, and what the other shows."""

    form: forms.Form
    theirs: tuple[str, ...]
    ours: tuple[str, ...]


def neighbours(form: str) -> list[Neighbour]:
    """Return the forms that look most like one, the likest first; at least one."""
    here = forms.FORMS[form].typical()
    found = []
    for place, entry in enumerate(forms.FORMS.values()):
        there = entry.typical()
        pairs = [(one, one.see(there), one.see(here)) for one in QUESTIONS]
        pairs = [(one, a, b) for one, a, b in pairs if a != b]
        # What makes no sense of one of them is a difference, but none to be told.
        told = [(one.answers[a], one.answers[b]) for one, a, b in pairs if a and b]
        if entry.key != form and told:
            theirs, ours = zip(*told, strict=True)
            found.append(
                (
                    sum(_weight(one, a, b) for one, a, b in pairs),
                    place,
                    Neighbour(
                        entry,
                        tuple(answer.clause for answer in theirs),
                        tuple(answer.clause for answer in ours),
                    ),
                )
            )
    found.sort(key=lambda one: one[:2])
    near = [one for count, _, one in found if count <= MOST_DIFFERENCES]
    return (near or [found[0][2]])[:NEIGHBOURS]
