"""Readers of deliveries, mill certificates and what was decided about heats."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.db.models import QuerySet

from qcapp.core.errors import NotFound
from qcapp.lib.plain_text import shown
from qcapp.production.states import LotState

from ..models import CertifiedHeat, Cut, Delivery, DeliveryLine, GradeCheck, HeatDecision, MillCertificate


@dataclass(frozen=True)
class LineCard:
    """One line of a delivery."""

    position: int
    description: str
    quantity: Decimal
    unit_of_measure: str
    heat_number: str
    lot_code: str = ""  # where the family has a plan
    lot_state: str = ""


@dataclass(frozen=True)
class DeliveryCard:
    """What came in on one note."""

    id: int
    number: str
    supplier: str
    order_number: str
    note_number: str
    received_at: datetime
    by_name: str
    lines: tuple[LineCard, ...]


@dataclass(frozen=True)
class CertifiedCard:
    """What a mill certificate says of one heat, with the findings of the check at entry."""

    heat_id: int
    heat_number: str
    certificate_number: str
    supplier: str
    grade: str
    specification: str
    condition: str
    size: str
    thickness: Decimal | None
    composition: dict[str, str]
    properties: dict[str, str]
    conforms: bool
    findings: list[dict[str, Any]]
    carbon_equivalent: str
    cracking: str
    paper_uuid: UUID
    paper_name: str
    paper_digest: str
    by_name: str
    at: datetime

    @property
    def against(self) -> list[dict[str, Any]]:
        """The findings that stand against the grade."""
        return [one for one in self.findings if one["required"] and not one["ok"]]


@dataclass(frozen=True)
class DecisionCard:
    """A signed decision about a heat."""

    verdict: str
    reason: str
    person_name: str
    role: str
    at: datetime


@dataclass(frozen=True)
class HeatEvent:
    """A cut or a grade check of a heat, in words."""

    text: str
    by_name: str
    at: datetime


def deliveries(limit: int = 100) -> list[DeliveryCard]:
    """The deliveries received last, the newest first."""
    return [_delivery(row) for row in _deliveries().order_by("-received_at", "-id")[:limit]]


def delivery_by_number(number: str) -> DeliveryCard:
    """The delivery of that number. Raises NotFound `delivery_unknown`."""
    wanted = number.strip()
    row = None if "\0" in wanted else _deliveries().filter(number__iexact=wanted).first()
    if row is None:
        raise NotFound("delivery_unknown", f"There is no delivery {shown(wanted)}; choose one from the list.")
    return _delivery(row)


def heats_of_deliveries(numbers: Collection[str]) -> list[int]:
    """The keys of the heats that came with these deliveries; none for one that is not known."""
    rows = DeliveryLine.objects.filter(delivery__number__in=numbers, heat__isnull=False).order_by("id")
    return list(dict.fromkeys(key for key in rows.values_list("heat_id", flat=True) if key is not None))


def heats_in(delivery_id: int) -> set[int]:
    """The keys of the heats that a delivery brought: on its lines, and on the mill certificates that came with it."""
    lines = DeliveryLine.objects.filter(delivery=delivery_id, heat__isnull=False).values_list("heat_id", flat=True)
    papers = CertifiedHeat.objects.filter(certificate__delivery=delivery_id).values_list("heat_id", flat=True)
    return {key for key in (*lines, *papers) if key is not None}


def deliveries_of_heats(heat_ids: Iterable[int]) -> dict[str, str]:
    """The deliveries that brought one of these heats, by number the supplier."""
    rows = DeliveryLine.objects.filter(heat__in=list(heat_ids)).order_by("delivery_id")
    return dict(rows.values_list("delivery__number", "delivery__supplier"))


def _deliveries() -> QuerySet[Delivery]:
    return Delivery.objects.select_related("by").prefetch_related("lines__heat", "lines__delivered_lot__lot")


def _delivery(row: Delivery) -> DeliveryCard:
    lines = sorted(row.lines.all(), key=lambda line: line.position)
    return DeliveryCard(
        row.pk, row.number, row.supplier, row.order_number, row.note_number, row.received_at, row.by.name,
        tuple(
            LineCard(
                line.position, line.description, line.quantity, line.unit_of_measure,
                line.heat.number if line.heat else "", *_lot_of(line),
            )
            for line in lines
        ),
    )  # fmt: skip


def _lot_of(line: DeliveryLine) -> tuple[str, str]:
    made = getattr(line, "delivered_lot", None)
    return (made.lot.code, LotState(made.lot.state).label) if made else ("", "")


def papers_of_delivery(delivery_id: int) -> list[CertifiedCard]:
    """What the mill certificates that came with a delivery say."""
    return [_certified(row) for row in _papers().filter(certificate__delivery=delivery_id)]


def certified_of(certificate_id: int) -> list[CertifiedCard]:
    """The heats that a mill certificate covers, in the order entered."""
    return [_certified(row) for row in _papers().filter(certificate=certificate_id)]


def papers_of_heat(heat_id: int) -> list[CertifiedCard]:
    """Every paper about a heat, the oldest first."""
    return [_certified(row) for row in _papers().filter(heat=heat_id)]


def _papers() -> QuerySet[CertifiedHeat]:
    return CertifiedHeat.objects.select_related("heat", "certificate__paper", "certificate__by").order_by("id")


def _certified(row: CertifiedHeat) -> CertifiedCard:
    paper = row.certificate
    return CertifiedCard(
        heat_id=row.heat_id,
        heat_number=row.heat.number,
        certificate_number=paper.number,
        supplier=paper.supplier,
        grade=row.heat.grade,
        specification=row.specification,
        condition=row.condition,
        size=row.size,
        thickness=row.thickness,
        composition=row.composition,
        properties=row.properties,
        conforms=row.conforms,
        findings=row.findings,
        carbon_equivalent=row.carbon_equivalent,
        cracking=row.cracking,
        paper_uuid=paper.paper.uuid,
        paper_name=paper.paper.name,
        paper_digest=paper.paper.digest,
        by_name=paper.by.name,
        at=paper.at,
    )


def mill_certificates_by_key(keys: Collection[int]) -> list[tuple[int, str, str, UUID, set[int]]]:
    """Key, number, supplier, paper and heats of these mill certificates, in the order entered."""
    rows = MillCertificate.objects.filter(pk__in=keys).select_related("paper").prefetch_related("heats").order_by("id")
    return [
        (row.pk, row.number, row.supplier, row.paper.uuid, {one.heat_id for one in row.heats.all()}) for row in rows
    ]


def mill_certificates_of(heat_ids: Collection[int]) -> list[tuple[str, str, UUID]]:
    """Number, supplier and paper of the mill certificates that cover one of these heats, in the order entered."""
    rows = MillCertificate.objects.filter(heats__heat__in=heat_ids).order_by("id").distinct()
    return list(rows.values_list("number", "supplier", "paper__uuid"))


def decisions_of_heat(heat_id: int) -> list[DecisionCard]:
    """The signed decisions about a heat, the latest first."""
    rows = HeatDecision.objects.filter(heat=heat_id).select_related("signature__person").order_by("-id")
    return [
        DecisionCard(row.verdict, row.reason, row.signature.person.name, row.signature.role.replace("_", " "), row.at)
        for row in rows
    ]


def events_of_heat(heat_id: int) -> list[HeatEvent]:
    """Cuts and grade checks of a heat, the latest first."""
    cuts = Cut.objects.filter(heat=heat_id).select_related("by", "lot")
    checks = GradeCheck.objects.filter(heat=heat_id).select_related("by", "issue__item__lot", "issue__item__unit")
    found = [HeatEvent(_cut_text(row), row.by.name, row.at) for row in cuts]
    for row in checks:
        verdict = "as entered" if row.conforms else "not the heat's grade"
        text = [f"Grade verified by {row.method}: {row.grade_found}, {verdict}.", *_issue_text(row)]
        found.append(HeatEvent(" ".join(text), row.by.name, row.at))
    return sorted(found, key=lambda event: event.at, reverse=True)


def _issue_text(row: GradeCheck) -> list[str]:
    """What the check let go, where that was asked for."""
    issue = getattr(row, "issue", None)
    if issue is None:
        return []
    item = issue.item
    name = next((str(getattr(item, kind)) for kind in ("lot", "unit") if hasattr(item, kind)), "")
    return [f"Issued for {name}." if name else "Issued."]


def _cut_text(row: Cut) -> str:
    rest = f"Remnant {row.remnant} marked." if row.remnant else "Nothing left."
    lot = row.lot
    cut = f"{row.stock} cut into {row.pieces} for lot {lot.code}, mark transferred." if lot else ""
    return " ".join([cut or f"{row.stock} cut into {row.pieces}, mark transferred.", rest])
