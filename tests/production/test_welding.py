"""Weld procedures, welders' qualifications, and what is checked before an arc is struck."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.utils.translation import override

from qcapp.audit.queries import entries_about
from qcapp.lib.fields import uuid7
from qcapp.lib.spoken import said
from qcapp.nonconformance.queries import report
from qcapp.nonconformance.services.welding import start_weld_or_report
from qcapp.production.queries import open_holds, welds_of
from qcapp.production.queries.welding import is_qualified, qualifications, weld_procedures, weld_starts_of
from qcapp.production.services.welding import Arc, Range, add_procedure, add_qualification, start_weld
from tests.cast import FIXED_NOW, Cast
from tests.factories.production import FamilyFactory, UnitFactory
from tests.unchanged import refused

# TIG is process 141 in ISO 4063 (from memory); the ranges are invented.
TIG = Range("141", Decimal("1.0"), Decimal("3.0"))
TODAY = FIXED_NOW.date()


@pytest.fixture
def unit(db):
    FamilyFactory(serial_pattern="FR-200-{number:4}")
    return UnitFactory(number=147)


def procedure(cast: Cast, revision: str = "A", **changes: Any) -> Any:
    told = {"number": "wp-3", "title": "Tube to tube", "scope": TIG, "base_grades": ["25CrMo4", "S235"]}
    return add_procedure(by=cast.welding_coordinator, revision=revision, at=FIXED_NOW, **told | changes)


def qualify(cast: Cast, **changes: Any) -> None:
    told = {"certificate": "Q-17", "scope": TIG, "issued_on": TODAY - timedelta(30), "expires_on": TODAY}
    who = {"by": cast.welding_coordinator, "welder": cast.welder}
    add_qualification(**who | told | changes, at=FIXED_NOW)


@pytest.fixture
def arc(cast: Cast, unit) -> Arc:
    """The welder is qualified, the procedure fits."""
    qualify(cast)
    return Arc(
        operation=uuid7(), serial=unit.serial, joints=("W7", "W8"), procedure=procedure(cast),
        thickness=Decimal("2.0"), base_grade="25CrMo4", filler_lot="F-2231", machine="TIG-2", fixture="FX-1",
    )  # fmt: skip


class TestProcedures:
    def test_counts_the_latest_revision(self, cast: Cast, db: None) -> None:
        procedure(cast)
        procedure(cast, "B", preheat=120)
        (card,) = weld_procedures()
        assert (str(card), card.preheat) == ("WP-3 rev B", 120)
        assert entries_about("procedure WP-3 B")[0].verb == "procedure.added"

    def test_refuses_a_revision_that_is_there_and_a_range_that_runs_backwards(self, cast: Cast, db: None) -> None:
        procedure(cast)
        with refused("procedure_revision_taken", "production"):
            procedure(cast)
        with refused("range_reversed", "production"):
            procedure(cast, "B", scope=Range("141", Decimal(3), Decimal(1)))
        with refused("grades_missing", "production"):
            procedure(cast, "B", base_grades=[])
        with refused("not_permitted", "production"):
            add_procedure(
                by=cast.welder, number="X", revision="A", title="t", scope=TIG, base_grades=["S"], at=FIXED_NOW
            )


class TestQualifications:
    def test_holds_on_its_first_and_last_day_and_at_the_ends_of_its_range(self, cast: Cast, db: None) -> None:
        qualify(cast, issued_on=date(2026, 3, 1), expires_on=date(2026, 3, 17))
        welder = cast.welder.pk
        days = {date(2026, 2, 28): False, date(2026, 3, 1): True, date(2026, 3, 17): True, date(2026, 3, 18): False}
        assert {day: is_qualified(welder, "141", Decimal(2), day) for day in days} == days
        sizes = {"0.99": False, "1.0": True, "3.0": True, "3.01": False}
        assert {size: is_qualified(welder, "141", Decimal(size), TODAY) for size in sizes} == sizes
        assert not is_qualified(welder, "135", Decimal(2), TODAY)
        assert not is_qualified(cast.second_welder.pk, "141", Decimal(2), TODAY)

    def test_refuses_what_cannot_be_meant(self, cast: Cast, db: None) -> None:
        with refused("expires_before_issued", "production"):
            qualify(cast, expires_on=TODAY - timedelta(31))
        with refused("issued_in_future", "production"):
            qualify(cast, issued_on=TODAY + timedelta(1), expires_on=TODAY + timedelta(2))
        with refused("not_a_welder", "production"):
            qualify(cast, welder=cast.inspector)
        with refused("own_qualification", "production"):
            qualify(cast, welder=cast.welding_coordinator)
        with refused("not_permitted", "production"):
            qualify(cast, by=cast.welder)
        assert qualifications() == []


class TestStart:
    def test_writes_down_the_joints_with_everything_that_was_said(self, cast: Cast, unit, arc: Arc) -> None:
        assert start_weld(by=cast.welder, arc=arc, unqualified="refuse", at=FIXED_NOW) == ([], True, True)
        (start,) = weld_starts_of(unit.item_id)
        assert (start.joints, start.filler_lot, start.machine, start.fixture) == (
            ["W7", "W8"], "F-2231", "TIG-2", "FX-1",
        )  # fmt: skip
        assert {(one.joint, one.welder_name, one.procedure) for one in welds_of(unit.item_id)} == {
            ("W7", cast.welder.name, "WP-3 rev A"),
            ("W8", cast.welder.name, "WP-3 rev A"),
        }

    def test_changes_nothing_when_it_is_sent_again(self, cast: Cast, unit, arc: Arc) -> None:
        sent = [start_weld(by=cast.welder, arc=arc, unqualified="refuse", at=FIXED_NOW).new for _ in range(2)]
        assert sent == [True, False]
        assert len(welds_of(unit.item_id)) == 2

    def test_counts_from_when_it_was_said_where_a_tablet_kept_it(self, cast: Cast, unit, arc: Arc) -> None:
        said_at, expired = FIXED_NOW - timedelta(hours=20), FIXED_NOW + timedelta(days=2)
        late = replace(arc, recorded_at=said_at)
        assert start_weld(by=cast.welder, arc=late, unqualified="refuse", at=expired) == ([], True, True)
        assert weld_starts_of(unit.item_id)[0].at == said_at
        assert {one.at for one in welds_of(unit.item_id)} == {said_at}
        assert entries_about(f"unit {unit.serial}")[0].at == expired

    def test_takes_no_time_that_is_still_to_come(self, cast: Cast, unit, arc: Arc) -> None:
        ahead = replace(arc, recorded_at=FIXED_NOW + timedelta(hours=3))
        start_weld(by=cast.welder, arc=ahead, unqualified="refuse", at=FIXED_NOW)
        assert weld_starts_of(unit.item_id)[0].at == FIXED_NOW

    @pytest.mark.parametrize(
        ("changes", "sentence"),
        [
            ({"thickness": Decimal("3.1")}, "WP-3 rev A is for 1.0 to 3.0 mm, not 3.1 mm."),
            ({"base_grade": "X5"}, "WP-3 rev A is for 25CrMo4, S235, not X5."),
        ],
    )
    def test_refuses_a_procedure_out_of_its_range(self, cast: Cast, arc: Arc, changes: Any, sentence: str) -> None:
        with refused("procedure_out_of_range", "production", "nonconformance") as caught:
            start_weld(by=cast.welder, arc=replace(arc, **changes), unqualified="report", at=FIXED_NOW)
        assert caught.value.message.startswith(sentence)
        for code, words in (("de", "gilt für"), ("es", "es para")):
            with override(code):
                told = said(caught.value.message)
            assert words in told
            assert not re.search(r"\b(not|is|or)\b", told), "no English within the sentence"

    @pytest.mark.parametrize("measured", [None, 119])
    def test_refuses_too_little_preheat(self, cast: Cast, arc: Arc, measured: int | None) -> None:
        arc = replace(arc, procedure=procedure(cast, "B", preheat=120), preheat=measured)
        with refused("procedure_out_of_range", "production"):
            start_weld(by=cast.welder, arc=arc, unqualified="refuse", at=FIXED_NOW)

    def test_refuses_a_replaced_revision_a_person_who_is_no_welder_and_joints_that_are_none(
        self, cast: Cast, arc: Arc
    ) -> None:
        with refused("not_a_welder", "production"):
            start_weld(by=cast.inspector, arc=arc, unqualified="refuse", at=FIXED_NOW)
        with refused("joint_unreadable", "production"):
            start_weld(by=cast.welder, arc=replace(arc, joints=("7",)), unqualified="refuse", at=FIXED_NOW)
        procedure(cast, "B")
        with refused("procedure_unknown", "production"):
            start_weld(by=cast.welder, arc=arc, unqualified="refuse", at=FIXED_NOW)

    def test_refuses_a_welder_without_the_qualification(self, cast: Cast, arc: Arc) -> None:
        with refused("welder_not_qualified", "production", "nonconformance"):
            start_weld_or_report(by=cast.second_welder, arc=arc, unqualified="refuse", at=FIXED_NOW)

    def test_records_it_with_one_report_where_the_site_says_so(self, cast: Cast, unit, arc: Arc) -> None:
        told = {"by": cast.second_welder, "arc": arc, "unqualified": "report", "at": FIXED_NOW}
        number = start_weld_or_report(**told)
        assert number
        assert start_weld_or_report(**told) is None
        assert report(number, viewer=cast.quality_manager, at=FIXED_NOW).card.title == (
            "Welded without qualification: W7, W8"
        )
        assert [hold.source for hold in open_holds(unit.item_id)] == [number]
        assert len(weld_starts_of(unit.item_id)) == 1
