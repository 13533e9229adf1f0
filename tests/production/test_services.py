"""Families, units, holds and weld records."""

from __future__ import annotations

from threading import Barrier, Thread
from uuid import uuid4

import pytest
from django.db import connection, transaction

from qcapp.audit.queries import entries_about
from qcapp.core.errors import Conflict, TransitionNotAllowed
from qcapp.people.models import Signature
from qcapp.people.roles import Act
from qcapp.people.services import write_signature
from qcapp.production import services
from qcapp.production.models import Unit, UnitEvent
from qcapp.production.queries import (
    events_of,
    holds_of,
    open_holds,
    propose_serial,
    unit_by_serial,
    welder_of,
    welders_of,
    welds_of,
)
from tests.cast import FIXED_NOW, Cast
from tests.factories.production import FamilyFactory, UnitFactory
from tests.unchanged import refused


@pytest.fixture
def family(db):
    return FamilyFactory(serial_pattern="FR-200-{number:4}")


@pytest.fixture
def unit(family):
    return UnitFactory(number=147)


def open_one(by, serial="FR-200-0147", **changes):
    values = {"family_code": "FR-200", "serial": serial, "at": FIXED_NOW} | changes
    with transaction.atomic():
        return services.create_unit(by=by, **values)


def hold(cast, unit, source="NCR-2026-0031", from_stage=5):
    return services.place_hold(
        by=cast.inspector,
        item_id=unit.item_id,
        from_stage=from_stage,
        source=source,
        reason="out of band",
        at=FIXED_NOW,
    )


# --- families ----------------------------------------------------------------------------------------------


def add_family(by, **changes):
    values = {"code": "AX-200", "name": "rear axle carrier", "serial_pattern": "AX-200-{number:4}"}
    return services.add_family(by=by, at=FIXED_NOW, **(values | {"certificate_prefix": "AX"} | changes))


def test_adds_a_family(cast):
    card = add_family(cast.quality_manager)
    assert (card.code, card.serial_pattern) == ("AX-200", "AX-200-{number:4}")
    assert [entry.verb for entry in entries_about("family AX-200")] == ["family.added"]


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"code": "FR-200"}, "family_taken"),
        ({"code": "ax 200"}, "family_code"),
        ({"code": "AX\0"}, "family_code"),
        ({"name": ""}, "text_missing"),
        ({"serial_pattern": "AX-200"}, "serial_pattern"),
        ({"serial_pattern": "A" * 61}, "serial_pattern"),
        ({"certificate_prefix": "a/b"}, "certificate_prefix"),
    ],
)
def test_refuses_a_family_that_cannot_be_numbered(cast, family, changes, code):
    with refused(code, "production"):
        add_family(cast.quality_manager, **changes)


def test_refuses_a_family_by_who_may_not_import_its_plan(cast):
    with refused("not_permitted", "production"):
        add_family(cast.inspector)


# --- units -------------------------------------------------------------------------------------------------


def test_opens_a_unit_in_build_under_its_serial(cast, family):
    card = open_one(cast.inspector, " fr-200-0147 ", order_number="O-81")
    assert (card.serial, card.number, card.state_label) == ("FR-200-0147", 147, "in build")
    assert (card.order_number, card.opened_by_name, card.on_hold) == ("O-81", cast.inspector.name, False)
    assert [event.move for event in events_of(card.id)] == ["open"]


@pytest.mark.parametrize(
    ("serial", "code"),
    [
        ("FR-200-147", "serial_does_not_fit"),
        ("FR-200-0000", "serial_does_not_fit"),
        ("AX-200-0147", "serial_does_not_fit"),
        ("FR-200-0147\0", "serial_does_not_fit"),
        ("", "serial_does_not_fit"),
        ("FR-200-0147", "serial_taken"),
        ("fr-200-0147", "serial_taken"),
    ],
)
def test_refuses_a_serial_that_does_not_fit_or_is_taken(cast, unit, serial, code):
    with refused(code, "production"):
        open_one(cast.inspector, serial)


