"""The values of a family at one characteristic, for holding one unit's value against them."""

from __future__ import annotations

from typing import Any

from ..models import Result


def family_values(characteristic_id: int, but_item: int, most: int) -> list[float]:
    """The last first-round values of the other units, at most so many, as they are plotted; the latest first.

    What counts now, without what was carried over from another revision: it has its point already.
    """
    rows = Result.objects.filter(
        characteristic=characteristic_id, plot__isnull=False, inspection=1, round=1, current_for__isnull=False
    )
    rows = rows.exclude(purpose=Result.Purpose.CARRIED).exclude(item=but_item).order_by("-id")
    found: Any = rows.values_list("plot", flat=True)[:most]
    return list(found)
