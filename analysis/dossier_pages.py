"""The facts arranged for the page: rows joined that say the same, drawings, questions.

Pure: from the facts alone, so that the PDF is a function of them.
"""

from __future__ import annotations

import datetime
from itertools import groupby

from django.utils.html import escape
from django.utils.safestring import mark_safe

from bridges import drawing
from shared import dates

from . import dossier_completeness

ROLE_WORDS = {
    "upper-chord": "upper chord",
    "lower-chord": "lower chord",
    "end-post": "end post",
    "hip-vertical": "hip vertical",
    "sub-strut": "sub-strut",
    "sub-tie": "sub-tie",
}
MOST_LINES_BESIDE = 4
SHOWN_NAMES = 12


def laid_out(facts):
    """Return what the templates print beside the facts themselves."""
    lines = [(span, line) for span in facts["spans"] for line in span["lines"]]
    return {
        "recorded_on": facts["recorded_at"][:10],
        "trusses": [_truss(facts, span, line) for span, line in lines],
        "is_many_spanned": len(facts["spans"]) > 1,
        "parts": _rows(facts["parts"]),
        "time_line": _time_line(facts["visits"], facts["bridge"]["built"]),
        "overview": _overview(facts, [line for _, line in lines]),
        "visits": [_visit(visit) for visit in facts["visits"]],
        "competing": _competing(facts["claims"]),
        "other_claims": _other_claims(facts["claims"]),
        "questions": _questions(facts),
        "lacking": dossier_completeness.lacking(
            facts, datetime.date.fromisoformat(facts["recorded_at"][:10])
        ),
        "appendix": [_appendix(facts, span, line) for span, line in lines],
        "assumed": [],
    }


# Trusses: a drawing, and members that are alike in one row.


def _truss(facts, span, line):
    bars = {one["member"]: _bar(one) for one in line["members"]}
    title = f"{line['name']} truss"
    if len(facts["spans"]) > 1:
        title += f", span {span['number']}"
    return {
        "title": title,
        "address": line["address"],
        "drawing": _elevation(span, line, bars, title),
        "conventions": _conventions(bars),
        "rows": _rows(line["members"], named="member"),
        "is_like": "",
    }


def _bar(one):
    if one["is_gone"]:
        return drawing.BarStyle(mark=drawing.GONE)
    if not one["pieces"]:
        return drawing.BarStyle(mark=drawing.UNSEEN) if not one["is_known"] else PLAIN
    origins = {piece["origin"] for piece in one["pieces"]}
    if "addition" in origins:
        return drawing.BarStyle(mark=drawing.ADDITION)
    if "replacement" in origins:
        return drawing.BarStyle(mark=drawing.REPLACEMENT)
    return PLAIN


PLAIN = drawing.BarStyle()


def _elevation(span, line, bars, title):
    if not span["skeleton"]:
        return ""
    told = []
    for mark, words in (
        (drawing.REPLACEMENT, "replaced"),
        (drawing.ADDITION, "added to"),
        (drawing.GONE, "gone"),
        (drawing.UNSEEN, "not recorded"),
    ):
        names = [name for name, bar in bars.items() if bar.mark == mark]
        if names:
            told.append(f"{_and(names)} {words}")
    said = f"Elevation of the {title.lower()}, {span['origin_end']} at the left"
    if told:
        said += ": " + "; ".join(told)
    # A tag's alternate text is taken from the title alone.
    return drawing.elevation(
        span["skeleton"],
        bars,
        title=f"{said}.",
        origin_end=span["origin_end"],
        palette=drawing.PRINT,
        name=f"elevation-{line['address']}",
    )


def _conventions(bars):
    used = {bar.mark for bar in bars.values()}
    words = [
        (drawing.REPLACEMENT, "hatched across, a replacement"),
        (drawing.ADDITION, "hatched along, pieces added to it"),
        (drawing.GONE, "a broken outline, gone"),
        (drawing.UNSEEN, "a question mark, not recorded"),
    ]
    return "; ".join(text for mark, text in words if mark in used)


