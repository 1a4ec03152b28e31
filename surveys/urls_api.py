"""API addresses of this room."""

from django.urls import path

from . import api

urlpatterns = [
    path("visits/", api.Visits.as_view(), name="api-visits"),
    path("visits/<uuid:client_id>/", api.OwnVisit.as_view(), name="api-visit"),
    path("uploads/<uuid:client_id>/", api.Uploads.as_view(), name="api-upload"),
]
