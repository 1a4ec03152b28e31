"""API addresses of this room."""

from django.urls import path

from . import api, camera_api, replies_api

urlpatterns = [
    path("visits/", api.Visits.as_view(), name="api-visits"),
    path("visits/<uuid:client_id>/", api.OwnVisit.as_view(), name="api-visit"),
    path(
        "visits/<uuid:client_id>/answers/",
        replies_api.Answers.as_view(),
        name="api-visit-answers",
    ),
    path("questions/", replies_api.Questions.as_view(), name="api-questions"),
    path("views/map/", camera_api.Cameras.as_view(), name="api-views-map"),
    path("uploads/<uuid:client_id>/", api.Uploads.as_view(), name="api-upload"),
]
