"""Sessions in a table of our own, which knows whose they are: everybody sees the own ones and can end them.

Settings name this module as SESSION_ENGINE. Everything but the columns beside the data is Django's.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from django.contrib.auth import SESSION_KEY
from django.contrib.sessions.backends import db
from django.utils import timezone

from ..models import OpenSession

SIGN_IN, DEVICE, BEGUN = "sign_in", "device", "begun_at"


class SessionStore(db.SessionStore):
    """A session whose row says whose it is, where and since when."""

    @classmethod
    def get_model_class(cls) -> type[OpenSession]:
        return OpenSession

    def create_model_instance(self, data: dict[str, Any]) -> OpenSession:
        made: OpenSession = super().create_model_instance(data)  # type: ignore[assignment]
        person, begun = data.get(SESSION_KEY), data.get(BEGUN)
        made.person_id = int(person) if person else None
        made.sign_in, made.device = data.get(SIGN_IN), data.get(DEVICE, "")
        made.begun_at = datetime.fromtimestamp(begun, UTC) if begun else None
        made.used_at = timezone.now()
        return made
