from django.apps import AppConfig


class ApiConfig(AppConfig):
    name = "qcapp.api"

    def ready(self) -> None:
        from qcapp.inspections.services.handed_in import take_beside_by

        from .owned import take_in

        take_beside_by(take_in)
