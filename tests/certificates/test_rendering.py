"""The PDF of a certificate, read back by poppler and by an independent reader of QR codes."""

from __future__ import annotations

import copy
import io
import json
import os
import re
import subprocess
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import jsonschema
import pypdf
import pytest
import zxingcpp
from django.db import transaction
from lxml import etree
from PIL import Image

from qcapp.certificates.content_schema import content_schema
from qcapp.certificates.models import CertificateFile
from qcapp.certificates.queries import CertificateCard, content_of
from qcapp.certificates.services import rendering
from qcapp.certificates.services.rendering import frozen_json, html_of, page_of, pdf_bytes
from qcapp.core.errors import Refused
from qcapp.lib.pdf import html_to_pdf
from qcapp.lib.printing import printable
from qcapp.lib.templatetags.qc import number

from ..cast import Cast
from ..factories.certificates import ISSUED_AT, certified, release_unit
from ..factories.inspections import Workshop
from ..factories.nonconformance import Case
from ..qif_reference import qif_reference

MINUS = "−"


@dataclass
class Paper:
    """A certificate as it was issued and rendered, after its rows are gone again."""

    card: CertificateCard
    says: dict[str, Any]
    pdf: bytes
    again: bytes
    files: int


@pytest.fixture(scope="module")
def paper(django_db_setup: None, django_db_blocker: Any) -> Paper:
    """A certificate with a concession, a withdrawn report and second inspections, made once for the module."""
    with django_db_blocker.unblock(), transaction.atomic():
        workshop = Workshop.opened(Cast())
        Case.out_of_band(workshop).decide("use_as_is").close_without_correction()
        Case.by_hand(workshop).withdraw()
        workshop.send(*[workshop.operation(key) for key in ("left_length", "right_length", "tack_look")])
        workshop.sign(1)
        for stage in (2, 3):
            workshop.answer_stage(stage)
            workshop.sign(stage)
        card = certified(release_unit(workshop))
        first, again = (pdf_bytes(card, at=ISSUED_AT) for _ in range(2))
        made = Paper(card, content_of(card.id), first, again, CertificateFile.objects.count())
        transaction.set_rollback(True)
    return made


def poppler(program: str, content: bytes, tmp_path: Path, *options: str) -> str:
    file = tmp_path / "certificate.pdf"
    file.write_bytes(content)
    command = [program, *options, str(file), *(["-"] if program == "pdftotext" else [])]
    environment = os.environ | {"TZ": "UTC"}
    return subprocess.run(command, check=True, capture_output=True, text=True, env=environment).stdout


def squeezed(text: str) -> str:
    """The text without the line breaks of its columns, and with words that a column broke put together."""
    return re.sub(r"\s+", "", text)


def made_of(says: dict[str, Any], title: str = "A test") -> bytes:
    return html_to_pdf(page_of(says, "0" * 64), identifier="test", created=ISSUED_AT, title=title, variant="pdf/ua-1")


# ---------------------------------------------------------------------------------------------- what it says


def test_prints_every_frozen_text(paper: Paper, tmp_path: Path) -> None:
    text = squeezed(poppler("pdftotext", paper.pdf, tmp_path, "-raw"))
    lines = [line for stage in paper.says["results"]["stages"] for line in stage["lines"]]
    assert len(lines) == 11
    for line in lines:
        for name in (
            "title",
            "nominal",
            "limits",
            "notation",
            "value",
            "unit_of_measure",
            "gauge",
            "verdict",
            "recorded",
        ):
            assert squeezed(number(line[name])) in text, (line["number"], name)
        for second in line["second"]:
            assert squeezed(number(second)) in text
    for part, names in {
        "identity": ("number", "serial", "family_name", "order_number", "plan_revision", "issued", "check_address"),
        "statement": ("declaration", "counts", "decision_rule", "limits_of_the_statement", "released", "released_by"),
    }.items():
        for name in names:
            assert squeezed(paper.says[part][name]) in text, name
    for signature in paper.says["signatures"]["lines"]:
        assert all(squeezed(signature[name]) in text for name in ("what", "name", "function", "at", "meaning"))
    for report in paper.says["nonconformances"]["reports"]:
        assert all(squeezed(number(value)) in text for value in report.values())
    for permit in paper.says["nonconformances"]["concessions"]:
        assert all(squeezed(value) in text for value in permit.values())
    assert paper.card.digest in text
    assert paper.says["identity"]["chain_digest"] in text


