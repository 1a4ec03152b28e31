"""What a dossier still lacks, read off its own facts.

Pure. The list is the society's own working list, after what nomination forms and
recording practice commonly ask for (36 CFR 60.4 for the seven aspects of integrity);
a state office may ask for more. It judges whether something is written, never whether
it is right.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from dataclasses import dataclass

THERE, PARTLY, MISSING = "there", "in part", "missing"
# 36 CFR 60.4: integrity of location, design, setting, materials, workmanship, feeling
# and association.
ASPECTS = (
    "location",
    "design",
    "setting",
    "materials",
    "workmanship",
    "feeling",
    "association",
)
# Common practice, not a rule: an opening paragraph is some fifty words at the least.
FEWEST_WORDS = 50
CURRENT_YEARS = 5
PRIMARY = {"drawing", "photograph", "newspaper", "record", "plate", "field"}
# Changes to these are no repair of the bridge.
NOT_REPAIRED = {"limit", "plate", "setting"}
STATUS_EVENTS = {
    "closed": "closed",
    "bypassed": "bypassed",
    "moved": "moved",
    "lost": "lost",
}


@dataclass(frozen=True)
class Row:
    """One thing a complete dossier has: whether it is there, and where to mend it."""

    key: str
    title: str
    state: str
    says: str
    # Where it is mended: a kind of the edited record, ``visit``, or ``narrative``.
    mend: str

    @property
    def is_there(self):
        return self.state == THERE


def completeness(facts, today: datetime.date) -> list[Row]:
    """Return every row in the order of the document, whether it is there or not."""
    return [make(facts, today) for make in _ROWS]


def lacking(facts, today) -> list[Row]:
    """Return the rows that are not wholly there."""
    return [row for row in completeness(facts, today) if not row.is_there]


def _row(key, title, mend, gaps: Iterable[str], full, partly=False):
    gaps = [gap for gap in gaps if gap]
    if not gaps:
        return Row(key, title, THERE, full, mend)
    state = PARTLY if partly else MISSING
    return Row(key, title, state, " ".join(gaps), mend)


def _counted(key, title, mend, have, whole, noun, full=""):
    """A row for something of which each of several must be there."""
    says = full or f"{whole} of {whole} {noun}."
    if have == whole:
        return Row(key, title, THERE, says, mend)
    state = PARTLY if have else MISSING
    return Row(key, title, state, f"{have} of {whole} {noun}.", mend)


def _identity(facts, today):
    bridge = facts["bridge"]
    gaps = [
        "" if bridge["town"] else "No town or nearest place.",
        "" if bridge["road"] else "Not said what it carries.",
        "" if bridge["crossing"] else "Not said what it crosses.",
    ]
    title = "Name, number and place in words"
    return _row("identity", title, "bridge", gaps, bridge["heading"], True)


def _position(facts, today):
    place = facts["bridge"]["position"]
    gap = ""
    if place["is_exact"] and place["accuracy_m"] is None:
        gap = "How closely the position is known is not recorded."
    full = "Shown exactly." if place["is_exact"] else "Shown as an area on purpose."
    return _row("position", "Position and how closely", "bridge", [gap], full, True)


def _owner(facts, today):
    owner = facts["bridge"]["owner"]
    return _row(
        "owner", "Owner", "bridge", ["" if owner else "No owner is recorded."], owner
    )


def _status(facts, today):
    wanted = STATUS_EVENTS.get(facts["bridge"]["status"])
    kinds = {event["kind"] for event in facts["events"]}
    gap = ""
    if wanted and wanted not in kinds:
        gap = f"No dated event says when it was {wanted}."
    words = facts["bridge"]["status_words"]
    return _row("status", "Status, and when it came to be so", "event", [gap], words)


def _facets(facts, today):
    rows = [facet for span in facts["spans"] for facet in span["facets"]]
    known = [one for one in rows if one["value"] != "unknown" and one["source"]]
    return _counted(
        "facets",
        "Form, deck position, connections and material, each with a source",
        "span",
        len(known),
        len(rows),
        "are known and have a source",
    )


def _sizes(facts, today):
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
    return _row("sizes", title, "span", gaps, "Recorded for every span.", True)


def _members(facts, today):
    rows = [
        one
        for span in facts["spans"]
        for line in span["lines"]
        for one in line["members"]
    ]
    if not rows:
        return Row(
            "members", "What each member is made of", THERE, "No truss.", "visit"
        )
    known = [one for one in rows if one["pieces"] or one["is_gone"]]
    return _counted(
        "members",
        "What each member is made of",
        "visit",
        len(known),
        len(rows),
        "members have their pieces recorded",
    )


def _substructure(facts, today):
    rows = [one for one in facts["parts"] if one["kind"] in ("abutment", "pier")]
    known = [one for one in rows if one["is_known"]]
    return _counted(
        "substructure",
        "Abutments and piers described",
        "visit",
        len(known),
        len(rows),
        "are described",
    )


def _looked_for(facts, today):
    rows = [
        one
        for span in facts["spans"]
        for line in span["lines"]
        for one in line["members"]
    ]
    rows = rows + facts["parts"]
    seen = [one for one in rows if one.get("seen_when")]
    return _counted(
        "looked-for",
        "Every part looked for at least once",
        "visit",
        len(seen),
        len(rows),
        "parts have been seen on an accepted visit",
    )


def _plates(facts, today):
    title = "Plates transcribed"
    if not facts["plates"]:
        says = (
            "No plate is recorded. If one was looked for in vain, say so in the text."
        )
        return Row("plates", title, MISSING, says, "plate")
    read = [one for one in facts["plates"] if one["transcription"]]
    return _counted(
        "plates", title, "plate", len(read), len(facts["plates"]), "are transcribed"
    )


def _built(facts, today):
    chosen = [
        claim
        for claim in facts["claims"]
        if claim["is_chosen"] and "built" in claim["about"].lower()
    ]
    events = [
        one for one in facts["events"] if one["kind"] == "built" and one["source"]
    ]
    gaps = [
        "" if facts["bridge"]["built"] else "No date.",
        "" if chosen or events else "No source is chosen for the date.",
    ]
    title = "When it was built, by a source"
    partly = bool(facts["bridge"]["built"])
    return _row("built", title, "claim", gaps, "Dated, with its source.", partly)


def _builder(facts, today):
    title = "Who built it, by a source"
    if not facts["attributions"]:
        says = "Nobody is named. If it was searched for in vain, say where."
        return Row("builder", title, MISSING, says, "attribution")
    sourced = [one for one in facts["attributions"] if one["source"]]
    return _counted(
        "builder",
        title,
        "attribution",
        len(sourced),
        len(facts["attributions"]),
        "attributions have a source",
    )


def _explained(facts, today):
    changed = [
        change["elements"]
        for visit in facts["visits"]
        for change in visit["changes"]
        if change["part"] not in NOT_REPAIRED
    ]
    told = {path for repair in facts["repairs"] for path in repair["paths"]}
    explained = [paths for paths in changed if told & set(paths)]
    return _counted(
        "repairs",
        "Changes read as repairs: what was done, between which dates",
        "repair",
        len(explained),
        len(changed),
        "changes to the bridge itself are explained by a repair",
        "" if changed else "No change has been seen.",
    )


def _visited(facts, today):
    title = f"Seen in person within {CURRENT_YEARS} years"
    days = [one["latest"] for one in facts["visits"] if one["basis"] == "in-person"]
    if not days:
        return Row("visited", title, MISSING, "Never seen in person.", "visit")
    latest = datetime.date.fromisoformat(max(days))
    is_old = (today - latest).days > CURRENT_YEARS * 366
    says = f"Last seen in {latest.year}."
    return Row("visited", title, PARTLY if is_old else THERE, says, "visit")


def _checked(facts, today):
    latest = {}
    for check in facts["checks"]:
        latest[check["address"]] = check
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
    return _row(
        "checked", "Truss check of the present state", "visit", gaps, full, True
    )


def _current_photographs(facts, today):
    title = "Photographs newer than the last change"
    shown = [one for one in facts["photographs"] if not one["is_drawing"]]
    if not shown:
        return Row("photographs", title, MISSING, "No photograph is public.", "visit")
    changed = [one["latest"] for one in facts["visits"] if one["changes"]]
    newer = [one for one in shown if not changed or one["latest"] >= max(changed)]
    says = f"{len(newer)} of {len(shown)} photographs."
    return Row("photographs", title, THERE if newer else PARTLY, says, "visit")


def _views(facts, today):
    title = "A photograph from every required viewpoint"
    wanted = [one["name"] for one in facts["viewpoints"] if one["is_mandatory"]]
    if not wanted:
        says = "No viewpoint is marked as required."
        return Row("views", title, MISSING, says, "viewpoint")
    taken = {one["viewpoint"] for one in facts["photographs"] if not one["is_drawing"]}
    without = [name for name in wanted if name not in taken]
    says = f"None from: {', '.join(without)}." if without else "All of them."
    state = THERE if not without else PARTLY if len(without) < len(wanted) else MISSING
    return Row("views", title, state, says, "visit")


def _photo_log(facts, today):
    rows = facts["photographs"]
    whole = [
        one
        for one in rows
        if one["caption"]
        and one["credit"]
        and one["rights"]
        and (one["is_drawing"] or one["bearing_deg"] is not None)
    ]
    return _counted(
        "photo-log",
        "Each picture with caption, credit, rights and direction",
        "visit",
        len(whole),
        len(rows),
        "pictures have all four",
        "" if rows else "No pictures.",
    )


def _text(key, title, name):
    def make(facts, today):
        words = len(facts["narrative"][name].split())
        if words == 0:
            return Row(key, title, MISSING, "Not written.", "narrative")
        if words < FEWEST_WORDS:
            says = f"{words} words: short of an opening paragraph."
            return Row(key, title, PARTLY, says, "narrative")
        return Row(key, title, THERE, f"{words} words.", "narrative")

    return make


def _criteria(facts, today):
    written = facts["narrative"]
    gaps = [
        "" if written["criteria"] else "No criterion is named.",
        "" if written["period"] else "No period is given.",
    ]
    full = f"{written['criteria']}; {written['period']}"
    partly = bool(written["criteria"] or written["period"])
    title = "Criteria and period of significance"
    return _row("criteria", title, "narrative", gaps, full, partly)


def _integrity(facts, today):
    title = "Integrity: all seven aspects"
    text = facts["narrative"]["integrity"].lower()
    if not text.strip():
        return Row("integrity", title, MISSING, "Not written.", "narrative")
    silent = [one for one in ASPECTS if one.rstrip("s") not in text]
    gap = f"Says nothing of {', '.join(silent)}." if silent else ""
    return _row("integrity", title, "narrative", [gap], "All seven are named.", True)


def _boundary(facts, today):
    title = "Boundary in words, with a distance"
    text = facts["narrative"]["boundary"]
    if not text.strip():
        return Row("boundary", title, MISSING, "Not written.", "narrative")
    gap = "" if any(one.isdigit() for one in text) else "It names no distance."
    return _row("boundary", title, "narrative", [gap], "Written.", True)


def _sources(facts, today):
    title = "Sources, at least one of the time itself"
    if not facts["sources"]:
        return Row("sources", title, MISSING, "No source is cited.", "claim")
    first_hand = [one for one in facts["sources"] if one["kind"] in PRIMARY]
    unplaced = [one for one in facts["sources"] if not (one["held_by"] or one["url"])]
    gaps = [
        "" if first_hand else "None is of the time itself.",
        f"{len(unplaced)} of {len(facts['sources'])} do not say where they are kept."
        if unplaced
        else "",
    ]
    return _row(
        "sources", title, "claim", gaps, f"{len(facts['sources'])} cited.", True
    )


def _disputed(facts, today):
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
    return _row("disputed", title, "claim", [gap], "None is open.", True)


def _preparer(facts, today):
    written = facts["narrative"]
    gaps = [
        "" if written["preparer"] else "No preparer.",
        "" if written["organisation"] else "No organisation.",
    ]
    full = f"{written['preparer']}, {written['organisation']}"
    partly = bool(written["preparer"] or written["organisation"])
    return _row("preparer", "Who prepared it", "narrative", gaps, full, partly)


_ROWS = (
    _preparer,
    _identity,
    _position,
    _owner,
    _status,
    _text("description", "Description in words", "description"),
    _facets,
    _sizes,
    _members,
    _substructure,
    _looked_for,
    _plates,
    _built,
    _builder,
    _visited,
    _explained,
    _checked,
    _criteria,
    _text("significance", "Statement of significance", "significance"),
    _integrity,
    _boundary,
    _disputed,
    _current_photographs,
    _views,
    _photo_log,
    _sources,
)
