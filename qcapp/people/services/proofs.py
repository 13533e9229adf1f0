"""Proof of who is at the keyboard: badge and password at the sign-in, PIN or password at a signature."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal
from uuid import UUID

from django.conf import settings
from django.contrib.auth.hashers import check_password
from django.db import transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import NotAllowed, Refused

from .. import pins, queries
from ..models import Person, Signature
from . import attempts

Method = Literal["pin", "password"]
LONGEST_SECRET = 256
NOBODY = UUID(int=0)  # whose PIN is checked when the badge is unknown, so that it takes as long


@dataclass(frozen=True)
class Proof:
    """That a person proved just now who they are. Signed acts take one; only this module makes them."""

    person: Person
    method: str
    at: datetime


def prove_identity(*, person: Person, secret: str, method: Method, at: datetime, address: str) -> Proof:
    """A proof that `person` is at the keyboard, for one signed act. Call it before the transaction of the
    act.

    Raises Throttled (`too_many_attempts`, with the time of the next try), NotAllowed
    (`identity_not_proven`), and Refused (`pin_is_temporary`). Counts and audits a failure in transactions of
    its own, so it raises RuntimeError inside one.
    """
    proof = _prove(person.badge, person, secret, method, at, address, Verb.SIGNATURE_REFUSED)
    if method == "pin" and person.pin_is_temporary:
        raise Refused("pin_is_temporary", "Somebody else set this PIN. Set your own under My account, then sign.")
    return proof


def identify(*, badge: str, secret: str, method: Method = "password", at: datetime, address: str) -> Proof:
    """A proof for whoever signs in with this badge. An unknown badge takes as long and says the same as a
    wrong secret.

    Raises as `prove_identity` does.
    """
    known = queries.find_by_badge(badge)
    return _prove(known.badge if known else badge, known, secret, method, at, address, Verb.SIGN_IN_REFUSED)


def demonstration_proof(person: Person, at: datetime) -> Proof:
    """A proof without a secret, for invented data and tests; the signature says so. Raises NotAllowed
    elsewhere.
    """
    if not (settings.QCAPP_DEMO or getattr(settings, "QCAPP_TESTING", False)):
        raise NotAllowed("demonstration_only", "Signatures without a PIN or password exist in the demonstration only.")
    return Proof(person, Signature.Method.DEMONSTRATION, at)


def tablet_proof(person: Person, at: datetime) -> Proof:
    """A proof by a key on a tablet that the PIN unlocked; the caller has verified what the key signed."""
    return Proof(person, Signature.Method.TABLET, at)


def _prove(
    badge: str, person: Person | None, secret: str, method: Method, at: datetime, address: str, refusal: Verb
) -> Proof:
    keys = attempts.keys_of(badge, address)
    before = attempts.take_a_try(keys, at)
    if _secret_fits(person, secret, method) and person is not None and queries.is_here(person, at):
        attempts.give_the_try_back(keys, at, before)
        if method == "password" and person.password_until is not None and person.password_until <= at:
            message = "This temporary password has ended. Ask the keeper of the system for another one."
            raise NotAllowed("temporary_password_ended", message)
        return Proof(person, method, at)
    # What was typed as an unknown badge may be a password in the wrong field: it is not written down.
    subject = f"person {person.badge}" if person else "person unknown"
    with transaction.atomic(durable=True):
        payload = {"address": address, "method": method}
        audit.record(verb=refusal, actor=None, subject=subject, at=at, payload=payload)
    raise NotAllowed("identity_not_proven", _not_proven(method))


def _not_proven(method: Method) -> str:
    if method == "pin":
        return "Badge and PIN do not fit, or no PIN is set yet (My account). Nothing has changed; try again."
    return "Badge and password do not fit. Try again, or ask the keeper of the system for a new password."


def _secret_fits(person: Person | None, secret: str, method: Method) -> bool:
    secret = secret if len(secret) <= LONGEST_SECRET else ""
    if method == "pin":
        return pins.pin_fits(secret, person.uuid if person else NOBODY, person.pin if person else "")
    return check_password(secret, person.password if person else "!")  # "!" fits nothing and takes as long
