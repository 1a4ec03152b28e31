"""The facts arranged for the page: rows joined that say the same, drawings, questions.

Pure: from the facts alone, so that the PDF is a function of them.
"""

from __future__ import annotations

import calendar
import datetime
import re
from itertools import pairwise

from bridges import drawing
from bridges.timeline import Event, Stretch, Tick, line_of_time
from shared import dates
from shared.templatetags.figures import figure, signed

from . import (
    dossier_completeness,
    dossier_fields,
    dossier_maps,
    effects,
    section_drawing,
    telling,
)
from .dossier_photos import log, pairs
from .dossier_questions import by_about, listed
from .drawings import NOTHING_KIP, ROLE_WORDS, most_kip

MOST_LINES_BESIDE = 4
TIME_LINE_PX = 640


def laid_out(facts):
    """Return what the templates print beside the facts themselves."""
    lines = [(span, line) for span in facts["spans"] for line in span["lines"]]
    today = datetime.date.fromisoformat(facts["recorded_at"][:10])
    rows = dossier_completeness.completeness(facts, today)
    names = {one["key"]: one["name"] for one in log(facts)}
    for photo in facts["photographs"]:
        photo["file_name"] = names.get(photo["key"], "")
    return {
        "gate": dossier_completeness.gate(rows),
        "claimed": _claimed(facts),
        "designed": _designed(facts["designed"]),
        "findings": _findings(facts),
        "tables": _tables(facts),
        "location_map": dossier_maps.location(facts),
        "sketch_map": dossier_maps.sketch(facts),
        "pairs": pairs(facts),
        "bearing": dossier_maps.bearing_of(facts),
        "recorded_on": facts["recorded_at"][:10],
        "place_line": facts["bridge"]["heading"].removeprefix(facts["bridge"]["name"]),
        "cover": _cover(facts["spans"]),
        "spans": [_span(span, len(facts["spans"]) > 1) for span in facts["spans"]],
        "is_many_spanned": len(facts["spans"]) > 1,
        "parts": _rows(facts["parts"]),
        "time_line": _time_line(facts),
        "overview": _overview(facts, [line for _, line in lines]),
        "visits": [_visit(facts, visit) for visit in facts["visits"]],
        "repairs": [
            {**one, "on": _named(facts, one["paths"])} for one in facts["repairs"]
        ],
        "competing": _competing(facts["claims"]),
        "other_claims": _other_claims(facts["claims"]),
        "questions": facts["questions"],
        "lacking": [row for row in rows if not row.is_there],
        "appendix": _appendix(facts, lines),
        "method": _method(facts),
        "below_posting": _below_posting(facts),
    }


# The officer's answers.


def _said(facts, name):
    field = dossier_fields.BY_NAME[name]
    return field.words(facts["case"]["answers"][name]).strip()


def _claimed(facts):
    """Return (label, words) of what is claimed, the unanswered said to be."""
    rows = [
        ("Criteria", _said(facts, "criteria") or "Not named"),
        ("Considerations", _considerations(facts)),
        ("Areas of significance", _said(facts, "areas")),
        ("Level", _said(facts, "level")),
        ("Period of significance", facts["narrative"]["period"] or "Not given"),
        ("Why this period", _said(facts, "period_why")),
        ("Dates of note", _said(facts, "significant_dates")),
        ("Person of note", _said(facts, "person")),
        ("Cultural affiliation", _said(facts, "affiliation")),
    ]
    return [(label, words) for label, words in rows if words]


def _considerations(facts):
    told = []
    for letter, words in dossier_fields.CONSIDERATIONS:
        if facts["case"]["answers"][f"consideration_{letter}"] != "yes":
            continue
        why = ""
        if letter in dossier_fields.EXPLAINED:
            why = _said(facts, f"consideration_{letter}_why")
        told.append(f"{letter}, {words}{': ' + why if why else ''}")
    return "; ".join(told)


def _findings(facts):
    return [
        {
            "label": label,
            "rating": _said(facts, f"integrity_{name}"),
            **{
                part: _said(facts, f"integrity_{name}_{part}")
                for part in ("why", "evidence", "by", "on")
            },
        }
        for name, label, _ in dossier_fields.ASPECTS
    ]


