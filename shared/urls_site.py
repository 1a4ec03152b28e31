"""Addresses of the site itself."""

from django.urls import path

from . import views

urlpatterns = [
    path("healthz", views.healthz, name="healthz"),
    path("about/figures/", views.caution, name="caution"),
]
