"""What a welder's tablet takes along says of each day what the server would say, whatever was confirmed."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any

import pytest

from qcapp.api.v1.weld_sheets import sheet_of
from qcapp.production.queries.welding import is_qualified, qualifications
from qcapp.production.services.continuity import confirm_qualification
from qcapp.production.services.fixtures import add_fixture
from qcapp.production.services.welding import Range, add_procedure, add_qualification
from tests.cast import FIXED_NOW, Cast

pytestmark = pytest.mark.django_db
TIG = Range("141", Decimal("1.0"), Decimal("3.0"))
ISSUED, ENDS = date(2025, 8, 31), date(2027, 8, 30)


@pytest.fixture
def held(cast: Cast) -> None:
    add_qualification(
        by=cast.welding_coordinator, welder=cast.welder, certificate="Q-17", scope=TIG, issued_on=ISSUED,
        expires_on=ENDS, at=FIXED_NOW,
    )  # fmt: skip


def may_weld(sheet: dict[str, Any], day: date) -> bool:
    """As the tablet reads it (static/capture/weld.js, `checked`)."""
    return any(one["issued_on"] <= day.isoformat() <= one["holds_until"] for one in sheet["qualifications"])


def test_lets_nobody_weld_whom_the_server_would_refuse(cast: Cast, proof_of: Any, held: None) -> None:
    today = FIXED_NOW.date()
    sheet = sheet_of(cast.welder, FIXED_NOW)
    days = [ISSUED - timedelta(1), ISSUED, date(2026, 2, 28), date(2026, 3, 1), today, ENDS, ENDS + timedelta(1)]
    said = [may_weld(sheet, day) for day in days]
    assert said == [is_qualified(cast.welder.pk, "141", Decimal(2), day) for day in days]
    assert said == [False, True, True, False, False, False, False]
    (card,) = qualifications(cast.welder.pk)
    confirm_qualification(
        proof=proof_of(cast.welding_coordinator, FIXED_NOW), uuid=card.uuid, evidence="Weld book 4", at=FIXED_NOW
    )
    sheet = sheet_of(cast.welder, FIXED_NOW)
    for day in (today, date(2026, 9, 17), date(2026, 9, 18), ENDS):
        assert may_weld(sheet, day) == is_qualified(cast.welder.pk, "141", Decimal(2), day), day


def test_names_procedures_and_why_a_fixture_may_not_be_used_to_welders_alone(cast: Cast, held: None) -> None:
    known = {"title": "Tube to tube", "scope": TIG, "base_grades": ["S235"], "at": FIXED_NOW}
    add_procedure(by=cast.welding_coordinator, number="WP-3", revision="A", **known)
    add_fixture(by=cast.quality_manager, number="FX-9", name="Frame fixture", at=FIXED_NOW)
    later = datetime.combine(FIXED_NOW.date(), time(12), FIXED_NOW.tzinfo) + timedelta(1)
    sheet = sheet_of(cast.welder, later)
    assert [(one["name"], one["thickness_to"]) for one in sheet["procedures"]] == [("WP-3 rev A", "3.0")]
    assert [(one["number"], bool(one["sentence"])) for one in sheet["fixtures"]] == [("FX-9", True)]
    nobody = sheet_of(cast.inspector, later)
    assert (nobody["welder"], nobody["procedures"], nobody["qualifications"], nobody["fixtures"]) == (False, [], [], [])
