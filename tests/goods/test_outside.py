"""Units and components plated, coated or heat-treated outside: sent out, what is refused meanwhile, received back."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone

from qcapp.affected.answering import answer
from qcapp.affected.asking import read
from qcapp.audit.queries import entries_about
from qcapp.goods.queries.outside import out_now, sent_out
from qcapp.goods.services import receive_delivery
from qcapp.goods.services.holding import hold_delivery, lift_delivery_hold
from qcapp.goods.services.lots import sample_lot
from qcapp.goods.services.outside import receive_back, send_out
from qcapp.history.lines import of_acts
from qcapp.people.services import demonstration_proof
from qcapp.production.models import Piece, Unit
from qcapp.production.queries import open_holds, unit_by_serial
from qcapp.production.services import place_hold
from qcapp.production.services.components import install_component, remove_component, use_material
from qcapp.production.services.places import add_place, mark_part, move_item
from qcapp.production.states import UnitState
from tests.cast import FIXED_NOW, Cast
from tests.evidence.files import pdf
from tests.factories.production import FamilyFactory, ItemFactory, UnitFactory
from tests.goods.test_lots import opened
from tests.unchanged import refused, unchanged

ROOMS = ("goods", "production", "audit.Entry")
FORK, FRAME = "FK-30-0031", "FR-200-0147"
BACK = FIXED_NOW + timedelta(days=3)


@pytest.fixture
def fork(cast: Cast, data_folder: Any) -> Unit:
    """A released fork, a frame in build, and who builds."""
    for name in ("goods_in", "assembler", "inspector", "quality_manager"):
        assert getattr(cast, name)
    UnitFactory(item=ItemFactory(family=FamilyFactory(code="FR-200", name="trike frame")), number=147)
    family = FamilyFactory(code="FK-30", name="girder fork")
    return UnitFactory(item=ItemFactory(family=family), number=31, state=UnitState.RELEASED)


def send(cast: Cast, code: str = FORK, **changes: Any) -> None:
    told = {"kind": "plating", "supplier": "Tarn Plating", "high_strength": False}
    send_out(by=cast.goods_in, code=code, at=FIXED_NOW, **told | changes)


def delivery(cast: Cast, supplier: str = "Tarn Plating", at: Any = BACK) -> str:
    line = {"description": "plated fork", "quantity": "1", "unit_of_measure": "pcs"}
    return receive_delivery(by=cast.goods_in, supplier=supplier, note_number="7", lines=[line], at=at).number


def back(cast: Cast, number: str, code: str = FORK, **bake: Any) -> None:
    told: dict[str, Any] = {"paper": pdf(), "paper_name": "plating.pdf", "at": BACK}
    receive_back(by=cast.goods_in, code=code, delivery_number=number, **told, **bake)


def install(cast: Cast, link: str = "delivered_with") -> None:
    install_component(by=cast.assembler, serial=FRAME, component_serial=FORK, link=link, at=FIXED_NOW)


def test_sends_a_unit_out_and_receives_it_back_with_its_certificate(cast: Cast, fork: Unit) -> None:
    send(cast, high_strength=True)
    assert unit_by_serial(FORK).away
    assert [(one.code, one.is_unit, one.process.supplier) for one in out_now()] == [(FORK, True, "Tarn Plating")]
    number = delivery(cast)
    with refused("bake_time_missing", *ROOMS, "evidence"):
        back(cast, number)
    back(cast, number, bake_hours=Decimal(8), bake_temperature=Decimal(200))
    (done,) = sent_out(fork.item_id)
    assert (done.kind_label, done.delivery_number, done.bake) == ("plating", number, "8 h at 200 °C")
    assert done.paper_uuid is not None
    assert not unit_by_serial(FORK).away
    assert out_now() == []
    verbs = [entry.verb for entry in entries_about(f"unit {FORK}")]
    assert verbs == ["unit.received_back", "unit.sent_out"]
    with refused("unit_not_out", *ROOMS):
        back(cast, number)


def test_tells_in_the_history_where_a_unit_was(cast: Cast, fork: Unit) -> None:
    send(cast, high_strength=True)
    number = delivery(cast)
    back(cast, number, bake_hours=Decimal(8), bake_temperature=Decimal(200))
    assert [line.text for line in of_acts(entries_about(f"unit {FORK}"), {}, ())] == [
        f"Received back from plating on {number} with its certificate, baked 8 h at 200 °C",
        "Sent out for plating to Tarn Plating",
    ]


@pytest.mark.parametrize("state", [UnitState.DISPATCHED, UnitState.SCRAPPED])
def test_refuses_a_unit_that_is_not_in_the_workshop_any_more(cast: Cast, fork: Unit, state: str) -> None:
    Unit.objects.filter(pk=fork.pk).update(state=state)
    with refused("unit_not_here", *ROOMS):
        send(cast)


def test_refuses_a_unit_on_hold_one_that_is_out_and_what_does_not_fit(cast: Cast, fork: Unit) -> None:
    for code, changes in (
        ("process_unknown", {"kind": "painting"}),
        ("text_missing", {"supplier": " "}),
        ("code_unknown", {"code": "FK-30-9999\0"}),
    ):
        with refused(code, *ROOMS):
            send(cast, **changes)
    with refused("not_permitted", *ROOMS):
        send_out(by=cast.assembler, code=FORK, kind="plating", supplier="T", high_strength=False, at=FIXED_NOW)
    send(cast)
    with refused("unit_is_out", *ROOMS):
        send(cast)
    with refused("not_permitted", *ROOMS):
        receive_back(
            by=cast.assembler, code=FORK, delivery_number="GR-1", paper=pdf(), paper_name="p.pdf", at=FIXED_NOW
        )
    by, item = cast.quality_manager, unit_by_serial(FRAME).item_id
    place_hold(by=by, item_id=item, from_stage=None, source="NCR-9", reason="doubt", at=FIXED_NOW)
    with refused("unit_on_hold", *ROOMS) as caught:
        send(cast, code=FRAME)
    assert "NCR-9" in caught.value.message


def test_refuses_a_component_in_a_unit_but_not_one_that_is_trial_fitted(cast: Cast, fork: Unit) -> None:
    install(cast, "trial_fitted")
    send(cast)
    back(cast, delivery(cast))
    install(cast)
    with refused("unit_is_installed", *ROOMS):
        send(cast)


def test_refuses_a_piece_of_a_lot_by_itself(cast: Cast, kit: str) -> None:
    lot = opened(cast)
    sample_lot(by=cast.goods_in, lot_code=lot.code, at=FIXED_NOW)
    piece = Unit.objects.get(item=Piece.objects.earliest("number").item_id).serial
    with refused("piece_of_lot", *ROOMS):
        send(cast, code=piece)


def test_neither_moves_nor_builds_in_nor_marks_a_unit_that_is_out(cast: Cast, fork: Unit) -> None:
    add_place(by=cast.quality_manager, code="RACK-1", name="rack", at=FIXED_NOW)
    send(cast)
    told: dict[str, Any] = {"by": cast.assembler, "at": FIXED_NOW}
    with refused("unit_is_out", *ROOMS) as caught:
        install(cast)
    assert caught.value.message.startswith(f"{FORK} is out for a process, not in the house;")
    with refused("unit_is_out", *ROOMS):
        move_item(by=cast.goods_in, code=FORK, place_code="RACK-1", at=FIXED_NOW)
    with refused("unit_is_out", *ROOMS):
        mark_part(serial=FORK, kind="tag", text="T31", **told)
    back(cast, delivery(cast))
    install(cast)
    send(cast, code=FRAME)
    with refused("unit_is_out", *ROOMS):
        remove_component(serial=FRAME, component_serial=FORK, reason="Bent.", **told)
    with refused("unit_is_out", *ROOMS):
        use_material(serial=FRAME, heat_number="H1", **told)


def test_comes_back_on_a_delivery_of_the_firm_it_was_sent_to_and_not_before(cast: Cast, fork: Unit) -> None:
    early = delivery(cast, at=FIXED_NOW - timedelta(days=9))
    send(cast)
    wrong, right = delivery(cast, "Millbrook Tube"), delivery(cast, "TARN PLATING")
    for number, code in (("GR-9", "delivery_unknown"), (wrong, "delivery_of_another"), (early, "delivery_before_sent")):
        with refused(code, *ROOMS, "evidence"):
            back(cast, number)
    back(cast, right)
    assert not unit_by_serial(FORK).away


def test_holds_a_unit_with_the_delivery_that_it_came_back_on(cast: Cast, fork: Unit) -> None:
    send(cast)
    number = delivery(cast)
    back(cast, number)
    held = hold_delivery(by=cast.quality_manager, delivery_number=number, reason="Plating flakes.", at=BACK)
    assert [one.source for one in open_holds(fork.item_id)] == [held.source]
    assert entries_about(f"delivery {number}")[0].payload["units"] == [FORK]
    with refused("component_on_hold", *ROOMS):
        install(cast)
    proof = demonstration_proof(cast.quality_manager, BACK)
    lift_delivery_hold(proof=proof, hold_uuid=held.uuid, reason="Looked at again.", at=BACK)
    assert open_holds(fork.item_id) == []


def test_names_a_unit_whom_a_supplier_affects_and_where_it_is(cast: Cast, fork: Unit) -> None:
    send(cast)
    (row,) = answer(read('supplier "tarn plating"')).rows
    assert (row.serial, row.place) == (FORK, "out for a process")
    back(cast, delivery(cast))
    install(cast)
    assert {row.serial for row in answer(read('supplier "tarn plating"')).rows} == {FORK, FRAME}


def test_sends_out_and_receives_back_on_the_unit_s_page(cast: Cast, fork: Unit, client_of: Any) -> None:
    client = client_of(cast.goods_in)
    found = client.get(reverse("goods:outside"), {"code": FORK.lower()})
    page = reverse("goods:unit_outside", args=[FORK])
    assert found.headers["Location"] == page
    assert client.get(reverse("goods:outside"), {"code": "nobody"}).status_code == 404
    sent = {"act": "out", "kind": "coating", "supplier": "Tarn Plating"}
    assert client.post(page, sent).status_code == 302
    assert FORK in client.get(reverse("goods:outside")).content.decode()
    again = client.post(page, sent)
    assert again.status_code == 409
    assert "not in the house" in again.content.decode()
    number = delivery(cast, at=timezone.now())  # the page sends it out now, too
    paper = SimpleUploadedFile("coating.pdf", pdf(), "application/pdf")
    assert client.post(page, {"act": "back", "delivery_number": number, "paper": paper}).status_code == 302
    text = client.get(page).content.decode()
    assert "certificate of the process" in text
    assert "still out" not in text


def test_lets_others_look_and_goods_in_alone_send(cast: Cast, fork: Unit, client_of: Any) -> None:
    client, page = client_of(cast.assembler), reverse("goods:unit_outside", args=[FORK])
    assert "Send it out" not in client.get(page).content.decode()
    with unchanged(*ROOMS):
        assert client.post(page, {"act": "out", "kind": "coating", "supplier": "T"}).status_code == 403
    assert "Send it out" in client_of(cast.goods_in).get(page).content.decode()
