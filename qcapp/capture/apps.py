from django.apps import AppConfig


class CaptureConfig(AppConfig):
    name = "qcapp.capture"
