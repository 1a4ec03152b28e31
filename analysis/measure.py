"""The estimate as a band, and what to measure next to narrow it.

``bands`` and ``measure_next`` are for any page or list to call: plain data in, plain
data out. A band is stored by the content of what it was asked and the engine's version,
like a check, and made when it is first wanted.
"""

from __future__ import annotations

import math
from collections import Counter

from analysis.engine import checkfile, sampling
from analysis.engine.answer import answer_many
from shared.templatetags.figures import figure
from surveys import record as records

from . import layout, ranges, services, telling, translate
from .models import Finding

# Raised when ranges or the way of sampling change, so that bands are made anew.
BAND_VERSION = 1
PERCENTILES = (5, 50, 95)
# Measurements that narrow the band by less are not worth a journey.
LEAST_SHARE = 0.01
# Above this part of samples without any limit there is no band to give.
MOST_UNLIMITED = 0.05


def bands(bridge, record=None, parts=None) -> list[dict]:
    """Return the band of every truss line of a bridge, in their order.

    ``parts`` is a configuration; without one, the present. Each is a dictionary:
    ``line`` (the TrussLine), ``gaps`` (why there is no band, in sentences) and, where
    there is one, ``low``, ``mid``, ``high`` (tons), ``samples``, ``governing``
    (``[{"member", "percent"}]``) and ``measures``, the most telling first.
    """
    record = record or records.load(bridge)
    parts = record.configuration() if parts is None else parts
    return [
        {"line": line, **band(line, parts, record)}
        for line in services.truss_lines(bridge)
    ]


def band(line, parts, record) -> dict:
    """Return the band of one truss line in one configuration; see ``bands``."""
    made = translate.check_file(line, parts)
    unsized = _unsized(line, parts, made)
    if made.document is None:
        return {"gaps": made.gaps, "measures": [], "unsized": unsized}
    check = checkfile.read(made.document)
    found = ranges.ranges(line, parts, _basis_of(record), check, made.assumed)
    result = Finding.of("band", _content(check, found), lambda: _sampled(check, found))
    shares = result.get("shares", {})
    measures = [
        {
            "key": one.key,
            "act": one.act,
            "quantity": one.quantity,
            "paths": list(one.paths),
            "is_of_line": one.is_of_line,
            "can_measure": one.can_measure,
            "known": one.known,
            "share": shares.get(one.key, 0.0),
        }
        for one in found.measures
        if shares
    ]
    return {
        **{key: value for key, value in result.items() if key != "shares"},
        "measures": sorted(measures, key=lambda one: -one["share"]),
        "unsized": unsized,
    }


def _basis_of(record):
    def basis(part):
        visit = record.visit_by_key.get(part.said_by) if part.said_by else None
        return visit.basis if visit is not None else "in-person"

    return basis


def _content(check, found):
    asked = [
        (type(u).__name__, u.key, getattr(u, "low", None), getattr(u, "high", None))
        for u in found.unknowns
    ]
    sha = checkfile.sha256_of(check)
    return [BAND_VERSION, sampling.SAMPLES, sha, asked]


def _sampled(check, found):
    sampled = sampling.sample(check, found.unknowns)
    tons = sampled.limit_tons
    unlimited = sum(not math.isfinite(one) for one in tons) / len(tons)
    if unlimited > MOST_UNLIMITED:
        return {"gaps": ["Sizes are missing on members that matter."]}
    low, mid, high = sampled.percentiles(*PERCENTILES)
    names = [member.name for member in check.members]
    counted = Counter(
        names[m] if m >= 0 else "stability" for m in sampled.governing.tolist()
    )
    return {
        "gaps": [],
        "samples": len(tons),
        "low": round(low, 3),
        "mid": round(mid, 3),
        "high": round(high, 3),
        "governing": [
            {"member": member, "percent": round(100 * count / len(tons))}
            for member, count in counted.most_common(4)
            if count / len(tons) >= 0.02
        ],
        "shares": {
            unknown.key: round(float(share), 4)
            for unknown, share in zip(found.unknowns, sampled.share, strict=True)
        },
    }


def narrows_percent(share: float) -> int:
    """Return by how much of its width a band shrinks when one unknown is settled.

    The part of the variance that goes is ``share``; the width goes as its root.
    """
    return round(100 * (1 - math.sqrt(1 - min(max(share, 0.0), 1.0))))


def note(bridge, record, parts, limit=2) -> dict:
    """Return the short of it, for a page that shows other things too.

    ``bands``: words for each truss line that has a band, those alike together;
    ``tasks``: the first of ``measure_next``.
    """
    found = bands(bridge, record, parts)
    alike: dict[tuple[str, str], list] = {}
    for one in found:
        if one.get("high") is not None:
            reach = figure(one["low"]), figure(one["high"])
            alike.setdefault(reach, []).append(one["line"])
    return {
        "bands": [
            {"where": telling.lines_words(lines), "low": low, "high": high}
            for (low, high), lines in alike.items()
        ],
        "tasks": measure_next(bridge, limit, record, found),
    }


