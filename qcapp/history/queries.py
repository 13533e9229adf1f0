"""Everything about one unit, read across the rooms and put in order of time."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from operator import attrgetter
from typing import TYPE_CHECKING

from qcapp.certificates.queries import CertificateCard, ReleaseCard, certificates_of, releases_of
from qcapp.inspections.queries import inspection_of_unit, trace
from qcapp.inspections.queries.timeline import happenings
from qcapp.nonconformance.queries import ConcessionCard, ReportCard, concessions_of, moves_of, reports_of
from qcapp.production.queries import HoldCard, UnitCard, WeldCard, events_of, holds_of, unit_by_serial, welds_of

if TYPE_CHECKING:
    from qcapp.inspections.queries import AnswerView, CheckpointView, InspectionView
    from qcapp.people.models import Person

TRACE = 19  # units behind the one at hand
TRACES_SHOWN = 12


@dataclass(frozen=True)
class Line:
    """One line of what happened. `outcome` picks the mark; `url` leads to the paper behind it."""

    at: datetime
    text: str
    detail: str = ""
    outcome: str = ""
    nearest_limit: str = ""
    kind: str = "attribute"
    url: str = ""
    link: str = ""


@dataclass(frozen=True)
class Watched:
    """A checkpoint near or out of band, with the family's last values behind it."""

    checkpoint: CheckpointView
    answer: AnswerView
    values: list[float]


@dataclass(frozen=True)
class UnitHistory:
    """The one screen of customer service."""

    unit: UnitCard
    inspection: InspectionView
    holds: list[HoldCard]
    reports: list[ReportCard]
    concessions: list[ConcessionCard]
    releases: list[ReleaseCard]
    certificates: list[CertificateCard]
    welds: list[WeldCard]
    lines: list[Line]
    watched: list[Watched]

    @property
    def running_reports(self) -> list[ReportCard]:
        return [report for report in self.reports if not report.ended]

    @property
    def open_holds(self) -> list[HoldCard]:
        return [hold for hold in self.holds if hold.is_open]

    @property
    def answers(self) -> list[CheckpointView]:
        return [one for one in self.inspection.checkpoints if one.state != "not_due"]


def unit_history(serial: str, *, viewer: Person, at: datetime) -> UnitHistory:
    """The whole history of a unit. First answers that still need a second inspection stay hidden from who may give it.

    Raises NotFound `serial_unknown`.
    """
    unit = unit_by_serial(serial)
    inspection = inspection_of_unit(unit, viewer=viewer, at=at)
    holds, reports = holds_of(unit.item_id), reports_of(unit.item_id)
    releases, certificates = releases_of(unit.item_id), certificates_of(unit.item_id)
    lines = [
        *_opened(unit), *_inspected(unit, inspection), *_answers(inspection), *_reported(reports), *_lifted(holds),
        *_moved(unit), *_released(releases), *_certified(certificates),
    ]  # fmt: skip
    return UnitHistory(
        unit=unit, inspection=inspection, holds=holds, reports=reports, concessions=concessions_of(unit.item_id),
        releases=releases, certificates=certificates, welds=welds_of(unit.item_id),
        lines=sorted(lines, key=attrgetter("at"), reverse=True), watched=_watched(inspection),
    )  # fmt: skip


def _opened(unit: UnitCard) -> list[Line]:
    order = f", order {unit.order_number}" if unit.order_number else ""
    return [Line(unit.opened_at, f"Opened as {unit.family_name}{order}", unit.opened_by_name)]


def _inspected(unit: UnitCard, inspection: InspectionView) -> list[Line]:
    return [Line(one.at, one.sentence, one.person_name) for one in happenings(unit.item_id) if one.what != "recorded"]