def _designed(rows):
    """Return what each truss works out to, trusses that come out alike as one."""
    return [
        {**alike[0], "trusses": _trusses([one["line"] for one in alike])}
        for _, alike in _grouped(
            rows, lambda one: (one["sentences"], one["gaps"], one["rests_on"])
        )
    ]


# Sections of answers that are printed as tables, but for what stands elsewhere.
TABLED = (
    dossier_fields.IDENTITY,
    dossier_fields.KIND,
    dossier_fields.PAPERS,
    dossier_fields.BOUNDARY,
    dossier_fields.PREPARED,
)
ELSEWHERE = {"boundary_why", "questions_read", "state_code"}


def _tables(facts):
    tables = []
    for title in TABLED:
        rows = [
            (field.label, _said(facts, field.name))
            for field in dossier_fields.FIELDS
            if field.section == title and field.name not in ELSEWHERE
        ]
        rows = [(label, words) for label, words in rows if words]
        if rows:
            tables.append({"title": title, "rows": rows})
    return tables


# Trusses: what differs from line to line, drawn and tabled once where it does not.


def _span(span, is_one_of_many):
    title = f", span {span['number']}" if is_one_of_many else ""
    return {
        "number": span["number"],
        "title": title,
        "drawings": _drawings(span, title),
        "rows": _member_rows(span["lines"]),
        "sections": _sections(span),
        "plan": dossier_maps.plan(span),
        "is_truss": bool(span["lines"]) and bool(span["skeleton"]),
    }


def _cover(spans):
    """Draw the longest truss for the first page, plain: its outline, not its state."""
    trusses = [span for span in spans if span["skeleton"]]
    if not trusses:
        return ""
    span = max(trusses, key=lambda one: one["length_ft"] or 0)
    return drawing.elevation(
        span["skeleton"],
        title=f"Outline of the truss, {span['origin_end']} at the left.",
        origin_end=span["origin_end"],
        palette=drawing.PRINT,
        name="cover",
    )


MOST_SECTIONS = 12


def _sections(span):
    """Draw each section that a member of this span has, alike ones once."""
    found: dict[str, list] = {}
    states = {}
    for line in span["lines"]:
        for one in line["members"]:
            if one["is_gone"] or not one["pieces"]:
                continue
            state = one["state"]
            key = repr((state.get("components"), state.get("built_up")))
            found.setdefault(key, []).append(one["member"])
            states[key] = (state, "; ".join(piece["words"] for piece in one["pieces"]))
    drawn = []
    for number, (key, names) in enumerate(found.items()):
        state, words = states[key]
        names = listed(dict.fromkeys(names))
        svg = section_drawing.section(
            state,
            f"Section of {names}: {words}.",
            f"section-{span['number']}-{number}",
        )
        if svg:
            is_arranged = section_drawing.is_arranged(state)
            several = sum(int(p.get("count", 1)) for p in state["components"]) > 1
            drawn.append(
                {
                    "svg": svg,
                    "names": names,
                    "words": words,
                    "is_loose": several and not is_arranged,
                }
            )
    return drawn[:MOST_SECTIONS]


def _drawings(span, title):
    """Draw each truss line, lines that are alike as one."""
    if not span["skeleton"]:
        return []
    alike: list[tuple] = []
    for line in span["lines"]:
        bars = {one["member"]: _bar(one) for one in line["members"]}
        same = next((names for names, other in alike if other == bars), None)
        if same is None:
            alike.append(([line["name"]], bars))
        else:
            same.append(line["name"])
    return [
        _drawing(span, f"{_trusses(names)}{title}", bars, index)
        for index, (names, bars) in enumerate(alike)
    ]


def _trusses(names):
    noun = "truss" if len(names) == 1 else "trusses"
    return f"{listed(names)} {noun}".lower()


def _drawing(span, title, bars, index):
    told = []
    for mark, words in MARKS:
        names = [name for name, bar in bars.items() if bar.mark == mark]
        if names:
            told.append(f"{listed(names)} {words}")
    said = f"Elevation of the {title}, {span['origin_end']} at the left"
    if told:
        said += ": " + "; ".join(told)
    used = {bar.mark for bar in bars.values()}
    return {
        "title": title,
        # The text beside a figure's tag is taken from the drawing's title alone.
        "svg": drawing.elevation(
            span["skeleton"],
            bars,
            title=f"{said}.",
            origin_end=span["origin_end"],
            palette=drawing.PRINT,
            name=f"elevation-{span['number']}-{index}",
        ),
        "conventions": "; ".join(words for mark, words in CONVENTIONS if mark in used),
    }


