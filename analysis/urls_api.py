"""API addresses of this room."""

from django.urls import path

from . import api, field_pack

urlpatterns = [
    path(
        "bridges/<slug:slug>/configuration/",
        api.Configuration.as_view(),
        name="api-configuration",
    ),
    path("bridges/<slug:slug>/changes/", api.Changes.as_view(), name="api-changes"),
    path("field-pack/", field_pack.FieldPack.as_view(), name="api-field-pack"),
    path("run-check/", api.RunCheck.as_view(), name="api-run-check"),
]
