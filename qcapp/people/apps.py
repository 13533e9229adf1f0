"""The people's room, and the lines in the log about who came and went."""

from __future__ import annotations

import logging
from typing import Any

from django.apps import AppConfig
from django.utils import timezone

log = logging.getLogger("qcapp.people")


class PeopleConfig(AppConfig):
    name = "qcapp.people"

    def ready(self) -> None:
        from django.contrib.auth.signals import user_logged_in, user_logged_out

        user_logged_in.connect(_came, dispatch_uid="qcapp.people.came")
        user_logged_out.connect(_went, dispatch_uid="qcapp.people.went")


def _came(request: Any, user: Any, **signal: object) -> None:
    from .services import begin_session

    begin_session(request, timezone.now())
    log.info("signed in: badge %s", user.badge)


def _went(request: Any, user: Any, **signal: object) -> None:
    if user is not None:
        log.info("signed out: badge %s", user.badge)
