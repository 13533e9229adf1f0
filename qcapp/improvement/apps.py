from django.apps import AppConfig


class ImprovementConfig(AppConfig):
    name = "qcapp.improvement"

    def ready(self) -> None:
        from . import receivers  # noqa: F401 - connects the receiver