MARKS = (
    (drawing.REPLACEMENT, "replaced"),
    (drawing.ADDITION, "added to"),
    (drawing.GONE, "gone"),
    (drawing.UNSEEN, "not recorded"),
)
CONVENTIONS = (
    (drawing.REPLACEMENT, "hatched across, a replacement"),
    (drawing.ADDITION, "hatched along, pieces added to it"),
    (drawing.GONE, "a broken outline, gone"),
    (drawing.UNSEEN, "a question mark, not recorded"),
)
PLAIN = drawing.BarStyle()


def _bar(one):
    if one["is_gone"]:
        return drawing.BarStyle(mark=drawing.GONE)
    if not one["is_known"]:
        return drawing.BarStyle(mark=drawing.UNSEEN)
    origins = {piece["origin"] for piece in one["pieces"]}
    for origin in (drawing.ADDITION, drawing.REPLACEMENT):
        if origin in origins:
            return drawing.BarStyle(mark=origin)
    return PLAIN


def _member_rows(lines):
    """Return members row by row, those that are alike as one, with their trusses."""
    by_member: dict[str, list] = {}
    for line in lines:
        for one in line["members"]:
            by_member.setdefault(one["member"], []).append((line["name"], one))
    entries = []
    for member, found in by_member.items():
        for _, alike in _grouped(found, lambda pair: _likeness(pair[1])):
            names = [name for name, _ in alike]
            where = "all" if len(names) == len(lines) > 2 else listed(names).lower()
            if len(names) == len(lines) == 2:
                where = "both"
            entries.append({**alike[0][1], "where": where, "member": member})
    return [
        {
            **alike[0],
            **_shortly(alike[0]),
            "names": [one["member"] for one in alike],
            "role_words": ROLE_WORDS.get(alike[0]["role"], alike[0]["role"]),
        }
        for _, alike in _grouped(entries, lambda one: (one["where"], _likeness(one)))
    ]


MONTH = re.compile(rf"\b({'|'.join(calendar.month_name[1:])})\b")


def short(date):
    """Say a date short enough for a narrow column: “12 Oct 2024”."""
    return MONTH.sub(lambda month: month[0][:3], dates.display(date)) if date else ""


def _shortly(one):
    return {
        "said_short": short(one.get("said_when")),
        "seen_short": short(one.get("seen_when")),
    }


def _grouped(things, key):
    """Group things of equal key in the order in which each key is first met."""
    found: dict = {}
    for one in things:
        found.setdefault(repr(key(one)), []).append(one)
    return found.items()


def _rows(parts):
    """Join parts of one kind of which nothing is known into one row."""
    return [
        {
            **alike[0],
            **_shortly(alike[0]),
            "names": [one["name"] for one in alike],
        }
        for _, alike in _grouped(
            parts, lambda one: one["path"] if one["is_known"] else _likeness(one)
        )
    ]


def _likeness(one):
    return (
        one.get("role") or one.get("kind"),
        [(p["words"], p["origin"], p["as_entered"]) for p in one["pieces"]],
        one["words"],
        one["is_gone"],
        one["is_known"],
        one.get("said_when"),
        one.get("seen_when"),
        one.get("certainty"),
        one.get("doubt"),
    )


# Visits.


def _visit(facts, visit):
    counted = {}
    for one in visit["answers"]:
        counted[one["answer"]] = counted.get(one["answer"], 0) + 1
    said = [f"{counted[key]} {text}" for key, text in ANSWERS if key in counted]
    unseen = [one for one in visit["answers"] if one["answer"] == "not-seen"]
    noted = [one for one in visit["answers"] if one["note"]]
    effects = [line for line in visit["lines"] if line["difference"] is not None]
    return {
        **visit,
        "answered": sum(counted.values()),
        "said": ", ".join(said),
        "unseen": _said_of(facts, unseen, "reason"),
        "noted": _said_of(facts, noted, "note"),
        "changes": [_change(change, effects, visit) for change in visit["changes"]],
        "wholes": _wholes(visit, effects),
        "joint": _joint_sentences(visit, effects),
        "gaps": [line for line in visit["lines"] if line["gaps"]],
    }


