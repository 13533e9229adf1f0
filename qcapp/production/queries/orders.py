"""Units by the order that they were opened for."""

from __future__ import annotations

from collections.abc import Iterable

from ..models import Unit
from . import LONGEST_FRAGMENT, UnitCard, unit_cards

FEW = 500


def units_of_orders(numbers: Iterable[str], limit: int = 40) -> list[UnitCard]:
    """The units that name one of these orders, the newest first."""
    return unit_cards(Unit.objects.filter(order_number__in=list(numbers)).order_by("-opened_at", "-id")[:limit])


def units_by_order_fragment(fragment: str, limit: int = 40) -> list[UnitCard]:
    """Units whose order number holds the text, its case aside, the newest first."""
    wanted = fragment.strip().replace("\0", "")
    if not 0 < len(wanted) <= LONGEST_FRAGMENT:
        return []
    held = Unit.objects.filter(order_number__icontains=wanted)
    # Few are found along the index over texts and then put in order. Asked in one statement, PostgreSQL expects them to
    # be many and goes through a million units, the newest first, in the hope of being done soon.
    keys = list(held.values_list("pk", flat=True)[: FEW + 1])
    if len(keys) <= FEW:
        held = Unit.objects.filter(pk__among=keys)
    return unit_cards(held.order_by("-opened_at", "-id")[:limit])
