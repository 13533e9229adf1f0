"""Lots: sampled by the plan their family has come to, judged by class, sorted when refused, treated outside."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest

from qcapp.audit.queries import entries_about
from qcapp.goods.queries.lots import drawn_pieces, next_inspections, sample_of, sorting_of
from qcapp.goods.queries.outside import sent_out
from qcapp.goods.services import receive_delivery
from qcapp.goods.services.lots import judge_lot, open_lot, sample_lot, sort_lot
from qcapp.goods.services.outside import receive_back, send_out
from qcapp.inspections.queries import adopted
from qcapp.inspections.services import record_operations
from qcapp.lib.fields import uuid7
from qcapp.people.services import demonstration_proof
from qcapp.production.queries.as_built import lot_by_code
from qcapp.production.services.components import install_component, use_material
from qcapp.production.services.places import add_place, move_item
from tests.cast import FIXED_NOW
from tests.evidence.files import pdf
from tests.factories.production import UnitFactory
from tests.goods.conftest import decide
from tests.unchanged import refused

ROOMS = ("goods", "production", "inspections", "people.Signature")


def opened(cast, quantity=100):
    return open_lot(
        by=cast.goods_in, family_code="TK-200", quantity=quantity, heat_numbers=["H4711"], at=FIXED_NOW
    )  # fmt: skip


def answer(cast, lot, bad=(), burred=(), skip=()):
    """Every drawn piece, answered; `bad` ones too long, `burred` ones with a burr, by place in the sample."""
    operations = []
    for place, piece in enumerate(drawn_pieces(lot.id)):
        revision = str(adopted(piece.unit.item_id).revision.uuid)
        length = "413.4" if place in bad else "412.1"
        for key, given in (("length", {"value": length}), ("burr", {"conforms": place not in burred})):
            if place not in skip:
                operations.append(
                    {
                        "id": str(uuid7()), "v": 1, "kind": "result", "serial": piece.unit.serial,
                        "revision": revision, "checkpoint": key, "round": 1, "inspection": 1, "purpose": "reading",
                        "answer": given, "raw": "", "gauge": None, "recorded_at": FIXED_NOW.isoformat(),
                        "recorded_by": cast.inspector.badge, "base": None, "reason": "",
                    }
                )  # fmt: skip
    said = record_operations(
        sent_by=cast.inspector, device="tablet", sent_at=FIXED_NOW, operations=operations, at=FIXED_NOW
    )
    assert {one.outcome for one in said} == {"applied"}, said[0]


def played(cast, **told):
    lot = opened(cast)
    sample_lot(by=cast.goods_in, lot_code=lot.code, at=FIXED_NOW, aqls={"major": "1.0"})
    answer(cast, lot, **told)
    return judge_lot(by=cast.goods_in, lot_code=lot.code, at=FIXED_NOW)


def test_draws_the_sample_of_the_standard(cast, kit):
    """MIL-STD-105E: a lot of 100 at level II is letter F; AQL 1.0 there leads to 13 pieces, accept 0."""
    lot = opened(cast)
    card = sample_lot(by=cast.goods_in, lot_code=lot.code, at=FIXED_NOW)
    assert (card.severity, card.plans["major"]["sample_size"], card.plans["major"]["accept"]) == ("normal", 13, 0)
    assert (card.plans["minor"]["sample_size"], card.plans["minor"]["accept"]) == (20, 1)
    assert len(card.pieces) == 20
    assert set(card.plans["major"]["pieces"]) < set(card.pieces)
    assert drawn_pieces(lot.id)[0].unit.serial.startswith("TK-200-L0001.")


def test_takes_the_pieces_results_through_the_one_way_in(cast, kit):
    lot = opened(cast)
    sample_lot(by=cast.goods_in, lot_code=lot.code, at=FIXED_NOW)
    answer(cast, lot, bad={2}, burred={2, 5})
    classes = [piece.nonconforming for piece in drawn_pieces(lot.id)]
    assert classes[2] == {"major", "minor"}
    assert classes[5] == {"minor"}
    assert all(piece.done for piece in drawn_pieces(lot.id))


def test_accepts_a_lot_and_lets_it_be_used(cast, kit):
    card = played(cast)
    assert card.accepted
    assert lot_by_code("TK-200-L0001").usable
    assert entries_about("lot TK-200-L0001")[0].verb == "lot.judged"


def test_refuses_a_lot_over_its_accept_number_and_takes_the_bad_pieces_out(cast, kit):
    card = played(cast, bad={0})
    assert card.accepted is False
    assert card.sentence == "Lot TK-200-L0001 is refused: 1 major of 13 (accept 0). 1 taken out."
    lot = lot_by_code("TK-200-L0001")
    assert (lot.usable, lot.quantity) == (False, 99)


def test_takes_a_bad_piece_out_of_a_lot_that_passes(cast, kit):
    """One minor nonconforming piece of 20 passes at AQL 2.5 and still does not go into a frame."""
    lot = opened(cast)
    sample_lot(by=cast.goods_in, lot_code=lot.code, at=FIXED_NOW, aqls={"minor": "2.5"})
    answer(cast, lot, burred={4})
    card = judge_lot(by=cast.goods_in, lot_code=lot.code, at=FIXED_NOW)
    assert (card.accepted, card.found, len(card.removed)) == (True, {"minor": 1}, 1)
    assert lot_by_code(lot.code).quantity == 99


def test_tightens_after_two_of_five_lots_and_relaxes_after_five(cast, kit):
    """MIL-STD-105E 4.7: normal to tightened after 2 of 5 lots not accepted, back after 5 accepted in a row."""
    family = lot_by_code(opened(cast).code).family_id
    for told in ({"bad": {0}}, {"bad": {0}}):
        played(cast, **told)
    found = next_inspections(family, ["major"])["major"]
    assert (found.severity, found.reason) == (
        "tightened", "Two of five lots in a row or fewer were not accepted.",
    )  # fmt: skip
    for _ in range(5):
        assert played(cast).severity == "tightened"
    assert next_inspections(family, ["major"])["major"].severity == "normal"


def test_goes_by_limiting_quality_for_an_isolated_lot(cast, kit):
    """100 pieces, 5 % limiting quality, 10 % risk: the smallest sample, counted by scipy's hypergeometric."""
    from scipy.stats import hypergeom

    lot = opened(cast)
    card = sample_lot(by=cast.goods_in, lot_code=lot.code, at=FIXED_NOW, aqls={"major": "1.0"}, isolated=True)
    size = card.plans["major"]["sample_size"]
    assert (card.severity, card.plans["major"]["accept"]) == ("isolated", 0)
    assert hypergeom.pmf(0, 100, 5, size) <= 0.10 < hypergeom.pmf(0, 100, 5, size - 1)
    answer(cast, lot)
    assert judge_lot(by=cast.goods_in, lot_code=lot.code, at=FIXED_NOW).accepted
    assert next_inspections(lot.family_id, ["major"])["major"].score == 0  # it says nothing about the series


