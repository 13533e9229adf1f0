"""Components, lots, heats, places and marks: what goes into a unit, and what is refused."""

from __future__ import annotations

from datetime import timedelta

import pytest

from qcapp.audit.queries import entries_about
from qcapp.core.identification import lookup_key
from qcapp.people.models import Signature
from qcapp.people.services import demonstration_proof
from qcapp.production.models import Heat, Installation, Item, Lot, Movement, Removal, Unit
from qcapp.production.queries import unit_by_serial
from qcapp.production.queries.as_built import (
    installed_in,
    items_of_heat,
    tree_of,
)
from qcapp.production.queries.places import marks_of, unit_by_scan, vin_of, whereabouts
from qcapp.production.services import place_hold
from qcapp.production.services.components import install_component, remove_component, use_material
from qcapp.production.services.lots import create_lot, create_piece, enter_heat, set_heat_state
from qcapp.production.services.places import ReadBack, add_place, mark_part, move_item
from qcapp.production.states import HeatState, LotState, UnitState
from tests.cast import FIXED_NOW
from tests.factories.production import FamilyFactory, ItemFactory, UnitFactory
from tests.unchanged import refused

FRAME, CARRIER, FORK = "FR-200-0147", "AX-200-0012", "FK-30-0031"


def part(code, number, state=UnitState.RELEASED):
    return UnitFactory(item=ItemFactory(family=FamilyFactory(code=code)), number=number, state=state)


@pytest.fixture
def parts(cast):
    """A frame in build, a released axle carrier and a released fork, and who builds."""
    assert cast.assembler
    assert cast.inspector
    return part("FR-200", 147, UnitState.IN_BUILD), part("AX-200", 12), part("FK-30", 31)


def install(cast, serial=FRAME, component=CARRIER, link="delivered_with", at=FIXED_NOW, **more):
    return install_component(by=cast.assembler, serial=serial, component_serial=component, link=link, at=at, **more)


def accepted_heat(cast, number="H4711"):
    heat = enter_heat(by=cast.goods_in, number=number, supplier="Millbrook Tube", grade="4130", at=FIXED_NOW)
    set_heat_state(heat_id=heat.id, state=HeatState.ACCEPTED)
    return heat


@pytest.fixture
def lot(cast, django_db_blocker):
    accepted_heat(cast)
    family = FamilyFactory(code="TK-200")
    from qcapp.production.queries import family_by_code

    made = create_lot(
        by=cast.goods_in, family=family_by_code(family.code), quantity=100, heat_numbers=["H4711"], at=FIXED_NOW
    )
    Lot.objects.filter(pk=made.id).update(state=LotState.ACCEPTED)
    return made


def test_installs_a_component_with_time_person_and_place(cast, parts):
    add_place(by=cast.quality_manager, code="CELL-3", name="assembly cell 3", at=FIXED_NOW)
    card = install(cast, place_code="cell-3")
    assert (card.serial, card.link_label, card.place_code) == (CARRIER, "delivered with", "CELL-3")
    assert (card.by_name, card.at) == (cast.assembler.name, FIXED_NOW)
    assert [entry.verb for entry in entries_about(f"unit {FRAME}")] == ["component.installed"]


def test_turns_a_trial_fit_into_delivered_with(cast, parts):
    install(cast, link="trial_fitted")
    install(cast, at=FIXED_NOW + timedelta(hours=2))
    frame = parts[0]
    assert [card.link for card in installed_in([frame.item_id])] == ["delivered_with"]
    assert [card.removed_at is None for card in installed_in([frame.item_id], removed=True)] == [False, True]


def test_removes_a_component_and_keeps_both_in_the_record(cast, parts):
    install(cast)
    remove_component(by=cast.assembler, serial=FRAME, component_serial=CARRIER, reason="Bush worn.", at=FIXED_NOW)
    assert installed_in([parts[0].item_id]) == []
    assert installed_in([parts[0].item_id], removed=True)[0].removed_reason == "Bush worn."
    install(cast)  # it may go in again


def hold(cast, unit):
    place_hold(by=cast.inspector, item_id=unit.item_id, from_stage=None, source="NCR-1", reason="bent", at=FIXED_NOW)


