"""Addresses of the site itself."""

from django.conf import settings
from django.urls import path
from django.views.generic import TemplateView

from . import fonts, keeper, keeper_people, views

urlpatterns = [
    path("healthz", views.healthz, name="healthz"),
    path("about/figures/", views.caution, name="caution"),
    path("keeper/", keeper.overview, name="keeper"),
    path("keeper/log/", keeper.log, name="keeper-log"),
    path("keeper/people/", keeper_people.everybody, name="keeper-people"),
    path("keeper/people/invite/", keeper_people.invite, name="keeper-invite"),
    path(
        "keeper/invitations/<int:pk>/take-back/",
        keeper_people.take_back,
        name="keeper-take-back",
    ),
    path("keeper/people/<int:pk>/", keeper_people.one, name="keeper-person"),
    path("keeper/people/<int:pk>/close/", keeper_people.close, name="keeper-close"),
    path("keeper/jobs/<int:pk>/retry/", keeper.retry, name="keeper-retry"),
    path("fonts/<int:recipe>/<slug:name>.woff2", fonts.serve, name="font"),
]
if settings.DEBUG:
    # Every part that pages are built of, on one sheet, for who builds them.
    urlpatterns.append(
        path(
            "about/specimen/",
            TemplateView.as_view(template_name="shared/specimen.html"),
            name="specimen",
        )
    )
