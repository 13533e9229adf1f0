"""The signed act of release, and its withdrawal."""

from __future__ import annotations

from dataclasses import asdict
from datetime import datetime
from typing import TYPE_CHECKING

from django.db import transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Conflict, Refused
from qcapp.core.sealing import canonical, digest
from qcapp.lib.plain_text import plain_text
from qcapp.lib.site_days import site_day
from qcapp.messages.kinds import Kind
from qcapp.messages.services import tell
from qcapp.people.roles import Act, Role
from qcapp.people.services import require, write_signature
from qcapp.production.queries import unit_by_serial
from qcapp.production.services import lock_unit, move_unit

from ..models import Release
from ..release_checks import Finding, check, plan_stands, standing_of

if TYPE_CHECKING:
    from qcapp.people.services import Proof

RELEASED = frozenset({"released", "dispatched"})


def release(*, proof: Proof, serial: str, at: datetime) -> None:
    """Release the unit, if every check passes at this moment, with the unit's row locked.

    Raises Refused `release_blocked` whose details list the findings that stand against it, and tells the quality
    managers of it; Conflict `released_already`, NotAllowed, NotFound.
    """
    try:
        _release(proof, serial, at)
    except Refused as refusal:
        if refusal.code == "release_blocked":  # the release is rolled back by now; the message stands beside it
            _tell_refused(proof, serial, refusal, at)
        raise


def _tell_refused(proof: Proof, serial: str, refusal: Refused, at: datetime) -> None:
    """Once a day for each unit: what is missing is on its page."""
    serial = serial.strip().upper()
    findings = refusal.details["findings"]
    count = len(findings) if isinstance(findings, list) else 0
    text = (
        f"{proof.person.name} tried to release {serial}; {count} release checks stand against it. Its page lists them."
    )
    tell(
        to=Role.QUALITY_MANAGER, kind=Kind.RELEASE_REFUSED, subject=f"Release of {serial} was refused",
        text=text, at=at, link=f"/units/{serial}/", about=f"unit {serial}", leave_out=proof.person,
        key=f"release of {serial} refused {site_day(at)}",
    )  # fmt: skip


@transaction.atomic
def _release(proof: Proof, serial: str, at: datetime) -> None:
    require(proof.person, Act.RELEASE_UNIT, at)
    unit = lock_unit(unit_by_serial(serial).id)
    if unit.state in RELEASED:
        raise Conflict("released_already", f"{unit.serial} is {unit.state_label} already.")
    standing = standing_of(unit.serial)
    findings = check(standing)
    _refuse_if_blocked(unit.serial, findings)
    checks = canonical([_plain(finding) for finding in findings])
    meaning = f"I release {unit.serial}: all release checks passed. {plan_stands(standing).sentence}"
    signature = write_signature(
        proof=proof,
        act=Act.RELEASE_UNIT,
        meaning=meaning,
        subject=f"unit {unit.serial}",
        covers=digest(checks),
        at=at,
    )
    Release.objects.create(item_id=unit.item_id, kind=Release.Kind.GIVEN, checks=checks, signature=signature, at=at)
    move_unit(by=proof.person, unit_id=unit.id, move="release", reason="", at=at)
    payload = {"signature": str(signature.uuid), "checks": digest(checks), "role": signature.role}
    audit.anchor_on_commit(at=at)
    audit.record(
        verb=Verb.RELEASE_GIVEN, actor=proof.person.uuid, subject=f"unit {unit.serial}", at=at, payload=payload
    )


@transaction.atomic
def withdraw_release(*, proof: Proof, serial: str, reason: str, at: datetime) -> None:
    """Take the release back by a signed act: the unit is in build again.

    Issued certificates are not touched by it; the check page says that they are under review. Raises Refused
    `not_released`, NotAllowed, NotFound, Invalid of `plain_text`.
    """
    require(proof.person, Act.RELEASE_UNIT, at)
    reason = plain_text("The reason", reason, longest=300)
    unit = lock_unit(unit_by_serial(serial).id)
    if unit.state not in RELEASED:
        raise Refused("not_released", f"{unit.serial} is not released; there is nothing to withdraw.")
    signature = write_signature(
        proof=proof,
        act=Act.RELEASE_UNIT,
        meaning=f"I withdraw the release of {unit.serial}: {reason}"[:300],
        subject=f"unit {unit.serial}",
        covers=digest(canonical({"serial": unit.serial, "reason": reason})),
        at=at,
    )
    withdrawn = {"kind": Release.Kind.WITHDRAWN, "reason": reason, "checks": "[]"}
    Release.objects.create(item_id=unit.item_id, signature=signature, at=at, **withdrawn)
    move_unit(by=proof.person, unit_id=unit.id, move="withdraw_release", reason=reason, at=at)
    payload = {"signature": str(signature.uuid), "reason": reason}
    audit.anchor_on_commit(at=at)
    audit.record(
        verb=Verb.RELEASE_WITHDRAWN, actor=proof.person.uuid, subject=f"unit {unit.serial}", at=at, payload=payload
    )


def _refuse_if_blocked(serial: str, findings: list[Finding]) -> None:
    against = [finding for finding in findings if not finding.ok]
    if not against:
        return
    sentences = " ".join(f"{finding.title}: {finding.sentence}" for finding in against)
    message = f"{serial} cannot be released. Not proven: {sentences}"
    raise Refused("release_blocked", message, findings=[_plain(finding) for finding in against])


def _plain(finding: Finding) -> dict[str, object]:
    return {**asdict(finding), "links": [asdict(link) for link in finding.links]}
