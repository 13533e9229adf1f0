"""Readers of sheets of paper: the blank ones of a unit, and those that were keyed in."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any
from uuid import UUID

from django.conf import settings
from django.db.models import QuerySet
from django.urls import reverse

from qcapp.core.errors import NotFound
from qcapp.plans.cards import CheckpointCard, RevisionCard, StageCard
from qcapp.plans.prints import SheetFor, stages_asked
from qcapp.production.queries import unit_by_serial

from ..models import PaperSheet
from ..states import CheckpointState
from . import adopted, inspection_of_unit
from .shapes import InspectionView

if TYPE_CHECKING:
    from qcapp.people.models import Person


@dataclass(frozen=True)
class PaperCard:
    """A sheet that was keyed in, and the check of the keying where it was checked."""

    uuid: UUID
    item_id: int
    stage_number: int
    stage_name: str
    inspection: int
    scan_uuid: UUID
    scan_name: str
    scan_is_picture: bool
    measured_by_name: str
    measured_at: datetime
    keyed_by_id: int
    keyed_by_name: str
    keyed_at: datetime
    operations: tuple[UUID, ...]
    checked_by_name: str
    checked_at: datetime | None
    differing: tuple[UUID, ...]
    reason: str


def paper_card(uuid: UUID) -> PaperCard:
    """One sheet. Raises NotFound `paper_unknown`."""
    row = _rows().filter(uuid=uuid).first()
    if row is None:
        raise NotFound("paper_unknown", "There is no such sheet; choose it from the unit's page.")
    return _card(row)


def papers_of(item_id: int) -> list[PaperCard]:
    """The sheets keyed in for a unit, the latest first."""
    return [_card(row) for row in _rows().filter(item=item_id).order_by("-id")]


def _rows() -> QuerySet[PaperSheet]:
    return PaperSheet.objects.select_related(
        "stage", "scan", "measured_by", "keyed_by", "check_of_keying__signature__person"
    )


def _card(row: PaperSheet) -> PaperCard:
    check: Any = getattr(row, "check_of_keying", None)
    scan: Any = row.scan
    return PaperCard(
        uuid=row.uuid, item_id=row.item_id, stage_number=row.stage.number, stage_name=row.stage.name,
        inspection=row.inspection, scan_uuid=scan.uuid, scan_name=scan.name,
        scan_is_picture=scan.media_type.startswith("image/"), measured_by_name=row.measured_by.name,
        measured_at=row.measured_at, keyed_by_id=row.keyed_by_id, keyed_by_name=row.keyed_by.name,
        keyed_at=row.keyed_at, operations=tuple(map(UUID, row.operations)),
        checked_by_name=check.signature.person.name if check else "", checked_at=check.at if check else None,
        differing=tuple(map(UUID, check.differing)) if check else (), reason=check.reason if check else "",
    )  # fmt: skip


@dataclass(frozen=True)
class UnitSheets:
    """What a unit's blank sheets are laid out from; `wanted` is by the stage's number."""

    serial: str
    revision: RevisionCard
    stages: tuple[StageCard, ...]
    checkpoints: tuple[CheckpointCard, ...]
    wanted: dict[int, SheetFor]


def sheets_for_unit(serial: str, stage: str, *, viewer: Person, at: datetime) -> UnitSheets:
    """Blank sheets for a unit, with what is due on it only, of one stage or of all.

    Raises NotFound `serial_unknown`, `stage_unknown`, and as `inspection_of_unit`.
    """
    unit = unit_by_serial(serial)
    view = inspection_of_unit(unit, viewer=viewer, at=at)
    stages = stages_asked(view.revision, stage)
    wanted = {one.number: _sheet_for(unit.serial, one, view) for one in stages}
    return UnitSheets(unit.serial, view.revision, tuple(stages), tuple(adopted(unit.item_id).checkpoints), wanted)


def _sheet_for(serial: str, stage: StageCard, view: InspectionView) -> SheetFor:
    address = reverse("inspections:paper_key", args=[serial, stage.number])
    not_due = (one.card.key for one in view.checkpoints if one.state is CheckpointState.NOT_DUE)
    return SheetFor(serial, settings.QCAPP_PUBLIC_URL.rstrip("/") + address, frozenset(not_due))
