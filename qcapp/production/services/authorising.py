"""What the welding coordinator writes down about inspectors: authorisations by method, and eyesight checks."""

from __future__ import annotations

from datetime import date, datetime
from typing import TYPE_CHECKING

from django.db import transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Invalid, Refused
from qcapp.lib.plain_text import plain_text
from qcapp.lib.site_days import site_day
from qcapp.people.roles import Act
from qcapp.people.services import require

from ..models import EyesightCheck, InspectorAuthorisation

if TYPE_CHECKING:
    from qcapp.people.models import Person


def authorise_inspector(
    *, by: Person, inspector: Person, method: str, certificate: str, issued_on: date, expires_on: date, at: datetime
) -> None:
    """The inspector may judge by this method until that day.

    Raises NotAllowed `not_permitted`; Refused `own_authorisation`; Invalid `method_unknown`, `expires_before_issued`,
    `issued_in_future` and of `plain_text`.
    """
    require(by, Act.KEEP_WELDING, at)
    if method not in InspectorAuthorisation.Method.values:
        raise Invalid("method_unknown", "Inspectors are authorised for visual, penetrant or leak; choose one.")
    if issued_on > site_day(at):
        raise Invalid("issued_in_future", "The authorisation is dated in the future; write the day it was issued.")
    if expires_on < issued_on:
        raise Invalid("expires_before_issued", "The last day is before the day of issue; correct one of the two.")
    _check_other(by, inspector)
    certificate = plain_text("The certificate", certificate, longest=60)
    with transaction.atomic():
        InspectorAuthorisation.objects.create(
            inspector_id=inspector.pk, method=method, certificate=certificate, issued_on=issued_on,
            expires_on=expires_on, by_id=by.pk, at=at,
        )  # fmt: skip
        payload = {"method": method, "certificate": certificate, "expires_on": expires_on.isoformat()}
        subject = f"person {inspector.badge}"
        audit.record(verb=Verb.INSPECTOR_AUTHORISED, actor=by.uuid, subject=subject, at=at, payload=payload)


def record_eyesight(*, by: Person, inspector: Person, done_on: date, passed: bool, at: datetime) -> None:
    """An inspector's eyes were checked on that day; it holds for a year when it passed.

    Raises NotAllowed `not_permitted`; Refused `own_authorisation`; Invalid `issued_in_future`.
    """
    require(by, Act.KEEP_WELDING, at)
    if done_on > site_day(at):
        raise Invalid("issued_in_future", "The check is dated in the future; write the day it was done.")
    _check_other(by, inspector)
    with transaction.atomic():
        EyesightCheck.objects.create(inspector_id=inspector.pk, done_on=done_on, passed=passed, by_id=by.pk, at=at)
        payload = {"done_on": done_on.isoformat(), "passed": passed}
        subject = f"person {inspector.badge}"
        audit.record(verb=Verb.EYESIGHT_CHECKED, actor=by.uuid, subject=subject, at=at, payload=payload)


def _check_other(by: Person, inspector: Person) -> None:
    if inspector.pk == by.pk:
        raise Refused("own_authorisation", "Somebody else writes down your own authorisation.")