# --- what to do next -------------------------------------------------------------------


def measure_next(bridge, limit=5, record=None, found=None) -> list[dict]:
    """Return what somebody who goes there should measure, the most telling first.

    Parameters
    ----------
    bridge : Bridge
    limit : how many at most; None for all
    record : Record, where it is already loaded
    found : what ``bands`` returned for the present configuration, where it is at hand

    Returns
    -------
    list of dict
        ``words`` (a sentence to act on), ``why`` (another), ``known`` (what is recorded
        now), ``act``, ``where``, ``quantity``,
        ``paths`` (elements), ``lines`` (keys of truss lines), ``is_missing`` (without
        it there is no estimate of that part at all), ``share`` of the variance and
        ``narrows_percent`` of the band's width (None where it is missing).

    A first call for a configuration samples it, about a quarter of a second a truss
    line; after that it is read from the store.
    """
    found = bands(bridge, record) if found is None else found
    tasks: dict[str, dict] = {}
    for one in found:
        for act, paths in one["unsized"]:
            _put(tasks, one["line"], act, "sizes", paths, None, bool(paths))
        for measure in one["measures"]:
            if measure["can_measure"] and measure["share"] >= LEAST_SHARE:
                _put(
                    tasks,
                    one["line"],
                    measure["act"],
                    measure["quantity"],
                    measure["paths"],
                    measure["share"],
                    measure["is_of_line"],
                    measure["known"],
                )
    ranked = sorted(
        tasks.values(), key=lambda one: (not one["is_missing"], -(one["share"] or 0.0))
    )
    return [_worded(one) for one in ranked[:limit]]


def _put(tasks, line, act, quantity, paths, share, is_of_line, known=""):
    task = tasks.setdefault(
        act,
        {
            "act": act,
            "quantity": quantity,
            "paths": [],
            "lines": [],
            "of_lines": [],
            "is_missing": share is None,
            "share": share,
            "known": known,
        },
    )
    task["paths"] += [path for path in paths if path not in task["paths"]]
    if is_of_line and line.key not in task["lines"]:
        task["lines"].append(line.key)
        task["of_lines"].append(line)
    if share is not None:
        task["share"] = max(task["share"] or 0.0, share)


def _worded(task):
    lines = task.pop("of_lines")
    where = telling.lines_words(lines) if lines else ""
    share = task["share"]
    narrows = None if share is None else narrows_percent(share)
    act = task["act"]
    words = f"{act[0].upper()}{act[1:]}{f', {where}' if where else ''}."
    known = f"; {task['known']}" if task["known"] else ""
    why = (
        "Not recorded: without it there is no estimate of that part."
        if narrows is None
        else f"Would narrow the estimate by about {max(narrows, 1)}%{known}."
    )
    return {
        **task,
        "where": where,
        "words": words,
        "why": why,
        "narrows_percent": narrows,
    }


def _unsized(line, parts, made):
    """Return ``[(act, paths)]``: what no size is recorded of, the most loaded first."""
    span = line.span
    if layout.geometry_block(span) is None:
        if layout.engine_form(span.form) is None:
            return []
        return [("count the panels, and tape one panel and the depth", [])]
    prefix = f"span-{span.number}/{line.key}/"
    bars = (span.skeleton or {}).get("members", [])
    sized = set()
    if made.document is not None:
        sized = {name for group in made.document["members"] for name in group["names"]}
    by_role: dict[str, list[str]] = {}
    counts = Counter(role for _, _, _, role in bars)
    for name, _, _, role in bars:
        part = parts.get(prefix + name)
        if name not in sized and not (part is not None and part.is_gone):
            by_role.setdefault(role, []).append(name)
    loaded = _loads(made)
    rows = sorted(
        by_role.items(),
        key=lambda row: -max(loaded.get(name, 0.0) for name in row[1]),
    )
    return [
        (
            "tape every piece of "
            + ranges.members_words(role, names, len(names) == counts[role]),
            [prefix + name for name in names],
        )
        for role, names in rows
    ]


def _loads(made):
    """Return the greatest force in each member, kip; nothing where none is known."""
    if made.document is None:
        return {}
    (answer,) = answer_many([made.document])
    return {
        name: max(
            abs((one["dead_kip"] or 0.0) + (one["live_max_kip"] or 0.0)),
            abs((one["dead_kip"] or 0.0) + (one["live_min_kip"] or 0.0)),
        )
        for name, one in answer["members"].items()
    }
