"""The queue: reports by what they wait for, page by page along a key, and the same as a table for spreadsheets."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, fields
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Any

from django.db.models import Count, Q, QuerySet

from qcapp.core.errors import Invalid
from qcapp.lib.site_days import day_ends
from qcapp.lib.tables import Cell
from qcapp.people.roles import Role

from ..cards import ReportCard
from ..models import DispositionProposal, DispositionSignature, Report, ReportStatus
from ..signals import due_asked
from ..states import ENDED, NEEDS_CORRECTION, Disposition, ReportState
from ..waiting import AGES, DECIDERS, LATE_AFTER, next_step, states_of
from . import DETAILS, _cards

if TYPE_CHECKING:
    from qcapp.people.models import Person

PAGE = 50
CHUNK = 500
ACTIVE = [state.value for state in ReportState if state not in ENDED]
ORDERS = {"latest": "the latest first", "longest": "waiting longest first"}
EXPORTED = (
    "report", "unit", "family", "what is wrong", "severity", "state", "waits for", "next step", "days in this state",
    "disposition", "cause", "checkpoint", "joint", "order", "due", "unit state", "raised", "raised by", "changed",
)  # fmt: skip


@dataclass(frozen=True)
class QueueFilter:
    """What of the queue is asked for; every field is a word of the address. Empty means: whatever it is."""

    state: str = "active"
    severity: str = ""
    family: str = ""
    checkpoint: str = ""  # its number or its key
    joint: str = ""
    cause: str = ""
    disposition: str = ""
    since: date | None = None
    until: date | None = None
    waiting: str = ""  # for a role
    order: str = "latest"

    @classmethod
    def read(cls, asked: Mapping[str, str]) -> QueueFilter:
        """From the words of an address. Raises Invalid `date_unreadable`, `text_not_plain`."""
        texts = {one.name: asked.get(one.name, "").strip()[:60] for one in fields(cls)}
        if any("\0" in text for text in texts.values()):
            raise Invalid("text_not_plain", "The filter holds a character that cannot be seen; type it again.")
        days = {name: _day(texts.pop(name)) for name in ("since", "until")}
        texts["state"] = texts["state"] or "active"
        texts["order"] = texts["order"] if texts["order"] in ORDERS else "latest"
        return cls(**texts, **days)  # type: ignore[arg-type]

    def words(self) -> dict[str, str]:
        """As the words of an address, what is usual left out."""
        usual = QueueFilter()
        given = {one.name: getattr(self, one.name) for one in fields(self)}
        return {name: str(value) for name, value in given.items() if value and value != getattr(usual, name)}


@dataclass(frozen=True)
class QueueRow:
    """A report in the queue: what is done next, by whom, since when it waits, and what it holds up."""

    card: ReportCard
    step: str
    roles: tuple[str, ...]
    days: int
    cause: str
    joint: str
    order_number: str
    due_on: date | None  # the day that the order is to leave
    unit_state: str

    @property
    def late(self) -> bool:
        return bool(self.step) and self.days > LATE_AFTER

    @property
    def after(self) -> int:
        return self.card.id


@dataclass(frozen=True)
class QueuePage:
    """A page of the queue, how many are in each state under the same filter, and how old what waits is."""

    rows: list[QueueRow]
    counts: dict[str, int]
    ages: list[tuple[str, int]]
    more: int | None  # the key to go on after

    @property
    def active(self) -> int:
        return sum(self.counts[state] for state in ACTIVE)

    @property
    def total(self) -> int:
        return sum(self.counts.values())


def queue_page(
    wanted: QueueFilter, *, viewer: Person | None, at: datetime, after: int | None = None, limit: int = PAGE
) -> QueuePage:
    """One page, from behind the report with the key `after`. Some fifteen queries, however long the queue is."""
    narrowed = _narrowed(wanted)
    rows = list(_ordered(_in_state(narrowed, wanted.state), wanted, after)[: limit + 1])
    shown = rows[:limit]
    more = shown[-1].pk if len(rows) > limit else None
    return QueuePage(_rows(shown, viewer, at), _counts(narrowed), _ages(narrowed, at), more)


def queue_table(wanted: QueueFilter, *, viewer: Person | None, at: datetime) -> Iterator[list[Cell]]:
    """Every report that the filter lets through, as cells under EXPORTED; read in pages."""
    after: int | None = None
    while True:
        rows = list(_ordered(_in_state(_narrowed(wanted), wanted.state), wanted, after)[:CHUNK])
        for row in _rows(rows, viewer, at):
            yield _cells(row)
        if len(rows) < CHUNK:
            return
        after = rows[-1].pk


def waiting_for(role: Role) -> int:
    """How many reports wait for a role."""
    return _in_state(_narrowed(QueueFilter(waiting=role)), "active").count()


def withdrawn_reports() -> QuerySet[ReportStatus, Any]:
    """The keys of reports that were raised in error, for rooms above to leave out of their counts."""
    return ReportStatus.objects.filter(state=ReportState.WITHDRAWN).values("report_id")


def late_for(role: Role, at: datetime) -> int:
    """How many of them have waited longer than they should."""
    rows = _in_state(_narrowed(QueueFilter(waiting=role)), "active")
    return rows.filter(status__changed_at__lt=at - timedelta(days=LATE_AFTER)).count()


def _narrowed(wanted: QueueFilter) -> QuerySet[Report]:
    """Everything of the filter but the state."""
    rows = Report.objects.all()
    exact = {
        "severity": wanted.severity, "item__family__code__iexact": wanted.family, "status__cause": wanted.cause,
        "status__decided__disposition": wanted.disposition, "checkpoint__joint__iexact": wanted.joint,
    }  # fmt: skip
    rows = rows.filter(**{column: value for column, value in exact.items() if value})
    if wanted.checkpoint:
        rows = rows.filter(_at_checkpoint(wanted.checkpoint))
    if wanted.since:
        rows = rows.filter(raised_at__gte=day_ends(wanted.since - timedelta(days=1)))
    if wanted.until:
        rows = rows.filter(raised_at__lt=day_ends(wanted.until))
    return rows.filter(_waits_for(wanted.waiting)) if wanted.waiting else rows


def _at_checkpoint(named: str) -> Q:
    if named.isascii() and named.isdigit():
        return Q(checkpoint__characteristic__number=int(named[:9]))
    return Q(checkpoint__characteristic__key=named)


def _waits_for(role: str) -> Q:
    """Reports that wait for a role: by their state, by a signature that is missing, or to be proposed or closed."""
    if role not in set(Role):
        return Q(pk__in=[])
    missing = _missing()
    signing = [report for report, roles in missing.items() if role in roles]
    found = Q(status__state__in=states_of(Role(role))) | Q(status__state=ReportState.CONTAINED, pk__in=signing)
    decided = Q(status__state=ReportState.DECIDED)
    correcting = Q(status__decided__disposition__in=[one.value for one in NEEDS_CORRECTION])
    if Role(role) in DECIDERS:
        unsigned = [report for report, roles in missing.items() if roles]
        found |= Q(status__state=ReportState.CONTAINED) & ~Q(pk__in=unsigned)
        found |= decided & ~correcting
    if Role(role) in next_step(ReportState.DECIDED, Disposition.REWORK, ())[1]:
        found |= decided & correcting
    return found


def _missing(report_ids: Collection[int] | None = None) -> dict[int, set[str]]:
    """For each contained report with a proposal, the roles that have not signed the latest one; two queries."""
    rows = DispositionProposal.objects.filter(report__status__state=ReportState.CONTAINED)
    if report_ids is not None:
        rows = rows.filter(report__in=report_ids)
    latest = {report: (key, set(roles)) for report, key, roles in _proposed(rows)}
    keys = [key for key, _ in latest.values()]
    signed: dict[int, set[str]] = {}
    for proposal, role in DispositionSignature.objects.filter(proposal__in=keys).values_list("proposal_id", "role"):
        signed.setdefault(proposal, set()).add(role)
    return {report: roles - signed.get(key, set()) for report, (key, roles) in latest.items()}


def _proposed(rows: QuerySet[DispositionProposal]) -> list[tuple[int, int, list[str]]]:
    return list(rows.order_by("id").values_list("report_id", "id", "roles"))


def _in_state(rows: QuerySet[Report], state: str) -> QuerySet[Report]:
    if state == "all":
        return rows
    return rows.filter(status__state__in=ACTIVE) if state == "active" else rows.filter(status__state=state)


def _ordered(rows: QuerySet[Report], wanted: QueueFilter, after: int | None) -> QuerySet[Report]:
    """In order, behind the report with the key `after`; the details come with it."""
    keys = rows.order_by("-id")
    if wanted.order == "longest":
        keys = rows.order_by("status__changed_at", "id")
        last = Report.objects.filter(pk=after).values_list("status__changed_at", flat=True).first() if after else None
        if last is not None:
            keys = keys.filter(Q(status__changed_at__gt=last) | Q(status__changed_at=last, pk__gt=after))
    elif after is not None:
        keys = keys.filter(pk__lt=after)
    return keys.select_related(*DETAILS)


def _rows(found: list[Report], viewer: Person | None, at: datetime) -> list[QueueRow]:
    missing = _missing([row.pk for row in found])
    due = _due({row.item.unit.order_number for row in found if getattr(row.item, "unit", None)})
    return [_row(row, card, missing, due, at) for row, card in zip(found, _cards(found, viewer, at), strict=True)]


def _due(orders: Collection[str]) -> dict[str, date]:
    """When the orders are due, as the room that keeps them says."""
    known: dict[str, date] = {}
    answers: list[tuple[Any, Any]] = due_asked.send(sender=None, orders=set(orders) - {""})
    for _, answer in answers:
        known |= answer
    return known


def _row(
    row: Report, card: ReportCard, missing: Mapping[int, Collection[str]], due: Mapping[str, date], at: datetime
) -> QueueRow:
    step, roles = next_step(card.state, card.disposition, missing.get(card.id, ()))
    unit = getattr(row.item, "unit", None)
    return QueueRow(
        card=card, step=step, roles=tuple(role.label for role in roles), days=max(0, (at - card.changed_at).days),
        cause=row.status.get_cause_display(), joint=row.checkpoint.joint if row.checkpoint else "",
        order_number="" if unit is None else unit.order_number,
        due_on=None if unit is None else due.get(unit.order_number),
        unit_state="" if unit is None else unit.state.replace("_", " "),
    )  # fmt: skip


def _counts(rows: QuerySet[Report]) -> dict[str, int]:
    found = dict(rows.order_by().values_list("status__state").annotate(n=Count("pk")))
    return {state.value: found.get(state.value, 0) for state in ReportState}


def _ages(rows: QuerySet[Report], at: datetime) -> list[tuple[str, int]]:
    """How many of the active ones stand in their state for how long."""
    counted: dict[str, Any] = {}
    younger = at
    for place, (days, _) in enumerate(AGES):
        older = at - timedelta(days=days) if days else None
        within = Q(status__changed_at__lte=younger) if place else Q()
        within &= Q(status__changed_at__gt=older) if older else Q()
        counted[f"age_{place}"] = Count("pk", filter=within)
        younger = older or younger
    found = rows.filter(status__state__in=ACTIVE).order_by().aggregate(**counted)
    return [(words, found[f"age_{place}"]) for place, (_, words) in enumerate(AGES)]


def _cells(row: QueueRow) -> list[Cell]:
    card = row.card
    return [
        card.number, card.serial, card.family_code, card.title, card.severity, card.state_label, ", ".join(row.roles),
        row.step, row.days, card.disposition_label, row.cause, card.checkpoint_number, row.joint, row.order_number,
        row.due_on, row.unit_state, card.raised_at, card.raised_by_name, card.changed_at,
    ]  # fmt: skip


def _day(text: str) -> date | None:
    if not text:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise Invalid("date_unreadable", "A day is written as 2026-03-17; correct the filter.") from None