def _rows(parts, named="name"):
    """Join neighbours that say the same of the same role into one row."""
    rows = []
    for _, alike in groupby(parts, key=_likeness):
        alike = list(alike)
        first = alike[0]
        role = first.get("role", "")
        rows.append(
            {
                **first,
                "names": [one[named] for one in alike],
                "role_words": ROLE_WORDS.get(role, role),
            }
        )
    return rows


def _likeness(one):
    pieces = [(p["words"], p["origin"], p["as_entered"]) for p in one["pieces"]]
    alone = "" if "member" in one else one["name"]
    if not one["is_known"]:
        alone = "" if "member" in one else one["kind"]
    return (
        alone,
        one.get("role", ""),
        pieces,
        one["words"],
        one["is_gone"],
        one["is_known"],
        one.get("said_when"),
        one.get("seen_when"),
        one.get("certainty"),
        one.get("doubt"),
    )


# Visits.

BASIS_IS_OPEN = {"photograph", "drawing", "document"}


def _visit(visit):
    counted = {}
    for one in visit["answers"]:
        counted[one["answer"]] = counted.get(one["answer"], 0) + 1
    words = {
        "same": "the same",
        "changed": "described or changed",
        "gone": "gone",
        "not-seen": "could not be seen",
        "not-looked": "not looked for",
    }
    said = [f"{counted[key]} {text}" for key, text in words.items() if key in counted]
    effects = [line for line in visit["lines"] if line["difference"] is not None]
    return {
        **visit,
        "answered": sum(counted.values()),
        "said": ", ".join(said),
        "unseen": [one for one in visit["answers"] if one["answer"] == "not-seen"],
        "noted": [one for one in visit["answers"] if one["note"]],
        "effects": effects,
        "gaps": [line for line in visit["lines"] if line["gaps"]],
    }


def _overview(facts, lines):
    beside = lines if len(lines) <= MOST_LINES_BESIDE else []
    return {
        "lines": beside,
        "rows": [
            {
                "number": number,
                "visit": visit,
                "limits": [
                    next(
                        (
                            one["standing"]
                            for one in visit["lines"]
                            if one["address"] == line["address"]
                        ),
                        None,
                    )
                    for line in beside
                ],
            }
            for number, visit in enumerate(facts["visits"], start=1)
        ],
    }


# The line of time.

WIDE, HIGH, EDGE, AXIS = 640.0, 92.0, 18.0, 52.0
INK, PENCIL, RULE, RUST = "#1C2730", "#56626B", "#7F878E", "#9A4520"


def _time_line(visits, built):
    """Draw the visits in true proportion; a rust bar where something changed."""
    if not visits:
        return ""
    began = _year(dates.parse(built).earliest) if built else None
    spans = [(_day(v["earliest"] or v["latest"]), _day(v["latest"])) for v in visits]
    first = min([start for start, _ in spans] + ([began] if began else []))
    last = max(end for _, end in spans)
    if last - first < 1:
        first, last = first - 1, last + 1
    scale = (WIDE - 2 * EDGE) / (last - first)

    def x(year):
        return EDGE + (year - first) * scale

    parts = [
        _line(EDGE, AXIS, WIDE - EDGE, AXIS, INK, 1.2),
        *_years(first, last, x),
    ]
    before = None
    for number, (visit, (start, end)) in enumerate(zip(visits, spans, strict=True), 1):
        middle = x((start + end) / 2)
        if visit["changes"] and before is not None:
            parts.append(_bar_between(before, middle))
        before = middle
    lanes = _lanes([x((start + end) / 2) for start, end in spans])
    for number, (visit, (start, end)) in enumerate(zip(visits, spans, strict=True), 1):
        parts += _tick(number, visit, x(start), x(end), lanes[number - 1])
    if began:
        parts.append(_text(x(began), AXIS + 34, "built", PENCIL, 10))
    height = HIGH
    body = "".join(parts)
    said = escape(_time_words(visits, built))
    return mark_safe(
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDE:g} {height:g}" '
        f'width="{WIDE:g}" height="{height:g}" role="img"><title>{said}</title>'
        f"{body}</svg>"
    )


