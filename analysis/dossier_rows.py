"""The rows of the completeness list, in the order of the document.

Each is a pure function of the facts and today's date. Which of them a nomination form
or a regulation asks for and which are the society's own is the table's business
(``dossier_completeness``).
"""

from __future__ import annotations

import datetime
import re

from django.core.exceptions import ValidationError

from shared import dates

from . import dossier_fields
from .dossier_case import FUNCTION_OF_STATUS
from .dossier_photos import PHOTO_NAME, log
from .dossier_row import (
    MISSING,
    PARTLY,
    THERE,
    Row,
    answered,
    made,
    named,
)

# Common practice, not a rule: a summary has some fifty words at the least and two
# hundred and fifty at the most.
FEWEST_WORDS, MOST_WORDS = 50, 250
# National Park Service photograph policy as published about 2013: at least 1200 by
# 1600 pixels. Whether the 2024 policy kept the figures is not known here.
FEWEST_PX, FEWEST_LONG_PX = 1200, 1600
OWNER_DAYS = 24 * 31
# 36 CFR 60.4(g).
YEARS_TO_BE_HISTORIC = 50
FEWEST_COMPARED = 3
FEWEST_DECIMALS = 5
CURRENT_YEARS = 5
SIX_DECIMALS = 6
PRIMARY = {"drawing", "photograph", "newspaper", "record", "plate", "field"}
# Changes to these are no repair of the bridge.
NOT_REPAIRED = {"limit", "plate", "setting"}
# What time and traffic did is no alteration.
WORN = {"lost-section", "loosened", "bent", "cracked"}
STATUS_EVENTS = {
    "closed": "closed",
    "bypassed": "bypassed",
    "moved": "moved",
    "lost": "lost",
}
YEAR = re.compile(r"\b(?:1[6-9]|20)\d\d\b")
CITATION = re.compile(r"\[\d+\]")
DECIMAL = re.compile(r"-?\d{1,3}\.(\d+)")


def _date(text):
    try:
        return dates.parse(text)
    except (ValidationError, ValueError):
        return None


def _paragraphs(text):
    return [one for one in re.split(r"\n\s*\n", text) if one.strip()]


def _searched(facts, name):
    """Whether a search is told; that it does not apply is no search."""
    return answered(facts, name) not in ("", dossier_fields.NOT_APPLICABLE)


def _has(text, *words):
    text = text.lower()
    return any(word.lower() in text for word in words)


# Identity and place.


def names(facts, today):
    bridge = facts["bridge"]
    gaps = [
        "" if bridge["town"] else "No town or nearest place.",
        "" if bridge["road"] else "Not said what it carries.",
        "" if bridge["crossing"] else "Not said what it crosses.",
        ""
        if bridge["also_known_as"] or answered(facts, "other_names") == "none-known"
        else "Other names are neither given nor said to be unknown.",
    ]
    title = "Historic name, other names, and a line that says which bridge"
    mend = "bridge" if any(gaps[:3]) else "narrative.other_names"
    return made("names", title, mend, gaps, bridge["heading"], True)


def numbers(facts, today):
    lines = [one for one in answered(facts, "numbers").splitlines() if one.strip()]
    bare = [one for one in lines if ":" not in one and one != "N/A"]
    gaps = [
        "" if facts["bridge"]["number"] else "The society has not numbered it.",
        "" if lines else "Numbers given by others are neither listed nor N/A.",
        f"No issuer before the colon: {named(bare)}." if bare else "",
    ]
    title = "Numbers, each with who gave it"
    full = f"{facts['society']}: {facts['bridge']['number']}; {'; '.join(lines)}"
    return made("numbers", title, "narrative.numbers", gaps, full, True)


def location(facts, today):
    code = answered(facts, "county_code")
    state = answered(facts, "state_code")
    gaps = [
        "" if re.fullmatch(r"[A-Z]{2}", state) else "No state of two capitals.",
        "" if re.fullmatch(r"\d{5}", code) else "No county code of five digits.",
        "" if facts["bridge"]["county"] else "No county.",
        "" if facts["bridge"]["town"] else "No town.",
        "" if answered(facts, "vicinity") else "Not said whether in the town or near.",
    ]
    full = f"{facts['bridge']['town']}, {facts['bridge']['county']}, {state} ({code})."
    title = "State, county and town, or its vicinity"
    return made("location", title, "narrative.state_code", gaps, full, True)