def test_gives_files_to_another_tool_that_fit_the_published_schemas(paper: Paper, tmp_path: Path) -> None:
    """poppler takes them out; JSON Schema 2020-12 by jsonschema, QIFDocument.xsd of ISO 23952:2020 by lxml."""
    poppler("pdfdetach", paper.pdf, tmp_path, "-saveall", "-o", str(tmp_path))
    inside = json.loads((tmp_path / "certificate.json").read_text(encoding="utf-8"))
    assert inside == paper.says
    assert list(jsonschema.Draft202012Validator(content_schema()).iter_errors(inside)) == []
    schema = etree.XMLSchema(etree.parse(qif_reference() / "schema" / "QIFDocument.xsd"))
    assert schema.validate(etree.parse(tmp_path / "results.qif")), schema.error_log
    command = ["pdfsig", str(tmp_path / "certificate.pdf")]
    said = subprocess.run(command, check=False, capture_output=True, text=True).stdout
    assert "Signature is Valid." in said
    assert "Total document signed" in said
    described = pypdf.PdfReader(io.BytesIO(paper.pdf)).root_object["/Metadata"].get_data().decode()
    assert 'pdfaid:part="3"' in described
    assert 'pdfaid:conformance="A"' in described


def test_prints_limits_as_numbers_beside_the_notation(paper: Paper, tmp_path: Path) -> None:
    text = poppler("pdftotext", paper.pdf, tmp_path, "-layout")
    row = next(line for line in text.splitlines() if line.strip().startswith("101 "))
    assert re.search(r"62\.00\s+61\.85 to 62\.15\s+62\.40\s+°\s+AG-01\s+does not", row)
    assert "±0.15" in text


def test_prints_a_true_minus_and_leaves_dashes_of_names_alone(paper: Paper, tmp_path: Path) -> None:
    text = poppler("pdftotext", paper.pdf, tmp_path)
    assert f"{MINUS}0.2 to 0.2" in text
    assert "FR-200-0147" in text
    assert "Tack-up" in text


def test_numbers_its_pages_and_repeats_the_head_of_a_table(paper: Paper, tmp_path: Path) -> None:
    info = poppler("pdfinfo", paper.pdf, tmp_path)
    assert re.search(r"Pages:\s+2\n", info)
    assert re.search(r"Page size:.*\(A4\)", info)
    assert "Title:           Certificate of conformity FR-2026-0001 issue 1" in info
    assert re.search(r"CreationDate:\s+Tue Mar 17 16:30:00 2026 UTC", info)
    pages = poppler("pdftotext", paper.pdf, tmp_path, "-layout").split("\f")
    for place, page in enumerate(pages[:2], start=1):
        assert f"page {place} of 2" in page
        assert "FR-2026-0001 issue 1" in page
        assert re.search(r"No\.\s+Checkpoint\s+Nominal\s+Limits\s+Value\s+Unit\s+Gauge\s+Verdict\s+By, at", page)


def test_leaves_no_head_of_a_stage_alone_at_the_foot_of_a_page(paper: Paper, tmp_path: Path) -> None:
    """With more and more lines before it, the second stage's head comes past every foot of a page."""
    says = copy.deepcopy(paper.says)
    first, second = says["results"]["stages"][:2]
    line, stages = first["lines"][1], []
    for count in range(8, 32, 4):
        stages += [first | {"lines": [line] * count}, second | {"name": f"Head {count}"}]
    says["results"]["stages"] = stages
    pages = poppler("pdftotext", made_of(says), tmp_path, "-layout").split("\f")
    found = 0
    for page in pages:
        for head in re.finditer(r"2 Head \d+", page):
            found += 1
            assert re.search(r"\n\s*201 ", page[head.end() :]), f"{head[0]} stands alone"
    assert found == 6


