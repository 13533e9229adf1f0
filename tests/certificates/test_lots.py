"""The inspection certificate of a lot: what it asks for, who may sign it, and what it says."""

from __future__ import annotations

import subprocess
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from django.test import Client

from qcapp.certificates.content_schema import content_schema
from qcapp.certificates.lot_queries import lot_standing
from qcapp.certificates.models import Certificate
from qcapp.certificates.queries import CertificateCard, certificate, content_of
from qcapp.certificates.services.issuing import withdraw_certificate
from qcapp.certificates.services.lots import certify_lot
from qcapp.certificates.services.packing import table_of
from qcapp.certificates.services.rendering import Look, page_of, pdf_bytes
from qcapp.goods.services.lots import sample_lot
from qcapp.people.roles import Role
from qcapp.people.services import demonstration_proof
from qcapp.production.services.lots import move_lot

from ..cast import FIXED_NOW, PIN, Cast
from ..factories.people import PersonFactory
from ..goods.conftest import accepted, data_folder, decide, kit  # noqa: F401 - fixtures
from ..goods.test_lots import opened, played
from ..unchanged import refused

pytestmark = pytest.mark.django_db
ROOMS = ("certificates", "production", "people.Signature")
SIGNED_AT = FIXED_NOW + timedelta(hours=2)
LOT = "TK-200-L0001"


def sign(person: Any, **told: Any) -> CertificateCard:
    return certify_lot(proof=demonstration_proof(person, SIGNED_AT), lot_code=LOT, at=SIGNED_AT, **told)


@pytest.fixture
def lot(cast: Cast, kit: str) -> str:  # noqa: F811
    """A hundred tubes, thirteen of them drawn and tested, accepted."""
    played(cast)
    return LOT


def test_says_what_was_tested_on_which_piece(cast: Cast, lot: str) -> None:
    card = sign(cast.inspector, order_number="A-7")
    says = content_of(card.id)
    assert (card.number, card.issue, card.serial, card.lot, card.standing) == ("TK-2026-0001", 1, LOT, True, "current")
    length, burr = says["sample"]["lines"]
    assert (length["tested"], length["conforming"], length["lowest"], length["highest"]) == (13, 13, "412.1", "412.1")
    assert len(length["values"]) == len(burr["values"]) == 13
    assert all(value.endswith(": 412.1") for value in length["values"])
    assert says["identity"]["order_number"] == "A-7"
    assert "lot TK-200-L0001, 100 pieces of cut-tube kit" in says["statement"]["declaration"]
    assert "independent of its production (EN 10204:2004, type 3.1)" in says["signatures"]["lines"][0]["meaning"]
    assert says["materials"]["heats"][0]["heat"] == "H4711"
    assert list(jsonschema.Draft202012Validator(content_schema()).iter_errors(says)) == []
    assert table_of(says).decode().count("412.1") == 13


def test_is_laid_out_signed_and_says_the_same_in_every_language(cast: Cast, lot: str, tmp_path: Path) -> None:
    card = sign(cast.inspector)
    says = content_of(card.id)
    for language, title in (("de", "Abnahmeprüfzeugnis 3.1"), ("es", "Certificado de inspección 3.1"), ("fr", "3.1")):
        page = page_of(says, card.digest, Look(language, "A4"))
        assert title in page
        assert "We certify" not in page
        assert page.count("412,1") >= 13
    file = tmp_path / "lot.pdf"
    file.write_bytes(pdf_bytes(card, at=SIGNED_AT))
    text = subprocess.run(["pdftotext", "-layout", file, "-"], capture_output=True, text=True, check=True).stdout
    assert "Inspection certificate 3.1" in " ".join(text.split())
    assert text.count("412.1") >= 13
    assert "No nonconformance report" not in text
    said = subprocess.run(["pdfsig", "-nocert", file], capture_output=True, text=True, check=False).stdout
    assert "Signature is Valid" in said
    assert "Total document signed" in said


