"""Signed files: what poppler, qpdf and our own check say of a whole one and after each tampering."""

from __future__ import annotations

import io
import re
import subprocess
import tempfile
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pypdf
import pytest
from asn1crypto import keys as asn1_keys
from asn1crypto import x509 as asn1_x509
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import rsa
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import CommandError, call_command
from django.test import Client
from pyhanko.sign.timestamps.dummy_client import DummyTimeStamper

from qcapp.certificates.models import SigningCertificate
from qcapp.certificates.queries import CertificateCard
from qcapp.certificates.services import rendering
from qcapp.certificates.services.checking import Answer, check_file_alone, check_pdf
from qcapp.certificates.services.keys import make_key, take_key
from qcapp.certificates.services.rendering import pdf_bytes
from qcapp.core.errors import Refused
from qcapp.lib import pdf_signing, signing_keys
from qcapp.lib.pdf import Attached, html_to_pdf

from ..factories.certificates import ISSUED_AT, certified, release_unit
from ..factories.inspections import Workshop
from ..unchanged import refused, rows_of
from .test_issuing import take_issue_back

ROOMS = ("certificates", "production", "people")
SIGNED_AT = ISSUED_AT + timedelta(minutes=1)


@pytest.fixture(scope="module")
def plain() -> bytes:
    """A small archive PDF with a file inside, before signing."""
    inside = Attached("certificate.json", "What it says", b'{"value":"61.94"}', "Source")
    page = "<html lang='en'><head><title>A paper</title></head><body><h1>FR-2026-0001</h1><p>61.94</p></body></html>"
    return html_to_pdf(
        page, identifier="a test", created=ISSUED_AT, title="A paper", variant="pdf/a-3a", attached=[inside]
    )


@pytest.fixture(scope="module")
def signed(plain: bytes) -> bytes:
    return pdf_signing.sign_pdf(plain, signing_keys.current_key(), at=SIGNED_AT, name="The tests' workshop")


@pytest.fixture
def issued(
    ready: Workshop, plain: bytes, monkeypatch: pytest.MonkeyPatch, settings: Any, tmp_path: Path
) -> CertificateCard:
    """A certificate whose page is the small one, signed and kept."""
    settings.QCAPP_DATA_DIR = tmp_path
    monkeypatch.setattr(rendering, "unsigned", lambda card, says, look=None: plain)
    return certified(release_unit(ready))


@pytest.fixture
def own_folder(settings: Any, tmp_path: Path) -> Path:
    """An empty folder of keys."""
    settings.QCAPP_SIGNING_FOLDER = tmp_path / "keys"
    return tmp_path / "keys"


def said_by(program: str, pdf: bytes, tmp_path: Path, *options: str) -> str:
    file = tmp_path / "file.pdf"
    file.write_bytes(pdf)
    return subprocess.run([program, *options, str(file)], capture_output=True, text=True, check=False).stdout


# ---------------------------------------------------------------------------------------------- tampering

DIGIT = re.compile(rb"stream\r?\n")


def with_a_page_more(pdf: bytes) -> bytes:
    """The file as a viewer saves it with a page appended: an incremental update (ISO 32000-2, 7.5.6)."""
    writer = pypdf.PdfWriter(io.BytesIO(pdf), incremental=True)
    writer.add_blank_page(200, 200)
    output = io.BytesIO()
    writer.write(output)
    return output.getvalue()


def with_a_byte_changed(pdf: bytes) -> bytes:
    """One byte of the page's drawing turned: what a changed digit comes to in a compressed page."""
    place = next(DIGIT.finditer(pdf)).end() + 20
    return pdf[:place] + bytes([pdf[place] ^ 1]) + pdf[place + 1 :]


def with_a_digit_changed(pdf: bytes) -> bytes:
    """61.94 made 61.95 in the unpacked file, as somebody with an editor does it."""
    with tempfile.TemporaryDirectory() as folder:
        file, unpacked = Path(folder) / "in.pdf", Path(folder) / "out.pdf"
        file.write_bytes(pdf)
        command = ["qpdf", "--qdf", "--object-streams=disable", str(file), str(unpacked)]
        subprocess.run(command, check=True, capture_output=True)
        plain = unpacked.read_bytes()
    assert b'"61.94"' in plain
    return plain.replace(b'"61.94"', b'"61.95"')