ANSWERS = (
    ("same", "the same"),
    ("changed", "described or changed"),
    ("gone", "gone"),
    ("not-seen", "could not be seen"),
    ("not-looked", "not looked for"),
)
# As ``effects.sentences`` ends the sentence of a change that does nothing.
NOTHING = "no effect on the truss that the check can see."


def _change(change, effects, visit):
    """Return a change with its effects, trusses that fare alike in one row."""
    rows = [
        {**alike[0], "where": _where(alike, visit)}
        for _, alike in _grouped(change["effects"], _printed)
    ]
    told = [
        (line["line"], sentence.removeprefix(f"{change['title']}: "))
        for line in effects
        for sentence in line["sentences"]
        if sentence.startswith(f"{change['title']}: ")
        and not sentence.endswith(NOTHING)
    ]
    alike = [
        (pairs, _trusses([n for n, _ in pairs])) for _, pairs in _grouped(told, _second)
    ]
    if len(alike) == 1:
        did = [f"It {alike[0][0][0][1]}"]
    else:
        did = [f"On the {where} it {pairs[0][1]}" for pairs, where in alike]
    return {**change, "rows": rows, "did": " ".join(did)}


def _second(pair):
    return pair[1]


def _printed(effect):
    """Return the figures of an effect as they are printed."""
    return [signed((effect[measure] or {}).get(name)) for measure, name in FIGURES]


FIGURES = (("dead_tons", "share"), ("limit_tons", "share"), ("limit_tons", "alone"))


def _where(alike, visit):
    names = [one["line"] for one in alike]
    if len(names) == len(visit["lines"]) == 2:
        return "both"
    return "all" if len(names) == len(visit["lines"]) > 2 else listed(names).lower()


def _wholes(visit, effects):
    """Return what all changes of a visit did together, trusses alike in one row."""
    rows = [
        {
            "line": line["line"],
            "before": figure(line["before"]["limit_tons"]),
            "after": figure(line["after"]["limit_tons"]),
            "dead_tons": signed(line["difference"].get("dead_tons")),
            "limit_tons": signed(line["difference"].get("limit_tons")),
            "is_estimated": line["difference"].get("limit_tons") is not None,
            "sentence": next(iter(line["sentences"]), ""),
        }
        for line in effects
    ]
    return [
        {
            **alike[0],
            "where": _where(alike, visit),
            "trusses": _trusses([one["line"] for one in alike]).capitalize(),
        }
        for _, alike in _grouped(rows, lambda one: {**one, "line": ""})
    ]


def _joint_sentences(visit, effects):
    """Return sentences about several changes shared out as one."""
    titles = tuple(f"{change['title']}: " for change in visit["changes"])
    told = [
        (line["line"], sentence)
        for line in effects
        for sentence in line["sentences"][1:]
        if not sentence.startswith(titles) and not sentence.endswith(NOTHING)
    ]
    return [
        f"{_trusses([name for name, _ in alike]).capitalize()}. {sentence}"
        for _, alike in _grouped(told, _second)
        for sentence in [alike[0][1]]
    ]


def _said_of(facts, answers, name):
    """Return each remark once, with all the parts that it was made of."""
    return [
        {
            "of": _named(facts, [one["element"] for one in alike]),
            "text": alike[0][name],
        }
        for _, alike in _grouped(answers, lambda one: one[name])
    ]


def _named(facts, paths):
    """Name parts by their paths, members together by truss: “L0L1, both trusses”."""
    members = {
        one["path"]: (one["member"], line["name"], span["number"])
        for span in facts["spans"]
        for line in span["lines"]
        for one in line["members"]
    }
    names = {one["path"]: one["name"] for one in facts["parts"]}
    names |= {
        f"plate/{one['key']}": f"{one['kind_words'].lower()}, {one['location']}"
        for one in facts["plates"]
    }
    trusses: dict[str, list] = {}
    for path in paths:
        if path in members:
            member, line, _ = members[path]
            trusses.setdefault(member, []).append(line)
    said = [
        f"{listed([member for member, _ in alike])}, {_trusses(alike[0][1])}"
        for _, alike in _grouped(trusses.items(), lambda pair: pair[1])
    ]
    said += [names.get(path, path) for path in paths if path not in members]
    return "; ".join(said)