def publication(facts, today):
    decided = answered(facts, "not_for_publication")
    gap = "" if decided else "Not decided."
    if decided == "yes" and not answered(facts, "not_for_publication_why"):
        gap = "Kept out of print, and not said why."
    if decided == "no" and facts["bridge"]["position"]["is_sensitive"]:
        gap = "The record keeps the position back; this says it may be printed."
    full = "May be printed." if decided == "no" else "Kept out of print."
    title = "Whether the position may be printed"
    mend = "narrative.not_for_publication"
    return made("publication", title, mend, [gap], full, bool(decided))


def owner(facts, today):
    checked = answered(facts, "owner_checked")
    day = _date(checked) if checked else None
    gaps = [
        "" if facts["bridge"]["owner"] else "No owner is recorded.",
        "" if answered(facts, "owner_class") else "No class of owner.",
    ]
    if day is None or day.latest is None:
        gaps.append("Not said when the ownership was checked.")
    elif (today - day.latest).days > OWNER_DAYS:
        gaps.append("Checked more than two years ago.")
    mend = "bridge" if gaps[0] else "narrative.owner_class"
    full = facts["bridge"]["owner"]
    return made(
        "owner",
        "Owner, class of owner, and when it was checked",
        mend,
        gaps,
        full,
        True,
    )


def counts(facts, today):
    given = [answered(facts, "contributing"), answered(facts, "noncontributing")]
    are_numbers = all(one.isdigit() for one in given)
    listed = [one for one in answered(facts, "resources").splitlines() if one.strip()]
    gaps = ["" if are_numbers else "Not counted: a number for each."]
    if are_numbers:
        whole = sum(int(one) for one in given)
        gaps.append("" if whole else "Nothing is counted.")
        if whole != len(listed):
            gaps.append(f"{whole} counted, {len(listed)} named.")
    title = "Structures counted, and each of them named"
    full = f"{given[0]} contributing, {given[1]} not."
    return made("counts", title, "narrative.contributing", gaps, full, any(given))


def functions(facts, today):
    then, now = (
        answered(facts, "historic_function"),
        answered(facts, "current_function"),
    )
    fitting = FUNCTION_OF_STATUS.get(facts["bridge"]["status"])
    gaps = [
        "" if then else "No function then.",
        "" if now else "No function now.",
    ]
    if now and fitting and now not in fitting:
        words = facts["bridge"]["status_words"]
        gaps.append(f"The function now does not go with its status, {words}.")
    said = dossier_fields.BY_NAME["current_function"].words
    full = f"{said(then)}; now {said(now)}"
    mend = "narrative.historic_function"
    return made(
        "functions", "Function then and now", mend, gaps, full, bool(then or now)
    )


# Recorded material words that speak for each answer.
SHOWN_BY = {
    "iron": ("iron",),
    "steel": ("steel",),
    "wood": ("timber", "wood", "plank"),
    "stone": ("stone", "masonry"),
    "concrete": ("concrete",),
}


def materials(facts, today):
    chosen = answered(facts, "materials")
    words = " ".join(
        [
            *(one["words"] for span in facts["spans"] for one in span["facets"]),
            *(one["words"] for one in facts["parts"] if one["is_known"]),
        ]
    )
    unshown = [one for one in chosen if not _has(words, *SHOWN_BY[one])]
    said = dict(dossier_fields.MATERIALS)
    gaps = [
        "" if answered(facts, "classification") else "No classification.",
        "" if chosen else "No material.",
        f"On no recorded part: {named(said[one] for one in unshown)}."
        if unshown
        else "",
    ]
    full = (
        f"{answered(facts, 'classification')}; {'; '.join(said[one] for one in chosen)}"
    )
    title = "Classification, and materials that some part is recorded to have"
    return made(
        "materials", title, "narrative.classification", gaps, full, bool(chosen)
    )


# Description.


