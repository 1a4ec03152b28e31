"""What a list of bridges can be narrowed by: one filter for page, map, API and files.

Every value is checked here. A value that cannot be read is an error with the name of
its field; the page says so and leaves that field out, the API answers 400.
"""

import datetime

import django_filters
from django import forms
from django.core.exceptions import ValidationError
from django.db.models import F, Q
from django.http import QueryDict
from django.utils import timezone
from drf_spectacular.utils import extend_schema_field

from shared import dates, policy

from .models import (
    Attribution,
    Bridge,
    Connection,
    DeckPosition,
    Form,
    Material,
)

SEARCHED = ("name", "also_known_as", "number", "crossing", "road", "town")
# Of a sensitive bridge a visitor cannot find out where it is by guessing these.
TELLING = Bridge.TELLING
MOST_WORDS = 8
LONGEST_TEXT = 120
MOST_VALUES = 60
APOSTROPHES = ("'", "’")
UNDATED = "undated"
# The words of ``Standing.changed_parts``, as the survey room writes them.
PARTS = [
    ("deck", "Deck"),
    ("floor", "Floor beams, stringers"),
    ("chord", "Chord"),
    ("end-post", "End post"),
    ("vertical", "Vertical"),
    ("diagonal", "Diagonal"),
    ("counter", "Counter"),
    ("web", "Other web bar"),
    ("railing", "Railing"),
    ("plate", "Plate"),
    ("limit", "Posted limit"),
    ("substructure", "Bearing, abutment or pier"),
    ("setting", "Setting"),
    ("other", "Something else"),
]
# What each order means in columns. Blanks come last either way, and the name settles
# ties, so that pages never repeat or skip a bridge.
ORDERS = {
    "name": ("Name", [F("name").asc()]),
    "number": ("Number", [F("number").asc()]),
    "built": ("Oldest first", [F("built_earliest").asc(nulls_last=True)]),
    "-built": ("Newest first", [F("built_latest").desc(nulls_last=True)]),
    "span": (
        "Shortest span first",
        [F("standing__longest_span_ft").asc(nulls_last=True)],
    ),
    "-span": (
        "Longest span first",
        [F("standing__longest_span_ft").desc(nulls_last=True)],
    ),
    "visited": (
        "Longest since a visit",
        [F("standing__last_visited").asc(nulls_first=True)],
    ),
    "-visited": (
        "Visited most lately",
        [F("standing__last_visited").desc(nulls_last=True)],
    ),
    "-changed": (
        "Changed most lately",
        [F("standing__last_changed").desc(nulls_last=True)],
    ),
}
DEFAULT_ORDER = "name"


def years_ago(years, today=None):
    """Return the same day so many years back; the last of February for its 29th."""
    today = today or timezone.localdate()
    year = max(today.year - years, 1)
    try:
        return today.replace(year=year)
    except ValueError:
        return today.replace(year=year, day=28)


def decade_bounds(decade):
    """Return the first and the last day of a decade such as 1880."""
    return datetime.date(decade, 1, 1), datetime.date(decade + 9, 12, 31)


class ValuesField(forms.MultipleChoiceField):
    """Any of a few texts, known to the record or not: a county, a kind of deck."""

    widget = forms.SelectMultiple

    def valid_value(self, value):
        return True

    def validate(self, value):
        super().validate(value)
        if len(value) > MOST_VALUES:
            raise ValidationError(
                "Choose at most %(most)s at once.",
                code="too_many",
                params={"most": MOST_VALUES},
            )
        for one in value:
            if len(one) > LONGEST_TEXT or "\x00" in one:
                raise ValidationError(
                    "“%(value)s” is not a value that can be looked for.",
                    code="invalid_choice",
                    params={"value": one[:40].replace("\x00", "?")},
                )


class DecadesField(ValuesField):
    """Decades by their first year, or ``undated``."""

    def validate(self, value):
        super().validate(value)
        for one in value:
            if one != UNDATED and not _is_decade(one):
                raise ValidationError(
                    "“%(value)s” is not a decade. Write 1880 or 1880s, or undated.",
                    code="decade",
                    params={"value": one[:40]},
                )

    def to_python(self, value):
        return [one.strip().removesuffix("s") for one in super().to_python(value)]


def _is_decade(text):
    plain = text.isascii() and text.isdigit() and len(text) == 4
    return plain and text[3] == "0" and int(text) >= 1000


class DayField(forms.CharField):
    """A day, a month or a year; the earliest day it may mean is what counts."""

    def to_python(self, value):
        text = super().to_python(value)
        if not text:
            return None
        day = dates.parse(text).earliest
        if day is None:
            raise ValidationError(
                "“%(text)s” has no first day. Write 2015, 2015-06 or 2015-06-30.",
                code="date",
                params={"text": text},
            )
        return day


@extend_schema_field({"type": "string", "description": "Repeat it for any of several."})
class ValuesFilter(django_filters.MultipleChoiceFilter):
    """Matches any of some texts, kept as one list for the database to look in."""

    field_class = ValuesField

    def filter(self, qs, value):
        return qs.filter(**{f"{self.field_name}__in": value}) if value else qs


@extend_schema_field(
    {
        "type": "string",
        "description": (
            "The first year of a decade (1880 or 1880s), or undated. An uncertain date "
            "matches every decade that its bounds reach."
        ),
    }
)
class DecadesFilter(ValuesFilter):
    """Matches a bridge whose date may fall in one of the decades.

    An uncertain date matches each decade that its bounds reach; an end that is open
    reaches as far as one likes. A bridge without a date matches only ``undated``.
    """

    field_class = DecadesField

    def filter(self, qs, value):
        return qs.filter(_built_in(value)) if value else qs


