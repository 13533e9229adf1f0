"""Proof of identity: what it takes, how often it may be tried, what is written down."""

from __future__ import annotations

import logging
from datetime import datetime, timedelta
from threading import Barrier, Thread

import pytest
from django.contrib.auth.hashers import MD5PasswordHasher
from django.db import connection, transaction
from pytest_django import Settings

from qcapp.audit.queries import entries_about, head
from qcapp.core.errors import NotAllowed, QcError, Refused, Throttled
from qcapp.people import services
from qcapp.people.models import Attempts, Person
from qcapp.people.pins import PinHasher
from qcapp.people.services import Proof, demonstration_proof, identify, prove_identity
from tests.cast import FIXED_NOW, PASSWORD, PIN, Cast

BENCH = "192.0.2.10"
WRONG = "wrong guess of a password"


def refusal(badge: str, at: datetime = FIXED_NOW, secret: str = WRONG, address: str = BENCH) -> QcError:
    with pytest.raises((NotAllowed, Throttled)) as caught:
        identify(badge=badge, secret=secret, at=at, address=address)
    return caught.value


def signed(person: Person, secret: str, at: datetime = FIXED_NOW, address: str = BENCH) -> Proof:
    return prove_identity(person=person, secret=secret, method="pin", at=at, address=address)


def test_knows_a_person_by_badge_and_password(cast: Cast) -> None:
    proof = identify(badge=cast.inspector.badge, secret=PASSWORD, at=FIXED_NOW, address=BENCH)
    assert proof == Proof(cast.inspector, "password", FIXED_NOW)
    assert not Attempts.objects.filter(failures__gt=0).exists()
    assert head().number == 0


def test_takes_the_badge_in_any_case(cast: Cast) -> None:
    Person.objects.filter(pk=cast.welder.pk).update(badge="W-11A")
    assert identify(badge="w-11a", secret=PASSWORD, at=FIXED_NOW, address=BENCH).person == cast.welder


def test_knows_a_person_by_pin(cast: Cast) -> None:
    assert signed(cast.inspector, PIN) == Proof(cast.inspector, "pin", FIXED_NOW)


def test_refuses_a_wrong_secret_and_writes_it_down(cast: Cast) -> None:
    assert refusal(cast.inspector.badge).code == "identity_not_proven"
    (entry,) = entries_about("person 1001")
    assert (entry.verb, entry.actor) == ("sign_in.refused", "")
    assert entry.payload == {"address": BENCH, "method": "password"}


def test_refuses_a_wrong_pin_and_writes_it_down(cast: Cast) -> None:
    with pytest.raises(NotAllowed) as caught:
        signed(cast.inspector, "135792")
    assert caught.value.code == "identity_not_proven"
    assert [entry.verb for entry in entries_about("person 1001")] == ["signature.refused"]


