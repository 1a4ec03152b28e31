"""API addresses of this room."""

from django.urls import path

from . import api

urlpatterns = [
    path("bridges/", api.BridgeList.as_view(), name="api-bridges"),
    path("bridges/map/", api.BridgeMap.as_view(), name="api-bridges-map"),
    path("bridges/<slug:slug>/", api.BridgeDetail.as_view(), name="api-bridge"),
]
