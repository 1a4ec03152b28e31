"""Configurations and answers into drawings: the forces, the metal, the line of time.

Pure: what is drawn is given.
"""

from __future__ import annotations

from dataclasses import dataclass

from bridges import drawing
from bridges.timeline import Event, Stretch, Tick, line_of_time
from shared.dates import display
from shared.templatetags.figures import signed
from surveys import states

# Below this a bar carries nothing that a screening estimate can tell, kip.
NOTHING_KIP = 0.05
ROLE_WORDS = {
    "upper-chord": "upper chord",
    "lower-chord": "lower chord",
    "end-post": "end post",
    "hip-vertical": "hip vertical",
    "sub-strut": "sub-strut",
    "sub-tie": "sub-tie",
}


@dataclass(frozen=True)
class MemberRow:
    """One bar of a truss line as the page tables it; forces in kip, tension positive."""

    name: str
    anchor: str
    role: str
    made_of: str
    part: object
    is_gone: bool
    is_governing: bool
    answer: dict
    most_kip: float | None
    used: float | None

    @property
    def is_reversing(self):
        """Pulled under one position of the load and pressed under another."""
        dead, high, low = _forces(self.answer)
        return dead + high > NOTHING_KIP and dead + low < -NOTHING_KIP

    @property
    def used_percent(self):
        return None if self.used is None else round(self.used * 100)

    @property
    def used_width(self):
        """The part used as a width out of 100, for the bar in the table."""
        return min(self.used_percent or 0, 100)


def member_rows(line, parts, check) -> list[MemberRow]:
    """Return the bars of a truss line in the order of its skeleton.

    ``check`` is the stored ``Check`` of that configuration, or None.
    """
    answer = check.answer if check is not None else {}
    governs = governing_member(answer)
    rows = []
    for name, _, _, role in (line.span.skeleton or {}).get("members", []):
        part = parts.get(f"span-{line.span.number}/{line.key}/{name}")
        told = (answer.get("members") or {}).get(name, {})
        is_gone = part is not None and part.is_gone
        state = None if part is None or is_gone else part.state
        rows.append(
            MemberRow(
                name=name,
                anchor=anchor(line, name),
                role=ROLE_WORDS.get(role, role.replace("-", " ")),
                made_of="not there" if is_gone else states.describe("member", state),
                part=part,
                is_gone=is_gone,
                is_governing=name == governs,
                answer=told,
                most_kip=None if is_gone else most_kip(told),
                used=None if is_gone else used(told),
            )
        )
    return rows


def anchor(line, name, prefix="m"):
    return f"{prefix}-{line.address}-{name}"


def governing_member(answer):
    """Return the name of the bar that governs the operating estimate, or None."""
    return ((answer.get("governing") or {}).get("operating") or {}).get("member")


def _forces(told):
    return (
        told.get("dead_kip") or 0.0,
        told.get("live_max_kip") or 0.0,
        told.get("live_min_kip") or 0.0,
    )


def most_kip(told):
    """Return the greatest force under dead and live load, with its sign, or None."""
    if told.get("dead_kip") is None:
        return None
    dead, high, low = _forces(told)
    return max(dead + high, dead + low, key=abs)


def used(told):
    """Return the part of its allowable force that a bar is put to, or None.

    The greatest of pull and push, dead and live together, each over the operating
    resistance that way.
    """
    resistance = (told.get("resistance") or {}).get("operating") or {}
    dead, high, low = _forces(told)
    ratios = [
        force / limit
        for force, limit in (
            (dead + high, resistance.get("tension_kip")),
            (-(dead + low), resistance.get("compression_kip")),
        )
        if limit and force > 0
    ]
    return max(ratios, default=None)


def bars(rows, *, changed=(), unseen=(), prefix="m", is_labelled=True):
    """Return ``{member: BarStyle}`` of table rows.

    ``changed`` and ``unseen`` are sets of member names; ``prefix`` is that of the rows'
    anchors on the page, empty for bars that lead nowhere.
    """
    return {
        row.name: _bar(
            row, row.name in changed, row.name in unseen, prefix, is_labelled
        )
        for row in rows
    }


