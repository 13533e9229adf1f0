"""Customers and orders, the signed dispatch with everything it refuses, and service events."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from qcapp.audit.queries import entries_about
from qcapp.certificates.queries import certificates_of
from qcapp.certificates.release_checks import check, standing_of
from qcapp.certificates.services.issuing import issue_certificate, withdraw_certificate
from qcapp.certificates.services.releasing import release
from qcapp.customers.queries import due_days, events_of, items_of_orders
from qcapp.customers.services import add_customer, add_order, dispatch, record_event, set_due
from qcapp.goods.services.outside import send_out
from qcapp.nonconformance.queries import reports_of
from qcapp.people.services import demonstration_proof
from qcapp.production.models import Installation, Lot, Unit
from qcapp.production.queries import open_holds, unit_by_serial
from qcapp.production.services import place_hold
from qcapp.production.services.components import install_component
from qcapp.production.states import UnitState
from tests.cast import FIXED_NOW
from tests.evidence.files import pdf, picture
from tests.factories.production import FamilyFactory, ItemFactory, UnitFactory
from tests.unchanged import refused

SERIAL = "FR-200-0147"
ROOMS = ("customers", "production", "people.Signature")
AT = FIXED_NOW + timedelta(hours=3)


def send(workshop, **changes):
    given = {"serial": SERIAL, "order_number": "S-1184", "certificate_number": "FR-2026-0001", "issue": 1}
    return dispatch(proof=demonstration_proof(workshop.cast.dispatch, AT), at=AT, **(given | changes))


def hold(workshop):
    item = unit_by_serial(SERIAL).item_id
    by = workshop.cast.quality_manager
    place_hold(by=by, item_id=item, from_stage=None, source="NCR-9", reason="doubt", at=AT)


def test_hands_a_unit_over_with_its_certificate(certified):
    card = send(certified)
    assert (card.order.customer.name, card.certificate_number, card.certificate_issue) == (
        "Orchard Rise Growers", "FR-2026-0001", 1,
    )  # fmt: skip
    assert unit_by_serial(SERIAL).state == "dispatched"
    entry = entries_about(f"unit {SERIAL}")[0]
    assert entry.verb == "unit.dispatched"
    assert "Orchard" not in str(entry.payload)


def test_refuses_a_unit_that_is_not_released_or_not_certified(workshop):
    with refused("unit_not_released", *ROOMS):
        send(workshop)
    release(proof=demonstration_proof(workshop.cast.quality_manager, AT), serial=SERIAL, at=AT)
    with refused("unit_not_certified", *ROOMS):
        send(workshop)


def test_refuses_a_unit_on_hold(certified):
    hold(certified)
    with refused("unit_on_hold", *ROOMS) as caught:
        send(certified)
    assert "NCR-9" in caught.value.message


def test_refuses_a_unit_that_is_out_for_a_process_and_one_with_a_component_that_is(certified):
    cast = certified.cast
    fork = UnitFactory(item=ItemFactory(family=FamilyFactory(code="FK-30")), number=31, state=UnitState.IN_BUILD)
    told = {"by": cast.goods_in, "kind": "coating", "supplier": "Tarn", "high_strength": False, "at": AT}
    Installation.objects.create(
        item_id=unit_by_serial(SERIAL).item_id, component=fork.item, link="trial_fitted", by=cast.assembler, at=AT
    )
    Unit.objects.filter(pk=fork.pk).update(state=UnitState.RELEASED)
    send_out(code=fork.serial, **told)
    with refused("parts_not_in_order", *ROOMS) as caught:
        send(certified)
    assert f"{fork.serial} is out for a process" in caught.value.message
    send_out(code=SERIAL, **told)
    with refused("unit_is_out", *ROOMS):
        send(certified)


def test_cuts_the_title_of_the_report_that_a_long_complaint_raises_between_words(certified):
    text = "Owner says that the rear axle creaks when the tank is full. " * 4
    record_event(
        by=certified.cast.customer_service, serial=SERIAL, kind="complaint", happened_on=FIXED_NOW.date(), text=text,
        report_severity="major", at=AT,
    )  # fmt: skip
    (report,) = reports_of(unit_by_serial(SERIAL).item_id, viewer=certified.cast.quality_manager, at=AT)
    assert report.title == (
        "After dispatch: Owner says that the rear axle creaks when the tank is full. Owner says that the …"
    )


def test_refuses_an_issue_that_is_replaced_withdrawn_or_of_another_unit(certified):
    manager = certified.cast.quality_manager
    with refused("certificate_not_current", *ROOMS):
        send(certified, certificate_number="FR-2026-0002")
    issue_certificate(by=manager, serial=SERIAL, at=AT, change_note="Order number corrected.")
    with refused("certificate_not_current", *ROOMS) as caught:
        send(certified)
    assert "issue 2" in caught.value.message
    number = certificates_of(unit_by_serial(SERIAL).item_id)[0].number
    proof = demonstration_proof(manager, AT)
    withdraw_certificate(proof=proof, number=number, issue=2, reason="Wrong family.", at=AT)
    with refused("certificate_not_current", *ROOMS):
        send(certified, issue=2)


def test_refuses_a_second_dispatch_an_unknown_order_and_another_role(certified):
    with refused("order_unknown", *ROOMS):
        send(certified, order_number="S-9\0")
    with refused("not_permitted", *ROOMS):
        given = {"serial": SERIAL, "order_number": "S-1184", "certificate_number": "FR-2026-0001", "issue": 1}
        dispatch(proof=demonstration_proof(certified.cast.quality_manager, AT), at=AT, **given)
    send(certified)
    with refused("unit_not_released", *ROOMS):
        send(certified)


def test_refuses_a_component_that_is_in_another_unit(certified):
    other = UnitFactory(item=ItemFactory(family=FamilyFactory(code="ZZ-1")), number=1)
    by = certified.cast.assembler
    install_component(by=by, serial=other.serial, component_serial=SERIAL, link="trial_fitted", at=AT)
    with refused("unit_is_installed", *ROOMS):
        send(certified)


def test_refuses_a_unit_with_a_component_lot_or_heat_that_was_held_since_the_release(certified):
    """What is inside at any depth counts: a carrier in the frame, a bush in the carrier, its lot and their heat."""
    from qcapp.production.models import Consumption, Installation
    from qcapp.production.queries import family_by_code
    from qcapp.production.services.lots import create_lot, enter_heat, set_heat_state
    from qcapp.production.states import HeatState, LotState

    cast, frame = certified.cast, unit_by_serial(SERIAL)
    carrier, bush = (
        UnitFactory(item=ItemFactory(family=FamilyFactory(code=code)), number=12, state=UnitState.RELEASED)
        for code in ("AX-200", "BU-1")
    )
    heat = enter_heat(by=cast.goods_in, number="H1", supplier="S", grade="4130", at=AT)
    set_heat_state(heat_id=heat.id, state=HeatState.ACCEPTED)
    FamilyFactory(code="TK-200")
    lot = create_lot(
        by=cast.goods_in, family=family_by_code("TK-200"), quantity=10, heat_numbers=["H1"], at=AT
    )  # fmt: skip
    Lot.objects.update(state=LotState.ACCEPTED)
    for holder, component in ((frame.item_id, carrier.item_id), (carrier.item_id, bush.item_id)):
        Installation.objects.create(
            item_id=holder, component_id=component, link="delivered_with", by=cast.assembler, at=AT
        )
    Consumption.objects.create(item_id=carrier.item_id, lot_id=lot.id, by=cast.assembler, at=AT)
    against = []
    set_heat_state(heat_id=heat.id, state=HeatState.HELD)
    against.append("heat H1 is held")
    for item, serial in ((bush.item_id, bush.serial), (lot.item_id, f"lot {lot.code}")):
        place_hold(by=cast.inspector, item_id=item, from_stage=None, source="NCR-9", reason="doubt", at=AT)
        against.append(f"{serial} is on hold")
    with refused("parts_not_in_order", *ROOMS) as caught:
        send(certified)
    assert all(one in caught.value.message for one in against), caught.value.message
    Unit.objects.filter(pk=carrier.pk).update(state=UnitState.IN_BUILD)
    with refused("parts_not_in_order", *ROOMS):
        send(certified)


# --- release -------------------------------------------------------------------------------------------------


def parts(serial=SERIAL):
    return next(one for one in check(standing_of(serial)) if one.code == "parts_in_order")


def test_finds_a_component_on_hold_before_the_release(workshop):
    carrier = UnitFactory(item=ItemFactory(family=FamilyFactory(code="AX-200")), number=12, state=UnitState.RELEASED)
    by = workshop.cast.assembler
    install_component(by=by, serial=SERIAL, component_serial=carrier.serial, link="delivered_with", at=AT)
    assert parts().ok
    place_hold(by=by, item_id=carrier.item_id, from_stage=None, source="NCR-3", reason="bent", at=AT)
    assert parts().sentence == "AX-200-0012 is on hold."
    Unit.objects.filter(pk=carrier.pk).update(state=UnitState.IN_BUILD)
    assert not parts().ok


def test_finds_a_heat_that_was_held_after_it_was_used(workshop):
    from qcapp.production.queries import family_by_code
    from qcapp.production.services.components import use_material
    from qcapp.production.services.lots import create_lot, enter_heat, set_heat_state
    from qcapp.production.states import HeatState, LotState

    cast = workshop.cast
    heat = enter_heat(by=cast.goods_in, number="H1", supplier="S", grade="4130", at=AT)
    set_heat_state(heat_id=heat.id, state=HeatState.ACCEPTED)
    FamilyFactory(code="TK-200")
    family = family_by_code("TK-200")
    lot = create_lot(by=cast.goods_in, family=family, quantity=10, heat_numbers=["H1"], at=AT)
    Lot.objects.update(state=LotState.ACCEPTED)
    use_material(by=cast.assembler, serial=SERIAL, lot_code=lot.code, at=AT)
    assert parts().ok
    set_heat_state(heat_id=heat.id, state=HeatState.HELD)
    assert parts().sentence == "heat H1 is held."


# --- customers, events ---------------------------------------------------------------------------------------


def test_refuses_customers_and_orders_twice_unreadable_or_by_others(workshop):
    by = workshop.cast.customer_service
    for told, code in (
        ({"number": "C-104", "name": "Other"}, "customer_taken"),
        ({"number": "C 104", "name": "Other"}, "customer_number"),
        ({"number": "C-105", "name": " "}, "text_missing"),
    ):
        with refused(code, *ROOMS):
            add_customer(by=by, at=AT, **told)
    for told, code in (
        ({"number": "S-1184", "customer_number": "C-104"}, "order_taken"),
        ({"number": "S-1", "customer_number": "C-9"}, "customer_unknown"),
    ):
        with refused(code, *ROOMS):
            add_order(by=by, at=AT, **told)
    with refused("not_permitted", *ROOMS):
        add_customer(by=workshop.cast.assembler, number="C-1", name="A", at=AT)


def test_changes_the_day_that_an_order_is_due(workshop):
    by, day = workshop.cast.customer_service, date(2026, 4, 2)
    assert add_order(by=by, number="S-1190", customer_number="C-104", due_on=day, at=AT).due_on == day
    assert set_due(by=by, order_number="s-1184", due_on=day, at=AT).due_on == day
    entry = entries_about("order S-1184")[0]
    assert entry.verb == "order.due_changed"
    with refused("due_unchanged", *ROOMS):
        set_due(by=by, order_number="S-1184", due_on=day, at=AT)
    with refused("order_unknown", *ROOMS):
        set_due(by=by, order_number="S-9", due_on=day, at=AT)
    with refused("not_permitted", *ROOMS):
        set_due(by=workshop.cast.assembler, order_number="S-1184", due_on=None, at=AT)
    assert set_due(by=by, order_number="S-1184", due_on=None, at=AT).due_on is None
    assert due_days(["S-1184", "S-1190", "S-9"]) == {"S-1190": day}


def test_finds_orders_by_customer_only_for_who_may_see_customers(workshop):
    assert items_of_orders("s 1184", names=False) == [("S-1184", "")]
    assert items_of_orders("orchard", names=True) == [("S-1184", "Orchard Rise Growers")]
    assert items_of_orders("orchard", names=False) == []


def event(workshop, **changes):
    given = {"serial": SERIAL, "kind": "complaint", "happened_on": date(2026, 3, 16), "text": "Pulls to the left."}
    return record_event(by=workshop.cast.customer_service, at=AT, **(given | changes))


def test_records_a_service_event_with_photos(certified, settings, tmp_path):
    settings.QCAPP_DATA_DIR = tmp_path
    send(certified)
    card = event(certified, kind="accident", photos=[("ditch.jpg", picture())])
    assert (card.kind_label, len(card.photos), card.report) == ("accident", 1, "")
    assert events_of(card.item_id) == [card]


def test_raises_a_report_of_a_complaint_and_holds_the_unit(certified):
    send(certified)
    card = event(certified, report_severity="major")
    (report,) = reports_of(card.item_id)
    assert card.report == report.number
    assert [one.source for one in open_holds(card.item_id)] == [report.number]


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"kind": "praise"}, "event_kind"),
        ({"happened_on": date(2026, 3, 18)}, "event_later"),
        ({"text": "\n"}, "text_missing"),
        ({"serial": "FR-9"}, "serial_unknown"),
        ({"report_severity": "huge"}, "severity_unknown"),
        ({"photos": [("a.jpg", pdf())]}, "picture_not_read"),
        ({"photos": [("a.jpg", b"")] * 13}, "too_many_photos"),
    ],
)
def test_refuses_an_event_that_cannot_be(certified, settings, tmp_path, changes, code):
    settings.QCAPP_DATA_DIR = tmp_path
    assert certified.cast.customer_service
    with refused(code, *ROOMS, "nonconformance"):
        event(certified, **changes)
