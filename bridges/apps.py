from django.apps import AppConfig
from django.db.models.signals import post_delete, post_migrate


class BridgesConfig(AppConfig):
    name = "bridges"

    def ready(self):
        post_migrate.connect(_install_search, sender=self)
        post_delete.connect(_make_the_map_anew, sender="bridges.Bridge")


def _install_search(using, **facts):
    """Put the index of the search where it belongs after each migration."""
    from . import search

    search.install(using)


def _make_the_map_anew(**facts):
    """Rows of the map's index are put in place one by one, and never taken out."""
    from .models import MapVersion

    MapVersion.drop()
