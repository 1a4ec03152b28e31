"""Signing in and out."""

from django.conf import settings
from django.contrib.auth import views
from django.urls import path

app_name = "accounts"
urlpatterns = [
    path(
        "sign-in/",
        views.LoginView.as_view(
            template_name="shared/sign_in.html",
            redirect_authenticated_user=True,
            # The view would call the site after its host.
            extra_context={"site_name": settings.SITE_NAME},
        ),
        name="sign-in",
    ),
    path("sign-out/", views.LogoutView.as_view(), name="sign-out"),
]
