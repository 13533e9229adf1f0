from django.apps import AppConfig


class HistoryConfig(AppConfig):
    name = "qcapp.history"
