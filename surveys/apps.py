from django.apps import AppConfig


class SurveysConfig(AppConfig):
    name = "surveys"

    def ready(self):
        from . import pictures

        pictures.set_up()