def test_says_and_does_the_same_for_an_unknown_badge(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    hashed: list[str] = []
    encode = MD5PasswordHasher.encode
    cast.inspector.get_username()

    def counted(hasher: MD5PasswordHasher, password: str, salt: str) -> str:
        hashed.append(password)
        return encode(hasher, password, salt)

    monkeypatch.setattr(MD5PasswordHasher, "encode", counted)
    known, after_known = refusal("1001"), len(hashed)
    unknown = refusal("9999")
    assert (known.code, known.message) == (unknown.code, unknown.message)
    assert len(hashed) == 2 * after_known == 2
    assert head().number == 2


def test_hashes_a_pin_for_somebody_who_has_none(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    Person.objects.update(pin="")
    cast.inspector.pin = ""
    hashed: list[str] = []
    encode = PinHasher.encode

    def counted(hasher: PinHasher, password: str, salt: str) -> str:
        hashed.append(password)
        return encode(hasher, password, salt)

    monkeypatch.setattr(PinHasher, "encode", counted)
    with pytest.raises(NotAllowed):
        signed(cast.inspector, PIN)
    assert len(hashed) == 1


@pytest.mark.parametrize("badge", ["", " ", "9" * 21, "9" * 5000, "a\0b", "';--", "١٠٠١"])
def test_refuses_badges_that_nobody_can_have(cast: Cast, badge: str) -> None:
    assert refusal(badge).code == "identity_not_proven"


@pytest.mark.parametrize("secret", ["", "x" * 5000, "a\0b", PASSWORD + " "])
def test_refuses_secrets_that_nobody_has(cast: Cast, secret: str) -> None:
    assert refusal(cast.inspector.badge, secret=secret).code == "identity_not_proven"


@pytest.mark.parametrize("badge", ["1001", "9999"])
def test_makes_everybody_wait_longer_and_longer(cast: Cast, badge: str) -> None:
    cast.inspector.get_username()
    at = FIXED_NOW
    for _ in range(5):
        assert refusal(badge, at).code == "identity_not_proven"
    for seconds in (30, 60, 120, 300, 900, 900):
        waiting = refusal(badge, at)
        assert isinstance(waiting, Throttled)
        assert waiting.code == "too_many_attempts"
        assert waiting.retry_at == at + timedelta(seconds=seconds)
        assert refusal(badge, waiting.retry_at - timedelta(seconds=1)).code == "too_many_attempts"
        at = waiting.retry_at
        assert refusal(badge, at).code == "identity_not_proven"


def test_says_when_to_try_again_in_the_workshops_time(cast: Cast) -> None:
    for _ in range(5):
        refusal("1001")
    assert "10:30:30" in refusal("1001").message  # 09:30:30 UTC, winter time in the workshop's zone


def test_does_not_look_at_the_right_secret_while_waiting(cast: Cast) -> None:
    badge = cast.inspector.badge
    for _ in range(5):
        refusal(badge)
    entries = head().number
    assert refusal(badge, secret=PASSWORD).code == "too_many_attempts"
    assert head().number == entries
    later = FIXED_NOW + timedelta(seconds=30)
    assert identify(badge=badge, secret=PASSWORD, at=later, address=BENCH).person == cast.inspector


def test_counts_anew_once_a_person_has_proved_who_they_are(cast: Cast) -> None:
    for _ in range(4):
        refusal(cast.inspector.badge)
    identify(badge=cast.inspector.badge, secret=PASSWORD, at=FIXED_NOW, address=BENCH)
    for _ in range(5):
        assert refusal(cast.inspector.badge).code == "identity_not_proven"


def test_counts_pins_and_passwords_together(cast: Cast) -> None:
    for _ in range(5):
        refusal(cast.inspector.badge)
    with pytest.raises(Throttled):
        signed(cast.inspector, PIN)


def test_counts_an_address_over_all_badges(cast: Cast) -> None:
    for number in range(20):
        assert refusal(f"9{number:03}").code == "identity_not_proven"
    assert refusal(cast.inspector.badge, secret=PASSWORD).code == "too_many_attempts"
    elsewhere = identify(badge=cast.inspector.badge, secret=PASSWORD, at=FIXED_NOW, address="192.0.2.11")
    assert elsewhere.person == cast.inspector


def test_lets_a_shift_sign_at_one_tablet(cast: Cast) -> None:
    for number in range(20):
        refusal(f"9{number:03}")
    after = FIXED_NOW + timedelta(seconds=30)
    for person in (cast.inspector, cast.welder, cast.assembler):
        assert signed(person, PIN, at=after).person == person


def test_does_not_let_an_own_account_clear_the_count_of_an_address(cast: Cast) -> None:
    for number in range(19):
        refusal(f"9{number:03}")
        signed(cast.inspector, PIN)
    refusal("9900")
    assert refusal("9901").code == "too_many_attempts"


def test_counts_although_the_callers_work_fails(cast: Cast) -> None:
    def attempt() -> None:
        try:
            signed(cast.inspector, "135792")
        finally:
            with transaction.atomic():
                raise ZeroDivisionError

    for _ in range(5):
        with pytest.raises(ZeroDivisionError):
            attempt()
    with pytest.raises(Throttled):
        signed(cast.inspector, PIN)


@pytest.mark.django_db(transaction=True)
def test_refuses_to_run_inside_the_transaction_of_an_act() -> None:
    """Its counts would be rolled back with the act; the views prove first."""
    person = Cast().inspector
    with pytest.raises(RuntimeError), transaction.atomic():
        signed(person, PIN)
    assert not Attempts.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_counts_attempts_side_by_side() -> None:
    person = Cast().inspector
    start = Barrier(4)
    outcomes: list[str] = []

    def guess() -> None:
        try:
            start.wait(timeout=10)
            for _ in range(3):
                try:
                    identify(badge=person.badge, secret=WRONG, at=FIXED_NOW, address=BENCH)
                except QcError as error:
                    outcomes.append(error.code)
        finally:
            connection.close()

    threads = [Thread(target=guess) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=30)
    assert sorted(outcomes) == ["identity_not_proven"] * 5 + ["too_many_attempts"] * 7
    assert head().number == 5


def test_keeps_no_badge_that_may_be_a_mistyped_password(cast: Cast) -> None:
    refusal("quarter inch drift 7"[:20])
    assert not Attempts.objects.filter(key__contains="quarter").exists()
    assert [entry.subject for entry in entries_about("person unknown")] == ["person unknown"]


def test_refuses_whoever_left_or_has_not_begun(cast: Cast) -> None:
    services.mark_left(by=cast.keeper, person=cast.inspector, at=FIXED_NOW)
    assert refusal(cast.inspector.badge, secret=PASSWORD).code == "identity_not_proven"
    Person.objects.filter(pk=cast.welder.pk).update(joined_on="2026-03-18")
    assert refusal(cast.welder.badge, secret=PASSWORD).code == "identity_not_proven"
    tomorrow = FIXED_NOW + timedelta(days=1)
    identify(badge=cast.welder.badge, secret=PASSWORD, at=tomorrow, address=BENCH)


def test_refuses_a_pin_that_the_keeper_set(cast: Cast) -> None:
    services.set_pin(by=cast.keeper, person=cast.inspector, pin="927415", at=FIXED_NOW)
    with pytest.raises(Refused) as caught:
        signed(cast.inspector, "927415")
    assert caught.value.code == "pin_is_temporary"
    services.set_pin(by=cast.inspector, person=cast.inspector, pin="513846", at=FIXED_NOW)
    assert signed(cast.inspector, "513846").method == "pin"


def test_writes_no_secret_into_log_or_audit(cast: Cast, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.DEBUG)
    person = cast.inspector
    services.set_pin(by=person, person=person, pin="513846", at=FIXED_NOW)
    services.set_password(by=person, person=person, password="seven loose hinges", at=FIXED_NOW)
    signed(person, "513846")
    with pytest.raises(NotAllowed) as caught:
        signed(person, "927415")
    written = caplog.text + repr(entries_about("person 1001")) + repr(caught.value.__dict__) + repr(person)
    for secret in ("513846", "927415", "seven loose hinges", person.pin, person.password, "argon2"):
        assert secret not in written


def test_signs_without_a_secret_in_the_demonstration_alone(cast: Cast, settings: Settings) -> None:
    assert demonstration_proof(cast.inspector, FIXED_NOW).method == "demonstration"
    settings.QCAPP_TESTING = False
    settings.QCAPP_DEMO = False
    with pytest.raises(NotAllowed) as caught:
        demonstration_proof(cast.inspector, FIXED_NOW)
    assert caught.value.code == "demonstration_only"
    settings.QCAPP_DEMO = True
    assert demonstration_proof(cast.inspector, FIXED_NOW).person == cast.inspector