def without_signature(pdf: bytes) -> bytes:
    writer = pypdf.PdfWriter(clone_from=io.BytesIO(pdf))
    del writer.root_object["/AcroForm"]
    del writer.root_object["/Perms"]
    for page in writer.pages:
        page.pop("/Annots", None)
    output = io.BytesIO()
    writer.write(output)
    return output.getvalue()


def with_attachment_swapped(pdf: bytes) -> bytes:
    writer = pypdf.PdfWriter(io.BytesIO(pdf), incremental=True)
    writer.add_attachment("certificate.json", b'{"value":"61.95"}')
    output = io.BytesIO()
    writer.write(output)
    return output.getvalue()


def with_signature_of(other: bytes, pdf: bytes) -> bytes:
    """The signature of another file put into the place of this one's."""
    mine, theirs = (re.search(rb"/Contents <([0-9A-Fa-f]+)>", one) for one in (pdf, other))
    assert mine
    assert theirs
    pasted = theirs[1].ljust(len(mine[1]), b"0")[: len(mine[1])]
    return pdf[: mine.start(1)] + pasted + pdf[mine.end(1) :]


TAMPERED = {
    "a page appended": with_a_page_more,
    "a byte changed": with_a_byte_changed,
    "a digit changed": with_a_digit_changed,
    "an attachment swapped": with_attachment_swapped,
    "bytes appended": lambda pdf: pdf + b"\n% something more\n",
    "another one's signature": lambda pdf: with_signature_of(OTHER[0], pdf),
}
OTHER: list[bytes] = []


@pytest.fixture(autouse=True)
def _another(plain: bytes) -> None:
    if not OTHER:
        page = "<html lang='en'><head><title>Another</title></head><body><p>FR-200-0999</p></body></html>"
        other = html_to_pdf(page, identifier="other", created=ISSUED_AT, title="Another", variant="pdf/a-3a")
        OTHER.append(pdf_signing.sign_pdf(other, signing_keys.current_key(), at=SIGNED_AT, name="x"))


def test_is_valid_and_covers_the_whole_file_for_poppler(signed: bytes, tmp_path: Path) -> None:
    said = said_by("pdfsig", signed, tmp_path)
    assert "Signature is Valid." in said
    assert "Total document signed" in said
    assert "Not total document signed" not in said
    assert "ETSI.CAdES.detached" in said
    assert said.count("Signature #") == 1


def test_has_no_fault_for_qpdf_and_stays_an_archive_file(signed: bytes, tmp_path: Path) -> None:
    assert "No syntax or stream encoding errors found" in said_by("qpdf", signed, tmp_path, "--check")
    described = pypdf.PdfReader(io.BytesIO(signed)).root_object["/Metadata"].get_data().decode()
    assert re.search(r'pdfaid:part="3"', described)
    assert re.search(r'pdfaid:conformance="A"', described)
    assert "<pdfuaid:part>1</pdfuaid:part>" in described
    assert signed.startswith(b"%PDF-1.7")
    assert "/Version" not in pypdf.PdfReader(io.BytesIO(signed)).root_object


def test_gives_its_attachment_to_another_tool_with_fixed_dates(signed: bytes, tmp_path: Path) -> None:
    said_by("pdfdetach", signed, tmp_path, "-saveall", "-o", str(tmp_path))
    assert (tmp_path / "certificate.json").read_bytes() == b'{"value":"61.94"}'
    root = pypdf.PdfReader(io.BytesIO(signed)).root_object
    (inside,) = root["/AF"]
    assert inside.get_object()["/AFRelationship"] == "/Source"
    assert inside.get_object()["/EF"]["/F"]["/Params"]["/ModDate"] == "D:20260317163000Z"


def test_is_whole_by_its_own_evidence(signed: bytes) -> None:
    seal = pdf_signing.examine(signed)
    assert (seal.state, seal.fingerprint) == ("whole", signing_keys.current_key().fingerprint)
    assert seal.signed_at == SIGNED_AT


