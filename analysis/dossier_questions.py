"""What the record leaves open, in sentences. Pure: from the facts alone."""

from __future__ import annotations

SHOWN_NAMES = 12


def questions(facts):
    """Return what the record leaves open, in sentences."""
    told = []
    for span in facts["spans"]:
        for line in span["lines"]:
            told += _line_questions(line, span, len(facts["spans"]))
    unknown = [one["name"] for one in facts["parts"] if not one["is_known"]]
    if unknown:
        told.append(f"Not described yet: {listed(unknown)}.")
    told += [
        f"{capital(one['name'])}: {one['doubt']}"
        for one in _all_parts(facts)
        if one.get("doubt")
    ]
    unsure = [
        one["name" if "name" in one else "path"]
        for one in facts["parts"]
        if one.get("certainty") in ("probable", "guess")
    ]
    if unsure:
        told.append(f"Recorded with some doubt by the surveyor: {listed(unsure)}.")
    for about, rows in by_about(facts["claims"]):
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
        yield f"Members of the {where} not described yet: {listed(bare)}."
    unsure = [
        one["member"]
        for one in line["members"]
        if one.get("certainty") in ("probable", "guess")
    ]
    if unsure:
        yield f"Recorded with some doubt, {where}: {listed(unsure)}."


def _all_parts(facts):
    for span in facts["spans"]:
        for line in span["lines"]:
            for one in line["members"]:
                yield {**one, "name": f"{one['member']}, {line['name'].lower()} truss"}
    yield from facts["parts"]


def by_about(claims):
    """Group claims by what they are about, in the order in which each is first met."""
    found: dict[str, list] = {}
    for claim in claims:
        found.setdefault(claim["about"], []).append(claim)
    return found.items()


def listed(words):
    """Join words as a sentence does, the first dozen of many."""
    words = list(words)
    if len(words) > SHOWN_NAMES:
        more = len(words) - SHOWN_NAMES
        return f"{', '.join(words[:SHOWN_NAMES])} and {more} more"
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"


def capital(text):
    return text[:1].upper() + text[1:]
