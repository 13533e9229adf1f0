"""Every request has a number, a size limit, headers that bind the browser, and a refusal that can be read."""

from __future__ import annotations

import io
import logging
import re
import sys
from datetime import timedelta
from types import ModuleType
from typing import Any

import pytest
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.test import Client, RequestFactory
from django.urls import path
from django.utils import timezone

from qcapp.core.errors import Refused
from qcapp.lib import request_id
from qcapp.lib.middleware import UploadLimitMiddleware, client_address
from qcapp.people.models import OpenSession

MEBIBYTE = 1024 * 1024


def speak(request: HttpRequest) -> JsonResponse:
    logging.getLogger("qcapp.test").warning("spoken")
    return JsonResponse({"id": request_id.current_request_id()})


def size(request: HttpRequest) -> HttpResponse:
    return HttpResponse(str(len(request.body) if request.content_type == "application/json" else len(request.FILES)))


def remember(request: HttpRequest) -> HttpResponse:
    return HttpResponse(str(request.session.setdefault("seen", 1)))


def look(request: HttpRequest) -> HttpResponse:
    return HttpResponse(str(request.session.get("seen")))


def deny(request: HttpRequest) -> HttpResponse:
    raise Refused("held", "The frame is on hold. Decide its report first.", secret="typed 4711")


def crash(request: HttpRequest) -> HttpResponse:
    raise RuntimeError("a mistake of ours")


@pytest.fixture
def client(settings: Any, monkeypatch: pytest.MonkeyPatch) -> Client:
    module = ModuleType("tests_addresses")
    views = {
        "speak": speak,
        "size": size,
        "remember": remember,
        "look": look,
        "deny": deny,
        "api/deny": deny,
        "crash": crash,
        "api/crash": crash,
    }
    module.urlpatterns = [path(name, view) for name, view in views.items()]  # type: ignore[attr-defined]
    for kind in (400, 403, 404, 500):
        name = {400: "bad_request", 403: "permission_denied", 404: "page_not_found", 500: "server_error"}[kind]
        setattr(module, f"handler{kind}", f"qcapp.lib.refusals.{name}")
    monkeypatch.setitem(sys.modules, "tests_addresses", module)
    settings.ROOT_URLCONF = "tests_addresses"
    return Client(raise_request_exception=False)


def test_numbers_every_request_anew(client: Client) -> None:
    answers = [client.get("/speak", headers={"X-Request-ID": "forged\nline"}) for _ in range(2)]
    numbers = [answer["X-Request-ID"] for answer in answers]
    assert [answer.json()["id"] for answer in answers] == numbers
    assert len(set(numbers)) == 2
    assert all(re.fullmatch("[0-9a-f]{12}", number) for number in numbers)
    assert request_id.current_request_id() == "-"


def test_writes_the_number_into_the_log(client: Client, caplog: pytest.LogCaptureFixture) -> None:
    caplog.handler.addFilter(request_id.RequestIdFilter())
    number = client.get("/speak")["X-Request-ID"]
    assert [record.request_id for record in caplog.records if record.name == "qcapp.test"] == [number]  # type: ignore[attr-defined]


def test_numbers_what_the_framework_logs_about_an_answer(client: Client, caplog: pytest.LogCaptureFixture) -> None:
    caplog.handler.addFilter(request_id.RequestIdFilter())
    number = client.get("/nowhere")["X-Request-ID"]
    assert [record.request_id for record in caplog.records if record.name == "django.request"] == [number]  # type: ignore[attr-defined]


def test_binds_the_browser_by_headers(client: Client) -> None:
    headers = client.get("/speak").headers
    policy = dict(part.strip().split(" ", 1) for part in headers["Content-Security-Policy"].split(";"))
    assert policy == {
        "default-src": "'self'",
        "script-src": "'self'",
        "style-src": "'self'",
        "img-src": "'self' data: blob:",
        "font-src": "'self'",
        "connect-src": "'self'",
        "worker-src": "'self'",
        "manifest-src": "'self'",
        "object-src": "'none'",
        "base-uri": "'none'",
        "form-action": "'self'",
        "frame-ancestors": "'none'",
    }
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["X-Frame-Options"] == "DENY"
    assert headers["Referrer-Policy"] == "same-origin"
    assert headers["Cross-Origin-Opener-Policy"] == "same-origin"
    assert headers["Cross-Origin-Resource-Policy"] == "same-origin"
    assert "microphone=()" in headers["Permissions-Policy"]


