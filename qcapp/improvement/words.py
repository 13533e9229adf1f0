"""Shares and money as a shop reads them."""

from __future__ import annotations

from decimal import Decimal


def percent(share: float) -> str:
    """12.5 %, and never 0.0 % for something that is not nothing."""
    if 0 < share < 0.0005:
        return "less than 0.1 %"
    return f"{100 * share:.1f} %"


def money(cents: int, currency: str) -> str:
    """1 234.50 EUR, from hundredths."""
    return f"{Decimal(cents).scaleb(-2):,.2f} {currency}".replace(",", " ")
