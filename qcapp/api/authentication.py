"""Who is calling: the session of the pages, with answers that a program can tell apart."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.contrib.auth.middleware import get_user
from django.utils import timezone
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from rest_framework import authentication, exceptions

from qcapp.core.errors import NotAllowed
from qcapp.people.queries import is_here

if TYPE_CHECKING:
    from rest_framework.request import Request

    from qcapp.people.models import Person


class SessionAuthentication(authentication.SessionAuthentication):
    """The signed-in person. Nobody signed in is 401 `signed_out`, a stale token 403 `csrf`: two different ways on."""

    def authenticate(self, request: Request) -> tuple[Person, None] | None:
        person: Any = get_user(request._request)
        if not person.is_authenticated or not is_here(person, timezone.now()):
            return None
        self.enforce_csrf(request)
        return person, None

    def authenticate_header(self, request: Request) -> str:
        """With it Django REST framework answers 401 and not 403."""
        return 'Session realm="qcapp"'

    def enforce_csrf(self, request: Request) -> None:
        """Raises NotAllowed `csrf`: fetch /api/v1/session for a fresh token and send again."""
        try:
            super().enforce_csrf(request)
        except exceptions.PermissionDenied:
            message = "The token is missing or older than the last sign-in; fetch the session and send again."
            raise NotAllowed("csrf", message) from None


class SessionScheme(OpenApiAuthenticationExtension):
    """How the API description names this authentication."""

    target_class = "qcapp.api.authentication.SessionAuthentication"
    name = "session"

    def get_security_definition(self, auto_schema: object) -> dict[str, str]:
        return {
            "type": "apiKey",
            "in": "cookie",
            "name": settings.SESSION_COOKIE_NAME,
            "description": "Sign in at POST /api/v1/session; every change carries X-CSRFToken as well.",
        }
