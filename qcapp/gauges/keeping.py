"""Whose a gauge is, where it lies, how it looks, and its uncertainty budget: rows of which the latest counts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING
from uuid import UUID

from django.db import transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.evidence.services.keeping import keep_picture
from qcapp.lib.plain_text import plain_text
from qcapp.people.roles import Act
from qcapp.people.services import require

from .budgets import LONGEST_NAME, Line, combined, line_from, rounded_up
from .models import GaugeBudget, GaugeKeeping
from .queries import gauge_by_number

if TYPE_CHECKING:
    from qcapp.people.models import Person


@dataclass(frozen=True)
class KeepingCard:
    """Whose the gauge is, where it lies, and its picture."""

    owner: str
    place: str
    picture_uuid: UUID | None
    by_name: str
    at: datetime


@dataclass(frozen=True)
class BudgetLineCard:
    """A component with its divisor, its standard uncertainty in the gauge's unit and its share of the variance."""

    name: str
    value: Decimal
    distribution: str
    divisor: str
    contribution: float
    share: float


@dataclass(frozen=True)
class BudgetCard:
    """The budget that counts. `expanded` has k = 2 and is rounded up to two digits."""

    lines: tuple[BudgetLineCard, ...]
    standard: float
    expanded: Decimal
    by_name: str
    at: datetime
    typed: tuple[Line, ...] = ()


def keep_gauge(
    *, by: Person, number: str, owner: str, place: str, at: datetime, picture: bytes = b"", picture_name: str = ""
) -> KeepingCard:
    """Whose the gauge is and where it lies from now on; without a new picture the last one stays.

    Raises NotAllowed `not_permitted`; NotFound `gauge_unknown`; Invalid of `plain_text` and `keep_picture`.
    """
    require(by, Act.KEEP_GAUGES, at)
    gauge = gauge_by_number(number, at)
    told = {
        "owner": plain_text("The owner", owner, longest=80, needed=False),
        "place": plain_text("The place", place, longest=80, needed=False),
    }
    with transaction.atomic():
        last = GaugeKeeping.objects.filter(gauge=gauge.id).order_by("-id").first()
        kept = keep_picture(by=by, content=picture, name=picture_name, at=at) if picture else None
        picture_id = kept.id if kept else (last.picture_id if last else None)
        GaugeKeeping.objects.create(gauge_id=gauge.id, picture_id=picture_id, by_id=by.pk, at=at, **told)
        payload = told | {"picture": kept.digest if kept else ""}
        audit.record(verb=Verb.GAUGE_KEPT, actor=by.uuid, subject=f"gauge {gauge.number}", at=at, payload=payload)
    card = keeping_of(gauge.id)
    assert card is not None  # noqa: S101 - written just above
    return card


def keeping_of(gauge_id: int) -> KeepingCard | None:
    """Whose the gauge is and where it lies, None while nobody has said."""
    row = GaugeKeeping.objects.filter(gauge=gauge_id).select_related("by", "picture").order_by("-id").first()
    if row is None:
        return None
    return KeepingCard(row.owner, row.place, row.picture.uuid if row.picture else None, row.by.name, row.at)


def set_budget(*, by: Person, number: str, lines: Sequence[Line], at: datetime) -> BudgetCard:
    """The uncertainty budget of the gauge; a calibration that states no uncertainty takes it from here.

    Raises NotAllowed `not_permitted`; NotFound `gauge_unknown`; Invalid of `combined` and `plain_text`.
    """
    require(by, Act.KEEP_GAUGES, at)
    gauge = gauge_by_number(number, at)
    for line in lines:
        plain_text("The component", line.name, longest=LONGEST_NAME)
    expanded = rounded_up(combined(lines).expanded)
    with transaction.atomic():
        told = [line.to_json() for line in lines]
        GaugeBudget.objects.create(gauge_id=gauge.id, lines=told, expanded=expanded, by_id=by.pk, at=at)
        payload = {"lines": told, "expanded": format(expanded, "f")}
        audit.record(verb=Verb.GAUGE_BUDGETED, actor=by.uuid, subject=f"gauge {gauge.number}", at=at, payload=payload)
    card = budget_of(gauge.id)
    assert card is not None  # noqa: S101 - written just above
    return card


def budget_of(gauge_id: int) -> BudgetCard | None:
    """The budget that counts, None where there is none."""
    row = GaugeBudget.objects.filter(gauge=gauge_id).select_related("by").order_by("-id").first()
    if row is None:
        return None
    lines = [line_from(told) for told in row.lines]
    found = combined(lines)
    cards = tuple(
        BudgetLineCard(
            line.name, line.value, line.distribution.replace("_", "-"), line.divisor_text,
            line.standard * abs(float(line.sensitivity)), share,
        )
        for line, share in zip(lines, found.shares, strict=True)
    )  # fmt: skip
    return BudgetCard(cards, found.standard, row.expanded, row.by.name, row.at, tuple(lines))
