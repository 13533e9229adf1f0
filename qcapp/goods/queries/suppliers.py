"""What came from a supplier: heats and lots on its deliveries, what it plated, coated or heat-treated."""

from __future__ import annotations

from ..models import DeliveredLot, Delivery, DeliveryLine, MillCertificate, OutsideProcess


def supplier_known(name: str) -> bool:
    """Whether any delivery, mill certificate or process outside names this supplier."""
    return any(
        table.objects.filter(supplier__iexact=name).exists() for table in (Delivery, MillCertificate, OutsideProcess)
    )


def heats_delivered_by(name: str) -> list[int]:
    """The heats on the lines of a supplier's deliveries, whoever melted them."""
    rows = DeliveryLine.objects.filter(delivery__supplier__iexact=name, heat__isnull=False)
    return sorted(set(rows.values_list("heat_id", flat=True)))


def lots_delivered_by(name: str) -> list[int]:
    """The lots that lines of a supplier's deliveries became, with a heat or without."""
    rows = DeliveredLot.objects.filter(line__delivery__supplier__iexact=name)
    return sorted(set(rows.values_list("lot_id", flat=True)))


def items_processed_by(name: str) -> set[int]:
    """The lots and units that were sent out to a supplier, as items."""
    return set(OutsideProcess.objects.filter(supplier__iexact=name).values_list("item_id", flat=True))
