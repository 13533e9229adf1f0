"""What stands beside a report: further units, pictures, steps on the floor, parts of a lot, papers, and the permits."""

from __future__ import annotations

import json
from collections.abc import Collection
from dataclasses import dataclass, replace
from datetime import date
from typing import Any
from uuid import UUID

from django.db.models import Count, QuerySet

from qcapp.core.errors import NotFound
from qcapp.lib.plain_text import shown
from qcapp.plans.cards import SheetCard
from qcapp.plans.queries.marks import drawing_files, sheets_by_uuid
from qcapp.production.queries import units_of_items

from ..cards import DestructionCard, MarkCard, PartCard, PermitCard, PictureCard, ReturnNoteCard, StepCard
from ..models import (
    CorrectionStep,
    DeciderRule,
    Destruction,
    DeviationPermit,
    DispositionPart,
    Move,
    Report,
    ReportItem,
    ReportMark,
    ReportPicture,
    ReturnNote,
)
from ..states import DECIDERS, PERMIT_ROLES, Disposition


def item_ids_of(row: Report) -> list[int]:
    """Every item that a report is about, the one it was raised at first."""
    further = ReportItem.objects.filter(report=row.pk).order_by("id").values_list("item_id", flat=True)
    return [row.item_id, *further]


def serials_of(item_ids: Collection[int]) -> list[str]:
    """The serials of those of the items that are units, in the order given."""
    units = units_of_items(item_ids)
    return [units[item].serial for item in item_ids if item in units]


def quantity_of(row: Report) -> int | None:
    """How many pieces of a lot the report is about; None for units."""
    found = json.loads(row.facts).get("quantity")
    return None if found is None else int(found)


def count_of(row: Report) -> int:
    """How many units, or pieces of a lot, the report is about."""
    return quantity_of(row) or 1 + ReportItem.objects.filter(report=row.pk).count()


def marks_of_report(report_id: int) -> list[MarkCard]:
    """Every place on the drawing that is marked, in the order set, with the sheets they are on."""
    standing = _standing(ReportMark.objects.filter(report=report_id).select_related("by"))
    sheets = sheets_by_uuid({row.sheet for row in standing}) if standing else {}
    return [_mark(row, sheets.get(row.sheet)) for row in standing]


def _mark(row: ReportMark, sheet: SheetCard | None) -> MarkCard:
    card = MarkCard(row.sheet, row.x, row.y, row.caption, row.by.name, row.at)
    if sheet is None:
        return card
    return replace(card, sheet_name=sheet.name, file=sheet.file_uuid, width=sheet.width, height=sheet.height)


@dataclass(frozen=True)
class MarkPlace:
    """A mark as the counts read it: whose report, on which sheet, where as fractions of width and height."""

    report_id: int
    sheet: UUID
    x: float
    y: float


def marks_of_reports(report_ids: QuerySet[Any, Any]) -> list[MarkPlace]:
    """The marks that stand, of all these reports, report by report; one query."""
    rows = ReportMark.objects.filter(report__in=report_ids).order_by("report_id", "id")
    found = [MarkPlace(row.report_id, row.sheet, float(row.x), float(row.y)) for row in _standing(rows)]
    return sorted(found, key=lambda one: one.report_id)


def _standing(rows: QuerySet[ReportMark]) -> list[ReportMark]:
    """Marks that stand: every further one, and of the others of a report the latest."""
    ordered = list(rows.order_by("id"))
    latest = {row.report_id: row.pk for row in ordered if not row.further}
    return [row for row in ordered if row.further or latest[row.report_id] == row.pk]


def turns_of(report_id: int) -> int:
    """How often a correction of the report was started: the attempt that is counted now."""
    return Move.objects.filter(report=report_id, name="start_correction").count()


def pictures_of(report_id: int) -> list[PictureCard]:
    """The photos, the first one first. A row that was a mark on the drawing is no photo."""
    rows = list(ReportPicture.objects.filter(report=report_id).select_related("by"))
    drawings = drawing_files({row.evidence for row in rows if row.sheet}) if any(row.sheet for row in rows) else set()
    return [_picture(row) for row in rows if row.evidence not in drawings]


def _picture(row: ReportPicture) -> PictureCard:
    x, y = (None, None) if row.sheet else (row.mark_x, row.mark_y)
    return PictureCard(row.evidence, x, y, row.caption, row.by.name, row.at)


def steps_of(proposal_id: int, turn: int) -> list[StepCard]:
    """The steps of a proposal with who confirmed them in this attempt."""
    rows = CorrectionStep.objects.filter(proposal=proposal_id).prefetch_related("confirmations__by")
    return [_step(row, turn) for row in rows]


