from django.apps import AppConfig
from django.db.models.signals import post_migrate


class BridgesConfig(AppConfig):
    name = "bridges"

    def ready(self):
        post_migrate.connect(_install_search, sender=self)


def _install_search(using, **facts):
    """Put the index of the search where it belongs after each migration."""
    from . import search

    search.install(using)
