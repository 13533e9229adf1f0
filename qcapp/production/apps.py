from django.apps import AppConfig


class ProductionConfig(AppConfig):
    name = "qcapp.production"
