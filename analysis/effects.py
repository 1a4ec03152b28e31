"""What each change did: every subset of changes checked, the difference shared out.

Between two configurations of a truss line with k changes that alter its check file,
the engine rates all 2^k of them in one batch. Each change gets its effect alone and
its Shapley share of the whole difference, of the truss line and of each member; the
shares sum to it exactly. Pairs that do together what neither does apart are named.

Source of the sharing rule: L. S. Shapley, "A value for n-person games", Contributions
to the Theory of Games II, Princeton 1953 (from memory): a change's share is its
average marginal effect over all orders in which the changes could have come.
"""

from __future__ import annotations

import hashlib
import itertools
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from math import factorial

import numpy as np

from analysis.engine import ENGINE_VERSION, floor
from analysis.engine.answer import answer_checks
from analysis.engine.figures import Figures, figures_many
from analysis.engine.question import CheckInput
from surveys.changes import Change
from surveys.fold import Part

from . import translate
from .subsets import checks_of_subsets

# Changes told apart at most: 2^10 checks in one batch.
LARGEST = 10
# Raised when a result says more or says it otherwise.
TELLING = 2
POUNDS_PER_TON = 2000.0
# The figures a change is held against, and their unit.
MEASURES = {"limit_tons": "tons", "rating": "", "dead_tons": "tons"}
TINY = 0.05
# Two changes are named together where what they do beyond each apart is this many tons
# and this part of what either does alone. Common sense, not a published rule.
TOGETHER_TONS = 0.25
TOGETHER_PART = 0.25
# Members are named whose own limit moved by this part of what it was.
MOVED = 0.05


@dataclass(frozen=True)
class Group:
    """One or more changes that go through the subsets as one."""

    keys: tuple[str, ...]
    title: str
    part: str
    paths: tuple[str, ...]


def shapley(value: Mapping[int, float], players: int) -> list[float]:
    """Share out ``value[all] - value[none]`` among ``players``.

    ``value`` is keyed by bit mask, 2**players entries. Exact rational weights, so the
    shares sum to the whole to rounding of the last digit.
    """
    column = np.array([[value[mask]] for mask in range(1 << players)])
    return [float(share) for share in shapley_of(column)[:, 0]]


def shapley_of(value) -> np.ndarray:
    """Return (k, q): shares of the k changes in (2^k, q) figures, rows by bit mask."""
    shares = np.zeros((len(value).bit_length() - 1, value.shape[1]))
    for player, (without, weights) in enumerate(_orders(len(shares))):
        step = value[without | 1 << player] - value[without]
        shares[player] = weights @ step
    return shares


@lru_cache(maxsize=LARGEST + 1)
def _orders(players: int):
    """Return of each player the masks without it, and the weight of each."""
    masks, size, weights = _weights(players, 1)
    found = []
    for player in range(players):
        without = masks[(masks >> player & 1) == 0]
        found.append((without, weights[size[without]]))
    return found


def _weights(players, together):
    """Return all bit masks, how many each has, and the part of all orders in which so
    many come before ``together`` players that stand next to each other."""
    masks = np.arange(1 << players)
    size = np.array([int(mask).bit_count() for mask in masks])
    rest = players - together
    weights = np.array(
        [
            float(Fraction(factorial(s) * factorial(rest - s), factorial(rest + 1)))
            for s in range(rest + 1)
        ]
    )
    return masks, size, weights


def interactions_of(value) -> dict[tuple[int, int], float]:
    """Return what each two changes do together beyond each apart, of (2^k,) figures.

    The average, over all that may have come before, of their joint effect less the
    effect of each. Source: Grabisch and Roubens, International Journal of Game Theory 28
    (1999), the interaction index of two players (from memory).
    """
    players = len(value).bit_length() - 1
    if players < 2:
        return {}
    found = {}
    for (one, two), (rest, weights) in _orders_of_two(players).items():
        a, b = 1 << one, 1 << two
        joint = value[rest | a | b] - value[rest | a] - value[rest | b] + value[rest]
        found[one, two] = float(weights @ joint)
    return found


