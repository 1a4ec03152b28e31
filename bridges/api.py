"""Bridges over the API: the list, one bridge, and the map."""

from functools import lru_cache

from django.db.models import Prefetch
from django.http import HttpResponse, QueryDict
from django.utils import timezone
from django.utils.decorators import method_decorator
from django.utils.http import quote_etag
from django.views.decorators.gzip import gzip_page
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.exceptions import ErrorDetail, ValidationError
from rest_framework.generics import GenericAPIView, ListAPIView, RetrieveAPIView
from rest_framework.permissions import AllowAny
from rest_framework.renderers import JSONRenderer

from shared.api import tagged
from shared.dates import display

from . import api_examples, mapindex
from .drawing import shape_of
from .filters import BridgeFilter, applied, years_ago
from .models import Attribution, Bridge, Claim, LifeEvent, Plate, Span
from .serializers import BridgeOut, BridgeWholeOut, MapOut

# How long a change counts as recent on a mark.
RECENT_YEARS = 5
# Part of each ETag, raised when the answer's shape changes under the same data.
MAP_SHAPE = 1


@tagged
class BridgeList(ListAPIView):
    """Bridges, narrowed and ordered as on the map."""

    serializer_class = BridgeOut
    permission_classes = [AllowAny]
    filterset_class = BridgeFilter
    examples = api_examples.LIST

    def get_queryset(self):
        return Bridge.objects.visible_to(self.request.user).for_list()


@tagged
class BridgeDetail(RetrieveAPIView):
    """One bridge with spans, truss lines, builders, plates, claims and sources."""

    serializer_class = BridgeWholeOut
    permission_classes = [AllowAny]
    lookup_field = "slug"
    filter_backends = []
    examples = api_examples.DETAIL

    def get_queryset(self):
        spans = Span.objects.select_related(
            "form_source",
            "deck_position_source",
            "connection_source",
            "material_source",
        ).prefetch_related("truss_lines")
        return (
            Bridge.objects.visible_to(self.request.user)
            .for_list()
            .prefetch_related(
                Prefetch("spans", spans),
                Prefetch(
                    "attributions",
                    Attribution.objects.select_related("builder", "source"),
                ),
                Prefetch("plates", Plate.objects.select_related("builder")),
                Prefetch("claims", Claim.objects.select_related("source")),
                Prefetch("events", LifeEvent.objects.select_related("source")),
                "links",
            )
        )


@method_decorator(gzip_page, name="dispatch")
class BridgeMap(GenericAPIView):
    """What one view of the map shows, as GeoJSON.

    Up to 200 bridges in view come as points; above that, cells of 64 pixels that hold
    more than one bridge come as clusters. Cells lie on the world, so the answer covers
    slightly more than was asked for. Sensitive positions are generalised for people
    who are not the society's.
    """

    permission_classes = [AllowAny]
    serializer_class = MapOut
    # The schema reads from these which filters the map takes: those of the list.
    queryset = Bridge.objects.all()
    filterset_class = BridgeFilter
    pagination_class = None
    is_tagged = True
    examples = api_examples.MAP

    @extend_schema(
        parameters=[
            OpenApiParameter(
                "bbox", str, required=True, description="west,south,east,north"
            ),
            OpenApiParameter(
                "zoom", int, required=True, description="whole number, 0 to 20"
            ),
        ],
        filters=True,
        responses={
            (200, "application/geo+json"): MapOut,
        },
    )
    def get(self, request):
        params = request.query_params
        box = mapindex.Box.read(params.get("bbox"), params.get("zoom"))
        pairs = _pairs(params)
        places = mapindex.places_for(request.user)
        etag = _etag(places, box, pairs)
        headers = {"ETag": etag, "Cache-Control": "private, no-cache"}
        if _holds(request, etag):
            return HttpResponse(status=304, headers=headers)
        # Everything in an answer is in its tag, the version first of all.
        body = _answers.get(etag)
        if body is None:
            body = _answers[etag] = _answer(places, box, pairs, request.user)
            while len(_answers) > MOST_ANSWERS:
                _answers.pop(next(iter(_answers)), None)
        return HttpResponse(body, headers=headers, content_type="application/geo+json")


# Most people look at the same few views. Plain dictionary steps, so threads may share.
MOST_ANSWERS = 128
_answers: dict[str, bytes] = {}


def _answer(places, box, pairs, person):
    points, clusters, in_view = places.view(box, pairs)
    features = [_cluster(*cluster) for cluster in clusters]
    features += _points(places, points, person)
    if not clusters:
        in_view = len(features)
    body = {
        "type": "FeatureCollection",
        "total": places.count(pairs),
        "in_view": in_view,
        "version": places.version,
        "features": features,
    }
    return JSONRenderer().render(body)


def _pairs(params):
    asked = params.copy()
    for name in ("bbox", "zoom"):
        asked.pop(name, None)
    return _pairs_of(asked.urlencode()) if asked else ()


@lru_cache(512)
def _pairs_of(text):
    """Return the filter pairs of a query string: the same ones are asked for all day."""
    filterset = BridgeFilter(QueryDict(text), queryset=Bridge.objects.none())
    if not filterset.is_valid():
        raise ValidationError(
            {
                name: [
                    ErrorDetail(message, code=one.code or "invalid")
                    for one in errors.as_data()
                    for message in one.messages
                ]
                for name, errors in filterset.errors.items()
            }
        )
    return tuple(applied(filterset))


def _etag(places, box, pairs):
    parts = (
        MAP_SHAPE,
        places.token,
        places.version,
        places.is_members,
        # What is lately depends on the day.
        timezone.localdate().isoformat(),
        box,
        pairs,
    )
    return quote_etag(mapindex.digest(parts))


def _holds(request, etag):
    known = request.headers.get("If-None-Match", "")
    return etag in [one.strip().removeprefix("W/") for one in known.split(",")]


def _feature(latitude, longitude, **properties):
    place = [round(float(longitude), 6), round(float(latitude), 6)]
    return {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": place},
        "properties": properties,
    }


def _cluster(latitude, longitude, count):
    return _feature(latitude, longitude, kind="cluster", count=count)


def _points(places, numbers, person):
    """Return features of rows of the index, each with what the person may see."""
    ids = places.rows.ids[numbers].tolist()
    found = (
        Bridge.objects.visible_to(person)
        .filter(pk__in=ids)
        .select_related("standing")
        .in_bulk()
    )
    since = years_ago(RECENT_YEARS)
    features = []
    for pk in ids:
        # Gone since the index was made: the next version will not hold it either.
        if pk in found:
            *place, exact = found[pk].position_for(person)
            features.append(_feature(*place, **_said(found[pk], exact, since)))
    return features


def _said(bridge, is_exact, since):
    standing = getattr(bridge, "standing", None)
    changed = standing.last_changed if standing else None
    return {
        "kind": "bridge",
        "count": 1,
        "slug": bridge.slug,
        "name": bridge.name,
        "number": bridge.number,
        "url": bridge.get_absolute_url(),
        "family": standing.family if standing else "other",
        "form": standing.get_form_display() if standing else "",
        "status": bridge.status,
        "shape": shape_of(bridge.status),
        "status_words": bridge.get_status_display(),
        "built": display(bridge.built),
        "place": bridge.town or bridge.county,
        "is_exact": is_exact,
        "changed": changed,
        "changed_lately": changed is not None and changed >= since,
    }
