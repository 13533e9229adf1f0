"""What a family's certificates hold and look like: chosen, frozen at issue, in four languages and two papers."""

from __future__ import annotations

import copy
import re
from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from django.utils.translation import override

from qcapp.certificates.choices import Choice
from qcapp.certificates.models import CertificateFile
from qcapp.certificates.queries import content_of, paper_choice
from qcapp.certificates.services import rendering
from qcapp.certificates.services.choosing import choose_paper
from qcapp.certificates.services.rendering import Look, page_of, pdf_bytes
from qcapp.certificates.templatetags.paper import (
    dated,
    disposed,
    function_of,
    in_inches,
    in_issue,
    limited,
    noted,
    num,
    on_sheet,
    piece,
    seconded,
    signed_for,
    stated,
)
from qcapp.core.errors import Invalid
from qcapp.production.queries import family_by_code

from ..factories.certificates import ISSUED_AT, certified, release_unit
from ..factories.inspections import Workshop
from ..unchanged import refused

ROOMS = ("certificates", "production")
LOCALE = Path(__file__).resolve().parent.parent.parent / "qcapp" / "certificates" / "locale"
TEMPLATES = Path(__file__).resolve().parent.parent.parent / "templates" / "certificates"


@pytest.fixture
def released(ready: Workshop) -> Workshop:
    return release_unit(ready)


def choose(workshop: Workshop, **chosen: Any) -> None:
    by = chosen.pop("by", workshop.cast.quality_manager)
    choose_paper(by=by, family_code="FR-200", choice=Choice(**chosen), at=ISSUED_AT - timedelta(hours=1))


def words_of(page: str) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", page).split())


@pytest.mark.django_db
def test_names_people_only_where_that_was_chosen(released: Workshop) -> None:
    first = content_of(certified(released).id)
    assert "Ottoline Marsh" not in str(first)
    assert first["signatures"]["lines"][-1]["name"] == "Isolde Brandt"  # the signatory is always named
    assert first["welds"]["joints"] == [{"joint": "W7", "stamp": "W11", "procedure": "WP-3", "day": "17 Mar 2026"}]
    choose(released, names=True, welds=False)
    second = content_of(certified(released, change_note="With names.").id)
    assert second["signatures"]["lines"][0]["name"] == "Ottoline Marsh"
    assert second["results"]["stages"][0]["lines"][0]["person"] == "OM"
    assert second["welds"] == {"shown": False, "joints": []}


@pytest.mark.django_db
def test_leaves_issued_certificates_as_they_are(released: Workshop) -> None:
    card = certified(released)
    before = content_of(card.id)
    choose(released, kind="summary", language="de", paper="letter", lengths="in")
    assert content_of(card.id) == before


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("kind", "title"),
    [
        ("conformity", "Certificate of conformity"),
        ("summary", "Certificate of conformity"),
        ("first_article", "First-article report"),
    ],
)
def test_is_of_the_kind_that_the_family_chose(released: Workshop, kind: str, title: str) -> None:
    choose(released, kind=kind)
    says = content_of(certified(released).id)
    words = words_of(page_of(says, "0" * 64))
    assert title in words
    assert ("61.94" in words) == (kind != "summary")
    assert ("each with its value in the attached files" in words) == (kind == "summary")
    assert says["results"]["stages"][0]["lines"][0]["value"] == "61.94"  # the files hold it in any case


@pytest.mark.django_db
def test_says_the_same_in_every_language(released: Workshop) -> None:
    says = content_of(certified(released).id)
    pages = {language: words_of(page_of(says, "0" * 64, Look(language, "A4"))) for language in ("en", "de", "es", "fr")}
    for language, title in {
        "de": "Konformitätszertifikat",
        "es": "Certificado de conf",
        "fr": "Certificat de conf",
    }.items():
        page = pages[language]
        assert title in page
        assert "61,94" in page
        assert "61.94" not in page
        assert "Decision rule" not in page
        assert "2026-03-17 10:30 +01:00" in page
        for fixed in ("FR-2026-0001", "FR-200-0147", "0" * 64, says["identity"]["chain_digest"]):
            assert fixed in page
    digits = {language: sorted(re.findall(r"\d+[.,]\d+", page)) for language, page in pages.items()}
    with_points = {language: [one.replace(",", ".") for one in found] for language, found in digits.items()}
    assert with_points["de"] == with_points["es"] == with_points["fr"] == with_points["en"]


