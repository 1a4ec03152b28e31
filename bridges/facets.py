"""The filters as a person meets them: choices with counts, and tags to take off."""

from dataclasses import dataclass

from shared.dates import display

from . import search
from .filters import (
    MILES_NEAR,
    ORDERS,
    PARTS,
    PLATES,
    REPAIRS,
    SPANS,
    UNDATED,
    BridgeFilter,
    applied,
    query_text,
)
from .models import (
    Bridge,
    Builder,
    Confidence,
    Connection,
    DeckPosition,
    Form,
    Material,
)

CHOICES = {
    "form": Form.choices,
    "status": Bridge.Status.choices,
    "material": Material.choices,
    "connection": Connection.choices,
    "deck_position": DeckPosition.choices,
    "listing": Bridge.Listing.choices,
    "changed": PARTS,
    "ever_changed": PARTS,
    "plate": PLATES,
    "repairs": REPAIRS,
    "span": SPANS,
    "certainty": Confidence.choices,
    "builder_certainty": Confidence.choices,
}
TITLES = {
    "form": "Form",
    "status": "Status",
    "decade": "Decade built",
    "certainty": "How sure the date is",
    "material": "Material",
    "connection": "Connection",
    "deck_position": "Deck position",
    "span": "Longest span",
    "panels": "Panels",
    "deck": "Deck now",
    "county": "County",
    "crossing": "Crosses",
    "builder": "Builder",
    "builder_certainty": "How sure the builder is",
    "listing": "Listing",
    "changed": "What changed lately",
    "ever_changed": "Ever seen to change",
    "plate": "Plate",
    "repairs": "Repairs",
}
# What is typed and not chosen, with the words for it in a tag.
TYPED = {
    "changed_since": "Changed since",
    "visited_since": "Visited since",
    "unvisited_since": "Not visited since",
    "as_of": "As of",
}
FEET = {
    "span_min": "Longest span from {} ft",
    "span_max": "Longest span to {} ft",
    "length_min": "Whole length from {} ft",
    "length_max": "Whole length to {} ft",
}
# More choices than these are not read by anybody; the commonest are kept.
MOST_OPTIONS = 60
WITHIN = (1, 2, 5, 10, 25)


@dataclass(frozen=True)
class Option:
    value: str
    label: str
    count: int
    is_chosen: bool


@dataclass(frozen=True)
class Facet:
    name: str
    title: str
    options: list[Option]

    @property
    def chosen(self):
        return sum(option.is_chosen for option in self.options)


@dataclass(frozen=True)
class Tag:
    """One filter in force, and the query string that leaves it out."""

    label: str
    query_without: str


class Facets:
    """The choices of one view, counted for one kind of person.

    The count beside a choice is what one would see with only that choice of its kind
    and every other filter as it stands.
    """

    def __init__(self, filterset, places):
        self.pairs = applied(filterset)
        self.places = places
        self.order = _order(filterset)
        self._builders = None

    def groups(self):
        return [self._group(name) for name in TITLES]

    def _group(self, name):
        others = [pair for pair in self.pairs if pair[0] != name]
        counts = self._counts(name, others)
        chosen = [value for key, value in self.pairs if key == name]
        if name == "builder":
            named = dict(self.builders().values())
            counts = {
                slug: counts.get(pk, 0)
                for pk, (slug, _) in self.builders().items()
                if counts.get(pk)
            }
        else:
            named = dict(CHOICES.get(name, ()))
        values = [*counts, *(value for value in chosen if value not in counts)]
        options = [
            Option(
                value,
                named.get(value) or label_of(name, value),
                counts.get(value, 0),
                value in chosen,
            )
            for value in values
        ]
        if len(options) > MOST_OPTIONS:
            options.sort(key=lambda option: (not option.is_chosen, -option.count))
            del options[MOST_OPTIONS:]
        options.sort(key=_place_in(name))
        return Facet(name, TITLES[name], options)

    def _counts(self, name, others):
        if name == "status" and any(key == "as_of" for key, _ in others):
            # On another day than today a bridge may have been what it is not now.
            counts = {
                value: int(self.places.mask([*others, ("status", value)]).sum())
                for value, _ in Bridge.Status.choices
            }
            return {value: count for value, count in counts.items() if count}
        return self.places.counts(name, others)

    def readings(self):
        """Return [(word, spellings taken for it)] of a question that was misspelt."""
        asked = dict(self.pairs).get("q", "")
        found = search.readings(asked, is_members=self.places.is_members)
        return list(found.items())

    def builders(self):
        """Return {id: (slug, name)}, read once."""
        if self._builders is None:
            rows = Builder.objects.values_list("pk", "slug", "name")
            self._builders = {pk: (slug, name) for pk, slug, name in rows}
        return self._builders

    def tags(self):
        return [
            Tag(self._said(name, value), self.query_without((name, value)))
            for name, value in self.pairs
        ]

    def query_without(self, pair):
        left = [one for one in self.pairs if one != pair]
        return query_text(left + self.order)

    def query(self):
        """Return the filters in force as a query string, without order or page."""
        return query_text(self.pairs)

    def _said(self, name, value):
        if name == "q":
            return f"“{value}”"
        if name == "decade":
            return "No date" if value == UNDATED else f"Built in the {value}s"
        if name == "lost_decade":
            return "Lost, no date" if value == UNDATED else f"Lost in the {value}s"
        if name == "changed":
            return f"{dict(PARTS)[value]} changed"
        if name == "ever_changed":
            return f"{dict(PARTS)[value]} seen to change at some time"
        if name == "changed_within":
            years = "year" if value == "1" else "years"
            return f"Changed within {value} {years}"
        if name in TYPED:
            return f"{TYPED[name]} {display(value)}"
        if name in FEET:
            return FEET[name].format(value)
        if name == "near":
            miles = value.split(",")[2:] or [str(MILES_NEAR)]
            return f"Within {miles[0].strip()} miles of a place"
        if name == "road":
            return f"Carries: {value}"
        if name == "builder":
            named = dict(self.builders().values())
            return f"Builder: {named.get(value, value)}"
        label = dict(CHOICES.get(name, ())).get(value) or label_of(name, value)
        return f"{TITLES[name]}: {label}"


def label_of(name, value):
    """Say a value that the record itself brings: a kind of deck, a county."""
    if name == "decade":
        return "No date" if value == UNDATED else f"{value}s"
    if name == "panels":
        return f"{value} panel{'' if value == '1' else 's'}"
    if name == "deck":
        return "No deck" if value == "none" else value.replace("-", " ").capitalize()
    return value


def _place_in(name):
    if name in CHOICES:
        known = [value for value, _ in CHOICES[name]]
        return lambda option: known.index(option.value)
    if name == "builder":
        return lambda option: (-option.count, option.label)
    if name == "decade":
        return lambda option: (option.value == UNDATED, option.value)
    if name == "panels":
        return lambda option: int(option.value)
    if name == "crossing":
        return lambda option: (-option.count, option.label)
    return lambda option: option.label


def _order(filterset):
    order = filterset.form.cleaned_data.get("order") or ""
    return [("order", order)] if order in ORDERS else []


def faults(filterset):
    """Return [(label, message)] of what could not be read and was left out."""
    return [
        (filterset.form.fields[name].label or name, message)
        for name, messages in filterset.errors.items()
        for message in messages
        if name in BridgeFilter.base_filters
    ]
