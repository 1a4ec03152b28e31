"""The nomination case in a dossier's facts: answers, citations, evidence beside them.

What is computed here stands beside an officer's finding and never in its place.
"""

from __future__ import annotations

import math
import re

from bridges.models import Bridge, Source
from shared import dates

from . import dossier_fields
from .engine import sections
from .models import Dossier
from .translate import PIECE_KEYS

# In any text of the case: [S12] cites the source of that number in the record.
CITED = re.compile(r"\[S(\d{1,9})\]")
MOST_COMPARED = 8
FEATURES = ("plate", "railing", "portal", "deck")
UNIT_WEIGHT_PCF = {"timber": 40.0}


def current_case(bridge, number=None):
    """Return the newest case of a bridge, or the one of a number; None for none."""
    cases = Dossier.objects.filter(bridge=bridge)
    if number is not None:
        cases = cases.filter(number=number)
    return cases.select_related("updated_by", "signed_by").first()


def case_facts(dossier, narrative, sources):
    """Return what the case says, with citations numbered as the document prints them.

    ``narrative`` is the dictionary of long texts; returned rewritten beside the case.
    ``sources.cite`` numbers each source where it is first met.
    """
    answers = dossier_fields.blank_answers()
    if dossier:
        kept = dossier.answers.items()
        answers |= {k: v for k, v in kept if k in dossier_fields.BY_NAME}
    texts = [*narrative.values(), *answers.values()]
    wanted = {
        int(number)
        for text in texts
        if isinstance(text, str)
        for number in CITED.findall(text)
    }
    known = {one.pk: one for one in Source.objects.filter(pk__in=wanted)}
    unknown = sorted(f"S{number}" for number in wanted - set(known))

    def printed(text):
        if not isinstance(text, str):
            return text

        def number_of(found):
            source = known.get(int(found[1]))
            return f"[{sources.cite(source)}]" if source else found[0]

        return CITED.sub(number_of, text)

    narrative = {name: printed(text) for name, text in narrative.items()}
    answers = {name: printed(value) for name, value in answers.items()}
    said = {
        "number": dossier.number if dossier else 1,
        "title": dossier.title if dossier else "",
        "answers": answers,
        "photos": list(dossier.photos) if dossier else [],
        "unknown_citations": unknown,
        "signed": _signed(dossier),
        "closed_on": _day(dossier and dossier.closed_at),
    }
    return said, narrative


def _signed(dossier):
    if dossier is None or dossier.signed_at is None:
        return None
    return {
        "by": dossier.signed_by.credit if dossier.signed_by else "",
        "on": _day(dossier.signed_at),
        "revision": dossier.signed_revision,
        "is_current": dossier.is_signed,
    }


def _day(moment):
    return moment.date().isoformat() if moment else ""


# Evidence for the seven findings.


def integrity_evidence(facts):
    """Return what the record holds for each finding, computed from the facts.

    Shares are of what is recorded: members and metal of unknown origin count neither
    way and are told. Weights are of the bare pieces over the length of the member.
    """
    return {
        "lines": [
            _originality(span, line)
            for span in facts["spans"]
            for line in span["lines"]
            if line["members"]
        ],
        "features": _features(facts),
        "moves": [one for one in facts["events"] if one["kind"] == "moved"],
        "setting": [
            {"when": visit["when"], "sentence": change["sentence"]}
            for visit in facts["visits"]
            for change in visit["changes"]
            if change["part"] == "setting"
        ],
    }


def _originality(span, line):
    lengths = lengths_ft(span["skeleton"])
    original = known = 0
    metal = {"original": 0.0, "other": 0.0}
    unknown = []
    for member in line["members"]:
        if member["is_gone"]:
            known += 1
            continue
        if not member["pieces"]:
            unknown.append(member["member"])
            continue
        known += 1
        original += all(one["origin"] == "original" for one in member["pieces"])
        for piece in (member["state"] or {}).get("components", []):
            weight = piece_weight_plf(piece) * lengths.get(member["member"], 0.0)
            kind = "original" if piece["origin"] == "original" else "other"
            metal[kind] += weight
    total = sum(metal.values())
    return {
        "line": line["name"],
        "span": span["number"],
        "known": known,
        "original": original,
        "unknown": unknown,
        "members_share": original / known if known else None,
        "metal_share": metal["original"] / total if total else None,
        "metal_lb": total,
    }


def lengths_ft(skeleton):
    """Return the length of each member in feet, out of a span's outline."""
    if not skeleton:
        return {}
    at = skeleton["joints"]
    return {
        name: math.dist(at[start][:2], at[end][:2])
        for name, start, end, *_ in skeleton["members"]
    }


def piece_weight_plf(piece):
    """Return the weight of a recorded piece per foot, all of its count; 0 where the
    sizes do not say it."""
    sizes = {key: piece[key] for key in PIECE_KEYS if piece.get(key)}
    if len(sizes) <= 2:
        return 0.0
    unit = UNIT_WEIGHT_PCF.get(piece["shape"], 490.0)
    try:
        component = sections.Component(**sizes)
        return sections.component_section(component, unit).weight_plf
    except (sections.UnknownShape, ArithmeticError, StopIteration, TypeError):
        return 0.0


