"""What the mail server does not take is kept, shown to the keeper and tried again, each time later."""

from __future__ import annotations

from datetime import timedelta
from smtplib import SMTPServerDisconnected
from typing import Any

import pytest
from django.core import mail
from django.core.mail.backends.locmem import EmailBackend
from django.core.management import call_command

from qcapp.messages.models import Message
from qcapp.messages.queries import mail_counts, undelivered
from qcapp.messages.services import choose_mail
from qcapp.messages.services.delivering import WAITS, deliver_due, try_again, wait_after
from qcapp.people.models import Person
from qcapp.people.services import mark_left

from ..cast import FIXED_NOW, Cast
from ..unchanged import refused

pytestmark = pytest.mark.django_db


@pytest.fixture
def owed(cast: Cast, told: Any) -> Message:
    """An e-mail that is owed to the engineer."""
    Person.objects.filter(pk=cast.engineer.pk).update(email="engineer@example.com")
    choose_mail(by=cast.engineer, kinds=["reminder"], at=FIXED_NOW)
    told(cast.engineer)
    return Message.objects.get()


@pytest.fixture
def no_server(monkeypatch: pytest.MonkeyPatch) -> None:
    """A server that hangs up."""

    def hang_up(self: EmailBackend, messages: object) -> int:
        raise SMTPServerDisconnected("Connection unexpectedly closed")

    monkeypatch.setattr(EmailBackend, "send_messages", hang_up)


def test_sends_once_with_the_address_to_look_at(owed: Message) -> None:
    assert deliver_due(at=FIXED_NOW).sent == 1
    assert deliver_due(at=FIXED_NOW + timedelta(days=9)).sent == 0
    (sent,) = mail.outbox
    assert (sent.to, sent.subject) == (["engineer@example.com"], "Something waits")
    assert "http://testserver/nonconformances/" in sent.body
    assert sent.extra_headers["Message-ID"] == f"<qcapp-message-{owed.pk}@testserver>"
    owed.refresh_from_db()
    assert (owed.mail_sent_at, owed.mail_due) == (FIXED_NOW, None)


def test_keeps_what_the_server_does_not_take_and_waits_longer_each_time(owed: Message, no_server: None) -> None:
    at, tried = FIXED_NOW, []
    for attempt in range(1, 10):
        assert deliver_due(at=at).failed == 1
        (one,) = undelivered()
        assert (one.attempts, one.to_name) == (attempt, "Leopold Tarn")
        assert "SMTPServerDisconnected" in one.problem
        tried.append((one.next_at - at).total_seconds() / 60)
        assert deliver_due(at=one.next_at - timedelta(seconds=1)).failed == 0
        at = one.next_at
    assert tried == [*WAITS, WAITS[-1], WAITS[-1]]
    assert mail_counts() == {"waiting": 0, "undelivered": 1}


def test_sends_when_the_server_is_back(owed: Message, monkeypatch: pytest.MonkeyPatch) -> None:
    with monkeypatch.context() as patch:
        patch.setattr(EmailBackend, "send_messages", lambda self, messages: (_ for _ in ()).throw(OSError("refused")))
        assert deliver_due(at=FIXED_NOW).failed == 1
    assert deliver_due(at=FIXED_NOW + wait_after(1)).sent == 1
    assert undelivered() == []
    assert Message.objects.get().mail_problem == ""


def test_keeps_what_nobody_has_an_address_for(cast: Cast, owed: Message) -> None:
    Person.objects.filter(pk=cast.engineer.pk).update(email="")
    assert deliver_due(at=FIXED_NOW).failed == 1
    assert undelivered()[0].problem == "no e-mail address is known of this person"


def test_owes_nothing_to_somebody_who_left(cast: Cast, owed: Message) -> None:
    mark_left(by=cast.keeper, person=cast.engineer, at=FIXED_NOW)
    assert deliver_due(at=FIXED_NOW + timedelta(days=2)).dropped == 1
    assert mail.outbox == []


def test_is_tried_by_one_run_only_when_two_run_at_once(owed: Message, monkeypatch: pytest.MonkeyPatch) -> None:
    sent: list[Any] = []

    def while_another_runs(self: EmailBackend, messages: Any) -> int:
        sent.extend(messages)
        assert deliver_due(at=FIXED_NOW).sent == 0
        return len(messages)

    monkeypatch.setattr(EmailBackend, "send_messages", while_another_runs)
    assert deliver_due(at=FIXED_NOW).sent == 1
    assert len(sent) == 1


def test_lets_the_keeper_try_again_at_once(cast: Cast, owed: Message, no_server: None) -> None:
    deliver_due(at=FIXED_NOW)
    with refused("not_permitted", "shop_messages"):
        try_again(by=cast.welder, message_id=owed.pk, at=FIXED_NOW)
    try_again(by=cast.keeper, message_id=owed.pk, at=FIXED_NOW)
    assert deliver_due(at=FIXED_NOW).failed == 1
    with refused("mail_unknown", "shop_messages"):
        try_again(by=cast.keeper, message_id=owed.pk + 1, at=FIXED_NOW)


def test_breaks_no_line_in_a_subject(cast: Cast, told: Any, owed: Message) -> None:
    told(cast.engineer, "Two\r\nBcc: everybody@example.com")
    assert deliver_due(at=FIXED_NOW).sent == 2
    assert mail.outbox[1].subject == "Two Bcc: everybody@example.com"


def test_runs_as_a_command(owed: Message, settings: Any, capsys: pytest.CaptureFixture[str]) -> None:
    settings.QCAPP_SENDS_MAIL = False
    call_command("deliver_messages")
    assert "No mail server is named (QCAPP_MAIL_URL): 1 e-mails wait." in capsys.readouterr().out
    settings.QCAPP_SENDS_MAIL = True
    call_command("deliver_messages")
    assert "1 sent" in capsys.readouterr().out


def test_writes_to_each_in_the_language_that_they_chose(owed: Message, told: Any, cast: Cast, settings: Any) -> None:
    settings.QCAPP_DEMO = True
    Person.objects.filter(pk=cast.engineer.pk).update(language="de")
    Message.objects.update(subject="Release of FR-200-0147 was refused", text="The queue shows them, the oldest first.")
    assert deliver_due(at=FIXED_NOW).sent == 1
    (sent,) = mail.outbox
    assert sent.subject == "Die Freigabe von FR-200-0147 wurde abgewiesen"
    assert sent.body.startswith("Die Liste zeigt sie, die ältesten zuerst.")
    assert "Vorführung, erfunden." in sent.body
    row = Message.objects.get()
    assert row.subject == "Release of FR-200-0147 was refused"  # what is kept stays English


def test_writes_english_to_somebody_whose_language_the_office_does_not_speak(owed: Message, cast: Cast) -> None:
    Person.objects.filter(pk=cast.engineer.pk).update(language="es")
    Message.objects.update(subject="Release of FR-200-0147 was refused")
    deliver_due(at=FIXED_NOW)
    assert mail.outbox[0].subject == "Release of FR-200-0147 was refused"
