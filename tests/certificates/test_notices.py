"""The outbox and the webhook: kept, signed, sent until it arrives, and never into a private network."""

from __future__ import annotations

import hashlib
import hmac
import json
import threading
from collections.abc import Iterator
from datetime import datetime, timedelta
from http.server import BaseHTTPRequestHandler, HTTPServer
from typing import Any

import pytest

from qcapp.certificates.models import Notice, NoticeTry
from qcapp.certificates.services import notices
from qcapp.certificates.services.notices import send_due, wait_after
from qcapp.core.errors import Refused
from qcapp.lib import webhooks
from qcapp.lib.webhooks import place_of, signature_of

from ..factories.certificates import ISSUED_AT, certified, release_unit
from ..factories.inspections import Workshop
from .test_issuing import take_issue_back


class Receiver(HTTPServer):
    """Another system on this machine; answers with the statuses it is told to, then 204."""

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), Handler)
        self.heard: list[tuple[dict[str, str], str]] = []
        self.statuses: list[int] = []


class Handler(BaseHTTPRequestHandler):
    def do_POST(self) -> None:
        server: Any = self.server
        body = self.rfile.read(int(self.headers["Content-Length"])).decode()
        server.heard.append((dict(self.headers), body))
        self.send_response(server.statuses.pop(0) if server.statuses else 204)
        self.send_header("Location", "http://127.0.0.1:1/elsewhere")
        self.end_headers()

    def log_message(self, *args: Any) -> None:
        """Quiet."""


@pytest.fixture
def receiver(settings: Any) -> Iterator[Receiver]:
    server = Receiver()
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01}, daemon=True)
    thread.start()
    settings.QCAPP_WEBHOOK_URL = f"http://127.0.0.1:{server.server_port}/hook?x=1"
    settings.QCAPP_WEBHOOK_PRIVATE = True
    settings.QCAPP_WEBHOOK_SECRET = b"a secret of the two systems alone"
    yield server
    server.shutdown()
    thread.join()
    server.server_close()


@pytest.fixture
def at(monkeypatch: pytest.MonkeyPatch) -> list[datetime]:
    """The clock, to be set."""
    clock = [ISSUED_AT]
    monkeypatch.setattr("django.utils.timezone.now", lambda: clock[0])
    return clock


@pytest.mark.django_db
def test_tells_of_issue_replacement_and_withdrawal_signed(
    ready: Workshop, receiver: Receiver, at: list[datetime]
) -> None:
    release_unit(ready)
    first = certified(ready)
    certified(ready, change_note="Order number corrected.")
    take_issue_back(ready, first)
    assert send_due() == 4
    assert send_due() == 0
    told = [json.loads(body) for _, body in receiver.heard]
    assert [(one["event"], one["issue"]) for one in told] == [
        ("certificate.issued", 1),
        ("certificate.issued", 2),
        ("certificate.replaced", 1),
        ("certificate.withdrawn", 1),
    ]
    headers, body = receiver.heard[0]
    moment, sealed = (part.split("=")[1] for part in headers["Qcapp-Signature"].split(","))
    expected = hmac.digest(b"a secret of the two systems alone", f"{moment}.{body}".encode(), hashlib.sha256)
    assert sealed == expected.hex()
    assert len({headers["Qcapp-Notice"] for headers, _ in receiver.heard}) == 4


@pytest.mark.django_db
def test_tries_again_later_and_keeps_every_try(ready: Workshop, receiver: Receiver, at: list[datetime]) -> None:
    certified(release_unit(ready))
    receiver.statuses = [500, 302]
    assert send_due() == 0
    assert send_due() == 0  # not due yet
    at[0] += timedelta(minutes=1)
    assert send_due() == 0  # a redirect is not followed
    at[0] += timedelta(minutes=5)
    assert send_due() == 1
    tries = NoticeTry.objects.order_by("number").values_list("number", "delivered", "answer")
    assert list(tries) == [(1, False, "status 500"), (2, False, "status 302"), (3, True, "status 204")]
    assert len({headers["Qcapp-Notice"] for headers, _ in receiver.heard}) == 1


@pytest.mark.django_db
def test_keeps_a_notice_when_nobody_answers(
    ready: Workshop, receiver: Receiver, at: list[datetime], monkeypatch: pytest.MonkeyPatch
) -> None:
    def silent(*args: Any) -> int:
        raise TimeoutError

    certified(release_unit(ready))
    monkeypatch.setattr(notices, "post", silent)
    assert send_due() == 0
    assert NoticeTry.objects.get().answer == "no answer: TimeoutError"
    assert Notice.objects.count() == 1
    for number in range(2, notices.MOST_TRIES + 5):
        at[0] += wait_after(number)
        send_due()
    assert NoticeTry.objects.count() == notices.MOST_TRIES


@pytest.mark.django_db
def test_writes_no_notice_where_no_address_is_named(ready: Workshop) -> None:
    certified(release_unit(ready))
    assert not Notice.objects.exists()


ADDRESSES = {
    "127.0.0.1": "127.0.0.1",
    "localhost": "127.0.0.1",
    "ten.example": "10.1.2.3",
    "house.example": "192.168.0.4",
    "cloud.example": "169.254.169.254",
    "shared.example": "100.64.0.1",
    "six.example": "::1",
    "mapped.example": "::ffff:10.0.0.1",
    "unique.example": "fd00::1",
    "zero.example": "0.0.0.0",  # noqa: S104 - an address to be refused
}


@pytest.mark.parametrize("host", ADDRESSES)
def test_goes_into_no_private_network(monkeypatch: pytest.MonkeyPatch, host: str) -> None:
    monkeypatch.setattr(webhooks.socket, "getaddrinfo", lambda *a, **k: [(0, 0, 0, "", (ADDRESSES[host], 443))])
    with pytest.raises(Refused) as caught:
        place_of(f"https://{host}/hook", private=False)
    assert caught.value.code == "webhook_address"


def test_goes_nowhere_when_one_of_several_addresses_is_private(monkeypatch: pytest.MonkeyPatch) -> None:
    both = [(0, 0, 0, "", ("93.184.216.34", 443)), (0, 0, 0, "", ("10.0.0.1", 443))]
    monkeypatch.setattr(webhooks.socket, "getaddrinfo", lambda *a, **k: both)
    with pytest.raises(Refused):
        place_of("https://two.example/", private=False)
    monkeypatch.setattr(webhooks.socket, "getaddrinfo", lambda *a, **k: both[:1])
    assert place_of("https://two.example/a?b=c", private=False).address == "93.184.216.34"


@pytest.mark.parametrize("url", ["http://public.example/", "ftp://x.example/", "https://user@x.example/", "https:///x"])
def test_goes_only_to_a_plain_https_address(url: str) -> None:
    with pytest.raises(Refused):
        place_of(url, private=False)


def test_signs_time_and_body() -> None:
    """Source: `printf '%s' '1773765000.{}' | openssl dgst -sha256 -hmac key`."""
    sealed = "5e2bc78dfe67adedd39c57c2807c5a5da4891e95ba137e9bcbcc200c6c23b367"
    assert signature_of("{}", b"key", ISSUED_AT) == f"t=1773765000,v1={sealed}"
