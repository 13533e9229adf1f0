"""Issuing a certificate: the records are read once, frozen as text, and never read again for this issue."""

from __future__ import annotations

import secrets
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.db import transaction

from qcapp.audit import queries as audit_queries
from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Conflict, Invalid, Refused
from qcapp.core.sealing import canonical, digest
from qcapp.inspections.queries.first_articles import first_articles
from qcapp.lib.plain_text import plain_text
from qcapp.lib.signing_keys import SigningKey, current_key
from qcapp.lib.site_days import site_day
from qcapp.people.queries import marks_of
from qcapp.people.roles import Act
from qcapp.people.services import require, write_signature
from qcapp.production.queries import unit_by_serial, welders_of
from qcapp.production.queries.as_built import lot_by_code
from qcapp.production.services import lock_unit
from qcapp.production.services.lots import lock_lot

from ..choices import Choice
from ..models import Certificate, CertificateWithdrawal
from ..queries import CertificateCard, ReleaseCard, certificate, certificates_of, paper_choice, releases_of
from ..release_checks import Standing, check, standing_of
from ..sections import content
from ..sections.record import Record
from .keys import note_key
from .notices import ISSUED, REPLACED, WITHDRAWN, tell
from .picturing import logo_now

if TYPE_CHECKING:
    from qcapp.people.models import Person
    from qcapp.people.services import Proof
    from qcapp.production.queries import UnitCard


@dataclass(frozen=True)
class Paper:
    """What is this issue's own: its number, its change, and the key of its check page."""

    number: str
    issue: int
    change_note: str
    token: str


@transaction.atomic
def issue_certificate(*, by: Person, serial: str, at: datetime, change_note: str = "") -> CertificateCard:
    """The next issue of the unit's certificate. The first needs a release; a further one says what changed.

    Raises Refused `not_released`, `release_in_doubt`, Invalid `change_note_missing`, Conflict `issued_already` when the
    released unit has a current issue and no change is named, NotAllowed, NotFound, Invalid of `plain_text`, Refused
    `signing_key_missing`, `signing_key_expired`, `signing_key_not_yet_valid` when it could not be signed, and
    `clock_set_back`.
    """
    require(by, Act.ISSUE_CERTIFICATE, at)
    key = usable_key(at)
    change_note = plain_text("What changed", change_note, longest=300, needed=False)
    unit = lock_unit(unit_by_serial(serial).id)
    released = _release_of(unit)
    issued = certificates_of(unit.item_id)
    refuse_going_back(at, released.at, *(card.issued_at for card in issued))
    if issued and not change_note:
        _refuse_without_note(unit, issued[0], released)
    standing = _beyond_doubt(unit.serial)
    paper = Paper(
        number=issued[0].number if issued else next_number(unit.certificate_prefix, at),
        issue=issued[0].issue + 1 if issued else 1,
        change_note=change_note if issued else "",
        token=secrets.token_urlsafe(32),
    )
    text = canonical(content(_record(standing, paper, by, at, released, key.fingerprint)))
    sealed = {"content": text, "digest": digest(text), "issued_by": by, "issued_at": at}
    Certificate.objects.create(item_id=unit.item_id, release_id=released.id, **asdict(paper), **sealed)
    payload = {"serial": unit.serial, "digest": digest(text), "change_note": paper.change_note}
    subject = f"certificate {paper.number}/{paper.issue}"
    note_key(key=key, at=at)
    tell_of_issue(unit.serial, paper, digest(text), at)
    audit.anchor_on_commit(at=at)
    audit.record(verb=Verb.CERTIFICATE_ISSUED, actor=by.uuid, subject=subject, at=at, payload=payload)
    return certificate(paper.number, paper.issue)


def tell_of_issue(serial: str, paper: Paper, sealed: str, at: datetime) -> None:
    """Notices of the issue, and of the one that it replaces."""
    facts = {"number": paper.number, "issue": paper.issue, "serial": serial, "digest": sealed}
    tell(event=ISSUED, at=at, **facts)
    if paper.issue > 1:
        replaced = {"number": paper.number, "issue": paper.issue - 1, "serial": serial, "replaced_by": paper.issue}
        tell(event=REPLACED, at=at, **replaced)


def refuse_going_back(at: datetime, *earlier: datetime) -> None:
    """A paper is never dated before its release or the issue before. Raises Refused `clock_set_back`."""
    latest = max(earlier, default=at)
    if at < latest:
        message = (
            f"The server's clock says {at:%Y-%m-%d %H:%M} UTC, before {latest:%Y-%m-%d %H:%M} UTC, when this was "
            "released or issued last. Ask the system keeper to set the clock right; then do it again."
        )
        raise Refused("clock_set_back", message)


def usable_key(at: datetime) -> SigningKey:
    """The key that the paper names and that signs it. Raises Refused `signing_key_…`."""
    key = current_key()
    key.require_valid(at)
    return key


def _refuse_without_note(unit: UnitCard, last: CertificateCard, released: ReleaseCard) -> None:
    if last.withdrawn_at is None and released.at <= last.issued_at:
        raise Conflict(
            "issued_already", f"{last.number} issue {last.issue} is current for {unit.serial}; take that one."
        )
    raise Invalid("change_note_missing", "Say what changed since the last issue; the new one prints it.")


