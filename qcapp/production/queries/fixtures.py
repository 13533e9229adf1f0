"""Readers of fixtures: which one may be used on a day, and why another may not."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from django.db.models import QuerySet

from qcapp.core.errors import NotFound
from qcapp.lib.falling_due import Falling
from qcapp.lib.plain_text import shown
from qcapp.lib.site_days import site_day

from ..models import Fixture, WeldStart

OFFERED = 3  # fixtures named in place of one that may not be used


@dataclass(frozen=True)
class VerificationCard:
    """A fixture measured against its drawing."""

    done_on: date
    due_on: date
    passed: bool
    document: str
    remark: str
    done_by: str
    by_name: str
    at: datetime


@dataclass(frozen=True)
class FixtureCard:
    """One fixture with its state on the day asked about; `days` until it is due, None without a verification."""

    id: int
    uuid: UUID
    number: str
    name: str
    interval_months: int
    due_on: date | None
    days: int | None
    usable: bool
    sentence: str
    verifications: tuple[VerificationCard, ...]


def fixtures(at: datetime) -> list[FixtureCard]:
    """Every fixture, those that may not be used first, then by due date."""
    on = site_day(at)
    cards = [_card(row, on) for row in _rows()]
    return sorted(cards, key=lambda card: (card.usable, card.due_on or date.max, card.number))


def fixtures_due(at: datetime) -> list[Falling]:
    """When each fixture is to be verified."""
    return [
        Falling("fixture", one.number, one.name, one.due_on, one.days, f"/welding/fixtures/{one.number}/", one.uuid)
        for one in fixtures(at)
    ]


def fixture_by_number(number: str, at: datetime) -> FixtureCard:
    """The fixture with this number on its plate, its case aside. Raises NotFound `fixture_unknown`."""
    wanted = number.strip()
    row = None if "\0" in wanted else _rows().filter(number__iexact=wanted).first()
    if row is None:
        raise NotFound("fixture_unknown", f"There is no fixture {shown(wanted)}; read its plate again.")
    return _card(row, site_day(at))


def fixture_finding(number: str, on: date) -> str:
    """Why this fixture may not be used on that day; empty for one that may, and for one that is not registered."""
    row = _rows().filter(number__iexact=number.strip()).first() if number.strip() else None
    card = _card(row, on) if row else None
    return "" if card is None or card.usable else card.sentence


def fixture_refusal(number: str, at: datetime) -> tuple[str, str] | None:
    """Why nothing is welded in this fixture, as code and sentence, with those that may be used offered; else None.

    Nothing is asked of a site that keeps no fixtures, nor of a weld without one.
    """
    wanted = number.strip()
    known = fixtures(at) if wanted else []
    if not known:
        return None
    card = next((one for one in known if one.number.lower() == wanted.lower()), None)
    if card is None:
        message = f"There is no fixture {shown(wanted)}; choose the one on whose plate you read its number."
        return "fixture_unknown", message
    if card.usable:
        return None
    others = [f"{one.number} {one.name}" for one in known if one.usable]
    offer = f"Take {' or '.join(others[:OFFERED])}." if others else "None that may be used is left; ask metrology."
    return "fixture_not_verified", f"{card.sentence} {offer}"


def fixtures_of_item(item_id: int) -> list[str]:
    """The fixtures that the item was welded in, as they were named."""
    rows = WeldStart.objects.filter(item=item_id).exclude(fixture="").order_by("id")
    return list(dict.fromkeys(rows.values_list("fixture", flat=True)))


def _rows() -> QuerySet[Fixture]:
    return Fixture.objects.prefetch_related("verifications__by").order_by("number")


def _card(row: Fixture, on: date) -> FixtureCard:
    known = sorted(row.verifications.all(), key=lambda one: (one.done_on, one.pk), reverse=True)
    past = [one for one in known if one.done_on <= on]
    due_on = past[0].due_on if past else None
    problem = _problem(row.number, past[0].passed if past else None, due_on, on)
    cards = tuple(
        VerificationCard(
            one.done_on, one.due_on, one.passed, one.document, one.remark, one.done_by, one.by.name, one.at
        )
        for one in known
    )
    days = (due_on - on).days if due_on else None
    said = problem or f"Fixture {row.number} may be used until {_day(due_on)}."
    return FixtureCard(
        row.pk, row.uuid, row.number, row.name, row.interval_months, due_on, days, not problem, said, cards
    )


def _problem(number: str, passed: bool | None, due_on: date | None, on: date) -> str:
    if due_on is None:
        return f"Fixture {number} was never verified; have it verified first."
    if not passed:
        return f"Fixture {number} failed its last verification; take another."
    return f"The verification of fixture {number} was due on {_day(due_on)}." if due_on < on else ""


def _day(day: date | None) -> str:
    return f"{day.day} {day:%b %Y}" if day else ""
