"""Readers of releases and certificates."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import QuerySet

from qcapp.core.errors import NotFound
from qcapp.core.sealing import digest

from .models import Certificate, CertificateWithdrawal, Release
from .release_checks import Finding, check, standing_of


@dataclass(frozen=True)
class ReleaseCard:
    """A release given or withdrawn."""

    id: int
    given: bool
    reason: str
    person_name: str
    role: str
    deputy_for_name: str
    meaning: str
    at: datetime


@dataclass(frozen=True)
class CertificateCard:
    """One issue of a certificate. `standing` is what a holder has to know: current, replaced, withdrawn."""

    id: int
    uuid: UUID
    token: str
    item_id: int
    serial: str
    family_code: str
    family_name: str
    number: str
    issue: int
    digest: str
    change_note: str
    issued_by_name: str
    issued_at: datetime
    replaced_by: int | None
    withdrawn_reason: str
    withdrawn_at: datetime | None

    @property
    def standing(self) -> str:
        if self.withdrawn_at is not None:
            return "withdrawn"
        return "current" if self.replaced_by is None else "replaced"


@dataclass(frozen=True)
class ReleaseState:
    """May the unit be released, and what was decided so far."""

    findings: list[Finding]
    releases: list[ReleaseCard]
    released: bool

    @property
    def ready(self) -> bool:
        return all(finding.ok for finding in self.findings)


def releases_of(item_id: int) -> list[ReleaseCard]:
    """Releases and withdrawals of an item, the latest first."""
    rows = Release.objects.filter(item=item_id).select_related("signature__person", "signature__deputy_for")
    return [
        ReleaseCard(
            id=row.pk, given=row.kind == Release.Kind.GIVEN, reason=row.reason, person_name=row.signature.person.name,
            role=row.signature.role, at=row.at, meaning=row.signature.meaning,
            deputy_for_name="" if row.signature.deputy_for is None else row.signature.deputy_for.name,
        )
        for row in rows.order_by("-id")
    ]  # fmt: skip


def release_state(serial: str) -> ReleaseState:
    """Every release check's finding for the unit, and the releases so far. Raises NotFound `serial_unknown`."""
    standing = standing_of(serial)
    releases = releases_of(standing.inspection.unit.item_id)
    return ReleaseState(check(standing), releases, bool(releases and releases[0].given))


def certificate(number: str, issue: int) -> CertificateCard:
    """One issue. Raises NotFound `certificate_unknown`."""
    cards = [] if "\0" in number else _cards(Certificate.objects.filter(number__iexact=number, issue=issue))
    if not cards:
        raise NotFound("certificate_unknown", f"There is no certificate {number[:40]} issue {issue}.")
    return cards[0]


def certificates_of(item_id: int) -> list[CertificateCard]:
    """Every issue for an item, the latest first."""
    return _cards(Certificate.objects.filter(item=item_id).order_by("-issue"))


def check_token(token: str) -> CertificateCard:
    """The certificate behind the address in a QR code. Raises NotFound `certificate_unknown`."""
    cards = [] if "\0" in token or len(token) > 60 else _cards(Certificate.objects.filter(token=token))
    if not cards:
        raise NotFound(
            "certificate_unknown",
            "No certificate of this maker has this address. Compare it with the printed one, letter by letter.",
        )
    return cards[0]


def content_of(certificate_id: int) -> dict[str, Any]:
    """What the certificate says, as frozen. Raises ValueError when the stored text does not have its digest."""
    text, sealed = Certificate.objects.values_list("content", "digest").get(pk=certificate_id)
    if digest(text) != sealed:
        raise ValueError("The stored text of this certificate does not have the digest that was sealed.")
    frozen: dict[str, Any] = json.loads(text)
    return frozen


def content_text(certificate_id: int) -> str:
    """The frozen canonical JSON, as stored."""
    return str(Certificate.objects.values_list("content", flat=True).get(pk=certificate_id))


def _cards(rows: QuerySet[Certificate]) -> list[CertificateCard]:
    found = list(rows.select_related("item__unit", "item__family", "issued_by", "withdrawal"))
    latest = dict(
        Certificate.objects.filter(number__in={row.number for row in found}).order_by("issue").values_list("number", "issue")
    )
    return [_card(row, latest[row.number]) for row in found]


def _card(row: Certificate, latest: int) -> CertificateCard:
    withdrawal: CertificateWithdrawal | None = getattr(row, "withdrawal", None)
    return CertificateCard(
        id=row.pk, uuid=row.uuid, token=row.token, item_id=row.item_id, serial=row.item.unit.serial,
        family_code=row.item.family.code, family_name=row.item.family.name, number=row.number, issue=row.issue,
        digest=row.digest, change_note=row.change_note, issued_by_name=row.issued_by.name, issued_at=row.issued_at,
        replaced_by=latest if latest > row.issue else None,
        withdrawn_reason="" if withdrawal is None else withdrawal.reason,
        withdrawn_at=None if withdrawal is None else withdrawal.at,
    )  # fmt: skip
