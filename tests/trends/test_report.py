"""The month's report: as the records stood when the month ended, the same words as on the pages, no person named."""

from __future__ import annotations

import io
import random
import subprocess
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from django.test import Client
from pypdf import PdfReader

from qcapp.core.errors import Invalid, NotFound
from qcapp.trends.queries import month_report
from qcapp.trends.reporting import report_html, report_pdf
from tests.cast import FIXED_NOW, Cast

from .line import FAMILY, Line, measured


def values(count: int, seed: int, mean: float = 50.0) -> list[str]:
    source = random.Random(seed)
    return [f"{source.gauss(mean, 1.0):.3f}" for _ in range(count)]


@pytest.fixture
def line(cast: Cast) -> Line:
    made = Line.with_plan(cast, measured(), at=FIXED_NOW - timedelta(days=20))
    made.play("size", values(30, 1))
    return made


def test_says_what_stood_when_the_month_ended(line: Line) -> None:
    february = month_report(FAMILY, "2026-02", at=FIXED_NOW)
    assert (february.running, february.name, february.until) == (
        False,
        "February 2026",
        datetime(2026, 2, 28, 23, tzinfo=UTC),
    )
    before = {entry.series.key: len(entry.series.readings) for entry in february.watch.entries}
    line.at = FIXED_NOW - timedelta(hours=20)
    line.play("size", values(12, 2, 53.0))
    again = month_report(FAMILY, "2026-02", at=FIXED_NOW)
    assert {entry.series.key: len(entry.series.readings) for entry in again.watch.entries} == before
    assert [entry.why for entry in again.to_look_at] == [entry.why for entry in february.to_look_at]
    march = month_report(FAMILY, "2026-03", at=FIXED_NOW)
    assert march.running
    assert [entry.why for entry in march.to_look_at] == ["signal"]


def test_prints_the_same_words_as_the_pages(line: Line, cast: Cast) -> None:
    line.play("size", values(12, 2, 53.0))
    report = month_report(FAMILY, "2026-03", at=FIXED_NOW)
    data = report_pdf(report)
    assert data == report_pdf(month_report(FAMILY, "2026-03", at=FIXED_NOW))
    text = " ".join(" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(data)).pages)
    assert "DX-1 in March 2026" in text
    assert report.to_look_at[0].sentence.split(";")[0][:40] in text
    assert f"{report.measured[0].fitness.deciding.estimate:.2f}" in text
    assert cast.inspector.name not in text
    assert "the month is not over" in text


def test_is_a_sound_document(line: Line, tmp_path: Path) -> None:
    path = tmp_path / "report.pdf"
    path.write_bytes(report_pdf(month_report(FAMILY, "2026-03", at=FIXED_NOW)))
    checked = subprocess.run(["qpdf", "--check", str(path)], capture_output=True, text=True, check=False)
    assert checked.returncode == 0, checked.stdout


def test_says_so_when_there_is_nothing(cast: Cast) -> None:
    Line.with_plan(cast, measured())
    html = report_html(month_report(FAMILY, "2026-01", at=FIXED_NOW))
    assert "No stage of DX-1 was signed" in html
    assert "No result has been recorded" in html


@pytest.mark.parametrize("month", ["2026-13", "2026-1", "26-01", "2026-04", "1999-12", "../etc", ""])
def test_refuses_a_month_that_is_none(cast: Cast, month: str) -> None:
    Line.with_plan(cast, measured())
    with pytest.raises(Invalid) as caught:
        month_report(FAMILY, month, at=FIXED_NOW)
    assert caught.value.code == "month_unknown"


def test_hands_it_out_to_who_may_look(line: Line, cast: Cast, client_of: Callable[..., Client]) -> None:
    answer = client_of(cast.engineer).get(f"/trends/report/{FAMILY}/2026-03.pdf")
    assert answer.content.startswith(b"%PDF")
    assert answer.headers["Content-Disposition"] == 'attachment; filename="DX-1-2026-03.pdf"'
    assert client_of(cast.inspector).get(f"/trends/report/{FAMILY}/2026-03.pdf").status_code == 403
    with pytest.raises(NotFound):
        month_report("XX-1", "2026-03", at=FIXED_NOW)
