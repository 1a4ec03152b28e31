"""The API's addresses. Each room brings its own."""

from django.urls import include, path
from drf_spectacular.views import SpectacularAPIView

from .jobs_api import JobState
from .session_api import Session

urlpatterns = [
    path("schema/", SpectacularAPIView.as_view(), name="api-schema"),
    path("session/", Session.as_view(), name="api-session"),
    path("jobs/<uuid:token>/", JobState.as_view(), name="api-job"),
    path("", include("bridges.urls_api")),
    path("", include("surveys.urls_api")),
    path("", include("analysis.urls_api")),
]
