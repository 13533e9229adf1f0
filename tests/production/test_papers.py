"""Fixtures are verified like gauges; inspectors are authorised by method and see well enough on the day."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from types import SimpleNamespace
from typing import Any

import pytest
from icalendar import Calendar

from qcapp.gauges.due import calendar_of
from qcapp.inspections.services import sign_stage
from qcapp.inspections.services.rules import reads
from qcapp.lib.falling_due import falling_due
from qcapp.lib.fields import uuid7
from qcapp.nonconformance.services.welding import start_weld_or_report
from qcapp.people.services import demonstration_proof, mark_left
from qcapp.production.models import WeldStart
from qcapp.production.queries import unit_by_serial
from qcapp.production.queries.authorising import lacking, method_of
from qcapp.production.queries.fixtures import fixture_by_number, fixture_finding, fixtures
from qcapp.production.queries.welding import weld_procedure
from qcapp.production.services.authorising import authorise_inspector, record_eyesight
from qcapp.production.services.fixtures import add_fixture, verify_fixture
from qcapp.production.services.welding import add_procedure
from tests.cast import FIXED_NOW, Cast
from tests.factories.inspections import PLAN, SERIAL, Workshop
from tests.production.test_welding import TIG, arc, unit  # noqa: F401 - fixtures
from tests.unchanged import refused

TODAY = FIXED_NOW.date()
OLD = TODAY - timedelta(days=500)
HEAD, *ROWS = PLAN.splitlines()
# The left length is measured in the fixture; the tacks are looked at with penetrant.
PENETRANT = "\n".join([f"{HEAD},method", *(f"{row},{'penetrant' if ',105,' in row else ''}" for row in ROWS), ""])
IN_FIXTURE = "\n".join([f"{HEAD},setup", *(f"{row},{'in_fixture' if ',102,' in row else ''}" for row in ROWS), ""])


def fixture_of(cast: Cast, done_on: date | None = TODAY, *, passed: bool = True) -> None:
    add_fixture(by=cast.metrology, number="fx-1", name="frame fixture 1", at=FIXED_NOW)
    if done_on:
        verify_fixture(by=cast.metrology, number="FX-1", done_on=done_on, passed=passed, done_by="Room 2", at=FIXED_NOW)


def authorise(cast: Cast, who: Any = None, **changes: Any) -> None:
    told = {"method": "visual", "certificate": "VT-2", "issued_on": OLD, "expires_on": TODAY}
    inspector = who or cast.inspector
    authorise_inspector(by=cast.welding_coordinator, inspector=inspector, at=FIXED_NOW, **(told | changes))


def see(cast: Cast, who: Any = None, done_on: date = TODAY, *, passed: bool = True) -> None:
    record_eyesight(
        by=cast.welding_coordinator, inspector=who or cast.inspector, done_on=done_on, passed=passed, at=FIXED_NOW
    )


class TestFixtures:
    @pytest.mark.parametrize(
        ("done_on", "passed", "words"),
        [(TODAY, True, ""), (TODAY, False, "failed"), (OLD, True, "was due"), (None, True, "never verified")],
    )
    def test_may_be_used_after_a_verification_that_has_not_run_out(
        self, cast: Cast, done_on: date | None, passed: bool, words: str
    ) -> None:
        fixture_of(cast, done_on, passed=passed)
        finding = fixture_finding("fx-1", TODAY)
        assert words in finding
        assert bool(finding) == bool(words)
        assert fixture_finding("not-registered", TODAY) == ""

    def test_falls_due_in_the_same_list_and_calendar_as_gauges(self, cast: Cast) -> None:
        fixture_of(cast)
        (due,) = falling_due(FIXED_NOW)
        assert (due.number, due.due_on) == ("FX-1", date(2027, 3, 17))
        calendar = Calendar.from_ical(calendar_of([], FIXED_NOW, [due]))
        assert [str(one["summary"]) for one in calendar.walk("VEVENT")] == ["Verify fixture FX-1, frame fixture 1"]

    def test_is_judged_by_the_day_and_keeps_every_verification(self, cast: Cast) -> None:
        fixture_of(cast, OLD)
        verify_fixture(by=cast.metrology, number="FX-1", done_on=TODAY, passed=True, done_by="R", at=FIXED_NOW)
        assert fixture_finding("FX-1", OLD + timedelta(days=1)) == ""
        assert "was due" in fixture_finding("FX-1", TODAY - timedelta(days=1))
        assert len(fixture_by_number("FX-1", FIXED_NOW).verifications) == 2
        assert [one.usable for one in fixtures(FIXED_NOW)] == [True]

    def test_refuses_what_cannot_be_meant_so(self, cast: Cast) -> None:
        fixture_of(cast)
        for told, code in (
            ({"number": "FX-1", "name": "again"}, "fixture_taken"),
            ({"number": "FX 2", "name": "two"}, "fixture_number"),
            ({"number": "FX-2", "name": ""}, "text_missing"),
            ({"number": "FX-2", "name": "two", "interval_months": 0}, "fixture_interval"),
        ):
            with refused(code, "production"):
                add_fixture(by=cast.metrology, at=FIXED_NOW, **told)  # type: ignore[arg-type]  # as told
        tomorrow = TODAY + timedelta(days=1)
        for told, code in (
            ({"number": "FX-9", "done_on": TODAY}, "fixture_unknown"),
            ({"number": "FX-1", "done_on": tomorrow}, "verification_in_future"),
            ({"number": "FX-1", "done_on": TODAY, "due_on": TODAY}, "verification_due_date"),
        ):
            with refused(code, "production"):
                verify_fixture(by=cast.metrology, passed=True, done_by="R", at=FIXED_NOW, **told)  # type: ignore[arg-type]
        with refused("not_permitted", "production"):
            add_fixture(by=cast.inspector, number="FX-2", name="two", at=FIXED_NOW)

    @pytest.mark.parametrize(
        ("done_on", "passed", "words"), [(OLD, True, "was due on"), (TODAY, False, "failed"), (None, True, "never")]
    )
    def test_is_refused_at_the_weld_with_the_next_one_offered(
        self,
        cast: Cast,
        arc: Any,  # noqa: F811
        done_on: date | None,
        passed: bool,
        words: str,
    ) -> None:
        fixture_of(cast, done_on, passed=passed)
        add_fixture(by=cast.metrology, number="FX-2", name="frame fixture 2", at=FIXED_NOW)
        told = {"by": cast.welder, "arc": arc, "unqualified": "report", "at": FIXED_NOW}
        with refused("fixture_not_verified", "production", "nonconformance") as caught:
            start_weld_or_report(**told)
        assert words in caught.value.message
        assert "None that may be used is left" in caught.value.message
        verify_fixture(by=cast.metrology, number="FX-2", done_on=TODAY, passed=True, done_by="R", at=FIXED_NOW)
        with refused("fixture_not_verified", "production", "nonconformance") as caught:
            start_weld_or_report(**told)
        assert caught.value.message.endswith("Take FX-2 frame fixture 2.")
        assert start_weld_or_report(**told | {"arc": replace(arc, fixture="fx-2")}) is None
        assert WeldStart.objects.get().fixture == "fx-2"

    def test_is_one_that_the_site_keeps_and_words_alone_where_it_keeps_none(
        self,
        cast: Cast,
        arc: Any,  # noqa: F811
    ) -> None:
        told = {"by": cast.welder, "unqualified": "refuse", "at": FIXED_NOW}
        assert start_weld_or_report(arc=replace(arc, fixture="the blue one"), **told) is None
        fixture_of(cast)
        with refused("fixture_unknown", "production"):
            start_weld_or_report(arc=replace(arc, operation=uuid7(), fixture="the blue one"), **told)
        assert start_weld_or_report(arc=replace(arc, operation=uuid7(), fixture=""), **told) is None


class TestInspectors:
    @pytest.mark.parametrize(
        ("method", "joint", "expected"),
        [
            ("visual, lens 5 x, ISO 5817 level B", "W7", "visual"),
            ("visual against the surface sample", "", ""),
            ("Penetrant 20 min, developer 15 min", "", "penetrant"),
            ("leak test, soap", "", "leak"),
            ("", "W7", ""),
        ],
    )
    def test_reads_the_method_from_the_checkpoint(self, method: str, joint: str, expected: str) -> None:
        assert method_of(method, joint) == expected

    def test_asks_nothing_before_the_first_authorisation(self, cast: Cast) -> None:
        assert lacking(cast.inspector.pk, "visual", TODAY) == ""

    def test_holds_to_its_last_day_with_eyes_checked_within_the_year(self, cast: Cast) -> None:
        authorise(cast)
        assert "No eyesight check" in lacking(cast.inspector.pk, "visual", TODAY)
        see(cast, done_on=date(2025, 3, 17))
        assert lacking(cast.inspector.pk, "visual", TODAY) == ""
        assert "ran out on 17 Mar 2026" in lacking(cast.inspector.pk, "visual", TODAY + timedelta(days=1))
        assert "No authorisation" in lacking(cast.second_inspector.pk, "visual", TODAY)
        assert lacking(cast.second_inspector.pk, "penetrant", TODAY) == ""

    def test_does_not_hold_with_eyes_that_did_not_pass_or_ran_out(self, cast: Cast) -> None:
        authorise(cast)
        see(cast, done_on=date(2025, 3, 16))
        assert "eyesight check ran out" in lacking(cast.inspector.pk, "visual", TODAY)
        see(cast, passed=False)
        assert "did not pass" in lacking(cast.inspector.pk, "visual", TODAY)

    def test_refuses_what_cannot_be_meant_so(self, cast: Cast) -> None:
        assert cast.inspector
        for changes, code in (
            ({"method": "x-ray"}, "method_unknown"),
            ({"issued_on": TODAY + timedelta(days=1)}, "issued_in_future"),
            ({"expires_on": OLD - timedelta(days=1)}, "expires_before_issued"),
            ({"certificate": ""}, "text_missing"),
            ({"who": cast.welding_coordinator}, "own_authorisation"),
        ):
            with refused(code, "production"):
                authorise(cast, **changes)
        with refused("issued_in_future", "production"):
            see(cast, done_on=TODAY + timedelta(days=1))
        with refused("not_permitted", "production"):
            record_eyesight(by=cast.inspector, inspector=cast.welder, done_on=TODAY, passed=True, at=FIXED_NOW)

    def test_stops_an_expired_inspector_from_signing_that_method(self, cast: Cast) -> None:
        workshop = Workshop.opened(cast, plan=PENETRANT)
        workshop.answer_stage(1)
        authorise(cast, method="penetrant", expires_on=TODAY - timedelta(days=1))
        see(cast)
        proof = demonstration_proof(cast.inspector, FIXED_NOW)
        with refused("not_authorised", "inspections", "people.Signature") as caught:
            sign_stage(proof=proof, serial=SERIAL, stage_number=1, at=FIXED_NOW)
        assert "ran out on 16 Mar 2026" in caught.value.message
        authorise(cast, method="penetrant")
        sign_stage(proof=proof, serial=SERIAL, stage_number=1, at=FIXED_NOW)

    def test_falls_due_with_the_gauges_once_for_each_method_and_with_the_eyes(self, cast: Cast) -> None:
        for days in (5, 100):  # the one that holds longest counts
            authorise(cast, expires_on=TODAY + timedelta(days=days))
        authorise(cast, method="leak", expires_on=TODAY - timedelta(days=1))
        authorise(cast, cast.second_inspector, expires_on=TODAY)
        see(cast, done_on=date(2025, 3, 17))
        found = [(one.name, one.what, one.days) for one in falling_due(FIXED_NOW)]
        own, other = cast.inspector.name, cast.second_inspector.name
        assert found[:1] == [(other, "", None)]
        assert set(found[1:]) == {
            (own, "leak test", -1), (own, "", 0), (other, "visual weld inspection", 0),
            (own, "visual weld inspection", 100),
        }  # fmt: skip
        mark_left(by=cast.keeper, person=cast.second_inspector, at=FIXED_NOW)
        assert {one.name for one in falling_due(FIXED_NOW)} == {own}

    def test_flags_a_verdict_of_somebody_who_is_not_authorised(self, cast: Cast) -> None:
        workshop = Workshop.opened(cast, plan=PENETRANT)
        authorise(cast, cast.second_inspector, method="penetrant")
        assert "not_authorised" in workshop.send_one("tack_look").flags
        assert "not_authorised" not in workshop.send_one("head_angle").flags


def test_flags_what_is_measured_in_a_fixture_that_is_not_verified(cast: Cast) -> None:
    """The unit was welded in FX-1, whose verification ran out; the head angle is measured in the fixture."""
    fixture_of(cast, OLD)
    workshop = Workshop.opened(cast, plan=IN_FIXTURE)
    assert "fixture_not_verified" not in workshop.send_one("head_angle").flags
    item = unit_by_serial(SERIAL).item_id
    procedure = weld_procedure(
        add_procedure(
            by=cast.welding_coordinator, number="WP-3", revision="A", title="t", scope=TIG, base_grades=["S235"],
            at=FIXED_NOW,
        )
    )  # fmt: skip
    WeldStart.objects.create(
        operation=uuid7(), item_id=item, joints=["W7"], welder=cast.welder, procedure_id=procedure.id,
        thickness=TIG.thickness_from, base_grade="S235", filler_lot="F", machine="M", fixture="fx-1", at=FIXED_NOW,
    )  # fmt: skip
    said = workshop.send_one("left_length")
    assert "fixture_not_verified" in said.flags


@pytest.mark.parametrize(("value", "flagged"), [("149.9", False), ("150", False), ("150.1", True)])
def test_flags_a_value_outside_the_range_of_its_gauge(value: str, flagged: bool) -> None:
    """A caliper of 0 to 15 cm, written in another unit than the checkpoint's."""
    gauge = SimpleNamespace(range_lower=Decimal(0), range_upper=Decimal(15), unit_of_measure="cm")
    assert reads(gauge, {"value": value}, "mm") is not flagged  # type: ignore[arg-type]  # as far as it is read
    assert reads(gauge, {"values": ["10", value]}, "mm") is not flagged  # type: ignore[arg-type]
    assert reads(gauge, {"conforms": True}, "")  # type: ignore[arg-type]


