"""The filters as a person meets them: choices with counts, and tags to take off."""

from dataclasses import dataclass

from shared.dates import display

from .filters import ORDERS, PARTS, UNDATED, BridgeFilter, applied, query_text
from .models import Bridge, Builder, Connection, DeckPosition, Form, Material

CHOICES = {
    "form": Form.choices,
    "status": Bridge.Status.choices,
    "material": Material.choices,
    "connection": Connection.choices,
    "deck_position": DeckPosition.choices,
    "listing": Bridge.Listing.choices,
    "changed": PARTS,
}
TITLES = {
    "form": "Form",
    "status": "Status",
    "decade": "Decade built",
    "material": "Material",
    "connection": "Connection",
    "deck_position": "Deck position",
    "deck": "Deck now",
    "county": "County",
    "builder": "Builder",
    "listing": "Listing",
    "changed": "What changed lately",
}
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
        counts = self.places.counts(name, self.places.mask(others))
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
        options.sort(key=_place_in(name))
        return Facet(name, TITLES[name], options)

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
        if name == "changed":
            return f"{dict(PARTS)[value]} changed"
        if name == "changed_within":
            years = "year" if value == "1" else "years"
            return f"Changed within {value} {years}"
        if name == "visited_since":
            return f"Visited since {display(value)}"
        if name == "builder":
            named = dict(self.builders().values())
            return f"Builder: {named.get(value, value)}"
        label = dict(CHOICES.get(name, ())).get(value) or label_of(name, value)
        return f"{TITLES[name]}: {label}"


def label_of(name, value):
    """Say a value that the record itself brings: a kind of deck, a county."""
    if name == "decade":
        return "No date" if value == UNDATED else f"{value}s"
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