def test_embeds_every_font_and_is_tagged(paper: Paper, tmp_path: Path) -> None:
    fonts = poppler("pdffonts", paper.pdf, tmp_path).splitlines()[2:]
    assert fonts
    for row in fonts:
        name, *_, embedded, subset, _, _, _ = row.split()
        assert (embedded, subset) == ("yes", "yes"), row
        assert "Inter" in name or "DejaVu" in name
    assert re.search(r"Tagged:\s+yes", poppler("pdfinfo", paper.pdf, tmp_path))
    reader = pypdf.PdfReader(io.BytesIO(paper.pdf))
    assert reader.trailer["/Root"]["/Lang"] == "en"  # type: ignore[index]


def test_carries_the_address_of_the_check_page_in_its_code(paper: Paper, tmp_path: Path) -> None:
    file = tmp_path / "certificate.pdf"
    file.write_bytes(paper.pdf)
    subprocess.run(["pdftoppm", "-r", "150", "-f", "1", "-l", "1", "-png", file, tmp_path / "page"], check=True)
    (picture,) = tmp_path.glob("page*.png")
    with Image.open(picture) as image:
        (code,) = zxingcpp.read_barcodes(image)
    assert code.text == paper.says["identity"]["check_address"] == f"http://testserver/check/{paper.card.token}/"


def test_says_demonstration_on_every_page_of_the_demonstration_and_on_no_other(paper: Paper, tmp_path: Path) -> None:
    assert "demonstration" not in poppler("pdftotext", paper.pdf, tmp_path)
    says = copy.deepcopy(paper.says)
    says["identity"]["demonstration"] = True
    pages = poppler("pdftotext", made_of(says), tmp_path, "-raw").split("\f")[:-1]
    assert len(pages) == 2
    for page in pages:
        assert squeezed(page).count("demonstration,notvalid") == 2  # across the page and at its foot


def test_says_what_a_further_issue_replaces(paper: Paper, tmp_path: Path) -> None:
    says = copy.deepcopy(paper.says)
    says["identity"] |= {"issue": 2, "change_note": "Order number corrected."}
    text = poppler("pdftotext", made_of(says), tmp_path)
    assert "Replaces issue 1. What changed: Order number corrected." in text


# ------------------------------------------------------------------------------------------------ hard texts

NAMES = {
    "long": "Wolfeschlegelsteinhausenbergerdorff" * 9,
    "long words": "A very long name of a checkpoint with many words in it " * 6,
    "script": "<script>alert(1)</script>",
    "entity": "&lt;b&gt; & ' \"",
    "emoji": "fox \U0001f98a and smile \U0001f600",
    "right to left": "עכבר שלום",
    "turning": "abc \u202e 41.26 \u2066 def",
}


def test_prints_hard_texts_without_breaking_or_running_them(paper: Paper, tmp_path: Path) -> None:
    says = copy.deepcopy(paper.says)
    stage = says["results"]["stages"][0]
    line = stage["lines"][0]
    stage["lines"] = [line | {"title": text, "person": text[:6], "second": [text]} for text in NAMES.values()]
    says["identity"] |= {"family_name": NAMES["long"], "variant": NAMES["script"], "order_number": NAMES["emoji"]}
    says["signatures"]["lines"][0] |= {"name": NAMES["long"], "meaning": NAMES["turning"]}
    pdf = made_of(says)
    text = squeezed(poppler("pdftotext", pdf, tmp_path, "-raw"))
    for name in ("long", "long words", "script", "entity"):
        assert squeezed(NAMES[name]) in text, name
    assert "fox[U+1F98A]andsmile" in text
    assert "[U+202E]41.26[U+2066]def" in text
    assert "/JavaScript" not in pdf.decode("latin-1")
    assert re.search(r"JavaScript:\s+no", poppler("pdfinfo", pdf, tmp_path))
    assert right_edge(pdf, tmp_path) < 595 - 40  # nothing runs over the right margin of 45 points


def right_edge(pdf: bytes, tmp_path: Path) -> float:
    """The rightmost point of any word, in points, by poppler's boxes."""
    boxes = poppler("pdftotext", pdf, tmp_path, "-bbox")
    return max(float(found) for found in re.findall(r'xMax="([\d.]+)"', boxes))


def test_escapes_what_people_typed(paper: Paper) -> None:
    says = copy.deepcopy(paper.says)
    says["identity"]["change_note"] = NAMES["script"]
    page = page_of(says, "0" * 64)
    assert "<script>" not in page
    assert "&lt;script&gt;" in page