def _time_words(visits, built):
    changed = [dates.display(v["when"]) for v in visits if v["changes"]]
    first, last = (dates.display(visits[i]["when"]) for i in (0, -1))
    said = f"Line of time: {len(visits)} visits from {first} to {last}."
    if built:
        said = f"Line of time from {dates.display(built)}, when built: {said[14:]}"
    if changed:
        said += f" Changes were found at the visits of {_and(changed)}."
    return said


def _years(first, last, x):
    step = next(
        s for s in (1, 2, 5, 10, 20, 25, 50, 100, 500, 10**4) if (last - first) / s <= 9
    )
    start = int(-(-first // step)) * step
    for year in range(start, int(last) + 1, step):
        yield _line(x(year), AXIS, x(year), AXIS + 5, RULE, 1)
        yield _text(x(year), AXIS + 18, str(year), PENCIL, 10.5)


def _bar_between(a, b):
    return (
        f'<rect x="{a:.2f}" y="{AXIS - 4:g}" width="{max(b - a, 2):.2f}" height="8" '
        f'fill="{RUST}"/>'
    )


def _lanes(places):
    """Lift a number that would stand on its neighbour's."""
    lanes, taken = [], {}
    for place in places:
        lane = next(
            lane for lane in range(50) if place - taken.get(lane, -99) >= 15 or lane > 2
        )
        taken[lane] = place
        lanes.append(lane)
    return lanes


def _tick(number, visit, start, end, lane):
    middle = (start + end) / 2
    if end - start > 3:
        yield _line(start, AXIS, end, AXIS, PENCIL, 3)
    is_open = visit["basis"] in BASIS_IS_OPEN
    top = AXIS - 13 - 11 * lane
    yield _line(middle, AXIS, middle, top + 3, INK, 1)
    fill = "#FFFFFF" if is_open else INK
    yield (
        f'<circle cx="{middle:.2f}" cy="{AXIS:g}" r="4" fill="{fill}" '
        f'stroke="{INK}" stroke-width="1.4"/>'
    )
    yield _text(middle, top, str(number), INK, 11, 600)


def _line(x1, y1, x2, y2, colour, width):
    return (
        f'<path d="M{x1:.2f} {y1:.2f}L{x2:.2f} {y2:.2f}" stroke="{colour}" '
        f'stroke-width="{width:g}" fill="none"/>'
    )


def _text(x, y, words, colour, size, weight=400):
    return (
        f'<text x="{x:.2f}" y="{y:.2f}" fill="{colour}" font-family="Source Sans 3" '
        f'font-size="{size:g}" font-weight="{weight}" text-anchor="middle">'
        f"{escape(words)}</text>"
    )


def _day(text):
    return _year(datetime.date.fromisoformat(text))


def _year(day):
    if day is None:
        return None
    return day.year + (day.timetuple().tm_yday - 1) / 365.25


# Claims and open questions.


def _by_about(claims):
    found: dict[str, list] = {}
    for claim in claims:
        found.setdefault(claim["about"], []).append(claim)
    return found.items()


def _competing(claims):
    return [
        {"about": about, "claims": rows}
        for about, rows in _by_about(claims)
        if len({claim["value"] for claim in rows}) > 1
    ]


def _other_claims(claims):
    return [
        claim
        for _, rows in _by_about(claims)
        if len({one["value"] for one in rows}) == 1
        for claim in rows
    ]


def _questions(facts):
    """Return what the record leaves open, in sentences."""
    told = []
    for span in facts["spans"]:
        for line in span["lines"]:
            told += _line_questions(line, span, len(facts["spans"]))
    unknown = [one["name"] for one in facts["parts"] if not one["is_known"]]
    if unknown:
        told.append(f"Not described yet: {_and(unknown)}.")
    told += [
        f"{_capital(one['name'])}: {one['doubt']}"
        for one in _all_parts(facts)
        if one.get("doubt")
    ]
    unsure = [
        one["name" if "name" in one else "path"]
        for one in facts["parts"]
        if one.get("certainty") in ("probable", "guess")
    ]
    if unsure:
        told.append(f"Recorded with some doubt by the surveyor: {_and(unsure)}.")
    for about, rows in _by_about(facts["claims"]):
        if len({one["value"] for one in rows}) > 1 and not any(
            one["is_chosen"] for one in rows
        ):
            told.append(f"Sources disagree on {about}, and none has been chosen.")
    return told


def _line_questions(line, span, spans):
    where = f"{line['name'].lower()} truss"
    if spans > 1:
        where += f", span {span['number']}"
    bare = [one["member"] for one in line["members"] if not one["is_known"]]
    if bare and len(bare) == len(line["members"]):
        yield f"No member of the {where} is described yet."
    elif bare:
        yield f"Members of the {where} not described yet: {_and(bare)}."
    unsure = [
        one["member"]
        for one in line["members"]
        if one.get("certainty") in ("probable", "guess")
    ]
    if unsure:
        yield f"Recorded with some doubt, {where}: {_and(unsure)}."


def _all_parts(facts):
    for span in facts["spans"]:
        for line in span["lines"]:
            for one in line["members"]:
                yield {**one, "name": f"{one['member']}, {line['name'].lower()} truss"}
    yield from facts["parts"]


# The structural appendix.


def _appendix(facts, span, line):
    checks = [one for one in facts["checks"] if one["address"] == line["address"]]
    answered = [one for one in checks if one["document"] is not None]
    present = checks[-1] if checks and checks[-1]["document"] is not None else None
    return {
        "line": line,
        "span": span,
        "checks": checks,
        "present": present and _present(present),
        "assumptions": _told_of(
            answered,
            lambda one: one["assumptions"] + one["answer"].get("assumptions", []),
        ),
        "warnings": _told_of(answered, lambda one: one["answer"].get("warnings", [])),
        "methods": _unique(one["document"].get("method", "") for one in answered),
        "vehicles": _unique(
            one["document"].get("live_load", {}).get("vehicle", "") for one in answered
        ),
        "sources": _unique(
            text for one in answered for text in one["answer"].get("sources", [])
        ),
    }


def _told_of(checks, told):
    """Return each statement once, with the dates it holds for (none: for all)."""
    found: dict[str, list] = {}
    for check in checks:
        for text in dict.fromkeys(told(check)):
            found.setdefault(text, []).append(dates.display(check["when"]))
    return [
        {"text": text, "when": "" if len(when) == len(checks) else _and(when)}
        for text, when in found.items()
    ]


def _present(check):
    """Return the members of the present check with what governs each."""
    answer = check["answer"]
    governing = (answer.get("governing") or {}).get("operating") or {}
    rows = [
        {
            "name": name,
            "kind": ROLE_WORDS.get(one.get("kind"), one.get("kind")),
            "is_governing": name == governing.get("member"),
            "length_ft": one.get("length_ft"),
            "dead_kip": one.get("dead_kip"),
            "live_max_kip": one.get("live_max_kip"),
            "live_min_kip": one.get("live_min_kip"),
            "area_in2": one.get("area_in2"),
            **_holds(one),
            "rating": (one.get("rating") or {}).get("operating"),
        }
        for name, one in (answer.get("members") or {}).items()
    ]
    items = (answer.get("dead_load") or {}).get("items", [])
    return {**check, "rows": rows, "dead_items": items}


def _holds(one):
    held = ((one.get("resistance") or {}).get("operating")) or {}
    return {
        "tension_kip": held.get("tension_kip"),
        "compression_kip": held.get("compression_kip"),
    }


def _unique(values):
    return [one for one in dict.fromkeys(values) if one]


def _and(words):
    words = list(words)
    if len(words) > SHOWN_NAMES:
        more = len(words) - SHOWN_NAMES
        return f"{', '.join(words[:SHOWN_NAMES])} and {more} more"
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"


def _capital(text):
    return text[:1].upper() + text[1:]
