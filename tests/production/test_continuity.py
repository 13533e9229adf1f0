"""Six-month continuity of welders' qualifications: proposed from recorded work, confirmed by a signed act.

Every six months, by the welding coordinator, on work of that process within the range: ISO 9606-1 in substance, from
memory. The days are worked out by hand.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest

from qcapp.audit.queries import entries_about
from qcapp.lib.fields import uuid7
from qcapp.people.models import Signature
from qcapp.production.queries.welding import (
    Standing,
    Work,
    is_qualified,
    qualifications,
    qualifications_due,
    weld_procedures,
    work_of,
)
from qcapp.production.services import record_weld
from qcapp.production.services.continuity import confirm_qualification
from qcapp.production.services.welding import Arc, Range, add_procedure, add_qualification, start_weld
from tests.cast import FIXED_NOW, PIN, Cast
from tests.factories.production import FamilyFactory, UnitFactory
from tests.unchanged import refused

pytestmark = pytest.mark.django_db
TIG_SIZES = Decimal("1.0"), Decimal("3.0")
TIG = Range("141", *TIG_SIZES)
ISSUED = date(2025, 8, 31)  # six months on is 28 February 2026, for want of a 31st
ENDS = date(2027, 8, 30)
TODAY = FIXED_NOW.date()  # 17 March 2026


@pytest.fixture
def unit(db: None) -> Any:
    FamilyFactory(serial_pattern="FR-200-{number:4}")
    return UnitFactory(number=147)


@pytest.fixture
def procedure(cast: Cast) -> Any:
    told = {"number": "WP-3", "revision": "A", "title": "Tube to tube", "base_grades": ["S235"]}
    return add_procedure(by=cast.welding_coordinator, scope=TIG, at=FIXED_NOW, **told)


@pytest.fixture
def held(cast: Cast) -> Any:
    """Q-17 of the welder, not confirmed since it was issued."""
    add_qualification(
        by=cast.welding_coordinator, welder=cast.welder, certificate="Q-17", scope=TIG, issued_on=ISSUED,
        expires_on=ENDS, at=FIXED_NOW,
    )  # fmt: skip
    return card()


def card() -> Any:
    return qualifications()[0]


def welded(cast: Cast, unit: Any, at: datetime, thickness: str = "2.0", joints: tuple[str, ...] = ("W1",)) -> None:
    """Joints that were said before the arc, of this thickness in mm."""
    (procedure,) = weld_procedures()
    arc = Arc(
        operation=uuid7(), serial=unit.serial, joints=joints, procedure=procedure.uuid, thickness=Decimal(thickness),
        base_grade="S235", filler_lot="F-1", machine="TIG-1",
    )  # fmt: skip
    start_weld(by=cast.welder, arc=arc, unqualified="report", at=at)


def noted(cast: Cast, unit: Any, at: datetime, procedure: str) -> None:
    """A joint of which nothing but the procedure's name is known."""
    record_weld(by=cast.welder, welder=cast.welder, serial=unit.serial, joints=["W9"], procedure=procedure, at=at)


def test_lapses_six_months_after_the_test_and_then_nothing_is_welded(
    cast: Cast, unit: Any, procedure: Any, held: Any
) -> None:
    days = {date(2025, 8, 30): "not yet", ISSUED: "holds", date(2026, 2, 28): "holds", date(2026, 3, 1): "lapsed"}
    days |= {ENDS: "lapsed", ENDS + timedelta(1): "expired"}
    assert {day: held.standing(day) for day in days} == days
    assert not is_qualified(cast.welder.pk, "141", Decimal(2), TODAY)
    arc = Arc(
        operation=uuid7(), serial=unit.serial, joints=("W1",), procedure=procedure, thickness=Decimal(2),
        base_grade="S235", filler_lot="F-1", machine="TIG-1",
    )  # fmt: skip
    with refused("welder_not_qualified", "production") as caught:
        start_weld(by=cast.welder, arc=arc, unqualified="refuse", at=FIXED_NOW)
    assert "Q-17 was to be confirmed by 28 Feb 2026, six months after the last time." in caught.value.message


def test_proposes_the_joints_recorded_by_that_process_and_thickness_in_six_months(
    cast: Cast, unit: Any, procedure: Any, held: Any
) -> None:
    add_qualification(
        by=cast.welding_coordinator, welder=cast.welder, certificate="Q-18", scope=Range("135", *TIG_SIZES),
        issued_on=ISSUED, expires_on=ENDS, at=FIXED_NOW,
    )  # fmt: skip
    thin, thick = qualifications()[0], replace(qualifications()[0], id=99, thickness_from=Decimal("2.5"))
    welded(cast, unit, FIXED_NOW - timedelta(200))  # before the six months
    welded(cast, unit, datetime(2026, 1, 20, 12, tzinfo=UTC), "1.0", ("W1", "W2"))
    welded(cast, unit, datetime(2026, 2, 3, 12, tzinfo=UTC), "2.49")
    welded(cast, unit, datetime(2026, 2, 4, 12, tzinfo=UTC), "2.5")
    noted(cast, unit, datetime(2026, 2, 8, 12, tzinfo=UTC), "WP-3")
    noted(cast, unit, datetime(2026, 2, 9, 12, tzinfo=UTC), "by word of mouth")
    other = qualifications()[1]
    found = work_of([thin, thick, other], date(2025, 9, 17))
    assert found == {
        thin.id: Work(4, date(2026, 2, 4), 0, 1),
        thick.id: Work(1, date(2026, 2, 4), 3, 1),
        other.id: Work(),  # of another process
    }


