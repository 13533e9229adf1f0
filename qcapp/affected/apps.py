from django.apps import AppConfig


class AffectedConfig(AppConfig):
    name = "qcapp.affected"
