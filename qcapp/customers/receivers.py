"""Nonconformance asks whether an order wants the customer's approval of a concession; orders are kept here."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from django.dispatch import receiver

from qcapp.nonconformance.signals import approval_asked

from .queries import any_approves


@receiver(approval_asked, dispatch_uid="customers.approval")
def answer(sender: object, *, orders: Collection[str], **kwargs: Any) -> bool:
    """Whether one of these orders asks for the customer's approval."""
    return any_approves(orders)
