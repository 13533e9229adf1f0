"""Where used: every kind of name, the way up to the units, and what was taken out again."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from qcapp.affected.answering import answer
from qcapp.affected.asking import read
from qcapp.affected.using import LOOK, things_named, uses_of
from qcapp.core.identification import lookup_key
from qcapp.goods.models import CertifiedHeat, DeliveredLot, Delivery, DeliveryLine, MillCertificate, OutsideProcess
from qcapp.lib.fields import uuid7
from qcapp.production.models import Consumption, Heat, Installation, Lot, Piece, Unit, WeldProcedure, WeldStart
from qcapp.production.services.components import install_component, remove_component
from qcapp.production.services.lots import enter_heat
from tests.cast import FIXED_NOW, Cast
from tests.evidence.files import pdf
from tests.factories.gauges import GaugeFactory
from tests.factories.production import FamilyFactory, ItemFactory, UnitFactory
from tests.unchanged import refused

pytestmark = pytest.mark.django_db
FRAME, CARRIER, LOT = "FR-200-0147", "AX-200-0012", "TK-200-L0001"


@pytest.fixture
def built(cast: Cast) -> Any:
    """Heat 7K-4412 in lot TK-200-L0001, of which 14 pieces are in the axle carrier, which is welded into the frame."""
    frame = UnitFactory(item=ItemFactory(family=FamilyFactory(code="FR-200", name="trike frame")), number=147)
    carrier = UnitFactory(
        item=ItemFactory(family=FamilyFactory(code="AX-200", name="axle carrier")), number=12, state="released"
    )
    heat = enter_heat(by=cast.goods_in, number="7K-4412", supplier="Brook Tube", grade="4130", at=FIXED_NOW)
    item = ItemFactory(family=FamilyFactory(code="TK-200", name="cut-tube kit"), kind="lot")
    lot = Lot.objects.create(
        item=item, code=LOT, lookup=lookup_key(LOT), number=1, quantity=86, state="accepted", opened_by=cast.goods_in,
        opened_at=FIXED_NOW,
    )  # fmt: skip
    Consumption.objects.create(item=item, heat_id=heat.id, by=cast.goods_in, at=FIXED_NOW)
    told = {"item": carrier.item, "lot": lot, "use": "side tubes", "quantity": 14}
    Consumption.objects.create(by=cast.assembler, at=FIXED_NOW, **told)
    install_component(by=cast.assembler, serial=FRAME, component_serial=CARRIER, link="welded_in", at=FIXED_NOW)
    return frame


@pytest.fixture
def data_folder(settings: Any, tmp_path: Any) -> None:
    settings.QCAPP_DATA_DIR = tmp_path


def used(name: str) -> Any:
    (thing,) = things_named(name, FIXED_NOW)
    return uses_of(thing)


def flat(nodes: Any) -> list[Any]:
    return [(node.name, node.link, flat(node.below)) for node in nodes]


def test_goes_from_a_heat_through_lot_and_component_to_the_frame(built: Any) -> None:
    found = used("7k 4412")  # blanks, dashes and case do not matter, for looking up
    way = (LOT, "", [(CARRIER, "14 pieces, side tubes", [(FRAME, "welded in", [])])])
    assert flat(found.ways) == [way]
    assert [(row.serial, row.holder) for row in found.rows] == [(CARRIER, FRAME), (FRAME, "")]
    assert (found.thing.kind_label, found.thing.question) == ("Heat", "heat 7K-4412")


def test_goes_from_a_lot_and_from_a_component(built: Any) -> None:
    assert flat(used("TK-2OO-L0001").ways)[0][0] == CARRIER  # the letter O for a nought
    found = used(CARRIER)
    assert flat(found.ways) == [(FRAME, "welded in", [])]
    assert [row.serial for row in found.rows] == [FRAME]
    assert used(FRAME).rows == ()


def test_counts_a_piece_that_was_built_in_by_itself(cast: Cast, built: Any) -> None:
    lot = Lot.objects.get()
    piece = ItemFactory(family=lot.item.family, kind="piece")
    UnitFactory(item=piece, serial=f"{LOT}.003", lookup=lookup_key(f"{LOT}.003"), state="released")
    Piece.objects.create(item=piece, lot=lot, number=3)
    other = UnitFactory(item=ItemFactory(family=built.item.family), number=150)
    Installation.objects.create(item=other.item, component=piece, link="trial_fitted", by=cast.assembler, at=FIXED_NOW)
    for name in ("7K-4412", LOT):
        assert "FR-200-0150" in {row.serial for row in used(name).rows}
    assert (("FR-200-0150", "trial-fitted", [])) in flat(used(LOT).ways)


def test_shows_what_was_taken_out_again_and_follows_it_no_further(cast: Cast, built: Any) -> None:
    fork = UnitFactory(item=ItemFactory(family=FamilyFactory(code="FK-30")), number=31, state="released")
    told = {"by": cast.assembler, "serial": FRAME, "component_serial": fork.serial, "at": FIXED_NOW}
    install_component(link="trial_fitted", **told)
    remove_component(reason="Bush worn.", **told)
    found = used(fork.serial)
    assert flat(found.ways) == [(FRAME, "trial-fitted, taken out 17 Mar 2026: Bush worn.", [])]
    assert found.rows == ()


def test_names_whom_a_supplier_affects_by_heat_delivered_lot_and_lot_sent_out(cast: Cast, built: Any) -> None:
    """Melted by one, delivered by a second as a finished lot without a heat of its own, plated by a third."""
    lot = Lot.objects.get()
    told = {"note_number": "LS-9", "received_at": FIXED_NOW, "by": cast.goods_in}
    delivery = Delivery.objects.create(number="GR-2026-0013", supplier="Shell Works", **told)
    line = DeliveryLine.objects.create(
        delivery=delivery, position=1, description="tubes", quantity="100", unit_of_measure="pcs"
    )
    DeliveredLot.objects.create(line=line, lot=lot)
    OutsideProcess.objects.create(
        item=lot.item, kind="plating", supplier="Tarn Plating", high_strength=False, by=cast.goods_in, at=FIXED_NOW
    )
    UnitFactory(number=148, item=ItemFactory(family=FamilyFactory(code="FR-200")))  # has nothing of any of them
    for supplier in ("brook tube", "Shell Works", "TARN PLATING"):
        assert {row.serial for row in answer(read(f'supplier "{supplier}"')).rows} == {FRAME, CARRIER}, supplier
    Delivery.objects.create(number="GR-2026-0014", supplier="Nothing Of It", **told)
    assert answer(read('supplier "Nothing Of It"')).rows == ()


def test_tells_deliveries_certificates_fillers_fixtures_and_gauges(cast: Cast, built: Any, data_folder: Any) -> None:
    from qcapp.evidence.services.keeping import keep_paper

    heat = Heat.objects.get()
    delivery = Delivery.objects.create(
        number="GR-2026-0012", supplier="Brook Tube", note_number="LS-9", received_at=FIXED_NOW, by=cast.goods_in
    )
    DeliveryLine.objects.create(
        delivery=delivery, position=1, description="tube", quantity="48.5", unit_of_measure="m", heat=heat
    )
    paper = keep_paper(by=cast.goods_in, content=pdf(), name="mc.pdf", at=FIXED_NOW)
    certificate = MillCertificate.objects.create(
        number="MC-1", supplier="Brook Tube", paper_id=paper.id, by=cast.goods_in, at=FIXED_NOW
    )
    CertifiedHeat.objects.create(certificate=certificate, heat=heat, conforms=True)
    procedure = WeldProcedure.objects.create(
        number="WP-3", revision="A", title="TIG", process="141", thickness_from="1", thickness_to="4",
        by=cast.welding_coordinator, at=FIXED_NOW,
    )  # fmt: skip
    WeldStart.objects.create(
        operation=uuid7(), item=built.item, joints=["W2"], welder=cast.welder, procedure=procedure, thickness="2",
        base_grade="4130", filler_lot="F-2231", machine="M1", fixture="TF-03", at=FIXED_NOW,
    )  # fmt: skip
    for name, kind in (
        ("gr-2026-0012", "delivery"),
        ("mc-1", "certificate"),
        ("F-2231", "filler"),
        ("TF-03", "fixture"),
    ):
        found = used(name)
        assert found.thing.kind == kind
        assert FRAME in {row.serial for row in found.rows}, name
    gauge = GaugeFactory(number="CA-09")
    assert (used("ca-09").thing.name, used("ca-09").rows) == (gauge.number, ())


def test_lists_what_has_the_same_name(cast: Cast, built: Any, client_of: Any) -> None:
    enter_heat(by=cast.goods_in, number="7K 4412", supplier="Millbrook", grade="1020", at=FIXED_NOW)
    assert [one.detail for one in things_named("7K4412", FIXED_NOW)] == [
        "1020 of Millbrook, not decided", "4130 of Brook Tube, not decided",
    ]  # fmt: skip
    client = client_of(cast.customer_service)
    page = client.get("/where-used/?name=7K4412").content.decode()
    assert "2 things have this name" in page
    assert FRAME not in page
    key = things_named("7K4412", FIXED_NOW)[1].key
    assert FRAME in client.get(f"/where-used/?name=7K4412&is={key}").content.decode()


def test_refuses_no_name_too_long_a_one_and_one_that_nothing_has(db: None) -> None:
    for code, name in (("name_missing", " \0 "), ("name_missing", "7" * 81), ("nothing_of_that_name", "9X9999%")):
        with refused(code, "production"):
            things_named(name, FIXED_NOW)
    assert len(LOOK) == 7  # and gauges


def test_is_a_page_for_everybody_with_customers_for_those_who_may_see_them(
    cast: Cast, built: Any, client_of: Any
) -> None:
    client = client_of(cast.assembler)
    assert "Where one thing went" in client.get("/where-used/").content.decode()
    page = client.get("/where-used/?name=7K-4412").content.decode()
    assert "4130 of Brook Tube" in page
    assert f'href="/units/{FRAME}/"' in page
    assert ">Customer<" not in page
    assert ">Customer<" in client_of(cast.customer_service).get("/where-used/?name=7K-4412").content.decode()
    missing = client.get("/where-used/?name=9X9999")
    assert missing.status_code == 404
    assert "Nothing called 9X9999 is recorded anywhere" in missing.content.decode()
    assert client.get("/where-used/?name=" + "%25" * 10_000).status_code == 400


def test_is_answered_through_the_api(cast: Cast, built: Any, client_of: Any) -> None:
    answer = client_of(cast.assembler).get("/api/v1/where-used", {"name": "7K-4412"}).json()
    assert answer["serials"] == [CARRIER, FRAME]
    (thing,) = answer["things"]
    assert (thing["kind"], thing["ways"][0]["below"][0]["name"]) == ("heat", CARRIER)
    assert thing["units"][0]["holder"] == FRAME


def test_costs_as_many_queries_for_a_hundred_frames_as_for_one(cast: Cast, built: Any) -> None:
    def cost() -> int:
        with CaptureQueriesContext(connection) as queries:
            used(LOT)
        return len(queries)

    before = cost()
    lot = Lot.objects.get()
    for number in range(200, 300):
        unit = UnitFactory(item=ItemFactory(family=built.item.family), number=number)
        Consumption.objects.create(item=unit.item, lot=lot, by=cast.assembler, at=FIXED_NOW)
    assert Unit.objects.count() > 100
    assert cost() <= before


def test_is_a_page_of_at_most_twenty_queries_whatever_the_name_is(
    cast: Cast, built: Any, client_of: Any, data_folder: Any
) -> None:
    from qcapp.goods.services import enter_certificate, receive_delivery
    from tests.goods.conftest import heat

    line = {"description": "tube", "quantity": "48,5", "unit_of_measure": "m", "heat": "7K-4412"}
    told: dict[str, Any] = {"by": cast.goods_in, "supplier": "Brook Tube", "at": FIXED_NOW}
    number = receive_delivery(note_number="LS-9", lines=[line], **told).number
    enter_certificate(number="MC-1", paper=pdf(), paper_name="mc.pdf", heats=[heat(number="7K-4412")], **told)
    client = client_of(cast.customer_service)
    for name in ("7K-4412", LOT, CARRIER, FRAME, number, "MC-1"):
        client.get("/where-used/", {"name": name})
        with CaptureQueriesContext(connection) as queries:
            page = client.get("/where-used/", {"name": name}).text
        assert FRAME in page
        assert len(queries) <= 20, (name, len(queries))


def test_draws_the_latest_of_very_many_and_lists_them_all(cast: Cast, built: Any, monkeypatch: Any) -> None:
    from qcapp.production.queries import where_used

    monkeypatch.setattr(where_used, "MOST", 3)
    lot = Lot.objects.get()
    for number in range(200, 210):
        unit = UnitFactory(item=ItemFactory(family=built.item.family), number=number)
        Consumption.objects.create(item=unit.item, lot=lot, by=cast.assembler, at=FIXED_NOW)
    found = used(LOT)
    assert [node.name for node in found.ways] == ["FR-200-0209", "FR-200-0208", "FR-200-0207"]
    assert found.cut
    assert len(found.rows) == 12  # ten frames, the carrier and the frame that it is welded into
