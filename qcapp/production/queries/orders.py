"""Units by the order that they were opened for."""

from __future__ import annotations

from collections.abc import Iterable

from django.db.models import QuerySet, Value
from django.db.models.functions import Replace, Upper

from qcapp.core.identification import lookup_key

from ..models import Unit
from .serials import LONGEST_FRAGMENT

FEW = 500


def items_of_orders(numbers: Iterable[str], limit: int = 40) -> list[tuple[int, str]]:
    """Item and order of the units that name one of these orders, the newest unit first."""
    return _newest(Unit.objects.filter(order_number__in=list(numbers)), limit)


# As `lookup_key` reads a text, as far as an order's number goes; history's migration 0002 has an index in this form.
SPOKEN = (("-", ""), (" ", ""), ("O", "0"), ("I", "1"))


def items_by_order_fragment(fragment: str, limit: int = 40) -> list[tuple[int, str]]:
    """Item and order of units whose order number holds the text, as `lookup_key` reads it; newest unit first."""
    key = lookup_key(fragment.replace("\0", ""))
    if not 0 < len(key) <= LONGEST_FRAGMENT:
        return []
    spoken: Replace | Upper = Upper("order_number")
    for written, read in SPOKEN:
        spoken = Replace(spoken, Value(written), Value(read))
    held = Unit.objects.annotate(spoken=spoken).filter(spoken__contains=key)
    # Few are found along the index over texts and then put in order. Asked in one statement, PostgreSQL expects them to
    # be many and goes through a million units, the newest first, in the hope of being done soon.
    rows = list(held.values_list("opened_at", "pk", "item_id", "order_number")[: FEW + 1])
    if len(rows) > FEW:
        return _newest(held, limit)
    return [(item, order) for _, _, item, order in sorted(rows, reverse=True)[:limit]]


def _newest(units: QuerySet[Unit], limit: int) -> list[tuple[int, str]]:
    return list(units.order_by("-opened_at", "-id").values_list("item_id", "order_number")[:limit])
