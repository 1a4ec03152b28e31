"""What a bridge was designed for: its first known state under the rules of its day.

One line of evidence for a date, a class and a builder's custom, beside documents and
the metal itself; never proof. ``designed_for`` is plain data for pages and the dossier.
"""

from __future__ import annotations

from dataclasses import replace

from analysis.engine import checkfile, period, sampling
from surveys import record as records
from surveys.fold import Part

from . import effects, ranges, services, telling, translate
from .models import Finding

CAVEAT = (
    "One line of evidence among others. It shows what the bars would have met, not what "
    "the builder reckoned with; sizes read today stand for sizes rolled then, and a "
    "bridge is often heavier than it had to be."
)
# Raised when the specifications or the words change, so that findings are made anew.
DESIGNED_VERSION = 3
# A bridge may be let a little before and after the years a specification was in use.
YEARS_EITHER_WAY = 2


def designed_for(bridge, record=None) -> list[dict]:
    """Return what each truss line of a bridge works out to under its day's rules.

    Parameters
    ----------
    bridge : Bridge
    record : Record, where it is already loaded

    Returns
    -------
    list of dict, one a truss line
        ``line`` (TrussLine), ``where`` (its words), ``year`` built or None, ``gaps``
        (why nothing is told, sentences), ``rests_on`` (sentences on what stands in for
        the bridge as built), ``sentences``, ``caveat`` and ``specifications``, those of
        its time first. A specification: ``key``, ``title``, ``first_year``,
        ``last_year``, ``is_of_its_time``,
        ``stresses``, ``loads`` (how surely they are known, words), ``source``, ``note``,
        ``psf``, ``psf_low``, ``psf_high``, ``governs``, ``roller_tons``, ``roller_low``,
        ``roller_high``, ``roller_governs``, ``unrated`` (members) and ``classes``:
        ``key``, ``words``, ``asked`` (words), ``floor``, ``times`` (what it comes to over
        what was asked), ``met`` and ``of`` (counts of members), ``short`` (members) and
        ``verdict`` (words).
    """
    record = record or records.load(bridge)
    return [of_line(line, record) for line in services.truss_lines(bridge)]


def of_line(line, record) -> dict:
    """Return the same of one truss line."""
    span = line.span
    year = _year(span)
    told = {
        "line": line,
        "where": telling.line_words(line),
        "year": year,
        "gaps": [],
        "rests_on": [],
        "sentences": [],
        "caveat": CAVEAT,
        "specifications": [],
    }
    steps = record.steps()
    if not steps:
        return told | {"gaps": ["Nobody has described this truss yet."]}
    parts, rests_on = as_built(line, steps)
    made = translate.check_file(line, parts)
    if made.document is None:
        return told | {"gaps": made.gaps}
    check = checkfile.read(made.document)
    roadway_ft = span.roadway_ft
    if not roadway_ft:
        return told | {"gaps": ["The width of the roadway is not recorded."]}
    checks = [check, *_readings(line, parts, record, check)]
    content = [DESIGNED_VERSION, roadway_ft, [checkfile.sha256_of(c) for c in checks]]
    rows = [
        row | {"is_of_its_time": _is_of_its_time(row, year)}
        for row in Finding.of(
            "designed", content, lambda: _works_out(checks, roadway_ft)
        )
    ]
    rows.sort(key=lambda row: not row["is_of_its_time"])
    if not rows:
        told["gaps"] = ["None of the rules of the day that are at hand reach its bars."]
    return told | {
        "rests_on": [*rests_on, *made.assumptions],
        "specifications": rows,
        "sentences": _sentences(rows, year),
    }


def _works_out(checks, roadway_ft):
    """Return a row for each specification that reaches at least half of the bars."""
    rows = []
    for one in period.SPECIFICATIONS:
        worked = period.works_out(checks, one, roadway_ft)
        if worked.psf is not None and len(worked.unrated) <= len(checks[0].members) / 2:
            rows.append(_told(worked))
    return rows


def _is_of_its_time(row, year):
    first, last = row["first_year"], row["last_year"]
    return year is not None and (
        first - YEARS_EITHER_WAY <= year <= last + YEARS_EITHER_WAY
    )


def _year(span):
    dated = span.made_in_earliest or span.bridge.built_earliest
    return dated.year if dated else None


# --- the bridge as built ---------------------------------------------------------------


def as_built(line, steps):
    """Return the configuration nearest to how a truss line was built, and its caveats.

    The first known state; what was first described later is taken to have been so from
    the beginning. Pieces recorded as added are left out, and members recorded as
    replacements are left without sizes, for nobody has described what stood before.
    """
    first = steps[0]
    parts = dict(first[1])
    for _, after, _ in steps[1:]:
        parts = effects.known_later(parts, after)
    prefix = f"span-{line.span.number}/{line.key}/"
    replaced, gone, added = [], [], []
    for path, part in list(parts.items()):
        if not path.startswith(prefix):
            continue
        name = path.removeprefix(prefix)
        if part.is_gone:
            gone.append(name)
            parts[path] = _unknown(part)
            continue
        pieces = (part.state or {}).get("components", [])
        origins = {piece.get("origin") for piece in pieces}
        if "replacement" in origins:
            replaced.append(name)
            parts[path] = _unknown(part)
        elif "addition" in origins:
            added.append(name)
            kept = [piece for piece in pieces if piece.get("origin") != "addition"]
            parts[path] = replace(part, state={**part.state, "components": kept})
    return parts, _rests_on(line, first[0], (replaced, gone, added))


