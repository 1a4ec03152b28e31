"""Pages of what stands there."""

from django.urls import include, path

from . import (
    along,
    basemap,
    builder_editing,
    changes,
    comparables,
    numbers,
    share,
    views,
    watching,
    word_views,
)

app_name = "bridges"
urlpatterns = [
    path("", views.index, name="index"),
    path("forms/words/", word_views.words, name="words"),
    path("builders/", views.builders, name="builders"),
    path("builders/<slug:slug>/", views.builder, name="builder"),
    path("builders/<slug:slug>/names/", builder_editing.names, name="builder-names"),
    path(
        "builders/<slug:slug>/names/<int:pk>/",
        builder_editing.names,
        name="builder-name",
    ),
    path("bridges/<slug:slug>/comparables/", comparables.page, name="comparables"),
    path(
        "bridges/<slug:slug>/comparables.csv",
        comparables.table,
        name="comparables-table",
    ),
    path("changes/", changes.page, name="changes"),
    path("changes.atom", changes.feed, name="feed"),
    path("numbers/", numbers.page, name="numbers"),
    path("along/", along.page, name="along"),
    # Short, for signs. A society's number may hold a slash, so the rest comes first.
    path("b/<path:number>/card/", share.page, name="share"),
    path("b/<path:number>/card.png", share.picture, name="card"),
    path("b/<path:number>/qr.svg", share.code, {"kind": "svg"}, name="code-svg"),
    path("b/<path:number>/qr.png", share.code, {"kind": "png"}, name="code-png"),
    path("b/<path:number>", share.short, name="short"),
    path("watching/", watching.page, name="watching"),
    path("watching/add/", watching.add, name="watching-add"),
    path("watching/<int:pk>/stop/", watching.stop, name="watching-remove"),
    path("watching/stop/<str:token>/", watching.stop_by_mail, name="watching-stop"),
    path("imports/", include("bridges.intake.urls")),
    path("map/base.geojson", basemap.serve, name="base-map"),
    path("export/bridges.<slug:kind>", views.export, name="export"),
]
