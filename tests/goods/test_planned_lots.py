"""A family's inspection plan says the AQL of its lots, also of those that a supplier delivers."""

from __future__ import annotations

import pytest

from qcapp.goods.queries import delivery_by_number
from qcapp.goods.queries.lots import drawn_pieces, next_inspections, plan_aqls, supplier_of
from qcapp.goods.services import receive_delivery
from qcapp.goods.services.lots import judge_lot, open_lot, sample_lot
from qcapp.production.queries.as_built import lot_by_code
from qcapp.production.services import add_family
from qcapp.production.services.components import use_material
from tests.cast import FIXED_NOW
from tests.factories.inspections import release_plan
from tests.factories.production import UnitFactory
from tests.goods.test_lots import answer
from tests.unchanged import refused

ROOMS = ("goods", "production", "inspections")
PLAN = """\
stage_number,stage_name,hold_point,number,key,title,kind,nominal,limits,unit_of_measure,decimals,formula,form,criticality,gauge_kinds,frequency,second_inspection,joint
1,Shells,no,101,length,Length of the shell,measured,412.0,±0.5,mm,1,,,major,,AQL 2.5 of 100,no,
1,Shells,no,102,burr,Burr removed,attribute,,,,,,,major,,AQL 1.0 of 100,no,
"""


@pytest.fixture
def shells(cast, accepted):
    """MG-5 pressed shells; the strictest AQL of a class counts."""
    add_family(
        by=cast.quality_manager, code="MG-5", name="pressed mudguard", serial_pattern="MG-5-{number:4}",
        certificate_prefix="MG", at=FIXED_NOW,
    )  # fmt: skip
    release_plan(cast, family_code="MG-5", letter="A", text=PLAN, at=FIXED_NOW)
    assert cast.assembler


def receive(cast, quantity="100", **more):
    line = {"description": "pressed shell", "quantity": quantity, "unit_of_measure": "pcs", "family": "MG-5"} | more
    return receive_delivery(
        by=cast.goods_in, supplier="Presswork Lane", note_number="LS-9", lines=[line], at=FIXED_NOW
    )  # fmt: skip


def test_takes_the_aql_from_the_plan_and_the_strictest_of_a_class(cast, shells):
    """MIL-STD-105E, letter F, AQL 1.0: 13 pieces, accept 0."""
    assert plan_aqls("MG-5") == {"major": "1.0"}
    lot = open_lot(by=cast.goods_in, family_code="MG-5", quantity=100, heat_numbers=["H4711"], at=FIXED_NOW)
    card = sample_lot(by=cast.goods_in, lot_code=lot.code, at=FIXED_NOW)
    assert {name: (plan["aql"], plan["sample_size"], plan["accept"]) for name, plan in card.plans.items()} == {
        "major": ("1.0", 13, 0)
    }


def test_asks_every_sampled_checkpoint_of_every_drawn_piece(cast, shells):
    lot = open_lot(by=cast.goods_in, family_code="MG-5", quantity=100, heat_numbers=["H4711"], at=FIXED_NOW)
    sample_lot(by=cast.goods_in, lot_code=lot.code, at=FIXED_NOW)
    pieces = drawn_pieces(lot.id)
    assert {piece.due for piece in pieces} == {2}
    answer(cast, lot, bad={3})
    card = judge_lot(by=cast.goods_in, lot_code=lot.code, at=FIXED_NOW)
    assert (card.accepted, card.found) == (False, {"major": 1})


def test_refuses_another_aql_than_the_plans(cast, shells):
    lot = open_lot(by=cast.goods_in, family_code="MG-5", quantity=100, heat_numbers=["H4711"], at=FIXED_NOW)
    for aqls, code in (({"major": "6.5"}, "aql_of_plan"), ({"major": "1.0", "minor": "4.0"}, "aql_of_plan")):
        with refused(code, *ROOMS):
            sample_lot(by=cast.goods_in, lot_code=lot.code, aqls=aqls, at=FIXED_NOW)


def test_refuses_a_class_that_lots_are_not_sampled_in(cast, kit):
    lot = open_lot(by=cast.goods_in, family_code="TK-200", quantity=100, heat_numbers=["H4711"], at=FIXED_NOW)
    with refused("class_unknown", *ROOMS):
        sample_lot(by=cast.goods_in, lot_code=lot.code, aqls={"critical": "1.0"}, at=FIXED_NOW)


def test_makes_a_lot_of_a_delivered_line_whose_family_has_a_plan(cast, shells):
    (line,) = receive(cast).lines
    assert (line.lot_code, line.lot_state) == ("MG-5-L0001", "not judged")
    UnitFactory(number=147)
    with refused("lot_not_usable", *ROOMS):
        use_material(by=cast.assembler, serial="FR-200-0147", lot_code=line.lot_code, quantity=1, at=FIXED_NOW)
    lot = lot_by_code(line.lot_code)
    assert supplier_of(lot.id) == "Presswork Lane"
    sample_lot(by=cast.goods_in, lot_code=lot.code, at=FIXED_NOW)
    answer(cast, lot)
    assert judge_lot(by=cast.goods_in, lot_code=lot.code, at=FIXED_NOW).accepted
    use_material(by=cast.assembler, serial="FR-200-0147", lot_code=lot.code, quantity=1, at=FIXED_NOW)


def test_leaves_a_line_of_a_family_without_a_plan_as_it_is(cast, shells):
    add_family(
        by=cast.quality_manager, code="ZZ-1", name="sticker", serial_pattern="ZZ-1-{number:4}",
        certificate_prefix="ZZ", at=FIXED_NOW,
    )  # fmt: skip
    (line,) = delivery_by_number(receive(cast, family="ZZ-1").number).lines
    assert line.lot_code == ""


def test_refuses_a_delivered_lot_that_cannot_be(cast, shells):
    for more, code in (
        ({"family": "QQ-1"}, "family_unknown"),
        ({"quantity": "12,5"}, "quantity_invalid"),
        ({"heat": "H9"}, "heat_unknown"),
    ):
        with refused(code, *ROOMS):
            receive(cast, **more)


def test_keeps_a_switching_history_for_each_supplier(cast, shells):
    """Two lots of the supplier refused lead to tightened inspection of that supplier's lots, not of ours."""
    for _ in range(2):
        (line,) = receive(cast).lines
        lot = lot_by_code(line.lot_code)
        sample_lot(by=cast.goods_in, lot_code=lot.code, at=FIXED_NOW)
        answer(cast, lot, bad={0})
        judge_lot(by=cast.goods_in, lot_code=lot.code, at=FIXED_NOW)
    theirs = next_inspections(lot.family_id, ["major"], supplier="Presswork Lane")
    assert theirs["major"].severity == "tightened"
    assert next_inspections(lot.family_id, ["major"])["major"].severity == "normal"


def test_shows_the_delivery_with_its_lot_and_asks_for_no_aql(cast, shells, client_of):
    client = client_of(cast.goods_in)
    told = {"act": "receive", "supplier": "P", "note_number": "1", "lines": "pressed shell; 100; pcs; ; MG-5"}
    address = client.post("/goods/receive/", told).headers["Location"]
    assert "MG-5-L0001" in client.get(address).text
    page = client.get("/goods/lots/MG-5-L0001/").text
    assert "AQL of the inspection plan: major 1" in page
    assert 'name="major"' not in page
    assert client.post("/goods/lots/MG-5-L0001/", {"act": "sample", "level": "II"}).status_code == 302