def _bar(row, is_changed, is_unseen, prefix, is_labelled):
    mark = _mark(row, is_unseen)
    action = drawing.UNKNOWN if row.is_gone else _action(row)
    has_force = row.most_kip is not None and action not in (drawing.SLACK, drawing.ZERO)
    label = signed(row.most_kip) if has_force and is_labelled else ""
    told = [row.role, row.made_of]
    if has_force:
        told.append(f"{signed(row.most_kip)} kip")
    told.append(drawing.ACTION_WORDS[action])
    if is_changed:
        told.append("changed")
    if is_unseen:
        told.append("could not be seen on this visit")
    if row.is_governing:
        told.append("governs the estimate")
    return drawing.BarStyle(
        force_kip=row.most_kip if has_force else None,
        action=action,
        mark=mark,
        is_governing=row.is_governing,
        is_changed=is_changed,
        label=label,
        href=f"#{row.anchor.replace('m-', prefix + '-', 1)}" if prefix else "",
        title=f"{row.name}: {', '.join(one for one in told if one)}",
    )


def _mark(row, is_unseen):
    if row.is_gone:
        return drawing.GONE
    if is_unseen:
        return drawing.UNSEEN
    state = (row.part.state if row.part else None) or {}
    origins = {piece.get("origin") for piece in state.get("components", [])}
    for origin in (drawing.ADDITION, drawing.REPLACEMENT):
        if origin in origins:
            return origin
    return drawing.ORIGINAL


def _action(row):
    if row.most_kip is None:
        return drawing.UNKNOWN
    if abs(row.most_kip) < NOTHING_KIP:
        return drawing.SLACK if row.answer.get("tension_only") else drawing.ZERO
    return drawing.TENSION if row.most_kip > 0 else drawing.COMPRESSION


def elevation(line, styles, *, title, name):
    """Draw a truss line on a page, or return "" where it has no skeleton."""
    if not line.span.skeleton:
        return ""
    return drawing.elevation(
        line.span.skeleton,
        styles,
        title=title,
        origin_end=line.span.origin_end,
        name=name,
    )


def unseen_members(record, line, visit):
    """Return the members of a line that one visit could not see."""
    prefix = f"span-{line.span.number}/{line.key}/"
    return {
        path.removeprefix(prefix)
        for path, seen in record.answers_of(visit).items()
        if seen.answer == "not-seen" and path.startswith(prefix)
    }


# The line of time.


def life_line(bridge, steps, *, until, address, chosen=()):
    """Draw a bridge's visits and changes.

    ``address(visit)`` is where a tick leads; ``chosen`` are ids of visits.
    """
    ticks = [
        Tick(
            day=step.visit.when_latest,
            earliest=step.visit.when_earliest,
            label=short_date(step.visit),
            basis=step.visit.basis,
            href=address(step.visit),
            title=f"{display(step.visit.when)}, {step.visit.get_basis_display().lower()}",
            is_chosen=step.visit.pk in chosen,
        )
        for step in steps
    ]
    stretches = [
        Stretch(
            first=step.previous.when_latest,
            last=step.visit.when_latest,
            label=_stretch_label(step),
            href=address(step.visit),
            title="; ".join(change.title.rstrip(",") for change in step.changes),
        )
        for step in steps
        if step.changes and step.previous is not None
    ]
    return line_of_time(
        ticks,
        stretches,
        until=until,
        built=_event(bridge, "built", "built"),
        lost=_event(bridge, "lost", "lost"),
        title=f"{bridge.name}: visits and changes in time",
    )


def short_date(visit):
    """Say a visit's date short enough for a tick: the year it was surely made by."""
    return str(visit.when_latest.year)


def _event(bridge, field, word):
    first = getattr(bridge, f"{field}_earliest")
    last = getattr(bridge, f"{field}_latest")
    return Event(first, last, word) if first or last else None


def _stretch_label(step):
    """What had changed, and what that did to the weakest line that it bore on."""
    parts = list(dict.fromkeys(change.part for change in step.changes))
    words = ", ".join(part.replace("-", " ") for part in parts[:2])
    if len(parts) > 2:
        words += f" and {len(parts) - 2} more"
    gains = [
        (result or {}).get("difference", {}).get("limit_tons")
        for _, _, _, result in step.lines
    ]
    gains = [gain for gain in gains if gain is not None and abs(gain) >= NOTHING_KIP]
    if not gains:
        return words
    return f"{words} {signed(min(gains))} tons"
