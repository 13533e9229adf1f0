from django.apps import AppConfig


class ProductionConfig(AppConfig):
    name = "qcapp.production"

    def ready(self) -> None:
        from qcapp.lib.falling_due import add_source

        from .queries.fixtures import fixtures_due

        add_source(fixtures_due)
