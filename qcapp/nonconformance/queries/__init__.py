"""Readers of nonconformance reports and concessions.

`viewer` is the person who looks. Without one, or for anyone who could still give the second inspection, what was
found stays hidden until that is given.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING, Any

from django.db.models import Count, F, Q, QuerySet, Sum
from django.db.models.functions import Coalesce

from qcapp.core.errors import NotFound
from qcapp.inspections.queries.secrets import Place, kept_secret
from qcapp.lib.plain_text import shown

from ..cards import SECRET, ConcessionCard, MoveCard, PartCard, ProposalCard, ReportCard, ReportView
from ..models import Concession, DispositionProposal, Move, Report, ReportItem
from ..states import ENDED, NEEDS_CORRECTION, REPORT_STATES, Disposition, Method, ReportState
from . import details

if TYPE_CHECKING:
    from qcapp.people.models import Person

LONGEST_LIST = 200
DETAILS = (
    "status__decided__concession", "item__unit", "item__family", "checkpoint__characteristic", "raised_by", "result",
)  # fmt: skip
ENDED_VALUES = [state.value for state in ENDED]


# ---------------------------------------------------------------------------------------------------- reports


def report_row(number: str) -> Report:
    """The row of a report. Raises NotFound `report_unknown`."""
    row = None if "\0" in number else _reports().filter(number__iexact=number.strip()).first()
    if row is None:
        name = shown(number)
        raise NotFound("report_unknown", f"There is no report {name}; look it up in the list of reports.", number=name)
    return row


def units_of_report(number: str) -> list[int]:
    """The keys of the units that a report is about, in the order in which they are locked; none for a lot."""
    rows = Report.objects.none() if "\0" in number else Report.objects.filter(number__iexact=number.strip())
    further = ReportItem.objects.filter(report__in=rows).values_list("item__unit", flat=True)
    units = {*rows.values_list("item__unit", flat=True), *further}
    return sorted(unit for unit in units if unit is not None)


def report(number: str, *, viewer: Person | None = None, at: datetime | None = None) -> ReportView:
    """One report with its moves, its latest proposal and what may be done next. Raises NotFound `report_unknown`."""
    row = report_row(number)
    moves = list(_moves([row.pk]))
    secret = kept_secret([*_places([row]), *_places_of_moves(row, moves)], viewer=viewer, at=at)
    card = _card(row, secret)
    proposal = None if card.hidden else proposal_of(row.pk)
    item_ids, turn = details.item_ids_of(row), sum(move.name == "start_correction" for move in moves)
    decided = row.status.decided
    return ReportView(
        card=card,
        description="" if card.hidden else row.description,
        cause=row.status.get_cause_display(),
        facts={} if card.hidden else json.loads(row.facts),
        raised_by_id=row.raised_by_id,
        result_id=row.result_id,
        recorded_by_id=None if row.result is None else row.result.person_id,
        moves=[_move(move, row, secret) for move in moves],
        proposal=proposal,
        concession=card.concession,
        possible=possible_moves(row),
        serials=tuple(details.serials_of(item_ids)),
        item_ids=tuple(item_ids),
        quantity=details.quantity_of(row),
        pictures=() if card.hidden else tuple(details.pictures_of(row.pk)),
        steps=() if decided is None or card.hidden else tuple(details.steps_of(decided.pk, turn)),
        turn=turn,
        destructions=tuple(details.destructions_of(row.pk)),
        return_note=details.return_note_of(row.pk),
        marks=() if card.hidden else tuple(details.marks_of_report(row.pk)),
        checkpoint_id=None if card.hidden else row.checkpoint_id,
    )


def possible_moves(row: Report) -> list[str]:
    """The moves that state and disposition allow: a decided report is either corrected or closed."""
    decided = row.status.decided
    corrected = decided is not None and Disposition(decided.disposition) in NEEDS_CORRECTION
    left_out = "close_without_correction" if corrected else "start_correction"
    return [move for move in REPORT_STATES.possible(row.status.state) if move != left_out]


def reports(
    *,
    state: str = "",
    serial: str = "",
    limit: int = LONGEST_LIST,
    viewer: Person | None = None,
    at: datetime | None = None,
) -> list[ReportCard]:
    """Reports, the latest first. `state` is a state's name, or `active` for all that have not ended."""
    rows = _reports().order_by("-id")
    if state == "active":
        rows = rows.exclude(status__state__in=ENDED_VALUES)
    elif state:
        rows = rows.filter(status__state=state) if state in set(ReportState) else rows.none()
    if serial:
        rows = rows.none() if "\0" in serial else rows.filter(item__unit__serial__iexact=serial.strip())
    return _cards(list(rows[:limit]), viewer, at)


def to_correct(*, viewer: Person | None, at: datetime, limit: int = 60) -> list[ReportCard]:
    """Reports whose rework or repair is to be done, or is begun; waiting longest first."""
    begun = [ReportState.DECIDED, ReportState.IN_CORRECTION]
    rows = _reports().filter(status__state__in=begun, status__decided__disposition__in=list(NEEDS_CORRECTION))
    return _cards(list(rows.order_by("status__changed_at", "id")[:limit]), viewer, at)


