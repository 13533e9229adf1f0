"""A password that is little more than words that everybody at the site would try first is refused."""

from __future__ import annotations

from pathlib import Path

import pytest
from pytest_django import Settings

from qcapp.core.errors import Invalid
from qcapp.people import services
from qcapp.people.password_words import OF_EVERYBODY, OF_THE_TRADE, guessed_words
from tests.cast import FIXED_NOW, Cast

SECURITY = Path(__file__).resolve().parents[2] / "docs" / "security.md"


@pytest.fixture(autouse=True)
def _site(settings: Settings) -> None:
    settings.QCAPP_SITE_NAME, settings.QCAPP_SITE_PLACE = "Alder Quay Cycleworks", "Alder Quay"
    settings.QCAPP_PUBLIC_URL, settings.QCAPP_PASSWORD_WORDS = "https://qc.alderquay.example", "orchard pear"


@pytest.mark.parametrize(
    "password",
    [
        "Inspection2026", "qcapp-qcapp-1", "AlderQuay-2026", "W3lding!w3lding", "Winter2026!!", "alderquay12345",
        "Pass word 2026", "Orchard Pear 1", "FRÜHLING 2026", "Pa$$w0rd Pa$$w0rd",
    ],
)  # fmt: skip
def test_refuses_words_that_are_tried_first(password: str) -> None:
    assert guessed_words(password)


@pytest.mark.parametrize(
    "password",
    ["seven loose hinges", "48151623421010", "trike under nine lanterns", "xkWq-93bf-mmPe", "welder plus 8 fjords"],
)
def test_takes_what_has_enough_beside_them_or_none_of_them(password: str) -> None:
    assert guessed_words(password) == []


def test_says_why_and_keeps_the_old_one(cast: Cast) -> None:
    person = cast.inspector
    before = person.password
    with pytest.raises(Invalid, match="tried first") as caught:
        services.set_password(by=person, person=person, password="Inspection-2026", at=FIXED_NOW)
    assert caught.value.code == "password_too_weak"
    person.refresh_from_db()
    assert person.password == before


def test_stands_in_the_document_word_for_word() -> None:
    text = SECURITY.read_text(encoding="utf-8")
    listed = text.partition("## Words that a password is not made of")[2].partition("\n## ")[0].split()
    assert {word.strip(",.") for word in listed} >= OF_THE_TRADE | OF_EVERYBODY
