"""Every evidence file that a row names is there, with its digest."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from pytest_django import Settings

from qcapp.certificates.models import Certificate, CertificateFile, Release
from qcapp.config.backup.columns import tables
from qcapp.config.backup.evidence import check_evidence, evidence_models, names_evidence
from qcapp.people.models import Signature
from tests.cast import FIXED_NOW, Cast
from tests.factories.production import UnitFactory

pytestmark = pytest.mark.django_db
EMPTY = "0" * 64


@pytest.fixture(autouse=True)
def data_folder(settings: Settings, tmp_path: Path) -> Path:
    settings.QCAPP_DATA_DIR = tmp_path
    return tmp_path


def certificate(cast: Cast) -> Certificate:
    """An issue of a unit of its own."""
    unit, by = UnitFactory(opened_by=cast.inspector), cast.quality_manager
    signature = Signature.objects.create(
        person=by, role="quality_manager", act="release", meaning="Released.", subject=f"unit {unit.serial}",
        covers=EMPTY, method="demonstration", at=FIXED_NOW,
    )  # fmt: skip
    release = Release.objects.create(item=unit.item, kind="given", checks="[]", signature=signature, at=FIXED_NOW)
    return Certificate.objects.create(
        token=f"token {unit.serial}", item=unit.item, release=release, number=f"FR-2026-{unit.number:04}", issue=1,
        content="{}", digest=EMPTY, issued_by=by, issued_at=FIXED_NOW,
    )  # fmt: skip


def keep(cast: Cast, folder: Path, content: bytes, path: str = "") -> Path:
    """A file and the row that names it."""
    digest = hashlib.sha256(content).hexdigest()
    row = CertificateFile.objects.create(
        certificate=certificate(cast), digest=digest, path=path or f"evidence/{digest[:2]}/{digest}.pdf",
        size=len(content), rendered_at=FIXED_NOW,
    )  # fmt: skip
    file = folder / row.path
    file.parent.mkdir(parents=True, exist_ok=True)
    file.write_bytes(content)
    return file


def test_is_content_where_every_file_is_as_it_was_kept(
    cast: Cast, data_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    keep(cast, data_folder, b"first paper")
    keep(cast, data_folder, b"second paper")
    call_command("check_evidence")
    assert capsys.readouterr().out == "2 evidence files checked.\n"


def test_names_a_missing_and_an_altered_file(cast: Cast, data_folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    missing, altered = keep(cast, data_folder, b"first paper"), keep(cast, data_folder, b"second paper")
    missing.unlink()
    altered.write_bytes(b"second Paper")
    with pytest.raises(CommandError, match="2 evidence files") as caught:
        call_command("check_evidence")
    assert caught.value.returncode == 1
    said = capsys.readouterr().out.splitlines()
    assert said[0] == f"{missing.relative_to(data_folder)}, named in certificates_certificatefile, is missing."
    assert said[1] == f"{altered.relative_to(data_folder)}, named in certificates_certificatefile, was altered."
    missing.write_bytes(b"first paper")  # out of a backup, as docs/deploy.md says
    altered.write_bytes(b"second paper")
    call_command("check_evidence")
    assert capsys.readouterr().out == "2 evidence files checked.\n"


def test_lists_what_no_row_names_and_fails_not(
    cast: Cast, data_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A file comes before its row, so one without a row is no fault."""
    extra = keep(cast, data_folder, b"first paper").with_name("extra.pdf")
    extra.write_bytes(b"written just before the power went")
    call_command("check_evidence", "--json")
    said = json.loads(capsys.readouterr().out)
    assert said == {"checked": 1, "problems": [], "extra": [str(extra.relative_to(data_folder))]}


def test_does_not_follow_a_path_out_of_the_data_folder(cast: Cast, data_folder: Path, tmp_path: Path) -> None:
    content = b"a paper elsewhere"
    keep(cast, data_folder, content, path="evidence/../../elsewhere.pdf")
    report = check_evidence()
    assert report.problems == [
        "evidence/../../elsewhere.pdf, named in certificates_certificatefile, lies outside of the data folder."
    ]


def test_knows_the_tables_that_name_files_by_their_columns() -> None:
    assert CertificateFile in evidence_models()
    named = {table.name for table in tables() if names_evidence(table)}
    assert named == {model._meta.db_table for model in evidence_models()}
