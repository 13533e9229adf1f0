"""What would mix up heats, lots and papers, and is refused; and what a lot's page costs."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from qcapp.goods.checking import check_heat
from qcapp.goods.queries import events_of_heat, papers_of_heat
from qcapp.goods.queries.lots import drawn_pieces
from qcapp.goods.queries.outside import sent_out
from qcapp.goods.reading import read_composition
from qcapp.goods.services import decide_heat, receive_delivery, record_cut
from qcapp.goods.services.lots import judge_lot, open_lot, sample_lot
from qcapp.goods.services.outside import receive_back, send_out
from qcapp.people.services import demonstration_proof
from qcapp.production.models import Lot, Unit
from qcapp.production.queries.as_built import heat_by_number, lot_by_code, used_in
from qcapp.production.services import place_hold
from qcapp.production.services.components import install_component, use_material
from tests.cast import FIXED_NOW, Cast
from tests.evidence.files import pdf
from tests.factories.production import UnitFactory
from tests.goods.conftest import CHEMISTRY, decide, enter, heat
from tests.goods.test_lots import answer, opened, played
from tests.goods.test_planned_lots import shells  # noqa: F401 - a fixture
from tests.unchanged import refused

ROOMS = ("goods", "production", "people.Signature")
CUT: dict[str, Any] = {"stock": "bar 3", "pieces": 10, "pieces_marked": True, "remnant": "", "remnant_marked": False}


# --------------------------------------------------------------------------------------------- heats of two suppliers


@pytest.fixture
def two(cast: Cast, accepted: Any) -> None:
    """Heat H4711 of Millbrook Tube, accepted, and another H4711 of Brook Steel, not decided."""
    from qcapp.goods.services import enter_certificate

    enter_certificate(
        by=cast.goods_in, supplier="Brook Steel", number="MC-7", paper=pdf(), paper_name="m.pdf", heats=[heat()],
        at=FIXED_NOW,
    )  # fmt: skip


def test_says_whose_heat_it_is_where_two_suppliers_have_its_number(cast: Cast, two: None, kit: str) -> None:
    told: dict[str, Any] = {"by": cast.goods_in, "family_code": kit, "quantity": 20, "at": FIXED_NOW}
    with refused("heat_unknown", *ROOMS) as caught:
        open_lot(heat_numbers=["H4711"], **told)
    assert "say whose it is, such as “H4711 of Brook Steel”." in caught.value.message
    with refused("heat_not_accepted", *ROOMS):
        open_lot(heat_numbers=["H4711 of Brook Steel"], **told)
    lot = open_lot(heat_numbers=["h4711 of millbrook tube"], **told)
    (used,) = used_in([lot.item_id])
    assert used.heat is not None
    assert used.heat.supplier == "Millbrook Tube"


def test_decides_cuts_and_verifies_on_the_page_of_that_supplier_alone(cast: Cast, two: None, client_of: Any) -> None:
    address = "/goods/heats/H4711/?supplier=Millbrook+Tube"
    client = client_of(cast.goods_in)
    sent = {"act": "cut", "stock": "bar 1", "pieces": "4", "pieces_marked": "on", "remnant": "", "lot_code": ""}
    assert client.post(address, sent).status_code == 302
    sent = {"act": "grade", "method": "spark", "grade_found": "1020"}
    assert client.post(address, sent).status_code == 302
    mine, other = (heat_by_number("H4711", name) for name in ("Millbrook Tube", "Brook Steel"))
    assert (mine.state, other.state) == ("held", "entered")
    assert (len(events_of_heat(mine.id)), len(events_of_heat(other.id))) == (2, 0)


# ------------------------------------------------------------------------------------------------------------- cutting


def test_refuses_pieces_of_another_heat_in_a_lot(cast: Cast, kit: str) -> None:
    """They would be in frames that nobody finds by that heat."""
    lot = opened(cast, quantity=20)
    enter(cast, heat(number="H4712"), number="MC-1002")
    decide(cast.goods_in, number="H4712")
    with refused("heat_not_of_lot", *ROOMS) as caught:
        record_cut(by=cast.goods_in, heat_number="H4712", lot_code=lot.code, at=FIXED_NOW, **CUT)
    assert "is made from heat H4711; pieces of heat H4712 do not go into it." in caught.value.message
    record_cut(by=cast.goods_in, heat_number="H4711", lot_code=lot.code, at=FIXED_NOW, **CUT)


# --------------------------------------------------------------------------------------------------------- refused lots


@pytest.fixture
def piece(cast: Cast, kit: str) -> str:
    """A piece of a lot that was sampled and judged; the piece is released as if by itself."""
    assert cast.assembler
    UnitFactory(number=147)
    played(cast)
    serial = drawn_pieces(lot_by_code("TK-200-L0001").id)[0].unit.serial
    Unit.objects.filter(serial=serial).update(state="released")
    return serial


@pytest.mark.parametrize("state", ["open", "refused"])
def test_refuses_a_piece_of_a_lot_that_is_not_accepted(cast: Cast, piece: str, state: str) -> None:
    Lot.objects.update(state=state)
    told: dict[str, Any] = {"by": cast.assembler, "serial": "FR-200-0147", "link": "delivered_with", "at": FIXED_NOW}
    with refused("lot_not_usable", *ROOMS):
        install_component(component_serial=piece, **told)
    with refused("lot_not_usable", *ROOMS):
        use_material(by=cast.assembler, serial="FR-200-0147", lot_code="TK-200-L0001", quantity=1, at=FIXED_NOW)
    Lot.objects.update(state="sorted")
    install_component(component_serial=piece, **told)


def test_refuses_a_piece_of_a_lot_on_hold(cast: Cast, piece: str) -> None:
    item = lot_by_code("TK-200-L0001").item_id
    place_hold(by=cast.goods_in, item_id=item, from_stage=None, source="NCR-5", reason="rust", at=FIXED_NOW)
    with refused("lot_on_hold", *ROOMS) as caught:
        install_component(
            by=cast.assembler, serial="FR-200-0147", component_serial=piece, link="trial_fitted", at=FIXED_NOW
        )
    assert "NCR-5" in caught.value.message


def test_counts_a_piece_once_in_its_class_however_much_is_wrong_with_it(cast: Cast, shells: Any) -> None:  # noqa: F811
    """Nonconforming pieces are counted, not imperfections: MIL-STD-105E 3.2 and 4.1, percent nonconforming."""
    lot = open_lot(by=cast.goods_in, family_code="MG-5", quantity=100, heat_numbers=["H4711"], at=FIXED_NOW)
    sample_lot(by=cast.goods_in, lot_code=lot.code, at=FIXED_NOW)
    answer(cast, lot, bad={3}, burred={3})  # both are major
    card = judge_lot(by=cast.goods_in, lot_code=lot.code, at=FIXED_NOW)
    assert (card.found, len(card.removed)) == ({"major": 1}, 1)


def test_asks_every_sampled_checkpoint_on_the_tablet_too(cast: Cast, shells: Any, client_of: Any) -> None:  # noqa: F811
    lot = open_lot(by=cast.goods_in, family_code="MG-5", quantity=100, heat_numbers=["H4711"], at=FIXED_NOW)
    sample_lot(by=cast.goods_in, lot_code=lot.code, at=FIXED_NOW)
    grid = client_of(cast.inspector).get(f"/api/v1/lots/{lot.code}/grid").json()
    assert len(grid["pieces"]) == 13
    assert all(cell["due"] for piece in grid["pieces"] for cell in piece["cells"].values())


# ------------------------------------------------------------------------------------------------------------- outside


def back_on(cast: Cast, supplier: str, at: Any) -> str:
    line = {"description": "tubes", "quantity": "20", "unit_of_measure": "pcs"}
    return receive_delivery(by=cast.goods_in, supplier=supplier, note_number="7", lines=[line], at=at).number


def test_comes_back_on_a_delivery_of_the_firm_it_was_sent_to_and_not_before(cast: Cast, kit: str) -> None:
    lot = opened(cast, quantity=20)
    early = back_on(cast, "Tarn Plating", FIXED_NOW - timedelta(days=9))
    send_out(
        by=cast.goods_in, code=lot.code, kind="heat_treatment", supplier="Tarn Plating", high_strength=True,
        at=FIXED_NOW,
    )  # fmt: skip
    wrong, right = (back_on(cast, name, FIXED_NOW) for name in ("Millbrook Tube", "tarn plating"))
    told: dict[str, Any] = {"by": cast.goods_in, "code": lot.code, "paper": pdf(), "paper_name": "p.pdf"}
    for number, code in (("GR-9", "delivery_unknown"), (wrong, "delivery_of_another"), (early, "delivery_before_sent")):
        with refused(code, *ROOMS, "evidence"):
            receive_back(delivery_number=number, at=FIXED_NOW, **told)
    receive_back(delivery_number=right, at=FIXED_NOW, **told)
    (process,) = sent_out(lot.item_id)
    assert (process.kind_label, process.delivery_number, process.bake) == ("heat treatment", right, "")
    assert not lot_by_code(lot.code).away


# ------------------------------------------------------------------------------------------------------- certificates


def test_checks_against_the_specification_that_the_paper_names(cast: Cast, data_folder: Any, client_of: Any) -> None:
    """P 0.038 % is inside SAE limits of 1020 (0.040 at most) and outside ASTM A513 (0.035 at most)."""
    from tests.goods.test_views import uploaded

    told = {"act": "certificate", "supplier": "Millbrook", "number": "MC-1", "heat": "H1", "grade": "1020"}
    told |= {"element_C": "0,20", "element_Mn": "4500 ppm", "element_P": "380 ppm", "element_S": "0.03"}
    told |= {"further": "Al 0,025; N 80 ppm", "thickness": "4"}
    client = client_of(cast.goods_in)
    specification = "ASTM A513"
    for number, name in (("MC-1", ""), ("MC-2", specification)):
        sent = told | {"number": number, "paper": uploaded(), "specification": name}  # type: ignore[no-untyped-call]
        assert client.post("/goods/certificates/new/", sent).status_code == 302
    first, second = papers_of_heat(heat_by_number("H1").id)
    assert (first.conforms, [one["about"] for one in second.against]) == (True, ["P"])
    assert (first.composition["Al"], first.composition["N"]) == ("0.025", "0.008")
    for further in ("Al", "C 0.2", "Al 0.1; Al 0.2"):
        sent = told | {"number": "MC-3", "paper": uploaded(), "further": further}  # type: ignore[no-untyped-call]
        assert client.post("/goods/certificates/new/", sent).status_code == 400


def test_says_what_cracks_beside_the_grade_that_it_is_welded_to() -> None:
    """The sentences of the pairs are those of the core; both walls and both pairs are told apart."""

    def told(grade: str, mate: str, wall: str = "2.11", **changes: str) -> str:
        composition = read_composition(CHEMISTRY | changes)
        return check_heat(grade, composition, {}, thickness=Decimal(wall), welded_to=mate).cracking

    assert "Low-alloy tube to mild steel cracks more readily" in told("4130", "1020")
    assert "Both sides are low-alloy steel" in told("4130", "4130")
    assert "1026 (upper limits of the grade)" in told("4130", "1026")
    assert "lies outside the range of the formula: C 0.31 %" in told("4130", "1020")
    assert "the risk is above what the number suggests" in told("4130", "1020", "12")
    unsaid = told("4130", "1020", Mo="", Ni="", V="")
    assert "are not reported and count as zero, so the true number can be higher" in unsaid
    assert "knows nothing of hydrogen, restraint, fit-up, heat input, filler or cooling" in unsaid
    assert "Nothing is said about cracking" in told("4130", "9999")


def test_keeps_the_decision_of_one_supplier_from_the_other(cast: Cast, two: None) -> None:
    proof = demonstration_proof(cast.goods_in, FIXED_NOW)
    told: dict[str, Any] = {
        "proof": proof,
        "heat_number": "H4711",
        "verdict": "refused",
        "reason": "Wrong.",
        "at": FIXED_NOW,
    }
    decide_heat(supplier="Brook Steel", **told)
    assert heat_by_number("H4711", "Millbrook Tube").usable
    assert heat_by_number("H4711", "Brook Steel").state == "refused"


# --------------------------------------------------------------------------------------------------------------- speed


def queries(client: Any, address: str) -> int:
    client.get(address)
    with CaptureQueriesContext(connection) as asked:
        assert client.get(address).status_code == 200
    return len(asked)


def test_shows_a_lot_in_at_most_twenty_queries_however_many_pieces_were_drawn(
    cast: Cast, kit: str, client_of: Any
) -> None:
    client, costs = client_of(cast.quality_manager), []
    for quantity, drawn in ((8, 5), (500, 50)):  # letter B leads to 5 pieces at AQL 2.5, letter H has 50
        lot = opened(cast, quantity=quantity)
        sample_lot(by=cast.goods_in, lot_code=lot.code, at=FIXED_NOW)
        assert len(drawn_pieces(lot.id)) >= drawn
        answer(cast, lot, bad={0})
        costs.append(queries(client, f"/goods/lots/{lot.code}/"))
    assert costs[1] <= costs[0] <= 20


# ------------------------------------------------------------------------------------------------- a delivery's lines


def test_receives_the_lines_that_were_filled_in_and_those_typed_below(cast: Cast, shells: Any, client_of: Any) -> None:  # noqa: F811
    client = client_of(cast.goods_in)
    told = {"act": "receive", "supplier": "Presswork Lane", "note_number": "1", "line1_description": "pressed shell"}
    told |= {"line1_quantity": "40", "line1_unit_of_measure": "pcs", "line1_family": "MG-5"}
    told |= {"line3_description": "tube", "line3_quantity": "48,5", "line3_unit_of_measure": "m", "line3_heat": "H4711"}
    address = client.post("/goods/receive/", told | {"lines": "wire; 5; kg"}).headers["Location"]
    page = client.get(address).text
    assert page.index("pressed shell") < page.index("H4711") < page.index("wire")
    assert "MG-5-L0001" in page
    empty = client.post("/goods/receive/", {"act": "receive", "supplier": "P", "note_number": "2", "lines": ""})
    assert empty.status_code == 400
    assert "A delivery has from 1 to 60 lines." in empty.text
