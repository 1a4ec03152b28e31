"""The site with one page more that does nothing, to measure the others against."""

from django.conf import settings
from django.http import HttpResponse
from django.urls import path

from shared import urls
from shared.wsgi import application

# All the load comes from one address.
settings.LIMITS = settings.LIMITS | {"read": 10**9}

__all__ = ["application"]


def noop(request):
    return HttpResponse(b"{}", content_type="application/json")


urls.urlpatterns.insert(0, path("noop", noop))