def _built_in(decades):
    found = Q(pk__in=[])
    for decade in decades:
        if decade == UNDATED:
            found |= Q(built="")
            continue
        first, last = decade_bounds(int(decade))
        starts = Q(built_earliest__isnull=True) | Q(built_earliest__lte=last)
        ends = Q(built_latest__isnull=True) | Q(built_latest__gte=first)
        found |= ~Q(built="") & starts & ends
    return found


@extend_schema_field(
    {"type": "string", "description": "2015, 2015-06 or 2015-06-30; its first day."}
)
class DayFilter(django_filters.Filter):
    field_class = DayField


def _choices(name, choices, label, **facts):
    return django_filters.MultipleChoiceFilter(
        field_name=name, choices=choices, label=label, distinct=False, **facts
    )


class BridgeFilter(django_filters.FilterSet):
    """Narrows a queryset of bridges and puts it in order."""

    q = django_filters.CharFilter(
        method="search",
        label="Name, number, road, water or town",
        max_length=LONGEST_TEXT,
    )
    form = _choices("standing__form", Form.choices, "Form")
    deck_position = _choices(
        "standing__deck_position", DeckPosition.choices, "Deck position"
    )
    connection = _choices("standing__connection", Connection.choices, "Connection")
    material = _choices("standing__material", Material.choices, "Material")
    status = _choices("status", Bridge.Status.choices, "Status")
    decade = DecadesFilter(label="Decade built")
    builder = ValuesFilter(method="made_by", label="Builder")
    county = ValuesFilter(field_name="county", label="County")
    listing = _choices("listing", Bridge.Listing.choices, "Listing")
    deck = ValuesFilter(field_name="standing__deck", label="Deck now")
    changed = django_filters.MultipleChoiceFilter(
        method="changed_lately", choices=PARTS, label="What changed lately"
    )
    changed_within = django_filters.NumberFilter(
        method="changed_since",
        label="Changed within (years)",
        field_name="standing__last_changed",
        min_value=1,
        max_value=300,
        decimal_places=0,
    )
    visited_since = DayFilter(
        field_name="standing__last_visited", lookup_expr="gte", label="Visited since"
    )
    order = django_filters.ChoiceFilter(
        method="put_in_order",
        choices=[(key, label) for key, (label, _) in ORDERS.items()],
        label="Order",
        empty_label=None,
    )

    class Meta:
        model = Bridge
        fields = []

    def __init__(self, *args, is_members=None, **kwargs):
        """``is_members`` says who asks where there is no request to tell."""
        super().__init__(*args, **kwargs)
        if is_members is None:
            person = getattr(self.request, "user", None)
            is_members = policy.can_see_exact_positions(person)
        self.is_members = is_members

    def search(self, queryset, name, value):
        """Every word must stand somewhere in one of the searched columns."""
        for word in value.split()[:MOST_WORDS]:
            found = Q()
            for spelling in _spellings(word):
                for column in SEARCHED:
                    found |= self._holds(column, spelling)
            queryset = queryset.filter(found)
        return queryset

    def _holds(self, column, text):
        found = Q(**{f"{column}__icontains": text})
        if column in TELLING and not self.is_members:
            found &= Q(is_position_sensitive=False)
        return found

    def made_by(self, queryset, name, value):
        hands = Attribution.objects.filter(builder__slug__in=value)
        return queryset.filter(pk__in=hands.values("bridge"))

    def changed_lately(self, queryset, name, value):
        found = Q(pk__in=[])
        for part in value:
            found |= Q(standing__changed_parts__contains=f",{part},")
        return queryset.filter(found)

    def changed_since(self, queryset, name, value):
        return queryset.filter(standing__last_changed__gte=years_ago(int(value)))

    def put_in_order(self, queryset, name, value):
        return queryset.order_by(*ORDERS[value][1], "name", "id")


def _spellings(word):
    """A phone's keyboard writes ’ where the record may hold ', and the other way."""
    if not any(mark in word for mark in APOSTROPHES):
        return [word]
    plain = word.replace("’", "'")
    return [plain, plain.replace("'", "’")]


# Filters in the order a person would ask, with the words for what is chosen.
NAMES = [name for name in BridgeFilter.base_filters if name != "order"]


def applied(filterset):
    """Return the (name, value) pairs that were read and hold, in a fixed order.

    They make the same query whoever writes them, and in whatever order.
    """
    pairs = []
    for name in NAMES:
        if name in filterset.form.errors:
            continue
        value = filterset.form.cleaned_data.get(name)
        if value in (None, "", []):
            continue
        if isinstance(value, list):
            pairs += [(name, one) for one in sorted(set(value))]
        elif name in ("q", "visited_since"):
            pairs.append((name, " ".join(filterset.data.get(name, "").split())))
        else:
            pairs.append((name, f"{value:f}".removesuffix(".0")))
    return pairs


def query_text(pairs):
    """Write pairs as a query string, without its question mark."""
    query = QueryDict(mutable=True)
    for name, value in pairs:
        query.appendlist(name, value)
    return query.urlencode()


def matching(pairs, queryset=None, *, is_members=False):
    """Return the bridges that the pairs (as ``applied`` gives them) leave."""
    queryset = Bridge.objects.all() if queryset is None else queryset
    query = QueryDict(query_text(pairs))
    return BridgeFilter(query, queryset=queryset, is_members=is_members).qs
