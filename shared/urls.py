"""Every address of the site. Rooms are named by string and own their addresses."""

from django.urls import include, path

handler400 = "shared.views.bad_request"
handler404 = "shared.views.not_found"
handler500 = "shared.views.server_error"
urlpatterns = [
    path("", include("shared.urls_site")),
    path("accounts/", include("shared.urls_accounts")),
    path("", include("bridges.urls")),
    path("", include("surveys.urls")),
    path("", include("analysis.urls")),
    path("api/", include("shared.urls_api")),
]