@pytest.mark.parametrize("language", ["de", "es", "fr"])
def test_translates_every_sentence_of_the_paper(language: str) -> None:
    text = (LOCALE / language / "LC_MESSAGES" / "django.po").read_text(encoding="utf-8")
    known = dict(re.findall(r'^msgid "(.+)"\nmsgstr "(.*)"$', text, re.M))
    assert known
    assert all(known.values())
    for file in [TEMPLATES / "certificate.html", *(TEMPLATES / "sections").glob("*.html")]:
        for asked in re.findall(r'{% translate "([^"]+)" %}', file.read_text(encoding="utf-8")):
            assert asked in known, (file.name, asked)
    for msgid, said in known.items():
        assert sorted(re.findall(r"%\(\w+\)[sd]", msgid)) == sorted(re.findall(r"%\(\w+\)[sd]", said))


@pytest.mark.parametrize(
    ("millimetres", "inches"), [("25.4", "1.000"), ("250.0", "9.843"), ("0.50", "0.0197"), ("max 2.54", "max 0.1000")]
)
def test_converts_millimetres_by_254_tenths_exactly(millimetres: str, inches: str) -> None:
    """Source: 1 in = 25.4 mm exactly (international inch, 1959; NIST SP 811, appendix B, from memory)."""
    assert in_inches(millimetres) == inches
    exact = Fraction(Decimal(millimetres.removeprefix("max "))) / Fraction(254, 10)
    places = len(inches.rpartition(".")[2])
    assert abs(exact - Fraction(Decimal(inches.removeprefix("max ")))) <= Fraction(1, 2 * 10**places)


@pytest.mark.django_db
def test_shows_inches_and_says_so(released: Workshop) -> None:
    choose(released, lengths="in")
    words = words_of(page_of(content_of(certified(released).id), "0" * 64))
    assert "9.846 in" in words  # 250.1 mm
    assert "converted from millimetres by 25.4 exactly" in words
    assert "61.94" in words  # an angle stays one


def test_translates_what_second_inspections_said() -> None:
    frozen = "second inspection: conforms, 14, 19 Oct 2026 08:18 +02:00"
    with override("de"):
        assert seconded(frozen) == "Zweitprüfung: konform, 14, 19 Oct 2026 08:18 +02:00"
    with override("en"):
        assert seconded(frozen) == frozen


@pytest.mark.parametrize(
    ("asked", "text", "german"),
    [
        (limited, "61,80 to 62,20", "61,80 bis 62,20"),
        (limited, "max 0,50", "max 0,50"),
        (limited, "6 tacks at least", "6 tacks mindestens"),
        (limited, "31 pieces at least, 31 at most", "31 pieces mindestens, 31 höchstens"),
        (limited, "serial number such as FR-200-0001", "Seriennummer wie FR-200-0001"),
        (limited, "conforms", "konform"),
        (noted, "parallel 0.20", "Parallelität 0,20"),
        (noted, "round 0.20", "Rundheit 0,20"),
        (noted, "ISO 2768-m", "ISO 2768-m"),
        (disposed, "rework, procedure CS-3, 5 inspected again", "Nacharbeit, Anweisung CS-3, erneut geprüft: 5"),
        (stated, "to be verified 19 Oct 2026", "zu bestätigen 2026-10-19"),
        (stated, "withdrawn", "zurückgezogen"),
        (signed_for, "Stage 4 Weld inspection", "Stufe 4 Weld inspection"),
        (signed_for, "Release", "Freigabe"),
        (function_of, "quality manager, deputy for Ada Pell", "Qualitätsleiter, in Vertretung von Ada Pell"),
        (in_issue, "AX-2026-0003, issue 1", "AX-2026-0003, Ausgabe 1"),
        (piece, "13: conforms", "13: konform"),
        (piece, "13: 612.1", "13: 612,1"),
        (on_sheet, "AQ-1, sheet 2", "AQ-1, Blatt 2"),
    ],
)
def test_translates_what_was_frozen_in_english(asked: Callable[[str], str], text: str, german: str) -> None:
    with override("de"):
        assert asked(text) == german
    with override("en"):
        assert asked(text) == text


