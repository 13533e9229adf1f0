"""What happens to every request: a number, a limit on its size, headers, refusals as answers."""

from __future__ import annotations

import logging
from collections.abc import Callable
from datetime import UTC, datetime
from http import HTTPStatus

from django.conf import settings
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.utils import timezone

from qcapp.core.errors import NotAllowed, QcError

from . import request_id
from .refusals import refuse, too_large
from .request_id import RequestIdFilter

__all__ = [
    "PlainHttpMiddleware",
    "PrivacyHeadersMiddleware",
    "RefusalMiddleware",
    "RequestIdFilter",
    "RequestIdMiddleware",
    "SlidingSessionMiddleware",
    "UploadLimitMiddleware",
    "client_address",
]

log = logging.getLogger("qcapp.refusals")
Handler = Callable[[HttpRequest], HttpResponseBase]

# A browser shows the refusal only when the server has taken what it was still sending; past this the line is
# cut.
MOST_DRAINED = 128 * 1024 * 1024
PIECE = 64 * 1024


class RequestIdMiddleware:
    """Numbers the request and says so in the answer's `X-Request-ID`.

    The number holds until the answer is closed (`apps.py`): Django logs a refusal after the last middleware.
    """

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        number = request_id.begin()
        response = self.get_response(request)
        response["X-Request-ID"] = number
        return response


class PrivacyHeadersMiddleware:
    """Headers that Django has no setting for."""

    HEADERS = {
        "Permissions-Policy": "camera=(self), microphone=(), geolocation=(), payment=(), usb=()",
        "Cross-Origin-Resource-Policy": "same-origin",
    }

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        response = self.get_response(request)
        for name, value in self.HEADERS.items():
            response.headers.setdefault(name, value)
        return response


class SlidingSessionMiddleware:
    """Lets a session end so many days after its last day of use, at one write a day and not one a request; and
    `SESSION_LONGEST` seconds after its sign-in (`begun_at`), however much it is used.
    """

    RENEWED, BEGUN = "renewed_at", "begun_at"
    DAY = 24 * 3600

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        response = self.get_response(request)
        session, now = request.session, int(timezone.now().timestamp())
        if session.accessed and not session.is_empty() and now - session.get(self.RENEWED, 0) >= self.DAY:
            session[self.RENEWED] = now
            last = min(
                now + settings.SESSION_COOKIE_AGE, session.setdefault(self.BEGUN, now) + settings.SESSION_LONGEST
            )
            session.set_expiry(datetime.fromtimestamp(last, UTC))
        return response


class PlainHttpMiddleware:
    """Refuses a call of the API over plain HTTP (`https_needed`), where pages are sent on to HTTPS.

    A program would follow the redirect and go on sending its secrets in the clear, unnoticed, for years.
    """

    API = "/api/"

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        if settings.SECURE_SSL_REDIRECT and request.path_info.startswith(self.API) and not request.is_secure():
            message = "The API answers over HTTPS only. What was sent was readable on the way: replace its password."
            return refuse(request, NotAllowed("https_needed", message))
        return self.get_response(request)


class UploadLimitMiddleware:
    """Answers 413 (`upload_too_large`) to a body above the limit, before anything reads or keeps it.

    Files are allowed up to `QCAPP_UPLOAD_LIMIT`, other bodies up to `DATA_UPLOAD_MAX_MEMORY_SIZE`.
    """

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        limit = self.limit(request)
        if self.length(request) <= limit:
            return self.get_response(request)
        self.drain(request)
        return refuse(request, too_large(limit), HTTPStatus.REQUEST_ENTITY_TOO_LARGE)

    @staticmethod
    def limit(request: HttpRequest) -> int:
        """The most bytes that a body of this type may have."""
        plain = request.content_type in {"application/json", "application/x-www-form-urlencoded"}
        return settings.DATA_UPLOAD_MAX_MEMORY_SIZE if plain else settings.QCAPP_UPLOAD_LIMIT

    @staticmethod
    def length(request: HttpRequest) -> int:
        """The announced length of the body; 0 where none is announced, and then Django reads none."""
        digits = request.META.get("CONTENT_LENGTH") or "0"
        return int(digits) if digits.isdigit() else 0

    @staticmethod
    def drain(request: HttpRequest) -> None:
        """Read and drop what is still coming."""
        left = MOST_DRAINED
        while left > 0 and (piece := request.read(PIECE)):
            left -= len(piece)


class RefusalMiddleware:
    """Turns a `QcError` of any view into its page or its JSON. The log gets the code, not what was typed."""

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        """The refusal; None for every other exception, which Django goes on with."""
        if not isinstance(exception, QcError):
            return None
        log.info("refused %s %s: %s", request.method, request.path, exception.code)
        return refuse(request, exception)


def client_address(request: HttpRequest) -> str:
    """The address the request came from, for throttles and the audit.

    Each of `QCAPP_TRUSTED_PROXIES` proxies appends one entry to X-Forwarded-For; what stands before those is
    the client's own claim and is not used.
    """
    direct = str(request.META.get("REMOTE_ADDR") or "")
    hops = settings.QCAPP_TRUSTED_PROXIES
    claimed = [part.strip() for part in request.headers.get("X-Forwarded-For", "").split(",") if part.strip()]
    return claimed[-hops] if hops and len(claimed) >= hops else direct
