"""The pages of messages, as a browser meets them."""

from __future__ import annotations

from collections.abc import Callable
from smtplib import SMTPServerDisconnected
from typing import Any

import pytest
from django.core.mail.backends.locmem import EmailBackend
from django.test import Client

from qcapp.messages.models import Message
from qcapp.messages.queries import mail_kinds, unread_count
from qcapp.messages.services import choose_mail
from qcapp.messages.services.delivering import deliver_due
from qcapp.people.models import Person

from ..cast import FIXED_NOW, Cast

pytestmark = pytest.mark.django_db
Browser = Callable[[Person], Client]


@pytest.fixture(autouse=True)
def _in_march(monkeypatch: pytest.MonkeyPatch, fixed_now: Any) -> None:
    monkeypatch.setattr("django.utils.timezone.now", lambda: fixed_now)


def test_counts_unread_in_the_head_of_every_page(cast: Cast, told: Any, client_of: Browser) -> None:
    client = client_of(cast.engineer)
    assert "not read:" not in client.get("/gauges/").text
    told(cast.engineer)
    assert ", not read: </span>1</span>" in client.get("/gauges/").text


def test_opens_a_message_and_goes_where_it_leads(cast: Cast, told: Any, client_of: Browser) -> None:
    told(cast.engineer, "Sign <the> proposal")
    client = client_of(cast.engineer)
    assert "Sign &lt;the&gt; proposal" in client.get("/messages/").text
    answer = client.post(f"/messages/{Message.objects.get().pk}/open/")
    assert (answer.status_code, answer.headers["Location"]) == (302, "/nonconformances/")
    assert unread_count(cast.engineer) == 0
    assert "Nothing that you have not read." in client.get("/messages/?show=unread").text


@pytest.mark.parametrize("link", ["//elsewhere.example", "https://elsewhere.example/", "javascript:alert(1)"])
def test_leads_nowhere_outside_this_site(cast: Cast, told: Any, client_of: Browser, link: str) -> None:
    told(cast.engineer, link=link)
    answer = client_of(cast.engineer).post(f"/messages/{Message.objects.get().pk}/open/")
    assert answer.headers["Location"] == "/messages/"


def test_does_not_open_the_message_of_another(cast: Cast, told: Any, client_of: Browser) -> None:
    told(cast.engineer)
    assert client_of(cast.welder).post(f"/messages/{Message.objects.get().pk}/open/").status_code == 404
    assert unread_count(cast.engineer) == 1


def test_marks_everything_as_read(cast: Cast, told: Any, client_of: Browser) -> None:
    told(cast.engineer)
    client = client_of(cast.engineer)
    assert client.post("/messages/read/").status_code == 302
    assert "All read." in client.get("/messages/").text
    assert client.get("/messages/?before=nonsense").status_code == 400


def test_keeps_the_choice_of_mail(cast: Cast, client_of: Browser) -> None:
    client = client_of(cast.engineer)
    assert "No e-mail address of yours is known" in client.get("/messages/mail/").text
    assert client.post("/messages/mail/", {"kinds": ["reminder"]}).status_code == 302
    assert mail_kinds(cast.engineer) == {"reminder"}
    assert client.post("/messages/mail/", {"kinds": ["gossip"]}).status_code == 400


def test_shows_the_keeper_what_is_undelivered(
    cast: Cast, told: Any, client_of: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    def hang_up(self: EmailBackend, messages: object) -> int:
        raise SMTPServerDisconnected("Connection unexpectedly closed")

    monkeypatch.setattr(EmailBackend, "send_messages", hang_up)
    Person.objects.filter(pk=cast.engineer.pk).update(email="engineer@example.com")
    choose_mail(by=cast.engineer, kinds=["reminder"], at=FIXED_NOW)
    told(cast.engineer)
    keeper = client_of(cast.keeper)
    assert "Nothing is undelivered." in keeper.get("/messages/outbox/").text
    deliver_due(at=FIXED_NOW)
    page = keeper.get("/messages/outbox/").text
    assert "Connection unexpectedly closed" in page
    assert "e-mail not delivered yet" in client_of(cast.engineer).get("/messages/").text
    assert keeper.post(f"/messages/outbox/{Message.objects.get().pk}/again/").status_code == 302
    assert Message.objects.get().mail_due == FIXED_NOW
    assert client_of(cast.welder).get("/messages/outbox/").status_code == 403