def test_refuses_a_unit_of_an_unknown_family_or_by_who_may_not_open_one(cast, family):
    with refused("family_unknown", "production"):
        open_one(cast.inspector, family_code="ZZ-9")
    with refused("not_permitted", "production"):
        open_one(cast.customer_service)
    with refused("text_too_long", "production"):
        open_one(cast.inspector, order_number="9" * 41)


@pytest.mark.django_db(transaction=True)
def test_gives_one_serial_to_one_of_two_who_ask_at_the_same_time():
    FamilyFactory(serial_pattern="FR-200-{number:4}")
    inspector = Cast().inspector
    start, answers = Barrier(2), []

    def ask() -> None:
        start.wait()
        try:
            answers.append(open_one(inspector, propose_serial("FR-200", 2026)).serial)
        except Conflict as error:
            answers.append(error.code)
        finally:
            connection.close()

    threads = [Thread(target=ask) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    # Either both proposed 0001 and one lost, or the second asked after the first was through.
    assert sorted(answers) in (["FR-200-0001", "serial_taken"], ["FR-200-0001", "FR-200-0002"])
    assert Unit.objects.filter(serial="FR-200-0001").count() == 1


def test_moves_a_unit_by_the_table_and_writes_down_who_and_why(cast, unit):
    with transaction.atomic():
        card = services.move_unit(
            by=cast.quality_manager, unit_id=unit.pk, move="scrap", reason="cracked", at=FIXED_NOW
        )
    assert card.state == "scrapped"
    assert events_of(unit.pk)[0].reason == "cracked"


def test_refuses_a_move_the_state_does_not_permit(cast, unit):
    with refused("transition_not_allowed", "production") as caught:
        services.move_unit(by=cast.quality_manager, unit_id=unit.pk, move="dispatch", reason="", at=FIXED_NOW)
    assert isinstance(caught.value, TransitionNotAllowed)
    with refused("serial_unknown", "production"):
        services.move_unit(by=cast.quality_manager, unit_id=0, move="scrap", reason="", at=FIXED_NOW)


def test_never_changes_what_happened_to_a_unit(cast, unit):
    services.move_unit(by=cast.quality_manager, unit_id=unit.pk, move="scrap", reason="", at=FIXED_NOW)
    with refused("write_once", "production"):
        UnitEvent.objects.all().delete()


# --- holds -------------------------------------------------------------------------------------------------


def test_places_one_hold_for_one_source_however_often_it_asks(cast, unit):
    first, second = hold(cast, unit), hold(cast, unit)
    assert first == second
    assert [one.source for one in open_holds(unit.item_id)] == ["NCR-2026-0031"]
    assert unit_by_serial("FR-200-0147").on_hold


def test_lifts_a_hold_by_a_signed_act(cast, unit, proof_of):
    placed = hold(cast, unit)
    lifted = services.lift_hold(
        proof=proof_of(cast.quality_manager),
        hold_uuid=placed.uuid,
        reason="reworked and checked",
        at=FIXED_NOW,
    )
    assert not lifted.is_open
    assert (lifted.lifted_by_name, lifted.lift_reason) == (cast.quality_manager.name, "reworked and checked")
    assert not unit_by_serial("FR-200-0147").on_hold
    assert Signature.objects.get().subject == "unit FR-200-0147"
    assert entries_about("unit FR-200-0147")[0].verb == "unit.hold_lifted"


def test_refuses_to_lift_a_hold_twice_without_a_reason_or_without_the_right(cast, unit, proof_of):
    placed = hold(cast, unit)
    manager, inspector = proof_of(cast.quality_manager), proof_of(cast.inspector)
    rooms = ("production", "people.Signature")
    with refused("text_missing", *rooms):
        services.lift_hold(proof=manager, hold_uuid=placed.uuid, reason=" ", at=FIXED_NOW)
    with refused("not_permitted", *rooms):
        services.lift_hold(proof=inspector, hold_uuid=placed.uuid, reason="fine", at=FIXED_NOW)
    with refused("hold_unknown", *rooms):
        services.lift_hold(proof=manager, hold_uuid=uuid4(), reason="fine", at=FIXED_NOW)
    services.lift_hold(proof=manager, hold_uuid=placed.uuid, reason="fine", at=FIXED_NOW)
    with refused("hold_lifted_already", *rooms):
        services.lift_hold(proof=manager, hold_uuid=placed.uuid, reason="again", at=FIXED_NOW)


def test_a_closed_report_lifts_its_own_hold_and_no_other(cast, unit, proof_of):
    hold(cast, unit, "NCR-2026-0031")
    hold(cast, unit, "NCR-2026-0032")
    with transaction.atomic():
        signature = write_signature(
            proof=proof_of(cast.quality_manager), act=Act.CLOSE_REPORT, meaning="closed", subject="report",
            covers="0" * 64, at=FIXED_NOW,
        )  # fmt: skip
        values = {"signature": signature, "item_id": unit.item_id, "reason": "closed", "at": FIXED_NOW}
        assert services.lift_hold_of_source(source="NCR-2026-0031", **values).lifted_at == FIXED_NOW
        assert services.lift_hold_of_source(source="NCR-2026-0031", **values).lifted_at == FIXED_NOW
        assert services.lift_hold_of_source(source="NCR-2026-0099", **values) is None
    assert [one.source for one in open_holds(unit.item_id)] == ["NCR-2026-0032"]
    assert len(holds_of(unit.item_id)) == 2


def test_holds_a_unit_by_hand_with_an_entry_of_its_own(cast, unit):
    values = {"serial": "FR-200-0147", "from_stage": None, "source": "Wrong filler", "reason": "rod mixed up"}
    assert services.hold_unit(by=cast.welder, at=FIXED_NOW, **values).from_stage is None
    assert entries_about("unit FR-200-0147")[0].verb == "unit.held"
    with refused("hold_exists", "production"):
        services.hold_unit(by=cast.welder, at=FIXED_NOW, **values)
    with refused("not_permitted", "production"):
        services.hold_unit(by=cast.keeper, at=FIXED_NOW, **(values | {"source": "Other"}))


# --- welds -------------------------------------------------------------------------------------------------


def weld(by, welder, **changes):
    values = {
        "serial": "FR-200-0147",
        "joints": ["W1", "W7"],
        "procedure": "WPS 12",
        "at": FIXED_NOW,
    } | changes
    return services.record_weld(by=by, welder=welder, **values)


def test_the_latest_record_of_a_joint_says_who_welded_it(cast, unit):
    weld(cast.welder, cast.welder)
    weld(cast.inspector, cast.second_welder, joints=["W7"])
    assert welder_of(unit.item_id, "W1") == cast.welder
    assert welder_of(unit.item_id, "W9") is None
    assert welders_of(unit.item_id) == {"W1": cast.welder.pk, "W7": cast.second_welder.pk}
    latest = welds_of(unit.item_id)[0]
    assert (latest.joint, latest.welder_stamp) == ("W7", cast.second_welder.stamp)
    assert entries_about("unit FR-200-0147")[0].verb == "unit.welded"


@pytest.mark.parametrize("joints", [[], ["W0"], ["7"], ["W1", "W1"], ["W1\0"], ["W12345"]])
def test_refuses_joints_that_cannot_be_read(cast, unit, joints):
    with refused("joint_unreadable", "production"):
        weld(cast.welder, cast.welder, joints=joints)


def test_refuses_a_weld_by_no_welder_on_no_unit_or_by_who_may_not_record(cast, unit):
    with refused("not_a_welder", "production"):
        weld(cast.inspector, cast.inspector)
    with refused("serial_unknown", "production"):
        weld(cast.welder, cast.welder, serial="FR-200-0999")
    with refused("not_permitted", "production"):
        weld(cast.dispatch, cast.welder)


def test_refuses_a_weld_on_a_unit_that_is_no_longer_in_build(cast, unit):
    services.move_unit(by=cast.quality_manager, unit_id=unit.pk, move="scrap", reason="", at=FIXED_NOW)
    with refused("unit_not_in_build", "production"):
        weld(cast.welder, cast.welder)
