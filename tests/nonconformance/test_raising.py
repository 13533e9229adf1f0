"""A value out of band raises its report, its number and its hold in the result's own transaction."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Any

import pytest

from qcapp.audit.models import Counter, Entry
from qcapp.audit.queries import entries_about
from qcapp.inspections.models import Result
from qcapp.inspections.queries import counting_answer
from qcapp.inspections.services import recording
from qcapp.nonconformance.models import Report
from qcapp.nonconformance.queries import moves_of, reports_of
from qcapp.nonconformance.services import raising
from qcapp.nonconformance.services.by_hand import raise_by_hand
from qcapp.people.roles import Role
from qcapp.production.queries import open_holds

from ..cast import FIXED_NOW, Cast
from ..factories.inspections import Workshop
from ..factories.nonconformance import Case
from ..unchanged import refused, rows_of

pytestmark = pytest.mark.django_db
ROOMS = ("nonconformance", "inspections", "production")


def test_raises_a_report_with_what_was_found(case: Case) -> None:
    view = case.view
    assert case.number == "NCR-2026-0001"
    assert view.card.title == "101 Head angle: 62.40 ° (61.85 to 62.15 °)"
    assert (view.card.state, view.card.severity) == ("open", "critical")
    assert view.card.raised_by_name == "Ottoline Marsh"
    found = {name: view.facts[name] for name in ("answer", "limits", "excess", "outcome", "nearest_limit", "gauge")}
    assert found == {
        "answer": "62.40 °",
        "limits": "61.85 to 62.15 °",
        "excess": "0.25",
        "outcome": "out_of_band",
        "nearest_limit": "upper",
        "gauge": "AG-01",
    }
    assert view.facts["badge"] == "1001"


def test_holds_the_unit_for_the_stages_that_follow(workshop: Workshop) -> None:
    case = Case.out_of_band(workshop)
    (hold,) = open_holds(workshop.item_id)
    assert (hold.source, hold.from_stage) == (case.number, 1)
    assert hold.reason == "Found at 101 Head angle."


def test_writes_the_report_into_the_audit_chain_after_its_number(case: Case) -> None:
    (entry,) = entries_about(f"report {case.number}")
    assert (entry.verb, entry.payload["serial"]) == ("report.raised", "FR-200-0147")
    assert Entry.objects.order_by("-number").values_list("verb", flat=True)[0] == "results.recorded"


def test_raises_nothing_for_what_passes(workshop: Workshop) -> None:
    answers = workshop.send(workshop.operation("head_angle"), workshop.operation("tack_look"))
    assert [answer.report for answer in answers] == [None, None]
    assert not Report.objects.exists()


def test_raises_one_report_for_each_checkpoint_and_gives_the_numbers_back(workshop: Workshop) -> None:
    said = workshop.send(
        workshop.operation("head_angle", "62.40"),
        workshop.operation("tack_look", {"conforms": False, "note": "crack at W2"}),
        workshop.operation("left_length", "251.0"),
        workshop.operation("right_length", "250.0"),
    )
    assert [one.report for one in said] == ["NCR-2026-0001", "NCR-2026-0002", "NCR-2026-0003", None]
    assert said[3].computed[0].report == "NCR-2026-0004"
    titles = [card.title for card in reports_of(workshop.item_id)]
    assert titles == [
        "101 Head angle: 62.40 ° (61.85 to 62.15 °)",
        "105 Tacks without cracks: does not conform (crack at W2)",
        "102 Left length: 251.0 mm (249.7 to 250.3 mm)",
        "104 Left minus right: 1.0 mm (-0.2 to 0.2 mm)",
    ]


def test_joins_a_further_failing_answer_of_the_round_to_the_report(case: Case) -> None:
    workshop = case.workshop
    repeat = workshop.operation(
        "head_angle", "62.38", purpose="repeat", reason="dirt on the plate", person=case.cast.second_inspector
    )
    (answer,) = workshop.send(repeat, by=case.cast.second_inspector)
    assert answer.report == case.number
    assert [card.number for card in reports_of(workshop.item_id)] == [case.number]
    (move,) = case.view.moves
    assert (move.name, move.by_name) == ("also_found", "Barnaby Quill")
    assert move.note == "Also found: 101 Head angle: 62.38 ° (61.85 to 62.15 °)."


def test_raises_a_new_report_when_the_one_of_the_round_has_ended(case: Case) -> None:
    case.correct_the_entry().withdraw()
    case.correct_the_entry("62.71")
    assert [card.number for card in reports_of(case.workshop.item_id)] == ["NCR-2026-0001", "NCR-2026-0002"]


@pytest.mark.parametrize(
    ("at", "number"),
    [
        (datetime(2026, 12, 31, 22, 59, tzinfo=UTC), "NCR-2026-0001"),
        (datetime(2026, 12, 31, 23, 1, tzinfo=UTC), "NCR-2027-0001"),  # past midnight in the workshop
    ],
)
def test_counts_numbers_in_the_year_of_the_site(workshop: Workshop, at: datetime, number: str) -> None:
    (answer,) = workshop.send(workshop.operation("twist", "0.62", recorded_at=FIXED_NOW.isoformat()), at=at)
    assert answer.report == number


def test_stores_no_result_when_the_report_cannot_be_raised(workshop: Workshop, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(**told: Any) -> None:
        raise OSError("disk full")

    before = rows_of(*ROOMS)
    monkeypatch.setattr(raising, "place_new_hold", fail)
    with pytest.raises(OSError, match="disk full"):
        workshop.send(workshop.operation("twist", "0.62"))
    assert rows_of(*ROOMS) == before
    monkeypatch.undo()
    assert Case.out_of_band(workshop).number == "NCR-2026-0001"


def test_uses_up_no_number_when_the_result_cannot_be_stored(
    workshop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The last thing a submission does is its audit entry: when that fails, everything before is undone."""

    def fail(*args: Any) -> None:
        assert Report.objects.get().number == "NCR-2026-0001"
        raise OSError("disk full")

    monkeypatch.setattr(recording, "_audit", fail)
    with pytest.raises(OSError, match="disk full"):
        workshop.send(workshop.operation("twist", "0.62"))
    assert not Report.objects.exists()
    assert not Result.objects.exists()
    assert not Counter.objects.filter(series="NCR-2026").exists()
    assert open_holds(workshop.item_id) == []


