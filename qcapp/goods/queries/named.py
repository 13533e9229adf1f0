"""What of goods-in carries a name, and what a delivery brought: few queries, for the search that knows no kind yet."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.db.models import F, QuerySet, Value

from ..models import CertifiedHeat, DeliveredLot, Delivery, DeliveryLine, MillCertificate, OutsideReturn


@dataclass(frozen=True)
class Brought:
    """A delivery as it is named, with the items of the lots and units and the heats that it brought."""

    id: int
    number: str
    supplier: str
    note_number: str
    lots: frozenset[int]
    heats: frozenset[int]


def kinds_named(text: str) -> list[QuerySet[Any, tuple[str, int]]]:
    """What is called so, as parts of a union: "delivery" and "certificate" with the key of the row."""
    found: list[tuple[str, QuerySet[Any]]] = [
        ("delivery", Delivery.objects.filter(number__iexact=text)),
        ("certificate", MillCertificate.objects.filter(number__iexact=text)),
    ]
    return [rows.order_by().annotate(what=Value(kind)).values_list("what", "pk") for kind, rows in found]


def brought_by(delivery_id: int) -> Brought:
    """A delivery with what came on its lines, on its mill certificates, or back from a process; two queries."""
    row = Delivery.objects.get(pk=delivery_id)
    parts: list[tuple[str, QuerySet[Any], str]] = [
        ("heat", DeliveryLine.objects.filter(delivery=row, heat__isnull=False), "heat_id"),
        ("heat", CertifiedHeat.objects.filter(certificate__delivery=row), "heat_id"),
        ("lot", DeliveredLot.objects.filter(line__delivery=row), "lot__item_id"),
        ("lot", OutsideReturn.objects.filter(delivery=row), "process__item_id"),
    ]
    first, *others = [
        rows.order_by().annotate(what=Value(kind), key=F(column)).values_list("what", "key")
        for kind, rows, column in parts
    ]
    keys: dict[str, set[int]] = {"heat": set(), "lot": set()}
    for kind, key in first.union(*others):
        keys[kind].add(key)
    return Brought(
        row.pk, row.number, row.supplier, row.note_number, frozenset(keys["lot"]), frozenset(keys["heat"])
    )  # fmt: skip