def test_refuses_in_a_page_and_in_json(client: Client) -> None:
    page, call = client.get("/deny"), client.get("/api/deny")
    assert (page.status_code, call.status_code) == (409, 409)
    assert "The frame is on hold. Decide its report first." in page.content.decode()
    assert call.json()["code"] == "held"
    assert call.json()["request_id"] == call["X-Request-ID"]


def test_logs_the_code_and_nothing_that_was_typed(client: Client, caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.INFO):
        client.get("/deny")
    assert "held" in caplog.text
    assert "4711" not in caplog.text


def test_owns_up_to_its_own_mistakes_without_telling_them(client: Client) -> None:
    for answer in (client.get("/crash"), client.get("/api/crash")):
        assert answer.status_code == 500
        assert "a mistake of ours" not in answer.content.decode()
        assert "server_error" in answer.content.decode()


def test_refuses_a_form_with_fifty_megabytes(client: Client) -> None:
    upload = io.BytesIO(b"x" * (50 * MEBIBYTE))
    upload.name = "plan.csv"
    answer = client.post("/size", {"file": upload})
    assert answer.status_code == 413
    assert "upload_too_large" in answer.content.decode()
    assert "20 MB" in answer.content.decode()


def test_refuses_a_large_body_of_a_program(client: Client) -> None:
    answer = client.post("/size", data=b"[" + b" " * (6 * MEBIBYTE) + b"]", content_type="application/json")
    assert (answer.status_code, answer.json()["code"]) == (413, "upload_too_large")


def test_takes_what_is_within_the_limits(client: Client) -> None:
    assert client.post("/size", data=b"[]", content_type="application/json").content == b"2"
    upload = io.BytesIO(b"x" * (6 * MEBIBYTE))
    upload.name = "photo.jpg"
    assert client.post("/size", {"file": upload}).content == b"1"


def test_takes_all_that_is_sent_before_it_refuses() -> None:
    """Else the connection is reset while the browser is still sending, and nobody reads the refusal."""
    request = RequestFactory().post("/size", data=b" " * (6 * MEBIBYTE), content_type="application/json")
    UploadLimitMiddleware(speak)(request)
    assert request.read() == b""


@pytest.mark.django_db
def test_renews_a_session_once_a_day(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    begin = timezone.now()
    after = {hours: begin + timedelta(hours=hours) for hours in (0, 23, 25)}
    renewed = {}
    for hours, now in after.items():
        monkeypatch.setattr("django.utils.timezone.now", lambda now=now: now)
        answer = client.get("/remember")
        renewed[hours] = (
            client.session["renewed_at"] - int(begin.timestamp()),
            "sessionid" in answer.cookies,
        )
    assert renewed == {0: (0, True), 23: (0, False), 25: (25 * 3600, True)}


@pytest.mark.django_db
def test_makes_no_session_for_a_stranger(client: Client) -> None:
    assert "sessionid" not in client.get("/look").cookies
    assert OpenSession.objects.count() == 0


@pytest.mark.parametrize(
    ("hops", "forwarded", "address"),
    [
        (0, "9.9.9.9", "127.0.0.1"),
        (1, "9.9.9.9, 10.0.0.7", "10.0.0.7"),
        (2, "9.9.9.9, 10.0.0.7, 10.0.0.1", "10.0.0.7"),
        (2, "10.0.0.7", "127.0.0.1"),
        (1, "", "127.0.0.1"),
    ],
)
def test_believes_only_its_own_proxies(settings: Any, hops: int, forwarded: str, address: str) -> None:
    settings.QCAPP_TRUSTED_PROXIES = hops
    assert client_address(RequestFactory().get("/", headers={"X-Forwarded-For": forwarded})) == address


def test_refuses_the_api_over_plain_http_and_sends_pages_on(client: Client, settings: Any) -> None:
    settings.SECURE_SSL_REDIRECT = True
    client = Client(raise_request_exception=False)  # the middlewares read it at their start
    call = client.post("/api/deny", data=b'{"pin": "271845"}', content_type="application/json")
    assert (call.status_code, call.json()["code"]) == (403, "https_needed")
    page = client.get("/speak")
    assert (page.status_code, page["Location"]) == (301, "https://testserver/speak")
    assert client.get("/api/deny", secure=True).json()["code"] == "held"