# -------------------------------------------------------------------- in a round that a report's correction opened


def test_sends_a_report_back_when_its_correction_did_not_work(case: Case) -> None:
    case.decide().start().finish().inspect_again("62.20")
    view = case.view
    assert (view.card.state, view.card.disposition) == ("contained", "")
    move = view.moves[-1]
    assert (move.name, move.by_name) == ("fail_verification", "Barnaby Quill")
    assert "62.20 °" in move.note
    assert entries_about(f"report {case.number}")[0].verb == "report.correction_failed"


def test_sends_a_report_back_when_its_correction_disturbed_something_else(case: Case) -> None:
    case.decide(reinspect=["left_length", "tack_look"]).start().finish().inspect_again()
    by = {"round": 2, "person": case.cast.second_inspector}
    said = case.workshop.send(
        case.workshop.operation("left_length", "250.9", **by),
        case.workshop.operation("tack_look", {"conforms": False}, **by),
        by=case.cast.second_inspector,
    )
    assert [one.report for one in said] == [case.number, case.number]
    assert [move.name for move in case.view.moves[-2:]] == ["fail_verification", "also_found"]
    assert len(reports_of(case.workshop.item_id)) == 1


def test_raises_a_new_report_in_a_round_whose_report_has_ended(case: Case) -> None:
    case.decide().start().finish().inspect_again().close()
    base = counting_answer(case.workshop.item_id, "head_angle").base
    case.inspect_again("62.80", purpose="correction", base=str(base), reason="misread")
    cards = reports_of(case.workshop.item_id)
    assert [(card.number, card.state) for card in cards] == [("NCR-2026-0001", "closed"), ("NCR-2026-0002", "open")]


