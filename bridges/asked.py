"""What a request asks of the inventory: read once, the same for every page of it."""

from dataclasses import dataclass
from functools import cached_property

from django.db.models import QuerySet

from . import facets, mapindex
from .filters import BridgeFilter
from .models import Bridge


@dataclass
class Asked:
    """The filters of an address, and the bridges that they leave."""

    filterset: BridgeFilter
    places: mapindex.Places
    bridges: QuerySet

    @cached_property
    def facets(self):
        return facets.Facets(self.filterset, self.places)

    @property
    def pairs(self):
        return self.facets.pairs

    @cached_property
    def mask(self):
        return self.places.mask(self.pairs)

    @property
    def faults(self):
        return facets.faults(self.filterset)

    @cached_property
    def ids(self):
        return self.places.ids(self.mask).tolist()


def read(query, person):
    """Read the filters of a query string, as one person may ask them."""
    bridges = Bridge.objects.visible_to(person).for_list()
    places = mapindex.places_for(person)
    filterset = BridgeFilter(query, queryset=bridges, is_members=places.is_members)
    return Asked(filterset, places, bridges)
