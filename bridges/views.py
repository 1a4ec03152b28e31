"""Pages of what stands there: the map and list, builders, and the files of a view."""

from dataclasses import dataclass

from django.conf import settings
from django.core.paginator import Paginator
from django.db.models import Count, Prefetch, Q
from django.http import (
    Http404,
    HttpResponseBadRequest,
    StreamingHttpResponse,
)
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import NoReverseMatch, reverse
from django.utils import timezone
from django.utils.safestring import SafeString
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_safe

from shared import audit, limits, policy

from . import builder_editing, drawing, exports, facets, mapindex, work_map
from .api import RECENT_YEARS
from .filters import (
    DEFAULT_ORDER,
    ORDERS,
    PARTS,
    UNDATED,
    BridgeFilter,
    years_ago,
)
from .models import Attribution, Bridge, Builder, BuilderName, Plate
from .naming import name_in_use

PAGE_SIZE = 50
# What the slide of years offers at a tap, and where it begins.
YEARS = ("1900", "1925", "1950", "1975", "2000")
FIRST_YEAR = "1800"
# A status for each shape that a mark can have, in the order of the key.
SHAPES = (
    (Bridge.Status.IN_SERVICE, "Standing, in use"),
    (Bridge.Status.CLOSED, "Standing, out of use"),
    (Bridge.Status.MOVED, "Moved or stored"),
    (Bridge.Status.LOST, "Lost"),
)
FAMILY_WORDS = {
    "truss": "Truss",
    "arch": "Arch",
    "beam": "Beam or girder",
    "suspension": "Suspension",
    "other": "Other",
}
TYPED_IN = (
    "q",
    "as_of",
    "near",
    "road",
    "visited_since",
    "unvisited_since",
    "changed_since",
    "changed_within",
    "span_min",
    "span_max",
    "length_min",
    "length_max",
)


@dataclass(frozen=True)
class Row:
    """One bridge of the list."""

    bridge: Bridge
    mark: SafeString
    shape: str
    is_maybe: bool
    changed_words: str
    is_lately_changed: bool


class InOrder:
    """The bridges of a mask in an order, as a paginator takes them.

    Which and in what order the index knows; only a page of them is read.
    """

    def __init__(self, places, mask, order, bridges):
        self.places, self.mask, self.order = places, mask, order
        self.bridges = bridges

    def count(self):
        return int(self.mask.sum())

    __len__ = count

    def __getitem__(self, part):
        size = part.stop - part.start
        ids = self.places.page(self.mask, self.order, part.start, size)
        found = self.bridges.order_by().in_bulk(ids)
        return [found[pk] for pk in ids if pk in found]


@require_safe
@gzip_page
def index(request):
    """The map and the list of the same bridges; the address says which."""
    tidy = _tidied(request.GET)
    if tidy is not None:
        return redirect(f"{request.path}?{tidy}" if tidy else request.path)
    bridges = Bridge.objects.visible_to(request.user).for_list()
    filterset = BridgeFilter(request.GET, queryset=bridges, request=request)
    faults = facets.faults(filterset)
    places = mapindex.places_for(request.user)
    choices = facets.Facets(filterset, places)
    mask = places.mask(choices.pairs)
    order = dict(choices.order).get("order", DEFAULT_ORDER)
    page = Paginator(InOrder(places, mask, order, bridges), PAGE_SIZE).get_page(
        request.GET.get("page")
    )
    decades = [value for name, value in choices.pairs if name == "decade"]
    context = {
        "page": page,
        "rows": [_row(bridge, decades) for bridge in page],
        "faults": faults,
        "facets": choices.groups(),
        "tags": choices.tags(),
        "query": choices.query(),
        "typed": {name: request.GET.get(name, "") for name in TYPED_IN},
        "readings": choices.readings(),
        "within": [str(years) for years in facets.WITHIN],
        "order": request.GET.get("order", DEFAULT_ORDER),
        "orders": [(key, label) for key, (label, _) in ORDERS.items()],
        "maybe": places.only_maybe(decades, mask) if decades else 0,
        "inventory": len(places),
        "map": _map_settings(choices.query(), places.bounds(mask)),
        "marks": _marks(),
        "tick": drawing.glyph("truss", "in-service", is_recently_changed=True),
        "shapes": [(drawing.glyph("truss", key), word) for key, word in SHAPES],
        "recent_years": RECENT_YEARS,
        "years": YEARS,
        "first_year": FIRST_YEAR,
        "this_year": str(timezone.localdate().year),
        "files": [
            (name, reverse("bridges:export", args=[name.lower()]))
            for name in ("CSV", "GeoJSON", "GPX", "KML")
        ],
    }
    return render(request, "bridges/index.html", context)


def _tidied(query):
    """Return the query without blanks and what goes without saying, None if tidy.

    A form sends every field it has; an address is for reading and for sending on.
    """
    tidy = query.copy()
    for name, values in query.lists():
        kept = [value for value in values if value.strip()]
        if (name, kept) in (("page", ["1"]), ("order", [DEFAULT_ORDER])):
            kept = []
        tidy.setlist(name, kept)
        if not kept:
            del tidy[name]
    return None if tidy == query else tidy.urlencode()


