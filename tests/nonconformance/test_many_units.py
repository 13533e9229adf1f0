"""One report over many units, a lot split by quantity, pictures, and holds on suspects."""

from __future__ import annotations

import io
from decimal import Decimal

import pytest
from PIL import Image

from qcapp.certificates.release_checks import check, standing_of
from qcapp.nonconformance.queries import reports_of
from qcapp.nonconformance.services import by_hand, picturing, suspecting
from qcapp.people.services import demonstration_proof
from qcapp.production.models import Item, PartFamily
from qcapp.production.queries import open_holds
from qcapp.production.services import lift_hold

from ..cast import FIXED_NOW
from ..factories.inspections import Workshop
from ..factories.nonconformance import LATER, Case
from ..unchanged import refused

pytestmark = pytest.mark.django_db
ROOMS = ("nonconformance", "inspections", "production", "people", "evidence")
TOLD = {"title": "Gauge AG-01 reads 0.2° high", "description": "Calibration of today.", "severity": "major"}
SERIALS = ["FR-200-0147", "FR-200-0148", "FR-200-0149"]


@pytest.fixture
def units(workshop: Workshop) -> list[Workshop]:
    return [workshop, *(workshop.another_unit(serial) for serial in SERIALS[1:])]


def grouped(units: list[Workshop], **changes: object) -> Case:
    told = TOLD | {"serials": SERIALS, "source": "gauge AG-01"} | changes
    number = by_hand.raise_grouped(by=units[0].cast.metrology, at=FIXED_NOW, **told)  # type: ignore[arg-type]
    return Case(units[0], number)


def test_raises_one_report_over_many_units_and_holds_each(units: list[Workshop]) -> None:
    case = grouped(units)
    assert case.view.serials == tuple(SERIALS)
    assert case.view.facts["source"] == "gauge AG-01"
    for unit in units:
        assert [card.number for card in reports_of(unit.item_id)] == [case.number]
        assert [hold.source for hold in open_holds(unit.item_id)] == [case.number]


def test_corrects_and_closes_on_every_unit_of_the_group(units: list[Workshop]) -> None:
    case = grouped(units)
    case.contain().propose("rework", reinspect=["head_angle"]).sign().start().finish()
    case.inspect_again(round=2)
    with refused("not_proven", *ROOMS) as caught:
        case.close()
    assert [one.split(":")[0] for one in caught.value.details["missing"]] == SERIALS[1:]
    for unit in units[1:]:
        assert _sent(unit, 2, case)
    assert case.close().state == "closed"
    assert not any(open_holds(unit.item_id) for unit in units)


def _sent(unit: Workshop, turn: int, case: Case) -> bool:
    person = case.cast.second_inspector
    (answer,) = unit.send(unit.operation("head_angle", "62.01", round=turn, person=person), by=person)
    return bool(answer.applied)


def test_keeps_an_open_group_report_in_the_way_of_every_units_release(units: list[Workshop]) -> None:
    case = grouped(units)
    found = {one.code: one for one in check(standing_of(units[2].serial))}["reports_ended"]
    assert (found.ok, found.sentence) == (False, f"{case.number} is open.")


def test_offers_one_report_instead_of_a_third_alike(units: list[Workshop]) -> None:
    told = {"by": units[0].cast.assembler, "at": FIXED_NOW, "separately": False} | TOLD
    first = by_hand.raise_by_hand(serial=SERIALS[0], **told)
    by_hand.raise_by_hand(serial=SERIALS[1], **told)
    with refused("group_instead", *ROOMS) as caught:
        by_hand.raise_by_hand(serial=SERIALS[2], **told)
    assert f"Add this unit to {first} instead" in caught.value.message
    why = {"reason": "The same gauge.", "at": FIXED_NOW, "by": units[0].cast.assembler}
    assert by_hand.add_units(number=first, serials=[SERIALS[2], SERIALS[0]], **why) == 1
    assert by_hand.raise_by_hand(serial=SERIALS[2], **(told | {"separately": True}))


def test_takes_no_units_once_something_is_proposed(units: list[Workshop]) -> None:
    case = Case.by_hand(units[0]).contain().propose("rework", reinspect=["twist"])
    why = {"reason": "The same.", "at": LATER, "by": case.cast.assembler, "number": case.number}
    with refused("proposed_already", *ROOMS):
        by_hand.add_units(serials=[SERIALS[1]], **why)
    with refused("no_units", *ROOMS):
        by_hand.add_units(serials=[" "], **why)


def test_concedes_several_critical_units_one_by_one(units: list[Workshop]) -> None:
    case = grouped(units, severity="critical").contain()
    with refused("name_each_unit", *ROOMS):
        case.propose("use_as_is", serials=SERIALS[:2])
    case.propose("use_as_is", serials=SERIALS).sign()
    assert case.view.concession is not None


# ------------------------------------------------------------------------------------------------------- lots


@pytest.fixture
def lot(workshop: Workshop) -> Case:
    """A report about 40 of the cut tubes of a lot."""
    family = PartFamily.objects.get(code="FR-200")
    item = Item.objects.create(kind="lot", family=family)
    told = {"title": "Length 2 mm short", "description": "", "severity": "major", "quantity": 40}
    number = by_hand.raise_on_item(
        by=workshop.cast.goods_in, item_uuid=item.uuid, named="TK-200/118", at=FIXED_NOW, **told
    )
    return Case(workshop, number)