def summary(facts, today):
    text = answered(facts, "opening_description")
    words = len(text.split())
    bridge, spans = facts["bridge"], facts["spans"]
    forms = [span["facets"][0]["words"] for span in spans]
    gaps = []
    if words < FEWEST_WORDS:
        gaps.append(
            f"{words} words: at least {FEWEST_WORDS}." if words else "Not written."
        )
    if words > MOST_WORDS:
        gaps.append(f"{words} words: at most {MOST_WORDS}.")
    if words:
        wanted = {
            "its type": _has(text, *forms) if forms else True,
            "the number of spans": _has(text, "span"),
            "a length": bool(
                re.search(r"\d[\d.]*\s*(?:ft|feet|foot|m\b|metres?|')", text)
            ),
            "a year": bool(YEAR.search(text)),
            "what it crosses": _has(text, bridge["crossing"]),
        }
        lacking = [name for name, is_there in wanted.items() if not is_there]
        gaps.append(f"Says nothing of {', '.join(lacking)}." if lacking else "")
    title = "Summary description, one paragraph"
    return made(
        "summary",
        title,
        "narrative.opening_description",
        gaps,
        f"{words} words.",
        bool(words),
    )


def description(facts, today):
    members = [
        (f"{one['member']}, {line['name'].lower()} truss", one)
        for span in facts["spans"]
        for line in span["lines"]
        for one in line["members"]
    ]
    rows = members + [(one["name"], one) for one in facts["parts"]]
    silent = [
        name
        for name, one in rows
        if not (one["is_known"] or one["is_gone"] or one.get("seen_when"))
    ]
    bare = [name for name, one in members if not (one["pieces"] or one["is_gone"])]
    gaps = [
        "" if facts["narrative"]["description"].strip() else "No text is written.",
        f"Never looked at: {named(silent)}." if silent else "",
        f"No pieces recorded: {named(bare)}." if bare else "",
    ]
    title = "Full description: every part described, gone or not visible"
    full = f"{len(rows)} parts."
    mend = "narrative.description" if gaps[0] else "visit"
    return made("description", title, mend, gaps, full, len(silent) < len(rows))


def sizes(facts, today):
    gaps = []
    for span in facts["spans"]:
        wanted = {"length": span["length_ft"], "roadway width": span["roadway_ft"]}
        if span["family"] == "truss":
            wanted |= {"panels": span["panels"], "depth": span["depth_ft"]}
        missing = [name for name, value in wanted.items() if not value]
        if missing:
            gaps.append(f"Span {span['number']}: no {', '.join(missing)}.")
        elif span["measured_how"] == "unknown":
            gaps.append(f"Span {span['number']}: not said how it was measured.")
    if not facts["spans"]:
        gaps = ["No span is recorded."]
    title = "Length, width, panels and depth, and how they were measured"
    return made("sizes", title, "span", gaps, "Recorded for every span.", True)


def alterations(facts, today):
    changed = [
        change
        for visit in facts["visits"]
        for change in visit["changes"]
        if change["part"] not in NOT_REPAIRED and not set(change["kinds"]) <= WORN
    ]
    repairs = facts["repairs"]
    told = {path for repair in repairs for path in repair["paths"]}
    untold = [one["title"] for one in changed if not told & set(one["elements"])]
    bare = [one["title"] for one in repairs if not (one["when"] and one["sources"])]
    gaps = [
        f"Seen and not explained by a repair: {named(untold)}." if untold else "",
        f"Without date or source: {named(bare)}." if bare else "",
    ]
    if not repairs and not changed and not _searched(facts, "alterations_searched"):
        gaps.append("None is recorded, and not said where they were looked for.")
    title = "Alterations: what was done, when, by what source"
    full = (
        f"{len(repairs)} told." if repairs else "None found where they were looked for."
    )
    mend = "repair" if repairs or changed else "narrative.alterations_searched"
    return made("alterations", title, mend, gaps, full, bool(repairs))


def integrity(facts, today):
    changed = [visit["latest"] for visit in facts["visits"] if visit["changes"]]
    last = datetime.date.fromisoformat(max(changed)) if changed else None
    unrated, bare, stale = [], [], []
    for name, label, _ in dossier_fields.ASPECTS:
        rating = answered(facts, f"integrity_{name}")
        if rating in ("", "not-assessed"):
            unrated.append(label.lower())
            continue
        if not answered(facts, f"integrity_{name}_why"):
            bare.append(label.lower())
        day = _date(answered(facts, f"integrity_{name}_on"))
        if last and (day is None or day.latest is None or day.latest < last):
            stale.append(label.lower())
    gaps = [
        f"Not found on: {', '.join(unrated)}." if unrated else "",
        f"No reasons: {', '.join(bare)}." if bare else "",
        f"Found before the last change, or not dated: {', '.join(stale)}."
        if stale
        else "",
    ]
    title = "Integrity: seven findings with reasons, newer than the last change"
    part = len(unrated) < len(dossier_fields.ASPECTS)
    return made(
        "integrity", title, "narrative.integrity_location", gaps, "All seven.", part
    )


