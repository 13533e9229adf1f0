"""A page with several forms: the one that was sent is heard, a refusal shows the page again with what was typed."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime
from http import HTTPStatus
from typing import Any

from django import forms
from django.http import HttpRequest
from django.utils import timezone

from qcapp.core.errors import QcError

from .refusals import refusal_status

Perform = Callable[[dict[str, Any], datetime], object]


class SeveralForms:
    """The forms of a page by name; `sent` is the one that came, and `status` what came of it.

    A form names itself in the hidden field `act`. `done` is True when what it asked for was done.
    """

    def __init__(self, request: HttpRequest, shapes: Mapping[str, type[forms.Form]]) -> None:
        self.sent = request.POST.get("act", "") if request.method == "POST" else ""
        self.forms = {
            name: shape(request.POST, request.FILES, auto_id=f"{name}_%s")
            if name == self.sent
            else shape(auto_id=f"{name}_%s")
            for name, shape in shapes.items()
        }
        self.status: int = HTTPStatus.BAD_REQUEST if request.method == "POST" else HTTPStatus.OK
        self.done = False

    def hear(self, performs: Mapping[str, Perform]) -> object:
        """Do what was sent, if it is readable; gives what the act gave."""
        form = self.forms.get(self.sent)
        if form is None or self.sent not in performs or not form.is_valid():
            return None
        try:
            given = performs[self.sent](form.cleaned_data, timezone.now())
        except QcError as error:
            form.add_error(None, error.message)
            self.status = refusal_status(error)
            return None
        self.done = True
        return given
