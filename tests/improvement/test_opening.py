"""Similar reports: found, offered as one corrective action, and proposed by the threshold."""

from __future__ import annotations

from datetime import timedelta

import pytest

from qcapp.improvement.models import CorrectiveAction, ReportPlace
from qcapp.improvement.queries.actions import action, action_counts, actions, actions_of_report
from qcapp.improvement.queries.similar import clusters
from qcapp.improvement.services.opening import add_reports, propose_by_threshold
from qcapp.messages.queries import inbox
from qcapp.nonconformance.models import Report

from ..cast import FIXED_NOW
from ..factories.improvement import LATER, Led, frame, set_up
from ..factories.inspections import Workshop
from ..factories.nonconformance import Case
from ..unchanged import refused

pytestmark = pytest.mark.django_db


def named() -> dict[tuple[str, str], list[str]]:
    return {(one.basis, one.label): [line.number for line in one.reports] for one in clusters(at=LATER)}


def test_gives_every_report_its_place(workshop: Workshop) -> None:
    case = Case.out_of_band(workshop)
    workshop.answer_stage(2)
    by_hand = Case.by_hand(workshop)
    places = {one.report.number: one for one in ReportPlace.objects.select_related("report")}
    head = workshop.card("head_angle").characteristic_id
    assert (places[case.number].characteristic_id, places[case.number].family.code) == (head, "FR-200")
    assert places[by_hand.number].characteristic_id is None
    assert places[case.number].raised_at == Report.objects.get(number=case.number).raised_at


def test_finds_reports_that_are_alike(thrice: Workshop) -> None:
    assert named() == {
        ("checkpoint", "101 Head angle"): ["NCR-2026-0001", "NCR-2026-0002", "NCR-2026-0003"],
    }
    (one,) = clusters(at=LATER)
    assert one.over_threshold
    assert one.words == "3 reports at the same checkpoint: 101 Head angle (FR-200)"


def test_finds_joints_and_causes_as_well(workshop: Workshop) -> None:
    first = Case.out_of_band(workshop, "pores", {"count": 9})
    other = Case.out_of_band(workshop.another_unit("FR-200-0148"), "pores", {"count": 7})
    for case in (first, other):
        case.decide("rework", cause="method")
    assert set(named()) == {("checkpoint", "203 Pores in W7"), ("joint", "W7"), ("cause", "method")}


def test_looks_no_further_back_than_the_window(thrice: Workshop) -> None:
    set_up(thrice.cast, similar_days=2)
    assert named() == {}
    assert not propose_by_threshold(at=LATER)


def test_leaves_out_what_was_raised_in_error(thrice: Workshop) -> None:
    unit = frame(thrice, 50, "62.41", FIXED_NOW)
    wrong = Report.objects.get(item=unit.item_id).number
    case = Case(unit, wrong)
    case.correct_the_entry().withdraw()
    assert wrong not in named()["checkpoint", "101 Head angle"]


def test_proposes_by_itself_once_and_tells_the_quality_manager(thrice: Workshop) -> None:
    (number,) = propose_by_threshold(at=LATER)
    assert propose_by_threshold(at=LATER) == []
    view = action(number)
    assert (number, view.card.state, view.card.opened_by_name) == ("CA-2026-0001", "proposed", "by the threshold")
    assert [one.number for one in view.reports] == ["NCR-2026-0001", "NCR-2026-0002", "NCR-2026-0003"]
    assert inbox(thrice.cast.quality_manager).messages[0].subject == "CA-2026-0001 is proposed"
    assert named() == {}


def test_proposes_again_only_for_reports_that_come_later(thrice: Workshop) -> None:
    (number,) = propose_by_threshold(at=LATER)
    Led(thrice.cast, number).drop()
    assert propose_by_threshold(at=LATER) == []
    for place in range(3):
        frame(thrice, 60 + place, "62.50", LATER)
    assert propose_by_threshold(at=LATER + timedelta(minutes=1)) == ["CA-2026-0002"]


def test_does_not_propose_below_the_threshold(thrice: Workshop) -> None:
    set_up(thrice.cast, similar_count=4)
    assert propose_by_threshold(at=LATER) == []


def test_opens_one_action_for_all_of_them(led: Led) -> None:
    view = led.view
    assert (view.card.state, view.card.owner_name, view.card.reports) == ("open", "Isolde Brandt", 3)
    assert [one.number for one in actions()] == [led.number]
    assert action_counts()["open"] == 1
    report = Report.objects.get(number="NCR-2026-0002")
    assert [one.number for one in actions_of_report(report.pk)] == [led.number]


def test_refuses_a_second_action_while_one_runs(led: Led, thrice: Workshop) -> None:
    frame(thrice, 70, "62.50", LATER)
    with refused("action_running", "improvement"):
        Led.opened(thrice)


def test_adds_reports_that_come_later(led: Led, thrice: Workshop) -> None:
    unit = frame(thrice, 70, "62.50", LATER)
    number = Report.objects.get(item=unit.item_id).number
    add_reports(by=led.cast.engineer, number=led.number, reports=[number], at=LATER)
    assert led.view.reports[-1].number == number
    with refused("report_in_action", "improvement"):
        add_reports(by=led.cast.engineer, number=led.number, reports=[number], at=LATER)
    with refused("reports_missing", "improvement"):
        add_reports(by=led.cast.engineer, number=led.number, reports=[], at=LATER)
    with refused("report_unknown", "improvement"):
        add_reports(by=led.cast.engineer, number=led.number, reports=["NCR-1999-1"], at=LATER)
    led.drop()
    with refused("action_ended", "improvement"):
        add_reports(by=led.cast.engineer, number=led.number, reports=[number], at=LATER)


def test_refuses_who_may_not_and_what_is_not_there(thrice: Workshop) -> None:
    from qcapp.improvement.services.opening import open_action

    told = {"title": "x", "problem": "y", "family_code": "FR-200", "at": LATER}
    with refused("not_permitted", "improvement"):
        open_action(by=thrice.cast.welder, basis="joint", value="W7", **told)  # type: ignore[arg-type]
    with refused("nothing_similar", "improvement"):
        open_action(by=thrice.cast.engineer, basis="joint", value="W99", **told)  # type: ignore[arg-type]
    with refused("basis_unknown", "improvement"):
        open_action(by=thrice.cast.engineer, basis="weather", value="rain", **told)  # type: ignore[arg-type]
    with refused("action_unknown", "improvement"):
        action("CA-1999-0001")
    assert not CorrectiveAction.objects.exists()
