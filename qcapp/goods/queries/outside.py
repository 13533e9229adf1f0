"""What was sent out for plating, coating or heat treatment, and what came back with which certificate."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from ..models import OutsideProcess


@dataclass(frozen=True)
class OutsideCard:
    """A lot or unit sent out for a process, and its return; `paper_uuid` is the certificate of the process."""

    id: int
    kind_label: str
    supplier: str
    high_strength: bool
    by_name: str
    at: datetime
    returned_at: datetime | None
    delivery_number: str
    bake: str
    paper_uuid: UUID | None = None


@dataclass(frozen=True)
class OutNow:
    """Something that is out: `code` is a lot's code or a unit's serial."""

    code: str
    is_unit: bool
    family_name: str
    process: OutsideCard


def sent_out(item_id: int) -> list[OutsideCard]:
    """What was done to the lot or unit outside, the latest first."""
    rows = OutsideProcess.objects.filter(item=item_id).order_by("-id")
    return [_outside(row) for row in rows.select_related("by", "returned__delivery", "returned__paper")]


def out_now() -> list[OutNow]:
    """Everything that was sent out and not received back, the longest away first; one query."""
    rows = OutsideProcess.objects.filter(returned__isnull=True).order_by("id")
    rows = rows.select_related("by", "item__family", "item__unit", "item__lot")
    return [_out(row) for row in rows]


def _out(row: OutsideProcess) -> OutNow:
    unit = getattr(row.item, "unit", None)
    code = row.item.lot.code if unit is None else unit.serial
    return OutNow(code, unit is not None, row.item.family.name, _outside(row))


def _outside(row: OutsideProcess) -> OutsideCard:
    back = getattr(row, "returned", None)
    bake = f"{back.bake_hours} h at {back.bake_temperature} °C" if back and back.bake_hours is not None else ""
    return OutsideCard(
        row.pk, row.get_kind_display(), row.supplier, row.high_strength, row.by.name, row.at,
        back.at if back else None, back.delivery.number if back else "", bake, back.paper.uuid if back else None,
    )  # fmt: skip
