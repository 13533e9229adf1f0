"""Every report gets its place in the counts in the transaction that raises it."""

from __future__ import annotations

from typing import Any

from django.db.models.signals import post_save

from .services.placing import place


def connect() -> None:
    """Listen to reports."""
    post_save.connect(_raised, sender="nonconformance.Report", dispatch_uid="improvement.report.placed")


def _raised(sender: object, instance: Any, created: bool, **kwargs: Any) -> None:
    place(instance)
