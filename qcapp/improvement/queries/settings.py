"""What the quality manager set for costs, proposals and the check of effect."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from ..models import Setting


@dataclass(frozen=True)
class SettingCard:
    """The setting in force. Without a rate nobody has set one, and no minutes can be costed."""

    rate_per_hour: Decimal | None = None
    currency: str = "EUR"
    similar_count: int = 3
    similar_days: int = 30
    units_wanted: int = 40
    by_name: str = ""
    at: datetime | None = None


def setting() -> SettingCard:
    """The setting in force; what is usual, without a rate, where none was made."""
    row = Setting.objects.select_related("by").order_by("-id").first()
    if row is None:
        return SettingCard()
    return SettingCard(
        rate_per_hour=row.rate_per_hour, currency=row.currency, similar_count=row.similar_count,
        similar_days=row.similar_days, units_wanted=row.units_wanted, by_name=row.by.name, at=row.at,
    )  # fmt: skip
