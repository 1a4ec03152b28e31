"""Addresses of lists brought in; part of ``bridges``."""

from django.urls import path

from . import queue, views

urlpatterns = [
    path("", views.imports, name="imports"),
    path("columns/", views.columns, name="import-columns"),
    path("queue/", queue.queue, name="import-queue"),
    path("unlisted/", views.unlisted, name="import-unlisted"),
    path("rows/<int:pk>/", queue.row, name="import-row"),
    path("bridges/<slug:slug>/", views.of_bridge, name="import-bridge"),
    path("<int:pk>/", views.one, name="import"),
    path("<int:pk>/take/", views.take, name="import-take"),
    path("<int:pk>/drop/", views.drop, name="import-drop"),
    path("<int:pk>/rows/", views.rows, name="import-rows"),
    path("<int:pk>/changes/", views.changes, name="import-changes"),
    path("<int:pk>/faults.csv", views.faults, name="import-faults"),
]