def _beyond_doubt(serial: str) -> Standing:
    """The unit as the release checks see it. Raises Refused `release_in_doubt` when something came up since."""
    standing = standing_of(serial)
    against = [finding for finding in check(standing) if not finding.ok]
    if against:
        sentences = " ".join(f"{finding.title}: {finding.sentence}" for finding in against)
        message = f"{standing.serial} was released, but something came up since. {sentences}"
        raise Refused("release_in_doubt", message, findings=[finding.code for finding in against])
    return standing


def _release_of(unit: UnitCard) -> ReleaseCard:
    releases = releases_of(unit.item_id)
    if not releases or not releases[0].given:
        raise Refused("not_released", f"{unit.serial} is not released; a certificate is issued after the release.")
    return releases[0]


def next_number(prefix: str, at: datetime) -> str:
    """FR-2026-0211: a series without gaps for each prefix and year of the site."""
    year = site_day(at).year
    return f"{prefix}-{year}-{audit.next_number(series=f'certificate {prefix} {year}'):04}"


def _record(
    standing: Standing, paper: Paper, by: Person, at: datetime, released: ReleaseCard, fingerprint: str
) -> Record:
    choice = chosen_for(standing.inspection.unit)
    return Record(
        **head_fields(paper, by.name, at, fingerprint),
        standing=standing,
        released_at=released.at,
        released_by=released.person_name,
        released_function=released.function,
        release_meaning=released.meaning,
        choice=choice,
        marks=marks_of(_people_in(standing)),
    )


def head_fields(paper: Paper, by: str, at: datetime, fingerprint: str) -> dict[str, Any]:
    """What every paper says of itself, with the chain's head as it is now."""
    head = audit_queries.head()
    return {
        "number": paper.number,
        "issue": paper.issue,
        "issued_at": at,
        "issued_by": by,
        "change_note": paper.change_note,
        "check_address": f"{settings.QCAPP_PUBLIC_URL.rstrip('/')}/check/{paper.token}/",
        "maker": settings.QCAPP_SITE_NAME,
        "place": settings.QCAPP_SITE_PLACE,
        "zone": settings.QCAPP_SITE_ZONE,
        "demonstration": settings.QCAPP_DEMO,
        "chain_number": head.number,
        "chain_digest": head.digest,
        "signing_fingerprint": fingerprint,
        "logo": logo_now(),
    }


def chosen_for(unit: UnitCard) -> Choice:
    """The family's choice; an accepted first article gets its report where the family wants that."""
    choice = paper_choice(unit.family_id)
    accepted = (one.serial for one in first_articles(unit.family_id) if one.accepted)
    if choice.first_articles and unit.serial in accepted:
        return replace(choice, kind="first_article")
    return choice


def _people_in(standing: Standing) -> set[int]:
    """Everybody whose answer, signature or weld the paper may show."""
    view = standing.inspection
    given = {answer.person_id for one in view.checkpoints for answer in one.given}
    signed = {stage.sign_off.person_id for stage in view.stages if stage.sign_off is not None}
    return given | signed | set(welders_of(view.unit.item_id).values())


@transaction.atomic
def withdraw_certificate(*, proof: Proof, number: str, issue: int, reason: str, at: datetime) -> None:
    """Say, signed, that an issue no longer stands. The document stays as it is; the check page tells.

    Raises Conflict `withdrawn_already`, Refused `clock_set_back`, NotAllowed, NotFound, Invalid of `plain_text`.
    """
    require(proof.person, Act.ISSUE_CERTIFICATE, at)
    reason = plain_text("The reason", reason, longest=300)
    _lock(certificate(number, issue))
    card = certificate(number, issue)
    if card.withdrawn_at is not None:
        raise Conflict("withdrawn_already", f"{card.number} issue {issue} is withdrawn already.")
    refuse_going_back(at, card.issued_at)
    subject = f"certificate {card.number}/{issue}"
    signature = write_signature(
        proof=proof,
        act=Act.ISSUE_CERTIFICATE,
        meaning=f"I withdraw certificate {card.number} issue {issue}: {reason}"[:300],
        subject=subject,
        covers=digest(canonical({"number": card.number, "issue": issue, "reason": reason})),
        at=at,
    )
    CertificateWithdrawal.objects.create(certificate_id=card.id, reason=reason, signature=signature, at=at)
    tell(event=WITHDRAWN, at=at, number=card.number, issue=issue, serial=card.serial, reason=reason)
    payload = {"serial": card.serial, "reason": reason, "signature": str(signature.uuid)}
    audit.anchor_on_commit(at=at)
    audit.record(verb=Verb.CERTIFICATE_WITHDRAWN, actor=proof.person.uuid, subject=subject, at=at, payload=payload)


def _lock(card: CertificateCard) -> None:
    """The unit's or the lot's row, held until the end of the transaction."""
    if card.lot:
        lock_lot(lot_by_code(card.serial).id)
    else:
        lock_unit(unit_by_serial(card.serial).id)