def test_refuses_to_judge_before_every_piece_is_answered_or_twice(cast, kit):
    lot = opened(cast)
    with refused("lot_not_sampled", *ROOMS):
        judge_lot(by=cast.goods_in, lot_code=lot.code, at=FIXED_NOW)
    sample_lot(by=cast.goods_in, lot_code=lot.code, at=FIXED_NOW)
    with refused("lot_sampled_already", *ROOMS):
        sample_lot(by=cast.goods_in, lot_code=lot.code, at=FIXED_NOW)
    answer(cast, lot, skip={0})
    with refused("pieces_open", *ROOMS):
        judge_lot(by=cast.goods_in, lot_code=lot.code, at=FIXED_NOW)
    assert sample_of(lot.id).accepted is None


def test_lets_a_refused_lot_be_used_after_all_pieces_were_sorted(cast, kit, client_of):
    played(cast, bad={0})
    proof = demonstration_proof(cast.goods_in, FIXED_NOW)
    told = {"proof": proof, "lot_code": "TK-200-L0001", "at": FIXED_NOW}
    with refused("removed_invalid", *ROOMS):
        sort_lot(removed=99, remark="length", **told)
    out = {"code": "TK-200-L0001", "kind": "plating", "supplier": "Bright Vat", "high_strength": False, "at": FIXED_NOW}
    with refused("lot_refused", *ROOMS):
        send_out(by=cast.goods_in, **out)
    page = client_of(cast.goods_in).get("/goods/lots/TK-200-L0001/").content.decode()
    assert ("Sign the sorting" in page, "Send it out" in page) == (True, False)
    lot = sort_lot(removed=6, remark="Length, all with a caliper.", **told)
    assert (lot.state, lot.usable, lot.quantity) == ("sorted", True, 93)
    assert (sorting_of(lot.id).checked, sorting_of(lot.id).removed) == (99, 6)
    with refused("transition_not_allowed", *ROOMS):
        sort_lot(removed=1, remark="again", **told)
    send_out(by=cast.goods_in, **out)


