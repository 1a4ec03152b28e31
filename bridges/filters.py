"""What a list of bridges can be narrowed by: one filter for page, map, API and files.

Every value is checked here. A value that cannot be read is an error with the name of
its field; the page says so and leaves that field out, the API answers 400.
"""

import datetime

import django_filters
from django import forms
from django.core.exceptions import ValidationError
from django.db.models import Exists, F, OuterRef, Q
from django.db.models.functions import ExtractYear
from django.http import QueryDict
from django.utils import timezone
from drf_spectacular.utils import extend_schema_field

from shared import dates, policy

from . import search
from .models import (
    Attribution,
    Bridge,
    Confidence,
    Connection,
    DeckPosition,
    Form,
    Material,
    StatusSpell,
)

LONGEST_TEXT = 120
MOST_VALUES = 60
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
PLATES = [
    ("present", "In place"),
    ("missing", "Gone from its place"),
    ("kept", "Kept elsewhere"),
    ("unsaid", "No visit has said"),
    ("none", "None recorded"),
]
# Bands of the longest span: value, words; each from its number up to the next.
SPANS = [
    ("0", "Under 50 ft"),
    ("50", "50 to 100 ft"),
    ("100", "100 to 150 ft"),
    ("150", "150 to 200 ft"),
    ("200", "200 ft and more"),
    ("unknown", "Not known"),
]
_BANDS = [int(value) for value, _ in SPANS if value.isdigit()]
REPAIRS = [("some", "Some recorded"), ("none", "None recorded")]
MILES_NEAR = 10
MOST_MILES = 100
# What each order means in columns. Blanks come last either way, and the name settles
# ties, so that pages never repeat or skip a bridge.
ORDERS = {
    "name": ("Name", [F("name").asc()]),
    "number": ("Number", [F("number").asc()]),
    # By the year: a month or a day is known of too few to sort by.
    "built": ("Oldest first", [ExtractYear("built_earliest").asc(nulls_last=True)]),
    "-built": ("Newest first", [ExtractYear("built_latest").desc(nulls_last=True)]),
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


def span_band(span_ft):
    """Return the value of ``SPANS`` that a length in feet (or None) belongs to."""
    if not span_ft:
        return "unknown"
    return str(max(band for band in _BANDS if band <= span_ft))


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


class LastDayField(forms.CharField):
    """A day, a month or a year; the latest day it may mean is what counts."""

    def to_python(self, value):
        text = super().to_python(value)
        if not text:
            return None
        day = dates.parse(text).latest
        if day is None:
            raise ValidationError(
                "“%(text)s” has no last day. Write 1925, 1925-06 or 1925-06-30.",
                code="date",
                params={"text": text},
            )
        return day


class NearField(forms.CharField):
    """``latitude,longitude`` in degrees, and the miles around it if not ten."""

    def to_python(self, value):
        text = super().to_python(value)
        if not text:
            return None
        try:
            latitude, longitude, *more = (float(part) for part in text.split(","))
            miles = more[0] if more else MILES_NEAR
            is_sound = (
                len(more) < 2
                and abs(latitude) <= 90
                and abs(longitude) <= 180
                and 0 < miles <= MOST_MILES
            )
        except ValueError:
            is_sound = False
        if not is_sound:
            raise ValidationError(
                "Write latitude,longitude,miles in degrees and miles: 41.2,-77.4,10. "
                "At most %(most)s miles.",
                code="near",
                params={"most": MOST_MILES},
            )
        return latitude, longitude, miles


class PanelsField(ValuesField):
    def validate(self, value):
        super().validate(value)
        for one in value:
            if not (one.isascii() and one.isdigit() and len(one) <= 3):
                raise ValidationError(
                    "“%(value)s” is not a number of panels.",
                    code="panels",
                    params={"value": one[:40]},
                )


@extend_schema_field({"type": "string", "description": "Repeat it for any of several."})
class ValuesFilter(django_filters.MultipleChoiceFilter):
    """Matches any of some texts, kept as one list for the database to look in."""

    field_class = ValuesField

    def filter(self, qs, value):
        return qs.filter(**{f"{self.field_name}__in": value}) if value else qs


@extend_schema_field(
    {"type": "integer", "description": "Repeat it for any of several."}
)
class PanelsFilter(ValuesFilter):
    field_class = PanelsField


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
        return qs.filter(_dated_in("built", value)) if value else qs


def _dated_in(column, decades):
    found = Q(pk__in=[])
    for decade in decades:
        if decade == UNDATED:
            found |= Q(**{column: ""})
            continue
        first, last = decade_bounds(int(decade))
        earliest, latest = f"{column}_earliest", f"{column}_latest"
        starts = Q(**{f"{earliest}__isnull": True}) | Q(**{f"{earliest}__lte": last})
        ends = Q(**{f"{latest}__isnull": True}) | Q(**{f"{latest}__gte": first})
        found |= ~Q(**{column: ""}) & starts & ends
    return found


@extend_schema_field(
    {"type": "string", "description": "2015, 2015-06 or 2015-06-30; its first day."}
)
class DayFilter(django_filters.Filter):
    field_class = DayField


@extend_schema_field(
    {"type": "string", "description": "1925, 1925-06 or 1925-06-30; its last day."}
)
class LastDayFilter(django_filters.Filter):
    field_class = LastDayField


@extend_schema_field(
    {"type": "string", "description": "latitude,longitude,miles (ten when not said)"}
)
class NearFilter(django_filters.Filter):
    field_class = NearField


def _feet(name, lookup, label):
    return django_filters.NumberFilter(
        field_name=name,
        lookup_expr=lookup,
        label=label,
        min_value=0,
        max_value=20_000,
        max_digits=8,
        decimal_places=2,
    )


def _choices(name, choices, label, **facts):
    return django_filters.MultipleChoiceFilter(
        field_name=name, choices=choices, label=label, distinct=False, **facts
    )


class BridgeFilter(django_filters.FilterSet):
    """Narrows a queryset of bridges and puts it in order."""

    q = django_filters.CharFilter(
        method="search",
        label="Names, roads, waters, plates, notes",
        max_length=LONGEST_TEXT,
    )
    form = _choices("standing__form", Form.choices, "Form")
    deck_position = _choices(
        "standing__deck_position", DeckPosition.choices, "Deck position"
    )
    connection = _choices("standing__connection", Connection.choices, "Connection")
    material = _choices("standing__material", Material.choices, "Material")
    status = django_filters.MultipleChoiceFilter(
        method="has_status", choices=Bridge.Status.choices, label="Status"
    )
    as_of = LastDayFilter(method="stood", label="As of")
    decade = DecadesFilter(label="Decade built")
    lost_decade = DecadesFilter(method="lost_in", label="Decade lost")
    certainty = _choices("built_confidence", Confidence.choices, "How sure the date is")
    span = django_filters.MultipleChoiceFilter(
        method="spans", choices=SPANS, label="Longest span"
    )
    span_min = _feet("standing__longest_span_ft", "gte", "Longest span from (ft)")
    span_max = _feet("standing__longest_span_ft", "lte", "Longest span to (ft)")
    length_min = _feet("standing__total_length_ft", "gte", "Whole length from (ft)")
    length_max = _feet("standing__total_length_ft", "lte", "Whole length to (ft)")
    panels = PanelsFilter(field_name="standing__panels", label="Panels")
    builder = ValuesFilter(method="made_by", label="Builder")
    builder_certainty = django_filters.MultipleChoiceFilter(
        method="made_surely",
        choices=Confidence.choices,
        label="How sure the builder is",
    )
    county = ValuesFilter(field_name="county", label="County")
    crossing = ValuesFilter(method="along", label="Crosses")
    road = ValuesFilter(method="along", label="Carries")
    near = NearFilter(method="nearby", label="Near")
    listing = _choices("listing", Bridge.Listing.choices, "Listing")
    deck = ValuesFilter(field_name="standing__deck", label="Deck now")
    changed = django_filters.MultipleChoiceFilter(
        method="changed_lately", choices=PARTS, label="What changed lately"
    )
    changed_within = django_filters.NumberFilter(
        method="changed_within_years",
        label="Changed within (years)",
        field_name="standing__last_changed",
        min_value=1,
        max_value=300,
        decimal_places=0,
    )
    changed_since = DayFilter(
        field_name="standing__last_changed", lookup_expr="gte", label="Changed since"
    )
    ever_changed = django_filters.MultipleChoiceFilter(
        method="changed_ever", choices=PARTS, label="Ever changed"
    )
    plate = django_filters.MultipleChoiceFilter(
        method="plates", choices=PLATES, label="Plate"
    )
    repairs = django_filters.ChoiceFilter(
        method="repaired", choices=REPAIRS, label="Repairs"
    )
    visited_since = DayFilter(
        field_name="standing__last_visited", lookup_expr="gte", label="Visited since"
    )
    unvisited_since = DayFilter(method="not_visited", label="Not visited since")
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
        """Every word must stand somewhere in the words of a bridge."""
        return search.narrow(queryset, value, is_members=self.is_members)

    def has_status(self, queryset, name, value):
        """The status now or, beside ``as_of``, on that day."""
        day = self.form.cleaned_data.get("as_of")
        if not value or day is None:
            return queryset.filter(status__in=value) if value else queryset
        return queryset.filter(Exists(_spells_on(day).filter(status__in=value)))

    def stood(self, queryset, name, value):
        """What was there on a day, as far as dates and events say."""
        if self.form.cleaned_data.get("status"):
            return queryset
        gone = (Bridge.Status.LOST, Bridge.Status.STORED)
        return queryset.filter(Exists(_spells_on(value).exclude(status__in=gone)))

    def lost_in(self, queryset, name, value):
        return queryset.filter(_dated_in("lost", value), status=Bridge.Status.LOST)

    def spans(self, queryset, name, value):
        found = Q(pk__in=[])
        column = "standing__longest_span_ft"
        for band in value:
            if not band.isdigit():
                found |= Q(**{f"{column}__isnull": True, "standing__isnull": False})
                found |= Q(**{column: 0})
                continue
            least = int(band)
            inside = Q(**{f"{column}__gt": 0, f"{column}__gte": least})
            above = [one for one in _BANDS if one > least]
            if above:
                inside &= Q(**{f"{column}__lt": above[0]})
            found |= inside
        return queryset.filter(found) if value else queryset

    def made_by(self, queryset, name, value):
        if not value:
            return queryset
        hands = Attribution.objects.filter(builder__slug__in=value)
        # Beside a builder, how sure is asked of that builder's own hand in it.
        if sure := self.form.cleaned_data.get("builder_certainty"):
            hands = hands.filter(confidence__in=sure)
        return queryset.filter(pk__in=hands.values("bridge"))

    def made_surely(self, queryset, name, value):
        if not value or self.form.cleaned_data.get("builder"):
            return queryset
        hands = Attribution.objects.filter(confidence__in=value)
        return queryset.filter(pk__in=hands.values("bridge"))

    def along(self, queryset, name, value):
        """On a road or over a water; not where that would give a place away."""
        if not value:
            return queryset
        queryset = queryset.filter(**{f"{name}__in": value})
        if not self.is_members:
            queryset = queryset.filter(is_position_sensitive=False)
        return queryset

    def nearby(self, queryset, name, value):
        from . import mapindex

        places = mapindex.places_of(self.is_members)
        return queryset.filter(pk__in=places.ids(places.near(*value)).tolist())

    def changed_ever(self, queryset, name, value):
        found = Q(pk__in=[])
        for part in value:
            found |= Q(standing__ever_changed__contains=f",{part},")
        return queryset.filter(found) if value else queryset

    def plates(self, queryset, name, value):
        found = Q(pk__in=[])
        for word in value:
            found |= Q(standing__plates__contains=f",{word},")
        return queryset.filter(found) if value else queryset

    def repaired(self, queryset, name, value):
        if value == "some":
            return queryset.filter(standing__repair_count__gt=0)
        bare = Q(standing__isnull=True)
        return queryset.filter(bare | Q(standing__repair_count=0))

    def not_visited(self, queryset, name, value):
        last = "standing__last_visited"
        return queryset.filter(
            Q(**{f"{last}__isnull": True}) | Q(**{f"{last}__lt": value})
        )

    def changed_lately(self, queryset, name, value):
        found = Q(pk__in=[])
        for part in value:
            found |= Q(standing__changed_parts__contains=f",{part},")
        return queryset.filter(found)

    def changed_within_years(self, queryset, name, value):
        return queryset.filter(standing__last_changed__gte=years_ago(int(value)))

    def put_in_order(self, queryset, name, value):
        return queryset.order_by(*ORDERS[value][1], "name", "id")


def _spells_on(day):
    """Return the spells that hold on a day, of the bridge of the query around them."""
    return StatusSpell.objects.filter(
        Q(first__isnull=True) | Q(first__lte=day),
        Q(last__isnull=True) | Q(last__gte=day),
        bridge=OuterRef("pk"),
    )


# Filters in the order a person would ask, with the words for what is chosen.
NAMES = [name for name in BridgeFilter.base_filters if name != "order"]
# Kept as they were typed, since several texts mean one value.
TYPED = ("q", "as_of", "near", "visited_since", "unvisited_since", "changed_since")


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
        elif name in TYPED:
            pairs.append((name, " ".join(filterset.data.get(name, "").split())))
        elif isinstance(value, str):
            pairs.append((name, value))
        else:
            pairs.append((name, _number(value)))
    return pairs


def _number(value):
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


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