# ---------------------------------------------------------------------------------------------------- by hand


def test_raises_a_report_by_hand_and_holds_every_stage(workshop: Workshop) -> None:
    case = Case.by_hand(workshop)
    view = case.view
    assert (view.card.title, view.card.severity, view.card.checkpoint_number) == (
        "Dent in the down tube, 3 mm deep",
        "major",
        None,
    )
    (hold,) = open_holds(workshop.item_id)
    assert (hold.source, hold.from_stage, hold.by_name) == (case.number, None, "Tobiah Renn")
    assert entries_about(f"report {case.number}")[0].verb == "report.raised"


@pytest.mark.parametrize("named", ["tack_look", "105"])
def test_raises_a_report_by_hand_about_a_checkpoint(workshop: Workshop, named: str) -> None:
    case = Case.by_hand(workshop, checkpoint_key=named)
    assert case.view.card.checkpoint_number == 105
    assert open_holds(workshop.item_id)[0].from_stage == 1


UNREADABLE = [
    ("text_missing", {"title": "  "}),
    ("text_too_long", {"title": "x" * 161}),
    ("text_not_plain", {"title": "dent\0"}),
    ("severity_unknown", {"severity": "grave"}),
    ("serial_unknown", {"serial": "FR-200-9999"}),
    ("checkpoint_unknown", {"checkpoint_key": "999"}),
]


def test_refuses_a_report_by_hand_that_cannot_be_read(workshop: Workshop) -> None:
    by = workshop.cast.assembler
    for code, change in UNREADABLE:
        told = {"serial": workshop.serial, "title": "Dent", "description": "", "severity": "minor"} | change
        with refused(code, *ROOMS):
            raise_by_hand(by=by, at=FIXED_NOW, **told)


def test_refuses_a_report_by_hand_of_somebody_who_may_not(workshop: Workshop, cast: Cast) -> None:
    by = cast.keeper
    with refused("not_permitted", *ROOMS) as caught:
        Case.by_hand(workshop, by=by)
    assert "inspector" in caught.value.message


def test_refuses_a_report_by_hand_about_a_scrapped_unit(case: Case) -> None:
    case.decide("scrap").destroy().close_without_correction()
    with refused("unit_scrapped", *ROOMS):
        Case.by_hand(case.workshop)


def test_keeps_a_title_within_its_column_and_visible(workshop: Workshop) -> None:
    """A note of 1,000 letters must not stop the result: on PostgreSQL a column too short would."""
    note = "ﬁssure " * 140
    (answer,) = workshop.send(workshop.operation("tack_look", {"conforms": False, "note": note}))
    title = Report.objects.get(number=answer.report).title
    assert len(title) == 160
    assert title.endswith("…")
    assert json.loads(Report.objects.get().facts)["answer"].count("ﬁssure") == 140


def test_writes_the_note_of_a_joined_answer_within_its_column(workshop: Workshop, cast: Cast) -> None:
    case = Case.out_of_band(workshop, "tack_look", {"conforms": False})  # type: ignore[arg-type]
    told = {"purpose": "repeat", "reason": "looked again", "person": cast.second_inspector}
    workshop.send(workshop.operation("tack_look", {"conforms": False, "note": "y" * 1000}, **told))
    (move,) = moves_of(Report.objects.get(number=case.number).pk)
    assert len(move.note) == 600


def test_lets_everybody_who_handles_parts_raise_a_report(workshop: Workshop, cast: Cast) -> None:
    handlers = (Role.INSPECTOR, Role.WELDER, Role.ASSEMBLER, Role.GOODS_IN, Role.METROLOGY, Role.DISPATCH)
    raised = [Case.by_hand(workshop, by=cast.with_role(role)).number for role in handlers]
    assert raised == [f"NCR-2026-{n:04}" for n in range(1, 7)]
