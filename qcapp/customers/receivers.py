"""Nonconformance asks about orders, which are kept here: the customer's approval of a concession, and when due."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date
from typing import Any

from django.dispatch import receiver

from qcapp.nonconformance.signals import approval_asked, due_asked

from .queries import any_approves, due_days


@receiver(approval_asked, dispatch_uid="customers.approval")
def answer(sender: object, *, orders: Collection[str], **kwargs: Any) -> bool:
    """Whether one of these orders asks for the customer's approval."""
    return any_approves(orders)


@receiver(due_asked, dispatch_uid="customers.due")
def tell_due(sender: object, *, orders: Collection[str], **kwargs: Any) -> dict[str, date]:
    """The day that each of these orders is due, of those that have one."""
    return due_days(orders)