# Significance.


def criteria(facts, today):
    chosen = answered(facts, "criteria")
    gap = "" if chosen else "None is chosen."
    full = dossier_fields.BY_NAME["criteria"].words(chosen)
    return made(
        "criteria", "Criteria, C with its part", "narrative.criteria", [gap], full
    )


def considerations(facts, today):
    told = {
        letter: answered(facts, f"consideration_{letter}")
        for letter, _ in dossier_fields.CONSIDERATIONS
    }
    open_ones = [letter for letter, value in told.items() if not value]
    gaps = [f"Not answered: {', '.join(open_ones)}." if open_ones else ""]
    for letter in dossier_fields.EXPLAINED:
        if told[letter] == "yes" and not answered(facts, f"consideration_{letter}_why"):
            gaps.append(f"{letter} applies, and not said why it may qualify.")
    if any(one["kind"] == "moved" for one in facts["events"]) and told["b"] != "yes":
        gaps.append("A move is recorded: b applies.")
    if _is_young(facts, today) and told["g"] != "yes":
        gaps.append(
            f"Built or significant within {YEARS_TO_BE_HISTORIC} years: g applies."
        )
    part = len(open_ones) < len(told)
    title = "Considerations a to g, each answered"
    return made(
        "considerations",
        title,
        "narrative.consideration_a",
        gaps,
        "All answered.",
        part,
    )


def _is_young(facts, today):
    limit = today.replace(year=today.year - YEARS_TO_BE_HISTORIC, day=1)
    found = [_date(facts["bridge"]["built"]) if facts["bridge"]["built"] else None]
    found.append(_period(facts))
    return any(one and one.latest and one.latest > limit for one in found)


def areas(facts, today):
    chosen = answered(facts, "areas")
    text = facts["narrative"]["significance"] + answered(facts, "opening_significance")
    said = dict(dossier_fields.AREAS)
    unsaid = [
        said[one] for one in chosen if not _has(text, said[one].split(" and ")[0])
    ]
    gaps = [
        "" if chosen else "None is chosen.",
        f"Not spoken of in the statement: {named(unsaid)}." if unsaid else "",
    ]
    full = "; ".join(said[one] for one in chosen)
    title = "Areas of significance, each spoken of"
    return made("areas", title, "narrative.areas", gaps, full, bool(chosen))


def level(facts, today):
    chosen = answered(facts, "level")
    full = dossier_fields.BY_NAME["level"].words(chosen)
    gap = "" if chosen else "None is chosen."
    return made("level", "Level of significance", "narrative.level", [gap], full)


def _period(facts):
    text = facts["narrative"]["period"].strip().replace("–", "/")
    return _date(text) if text else None


def period(facts, today):
    text, found = facts["narrative"]["period"].strip(), _period(facts)
    built = _date(facts["bridge"]["built"]) if facts["bridge"]["built"] else None
    gaps = ["" if text else "No period is given."]
    if text and found is None:
        gaps.append("Not a date or an interval such as 1889/1931.")
    if text and not answered(facts, "period_why"):
        gaps.append("Not said why.")
    is_c = any(one.startswith("C") for one in answered(facts, "criteria"))
    if found and built and is_c and not _overlap(found, built):
        gaps.append("Under C it takes in the year it was built, and this does not.")
    title = "Period of significance, and why"
    return made("period", title, "narrative.period", gaps, text, bool(text))


def _overlap(one, other):
    first = max(d for d in (one.earliest, other.earliest, datetime.date.min) if d)
    last = min(d for d in (one.latest, other.latest, datetime.date.max) if d)
    return first <= last


