"""Changes and effects arranged for the page: each change beside what it did."""

from __future__ import annotations

from dataclasses import dataclass

from surveys import states

from . import effects

# Two trusses whose figures agree to this are told in one line, tons.
ALIKE_TONS = 0.05


def weights(items):
    """Return what makes up a dead load, each with its ``words`` for people."""
    return [{**item, "words": _weight_words(item["what"])} for item in items]


def _weight_words(what):
    if what == "self-weight":
        return "own weight"
    return what.removeprefix("floor: ").replace("-", " ")


@dataclass(frozen=True)
class EffectRow:
    """What one change did to one truss line, or to several alike; tons."""

    lines: tuple
    limit_share: float | None = None
    limit_alone: float | None = None
    dead_share: float | None = None
    governs: str = ""
    gap: str = ""
    is_untouched: bool = False
    # Title of the group, where the change was shared out together with others.
    together: str = ""

    @property
    def where(self):
        return lines_words(self.lines)

    @property
    def is_nothing(self):
        """True where the limit and the dead load stay as they were."""
        return not self.gap and all(
            abs(value or 0.0) < effects.TINY
            for value in (self.limit_share, self.dead_share)
        )

    @property
    def differs_alone(self):
        """True where the change alone would do something else than its share."""
        if self.limit_share is None or self.limit_alone is None:
            return False
        return abs(self.limit_share - self.limit_alone) >= effects.TINY


@dataclass(frozen=True)
class ChangeRow:
    """One change, between which visits, with its effects."""

    change: object
    previous: object
    visit: object
    effects: list


@dataclass(frozen=True)
class PartRow:
    """One element as last seen."""

    element: object
    words: str
    part: object
    seen_in: object
    said_in: object


def line_words(line):
    """Name a truss line on its bridge: “upstream truss”, “upstream truss, span 2”."""
    words = f"{line.name.lower()} truss"
    return words if line.span.number == 1 else f"{words}, span {line.span.number}"


def lines_words(lines):
    if len(lines) == 1:
        return line_words(lines[0])
    if len({line.span_id for line in lines}) == 1:
        names = " and ".join(line.name.lower() for line in lines)
        tail = "" if lines[0].span.number == 1 else f", span {lines[0].span.number}"
        return f"{names} trusses{tail}"
    return ", ".join(line_words(line) for line in lines)


def change_rows(changes, told, previous, visit) -> list[ChangeRow]:
    """Put each change beside its effects.

    ``told`` is ``[(line, result or None)]`` of the two visits, as stored.
    """
    return [
        ChangeRow(change, previous, visit, effect_rows(change, told))
        for change in changes
    ]


def effect_rows(change, told) -> list[EffectRow]:
    rows = []
    for line, result in told:
        if result is None or not effects.relevant(line, [change]):
            continue
        row = _effect_row(change, line, result)
        if row is None:
            continue
        for index, other in enumerate(rows):
            if _alike(row, other):
                rows[index] = _joined(other, line)
                break
        else:
            rows.append(row)
    return rows


def _effect_row(change, line, result):
    if result.get("gaps"):
        return EffectRow((line,), gap=" ".join(result["gaps"]))
    governs = (result.get("after") or {}).get("member") or ""
    if change.key in result.get("untouched", ()):
        return EffectRow((line,), 0.0, 0.0, 0.0, governs=governs, is_untouched=True)
    for share in result.get("shares", []):
        if change.key in share["keys"]:
            limit, dead = share.get("limit_tons") or {}, share.get("dead_tons") or {}
            return EffectRow(
                (line,),
                limit.get("share"),
                limit.get("alone"),
                dead.get("share"),
                governs=governs,
                together=share["title"] if len(share["keys"]) > 1 else "",
            )
    return None


def _alike(one, other):
    if (one.gap, one.is_untouched, one.together, one.governs) != (
        other.gap,
        other.is_untouched,
        other.together,
        other.governs,
    ):
        return False
    pairs = (
        (one.limit_share, other.limit_share),
        (one.limit_alone, other.limit_alone),
        (one.dead_share, other.dead_share),
    )
    return all(
        a == b or (a is not None and b is not None and abs(a - b) < ALIKE_TONS)
        for a, b in pairs
    )


def _joined(row, line):
    return EffectRow(
        (*row.lines, line),
        row.limit_share,
        row.limit_alone,
        row.dead_share,
        row.governs,
        row.gap,
        row.is_untouched,
        row.together,
    )


def step_rows(step) -> list[ChangeRow]:
    """Return the changes of one step of the history beside their effects."""
    told = [(line, result) for line, _, _, result in step.lines]
    return change_rows(step.changes, told, step.previous, step.visit)


def part_rows(record, parts) -> list[PartRow]:
    """Return what is known of everything but the members, in walking order."""
    rows = []
    for element in record.elements:
        part = parts.get(element.path)
        if part is None or element.member:
            continue
        words = (
            "not there"
            if part.is_gone
            else states.describe(element.kind, part.state)
            if part.is_described
            else "seen, never described"
        )
        rows.append(
            PartRow(
                element,
                words,
                part,
                record.visit_by_key.get(part.seen_by),
                record.visit_by_key.get(part.said_by),
            )
        )
    return rows


def answer_counts(record, visit):
    """Count what one visit said, by answer: ``{"same": 12, "not-seen": 3}``."""
    counts: dict[str, int] = {}
    for seen in record.answers_of(visit).values():
        counts[seen.answer] = counts.get(seen.answer, 0) + 1
    return counts


def sentences(told):
    """Return ``[(words of the lines, sentences)]``, lines that say the same as one."""
    groups: list[tuple[list, list]] = []
    for line, result in told:
        said = (result or {}).get("sentences") or []
        if not said:
            continue
        for lines, other in groups:
            if other == said:
                lines.append(line)
                break
        else:
            groups.append(([line], said))
    return [(lines_words(lines), said) for lines, said in groups]
