from django.apps import AppConfig


class RecallConfig(AppConfig):
    name = "qcapp.recall"
