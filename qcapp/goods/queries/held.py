"""Readers of deliveries on hold."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import QuerySet

from qcapp.production.queries import UnitCard, units_of_items
from qcapp.production.queries.as_built import LotCard, lots_by_id

from ..models import DeliveredLot, DeliveryHold, OutsideReturn
from . import heats_in


@dataclass(frozen=True)
class HeldCard:
    """A hold on a delivery and, when it was lifted, that too."""

    uuid: UUID
    delivery_number: str
    source: str
    reason: str
    by_name: str
    at: datetime
    lifted_by_name: str
    lifted_at: datetime | None
    lift_reason: str

    @property
    def is_open(self) -> bool:
        return self.lifted_at is None

    @property
    def by_hand(self) -> bool:
        return self.source.startswith(f"{self.delivery_number} hold ")


def holds_of_delivery(delivery_id: int) -> list[HeldCard]:
    """The holds of a delivery, the oldest first."""
    return [_held(row) for row in _rows().filter(delivery=delivery_id)]


def open_hold_rows() -> QuerySet[DeliveryHold]:
    """The holds that nobody has lifted, the oldest first."""
    return DeliveryHold.objects.filter(lift__isnull=True).order_by("id")


def held_deliveries() -> set[str]:
    """The numbers of the deliveries that are on hold."""
    return set(open_hold_rows().values_list("delivery__number", flat=True))


def holds_on_heat(heat_id: int) -> list[HeldCard]:
    """The standing holds on deliveries that brought the heat, the oldest first."""
    rows = _rows().filter(lift__isnull=True)
    return [_held(row) for row in rows if heat_id in heats_in(row.delivery_id)]


def lots_in(delivery_id: int) -> list[LotCard]:
    """The lots that lines of a delivery became, and those that came back on it from a process outside."""
    delivered = DeliveredLot.objects.filter(line__delivery=delivery_id).values_list("lot_id", flat=True)
    returned = OutsideReturn.objects.filter(delivery=delivery_id, process__item__lot__isnull=False)
    return lots_by_id({*delivered, *returned.values_list("process__item__lot__id", flat=True)})


def units_in(delivery_id: int) -> list[UnitCard]:
    """The units that came back on a delivery from a process outside, in the order in which they were opened."""
    returned = OutsideReturn.objects.filter(delivery=delivery_id)
    return list(units_of_items(returned.values_list("process__item_id", flat=True)).values())


def _rows() -> QuerySet[DeliveryHold]:
    return DeliveryHold.objects.select_related("delivery", "by", "lift__signature__person").order_by("id")


def _held(row: DeliveryHold) -> HeldCard:
    lift = getattr(row, "lift", None)
    return HeldCard(
        row.uuid, row.delivery.number, row.source, row.reason, row.by.name, row.at,
        lift.signature.person.name if lift else "", lift.at if lift else None, lift.reason if lift else "",
    )  # fmt: skip
