"""Where a report belongs in the counts: its facts in columns, written with it."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from qcapp.lib.statements import add_row

from ..models import ReportPlace


def place(
    *, report_id: int, raised_at: datetime, facts: dict[str, Any], family_id: int, characteristic_id: int | None
) -> None:
    """Write the place of a report that was just raised: joint, fixture and supplier as far as its facts know them."""
    add_row(
        ReportPlace, report_id=report_id, family_id=family_id, characteristic_id=characteristic_id,
        raised_at=raised_at, joint=_text(facts, "joint", 12), fixture=_text(facts, "fixture", 60),
        supplier=_text(facts, "supplier", 80),
    )  # fmt: skip


def _text(facts: dict[str, Any], name: str, longest: int) -> str:
    return str(facts.get(name) or "")[:longest]
