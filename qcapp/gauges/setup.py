"""The set-up check: a gauge read on its setting master at the start of a shift, where metrology asks for it.

A reading that was taken without a passed check in the hours before it is kept and flagged. What counts is when the
check was done, not when it arrived.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING
from uuid import UUID

from django.db import transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Conflict, Invalid, Refused
from qcapp.core.metrology.quantities import as_text, parse_value
from qcapp.lib.plain_text import plain_text
from qcapp.people.roles import Act
from qcapp.people.services import require

from .models import Gauge, SetupCheck, SetupRule
from .queries import gauge_by_number

if TYPE_CHECKING:
    from qcapp.people.models import Person

MISSING, FAILED = "setup_check_missing", "setup_check_failed"
LONGEST = 24 * 7  # hours
REMEMBERED = 200  # checks of a gauge: several months of two shifts


@dataclass(frozen=True)
class CheckCard:
    """One check: when it was done, what was read, by whom."""

    at: datetime
    reading: Decimal
    passed: bool
    by_name: str


@dataclass(frozen=True)
class SetupCard:
    """What metrology asks of a gauge, and its checks, the latest first."""

    gauge_number: str
    kind_name: str
    unit_of_measure: str
    master: str
    reference: Decimal
    limit: Decimal
    hours: int
    checks: tuple[CheckCard, ...]

    def reason(self, at: datetime) -> str:
        """Why a reading at that moment is no proof: `setup_check_missing`, `setup_check_failed`, or empty."""
        before = next((one for one in self.checks if one.at <= at), None)
        if before is None or before.at < at - timedelta(hours=self.hours):
            return MISSING
        return "" if before.passed else FAILED


# ------------------------------------------------------------------------------------------------------ reading


def setup_of(gauge_id: int) -> SetupCard | None:
    """What is asked of one gauge; None where nothing is."""
    return setups_of([gauge_id]).get(gauge_id)


def setups_of(gauge_ids: Collection[int] | None = None) -> dict[int, SetupCard]:
    """For each of these gauges (all when None) that is checked on a master, what is asked; two queries."""
    rows = SetupRule.objects.select_related("gauge__kind").order_by("id")
    if gauge_ids is not None:
        rows = rows.filter(gauge__in=gauge_ids)
    asked = {gauge: rule for gauge, rule in {row.gauge_id: row for row in rows}.items() if rule.hours}
    if not asked:
        return {}
    done: dict[int, list[CheckCard]] = {}
    for row in SetupCheck.objects.filter(gauge__in=asked).select_related("by").order_by("-done_at", "-id"):
        cards = done.setdefault(row.gauge_id, [])
        if len(cards) < REMEMBERED:
            cards.append(CheckCard(row.done_at, row.reading, row.passed, row.by.name))
    return {gauge: _card(rule, done.get(gauge, ())) for gauge, rule in asked.items()}


def _card(rule: SetupRule, checks: Sequence[CheckCard]) -> SetupCard:
    gauge = rule.gauge
    return SetupCard(
        gauge.number, gauge.kind.name, gauge.unit_of_measure, rule.master, rule.reference, rule.limit, rule.hours,
        tuple(checks),
    )  # fmt: skip


# ------------------------------------------------------------------------------------------------------ writing


@transaction.atomic
def ask_setup(
    *, by: Person, number: str, master: str, reference: str, limit: str, hours: int, at: datetime
) -> SetupCard | None:
    """From now on the gauge is checked on this master every so many hours; 0 hours ends it.

    Raises NotAllowed `not_permitted`; NotFound `gauge_unknown`; Invalid `setup_hours`, `setup_limit`, of
    `parse_value` and `plain_text`.
    """
    require(by, Act.KEEP_GAUGES, at)
    gauge = gauge_by_number(number, at)
    master = plain_text("The setting master", master, longest=80)
    if not 0 <= hours <= LONGEST:
        raise Invalid("setup_hours", f"A set-up check holds 1 to {LONGEST} hours; 0 asks for none.")
    band = parse_value(reference), parse_value(limit)
    if band[1] <= 0:
        raise Invalid("setup_limit", "The reading may differ from the master by a number above zero.")
    SetupRule.objects.create(
        gauge_id=gauge.id, master=master, reference=band[0], limit=band[1], hours=hours, by=by, at=at
    )
    payload = {"master": master, "reference": as_text(band[0]), "limit": as_text(band[1]), "hours": hours}
    audit.record(verb=Verb.GAUGE_SETUP_RULED, actor=by.uuid, subject=f"gauge {gauge.number}", at=at, payload=payload)
    return setup_of(gauge.id)


@transaction.atomic
def record_setup(
    *, by: Person, operation: UUID, number: str, reading: str, device: str, done_at: datetime, at: datetime
) -> tuple[bool, bool]:
    """Whether the gauge passed on its master, and whether this is new: sending again is harmless.

    Raises NotAllowed `not_permitted`; NotFound `gauge_unknown`; Refused `setup_not_asked`; Conflict `key_reused`;
    Invalid of `parse_value` and `plain_text`.
    """
    require(by, Act.RECORD_RESULT, at)
    gauge = Gauge.objects.select_for_update().get(pk=gauge_by_number(number, at).id)
    value, device = parse_value(reading), plain_text("The name of the tablet", device, longest=60)
    known = SetupCheck.objects.filter(operation=operation).first()
    if known is not None:
        if (known.gauge_id, known.reading, known.by_id, known.done_at) != (gauge.pk, value, by.pk, done_at):
            raise Conflict("key_reused", "This identifier was used for something else; make a new one for this.")
        return known.passed, False
    rule = SetupRule.objects.filter(gauge=gauge).order_by("-id").first()
    if rule is None or not rule.hours:
        raise Refused("setup_not_asked", f"No set-up check is asked of gauge {gauge.number}; just measure.")
    passed = abs(value - rule.reference) <= rule.limit
    SetupCheck.objects.create(
        operation=operation, rule=rule, gauge=gauge, reading=value, passed=passed, by=by, device=device,
        done_at=done_at, received_at=at,
    )  # fmt: skip
    payload = {"reading": as_text(value), "passed": passed, "master": rule.master, "done_at": done_at.isoformat()}
    audit.record(verb=Verb.GAUGE_SETUP_CHECKED, actor=by.uuid, subject=f"gauge {gauge.number}", at=at, payload=payload)
    return passed, True