def corrections_waiting() -> int:
    """How many those are; one query."""
    begun = [ReportState.DECIDED, ReportState.IN_CORRECTION]
    needed = list(NEEDS_CORRECTION)
    return Report.objects.filter(status__state__in=begun, status__decided__disposition__in=needed).count()


def counts_by_state() -> dict[str, int]:
    """How many reports stand in each state."""
    rows = Report.objects.values("status__state").annotate(n=Count("id")).order_by()
    found = {row["status__state"]: row["n"] for row in rows}
    return {state.value: found.get(state.value, 0) for state in ReportState}


def reports_of(
    item_id: int,
    *,
    viewer: Person | None = None,
    at: datetime | None = None,
    secret: Collection[Place] | None = None,
) -> list[ReportCard]:
    """Every report about an item, the first one first; `secret` spares the question when the caller knows it.

    A report over several units is one of each.
    """
    rows = list(_reports().filter(_about(item_id)).order_by("id"))
    return _cards(rows, viewer, at) if secret is None else [_card(row, secret) for row in rows]


def has_reports(item_id: int) -> bool:
    """Whether `reports_of` finds any: for most items it does not, and takes ten times as long to say so."""
    return Report.objects.filter(_about(item_id)).exists()


def _about(item_id: int) -> Q:
    """Reports about the item alone, and those over several that name it."""
    return Q(item=item_id) | Q(pk__in=ReportItem.objects.filter(item=item_id).values("report"))


def open_reports(item_id: int) -> list[ReportCard]:
    """The reports about an item that have not ended."""
    return [card for card in reports_of(item_id) if not card.ended]


def report_numbers_by_result(item_id: int) -> dict[int, str]:
    """For each result that raised a report, its number."""
    rows = Report.objects.filter(item=item_id, result__isnull=False)
    return dict(rows.values_list("result_id", "number"))


def active_by_checkpoint(item_id: int) -> dict[int, str]:
    """For each checkpoint of the item with a report that has not ended, the number of the latest one."""
    rows = Report.objects.filter(item=item_id, checkpoint__isnull=False)
    rows = rows.exclude(status__state__in=ENDED_VALUES).order_by("id")
    return dict(rows.values_list("checkpoint_id", "number"))


def _reports() -> QuerySet[Report]:
    return Report.objects.select_related(*DETAILS)


def _places(rows: Iterable[Report]) -> list[Place]:
    """Where the answers stand that the reports were raised by."""
    return [(row.item_id, row.checkpoint_id, row.result.round) for row in rows if row.checkpoint_id and row.result]


def _cards(rows: list[Report], viewer: Person | None, at: datetime | None) -> list[ReportCard]:
    secret = kept_secret(_places(rows), viewer=viewer, at=at)
    return [_card(row, secret) for row in rows]


def _card(row: Report, secret: Collection[Place]) -> ReportCard:
    unit = getattr(row.item, "unit", None)
    decided = row.status.decided
    hidden = any(place in secret for place in _places([row]))
    return ReportCard(
        id=row.pk,
        uuid=row.uuid,
        number=row.number,
        title=SECRET if hidden else row.title,
        severity=row.severity,
        state=row.status.state,
        state_label=ReportState(row.status.state).label,
        disposition="" if decided is None else decided.disposition,
        disposition_label="" if decided is None else Disposition(decided.disposition).label,
        item_id=row.item_id,
        serial="" if unit is None else unit.serial,
        unit_id=None if unit is None else unit.pk,
        family_code=row.item.family.code,
        checkpoint_number=None if row.checkpoint is None else row.checkpoint.characteristic.number,
        checkpoint_id=row.checkpoint_id,
        raised_at=row.raised_at,
        raised_by_name=row.raised_by.name,
        changed_at=row.status.changed_at,
        procedure="" if decided is None else decided.procedure,
        reinspected=0 if decided is None else len(decided.reinspect),
        concession=_concession_in_force(row),
        hidden=hidden,
    )


# ------------------------------------------------------------------------------------------ moves, dispositions


def moves_of(report_id: int) -> list[MoveCard]:
    """The steps of a report, the first one first, with nothing kept back: for the services."""
    return [_move(row, None, ()) for row in _moves([report_id])]


def moves_by_report(report_ids: Collection[int], secret: Collection[Place] = ()) -> dict[int, list[MoveCard]]:
    """The steps of several reports in one query, the first one first."""
    found: dict[int, list[MoveCard]] = defaultdict(list)
    for row in _moves(report_ids) if report_ids else ():
        found[row.report_id].append(_move(row, row.report, secret))
    return dict(found)


def _moves(report_ids: Collection[int]) -> QuerySet[Move]:
    rows = Move.objects.filter(report__in=report_ids).select_related("by", "signature", "report__result")
    return rows.order_by("id")


def _places_of_moves(row: Report, moves: Iterable[Move]) -> list[Place]:
    return [place for move in moves if (place := _place_of_move(row, move.data))]


