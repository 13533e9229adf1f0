"""What stands beside a report: further units, pictures, steps on the floor, parts of a lot, papers, and the permits."""

from __future__ import annotations

import json
from collections.abc import Collection
from datetime import date

from django.db.models import Count, QuerySet

from qcapp.core.errors import NotFound
from qcapp.lib.plain_text import shown
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


def mark_of(report_id: int) -> MarkCard | None:
    """Where on the drawing it is; the mark set last."""
    row = ReportMark.objects.filter(report=report_id).select_related("by").order_by("-id").first()
    return None if row is None else MarkCard(row.sheet, row.x, row.y, row.by.name, row.at)


def turns_of(report_id: int) -> int:
    """How often a correction of the report was started: the attempt that is counted now."""
    return Move.objects.filter(report=report_id, name="start_correction").count()


def pictures_of(report_id: int) -> list[PictureCard]:
    """The photos, the first one first."""
    rows = ReportPicture.objects.filter(report=report_id).select_related("by")
    return [
        PictureCard(row.evidence, row.mark_x, row.mark_y, row.sheet, row.caption, row.by.name, row.at) for row in rows
    ]


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
