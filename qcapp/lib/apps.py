"""The app that carries the shared tags and keeps the guards of frozen tables in place."""

from __future__ import annotations

from django.apps import AppConfig
from django.core.signals import request_finished
from django.db.models import Field, ForeignObject


class LibConfig(AppConfig):
    """Reinstalls the triggers after every migrate, registers the check that they are there, the lookup `among`,
    and the quick reading of times."""

    name = "qcapp.lib"
    label = "lib"

    def ready(self) -> None:
        from . import guards, postgres_times, request_id
        from .among import Among

        for kind in (Field, ForeignObject):  # a foreign key does not inherit what fields look up by
            kind.register_lookup(Among)
        guards.connect()
        postgres_times.connect()
        request_finished.connect(request_id.end, dispatch_uid="qcapp.request_id.end")
