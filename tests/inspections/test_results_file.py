"""Results from a file: what goes in, what is rejected and why, and that a second import changes nothing."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from qcapp.audit.queries import entries_about
from qcapp.core.errors import Invalid, NotAllowed
from qcapp.inspections.models import CurrentAnswer, Result
from qcapp.inspections.queries import answers_to
from qcapp.inspections.services import import_results
from qcapp.inspections.services.results_file import MAX_BYTES, ImportReport

from ..factories.inspections import SERIAL, Workshop

pytestmark = pytest.mark.django_db

HEADER = "serial,checkpoint,value,gauge,recorded_at,badge,round,reason\n"
GOOD = HEADER + (
    f"{SERIAL},101,61.94,AG-01,2026-03-17 09:00,1001,,\n"
    f"{SERIAL},left_length,250.1,CA-01,2026-03-17T09:01:00+01:00,1002,,\n"
    f"{SERIAL},103,250.0,CA-01,2026-03-17 09:02,1001,1,\n"
    f"{SERIAL},105,conforms,,2026-03-17 09:03,1001,,\n"
)


def imported(workshop: Workshop, content: str | bytes, by: Any = None) -> ImportReport:
    data = content.encode() if isinstance(content, str) else content
    report = import_results(by=by or workshop.cast.quality_manager, stream=io.BytesIO(data), at=workshop.at)
    assert isinstance(report, ImportReport)
    return report


def row(**changes: str) -> str:
    cells = {
        "serial": SERIAL, "checkpoint": "101", "value": "61.94", "gauge": "AG-01", "recorded_at": "2026-03-17 09:00",
        "badge": "1001", "round": "", "reason": "",
    } | changes  # fmt: skip
    told = io.StringIO()
    csv.writer(told).writerow(cells.values())
    return told.getvalue()


def test_records_every_row_under_the_name_of_who_measured(workshop: Workshop) -> None:
    workshop.cast.second_inspector  # noqa: B018 - makes the account
    report = imported(workshop, GOOD)
    assert (report.applied, report.duplicates, report.rejects) == (4, 0, [])
    rows = Result.objects.exclude(purpose="computed").order_by("id")
    assert [row.person.badge for row in rows] == ["1001", "1002", "1001", "1001"]
    assert {row.sent_by for row in rows} == {workshop.cast.quality_manager}
    assert {tuple(row.flags) for row in rows} == {()}
    assert rows[0].recorded_at.isoformat() == "2026-03-17T08:00:00+00:00"  # 09:00 in the site's zone
    assert Result.objects.filter(purpose="computed").count() == 1
    assert entries_about(f"unit {SERIAL}")[0].verb == "results.imported"


def test_changes_nothing_when_it_is_imported_again(workshop: Workshop) -> None:
    workshop.cast.second_inspector  # noqa: B018 - makes the account
    content = GOOD + row(value="61.95", reason="typed wrong")
    first = imported(workshop, content)
    before = list(Result.objects.order_by("id").values_list("operation", "digest"))
    entries = len(entries_about(f"unit {SERIAL}"))
    again = imported(workshop, content)
    assert (first.applied, again.applied, again.duplicates, again.rejects) == (5, 0, 5, [])
    assert list(Result.objects.order_by("id").values_list("operation", "digest")) == before
    assert len(entries_about(f"unit {SERIAL}")) == entries


def test_takes_a_row_with_a_reason_as_a_correction_of_what_counts(workshop: Workshop) -> None:
    imported(workshop, HEADER + row() + row(value="61.95", reason="typed wrong"))
    imported(workshop, HEADER + row(value="61.96", reason="typed wrong again"))
    answers = answers_to(workshop.item_id, workshop.card("head_angle").id)
    assert [(answer.purpose, answer.answer["value"]) for answer in answers] == [
        ("reading", "61.94"),
        ("correction", "61.95"),
        ("correction", "61.96"),
    ]
    assert CurrentAnswer.objects.get().conflict is False


def test_takes_a_second_row_without_a_reason_as_a_conflict(workshop: Workshop) -> None:
    imported(workshop, HEADER + row() + row(value="61.95"))
    assert CurrentAnswer.objects.get().conflict is True


def test_takes_semicolons_and_decimal_commas_of_a_spreadsheet(workshop: Workshop) -> None:
    content = "\ufeff" + (HEADER + row(value="61,94")).replace(",", ";").replace('"61;94"', "61,94")
    report = imported(workshop, content)
    assert (report.applied, report.rejects) == (1, [])


def test_takes_every_kind_of_answer(workshop: Workshop) -> None:
    content = HEADER + "".join(
        row(checkpoint=key, value=value, gauge="")
        for key, value in {
            "tack_look": "does not conform: crack at W2", "pores": "1", "heat": "H4711", "weld_w7": "Conforms",
        }.items()
    )  # fmt: skip
    report = imported(workshop, content)
    assert (report.applied, report.rejects) == (4, [])
    assert len(report.reports) == 1
    assert Result.objects.get(outcome="does_not_conform").answer == '{"conforms":false,"note":"crack at W2"}'


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"serial": "FR-200-9999"}, "serial_unknown"),
        ({"checkpoint": "999"}, "checkpoint_unknown"),
        ({"value": ""}, "value_empty"),
        ({"value": "=1+61"}, "value_not_a_number"),
        ({"value": "61.9 in"}, "value_unit_unexpected"),
        ({"checkpoint": "105", "value": "ok", "gauge": ""}, "verdict_unreadable"),
        ({"checkpoint": "203", "value": "1.5", "gauge": ""}, "field_type"),
        ({"checkpoint": "104", "value": "0.1", "gauge": ""}, "checkpoint_is_computed"),
        ({"gauge": "XX-1"}, "gauge_unknown"),
        ({"recorded_at": "yesterday"}, "time_unreadable"),
        ({"badge": "9999"}, "badge_unknown"),
        ({"badge": ""}, "text_missing"),
        ({"round": "two"}, "field_type"),
        ({"round": "2"}, "round_not_open"),
        ({"reason": "x" * 1001}, "cell_too_long"),
    ],
)
def test_rejects_a_row_with_its_line_and_reason_and_takes_the_others(
    workshop: Workshop, changes: dict[str, str], code: str
) -> None:
    content = HEADER + row(checkpoint="102", value="250.0", gauge="CA-01") + row(**changes)
    report = imported(workshop, content)
    assert report.applied == 1
    (reject,) = report.rejects
    assert (reject.line, reject.code) == (3, code)
    assert reject.reason.endswith(".")
    assert Result.objects.count() == 1


def test_rejects_a_row_with_more_cells_than_columns(workshop: Workshop) -> None:
    report = imported(workshop, HEADER + row().strip() + ",surplus\n")
    assert [reject.code for reject in report.rejects] == ["row_too_long"]


@pytest.mark.parametrize(
    ("content", "code"),
    [
        ("", "columns_missing"),
        ("serial,value\n", "columns_missing"),
        (HEADER.replace("round", "colour"), "column_unknown"),
        (HEADER.replace("round", "serial"), "column_unknown"),
        (GOOD.encode("utf-16"), "file_encoding"),
        (GOOD.encode() + b"\xff", "file_encoding"),
        (GOOD + "\0", "file_encoding"),
        (b"PK\x03\x04rest of a spreadsheet", "file_is_a_spreadsheet"),
        (HEADER + '"unclosed', "file_unreadable"),
        (b" " * (MAX_BYTES + 1), "file_too_large"),
        (HEADER + "\n" * 50_001, "file_too_large"),
    ],
)
def test_refuses_a_file_that_cannot_be_read(workshop: Workshop, content: str | bytes, code: str) -> None:
    with pytest.raises(Invalid) as refusal:
        imported(workshop, content)
    assert refusal.value.code == code
    assert not Result.objects.exists()


def test_refuses_somebody_without_the_right_to_import(workshop: Workshop) -> None:
    with pytest.raises(NotAllowed):
        imported(workshop, GOOD, by=workshop.cast.welder)
    assert not Result.objects.exists()


# ------------------------------------------------------------------------------------------------- the command


def run(path: Path, *options: str) -> str:
    told = io.StringIO()
    call_command("import_results", str(path), *options, stdout=told)
    return told.getvalue()


def test_keeps_rejected_rows_beside_the_file(workshop: Workshop, tmp_path: Path) -> None:
    workshop.cast.quality_manager  # noqa: B018 - makes the account
    path = tmp_path / "results.csv"
    path.write_text(HEADER + row() + row(checkpoint="102", value="250.0 ft", gauge="CA-01"))
    told = run(path, "--by", "1041")
    assert "1 recorded, 0 known before, 1 rejected." in told
    assert "line 3:" in told
    with (tmp_path / "results.csv.rejects.csv").open(newline="") as stream:
        (reject,) = csv.DictReader(stream)
    assert (reject["line"], reject["code"], reject["value"]) == ("3", "value_unit_unexpected", "250.0 ft")
    assert reject["reason_rejected"]


def test_writes_rejects_where_it_is_told_and_none_without_any(workshop: Workshop, tmp_path: Path) -> None:
    workshop.cast.quality_manager  # noqa: B018 - makes the account
    path = tmp_path / "results.csv"
    path.write_text(HEADER + row())
    run(path, "--by", "1041", "--rejects", str(tmp_path / "elsewhere.csv"))
    assert list(tmp_path.iterdir()) == [path]
    path.write_text(HEADER + row(value="x"))
    run(path, "--by", "1041", "--rejects", str(tmp_path / "elsewhere.csv"))
    assert (tmp_path / "elsewhere.csv").is_file()


@pytest.mark.parametrize(
    ("badge", "name", "message"),
    [
        ("9999", "results.csv", "badge_unknown"),
        ("1041", "missing.csv", "cannot be read"),
        ("1011", "results.csv", "not_permitted"),
    ],
)
def test_stops_with_a_sentence(workshop: Workshop, tmp_path: Path, badge: str, name: str, message: str) -> None:
    workshop.cast.quality_manager  # noqa: B018 - makes the account
    workshop.cast.welder  # noqa: B018 - makes the account
    (tmp_path / "results.csv").write_text(GOOD)
    with pytest.raises(CommandError, match=message):
        run(tmp_path / name, "--by", badge)
    assert not Result.objects.exists()
