"""The second factor of office people: set up, asked at the sign-in, renewed, ended."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.conf import settings
from django.db import transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Invalid, NotAllowed, Refused

from .. import codes
from ..models import Person, RecoveryCode, SecondFactor
from . import attempts
from .keeping import record_change, require_self_or_keeper
from .proofs import Proof


@dataclass(frozen=True)
class Beginning:
    """What the person puts into the authenticator: by QR code, or typed."""

    secret: str
    address: str


def begin_second_factor(*, proof: Proof, at: datetime) -> Beginning:
    """A fresh secret, which counts once a first code has confirmed it. Raises Refused (`second_factor_is_set`)."""
    person = proof.person
    secret = codes.new_secret()
    with transaction.atomic():
        factor = _locked(person)
        if factor is not None and factor.confirmed_at is not None:
            raise Refused("second_factor_is_set", "You have a second factor. End it first, then set up another.")
        begun = {"sealed_secret": codes.seal(secret), "begun_at": at, "last_step": 0}
        SecondFactor.objects.update_or_create(person=person, defaults=begun)
    return _beginning(person, secret)


def begun_second_factor(person: Person) -> Beginning | None:
    """What was begun and waits for its first code; None when nothing does."""
    factor = SecondFactor.objects.filter(person=person, confirmed_at=None).first()
    return _beginning(person, codes.unseal(factor.sealed_secret)) if factor else None


def confirm_second_factor(*, by: Person, code: str, at: datetime) -> list[str]:
    """The first code fits: from now on each sign-in asks for one, and every other session ends.

    Gives the codes for paper, which are shown this once. Raises Invalid (`code_wrong`) and Refused
    (`second_factor_not_begun`).
    """
    with transaction.atomic():
        factor = _locked(by)
        if factor is None or factor.confirmed_at is not None:
            raise Refused("second_factor_not_begun", "Nothing waits for a code. Set up the second factor first.")
        step = codes.step_of(codes.unseal(factor.sealed_secret), code, at, factor.last_step)
        if step is None:
            message = "The code does not fit. Check that the device's clock is right, and type the code it shows now."
            raise Invalid("code_wrong", message)
        factor.confirmed_at, factor.last_step = at, step
        factor.save(update_fields=["confirmed_at", "last_step"])
        _mark(by, at)
        papers = _write_paper_codes(factor)
        record_change(Verb.PERSON_SECOND_FACTOR_SET, by, by, at)
    return papers


def renew_recovery_codes(*, proof: Proof, at: datetime) -> list[str]:
    """Fresh codes for paper; the old ones are void. Raises Refused (`second_factor_missing`)."""
    with transaction.atomic():
        factor = _locked(proof.person)
        if factor is None or factor.confirmed_at is None:
            raise Refused("second_factor_missing", "There is no second factor that codes could stand in for.")
        papers = _write_paper_codes(factor)
        record_change(Verb.PERSON_SECRET_SET, proof.person, proof.person, at, kind="recovery codes")
    return papers


def end_second_factor(*, by: Person | None, person: Person, at: datetime) -> None:
    """No code is asked any more; all sessions of the person end. By the person, a keeper, or the server's shell.

    Raises NotAllowed, and Refused (`second_factor_missing`).
    """
    with transaction.atomic():
        require_self_or_keeper(by, person, at)
        factor = _locked(person)
        if factor is None or factor.confirmed_at is None:
            raise Refused("second_factor_missing", f"{person.name} has no second factor.")
        factor.delete()
        _mark(person, None)
        record_change(Verb.PERSON_SECOND_FACTOR_ENDED, by, person, at)


def check_second_factor(*, person: Person, code: str, at: datetime, address: str) -> None:
    """The code beside the password: from the authenticator, or one from paper, each taken once.

    Raises Throttled (`too_many_attempts`) and NotAllowed (`code_wrong`). Counts and audits a failure in transactions
    of its own, as the password's.
    """
    keys = attempts.keys_of(f"{person.badge} code", address)
    before = attempts.take_a_try(keys, at)
    if _taken(person, code, at):
        attempts.give_the_try_back(keys, at, before)
        return
    with transaction.atomic(durable=True):
        payload = {"address": address, "method": "code"}
        audit.record(verb=Verb.SIGN_IN_REFUSED, actor=None, subject=f"person {person.badge}", at=at, payload=payload)
    message = "The code does not fit, or was used already. Wait for the next one, or take a code from paper."
    raise NotAllowed("code_wrong", message)


def _taken(person: Person, code: str, at: datetime) -> bool:
    """Whether the code is a right one; it is spent then."""
    with transaction.atomic(durable=True):
        factor = _locked(person)
        if factor is None or factor.confirmed_at is None:
            return False
        if codes.looks_like_paper(code):
            unused = RecoveryCode.objects.filter(factor=factor, digest=codes.paper_digest(code), used_at=None)
            if not unused.update(used_at=at):
                return False
            record_change(Verb.PERSON_RECOVERY_CODE_USED, person, person, at, left=_unused(factor))
            return True
        step = codes.step_of(codes.unseal(factor.sealed_secret), code, at, factor.last_step)
        if step is None:
            return False
        factor.last_step = step
        factor.save(update_fields=["last_step"])
        return True


def recovery_codes_left(person: Person) -> int:
    """How many codes on paper are unused."""
    return RecoveryCode.objects.filter(factor__person=person, used_at=None).count()


def _locked(person: Person) -> SecondFactor | None:
    # The person's row is locked first: two tabs that begin at once then come one after the other.
    Person.objects.select_for_update().filter(pk=person.pk).first()
    return SecondFactor.objects.select_for_update().filter(person=person).first()


def _mark(person: Person, at: datetime | None) -> None:
    person.second_factor_at = at
    person.save(update_fields=["second_factor_at"])


def _write_paper_codes(factor: SecondFactor) -> list[str]:
    factor.recovery_codes.all().delete()
    papers = codes.new_paper_codes()
    RecoveryCode.objects.bulk_create(RecoveryCode(factor=factor, digest=codes.paper_digest(code)) for code in papers)
    return papers


def _unused(factor: SecondFactor) -> int:
    return factor.recovery_codes.filter(used_at=None).count()


def _beginning(person: Person, secret: str) -> Beginning:
    return Beginning(secret, codes.address_for(secret, person.badge, settings.QCAPP_SITE_NAME))
