"""What a comparison of forms says, in sentences: each from the figures beside it."""

from __future__ import annotations

from collections.abc import Sequence

from shared.units import feet_text

from .form_compare import Compared, even_depth_ft
from .form_facts import in_a_sentence

#: Differences below this part of the larger are no difference worth words.
ALIKE = 0.02


def name_of(one: Compared, beside: Sequence[Compared]) -> str:
    """Return "half-hip Pratt", "Warren", and "full-slope Pratt" beside a half-hip."""
    if one.entry.key == "pratt" and _has(beside, "half-hip-pratt"):
        return "full-slope Pratt"
    return in_a_sentence(one.entry.title)


def _has(compared, key):
    return any(one.entry.key == key for one in compared)


def beside(first: Compared, other: Compared) -> list[str]:
    """Return what ``other`` does that ``first`` does not, and what it costs."""
    pair = (first, other)
    a, b = (f"the {name_of(one, pair)}" for one in pair)
    told = [
        _end_posts(first, other, a, b),
        _next_to_bearing(first, other, a, b),
        _first_uprights(first, other, a, b),
        _web(first, other, a, b),
        _by_turns(first, other, a, b),
        _chords(first, other, a, b),
        _pieces(first, other, a, b),
        _metal(first, other, a, b),
        _in_short(first, other),
        _by_depth(first, other),
    ]
    return [_sentence(one) for one in told if one]


def _sentence(text):
    return text[0].upper() + text[1:]


def _differ(x, y):
    return abs(x - y) > ALIKE * max(abs(x), abs(y), 1e-9)


def feet_and_inches(length_ft):
    """Say a length to the nearest inch."""
    return feet_text(round(length_ft * 12) / 12)


def _kip(value):
    return f"{abs(value):.1f} kip"


def _end_posts(first, other, a, b):
    one, two = first.end_post, other.end_post
    if one is None and two is None:
        return ""
    if one is None or two is None:
        with_, without = (b, a) if one is None else (a, b)
        post = two or one
        return (
            f"{with_} stands on an end post, {feet_and_inches(post.length_ft)} long and pressed "
            f"by {_kip(post.push_kip)}; {without} has none."
        )
    if not _differ(one.length_ft, two.length_ft):
        return ""
    text = (
        f"the end post of {b} is {feet_and_inches(two.length_ft)} long and pressed by "
        f"{_kip(two.push_kip)}; that of {a} is {feet_and_inches(one.length_ft)} and pressed by "
        f"{_kip(one.push_kip)}."
    )
    if one.strut_area_in2 and two.strut_area_in2:
        text += (
            f" With the same section their KL/r is {two.slenderness:.0f} and "
            f"{one.slenderness:.0f}, so the column formula asks for "
            f"{two.strut_area_in2:.1f} and {one.strut_area_in2:.1f} sq in."
        )
    if other.entry.key == "half-hip-pratt" and first.entry.key == "pratt":
        text += (
            " That is what a half-hip is for: the end post, pressed harder than any "
            "other bar but the upper chord, is short and steep."
        )
    return text


def _next_to_bearing(first, other, a, b):
    one, two = first.next_to_bearing, other.next_to_bearing
    if one is None or two is None or not _differ(one.pull_kip, two.pull_kip):
        return ""
    pulls = [
        f"is pulled by {_kip(bar.pull_kip)}"
        if bar.pull_kip > 0.05
        else "carries nothing"
        for bar in (two, one)
    ]
    text = (
        f"next to the bearing the lower chord of {b} {pulls[0]}, that of {a} {pulls[1]}"
    )
    if first.end_post and other.end_post:
        text += ": the flatter the end post, the harder it pulls there"
    return f"{text}."


def _first_uprights(first, other, a, b):
    one, two = first.first_upright, other.first_upright
    if one is None or two is None or one.governing_kip * two.governing_kip >= 0:
        return ""
    (hung, hanger), (stood, post) = (
        ((a, one), (b, two)) if one.governing_kip > 0 else ((b, two), (a, one))
    )
    text = (
        f"the upright at the first panel point hangs in {hung}, pulled by "
        f"{_kip(hanger.governing_kip)}, and stands in {stood}, pressed by "
        f"{_kip(post.governing_kip)}: the one is a hanger, the other a post."
    )
    keys = {first.entry.key, other.entry.key}
    if keys == {"pratt", "half-hip-pratt"}:
        text += (
            " On a pony that matters: a stiff post fastened to its floor beam helps to "
            "hold the upper chord upright there, and a hanger of rods or bars cannot."
        )
    return text


def _web(first, other, a, b):
    acts = first.diagonals, other.diagonals
    one, two = first.longest_web_strut, other.longest_web_strut
    text = ""
    if acts == ("pulled", "pressed"):
        text = f"the diagonals of {a} are pulled and those of {b} pressed."
    elif acts == ("pressed", "pulled"):
        text = f"the diagonals of {a} are pressed and those of {b} pulled."
    if one and two and _differ(one.length_ft, two.length_ft):
        text += (
            " The longest bar of the web that is pressed is "
            f"{feet_and_inches(two.length_ft)} in {b} and "
            f"{feet_and_inches(one.length_ft)} in {a}. The longer it is, the stiffer it "
            "must be made."
        )
    return text.strip()


