"""Who has a unit. The one place that asks, so that one import changes when customers have tables of their own."""

from __future__ import annotations

from dataclasses import dataclass

from qcapp.production.queries import UnitCard


@dataclass(frozen=True)
class Recipient:
    """Whom a letter about a unit goes to."""

    name: str
    address: str = ""


def recipient_of(unit: UnitCard) -> Recipient:
    """The receiver as far as the unit knows: its order, until dispatch is recorded with a customer."""
    return Recipient(f"Customer of order {unit.order_number}" if unit.order_number else "Customer not known")
