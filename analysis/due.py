"""What to revisit next, and why.

Every bridge that stands gets reasons out of the record, each with points; the list is
in the order of their sum. The points are the society's own practice (no published rule
sets them) and stand in ``POINTS`` to be argued with. That somebody should look at a
bridge says nothing of its strength.

A fixed number of queries, whatever the number of bridges.
"""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial

from django.db.models import Count, F, Max, Q

from bridges.models import Bridge, LifeEvent
from shared.dates import display
from surveys import seasons
from surveys.models import Observation, Photo, Repair, Viewpoint, Visit

from . import looks
from .drive import miles_between
from .models import ToMeasure

DAYS_A_YEAR = 365.25
# A look older than this begins to count. United States practice has owners inspect most
# highway bridges at least every 24 months (23 CFR 650.311, from memory): the record of
# a volunteer society need not be younger than that.
FRESH_YEARS = 2.0
# After this long a part that others of the bridge have outlived unseen is named.
OLD_PART_YEARS = 5.0
OLD_PHOTO_YEARS = 5.0
POINTS = {
    "danger": 100,
    "old_danger": 50,
    "never": 40,
    "question": 20,
    "expected": 15,
    "year": 4,
    "most_years": 40,
    "old_part": 2,
    "most_old_parts": 20,
    "unseen": 3,
    "most_unseen": 15,
    "unseen_in_season": 4,
    "viewpoint": 6,
    "old_viewpoint": 2,
    "most_viewpoints": 18,
    "missing_size": 10,
    "per_percent": 0.4,
    "most_measure": 20,
}
MOST_NAMED = 4


@dataclass(frozen=True, slots=True)
class Reason:
    """One reason to go: its kind, a sentence, its points, and a day or season.

    The sentence may be given as a function of nothing: of thousands of bridges a page
    shows some, and only theirs are worded.
    """

    kind: str
    told: str | Callable[[], str]
    points: float
    season: str = ""

    @property
    def words(self):
        return self.told if isinstance(self.told, str) else self.told()


@dataclass(slots=True)
class Due:
    """One bridge and why it is due."""

    pk: int
    name: str
    access: str
    bridge: Bridge | None = None
    reasons: list[Reason] = field(default_factory=list)
    miles: float | None = None
    last_look: datetime.date | None = None

    @property
    def points(self):
        return sum(reason.points for reason in self.reasons)

    @property
    def is_danger(self):
        return any(reason.kind == "danger" for reason in self.reasons)

    @property
    def seasons(self):
        return {reason.season for reason in self.reasons if reason.season}


def due(bridges, today, near=None, *, filled=True) -> list[Due]:
    """Return what is due among these bridges (a queryset), the most pressing first.

    ``near`` is ``(latitude, longitude)``; distances are great-circle miles from it.
    Bridges without any reason are left out. Of thousands a page shows some: whoever
    asks for rows that are not ``filled`` has ``fill`` read those few bridges.
    """
    standing = bridges.exclude(status__in=[Bridge.Status.LOST, Bridge.Status.STORED])
    rows, places = {}, {}
    facts = ("name", "status", "access_notes", "standing__last_visited")
    facts = ("pk", *facts, "latitude", "longitude")
    for pk, name, status, notes, last, *place in standing.values_list(*facts):
        rows[pk] = Due(pk, name, seasons.access_of(status, notes), last_look=last)
        places[pk] = place
    if not rows:
        return []
    # Every bridge there is costs one subquery; some of them, their numbers.
    here = standing.order_by().values("pk")
    seen = looks.of_all()
    _dangers(rows, here, today)
    _questions(rows, here)
    _ages(rows, seen, today)
    _unseen(rows, seen, today)
    _viewpoints(rows, here, today)
    _expected(rows, here)
    _measures(rows, here)
    found = [row for row in rows.values() if row.reasons]
    for row in found:
        row.reasons.sort(key=lambda reason: -reason.points)
        if near is not None:
            row.miles = miles_between(near, tuple(map(float, places[row.pk])))
    found.sort(key=lambda row: (-row.points, row.name, row.pk))
    return fill(found) if filled else found


def fill(rows):
    """Read the bridges of these rows, in one query; returns the rows."""
    bridges = Bridge.objects.in_bulk([row.pk for row in rows])
    for row in rows:
        row.bridge = bridges[row.pk]
    return rows


