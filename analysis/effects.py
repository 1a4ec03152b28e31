"""What each change did: every subset of changes checked, the difference shared out.

Between two configurations of a truss line with k changes that alter its check file,
the engine answers all 2^k files in one batch. Each change gets its effect alone and
its Shapley share of the whole difference; the shares sum to it exactly.

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
from math import factorial

from analysis.engine import ENGINE_VERSION, checkfile, floor
from analysis.engine.answer import answer_many
from surveys.changes import Change
from surveys.fold import Part

from . import translate

LARGEST = 8
POUNDS_PER_TON = 2000.0
# The figures a change is held against, and their unit.
MEASURES = {"limit_tons": "tons", "rating": "", "dead_tons": "tons"}
TINY = 0.05


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
    weights = [
        float(Fraction(factorial(s) * factorial(players - s - 1), factorial(players)))
        for s in range(players)
    ]
    shares = []
    for player in range(players):
        bit = 1 << player
        total = 0.0
        for mask in range(1 << players):
            if not mask & bit:
                step = value[mask | bit] - value[mask]
                total += weights[mask.bit_count()] * step
        shares.append(total)
    return shares


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


def effect_on(line, before: Mapping[str, Part], after: Mapping[str, Part], changes):
    """Return the effect of ``changes`` on one truss line, as stored and shown.

    Keys: ``before``, ``after`` (figures), ``difference``, ``shares`` (one a change:
    ``alone`` and ``share`` for each measure), ``sentences``, ``gaps``, ``assumptions``,
    ``untouched`` (keys of changes that alter nothing in the check).
    """
    changes = relevant(line, changes)
    before, after = comparable(before, after)
    start = translate.check_file(line, before, title=_title(line, "before"))
    end = translate.check_file(line, after, title=_title(line, "after"))
    if start.document is None or end.document is None:
        gaps = end.gaps or start.gaps
        return {"gaps": gaps, "shares": [], "sentences": [], "assumptions": []}
    base = _digest(start.document)
    acting, untouched = [], []
    for change in changes:
        alone = translate.check_file(line, _with(before, after, [change]))
        moved = alone.document is None or _digest(alone.document) != base
        (acting if moved else untouched).append(change)
    groups = grouped(acting)
    documents = _documents(line, before, after, acting, groups)
    answers = answer_many(documents)
    found = [measures(answer) for answer in answers]
    return _told(groups, found, answers, untouched, start.assumptions, end.assumptions)


def _title(line, when):
    return f"{line.name} truss, {when}"


def _digest(document):
    bare = {key: value for key, value in document.items() if key != "title"}
    return checkfile.input_sha256(bare)


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


def _documents(line, before, after, acting, groups):
    """Write one check file for each subset of the groups, indexed by bit mask."""
    by_key = {change.key: change for change in acting}
    documents = []
    for mask in range(1 << len(groups)):
        made = [
            by_key[key]
            for index, group in enumerate(groups)
            if mask >> index & 1
            for key in group.keys
        ]
        one = translate.check_file(line, _with(before, after, made))
        documents.append(one.document)
    return documents


def _told(groups, found, answers, untouched, was_assumed, is_assumed):
    first, last = found[0], found[-1]
    count = len(groups)
    shares = [
        {"keys": list(group.keys), "title": group.title, "part": group.part}
        for group in groups
    ]
    difference = {}
    for measure in MEASURES:
        values = {mask: figures[measure] for mask, figures in enumerate(found)}
        if any(value is None for value in values.values()):
            difference[measure] = None
            continue
        difference[measure] = values[len(values) - 1] - values[0]
        for index, share in enumerate(shapley(values, count)):
            alone = values[1 << index] - values[0]
            shares[index][measure] = {"alone": alone, "share": share}
    for index, share in enumerate(shares):
        share["governs"] = governs(found[1 << index])
    result = {
        "engine": ENGINE_VERSION,
        "before": first,
        "after": last,
        "difference": difference,
        "shares": shares,
        "untouched": [change.key for change in untouched],
        "gaps": [],
        "assumptions": sorted(set(was_assumed) | set(is_assumed)),
        "warnings": sorted(set(answers[-1].get("warnings", []))),
        "hashes": [answers[0]["input_sha256"], answers[-1]["input_sha256"]],
        "subsets": len(found),
    }
    result["sentences"] = sentences(result)
    return result


def content_sha256(line, before, after, changes) -> str:
    """Key an effect by both check files, how the changes were grouped, the engine."""
    before, after = comparable(before, after)
    documents = [
        translate.check_file(line, parts).document for parts in (before, after)
    ]
    keys = [None if one is None else _digest(one) for one in documents]
    grouping = [(change.key, change.paths) for change in relevant(line, changes)]
    text = json.dumps([keys, grouping, ENGINE_VERSION])
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
    if was == now:
        return f"{now} governs before and after"
    return f"{was} governed before, {now} governs now"


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
