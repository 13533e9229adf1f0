"""Readers of weld procedures, welders' qualifications, and what was said before each arc."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from enum import StrEnum
from typing import NamedTuple
from uuid import UUID

from django.db.models import Count

from qcapp.core.errors import NotFound
from qcapp.lib.falling_due import Falling
from qcapp.lib.plain_text import shown
from qcapp.lib.site_days import day_begins, months_later, site_day

from ..models import WelderQualification, WeldProcedure, WeldRecord, WeldStart

CONTINUITY = 6  # months between two confirmations
Key = tuple[int, str]  # a welder and a process


class Standing(StrEnum):
    """Where a qualification stands on a day."""

    HOLDS = "holds"
    LAPSED = "lapsed"
    EXPIRED = "expired"
    NOT_YET = "not yet"


class Work(NamedTuple):
    """What a welder was recorded to have welded by the process of a qualification, in joints.

    `joints` lay within its range of thickness, the last of them on `last_on`; `outside` did not, and of `unsized` the
    thickness was not said: neither keeps the qualification alive.
    """

    joints: int = 0
    last_on: date | None = None
    outside: int = 0
    unsized: int = 0


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
class ConfirmationCard:
    """A signed confirmation that the welder went on welding; `joints` were recorded here in the six months before."""

    confirmed_on: date
    holds_until: date
    joints: int
    last_weld_on: date | None
    evidence: str
    person_name: str


@dataclass(frozen=True)
class QualificationCard:
    """What a welder may weld, and from when until when, both days included.

    Between those days it holds for six months from the day of issue and from each confirmation, no longer. ISO 9606-1
    in substance, from memory; the edition that applies decides.
    """

    id: int
    uuid: UUID
    welder_id: int
    welder_name: str
    certificate: str
    process: str
    thickness_from: Decimal
    thickness_to: Decimal
    issued_on: date
    expires_on: date
    confirmations: tuple[ConfirmationCard, ...]  # the oldest first
    due_on: date  # the next confirmation, or the end, by this day

    def due_by(self, day: date) -> date:
        """The last day on which it holds, by what was confirmed up to that day."""
        known = [one.holds_until for one in self.confirmations if one.confirmed_on <= day]
        return min(self.expires_on, max([months_later(self.issued_on, CONTINUITY), *known]))

    def standing(self, day: date) -> Standing:
        """Whether it holds on that day, and why not."""
        if day < self.issued_on:
            return Standing.NOT_YET
        if day > self.expires_on:
            return Standing.EXPIRED
        return Standing.HOLDS if day <= self.due_by(day) else Standing.LAPSED

    def covers(self, process: str, thickness: Decimal) -> bool:
        """Whether it is for this process and thickness (mm)."""
        return self.process == process and self.thickness_from <= thickness <= self.thickness_to


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


def procedure_named(text: str) -> ProcedureCard:
    """The procedure in force called "WP-3" or "WP-3 rev A". Raises NotFound `procedure_unknown`."""
    wanted = " ".join(text.split()).upper()
    for card in weld_procedures():
        if wanted in (card.number.upper(), str(card).upper()):
            return card
    name = shown(text, 40)
    raise NotFound("procedure_unknown", f"No weld procedure “{name}” is in force; take one from the list.")


def _procedure(row: WeldProcedure) -> ProcedureCard:
    grades = tuple(row.base_grades)
    return ProcedureCard(
        row.pk, row.uuid, row.number, row.revision, row.title, row.process, row.thickness_from, row.thickness_to,
        grades, row.filler, row.preheat,
    )  # fmt: skip


def qualifications(welder_id: int | None = None) -> list[QualificationCard]:
    """The qualifications of one welder, or of all, those that hold longest first."""
    rows = (
        WelderQualification.objects.select_related("welder")
        .prefetch_related("confirmations__signature__person")
        .order_by("-expires_on", "id")
    )
    return [_qualification(row) for row in (rows if welder_id is None else rows.filter(welder=welder_id))]


def qualification_by_uuid(uuid: UUID | str) -> QualificationCard:
    """One qualification. Raises NotFound `qualification_unknown`."""
    found = next((one for one in qualifications() if str(one.uuid) == str(uuid)), None)
    if found is None:
        raise NotFound("qualification_unknown", "There is no such qualification; choose one from the list.")
    return found


def _qualification(row: WelderQualification) -> QualificationCard:
    given = tuple(
        ConfirmationCard(
            one.confirmed_on, one.holds_until, one.joints, one.last_weld_on, one.evidence, one.signature.person.name
        )
        for one in sorted(row.confirmations.all(), key=lambda one: one.pk)
    )
    latest = max([months_later(row.issued_on, CONTINUITY), *(one.holds_until for one in given)])
    return QualificationCard(
        row.pk, row.uuid, row.welder_id, str(row.welder), row.certificate, row.process, row.thickness_from,
        row.thickness_to, row.issued_on, row.expires_on, given, min(row.expires_on, latest),
    )  # fmt: skip


def is_qualified(welder_id: int, process: str, thickness: Decimal, day: date) -> bool:
    """Whether the welder may weld this thickness (mm) by this process on that day."""
    return not lacking_qualification(welder_id, process, thickness, day)


def lacking_qualification(welder_id: int, process: str, thickness: Decimal, day: date) -> str:
    """Why the welder may not weld this on that day, as what follows the name; empty when nothing is against it."""
    own = [one for one in qualifications(welder_id) if one.covers(process, thickness)]
    standing = {one.standing(day): one for one in reversed(own)}
    if Standing.HOLDS in standing:
        return ""
    lapsed = standing.get(Standing.LAPSED)
    if lapsed is None:
        return f"holds no qualification for process {process} at {thickness} mm today."
    last = lapsed.due_by(day)
    return (
        f"is not qualified for process {process} today: {lapsed.certificate} was to be confirmed by "
        f"{last.day} {last:%b %Y}, six months after the last time."
    )


def work_of(cards: Collection[QualificationCard], since: date) -> dict[int, Work]:
    """By the key of each qualification, the work recorded since that day that bears on it; three queries.

    A weld record names its procedure in words; what names no known procedure counts for no process.
    """
    welders = {one.welder_id for one in cards}
    begin = day_begins(since)
    started = _started(welders, begin)
    recorded = _recorded(welders, begin)
    return {one.id: _work(one, started.get((one.welder_id, one.process), []), recorded) for one in cards}


def _work(card: QualificationCard, started: list[tuple[Decimal, int, datetime]], recorded: Counter[Key]) -> Work:
    within = [row for row in started if card.thickness_from <= row[0] <= card.thickness_to]
    joints, said = sum(row[1] for row in within), sum(row[1] for row in started)
    unsized = max(0, recorded[card.welder_id, card.process] - said)
    last = site_day(max(row[2] for row in within)) if within else None
    return Work(joints, last, said - joints, unsized)


def _started(welders: Collection[int], since: datetime) -> dict[Key, list[tuple[Decimal, int, datetime]]]:
    """By welder and process: thickness in mm, how many joints, and when, of each arc that was said."""
    rows = WeldStart.objects.filter(welder__in=welders, at__gte=since).order_by("id")
    found: dict[Key, list[tuple[Decimal, int, datetime]]] = {}
    for welder, process, thickness, joints, at in rows.values_list(
        "welder_id", "procedure__process", "thickness", "joints", "at"
    ):
        found.setdefault((welder, process), []).append((thickness, len(joints), at))
    return found


def _recorded(welders: Collection[int], since: datetime) -> Counter[Key]:
    """By welder and process, how many joints are in the as-built records."""
    processes: dict[str, str] = {}
    for number, revision, process in WeldProcedure.objects.order_by("id").values_list("number", "revision", "process"):
        processes |= {number: process, f"{number} rev {revision}": process}
    rows = WeldRecord.objects.filter(at__gte=since, welder__in=welders, procedure__in=list(processes))
    grouped = rows.values_list("welder_id", "procedure").annotate(count=Count("id")).order_by("welder_id")
    found: Counter[Key] = Counter()
    for welder, procedure, count in grouped:
        found[welder, processes[procedure]] += count
    return found


def qualifications_due(at: datetime) -> list[Falling]:
    """When each qualification that has not run out is to be confirmed."""
    today = site_day(at)
    return [
        Falling(
            "qualification", one.certificate, f"{one.welder_name}, process {one.process}", one.due_on,
            (one.due_on - today).days, f"/welding/qualifications/{one.uuid}/", one.uuid,
        )
        for one in qualifications()
        if one.expires_on >= today
    ]  # fmt: skip


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