def _row(bridge, decades):
    standing = getattr(bridge, "standing", None)
    changed = standing.last_changed if standing else None
    lately = changed is not None and changed >= years_ago(RECENT_YEARS)
    words = dict(PARTS)
    parts = standing.changed_parts.split(",") if standing else []
    return Row(
        bridge=bridge,
        mark=drawing.glyph(
            standing.family if standing else "other",
            bridge.status,
            is_recently_changed=lately,
        ),
        shape=drawing.shape_of(bridge.status),
        is_maybe=bool(decades) and _may_be_outside(bridge, decades),
        changed_words=", ".join(words[part].lower() for part in parts if part in words),
        is_lately_changed=lately,
    )


def _may_be_outside(bridge, decades):
    """Say whether a date's bounds also reach a decade that was not asked for."""
    earliest, latest = bridge.built_earliest, bridge.built_latest
    if not bridge.built:
        return False
    if earliest is None or latest is None:
        return True
    asked = {int(decade) for decade in decades if decade != UNDATED}
    first, last = earliest.year // 10 * 10, latest.year // 10 * 10
    return not asked.issuperset(range(first, last + 10, 10))


def _map_settings(query, bounds):
    tiles = None
    if settings.TILE_URL:
        tiles = {
            "url": settings.TILE_URL,
            "attribution": settings.TILE_ATTRIBUTION,
            "max_zoom": settings.TILE_MAX_ZOOM,
        }
    return {
        "view_url": reverse("api-bridges-map"),
        "base_url": reverse("bridges:base-map"),
        "views_url": _views_url(),
        "query": query,
        "bounds": bounds,
        "tiles": tiles,
        "recent_years": RECENT_YEARS,
    }


def _views_url():
    """Return where photographs and viewpoints are, if a higher room has them."""
    try:
        return reverse("api-views-map")
    except NoReverseMatch:
        return ""


def _marks():
    """Return (key, drawing) of every family in every shape, for the map to copy."""
    return [
        (f"{family}-{drawing.shape_of(status)}", drawing.glyph(family, status))
        for family in FAMILY_WORDS
        for status, _ in SHAPES
    ]


@require_safe
@limits.limited("export", methods=("GET",))
def export(request, kind):
    """The bridges of a view as a file, as much of them as the person may see."""
    if kind not in exports.FORMATS:
        raise Http404
    bridges = Bridge.objects.visible_to(request.user).for_list()
    filterset = BridgeFilter(request.GET, queryset=bridges, request=request)
    if not filterset.is_valid():
        # A file goes on without its address: it must not hold more than was asked.
        rows = [f"{label}: {message}" for label, message in facets.faults(filterset)]
        text = "\n".join(["No file was made.", *rows])
        return HttpResponseBadRequest(text, content_type="text/plain; charset=utf-8")
    sight = exports.Sight(
        exact=policy.can_see_exact_positions(request.user),
        as_of=filterset.form.cleaned_data.get("as_of"),
    )
    pieces = exports.write(
        kind,
        filterset.qs,
        sight,
        lambda bridge: request.build_absolute_uri(bridge.get_absolute_url()),
    )
    if request.user.is_authenticated:
        audit.note(
            audit.Action.EXPORTED, person=request.user, subject=f"bridges as {kind}"
        )
    response = StreamingHttpResponse(piece.encode() for piece in pieces)
    for name, value in exports.headers(kind, as_of=sight.as_of).items():
        response.headers[name] = value
    return response


@require_safe
def builders(request):
    """Every builder, and how much of their work is left."""
    seen = (
        Q()
        if policy.can_log_visits(request.user)
        else Q(attributions__bridge__is_public=True)
    )
    lost = Q(attributions__bridge__status=Bridge.Status.LOST)
    bridges = "attributions__bridge"
    found = (
        Builder.objects.prefetch_related("names")
        .order_by("name", "id")
        .annotate(
            standing_count=Count(bridges, filter=seen & ~lost, distinct=True),
            lost_count=Count(bridges, filter=seen & lost, distinct=True),
        )
    )
    page = Paginator(found, PAGE_SIZE).get_page(request.GET.get("page"))
    return render(request, "bridges/builders.html", {"page": page})


@require_safe
def builder(request, slug):
    """One builder's plates, and their work, what stands and what is lost."""
    bridges = Bridge.objects.visible_to(request.user).for_list()
    hands = Attribution.objects.select_related("source").order_by("bridge__name", "id")
    found = get_object_or_404(
        Builder.objects.prefetch_related(
            Prefetch("names", BuilderName.objects.select_related("source")),
            Prefetch(
                "attributions",
                hands.filter(bridge__in=bridges).select_related("bridge__standing"),
            ),
            Prefetch(
                "plates",
                Plate.objects.filter(bridge__in=bridges).select_related("bridge"),
            ),
        ),
        slug=slug,
    )
    work = [
        (hand, _row(hand.bridge, []), _then(found, hand.bridge))
        for hand in found.attributions.all()
    ]
    is_lost = Bridge.Status.LOST
    return render(
        request,
        "bridges/builder.html",
        {
            "builder": found,
            "names": found.names.all(),
            "map": work_map.draw(
                {hand.bridge_id: hand.bridge for hand, _, _ in work}.values(),
                f"Map of the work of {found.name}",
            ),
            "can_edit": builder_editing.can_edit(request.user),
            "standing": [one for one in work if one[0].bridge.status != is_lost],
            "lost": [one for one in work if one[0].bridge.status == is_lost],
            "plates": found.plates.all(),
        },
    )


def _then(builder, bridge):
    """Return what the builder was called when the bridge was built, if another name."""
    name = name_in_use(builder, bridge.built_earliest, bridge.built_latest)
    return name if name != builder.name else ""
