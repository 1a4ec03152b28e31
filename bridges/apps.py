from django.apps import AppConfig


class BridgesConfig(AppConfig):
    name = "bridges"
