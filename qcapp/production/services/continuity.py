"""Every six months the welding coordinator signs that a welder has gone on welding; else the qualification lapses."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any
from uuid import UUID

from django.db import transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Refused
from qcapp.core.sealing import canonical, digest
from qcapp.lib.plain_text import plain_text
from qcapp.lib.site_days import months_later, site_day
from qcapp.people.roles import Act
from qcapp.people.services import require, write_signature

from ..models import QualificationConfirmation, WelderQualification
from ..queries.welding import CONTINUITY, QualificationCard, Standing, Work, qualification_by_uuid, work_of

if TYPE_CHECKING:
    from qcapp.people.services import Proof


def confirm_qualification(*, proof: Proof, uuid: UUID | str, at: datetime, evidence: str = "") -> QualificationCard:
    """The qualification, confirmed for six months from that day, not beyond its end. A signed act.

    It rests on the joints recorded here by that process and within its thicknesses in the six months before; where
    there are none, `evidence` says where the welder worked. What lapsed is taken up again on the same terms; the
    coordinator answers for it by the edition of the standard that applies. Raises NotAllowed `not_permitted`; NotFound
    `qualification_unknown`; Refused `own_qualification`, `qualification_expired`, `continuity_without_work`; Invalid
    of `plain_text`.
    """
    person, today = proof.person, site_day(at)
    require(person, Act.CONFIRM_WELDER, at)
    evidence = plain_text("Where the welder worked", evidence, longest=300, needed=False)
    with transaction.atomic():
        row = WelderQualification.objects.select_for_update(of=("self",)).filter(uuid=uuid).first()
        card = qualification_by_uuid(uuid)
        assert row is not None  # noqa: S101 - the card would not be there
        work = work_of([card], months_later(today, -CONTINUITY))[card.id]
        _check(person.pk, card, work, evidence, at)
        told: dict[str, Any] = {
            "confirmed_on": today, "holds_until": min(months_later(today, CONTINUITY), card.expires_on),
            "joints": work.joints, "last_weld_on": work.last_on, "evidence": evidence,
        }  # fmt: skip
        payload = {name: value if isinstance(value, int | str) else str(value or "") for name, value in told.items()}
        payload |= {"certificate": card.certificate, "process": card.process}
        subject = f"person {row.welder.badge}"
        signature = write_signature(
            proof=proof, act=Act.CONFIRM_WELDER, meaning=_meaning(card, work, evidence), subject=subject,
            covers=digest(canonical(payload)), at=at,
        )  # fmt: skip
        QualificationConfirmation.objects.create(qualification=row, signature=signature, at=at, **told)
        audit.record(verb=Verb.QUALIFICATION_CONFIRMED, actor=person.uuid, subject=subject, at=at, payload=payload)
    return qualification_by_uuid(uuid)


def _check(person_id: int, card: QualificationCard, work: Work, evidence: str, at: datetime) -> None:
    if card.welder_id == person_id:
        raise Refused("own_qualification", "Somebody else confirms your own qualification.")
    if card.standing(site_day(at)) is Standing.EXPIRED:
        message = f"{card.certificate} ran out; a new test is needed, which a confirmation does not replace."
        raise Refused("qualification_expired", message)
    if not work.joints and not evidence:
        message = (
            f"No joint by process {card.process} from {card.thickness_from} to {card.thickness_to} mm is recorded for "
            f"{card.welder_name} in the last six months. Say where the work is written down, or have the welder tested "
            "anew."
        )
        raise Refused("continuity_without_work", message)


def _meaning(card: QualificationCard, work: Work, evidence: str) -> str:
    seen = f"Joints recorded here: {work.joints}, the last on {work.last_on}." if work.joints else ""
    said = (
        f"{card.welder_name} has gone on welding by process {card.process} within {card.certificate}. {seen} {evidence}"
    )
    return " ".join(said.split())[:300]
