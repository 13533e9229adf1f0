"""Requests made from the API's own description (OpenAPI 3.1), by a general-purpose library for any API.

Each operation is called by one role with what its description allows and forbids, half of the time about things that
exist. The answer must be one that the description declares, in the shape it declares, and never a 5xx.
"""

from __future__ import annotations

from collections import Counter
from functools import lru_cache
from typing import Any

import schemathesis
from django.core.signals import request_finished, request_started
from django.core.wsgi import get_wsgi_application
from django.db import close_old_connections
from django.test import Client
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from schemathesis.core.failures import FailureGroup
from schemathesis.openapi.checks import (
    JsonSchemaError,
    MalformedMediaType,
    UndefinedContentType,
    UndefinedStatusCode,
)

from qcapp.nonconformance.services.by_hand import raise_by_hand
from qcapp.people.models import Attempts, Person

from ..cast import PASSWORD, PIN
from ..factories.inspections import SERIAL, Workshop
from .conftest import description

TOKEN = "a" * 32  # the same in cookie and header is what the check of forged requests asks for
EXAMPLES = 7  # of each operation and role; the sum of all is checked in test_described_in_the_office.py
# What counts as a mistake of ours. A rule of the work may well refuse what the description allows.
WRONG = (UndefinedStatusCode, UndefinedContentType, MalformedMediaType, JsonSchemaError)


@lru_cache(maxsize=1)
def operations() -> list[Any]:
    """Every operation of the description."""
    schema = schemathesis.openapi.from_dict(description())
    schema.app = get_wsgi_application()
    return [found.ok() for found in schema.get_all_operations()]


class Caller:
    """Somebody's program in which `person` has signed in; nobody when that is None."""

    def __init__(self, workshop: Workshop, person: Person | None) -> None:
        self.person = person
        revision, report = str(workshop.revision), _furnish(workshop)
        self.known = {"serial": SERIAL, "uuid": revision, "family": "FR-200", "number": report, "issue": 1}
        self.body = {"serial": SERIAL, "pin": PIN, "password": PASSWORD, "family": "FR-200", "stage": 1}
        self.statuses: Counter[int] = Counter()
        self.problems: dict[str, str] = {}

    def call_everything(self, examples: int) -> None:
        """Each operation so often, each with a session of its own: one of them signs out, one signs in."""
        # The tests' transaction lives in this connection, which the handler would close after each request.
        for signal in (request_started, request_finished):
            signal.disconnect(close_old_connections)
        try:
            for operation in operations():
                self._call(operation, examples)
        finally:
            for signal in (request_started, request_finished):
                signal.connect(close_old_connections)

    def _call(self, operation: Any, examples: int) -> None:
        cookies = self._cookies()
        Attempts.objects.all().delete()

        @settings(
            max_examples=examples, deadline=None, database=None, phases=[Phase.generate],
            suppress_health_check=list(HealthCheck),
        )  # fmt: skip
        @given(case=operation.as_strategy(), about_known=st.booleans())
        def call(case: Any, about_known: bool) -> None:
            if about_known:
                self._put_in_what_exists(case)
            answer = case.call(app=operation.schema.app, cookies=cookies, headers={"X-CSRFToken": TOKEN})
            self._judge(operation, case, answer)

        call()

    def _cookies(self) -> dict[str, str]:
        client = Client()
        if self.person is not None:
            client.force_login(self.person)
        return {name: morsel.value for name, morsel in client.cookies.items()} | {"csrftoken": TOKEN}

    def _put_in_what_exists(self, case: Any) -> None:
        for name in set(case.path_parameters or ()) & self.known.keys():
            case.path_parameters[name] = self.known[name]
        if isinstance(case.body, dict):
            case.body.update({name: self.body[name] for name in case.body.keys() & self.body.keys()})

    def _judge(self, operation: Any, case: Any, answer: Any) -> None:
        self.statuses[answer.status_code] += 1
        if answer.status_code >= 500 and answer.status_code != 503:
            self.problems[operation.label] = f"{answer.status_code}\n{case.as_curl_command()}"
            return
        try:
            case.validate_response(answer)
        except FailureGroup as group:
            wrong = [str(each) for each in group.exceptions if isinstance(each, WRONG)]
            if wrong:
                self.problems[operation.label] = "\n".join([*wrong, case.as_curl_command()])


def _furnish(workshop: Workshop) -> str:
    """The first stage is done, and a report is open: gives its number."""
    workshop.finish(upto=1)
    told = {"title": "A dent behind the seat tube", "description": "Found while cleaning.", "severity": "major"}
    return raise_by_hand(by=workshop.cast.assembler, serial=SERIAL, at=workshop.at, **told)  # type: ignore[arg-type]


def in_words(problems: dict[str, str]) -> str:
    """What a failing test prints."""
    return "\n\n".join(f"== {label}: {told}" for label, told in sorted(problems.items()))