def _overview(facts, lines):
    beside = lines if len(lines) <= MOST_LINES_BESIDE else []
    return {
        "lines": beside,
        "rows": [
            {
                "number": number,
                "visit": visit,
                "limits": [_standing_of(visit, line["address"]) for line in beside],
            }
            for number, visit in enumerate(facts["visits"], start=1)
        ],
    }


def _standing_of(visit, address):
    rows = (one["standing"] for one in visit["lines"] if one["address"] == address)
    return next(rows, None)


# The line of time.


def _time_line(facts):
    visits = facts["visits"]
    if not visits:
        return ""
    ticks = [
        Tick(
            day=_day(visit["latest"]),
            earliest=_day(visit["earliest"]) if visit["earliest"] else None,
            label=str(number),
            basis=visit["basis"],
            title=f"{dates.display(visit['when'])}, {visit['basis_words'].lower()}",
        )
        for number, visit in enumerate(visits, start=1)
    ]
    stretches = [
        Stretch(
            first=_day(before["latest"]),
            last=_day(after["latest"]),
            label=_stretch_words(after),
        )
        for before, after in pairwise(visits)
        if after["changes"]
    ]
    built = facts["bridge"]["built"]
    date = dates.parse(built) if built else None
    return line_of_time(
        ticks,
        stretches,
        until=max(one.day for one in ticks),
        built=Event(date.earliest, date.latest, "built") if date else None,
        title=_time_words(visits, built),
        palette=drawing.PRINT,
        width_px=TIME_LINE_PX,
    )


def _stretch_words(visit):
    count = len(visit["changes"])
    words = "1 change" if count == 1 else f"{count} changes"
    gains = [(line["difference"] or {}).get("limit_tons") for line in visit["lines"]]
    gains = [one for one in gains if one is not None and abs(one) >= effects.TINY]
    return f"{words}, {signed(min(gains))} tons" if gains else words


def _time_words(visits, built):
    changed = [dates.display(v["when"]) for v in visits if v["changes"]]
    first, last = (dates.display(visits[i]["when"]) for i in (0, -1))
    count = "1 visit" if len(visits) == 1 else f"{len(visits)} visits"
    said = f"Line of time: {count} from {first} to {last}"
    if built:
        said += f"; built {dates.display(built)}"
    if changed:
        said += f"; changes found on {listed(changed)}"
    return f"{said}."


def _day(text):
    return datetime.date.fromisoformat(text)


# Claims and open questions.


def _competing(claims):
    return [
        {"about": about, "claims": rows}
        for about, rows in by_about(claims)
        if len({claim["value"] for claim in rows}) > 1
    ]


def _other_claims(claims):
    return [
        claim
        for _, rows in by_about(claims)
        if len({one["value"] for one in rows}) == 1
        for claim in rows
    ]


# The structural appendix.


def _appendix(facts, lines):
    """Return the checks of each truss, trusses checked alike throughout as one."""
    found = [
        (
            span,
            line,
            [one for one in facts["checks"] if one["address"] == line["address"]],
        )
        for span, line in lines
    ]
    return [
        _checked(facts, alike)
        for _, alike in _grouped(
            found,
            lambda row: [
                (one["when"], one.get("sha256"), one["gap"]) for one in row[2]
            ],
        )
    ]


def _checked(facts, alike):
    span, line, checks = alike[0]
    present = checks[-1] if checks and checks[-1]["document"] is not None else None
    names = [_line_name(facts, *row[:2]) for row in alike]
    return {
        "title": _trusses(names).capitalize(),
        "trusses": _trusses(names),
        "is_plural": len(names) > 1,
        "checks": checks,
        "present": present and _present(present, span, line, _trusses(names)),
    }


