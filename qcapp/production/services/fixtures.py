"""Fixtures: registered under the number on their plate, and verified at an interval. None is ever deleted."""

from __future__ import annotations

import re
from datetime import date, datetime
from typing import TYPE_CHECKING

from django.db import IntegrityError, transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Conflict, Invalid
from qcapp.lib.plain_text import plain_text, shown
from qcapp.lib.site_days import months_later, site_day
from qcapp.people.roles import Act
from qcapp.people.services import require

from ..models import Fixture, FixtureVerification
from ..queries.fixtures import FixtureCard, fixture_by_number

if TYPE_CHECKING:
    from qcapp.people.models import Person

_NUMBER = re.compile(r"[A-Z0-9][A-Z0-9.-]{0,19}")


def add_fixture(*, by: Person, number: str, name: str, at: datetime, interval_months: int = 12) -> FixtureCard:
    """A new fixture, which may be used after a verification.

    Raises NotAllowed `not_permitted`; Invalid `fixture_number`, `fixture_interval`, of `plain_text`; Conflict
    `fixture_taken`.
    """
    require(by, Act.KEEP_GAUGES, at)
    number = number.strip().upper()
    if not _NUMBER.fullmatch(number):
        raise Invalid("fixture_number", f"“{shown(number)}” is no fixture number; write one such as TF-03.")
    if not 1 <= interval_months <= 120:
        raise Invalid("fixture_interval", "A fixture is verified every 1 to 120 months.")
    name = plain_text("The name", name, longest=80)
    with transaction.atomic():
        try:
            with transaction.atomic():
                Fixture.objects.create(number=number, name=name, interval_months=interval_months, by_id=by.pk, at=at)
        except IntegrityError:
            raise Conflict("fixture_taken", f"There is a fixture {number} already; use it.") from None
        payload = {"name": name, "interval_months": interval_months}
        audit.record(verb=Verb.FIXTURE_ADDED, actor=by.uuid, subject=f"fixture {number}", at=at, payload=payload)
    return fixture_by_number(number, at)


def verify_fixture(
    *, by: Person, number: str, done_on: date, passed: bool, done_by: str, at: datetime, document: str = "",
    remark: str = "", due_on: date | None = None,
) -> FixtureCard:  # fmt: skip
    """A verification of the fixture; without `due_on` it is due again after the fixture's interval.

    Raises NotAllowed `not_permitted`; NotFound `fixture_unknown`; Invalid `verification_in_future`,
    `verification_due_date`, of `plain_text`.
    """
    require(by, Act.KEEP_GAUGES, at)
    card = fixture_by_number(number, at)
    due_on = due_on or months_later(done_on, card.interval_months)
    if done_on > site_day(at):
        raise Invalid("verification_in_future", "The verification is dated in the future; write the day it was done.")
    if due_on <= done_on:
        raise Invalid("verification_due_date", "The due date is not after the verification; correct one of the two.")
    told = {
        "done_by": plain_text("Who verified it", done_by, longest=120),
        "document": plain_text("The document", document, longest=60, needed=False),
        "remark": plain_text("The remark", remark, longest=300, needed=False),
    }
    with transaction.atomic():
        FixtureVerification.objects.create(
            fixture_id=card.id, done_on=done_on, due_on=due_on, passed=passed, by_id=by.pk, at=at, **told
        )
        payload = {"done_on": done_on.isoformat(), "due_on": due_on.isoformat(), "passed": passed, **told}
        subject = f"fixture {card.number}"
        audit.record(verb=Verb.FIXTURE_VERIFIED, actor=by.uuid, subject=subject, at=at, payload=payload)
    return fixture_by_number(card.number, at)