def significant_dates(facts, today):
    given = [one.strip() for one in answered(facts, "significant_dates").split(",")]
    given = [one for one in given if one]
    whole = _period(facts)
    read = {one: _date(one) for one in given if one != "N/A"}
    unread = [one for one, date in read.items() if date is None]
    outside = [
        one
        for one, date in read.items()
        if date and whole and not _overlap(date, whole)
    ]
    gaps = [
        "" if given else "None is given.",
        f"Not dates: {named(unread)}." if unread else "",
        f"Outside the period: {named(outside)}." if outside else "",
    ]
    title = "Dates of note, within the period"
    return made(
        "dates",
        title,
        "narrative.significant_dates",
        gaps,
        ", ".join(given),
        bool(given),
    )


def builder(facts, today):
    rows = facts["attributions"]
    unsourced = [one["builder"] for one in rows if not one["source"]]
    gaps = [f"No source: {named(unsourced)}." if unsourced else ""]
    if not rows and not _searched(facts, "builder_search"):
        gaps.append("Nobody is named, and not said where it was looked for.")
    title = "Designer, builder, fabricator: role, certainty, source"
    full = named(f"{one['role_words']} {one['builder']}" for one in rows) or (
        "Not known after search."
    )
    mend = "attribution" if rows else "narrative.builder_search"
    return made("builder", title, mend, gaps, full, bool(rows))


def opening(facts, today):
    text = answered(facts, "opening_significance")
    said_level = answered(facts, "level")
    gaps = ["" if text else "Not written."]
    if text:
        letters = {one[0] for one in answered(facts, "criteria")}
        unsaid = [
            f"criterion {letter}"
            for letter in sorted(letters)
            if not re.search(rf"\b{letter}\b", text)
        ]
        area = dict(dossier_fields.AREAS)
        unsaid += [
            area[one].lower()
            for one in answered(facts, "areas")
            if not _has(text, area[one].split(" and ")[0])
        ]
        if said_level and not _has(text, said_level):
            unsaid.append("the level")
        years = YEAR.findall(facts["narrative"]["period"])
        if years and not all(year in text for year in years):
            unsaid.append("the period")
        gaps.append(f"Says nothing of {', '.join(unsaid)}." if unsaid else "")
    title = "Opening paragraph: criteria, areas, level, period"
    full = f"{len(text.split())} words."
    return made(
        "opening", title, "narrative.opening_significance", gaps, full, bool(text)
    )


def significance(facts, today):
    found = _paragraphs(facts["narrative"]["significance"])
    uncited = [
        f"“{' '.join(one.split()[:5])} …”" for one in found if not CITATION.search(one)
    ]
    unknown = facts["case"]["unknown_citations"]
    gaps = [
        "" if found else "Not written.",
        f"Without a source: {named(uncited)}." if uncited else "",
        f"No source of that number: {named(unknown)}." if unknown else "",
    ]
    title = "Statement of significance, every paragraph with a source"
    full = f"{len(found)} paragraphs."
    return made(
        "significance", title, "narrative.significance", gaps, full, bool(found)
    )


def context(facts, today):
    rows, text = facts["comparables"], answered(facts, "context")
    gaps = ["" if text else "Nothing is said of others like it."]
    if len(rows) < FEWEST_COMPARED and not _has(text, "only known"):
        gaps.append(
            f"{len(rows)} like it on this record: say whether it is the only known one."
        )
    title = "Context, and others like it"
    full = f"{len(rows)} compared."
    return made("context", title, "narrative.context", gaps, full, bool(text))


# Papers.


def bibliography(facts, today):
    rows = facts["sources"]
    first_hand = [one for one in rows if one["kind"] in PRIMARY]
    unplaced = [one["title"] for one in rows if not (one["held_by"] or one["url"])]
    unknown = facts["case"]["unknown_citations"]
    gaps = [
        "" if rows else "No source is cited.",
        "" if first_hand or not rows else "None is of the time itself.",
        f"Not said where it is kept: {named(unplaced)}." if unplaced else "",
        f"No source of that number: {named(unknown)}." if unknown else "",
    ]
    title = "Sources, at least one of the time itself"
    return made("sources", title, "claim", gaps, f"{len(rows)} cited.", bool(rows))


