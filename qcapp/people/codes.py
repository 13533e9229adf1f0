"""Codes of a second factor: what an authenticator shows (RFC 6238 over RFC 4226), and codes on paper for its loss.

Thirty seconds a code, six digits, SHA-1, which is what every authenticator understands; one step before and after
is taken too, for clocks that differ. A code on paper has 120 random bits, so a keyed digest keeps it.
"""

from __future__ import annotations

import base64
import hmac
import secrets
from datetime import datetime
from hashlib import sha256

import pyotp
from cryptography.fernet import Fernet, InvalidToken
from django.conf import settings

from qcapp.core.errors import Refused
from qcapp.core.sealing import keyed

DIGITS, SECONDS = 6, 30
STEPS_AWAY = (0, -1, 1)
PAPER_CODES, PAPER_LENGTH, GROUP = 8, 24, 4
LETTERS, TEMPORARY_LENGTH = "abcdefghjkmnpqrstuvwxyz", 20  # none that looks like another: 90 random bits


def new_secret() -> str:
    """160 random bits in base32, as RFC 4226 recommends."""
    return pyotp.random_base32()


def address_for(secret: str, badge: str, site: str) -> str:
    """The `otpauth:` address that an authenticator reads from a QR code."""
    return pyotp.TOTP(secret, digits=DIGITS, interval=SECONDS).provisioning_uri(name=badge, issuer_name=site)


def step_of(secret: str, code: str, at: datetime, after: int) -> int | None:
    """The step of time whose code this is, if it is later than `after`; None when the code fits none of them."""
    totp = pyotp.TOTP(secret, digits=DIGITS, interval=SECONDS)
    now = totp.timecode(at)
    digits = "".join(code.split())
    fitting = [now + away for away in STEPS_AWAY if hmac.compare_digest(totp.generate_otp(now + away), digits)]
    return next((step for step in fitting if step > after), None)


def new_paper_codes() -> list[str]:
    """Codes to print or write down, in groups of four."""
    return [_grouped(pyotp.random_base32(32)[:PAPER_LENGTH]) for _ in range(PAPER_CODES)]


def new_temporary_password() -> str:
    """A random password to read out or write down, in groups of four letters."""
    return _grouped("".join(secrets.choice(LETTERS) for _ in range(TEMPORARY_LENGTH)))


def looks_like_paper(code: str) -> bool:
    """Whether a code was meant to be one from paper."""
    return len(_plain(code)) > DIGITS + 2


def paper_digest(code: str) -> str:
    """What is kept of a code from paper."""
    return keyed(f"recovery {_plain(code)}", settings.QCAPP_PIN_PEPPER)


def seal(secret: str) -> str:
    """The secret as the database keeps it."""
    return _box().encrypt(secret.encode("ascii")).decode("ascii")


def unseal(sealed: str) -> str:
    """The secret behind it. Raises Refused (`second_factor_unreadable`) when the pepper is another one."""
    try:
        return _box().decrypt(sealed.encode("ascii")).decode("ascii")
    except InvalidToken:
        message = "The second factor belongs to another key of the site. Ask the keeper to end it, then begin anew."
        raise Refused("second_factor_unreadable", message) from None


def _box() -> Fernet:
    key = sha256(b"qcapp second factor 1" + settings.QCAPP_PIN_PEPPER).digest()
    return Fernet(base64.urlsafe_b64encode(key))


def _grouped(text: str) -> str:
    return "-".join(text[start : start + GROUP] for start in range(0, len(text), GROUP))


def _plain(code: str) -> str:
    return "".join(character for character in code.upper() if character.isalnum())
