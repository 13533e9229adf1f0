"""Which PINs are taken, and how they are kept."""

from __future__ import annotations

import hashlib
import hmac
from uuid import UUID

import argon2
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pytest_django import Settings

from qcapp.core.errors import Invalid
from qcapp.people.pins import check_pin, hash_pin, pin_fits

SOMEBODY = UUID("0190a5c4-0000-7000-8000-000000000001")
SOMEBODY_ELSE = UUID("0190a5c4-0000-7000-8000-000000000002")


@pytest.mark.parametrize("pin", ["", "48059", "4805921", "48059a", " 48059", "４８０５９２", "48.592", "-48059"])
def test_refuses_anything_but_six_digits(pin: str) -> None:
    with pytest.raises(Invalid) as caught:
        check_pin(pin, "1001")
    assert caught.value.code == "pin_malformed"


@pytest.mark.parametrize(
    "pin", ["000000", "777777", "121212", "123123", "123456", "012345", "654321", "890123", "210987"]
)
def test_refuses_repeats_and_runs(pin: str) -> None:
    with pytest.raises(Invalid) as caught:
        check_pin(pin, "1001")
    assert caught.value.code == "pin_too_simple"


@pytest.mark.parametrize(
    ("pin", "badge"),
    [("274951", "274951"), ("274951", "W-274951"), ("827495", "2749"), ("274951", "X7274951")],
)
def test_refuses_the_badge(pin: str, badge: str) -> None:
    with pytest.raises(Invalid) as caught:
        check_pin(pin, badge)
    assert caught.value.code == "pin_too_simple"


@pytest.mark.parametrize(("pin", "badge"), [("480592", "1001"), ("112358", "W11"), ("135792", ""), ("111112", "9")])
def test_takes_other_pins(pin: str, badge: str) -> None:
    check_pin(pin, badge)


@given(st.integers(0, 999_999))
def test_refuses_nothing_but_repeats_runs_and_the_badge(number: int) -> None:
    pin = f"{number:06}"
    steps = {(int(pin[i + 1]) - int(pin[i])) % 10 for i in range(5)}
    simple = pin[:3] == pin[3:] or pin[:2] * 3 == pin or steps in ({1}, {9})
    try:
        check_pin(pin, "1001")
    except Invalid:
        assert simple or "1001" in pin
    else:
        assert not simple


def test_is_kept_as_argon2id_over_a_keyed_digest(settings: Settings) -> None:
    """Checked with argon2-cffi (RFC 9106) and the standard library's HMAC (RFC 2104).

    19 MiB, two passes, one lane: a setting that the OWASP Password Storage Cheat Sheet lists
    for argon2id (from memory).
    """
    stored = hash_pin("480592", SOMEBODY)
    assert stored.startswith("argon2pin$argon2id$v=19$m=19456,t=2,p=1$")
    keyed = hmac.new(settings.QCAPP_PIN_PEPPER, f"{SOMEBODY}:480592".encode(), hashlib.sha256).hexdigest()
    assert argon2.PasswordHasher().verify(stored.removeprefix("argon2pin"), keyed)


def test_fits_only_its_own_person_and_pepper(settings: Settings) -> None:
    stored = hash_pin("480592", SOMEBODY)
    assert pin_fits("480592", SOMEBODY, stored)
    assert not pin_fits("480593", SOMEBODY, stored)
    assert not pin_fits("480592", SOMEBODY_ELSE, stored)
    assert not pin_fits("480592", SOMEBODY, "")
    settings.QCAPP_PIN_PEPPER = b"another pepper of thirty-two bytes"
    assert not pin_fits("480592", SOMEBODY, stored)


def test_is_never_stored_the_same_twice() -> None:
    assert hash_pin("480592", SOMEBODY) != hash_pin("480592", SOMEBODY)
