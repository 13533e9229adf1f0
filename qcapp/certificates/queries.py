"""Readers of releases and certificates."""

from __future__ import annotations

import json
from collections.abc import Collection
from dataclasses import dataclass, fields
from datetime import datetime
from typing import Any
from uuid import UUID

from django.conf import settings
from django.db.models import Case, Count, Exists, IntegerField, Min, OuterRef, Q, QuerySet, Subquery, Value, When
from django.db.models.functions import Coalesce, Replace, Upper

from qcapp.core.errors import NotFound, Refused
from qcapp.core.identification import lookup_key
from qcapp.core.sealing import digest
from qcapp.improvement.queries.field import in_open_field_action
from qcapp.lib.plain_text import shown
from qcapp.lib.signing_keys import grouped, keys_here
from qcapp.nonconformance.states import ENDED, ReportState
from qcapp.people.roles import Role
from qcapp.production.queries import UnitCard
from qcapp.production.states import USABLE_LOTS

from .choices import Choice
from .models import Certificate, Notice, NoticeTry, PaperChoice, Release, SigningCertificate
from .release_checks import Finding, Standing, check, standing_of

LONGEST_TOKEN = 60
NOT_ENDED = sorted(frozenset(ReportState) - ENDED)


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

    @property
    def function(self) -> str:
        """As papers print it: "quality manager, deputy for A. Name"."""
        label = Role(self.role).label
        return f"{label}, deputy for {self.deputy_for_name}" if self.deputy_for_name else label


@dataclass(frozen=True)
class CertificateCard:
    """One issue of a certificate."""

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
    lot: bool  # a lot's; `serial` is then the lot's code
    in_doubt: bool  # release taken back, unit on hold, a report about it that has not ended, or a recall

    @property
    def standing(self) -> str:
        """What a holder has to know: withdrawn, replaced, under review (in doubt), or current."""
        if self.withdrawn_at is not None:
            return "withdrawn"
        if self.replaced_by is not None:
            return "replaced"
        return "under review" if self.in_doubt else "current"


@dataclass(frozen=True)
class PublishedKey:
    """The public side of a signing key."""

    fingerprint: str
    valid_from: datetime
    valid_until: datetime

    @property
    def grouped(self) -> str:
        return grouped(self.fingerprint)


@dataclass(frozen=True)
class ReleaseState:
    """May the unit be released, and what was decided so far."""

    standing: Standing
    findings: list[Finding]
    releases: list[ReleaseCard]

    @property
    def unit(self) -> UnitCard:
        return self.standing.inspection.unit

    @property
    def released(self) -> bool:
        return bool(self.releases and self.releases[0].given)

    @property
    def ready(self) -> bool:
        return all(finding.ok for finding in self.findings)


# --------------------------------------------------------------------------------------------------- releases


def releases_of(item_id: int) -> list[ReleaseCard]:
    """Releases and withdrawals of an item, the latest first."""
    rows = Release.objects.filter(item=item_id).select_related("signature__person", "signature__deputy_for")
    return [_release(row) for row in rows.order_by("-id")]


def _release(row: Release) -> ReleaseCard:
    signature = row.signature
    return ReleaseCard(
        id=row.pk,
        given=row.kind == Release.Kind.GIVEN,
        reason=row.reason,
        person_name=signature.person.name,
        role=signature.role,
        deputy_for_name="" if signature.deputy_for is None else signature.deputy_for.name,
        meaning=signature.meaning,
        at=row.at,
    )


def release_state(serial: str) -> ReleaseState:
    """Every release check's finding for the unit, and the releases so far. Raises NotFound `serial_unknown`."""
    standing = standing_of(serial)
    return ReleaseState(standing, check(standing), releases_of(standing.inspection.unit.item_id))


# ----------------------------------------------------------------------------------------------- certificates


def certificate(number: str, issue: int) -> CertificateCard:
    """One issue. Raises NotFound `certificate_unknown`."""
    wanted = number.strip()
    cards = [] if "\0" in wanted else _cards(Certificate.objects.filter(number__iexact=wanted, issue=issue))
    if not cards:
        name = shown(wanted)
        raise NotFound("certificate_unknown", f"There is no certificate {name} issue {issue}.", number=name)
    return cards[0]


def certificates_of(item_id: int) -> list[CertificateCard]:
    """Every issue for an item, the latest first."""
    return _cards(Certificate.objects.filter(item=item_id).order_by("-issue"))


def latest_certificates(item_ids: Collection[int]) -> dict[int, CertificateCard]:
    """The last issue of each of these items that has one; two queries, however many."""
    return {card.item_id: card for card in _cards(Certificate.objects.filter(item__in=item_ids).order_by("issue"))}


def certificates_since(since: datetime, limit: int = 100) -> list[CertificateCard]:
    """Issues made or withdrawn at or after a time, the oldest first; `limit` of them at most."""
    rows = Certificate.objects.annotate(changed=Coalesce("withdrawal__at", "issued_at"))
    return _cards(rows.filter(changed__gte=since).order_by("changed", "id")[:limit])


def check_token(token: str) -> CertificateCard:
    """The certificate behind the address in a QR code. Raises NotFound `certificate_unknown`."""
    readable = "\0" not in token and len(token) <= LONGEST_TOKEN
    cards = _cards(Certificate.objects.filter(token=token)) if readable else []
    if not cards:
        message = "No certificate of this maker has this address. Compare it with the printed one, letter by letter."
        raise NotFound("certificate_unknown", message)
    return cards[0]


def card_of(certificate_id: int) -> CertificateCard:
    """The issue with this key. Raises NotFound `certificate_unknown`."""
    cards = _cards(Certificate.objects.filter(pk=certificate_id))
    if not cards:
        raise NotFound("certificate_unknown", "There is no such certificate.")
    return cards[0]


