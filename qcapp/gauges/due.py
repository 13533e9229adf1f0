"""What falls due: the list, and a calendar feed (RFC 5545, written by a kept library) with an address of one's own.

A calendar program cannot sign in. The address holds a signed mark of the person instead; it stops working when the
person may no longer look at gauges.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING
from uuid import UUID

from django.conf import settings
from django.core import signing
from icalendar import Calendar, Event

from qcapp.core.errors import NotFound
from qcapp.lib.falling_due import Falling
from qcapp.lib.site_days import site_day
from qcapp.people.queries import may, person_by_uuid
from qcapp.people.roles import Act

from .queries import GaugeCard, all_gauges

if TYPE_CHECKING:
    from qcapp.people.models import Person

SALT = "qcapp.gauges.calendar"
SOON = 30  # days
BEGIN_OF = {
    "fixture": "Verify fixture",
    "qualification": "Confirm qualification",
    "authorisation": "Renew authorisation of",
    "eyesight": "Check the eyes of",
}


@dataclass(frozen=True)
class Due:
    """A gauge that needs calibration, and in how many days; None was never calibrated, negative is overdue."""

    gauge: GaugeCard
    days: int | None

    @property
    def tone(self) -> str:
        """The badge: out when it may not be used, near within SOON days."""
        if self.days is None or self.days < 0:
            return "out"
        return "near" if self.days <= SOON else "plain"


def due_list(at: datetime) -> list[Due]:
    """Every gauge that needs calibration and is not retired, what is overdue first."""
    today = site_day(at)
    found = [
        Due(card, (card.due_on - today).days if card.due_on else None)
        for card in all_gauges(at)
        if card.needs_calibration and not card.retired
    ]
    return sorted(found, key=lambda due: (due.days is not None, due.days or 0, due.gauge.number))


def feed_key(person: Person) -> str:
    """What the person's own address of the feed ends with."""
    return signing.dumps(str(person.uuid), salt=SALT)


def person_of_key(key: str, at: datetime) -> Person:
    """Whose feed this is. Raises NotFound `feed_unknown`, also for somebody who may no longer look at gauges."""
    try:
        person = person_by_uuid(UUID(signing.loads(key, salt=SALT)))
    except (signing.BadSignature, ValueError, NotFound) as error:
        raise NotFound("feed_unknown", "This calendar address is not ours; copy it anew from the list.") from error
    if not may(person, Act.LOOK_AT_GAUGES, at):
        raise NotFound("feed_unknown", "This calendar address no longer works; ask the keeper.")
    return person


def calendar_of(found: Sequence[Due], at: datetime, others: Sequence[Falling] = ()) -> bytes:
    """The dates on which gauges fall due, as all-day entries (RFC 5545)."""
    calendar = Calendar()
    calendar.add("prodid", "-//qcapp//gauges//EN")
    calendar.add("version", "2.0")
    calendar.add("name", f"Gauges due, {settings.QCAPP_SITE_NAME}")
    for due in found:
        if due.gauge.due_on is not None:
            what = f"Calibrate {due.gauge.number}, {due.gauge.kind_name}"
            calendar.add_component(_event(what, due.gauge.uuid, f"/gauges/{due.gauge.number}/", due.gauge.due_on, at))
    for other in others:
        if other.due_on is not None:
            begin = BEGIN_OF[other.kind]
            what = ", ".join(filter(None, [f"{begin} {other.number}", other.name, other.what]))
            calendar.add_component(_event(what, other.uuid, other.address, other.due_on, at))
    return bytes(calendar.to_ical())


def _event(what: str, uuid: UUID, address: str, on: date, at: datetime) -> Event:
    event = Event()
    event.add("uid", f"{uuid}-{on.isoformat()}@qcapp")
    event.add("dtstamp", at)
    event.add("dtstart", on)
    event.add("dtend", on + timedelta(days=1))
    event.add("summary", what)
    event.add("url", f"{settings.QCAPP_PUBLIC_URL}{address}")
    return event
