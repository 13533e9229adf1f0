"""Weld procedures, welders' qualifications, and what is said before an arc is struck.

Range and qualification are checked before welding. The limits of structural welds are the welding coordinator's; the
tables say what was approved, they approve nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING, NamedTuple
from uuid import UUID

from django.db import IntegrityError, transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Conflict, Invalid, Refused
from qcapp.lib.plain_text import plain_text
from qcapp.lib.site_days import site_day
from qcapp.people.queries import role_names
from qcapp.people.roles import Act, Role
from qcapp.people.services import require

from ..models import WelderQualification, WeldProcedure, WeldStart
from ..queries import UnitCard, unit_by_serial
from ..queries.fixtures import fixture_refusal
from ..queries.welding import ProcedureCard, lacking_qualification, weld_procedure
from . import record_weld

if TYPE_CHECKING:
    from qcapp.people.models import Person


@dataclass(frozen=True)
class Range:
    """A process by its number in ISO 4063 ("141"), and the thicknesses in mm it holds for, both included."""

    process: str
    thickness_from: Decimal
    thickness_to: Decimal


def add_procedure(
    *,
    by: Person,
    number: str,
    revision: str,
    title: str,
    scope: Range,
    base_grades: Sequence[str],
    at: datetime,
    filler: str = "",
    preheat: int | None = None,
) -> UUID:
    """A weld procedure, or its next revision, which counts from now on.

    Raises NotAllowed `not_permitted`; Invalid `range_reversed`, `grades_missing` and of `plain_text`; Conflict
    `procedure_revision_taken`.
    """
    require(by, Act.KEEP_WELDING, at)
    _check_range(scope)
    grades = [plain_text("The base grade", grade, longest=40) for grade in base_grades]
    if not grades:
        raise Invalid("grades_missing", "Name the base grades the procedure is for.", field="base_grades")
    number = plain_text("The number", number, longest=20).upper()
    revision = plain_text("The revision", revision, longest=4).upper()
    try:
        with transaction.atomic():
            row = WeldProcedure.objects.create(
                number=number,
                revision=revision,
                title=plain_text("The title", title, longest=120),
                process=plain_text("The process", scope.process, longest=8),
                thickness_from=scope.thickness_from,
                thickness_to=scope.thickness_to,
                base_grades=grades,
                filler=plain_text("The filler", filler, longest=60, needed=False),
                preheat=preheat,
                by_id=by.pk,
                at=at,
            )
            payload = {"title": row.title, "process": row.process, "grades": grades, "preheat": preheat}
            payload |= {"thickness": f"{scope.thickness_from} to {scope.thickness_to} mm"}
            subject = f"procedure {number} {revision}"
            audit.record(verb=Verb.PROCEDURE_ADDED, actor=by.uuid, subject=subject, at=at, payload=payload)
    except IntegrityError:
        message = f"{number} revision {revision} is there already; a change is the next revision."
        raise Conflict("procedure_revision_taken", message) from None
    return row.uuid


def add_qualification(
    *, by: Person, welder: Person, certificate: str, scope: Range, issued_on: date, expires_on: date, at: datetime
) -> None:
    """What a welder was tested for. Raises NotAllowed `not_permitted`, `own_qualification`; Invalid `range_reversed`,
    `expires_before_issued`, `issued_in_future` and of `plain_text`; Refused `not_a_welder`.
    """
    require(by, Act.KEEP_WELDING, at)
    _check_range(scope)
    if issued_on > site_day(at):
        raise Invalid("issued_in_future", "The qualification is dated in the future; write the day it was issued.")
    if expires_on < issued_on:
        raise Invalid("expires_before_issued", "The last day is before the day of issue; correct one of the two.")
    if welder.pk == by.pk:
        raise Refused("own_qualification", "Somebody else writes down your own qualification.")
    _check_welder(welder, at)
    with transaction.atomic():
        row = WelderQualification.objects.create(
            welder_id=welder.pk,
            certificate=plain_text("The certificate", certificate, longest=60),
            process=plain_text("The process", scope.process, longest=8),
            thickness_from=scope.thickness_from,
            thickness_to=scope.thickness_to,
            issued_on=issued_on,
            expires_on=expires_on,
            by_id=by.pk,
            at=at,
        )
        payload = {"certificate": row.certificate, "process": row.process, "expires_on": expires_on.isoformat()}
        payload |= {"thickness": f"{scope.thickness_from} to {scope.thickness_to} mm"}
        subject = f"person {welder.badge}"
        audit.record(verb=Verb.QUALIFICATION_ADDED, actor=by.uuid, subject=subject, at=at, payload=payload)


@dataclass(frozen=True)
class Arc:
    """What is said before an arc is struck. `thickness` in mm, of the thinner part; `preheat` in °C, as measured.

    `recorded_at` is when it was said, where a tablet kept it while there was no network.
    """

    operation: UUID
    serial: str
    joints: tuple[str, ...]
    procedure: UUID
    thickness: Decimal
    base_grade: str
    filler_lot: str
    machine: str
    fixture: str = ""
    preheat: int | None = None
    recorded_at: datetime | None = None


class Started(NamedTuple):
    """What did not fit, which is usually nothing; and whether this was the first sending."""

    findings: list[str]
    new: bool
    qualified: bool = True


def start_weld(*, by: Person, arc: Arc, unqualified: str, at: datetime, welder: Person | None = None) -> Started:
    """The joints are being welded by this person, or by `welder` where another writes it down, from now on.

    A procedure out of its range is always refused, and so is a fixture that may not be used, with others offered, but
    for an arc that a tablet kept; a welder who is not qualified is refused, or with `unqualified` "report" written down
    beside the sentence that says so. Sending again changes nothing.

    Raises NotAllowed `not_permitted`; NotFound `serial_unknown`, `procedure_unknown`; Refused `not_a_welder`,
    `procedure_out_of_range`, `fixture_unknown`, `fixture_not_verified`, `welder_not_qualified`, `unit_not_in_build`;
    Invalid `joint_unreadable` and of
    `plain_text`.
    """
    require(by, Act.RECORD_RESULT, at)
    welder = welder or by
    said_at = min(arc.recorded_at or at, at)  # a tablet's clock that runs ahead counts no further than now
    _check_welder(welder, said_at)
    unit, procedure = unit_by_serial(arc.serial), weld_procedure(arc.procedure)
    known = WeldStart.objects.filter(operation=arc.operation).values_list("findings", flat=True).first()
    if known is not None:
        return Started(list(known), new=False)
    texts = _texts(arc)
    _check_procedure(procedure, arc)
    unverified = _unverified(texts["fixture"], said_at, kept=arc.recorded_at is not None)
    findings = _qualification(welder, procedure, arc.thickness, said_at)
    if findings and unqualified != "report":
        raise Refused("welder_not_qualified", f"{findings[0]} Do not weld; ask the welding coordinator.")
    qualified = not findings
    findings += unverified
    with transaction.atomic():
        _write(unit, welder, procedure, arc, texts, findings, said_at)
        joints, told = list(arc.joints), str(procedure)
        record_weld(by=by, welder=welder, serial=unit.serial, joints=joints, procedure=told, welded_at=said_at, at=at)
    return Started(findings, new=True, qualified=qualified)


def _write(
    unit: UnitCard,
    welder: Person,
    procedure: ProcedureCard,
    arc: Arc,
    texts: dict[str, str],
    findings: list[str],
    at: datetime,
) -> None:
    WeldStart.objects.create(
        operation=arc.operation,
        item_id=unit.item_id,
        joints=list(arc.joints),
        welder_id=welder.pk,
        procedure_id=procedure.id,
        thickness=arc.thickness,
        preheat=arc.preheat,
        findings=findings,
        at=at,
        **texts,
    )


def _texts(arc: Arc) -> dict[str, str]:
    return {
        "base_grade": plain_text("The base grade", arc.base_grade, longest=40),
        "filler_lot": plain_text("The filler lot", arc.filler_lot, longest=40),
        "machine": plain_text("The machine", arc.machine, longest=40),
        "fixture": plain_text("The fixture", arc.fixture, longest=40, needed=False),
    }


def _check_procedure(procedure: ProcedureCard, arc: Arc) -> None:
    """Raises Refused `procedure_out_of_range`."""
    wrong = []
    if not procedure.thickness_from <= arc.thickness <= procedure.thickness_to:
        least, most = procedure.thickness_from, procedure.thickness_to
        wrong.append(f"{procedure} is for {least} to {most} mm, not {arc.thickness} mm.")
    if arc.base_grade not in procedure.base_grades:
        wrong.append(f"{procedure} is for {', '.join(procedure.base_grades)}, not {arc.base_grade}.")
    if procedure.preheat is not None and arc.preheat is None:
        wrong.append(f"{procedure} asks for {procedure.preheat} °C of preheat at least, and none was measured.")
    elif procedure.preheat is not None and arc.preheat is not None and arc.preheat < procedure.preheat:
        wrong.append(f"{procedure} asks for {procedure.preheat} °C of preheat at least, not {arc.preheat} °C.")
    if wrong:
        raise Refused("procedure_out_of_range", " ".join([*wrong, "Do not weld; take another procedure or ask."]))


def _unverified(number: str, at: datetime, *, kept: bool) -> list[str]:
    """Why the fixture may not be used: a finding of what a tablet kept, for that weld is made; else a refusal.

    Raises Refused `fixture_unknown`, `fixture_not_verified`, as a gauge is refused.
    """
    refusal = fixture_refusal(number, at)
    if refusal is not None and not kept:
        raise Refused(*refusal)
    return [refusal[1]] if refusal else []


def _qualification(welder: Person, procedure: ProcedureCard, thickness: Decimal, at: datetime) -> list[str]:
    lacking = lacking_qualification(welder.pk, procedure.process, thickness, site_day(at))
    return [f"{welder.name} {lacking}"] if lacking else []


def _check_welder(person: Person, at: datetime) -> None:
    if Role.WELDER not in role_names(person, at):
        raise Refused("not_a_welder", f"{person.name} is no welder on that day; name the one who welds.")


def _check_range(scope: Range) -> None:
    if not 0 < scope.thickness_from <= scope.thickness_to:
        raise Invalid("range_reversed", "The thickness range runs backwards or begins at nothing; correct it.")