@pytest.mark.parametrize("how", TAMPERED)
def test_is_altered_after_each_tampering_and_poppler_agrees(signed: bytes, tmp_path: Path, how: str) -> None:
    tampered = TAMPERED[how](signed)
    assert tampered != signed
    said = said_by("pdfsig", tampered, tmp_path)
    assert "Signature is Valid." not in said or "Not total document signed" in said
    found = check_file_alone(tampered, signing_keys.current_key().fingerprint)
    assert found.answer == Answer.ALTERED
    assert found.why.endswith(".")


def test_is_not_ours_without_its_signature(signed: bytes, tmp_path: Path) -> None:
    stripped = without_signature(signed)
    assert "Signature #" not in said_by("pdfsig", stripped, tmp_path)
    found = check_file_alone(stripped, signing_keys.current_key().fingerprint)
    assert (found.answer, found.seal.state) == (Answer.NOT_OURS, "unsigned")


@pytest.mark.parametrize("junk", [b"", b"%PDF-1.7\n", b"no pdf", b"%PDF-1.7\n" + bytes(range(256)) * 40])
def test_is_not_ours_when_it_is_no_document_at_all(junk: bytes) -> None:
    assert check_file_alone(junk, "0" * 64).answer == Answer.NOT_OURS


def test_is_not_ours_when_somebody_else_signed_it(plain: bytes, own_folder: Path) -> None:
    stranger = signing_keys.keep(signing_keys.new_bundle("A stranger", datetime(2025, 1, 1, tzinfo=UTC), 5))
    theirs = pdf_signing.sign_pdf(plain, stranger, at=SIGNED_AT, name="A stranger")
    assert check_file_alone(theirs, "ab" * 32).answer == Answer.NOT_OURS
    assert check_file_alone(theirs, signing_keys.grouped(stranger.fingerprint).upper()).answer == Answer.REAL


def test_is_altered_when_it_was_signed_outside_of_the_keys_time(plain: bytes, own_folder: Path) -> None:
    """The library's own verdict is yes for a self-signed certificate that had expired; ours is no."""
    key = signing_keys.keep(signing_keys.new_bundle("Old", datetime(2020, 1, 1, tzinfo=UTC), 1))
    late = datetime(2026, 1, 1, tzinfo=UTC)
    object.__setattr__(key, "valid_until", late + timedelta(days=1))  # past our own guard
    found = check_file_alone(pdf_signing.sign_pdf(plain, key, at=late, name="x"), key.fingerprint)
    assert found.answer == Answer.ALTERED