def _step(row: CorrectionStep, turn: int) -> StepCard:
    done = next((one for one in row.confirmations.all() if one.turn == turn), None)
    return StepCard(
        position=row.position,
        text=row.text,
        note="" if done is None else done.note,
        by_id=None if done is None else done.by_id,
        by_name="" if done is None else done.by.name,
        at=None if done is None else done.at,
    )


def parts_of(proposal_id: int) -> tuple[PartCard, ...]:
    """How a lot is split; empty for a unit, or a lot that is decided as a whole."""
    rows = DispositionPart.objects.filter(proposal=proposal_id)
    return tuple(PartCard(row.disposition, Disposition(row.disposition).label, row.quantity) for row in rows)


def destructions_of(report_id: int) -> list[DestructionCard]:
    """Who signed that the number is destroyed: who did it, then who saw it."""
    rows = Destruction.objects.filter(report=report_id).select_related("signature__person")
    return [
        DestructionCard(row.part, row.get_part_display(), row.how, row.signature.person.name, row.at) for row in rows
    ]


def return_note_of(report_id: int) -> ReturnNoteCard | None:
    """The paper that goes back with the parts."""
    row = ReturnNote.objects.filter(report=report_id).select_related("by").first()
    if row is None:
        return None
    return ReturnNoteCard(row.number, row.supplier, row.delivery, row.quantity, row.text, row.by.name, row.at)


# --------------------------------------------------------------------------------------------- who decides what


def deciders_of(severity: str, disposition: Disposition) -> tuple[str, ...]:
    """The roles whose signatures a disposition needs now."""
    row = DeciderRule.objects.filter(severity=severity, disposition=disposition).order_by("-id").first()
    return DECIDERS[severity, disposition] if row is None else tuple(row.roles)


def deciders_table() -> dict[tuple[str, Disposition], tuple[str, ...]]:
    """The whole table as it stands now."""
    found = dict(DECIDERS)
    for row in DeciderRule.objects.order_by("id"):
        found[row.severity, Disposition(row.disposition)] = tuple(row.roles)
    return found


def decider_changes() -> list[DeciderRule]:
    """What was changed in the table, the latest first."""
    return list(DeciderRule.objects.select_related("by").order_by("-id")[:50])


# ---------------------------------------------------------------------------------------------------- permits


def permit(number: str, on: date) -> PermitCard:
    """A deviation permit as it stands on a day. Raises NotFound `permit_unknown`."""
    rows = DeviationPermit.objects.none() if "\0" in number else _permits().filter(number__iexact=number.strip())
    row = rows.first()
    if row is None:
        name = shown(number)
        raise NotFound("permit_unknown", f"There is no deviation permit {name}; look it up in the list.", number=name)
    return _permit(row, on)


def permits(on: date) -> list[PermitCard]:
    """Every deviation permit, the latest first."""
    return [_permit(row, on) for row in _permits().order_by("-id")[:200]]


def permits_for(family_id: int, characteristic_id: int, on: date) -> list[PermitCard]:
    """Permits in force for a checkpoint of a family."""
    rows = _permits().filter(family=family_id, characteristic=characteristic_id).order_by("id")
    return [card for card in (_permit(row, on) for row in rows) if not card.problem]


def _permits() -> QuerySet[DeviationPermit]:
    rows = DeviationPermit.objects.select_related("family", "characteristic", "by")
    return rows.prefetch_related("signatures__signature__person").annotate(used=Count("uses"))


def _permit(row: DeviationPermit, on: date) -> PermitCard:
    signed = {line.role: line.signature.person.name for line in row.signatures.all()}
    return PermitCard(
        id=row.pk,
        number=row.number,
        family_id=row.family_id,
        family_code=row.family.code,
        characteristic_id=row.characteristic_id,
        checkpoint_number=row.characteristic.number,
        checkpoint_key=row.characteristic.key,
        lower=row.lower,
        upper=row.upper,
        statement=row.statement,
        serials=tuple(row.serials),
        quantity=row.quantity,
        used=row.used,  # type: ignore[attr-defined]  # annotated above
        ends_on=row.ends_on,
        customer_approval=row.customer_approval,
        by_name=row.by.name,
        at=row.at,
        signed=signed,
        signer_ids=frozenset(line.signature.person_id for line in row.signatures.all()),
        missing=tuple(role for role in PERMIT_ROLES if role not in signed),
        today=on,
    )