def _add(rows, pk, *reason, **more):
    if pk in rows:
        rows[pk].reasons.append(Reason(*reason, **more))


# -- danger and questions


def _dangers(rows, here, today):
    for visit in Visit.objects.in_danger().filter(bridge__in=here):
        words = f"Reported as dangerous on {display(visit.when)}"
        if visit.danger_note:
            words = f"{words}: {_short(visit.danger_note)}"
        is_old = (today - visit.when_latest).days > DAYS_A_YEAR
        words = f"{_end(words)} Keep off; nobody has written what was done about it."
        points = POINTS["old_danger" if is_old else "danger"]
        _add(rows, visit.bridge_id, "danger", words, points)


def _questions(rows, here):
    visits = Visit.objects.filter(bridge__in=here).exclude(question="")
    for visit in visits.filter(status=Visit.Status.RETURNED):
        words = f"A reviewer asks: {_end(_short(visit.question))}"
        _add(rows, visit.bridge_id, "question", words, POINTS["question"])
    held = Observation.objects.filter(
        visit__bridge__in=here, superseded_by__isnull=True
    ).exclude(question="")
    held = held.filter(
        Q(is_held_back=True, visit__status=Visit.Status.ACCEPTED)
        | Q(visit__status=Visit.Status.RETURNED)
    ).exclude(replies__sent_at__gte=F("asked_at"))
    for one in held.annotate(
        bridge_id=F("visit__bridge"), element_name=F("element__name")
    ).values("bridge_id", "element_name", "question"):
        words = f"Of {one['element_name']}: {_end(_short(one['question']))}"
        _add(rows, one["bridge_id"], "question", words, POINTS["question"])


# -- age


def _ages(rows, seen, today):
    """How long ago anybody stood there, and which parts have been seen by none since."""
    for pk, row in rows.items():
        if row.last_look is None:
            _add(rows, pk, "age", "Nobody has stood there yet.", POINTS["never"])
            continue
        years = (today - row.last_look).days / DAYS_A_YEAR
        if years > FRESH_YEARS:
            points = min((years - FRESH_YEARS) * POINTS["year"], POINTS["most_years"])
            words = partial(_visited_words, years, row.last_look)
            _add(rows, pk, "age", words, points)
        if pk in seen:
            _old_parts(rows, pk, seen[pk].parts, row.last_look, today)


def _visited_words(years, day):
    return f"Last visited {_years(years)} ago, in {day:%B %Y}."


def _old_parts(rows, pk, parts, last_look, today):
    """Name parts that the last visits passed by; what nobody ever described too."""
    before = min(last_look, today - datetime.timedelta(OLD_PART_YEARS * DAYS_A_YEAR))
    never = sum(1 for oldest in parts.values() if oldest is None)
    old = sum(1 for oldest in parts.values() if oldest and oldest < before)
    for count, words in (
        (old, partial(_old_words, parts, before, today)),
        (never, partial(_never_words, parts)),
    ):
        if count:
            points = min(POINTS["old_part"] * count, POINTS["most_old_parts"])
            _add(rows, pk, "age", words, points)


def _never_words(parts):
    never = [name for name, oldest in parts.items() if oldest is None]
    return f"Never recorded: {_listed(never[:MOST_NAMED], len(never))}."


def _old_words(parts, before, today):
    old = sorted(
        (
            ((today - oldest).days / DAYS_A_YEAR, name)
            for name, oldest in parts.items()
            if oldest and oldest < before
        ),
        reverse=True,
    )
    named = [f"{name} ({_years(years)} ago)" for years, name in old[:MOST_NAMED]]
    return f"Passed over by later visits: {_listed(named, len(old))}."


# -- what could not be seen


def _unseen(rows, seen, today):
    grouped = defaultdict(list)
    for pk in rows:
        for name, reason in seen[pk].hidden if pk in seen else ():
            season = seasons.of_reason(reason)
            grouped[pk, season.key if season else ""].append((name, reason))
    for (pk, key), found in grouped.items():
        _add_unseen(rows, pk, seasons.BY_KEY.get(key), found, today)


def _add_unseen(rows, pk, season, found, today):
    points = min(POINTS["unseen"] * len(found), POINTS["most_unseen"])
    if season is not None:
        points += POINTS["unseen_in_season"] if season.suits(today.month) else 0
    words = partial(_unseen_words, season, found)
    _add(rows, pk, "unseen", words, points, season=season.key if season else "")


