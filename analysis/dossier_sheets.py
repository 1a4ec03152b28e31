"""What the shorter documents print beside the dossier: sheet, move, choices, changes.

Pure: from the facts and what the dossier's pages already made of them.
"""

from __future__ import annotations

from shared import dates
from shared.templatetags.figures import figure
from shared.units import feet_text

from . import dossier_fields
from .dossier_case import lengths_ft, piece_weight_plf

LB_A_TON = 2000.0
MOST_CHANGES, MOST_PICTURES = 6, 2


def sheet(facts, view):
    """Return what two pages for a meeting hold: the last changes, two pictures."""
    changes = [
        {"when": visit["when"], **change}
        for visit in reversed(view["visits"])
        for change in visit["changes"]
    ]
    pictures = [one for one in facts["photographs"] if one["is_chosen"]]
    pictures = pictures or facts["photographs"][::-1]
    return {
        "changes": changes[:MOST_CHANGES],
        "more": max(len(changes) - MOST_CHANGES, 0),
        "pictures": pictures[:MOST_PICTURES],
        "standing": _standing(facts),
    }


def _standing(facts):
    """Say the present estimate of each truss, beside the posted limit."""
    latest = {check["address"]: check for check in facts["checks"]}
    return [
        {
            "line": one["line"],
            "words": one["gap"]
            or f"about {figure(one.get('limit_tons'))} tons, {one.get('member')} governs",
        }
        for one in latest.values()
    ]


def relocation(facts):
    """Return the rows of the data sheet for moving a bridge: (label, words)."""
    answers = facts["case"]["answers"]
    rows = []
    for span in facts["spans"]:
        name = f"Span {span['number']}: " if len(facts["spans"]) > 1 else ""
        rows += [(f"{name}{label}", words) for label, words in _span_rows(span)]
    limit = next((p for p in facts["parts"] if p["kind"] == "limit"), None)
    rows += [
        ("Deck now", _words_of(facts, "deck")),
        ("Floor beams", _words_of(facts, "floor-beams")),
        ("Stringers", _words_of(facts, "stringers")),
        ("Members missing", _missing(facts)),
        ("Members altered", _altered(facts)),
        (
            "Posted limit",
            limit["words"] if limit and limit["words"] else "not recorded",
        ),
        (
            "Paint and lead",
            answers["paint"] or "not tested: presumed to hold lead",
        ),
        ("Ways in for a crane or truck", answers["crane_access"] or "not recorded"),
        (
            "Not part of the offer",
            "abutments, piers and what else stays in the ground",
        ),
        ("Register status", facts["bridge"]["listing_words"]),
        ("Features to keep", _features(facts)),
        ("Drawings on file", _drawings(facts)),
        ("Offered until", _date(answers["offer_deadline"])),
        ("Whom to ask", answers["offer_contact"] or "not said"),
    ]
    return rows


def _span_rows(span):
    facets = {one["key"]: one["words"] for one in span["facets"]}
    yield "length", _feet(span["length_ft"])
    yield "roadway", _feet(span["roadway_ft"])
    yield "depth of the trusses", _feet(span["depth_ft"])
    yield "panels", str(span["panels"] or "not recorded")
    yield (
        "connections",
        {
            "Pin-connected": "pins, which come apart more readily than rivets",
            "Riveted": "riveted, which comes apart with more labour than pins",
        }.get(facets["connection"], facets["connection"]),
    )
    yield "material", facets["material"]
    tons = trusses_tons(span)
    yield (
        "weight of the trusses",
        f"about {figure(tons)} tons: bare pieces as recorded, without pins, details, "
        "floor or bracing"
        if tons
        else "not enough is recorded",
    )
    longest = _longest(span)
    if longest:
        name, length = longest
        yield "longest piece between joints", f"{name}, {_feet(length)}"


def trusses_tons(span):
    """Return the weight of a span's recorded bars, short tons; 0 for none."""
    lengths = lengths_ft(span["skeleton"])
    return (
        sum(
            piece_weight_plf(piece) * lengths.get(one["member"], 0.0)
            for line in span["lines"]
            for one in line["members"]
            if not one["is_gone"]
            for piece in (one.get("state") or {}).get("components", [])
        )
        / LB_A_TON
    )


def _longest(span):
    lengths = lengths_ft(span["skeleton"])
    return max(lengths.items(), key=lambda pair: pair[1], default=None)


def _feet(value):
    return feet_text(float(value)) if value else "not recorded"


def _words_of(facts, kind):
    found = [one for one in facts["parts"] if one["kind"] == kind and one["is_known"]]
    return "; ".join(one["words"] for one in found if one["words"]) or "not recorded"


def _members(facts, wanted):
    found = [
        f"{one['member']}, {line['name'].lower()} truss"
        for span in facts["spans"]
        for line in span["lines"]
        for one in line["members"]
        if wanted(one)
    ]
    return "; ".join(found) or "none recorded"


def _missing(facts):
    return _members(facts, lambda one: one["is_gone"])


def _altered(facts):
    return _members(
        facts,
        lambda one: any(piece["origin"] != "original" for piece in one["pieces"]),
    )


def _features(facts):
    kept = [one["name"] for one in facts["evidence"]["features"] if one["is_kept"]]
    return "; ".join(kept) or "none recorded"


def _drawings(facts):
    found = [one["title"] for one in facts["sources"] if one["kind"] == "drawing"]
    return "; ".join(found) or "none known"


def alternatives(facts):
    """Return the worksheet's rows, and the facts of the record that bear on them."""
    answers = facts["case"]["answers"]
    feasible = dict(dossier_fields.FEASIBLE)
    return [
        {
            "words": words,
            "feasible": feasible.get(answers[f"alt_{name}"], ""),
            "who": answers[f"alt_{name}_who"],
            "cost": answers[f"alt_{name}_cost"],
            "note": answers[f"alt_{name}_note"],
        }
        for name, words in dossier_fields.ALTERNATIVES
    ]


def between(facts, view, first, last):
    """Return the visits of a report between two days, and what changed in them.

    ``first`` and ``last`` are ISO days. The visit at or before the first is where the
    report begins from; later ones are told with their changes.
    """
    visits = view["visits"]
    before = [one for one in visits if one["latest"] <= first]
    told = [one for one in visits if first < one["latest"] <= last]
    pictures = [one for one in facts["photographs"] if first < one["latest"] <= last]
    return {
        "first": first,
        "last": last,
        "before": before[-1] if before else None,
        "visits": told,
        "changed": sum(len(one["changes"]) for one in told),
        "pictures": pictures[:6],
    }


def _date(text):
    return dates.display(text) if text else "not said"
