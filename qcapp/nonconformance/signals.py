"""What nonconformances tell the rooms above them."""

from __future__ import annotations

from django.dispatch import Signal

report_raised = Signal()
"""Sent for every report in the transaction that raises it.

Keyword arguments: `report: Report`, `facts: dict` as it was raised with, `family_id: int` and
`characteristic_id: int | None` of what it is about.
"""

approval_asked = Signal()
"""Asked before a concession is proposed: whether the customer has to approve it.

Keyword argument: `orders: set[str]`, the numbers of the orders concerned. A receiver that keeps orders answers True
where one of them asks for the customer's approval.
"""

due_asked = Signal()
"""Asked when the queue is read: what is held up, and until when it is wanted.

Keyword argument: `orders: set[str]`. A receiver that keeps orders answers the day of each that has one, by number.
"""
