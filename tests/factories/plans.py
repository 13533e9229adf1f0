"""Plans for tests. They come in through the services, so that a test sees what a plan file becomes."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

from qcapp.plans import services
from qcapp.plans.cards import RevisionCard
from qcapp.plans.plan_file import COLUMNS

from .gauges import every_gauge_kind
from .production import FamilyFactory

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures" / "plans"
FR200 = FIXTURES / "FR-200.csv"

# The smallest plan that is right: one stage, one measured checkpoint.
MEASURED = {
    "stage_number": "1",
    "stage_name": "Alignment",
    "number": "101",
    "key": "head_angle",
    "title": "Head angle",
    "kind": "measured",
    "nominal": "62.00",
    "limits": "±0.15",
    "unit_of_measure": "°",
    "decimals": "2",
    "gauge_kinds": "angle_gauge",
    "criticality": "critical",
}


def plan_text(*rows: dict[str, str], columns: tuple[str, ...] = COLUMNS) -> str:
    """A plan file of these rows, each made from MEASURED; `None` as a value leaves the cell empty."""
    target = io.StringIO(newline="")
    writer = csv.DictWriter(target, columns, restval="", extrasaction="ignore")
    writer.writeheader()
    for row in rows or ({},):
        writer.writerow({name: value or "" for name, value in (MEASURED | row).items()})
    return target.getvalue()


def numbered(number: int, **changes: Any) -> dict[str, Any]:
    """A row with a number and a key of its own."""
    return {"number": str(number), "key": f"checkpoint_{number}", "title": f"Checkpoint {number}"} | changes


def attribute(number: int, **changes: Any) -> dict[str, Any]:
    """An attribute row: no limits, no unit of measure."""
    empty = dict.fromkeys(("nominal", "limits", "unit_of_measure", "decimals", "gauge_kinds"))
    return numbered(number, kind="attribute", criticality="major", **empty) | changes


def draft(cast: Any, at: datetime, text: str | bytes | None = None, letter: str = "A", **options: Any) -> RevisionCard:
    """A draft of the FR-200 plan by the quality manager, from `text` or from the demonstration's file."""
    FamilyFactory()
    every_gauge_kind()
    return services.import_plan(
        by=options.pop("by", cast.quality_manager),
        family_code=options.pop("family_code", "FR-200"),
        letter=letter,
        text_or_bytes=FR200.read_bytes() if text is None else text,
        filename="plan.csv",
        at=at,
        change_note=options.pop("change_note", "made up"),
        **options,
    )


def in_review(cast: Any, at: datetime, text: str | bytes | None = None, letter: str = "A") -> RevisionCard:
    """The same, sent for review."""
    card = draft(cast, at, text, letter)
    return services.send_for_review(by=cast.quality_manager, revision_uuid=card.uuid, at=at)


def released(
    cast: Any, proof_of: Callable[..., Any], at: datetime, text: str | bytes | None = None, letter: str = "A"
) -> RevisionCard:
    """The same, approved by the engineer where that is needed and released by the second quality manager."""
    from qcapp.plans.queries import needs_engineer

    card = in_review(cast, at, text, letter)
    if needs_engineer(card.id):
        services.approve(proof=proof_of(cast.engineer, at), revision_uuid=card.uuid, at=at)
    return services.release(proof=proof_of(cast.second_quality_manager, at), revision_uuid=card.uuid, at=at)
