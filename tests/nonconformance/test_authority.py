"""Who decides what, concessions that end, permits given before making, destruction before a witness."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal
from itertools import combinations

import pytest

from qcapp.audit.queries import entries_about
from qcapp.certificates.release_checks import check, standing_of
from qcapp.customers.models import Customer
from qcapp.customers.services import add_customer, add_order
from qcapp.nonconformance.queries import details
from qcapp.nonconformance.services import deciders, deciding, permits
from qcapp.nonconformance.services.ending import close_without_correction
from qcapp.nonconformance.states import DECIDERS, MAY_DECIDE, Disposition, too_few
from qcapp.people.services import demonstration_proof
from qcapp.production.models import Consumption, Lot, Unit
from qcapp.production.queries import open_holds
from qcapp.production.services.components import install_component, remove_component

from ..cast import FIXED_NOW, Cast
from ..factories.inspections import Workshop
from ..factories.nonconformance import LATER, Case
from ..factories.production import ItemFactory
from ..unchanged import refused

pytestmark = pytest.mark.django_db
ROOMS = ("nonconformance", "inspections", "production", "people")
TODAY = FIXED_NOW.date()


def set_line(cast: Cast, *roles: str, severity: str = "minor", disposition: str = "scrap", by: str = "") -> None:
    told = {"severity": severity, "disposition": disposition, "roles": roles, "reason": "Two read every scrap."}
    deciders.set_deciders(by=getattr(cast, by or "quality_manager"), at=FIXED_NOW, **told)  # type: ignore[arg-type]


def test_asks_for_the_signatures_of_the_table_as_it_stands_now(case: Case) -> None:
    minor = Case.by_hand(case.workshop, "minor").contain().propose("scrap")
    assert minor.missing == ("quality_manager",)
    set_line(case.cast, "engineer", "quality_manager")
    assert minor.missing == ("quality_manager",)  # a proposal that waits keeps its own
    assert minor.propose("scrap").missing == ("quality_manager", "engineer")
    (entry, *_) = entries_about("deciders minor scrap")
    assert entry.payload["before"] == ["quality_manager"]


@pytest.mark.parametrize(
    ("roles", "changes", "code"),
    [
        (("quality_manager",), {"disposition": "repair"}, "too_few_deciders"),
        (("engineer",), {"disposition": "use_as_is"}, "too_few_deciders"),
        (("engineer", "welding_coordinator"), {}, "too_few_deciders"),
        ((), {}, "too_few_deciders"),
        (("quality_manager",), {"severity": "critical"}, "too_few_deciders"),
        (("quality_manager", "inspector"), {}, "role_cannot_decide"),
        (("quality_manager",), {}, "deciders_unchanged"),
        (("quality_manager",), {"severity": "grave"}, "severity_unknown"),
        (("quality_manager",), {"disposition": "melt"}, "disposition_unknown"),
        (("quality_manager", "engineer"), {"by": "engineer"}, "not_permitted"),
    ],
)
def test_refuses_a_line_that_decides_too_lightly(
    workshop: Workshop, roles: tuple[str, ...], changes: dict[str, str], code: str
) -> None:
    with refused(code, *ROOMS):
        set_line(workshop.cast, *roles, **changes)


def test_never_allows_a_concession_without_the_engineer_and_a_second_person() -> None:
    """Every table that can be set: all sets of roles, every severity and disposition."""
    assert not [line for line, roles in DECIDERS.items() if too_few(*line, frozenset(roles))]
    for severity in ("critical", "major", "minor"):
        for disposition in Disposition:
            for size in range(len(MAY_DECIDE) + 1):
                for roles in map(frozenset, combinations(sorted(MAY_DECIDE), size)):
                    if not too_few(severity, disposition, roles):
                        assert "quality_manager" in roles
                        conceded = disposition in {Disposition.USE_AS_IS, Disposition.REPAIR}
                        assert not conceded or "engineer" in roles
                        light = disposition is Disposition.RETURN_TO_SUPPLIER or severity != "critical"
                        assert len(roles) >= 2 or (light and not conceded)


# ------------------------------------------------------------------------------------------------ concessions


def test_refuses_to_close_on_a_concession_after_its_end(case: Case) -> None:
    case.decide("use_as_is", ends_on=TODAY)
    late = LATER + timedelta(days=1)
    with refused("not_proven", *ROOMS) as caught:
        told = {"number": case.number, "corrective_action": "None.", "at": late}
        close_without_correction(proof=demonstration_proof(case.cast.quality_manager, late), **told)
    assert "CN-2026-0001 ended on 17 March 2026; decide again." in caught.value.message
    assert case.close_without_correction().state == "closed"  # on its last day it holds


def test_refuses_the_release_on_a_concession_after_its_end(case: Case) -> None:
    case.decide("use_as_is", ends_on=TODAY).close_without_correction()
    found = {one.code: one for one in check(standing_of(case.workshop.serial))}["answers_conform"]
    assert (found.ok, found.sentence) == (False, "CN-2026-0001 ended on 17 March 2026; decide again.")


def test_refuses_a_concession_that_ends_before_it_begins(case: Case) -> None:
    case.contain()
    with refused("concession_ends_before_it_begins", *ROOMS):
        case.propose("use_as_is", ends_on=TODAY - timedelta(days=1))
    with refused("concession_not_needed", *ROOMS):
        case.propose("rework", ends_on=TODAY)


def test_decides_when_the_customer_has_approved(case: Case) -> None:
    ordered(case.workshop, approves=True)
    case.contain().propose("use_as_is").sign("engineer")
    with refused("customer_approval_missing", *ROOMS):
        case.sign("quality_manager")
    told = {"number": case.number, "reference": "Letter of 16 March 2026", "at": LATER}
    deciding.record_customer_approval(by=case.cast.customer_service, **told)
    with refused("customer_approved", *ROOMS):
        deciding.record_customer_approval(by=case.cast.customer_service, **told)
    assert case.sign("quality_manager").state == "decided"
    assert case.view.concession.says.endswith("Customer's approval: Letter of 16 March 2026.")  # type: ignore[union-attr]


def ordered(workshop: Workshop, *, approves: bool) -> None:
    """The unit is made for an order, whose customer may want to approve concessions."""
    dispatch = workshop.cast.customer_service
    if not Customer.objects.exists():
        add_customer(by=dispatch, number="C-104", name="Orchard Cooperative", at=FIXED_NOW)
    add_order(
        by=dispatch, number="SO-1", customer_number="C-104", approves_concessions=approves, at=FIXED_NOW
    )  # fmt: skip
    Unit.objects.filter(pk=workshop.unit_id).update(order_number="SO-1")


@pytest.mark.parametrize(
    ("approves", "disposition", "asked"),
    [(True, "use_as_is", True), (True, "repair", True), (True, "rework", False), (False, "use_as_is", False)],
)
def test_asks_for_the_customers_approval_where_the_order_does(
    case: Case, approves: bool, disposition: str, asked: bool
) -> None:
    ordered(case.workshop, approves=approves)
    case.contain().propose(disposition)
    assert case.view.proposal.customer_asked is asked  # type: ignore[union-attr]


def test_refuses_an_approval_that_nobody_asked_for(case: Case) -> None:
    case.contain().propose("use_as_is")
    with refused("customer_not_asked", *ROOMS):
        told = {"number": case.number, "reference": "Letter", "at": LATER}
        deciding.record_customer_approval(by=case.cast.quality_manager, **told)


# ---------------------------------------------------------------------------------------------------- permits


def permitted(workshop: Workshop, *signers: str, **changes: object) -> str:
    told = {"family_code": "FR-200", "checkpoint_key": "head_angle", "upper": Decimal("62.50"), "quantity": 1}
    told |= {"statement": "Head angle up to 62.50°, trail stays inside its limits."} | changes
    number = permits.propose_permit(by=workshop.cast.engineer, at=FIXED_NOW, **told)  # type: ignore[arg-type]
    for role in signers or ("engineer", "quality_manager"):
        proof = demonstration_proof(getattr(workshop.cast, role), FIXED_NOW)
        permits.sign_permit(proof=proof, number=number, role=role, at=FIXED_NOW)
    return number


def test_accepts_a_part_under_a_permit_given_before_making(workshop: Workshop) -> None:
    number = permitted(workshop)
    case = Case.out_of_band(workshop).contain().propose("use_as_is", permit=number, concession_upper=None)
    assert case.missing == ("quality_manager",)
    case.sign()
    assert case.view.concession.upper == Decimal("62.50")  # type: ignore[union-attr]
    assert details.permit(number, TODAY).code == "permit_used_up"


@pytest.mark.parametrize(
    ("arrange", "code"),
    [
        (lambda w: permitted(w, "engineer"), "permit_not_signed"),
        (lambda w: permitted(w, serials=["FR-200-0999"]), "permit_for_others"),
        (lambda w: permitted(w, checkpoint_key="twist"), "permit_for_others"),
        (lambda w: "DP-2026-0099", "permit_unknown"),
    ],
)
def test_refuses_a_permit_that_does_not_hold_here(
    workshop: Workshop, arrange: Callable[[Workshop], str], code: str
) -> None:
    number = arrange(workshop)
    case = Case.out_of_band(workshop).contain()
    with refused(code, *ROOMS):
        case.propose("use_as_is", permit=number, concession_upper=None)


def test_refuses_a_permit_after_its_last_day_and_for_another_disposition(workshop: Workshop) -> None:
    number = permitted(workshop, quantity=None, ends_on=date(2026, 3, 17))
    assert details.permit(number, date(2026, 3, 17)).code == ""
    assert details.permit(number, date(2026, 3, 18)).code == "permit_ended"
    case = Case.out_of_band(workshop).contain()
    with refused("permit_not_needed", *ROOMS):
        case.propose("rework", permit=number)


def test_refuses_the_second_use_of_a_permit_for_one(workshop: Workshop) -> None:
    number = permitted(workshop)
    first = Case.out_of_band(workshop).contain().propose("use_as_is", permit=number, concession_upper=None)
    other = Case.out_of_band(workshop.another_unit("FR-200-0148")).contain()
    other.propose("use_as_is", permit=number, concession_upper=None)
    first.sign()
    with refused("permit_used_up", *ROOMS):
        other.sign()


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"quantity": None}, "permit_without_end"),
        ({"quantity": 0}, "part_not_positive"),
        ({"upper": None}, "concession_without_limits"),
        ({"lower": Decimal("63")}, "limits_crossed"),
        ({"ends_on": date(2026, 3, 16)}, "concession_ends_before_it_begins"),
        ({"checkpoint_key": "nothing"}, "checkpoint_unknown"),
        ({"family_code": "XX-1"}, "family_unknown"),
    ],
)
def test_refuses_a_permit_that_is_not_bounded(workshop: Workshop, changes: dict[str, object], code: str) -> None:
    with refused(code, *ROOMS):
        permitted(workshop, **changes)


def test_takes_one_signature_per_role_and_person(workshop: Workshop) -> None:
    number = permitted(workshop, "engineer")
    proof = demonstration_proof(workshop.cast.engineer, FIXED_NOW)
    with refused("role_signed", *ROOMS):
        permits.sign_permit(proof=proof, number=number, role="engineer", at=FIXED_NOW)
    with refused("role_not_needed", *ROOMS):
        permits.sign_permit(proof=proof, number=number, role="inspector", at=FIXED_NOW)
    with refused("signed_already", *ROOMS):
        permits.sign_permit(proof=proof, number=number, role="quality_manager", at=FIXED_NOW)


# ------------------------------------------------------------------------------------------------ destruction


def test_closes_scrap_when_the_destruction_is_witnessed_by_another(case: Case) -> None:
    case.decide("scrap")
    with refused("destruction_not_witnessed", *ROOMS):
        case.close_without_correction()
    case.destroy(case.cast.assembler)
    with refused("second_person_needed", *ROOMS):
        case.destroy(case.cast.assembler)
    case.destroy(case.cast.welder)
    with refused("destroyed_already", *ROOMS):
        case.destroy(case.cast.inspector)
    assert [(one.part, one.by_name) for one in case.view.destructions] == [
        ("done", "Tobiah Renn"), ("seen", "Casimir Voss"),
    ]  # fmt: skip
    assert case.close_without_correction().state == "closed"


def test_destroys_and_returns_nothing_that_was_decided_otherwise(case: Case) -> None:
    case.decide()
    with refused("not_to_be_scrapped", *ROOMS):
        case.destroy(case.cast.assembler)
    with refused("not_to_be_returned", *ROOMS):
        case.write_return_note()


def test_holds_the_removable_components_of_what_is_scrapped(case: Case) -> None:
    """The fork comes out to be inspected; the tank and the lot of tubes that are welded in never come back."""
    cast = case.cast
    fork, spare, other, tank = (case.workshop.another_unit(f"FR-200-01{n}") for n in (48, 49, 50, 51))
    for part in (fork, spare, tank):
        Unit.objects.filter(pk=part.unit_id).update(state="released")
    tubes = ItemFactory(kind="lot")
    lot = Lot.objects.create(
        item=tubes, code="TK-200-L0001", lookup="TK200L1", number=1, quantity=9, state="accepted",
        opened_by=cast.assembler, opened_at=FIXED_NOW,
    )  # fmt: skip
    Consumption.objects.create(item_id=case.workshop.item_id, lot=lot, quantity=3, by=cast.assembler, at=FIXED_NOW)
    built = {"by": cast.assembler, "serial": case.workshop.serial, "at": FIXED_NOW}
    install_component(component_serial=fork.serial, link="delivered_with", **built)
    install_component(component_serial=tank.serial, link="welded_in", **built)
    case.decide("scrap").destroy().close_without_correction()
    assert [hold.source for hold in open_holds(fork.item_id)] == [f"{case.number} parts"]
    assert open_holds(spare.item_id) == open_holds(tubes.pk) == open_holds(tank.item_id) == []
    with refused("component_welded_in", *ROOMS):
        remove_component(component_serial=tank.serial, reason="Looks good.", **built)
    with refused("component_installed_already", *ROOMS):
        install_component(component_serial=tank.serial, link="delivered_with", **(built | {"serial": other.serial}))
    verbs = [entry.verb for entry in entries_about(f"report {case.number}")]
    assert "components.held" in verbs
    remove_component(component_serial=fork.serial, reason="Taken off to be inspected.", **built)
    with refused("component_on_hold", *ROOMS):
        install_component(component_serial=fork.serial, link="delivered_with", **(built | {"serial": other.serial}))


def test_writes_one_paper_for_the_supplier(case: Case) -> None:
    case.decide("return_to_supplier").write_return_note()
    assert case.view.return_note.number == "RN-2026-0001"  # type: ignore[union-attr]
    with refused("return_note_exists", *ROOMS):
        case.write_return_note()