@pytest.mark.parametrize("role", [Role.WELDER, Role.ASSEMBLER, Role.GOODS_IN])
def test_is_signed_by_nobody_who_works_in_production_too(cast: Cast, lot: str, role: Role) -> None:
    """EN 10204:2004, 4.1: validated by a representative independent of the manufacturing department (from memory)."""
    both = PersonFactory(name="Both Hats", joined_on=date(2020, 1, 1), roles=[Role.INSPECTOR, role])
    with refused("not_independent", *ROOMS):
        sign(both)


def test_is_signed_by_nobody_who_opened_or_cut_the_lot(cast: Cast, kit: str) -> None:  # noqa: F811
    from qcapp.goods.services import record_cut
    from qcapp.production.models import Lot

    played(cast)
    record_cut(
        by=cast.goods_in, heat_number="H4711", stock="bar 1", pieces=100, pieces_marked=True, remnant="",
        remnant_marked=True, lot_code=LOT, at=FIXED_NOW,
    )  # fmt: skip
    Lot.objects.filter(code=LOT).update(opened_by=cast.quality_manager)
    with refused("not_independent", *ROOMS):
        sign(cast.quality_manager)
    assert sign(cast.inspector).issue == 1


def test_is_signed_by_those_who_may_alone(cast: Cast, lot: str) -> None:
    engineer = cast.engineer
    with refused("not_permitted", *ROOMS):
        sign(engineer)


def test_asks_for_own_tests(cast: Cast, kit: str) -> None:  # noqa: F811
    lot = opened(cast)
    inspector = cast.inspector
    with refused("lot_not_proven", *ROOMS):
        sign(inspector)
    sample_lot(by=cast.goods_in, lot_code=lot.code, at=FIXED_NOW)
    with refused("lot_not_proven", *ROOMS) as caught:
        sign(inspector)
    assert caught.value.details["findings"] == ["lot_tested", "lot_usable"]


def test_asks_for_an_accepted_lot_of_accepted_heats(cast: Cast, kit: str) -> None:  # noqa: F811
    played(cast, bad=(0, 1, 2))
    inspector = cast.inspector
    decide(cast.quality_manager, "held", "Second analysis.")
    with refused("lot_not_proven", *ROOMS):
        sign(inspector)
    assert [one.code for one in lot_standing(LOT).against] == ["lot_usable", "lot_heats"]


def test_is_replaced_by_a_further_issue_and_withdrawn_like_any(cast: Cast, lot: str) -> None:
    sign(cast.inspector)
    with refused("issued_already", *ROOMS):
        sign(cast.inspector)
    second = sign(cast.inspector, change_note="Order number added.", order_number="A-8")
    assert (second.issue, certificate("TK-2026-0001", 1).standing) == (2, "replaced")
    proof = demonstration_proof(cast.quality_manager, SIGNED_AT)
    withdraw_certificate(proof=proof, number="TK-2026-0001", issue=2, reason="Wrong lot.", at=SIGNED_AT)
    assert certificate("TK-2026-0001", 2).standing == "withdrawn"


def test_is_under_review_when_the_lot_is_refused_after_all(cast: Cast, lot: str) -> None:
    card = sign(cast.inspector)
    move_lot(lot_id=lot_standing(LOT).lot.id, move="refuse")
    assert certificate(card.number, 1).standing == "under review"
    page = Client().get(f"/check/{card.token}/").text
    assert "Real, but under review" in page
    assert "<dt>Lot</dt>" in page


def test_leads_from_the_lots_page_to_the_signed_certificate(
    cast: Cast, lot: str, client_of: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("django.utils.timezone.now", lambda: SIGNED_AT)
    client = client_of(cast.inspector)
    address = f"/certificates/lots/{LOT}/"
    assert address in client.get(f"/goods/lots/{LOT}/").text
    assert "Sign the certificate" in client.get(address).text
    assert client.post(address, {"pin": "000000"}).status_code >= 400
    assert not Certificate.objects.exists()
    assert client.post(address, {"pin": PIN, "order_number": "A-7"})["Location"] == address
    assert "TK-2026-0001 issue 1" in client.get(address).text
    assert "Sign the" not in client_of(cast.engineer).get(address).text
