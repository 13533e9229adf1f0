"""Parts that go no further: a number destroyed before a witness, the paper that goes back to the supplier."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from django.db import transaction

from qcapp.audit.verbs import Verb
from qcapp.core.errors import Conflict, Invalid, NotAllowed, Refused
from qcapp.core.sealing import canonical, digest
from qcapp.lib.plain_text import plain_text
from qcapp.people.roles import Act
from qcapp.people.services import require, write_signature
from qcapp.production.queries import units_of_items
from qcapp.production.queries.as_built import installed_in
from qcapp.production.services import place_hold

from ..models import Destruction, DispositionProposal, Report, ReturnNote
from ..queries.details import item_ids_of, parts_of, quantity_of
from ..states import Disposition
from .steps import enter, locked, named, next_paper, remark

if TYPE_CHECKING:
    from qcapp.people.models import Person, Signature
    from qcapp.people.services import Proof

DONE, SEEN = "done", "seen"
WELDED_IN = "welded_in"  # a link of the as-built record


def asks_for(report: Report, disposition: Disposition) -> bool:
    """Whether the disposition in force, or a part of it, is this one."""
    decided = report.status.decided
    if decided is None:
        return False
    parts = parts_of(decided.pk)
    return disposition in ({part.disposition for part in parts} or {decided.disposition})


def refuse_without_papers(report: Report, decided: DispositionProposal) -> None:
    """Raises Refused `destruction_not_witnessed` or `no_return_note` while what scrap or a return asks is missing."""
    units = units_of_items(item_ids_of(report)).values()
    gone = bool(units) and all(unit.state == "scrapped" for unit in units)  # another report has seen to it
    if asks_for(report, Disposition.SCRAP) and not gone and Destruction.objects.filter(report=report).count() < 2:
        message = (
            f"{report.number} closes when two persons have signed that the number of {named(report)} is destroyed."
        )
        raise Refused("destruction_not_witnessed", message)
    if asks_for(report, Disposition.RETURN_TO_SUPPLIER) and not ReturnNote.objects.filter(report=report).exists():
        raise Refused("no_return_note", f"Write the paper that goes back with {named(report)} first, then close.")


# ------------------------------------------------------------------------------------------------ destruction


@transaction.atomic
def sign_destruction(*, proof: Proof, number: str, how: str, at: datetime) -> bool:
    """Sign that the number of a scrapped part is destroyed: first who did it, then who saw it. True for the witness.

    Raises NotAllowed `second_person_needed`, NotFound, Refused `not_to_be_scrapped`, Conflict `destroyed_already`,
    Invalid of `plain_text`.
    """
    require(proof.person, Act.WITNESS_DESTRUCTION, at)
    how = plain_text("How the number was destroyed", " ".join(how.split()), longest=300)
    report = locked(number)
    if not asks_for(report, Disposition.SCRAP):
        raise Refused("not_to_be_scrapped", f"{report.number} was not decided as scrap; nothing is destroyed for it.")
    first = Destruction.objects.filter(report=report).select_related("signature").first()
    part = DONE if first is None else SEEN
    if first is not None:
        _check_witness(report, first, proof.person)
    signature = _destruction_signed(report, proof, part, how, at)
    Destruction.objects.create(report=report, part=part, how=how, signature=signature, at=at)
    label = "Number destroyed" if part == DONE else "Destruction witnessed"
    remark(report, f"destruction_{part}", by=proof.person, at=at, note=f"{label}: {how}", signature=signature)
    enter(report, Verb.REPORT_DESTRUCTION_SIGNED, by=proof.person, at=at, part=part, how=how)
    return part == SEEN


def _check_witness(report: Report, first: Destruction, person: Person) -> None:
    if Destruction.objects.filter(report=report, part=SEEN).exists():
        message = f"Two persons have signed the destruction for {report.number} already; close the report."
        raise Conflict("destroyed_already", message)
    if first.signature.person_id == person.pk:
        raise NotAllowed("second_person_needed", "You destroyed the number yourself; somebody else signs as witness.")


def _destruction_signed(report: Report, proof: Proof, part: str, how: str, at: datetime) -> Signature:
    said = "I destroyed" if part == DONE else "I saw destroyed"
    return write_signature(
        proof=proof,
        act=Act.WITNESS_DESTRUCTION,
        meaning=f"{said} the number of {named(report)} for {report.number}: {how}"[:300],
        subject=f"report {report.number}",
        covers=digest(canonical({"report": report.number, "part": part, "how": how})),
        at=at,
    )


def hold_components(report: Report, *, by: Person, at: datetime) -> list[str]:
    """Put the removable components of the scrapped units on hold for inspection; gives their serials.

    Removable is what was scanned into the unit as a component and not welded in. What is welded in, and the lots and
    heats that went into it, never come back. Inside the closing transaction, whose audit entries name them.
    """
    scrapped = item_ids_of(report)
    found = {card.component_item_id: card.serial for card in installed_in(scrapped) if card.link != WELDED_IN}
    reason = f"Taken out of {named(report)}, which is scrapped: inspect before it is used again."
    for item_id in sorted(set(found) - set(scrapped)):
        place_hold(by=by, item_id=item_id, from_stage=None, source=f"{report.number} parts", reason=reason, at=at)
    return [found[item_id] for item_id in sorted(set(found) - set(scrapped))]


# ---------------------------------------------------------------------------------------------------- return


@transaction.atomic
def write_return_note(
    *, by: Person, number: str, supplier: str, text: str, delivery: str = "", quantity: int | None = None, at: datetime
) -> str:
    """The number of the paper that goes back with the parts. Without a quantity: all that were decided to go back.

    Raises NotAllowed, NotFound, Refused `not_to_be_returned`, Conflict `return_note_exists`, Invalid
    `quantity_wrong`, a code of `plain_text`.
    """
    require(by, Act.CONTAIN_REPORT, at)
    told = {
        "supplier": plain_text("The supplier", supplier, longest=120),
        "delivery": plain_text("The delivery", delivery, longest=80, needed=False),
        "text": plain_text("What is wrong and what is asked for", " ".join(text.split()), longest=600),
    }
    report = locked(number)
    if not asks_for(report, Disposition.RETURN_TO_SUPPLIER):
        raise Refused("not_to_be_returned", f"{report.number} was not decided as return to supplier.")
    if ReturnNote.objects.filter(report=report).exists():
        raise Conflict("return_note_exists", f"The paper for {report.number} is written already; print it again.")
    count = _quantity(report, quantity)
    number = next_paper("RN", at)
    ReturnNote.objects.create(report=report, number=number, quantity=count, by=by, at=at, **told)
    data = told | {"quantity": count, "note": number}
    remark(report, "return_written", by=by, at=at, note=f"{number} to {told['supplier']}", data=data)
    enter(report, Verb.REPORT_RETURN_WRITTEN, by=by, at=at, **data)
    return number


def _quantity(report: Report, given: int | None) -> int:
    decided = report.status.decided
    parts = () if decided is None else parts_of(decided.pk)
    whole = quantity_of(report) or len(item_ids_of(report))
    wanted = next((part.quantity for part in parts if part.disposition == Disposition.RETURN_TO_SUPPLIER), whole)
    if given not in (None, wanted):
        raise Invalid("quantity_wrong", f"{wanted} were decided to go back; write {wanted}, or decide again.")
    return wanted
