"""What is on record of how much, as charts whose every figure leads to its list."""

from __future__ import annotations

import datetime
from collections import Counter
from dataclasses import dataclass

from django.db.models import Count
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.safestring import SafeString
from django.views.decorators.http import require_safe

from . import mapindex
from .bars import Bar, Part, bars
from .filters import PARTS, UNDATED, query_text, years_ago
from .models import Bridge, ChangeSeen, Confidence, Form

GONE = ("lost", "stored")
LEFT = tuple(value for value in Bridge.Status.values if value not in GONE)
MOST_FORMS, MOST_DECADES = 10, 12
# Visited within so many years of today.
WITHIN = (2, 5, 10)


@dataclass(frozen=True)
class Chart:
    """A drawing, and the same in a table: rows of (label, [(number, address)])."""

    key: str
    title: str
    note: str
    columns: list[str]
    rows: list[tuple[str, list[tuple[int, str]]]]
    drawing: SafeString


def _list_of(pairs):
    return f"{reverse('bridges:index')}?{query_text(pairs)}"


def _chart(key, title, note, columns, rows, alls=()):
    """``alls`` are the addresses of each row's whole, where it has several parts."""
    drawn = [
        Bar(
            label,
            tuple(
                Part(n, what.lower(), href)
                for (n, href), what in zip(cells, columns, strict=True)
            ),
            alls[number] if alls else cells[0][1],
        )
        for number, (label, cells) in enumerate(rows)
    ]
    return Chart(key, title, note, columns, rows, bars(drawn, title=title, name=key))


def charts(person):
    """Return every ``Chart`` of what one person may see."""
    places = mapindex.places_for(person)
    return [
        *_survivors(places, "form", "By form", dict(Form.choices)),
        *_survivors(places, "decade", "By decade built", {}),
        _losses(person),
        *_changes(person),
        _coverage(places),
        _sureness(places, "certainty", "How sure the date built is"),
        _sureness(places, "builder_certainty", "How sure the builder is"),
    ]


def _survivors(places, name, title, words):
    left = [("status", value) for value in LEFT]
    gone = [("status", value) for value in GONE]
    standing = places.counts(name, tuple(left))
    lost = places.counts(name, tuple(gone))
    values = sorted(set(standing) | set(lost))
    if name == "form":
        values.sort(key=lambda one: -(standing.get(one, 0) + lost.get(one, 0)))
        values = values[:MOST_FORMS]
    else:
        values = [one for one in values if one != UNDATED][-MOST_DECADES:]
    rows = []
    for value in values:
        label = words.get(value, f"{value}s")
        rows.append(
            (
                label,
                [
                    (standing.get(value, 0), _list_of([(name, value), *left])),
                    (lost.get(value, 0), _list_of([(name, value), *gone])),
                ],
            )
        )
    note = (
        "A bridge of uncertain date counts in each decade that it may be of."
        if name == "decade"
        else f"The {MOST_FORMS} forms of which most are known."
    )
    if rows:
        yield _chart(
            f"survivors-{name}",
            f"Standing and lost: {title.lower()}",
            note,
            ["Standing", "Lost or stored"],
            rows,
            [_list_of([(name, value)]) for value in values],
        )


def _losses(person):
    lost = Bridge.objects.visible_to(person).filter(status=Bridge.Status.LOST)
    years = lost.values_list("lost_earliest__year", "lost_latest__year")
    decades = Counter()
    undated = 0
    for first, last in years:
        if first is None or last is None:
            undated += 1
            continue
        for decade in range(first // 10 * 10, last // 10 * 10 + 10, 10):
            decades[decade] += 1
    rows = [
        (f"{decade}s", [(decades[decade], _list_of([("lost_decade", str(decade))]))])
        for decade in sorted(decades)
    ]
    if undated:
        rows.append(("No date", [(undated, _list_of([("status", "lost")]))]))
    note = "A loss of uncertain date counts in each decade that it may be of."
    return _chart("losses", "Lost, by decade", note, ["Lost"], rows)


def _changes(person):
    seen = ChangeSeen.objects.all()
    if not mapindex.places_for(person).is_members:
        seen = seen.filter(bridge__is_public=True)
    page = reverse("bridges:changes")
    kinds = Counter()
    for parts, count in seen.values_list("parts").annotate(n=Count("id")):
        for word in parts.split(","):
            if word:
                kinds[word] += count
    words = dict(PARTS)
    rows = [
        (words[word], [(count, f"{page}?part={word}")])
        for word, count in kinds.most_common()
        if word in words
    ]
    if rows:
        note = "How many visits found it changed; one visit may find several."
        yield _chart("changes", "What was seen to change", note, ["Visits"], rows)
    years = dict(
        seen.values_list("day__year").annotate(n=Count("id")).order_by("day__year")
    )
    rows = [
        (str(year), [(years[year], f"{page}?year={year:04d}")])
        for year in sorted(years)[-20:]
    ]
    if rows:
        note = "By the year of the visit that found it, the last twenty that found any."
        yield _chart("changes-by-year", "Changes, by year seen", note, ["Visits"], rows)


def _coverage(places):
    today = timezone.localdate()
    edges = [years_ago(years, today) for years in WITHIN]
    left = [("status", value) for value in LEFT]
    never = ("unvisited_since", datetime.date(1900, 1, 1).isoformat())
    bands = [(f"Within {WITHIN[0]} years", [("visited_since", edges[0].isoformat())])]
    for newer, older, words in (
        (edges[0], edges[1], f"{WITHIN[0]} to {WITHIN[1]} years ago"),
        (edges[1], edges[2], f"{WITHIN[1]} to {WITHIN[2]} years ago"),
    ):
        bands.append(
            (
                words,
                [
                    ("visited_since", older.isoformat()),
                    ("unvisited_since", newer.isoformat()),
                ],
            )
        )
    bands += [
        (
            f"Over {WITHIN[-1]} years ago",
            [
                ("visited_since", "1900-01-01"),
                ("unvisited_since", edges[-1].isoformat()),
            ],
        ),
        ("Never", [never]),
    ]
    rows = []
    for words, pairs in bands:
        count = int(places.mask((*left, *pairs)).sum())
        rows.append((words, [(count, _list_of([*left, *pairs]))]))
    note = "Of bridges that stand: when somebody last stood there and looked."
    return _chart("coverage", "Last visited", note, ["Bridges"], rows)


def _sureness(places, name, title):
    counts = places.counts(name, ())
    rows = [
        (words, [(counts.get(value, 0), _list_of([(name, value)]))])
        for value, words in Confidence.choices
    ]
    return _chart(name, title, "Of all that are on record.", ["Bridges"], rows)


@require_safe
def page(request):
    """The numbers, each chart with its table behind it."""
    places = mapindex.places_for(request.user)
    return render(
        request,
        "bridges/numbers.html",
        {"charts": charts(request.user), "inventory": len(places)},
    )
