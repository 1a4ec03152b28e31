"""An answer for people: aligned columns, plain sentences."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from typing import Any

WIDTH = 96
HEADS = (
    "member",
    "kind",
    "length",
    "dead",
    "live +",
    "live -",
    "tension",
    "compr.",
    "KL/r",
    "rating",
    "rating",
)
UNITS = ("", "", "ft", "kip", "kip", "kip", "kip", "kip", "", "oper.", "inv.")


def table(answer: Mapping[str, Any], title: str = "") -> str:
    """Return one answer as text of aligned columns.

    Forces in kips, tension positive; resistances at operating level; ``-`` where there
    is no figure.
    """
    parts = [
        title or "Check",
        "",
        *_wrapped(answer["warnings"][:1], bullet=""),
        "",
        *_summary(answer),
        "",
        *_members(answer["members"]),
        "",
        *_reactions(answer["reactions"]),
        "",
        *_dead_load(answer["dead_load"]),
        *_floor(answer.get("floor")),
        *_pins(answer.get("pins") or {}),
    ]
    for head, sentences in (
        ("Warnings", answer["warnings"][1:]),
        ("Assumptions", answer["assumptions"]),
        ("Sources", answer["sources"]),
    ):
        if sentences:
            parts += ["", head, *_wrapped(sentences)]
    parts += ["", f"engine {answer['engine']}  input {answer['input_sha256']}"]
    return "\n".join(parts) + "\n"


def _summary(answer: Mapping[str, Any]) -> list[str]:
    if not answer["stands"]:
        joints = ", ".join(answer["unstable_joints"])
        return [f"As recorded it cannot stand. Joints that can move: {joints}"]
    lines = []
    for level in ("operating", "inventory"):
        lines.append(f"{level:<10}  {_governing(answer['governing'][level])}")
    unstable = answer["unstable_at"]
    if unstable is not None:
        where = ""
        if unstable["front_axle_ft"] is not None:
            way = "from" if unstable["heading"] > 0 else "towards"
            where = (
                f", front axle at {unstable['front_axle_ft']:.2f} ft, heading {way} "
                "the origin end"
            )
        lines.append(
            f"Stability is lost under {unstable['load_factor']:.1%} of the live load"
            f"{where}"
        )
    if answer["chord"] is not None:
        factor = answer["chord"]["buckling_factor"]
        text = "not compressed" if factor is None else f"{factor:.2f} times the load"
        lines.append(f"Upper chord buckles sideways at: {text}")
    return lines


def _governing(found: Mapping[str, Any] | None) -> str:
    if found is None:
        return "not rated"
    of = f"{found['member']}, {found['mode']}" if found["member"] else found["mode"]
    tons = found["limit_tons"]
    limit = "" if tons is None else f", {tons:.1f} tons (screening estimate)"
    return f"first limit: {of}, at {found['rating']:.2f} of the live load{limit}"


def _members(members: Mapping[str, Mapping[str, Any]]) -> list[str]:
    rows = [HEADS, UNITS]
    for name, member in members.items():
        resistance = member["resistance"]["operating"]
        rating = member["rating"]
        rows.append(
            (
                name,
                "absent" if member.get("absent") else member["kind"] or "-",
                _figure(member["length_ft"], 2),
                _figure(member["dead_kip"], 2),
                _figure(member["live_max_kip"], 2),
                _figure(member["live_min_kip"], 2),
                _figure(resistance["tension_kip"], 1),
                _figure(resistance["compression_kip"], 1),
                _figure(member["slenderness"], 0),
                _figure(rating["operating"], 2),
                _figure(rating["inventory"], 2),
            )
        )
    return aligned(rows, left=2)


def _reactions(reactions: Mapping[str, Mapping[str, Any]]) -> list[str]:
    rows: list[Sequence[str]] = [("support", "dead", "live +", "live -")]
    rows.append(("", "kip", "kip", "kip"))
    for joint, found in reactions.items():
        figures = (found[k] for k in ("dead_kip", "live_max_kip", "live_min_kip"))
        rows.append((joint, *(_figure(value, 2) for value in figures)))
    return aligned(rows, left=1)


def _dead_load(load: Mapping[str, Any]) -> list[str]:
    rows: list[Sequence[str]] = [("dead load", "kip")]
    rows += [(item["what"], _figure(item["kip"], 2)) for item in load["items"]]
    rows.append(("in all", _figure(load["total_kip"], 2)))
    return aligned(rows, left=1)


def _floor(floor: Mapping[str, Any] | None) -> list[str]:
    """Return the beams under the deck, dead, live and resistance at operating level."""
    rows: list[Sequence[str]] = [
        ("beam", "in", "span", "dead", "live", "limit", "rating", "rating"),
        ("", "", "ft", "", "", "", "oper.", "inv."),
    ]
    for key, name in (("stringer", "stringer"), ("floor_beam", "floor beam")):
        for mode, unit in (("bending", "kip_ft"), ("shear", "kip")):
            if floor is None or key not in floor:
                continue
            found = floor[key][mode]
            rows.append(
                (
                    name,
                    f"{mode}, {unit.replace('_', ' ')}",
                    _figure(floor[key]["span_ft"], 2),
                    _figure(found[f"dead_{unit}"], 1),
                    _figure(found[f"live_{unit}"], 1),
                    _figure(found[f"resistance_{unit}"]["operating"], 1),
                    _figure(found["rating"]["operating"], 2),
                    _figure(found["rating"]["inventory"], 2),
                )
            )
    return ["", *aligned(rows, left=2)] if len(rows) > 2 else []


def _pins(pins: Mapping[str, Any]) -> list[str]:
    """Return the pins' stresses, limits at operating level."""
    rows: list[Sequence[str]] = [
        ("pin", "in", "dead", "most", "limit", "rating", "rating"),
        ("", "", "ksi", "ksi", "ksi", "oper.", "inv."),
    ]
    for joint, modes in pins.items():
        for mode, found in modes.items():
            rows.append(
                (
                    joint,
                    mode,
                    _figure(found["dead_ksi"], 1),
                    _figure(found["most_ksi"], 1),
                    _figure(found["limit_ksi"]["operating"], 1),
                    _figure(found["rating"]["operating"], 2),
                    _figure(found["rating"]["inventory"], 2),
                )
            )
    return ["", *aligned(rows, left=2)] if pins else []


def aligned(rows: Sequence[Sequence[str]], left: int) -> list[str]:
    """Return rows as lines, the first ``left`` columns to the left, others right."""
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    lines = []
    for row in rows:
        cells = [
            cell.ljust(width) if k < left else cell.rjust(width)
            for k, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        lines.append("  ".join(cells).rstrip())
    return lines


def _figure(value: float | None, decimals: int) -> str:
    if value is None:
        return "-"
    text = f"{value:.{decimals}f}"
    return text.lstrip("-") if float(text) == 0.0 else text


def _wrapped(sentences: Sequence[str], bullet: str = "- ") -> list[str]:
    lines: list[str] = []
    for sentence in sentences:
        lines += textwrap.wrap(
            sentence,
            WIDTH,
            initial_indent=bullet,
            subsequent_indent=" " * len(bullet),
        )
    return lines
