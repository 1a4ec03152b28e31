"""Pages of what was seen."""

from django.urls import path

from . import offline, views

app_name = "surveys"
urlpatterns = [
    path("field/", offline.field, name="field"),
    path("field/manifest.webmanifest", offline.manifest, name="field-manifest"),
    path("sw.js", offline.worker, name="field-worker"),
    path("bridges/<slug:slug>/visit/", views.log, name="log"),
    path("visits/", views.visits, name="visits"),
    path("visits/<uuid:client_id>/", views.visit, name="visit"),
    path("visits/<uuid:client_id>/answer/", views.answer, name="answer"),
    path("visits/<uuid:client_id>/withdraw/", views.withdraw, name="withdraw"),
    path("photos/<uuid:client_id>/<str:size>.jpg", views.photo, name="photo"),
    path("photos/<uuid:client_id>/original", views.original, name="original"),
]
