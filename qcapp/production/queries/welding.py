"""Readers of weld procedures, welders' qualifications, and what was said before each arc."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from uuid import UUID

from qcapp.core.errors import NotFound

from ..models import WelderQualification, WeldProcedure, WeldStart


@dataclass(frozen=True)
class ProcedureCard:
    """A weld procedure in the revision that counts; thickness in mm, preheat in °C."""

    id: int
    uuid: UUID
    number: str
    revision: str
    title: str
    process: str
    thickness_from: Decimal
    thickness_to: Decimal
    base_grades: tuple[str, ...]
    filler: str
    preheat: int | None

    def __str__(self) -> str:
        return f"{self.number} rev {self.revision}"


@dataclass(frozen=True)
class QualificationCard:
    """What a welder may weld, and from when until when, both days included."""

    id: int
    welder_id: int
    welder_name: str
    certificate: str
    process: str
    thickness_from: Decimal
    thickness_to: Decimal
    issued_on: date
    expires_on: date


def weld_procedures() -> list[ProcedureCard]:
    """The latest revision of each procedure that is not withdrawn, by number."""
    latest = {row.number: row for row in WeldProcedure.objects.order_by("number", "id")}
    return [_procedure(row) for row in latest.values() if not row.withdrawn]


def weld_procedure(uuid: UUID | str) -> ProcedureCard:
    """A procedure that may be welded by. Raises NotFound `procedure_unknown`, also for one that was replaced."""
    for card in weld_procedures():
        if str(card.uuid) == str(uuid):
            return card
    raise NotFound("procedure_unknown", "This weld procedure is not in force; choose one from the list.")


def _procedure(row: WeldProcedure) -> ProcedureCard:
    grades = tuple(row.base_grades)
    return ProcedureCard(
        row.pk, row.uuid, row.number, row.revision, row.title, row.process, row.thickness_from, row.thickness_to,
        grades, row.filler, row.preheat,
    )  # fmt: skip


def qualifications(welder_id: int | None = None) -> list[QualificationCard]:
    """The qualifications of one welder, or of all, those that hold longest first."""
    rows = WelderQualification.objects.select_related("welder").order_by("-expires_on", "id")
    chosen = rows if welder_id is None else rows.filter(welder=welder_id)
    return [
        QualificationCard(
            row.pk,
            row.welder_id,
            str(row.welder),
            row.certificate,
            row.process,
            row.thickness_from,
            row.thickness_to,
            row.issued_on,
            row.expires_on,
        )
        for row in chosen
    ]


def is_qualified(welder_id: int, process: str, thickness: Decimal, day: date) -> bool:
    """Whether the welder may weld this thickness (mm) by this process on that day."""
    return any(
        one.process == process
        and one.thickness_from <= thickness <= one.thickness_to
        and one.issued_on <= day <= one.expires_on
        for one in qualifications(welder_id)
    )


def weld_starts_of(item_id: int) -> list[WeldStart]:
    """What was said before each arc on the item, the latest first."""
    return list(WeldStart.objects.filter(item=item_id).select_related("welder", "procedure").order_by("-id"))


def items_with_filler(lots: Collection[str]) -> dict[str, list[int]]:
    """By lot of filler, the items on which an arc was struck with it, the first one first; one query."""
    rows = WeldStart.objects.filter(filler_lot__in=list(lots)).order_by("id").values_list("filler_lot", "item_id")
    found: dict[str, list[int]] = {lot: [] for lot in lots}
    for lot, item in rows:
        found[lot].append(item)
    return {lot: list(dict.fromkeys(items)) for lot, items in found.items()}
