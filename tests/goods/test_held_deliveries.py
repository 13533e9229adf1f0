"""A delivery on hold: nothing of it is issued or used, until a signed act of its own lifts the hold."""

from __future__ import annotations

from datetime import timedelta
from uuid import uuid4

import pytest

from qcapp.audit.queries import entries_about
from qcapp.goods.queries.held import held_deliveries, holds_of_delivery
from qcapp.goods.services import receive_delivery, record_cut, verify_grade
from qcapp.goods.services.holding import hold_delivery, lift_delivery_hold
from qcapp.goods.services.lots import open_lot
from qcapp.goods.services.outside import send_out
from qcapp.goods.services.reporting import raise_on_delivery
from qcapp.inspections.services import open_unit
from qcapp.people.models import Signature
from qcapp.people.services import demonstration_proof
from qcapp.production.models import Heat, Lot
from qcapp.production.queries import open_holds
from qcapp.production.queries.as_built import heat_by_number
from qcapp.production.services.components import use_material
from tests.cast import FIXED_NOW, PIN
from tests.unchanged import refused

from .conftest import decide, enter, heat
from .test_planned_lots import receive as receive_shells
from .test_planned_lots import shells as shells

pytestmark = pytest.mark.django_db
ROOMS = ("goods", "production", "nonconformance", "people")
LATER = FIXED_NOW + timedelta(hours=2)
CUT = {"stock": "bar 3", "pieces": 12, "pieces_marked": True, "remnant": "", "remnant_marked": False}


def received(cast, number="H4711", note="D-1"):
    line = {"description": "tube", "quantity": "48", "unit_of_measure": "m", "heat": number}
    return receive_delivery(by=cast.goods_in, supplier="Millbrook Tube", note_number=note, lines=[line], at=FIXED_NOW)


@pytest.fixture
def delivery(cast, kit):
    """A delivery of heat H4711, a lot of cut tubes made of it, and a unit to build into."""
    return received(cast)


@pytest.fixture
def lot(cast, delivery):
    return open_lot(by=cast.goods_in, family_code="TK-200", quantity=40, heat_numbers=["H4711"], at=FIXED_NOW)


def hold(cast, delivery, at=LATER):
    return hold_delivery(by=cast.goods_in, delivery_number=delivery.number, reason="Rust inside.", at=at)


def lift(person, held, at=LATER):
    proof = demonstration_proof(person, at)
    return lift_delivery_hold(proof=proof, hold_uuid=held.uuid, reason="Pickled and looked at.", at=at)


def test_holds_heats_and_lots_with_the_delivery(cast, delivery, lot):
    held = hold(cast, delivery)
    assert (held.source, held.is_open, held.by_hand) == (f"{delivery.number} hold 1", True, True)
    assert held_deliveries() == {delivery.number}
    assert heat_by_number("H4711").state == "held"
    assert [one.source for one in open_holds(lot.item_id)] == [held.source]
    assert entries_about(f"delivery {delivery.number}")[0].verb == "delivery.held"


def test_holds_the_lot_that_a_line_became(cast, shells, data_folder):
    found = receive_shells(cast)
    held = hold(cast, found)
    (line,) = found.lines
    with refused("lot_on_hold", *ROOMS) as caught:
        told = {"kind": "plating", "supplier": "Tarn Plating", "high_strength": False}
        send_out(by=cast.goods_in, code=line.lot_code, at=LATER, **told)
    assert held.source in caught.value.message


@pytest.mark.parametrize("what", ["cut", "lot", "heat_in", "lot_in", "accept"])
def test_issues_and_uses_nothing_of_it(cast, delivery, lot, what):
    """By whichever door it is asked for; every refusal leaves all rows as they were."""
    open_unit(by=cast.inspector, family_code="TK-200", serial="TK-200-0001", at=FIXED_NOW)
    Lot.objects.update(state="accepted")
    hold(cast, delivery)
    told = {"serial": "TK-200-0001", "at": LATER}
    ways = {
        "cut": ("delivery_on_hold", lambda: record_cut(by=cast.goods_in, heat_number="H4711", at=LATER, **CUT)),
        "lot": (
            "delivery_on_hold",
            lambda: open_lot(by=cast.goods_in, family_code="TK-200", quantity=5, heat_numbers=["H4711"], at=LATER),
        ),
        "heat_in": ("heat_not_accepted", lambda: use_material(by=cast.assembler, heat_number="H4711", **told)),
        "lot_in": ("lot_on_hold", lambda: use_material(by=cast.assembler, lot_code=lot.code, quantity=1, **told)),
        "accept": ("delivery_on_hold", lambda: decide(cast.quality_manager)),
    }
    assert cast.assembler
    code, act = ways[what]
    with refused(code, *ROOMS) as caught:
        act()
    if code == "delivery_on_hold":
        assert delivery.number in caught.value.message


def test_lifts_the_hold_by_a_signed_act_of_its_own(cast, delivery, lot):
    held = hold(cast, delivery)
    lifted = lift(cast.quality_manager, held)
    assert (lifted.is_open, lifted.lifted_by_name) == (False, cast.quality_manager.name)
    assert heat_by_number("H4711").state == "accepted"
    assert open_holds(lot.item_id) == []
    meaning = Signature.objects.order_by("-id")[0].meaning
    assert meaning == f"I lift the hold from {held.source} on {delivery.number}: Pickled and looked at."
    record_cut(by=cast.goods_in, heat_number="H4711", at=LATER, **CUT)
    assert entries_about(f"delivery {delivery.number}")[0].verb == "delivery.hold_lifted"