def stamping_service() -> DummyTimeStamper:
    """A service that stamps on this machine: RFC 3161 by the library's own test double."""
    key = rsa.generate_private_key(public_exponent=65537, key_size=2048)
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "A stamping service")])
    start = datetime(2026, 1, 1, tzinfo=UTC)
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(7)
        .not_valid_before(start)
        .not_valid_after(start + timedelta(days=400))
        .add_extension(x509.ExtendedKeyUsage([x509.ExtendedKeyUsageOID.TIME_STAMPING]), critical=True)
        .sign(key, hashes.SHA256())
    )
    private = key.private_bytes(
        serialization.Encoding.DER, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    return DummyTimeStamper(
        asn1_x509.Certificate.load(certificate.public_bytes(serialization.Encoding.DER)),
        asn1_keys.PrivateKeyInfo.load(private),
        fixed_dt=SIGNED_AT,
    )


def test_carries_a_time_stamp_where_a_service_is_named(plain: bytes) -> None:
    key, service = signing_keys.current_key(), stamping_service()
    pdf = pdf_signing.sign_pdf(plain, key, at=SIGNED_AT, name="x", stamper=service)
    seal = pdf_signing.examine(pdf)
    assert (seal.state, seal.stamped_at) == ("whole", SIGNED_AT)


# ----------------------------------------------------------------------------------------------------- keys


@pytest.mark.django_db
def test_makes_a_key_whose_public_side_alone_is_in_the_database(own_folder: Path) -> None:
    key = make_key(at=SIGNED_AT, years=10)
    row = SigningCertificate.objects.get()
    assert (row.fingerprint, row.pem) == (key.fingerprint, key.pem)
    assert "PRIVATE" not in row.pem
    assert len(key.fingerprint) * 4 >= 128
    assert key.path.stat().st_mode & 0o077 == 0
    with pytest.raises(Refused) as caught:
        signing_keys.bundle_of(key.path.read_bytes(), b"another passphrase")
    assert caught.value.code == "signing_key_unreadable"


@pytest.mark.django_db
def test_keeps_what_an_older_key_signed_checkable(issued: CertificateCard, tmp_path: Path, settings: Any) -> None:
    old = pdf_bytes(issued, at=SIGNED_AT)
    settings.QCAPP_SIGNING_FOLDER = tmp_path / "keys"
    make_key(at=SIGNED_AT, years=10)
    assert check_pdf(old).answer == Answer.CURRENT
    assert check_pdf(with_a_byte_changed(old)).answer == Answer.ALTERED


@pytest.mark.django_db
def test_publishes_every_key_and_says_which_one_signs_now(own_folder: Path, client: Client) -> None:
    old = make_key(at=SIGNED_AT, years=10)
    new = make_key(at=SIGNED_AT + timedelta(days=1), years=10)
    page = client.get("/check/").text
    first, second = page.split("signs now")
    assert signing_keys.grouped(new.fingerprint) in first
    assert signing_keys.grouped(old.fingerprint) in second
    assert "an earlier one: what it signed stays checkable" in second


@pytest.mark.django_db
def test_takes_over_a_key_of_the_keepers_own(own_folder: Path, tmp_path: Path) -> None:
    file = tmp_path / "own.p12"
    file.write_bytes(signing_keys.new_bundle("The keeper's own", datetime(2020, 1, 1, tzinfo=UTC), 30))
    call_command("make_signing_key", "--from", str(file))
    assert signing_keys.current_key().subject == "CN=The keeper's own"
    file.write_bytes(b"nothing")
    with pytest.raises(CommandError, match="no PKCS #12 file"):
        call_command("make_signing_key", "--from", str(file))


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("code", "made", "years"),
    [
        ("signing_key_expired", datetime(2020, 1, 1, tzinfo=UTC), 1),
        ("signing_key_not_yet_valid", datetime(2027, 1, 1, tzinfo=UTC), 5),
    ],
)
def test_issues_nothing_that_could_not_be_signed(
    ready: Workshop, own_folder: Path, code: str, made: datetime, years: int
) -> None:
    signing_keys.keep(signing_keys.new_bundle("x", made, years))
    release_unit(ready)
    with refused(code, *ROOMS):
        certified(ready)


@pytest.mark.django_db
def test_issues_nothing_without_a_key_or_its_passphrase(ready: Workshop, own_folder: Path, settings: Any) -> None:
    release_unit(ready)
    with refused("signing_key_missing", *ROOMS):
        certified(ready)
    take_key(data=signing_keys.new_bundle("x", datetime(2026, 1, 1, tzinfo=UTC), 5), at=SIGNED_AT)
    settings.QCAPP_SIGNING_PASSPHRASE = "short"
    signing_keys._public_side.cache_clear()
    with refused("signing_passphrase_missing", *ROOMS):
        certified(ready)


@pytest.mark.django_db
def test_lays_nothing_out_when_the_key_that_the_paper_names_is_gone(issued: CertificateCard, own_folder: Path) -> None:
    with refused("signing_key_gone", *ROOMS):
        pdf_bytes(issued, at=SIGNED_AT)


# ----------------------------------------------------------------------------------------------- the check page


def drop(client: Client, pdf: bytes) -> str:
    return client.post("/check/", {"file": SimpleUploadedFile("x.pdf", pdf, "application/pdf")}).text