def test_splits_a_lot_into_rework_and_return(lot: Case) -> None:
    case = lot.contain()
    case.propose("", parts={"rework": 25, "return_to_supplier": 15}, instruction="Sort by length.").sign()
    assert (case.state, case.view.card.disposition) == ("decided", "rework")
    assert [(part.disposition, part.quantity) for part in case.view.proposal.parts] == [  # type: ignore[union-attr]
        ("rework", 25), ("return_to_supplier", 15),
    ]  # fmt: skip
    case.write_return_note()
    assert case.view.return_note.quantity == 15  # type: ignore[union-attr]
    case.start().finish()
    assert case.close().state == "closed"
    assert case.view.serials == ()


@pytest.mark.parametrize(
    ("parts", "code"),
    [
        ({"rework": 25, "return_to_supplier": 14}, "sum_differs"),
        ({"rework": 41}, "sum_differs"),
        ({"rework": 45, "scrap": -5}, "part_not_positive"),
        ({"melt": 40}, "disposition_unknown"),
    ],
)
def test_refuses_a_split_that_does_not_add_up(lot: Case, parts: dict[str, int], code: str) -> None:
    lot.contain()
    with refused(code, *ROOMS):
        lot.propose("", parts=parts)


def test_splits_no_unit(case: Case) -> None:
    case.contain()
    with refused("not_a_lot", *ROOMS):
        case.propose("", parts={"rework": 1})


def test_closes_a_split_lot_only_with_its_papers(lot: Case) -> None:
    case = lot.contain().propose("", parts={"scrap": 10, "return_to_supplier": 30}).sign()
    with refused("destruction_not_witnessed", *ROOMS):
        case.close_without_correction()
    case.destroy()
    with refused("no_return_note", *ROOMS):
        case.close_without_correction()
    with refused("quantity_wrong", *ROOMS):
        case.write_return_note(quantity=29)
    assert case.write_return_note().close_without_correction().state == "closed"


# --------------------------------------------------------------------------------------------------- pictures


def photo() -> bytes:
    into = io.BytesIO()
    Image.new("RGB", (40, 30), "grey").save(into, "JPEG")
    return into.getvalue()


def test_keeps_a_photo_with_its_mark(case: Case) -> None:
    told = {"content": photo(), "name": "dent.jpg", "mark": (Decimal("0.25"), Decimal("0.5")), "caption": "Dent"}
    picturing.add_picture(by=case.cast.assembler, number=case.number, at=LATER, **told)
    (one,) = case.view.pictures
    assert (one.mark, one.caption, one.by_name) == (("25.0", "50.0"), "Dent", "Tobiah Renn")


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"content": b"GIF89a not a photo"}, "picture_not_read"),
        ({"mark": (Decimal("1.2"), Decimal("0.5"))}, "mark_outside"),
    ],
)
def test_refuses_a_photo_that_is_none_and_a_mark_outside(case: Case, changes: dict[str, object], code: str) -> None:
    told = {"content": photo(), "name": "dent.jpg", "mark": None} | changes
    with refused(code, *ROOMS):
        picturing.add_picture(by=case.cast.assembler, number=case.number, at=LATER, **told)  # type: ignore[arg-type]


# ------------------------------------------------------------------------------------------- holds on suspects


def test_holds_chosen_suspects_in_one_act_and_lifts_each_by_its_own(case: Case) -> None:
    others = [case.workshop.another_unit(serial) for serial in SERIALS[1:]]
    told = {"number": case.number, "reason": "Same fixture.", "at": LATER, "by": case.cast.inspector}
    assert suspecting.hold_suspects(serials=SERIALS, **told) == SERIALS[1:]
    assert suspecting.hold_suspects(serials=SERIALS, **told) == []
    (hold,) = open_holds(others[0].item_id)
    assert (hold.source, hold.reason) == (case.number, "Suspect: Same fixture.")
    proof = demonstration_proof(case.cast.quality_manager, LATER)
    lift_hold(proof=proof, hold_uuid=hold.uuid, reason="Measured, in band.", at=LATER)
    assert not open_holds(others[0].item_id)
    assert suspecting.hold_suspects(serials=[SERIALS[1]], **told) == [SERIALS[1]]
    assert [one.source for one in open_holds(others[0].item_id)] == [f"{case.number} / 2"]


def test_leaves_the_holds_of_suspects_when_the_report_closes(case: Case) -> None:
    other = case.workshop.another_unit(SERIALS[1])
    told = {"number": case.number, "reason": "Same fixture.", "at": LATER, "by": case.cast.inspector}
    suspecting.hold_suspects(serials=[SERIALS[1]], **told)
    case.decide().start().finish().inspect_again().close()
    assert not open_holds(case.workshop.item_id)
    assert [hold.source for hold in open_holds(other.item_id)] == [case.number]


def test_refuses_holds_and_lifts_by_those_who_may_not(case: Case) -> None:
    case.workshop.another_unit(SERIALS[1])
    told = {"number": case.number, "serials": [SERIALS[1]], "reason": "Same fixture.", "at": LATER}
    with refused("not_permitted", *ROOMS):
        suspecting.hold_suspects(by=case.cast.customer_service, **told)
    hold = open_holds(case.workshop.item_id)[0]
    with refused("not_permitted", *ROOMS):
        proof = demonstration_proof(case.cast.inspector, LATER)
        lift_hold(proof=proof, hold_uuid=hold.uuid, reason="Looks fine.", at=LATER)
