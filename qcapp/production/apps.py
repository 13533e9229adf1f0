from django.apps import AppConfig


class ProductionConfig(AppConfig):
    name = "qcapp.production"

    def ready(self) -> None:
        from qcapp.lib.falling_due import add_source

        from .queries.authorising import inspectors_due
        from .queries.fixtures import fixtures_due
        from .queries.welding import qualifications_due

        add_source(fixtures_due)
        add_source(qualifications_due)
        add_source(inspectors_due)