@pytest.mark.django_db
def test_says_what_a_dropped_file_is_and_keeps_nothing(issued: CertificateCard, client: Client) -> None:
    pdf = pdf_bytes(issued, at=SIGNED_AT)
    before = rows_of("certificates")
    assert "Real and current" in drop(client, pdf)
    assert "Altered" in drop(client, with_a_page_more(pdf))
    assert "Not ours" in drop(client, b"%PDF-1.4 something else")
    assert rows_of("certificates") == before


@pytest.mark.django_db
def test_follows_a_file_through_its_life(issued: CertificateCard, ready: Workshop, client: Client) -> None:
    first = pdf_bytes(issued, at=SIGNED_AT)
    certified(ready, change_note="Order number corrected.")
    assert "It was replaced by issue 2." in drop(client, first)
    take_issue_back(ready, issued)
    assert "Real, but withdrawn" in drop(client, first)


@pytest.mark.django_db
def test_knows_a_file_of_ours_whose_signature_was_removed(
    ready: Workshop, monkeypatch: pytest.MonkeyPatch, settings: Any, tmp_path: Path
) -> None:
    settings.QCAPP_DATA_DIR = tmp_path
    page = "<html lang='en'><head><title>x</title></head><body><p>x</p></body></html>"
    monkeypatch.setattr(
        rendering,
        "unsigned",
        lambda card, says, look=None: html_to_pdf(
            page, identifier=card.uuid.hex, created=ISSUED_AT, title="x", variant="pdf/a-3a"
        ),
    )
    pdf = pdf_bytes(certified(release_unit(ready)), at=SIGNED_AT)
    cut = pdf[: pdf.index(b"%%EOF") + 6]  # the file before its signature
    assert check_pdf(cut).answer == Answer.ALTERED


@pytest.mark.django_db
def test_asks_for_a_file_when_none_was_sent(client: Client) -> None:
    answer = client.post("/check/", {})
    assert answer.status_code == 400
    assert "Choose the PDF file" in answer.text


def test_refuses_a_huge_file_before_reading_it(client: Client, settings: Any) -> None:
    """By its announced length, as tests/lib/test_middleware.py shows; 20 MB on a real site, 1 kB here."""
    assert settings.QCAPP_UPLOAD_LIMIT == 20 * 1024 * 1024
    settings.QCAPP_UPLOAD_LIMIT = 1024
    answer = client.post("/check/", {"file": SimpleUploadedFile("x.pdf", b"x" * 2048)})
    assert answer.status_code == 413


@pytest.mark.django_db
def test_hears_an_address_only_so_often(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("qcapp.certificates.check_views.MOST_FILES", 2)
    answers = [client.post("/check/", {"file": SimpleUploadedFile("x", b"x")}).status_code for _ in range(3)]
    assert answers == [200, 200, 429]


# -------------------------------------------------------------------------------------------------- the command


@pytest.mark.django_db
def test_says_the_same_at_the_command_line_with_an_exit_status(
    issued: CertificateCard, ready: Workshop, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "paper.pdf"
    pdf = pdf_bytes(issued, at=SIGNED_AT)

    def status(content: bytes, *options: str) -> int:
        file.write_bytes(content)
        try:
            call_command("verify_certificate", str(file), *options)
        except SystemExit as left:
            return int(left.code or 0)
        return 0

    known = ("--fingerprint", signing_keys.grouped(signing_keys.current_key().fingerprint))
    assert status(pdf) == status(pdf, *known) == 0
    assert "Real and current." in capsys.readouterr().out
    certified(ready, change_note="Order number corrected.")
    assert status(pdf) == 10
    take_issue_back(ready, issued)
    assert status(pdf) == 11
    for tamper in (with_a_page_more, with_a_byte_changed):
        assert status(tamper(pdf)) == status(tamper(pdf), *known) == 20
    assert status(pdf, "--fingerprint", "0" * 64) == 21
    with pytest.raises(CommandError, match="cannot be read"):
        call_command("verify_certificate", str(tmp_path / "nothing.pdf"))


def test_asks_no_database_when_a_fingerprint_is_given(signed: bytes, tmp_path: Path) -> None:
    file = tmp_path / "paper.pdf"
    file.write_bytes(signed)
    call_command("verify_certificate", str(file), fingerprint=signing_keys.current_key().fingerprint)