def _below_posting(facts):
    """Return a sentence for each truss whose present estimate is below the posting."""
    posted = next(
        (
            one["state"].get("tons")
            for one in facts["parts"]
            if one["kind"] == "limit" and one["is_known"] and not one["is_gone"]
        ),
        None,
    )
    if posted is None:
        return []
    present = {check["address"]: check for check in facts["checks"]}
    return [
        f"The estimate for the {check['line'].lower()} truss as it now stands, "
        f"{figure(check['limit_tons'])} tons, is below the posted limit of "
        f"{posted:g} tons: tell the owner."
        for check in present.values()
        if check.get("limit_tons") is not None and check["limit_tons"] < posted
    ]


def _line_name(facts, span, line):
    name = line["name"]
    return f"{name} (span {span['number']})" if len(facts["spans"]) > 1 else name


def _method(facts):
    """Return what all checks took for granted, warned of and stand on."""
    checks = [one for one in facts["checks"] if one["document"] is not None]
    return {
        "assumptions": _told_of(
            checks,
            lambda one: one["assumptions"] + one["answer"].get("assumptions", []),
        ),
        "warnings": _told_of(checks, lambda one: one["answer"].get("warnings", [])),
        "methods": _unique(one["document"].get("method", "") for one in checks),
        "vehicles": _unique(
            one["document"].get("live_load", {}).get("vehicle", "") for one in checks
        ),
        "sources": _unique(
            text for one in checks for text in one["answer"].get("sources", [])
        ),
    }


def _told_of(checks, told):
    """Return each statement once, with the checks it holds for (none: for all)."""
    found: dict[str, list] = {}
    for check in checks:
        for text in dict.fromkeys(told(check)):
            found.setdefault(text, []).append(check)
    return [
        {"text": text, "when": "" if len(held) == len(checks) else _held(held)}
        for text, held in found.items()
    ]


def _held(checks):
    """Say for which trusses and dates something holds, dates alike named once."""
    dated: dict[str, list] = {}
    for check in checks:
        dated.setdefault(check["address"], []).append(dates.display(check["when"]))
    names = {check["address"]: check["line"] for check in checks}
    return "; ".join(
        f"{_trusses([names[address] for address, _ in alike])}, {listed(alike[0][1])}"
        for _, alike in _grouped(dated.items(), _second)
    )


def _present(check, span, line, trusses):
    """Return the members of the present check, and their forces drawn."""
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
            "tension_only": one.get("tension_only"),
            **_holds(one),
            "rating": (one.get("rating") or {}).get("operating"),
        }
        for name, one in (answer.get("members") or {}).items()
    ]
    items = telling.weights((answer.get("dead_load") or {}).get("items", []))
    return {
        **check,
        "rows": rows,
        "dead_items": items,
        "drawing": _forces_drawn(span, line, rows, trusses),
    }


def _forces_drawn(span, line, rows, trusses):
    bars = {row["name"]: _force_bar(row) for row in rows}
    if not span["skeleton"] or all(bar == PLAIN for bar in bars.values()):
        return ""
    governing = next((row["name"] for row in rows if row["is_governing"]), "")
    said = (
        f"Greatest forces in the {trusses} under dead load and "
        "vehicle, in kip; the table gives them"
    )
    if governing:
        said += f"; {governing} governs"
    return drawing.elevation(
        span["skeleton"],
        bars,
        title=f"{said}.",
        origin_end=span["origin_end"],
        palette=drawing.PRINT,
        dimensions=False,
        name=f"forces-{line['address']}",
    )


def _force_bar(row):
    force = most_kip(row)
    if force is None:
        return PLAIN
    if abs(force) < NOTHING_KIP:
        action = drawing.SLACK if row["tension_only"] else drawing.ZERO
        return drawing.BarStyle(action=action, is_governing=row["is_governing"])
    return drawing.BarStyle(
        force_kip=force,
        action=drawing.TENSION if force > 0 else drawing.COMPRESSION,
        label=signed(force),
        is_governing=row["is_governing"],
    )


def _holds(one):
    held = ((one.get("resistance") or {}).get("operating")) or {}
    return {
        "tension_kip": held.get("tension_kip"),
        "compression_kip": held.get("compression_kip"),
    }


def _unique(values):
    return [one for one in dict.fromkeys(values) if one]
