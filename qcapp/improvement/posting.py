"""A sent form: perform the act and go on, or show the page again with what was typed, except the PIN."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from http import HTTPStatus
from typing import Any

from django import forms
from django.http import HttpRequest
from django.utils import timezone

from qcapp.core.errors import QcError
from qcapp.lib.middleware import client_address
from qcapp.lib.refusals import refusal_status
from qcapp.people.services import Proof, prove_identity

Perform = Callable[[dict[str, Any], datetime], object]


def performed(form: forms.Form, perform: Perform) -> int:
    """The status of the answer: 200 when it was done, else that of the refusal, whose sentence is on the form."""
    if not form.is_valid():
        return HTTPStatus.BAD_REQUEST
    try:
        perform(form.cleaned_data, timezone.now())
    except QcError as error:
        form.add_error(None, error.message)
        return refusal_status(error)
    return HTTPStatus.OK


def proof_of(request: HttpRequest, pin: str, at: datetime) -> Proof:
    """Proof that the signed-in person is at the keyboard. Raises as `prove_identity`."""
    person: Any = request.user
    return prove_identity(person=person, secret=pin, method="pin", at=at, address=client_address(request))
