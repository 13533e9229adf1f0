"""The welder's page: what it asks, what it refuses, and that nobody else's unit changes."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.utils import timezone

from qcapp.lib.fields import uuid7
from qcapp.production.queries import welds_of
from qcapp.production.queries.welding import weld_procedures
from qcapp.production.services.fixtures import add_fixture, verify_fixture
from qcapp.production.services.welding import Range, add_procedure, add_qualification
from tests.cast import Cast
from tests.factories.inspections import Workshop

pytestmark = pytest.mark.django_db
TIG = Range("141", Decimal("1.0"), Decimal("3.0"))


@pytest.fixture
def workshop(cast: Cast) -> Workshop:
    """A unit whose plan names the joint W7, a procedure, and a welder who is qualified for it."""
    now = timezone.now()
    told = {"number": "WP-3", "revision": "A", "title": "Tube to tube", "base_grades": ["25CrMo4"]}
    add_procedure(by=cast.welding_coordinator, scope=TIG, at=now, **told)
    days = {"issued_on": now.date() - timedelta(30), "expires_on": now.date() + timedelta(365)}
    add_qualification(by=cast.welding_coordinator, welder=cast.welder, certificate="Q-1", scope=TIG, at=now, **days)
    return Workshop.opened(cast, now)


def said(**changes: Any) -> dict[str, Any]:
    (procedure,) = weld_procedures()
    told = {"operation": str(uuid7()), "joints": ["W7"], "procedure": str(procedure.uuid), "base_grade": "25CrMo4"}
    return told | {"thickness": "2,0", "filler_lot": "F-1", "machine": "TIG-2", "fixture": "", "preheat": ""} | changes


ADDRESS = "/units/FR-200-0147/weld/"


def test_offers_the_joints_of_the_plan_and_the_procedures_in_force(workshop: Workshop, client_of: Any) -> None:
    page = client_of(workshop.cast.welder).get(ADDRESS).content.decode()
    assert 'value="W7"' in page
    assert "WP-3 rev A" in page
    assert "hot work" in page


def test_writes_down_what_was_said_once_however_often_it_is_sent(workshop: Workshop, client_of: Any) -> None:
    client, told = client_of(workshop.cast.welder), said()
    for _ in range(2):
        assert client.post(ADDRESS, told).status_code == 302
    assert [one.procedure for one in welds_of(workshop.item_id)] == ["WP-3 rev A", "WP-3"]


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"thickness": "9"}, "not 9 mm"),
        ({"joints": []}, "Joints: This field is required."),
        ({"thickness": "thick"}, "Enter a number."),
    ],
)
def test_says_what_does_not_fit_and_keeps_what_was_typed(
    workshop: Workshop, client_of: Any, changes: Any, sentence: str
) -> None:
    answer = client_of(workshop.cast.welder).post(ADDRESS, said(**changes))
    assert answer.status_code in (400, 409)
    assert sentence in answer.content.decode()
    assert 'value="TIG-2"' in answer.content.decode()
    assert len(welds_of(workshop.item_id)) == 1


def test_refuses_a_welder_without_the_qualification(workshop: Workshop, client_of: Any) -> None:
    answer = client_of(workshop.cast.second_welder).post(ADDRESS, said())
    assert "holds no qualification for process 141 at 2.0 mm today." in answer.content.decode()
    assert len(welds_of(workshop.item_id)) == 1


def test_records_it_with_a_report_where_the_site_says_so(workshop: Workshop, client_of: Any, settings: Any) -> None:
    settings.QCAPP_UNQUALIFIED_WELDS = "report"
    answer = client_of(workshop.cast.second_welder).post(ADDRESS, said(), follow=True)
    assert "is open and the unit is on hold" in answer.content.decode()
    assert len(welds_of(workshop.item_id)) == 2


def test_never_lets_a_welder_accept_the_own_weld(workshop: Workshop, client_of: Any) -> None:
    client_of(workshop.cast.second_inspector)
    verdict = workshop.send(workshop.operation("pores", person=workshop.cast.welder), by=workshop.cast.welder)[0]
    assert (verdict.outcome, verdict.code) == ("rejected", "own_weld")


def test_keeps_procedures_and_qualifications_on_the_coordinators_pages(workshop: Workshop, client_of: Any) -> None:
    client = client_of(workshop.cast.welding_coordinator)
    page = client.get("/welding/").content.decode()
    assert "WP-3 rev A" in page
    assert workshop.cast.welder.name in page
    told = {"number": "WP-4", "revision": "A", "title": "Tank", "process": "141", "thickness_from": "1"}
    told |= {"thickness_to": "2", "base_grades": "S235, S355"}
    assert client.post("/welding/procedures/", told).status_code == 302
    assert [str(one) for one in weld_procedures()] == ["WP-3 rev A", "WP-4 rev A"]
    again = client.post("/welding/procedures/", told)
    assert again.status_code == 409
    assert "a change is the next revision" in again.content.decode()
    qualified = {"welder": workshop.cast.second_welder.badge, "certificate": "Q-2", "process": "141"}
    qualified |= {"thickness_from": "1", "thickness_to": "2", "issued_on": "2026-01-01", "expires_on": "2028-01-01"}
    assert client.post("/welding/qualifications/", qualified).status_code == 302
    assert client_of(workshop.cast.welder).get("/welding/procedures/").status_code == 403


def test_offers_the_fixtures_that_may_be_used_and_names_the_others(workshop: Workshop, client_of: Any) -> None:
    cast, now = workshop.cast, timezone.now()
    for number, ago in (("TF-01", 30), ("TF-02", 400)):
        add_fixture(by=cast.metrology, number=number, name="tack fixture", at=now)
        done_on = now.date() - timedelta(ago)
        verify_fixture(by=cast.metrology, number=number, done_on=done_on, passed=True, done_by="Room 2", at=now)
    client = client_of(cast.welder)
    page = client.get(ADDRESS).content.decode()
    assert '<option value="TF-01">TF-01 tack fixture</option>' in page
    assert '<option value="TF-02" disabled>TF-02 tack fixture: may not be used</option>' in page
    answer = client.post(ADDRESS, said(fixture="TF-02"))
    assert answer.status_code == 409
    assert "Take TF-01 tack fixture." in answer.content.decode()
    assert client.post(ADDRESS, said(fixture="TF-01")).status_code == 302
