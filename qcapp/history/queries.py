"""Everything about one unit, read across the rooms and put in order of time."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from operator import attrgetter
from typing import TYPE_CHECKING, Any
from uuid import UUID

from qcapp.audit.queries import EntryRow, entries_about
from qcapp.audit.verbs import Verb
from qcapp.certificates.queries import CertificateCard, certificates_of
from qcapp.core.checkpoints.kinds import kind
from qcapp.customers.queries import DispatchCard, EventCard, dispatches, events_of
from qcapp.inspections.queries import inspection_of_unit, traces
from qcapp.inspections.queries.beside import photos_of
from qcapp.inspections.queries.secrets import secrets_of
from qcapp.inspections.queries.story import replaced_answers
from qcapp.nonconformance.cards import ConcessionCard, ReportCard
from qcapp.nonconformance.queries import has_reports, moves_by_report, reports_of
from qcapp.people.queries import names_of
from qcapp.production.queries import HoldCard, UnitCard, WeldCard, unit_by_serial, welds_of
from qcapp.production.queries.as_built import Node, tree_of
from qcapp.production.queries.places import MarkCard, WhereCard, marks_of, whereabouts

from . import lines
from .documents import UnitDocument, documents_of
from .lines import Line

if TYPE_CHECKING:
    from qcapp.inspections.queries import AnswerView, CheckpointView, InspectionView
    from qcapp.people.models import Person
    from qcapp.plans.cards import CheckpointCard

TRACE = 19  # units behind the one at hand
TRACES_SHOWN = 12
WATCHED = frozenset({"near_limit", "out_of_band"})


@dataclass(frozen=True)
class Watched:
    """A checkpoint near or out of band, with the family's last values behind it, this unit's last of all."""

    checkpoint: CheckpointView
    answer: AnswerView
    values: list[float]


@dataclass(frozen=True)
class UnitHistory:
    """The one screen of customer service."""

    unit: UnitCard
    inspection: InspectionView
    reports: list[ReportCard]
    certificates: list[CertificateCard]
    welds: list[WeldCard]
    lines: list[Line]
    watched: list[Watched]
    tree: Node
    marks: list[MarkCard]
    where: WhereCard | None
    dispatch: DispatchCard | None
    events: list[EventCard]
    picture: UUID | None = None
    documents: list[UnitDocument] = field(default_factory=list)

    @property
    def has_joints(self) -> bool:
        """Whether there is a weld map: the plan names joints, or some were welded."""
        return bool(self.welds) or any(one.card.joint for one in self.inspection.checkpoints)

    @property
    def running_reports(self) -> list[ReportCard]:
        return [report for report in self.reports if not report.ended]

    @property
    def concessions(self) -> list[ConcessionCard]:
        """The concessions in force."""
        return [report.concession for report in self.reports if report.concession is not None]

    @property
    def open_holds(self) -> tuple[HoldCard, ...]:
        return self.inspection.holds


def unit_history(serial: str, *, viewer: Person, at: datetime) -> UnitHistory:
    """The whole history of a unit, newest first; sixteen queries, one more where no answer failed, and of its parts.

    First answers that still need a second inspection stay hidden from who may give it, and so does what reports and
    decisions say about them. Raises NotFound `serial_unknown`.
    """
    unit = unit_by_serial(serial)
    inspection = inspection_of_unit(unit, viewer=viewer, at=at)
    secret = secrets_of(inspection)
    entries = entries_about(f"unit {unit.serial}")
    names = _names(entries, inspection)
    reports = reports_of(unit.item_id, secret=secret) if _failed(inspection) or has_reports(unit.item_id) else []
    moves = moves_by_report([report.id for report in reports], secret)
    certificates = certificates_of(unit.item_id) if _was_released(entries) else []
    hidden = [one.card.number for one in inspection.checkpoints if one.hidden]
    happened = [
        *lines.of_acts(reversed(entries), names, hidden),
        *lines.of_answers(_answers(inspection, replaced_answers(inspection, secret))),
        *lines.of_reports(reports, moves),
        *lines.of_certificates(certificates),
    ]
    acts: set[str] = {entry.verb for entry in entries}
    built = _as_built(unit, acts)
    return UnitHistory(
        unit=unit,
        inspection=inspection,
        reports=reports,
        certificates=certificates,
        welds=_welds(unit.item_id) if any(one.card.joint for one in inspection.checkpoints) else [],
        lines=sorted(happened, key=attrgetter("at"))[::-1],  # of one instant, what followed comes first
        watched=_watched(inspection),
        picture=_picture(unit, inspection) if Verb.PHOTO_KEPT in acts else None,
        documents=documents_of(inspection, built["tree"], acts),
        **built,
    )


def _failed(inspection: InspectionView) -> bool:
    """Whether an answer of any round failed: then a report stands, and nobody has to ask whether there is one."""
    return any(not answer.passes for one in inspection.checkpoints for answer in (*one.earlier, *one.given))


def _picture(unit: UnitCard, inspection: InspectionView) -> UUID | None:
    """The last photo of the unit, but for those at checkpoints whose first answer is still kept back."""
    hidden = {one.card.characteristic_id for one in inspection.checkpoints if one.hidden}
    shown = [photo.file for photo in photos_of(unit.item_id) if photo.characteristic_id not in hidden]
    return shown[-1] if shown else None


def _as_built(unit: UnitCard, acts: set[str]) -> dict[str, Any]:
    """Parts, marks, place, dispatch and service events, each asked for only when an act on the unit tells of it."""
    item = unit.item_id
    built = acts & {Verb.COMPONENT_INSTALLED, Verb.MATERIAL_USED}
    return {
        "tree": tree_of(unit) if built else Node("unit", unit.serial, unit.family_name, unit.state_label),
        "marks": marks_of(item) if Verb.UNIT_MARKED in acts else [],
        "where": whereabouts([item]).get(item) if Verb.UNIT_MOVED in acts else None,
        "dispatch": dispatches([item]).get(item) if Verb.UNIT_DISPATCHED in acts else None,
        "events": events_of(item) if Verb.SERVICE_RECORDED in acts else [],
    }


def _was_released(entries: Iterable[EntryRow]) -> bool:
    """Whether a certificate can exist at all."""
    return any(entry.verb == Verb.RELEASE_GIVEN for entry in entries)


def _names(entries: list[EntryRow], inspection: InspectionView) -> Mapping[str, str]:
    """The names of everybody in the acts, those who inspected known from their answers; and of the plan's stages."""
    known = {str(answer.person_uuid): answer.person_name for one in inspection.checkpoints for answer in one.given}
    missing = lines.people_in(entries) - known.keys()
    stages = {f"stage {stage.card.number}": stage.card.name for stage in inspection.stages}
    return known | stages | (names_of(missing) if missing else {})