def test_writes_numbers_and_dates_as_the_language_does() -> None:
    with override("de"):
        assert (num("-1.50"), dated("24 Nov 2026 14:10 +01:00")) == ("−1,50", "2026-11-24 14:10 +01:00")
    with override("en"):
        assert (num("-1.50"), dated("24 Nov 2026")) == ("−1.50", "24 Nov 2026")


@pytest.mark.django_db
def test_keeps_a_file_for_each_language_and_paper(
    released: Workshop, monkeypatch: pytest.MonkeyPatch, settings: Any, tmp_path: Path
) -> None:
    settings.QCAPP_DATA_DIR = tmp_path
    monkeypatch.setattr(rendering, "render", lambda card, at, look: f"%PDF {look.language} {look.paper}".encode())
    choose(released, language="es", paper="letter")
    card = certified(released)
    assert pdf_bytes(card, at=ISSUED_AT) == b"%PDF es letter"
    assert pdf_bytes(card, at=ISSUED_AT, language="fr") == b"%PDF fr letter"
    assert pdf_bytes(card, at=ISSUED_AT, language="es", paper="letter") == b"%PDF es letter"
    assert CertificateFile.objects.count() == 2
    with pytest.raises(Invalid) as caught:
        pdf_bytes(card, at=ISSUED_AT, language="xx")
    assert caught.value.code == "look_unknown"


@pytest.mark.django_db
def test_prints_an_older_content_that_knows_nothing_of_choices(released: Workshop) -> None:
    says = copy.deepcopy(content_of(certified(released).id))
    for name in ("kind", "language", "paper", "lengths", "issued_at", "signing_fingerprint"):
        del says["identity"][name]
    del says["welds"], says["cautions"], says["statement"]["concessions"]
    del says["statistics"], says["materials"], says["components"], says["pictures"], says["drawing"]
    del says["nonconformances"]["shown"], says["identity"]["logo"]
    for stage in says["results"]["stages"]:
        for line in stage["lines"]:
            for name in ("key", "lower", "upper", "values", "at", "concession", "balloon"):
                del line[name]
    assert "Certificate of conformity" in page_of(says, "0" * 64)


@pytest.mark.django_db
@pytest.mark.parametrize("wrong", [{"kind": "other"}, {"language": "xx"}, {"paper": "A3"}, {"lengths": "ft"}])
def test_refuses_a_choice_that_there_is_not(released: Workshop, wrong: dict[str, str]) -> None:
    with refused("choice_unknown", *ROOMS):
        choose(released, **wrong)


@pytest.mark.django_db
def test_is_chosen_by_the_quality_manager_on_a_page(released: Workshop, client_of: Any) -> None:
    with refused("not_permitted", *ROOMS):
        choose(released, by=released.cast.engineer)
    client = client_of(released.cast.quality_manager)
    address = "/certificates/families/FR-200/"
    assert "Certificates of FR-200" in client.get(address).text
    form = {"kind": "summary", "language": "fr", "paper": "letter", "lengths": "plan", "welds": "on"}
    assert client.post(address, form)["Location"] == address
    chosen = paper_choice(family_by_code("FR-200").id)
    off = dict.fromkeys(("pictures", "materials", "components", "reports", "first_articles"), False)
    assert chosen == Choice("summary", "fr", "letter", "plan", names=False, welds=True, cautions=False, **off)
    assert client.post(address, form | {"kind": "other"}).status_code == 400
