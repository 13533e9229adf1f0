"""What is printed of a plan: the ballooned drawing, the comparison of two revisions, blank inspection sheets.

Everything is laid out from the revision alone, so that the same revision prints the same pages.
"""

from __future__ import annotations

import base64
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.conf import settings
from django.utils.safestring import mark_safe

from qcapp.core.errors import NotFound
from qcapp.evidence.queries import content
from qcapp.lib.pdf import html_to_pdf
from qcapp.lib.printing import paper as as_paper
from qcapp.lib.printing import printable
from qcapp.lib.qr_codes import qr_svg

from .balloon_picture import ballooned_svg
from .cards import CheckpointCard, Difference, RevisionCard, SheetCard, StageCard
from .states import RevisionState

PAPERS = {"a4": "A4", "letter": "Letter"}


@dataclass(frozen=True)
class BalloonedSheet:
    """One sheet with its balloons, as SVG text that needs no other file."""

    title: str
    svg: str


def ballooned(sheet: SheetCard, checkpoints: Sequence[CheckpointCard]) -> BalloonedSheet:
    """The sheet with the balloons of these checkpoints that are on it. Raises as `evidence.queries.content`."""
    data = base64.b64encode(content(sheet.file_uuid)).decode()
    balloons = [(one.number, one.key, one.balloon) for one in checkpoints if one.balloon]
    svg = ballooned_svg(sheet, balloons, f"data:{sheet.media_type};base64,{data}")
    return BalloonedSheet(f"{sheet.name}: {sheet.title}", svg)


def drawing_pdf(
    card: RevisionCard, checkpoints: Sequence[CheckpointCard], sheets: Sequence[SheetCard], paper: str = ""
) -> bytes:
    """The ballooned sheets, one page each, with the list of their checkpoints. Raises `PdfNotMade`."""
    shown = [
        (
            ballooned(sheet, checkpoints),
            sheet.width >= sheet.height,
            [one for one in checkpoints if one.balloon and one.balloon.sheet.id == sheet.id],
        )
        for sheet in sheets
    ]
    drawn = [(mark_safe(one.svg), one.title, wide, rows) for one, wide, rows in shown]  # noqa: S308 - our own drawing
    missing = [one for one in checkpoints if not one.balloon]
    return _laid_out(card, "drawing", paper, {"sheets": drawn, "missing": missing}, "Ballooned drawing")


def comparison_pdf(
    other: RevisionCard, card: RevisionCard, old: Sequence[CheckpointCard], new: Sequence[CheckpointCard],
    found: Sequence[Difference], paper: str = "",
) -> bytes:  # fmt: skip
    """What a revision changes against another one, with the limits drawn. Raises `PdfNotMade`."""
    context = {"other": other, **compared(old, new, found)}
    return _laid_out(card, "comparison", paper, context, f"Revisions {other.letter} and {card.letter} compared")


def compared(
    old: Sequence[CheckpointCard], new: Sequence[CheckpointCard], found: Sequence[Difference]
) -> dict[str, Any]:
    """The differences with the bands to draw beside them, and how many there are of each kind."""
    before, after = {one.key: one for one in old}, {one.key: one for one in new}
    return {
        "rows": [(one, *_bands(one, before, after)) for one in found],
        "counts": dict(Counter(one.change for one in found)),
        "effects": dict(Counter(change.effect for one in found for change in one.fields if change.effect)),
    }


def _bands(
    one: Difference, before: Mapping[str, CheckpointCard], after: Mapping[str, CheckpointCard]
) -> tuple[CheckpointCard | None, CheckpointCard | None]:
    """Both checkpoints where their limits differ and can be drawn on the same scale."""
    old, new = before.get(one.key), after.get(one.key)
    if not any(change.field == "limits" for change in one.fields):
        return None, None
    return old, new


@dataclass(frozen=True)
class SheetFor:
    """Whom a blank sheet is for: a unit by its serial, with where it is keyed in; empty for any unit."""

    serial: str = ""
    address: str = ""
    not_due: frozenset[str] = frozenset()


def blank_sheets(
    card: RevisionCard, stages: Sequence[StageCard], checkpoints: Sequence[CheckpointCard], paper: str = "",
    wanted: Mapping[int, SheetFor] | None = None,
) -> bytes:  # fmt: skip
    """Inspection sheets to fill in by hand, each stage beginning a page. `wanted` is by the stage's number.

    Raises `PdfNotMade`.
    """
    groups = []
    for stage in stages:
        one = (wanted or {}).get(stage.number) or SheetFor(address=_stage_address(card, stage))
        rows = [c for c in checkpoints if c.stage_number == stage.number and c.key not in one.not_due]
        groups.append((stage, one, qr_svg(one.address, css_class="qr"), [_blank(row) for row in rows]))
    serial = next((one.serial for _, one, _, _ in groups if one.serial), "")
    title = f"Inspection sheet {serial or card.family_code}"
    return _laid_out(card, "blank", paper, {"groups": groups, "serial": serial}, title)


def stages_asked(card: RevisionCard, asked: str) -> list[StageCard]:
    """One stage, or all of them. Raises NotFound `stage_unknown`."""
    found = [one for one in card.stages if asked in ("", "all", str(one.number))]
    if not found:
        raise NotFound("stage_unknown", "There is no such stage in this plan; choose one from its list.")
    return found


def _stage_address(card: RevisionCard, stage: StageCard) -> str:
    return f"{settings.QCAPP_PUBLIC_URL.rstrip('/')}/plans/{card.uuid}/?stage={stage.number}"


def _blank(card: CheckpointCard) -> tuple[CheckpointCard, range]:
    """The checkpoint with a box for each of its readings."""
    readings = card.spec_json.get("readings") or 1
    return card, range(1, min(int(readings), 12) + 1)


def _laid_out(card: RevisionCard, name: str, paper: str, context: dict[str, Any], title: str) -> bytes:
    size = PAPERS.get((paper or settings.QCAPP_SITE_PAPER).lower(), "A4")
    shown = {
        "revision": card, "paper": size, "title": title, "demonstration": settings.QCAPP_DEMO,
        "released": card.state == RevisionState.RELEASED, "site": settings.QCAPP_SITE_NAME,
    }  # fmt: skip
    html = printable(as_paper(f"plans/print/{name}.html", shown | context))
    return html_to_pdf(html, identifier=f"{card.uuid.hex}-{name}-{size}", created=_dated(card), title=title)


def _dated(card: RevisionCard) -> datetime:
    return card.released_at or card.created_at
