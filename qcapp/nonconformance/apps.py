from django.apps import AppConfig


class NonconformanceConfig(AppConfig):
    name = "qcapp.nonconformance"

    def ready(self) -> None:
        from . import (
            announcing,
            receivers,  # noqa: F401 - connects the receiver
        )

        announcing.connect()
