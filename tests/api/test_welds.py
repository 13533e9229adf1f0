"""A weld written down through the API meets the rules of the bench: range, preheat, fixture, qualification."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.utils import timezone

from qcapp.lib.fields import uuid7
from qcapp.lib.site_days import site_day
from qcapp.nonconformance.queries import report
from qcapp.production.queries import welds_of
from qcapp.production.queries.welding import weld_starts_of
from qcapp.production.services.fixtures import add_fixture
from qcapp.production.services.welding import Range, add_procedure, add_qualification
from tests.cast import Cast
from tests.factories.inspections import Workshop
from tests.unchanged import unchanged

pytestmark = pytest.mark.django_db
TIG = Range("141", Decimal("1.0"), Decimal("3.0"))  # ISO 4063, from memory; the thicknesses are invented
ADDRESS = "units/FR-200-0147/welds"


@pytest.fixture
def workshop(cast: Cast) -> Workshop:
    now = timezone.now()
    told = {"number": "WP-4", "revision": "B", "title": "Tube to tube", "base_grades": ["25CrMo4"], "preheat": 80}
    add_procedure(by=cast.welding_coordinator, scope=TIG, at=now, **told)
    today = site_day(now)
    days = {"issued_on": today - timedelta(30), "expires_on": today + timedelta(365)}
    add_qualification(by=cast.welding_coordinator, welder=cast.welder, certificate="Q-1", scope=TIG, at=now, **days)
    return Workshop.opened(cast, now)


def said(cast: Cast, **changes: Any) -> dict[str, Any]:
    told = {"welder": cast.welder.badge, "joints": ["W7"], "procedure": "wp-4", "thickness": "2.0", "preheat": 90}
    return told | {"base_grade": "25CrMo4", "filler_lot": "F-1", "machine": "TIG-2"} | changes


def test_records_what_was_said_as_the_bench_does(workshop: Workshop, api_of: Any) -> None:
    cast = workshop.cast
    told = api_of(cast.inspector).post(ADDRESS, said(cast, procedure="WP-4 rev B"))
    assert told["report"] is None
    assert told["welds"][0]["procedure"] == "WP-4 rev B"
    (start,) = weld_starts_of(workshop.item_id)
    assert (start.welder, start.filler_lot, start.thickness) == (cast.welder, "F-1", Decimal("2.0"))


def test_changes_nothing_when_it_is_sent_again(workshop: Workshop, api_of: Any) -> None:
    caller, body = api_of(workshop.cast.welder), said(workshop.cast, operation=str(uuid7()))
    for _ in range(2):
        caller.post(ADDRESS, body)
        assert caller.status == 201
    assert len(weld_starts_of(workshop.item_id)) == 1


@pytest.mark.parametrize(
    ("changes", "status", "code", "sentence"),
    [
        ({"thickness": "3.1"}, 409, "procedure_out_of_range", "1.0 to 3.0 mm, not 3.1 mm"),
        ({"base_grade": "S355"}, 409, "procedure_out_of_range", "25CrMo4, not S355"),
        ({"preheat": None}, 409, "procedure_out_of_range", "80 °C of preheat at least, and none was measured"),
        ({"procedure": "by word of mouth"}, 404, "procedure_unknown", "“by word of mouth”"),
        ({"fixture": "FX-9"}, 409, "fixture_not_verified", "never verified"),
        ({"thickness": None, "base_grade": ""}, 409, "weld_not_checked", "of the thinner part, the base"),
        ({"procedure": "", "machine": ""}, 409, "weld_not_checked", "say the procedure, the machine as well"),
    ],
)  # fmt: skip
def test_refuses_what_the_bench_refuses(
    workshop: Workshop, api_of: Any, changes: Any, status: int, code: str, sentence: str
) -> None:
    cast = workshop.cast
    add_fixture(by=cast.metrology, number="FX-9", name="frame fixture", at=timezone.now())
    caller = api_of(cast.inspector)
    with unchanged("production", "nonconformance"):
        told = caller.post(ADDRESS, said(cast, **changes))
    assert (caller.status, told["code"]) == (status, code)
    assert sentence in told["message"]


def test_refuses_a_welder_without_the_qualification_whoever_writes_it_down(workshop: Workshop, api_of: Any) -> None:
    cast = workshop.cast
    caller = api_of(cast.welder)
    with unchanged("production", "nonconformance"):
        told = caller.post(ADDRESS, said(cast, welder=cast.second_welder.badge))
    assert told["code"] == "welder_not_qualified"
    assert cast.second_welder.name in told["message"]


def test_records_it_with_a_report_where_the_site_says_so(workshop: Workshop, api_of: Any, settings: Any) -> None:
    settings.QCAPP_UNQUALIFIED_WELDS = "report"
    cast = workshop.cast
    told = api_of(cast.inspector).post(ADDRESS, said(cast, welder=cast.second_welder.badge))
    assert "holds no qualification for process 141" in report(told["report"]).description
    assert welds_of(workshop.item_id)[0].welder_name == cast.second_welder.name
