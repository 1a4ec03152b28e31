"""The site with one page more that does nothing, to measure the others against."""

from importlib import import_module

from django.conf import settings
from django.http import HttpResponse
from django.urls import path

from shared.wsgi import application

__all__ = ["application"]

# After the application: addresses bring along what needs its models.
urls = import_module("shared.urls")
# All the load comes from one address.
settings.LIMITS = settings.LIMITS | {"read": 10**9}


def noop(request):
    return HttpResponse(b"{}", content_type="application/json")


urls.urlpatterns.insert(0, path("noop", noop))