def _features(facts):
    """Return features kept and lost, with the day they were last seen or seen gone."""
    found = [
        {
            "name": one["name"],
            "is_kept": not one["is_gone"],
            "words": one["words"],
            "when": one["seen_when"],
        }
        for one in facts["parts"]
        if one["kind"] in FEATURES and one.get("seen_when")
    ]
    found += [
        {
            "name": f"{one['kind_words']}, {one['location']}",
            "is_kept": one["now"] == "In place",
            "words": one["now"].lower(),
            "when": one["seen_on"],
        }
        for one in facts["plates"]
        if one["seen_on"]
    ]
    return found


# Others like it.


def comparables(bridge):
    """Return the bridges on record most like this one, and why each is here.

    Likeness counts shared form, deck position, connections and material of the longest
    spans, the decade, and the builder. Two queries.
    """
    span = max(bridge.spans.all(), key=lambda one: one.length_ft or 0, default=None)
    if span is None:
        return []
    builders = {one.builder_id for one in bridge.attributions.all()}
    others = (
        Bridge.objects.filter(spans__form=span.form)
        .exclude(pk=bridge.pk)
        .prefetch_related("spans", "attributions")
        .distinct()
        .order_by("name", "id")[:400]
    )
    scored = [_likeness(bridge, span, builders, other) for other in others]
    scored.sort(key=lambda row: (-row[0], row[1]["name"]))
    return [row for _, row in scored[:MOST_COMPARED]]


def _likeness(bridge, span, builders, other):
    theirs = max(
        (one for one in other.spans.all() if one.form == span.form),
        key=lambda one: one.length_ft or 0,
    )
    why = [f"same form, {theirs.get_form_display()}"]
    for name, words in (
        ("deck_position", "deck position"),
        ("connection", "connections"),
        ("material", "material"),
    ):
        value = getattr(span, name)
        if value != "unknown" and getattr(theirs, name) == value:
            why.append(f"same {words}")
    if theirs.panels and theirs.panels == span.panels:
        why.append(f"{theirs.panels} panels as well")
    if _decade(bridge) and _decade(bridge) == _decade(other):
        why.append("built in the same decade")
    if builders & {one.builder_id for one in other.attributions.all()}:
        why.append("same builder")
    return len(why), {
        "name": other.name,
        "number": other.number,
        "county": other.county,
        "built": other.built,
        "status_words": other.get_status_display(),
        "listing_words": other.get_listing_display(),
        "why": why,
    }


def _decade(bridge):
    return bridge.built_earliest.year // 10 if bridge.built_earliest else None


# Contradictions.

PRESENT = re.compile(r"\b(in place|present|remains?|survives?|kept|intact)\b", re.I)


def contradictions(facts):
    """Return, in sentences, where what is written and what was seen do not agree."""
    return [*_plates(facts), *_moved(facts), *_function(facts), *_old_pictures(facts)]


def _plates(facts):
    gone = [one for one in facts["plates"] if one["now"] == "Gone"]
    if not gone:
        return
    texts = [*facts["narrative"].values(), *facts["case"]["answers"].values()]
    said = [
        sentence.strip()
        for text in texts
        if isinstance(text, str)
        for sentence in re.split(r"(?<=[.!?])\s+", text)
        if "plate" in sentence.lower() and PRESENT.search(sentence)
    ]
    for plate in gone:
        for sentence in said:
            yield (
                f"“{sentence}” is written, but the {plate['kind_words'].lower()} at "
                f"{plate['location']} was seen gone on {dates.display(plate['seen_on'])}."
            )


def _moved(facts):
    moves = [one for one in facts["events"] if one["kind"] == "moved"]
    answers = facts["case"]["answers"]
    if moves and answers["integrity_location"] == "retained":
        yield (
            "Location is found retained, but the bridge was moved: "
            f"{dates.display(moves[-1]['when'])}."
        )
    if moves and answers["consideration_b"] == "no":
        yield "Consideration b is answered no, but a move is recorded."


# What each status leaves possible; common sense, not a published rule.
FUNCTION_OF_STATUS = {
    "in-service": ("road", "rail"),
    "foot-only": ("foot", "recreation"),
    "closed": ("vacant",),
    "bypassed": ("vacant", "recreation", "foot"),
    "stored": ("vacant", "gone"),
    "lost": ("gone",),
}


def _function(facts):
    now = facts["case"]["answers"]["current_function"]
    fitting = FUNCTION_OF_STATUS.get(facts["bridge"]["status"])
    if now and fitting and now not in fitting:
        words = dossier_fields.BY_NAME["current_function"].words(now)
        yield (
            f"Its function now is given as “{words}”, and its status as "
            f"“{facts['bridge']['status_words']}”."
        )


def _old_pictures(facts):
    changed = [one["latest"] for one in facts["visits"] if one["changes"]]
    if not changed:
        return
    for photo in facts["photographs"]:
        if photo["is_chosen"] and photo["latest"] < max(changed):
            yield (
                f"Photograph {photo['number']} is older than the last change seen, "
                f"{dates.display(max(changed))}."
            )
