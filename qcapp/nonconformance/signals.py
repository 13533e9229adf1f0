"""What nonconformances tell the rooms above them."""

from __future__ import annotations

from django.dispatch import Signal

report_raised = Signal()
"""Sent for every report in the transaction that raises it.

Keyword arguments: `report: Report`, `facts: dict` as it was raised with, `family_id: int` and
`characteristic_id: int | None` of what it is about.
"""
