from django.apps import AppConfig


class CustomersConfig(AppConfig):
    name = "qcapp.customers"

    def ready(self) -> None:
        from . import receivers  # noqa: F401 - connects the receiver
