"""Readers of inspectors' authorisations and eyesight checks.

A method is asked for from the first authorisation that the site has written down for it; until then nobody can be
without one.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from uuid import uuid5

from qcapp.lib.falling_due import Falling
from qcapp.lib.site_days import site_day
from qcapp.people.queries import is_here

from ..models import EyesightCheck, InspectorAuthorisation

Method = InspectorAuthorisation.Method
ADDRESS = "/welding/inspectors/"


@dataclass(frozen=True)
class AuthorisationCard:
    """An inspector may judge by this method from one day to another, both included."""

    inspector_id: int
    inspector_name: str
    badge: str
    method: str
    method_label: str
    certificate: str
    issued_on: date
    expires_on: date


@dataclass(frozen=True)
class EyesightCard:
    """The last check of an inspector's eyes; `holds_until` is empty where it did not pass."""

    inspector_id: int
    inspector_name: str
    badge: str
    done_on: date
    passed: bool
    holds_until: date | None


def method_of(method: str, joint: str) -> str:
    """The method that an inspector is authorised for, from a checkpoint's own words; empty where none is asked.

    Looking at a joint is visual weld inspection; looking at anything else asks nothing.
    """
    words = method.lower()
    if "penetrant" in words:
        return Method.PENETRANT.value
    if "leak" in words:
        return Method.LEAK.value
    return Method.VISUAL.value if joint and "visual" in words else ""


def authorisations() -> list[AuthorisationCard]:
    """Every authorisation, those that hold longest first."""
    rows = InspectorAuthorisation.objects.select_related("inspector").order_by("-expires_on", "id")
    return [
        AuthorisationCard(
            row.inspector_id, row.inspector.name, row.inspector.badge, row.method, row.get_method_display(),
            row.certificate, row.issued_on, row.expires_on,
        )
        for row in rows
    ]  # fmt: skip


def eyesight_checks() -> list[EyesightCard]:
    """The last eyesight check of each inspector, by name."""
    rows = EyesightCheck.objects.select_related("inspector").order_by("done_on", "id")
    last = {row.inspector_id: row for row in rows}
    return sorted((_eyes(row) for row in last.values()), key=lambda card: card.inspector_name)


def _eyes(row: EyesightCheck) -> EyesightCard:
    until = year_later(row.done_on) if row.passed else None
    return EyesightCard(row.inspector_id, row.inspector.name, row.inspector.badge, row.done_on, row.passed, until)


def inspectors_due(at: datetime) -> list[Falling]:
    """Until when each authorisation of an inspector who works here holds, and the eyesight check that goes with it.

    Of several authorisations for one method the one that holds longest counts. Who has none needs no check of the eyes.
    """
    rows = InspectorAuthorisation.objects.select_related("inspector").order_by("expires_on", "id")
    last = {(row.inspector_id, row.method): row for row in rows if is_here(row.inspector, at)}
    eyes = {card.inspector_id: card.holds_until for card in eyesight_checks()}
    found, today = [], site_day(at)
    for row in last.values():
        told = row.inspector.badge, row.inspector.name
        uuid = uuid5(row.inspector.uuid, row.method)
        days = (row.expires_on - today).days
        found.append(Falling("authorisation", *told, row.expires_on, days, ADDRESS, uuid, row.get_method_display()))
    for person in {row.inspector_id: row.inspector for row in last.values()}.values():
        until = eyes.get(person.pk)
        days_left = (until - today).days if until else None
        uuid = uuid5(person.uuid, "eyesight")
        found.append(Falling("eyesight", person.badge, person.name, until, days_left, ADDRESS, uuid))
    return found


def year_later(day: date) -> date:
    """The same day a year on; 28 February after a leap day."""
    try:
        return day.replace(year=day.year + 1)
    except ValueError:
        return day.replace(year=day.year + 1, day=28)


def lacking(inspector_id: int, method: str, on: date) -> str:
    """Why the inspector may not judge by the method on that day, as a sentence; empty when nothing is against it."""
    label = Method(method).label
    rows = list(
        InspectorAuthorisation.objects.filter(method=method).values_list("inspector", "issued_on", "expires_on")
    )
    if not rows:
        return ""
    own = [(begin, end) for person, begin, end in rows if person == inspector_id and begin <= on]
    if not own:
        return f"No authorisation for {label} is written down."
    last = max(end for _, end in own)
    if last < on:
        return f"The authorisation for {label} ran out on {last.day} {last:%b %Y}."
    return _eyes_lacking(inspector_id, on)


def _eyes_lacking(inspector_id: int, on: date) -> str:
    rows = EyesightCheck.objects.filter(inspector=inspector_id, done_on__lte=on).order_by("-done_on", "-id")
    found = rows.values_list("done_on", "passed").first()
    if found is None:
        return "No eyesight check is written down."
    done_on, passed = found
    if not passed:
        return "The last eyesight check did not pass."
    until = year_later(done_on)
    return f"The eyesight check ran out on {until.day} {until:%b %Y}." if until < on else ""
