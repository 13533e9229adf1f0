"""Which PINs are refused, and how one is stored.

A PIN has only a million values, so a stolen table must be useless without the server's pepper: the PIN goes
through HMAC-SHA-256 (RFC 2104) with the pepper and the person's uuid, then through argon2id (RFC 9106) at 19
MiB, two passes, one lane. The uuid binds a hash to its row: copied to another person it proves nothing.
"""

from __future__ import annotations

from itertools import pairwise
from uuid import UUID

from django.conf import settings
from django.contrib.auth.hashers import Argon2PasswordHasher

from qcapp.core.errors import Invalid
from qcapp.core.sealing import keyed

LENGTH = 6
RUN_STEPS = (1, 9)  # upwards and downwards, round the corner from 9 to 0 too


class PinHasher(Argon2PasswordHasher):
    """argon2id at the lower of the usual settings: a PIN is typed at every sign-off, and the pepper carries
    the rest.
    """

    algorithm = "argon2pin"
    time_cost = 2
    memory_cost = 19 * 1024  # KiB
    parallelism = 1


def check_pin(pin: str, badge: str) -> None:
    """Raises Invalid (`pin_malformed`, `pin_too_simple`) for a PIN that is not six digits or is easily
    guessed.
    """
    if not (pin.isascii() and pin.isdigit() and len(pin) == LENGTH):
        raise Invalid("pin_malformed", f"A PIN has exactly {LENGTH} digits.")
    if _repeats(pin) or _runs(pin) or _is_badge(pin, badge):
        raise Invalid(
            "pin_too_simple",
            "This PIN is too easy to guess. Avoid repeated digits or groups, runs like 234567, your badge.",
        )


def hash_pin(pin: str, person_uuid: UUID) -> str:
    """The text to store for a checked PIN."""
    hasher = PinHasher()
    return hasher.encode(_peppered(pin, person_uuid), hasher.salt())


def pin_fits(pin: str, person_uuid: UUID, stored: str) -> bool:
    """Whether the PIN is the one behind the stored text. Takes as long when nothing is stored."""
    hasher = PinHasher()
    if not stored:
        hasher.encode(_peppered(pin, person_uuid), hasher.salt())
        return False
    return hasher.verify(_peppered(pin, person_uuid), stored)


def _peppered(pin: str, person_uuid: UUID) -> str:
    return keyed(f"{person_uuid}:{pin}", settings.QCAPP_PIN_PEPPER)


def _repeats(pin: str) -> bool:
    return any(pin[:size] * (LENGTH // size) == pin for size in (1, 2, 3))


def _runs(pin: str) -> bool:
    steps = {(int(b) - int(a)) % 10 for a, b in pairwise(pin)}
    return any(steps == {step} for step in RUN_STEPS)


def _is_badge(pin: str, badge: str) -> bool:
    digits = "".join(character for character in badge if character.isdigit())
    return len(digits) >= LENGTH - 2 and (digits in pin or pin in digits)
