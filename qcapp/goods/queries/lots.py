"""How lots were inspected, and how the next one of a family is."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from qcapp.core.errors import NotFound
from qcapp.core.statistics.frequency import parse_frequency
from qcapp.core.statistics.sampling import LotResult, Severity, switching
from qcapp.inspections.queries.sampled import PieceStanding, standing_of_pieces
from qcapp.plans.queries import checkpoints_of_card, released_card
from qcapp.production.queries import FamilyCard, UnitCard, family_by_code
from qcapp.production.queries.as_built import pieces_of

from ..models import Cut, DeliveredLot, LotSample, LotSorting, LotVerdict

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


def has_plan(family: FamilyCard) -> bool:
    """Whether the family has a released inspection plan."""
    try:
        return bool(released_card(family))
    except NotFound:
        return False


def plan_aqls(family: str | FamilyCard) -> dict[str, str]:
    """The AQL of each class that the family's released plan samples, the strictest where it names several.

    Empty where nothing of the plan is sampled. Raises NotFound `no_released_plan`, for a code `family_unknown`.
    """
    found: dict[str, Decimal] = {}
    for card in checkpoints_of_card(released_card(family)):
        frequency = parse_frequency(card.frequency)
        if frequency.aql:
            found[card.criticality] = min(Decimal(frequency.aql), found.get(card.criticality, Decimal(frequency.aql)))
    return {name: format(found[name], "f") for name in sorted(found)}


def planned_aqls(family_code: str) -> dict[str, str]:
    """As `plan_aqls`; empty too where the family has no released plan."""
    try:
        return plan_aqls(family_by_code(family_code))
    except NotFound:
        return {}


def supplier_of(lot_id: int) -> str:
    """Who delivered the lot; empty for one of our own."""
    rows = DeliveredLot.objects.filter(lot=lot_id).values_list("line__delivery__supplier", flat=True)
    return rows.first() or ""


# ---------------------------------------------------------------------------------------------------- switching


@dataclass(frozen=True)
class NextInspection:
    """How the next lot is inspected in one class; `reduced_open` is whether it could be reduced, were that wanted."""

    severity: Severity
    reason: str
    score: int
    reduced_open: bool

    @property
    def stopped(self) -> bool:
        """Whether no lot is inspected until a corrective action has worked."""
        return self.severity is Severity.DISCONTINUED


def next_inspections(
    family_id: int, classes: Collection[str], *, supplier: str = "", steady: bool = False, reduced_wanted: bool = False
) -> dict[str, NextInspection]:
    """Normal, tightened, reduced or discontinued for the next lot of this source, with the reason; one query.

    Each class switches by itself, as the standards say. Lots of one supplier are a series of their own, so are ours;
    isolated lots stand aside.
    """
    rows = LotVerdict.objects.filter(sample__lot__item__family=family_id).exclude(sample__severity=ISOLATED)
    delivered = {"sample__lot__delivered__line__delivery__supplier": supplier}
    rows = rows.filter(**delivered) if supplier else rows.filter(sample__lot__delivered__isnull=True)
    lots = list(rows.select_related("sample").order_by("id"))
    found = {}
    for name in classes:
        history = [_result(row, name) for row in lots if name in row.sample.plans]
        now = switching(history, production_steady=steady, reduced_wanted=reduced_wanted)
        could = switching(history, production_steady=True, reduced_wanted=True)
        reduced = could.severity is Severity.REDUCED and now.severity is not Severity.REDUCED
        found[name] = NextInspection(now.severity, now.reason, now.score, reduced)
    return found


def _result(row: LotVerdict, name: str) -> LotResult:
    """What the lot was in one class. A critical piece counts against every class."""
    plan, found = row.sample.plans[name], row.found[name]
    tighter = plan.get("tighter_accept", found if row.tighter else None)  # samples drawn before each class had its own
    return LotResult(
        accepted=found < plan["reject"] and not row.found.get("critical"),
        accept_number=plan["accept"],
        accepted_one_step_tighter=tighter is not None and found <= tighter,
        found=found,
        severity=Severity(plan.get("severity", row.sample.severity)),
        between_numbers=plan["accept"] < found < plan["reject"],
    )


# ------------------------------------------------------------------------------------------------------ samples


def sample_of(lot_id: int) -> SampleCard | None:
    """The sample of a lot, None before it is drawn."""
    row = LotSample.objects.filter(lot=lot_id).select_related("by", "verdict").first()
    if row is None:
        return None
    verdict = getattr(row, "verdict", None)
    plans = {name: {"severity": row.severity} | plan for name, plan in row.plans.items()}
    return SampleCard(
        row.pk, row.severity, _as_said_now(row.reason), plans, row.pieces, row.by.name, row.at,
        verdict.accepted if verdict else None, verdict.found if verdict else {}, verdict.removed if verdict else [],
        verdict.sentence if verdict else "",
    )  # fmt: skip


def _as_said_now(reason: str) -> str:
    """Samples of earlier versions say that inspection starts "like this", which told nobody why."""
    return reason.replace("Inspection starts like this", switching([]).reason.removesuffix("."))


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
    """The drawn pieces with what their inspection says; six queries, however many they are."""
    drawn = pieces_of(lot_id)
    standing = standing_of_pieces([unit for _, unit in drawn]) if drawn else {}
    return [_piece(number, unit, standing[unit.item_id]) for number, unit in drawn]


def _piece(number: int, unit: UnitCard, standing: PieceStanding) -> PieceCard:
    return PieceCard(number, unit, standing.due, standing.answered, standing.failing)


def sorting_of(lot_id: int) -> SortingCard | None:
    """The sorting of a refused lot, None without one."""
    row = LotSorting.objects.filter(lot=lot_id).select_related("signature__person").first()
    if row is None:
        return None
    return SortingCard(row.checked, row.removed, row.remark, row.signature.person.name, row.at)


def cutters_of(lot_id: int) -> frozenset[int]:
    """Who cut the pieces of the lot, by key."""
    return frozenset(Cut.objects.filter(lot=lot_id).values_list("by_id", flat=True))