def _by_turns(first, other, a, b):
    one, two = len(first.reversing), len(other.reversing)
    if one == two:
        return ""
    return (
        "bars that the moving load pulls at one place and presses at another, and that "
        f"want counters or stiffness for it: {two or 'none'} in {b}, {one or 'none'} in "
        f"{a}."
    )


def _chords(first, other, a, b):
    one, two = first.top, other.top
    if one is None or two is None:
        return ""
    if _differ(one.push_kip, two.push_kip):
        text = (
            f"the upper chord of {b} is pressed by {_kip(two.push_kip)} at most, that of "
            f"{a} by {_kip(one.push_kip)}"
        )
    else:
        text = (
            f"the upper chord is pressed alike in both, by {_kip(two.push_kip)} at most"
        )
        if first.bottom and other.bottom:
            text += ": the depth and the moment are the same"
    below, under = first.bottom, other.bottom
    if below and under and _differ(below.pull_kip, under.pull_kip):
        text += f"; the lower is pulled by {_kip(under.pull_kip)} and {_kip(below.pull_kip)}"
    return f"{text}."


def _pieces(first, other, a, b):
    bars = len(other.bars) - len(first.bars)
    joints = other.joints - first.joints
    feet = other.total_ft - first.total_ft
    if not bars and not joints and not _differ(other.total_ft, first.total_ft):
        return f"{b} and {a} have as many bars and joints, and as much length of bar."
    parts = [_more(bars, "bar"), _more(joints, "joint")]
    length = f"{abs(feet):.0f} ft {'more' if feet > 0 else 'less'} length of bar in all"
    parts.append(length if _differ(other.total_ft, first.total_ft) else "")
    listed = _listed([part for part in parts if part])
    return f"{b} has {listed} than {a}." if listed else ""


def _listed(words):
    """Return "a, b and c"."""
    *most, last = words or [""]
    return f"{', '.join(most)} and {last}" if most else last


def _more(count, word):
    if not count:
        return ""
    plural = "" if abs(count) == 1 else "s"
    few = "fewer" if count < 0 else "more"
    return f"{abs(count)} {few} {word}{plural}"


def _metal(first, other, a, b):
    stress = first.crossing.stress_ksi
    text = (
        f"at {stress:g} ksi everywhere the bars of {b} would weigh "
        f"{other.metal_lb:,.0f} lb and those of {a} {first.metal_lb:,.0f}: "
        f"{_share(other.metal_lb, first.metal_lb)}. "
    )
    return text + (
        "At the stresses that the site’s checks allow, the column formula for bars that "
        f"are pressed, it is {other.column_metal_lb:,.0f} against {first.column_metal_lb:,.0f}: "
        f"{_share(other.column_metal_lb, first.column_metal_lb)}."
    )


def _in_short(first, other):
    """Return the sum of it for the pair that members argue about."""
    pair = {one.entry.key: one for one in (first, other)}
    if set(pair) != {"pratt", "half-hip-pratt"}:
        return ""
    full, half = pair["pratt"], pair["half-hip-pratt"]
    metal = _share(half.column_metal_lb, full.column_metal_lb)
    return (
        f"in short: the half-hip spends {len(half.bars) - len(full.bars)} bars and "
        f"{half.joints - full.joints} joints more, and has for them a short, steep end "
        "post and a post where the full slope has a hanger. The metal between the joints "
        f"is {metal}; the full slope has fewer pieces to make and fit."
    )


def _by_depth(first, other):
    """Return where the argument turns, for the same pair."""
    if {first.entry.key, other.entry.key} != {"pratt", "half-hip-pratt"}:
        return ""
    depth_ft = even_depth_ft(first, other)
    if depth_ft is None:
        return ""
    pair = {one.entry.key: one for one in (first, other)}
    half_is_less = (
        pair["half-hip-pratt"].column_metal_lb < pair["pratt"].column_metal_lb
    )
    shallower, deeper = "the half-hip", "the full slope"
    if half_is_less != (first.crossing.depth_ft < depth_ft):
        shallower, deeper = deeper, shallower
    return (
        "it turns on the depth: with this span, these panels and this load the two need "
        f"as much metal between the joints at about {depth_ft:.0f} ft. Shallower, "
        f"{shallower} needs less; deeper, {deeper} does."
    )


def _share(new, old):
    part = (new - old) / old
    if abs(part) < ALIKE:
        return "as good as the same"
    return f"{abs(part):.0%} {'more' if part > 0 else 'less'}"


def summary(compared: Sequence[Compared]) -> list[str]:
    """Return which form is best at what, among three or more."""
    if len(compared) < 3:
        return []

    def least(measure, words, alike=0.0):
        low = min(measure(one) for one in compared)
        names = [
            f"the {name_of(one, compared)}"
            for one in compared
            if measure(one) <= low * (1 + alike)
        ]
        also = ", as good as the same" if alike and len(names) > 1 else ""
        return f"{words}: {_listed(names)}{also}."

    return [
        least(lambda one: one.joints, "Fewest joints to make"),
        least(lambda one: one.metal_lb, "Least metal at one stress", ALIKE),
        least(
            lambda one: one.column_metal_lb,
            "Least metal with the column formula for what is pressed",
            ALIKE,
        ),
    ]