def prior(facts, today):
    fields = ("prior_recording", "prior_register", "prior_survey")
    open_ones = [
        dossier_fields.BY_NAME[one].label.lower()
        for one in fields
        if not answered(facts, one)
    ]
    gap = f"Neither given nor none: {', '.join(open_ones)}." if open_ones else ""
    title = "Earlier documentation, each given or none"
    part = len(open_ones) < len(fields)
    return made(
        "prior", title, "narrative.prior_recording", [gap], "All answered.", part
    )


def repositories(facts, today):
    text = answered(facts, "repositories")
    gap = "" if text else "Nowhere is named."
    full = named(text.splitlines())
    return made(
        "repositories", "Where more is kept", "narrative.repositories", [gap], full
    )


# Boundary and position.


def acreage(facts, today):
    text = answered(facts, "acreage")
    is_number = bool(re.fullmatch(r"\d*\.?\d+", text)) and float(text) > 0
    gap = "" if is_number or _has(text, "less than one acre") else "No number of acres."
    if not text:
        gap = "Not given."
    return made("acreage", "Acres", "narrative.acreage", [gap], text, bool(text))


def coordinates(facts, today):
    place = facts["bridge"]["position"]
    ends = [answered(facts, "end_a"), answered(facts, "end_b")]
    gaps = []
    for label, text in zip(("One end", "The other end"), ends, strict=True):
        decimals = DECIMAL.findall(text)
        if len(decimals) != 2:
            gaps.append(f"{label}: no latitude and longitude.")
        elif min(map(len, decimals)) < FEWEST_DECIMALS:
            gaps.append(f"{label}: fewer than {FEWEST_DECIMALS} decimals.")
    if place["is_exact"] and place["accuracy_m"] is None:
        gaps.append("How closely the position is known is not recorded.")
    if not answered(facts, "position_how"):
        gaps.append("Not said how it was found.")
    county = facts["map"]["county"]
    if county and _county(county) != _county(facts["bridge"]["county"]):
        gaps.append(f"The position lies in {county}.")
    title = "Position of both ends, datum, accuracy and how it was found"
    full = f"{place['datum']}."
    return made("coordinates", title, "narrative.end_a", gaps, full, any(ends))


def _county(name):
    return name.lower().removesuffix("county").strip()


def boundary(facts, today):
    text = facts["narrative"]["boundary"].strip()
    gap = "" if text else "Not written."
    if (
        text
        and not re.search(r"\d", text)
        and not _has(text, "line", "right of way", "bank")
    ):
        gap = "It names no distance and no line."
    title = "Boundary in words, with a distance or a line"
    return made("boundary", title, "narrative.boundary", [gap], "Written.", bool(text))


def boundary_reason(facts, today):
    text = answered(facts, "boundary_why")
    gap = "" if text else "Not written."
    if text and not _has(text, "abutment", "approach"):
        gap = "It names neither abutments nor approaches."
    title = "Why the boundary runs there"
    return made(
        "boundary-why", title, "narrative.boundary_why", [gap], "Written.", bool(text)
    )


def location_map(facts, today):
    gap = "" if facts["map"]["is_covered"] else "The region's map does not reach it."
    title = "Location map with north, scale and datum"
    return made("location-map", title, "bridge", [gap], "Drawn from the region's map.")


def sketch_map(facts, today):
    rows = log(facts)
    unplaced = [str(one["number"]) for one in rows if one["east_m"] is None]
    unturned = [str(one["number"]) for one in rows if one["bearing_deg"] is None]
    gaps = [
        "" if rows else "No photograph is chosen.",
        f"No place for: {named(unplaced)}." if unplaced else "",
        f"No direction for: {named(unturned)}." if unturned else "",
    ]
    title = "Sketch map, one arrow for every photograph"
    full = f"{len(rows)} arrows."
    return made(
        "sketch-map", title, "photographs", gaps, full, len(unplaced) < len(rows)
    )


# Photographs.


