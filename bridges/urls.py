"""Pages of what stands there."""

from django.urls import path

from . import views, word_views

app_name = "bridges"
urlpatterns = [
    path("", views.index, name="index"),
    path("forms/words/", word_views.words, name="words"),
    path("builders/", views.builders, name="builders"),
    path("builders/<slug:slug>/", views.builder, name="builder"),
    path("map/base.geojson", views.base_map, name="base-map"),
    path("export/bridges.<slug:kind>", views.export, name="export"),
]
