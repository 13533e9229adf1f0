"""Deviation permits: permission given before anything is made, by the engineer and the quality manager."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from django.db import transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Conflict, Invalid, NotAllowed, NotFound, Refused
from qcapp.core.sealing import canonical, digest
from qcapp.lib.plain_text import plain_text, shown
from qcapp.lib.site_days import site_day
from qcapp.people.roles import Act, Role
from qcapp.people.services import require, write_signature
from qcapp.plans.queries import CheckpointCard, checkpoints_of, released_revision
from qcapp.production.queries import family_by_code

from ..cards import PermitCard
from ..models import DeviationPermit, PermitSignature, PermitUse, Report
from ..queries.details import permit
from .steps import next_paper

if TYPE_CHECKING:
    from qcapp.people.models import Person
    from qcapp.people.services import Proof


@transaction.atomic
def propose_permit(
    *,
    by: Person,
    family_code: str,
    checkpoint_key: str,
    statement: str,
    lower: Decimal | None = None,
    upper: Decimal | None = None,
    serials: Sequence[str] = (),
    quantity: int | None = None,
    ends_on: date | None = None,
    customer_approval: str = "",
    at: datetime,
) -> str:
    """The number of a permit that waits for its two signatures.

    It names its units, or how many, or its last day, or several of these. `checkpoint_key` may be the number as well.
    Raises NotAllowed, NotFound `family_unknown`, `no_released_plan`, `checkpoint_unknown`, Invalid
    `permit_without_end`, `limits_crossed`, `concession_without_limits`, `part_not_positive`, a code of `plain_text`.
    """
    require(by, Act.PROPOSE_PERMIT, at)
    told: dict[str, Any] = {
        "statement": plain_text("What is permitted and why", " ".join(statement.split()), longest=400),
        "customer_approval": plain_text("The customer's approval", customer_approval, longest=120, needed=False),
        "serials": [plain_text("A serial", one, longest=40).upper() for one in serials if one.strip()],
    }
    family = family_by_code(family_code)
    card = _checkpoint(family.code, checkpoint_key.strip())
    _check_limits(card, lower, upper)
    _check_end(told["serials"], quantity, ends_on, site_day(at))
    told |= {"quantity": quantity, "ends_on": ends_on, "lower": lower, "upper": upper}
    number = next_paper("DP", at)
    DeviationPermit.objects.create(
        number=number, family_id=family.id, characteristic_id=card.characteristic_id, by=by, at=at, **told
    )
    payload = _content(permit(number, site_day(at)))
    audit.record(verb=Verb.PERMIT_PROPOSED, actor=by.uuid, subject=f"permit {number}", at=at, payload=payload)
    return number


def _checkpoint(family_code: str, named: str) -> CheckpointCard:
    for card in checkpoints_of(released_revision(family_code).id):
        if named in (card.key, str(card.number)):
            return card
    name = shown(named)
    raise NotFound("checkpoint_unknown", f"The plan of {family_code} has no checkpoint {name}.", checkpoint=name)


def _check_limits(card: CheckpointCard, lower: Decimal | None, upper: Decimal | None) -> None:
    if card.kind in {"measured", "derived", "count"} and lower is None and upper is None:
        raise Invalid("concession_without_limits", "Say up to which value this permit holds, such as max 0.36.")
    if lower is not None and upper is not None and lower > upper:
        raise Invalid("limits_crossed", "The lower limit of the permit is above its upper limit; swap them.")


def _check_end(serials: Sequence[str], quantity: int | None, ends_on: date | None, today: date) -> None:
    if not serials and quantity is None and ends_on is None:
        message = "A permit ends: name its units, how many, or its last day."
        raise Invalid("permit_without_end", message)
    if quantity is not None and quantity < 1:
        raise Invalid("part_not_positive", "A permit is for one unit or more.")
    if ends_on is not None and ends_on < today:
        message = "The last day of the permit is past; name today or a later day."
        raise Invalid("concession_ends_before_it_begins", message)


@transaction.atomic
def sign_permit(*, proof: Proof, number: str, role: str, at: datetime) -> bool:
    """Sign a permit in one of its two roles; True when it is in force with this signature.

    Raises NotAllowed `signed_already`, `not_permitted`, NotFound `permit_unknown`, Conflict `role_signed`, Invalid
    `role_not_needed`.
    """
    require(proof.person, Act.SIGN_PERMIT, at)
    row = _locked(number)
    card = permit(row.number, site_day(at))
    if role in card.signed:
        raise Conflict("role_signed", f"{card.signed[role]} has signed as {Role(role).label} already.")
    if role not in card.missing:
        raise Invalid("role_not_needed", "A deviation permit is signed by the engineer and the quality manager.")
    if proof.person.pk in card.signer_ids:
        raise NotAllowed("signed_already", "You have signed this permit in the other role; a second person must sign.")
    content = _content(card)
    signature = write_signature(
        proof=proof,
        act=Act.SIGN_PERMIT,
        role=Role(role),
        meaning=f"I permit, before making: {card.number}, {card.statement}"[:300],
        subject=f"permit {card.number}",
        covers=digest(canonical(content)),
        at=at,
    )
    PermitSignature.objects.create(permit=row, role=role, signature=signature)
    payload = content | {"role": role, "signature": str(signature.uuid)}
    subject = f"permit {card.number}"
    audit.record(verb=Verb.PERMIT_SIGNED, actor=proof.person.uuid, subject=subject, at=at, payload=payload)
    return len(card.missing) == 1


def use_permit(report: Report, number: str, at: datetime) -> None:
    """Count the report's use of a permit, inside the deciding transaction; the last one is given once only.

    Raises Refused `permit_ended`, `permit_used_up`, `permit_not_signed`.
    """
    row = _locked(number)
    card = permit(number, site_day(at))
    if card.problem:
        raise Refused(card.code, card.problem)
    PermitUse.objects.create(permit=row, report=report, at=at)


def _locked(number: str) -> DeviationPermit:
    row = None if "\0" in number else DeviationPermit.objects.select_for_update().filter(number__iexact=number).first()
    if row is None:
        name = shown(number)
        raise NotFound("permit_unknown", f"There is no deviation permit {name}; look it up in the list.", number=name)
    return row


def _content(card: PermitCard) -> dict[str, Any]:
    """What a signature under the permit covers."""
    return {
        "permit": card.number,
        "family": card.family_code,
        "checkpoint": card.checkpoint_key,
        "lower": None if card.lower is None else str(card.lower),
        "upper": None if card.upper is None else str(card.upper),
        "statement": card.statement,
        "serials": list(card.serials),
        "quantity": card.quantity,
        "ends_on": None if card.ends_on is None else card.ends_on.isoformat(),
        "customer_approval": card.customer_approval,
    }
