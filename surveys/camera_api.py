"""Where photographs were taken and where to stand for them, as a layer of the map.

A place is told only where the bridge's own may be: beside a sensitive bridge a visitor
learns of no camera, since it stands within sight of it.
"""

from django.db.models import F
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.permissions import AllowAny
from rest_framework.response import Response
from rest_framework.views import APIView

from bridges import mapindex
from bridges.serializers import PointGeometryOut
from shared import policy
from shared.dates import display

from . import api_examples
from .models import Photo, Viewpoint

MOST = 300
WINDS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")


def facing(bearing_deg):
    """Return the eighth of the compass that a bearing lies in; blank for None."""
    if bearing_deg is None:
        return ""
    return WINDS[round(bearing_deg / 45) % 8]


class CameraOut(serializers.Serializer):
    kind = serializers.ChoiceField(choices=["photo", "viewpoint"])
    bridge = serializers.CharField()
    url = serializers.CharField()
    name = serializers.CharField(allow_blank=True)
    taken = serializers.CharField(allow_blank=True)
    bearing_deg = serializers.FloatField(allow_null=True)
    facing = serializers.CharField(allow_blank=True)


class CameraFeatureOut(serializers.Serializer):
    type = serializers.ChoiceField(choices=["Feature"])
    geometry = PointGeometryOut()
    properties = CameraOut()


class CamerasOut(serializers.Serializer):
    """GeoJSON. The bearing is that of the lens, from true north, clockwise."""

    type = serializers.ChoiceField(choices=["FeatureCollection"])
    features = CameraFeatureOut(many=True)


class Cameras(APIView):
    """Photographs and viewpoints of one view of the map; at most 300 of each."""

    permission_classes = [AllowAny]
    examples = api_examples.CAMERAS

    @extend_schema(
        parameters=[
            OpenApiParameter(
                "bbox", str, required=True, description="west,south,east,north"
            )
        ],
        responses={
            (200, "application/geo+json"): CamerasOut,
        },
    )
    def get(self, request):
        west, south, east, north = mapindex.edges(request.query_params.get("bbox"))
        box = {
            "latitude__gte": south,
            "latitude__lte": north,
            "longitude__gte": west,
            "longitude__lte": east,
        }
        viewpoints = _for_people(Viewpoint.objects.filter(**box), "bridge", request)
        photos = _for_people(
            Photo.objects.public().filter(**box), "visit__bridge", request
        )
        features = [
            _feature(one, "viewpoint", one.name, "")
            for one in viewpoints.order_by("pk")[:MOST]
        ] + [
            _feature(one, "photo", one.caption, display(one.taken) if one.taken else "")
            for one in photos.order_by("-pk")[:MOST]
        ]
        return Response(
            {"type": "FeatureCollection", "features": features},
            headers={"Cache-Control": "private, no-cache"},
            content_type="application/geo+json",
        )


def _for_people(rows, path, request):
    """Keep what a person may see, with the name and slug of its bridge."""
    if not policy.can_see_exact_positions(request.user):
        rows = rows.filter(
            **{f"{path}__is_public": True, f"{path}__is_position_sensitive": False}
        )
    return rows.select_related(path).annotate(bridge_name=F(f"{path}__name"))


def _feature(one, kind, name, taken):
    bridge = one.bridge if kind == "viewpoint" else one.visit.bridge
    place = [round(float(one.longitude), 6), round(float(one.latitude), 6)]
    return {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": place},
        "properties": {
            "kind": kind,
            "bridge": one.bridge_name,
            "url": f"{bridge.get_absolute_url()}#photos",
            "name": name,
            "taken": taken,
            "bearing_deg": one.bearing_deg,
            "facing": facing(one.bearing_deg),
        },
    }
