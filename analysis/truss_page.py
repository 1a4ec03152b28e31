"""The page of one truss line: forces, a vehicle to drive across, the band, the day's rules."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

import numpy as np
from django.core.exceptions import ValidationError
from django.http import Http404, JsonResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from analysis.engine import checkfile
from analysis.engine.drive import drive
from analysis.engine.equilibrium import analyse
from analysis.engine.loads import Train, vehicle_places
from analysis.engine.vehicles import VEHICLES
from bridges import drawing
from shared import dates
from surveys import record as records

from . import bandline, designed, drawings, measure, services, stage, telling
from .translate import SCREENING_VEHICLE
from .views import line_at, shown_bridge

# Figures are handed to the page to so many digits: far finer than the 1e-6 kip that
# its own arithmetic is held to.
DIGITS = 12


@require_GET
def truss_page(request, slug, address):
    """One truss line as of a date: its forces, its estimate, what they rest on."""
    bridge = shown_bridge(request, slug)
    record = records.load(bridge)
    steps = services.history(bridge, record)
    line = line_of(bridge, address)
    as_of, fault = _as_of(request)
    step = _step_as_of(steps, as_of)
    made = None
    if step is not None:
        made = next(
            (after for one, _, after, _ in step.lines if one.pk == line.pk), None
        )
    parts = record.configuration(step.visit) if step else {}
    unseen = drawings.unseen_members(record, line, step.visit) if step else ()
    shown = line_at(line, made, parts, unseen=unseen)
    figures, posted = _figures(shown.answer), _posted_tons(parts)
    estimate = figures["operating"].get("limit_tons")
    band = measure.band(line, parts, record) if step else None
    tasks = (
        measure.measure_next(bridge, None, record, [{"line": line, **band}])
        if band
        else []
    )
    return render(
        request,
        "analysis/truss.html",
        {
            "bridge": bridge,
            "line": line,
            "words": telling.line_words(line),
            "others": [one for one in services.truss_lines(bridge) if one != line],
            "step": step,
            "steps": steps,
            "shown": shown,
            "legend": drawing.legend(shown.legend_bars),
            "figures": figures,
            "as_of": request.GET.get("as_of", ""),
            "fault": fault,
            "posted_tons": posted,
            "is_below_posted": None not in (estimate, posted) and estimate < posted,
            "band": band,
            "band_drawing": bandline.draw(band, estimate, posted) if band else "",
            "tasks": tasks,
            "no_task": _no_task(band),
            "drive": _driven(line, shown, request.GET.get("member", "")),
            "designed": designed.of_line(line, record) if step else None,
        },
    )


def _no_task(band):
    """What keeps the band wide and no tape settles, with the percent it explains."""
    return [
        {"words": one["act"], "percent": round(100 * one["share"])}
        for one in (band or {}).get("measures", [])
        if not one["can_measure"] and one["share"] >= 0.02
    ]


@require_GET
def check_file(request, slug, address):
    """Hand out the check file of a truss line as of a date, to be run again."""
    bridge = shown_bridge(request, slug)
    line = line_of(bridge, address)
    as_of, fault = _as_of(request)
    if fault:
        raise Http404(fault)
    step = _step_as_of(services.history(bridge), as_of)
    made = (
        next((m for one, _, m, _ in step.lines if one == line), None) if step else None
    )
    if made is None or made.check_made is None:
        raise Http404("There is no check of this truss as of that date.")
    answer = JsonResponse(made.check_made.document, json_dumps_params={"indent": 2})
    name = f"{bridge.slug}-{line.address}-{step.visit.when_latest:%Y-%m-%d}.json"
    answer.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return answer


def line_of(bridge, address):
    for line in services.truss_lines(bridge):
        if line.address == address:
            return line
    raise Http404("This bridge has no such truss.")


def _as_of(request):
    """Read ``?as_of=``: any date the record can hold, by its last day."""
    text = request.GET.get("as_of", "").strip()
    if not text:
        return None, ""
    try:
        return dates.parse(text).latest or datetime.date.max, ""
    except ValidationError as error:
        return None, " ".join(error.messages)


def _step_as_of(steps, as_of):
    known = [s for s in steps if as_of is None or s.visit.when_latest <= as_of]
    return known[-1] if known else None


def _figures(answer):
    governing = answer.get("governing") or {}
    return {
        "stands": answer.get("stands"),
        "operating": governing.get("operating") or {},
        "inventory": governing.get("inventory") or {},
        "dead_kip": (answer.get("dead_load") or {}).get("total_kip"),
        "dead_items": telling.weights((answer.get("dead_load") or {}).get("items", [])),
        "unstable_joints": answer.get("unstable_joints") or [],
        "unstable_at": answer.get("unstable_at"),
        "buckling_factor": (answer.get("chord") or {}).get("buckling_factor"),
        "assumptions": answer.get("assumptions", []),
        "warnings": answer.get("warnings", []),
        "sources": answer.get("sources", []),
    }


def _posted_tons(parts):
    limit = parts.get("limit")
    return (limit.state or {}).get("tons") if limit and not limit.is_gone else None


# --- a vehicle driven across -----------------------------------------------------------


@dataclass(frozen=True)
class Driven:
    """What the page needs to show a vehicle on the truss, and to move it."""

    drawing: str
    words: str
    line_words: str
    # The part of the vehicle that this truss takes.
    share_percent: int
    chosen: str
    data: dict
    vehicles: list


def drive_data(made) -> dict:
    """Return what ``statics.js`` computes with, as JSON types."""
    return {
        "names": list(made.truss.names),
        "joints": [made.truss.joints[j] for j in made.truss.loaded],
        "x": _rounded(made.x_ft),
        "dead": _rounded(made.dead_kip),
        "influence": _rounded(made.influence),
        "selfstress": _rounded(made.selfstress),
        "rods": [int(i) for i in np.flatnonzero(made.rods)],
        "line": _rounded(made.line),
        "share": float(made.share),
    }


def _rounded(values):
    """Return nested lists of numbers to ``DIGITS`` significant digits."""
    if np.ndim(values) == 0:
        return float(f"{float(values):.{DIGITS}g}")
    return [_rounded(one) for one in values]


def _driven(line, shown, asked):
    """Return the vehicle where it strains the governing bar most, or None."""
    if shown.check is None or not shown.check.stands or not line.span.skeleton:
        return None
    check = checkfile.read(shown.check.document)
    made = drive(check)
    if made is None:
        return None
    names = list(made.truss.names)
    governing = drawings.governing_member(shown.answer)
    chosen = next((n for n in (asked, governing) if n in names), names[0])
    vehicle = VEHICLES[SCREENING_VEHICLE]
    standing, forces = _worst_place(made, vehicle, names.index(chosen), shown.answer)
    told = dict(zip(names, forces.tolist(), strict=True))
    slack = {
        name
        for name, is_rod in zip(names, made.rods, strict=True)
        if is_rod and abs(told[name]) < stage.NOTHING_KIP
    }
    board = stage.Stage(
        dict(zip(made.truss.joints, made.truss.xy_ft, strict=True)),
        [
            (name, made.truss.joints[a], made.truss.joints[b])
            for name, (a, b), is_absent in zip(
                names, made.truss.ends, made.truss.absent, strict=True
            )
            if not is_absent
        ],
        [made.truss.joints[j] for j in made.truss.loaded],
    )
    most = max(map(abs, forces.tolist()), default=0.0)
    ordinates = made.line[names.index(chosen)]
    members = shown.answer.get("members", {})
    return Driven(
        drawing=stage.draw(
            board,
            told,
            slack,
            most_kip=most,
            title=f"{telling.line_words(line).capitalize()} under {standing.words}",
            standing=standing,
            chosen=chosen,
            line=ordinates.tolist(),
            name="stage",
        ),
        words=f"{standing.words}, its front axle {_place_words(made, standing.front)}",
        share_percent=round(100 * made.share),
        line_words=line_words(chosen, ordinates, made),
        chosen=chosen,
        data={
            "truss": drive_data(made),
            "limits": [_limits(members.get(name, {})) for name in names],
            "mostKip": float(most),
            "vehicles": {
                key: {
                    "kip": list(one.axle_kip),
                    "behind": list(one.behind_front_ft),
                    "tons": one.weight_kip / 2,
                }
                for key, one in VEHICLES.items()
            },
            "start": {
                "vehicle": SCREENING_VEHICLE,
                "front": standing.front,
                "heading": standing.heading,
                "chosen": chosen,
            },
        },
        vehicles=[(key, f"{one.weight_kip / 2:g}") for key, one in VEHICLES.items()],
    )


def _place_words(made, front):
    gone = round(front - made.x_ft[0])
    side = "short of" if gone < 0 else "from"
    return f"{abs(gone)} ft {side} {made.truss.joints[made.truss.loaded[0]]}"


def _limits(member):
    operating = (member.get("resistance") or {}).get("operating") or {}
    return [operating.get("tension_kip"), operating.get("compression_kip")]


def _worst_place(made, vehicle, m, answer):
    """Return where an axle on a joint strains member ``m`` most, and the forces there."""
    train = Train(np.array(vehicle.axle_kip), np.array(vehicle.behind_front_ft))
    places = vehicle_places(analyse(made.truss), [train])
    behind = places.heading[:, None] * train.offset_ft[None, :]
    axles = places.front_ft[:, None] - behind
    forces = made.standing(axles, train.axle_kip)
    name = made.truss.names[m]
    most = drawings.most_kip((answer.get("members") or {}).get(name, {})) or 1.0
    pick = int((np.sign(most) * forces[:, m]).argmax())
    standing = stage.Standing(
        f"one {vehicle.key} vehicle of {vehicle.weight_kip / 2:g} tons",
        float(places.front_ft[pick]),
        int(places.heading[pick]),
        tuple(axles[pick].tolist()),
        vehicle.axle_kip,
    )
    return standing, forces[pick]


def line_words(name, ordinates, made):
    """Say an influence line: “a ton on L2 pulls U1L2 by 0.83 tons”."""
    pick = int(np.abs(ordinates).argmax())
    value = float(ordinates[pick])
    joint = made.truss.joints[made.truss.loaded[pick]]
    if abs(value) < 1e-6:
        return f"No load on the deck does anything to {name} as the truss stands."
    verb = "pulls" if value > 0 else "pushes"
    return f"A ton on the floor at {joint} {verb} {name} with {abs(value):.2f} tons."
