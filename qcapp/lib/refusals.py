"""How a refusal is shown: a page for people, JSON for programs, the same code and sentence on both."""

from __future__ import annotations

import math
import sys
from collections.abc import Mapping
from http import HTTPStatus
from typing import Any

from django.core.exceptions import PermissionDenied, RequestDataTooBig
from django.db import InterfaceError, OperationalError
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.template import TemplateDoesNotExist
from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.translation import get_language, override

from qcapp.core.errors import Conflict, Invalid, NotAllowed, NotFound, QcError, Refused, Throttled

from .request_id import current_request_id
from .spoken import SOURCE, language_for, page_language, said

TEMPLATE = "errors/refusal.html"
THIS_PAGE = "people:sign_in"  # speaks every language, as what a tablet is refused does
STATUS: Mapping[type[QcError], HTTPStatus] = {
    Invalid: HTTPStatus.BAD_REQUEST,
    NotFound: HTTPStatus.NOT_FOUND,
    NotAllowed: HTTPStatus.FORBIDDEN,
    Refused: HTTPStatus.CONFLICT,
    Conflict: HTTPStatus.CONFLICT,
    Throttled: HTTPStatus.TOO_MANY_REQUESTS,
}
TITLES = {
    HTTPStatus.BAD_REQUEST: "This cannot be read",
    HTTPStatus.FORBIDDEN: "Not allowed",
    HTTPStatus.NOT_FOUND: "Not found",
    HTTPStatus.CONFLICT: "Not done",
    HTTPStatus.REQUEST_ENTITY_TOO_LARGE: "Too large",
    HTTPStatus.TOO_MANY_REQUESTS: "Too many attempts",
    HTTPStatus.INTERNAL_SERVER_ERROR: "Something went wrong here",
    HTTPStatus.SERVICE_UNAVAILABLE: "Not at the moment",
}
GONE = (
    "The database does not answer at the moment. Try again in a minute, and look first whether your last step is "
    "there; tablets keep what they have and send it by themselves. If it stays so, tell the keeper of the system."
)
GONE_SECONDS = 10  # after so long a program tries again


def refusal_status(error: QcError) -> HTTPStatus:
    """The HTTP status of a refusal's kind; a kind of its own is the server's own trouble (500)."""
    known = (status for kind, status in STATUS.items() if isinstance(error, kind))
    return next(known, HTTPStatus.INTERNAL_SERVER_ERROR)


def refusal_body(error: QcError) -> dict[str, object]:
    """What the API answers: `code`, `message`, `details` (plain values), `request_id`."""
    details = dict(error.details)
    if isinstance(error, Throttled):
        details["retry_at"] = error.retry_at.isoformat()
    body: dict[str, object] = {
        "code": error.code,
        "message": said(error.message),
        "request_id": current_request_id(),
    }
    return body | ({"details": details} if details else {})


def retry_after(error: QcError) -> dict[str, str]:
    """The Retry-After header of a throttled request in whole seconds, rounded up; else none."""
    if not isinstance(error, Throttled):
        return {}
    seconds = (error.retry_at - timezone.now()).total_seconds()
    return {"Retry-After": str(max(1, math.ceil(seconds)))}


def wants_json(request: HttpRequest) -> bool:
    """True for the API, and for a page's own script that sent or asks for JSON."""
    return (
        request.path_info.startswith("/api/")
        or request.content_type == "application/json"
        or request.headers.get("Accept", "").startswith("application/json")
    )


def refuse(request: HttpRequest, error: QcError, status: HTTPStatus | None = None) -> HttpResponse:
    """The answer to a refused request."""
    status = status or refusal_status(error)
    body = refusal_body(error)
    if wants_json(request):
        if not request.path_info.startswith("/api/"):  # a script of ours shows it; programs get English
            body |= {"message": said(error.message)}
        return JsonResponse(body, status=status, headers=retry_after(error), json_dumps_params={"default": str})
    with override(_language_of_page(request, status)):
        page = _page(request, error, status, body | {"message": said(error.message)})
    response = HttpResponse(page[0], content_type=page[1], status=status, headers=retry_after(error))
    response["Cache-Control"] = "no-store"
    return response


def _language_of_page(request: HttpRequest, status: HTTPStatus) -> str:
    """The active one where the page was found; a refusal before that is told in the language that it would have had."""
    match = request.resolver_match
    if match is not None and match.app_name == "capture":
        return get_language() or SOURCE
    if status >= HTTPStatus.INTERNAL_SERVER_ERROR:  # the person may be what cannot be asked for
        return page_language()
    if match is None and getattr(request, "tablet", None) is not None:
        return language_for(request, THIS_PAGE)
    return language_for(request, match.view_name if match else "")


def _page(request: HttpRequest, error: QcError, status: HTTPStatus, body: dict[str, object]) -> tuple[str, str]:
    """The page and its type; plain text where the template is missing or the server itself is in trouble."""
    context: dict[str, Any] = body | {
        "title": said(TITLES.get(status, "Not done")),
        "status": int(status),
        "retry_at": getattr(error, "retry_at", None),
        "findings": getattr(error, "findings", []),
    }
    broken = status >= HTTPStatus.INTERNAL_SERVER_ERROR
    try:
        # The context processors ask the database, which may be what broke.
        page = render_to_string(TEMPLATE, context, None if broken else request)
    except Exception as trouble:
        if not broken and not isinstance(trouble, TemplateDoesNotExist):
            raise
        text = f"{context['title']}\n\n{error.message}\n\n{error.code} {current_request_id()}\n"
        return text, "text/plain; charset=utf-8"
    return page, "text/html; charset=utf-8"


def too_large(limit: int) -> Invalid:
    """The refusal of a request that carries more than `limit` bytes."""
    mebibytes = limit // (1024 * 1024)
    return Invalid("upload_too_large", f"This is more than {mebibytes} MB. Send a smaller file.", limit=limit)


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Django's 400: something in the request was malformed or too large."""
    if isinstance(exception, RequestDataTooBig):
        from django.conf import settings

        limit = settings.DATA_UPLOAD_MAX_MEMORY_SIZE
        return refuse(request, too_large(limit), HTTPStatus.REQUEST_ENTITY_TOO_LARGE)
    return refuse(request, Invalid("bad_request", "The request cannot be read. Go back, reload and try again."))


def permission_denied(request: HttpRequest, exception: PermissionDenied) -> HttpResponse:
    """Django's 403."""
    return refuse(request, NotAllowed("not_allowed", "You may not do this. Ask someone whose role allows it."))


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    """A form without its current token: nearly always a page that was open since before the last sign-in."""
    message = "This page is older than your last sign-in. Reload it and send again; nothing was stored."
    return refuse(request, NotAllowed("page_expired", message))


def page_not_found(request: HttpRequest, exception: Http404) -> HttpResponse:
    """Django's 404."""
    return refuse(
        request,
        NotFound("page_not_found", "There is no such page. Check the address or search for the serial."),
    )


def server_error(request: HttpRequest) -> HttpResponse:
    """Django's 500: names the request, so that the keeper of the system finds it in the log.

    A database that is down, full or locked is no mistake of the server: 503 `database_gone`, with a time to try again.
    """
    if isinstance(sys.exc_info()[1], OperationalError | InterfaceError):
        response = refuse(request, QcError("database_gone", GONE), HTTPStatus.SERVICE_UNAVAILABLE)
        response["Retry-After"] = str(GONE_SECONDS)
        return response
    message = "The server made a mistake and logged it. Try again; if it stays, tell the keeper of the system."
    return refuse(request, QcError("server_error", message), HTTPStatus.INTERNAL_SERVER_ERROR)
