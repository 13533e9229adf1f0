"""A refusal is a page for people and JSON for programs, with one code and sentence."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta
from http import HTTPStatus
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied, RequestDataTooBig
from django.db import InterfaceError, OperationalError
from django.http import Http404, HttpRequest
from django.template import TemplateDoesNotExist
from django.test import RequestFactory

from qcapp.core import errors
from qcapp.lib import refusals

KINDS = [
    (errors.Invalid, 400),
    (errors.Problems, 400),
    (errors.NotAllowed, 403),
    (errors.NotFound, 404),
    (errors.Refused, 409),
    (errors.Conflict, 409),
    (errors.TransitionNotAllowed, 409),
    (errors.Throttled, 429),
    (errors.QcError, 500),
]


@pytest.fixture
def page() -> HttpRequest:
    return RequestFactory().get("/units/X")


@pytest.fixture
def call() -> HttpRequest:
    return RequestFactory().get("/api/v1/units/X")


def made(kind: type[errors.QcError], **more: Any) -> errors.QcError:
    if issubclass(kind, errors.Throttled):
        more["retry_at"] = datetime.now(UTC) + timedelta(seconds=30.2)
    if issubclass(kind, errors.Problems):
        more["findings"] = [{"line": 2, "message": "no number"}]
    return kind("gauge_due", "Gauge C-014 was due on 3 May.", **more)


@pytest.mark.parametrize(("kind", "status"), KINDS)
def test_answers_each_kind_with_its_status(call: HttpRequest, kind: type[errors.QcError], status: int) -> None:
    answer = refusals.refuse(call, made(kind))
    assert answer.status_code == status
    body = json.loads(answer.content)
    assert (body["code"], body["message"]) == ("gauge_due", "Gauge C-014 was due on 3 May.")


def test_knows_a_status_for_every_kind() -> None:
    kinds = {kind for kind in vars(errors).values() if isinstance(kind, type) and issubclass(kind, errors.QcError)}
    assert kinds == {kind for kind, _ in KINDS}


def test_carries_details_that_programs_read(call: HttpRequest) -> None:
    body = json.loads(refusals.refuse(call, made(errors.Refused, gauge="C-014", due=date(2026, 5, 3))).content)
    assert body["details"] == {"gauge": "C-014", "due": "2026-05-03"}


def test_says_when_to_try_again(call: HttpRequest, page: HttpRequest) -> None:
    for request in (call, page):
        assert refusals.refuse(request, made(errors.Throttled))["Retry-After"] in {"30", "31"}
    assert "retry_at" in json.loads(refusals.refuse(call, made(errors.Throttled)).content)["details"]
    assert "Retry-After" not in refusals.refuse(call, made(errors.Refused))


def test_never_asks_to_wait_less_than_a_second(call: HttpRequest) -> None:
    late = errors.Throttled("wait", "Wait.", retry_at=datetime(2020, 1, 1, tzinfo=UTC))
    assert refusals.refuse(call, late)["Retry-After"] == "1"


def test_shows_people_a_page_with_the_sentence(page: HttpRequest) -> None:
    answer = refusals.refuse(page, made(errors.Refused))
    assert answer["Content-Type"].startswith("text/")
    assert "Gauge C-014 was due on 3 May." in answer.content.decode()
    assert answer["Cache-Control"] == "no-store"


def test_says_it_in_plain_text_without_a_template(page: HttpRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    def no_template(*arguments: object) -> str:
        raise TemplateDoesNotExist(refusals.TEMPLATE)

    monkeypatch.setattr(refusals, "render_to_string", no_template)
    answer = refusals.refuse(page, made(errors.Refused))
    assert answer["Content-Type"] == "text/plain; charset=utf-8"
    assert "gauge_due" in answer.content.decode()


def test_owns_up_in_plain_text_when_even_the_page_breaks(page: HttpRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    def no_database(*arguments: object) -> str:
        raise RuntimeError("the database is gone")

    monkeypatch.setattr(refusals, "render_to_string", no_database)
    assert "server_error" in refusals.server_error(page).content.decode()
    with pytest.raises(RuntimeError, match="gone"):
        refusals.refuse(page, made(errors.Refused))


@pytest.mark.parametrize("trouble", [OperationalError("the database or disk is full"), InterfaceError("closed")])
def test_says_that_the_database_is_gone_and_when_to_try_again(
    page: HttpRequest, call: HttpRequest, trouble: Exception
) -> None:
    """It cannot know whether the last act was stored, so the page does not claim that nothing was changed."""
    try:
        raise trouble
    except type(trouble):
        answer, shown = refusals.server_error(call), refusals.server_error(page)
    assert (answer.status_code, json.loads(answer.content)["code"]) == (503, "database_gone")
    assert (shown.status_code, shown["Retry-After"], answer["Retry-After"]) == (503, "10", "10")
    assert "does not answer" in shown.content.decode()
    assert "Nothing was changed" not in shown.content.decode()
    assert refusals.server_error(call).status_code == 500


def test_answers_the_page_s_own_scripts_in_json() -> None:
    factory = RequestFactory()
    assert refusals.wants_json(factory.post("/floor/", data={}, content_type="application/json"))
    assert refusals.wants_json(factory.get("/floor/", headers={"Accept": "application/json"}))
    assert not refusals.wants_json(factory.get("/floor/", headers={"Accept": "text/html,application/json"}))


@pytest.mark.parametrize(
    ("answer", "status", "code"),
    [
        (lambda call: refusals.bad_request(call, ValueError("x")), HTTPStatus.BAD_REQUEST, "bad_request"),
        (lambda call: refusals.bad_request(call, RequestDataTooBig()), 413, "upload_too_large"),
        (lambda call: refusals.permission_denied(call, PermissionDenied()), 403, "not_allowed"),
        (lambda call: refusals.csrf_failure(call, "no cookie"), 403, "page_expired"),
        (lambda call: refusals.page_not_found(call, Http404()), 404, "page_not_found"),
        (refusals.server_error, 500, "server_error"),
    ],
)
def test_words_what_the_framework_refuses(call: HttpRequest, answer: Any, status: int, code: str) -> None:
    response = answer(call)
    assert response.status_code == status
    assert json.loads(response.content)["code"] == code
