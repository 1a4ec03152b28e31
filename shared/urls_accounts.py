"""Signing in and out, and one's own account."""

from django.contrib.auth import views
from django.urls import path

from . import account_views

app_name = "accounts"
urlpatterns = [
    path("sign-in/", account_views.SignIn.as_view(), name="sign-in"),
    path("sign-out/", views.LogoutView.as_view(), name="sign-out"),
    path("link/", account_views.ask_link, name="ask-link"),
    path("link/<str:token>/", account_views.link, name="link"),
    path("invited/<str:secret>/", account_views.invited, name="invited"),
    path("me/", account_views.own, name="own"),
    path("me/password/", account_views.Password.as_view(), name="password"),
    path("me/leave/", account_views.leave, name="leave"),
]