def photo_set(facts, today):
    rows = log(facts)
    changed = [one["latest"] for one in facts["visits"] if one["changes"]]
    wanted = [one["name"] for one in facts["viewpoints"] if one["is_mandatory"]]
    # In a demonstration drawings stand in for photographs, and are labelled so.
    stands_in = facts["is_demonstration"]
    pictures = [one for one in rows if stands_in or not one["is_drawing"]]
    taken = {one["viewpoint"] for one in pictures}
    old = [
        str(one["number"])
        for one in pictures
        if changed and one["latest"] < max(changed)
    ]
    measured = [one for one in pictures if not one["is_drawing"]]
    small = [str(one["number"]) for one in measured if _is_small(one)]
    drawn = [str(one["number"]) for one in rows if one not in pictures]
    without = [name for name in wanted if name not in taken]
    none = "Only drawings are chosen." if rows else "No photograph is chosen."
    gaps = [
        "" if pictures else none,
        "" if wanted else "No viewpoint is marked as required.",
        f"None from: {named(without)}." if without else "",
        f"Older than the last change: {named(old)}." if old else "",
        f"Fewer than {FEWEST_PX} by {FEWEST_LONG_PX} pixels: {named(small)}."
        if small
        else "",
        f"Drawings, not photographs: {named(drawn)}." if drawn else "",
    ]
    title = "Photographs: every required view, newer than the last change, large enough"
    full = f"{len(pictures)} photographs."
    if stands_in:
        full = f"{len(pictures)} drawings stand in for photographs."
    return made("photographs", title, "photographs", gaps, full, bool(pictures))


def _is_small(photo):
    sides = sorted((photo["width_px"] or 0, photo["height_px"] or 0))
    return sides[0] < FEWEST_PX or sides[1] < FEWEST_LONG_PX


def photo_names(facts, today):
    rows = log(facts)
    wrong = [
        str(one["number"]) for one in rows if not PHOTO_NAME.fullmatch(one["name"])
    ]
    gaps = [
        "" if rows else "No photograph is chosen.",
        "Names need the state of two capitals." if wrong else "",
    ]
    title = "Photographs named and numbered without a gap"
    full = rows[0]["name"] if rows else ""
    return made("photo-names", title, "narrative.state_code", gaps, full, bool(rows))


def photo_log(facts, today):
    rows = log(facts)
    lacking = {
        "no caption": [one for one in rows if not one["caption"]],
        "no photographer": [one for one in rows if not one["credit"]],
        "no date": [one for one in rows if not one["taken"]],
        "no direction": [one for one in rows if one["bearing_deg"] is None],
    }
    gaps = ["" if rows else "No photograph is chosen."]
    gaps += [
        f"{words.capitalize()}: {named(str(one['number']) for one in found)}."
        for words, found in lacking.items()
        if found
    ]
    title = "Log: number, date, photographer, view and direction"
    return made(
        "photo-log", title, "photographs", gaps, f"{len(rows)} in it.", bool(rows)
    )


def historic_images(facts, today):
    rows = [
        one
        for one in facts["photographs"]
        if (found := _date(one["taken"]))
        and found.latest
        and (today - found.latest).days > YEARS_TO_BE_HISTORIC * 365
    ]
    bare = [str(one["number"]) for one in rows if not (one["credit"] and one["rights"])]
    gap = f"Without credit or rights: {named(bare)}." if bare else ""
    full = f"{len(rows)} with credit and rights." if rows else "None is on record."
    title = "Historic images with date, credit and rights"
    return made("historic-images", title, "visit", [gap], full, True)


# Who, and how honest.


def preparer(facts, today):
    written = facts["narrative"]
    gaps = [
        "" if written["preparer"] else "No preparer.",
        "" if written["organisation"] else "No organisation.",
        "" if answered(facts, "preparer_title") else "No title, nor N/A.",
        "" if answered(facts, "preparer_contact") else "Not said how to reach them.",
        "" if _date(answered(facts, "prepared_on")) else "No date.",
    ]
    full = f"{written['preparer']}, {written['organisation']}"
    part = bool(written["preparer"] or written["organisation"])
    return made(
        "preparer", "Who prepared it, and when", "narrative.preparer", gaps, full, part
    )


def notice(facts, today):
    told, reply = answered(facts, "owner_notified"), answered(facts, "owner_reply")
    gaps = [
        "" if told else "Not said whether the owner has been told.",
        ""
        if reply or not told or told == "N/A"
        else "No reply is noted, nor that none came.",
    ]
    title = "The owner told, and the reply"
    return made(
        "notice",
        title,
        "narrative.owner_notified",
        gaps,
        f"{told}. {reply}",
        bool(told),
    )


