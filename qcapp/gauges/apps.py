from django.apps import AppConfig


class GaugesConfig(AppConfig):
    name = "qcapp.gauges"
