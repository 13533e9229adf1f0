"""Issuing a certificate: the records are read once, frozen as text, and never read again for this issue."""

from __future__ import annotations

import secrets
from datetime import datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import transaction

from qcapp.audit import queries as audit_queries
from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Conflict, Invalid, Refused
from qcapp.core.sealing import canonical, digest
from qcapp.lib.plain_text import plain_text
from qcapp.people.roles import Act
from qcapp.people.services import require, write_signature
from qcapp.production.queries import unit_by_serial
from qcapp.production.services import lock_unit

from ..models import Certificate, CertificateWithdrawal, Release
from ..queries import CertificateCard, certificate, certificates_of
from ..release_checks import standing_of
from ..sections import content
from ..sections.record import Record

if TYPE_CHECKING:
    from qcapp.people.models import Person
    from qcapp.people.services import Proof
    from qcapp.production.queries import UnitCard


@transaction.atomic
def issue_certificate(*, by: Person, serial: str, at: datetime, change_note: str = "") -> CertificateCard:
    """The next issue of the unit's certificate. The first needs a release; a further one says what changed.

    Raises Refused `not_released`, Invalid `change_note_missing`, Conflict `issued_already` when the released unit
    has a current issue and no change is named, NotAllowed, NotFound.
    """
    require(by, Act.ISSUE_CERTIFICATE, at)
    change_note = plain_text("What changed", change_note, longest=300, needed=False)
    unit = lock_unit(unit_by_serial(serial).id)
    released = _release_of(unit)
    issued = certificates_of(unit.item_id)
    if issued and not change_note:
        _refuse_without_note(unit, issued[0], released)
    number = issued[0].number if issued else _next_number(unit, at)
    issue = issued[0].issue + 1 if issued else 1
    text = canonical(content(_record(unit.serial, number, issue, at, change_note, released)))
    Certificate.objects.create(
        token=secrets.token_urlsafe(32), item_id=unit.item_id, release=released, number=number, issue=issue,
        content=text, digest=digest(text), change_note=change_note, issued_by=by, issued_at=at,
    )  # fmt: skip
    audit.record(
        verb=Verb.CERTIFICATE_ISSUED, actor=by.uuid, subject=f"certificate {number}/{issue}", at=at,
        payload={"serial": unit.serial, "digest": digest(text), "change_note": change_note},
    )  # fmt: skip
    audit.anchor_on_commit(at=at)
    return certificate(number, issue)


def _refuse_without_note(unit: UnitCard, last: CertificateCard, released: Release) -> None:
    if last.withdrawn_at is None and released.at <= last.issued_at:
        raise Conflict("issued_already", f"{last.number} issue {last.issue} is current for {unit.serial}; take that one.")
    raise Invalid("change_note_missing", "Say what changed since the last issue; the new one prints it.")


def _release_of(unit: UnitCard) -> Release:
    row = (
        Release.objects.filter(item=unit.item_id)
        .select_related("signature__person", "signature__deputy_for")
        .order_by("-id")
        .first()
    )
    if row is None or row.kind != Release.Kind.GIVEN:
        raise Refused("not_released", f"{unit.serial} is not released; a certificate is issued after the release.")
    return row


def _next_number(unit: UnitCard, at: datetime) -> str:
    year = at.astimezone(ZoneInfo(settings.QCAPP_SITE_ZONE)).year
    prefix = unit.certificate_prefix
    return f"{prefix}-{year}-{audit.next_number(series=f'certificate {prefix} {year}'):04}"


def _record(serial: str, number: str, issue: int, at: datetime, change_note: str, released: Release) -> Record:
    head = audit_queries.head()
    signature = released.signature
    return Record(
        standing=standing_of(serial), number=number, issue=issue, issued_at=at, change_note=change_note,
        maker=settings.QCAPP_SITE_NAME, place=settings.QCAPP_SITE_PLACE, zone=settings.QCAPP_SITE_ZONE,
        demonstration=settings.QCAPP_DEMO, released_at=released.at, released_by=signature.person.name,
        released_role=signature.role, release_meaning=signature.meaning,
        released_deputy_for="" if signature.deputy_for is None else signature.deputy_for.name,
        chain_number=head.number, chain_digest=head.digest,
    )  # fmt: skip


@transaction.atomic
def withdraw_certificate(*, proof: Proof, number: str, issue: int, reason: str, at: datetime) -> None:
    """Say, signed, that an issue no longer stands. The document stays as it is; the check page tells.

    Raises Conflict `withdrawn_already`, NotAllowed, NotFound, Invalid of `plain_text`.
    """
    require(proof.person, Act.ISSUE_CERTIFICATE, at)
    reason = plain_text("The reason", reason, longest=300)
    card = certificate(number, issue)
    lock_unit(unit_by_serial(card.serial).id)
    card = certificate(number, issue)
    if card.withdrawn_at is not None:
        raise Conflict("withdrawn_already", f"{number} issue {issue} is withdrawn already.")
    signature = write_signature(
        proof=proof, act=Act.ISSUE_CERTIFICATE, subject=f"certificate {card.number}/{issue}",
        meaning=f"I withdraw certificate {card.number} issue {issue}: {reason}"[:300], at=at,
        covers=digest(canonical({"number": card.number, "issue": issue, "reason": reason})),
    )  # fmt: skip
    CertificateWithdrawal.objects.create(certificate_id=card.id, reason=reason, signature=signature, at=at)
    audit.record(
        verb=Verb.CERTIFICATE_WITHDRAWN, actor=proof.person.uuid, subject=f"certificate {card.number}/{issue}", at=at,
        payload={"serial": card.serial, "reason": reason, "signature": str(signature.uuid)},
    )  # fmt: skip
    audit.anchor_on_commit(at=at)
