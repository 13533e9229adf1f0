"""Keeping evidence files and handing them out."""

from __future__ import annotations

import sys
from pathlib import Path
from uuid import uuid4

import pytest

from qcapp.core.errors import Invalid, NotFound, Refused
from qcapp.evidence.models import EvidenceFile
from qcapp.evidence.queries import card, cards, content
from qcapp.evidence.services.keeping import keep_checked, keep_paper, keep_pdf, keep_picture, own_name
from tests.evidence.files import pdf, picture
from tests.unchanged import refused


@pytest.fixture(autouse=True)
def own_folder(settings, tmp_path: Path) -> Path:
    settings.QCAPP_DATA_DIR = tmp_path
    return tmp_path


def test_keeps_a_picture_and_reads_it_back(cast, fixed_now) -> None:
    kept = keep_picture(by=cast.inspector, content=picture(), name="IMG_0042.jpg", at=fixed_now)
    assert (kept.media_type, kept.width, kept.kept_by_name) == ("image/jpeg", 60, cast.inspector.name)
    assert card(kept.uuid) == kept
    assert cards([kept.id]) == {kept.id: kept}
    assert content(kept.uuid)[:2] == b"\xff\xd8"


def test_keeps_the_same_bytes_once_and_both_rows(cast, fixed_now, own_folder: Path) -> None:
    for person in (cast.inspector, cast.second_inspector):
        keep_pdf(by=person, content=pdf(), name="certificate.pdf", at=fixed_now)
    assert EvidenceFile.objects.count() == 2
    assert len(list(own_folder.rglob("*.pdf"))) == 1


def test_keeps_a_paper_as_document_or_photo(cast, fixed_now) -> None:
    by, at = cast.goods_in, fixed_now
    assert keep_paper(by=by, content=pdf(2), name="", at=at).pages == 2
    assert keep_paper(by=by, content=picture(), name="sheet", at=at).is_picture


def test_never_changes_a_row(cast, fixed_now) -> None:
    keep_pdf(by=cast.goods_in, content=pdf(), name="a.pdf", at=fixed_now)
    with pytest.raises(Refused):
        EvidenceFile.objects.update(name="b.pdf")


@pytest.mark.parametrize(
    ("given", "kept"),
    [
        ("a.jpg", "a.jpg"),
        ("C:\\fake\\a.jpg", "a.jpg"),
        ("../../etc/passwd", "passwd"),
        ("", "file.jpg"),
        ("a\x00b", "ab"),
    ],
)
def test_takes_the_last_part_of_a_name(given: str, kept: str) -> None:
    assert own_name(given, "jpg") == kept
    assert len(own_name("x" * 500, "jpg")) == 120


def test_keeps_nothing_of_a_refused_upload(cast, fixed_now, own_folder: Path) -> None:
    with refused("picture_not_read", "evidence"):
        keep_picture(by=cast.inspector, content=b"no picture", name="a.jpg", at=fixed_now)
    assert not list(own_folder.rglob("*.jpg"))


def program(folder: Path, body: str) -> str:
    path = folder / "look"
    path.write_text(f"#!{sys.executable}\nimport sys\ndata = open(sys.argv[1], 'rb').read()\n{body}\n")
    path.chmod(0o755)
    return str(path)


def test_has_the_sites_own_program_look_at_each_upload(cast, fixed_now, settings, tmp_path: Path) -> None:
    by, at = cast.inspector, fixed_now
    settings.QCAPP_UPLOAD_CHECK = program(tmp_path, "sys.exit(data[:4] == b'%PDF')")
    assert keep_picture(by=by, content=picture(), name="a.jpg", at=at).size
    with refused("upload_not_clean", "evidence"):
        keep_pdf(by=by, content=pdf(), name="a.pdf", at=at)
    settings.QCAPP_UPLOAD_CHECK = str(tmp_path / "missing")
    with refused("upload_not_checked", "evidence"):
        keep_picture(by=by, content=picture(), name="a.jpg", at=at)


@pytest.mark.django_db
def test_says_that_a_file_is_unknown() -> None:
    for read in (card, content):
        with pytest.raises(NotFound) as caught:
            read(uuid4())
        assert caught.value.code == "evidence_unknown"


def test_shows_a_picture_in_a_sandbox_and_a_small_one(cast, fixed_now, client_of) -> None:
    kept = keep_picture(by=cast.inspector, content=picture(size=(900, 600)), name='x".jpg', at=fixed_now)
    client = client_of(cast.customer_service)
    answer = client.get(f"/evidence/{kept.uuid}/")
    assert answer.headers["Content-Type"] == "image/jpeg"
    assert answer.headers["Content-Disposition"] == 'inline; filename="x_.jpg"'
    assert "sandbox" in answer.headers["Content-Security-Policy"]
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert len(client.get(f"/evidence/{kept.uuid}/small/").content) < len(answer.content)


def test_hands_out_a_document_to_save_and_has_no_small_one(cast, fixed_now, client_of) -> None:
    kept = keep_pdf(by=cast.goods_in, content=pdf(), name="mill.pdf", at=fixed_now)
    client = client_of(cast.customer_service)
    assert client.get(f"/evidence/{kept.uuid}/").headers["Content-Disposition"] == 'attachment; filename="mill.pdf"'
    assert client.get(f"/evidence/{kept.uuid}/small/").status_code == 404
    assert client.get(f"/evidence/{uuid4()}/").status_code == 404


def test_shows_a_drawing_of_lines_whole(cast, fixed_now, client_of) -> None:
    lines = b"<svg xmlns='http://www.w3.org/2000/svg'/>"
    by, at = cast.engineer, fixed_now
    kept = keep_checked(by=by, content=lines, media_type="image/svg+xml", ending="svg", name="d.svg", at=at)
    answer = client_of(cast.inspector).get(f"/evidence/{kept.uuid}/small/")
    assert (answer.content, answer.headers["Content-Type"]) == (lines, "image/svg+xml")


def test_hands_nothing_to_strangers_and_refuses_an_altered_file(cast, fixed_now, client, client_of, own_folder) -> None:
    kept = keep_pdf(by=cast.goods_in, content=pdf(), name="mill.pdf", at=fixed_now)
    assert client.get(f"/evidence/{kept.uuid}/").status_code == 302
    next(own_folder.rglob("*.pdf")).write_bytes(b"%PDF other")
    assert client_of(cast.inspector).get(f"/evidence/{kept.uuid}/").status_code == 409
    with pytest.raises(Invalid):
        keep_pdf(by=cast.goods_in, content=b"", name="mill.pdf", at=fixed_now)