@lru_cache(maxsize=LARGEST + 1)
def _orders_of_two(players: int):
    """Return of each two players the masks without them, and the weight of each."""
    masks, size, weights = _weights(players, 2)
    found = {}
    for one, two in itertools.combinations(range(players), 2):
        rest = masks[(masks & (1 << one | 1 << two)) == 0]
        found[one, two] = (rest, weights[size[rest]])
    return found


def measures(answer) -> dict[str, float | None]:
    """Return the figures of one answer that changes are held against.

    A truss that cannot stand carries nothing: its limit is 0 tons, not unknown.
    """
    dead = (answer.get("dead_load") or {}).get("total_kip")
    found = {"dead_tons": None if dead is None else dead * 1000 / POUNDS_PER_TON}
    if not answer["stands"]:
        return found | {
            "limit_tons": 0.0,
            "rating": 0.0,
            "member": None,
            "mode": "stability",
        }
    governing = (answer.get("governing") or {}).get("operating") or {}
    return found | {
        "limit_tons": governing.get("limit_tons"),
        "rating": governing.get("rating"),
        "member": governing.get("member"),
        "mode": governing.get("mode"),
    }


def measures_of(found: Figures) -> dict[str, float | None]:
    """Return ``measures`` of figures found without the answer."""
    dead = {"dead_tons": found.dead_kip * 1000 / POUNDS_PER_TON}
    if not found.stands:
        return dead | {
            "limit_tons": 0.0,
            "rating": 0.0,
            "member": None,
            "mode": "stability",
        }
    return dead | {
        "limit_tons": found.limit_tons,
        "rating": found.rating,
        "member": found.member,
        "mode": found.mode,
    }


def relevant(line, changes: Sequence[Change]) -> list[Change]:
    """Keep the changes that could bear on one truss line at all."""
    span = line.span_id
    return [
        change
        for change in changes
        if any(_bears(about, line, span) for about in change.elements)
    ]


def _bears(about, line, span):
    if about.span != span:
        return False
    return about.kind != "member" or about.line == line.name


def known_later(before, after):
    """Fill what was first described later into the earlier configuration.

    A size measured for the first time is knowledge, not a change: it is taken to have
    been so before, on both sides of the comparison.
    """
    filled = dict(before)
    for path, part in after.items():
        old = before.get(path)
        if (old is None or not old.is_described) and part.state is not None:
            filled[path] = part
        elif path.endswith(BEAMS) and _sizes_came(old, part):
            sizes = {"components": part.state["components"]}
            filled[path] = replace(old, state={**old.state, **sizes})
    return filled


BEAMS = ("/stringers", "/floor-beams")


def _sizes_came(old, new):
    """Return whether beams of the floor, otherwise the same, got their sizes later."""
    if not _has_sizes(new) or _has_sizes(old) or old.state is None:
        return False
    return all(
        old.state.get(name, new.state.get(name)) == new.state.get(name)
        for name in ("count", "plf_each", "each_lb", "material")
    )


def _has_sizes(part):
    return bool(part is not None and part.state and part.state.get("components"))


def comparable(before, after):
    """Return both configurations with what one of them knows made known to both.

    Beams of the floor that were others before, of sizes nobody measured, are rated on
    neither side: that a limit is now known is no change of the bridge.
    """
    before = known_later(before, after)
    after = dict(after)
    for path in [path for path in after if path.endswith(BEAMS)]:
        old, new = before.get(path), after[path]
        known_before = old is None or old.is_gone or _has_sizes(old)
        unknown_after = new.is_described and not new.is_gone and not _has_sizes(new)
        if _has_sizes(new) and not known_before:
            after[path] = replace(new, state=_without_sizes(new.state))
        elif _has_sizes(old) and unknown_after:
            before[path] = replace(old, state=_without_sizes(old.state))
    return before, after


def _without_sizes(state):
    return {name: value for name, value in state.items() if name != "components"}