def _unknown(part: Part) -> Part:
    return replace(part, state=None, is_gone=False)


def _rests_on(line, visit, found):
    replaced, gone, added = found
    said = []
    year = _year(line.span)
    first = visit.when_latest.year
    if year is None:
        said.append("No date of building is recorded.")
    elif first - year > 10:
        said.append(
            f"The first state on record is of {first}, {first - year} years after it was "
            "built: what was done before is not known."
        )
    for names, words in (
        (replaced, "a replacement when first described, so left out"),
        (gone, "already gone, so left out"),
        (added, "taken without the pieces recorded as added"),
    ):
        if names:
            said.append(f"{ranges.list_words(names)}: {words}.")
    return said


def _readings(line, parts, record, check):
    """Return the check with all sizes at the least, and at the most, of their readings."""

    def basis(part):
        visit = record.visit_by_key.get(part.said_by) if part.said_by else None
        return visit.basis if visit is not None else "in-person"

    unknowns = [
        one
        for one in ranges.ranges(line, parts, basis, check).unknowns
        if isinstance(one, sampling.Size) and one.field != "loss_fraction"
    ]
    return [sampling.at_end(check, unknowns, end) for end in (0.0, 1.0)]


# --- told ------------------------------------------------------------------------------


def _told(worked):
    one = worked.specification
    psf_low, psf_high = worked.psf_range
    tons_low, tons_high = worked.roller_range
    return {
        "key": one.key,
        "title": one.title,
        "first_year": one.first_year,
        "last_year": one.last_year,
        "stresses": period.CERTAINTY_WORDS[one.stress_certainty],
        "loads": period.CERTAINTY_WORDS[one.load_certainty],
        "source": one.source,
        "note": one.note,
        "psf": round(worked.psf, 1),
        "psf_low": round(psf_low, 1),
        "psf_high": round(psf_high, 1),
        "governs": worked.governs,
        "roller_tons": round(worked.roller_tons, 2),
        "roller_low": round(tons_low, 2),
        "roller_high": round(tons_high, 2),
        "roller_governs": worked.roller_governs,
        "unrated": list(worked.unrated),
        "classes": [_class(met, worked) for met in worked.met],
    }


def _class(met, worked):
    asked = (
        f"{met.psf:g} lb per square foot"
        if met.psf is not None
        else f"the {met.load_class.vehicle} truck"
    )
    reach = worked.psf_range[1] / worked.psf if worked.psf else 1.0
    return {
        "key": met.load_class.key,
        "words": met.load_class.words,
        "asked": asked,
        "floor": met.load_class.floor_words,
        "times": round(met.times, 3),
        "met": met.of - len(met.short),
        "of": met.of,
        "short": list(met.short),
        "verdict": _verdict(met, reach),
    }


def _verdict(met, reach):
    if not met.short:
        return "every rated bar meets it"
    if met.times * reach >= 1.0 - period.WITHIN:
        return "met within how surely the sizes are read"
    names = ranges.list_words(met.short)
    return f"not met by {names}"


def _sentences(rows, year):
    """Say it as evidence: what it works out to, which class that is, and how surely."""
    said = []
    for row in rows:
        if not row["is_of_its_time"]:
            continue
        low, high = round(row["psf_low"]), round(row["psf_high"])
        span = f" ({low} to {high})" if low != high else ""
        if row["psf"] < 0.5:
            said.append(
                f"Under {row['title']}{_recalled(row)} the dead load alone takes {row['governs']} to its "
                "stress or beyond: something in the record is not of the first building."
            )
            continue
        said.append(
            f"Under {row['title']}{_recalled(row)} it works out to about {row['psf']:.0f} lb per square "
            f"foot of roadway{span}, or a road roller of about {row['roller_tons']:.0f} "
            f"tons; {row['governs']} governs. {_classes_words(row['classes'])}".strip()
        )
    if not said and rows:
        when = f"of {year}" if year else "without a date"
        said.append(f"No rules at hand are of the time of a bridge {when}.")
    return said


def _recalled(row):
    weak = period.CERTAINTY_WORDS[period.WEAK]
    surely = [row["stresses"], row["loads"]] if row["classes"] else [row["stresses"]]
    return ", recalled and not checked," if weak in surely else ""


def _classes_words(classes):
    met = [one for one in classes if not one["short"]]
    if not classes:
        return ""
    if len(classes) == 1:
        verdict = "it meets that" if met else "it falls short of that"
        one = classes[0]
        return f"The rules asked {one['asked']} of {one['words']}; {verdict}."
    # The heaviest class that is met is the one with least to spare.
    if met:
        best = min(met, key=lambda one: one["times"])
        return f"That meets class {best['key']}: {best['words']}, {best['asked']}."
    least = max(classes, key=lambda one: one["times"])
    return (
        f"That is short of the lightest class, {least['key']}: {least['words']}, "
        f"{least['asked']}."
    )
