"""How lots were inspected, and how the next one of a family is."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from qcapp.core.statistics.sampling import LotResult, Severity, Switching, switching
from qcapp.inspections.queries import inspection_of_unit
from qcapp.production.queries import UnitCard
from qcapp.production.queries.as_built import pieces_of

from ..models import LotSample, LotSorting, LotVerdict, OutsideProcess

ISOLATED = "isolated"


@dataclass(frozen=True)
class PieceCard:
    """A drawn piece: how far it is answered, and in which classes it does not conform."""

    number: int
    unit: UnitCard
    due: int
    answered: int
    nonconforming: frozenset[str]

    @property
    def done(self) -> bool:
        return self.answered == self.due


@dataclass(frozen=True)
class SampleCard:
    """The sample of a lot and what it said."""

    id: int
    severity: str
    reason: str
    plans: dict[str, dict[str, Any]]
    pieces: list[int]
    by_name: str
    at: datetime
    accepted: bool | None
    found: dict[str, int]
    removed: list[int]
    sentence: str


@dataclass(frozen=True)
class SortingCard:
    checked: int
    removed: int
    remark: str
    person_name: str
    at: datetime


@dataclass(frozen=True)
class OutsideCard:
    """A lot sent out for a process, and its return."""

    id: int
    kind_label: str
    supplier: str
    high_strength: bool
    by_name: str
    at: datetime
    returned_at: datetime | None
    delivery_number: str
    bake: str


def next_inspection(family_id: int, *, steady: bool = False, reduced_wanted: bool = False) -> Switching:
    """Normal, tightened, reduced or discontinued for the family's next lot, with the reason; isolated lots aside."""
    rows = LotVerdict.objects.filter(sample__lot__item__family=family_id).exclude(sample__severity=ISOLATED)
    history = [_result(row) for row in rows.select_related("sample").order_by("id")]
    return switching(history, production_steady=steady, reduced_wanted=reduced_wanted)


def _result(row: LotVerdict) -> LotResult:
    return LotResult(
        accepted=row.accepted,
        accept_number=min(plan["accept"] for plan in row.sample.plans.values()),
        accepted_one_step_tighter=row.tighter,
        found=sum(row.found.values()),
        severity=Severity(row.sample.severity),
        between_numbers=row.between,
    )


def sample_of(lot_id: int) -> SampleCard | None:
    """The sample of a lot, None before it is drawn."""
    row = LotSample.objects.filter(lot=lot_id).select_related("by", "verdict").first()
    if row is None:
        return None
    verdict = getattr(row, "verdict", None)
    return SampleCard(
        row.pk, row.severity, row.reason, row.plans, row.pieces, row.by.name, row.at,
        verdict.accepted if verdict else None, verdict.found if verdict else {}, verdict.removed if verdict else [],
        verdict.sentence if verdict else "",
    )  # fmt: skip


@dataclass(frozen=True)
class OpenSample:
    """A lot whose drawn pieces wait for their answers."""

    code: str
    family_name: str
    pieces: int


def open_samples(limit: int) -> list[OpenSample]:
    """The samples that are drawn and not judged, the oldest first."""
    rows = LotSample.objects.filter(verdict__isnull=True).select_related("lot__item__family").order_by("id")
    return [OpenSample(row.lot.code, row.lot.item.family.name, len(row.pieces)) for row in rows[:limit]]


def drawn_pieces(lot_id: int) -> list[PieceCard]:
    """The drawn pieces with what their inspection says."""
    return [_piece(number, unit) for number, unit in pieces_of(lot_id)]


def _piece(number: int, unit: UnitCard) -> PieceCard:
    view = inspection_of_unit(unit)
    failing = {one.card.criticality for one in view.checkpoints if one.counts is not None and not one.counts.passes}
    return PieceCard(number, unit, view.progress.due, view.progress.answered, frozenset(failing))


def sorting_of(lot_id: int) -> SortingCard | None:
    """The sorting of a refused lot, None without one."""
    row = LotSorting.objects.filter(lot=lot_id).select_related("signature__person").first()
    if row is None:
        return None
    return SortingCard(row.checked, row.removed, row.remark, row.signature.person.name, row.at)


def sent_out(lot_id: int) -> list[OutsideCard]:
    """What was done to the lot outside, the latest first."""
    rows = OutsideProcess.objects.filter(lot=lot_id).select_related("by", "returned__delivery").order_by("-id")
    return [_outside(row) for row in rows]


def _outside(row: OutsideProcess) -> OutsideCard:
    back = getattr(row, "returned", None)
    bake = f"{back.bake_hours} h at {back.bake_temperature} °C" if back and back.bake_hours is not None else ""
    return OutsideCard(
        row.pk, row.get_kind_display(), row.supplier, row.high_strength, row.by.name, row.at,
        back.at if back else None, back.delivery.number if back else "", bake,
    )  # fmt: skip
