"""The package: what is in it, and that its list of digests is signed, by another tool."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import subprocess
import zipfile
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from qcapp.certificates.queries import content_of
from qcapp.certificates.services import packing, rendering
from qcapp.certificates.services.packing import package_of, table_of
from qcapp.lib.signing_keys import current_key
from qcapp.nonconformance.services.picturing import add_picture

from ..factories.certificates import ISSUED_AT, certified, release_unit
from ..factories.inspections import Workshop
from ..factories.nonconformance import Case


@pytest.fixture
def package(workshop: Workshop, monkeypatch: pytest.MonkeyPatch, settings: Any, tmp_path: Path) -> zipfile.ZipFile:
    settings.QCAPP_DATA_DIR = tmp_path
    monkeypatch.setattr(rendering, "render", lambda card, at, look=None: b"%PDF of " + card.number.encode())
    monkeypatch.setattr(packing, "report_pdf", lambda number, viewer, at: b"%PDF of " + number.encode())
    case = Case.by_hand(workshop)
    written = io.BytesIO()
    Image.new("RGB", (40, 30), "grey").save(written, "JPEG")
    add_picture(
        by=workshop.cast.inspector, number=case.number, content=written.getvalue(), name="dent.jpg", at=workshop.at
    )
    case.withdraw()
    card = certified(release_unit(workshop.finish()))
    return zipfile.ZipFile(io.BytesIO(package_of(card, at=ISSUED_AT)))


@pytest.mark.django_db
def test_holds_everything_with_its_digest(package: zipfile.ZipFile) -> None:
    listed = json.loads(package.read("manifest.json"))
    names = set(package.namelist()) - {"manifest.json", "manifest.json.p7s", "READ-ME.txt"}
    assert names == set(listed["sha256"])
    assert names == {
        "FR-2026-0001-1.pdf",
        "certificate.json",
        "results.qif",
        "results.csv",
        "reports/NCR-2026-0001.json",
        "reports/NCR-2026-0001.pdf",
        "reports/NCR-2026-0001/photo-01.jpg",
    }
    assert package.read("reports/NCR-2026-0001.pdf").startswith(b"%PDF")
    for name, digest in listed["sha256"].items():
        assert hashlib.sha256(package.read(name)).hexdigest() == digest
    assert json.loads(package.read("reports/NCR-2026-0001.json"))["card"]["number"] == "NCR-2026-0001"
    assert "openssl cms -verify" in package.read("READ-ME.txt").decode()


@pytest.mark.django_db
def test_is_signed_so_that_openssl_agrees_and_sees_a_change(package: zipfile.ZipFile, tmp_path: Path) -> None:
    package.extractall(tmp_path)

    def verified() -> subprocess.CompletedProcess[str]:
        options = "-verify -binary -inform DER -in manifest.json.p7s -content manifest.json -noverify -signer who.pem"
        command = ["openssl", "cms", *options.split(), "-out", "checked.json"]
        return subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False)

    assert verified().returncode == 0
    command = ["openssl", "x509", "-in", "who.pem", "-noout", "-fingerprint", "-sha256"]
    said = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=True).stdout
    assert said.split("=")[1].replace(":", "").strip().lower() == current_key().fingerprint
    manifest = tmp_path / "manifest.json"
    manifest.write_bytes(manifest.read_bytes().replace(b"FR-200-0147", b"FR-200-0148"))
    assert verified().returncode != 0


@pytest.mark.django_db
def test_gives_the_values_as_a_table_that_no_spreadsheet_runs(ready: Workshop) -> None:
    says = content_of(certified(release_unit(ready)).id)
    says["results"]["stages"][0]["lines"][1]["title"] = "=cmd()"
    rows = list(csv.DictReader(io.StringIO(table_of(says).decode())))
    assert rows[0]["value"] == "61.94"
    assert rows[1]["title"] == "'=cmd()"
    assert len(rows) == 11


@pytest.mark.django_db
def test_is_given_only_to_those_who_may_have_a_certificate(
    package: zipfile.ZipFile, workshop: Workshop, client_of: Any, fixed_now: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("django.utils.timezone.now", lambda: fixed_now)
    address = "/certificates/FR-2026-0001/1.zip"
    answer = client_of(workshop.cast.quality_manager).get(address)
    assert answer["Content-Type"] == "application/zip"
    assert zipfile.ZipFile(io.BytesIO(answer.content)).testzip() is None
    assert client_of(workshop.cast.welder).get(address).status_code == 403