@pytest.mark.parametrize(
    ("state", "code"),
    [
        (UnitState.SCRAPPED, "component_scrapped"),
        (UnitState.IN_BUILD, "component_not_released"),
        (UnitState.DISPATCHED, "component_not_released"),
    ],
)
def test_refuses_a_component_that_is_not_released(cast, parts, state, code):
    Unit.objects.filter(pk=parts[1].pk).update(state=state)
    with refused(code, "production"):
        install(cast)


def test_refuses_a_component_on_hold_and_names_the_report(cast, parts):
    hold(cast, parts[1])
    with refused("component_on_hold", "production") as caught:
        install(cast)
    assert "NCR-1" in caught.value.message


def test_refuses_a_component_that_is_in_another_unit(cast, parts):
    part("FR-200", 148, UnitState.IN_BUILD)
    install(cast)
    with refused("component_installed_already", "production") as caught:
        install(cast, serial="FR-200-0148")
    assert FRAME in caught.value.message
    with refused("component_installed_already", "production"):
        install(cast)


def test_refuses_a_part_in_itself(cast, parts):
    with refused("component_itself", "production"):
        install(cast, component=FRAME)


def test_refuses_a_cycle(cast, parts):
    """The carrier is in the frame; the frame, released meanwhile, must not go into the carrier."""
    frame, carrier, _ = parts
    install(cast)
    Unit.objects.filter(pk=frame.pk).update(state=UnitState.RELEASED)
    Unit.objects.filter(pk=carrier.pk).update(state=UnitState.IN_BUILD)
    with refused("component_cycle", "production"):
        install(cast, serial=CARRIER, component=FRAME)


def test_refuses_to_remove_what_was_never_installed(cast, parts):
    with refused("not_installed", "production"):
        remove_component(by=cast.assembler, serial=FRAME, component_serial=FORK, reason="no", at=FIXED_NOW)


def test_refuses_to_take_out_what_is_welded_in(cast, parts):
    install(cast, link="trial_fitted")
    card = install(cast, link="welded_in", at=FIXED_NOW + timedelta(hours=2))
    assert (card.link_label, card.removed_at) == ("welded in", None)
    for state in (UnitState.IN_BUILD, UnitState.SCRAPPED):
        Unit.objects.filter(pk=parts[0].pk).update(state=state)
        with refused("component_welded_in", "production"):
            remove_component(by=cast.assembler, serial=FRAME, component_serial=CARRIER, reason="no", at=FIXED_NOW)


def test_refuses_components_on_a_released_unit_by_others_or_with_an_unknown_link(cast, parts):
    with refused("link_unknown", "production"):
        install(cast, link="glued")
    with refused("place_unknown", "production"):
        install(cast, place_code="NOWHERE")
    with refused("not_permitted", "production"):
        install_component(
            by=cast.customer_service, serial=FRAME, component_serial=CARRIER, link="trial_fitted", at=FIXED_NOW
        )
    Unit.objects.filter(pk=parts[0].pk).update(state=UnitState.RELEASED)
    with refused("unit_not_in_build", "production"):
        install(cast)


def test_refuses_the_same_serial_in_a_second_family(cast, parts):
    from django.db import transaction

    from qcapp.production.services import create_unit

    FamilyFactory(code="ZZ", serial_pattern="AX-200-{number:4}")
    with refused("serial_taken", "production"), transaction.atomic():
        create_unit(by=cast.inspector, family_code="ZZ", serial=CARRIER, at=FIXED_NOW)


def test_keeps_installations_and_removals_as_written(cast, parts):
    install(cast)
    remove_component(by=cast.assembler, serial=FRAME, component_serial=CARRIER, reason="Worn.", at=FIXED_NOW)
    for model in (Installation, Removal, Movement):
        with refused("write_once", "production"):
            model.objects.all().delete()


# --- lots and heats ------------------------------------------------------------------------------------------


def test_draws_the_tree_of_a_unit_with_lots_and_heats(cast, parts, lot):
    install(cast)
    use_material(by=cast.assembler, serial=FRAME, lot_code=lot.code, use="main tubes", quantity=14, at=FIXED_NOW)
    tree = tree_of(unit_by_serial(FRAME))
    assert [(node.kind, node.name) for node in tree.below] == [("unit", CARRIER), ("lot", lot.code)]
    assert [node.name for node in tree.below[1].below] == ["H4711"]
    assert tree.size == 3