def _place_of_move(row: Report, data: str) -> Place | None:
    """Where the answer stands that a step tells of, if it tells of one."""
    told = json.loads(data)
    return (row.item_id, told["checkpoint_id"], told["round"]) if "checkpoint_id" in told else None


def _move(move: Move, row: Report | None, secret: Collection[Place]) -> MoveCard:
    hidden = row is not None and bool(secret) and _tells_secret(move, row, secret)
    data: dict[str, Any] = {} if hidden else json.loads(move.data)
    return MoveCard(
        name=move.name,
        to_state=move.to_state,
        note=SECRET if hidden and move.note else move.note,
        data=data,
        by_id=move.by_id,
        by_name=move.by.name,
        signed="" if move.signature is None else move.signature.get_method_display(),
        at=move.at,
    )


def _tells_secret(move: Move, row: Report, secret: Collection[Place]) -> bool:
    """A step of a hidden report, or one that tells of a hidden answer."""
    return any(place in secret for place in _places([row])) or _place_of_move(row, move.data) in secret


def proposal_of(report_id: int) -> ProposalCard | None:
    """The disposition proposed last: an older proposal no longer counts."""
    rows = DispositionProposal.objects.filter(report=report_id)
    row = rows.select_related("by", "customer_approval", "permit", "under").order_by("-id").first()
    if row is None:
        return None
    lines = list(row.signatures.select_related("signature__person"))
    signed = {line.role: line.signature.person.name for line in lines}
    parts = details.parts_of(row.pk)
    return ProposalCard(
        id=row.pk,
        disposition=row.disposition,
        label=_words(row.disposition, parts),
        instruction=row.instruction,
        procedure=row.procedure,
        reinspect=list(row.reinspect),
        concession_lower=row.concession_lower,
        concession_upper=row.concession_upper,
        by_name=row.by.name,
        by_id=row.by_id,
        at=row.at,
        signed=signed,
        signer_ids=frozenset(line.signature.person_id for line in lines),
        missing=tuple(role for role in row.roles if role not in signed),
        method=row.method,
        method_label=Method(row.method).label if row.method else "",
        max_attempts=row.max_attempts,
        left_out_reason=row.left_out_reason,
        customer_asked=row.customer_asked,
        customer_approval=getattr(getattr(row, "customer_approval", None), "reference", ""),
        ends_on=row.ends_on,
        units_at_most=row.units_at_most,
        permit_number=next((one.number for one in (row.permit, row.under) if one), ""),
        parts=parts,
    )


def _words(disposition: str, parts: Collection[PartCard]) -> str:
    """Rework; of a lot that is split: rework of 9, return to supplier of 3."""
    split = ", ".join(f"{part.label} of {part.quantity}" for part in parts)
    return split or Disposition(disposition).label


# ------------------------------------------------------------------------------------------------- concessions


def concessions_of(item_id: int) -> list[ConcessionCard]:
    """The concessions in force on an item, the first one first."""
    grouped = ReportItem.objects.filter(item=item_id).values("report")
    rows = Concession.objects.filter(Q(item=item_id) | Q(report__in=grouped), proposal=F("report__status__decided"))
    rows = rows.exclude(report__status__state=ReportState.WITHDRAWN).order_by("id")
    return [_concession(row, row.report) for row in rows.select_related("report__checkpoint__characteristic")]


def _concession_in_force(row: Report) -> ConcessionCard | None:
    """The concession of the disposition in force; a withdrawn report has none."""
    found = getattr(row.status.decided, "concession", None)
    return None if found is None or row.status.state == ReportState.WITHDRAWN else _concession(found, row)


def concessions_for(family_id: int, characteristic_id: int) -> list[ConcessionCard]:
    """The concessions in force on a checkpoint of a family that are for a number of units, with how many are used."""
    rows = Concession.objects.filter(
        units_at_most__isnull=False, item__family=family_id, checkpoint__characteristic=characteristic_id,
        proposal=F("report__status__decided"),
    ).exclude(report__status__state=ReportState.WITHDRAWN)  # fmt: skip
    rows = rows.annotate(more=Coalesce(Sum("uses__units"), 0)).order_by("id")
    rows = rows.select_related("report__checkpoint__characteristic")
    return [
        replace(
            _concession(row, row.report), used=row.more + details.count_of(row.report), severity=row.report.severity
        )
        for row in rows
    ]


def _concession(row: Concession, about: Report) -> ConcessionCard:
    return ConcessionCard(
        number=row.number,
        report_number=about.number,
        checkpoint_id=row.checkpoint_id,
        checkpoint_number=None if about.checkpoint is None else about.checkpoint.characteristic.number,
        characteristic_id=None if about.checkpoint is None else about.checkpoint.characteristic_id,
        lower=row.lower,
        upper=row.upper,
        statement=row.statement,
        approved_at=row.approved_at,
        ends_on=row.ends_on,
        customer_approval=row.customer_approval,
        units_at_most=row.units_at_most,
    )
