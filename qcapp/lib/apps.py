"""The app that carries the shared tags and keeps the guards of frozen tables in place."""

from __future__ import annotations

from django.apps import AppConfig
from django.core.signals import request_finished


class LibConfig(AppConfig):
    """Reinstalls the triggers after every migrate and registers the check that they are there."""

    name = "qcapp.lib"
    label = "lib"

    def ready(self) -> None:
        from . import guards, request_id

        guards.connect()
        request_finished.connect(request_id.end, dispatch_uid="qcapp.request_id.end")
