"""Deliveries and mill certificates: what is read, checked against the grade, decided, cut and verified."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest

from qcapp.audit.queries import entries_about
from qcapp.core.errors import Invalid
from qcapp.goods.checking import check_heat
from qcapp.goods.queries import decisions_of_heat, events_of_heat, papers_of_heat
from qcapp.goods.reading import read_composition, read_properties
from qcapp.goods.services import add_to_certificate, receive_delivery, record_cut, verify_grade
from qcapp.people.services import demonstration_proof
from qcapp.production.queries.as_built import heat_by_number
from tests.cast import FIXED_NOW
from tests.goods.conftest import CHEMISTRY, STRENGTH, decide, enter, heat
from tests.unchanged import refused

ROOMS = ("goods", "production", "people.Signature")


# --- reading -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "percent"),
    [("0,31", "0.31"), ("0.310", "0.310"), ("3100 ppm", "0.31"), ("0.31 %", "0.31"), ("15ppm", "0.0015"), ("0", "0")],
)
def test_reads_a_comma_a_dot_percent_and_parts_per_million(typed, percent):
    assert read_composition({"C": typed}) == {"C": Decimal(percent)}


@pytest.mark.parametrize("typed", ["", " ", "-", "–", "n/a"])
def test_leaves_out_what_is_not_reported(typed):
    assert read_composition({"Mo": typed}) == {}


@pytest.mark.parametrize(
    ("typed", "code"),
    [
        ({"Xx": "1"}, "element_unknown"),
        ({"C": "1.000,5"}, "value_two_marks"),
        ({"C": "<0.01"}, "value_not_a_number"),
        ({"C": "101"}, "percent_invalid"),
        ({"C": "-0.2"}, "percent_invalid"),
        ({"C": "0.3 mg"}, "value_unit_unexpected"),
    ],
)
def test_refuses_chemistry_that_cannot_be_meant(typed, code):
    with pytest.raises(Invalid) as caught:
        read_composition(typed)
    assert caught.value.code == code


def test_reads_test_values_and_refuses_unknown_ones():
    assert read_properties({"yield_MPa": "610 MPa", "hardness_RB": ""}) == {"yield_MPa": Decimal(610)}
    with pytest.raises(Invalid):
        read_properties({"toughness": "40"})


# --- checking ------------------------------------------------------------------------------------------------


def checked(**changes):
    given = {"grade": "4130", "composition": read_composition(CHEMISTRY), "properties": read_properties(STRENGTH)}
    given |= {"condition": "DOM as drawn", "thickness": Decimal("2.11")} | changes
    grade, composition, properties = (given.pop(name) for name in ("grade", "composition", "properties"))
    return check_heat(grade, composition, properties, **given)


def test_finds_every_element_of_the_grade():
    found = checked()
    assert found.conforms
    assert {one.about for one in found.findings} >= {"C", "Mn", "P", "S", "Si", "Cr", "Mo", "yield_MPa"}


def test_counts_the_carbon_equivalent_by_the_formula_of_the_welding_institute():
    """IIW: C + Mn/6 + (Cr + Mo + V)/5 + (Ni + Cu)/15 = 0.31 + 0.0867 + 0.23 = 0.63 (worked by hand)."""
    assert checked().carbon_equivalent == "0.63"


def test_says_what_cracks_and_what_it_does_not_know():
    text = checked().cracking
    assert "Low-alloy tube to mild steel cracks more readily" in text
    assert "knows nothing of hydrogen" in text
    assert "thickness is not given" in checked(thickness=None).cracking


@pytest.mark.parametrize(("element", "typed"), [("C", "0.34"), ("Cr", "0,79"), ("P", "360 ppm")])
def test_finds_an_element_outside_the_limits_of_sae_j404(element, typed):
    found = checked(composition=read_composition(CHEMISTRY | {element: typed}))
    assert [one.about for one in found.against] == [element]
    assert not found.conforms


def test_never_counts_a_missing_element_as_conforming():
    found = checked(composition=read_composition(CHEMISTRY | {"Mo": ""}))
    assert [(one.about, one.reported) for one in found.against] == [("Mo", False)]


# --- entering and deciding -----------------------------------------------------------------------------------


def test_enters_a_certificate_with_several_heats_and_keeps_its_paper(cast, data_folder):
    cards = enter(cast, heat(), heat(number="H4712", size="25.4 × 1.65 mm", composition=CHEMISTRY | {"C": "0.36"}))
    assert [(card.heat_number, card.conforms) for card in cards] == [("H4711", True), ("H4712", False)]
    assert len(cards[0].paper_digest) == 64
    assert cards[1].against[0]["sentence"].startswith("C 0.36 % is too high")
    assert heat_by_number("H4712").state_label == "not decided"
    assert [entry.verb for entry in entries_about("mill certificate MC-1001")] == ["heat.certified"]


def test_adds_further_heats_and_sizes_to_a_certificate_that_is_entered(cast, data_folder, client_of):
    (first,) = enter(cast)
    told = {"by": cast.goods_in, "supplier": "Millbrook Tube", "number": "MC-1001", "at": FIXED_NOW}
    found = add_to_certificate(heats=[heat(number="H4712"), heat(size="25.4 × 1.65 mm")], **told)
    assert [(one.heat_number, one.size) for one in found] == [
        ("H4711", "38.1 × 2.11 mm"), ("H4712", "38.1 × 2.11 mm"), ("H4711", "25.4 × 1.65 mm"),
    ]  # fmt: skip
    assert {one.paper_digest for one in found} == {first.paper_digest}
    assert len(entries_about("mill certificate MC-1001")) == 2
    for code, changes in {
        "heat_on_certificate": {"heats": [heat()]}, "heats_missing": {"heats": []},
        "certificate_unknown": {"heats": [heat()], "number": "MC-9"},
        "not_permitted": {"heats": [heat(number="H9")], "by": cast.inspector},
    }.items():  # fmt: skip
        with refused(code, "goods", "production"):
            add_to_certificate(**told | changes)
    client = client_of(cast.goods_in)
    address = "/goods/certificates/new/?more=MC-1001&supplier=Millbrook+Tube"
    assert 'value="MC-1001"' in client.get(address).content.decode()
    assert "more=MC-1001" in client.get("/goods/heats/H4711/").content.decode()
    sent = {"act": "certificate", "supplier": "Millbrook Tube", "number": "MC-1001", "heat": "H4713", "grade": "4130"}
    assert client.post(address, sent).headers["Location"] == "/goods/heats/H4713/?supplier=Millbrook+Tube"
    body = {"supplier": "Millbrook Tube", "number": "MC-1001"}
    body |= {"heats": [{"number": "H4714", "grade": "4130", "composition": {"C": "0,31"}}]}
    answer = client.post("/api/v1/mill-certificates/heats", body, content_type="application/json")
    assert (answer.status_code, len(answer.json()["heats"])) == (201, 5)


def test_refuses_a_certificate_that_cannot_be_read_and_keeps_nothing(cast, data_folder):
    assert cast.goods_in
    for changes, code in (
        ({"grade": "9999"}, "grade_unknown"),
        ({"number": ""}, "text_missing"),
        ({"condition": "as found"}, "condition_unknown"),
        ({"composition": {"C": "0.3.1"}}, "value_two_marks"),
    ):
        with refused(code, *ROOMS):
            enter(cast, heat(**changes))
    with refused("heats_missing", *ROOMS):
        from qcapp.goods.services import enter_certificate
        from tests.evidence.files import pdf

        enter_certificate(
            by=cast.goods_in, supplier="S", number="1", paper=pdf(), paper_name="a.pdf", heats=[], at=FIXED_NOW
        )
    enter(cast)
    with refused("certificate_taken", *ROOMS):
        enter(cast)
    with refused("heat_grade_differs", *ROOMS):
        enter(cast, heat(grade="1020"), number="MC-1002")


def test_accepts_a_heat_in_order_by_goods_in(cast, accepted):
    assert accepted.usable
    (decision,) = decisions_of_heat(accepted.id)
    assert (decision.verdict, decision.person_name) == ("accepted", cast.goods_in.name)


def test_accepts_a_heat_outside_its_limits_by_quality_or_engineer_alone_with_a_reason(cast, data_folder):
    enter(cast, heat(composition=CHEMISTRY | {"C": "0.34"}))
    for person in (cast.engineer, cast.goods_in):
        assert person
    with refused("not_permitted", *ROOMS):
        decide(cast.goods_in)
    with refused("text_missing", *ROOMS):
        decide(cast.engineer)
    assert decide(cast.engineer, reason="C 0.34 % in a bracket without load; tested.").usable


def test_holds_and_refuses_a_heat_with_a_reason_and_keeps_each_decision(cast, accepted):
    with refused("text_missing", *ROOMS):
        decide(cast.goods_in, "held")
    with refused("verdict_unknown", *ROOMS):
        decide(cast.goods_in, "liked")
    decide(cast.goods_in, "held", "Chemistry in doubt.")
    assert decide(cast.goods_in, "refused", "Second analysis: Cr 0.6 %.").state == "refused"
    assert [one.verdict for one in decisions_of_heat(accepted.id)] == ["refused", "held", "accepted"]


def test_refuses_to_accept_a_heat_without_papers(cast, db):
    from qcapp.production.services.lots import enter_heat

    enter_heat(by=cast.goods_in, number="H1", supplier="S", grade="1020", at=FIXED_NOW)
    with refused("heat_without_papers", *ROOMS):
        decide(cast.goods_in, number="H1")
    with refused("heat_unknown", *ROOMS):
        decide(cast.goods_in, number="H2\0")


# --- deliveries, cutting, grade ------------------------------------------------------------------------------


def receive(cast, **changes):
    line = {"description": "tube 38.1 × 2.11", "quantity": "48,5", "unit_of_measure": "m", "heat": "H4711"}
    given = {"supplier": "Millbrook Tube", "note_number": "LS-77", "lines": [line]} | changes
    return receive_delivery(by=cast.goods_in, at=FIXED_NOW, **given)


def test_receives_a_delivery_with_its_lines(cast, accepted):
    card = receive(cast, order_number="PO-12")
    assert card.number == "GR-2026-0001"
    assert (card.lines[0].quantity, card.lines[0].heat_number) == (Decimal("48.5"), "H4711")


def test_refuses_a_delivery_of_nothing_of_tomorrow_or_of_an_unknown_heat(cast, accepted):
    line = {"description": "tube", "quantity": "1", "unit_of_measure": "m"}
    for changes, code in (
        ({"lines": []}, "lines_missing"),
        ({"lines": [line | {"quantity": "0"}]}, "quantity_invalid"),
        ({"lines": [line | {"heat": "H9"}]}, "heat_unknown"),
        ({"received_at": FIXED_NOW + timedelta(days=1)}, "received_later"),
        ({"note_number": ""}, "text_missing"),
    ):
        with refused(code, *ROOMS):
            receive(cast, **changes)


def cut(cast, **changes):
    given = {"stock": "tube 3 of 8", "pieces": 12, "pieces_marked": True, "remnant": "R-3", "remnant_marked": True}
    return record_cut(by=cast.goods_in, heat_number="H4711", at=FIXED_NOW, **(given | changes))


def test_transfers_the_heat_mark_to_pieces_and_remnant(cast, accepted):
    cut(cast)
    (event,) = events_of_heat(accepted.id)
    assert event.text == "tube 3 of 8 cut into 12, mark transferred. Remnant R-3 marked."


def test_refuses_a_cut_without_its_marks_or_of_a_held_heat(cast, accepted):
    for changes in ({"pieces_marked": False}, {"remnant_marked": False}):
        with refused("mark_not_transferred", *ROOMS):
            cut(cast, **changes)
    with refused("pieces_invalid", *ROOMS):
        cut(cast, pieces=0)
    decide(cast.goods_in, "held", "In doubt.")
    with refused("heat_not_accepted", *ROOMS):
        cut(cast)


def test_holds_a_heat_whose_grade_is_another_at_issue(cast, accepted):
    assert verify_grade(
        by=cast.goods_in, heat_number="H4711", method="hand-held analyser", grade_found="4130", at=FIXED_NOW
    )
    assert not verify_grade(
        by=cast.goods_in, heat_number="H4711", method="hand-held analyser", grade_found="1020", at=FIXED_NOW
    )
    assert heat_by_number("H4711").state == "held"
    assert len(papers_of_heat(accepted.id)) == 1


def test_lets_nobody_else_keep_goods(cast, accepted):
    with refused("not_permitted", *ROOMS):
        receive_delivery(
            by=cast.customer_service if cast.customer_service else None, supplier="S", note_number="1", lines=[{}],
            at=FIXED_NOW,
        )  # fmt: skip
    assert demonstration_proof(cast.goods_in, FIXED_NOW).person == cast.goods_in