def _welds(item_id: int) -> list[WeldCard]:
    """Who welded each joint, by its latest record, in the order of the joints."""
    latest: dict[str, WeldCard] = {}
    for weld in welds_of(item_id):
        latest.setdefault(weld.joint, weld)
    return [latest[joint] for joint in sorted(latest, key=lambda joint: (len(joint), joint))]


def _answers(inspection: InspectionView, replaced: list[AnswerView]) -> list[tuple[CheckpointCard, AnswerView]]:
    """Every answer that is shown, beside its checkpoint: of all rounds, and those that were replaced."""
    cards = {one.card.id: one.card for one in inspection.checkpoints}
    standing = [answer for one in inspection.checkpoints for answer in (*one.earlier, *one.given)]
    return [(cards[answer.checkpoint_id], answer) for answer in (*replaced, *standing)]


def _watched(inspection: InspectionView) -> list[Watched]:
    """Measured checkpoints near or out of band in any round, each with its last answer, the worst first."""
    found = [
        (one, (*one.earlier, *((one.counts,) if one.counts else ()))[-1])
        for one in inspection.checkpoints
        if one.card.kind in {"measured", "derived"}
        and any(answer.outcome in WATCHED for answer in (*one.earlier, *one.given))
    ]
    found.sort(key=lambda pair: pair[1].outcome != "out_of_band")
    shown = found[:TRACES_SHOWN]
    values = traces({one.card.characteristic_id: answer.result_id for one, answer in shown}, TRACE)
    return [
        Watched(one, answer, [*values[one.card.characteristic_id], *_plotted(one.card, answer)])
        for one, answer in shown
    ]


def _plotted(card: CheckpointCard, answer: AnswerView) -> list[float]:
    """The value as the traces plot it, for drawing only."""
    reader = kind(card.kind)
    plot = reader.assess(reader.read_answer(answer.answer, card.spec), card.spec).plot
    return [] if plot is None else [plot]
