"""The one shape of every refusal: `{"code", "message", "request_id", "details"?}`.

`code` never changes, `message` is a sentence for people, `details` are plain values for programs. Bad input never
makes a 5xx: what Django REST framework refuses by itself gets a code here too.
"""

from __future__ import annotations

from datetime import date, time
from http import HTTPStatus
from typing import Any

from django.core.exceptions import PermissionDenied, RequestDataTooBig, SuspiciousOperation
from django.http import Http404
from rest_framework import exceptions
from rest_framework.response import Response
from rest_framework.views import set_rollback

from qcapp.core.errors import Invalid, NotAllowed, NotFound, QcError
from qcapp.lib.refusals import refusal_body, refusal_status, retry_after

SIGNED_OUT = "Nobody is signed in. Sign in, then send again; nothing was stored."


class BodyTooLarge(Invalid):
    """The body is longer than the API reads."""


def handle(error: Exception, context: dict[str, Any]) -> Response | None:
    """The answer to whatever a view raised; None for what is the server's own fault, which Django then logs."""
    refusal, status = _refusal(error)
    if refusal is None:
        return None
    set_rollback()
    headers = retry_after(refusal)
    if status == HTTPStatus.UNAUTHORIZED:
        headers |= {"WWW-Authenticate": getattr(error, "auth_header", "Session")}
    if isinstance(error, exceptions.MethodNotAllowed):
        headers |= {"Allow": ", ".join(context["view"].allowed_methods)}
    return Response(plain(refusal_body(refusal)), status=status, headers=headers)


def _refusal(error: Exception) -> tuple[QcError | None, int]:
    if isinstance(error, BodyTooLarge | RequestDataTooBig):
        known = error if isinstance(error, QcError) else BodyTooLarge("body_too_large", "The body is too large.")
        return known, HTTPStatus.REQUEST_ENTITY_TOO_LARGE
    if isinstance(error, QcError):
        return error, refusal_status(error)
    if isinstance(error, exceptions.NotAuthenticated | exceptions.AuthenticationFailed):
        return NotAllowed("signed_out", SIGNED_OUT), HTTPStatus.UNAUTHORIZED
    if isinstance(error, exceptions.ValidationError):
        return _fields(error), HTTPStatus.BAD_REQUEST
    if isinstance(error, Http404 | exceptions.NotFound):
        return NotFound("not_found", "There is nothing at this address."), HTTPStatus.NOT_FOUND
    if isinstance(error, PermissionDenied | exceptions.PermissionDenied):
        return NotAllowed("not_allowed", "You may not do this."), HTTPStatus.FORBIDDEN
    if isinstance(error, SuspiciousOperation):
        return Invalid("bad_request", "The request cannot be read."), HTTPStatus.BAD_REQUEST
    if isinstance(error, exceptions.APIException):
        return _by_framework(error), error.status_code
    return None, HTTPStatus.INTERNAL_SERVER_ERROR


CODES = {
    exceptions.ParseError: ("json_unreadable", "The body is not readable as JSON."),
    exceptions.MethodNotAllowed: ("method_not_allowed", "This address does not take this method."),
    exceptions.NotAcceptable: ("not_acceptable", "The API answers in JSON only; ask for application/json."),
    exceptions.UnsupportedMediaType: ("media_type_unsupported", "Send the body as application/json."),
}


def _by_framework(error: exceptions.APIException) -> QcError:
    for kind, (code, message) in CODES.items():
        if isinstance(error, kind):
            return Invalid(code, message)
    return Invalid("bad_request", "The request cannot be read.")


def _fields(error: exceptions.ValidationError) -> Invalid:
    """What is wrong with the fields, the first one in the sentence and all of them in the details."""
    detail = error.detail
    fields = detail if isinstance(detail, dict) else {"body": detail}
    name, problems = next(iter(fields.items()))
    first = problems[0] if isinstance(problems, list) and problems else problems
    return Invalid("fields_invalid", f"“{name}”: {first}", fields=plain(fields))


def plain(value: Any) -> Any:
    """Only what JSON has: times as RFC 3339 writes them, identifiers and everything else unusual as text."""
    if isinstance(value, dict):
        return {str(key): plain(entry) for key, entry in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        return [plain(entry) for entry in value]
    if isinstance(value, date | time):
        return value.isoformat()
    return value if value is None or isinstance(value, bool | int | float) else str(value)
