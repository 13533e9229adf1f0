"""Units by the order that they were opened for."""

from __future__ import annotations

from collections.abc import Iterable

from ..models import Unit
from . import LONGEST_FRAGMENT, UnitCard, unit_cards


def units_of_orders(numbers: Iterable[str], limit: int = 40) -> list[UnitCard]:
    """The units that name one of these orders, the newest first."""
    return unit_cards(Unit.objects.filter(order_number__in=list(numbers)).order_by("-opened_at", "-id")[:limit])


def units_by_order_fragment(fragment: str, limit: int = 40) -> list[UnitCard]:
    """Units whose order number holds the text, its case aside, the newest first."""
    wanted = fragment.strip().replace("\0", "")
    if not 0 < len(wanted) <= LONGEST_FRAGMENT:
        return []
    return unit_cards(Unit.objects.filter(order_number__icontains=wanted).order_by("-opened_at", "-id")[:limit])