@pytest.mark.parametrize(
    ("text", "printed"),
    [
        ("µm ° ± × Ω é ß Ж", "µm ° ± × Ω é ß Ж"),
        ("\U0001f98a", "[U+1F98A]"),
        ("a\u202eb", "a[U+202E]b"),
        ("a\x1bb", "a[U+001B]b"),
        ("soft\u00adhyphen", "soft\u00adhyphen"),
    ],
)
def test_writes_what_no_font_has_as_its_code_point(text: str, printed: str) -> None:
    assert printable(text) == printed


# ----------------------------------------------------------------------------------------------- kept bytes


def test_gives_identical_bytes_when_asked_again_and_when_rendered_anew(paper: Paper) -> None:
    assert paper.pdf == paper.again
    assert paper.files == 1
    before_signing = rendering.unsigned(paper.card, paper.says)
    assert before_signing == rendering.unsigned(paper.card, paper.says)
    assert paper.pdf.startswith(before_signing)


@pytest.fixture
def kept(ready: Workshop, monkeypatch: pytest.MonkeyPatch, settings: Any, tmp_path: Path) -> CertificateCard:
    """A certificate whose file is kept; its layout is a stand-in, because these tests are about keeping."""
    settings.QCAPP_DATA_DIR = tmp_path
    monkeypatch.setattr(rendering, "render", lambda card, at, look=None: b"%PDF of " + card.number.encode())
    card = certified(release_unit(ready))
    assert pdf_bytes(card, at=ISSUED_AT) == b"%PDF of FR-2026-0001"
    return card


def path_of(tmp_path: Path) -> Path:
    (found,) = tmp_path.glob("evidence/*/*.pdf")
    return found


@pytest.mark.django_db
def test_keeps_the_file_by_its_digest_and_renders_no_second_time(
    kept: CertificateCard, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    row = CertificateFile.objects.get()
    assert (tmp_path / row.path, row.size) == (path_of(tmp_path), 20)
    monkeypatch.setattr(rendering, "render", lambda card, at, look=None: b"another layout")
    assert pdf_bytes(kept, at=ISSUED_AT) == b"%PDF of FR-2026-0001"


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("code", "tamper"),
    [
        ("file_altered", lambda path: path.write_bytes(b"%PDF of FR-2026-0002")),
        ("file_altered", lambda path: path.write_bytes(path.read_bytes() + b"%%EOF")),
        ("file_missing", lambda path: path.unlink()),
    ],
)
def test_refuses_a_kept_file_that_was_altered_or_is_gone(
    kept: CertificateCard, tmp_path: Path, code: str, tamper: Callable[[Path], object]
) -> None:
    tamper(path_of(tmp_path))
    with pytest.raises(Refused) as caught:
        pdf_bytes(kept, at=ISSUED_AT)
    assert caught.value.code == code


@pytest.mark.django_db
def test_counts_the_first_of_two_that_render_at_the_same_time(
    ready: Workshop, monkeypatch: pytest.MonkeyPatch, settings: Any, tmp_path: Path
) -> None:
    settings.QCAPP_DATA_DIR = tmp_path
    card = certified(release_unit(ready))

    def other_first(asked: CertificateCard, at: Any, look: Any = None) -> bytes:
        monkeypatch.setattr(rendering, "render", lambda card, at, look=None: b"the other's")
        pdf_bytes(asked, at=ISSUED_AT)
        return b"mine, too late"

    monkeypatch.setattr(rendering, "render", other_first)
    assert pdf_bytes(card, at=ISSUED_AT) == b"the other's"
    assert CertificateFile.objects.count() == 1


@pytest.mark.django_db
def test_renders_nothing_of_a_content_that_was_altered(ready: Workshop, monkeypatch: pytest.MonkeyPatch) -> None:
    card = certified(release_unit(ready))
    monkeypatch.setattr("qcapp.certificates.queries.digest", lambda text: "f" * 64)
    with pytest.raises(Refused) as caught:
        pdf_bytes(card, at=ISSUED_AT)
    assert caught.value.code == "content_altered"
    assert not CertificateFile.objects.exists()
    with pytest.raises(Refused):
        html_of(card)
    with pytest.raises(Refused):
        frozen_json(card)