def effect_on(
    line,
    before: Mapping[str, Part],
    after: Mapping[str, Part],
    changes,
):
    """Return the effect of ``changes`` on one truss line, as stored and shown.

    Keys: ``before``, ``after`` (figures), ``difference``, ``shares`` (one a change:
    ``alone`` and ``share`` for each measure), ``sentences``, ``gaps``, ``assumptions``,
    ``untouched`` (keys of changes that alter nothing in the check).
    """
    asked = plan(line, before, after, changes)
    if asked.nothing is not None:
        return asked.nothing
    found = figures_many(asked.checks)
    (known,) = answer_checks([asked.end.check])
    return told(asked, found, known["warnings"])


@dataclass(frozen=True)
class Plan:
    """What the effect of some changes takes: the check inputs of all their subsets.

    ``checks`` by bit mask of ``groups``; ``nothing`` is the result where none can be.
    """

    start: translate.Translation
    end: translate.Translation
    groups: Sequence[Group] = ()
    untouched: Sequence[Change] = ()
    checks: Sequence[CheckInput] = ()
    nothing: dict | None = None


def plan(line, before, after, changes, write=translate.check_file) -> Plan:
    """Say what must be computed for the effect of ``changes`` on one truss line.

    ``write`` makes the check file of a line and its parts.
    """
    changes = relevant(line, changes)
    before, after = comparable(before, after)
    start, end = write(line, before), write(line, after)
    if start.document is None or end.document is None:
        return Plan(start, end, nothing=_nothing(end.gaps or start.gaps))
    made_alone = {(): start}
    acting, untouched = [], []
    for change in changes:
        alone = write(line, _with(before, after, [change]))
        made_alone[change.key,] = alone
        moved = alone.check is None or alone.sha256 != start.sha256
        (acting if moved else untouched).append(change)
    groups = grouped(acting)
    checks = _checks(line, before, after, acting, groups, made_alone, write)
    if any(check is None for check in checks):
        gap = "Some of the changes alone leave nothing that can be checked."
        return Plan(start, end, nothing=_nothing([gap]))
    return Plan(start, end, groups, untouched, checks)


def _nothing(gaps):
    return {"gaps": gaps, "shares": [], "sentences": [], "assumptions": []}


def told(asked: Plan, found: Sequence[Figures], warnings: Sequence[str]) -> dict:
    """Return the effect from the figures of the plan's checks, in their order.

    ``warnings`` are those of the check of the later configuration.
    """
    result = _told(asked.groups, found, asked.untouched)
    return result | {
        "assumptions": sorted({*asked.start.assumptions, *asked.end.assumptions}),
        "warnings": sorted(set(warnings)),
        "hashes": [asked.start.sha256, asked.end.sha256],
    }


def _with(before, after, changes):
    """Return the earlier configuration with some of the changes made."""
    mixed = dict(before)
    for change in changes:
        for path in change.paths:
            mixed[path] = after[path]
    return mixed


def grouped(changes: Sequence[Change]) -> list[Group]:
    """Make at most ``LARGEST`` groups, joining changes of the same part first."""
    groups = [
        Group((one.key,), one.title.rstrip(","), one.part, one.paths) for one in changes
    ]
    if len(groups) <= LARGEST:
        return groups
    by_part: dict[str, list[Group]] = {}
    for group in groups:
        by_part.setdefault(group.part, []).append(group)
    joined = [_joined(part, some) for part, some in by_part.items()]
    if len(joined) > LARGEST:
        joined = [*joined[: LARGEST - 1], _joined("other", joined[LARGEST - 1 :])]
    return joined


def _joined(part, groups):
    if len(groups) == 1:
        return groups[0]
    return Group(
        tuple(itertools.chain.from_iterable(one.keys for one in groups)),
        f"{len(groups)} changes to the {part.replace('-', ' ')} together",
        part,
        tuple(itertools.chain.from_iterable(one.paths for one in groups)),
    )