def test_lifts_once_and_only_by_who_may(cast, delivery):
    held = hold(cast, delivery)
    with refused("not_permitted", *ROOMS):
        lift(cast.goods_in, held)
    lift(cast.quality_manager, held)
    with refused("hold_lifted_already", *ROOMS):
        lift(cast.quality_manager, held)
    with refused("hold_unknown", *ROOMS):
        proof = demonstration_proof(cast.quality_manager, LATER)
        lift_delivery_hold(proof=proof, hold_uuid=uuid4(), reason="None.", at=LATER)


def test_refuses_a_second_hold_by_hand_and_takes_one_after_the_first_is_lifted(cast, delivery):
    held = hold(cast, delivery)
    with refused("delivery_held_already", *ROOMS):
        hold(cast, delivery)
    lift(cast.quality_manager, held)
    assert hold(cast, delivery).source == f"{delivery.number} hold 2"
    assert [one.is_open for one in holds_of_delivery(delivery.id)] == [False, True]


def test_gives_back_what_each_heat_was(cast, delivery):
    enter(
        cast, heat(number="H4712"), number="MC-1002", delivery_number=delivery.number
    )  # came with it, not decided yet
    enter(cast, heat(number="H4713"), number="MC-1003", delivery_number=delivery.number)
    decide(cast.goods_in, "refused", "Bent.", number="H4713")
    held = hold(cast, delivery)
    states = {row.number: row.state for row in Heat.objects.all()}
    assert states == {"H4711": "held", "H4712": "held", "H4713": "refused"}
    lift(cast.quality_manager, held)
    states = {row.number: row.state for row in Heat.objects.all()}
    assert states == {"H4711": "accepted", "H4712": "entered", "H4713": "refused"}


@pytest.mark.parametrize("how", ["decision", "grade", "other delivery"])
def test_leaves_a_heat_stopped_that_something_else_stops(cast, delivery, how):
    held = hold(cast, delivery, FIXED_NOW)
    if how == "decision":
        decide(cast.quality_manager, "held", "The analysis is doubted.")
    elif how == "grade":
        told = {"method": "spark", "grade_found": "1020"}
        verify_grade(by=cast.goods_in, heat_number="H4711", at=LATER, **told)
    else:
        second = hold(cast, received(cast, note="D-2"))
    lift(cast.quality_manager, held)
    assert heat_by_number("H4711").state == "held"
    if how == "other delivery":
        lift(cast.quality_manager, second)
        assert heat_by_number("H4711").state == "accepted"


def test_is_put_on_hold_by_a_report_and_stays_so_when_the_report_ends(cast, delivery, lot):
    told = {"title": "Rust inside", "severity": "major", "quantity": 12, "family_code": "TK-200"}
    number = raise_on_delivery(by=cast.goods_in, delivery_number=delivery.number, at=LATER, **told)
    (held,) = holds_of_delivery(delivery.id)
    assert (held.source, held.reason, held.by_hand) == (number, "Rust inside", False)
    assert heat_by_number("H4711").state == "held"
    assert [one.source for one in open_holds(lot.item_id)] == [number]
    lift(cast.quality_manager, held)
    assert heat_by_number("H4711").state == "accepted"


def test_raises_nothing_when_the_report_is_refused(cast, delivery, lot):
    told = {"title": "Rust inside", "severity": "grave", "quantity": 12, "family_code": "TK-200"}
    with refused("severity_unknown", *ROOMS):
        raise_on_delivery(by=cast.goods_in, delivery_number=delivery.number, at=LATER, **told)


def test_is_held_and_lifted_on_its_pages(cast, delivery, lot, client_of, fixed_now):
    goods, manager = client_of(cast.goods_in), client_of(cast.quality_manager)
    page = f"/goods/deliveries/{delivery.number}/"
    assert goods.post(f"{page}hold/", {"reason": "Rust inside."})["Location"] == page
    answer = goods.post(f"{page}hold/", {"reason": "Rust inside."})
    assert (answer.status_code, "is on hold already" in answer.text) == (409, True)
    seen = goods.get(page).text
    assert "On hold: Rust inside." in seen
    assert "Lift a hold" not in seen
    assert "on hold</span>" in goods.get("/goods/").text
    assert "which is on hold" in goods.get("/goods/heats/H4711/").text
    assert "is on hold.</strong>" in goods.get(f"/goods/lots/{lot.code}/").text
    (held,) = holds_of_delivery(delivery.id)
    sent = {"hold_uuid": str(held.uuid), "reason": "Pickled.", "pin": "000000"}
    assert manager.post(f"{page}lift/", sent).status_code == 403
    assert goods.post(f"{page}lift/", sent | {"pin": PIN}).status_code == 403
    assert manager.post(f"{page}lift/", sent | {"pin": PIN})["Location"] == page
    assert "Holds that were lifted" in manager.get(page).text


def test_is_held_and_lifted_through_the_api(cast, delivery, client_of, fixed_now):
    goods, manager = client_of(cast.goods_in), client_of(cast.quality_manager)
    address = f"/api/v1/deliveries/{delivery.number}/holds"
    made = goods.post(address, {"reason": "Rust inside."}, content_type="application/json")
    assert (made.status_code, made.json()["source"]) == (201, f"{delivery.number} hold 1")
    body = {"hold": made.json()["uuid"], "reason": "Pickled.", "pin": PIN}
    lift_at = "/api/v1/delivery-holds/lift"
    assert goods.post(lift_at, body, content_type="application/json").json()["code"] == "not_permitted"
    lifted = manager.post(lift_at, body, content_type="application/json").json()
    assert lifted["lifted_by_name"] == cast.quality_manager.name
    (seen,) = goods.get(address).json()["holds"]
    assert seen["lift_reason"] == "Pickled."
