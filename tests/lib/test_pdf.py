"""A page becomes the same PDF in every process, from static files and two fonts alone. Read back by poppler
and pypdf.
"""

from __future__ import annotations

import io
import os
import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pypdf
import pytest

from qcapp.lib import pdf, pdf_worker
from qcapp.lib.pdf import PdfNotMade, Worker, html_to_pdf

CREATED = datetime(2026, 3, 4, 5, 6, 7, tzinfo=UTC)
PAGE = """<html lang="en"><head><link rel="stylesheet" href="/static/print-test.css"></head>
<body><h1>Frame FR-200-0147</h1><p>Ø 25.4 mm ±0.05 ✓ N·m µm 12 − 3</p>
<p style="font-family: monospace">0123</p><p style="font-family: Comic Neue">unknown family</p>
<svg width="20" height="20"><rect width="10" height="10" fill="black"/></svg></body></html>"""


@pytest.fixture(autouse=True)
def _static(settings: pytest.FixtureRequest, tmp_path: Path) -> None:
    folder = tmp_path / "static"
    folder.mkdir()
    (folder / "print-test.css").write_text("@page { size: A4 } body { font-family: Inter; color: #123456 }")
    settings.STATIC_ROOT, settings.STATICFILES_DIRS = folder, []


@pytest.fixture(scope="module", autouse=True)
def _worker() -> Iterator[None]:
    yield
    pdf.WORKER.stop()


def make(html: str = PAGE, **options: object) -> bytes:
    return html_to_pdf(
        html, **({"identifier": "C-1 issue 1", "created": CREATED, "title": "Certificate C-1"} | options)
    )


def poppler(program: str, content: bytes, tmp_path: Path) -> str:
    file = tmp_path / "x.pdf"
    file.write_bytes(content)
    return subprocess.run(
        [program, file], check=True, capture_output=True, text=True, env=os.environ | {"TZ": "UTC"}
    ).stdout


def test_gives_identical_bytes_in_two_processes() -> None:
    first = make()
    other = Worker()
    try:
        pdf_of_other, pdf.WORKER = pdf.WORKER, other
        second = make()
    finally:
        pdf.WORKER = pdf_of_other
        other.stop()
    assert first == second


def test_gives_identical_bytes_after_other_documents() -> None:
    first = make()
    make("<p>another</p>", identifier="C-2")
    assert make() == first


def test_gives_other_bytes_for_another_identifier_and_date() -> None:
    assert len({make(), make(identifier="C-1 issue 2"), make(created=CREATED.replace(year=2027))}) == 3


def test_names_title_and_date_from_the_record(tmp_path: Path) -> None:
    info = poppler("pdfinfo", make(), tmp_path)
    assert "Certificate C-1" in info
    assert "Wed Mar  4 05:06:07 2026 UTC" in info
    assert "A4" in info
    assert "Tagged:          yes" in info


def test_names_its_language() -> None:
    assert pypdf.PdfReader(io.BytesIO(make(language="de"))).trailer["/Root"]["/Lang"] == "de"


def test_embeds_the_two_fonts_and_no_other(tmp_path: Path) -> None:
    rows = [line.split() for line in poppler("pdffonts", make(), tmp_path).splitlines()[2:]]
    families = {row[0].partition("+")[2].partition("-")[0] for row in rows}
    assert families <= {"Inter", "DejaVu"}
    assert all("yes" in row for row in rows)


def test_prints_the_trade_s_characters(tmp_path: Path) -> None:
    file = tmp_path / "text.pdf"
    file.write_bytes(make())
    shown = subprocess.run(["pdftotext", file, "-"], check=True, capture_output=True, text=True).stdout
    assert "Ø 25.4 mm ±0.05 ✓ N·m µm 12 − 3" in shown


def test_makes_an_archive_file_when_asked() -> None:
    metadata = pypdf.PdfReader(io.BytesIO(make(variant="pdf/a-3u"))).xmp_metadata
    assert metadata is not None
    assert metadata.pdfaid_part == "3"


@pytest.mark.parametrize(
    "address",
    [
        "http://127.0.0.1:9/x.png",
        "file:///etc/passwd",
        "/static/../secret",
        "/etc/passwd",
        "/static/none.png",
    ],
)
def test_refuses_to_read_anything_but_static_files(address: str, tmp_path: Path) -> None:
    (tmp_path / "secret").write_text("x")
    with pytest.raises(PdfNotMade) as caught:
        make(f'<img src="{address}">')
    assert caught.value.code == "pdf_resource_missing"


def test_reads_a_picture_in_the_page_itself() -> None:
    svg = "data:image/svg+xml,%3Csvg xmlns='http://www.w3.org/2000/svg' width='9' height='9'/%3E"
    assert make(f'<img src="{svg}">').startswith(b"%PDF")


def test_refuses_a_character_that_no_font_has() -> None:
    with pytest.raises(PdfNotMade, match=r"漢 \(U\+6F22\)") as caught:
        make("<p>漢</p>")
    assert caught.value.code == "pdf_glyph_missing"


def test_stops_a_document_that_takes_too_long_and_goes_on() -> None:
    rows = "<tr><td>x</td></tr>" * 60000
    with pytest.raises(PdfNotMade) as caught:
        make(f"<table>{rows}</table>", time_limit=0.3)
    assert caught.value.code == "pdf_timeout"
    assert make().startswith(b"%PDF")


def test_replaces_a_worker_that_died() -> None:
    make()
    assert pdf.WORKER.process is not None
    pdf.WORKER.process.kill()
    pdf.WORKER.process.wait()
    assert make().startswith(b"%PDF")


def test_starts_a_new_worker_after_many_documents(monkeypatch: pytest.MonkeyPatch) -> None:
    make()
    before = pdf.WORKER.process
    monkeypatch.setattr(pdf, "DOCUMENTS_PER_WORKER", 1)
    make()
    assert pdf.WORKER.process is not before


def test_says_which_packages_are_missing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pdf_worker, "FONTS", Path("/nowhere"))
    pdf_worker.known_characters.cache_clear()
    with pytest.raises(pdf_worker.NotMade, match=r"apt-get install .*fonts-inter") as caught:
        pdf_worker.require_glyphs("x")
    assert caught.value.code == "pdf_fonts_missing"


def test_says_so_when_the_layout_libraries_cannot_be_loaded(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    (tmp_path / "weasyprint.py").write_text("raise OSError('cannot load library libpango-1.0-0')")
    monkeypatch.syspath_prepend(tmp_path)
    monkeypatch.delitem(sys.modules, "weasyprint", raising=False)
    with pytest.raises(pdf_worker.NotMade, match=r"apt-get install .*libpango") as caught:
        pdf_worker.render({"html": "<p>x</p>"})
    assert caught.value.code == "pdf_libraries_missing"