def _answers(inspection: InspectionView) -> list[Line]:
    """Answers near or out of band, of this round and the ones before."""
    lines = []
    for checkpoint in inspection.checkpoints:
        for answer in (*checkpoint.earlier, *checkpoint.given):
            if answer.outcome in {"near_limit", "out_of_band", "does_not_conform"}:
                lines.append(_answer_line(checkpoint, answer))
    return lines


def _answer_line(checkpoint: CheckpointView, answer: AnswerView) -> Line:
    card = checkpoint.card
    gauge = f" · {answer.gauge_number}" if answer.gauge_number else ""
    return Line(
        answer.recorded_at,
        f"{card.title}: {answer.described}, {str(answer.outcome).replace('_', ' ')} ({card.limits_text})",
        f"{card.number} · {answer.person_name}{gauge} · round {answer.round}",
        str(answer.outcome), answer.nearest_limit or "", card.kind,
    )  # fmt: skip


def _reported(reports: list[ReportCard]) -> list[Line]:
    lines = []
    for report in reports:
        url = f"/nonconformances/{report.number}/"
        lines.append(Line(report.raised_at, f"{report.number} raised: {report.title}", report.raised_by_name, url=url, link=report.number))
        for move in moves_of(report.id):
            detail = f"{move.by_name}{f' · {move.note}' if move.note else ''}"
            lines.append(Line(move.at, f"{report.number}: {move.label}", detail, url=url, link=report.number))
    return lines


def _lifted(holds: list[HoldCard]) -> list[Line]:
    return [
        Line(hold.lifted_at, f"Hold of {hold.source} lifted", f"{hold.lifted_by_name} · {hold.lift_reason}")
        for hold in holds
        if hold.lifted_at is not None
    ]


def _moved(unit: UnitCard) -> list[Line]:
    return [
        Line(event.at, f"Unit is {event.state_label}", f"{event.by_name}{f' · {event.reason}' if event.reason else ''}")
        for event in events_of(unit.id)
        if event.move not in {"release", "withdraw_release"}
    ]


def _released(releases: list[ReleaseCard]) -> list[Line]:
    return [
        Line(
            one.at, "Released" if one.given else f"Release withdrawn: {one.reason}",
            f"{one.person_name}, {one.role.replace('_', ' ')}", "conforms" if one.given else "does_not_conform",
        )
        for one in releases
    ]  # fmt: skip


def _certified(certificates: list[CertificateCard]) -> list[Line]:
    lines = []
    for one in certificates:
        lines.append(
            Line(
                one.issued_at, f"Certificate {one.number} issue {one.issue} issued", one.issued_by_name, "conforms",
                url=f"/certificates/{one.number}/{one.issue}.pdf", link="PDF",
            )
        )  # fmt: skip
        if one.withdrawn_at is not None:
            text = f"Certificate {one.number} issue {one.issue} withdrawn: {one.withdrawn_reason}"
            lines.append(Line(one.withdrawn_at, text, "", "does_not_conform"))
    return lines


def _watched(inspection: InspectionView) -> list[Watched]:
    """Measured checkpoints whose answer is near or out of band now or was in an earlier round, the worst first."""
    found = []
    for checkpoint in inspection.checkpoints:
        answer = checkpoint.counts
        seen = [*checkpoint.earlier, *checkpoint.given]
        bad = [one for one in seen if one.outcome in {"near_limit", "out_of_band"}]
        if answer is None or not bad or checkpoint.card.kind not in {"measured", "derived"}:
            continue
        found.append((checkpoint, answer))
    found.sort(key=lambda pair: pair[1].outcome != "out_of_band")
    return [
        Watched(checkpoint, answer, [*trace(checkpoint.card.characteristic_id, answer.result_id, TRACE), *_plotted(answer)])
        for checkpoint, answer in found[:TRACES_SHOWN]
    ]


def _plotted(answer: AnswerView) -> list[float]:
    texts = answer.answer.get("values") or [answer.answer.get("value")]
    return [float(texts[-1])] if texts and texts[-1] is not None else []
