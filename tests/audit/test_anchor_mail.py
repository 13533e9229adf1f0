"""Anchors leave the house by e-mail, once a day; the saved message shows later what was done to the chain."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.core import mail
from django.core.management import CommandError, call_command
from pytest_django import Settings

from qcapp.audit import anchors
from qcapp.audit.anchor_mail import mail_newest
from qcapp.audit.queries import check_chain
from qcapp.audit.services import anchor
from qcapp.core.errors import Invalid, Refused
from tests.cast import FIXED_NOW

from .test_anchors import cut, lines, rewritten

pytestmark = pytest.mark.django_db
Count = Callable[[int], list[int]]


@pytest.fixture(autouse=True)
def _mailbox(settings: Settings) -> Iterator[None]:
    settings.QCAPP_ANCHOR_MAIL, settings.QCAPP_SENDS_MAIL = ["notary@example.com"], True
    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
    mail.outbox.clear()
    yield
    mail.outbox.clear()


def anchored(write_acts: Count, count: int = 1) -> None:
    write_acts(count)
    assert anchor(at=FIXED_NOW)


def saved(folder: Path) -> Path:
    """The last message as a mail program saves it."""
    file = folder / "kept elsewhere.eml"
    file.write_bytes(mail.outbox[-1].message().as_bytes())
    return file


def test_sends_the_newest_line_with_words_and_no_name_of_anybody(write_acts: Count) -> None:
    anchored(write_acts, 2)
    assert "mailed to notary@example.com" in mail_newest(at=FIXED_NOW)
    (message,) = mail.outbox
    assert message.to == ["notary@example.com"]
    assert message.subject == "Anchor of the audit chain, entry 2"
    assert lines()[-1] in message.body.splitlines()
    assert "FR-200" not in message.body


def test_sends_one_a_day_and_none_twice(write_acts: Count) -> None:
    anchored(write_acts)
    mail_newest(at=FIXED_NOW)
    assert mail_newest(at=FIXED_NOW + timedelta(days=3)) == "No new anchor to mail."
    anchored(write_acts)
    assert "today already" in mail_newest(at=FIXED_NOW + timedelta(hours=1))
    assert "mailed to" in mail_newest(at=FIXED_NOW + timedelta(hours=24))
    assert len(mail.outbox) == 2


def test_sends_nothing_without_an_address_or_an_anchor(write_acts: Count, settings: Settings) -> None:
    assert mail_newest(at=FIXED_NOW) == "No new anchor to mail."
    anchored(write_acts)
    settings.QCAPP_ANCHOR_MAIL = []
    assert "none is mailed" in mail_newest(at=FIXED_NOW)
    assert mail.outbox == []


def test_says_when_no_server_is_named(write_acts: Count, settings: Settings) -> None:
    anchored(write_acts)
    settings.QCAPP_SENDS_MAIL = False
    with pytest.raises(Refused) as caught:
        mail_newest(at=FIXED_NOW)
    assert caught.value.code == "mail_not_set_up"


def test_fails_for_the_timer_to_see_and_tries_again_the_next_hour(
    write_acts: Count, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    write_acts(1)

    def down(*message: Any, **options: Any) -> None:
        raise ConnectionRefusedError("the mail server is down")

    with monkeypatch.context() as patch:
        patch.setattr("django.core.mail.EmailMessage.send", down)
        with pytest.raises(CommandError, match="the mail server is down"):
            call_command("anchor_audit", "--mail")
    assert len(lines()) == 1  # the file has it all the same
    call_command("anchor_audit", "--mail")
    assert "mailed to notary@example.com" in capsys.readouterr().out


@pytest.mark.parametrize(("how", "word"), [("cut", "cut off"), ("rewritten", "rewritten")])
def test_shows_what_was_done_to_a_chain_whose_own_anchors_are_gone(
    write_acts: Count, tmp_path: Path, how: str, word: str
) -> None:
    anchored(write_acts, 3)
    mail_newest(at=FIXED_NOW)
    message = saved(tmp_path)
    assert check_chain(message).holds
    anchors.anchor_file().unlink()
    cut(3) if how == "cut" else rewritten()
    assert check_chain().holds
    report = check_chain(message)
    assert word in report.anchor_problem
    assert not report.holds


def test_is_compared_by_the_command(write_acts: Count, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    anchored(write_acts, 3)
    mail_newest(at=FIXED_NOW)
    message = saved(tmp_path)
    call_command("verify_audit", "--anchors", str(message))
    assert "3 entries and 2 anchors checked" in capsys.readouterr().out
    cut(3)
    with pytest.raises(CommandError, match="does not hold"):
        call_command("verify_audit", "--anchors", str(message))


def test_refuses_a_message_that_was_altered_or_holds_none(write_acts: Count, tmp_path: Path) -> None:
    anchored(write_acts, 3)
    mail_newest(at=FIXED_NOW)
    message = saved(tmp_path)
    message.write_text(message.read_text().replace('"number":3', '"number":2'))
    assert "does not carry our seal" in check_chain(message).anchor_problem
    message.write_text("Nothing of ours.\n")
    with pytest.raises(Invalid) as caught:
        check_chain(message)
    assert caught.value.code == "no_anchor_there"
    with pytest.raises(CommandError, match="There is no anchor in"):
        call_command("verify_audit", "--anchors", str(message))