def test_refuses_a_lot_of_a_heat_that_is_not_accepted_or_of_no_pieces(cast, kit):
    with refused("quantity_invalid", *ROOMS):
        opened(cast, quantity=0)
    decide(cast.goods_in, "held", "In doubt.")
    with refused("heat_not_accepted", *ROOMS):
        opened(cast)


@pytest.mark.parametrize(("hours", "code"), [(None, "bake_time_missing"), (Decimal(8), "")])
def test_receives_plated_high_strength_parts_back_with_their_bake_time_alone(cast, kit, hours, code):
    """Baking against hydrogen after plating: common practice, no source."""
    lot = opened(cast)
    send_out(by=cast.goods_in, code=lot.code, kind="plating", supplier="Tarn Plating", high_strength=True, at=FIXED_NOW)
    with refused("lot_is_out", *ROOMS):
        send_out(by=cast.goods_in, code=lot.code, kind="coating", supplier="X", high_strength=False, at=FIXED_NOW)
    line = {"description": "plated tubes", "quantity": "100", "unit_of_measure": "pcs"}
    delivery = receive_delivery(by=cast.goods_in, supplier="Tarn Plating", note_number="7", lines=[line], at=FIXED_NOW)
    told = {"by": cast.goods_in, "code": lot.code, "delivery_number": delivery.number, "paper": pdf()}
    told |= {"paper_name": "plating.pdf", "at": FIXED_NOW + timedelta(days=3), "bake_hours": hours}
    told |= {"bake_temperature": Decimal(200) if hours else None}
    if code:
        with refused(code, *ROOMS):
            receive_back(**told)
        return
    for nothing in ({"bake_hours": Decimal(0)}, {"bake_temperature": Decimal(-1)}, {"bake_temperature": None}):
        with refused("bake_time_missing", *ROOMS):
            receive_back(**told | nothing)
    receive_back(**told)
    assert sent_out(lot.item_id)[0].bake == "8 h at 200 °C"
    with refused("lot_not_out", *ROOMS):
        receive_back(**told)


def test_uses_nothing_of_a_lot_that_is_out_until_it_is_received_back(cast, kit):
    played(cast)
    lot, unit = lot_by_code("TK-200-L0001"), UnitFactory(number=147)
    add_place(by=cast.goods_in, code="RACK-1", name="rack", at=FIXED_NOW)
    send_out(by=cast.goods_in, code=lot.code, kind="coating", supplier="Tarn", high_strength=False, at=FIXED_NOW)
    assert (lot_by_code(lot.code).away, lot_by_code(lot.code).usable) == (True, False)
    use = {"by": cast.assembler, "serial": unit.serial, "lot_code": lot.code, "quantity": 1, "at": FIXED_NOW}
    with refused("lot_is_out", *ROOMS) as caught:
        use_material(**use)
    assert "not in the house; receive it back with its certificate first." in caught.value.message
    piece = drawn_pieces(lot.id)[0].unit.serial
    with refused("lot_is_out", *ROOMS):
        install_component(
            by=cast.assembler, serial=unit.serial, component_serial=piece, link="trial_fitted", at=FIXED_NOW
        )
    with refused("lot_is_out", *ROOMS):
        move_item(by=cast.goods_in, code=lot.code, place_code="RACK-1", at=FIXED_NOW)
    line = {"description": "coated tubes", "quantity": "100", "unit_of_measure": "pcs"}
    delivery = receive_delivery(by=cast.goods_in, supplier="Tarn", note_number="8", lines=[line], at=FIXED_NOW)
    receive_back(
        by=cast.goods_in, code=lot.code, delivery_number=delivery.number, paper=pdf(), paper_name="c.pdf",
        at=FIXED_NOW,
    )  # fmt: skip
    assert lot_by_code(lot.code).usable
    use_material(**use)


def test_neither_samples_nor_sorts_a_lot_that_is_out(cast, kit, proof_of):
    lot = opened(cast)
    out = {"by": cast.goods_in, "kind": "heat_treatment", "supplier": "T", "high_strength": False, "at": FIXED_NOW}
    send_out(code=lot.code, **out)
    with refused("lot_is_out", *ROOMS):
        sample_lot(by=cast.goods_in, lot_code=lot.code, at=FIXED_NOW)
    with refused("lot_is_out", *ROOMS):
        sort_lot(proof=proof_of(cast.goods_in, FIXED_NOW), lot_code=lot.code, removed=1, remark="Length", at=FIXED_NOW)
