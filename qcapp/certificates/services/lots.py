"""The inspection certificate of a lot that was tested here (EN 10204:2004, type 3.1): signed by somebody who had no
part in its production.
"""

from __future__ import annotations

import secrets
from dataclasses import asdict
from datetime import datetime
from typing import TYPE_CHECKING

from django.db import transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Conflict, Refused
from qcapp.core.sealing import canonical, digest
from qcapp.goods.queries.lots import cutters_of, sorting_of
from qcapp.inspections.queries import inspection_of_unit
from qcapp.lib.plain_text import plain_text
from qcapp.people.queries import marks_of, roles_of
from qcapp.people.roles import Act, Role
from qcapp.people.services import require, write_signature
from qcapp.production.queries import family_by_code
from qcapp.production.queries.as_built import lot_by_code
from qcapp.production.queries.inside import opener_of_lot
from qcapp.production.services.lots import lock_lot

from ..lot_queries import LotStanding, lot_standing
from ..models import Certificate, Release
from ..queries import CertificateCard, certificate, paper_choice
from ..sections.lot import MEANING, LotRecord, lot_content
from ..sections.record import Head
from .issuing import Paper, head_fields, next_number, refuse_going_back, tell_of_issue, usable_key
from .keys import note_key

if TYPE_CHECKING:
    from qcapp.people.models import Person
    from qcapp.people.services import Proof
    from qcapp.production.queries.as_built import LotCard

PRODUCING = frozenset({Role.WELDER, Role.ASSEMBLER, Role.GOODS_IN})


@transaction.atomic
def certify_lot(
    *, proof: Proof, lot_code: str, at: datetime, order_number: str = "", change_note: str = ""
) -> CertificateCard:
    """The next issue of the lot's inspection certificate, signed.

    Raises Refused `not_independent`, `lot_not_proven`, `signing_key_…`, `clock_set_back`; Conflict `issued_already`
    when there is an issue and no change is named; NotAllowed, NotFound `lot_unknown`, Invalid of `plain_text`.
    """
    require(proof.person, Act.SIGN_LOT_CERTIFICATE, at)
    key = usable_key(at)
    order_number = plain_text("The order", order_number, longest=40, needed=False)
    change_note = plain_text("What changed", change_note, longest=300, needed=False)
    lot = lock_lot(lot_by_code(lot_code).id)
    _require_independent(proof.person, lot, at)
    standing = _proven(lot.code)
    paper = _paper(standing, change_note, at)
    role = _role(proof.person, at)
    head = Head(**head_fields(paper, proof.person.name, at, key.fingerprint))
    text = canonical(lot_content(_record(head, standing, order_number, proof.person.name, role)))
    signature = write_signature(
        proof=proof,
        act=Act.SIGN_LOT_CERTIFICATE,
        role=role,
        meaning=MEANING.format(lot=lot.code),
        subject=f"lot {lot.code}",
        covers=digest(text),
        at=at,
    )
    checks = canonical([{"code": one.code, "sentence": one.sentence} for one in standing.findings])
    given = Release.objects.create(
        item_id=lot.item_id, kind=Release.Kind.GIVEN, checks=checks, signature=signature, at=at
    )
    sealed = {"content": text, "digest": digest(text), "issued_by": proof.person, "issued_at": at}
    Certificate.objects.create(item_id=lot.item_id, release=given, **asdict(paper), **sealed)
    note_key(key=key, at=at)
    tell_of_issue(lot.code, paper, digest(text), at)
    payload = {"serial": lot.code, "digest": digest(text), "change_note": paper.change_note}
    subject = f"certificate {paper.number}/{paper.issue}"
    audit.anchor_on_commit(at=at)
    audit.record(verb=Verb.CERTIFICATE_ISSUED, actor=proof.person.uuid, subject=subject, at=at, payload=payload)
    return certificate(paper.number, paper.issue)


def _require_independent(person: Person, lot: LotCard, at: datetime) -> None:
    """EN 10204:2004, 2.3 and 4.1: the representative is independent of the manufacturing department."""
    own = sorted(held.role for held in roles_of(person, at) if held.role in PRODUCING)
    if own:
        label = Role(own[0]).label
        message = f"{person.name} is {label} too and so not independent of production; somebody else signs."
        raise Refused("not_independent", message)
    if person.pk == opener_of_lot(lot.id) or person.pk in cutters_of(lot.id):
        message = f"{person.name} opened or cut lot {lot.code}; somebody who had no part in it signs."
        raise Refused("not_independent", message)


def _proven(code: str) -> LotStanding:
    standing = lot_standing(code)
    if standing.against:
        sentences = " ".join(f"{one.title}: {one.sentence}" for one in standing.against)
        findings = [one.code for one in standing.against]
        raise Refused("lot_not_proven", f"Lot {code} gets no certificate yet. {sentences}", findings=findings)
    return standing


def _paper(standing: LotStanding, change_note: str, at: datetime) -> Paper:
    issued, lot = standing.certificates, standing.lot
    refuse_going_back(at, *(card.issued_at for card in issued))
    if issued and not change_note:
        last = issued[0]
        message = f"{last.number} issue {last.issue} is there for {lot.code}; say what changed for another one."
        raise Conflict("issued_already", message)
    return Paper(
        number=issued[0].number if issued else next_number(family_by_code(lot.family_code).certificate_prefix, at),
        issue=issued[0].issue + 1 if issued else 1,
        change_note=change_note if issued else "",
        token=secrets.token_urlsafe(32),
    )


def _role(person: Person, at: datetime) -> Role:
    """In which role it is signed: an inspector's before the quality manager's."""
    held = {one.role for one in roles_of(person, at)}
    return Role.INSPECTOR if Role.INSPECTOR in held else Role.QUALITY_MANAGER


def _record(head: Head, standing: LotStanding, order_number: str, name: str, role: Role) -> LotRecord:
    lot = standing.lot
    if standing.sample is None:  # `_proven` asks for it
        raise Refused("lot_not_proven", f"Lot {lot.code} was not sampled.")
    pieces = tuple((piece.number, inspection_of_unit(piece.unit)) for piece in standing.pieces)
    people = {given.person_id for _, view in pieces for one in view.checkpoints for given in one.given}
    return LotRecord(
        head=head,
        lot=lot,
        order_number=order_number,
        sample=standing.sample,
        sorting=sorting_of(lot.id),
        pieces=pieces,
        signed_by=name,
        role=role.label,
        choice=paper_choice(lot.family_id),
        marks=marks_of(people),
    )
