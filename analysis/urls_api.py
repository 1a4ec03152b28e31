"""API addresses of this room."""

from django.urls import path

from . import api

urlpatterns = [
    path(
        "bridges/<slug:slug>/configuration/",
        api.Configuration.as_view(),
        name="api-configuration",
    ),
    path("bridges/<slug:slug>/changes/", api.Changes.as_view(), name="api-changes"),
    path("run-check/", api.RunCheck.as_view(), name="api-run-check"),
]