def test_asks_only_the_far_end_of_a_gap_or_a_difference() -> None:
    leaf = SimpleNamespace(range_lower=Decimal("0.05"), range_upper=Decimal(1), unit_of_measure="mm")
    assert reads(leaf, {"value": "0.02"}, "mm", to_zero=True)  # type: ignore[arg-type]  # as far as it is read
    assert reads(leaf, {"value": "-0.3"}, "mm", to_zero=True)  # type: ignore[arg-type]
    assert not reads(leaf, {"value": "-1.3"}, "mm", to_zero=True)  # type: ignore[arg-type]
    assert not reads(leaf, {"value": "0.02"}, "mm")  # type: ignore[arg-type]


def test_keeps_fixtures_and_inspectors_on_their_pages(cast: Cast, client_of: Any) -> None:
    client = client_of(cast.metrology)
    told = {"act": "fixture", "number": "tf-03", "name": "tack fixture", "interval_months": "6"}
    assert client.post("/welding/fixtures/", told).headers["Location"] == "/welding/fixtures/TF-03/"
    told = {"act": "verify", "done_on": "2026-03-01", "passed": "yes", "done_by": "Room 2"}
    assert client.post("/welding/fixtures/TF-03/", told).status_code == 302
    assert "1 Sep 2026" in client.get("/welding/fixtures/TF-03/").text
    assert "TF-03" in client.get("/gauges/due/").text
    assert client.post("/welding/fixtures/", told | {"act": "fixture"}).status_code == 400
    coordinator = client_of(cast.welding_coordinator)
    told = {"act": "authorise", "badge": cast.inspector.badge, "method": "visual", "certificate": "VT-2"}
    dates = {"issued_on": "2026-01-01", "expires_on": "2029-01-01"}
    assert coordinator.post("/welding/inspectors/", told | dates).status_code == 302
    told = {"act": "eyes", "badge": cast.inspector.badge, "done_on": "2026-02-01", "passed": "yes"}
    assert coordinator.post("/welding/inspectors/", told).status_code == 302
    page = client.get("/welding/inspectors/").text
    assert cast.inspector.name in page
    assert "1 Feb 2027" in page