def _checks(line, before, after, acting, groups, made=None, write=translate.check_file):
    """Return the check input of each subset of the groups, indexed by bit mask.

    None for a subset that no file can be written of. ``made`` are files written before,
    by the keys of their changes.
    """
    by_key = {change.key: change for change in acting}

    def read(numbers):
        keys = tuple(key for number in numbers for key in groups[number].keys)
        one = (made or {}).get(keys)
        if one is None:
            some = [by_key[key] for key in keys]
            one = write(line, _with(before, after, some))
        return one.check

    return checks_of_subsets(read, len(groups))


def _told(groups, found, untouched):
    figures = [measures_of(one) for one in found]
    first, last = figures[0], figures[-1]
    shares = [
        {"keys": list(group.keys), "title": group.title, "part": group.part}
        for group in groups
    ]
    difference = {}
    for measure in MEASURES:
        values = [one[measure] for one in figures]
        if any(value is None for value in values):
            difference[measure] = None
            continue
        difference[measure] = values[-1] - values[0]
        whole = shapley_of(np.array(values, float)[:, None])[:, 0].tolist()
        for index, share in enumerate(whole):
            alone = values[1 << index] - values[0]
            shares[index][measure] = {"alone": alone, "share": share}
    for index, share in enumerate(shares):
        share["governs"] = governs(figures[1 << index])
    result = {
        "engine": ENGINE_VERSION,
        "before": first,
        "after": last,
        "difference": difference,
        "shares": shares,
        "members": _members_told(found),
        "together": _together(shares, figures),
        "untouched": [change.key for change in untouched],
        "gaps": [],
        "subsets": len(found),
    }
    result["sentences"] = sentences(result)
    return result


def _members_told(found: Sequence[Figures]) -> list[dict]:
    """Return what the changes did to each member whose own limit moved, tons.

    ``shares`` are in the order of the changes. Members without a limit in some subset
    are left out: there is no difference to share.
    """
    tons = found[0].weight_tons
    if tons is None or not all(one.stands for one in found):
        return []
    limited = [
        {name for name, rating in one.ratings.items() if rating is not None}
        for one in found
    ]
    in_all = set.intersection(*limited)
    names = [name for name in found[0].ratings if name in in_all]
    if not names:
        return []
    value = tons * np.array([[one.ratings[name] for name in names] for one in found])
    shares = shapley_of(value)
    moved = np.abs(shares).max(axis=0, initial=0.0) >= TINY
    told = [
        {
            "member": names[m],
            "before": float(value[0, m]),
            "after": float(value[-1, m]),
            "shares": shares[:, m].tolist(),
        }
        for m in np.flatnonzero(moved).tolist()
    ]
    return sorted(told, key=lambda one: -abs(one["after"] - one["before"]))


def _together(shares, figures) -> list[dict]:
    """Return the pairs of changes that do together what they do not do apart, tons."""
    values = [one["limit_tons"] for one in figures]
    if any(value is None for value in values) or len(shares) < 2:
        return []
    value = np.array(values, float)
    found = []
    for (one, two), tons in interactions_of(value).items():
        alone = max(abs(value[1 << at] - value[0]) for at in (one, two))
        if abs(tons) >= max(TOGETHER_TONS, TOGETHER_PART * alone):
            found.append({"changes": [one, two], "limit_tons": tons})
    return sorted(found, key=lambda pair: -abs(pair["limit_tons"]))


def content_sha256(line, before, after, changes, write=translate.check_file) -> str:
    """Key an effect by both check files, the changes with their names, the engine."""
    before, after = comparable(before, after)
    keys = [write(line, parts).sha256 for parts in (before, after)]
    grouping = [
        (change.key, change.paths, change.title) for change in relevant(line, changes)
    ]
    text = json.dumps([keys, grouping, ENGINE_VERSION, TELLING])
    return hashlib.sha256(text.encode()).hexdigest()


# What the figures mean, in sentences.


def sentences(result) -> list[str]:
    """Say an effect as one surveyor would tell another, the most telling first."""
    first, last = result["before"], result["after"]
    told = []
    if result["difference"].get("limit_tons") is None:
        told.append(
            "No limit can be estimated: sizes are missing on members that matter."
        )
    else:
        told.append(_whole_sentence(first, last))
    told += [_share_sentence(share, result) for share in _weighty(result["shares"])]
    told += [_together_sentence(pair, result) for pair in result["together"][:3]]
    told += _member_sentences(result)
    return told