def test_rests_no_confirmation_on_joints_of_another_thickness_or_of_none(
    cast: Cast, proof_of: Any, unit: Any, procedure: Any
) -> None:
    scope = Range("141", Decimal("2.5"), Decimal("6.0"))
    add_qualification(
        by=cast.welding_coordinator, welder=cast.welder, certificate="Q-20", scope=scope, issued_on=ISSUED,
        expires_on=ENDS, at=FIXED_NOW,
    )  # fmt: skip
    welded(cast, unit, FIXED_NOW - timedelta(20), "2.0", ("W1", "W2"))
    noted(cast, unit, FIXED_NOW - timedelta(10), "WP-3 rev A")
    proof = proof_of(cast.welding_coordinator, FIXED_NOW)
    with refused("continuity_without_work", "production", "people.Signature") as caught:
        confirm_qualification(proof=proof, uuid=card().uuid, at=FIXED_NOW)
    assert "No joint by process 141 from 2.5 to 6.0 mm is recorded" in caught.value.message


def test_holds_for_six_months_from_the_signed_confirmation(
    cast: Cast, proof_of: Any, unit: Any, procedure: Any, held: Any
) -> None:
    welded(cast, unit, datetime(2026, 2, 3, 12, tzinfo=UTC))
    told = confirm_qualification(proof=proof_of(cast.welding_coordinator, FIXED_NOW), uuid=held.uuid, at=FIXED_NOW)
    assert (told.due_on, told.confirmations[0].joints) == (date(2026, 9, 17), 1)
    assert told.confirmations[0].last_weld_on == date(2026, 2, 3)
    days = {date(2026, 3, 1): "lapsed", TODAY: "holds", date(2026, 9, 17): "holds", date(2026, 9, 18): "lapsed"}
    assert {day: told.standing(day) for day in days} == days  # the gap before it stays a gap
    assert is_qualified(cast.welder.pk, "141", Decimal(2), TODAY)
    (signature,) = Signature.objects.all()
    assert "has gone on welding by process 141 within Q-17. Joints recorded here: 1, the last on" in signature.meaning
    assert entries_about(f"person {cast.welder.badge}")[0].verb == "qualification.confirmed"
    assert [one.due_on for one in qualifications_due(FIXED_NOW)] == [date(2026, 9, 17)]


def test_never_holds_beyond_its_own_end(cast: Cast, proof_of: Any, unit: Any, procedure: Any) -> None:
    ends = TODAY + timedelta(20)
    add_qualification(
        by=cast.welding_coordinator, welder=cast.welder, certificate="Q-1", scope=TIG, issued_on=TODAY, expires_on=ends,
        at=FIXED_NOW,
    )  # fmt: skip
    proof = proof_of(cast.welding_coordinator, FIXED_NOW)
    told = confirm_qualification(proof=proof, uuid=card().uuid, evidence="Weld book 4, page 12", at=FIXED_NOW)
    assert (told.due_on, told.confirmations[0].holds_until) == (ends, ends)
    assert told.standing(ends + timedelta(1)) is Standing.EXPIRED


def test_refuses_to_confirm_without_work_without_right_and_after_the_end(cast: Cast, proof_of: Any, held: Any) -> None:
    coordinator = proof_of(cast.welding_coordinator, FIXED_NOW)
    with refused("continuity_without_work", "production", "people.Signature"):
        confirm_qualification(proof=coordinator, uuid=held.uuid, at=FIXED_NOW)
    with refused("not_permitted", "production", "people.Signature"):
        confirm_qualification(proof=proof_of(cast.welder, FIXED_NOW), uuid=held.uuid, evidence="x", at=FIXED_NOW)
    with refused("qualification_unknown", "production", "people.Signature"):
        confirm_qualification(proof=coordinator, uuid=uuid7(), evidence="x", at=FIXED_NOW)
    late = datetime(2027, 9, 1, 9, tzinfo=UTC)
    with refused("qualification_expired", "production", "people.Signature"):
        confirm_qualification(
            proof=proof_of(cast.welding_coordinator, late), uuid=held.uuid, evidence="Weld book 4", at=late
        )


def test_confirms_on_the_page_and_through_the_api_with_the_pin(cast: Cast, held: Any, client_of: Any) -> None:
    address = f"/welding/qualifications/{held.uuid}/"
    assert "tested anew" in client_of(cast.inspector).get(address).content.decode()
    client = client_of(cast.welding_coordinator)
    answer = client.post(address, {"act": "confirm", "evidence": "", "pin": "0000"})
    assert answer.status_code in (400, 403)
    assert card().confirmations == ()
    shown = client.get("/welding/").content.decode()
    assert "none recorded" in shown
    assert client_of(cast.inspector).post(address, {"act": "confirm"}).status_code == 403
    given = {"act": "confirm", "evidence": "Weld book 4, page 12", "pin": PIN}
    assert client.post(address, given).status_code == 302
    assert [one.evidence for one in card().confirmations] == ["Weld book 4, page 12"]
    api = client.get(f"/api/v1/welder-qualifications/{held.uuid}").json()
    assert api["work"] == {"joints": 0, "last_on": None, "outside": 0, "unsized": 0}
    body = {"evidence": "Weld book 5", "pin": PIN}
    told = client.post(f"/api/v1/welder-qualifications/{held.uuid}", body, content_type="application/json")
    assert told.status_code == 201, told.content
    assert [one["evidence"] for one in told.json()["qualification"]["confirmations"]][-1] == "Weld book 5"