def test_finds_a_heat_through_a_component(cast, parts):
    """The heat went into the axle carrier while that was built; the frame holds it since."""
    heat = accepted_heat(cast)
    Unit.objects.filter(pk=parts[1].pk).update(state=UnitState.IN_BUILD)
    use_material(by=cast.assembler, serial=CARRIER, heat_number="H4711", at=FIXED_NOW)
    Unit.objects.filter(pk=parts[1].pk).update(state=UnitState.RELEASED)
    install(cast)
    assert items_of_heat(heat.id) == {parts[0].item_id, parts[1].item_id}


@pytest.mark.parametrize("state", [LotState.OPEN, LotState.REFUSED])
def test_refuses_a_lot_that_is_not_accepted(cast, parts, lot, state):
    Lot.objects.filter(pk=lot.id).update(state=state)
    with refused("lot_not_usable", "production"):
        use_material(by=cast.assembler, serial=FRAME, lot_code=lot.code, at=FIXED_NOW)


@pytest.mark.parametrize("state", [HeatState.ENTERED, HeatState.HELD, HeatState.REFUSED])
def test_refuses_a_heat_that_is_not_accepted(cast, parts, state):
    Heat.objects.filter(pk=accepted_heat(cast).id).update(state=state)
    with refused("heat_not_accepted", "production"):
        use_material(by=cast.assembler, serial=FRAME, heat_number="H4711", at=FIXED_NOW)


def test_refuses_more_pieces_than_the_lot_has_and_a_lot_on_hold(cast, parts, lot):
    use_material(by=cast.assembler, serial=FRAME, lot_code=lot.code, quantity=90, at=FIXED_NOW)
    for quantity, code in ((11, "lot_used_up"), (0, "quantity_invalid")):
        with refused(code, "production"):
            use_material(by=cast.assembler, serial=FRAME, lot_code=lot.code, quantity=quantity, at=FIXED_NOW)
    place_hold(by=cast.inspector, item_id=lot.item_id, from_stage=None, source="NCR-2", reason="mixed", at=FIXED_NOW)
    with refused("lot_on_hold", "production"):
        use_material(by=cast.assembler, serial=FRAME, lot_code=lot.code, quantity=1, at=FIXED_NOW)
    with refused("lot_or_heat", "production"):
        use_material(by=cast.assembler, serial=FRAME, lot_code=lot.code, heat_number="H4711", at=FIXED_NOW)


def test_numbers_a_piece_by_its_lot_and_refuses_one_beyond_it(cast, lot):
    assert create_piece(by=cast.goods_in, lot=lot, number=7, at=FIXED_NOW).serial == "TK-200-L0001.007"
    assert Item.objects.filter(kind="piece").count() == 1
    with refused("piece_unknown", "production"):
        create_piece(by=cast.goods_in, lot=lot, number=101, at=FIXED_NOW)


# --- places and marks ----------------------------------------------------------------------------------------


def test_moves_a_unit_or_a_lot_by_scan_and_knows_the_last_place(cast, parts, lot):
    for code in ("RACK-1", "YARD-2"):
        add_place(by=cast.dispatch, code=code, name=code.lower(), at=FIXED_NOW)
        move_item(by=cast.dispatch, code=FRAME.lower(), place_code=code, at=FIXED_NOW)
    move_item(by=cast.goods_in, code=lot.code, place_code="RACK-1", at=FIXED_NOW)
    found = whereabouts([parts[0].item_id, lot.item_id])
    assert {item: card.place.code for item, card in found.items()} == {
        parts[0].item_id: "YARD-2",
        lot.item_id: "RACK-1",
    }


def test_refuses_moves_of_nothing_to_nowhere_or_after_dispatch(cast, parts):
    add_place(by=cast.dispatch, code="YARD-2", name="yard", at=FIXED_NOW)
    for code, place, refusal in (("FR-9", "YARD-2", "code_unknown"), (FRAME, "MOON", "place_unknown")):
        with refused(refusal, "production"):
            move_item(by=cast.dispatch, code=code, place_code=place, at=FIXED_NOW)
    Unit.objects.filter(pk=parts[0].pk).update(state=UnitState.DISPATCHED)
    with refused("unit_dispatched", "production"):
        move_item(by=cast.dispatch, code=FRAME, place_code="YARD-2", at=FIXED_NOW)
    for code, refusal in (("yard 2", "place_code"), ("YARD-2", "place_taken")):
        with refused(refusal, "production"):
            add_place(by=cast.dispatch, code=code, name="yard", at=FIXED_NOW)