def _weighty(shares):
    def weight(share):
        found = share.get("limit_tons") or {"share": 0.0}
        return -abs(found["share"])

    return sorted(shares, key=weight)


def _whole_sentence(first, last):
    gain = last["limit_tons"] - first["limit_tons"]
    was, now = first["limit_tons"], last["limit_tons"]
    moved = _governing_words(first, last)
    # Compared as printed, so that no sentence says “from 20.8 to 20.8”.
    if f"{was:.1f}" == f"{now:.1f}":
        return f"The estimate stays at about {now:.1f} tons; {moved}."
    verb = "rises" if gain > 0 else "falls"
    return f"The estimate {verb} from about {was:.1f} to about {now:.1f} tons; {moved}."


def governs(figures) -> str:
    """Name what sets the limit: a member, or what else can give way first."""
    member = figures.get("member")
    if member in floor.NAMES:
        return f"a {member}"
    if member:
        return member
    return {
        "stability": "a bar going slack that nothing replaces",
        "chord": "sideways buckling of the upper chord",
    }.get(figures.get("mode"), "nothing recorded")


def _governing_words(first, last):
    if last["limit_tons"] == 0.0:
        return (
            "as recorded, dead load alone leaves the truss nothing to carry more with"
        )
    was, now = governs(first), governs(last)
    if was == now and first.get("mode") == last.get("mode"):
        return f"{now} governs before and after"
    return (
        f"{was}{_mode_words(first)} governed before, {now}{_mode_words(last)} "
        "governs now"
    )


def _mode_words(figures) -> str:
    mode = figures.get("mode")
    return f" in {mode}" if mode in ("tension", "compression") else ""


def _together_sentence(pair, result) -> str:
    """“Together, A and B raise the limit 1.2 tons more than the two would apart.”"""
    one, two = (result["shares"][at]["title"] for at in pair["changes"])
    tons = pair["limit_tons"]
    verb = "add" if tons > 0 else "take off"
    return (
        f"{one}, and {two}: together they {verb} {abs(tons):.1f} tons beyond what each "
        "does apart."
    )


def _member_sentences(result) -> list[str]:
    """Say which members’ own limits moved most, and by which change."""
    moved = [
        one
        for one in result["members"]
        if abs(one["after"] - one["before"]) >= MOVED * max(one["before"], TINY)
    ][:3]
    if not moved:
        return []
    told = []
    for one in moved:
        most = max(range(len(one["shares"])), key=lambda at: abs(one["shares"][at]))
        told.append(
            f"{one['member']} from {one['before']:.1f} to {one['after']:.1f} tons, "
            f"mostly by “{result['shares'][most]['title']}”"
            if len(one["shares"]) > 1
            else f"{one['member']} from {one['before']:.1f} to {one['after']:.1f} tons"
        )
    return [f"Members’ own limits that moved most: {'; '.join(told)}."]


def _share_sentence(share, result):
    """“The steel-grid deck took 9.4 tons off the span; …” for one change."""
    title, parts = share["title"], []
    dead = (share.get("dead_tons") or {}).get("share")
    limit = (share.get("limit_tons") or {}).get("share")
    if dead is not None and abs(dead) >= TINY:
        verb = "added" if dead > 0 else "took"
        tail = "to" if dead > 0 else "off"
        parts.append(f"{verb} {abs(dead):.1f} tons {tail} this truss’s dead load")
    if limit is None:
        pass
    elif abs(limit) < TINY:
        why = governs(result["after"])
        parts.append(f"did not move the limit, because {why} governs")
    else:
        verb = "raised" if limit > 0 else "lowered"
        parts.append(f"{verb} the limit by {abs(limit):.1f} tons")
    if not parts:
        return f"{title}: no effect on the truss that the check can see."
    return f"{title}: {' and '.join(parts)}."