def _unseen_words(season, found):
    names = [name for name, _ in found]
    why = next((reason for _, reason in found if reason), "")
    words = f"Could not be seen last time: {_listed(names[:MOST_NAMED], len(names))}"
    words = f"{words} ({why})." if why else f"{words}."
    return f"{words} Best when {season.name}, {season.when}." if season else words


# -- viewpoints


def _viewpoints(rows, here, today):
    photos = Photo.objects.public().filter(viewpoint__bridge__in=here).order_by()
    taken = dict(
        photos.values("viewpoint_id")
        .annotate(last=Max("visit__when_latest"))
        .values_list("viewpoint_id", "last")
    )
    lacking, old = defaultdict(list), defaultdict(list)
    wanted = Viewpoint.objects.filter(bridge__in=here, is_mandatory=True)
    for pk, bridge, name in wanted.values_list("pk", "bridge_id", "name"):
        last = taken.get(pk)
        if last is None:
            lacking[bridge].append(name)
        elif (today - last).days / DAYS_A_YEAR > OLD_PHOTO_YEARS:
            old[bridge].append(name)
    for kind, found, words in (
        ("viewpoint", lacking, "No photo from"),
        ("old_viewpoint", old, "Photo older than five years from"),
    ):
        for pk, names in found.items():
            points = min(POINTS[kind] * len(names), POINTS["most_viewpoints"])
            told = partial(_lacking_words, words, names)
            _add(rows, pk, "viewpoint", told, points)


def _lacking_words(words, names):
    return f"{words} {_listed(names[:MOST_NAMED], len(names))}."


# -- changes expected


def _expected(rows, here):
    """Work and events heard of that nobody has gone to see since."""
    repairs = Repair.objects.filter(bridge__in=here, seen_at_visit=None)
    events = LifeEvent.objects.filter(bridge__in=here)
    told = [
        *repairs.values_list(
            "bridge_id", "when", "when_earliest", "when_latest", "title"
        ),
        *[
            (pk, *dates, text or LifeEvent.Kind(kind).label)
            for pk, *dates, text, kind in events.values_list(
                "bridge_id", "when", "when_earliest", "when_latest", "text", "kind"
            )
        ],
    ]
    for pk, when, earliest, latest, title in told:
        row = rows.get(pk)
        if row is None or row.last_look is None or not when:
            continue
        # What has no end yet counts from its beginning.
        day = latest or earliest
        if day is not None and day > row.last_look:
            words = f"Heard of since the last visit, {display(when)}: {_short(title)}"
            _add(rows, pk, "expected", _end(words), POINTS["expected"])
    waiting = (
        Visit.objects.waiting().filter(bridge__in=here).order_by().values("bridge_id")
    )
    for one in waiting.annotate(count=Count("pk")):
        row = rows.get(one["bridge_id"])
        if row is not None and row.reasons:
            words = "A visit waits for review: see what it says before you go."
            row.reasons.append(Reason("waiting", words, 0))


# -- measurements that move a check


def _measures(rows, here):
    for kept in ToMeasure.objects.filter(bridge__in=here):
        points, said = 0.0, []
        for task in kept.tasks:
            if task["is_missing"]:
                points += POINTS["missing_size"]
            else:
                points += POINTS["per_percent"] * (task["narrows_percent"] or 0)
            said.append(f"{task['words']} {task['why']}")
        if said:
            _add(
                rows,
                kept.bridge_id,
                "measure",
                said[0],
                min(points, POINTS["most_measure"]),
            )


# -- words


def _short(text, most=140):
    text = " ".join(text.split())
    return text if len(text) <= most else f"{text[: most - 1].rstrip()}…"


def _end(text):
    return text if text.endswith((".", "!", "?", "…")) else f"{text}."


def _years(years):
    whole = round(years)
    if whole < 1:
        return f"{max(round(years * 12), 1)} months"
    return f"{whole} year{'' if whole == 1 else 's'}"


def _listed(names, count):
    rest = count - len(names)
    if rest:
        return f"{', '.join(names)} and {rest} more"
    if len(names) == 1:
        return names[0]
    return f"{', '.join(names[:-1])} and {names[-1]}"
