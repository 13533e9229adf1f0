"""The writers of goods-in: deliveries, mill certificates, decisions about heats, cutting and grade checks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from django.db import IntegrityError, transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Conflict, Invalid, NotFound, Refused
from qcapp.core.metrology.quantities import parse_value
from qcapp.core.sealing import canonical, digest
from qcapp.evidence.services.keeping import keep_paper
from qcapp.lib.plain_text import plain_text, shown
from qcapp.lib.site_days import site_day
from qcapp.people.roles import Act
from qcapp.people.services import require, write_signature
from qcapp.production.queries import family_by_code
from qcapp.production.queries.as_built import heat_by_number, lot_by_code, used_in
from qcapp.production.services.lots import create_lot, enter_heat, lock_heat, set_heat_state
from qcapp.production.states import HeatState

from ..checking import Checked, check_heat
from ..models import CertifiedHeat, Cut, DeliveredLot, Delivery, DeliveryLine, GradeCheck, HeatDecision, MillCertificate
from ..queries import CertifiedCard, DeliveryCard, certified_of, delivery_by_number
from ..queries.lots import has_plan
from ..reading import read_composition, read_properties
from .holding import refuse_held_heat, refuse_held_lot
from .verifying import let_go

if TYPE_CHECKING:
    from qcapp.evidence.queries import EvidenceCard
    from qcapp.people.models import Person
    from qcapp.people.services import Proof
    from qcapp.production.queries.as_built import HeatCard, LotCard

MOST_LINES = 60


@transaction.atomic
def receive_delivery(
    *, by: Person, supplier: str, note_number: str, lines: Sequence[Mapping[str, str]], at: datetime,
    order_number: str = "", received_at: datetime | None = None,
) -> DeliveryCard:  # fmt: skip
    """What came in on one note. A line has description, quantity, unit_of_measure and, where known, heat and family.

    A line of a family with a released plan becomes a lot, which is inspected by that plan before anything of it is
    used. Raises Invalid `lines_missing`, `received_later`, `quantity_invalid`, of `plain_text` and `parse_value`;
    NotFound `heat_unknown`, `family_unknown`; Refused `heat_not_accepted`.
    """
    require(by, Act.KEEP_GOODS, at)
    if not 1 <= len(lines) <= MOST_LINES:
        raise Invalid("lines_missing", f"A delivery has from 1 to {MOST_LINES} lines.")
    if received_at is not None and received_at > at:
        raise Invalid("received_later", "A delivery cannot be received in the future; correct the date.")
    row = Delivery.objects.create(
        number=_paper_number("GR", at),
        supplier=plain_text("The supplier", supplier, longest=80),
        order_number=plain_text("The order number", order_number, longest=40, needed=False),
        note_number=plain_text("The number of the delivery note", note_number, longest=40),
        received_at=received_at or at,
        by=by,
    )
    for position, line in enumerate(lines, start=1):
        made = DeliveryLine.objects.create(delivery=row, position=position, **_line(line))
        _open_lot_of(made, line, by, at)
    payload = {"supplier": row.supplier, "note": row.note_number, "lines": [dict(line) for line in lines]}
    audit.record(verb=Verb.DELIVERY_RECEIVED, actor=by.uuid, subject=f"delivery {row.number}", at=at, payload=payload)
    return delivery_by_number(row.number)


def _line(line: Mapping[str, str]) -> dict[str, Any]:
    number = line.get("heat", "").strip()
    quantity = parse_value(line.get("quantity", ""))
    if quantity <= 0:
        raise Invalid("quantity_invalid", "The quantity of a line is above zero; correct it.")
    return {
        "description": plain_text("The description", line.get("description", ""), longest=120),
        "quantity": quantity,
        "unit_of_measure": plain_text("The unit of measure", line.get("unit_of_measure", ""), longest=12),
        "heat_id": heat_by_number(number).id if number else None,
    }


def _open_lot_of(row: DeliveryLine, line: Mapping[str, str], by: Person, at: datetime) -> None:
    """The lot of a line whose family has a released plan; nothing where there is none to inspect by."""
    code = line.get("family", "").strip()
    if not code:
        return
    family = family_by_code(code)
    if not has_plan(family):
        return
    if row.quantity != int(row.quantity):
        raise Invalid("quantity_invalid", f"Pieces of {family.code} are counted; give a whole number.")
    heats = [line["heat"]] if line.get("heat", "").strip() else []
    lot = create_lot(by=by, family=family, quantity=int(row.quantity), heat_numbers=heats, at=at)
    DeliveredLot.objects.create(line=row, lot_id=lot.id)


def _paper_number(prefix: str, at: datetime) -> str:
    series = f"{prefix}-{site_day(at).year}"
    return f"{series}-{audit.next_number(series=series):04}"


# ------------------------------------------------------------------------------------------- mill certificates


def enter_certificate(
    *, by: Person, supplier: str, number: str, paper: bytes, paper_name: str, heats: Sequence[Mapping[str, Any]],
    at: datetime, delivery_number: str = "",
) -> list[CertifiedCard]:  # fmt: skip
    """A mill certificate with the heats it covers, each checked against its grade as it is entered.

    A heat has number, grade, specification, condition, size, thickness, welded_to (the grade on the other side of the
    joint), composition and properties; values are as typed. Nothing is decided by it: an element that does not conform
    is a finding. Raises Invalid of `read_composition`, `check_heat`, `heats_missing`, of `plain_text`; Conflict
    `certificate_taken`; NotFound.
    """
    require(by, Act.KEEP_GOODS, at)
    supplier = plain_text("The supplier", supplier, longest=80)
    number = plain_text("The number of the certificate", number, longest=60)
    if not heats:
        raise Invalid("heats_missing", "A mill certificate covers at least one heat; enter it.")
    with transaction.atomic():
        delivery = delivery_by_number(delivery_number).id if delivery_number.strip() else None
        kept = keep_paper(by=by, content=paper, name=paper_name, at=at)
        row = _insert_certificate(supplier, number, kept, delivery, by, at)
        checked = [_enter_heat(row, heat, by, at) for heat in heats]
        payload = {"supplier": supplier, "paper": kept.digest, "heats": checked}
        subject = f"mill certificate {number}"
        audit.record(verb=Verb.HEAT_CERTIFIED, actor=by.uuid, subject=subject, at=at, payload=payload)
    return certified_of(row.pk)


@transaction.atomic
def add_to_certificate(
    *, by: Person, supplier: str, number: str, heats: Sequence[Mapping[str, Any]], at: datetime
) -> list[CertifiedCard]:
    """Further heats, sizes or conditions that a mill certificate entered before covers; the paper is kept already.

    Raises as `enter_certificate`; NotFound `certificate_unknown`; Conflict `heat_on_certificate`.
    """
    require(by, Act.KEEP_GOODS, at)
    if not heats:
        raise Invalid("heats_missing", "Say which further heat the certificate covers.")
    supplier, number = supplier.strip(), number.strip()
    known = MillCertificate.objects.select_for_update(of=("self",)).select_related("paper")
    row = None if "\0" in supplier + number else known.filter(supplier=supplier, number=number).first()
    if row is None:
        raise NotFound("certificate_unknown", f"There is no certificate {shown(number)} of {shown(supplier)} here.")
    for heat in heats:
        _check_not_on(row, heat)
    checked = [_enter_heat(row, heat, by, at) for heat in heats]
    payload = {"supplier": supplier, "paper": row.paper.digest, "heats": checked}
    audit.record(verb=Verb.HEAT_CERTIFIED, actor=by.uuid, subject=f"mill certificate {number}", at=at, payload=payload)
    return certified_of(row.pk)


def _check_not_on(row: MillCertificate, told: Mapping[str, Any]) -> None:
    said = {name: str(told.get(name, "")).strip() for name in ("size", "condition")}
    number = str(told.get("number", "")).strip()
    if CertifiedHeat.objects.filter(certificate=row, heat__number=number, **said).exists():
        message = f"Heat {shown(number)} is on certificate {row.number} in this size and condition already."
        raise Conflict("heat_on_certificate", message)


def _insert_certificate(
    supplier: str, number: str, kept: EvidenceCard, delivery: int | None, by: Person, at: datetime
) -> MillCertificate:
    try:
        with transaction.atomic():
            return MillCertificate.objects.create(
                number=number, supplier=supplier, paper_id=kept.id, delivery_id=delivery, by=by, at=at
            )
    except IntegrityError:
        message = f"Certificate {number} of {supplier} is entered already; open it."
        raise Conflict("certificate_taken", message) from None


def _enter_heat(row: MillCertificate, told: Mapping[str, Any], by: Person, at: datetime) -> dict[str, object]:
    """Stores one heat with its findings; gives what the audit chain keeps of it."""
    grade = str(told.get("grade", "")).strip()
    heat = enter_heat(by=by, number=str(told.get("number", "")), supplier=row.supplier, grade=grade, at=at)
    composition = read_composition(told.get("composition", {}))
    properties = read_properties(told.get("properties", {}))
    words = {name: str(told.get(name, "")).strip() for name in ("specification", "condition")}
    thickness = parse_value(str(told["thickness"]), units=("mm",)) if str(told.get("thickness", "")).strip() else None
    welded_to = str(told.get("welded_to", "")).strip()
    checked = check_heat(grade, composition, properties, thickness=thickness, welded_to=welded_to, **words)
    _store(row, heat, told, thickness, composition, properties, words, checked)
    return {"heat": heat.number, "conforms": checked.conforms, "composition": _plain(composition)}


def _store(
    row: MillCertificate, heat: HeatCard, told: Mapping[str, Any], thickness: Decimal | None,
    composition: Mapping[str, Decimal], properties: Mapping[str, Decimal], words: Mapping[str, str], checked: Checked,
) -> None:  # fmt: skip
    CertifiedHeat.objects.create(
        certificate=row,
        heat_id=heat.id,
        size=plain_text("The size", str(told.get("size", "")), longest=40, needed=False),
        thickness=thickness,
        composition=_plain(composition),
        properties=_plain(properties),
        conforms=checked.conforms,
        findings=[one.to_json() for one in checked.findings],
        carbon_equivalent=checked.carbon_equivalent,
        cracking=checked.cracking,
        **words,
    )


def _plain(values: Mapping[str, Decimal]) -> dict[str, str]:
    return {name: format(value, "f") for name, value in values.items()}


# --------------------------------------------------------------------------------------------------- decisions


@transaction.atomic
def decide_heat(
    *, proof: Proof, heat_number: str, verdict: str, reason: str, at: datetime, supplier: str = ""
) -> HeatCard:
    """The heat accepted, held or refused by a signed act.

    A heat whose papers do not conform is accepted by the quality manager or the engineer alone, with a reason; one
    without papers, or of a delivery on hold, by nobody. Raises Invalid `verdict_unknown`, of `plain_text`; Refused
    `heat_without_papers`, `delivery_on_hold`; NotAllowed; NotFound `heat_unknown`.
    """
    person = proof.person
    heat = lock_heat(heat_by_number(heat_number, supplier).id)
    if verdict not in HeatDecision.Verdict.values:
        raise Invalid("verdict_unknown", "A heat is accepted, held or refused; say which.")
    papers = list(CertifiedHeat.objects.filter(heat=heat.id).values_list("conforms", flat=True))
    outside = verdict == HeatDecision.Verdict.ACCEPTED and not all(papers)
    if verdict == HeatDecision.Verdict.ACCEPTED:
        refuse_held_heat(heat)
    act = Act.ACCEPT_OUTSIDE_LIMITS if outside else Act.DECIDE_GOODS
    require(person, act, at)
    if verdict == HeatDecision.Verdict.ACCEPTED and not papers:
        message = f"Heat {heat.number} has no mill certificate here; enter it before the heat is accepted."
        raise Refused("heat_without_papers", message)
    needed = outside or verdict != HeatDecision.Verdict.ACCEPTED
    reason = plain_text("The reason", reason, longest=300, needed=needed)
    payload = {"supplier": heat.supplier, "verdict": verdict, "reason": reason, "conforms": all(papers)}
    signature = write_signature(
        proof=proof, act=act, meaning=f"Heat {heat.number} of {heat.supplier} is {verdict}. {reason}"[:300].strip(),
        subject=f"heat {heat.number}", covers=digest(canonical(payload)), at=at,
    )  # fmt: skip
    HeatDecision.objects.create(heat_id=heat.id, verdict=verdict, reason=reason, signature=signature, at=at)
    set_heat_state(heat_id=heat.id, state=HeatState(verdict))
    audit.record(verb=Verb.HEAT_DECIDED, actor=person.uuid, subject=f"heat {heat.number}", at=at, payload=payload)
    return heat_by_number(heat.number, heat.supplier)


# ------------------------------------------------------------------------------------------ cutting and issuing


@transaction.atomic
def record_cut(
    *, by: Person, heat_number: str, stock: str, pieces: int, pieces_marked: bool, remnant: str,
    remnant_marked: bool, at: datetime, lot_code: str = "", supplier: str = "",
) -> None:  # fmt: skip
    """A bar or tube was cut, and its heat mark transferred to every piece and to the remnant, if one is left.

    Where the grade is verified at issue, a check is taken for it. Raises Refused `mark_not_transferred`,
    `delivery_on_hold`, `heat_not_accepted`, `heat_not_of_lot`, `lot_on_hold`, `grade_not_verified`; Invalid
    `pieces_invalid`, of `plain_text`; NotFound.
    """
    require(by, Act.KEEP_GOODS, at)
    heat = heat_by_number(heat_number, supplier)
    stock = plain_text("The bar or tube", stock, longest=60)
    remnant = plain_text("The remnant", remnant, longest=60, needed=False)
    if not 1 <= pieces <= 100_000:
        raise Invalid("pieces_invalid", "Say how many pieces were cut, at least one.")
    if not pieces_marked or (remnant and not remnant_marked):
        message = f"Mark heat {heat.number} on every piece and on the remnant first; without the mark it is scrap."
        raise Refused("mark_not_transferred", message)
    refuse_held_heat(heat)
    if not heat.usable:
        raise Refused("heat_not_accepted", f"Heat {heat.number} is {heat.state_label}; nothing is cut from it.")
    lot = lot_by_code(lot_code) if lot_code.strip() else None
    if lot:
        _check_heat_of(lot, heat)
        refuse_held_lot(lot)
    lot_id, family_ids = (lot.id, [lot.family_id]) if lot else (None, [])
    let_go(heat, family_ids=family_ids, item_id=lot.item_id if lot else None, at=at)
    Cut.objects.create(heat_id=heat.id, stock=stock, pieces=pieces, lot_id=lot_id, remnant=remnant, by=by, at=at)
    payload = {"stock": stock, "pieces": pieces, "remnant": remnant, "lot": lot_code.strip()}
    audit.record(verb=Verb.HEAT_CUT, actor=by.uuid, subject=f"heat {heat.number}", at=at, payload=payload)


def _check_heat_of(lot: LotCard, heat: HeatCard) -> None:
    """Raises Refused `heat_not_of_lot`: with pieces of another heat among them nobody knows what a frame is made of."""
    known = [used.heat for used in used_in([lot.item_id]) if used.heat is not None]
    if heat.id not in {one.id for one in known}:
        named = ", ".join(one.number for one in known) or "none that is known here"
        message = (
            f"Lot {lot.code} is made from heat {named}; pieces of heat {heat.number} do not go into it. "
            "Open a lot of their own for them."
        )
        raise Refused("heat_not_of_lot", message)


@transaction.atomic
def verify_grade(
    *, by: Person, heat_number: str, method: str, grade_found: str, at: datetime, supplier: str = ""
) -> bool:
    """Whether the grade found at issue is the heat's. What differs is recorded and puts the heat on hold.

    Raises Invalid of `plain_text`, NotFound `heat_unknown`.
    """
    require(by, Act.KEEP_GOODS, at)
    heat = lock_heat(heat_by_number(heat_number, supplier).id)
    method = plain_text("The method", method, longest=60)
    found = plain_text("The grade found", grade_found, longest=20)
    same = found == heat.grade
    GradeCheck.objects.create(heat_id=heat.id, method=method, grade_found=found, conforms=same, by=by, at=at)
    if not same:
        set_heat_state(heat_id=heat.id, state=HeatState.HELD)
    payload = {"method": method, "found": found, "conforms": same}
    audit.record(verb=Verb.HEAT_VERIFIED, actor=by.uuid, subject=f"heat {heat.number}", at=at, payload=payload)
    return same
