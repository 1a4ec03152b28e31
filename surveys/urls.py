"""Pages of what was seen."""

from django.urls import path

from . import views

app_name = "surveys"
urlpatterns = [
    path("bridges/<slug:slug>/visit/", views.log, name="log"),
    path("visits/", views.visits, name="visits"),
    path("visits/<uuid:client_id>/", views.visit, name="visit"),
    path("visits/<uuid:client_id>/answer/", views.answer, name="answer"),
    path("visits/<uuid:client_id>/withdraw/", views.withdraw, name="withdraw"),
    path("photos/<uuid:client_id>/<str:size>.jpg", views.photo, name="photo"),
    path("photos/<uuid:client_id>/original", views.original, name="original"),
]