# A well-formed number of 49 CFR 565's own kind; the check digit is not asked of it.
VIN = "1M8GDM9AXKP042788"


@pytest.fixture
def photo(cast, tmp_path, settings):
    from qcapp.evidence.models import EvidenceFile

    return EvidenceFile.objects.create(
        digest="ab" * 32, path="evidence/ab", media_type="image/jpeg", size=1, name="stamp.jpg",
        kept_by=cast.inspector, kept_at=FIXED_NOW,
    )  # fmt: skip


def stamp(cast, photo, **changes):
    """The VIN on a frame with the tag T-881, read back by the inspector; `reads` changes what was read and by whom."""
    told = {"person": cast.inspector, "text": VIN, "tag": "t-881"} | changes.pop("reads", {})
    person = told.pop("person")
    read = ReadBack(demonstration_proof(person, FIXED_NOW), **told) if person else None
    given = {"serial": FRAME, "kind": "vin", "text": VIN, "read_back": read, "photo_id": photo.pk}
    return mark_part(by=cast.assembler, at=FIXED_NOW, **(given | changes))


def tagged(cast, serial=FRAME, text="T-881"):
    mark_part(by=cast.assembler, serial=serial, kind="tag", text=text, at=FIXED_NOW)


def test_stamps_a_vin_read_back_by_another_person(cast, parts, photo):
    tagged(cast)
    stamp(cast, photo)
    assert vin_of(parts[0].item_id) == VIN
    assert [mark.kind for mark in marks_of(parts[0].item_id)] == ["vin", "tag"]
    assert marks_of(parts[0].item_id)[0].read_back_by_name == cast.inspector.name
    signed = Signature.objects.get()
    assert (signed.person, signed.meaning) == (cast.inspector, f"I read {VIN} stamped on the part with the tag T-881.")


def test_finds_a_part_by_the_scan_of_its_tag_until_it_is_stamped(cast, parts, photo, client_of):
    with refused("serial_unknown", "production"):
        unit_by_scan("T-881")
    tagged(cast)
    assert unit_by_scan(" t-881 ").serial == FRAME
    for near in ("T881", "T-88I", "T-8810"):  # a scan opens a unit for entry: nothing is taken for something else
        with refused("serial_unknown", "production"):
            unit_by_scan(near)
    opened = client_of(cast.inspector).get("/floor/", {"serial": "T-881"})
    assert opened.headers["Location"] == f"/units/{FRAME}/bench/"
    add_place(by=cast.dispatch, code="YARD-2", name="yard", at=FIXED_NOW)
    assert move_item(by=cast.dispatch, code="T-881", place_code="YARD-2", at=FIXED_NOW).place.code == "YARD-2"
    stamp(cast, photo)
    with refused("tag_replaced", "production") as caught:
        unit_by_scan("T-881")
    assert FRAME in caught.value.message
    assert client_of(cast.inspector).get("/floor/", {"serial": "T-881"}).status_code == 404


def test_refuses_a_stamp_that_nobody_else_read_back_or_that_differs(cast, parts, photo):
    with refused("tag_missing", "production", "people.Signature"):
        stamp(cast, photo)
    tagged(cast)
    for changes, code in (
        ({"reads": {"person": None}}, "read_back_missing"),
        ({"reads": {"person": cast.assembler}}, "read_back_missing"),
        ({"reads": {"person": cast.customer_service}}, "not_permitted"),
        ({"reads": {"text": VIN[:-1] + "9"}}, "read_back_differs"),
        ({"reads": {"tag": "T-882"}}, "tag_differs"),
        ({"photo_id": None}, "photo_missing"),
        ({"kind": "serial", "text": "FR-200-0174"}, "mark_differs"),
        ({"text": "1M8GDM9AXKPO42788"}, "vin_invalid"),
        ({"kind": "paint"}, "mark_kind"),
    ):
        with refused(code, "production", "people.Signature"):
            stamp(cast, photo, **changes)
    stamp(cast, photo)
    part("FR-200", 148, UnitState.IN_BUILD)
    tagged(cast, "FR-200-0148", "T-882")
    with refused("mark_taken", "production"):
        stamp(cast, photo, serial="FR-200-0148", reads={"tag": "T-882"})


def test_keeps_the_lookup_keys_as_the_core_makes_them(cast, parts, lot):
    assert Heat.objects.get().lookup == lookup_key("H4711")
    assert Lot.objects.get().lookup == lookup_key("TK-200-L0001")