def issued_as(identifier: str) -> bool:
    """Whether an issue has this identifier, which its file names as its own."""
    try:
        return Certificate.objects.filter(uuid=UUID(hex=identifier)).exists()
    except ValueError:
        return False


def known_fingerprints() -> set[str]:
    """Every key that signed or signs certificates here."""
    return set(SigningCertificate.objects.values_list("fingerprint", flat=True)) | set(keys_here())


def paper_choice(family_id: int) -> Choice:
    """What the family's certificates hold, as chosen last."""
    row = PaperChoice.objects.filter(family=family_id).order_by("-id").first()
    return _usual() if row is None else Choice(**{field.name: getattr(row, field.name) for field in fields(Choice)})


def _usual() -> Choice:
    """What holds until somebody chooses for the family: language, paper and lengths of the site."""
    lengths = "in" if settings.QCAPP_SITE_LENGTHS == "in" else "plan"
    return Choice(language=settings.QCAPP_SITE_LANGUAGE, paper=settings.QCAPP_SITE_PAPER, lengths=lengths)


def published_keys() -> list[PublishedKey]:
    """The keys of this maker, the newest first, for everybody to compare."""
    rows = SigningCertificate.objects.order_by("-valid_from", "-id")
    return [PublishedKey(row.fingerprint, row.valid_from, row.valid_until) for row in rows]


def content_of(certificate_id: int) -> dict[str, Any]:
    """What the certificate says, as frozen. Raises Refused `content_altered` when it does not have its digest."""
    text, sealed = Certificate.objects.values_list("content", "digest").get(pk=certificate_id)
    if digest(text) != sealed:
        message = "The stored text of this certificate was altered in the database. Compare it with a backup."
        raise Refused("content_altered", message)
    frozen: dict[str, Any] = json.loads(text)
    return frozen


def _cards(rows: QuerySet[Certificate]) -> list[CertificateCard]:
    """The issues of a queryset, in its order; two queries, however many."""
    latest_issue = Certificate.objects.filter(number=OuterRef("number")).order_by("-issue").values("issue")[:1]
    latest_release = Release.objects.filter(item=OuterRef("item")).order_by("-id").values("kind")[:1]
    joined = rows.select_related("item__unit", "item__lot", "item__family", "issued_by", "withdrawal")
    annotated = joined.annotate(
        latest_issue=Subquery(latest_issue), latest_release=Subquery(latest_release), doubted=Exists(_doubted())
    )
    found = list(annotated)
    recalled = in_open_field_action(row.item_id for row in found)
    doubts = (
        row.doubted or row.item_id in recalled or row.latest_release != Release.Kind.GIVEN or _unusable(row)
        for row in found
    )  # fmt: skip
    return [_card(row, row.latest_issue, doubt) for row, doubt in zip(found, doubts, strict=True)]


def _unusable(row: Certificate) -> bool:
    """A lot that was refused after all."""
    lot: Any = getattr(row.item, "lot", None)
    return lot is not None and lot.state not in USABLE_LOTS


def _doubted() -> QuerySet[Certificate]:
    """Issues whose unit is on hold, or that a report is about which has not ended: none was open at issue."""
    mine = Certificate.objects.filter(pk=OuterRef("pk"))
    held = Q(item__holds__isnull=False, item__holds__lift__isnull=True)
    own = Q(item__reports__status__state__in=NOT_ENDED)
    grouped = Q(item__grouped_in__report__status__state__in=NOT_ENDED)
    return mine.filter(held | own | grouped)


def _card(row: Certificate, latest: int, in_doubt: bool) -> CertificateCard:
    withdrawal = getattr(row, "withdrawal", None)  # an issue without one has no such attribute
    lot: Any = getattr(row.item, "lot", None)
    return CertificateCard(
        id=row.pk,
        uuid=row.uuid,
        token=row.token,
        item_id=row.item_id,
        serial=lot.code if lot else row.item.unit.serial,
        family_code=row.item.family.code,
        family_name=row.item.family.name,
        number=row.number,
        issue=row.issue,
        digest=row.digest,
        change_note=row.change_note,
        issued_by_name=row.issued_by.name,
        issued_at=row.issued_at,
        replaced_by=latest if latest > row.issue else None,
        withdrawn_reason=withdrawal.reason if withdrawal else "",
        withdrawn_at=withdrawal.at if withdrawal else None,
        lot=lot is not None,
        in_doubt=in_doubt,
    )


def items_certified(fragment: str, limit: int = 40) -> list[tuple[int, str]]:
    """Item and number of certificates whose number holds the fragment, compared as `lookup_key` does.

    Those that end with it first, the newest first in each.
    """
    key = lookup_key(fragment.replace("\0", ""))
    if not 0 < len(key) <= LONGEST_TOKEN:
        return []
    spoken: Replace | Upper = Upper("number")
    for written, read in (("-", ""), ("O", "0"), ("I", "1")):
        spoken = Replace(spoken, Value(written), Value(read))
    rows = Certificate.objects.annotate(spoken=spoken).filter(spoken__contains=key, issue=1, item__unit__isnull=False)
    ends = Case(When(spoken__endswith=key, then=Value(0)), default=Value(1), output_field=IntegerField())
    return list(rows.order_by(ends, "-id").values_list("item_id", "number")[:limit])


def notices_waiting() -> tuple[int, datetime | None]:
    """How many notices have not arrived where they are sent, and since when the oldest waits."""
    delivered = NoticeTry.objects.filter(notice=OuterRef("pk"), delivered=True)
    waiting = Notice.objects.filter(~Exists(delivered)).aggregate(count=Count("pk"), oldest=Min("at"))
    return waiting["count"], waiting["oldest"]