def ledger(facts, today):
    facets = [
        f"{one['facet'].lower()} of span {span['number']}"
        for span in facts["spans"]
        for one in span["facets"]
        if one["value"] == "unknown" or not one["source"]
    ]
    built = [
        one
        for one in [*facts["events"], *facts["claims"]]
        if one["source"]
        and (one.get("kind") == "built" or "built" in one.get("about", "").lower())
    ]
    gaps = [
        f"Not known, or without a source: {named(facets)}." if facets else "",
        "" if built else "No source for when it was built.",
    ]
    title = "A source and a certainty for each published fact"
    return made(
        "ledger", title, "span" if facets else "claim", gaps, "Each has one.", True
    )


def stamp(facts, today):
    engines = {one["engine"] for one in facts["checks"] if one.get("document")}
    gaps = [
        f"Checked with engines {named(sorted(engines))}: have the keeper check again."
        if engines - {facts["engine"]}
        else ""
    ]
    title = "Stamp of version, record and hash"
    full = f"Record of {facts['recorded_at'][:10]}."
    return made("stamp", title, "visit", gaps, full, True)


def questions(facts, today):
    open_ones = facts["open_questions"]
    seen = answered(facts, "questions_read") == "yes"
    gap = f"{open_ones} open, not yet read through." if open_ones and not seen else ""
    title = "Open questions printed, and read"
    full = f"{open_ones} printed." if open_ones else "None is open."
    return made("questions", title, "narrative.questions_read", [gap], full, True)


def sensitive(facts, today):
    gaps = [
        f"{one} stands in what is printed." for one in facts["kept_back_but_written"]
    ]
    title = "Nothing in it that is kept back"
    return made(
        "sensitive", title, "narrative.description", gaps, "Nothing found.", True
    )


# The society's own, beyond the forms.


def status(facts, today):
    wanted = STATUS_EVENTS.get(facts["bridge"]["status"])
    kinds = {event["kind"] for event in facts["events"]}
    gap = ""
    if wanted and wanted not in kinds:
        gap = f"No dated event says when it was {wanted}."
    words = facts["bridge"]["status_words"]
    return made("status", "Status, and when it came to be so", "event", [gap], words)


def plates(facts, today):
    title = "Plates transcribed"
    rows = facts["plates"]
    unread = [one["location"] for one in rows if not one["transcription"]]
    gaps = [
        f"Not transcribed: {named(unread)}." if unread else "",
        ""
        if rows
        else "No plate is recorded. If one was looked for in vain, say so in the text.",
    ]
    full = f"{len(rows)} transcribed."
    return made("plates", title, "plate", gaps, full, len(unread) < len(rows))


def visited(facts, today):
    title = f"Seen in person within {CURRENT_YEARS} years"
    days = [one["latest"] for one in facts["visits"] if one["basis"] == "in-person"]
    if not days:
        return Row("visited", title, MISSING, "Never seen in person.", "visit")
    latest = datetime.date.fromisoformat(max(days))
    is_old = (today - latest).days > CURRENT_YEARS * 366
    says = f"Last seen in {latest.year}."
    return Row("visited", title, PARTLY if is_old else THERE, says, "visit")


def checked(facts, today):
    latest = {check["address"]: check for check in facts["checks"]}
    lines = [line for span in facts["spans"] for line in span["lines"]]
    gaps = [
        f"{latest[line['address']]['line']}: {latest[line['address']]['gap']}"
        for line in lines
        if latest.get(line["address"], {}).get("gap")
    ]
    gaps += [
        f"{line['name']}: no visit has been accepted."
        for line in lines
        if line["address"] not in latest
    ]
    full = "Checked as it now stands." if lines else "No truss to check."
    return made(
        "checked", "Truss check of the present state", "visit", gaps, full, True
    )


def disputed(facts, today):
    title = "Competing claims settled, or left open on purpose"
    by_about: dict[str, list] = {}
    for claim in facts["claims"]:
        by_about.setdefault(claim["about"], []).append(claim)
    open_ones = [
        about
        for about, claims in by_about.items()
        if len(claims) > 1 and not any(claim["is_chosen"] for claim in claims)
    ]
    gap = f"Open: {', '.join(open_ones)}." if open_ones else ""
    return made("disputed", title, "claim", [gap], "None is open.", True)
